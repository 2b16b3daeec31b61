/* SPDX-License-Identifier: MIT */
/* See marking.h.  Here: the text made plain, the list, and one value for sheets. */
#include "protocol/trade/ascii.h"
#include "protocol/trade/marking_parts.h"

#include <stdio.h>
#include <string.h>

/* Spellings of one thing, longest first where one begins another. */
static const struct {
	const char *spelt, *plain;
} spellings[] = {
    {"\xC2\xB5", "u"},      {"\xCE\xBC", "u"},      {"\xCE\xA9", "ohm"},  {"\xE2\x84\xA6", "ohm"},
    {"\xC2\xB1", "+-"},     {"+/-", "+-"},          {"\xE2\x88\x92", "-"}, {"\xE2\x80\x93", "-"},
    {"\xC3\xBC", "ue"},     {"\xC3\x9F", "ss"},     {"\xC3\x9C", "Ue"},
    {"\xC2\xBD", "1/2"},    {"\xC2\xBC", "1/4"},    {"\xC2\xA0", " "},    {"\t", " "},
};

static bool make_plain(const char *text, size_t len, struct plain *p, struct fault *why)
{
	memset(p, 0, sizeof *p);
	if (len > MARKING_TEXT_MAX) {
		fault_at(why, NULL, 0, MARKING_TEXT_MAX + 1, "a marking has at most %d bytes",
		         MARKING_TEXT_MAX);
		return false;
	}
	for (size_t at = 0; at < len;) {
		size_t used = 1;
		const char *plain = NULL;
		for (size_t i = 0; i < sizeof spellings / sizeof *spellings && !plain; i++) {
			size_t n = strlen(spellings[i].spelt);
			if (len - at >= n && memcmp(text + at, spellings[i].spelt, n) == 0) {
				plain = spellings[i].plain;
				used = n;
			}
		}
		char own[2] = {text[at], '\0'};
		if (!plain && ((unsigned char)text[at] < 0x20 || (unsigned char)text[at] >= 0x7f)) {
			fault_at(why, NULL, 0, (int)at + 1, "this character is in no marking that is known");
			return false;
		}
		for (const char *c = plain ? plain : own; *c; c++) {
			p->from[p->len] = at;
			p->text[p->len++] = *c;
		}
		at += used;
	}
	p->from[p->len] = len;
	while (p->len && p->text[p->len - 1] == ' ')
		p->text[--p->len] = '\0';
	return true;
}

bool plain_fail(struct fault *why, const struct plain *p, size_t at, const char *text)
{
	fault_at(why, NULL, 0, (int)p->from[at < p->len ? at : p->len] + 1, "%s", text);
	return false;
}

/* ---- the list ---- */

static bool same_tolerance(const struct tolerance *a, const struct tolerance *b)
{
	return a->form == b->form && decimal_compare(a->low, b->low) == 0 &&
	       decimal_compare(a->high, b->high) == 0;
}

static bool same_rating(bool has_a, struct decimal a, bool has_b, struct decimal b)
{
	return has_a == has_b && (!has_a || decimal_compare(a, b) == 0);
}

static bool same_reading(const struct marking *a, const struct marking *b)
{
	return a->function == b->function && decimal_compare(a->value, b->value) == 0 &&
	       same_tolerance(&a->tolerance, &b->tolerance) &&
	       same_rating(a->has_rated, a->rated, b->has_rated, b->rated) &&
	       a->has_drift == b->has_drift && a->drift == b->drift;
}

void marking_add(struct marking_list *list, const struct marking *m)
{
	for (int i = 0; i < list->n; i++) {
		struct marking *have = &list->at[i];
		if (!same_reading(have, m))
			continue;
		size_t len = strlen(have->scheme), more = strlen(m->scheme);
		if (!strstr(have->scheme, m->scheme) && len + more + 5 < sizeof have->scheme) {
			memcpy(have->scheme + len, " or ", 4);
			memcpy(have->scheme + len + 4, m->scheme, more + 1);
		}
		return;
	}
	if (list->n == MARKING_READINGS_MAX)
		list->cut = true;
	else
		list->at[list->n++] = *m;
}

bool marking_read(const char *text, size_t len, struct marking_list *out, struct fault *why)
{
	struct plain p;
	memset(out, 0, sizeof *out);
	if (!make_plain(text, len, &p, why))
		return false;
	if (p.len == 0)
		return plain_fail(why, &p, 0, "a marking was expected, such as 4K7, 104, .047 or brown "
		                              "black yellow");
	if (bands_are(&p))
		return bands_read(&p, out, why);
	enum function f;
	struct plain whole = p;
	words_peel(&p, &f);
	if (p.len == 0)
		return plain_fail(why, &whole, 0, "a value was expected beside this word, such as 104 or .047");
	return code_read(&p, out, why) && words_narrow(&whole, f, out, why);
}

bool marking_is_colour(const char *text, size_t len)
{
	struct plain p;
	struct fault ignored;
	return make_plain(text, len, &p, &ignored) && band_is_colour(&p);
}

/* ---- one value, for sheets ---- */

/* "4E7": ohms to some, a power of ten to others. */
static bool has_exponent(const char *text, size_t len)
{
	for (size_t i = 1; i + 1 < len; i++)
		if ((text[i] == 'E' || text[i] == 'e') && ascii_digit(text[i - 1]) && ascii_digit(text[i + 1]))
			return true;
	return false;
}

bool marking_value(const char *text, size_t len, enum function function, struct decimal *value,
                   struct tolerance *tolerance, struct fault *why)
{
	struct marking_list list;
	const struct marking *first = NULL;
	if (has_exponent(text, len)) {
		fault_set(why, "E may mean ohms or a power of ten here: write 4R7, or 4e7");
		return false;
	}
	if (!marking_read(text, len, &list, why))
		return false;
	*tolerance = (struct tolerance){TOLERANCE_NONE, {0, 0}, {0, 0}};
	bool resistor = false;
	for (int i = 0; i < list.n; i++)
		resistor = resistor || list.at[i].function == FUNCTION_OHM;
	for (int i = 0; i < list.n; i++) {
		const struct marking *m = &list.at[i];
		if (m->function != function || m->reversed ||
		    (resistor && strcmp(m->scheme, marking_k_point) == 0))
			continue;
		if (!first) {
			first = m;
			*tolerance = m->tolerance;
			continue;
		}
		if (decimal_compare(first->value, m->value) != 0) {
			char one[2 * DECIMAL_TEXT_SIZE], other[2 * DECIMAL_TEXT_SIZE];
			struct decimal a = decimal_strip(first->value), b = decimal_strip(m->value);
			quantity_shown(a, function, quantity_prefix(a, function), one, sizeof one);
			quantity_shown(b, function, quantity_prefix(b, function), other, sizeof other);
			fault_set(why, "this marking may mean %s or %s: write the value with its unit", one,
			          other);
			return false;
		}
		if (!same_tolerance(&first->tolerance, &m->tolerance))
			tolerance->form = TOLERANCE_NONE;
	}
	if (!first) {
		fault_set(why, "this marking is none of %s", function_words(function));
		return false;
	}
	if (tolerance->form == TOLERANCE_NONE)
		*tolerance = (struct tolerance){TOLERANCE_NONE, {0, 0}, {0, 0}};
	*value = first->value;
	return true;
}

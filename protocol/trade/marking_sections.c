/* SPDX-License-Identifier: MIT */
/*
 * Cans with several sections (see marking_code_parts.h); trade practice, from memory:
 *
 *     32+32/450  50+8 uF 350V  100uF+200uF 350V    (the unit of the last counts)
 *     20-20-20/450  8-8-16 mF  40/20/20 mfd 450 V     a dash or slash, since a rating or unit
 *                                                     follows, or three and more stand in a row
 *     8-16-450                                        the last is the rating
 *     2x50 uF
 */
#include "protocol/trade/marking_code_parts.h"

#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <string.h>

#define SECTIONS_MAX 4

/* The sections as they stand, with what is behind the last of them. */
struct sections {
	size_t from[SECTIONS_MAX], to[SECTIONS_MAX];
	int count;
	size_t rest;
};

static size_t spaces_at(const char *text, size_t at)
{
	while (text[at] == ' ')
		at++;
	return at;
}

static size_t figures_at(const char *text, size_t at)
{
	while (ascii_digit(text[at]) || (text[at] == '.' && ascii_digit(text[at + 1])))
		at++;
	return at;
}

/* 100uF+200uF: the unit of each before the next plus sign. */
static size_t unit_of_one(const char *text, size_t at)
{
	size_t end = at;
	while (ascii_letter(text[end]) && end - at < 4)
		end++;
	return text[spaces_at(text, end)] == '+' && !ascii_letter(text[end]) ? end : at;
}

/* Numbers joined by one sign.  False where fewer than two, or more than a can has. */
static bool joined(const char *text, char sign, struct sections *s)
{
	size_t at = 0;
	for (s->count = 0;;) {
		size_t end = figures_at(text, at);
		if (end == at || s->count == SECTIONS_MAX)
			return false;
		s->from[s->count] = at;
		s->to[s->count++] = end;
		s->rest = sign == '+' ? unit_of_one(text, end) : end;
		size_t next = spaces_at(text, s->rest);
		if (text[next] != sign)
			return s->count > 1;
		next = spaces_at(text, next + 1);
		if (!ascii_digit(text[next]) && text[next] != '.')
			return false;
		at = next;
	}
}

/* 2x50 uF: as often as the first says. */
static bool times(const char *text, struct sections *s)
{
	if (text[0] < '2' || text[0] > '0' + SECTIONS_MAX)
		return false;
	size_t at = spaces_at(text, 1);
	if (text[at] != 'x' && text[at] != 'X')
		return false;
	at = spaces_at(text, at + 1);
	s->rest = figures_at(text, at);
	size_t unit = spaces_at(text, s->rest);
	/* 8x16 is a rating; 2x50 V as well; 2x16/450 and 2x16 450 V have theirs behind. */
	bool rated = (text[unit] == '/' && ascii_digit(text[unit + 1])) ||
	             (unit > s->rest && ascii_digit(text[unit]) && figures_at(text, unit) - unit == 3);
	if (s->rest == at || volts_word(text + unit) || !(ascii_letter(text[unit]) || rated))
		return false;
	for (s->count = 0; s->count < text[0] - '0'; s->count++) {
		s->from[s->count] = at;
		s->to[s->count] = s->rest;
	}
	return true;
}

/* "mfd", "uF": what sections are counted in, at `at`; or the volts of them all. */
static bool unit_or_rating(const char *text, size_t at)
{
	size_t end = at;
	while (ascii_letter(text[end]))
		end++;
	if (end > at)
		return end - at >= 2 && (ascii_lower(text[end - 1]) == 'f' ||
		                         (end - at >= 3 && ascii_lower(text[end - 2]) == 'f'));
	if (text[at] == '/' || text[at] == '-')
		return true;
	end = figures_at(text, at);
	return end > at && volts_word(text + spaces_at(text, end)) > 0;
}

/* A rating as such stands behind a dash or slash, too: which numbers are sections? */
static bool not_rated(const struct plain *p, struct sections *s)
{
	const char *text = p->text;
	struct number last, before;
	size_t behind = spaces_at(text, s->rest);
	if (volts_word(text + behind) || text[s->rest] == '=' || text[s->rest] == '~') {
		s->rest = s->to[--s->count - 1];
		return s->count > 1;
	}
	if (text[behind])
		return unit_or_rating(text, behind);
	if (s->count < 3 || !number_read(p, s->from[s->count - 1], &last) ||
	    !number_read(p, s->from[s->count - 2], &before))
		return s->count >= 3;
	static const struct decimal hundred = {100, 0};
	if (decimal_compare(last.value, hundred) >= 0 && decimal_compare(before.value, hundred) < 0)
		s->rest = s->to[--s->count - 1];
	return true;
}

static bool sections_at(const struct plain *p, struct sections *s)
{
	if (joined(p->text, '+', s))
		return p->text[s->rest] != '%'; /* 50+80% is a tolerance, not two sections */
	if (joined(p->text, '-', s) || joined(p->text, '/', s))
		return p->text[s->rest] != '%' && not_rated(p, s);
	return times(p->text, s);
}

/* Each section is read as if it stood alone before the rest of the print. */
static bool section_read(const struct plain *p, const struct sections *s, int i,
                         struct marking_list *out)
{
	struct plain one = *p;
	struct marking_list found = {.n = 0};
	struct scan scan = {.p = &one, .out = &found};
	/* Numbers alone count microfarads, for nothing smaller was made so. */
	const char *rest = p->text[s->rest] ? p->text + s->rest : "mfd";
	size_t head = s->to[i] - s->from[i];
	memmove(one.text, p->text + s->from[i], head);
	one.len = head + strlen(rest);
	if (one.len >= sizeof one.text)
		return false;
	memcpy(one.text + head, rest, strlen(rest) + 1);
	if (!one_value(&scan, 0))
		return false;
	for (int k = 0; k < found.n; k++) {
		struct marking *m = &found.at[k];
		/* Only electrolytics are made so. */
		static const struct decimal least = {1, -7};
		if (m->function != FUNCTION_FARAD || decimal_compare(m->value, least) < 0)
			continue;
		snprintf(m->note, sizeof m->note, "one of %d sections", s->count);
		marking_add(out, m);
	}
	return true;
}

bool sections_read(const struct plain *p, struct marking_list *out)
{
	struct sections s;
	if (!sections_at(p, &s))
		return false;
	struct marking_list found = {.n = 0};
	for (int i = 0; i < s.count; i++)
		if (!section_read(p, &s, i, &found))
			return false;
	for (int i = 0; i < found.n; i++)
		marking_add(out, &found.at[i]);
	return out->n > 0;
}

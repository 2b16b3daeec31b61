/* SPDX-License-Identifier: MIT */
/*
 * The dialect `ascii-unit`; the grammar stands in stream.h.
 *
 * The line is taken apart from both ends: coupling, number, then prefix and unit
 * have to fill it exactly.
 */
#include "protocol/meter/stream.h"

#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <string.h>

enum coupling { COUPLING_NONE, COUPLING_DC, COUPLING_AC };

/* What is left of the line. */
struct rest {
	const char *at, *end;
};

static size_t left(const struct rest *r)
{
	return (size_t)(r->end - r->at);
}

static void skip_spaces(struct rest *r)
{
	while (r->at < r->end && ascii_blank(*r->at))
		r->at++;
}

static void trim_spaces(struct rest *r)
{
	while (r->end > r->at && ascii_blank(r->end[-1]))
		r->end--;
}

/* `word` is in capitals; the text may have any case. */
static bool begins_with(const char *text, size_t len, const char *word)
{
	size_t i = 0;
	while (i < len && word[i] && ascii_upper(text[i]) == word[i])
		i++;
	return !word[i];
}

static bool nothing(struct understood *out, const char *why)
{
	out->said = SAID_NOTHING;
	out->count = 0;
	snprintf(out->why, sizeof out->why, "%s", why);
	return false;
}

static enum coupling coupling_at(const char *text, size_t len)
{
	if (begins_with(text, len, "DC"))
		return COUPLING_DC;
	return begins_with(text, len, "AC") ? COUPLING_AC : COUPLING_NONE;
}

/* Take DC or AC off either end of the line. */
static bool take_coupling(struct rest *r, enum coupling *out, struct understood *said)
{
	enum coupling first = coupling_at(r->at, left(r)), last = COUPLING_NONE;
	if (first) {
		r->at += 2;
		skip_spaces(r);
	}
	if (left(r) >= 2)
		last = coupling_at(r->end - 2, 2);
	if (last) {
		r->end -= 2;
		trim_spaces(r);
	}
	if (first && last)
		return nothing(said, "DC or AC once, first or last, was expected");
	*out = first ? first : last;
	return true;
}

/* OL, and the places where a display may put its point. */
static bool take_overload(struct rest *r)
{
	static const char *const forms[] = {"OL.", "OL", "O.L", ".OL"};
	if (r->at == r->end || (ascii_upper(*r->at) != 'O' && *r->at != '.'))
		return false; /* nearly always: a digit */
	for (size_t i = 0; i < sizeof forms / sizeof *forms; i++)
		if (begins_with(r->at, left(r), forms[i])) {
			r->at += strlen(forms[i]);
			return true;
		}
	return false;
}

/* The number, or the word that says there is none. */
static bool take_value(struct rest *r, struct reading *out, struct understood *said)
{
	bool minus = false;
	if (r->at < r->end && (*r->at == '+' || *r->at == '-')) {
		minus = *r->at == '-';
		r->at++;
		skip_spaces(r);
	}
	if (take_overload(r)) {
		out->state = READING_OVERLOAD;
		out->negative = minus;
		return true;
	}
	/* The sign is read here, so that spaces may follow it, and only one. */
	if (r->at == r->end || *r->at == '+' || *r->at == '-')
		return nothing(said, "a number or OL was expected");
	size_t n = decimal_read(r->at, left(r), &out->value);
	if (n == 0)
		return nothing(said, "a number of up to 18 digits, or OL, was expected");
	if (minus)
		out->value.n = -out->value.n;
	out->has_value = true;
	r->at += n;
	return true;
}

/* A unit that is all there is; a prefix is tried before it. */
static bool take_unit(struct rest *r, enum function *out)
{
#define WORD(w) w, sizeof w - 1
	static const struct {
		char word[4];
		unsigned char len;
		enum function function;
	} units[] = {
	    {WORD("V"), FUNCTION_VOLT_DC},       {WORD("A"), FUNCTION_AMP_DC},
	    {WORD("F"), FUNCTION_FARAD},         {WORD("Hz"), FUNCTION_HERTZ},
	    {WORD("HZ"), FUNCTION_HERTZ},        {WORD("H"), FUNCTION_HENRY},
	    {WORD("%"), FUNCTION_PERCENT},       {WORD("C"), FUNCTION_CELSIUS},
	    {WORD("\xc2\xb0" "C"), FUNCTION_CELSIUS}, {WORD("\xb0" "C"), FUNCTION_CELSIUS},
	    {WORD("\xce\xa9"), FUNCTION_OHM},    {WORD("\xe2\x84\xa6"), FUNCTION_OHM},
	};
	if (begins_with(r->at, left(r), "OHM")) {
		*out = FUNCTION_OHM;
		r->at += 3;
		if (left(r) == 1 && ascii_upper(*r->at) == 'S')
			r->at++;
		return r->at == r->end;
	}
	size_t len = left(r);
	for (size_t i = 0; i < sizeof units / sizeof *units && len; i++) {
		if (*r->at != units[i].word[0] || len != units[i].len ||
		    memcmp(r->at, units[i].word, len) != 0)
			continue;
		r->at = r->end;
		*out = units[i].function;
		return true;
	}
	return false;
}

/* The case of the letter is the whole difference between m and M. */
static bool take_prefix(struct rest *r, int *out)
{
	static const struct {
		char word[2];
		unsigned char len;
		signed char exponent;
	} prefixes[] = {
	    {"p", 1, -12},        {"n", 1, -9},     {"u", 1, -6}, {"\xc2\xb5", 2, -6},
	    {"\xce\xbc", 2, -6}, {"\xb5", 1, -6}, {"m", 1, -3}, {"k", 1, 3},
	    {"K", 1, 3},          {"M", 1, 6},      {"G", 1, 9},
	};
	for (size_t i = 0; i < sizeof prefixes / sizeof *prefixes; i++) {
		size_t n = prefixes[i].len;
		if (left(r) < n || *r->at != prefixes[i].word[0] || (n > 1 && r->at[1] != prefixes[i].word[1]))
			continue;
		r->at += n;
		*out = prefixes[i].exponent;
		return true;
	}
	return false;
}

static bool take_prefix_and_unit(struct rest *r, struct reading *out, struct understood *said)
{
	if (r->at == r->end)
		return nothing(said, "a unit was expected after the number");
	struct rest bare = *r;
	if (take_unit(&bare, &out->function))
		return true;
	if (!take_prefix(r, &out->prefix) || !take_unit(r, &out->function))
		return nothing(said, "a unit was expected: V A Ohm F H Hz C %, with p n u m k M G");
	if (out->function == FUNCTION_PERCENT || out->function == FUNCTION_CELSIUS)
		return nothing(said, "no prefix was expected before % or C");
	return true;
}

bool unit_doubtful(const char *line, const char *unit)
{
	char before = unit > line ? unit[-1] : ' ';
	return (ascii_digit(before) || before == '.') && (*unit == '\xb5' || *unit == '\xb0');
}

bool unit_read(const char *text, size_t len, enum function *f, int *prefix)
{
	struct rest r = {text, text + len};
	struct reading got = {0};
	struct understood ignored;
	if (!take_prefix_and_unit(&r, &got, &ignored))
		return false;
	*f = got.function;
	*prefix = got.prefix;
	return true;
}

static bool couple(struct reading *out, enum coupling coupling, struct understood *said)
{
	bool electric = out->function == FUNCTION_VOLT_DC || out->function == FUNCTION_AMP_DC;
	if (coupling == COUPLING_NONE)
		return true;
	if (!electric)
		return nothing(said, "DC or AC was expected with V or A only");
	if (coupling == COUPLING_AC)
		out->function =
		    out->function == FUNCTION_VOLT_DC ? FUNCTION_VOLT_AC : FUNCTION_AMP_AC;
	return true;
}

static bool read_line(struct rest line, struct reading *out, struct understood *said)
{
	enum coupling coupling;
	if (!take_coupling(&line, &coupling, said) || !take_value(&line, out, said))
		return false;
	const char *number_end = line.at;
	skip_spaces(&line);
	if (line.at < line.end && line.at == number_end && unit_doubtful(line.at - 1, line.at))
		return nothing(said, "a space was expected before a micro or degree sign of one byte");
	if (!take_prefix_and_unit(&line, out, said) || !couple(out, coupling, said))
		return false;
	if (!out->has_value)
		return true;
	out->value.e += out->prefix;
	if (out->value.e < DECIMAL_EXP_MIN || out->value.e > DECIMAL_EXP_MAX)
		return nothing(said, "a number within 1e-40 and 1e40 was expected");
	return true;
}

void ascii_unit_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                           const struct frame *f, struct understood *out)
{
	(void)setting; /* the line says all that there is to know */
	(void)memory;
	understood_clear(out, SAID_NOTHING);
	struct rest line = {f->bytes, f->bytes + f->len};
	skip_spaces(&line);
	trim_spaces(&line);
	if (line.at == line.end) {
		out->said = SAID_OTHER;
		return;
	}
	struct reading r = {.t = f->t};
	if (!read_line(line, &r, out))
		return;
	out->said = SAID_READINGS;
	out->reading[0] = r;
	out->count = 1;
}

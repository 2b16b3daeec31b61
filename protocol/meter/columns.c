/* SPDX-License-Identifier: MIT */
/* See columns.h. */
#include "protocol/meter/columns.h"

#include <stdio.h>
#include <string.h>

static const char *const meaning_word[COLUMN_MEANINGS] = {
#define X(id, word) word,
    COLUMN_MEANING_LIST(X)
#undef X
};

/* What a meaning says of the function (DC first), of the prefix, or of the state. */
static const struct {
	enum function function;
	int prefix;
	unsigned state;
} meaning[COLUMN_MEANINGS] = {
    [COLUMN_VOLT] = {.function = FUNCTION_VOLT_DC}, [COLUMN_AMP] = {.function = FUNCTION_AMP_DC},
    [COLUMN_OHM] = {.function = FUNCTION_OHM},      [COLUMN_FARAD] = {.function = FUNCTION_FARAD},
    [COLUMN_HENRY] = {.function = FUNCTION_HENRY},  [COLUMN_HERTZ] = {.function = FUNCTION_HERTZ},
    [COLUMN_CELSIUS] = {.function = FUNCTION_CELSIUS},
    [COLUMN_PERCENT] = {.function = FUNCTION_PERCENT},
    [COLUMN_PICO] = {.prefix = -12},  [COLUMN_NANO] = {.prefix = -9},
    [COLUMN_MICRO] = {.prefix = -6},  [COLUMN_MILLI] = {.prefix = -3},
    [COLUMN_KILO] = {.prefix = 3},    [COLUMN_MEGA] = {.prefix = 6},
    [COLUMN_GIGA] = {.prefix = 9},
    [COLUMN_OVERLOAD] = {.state = READING_OVERLOAD}, [COLUMN_HOLD] = {.state = READING_HOLD},
    [COLUMN_LOW_BATTERY] = {.state = READING_LOW_BATTERY},
    [COLUMN_RELATIVE] = {.state = READING_RELATIVE}, [COLUMN_MINMAX] = {.state = READING_MINMAX},
};

/* Fourteen characters as many handhelds send them (common practice, no source). */
const struct columns columns_14 = {
    .size = 14, .sign = 0, .digits_from = 1, .digits_to = 4, .point = 6,
    .points = {{'0', 4}, {'1', 1}, {'2', 2}, {'4', 3}}, .point_count = 4,
    .overload = "?0:?",
    .fixed = {{5, ' '}, {12, '\r'}, {13, '\n'}}, .fixed_count = 3,
    .flags = {{7, 0x20, COLUMN_IGNORE}, /* ranges by itself */
              {7, 0x10, COLUMN_DC}, {7, 0x08, COLUMN_AC}, {7, 0x04, COLUMN_RELATIVE},
              {7, 0x02, COLUMN_HOLD},
              {8, 0x20, COLUMN_MINMAX}, {8, 0x10, COLUMN_MINMAX},
              {8, 0x04, COLUMN_LOW_BATTERY}, {8, 0x02, COLUMN_NANO},
              {9, 0x80, COLUMN_MICRO}, {9, 0x40, COLUMN_MILLI}, {9, 0x20, COLUMN_KILO},
              {9, 0x10, COLUMN_MEGA}, {9, 0x08, COLUMN_IGNORE}, /* the buzzer */
              {9, 0x04, COLUMN_DIODE}, {9, 0x02, COLUMN_PERCENT},
              {10, 0x80, COLUMN_VOLT}, {10, 0x40, COLUMN_AMP}, {10, 0x20, COLUMN_OHM},
              {10, 0x08, COLUMN_HERTZ}, {10, 0x04, COLUMN_FARAD}, {10, 0x02, COLUMN_CELSIUS},
              {11, 0xff, COLUMN_IGNORE}}, /* the bar graph */
    .flag_count = 23,
};

bool column_meaning_find(const char *word, size_t len, enum column_meaning *out)
{
	for (int i = 0; i < COLUMN_MEANINGS; i++)
		if (strlen(meaning_word[i]) == len && memcmp(meaning_word[i], word, len) == 0) {
			*out = (enum column_meaning)i;
			return true;
		}
	return false;
}

static bool nothing(struct understood *out, const char *format, int column)
{
	out->said = SAID_NOTHING;
	out->count = 0;
	/* Every text below has at most one %d. */
	char text[96];
	size_t n = 0;
	for (const char *p = format; *p && n < sizeof text - 12; p++) {
		if (*p == '#')
			n += (size_t)snprintf(text + n, sizeof text - n, "%d", column);
		else
			text[n++] = *p;
	}
	text[n] = '\0';
	snprintf(out->why, sizeof out->why, "%s", text);
	return false;
}

/* ---- flags ---- */

struct flags {
	bool unit, prefix, ac, dc, diode, minus;
	enum function function;
	int exponent;
	unsigned state;
};

static bool take_meaning(enum column_meaning m, struct flags *f)
{
	if (meaning[m].function != FUNCTION_NONE) {
		if (f->unit)
			return false;
		f->unit = true;
		f->function = meaning[m].function;
	} else if (meaning[m].prefix) {
		if (f->prefix)
			return false;
		f->prefix = true;
		f->exponent = meaning[m].prefix;
	} else if (m == COLUMN_AC) {
		f->ac = true;
	} else if (m == COLUMN_DC) {
		f->dc = true;
	} else if (m == COLUMN_DIODE) {
		f->diode = true;
	} else if (m == COLUMN_MINUS) {
		f->minus = true;
	} else {
		f->state |= meaning[m].state;
	}
	return true;
}

static bool read_flags(const struct columns *c, const unsigned char *b, struct flags *f,
                       struct understood *out)
{
	unsigned char known[FRAME_MAX] = {0};
	bool flagged[FRAME_MAX] = {false};
	for (int i = 0; i < c->flag_count; i++) {
		int byte = c->flags[i].byte;
		flagged[byte] = true;
		known[byte] |= c->flags[i].mask;
		if (c->flags[i].means == COLUMN_IGNORE || !(b[byte] & c->flags[i].mask))
			continue;
		if (!take_meaning(c->flags[i].means, f))
			return nothing(out, "the flags of column # say two units or two prefixes", byte);
	}
	for (int i = 0; i < c->size; i++)
		if (flagged[i] && (b[i] & ~known[i]))
			return nothing(out, "a flag bit of column # is not known", i);
	return true;
}

/* One unit, AC or DC where it belongs, and the diode test on volts. */
static bool join_flags(struct flags *f, struct understood *out)
{
	bool electric = f->function == FUNCTION_VOLT_DC || f->function == FUNCTION_AMP_DC;
	if (f->diode && (!f->unit || f->function == FUNCTION_VOLT_DC)) {
		f->unit = true;
		f->function = FUNCTION_DIODE;
		electric = false;
	} else if (f->diode) {
		return nothing(out, "a diode test in another unit than volts", 0);
	}
	if (!f->unit)
		return nothing(out, "no flag says the unit", 0);
	if (f->ac && f->dc)
		return nothing(out, "AC and DC at once", 0);
	if (f->ac && electric)
		f->function = f->function == FUNCTION_VOLT_DC ? FUNCTION_VOLT_AC : FUNCTION_AMP_AC;
	if (f->ac && !electric)
		return nothing(out, "AC goes with volts and amperes only", 0);
	if (f->prefix && (f->function == FUNCTION_PERCENT || f->function == FUNCTION_CELSIUS))
		return nothing(out, "no prefix goes with percent and celsius", 0);
	return true;
}

/* ---- the number ---- */

static bool read_number(const struct columns *c, const char *b, struct reading *r,
                        struct understood *out)
{
	int width = c->digits_to - c->digits_from + 1;
	size_t n = strlen(c->overload);
	if (n && n == (size_t)width && memcmp(b + c->digits_from, c->overload, n) == 0) {
		r->state |= READING_OVERLOAD;
		return true;
	}
	int64_t value = 0;
	for (int i = c->digits_from; i <= c->digits_to; i++) {
		if (b[i] < '0' || b[i] > '9')
			return nothing(out, "a digit was expected in column #", i);
		value = value * 10 + (b[i] - '0');
	}
	int before = width;
	if (c->point >= 0) {
		int k = 0;
		while (k < c->point_count && c->points[k].code != b[c->point])
			k++;
		if (k == c->point_count)
			return nothing(out, "no code of the decimal point is in column #", c->point);
		before = c->points[k].before;
	}
	r->has_value = true;
	r->value = (struct decimal){value, before - width};
	return true;
}

static bool read_frame(const struct columns *c, const struct frame *f, struct reading *r,
                       struct understood *out)
{
	struct flags flags = {0};
	bool minus = false;
	if (f->len != (size_t)c->size)
		return nothing(out, "a frame of # bytes was expected", c->size);
	for (int i = 0; i < c->fixed_count; i++)
		if (f->bytes[c->fixed[i].at] != c->fixed[i].byte)
			return nothing(out, "another byte was expected in column #", c->fixed[i].at);
	if (c->sign >= 0) {
		char s = f->bytes[c->sign];
		if (s != '+' && s != '-' && s != ' ')
			return nothing(out, "a sign was expected in column #", c->sign);
		minus = s == '-';
	}
	if (!read_number(c, f->bytes, r, out) ||
	    !read_flags(c, (const unsigned char *)f->bytes, &flags, out) || !join_flags(&flags, out))
		return false;
	r->function = flags.function;
	r->prefix = flags.exponent;
	r->state |= flags.state;
	minus = minus || flags.minus;
	if (r->state & READING_OVERLOAD) {
		r->has_value = false;
		r->negative = minus;
		r->value = (struct decimal){0, 0};
		return true;
	}
	r->value.e += flags.exponent;
	if (minus)
		r->value.n = -r->value.n;
	return true;
}

void columns_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                        const struct frame *f, struct understood *out)
{
	(void)memory;
	memset(out, 0, sizeof *out);
	struct reading r = {.t = f->t};
	if (!read_frame(setting->rules, f, &r, out))
		return;
	out->said = SAID_READINGS;
	out->reading[0] = r;
	out->count = 1;
}

/* ---- rules of a file ---- */

static bool inside(int column, const struct columns *c, const char *what, struct fault *why)
{
	if (column >= 0 && column < c->size)
		return true;
	fault_set(why, "%s: column %d lies outside a frame of %d bytes", what, column, c->size);
	return false;
}

bool columns_check(const struct columns *c, struct fault *why)
{
	bool unit = false;
	if (c->size < 4 || c->size > FRAME_MAX) {
		fault_set(why, "a frame of 4 to %d bytes was expected, not %d", FRAME_MAX, c->size);
		return false;
	}
	int width = c->digits_to - c->digits_from + 1;
	if (width < 1 || width > 9) {
		fault_set(why, "1 to 9 digits were expected, as in `digits = 1-4`");
		return false;
	}
	if (!inside(c->digits_from, c, "digits", why) || !inside(c->digits_to, c, "digits", why))
		return false;
	if ((c->sign >= 0 && !inside(c->sign, c, "sign", why)) ||
	    (c->point >= 0 && !inside(c->point, c, "point", why)))
		return false;
	for (int i = 0; i < c->fixed_count; i++)
		if (!inside(c->fixed[i].at, c, "byte", why))
			return false;
	for (int i = 0; i < c->flag_count; i++) {
		if (!inside(c->flags[i].byte, c, "flag", why))
			return false;
		unit = unit || meaning[c->flags[i].means].function != FUNCTION_NONE ||
		       c->flags[i].means == COLUMN_DIODE;
	}
	for (int i = 0; i < c->point_count; i++)
		if (c->points[i].before < 0 || c->points[i].before > width) {
			fault_set(why, "point: %d digits before the point of %d digits", c->points[i].before,
			          width);
			return false;
		}
	if (!unit)
		fault_set(why, "no flag says the unit: `flag 10.7 = volt`, for one");
	return unit;
}

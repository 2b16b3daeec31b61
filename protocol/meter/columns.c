/* SPDX-License-Identifier: MIT */
/* See columns.h. */
#include "protocol/meter/columns.h"

#include <stdarg.h>
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
    [COLUMN_OVERLOAD] = {.state = READING_OVERLOAD}, [COLUMN_UNDER] = {.state = READING_UNDER},
    [COLUMN_HOLD] = {.state = READING_HOLD},
    [COLUMN_LOW_BATTERY] = {.state = READING_LOW_BATTERY},
    [COLUMN_RELATIVE] = {.state = READING_RELATIVE}, [COLUMN_MINMAX] = {.state = READING_MINMAX},
};

/* The prefixes that a display shows with a unit.  No meter shows kF or uHz: such a
 * frame was spoilt on the line.  (common practice, no source) */
static const struct {
	int low, high;
} prefixes[FUNCTION_COUNT] = {
    [FUNCTION_VOLT_DC] = {-6, 3}, [FUNCTION_VOLT_AC] = {-6, 3},
    [FUNCTION_AMP_DC] = {-9, 0},  [FUNCTION_AMP_AC] = {-9, 0},
    [FUNCTION_OHM] = {-3, 9},     [FUNCTION_FARAD] = {-12, -3},
    [FUNCTION_HENRY] = {-6, 0},   [FUNCTION_HERTZ] = {-3, 9},
    [FUNCTION_DIODE] = {-3, 0},
};

#define BYTE(n) {.column = (n)}
#define NOWHERE {.column = -1}

/* Fourteen characters as many handhelds send them (common practice, no source). */
const struct columns columns_14 = {
    .size = 14, .sign = 0, .digits = 4, .digit = {BYTE(1), BYTE(2), BYTE(3), BYTE(4)},
    .function = {.field = NOWHERE},
    .range = {{.field = BYTE(6), .first = 0, .count = 4}}, .ranges = 1,
    .codes = {{'0', 4, 0, 0}, {'1', 1, 0, 0}, {'2', 2, 0, 0}, {'4', 3, 0, 0}}, .code_count = 4,
    .overload = {"?0:?"}, .overloads = 1,
    .fixed = {{5, ' '}, {12, '\r'}, {13, '\n'}}, .fixed_count = 3,
    .flags = {{7, 0x20, COLUMN_IGNORE, 0}, /* ranges by itself */
              {7, 0x10, COLUMN_DC, 0}, {7, 0x08, COLUMN_AC, 0}, {7, 0x04, COLUMN_RELATIVE, 0},
              {7, 0x02, COLUMN_HOLD, 0},
              {8, 0x20, COLUMN_MINMAX, 0}, {8, 0x10, COLUMN_MINMAX, 0},
              {8, 0x04, COLUMN_LOW_BATTERY, 0}, {8, 0x02, COLUMN_NANO, 0},
              {9, 0x80, COLUMN_MICRO, 0}, {9, 0x40, COLUMN_MILLI, 0}, {9, 0x20, COLUMN_KILO, 0},
              {9, 0x10, COLUMN_MEGA, 0}, {9, 0x08, COLUMN_IGNORE, 0}, /* the buzzer */
              {9, 0x04, COLUMN_DIODE, 0}, {9, 0x02, COLUMN_PERCENT, 0},
              {10, 0x80, COLUMN_VOLT, 0}, {10, 0x40, COLUMN_AMP, 0}, {10, 0x20, COLUMN_OHM, 0},
              {10, 0x08, COLUMN_HERTZ, 0}, {10, 0x04, COLUMN_FARAD, 0},
              {10, 0x02, COLUMN_CELSIUS, 0},
              {11, 0xff, COLUMN_IGNORE, 0}}, /* the bar graph */
    .flag_count = 23,
    .known = {0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x3e, 0x36, 0xfe, 0xee, 0xff, 0xff, 0xff},
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

bool columns_say_unit(const struct columns *c)
{
	bool unit = c->has_function;
	for (int i = 0; i < c->flag_count; i++)
		unit = unit || meaning[c->flags[i].means].function != FUNCTION_NONE ||
		       c->flags[i].means == COLUMN_DIODE;
	return unit;
}

static bool nothing(struct understood *out, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

static bool nothing(struct understood *out, const char *format, ...)
{
	va_list args;
	va_start(args, format);
	vsnprintf(out->why, sizeof out->why, format, args);
	va_end(args);
	out->said = SAID_NOTHING;
	out->count = 0;
	return false;
}

static int field_place(const struct column_field *f)
{
	return f->bits ? f->bit[0].byte : f->column;
}

static unsigned char field_code(const struct column_field *f, const unsigned char *b)
{
	if (!f->bits)
		return b[f->column];
	unsigned code = 0;
	for (int i = 0; i < f->bits; i++)
		code = code << 1 | (b[f->bit[i].byte] & f->bit[i].mask ? 1u : 0u);
	return (unsigned char)code;
}

static const struct column_code *code_find(const struct columns *c, const struct column_table *t,
                                           const unsigned char *b)
{
	unsigned char code = field_code(&t->field, b);
	for (int i = t->first; i < t->first + t->count; i++)
		if (c->codes[i].code == code)
			return &c->codes[i];
	return NULL;
}

/* ---- flags ---- */

/* What the frame said so far. */
struct saying {
	bool unit, prefix, ac, dc, diode, minus, point;
	enum function function;
	int exponent, before;
	unsigned state;
};

static bool take_meaning(const struct column_flag *flag, struct saying *s, struct understood *out)
{
	enum column_meaning m = flag->means;
	if (meaning[m].function != FUNCTION_NONE) {
		if (s->unit)
			return nothing(out, "the flags of column %d say two units", flag->byte);
		s->unit = true;
		s->function = meaning[m].function;
	} else if (meaning[m].prefix) {
		if (s->prefix)
			return nothing(out, "the flags of column %d say two prefixes", flag->byte);
		s->prefix = true;
		s->exponent = meaning[m].prefix;
	} else if (m == COLUMN_POINT) {
		if (s->point)
			return nothing(out, "the flags of column %d say two points", flag->byte);
		s->point = true;
		s->before = flag->before;
	}
	s->ac = s->ac || m == COLUMN_AC;
	s->dc = s->dc || m == COLUMN_DC;
	s->diode = s->diode || m == COLUMN_DIODE;
	s->minus = s->minus || m == COLUMN_MINUS;
	s->state |= meaning[m].state;
	return true;
}

static void know_field(const struct column_field *f, unsigned char *known)
{
	if (!f->bits && f->column >= 0)
		known[f->column] = 0xff;
	for (int k = 0; k < f->bits; k++)
		known[f->bit[k].byte] |= f->bit[k].mask;
}

void columns_know(struct columns *c)
{
	unsigned char *known = c->known;
	memset(c->known, 0, sizeof c->known);
	for (int i = 0; i < c->flag_count; i++)
		known[c->flags[i].byte] |= c->flags[i].mask;
	for (int i = 0; i < c->fixed_count; i++)
		known[c->fixed[i].at] = 0xff;
	for (int i = 0; i < c->digits; i++)
		know_field(&c->digit[i], known);
	for (int i = 0; i < c->ranges; i++)
		know_field(&c->range[i].field, known);
	if (c->has_function)
		know_field(&c->function.field, known);
	if (c->sign >= 0)
		known[c->sign] = 0xff;
	for (int i = 0; i < c->size && c->numbered; i++)
		known[i] |= 0xf0;
}

static bool read_flags(const struct columns *c, const unsigned char *b, struct saying *s,
                       struct understood *out)
{
	for (int i = 0; i < c->size; i++)
		if (b[i] & ~c->known[i])
			return nothing(out, "a bit of column %d is set that is not known", i);
	for (int i = 0; i < c->flag_count; i++) {
		const struct column_flag *f = &c->flags[i];
		if (f->means == COLUMN_ALWAYS && (b[f->byte] & f->mask) != f->mask)
			return nothing(out, "a bit of column %d is clear that is always set", f->byte);
		if (f->means != COLUMN_IGNORE && b[f->byte] & f->mask && !take_meaning(f, s, out))
			return false;
	}
	return true;
}

/* ---- function, range ---- */

/* The table that holds for the function: its own, that of its DC, or the one for all. */
static const struct column_table *range_of(const struct columns *c, enum function f)
{
	enum function dc = f == FUNCTION_VOLT_AC  ? FUNCTION_VOLT_DC
	                   : f == FUNCTION_AMP_AC ? FUNCTION_AMP_DC
	                                          : f;
	const struct column_table *best = NULL;
	for (int i = 0; i < c->ranges; i++) {
		const struct column_table *t = &c->range[i];
		if (t->function == f)
			return t;
		if (t->function == dc || (!best && t->function == FUNCTION_NONE))
			best = t;
	}
	return best;
}

static bool read_function(const struct columns *c, const unsigned char *b, struct saying *s,
                          struct understood *out)
{
	if (!c->has_function)
		return true;
	const struct column_code *code = code_find(c, &c->function, b);
	if (!code)
		return nothing(out, "no code of a function is in column %d",
		               field_place(&c->function.field));
	if (s->unit)
		return nothing(out, "a code and a flag both say the function");
	s->unit = true;
	s->function = code->function;
	return true;
}

static bool read_range(const struct columns *c, const unsigned char *b, struct saying *s,
                       struct understood *out)
{
	const struct column_table *t = range_of(c, s->function);
	if (!t && c->ranges)
		return nothing(out, "no `range` says how %s is scaled", function_name(s->function));
	if (!t)
		return true;
	const struct column_code *code = code_find(c, t, b);
	if (!code)
		return nothing(out, "no code of the decimal point or range is in column %d",
		               field_place(&t->field));
	if (code->prefix && s->prefix)
		return nothing(out, "a code and a flag both say a prefix");
	if (code->before >= 0 && s->point)
		return nothing(out, "a code and a flag both say the point");
	s->prefix = s->prefix || code->prefix;
	s->exponent += code->prefix;
	if (code->before >= 0) {
		s->point = true;
		s->before = code->before;
	}
	return true;
}

/* ---- what goes together ---- */

static bool has_meaning(const struct columns *c, enum column_meaning m)
{
	for (int i = 0; i < c->flag_count; i++)
		if (c->flags[i].means == m)
			return true;
	return false;
}

/* AC or DC with volts and amperes, where the format says both; with nothing else. */
static bool couple(const struct columns *c, struct saying *s, struct understood *out)
{
	bool volt = s->function == FUNCTION_VOLT_DC || s->function == FUNCTION_VOLT_AC;
	bool amp = s->function == FUNCTION_AMP_DC || s->function == FUNCTION_AMP_AC;
	if (s->ac && s->dc)
		return nothing(out, "AC and DC at once");
	if (!volt && !amp) {
		if (s->ac || (s->dc && s->function != FUNCTION_DIODE))
			return nothing(out, "AC and DC go with volts and amperes only");
		return true;
	}
	if (!s->ac && !s->dc && has_meaning(c, COLUMN_AC) && has_meaning(c, COLUMN_DC))
		return nothing(out, "volts or amperes, and neither AC nor DC");
	if (s->ac)
		s->function = volt ? FUNCTION_VOLT_AC : FUNCTION_AMP_AC;
	return true;
}

/* A unit, the diode test on volts, a prefix that goes with it. */
static bool join(const struct columns *c, const struct dialect_setting *setting,
                 struct saying *s, struct understood *out)
{
	if (s->diode && s->unit && s->function != FUNCTION_VOLT_DC)
		return nothing(out, "a diode test in another unit than volts");
	if (s->diode) {
		s->unit = true;
		s->function = FUNCTION_DIODE;
	}
	if (!s->unit && columns_say_unit(c))
		return nothing(out, "no flag says the unit");
	if (!s->unit)
		s->function = setting->function != FUNCTION_NONE ? setting->function : FUNCTION_NUMBER;
	return couple(c, s, out);
}

static bool prefix_fits(const struct saying *s, struct understood *out)
{
	/* The farad on its own is none, either. */
	if (s->exponent >= prefixes[s->function].low && s->exponent <= prefixes[s->function].high)
		return true;
	return nothing(out, s->exponent ? "no meter shows %s with this prefix"
	                                : "no meter shows %s without a prefix",
	               function_name(s->function));
}

/* ---- the number ---- */

static char digit_shape(const struct columns *c, const struct column_field *f,
                        const unsigned char *b)
{
	unsigned char code = field_code(f, b);
	if (!f->bits)
		return (char)code;
	if (!c->shape_count)
		return code <= 9 ? (char)('0' + code) : '?';
	for (int i = 0; i < c->shape_count; i++)
		if (c->shapes[i].code == code)
			return c->shapes[i].shape;
	return '\0';
}

static bool read_number(const struct columns *c, const unsigned char *b, const struct saying *s,
                        struct reading *r, struct understood *out)
{
	char text[COLUMNS_DIGITS_MAX + 1] = "";
	int64_t value = 0;
	bool begun = false;
	for (int i = 0; i < c->digits; i++)
		text[i] = digit_shape(c, &c->digit[i], b);
	for (int i = 0; i < c->overloads; i++)
		if (memcmp(c->overload[i], text, (size_t)c->digits) == 0) {
			r->state |= READING_OVERLOAD;
			return true;
		}
	if (s->state & (READING_OVERLOAD | READING_UNDER))
		return true; /* the digits mean nothing then */
	for (int i = 0; i < c->digits; i++) {
		bool blank = c->blanks && !begun && text[i] == ' ' && i < c->digits - 1;
		if (!blank && (text[i] < '0' || text[i] > '9'))
			return nothing(out, "a digit was expected in column %d", field_place(&c->digit[i]));
		begun = begun || !blank;
		value = value * 10 + (blank ? 0 : text[i] - '0');
	}
	r->has_value = true;
	r->value = (struct decimal){value, s->point ? s->before - c->digits : 0};
	return true;
}

/* ---- the frame ---- */

static bool check_fixed(const struct columns *c, const struct frame *f, struct understood *out)
{
	if (f->len != (size_t)c->size)
		return nothing(out, "a frame of %d bytes was expected", c->size);
	for (int i = 0; i < c->fixed_count; i++)
		if (f->bytes[c->fixed[i].at] != c->fixed[i].byte)
			return nothing(out, "another byte was expected in column %d", c->fixed[i].at);
	for (int i = 0; i < c->size && c->numbered; i++)
		if ((unsigned char)f->bytes[i] >> 4 != i + 1)
			return nothing(out, "the number %d was expected in column %d", i + 1, i);
	return true;
}

static bool read_sign(const struct columns *c, const struct frame *f, struct saying *s,
                      struct understood *out)
{
	if (c->sign < 0)
		return true;
	char sign = f->bytes[c->sign];
	if (sign != '+' && sign != '-' && sign != ' ')
		return nothing(out, "a sign was expected in column %d", c->sign);
	s->minus = s->minus || sign == '-';
	return true;
}

static bool read_frame(const struct columns *c, const struct dialect_setting *setting,
                       const struct frame *f, struct reading *r, struct understood *out)
{
	const unsigned char *b = (const unsigned char *)f->bytes;
	struct saying s = {0};
	if (!check_fixed(c, f, out) || !read_sign(c, f, &s, out) || !read_flags(c, b, &s, out) ||
	    !read_function(c, b, &s, out) || !join(c, setting, &s, out) ||
	    !read_range(c, b, &s, out) || !prefix_fits(&s, out) || !read_number(c, b, &s, r, out))
		return false;
	r->function = s.function;
	r->prefix = s.exponent;
	r->state |= s.state;
	if (!r->has_value || r->state & (READING_OVERLOAD | READING_UNDER)) {
		r->has_value = false;
		r->negative = s.minus;
		r->value = (struct decimal){0, 0};
		return true;
	}
	r->value.e += s.exponent;
	if (s.minus)
		r->value.n = -r->value.n;
	return true;
}

void columns_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                        const struct frame *f, struct understood *out)
{
	(void)memory;
	understood_clear(out, SAID_NOTHING);
	struct reading r = {.t = f->t};
	if (!read_frame(setting->rules, setting, f, &r, out))
		return;
	out->said = SAID_READINGS;
	out->reading[0] = r;
	out->count = 1;
}

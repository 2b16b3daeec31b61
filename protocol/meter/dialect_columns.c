/* SPDX-License-Identifier: MIT */
/* The section [columns] of a dialect file, key by key: see dialect_file.h. */
#include "protocol/meter/dialect_draft.h"

#include <stdio.h>
#include <string.h>

#include "protocol/file/escape.h"

static struct spot shifted(const struct ini_item *i, const char *at)
{
	struct spot s = draft_value(i);
	s.column += (int)(at - i->value);
	return s;
}

/* ---- fields ---- */

/* Take down that the key speaks of these bits; all is compared when all is there. */
static bool claim(struct draft *t, const struct ini_item *i, int byte, unsigned char mask,
                  bool range, struct spot at, struct fault *why)
{
	struct draft_columns *c = &t->columns;
	if (c->claim_count == CLAIMS_MAX)
		return draft_wrong(t, why, at, "more than %d bits and bytes are spoken of", CLAIMS_MAX);
	struct claim *n = &c->claims[c->claim_count++];
	*n = (struct claim){.byte = byte, .mask = mask, .range = range, .at = at};
	snprintf(n->key, sizeof n->key, "%.23s", i->key);
	return true;
}

/* A number without sign at *p, at most `high`; moves on. */
static bool number_at(const char **p, int high, int *out)
{
	int n = 0;
	const char *from = *p;
	for (; **p >= '0' && **p <= '9' && *p - from < 4; ++*p)
		n = n * 10 + (**p - '0');
	*out = n;
	return *p > from && n <= high;
}

/* BYTE, or BYTE.BIT or BYTE.HIGH-LOW, several with spaces; ends at `:` or the end. */
static bool read_field(struct draft *t, const struct ini_item *i, const char **p,
                       struct column_field *f, struct fault *why)
{
	bool range = strncmp(i->key, "range", 5) == 0 || strcmp(i->key, "point") == 0;
	*f = (struct column_field){.column = -1};
	for (;;) {
		*p += strspn(*p, " ");
		struct spot at = shifted(i, *p);
		int byte, high = 0, low;
		if (!number_at(p, FRAME_MAX - 1, &byte))
			return draft_wrong(t, why, at, "`%s`: expected a column from 0 to %d, as in 6, 6.3 or "
			                   "6.3-0", i->key, FRAME_MAX - 1);
		if (**p != '.' && f->bits == 0 && f->column < 0) {
			f->column = byte;
			if (!claim(t, i, byte, 0xff, range, at, why))
				return false;
		} else if (**p != '.' || f->column >= 0) {
			return draft_wrong(t, why, at, "`%s`: expected one whole byte, or bits of bytes",
			                   i->key);
		} else {
			++*p;
			bool good = number_at(p, 7, &high);
			low = high;
			if (good && **p == '-') {
				++*p;
				good = number_at(p, 7, &low);
			}
			if (!good)
				return draft_wrong(t, why, shifted(i, *p), "`%s`: expected bits 0 to 7, as in 6.3 "
				                   "or 6.3-0", i->key);
			for (int bit = high, step = low < high ? -1 : 1; bit != low + step; bit += step) {
				if (f->bits == COLUMNS_BITS_MAX)
					return draft_wrong(t, why, at, "`%s`: at most %d bits were expected", i->key,
					                   COLUMNS_BITS_MAX);
				unsigned char mask = (unsigned char)(1u << bit);
				f->bit[f->bits].byte = (short)byte;
				f->bit[f->bits++].mask = mask;
				if (!claim(t, i, byte, mask, range, at, why))
					return false;
			}
		}
		size_t blank = strspn(*p, " ");
		if (!(*p)[blank] || (*p)[blank] == ':') {
			*p += blank;
			return true;
		}
		if (!blank)
			return draft_wrong(t, why, shifted(i, *p), "`%s`: expected a column, as in 6, 6.3 or "
			                   "6.3-0", i->key);
	}
}

/* ---- digits ---- */

/* `1-4`, `4,3,2,1`, `1,3-5`. */
static bool take_digits(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct columns *c = &t->d->columns;
	const char *p = i->value;
	t->columns.whole_digits = true;
	t->columns.digits = draft_value(i);
	for (;;) {
		struct spot at = shifted(i, p);
		int from, to;
		bool good = number_at(&p, FRAME_MAX - 1, &from);
		to = from;
		if (good && *p == '-') {
			p++;
			good = number_at(&p, FRAME_MAX - 1, &to);
		}
		if (!good || (*p && *p != ','))
			return draft_wrong(t, why, shifted(i, p), "`digits`: expected columns, as in 1-4 or "
			                   "4,3,2,1");
		for (int n = from, step = to < from ? -1 : 1; n != to + step; n += step) {
			if (c->digits == COLUMNS_DIGITS_MAX)
				return draft_wrong(t, why, at, "`digits`: at most %d were expected",
				                   COLUMNS_DIGITS_MAX);
			c->digit[c->digits++] = (struct column_field){.column = n};
			if (!claim(t, i, n, 0xff, false, at, why))
				return false;
		}
		if (!*p)
			return true;
		p++;
	}
}

static bool take_digit(struct draft *t, const struct ini_item *i, struct fault *why)
{
	int n;
	const char *p = i->value;
	if (!draft_whole(i->key + 6, 1, COLUMNS_DIGITS_MAX, &n))
		return draft_wrong(t, why, draft_key(i), "`digit 1` to `digit %d` were expected",
		                   COLUMNS_DIGITS_MAX);
	if (t->columns.digit_given & 1u << n)
		return draft_wrong(t, why, draft_key(i), "digit %d was given already", n);
	t->columns.digit_given |= 1u << n;
	if (!t->columns.digits.line)
		t->columns.digits = draft_key(i);
	if (!read_field(t, i, &p, &t->columns.digit[n - 1], why))
		return false;
	if (*p)
		return draft_wrong(t, why, shifted(i, p), "`%s`: expected bits, as in 2.3-0 3.3-0", i->key);
	return true;
}

/* One or two hex digits; -1 where they are none. */
static int hex_number(const char *p, size_t len)
{
	int n = 0;
	if (len < 1 || len > 2)
		return -1;
	for (size_t i = 0; i < len; i++) {
		const char *digit = p[i] ? strchr("0123456789abcdef", p[i] >= 'A' && p[i] <= 'F'
		                                                          ? p[i] - 'A' + 'a'
		                                                          : p[i])
		                         : NULL;
		if (!digit)
			return -1;
		n = n * 16 + (int)(digit - "0123456789abcdef");
	}
	return n;
}

static bool take_shape(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct columns *c = &t->d->columns;
	int code = hex_number(i->key + 6, strlen(i->key + 6));
	size_t len = 0;
	char shape;
	if (code < 0)
		return draft_wrong(t, why, draft_key(i), "`shape` and bits in hex were expected, as in "
		                   "`shape 7D = 0`");
	for (int k = 0; k < c->shape_count; k++)
		if (c->shapes[k].code == code)
			return draft_wrong(t, why, draft_key(i), "the shape %02X was given already", code);
	if (c->shape_count == COLUMNS_SHAPES_MAX)
		return draft_wrong(t, why, draft_key(i), "at most %d shapes were expected",
		                   COLUMNS_SHAPES_MAX);
	if (!draft_bytes(t, i, i->value, &shape, 1, &len, why))
		return false;
	if (len != 1)
		return draft_wrong(t, why, draft_value(i), "`%s`: expected one character", i->key);
	c->shapes[c->shape_count].code = (unsigned char)code;
	c->shapes[c->shape_count++].shape = shape;
	t->columns.shapes = draft_key(i);
	return true;
}

/* ---- tables ---- */

/* The code before a `=`: a character of a whole byte, hex of bits. */
static bool read_code(struct draft *t, const struct ini_item *i, const char **p,
                      const struct column_field *f, unsigned char *out, struct fault *why)
{
	const char *from = *p;
	if (!f->bits) {
		char c;
		size_t step = escape_read(from, strlen(from), &c);
		*out = (unsigned char)c;
		*p += step;
		if (step && **p == '=')
			return true;
		return draft_wrong(t, why, shifted(i, from), "`%s`: expected one character (or escape) "
		                   "and =", i->key);
	}
	size_t len = strcspn(from, "= ");
	int code = hex_number(from, len);
	*p += len;
	if (code < 0 || code >= 1 << f->bits || **p != '=')
		return draft_wrong(t, why, shifted(i, from), "`%s`: expected a number of %d bits in hex "
		                   "and =", i->key, f->bits);
	*out = (unsigned char)code;
	return true;
}

static bool read_codes(struct draft *t, const struct ini_item *i, const char *p,
                       struct column_table *table, bool functions, struct fault *why)
{
	struct columns *c = &t->d->columns;
	table->first = c->code_count;
	for (p += strspn(p, " "); *p; p += strspn(p, " ")) {
		struct column_code code = {.before = -1};
		struct spot at = shifted(i, p);
		int before = -1, exponent = 0;
		if (c->code_count == COLUMNS_CODES_MAX)
			return draft_wrong(t, why, at, "more than %d codes", COLUMNS_CODES_MAX);
		if (!read_code(t, i, &p, &table->field, &code.code, why))
			return false;
		size_t len = strcspn(++p, " ");
		if (functions ? !function_from_name(p, len, &code.function) ||
		                    code.function == FUNCTION_NONE
		              : !draft_scale(p, len, &before, &exponent))
			return draft_wrong(t, why, shifted(i, p), "`%s`: expected %s", i->key,
			                   functions ? "a function such as ohm, farad, volt-dc"
			                             : "digits before the point and a prefix, as in 2, 2k, M");
		code.before = (signed char)before;
		code.prefix = (signed char)exponent;
		for (int k = table->first; k < c->code_count; k++)
			if (c->codes[k].code == code.code)
				return draft_wrong(t, why, at, "`%s`: this code was given already", i->key);
		t->columns.code[c->code_count] = at;
		c->codes[c->code_count++] = code;
		p += len;
	}
	table->count = c->code_count - table->first;
	if (table->count == 0)
		return draft_wrong(t, why, shifted(i, p), "`%s`: expected codes, as in 1=2", i->key);
	return true;
}

static bool read_table(struct draft *t, const struct ini_item *i, struct column_table *table,
                       bool functions, struct fault *why)
{
	const char *p = i->value;
	if (!read_field(t, i, &p, &table->field, why))
		return false;
	if (*p != ':')
		return draft_wrong(t, why, shifted(i, p), "`%s`: expected a colon and codes, as in "
		                   "`6: 0=4 1=1`", i->key);
	return read_codes(t, i, p + 1, table, functions, why);
}

static bool take_range(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct columns *c = &t->d->columns;
	struct column_table table = {.function = FUNCTION_NONE};
	const char *word = strchr(i->key, ' ');
	if (word && (!function_from_name(word + 1, strlen(word + 1), &table.function) ||
	             table.function == FUNCTION_NONE))
		return draft_wrong(t, why, draft_key(i), "`%.40s`: expected `range` and a function such "
		                   "as ohm", i->key);
	for (int k = 0; k < c->ranges; k++)
		if (c->range[k].function == table.function)
			return draft_wrong(t, why, draft_key(i), "`%s`: a range or point for %s was given "
			                   "already", i->key,
			                   word ? function_name(table.function) : "all functions");
	if (c->ranges == COLUMNS_TABLES_MAX)
		return draft_wrong(t, why, draft_key(i), "at most %d ranges were expected",
		                   COLUMNS_TABLES_MAX);
	if (!read_table(t, i, &table, false, why))
		return false;
	c->range[c->ranges++] = table;
	return true;
}

/* ---- flags, bytes ---- */

/* `flag 7.3 = ac`, `flag 11 = ignore`; left or right is settled when all is read. */
static bool take_flag(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct columns *c = &t->d->columns;
	const char *p = i->key + 5, *value = i->value;
	size_t len = strcspn(value, " ");
	enum column_meaning means;
	int byte, bit = -1, before = 0;
	bool good = number_at(&p, FRAME_MAX - 1, &byte);
	if (good && *p == '.') {
		p++;
		good = number_at(&p, 7, &bit);
	}
	if (!good || *p)
		return draft_wrong(t, why, draft_key(i),
		                   "`flag BYTE.BIT` was expected, bits 0 to 7, as in `flag 7.3 = ac`");
	bool known = column_meaning_find(value, len, &means);
	const char *rest = value + len + strspn(value + len, " ");
	if (known && means == COLUMN_POINT)
		known = draft_whole(rest, 0, COLUMNS_DIGITS_MAX, &before);
	else
		known = known && !*rest;
	if (!known || (bit < 0 && means != COLUMN_IGNORE))
		return draft_wrong(t, why, draft_value(i), bit < 0
		                   ? "`%s`: a whole byte can only be `ignore`; name its bits, as in "
		                     "`flag 7.3`"
		                   : "`%s`: expected volt, amp, ohm, farad, henry, hertz, celsius, percent, "
		                     "diode, pico ... giga, ac, dc, overload, under, hold, low-battery, "
		                     "relative, min-max, minus, point N, always or ignore", i->key);
	if (c->flag_count == COLUMNS_FLAGS_MAX)
		return draft_wrong(t, why, draft_key(i), "at most %d flags were expected",
		                   COLUMNS_FLAGS_MAX);
	unsigned char mask = bit < 0 ? 0xff : (unsigned char)(1u << bit);
	t->columns.flag[c->flag_count] = draft_value(i);
	c->flags[c->flag_count++] = (struct column_flag){(short)byte, mask, means, (signed char)before};
	return claim(t, i, byte, mask, false, draft_key(i), why);
}

static bool take_byte(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct columns *c = &t->d->columns;
	int at;
	char byte;
	size_t len;
	if (!draft_whole(i->key + 5, 0, FRAME_MAX - 1, &at))
		return draft_wrong(t, why, draft_key(i), "`byte` and a column from 0 to %d were expected",
		                   FRAME_MAX - 1);
	if (!draft_bytes(t, i, i->value, &byte, 1, &len, why))
		return false;
	if (len != 1)
		return draft_wrong(t, why, draft_value(i), "`%s`: expected one character (a blank is "
		                   "\\x20)", i->key);
	if (c->fixed_count == COLUMNS_FIXED_MAX)
		return draft_wrong(t, why, draft_key(i), "at most %d bytes that are always there were "
		                   "expected", COLUMNS_FIXED_MAX);
	c->fixed[c->fixed_count].at = (short)at;
	c->fixed[c->fixed_count++].byte = byte;
	return claim(t, i, at, 0xff, false, draft_key(i), why);
}

static bool take_overload(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct columns *c = &t->d->columns;
	size_t len;
	if (c->overloads == COLUMNS_OVERLOADS_MAX)
		return draft_wrong(t, why, draft_key(i), "at most %d overloads were expected",
		                   COLUMNS_OVERLOADS_MAX);
	if (!draft_bytes(t, i, i->value, c->overload[c->overloads], COLUMNS_DIGITS_MAX, &len, why))
		return false;
	c->overload[c->overloads][len] = '\0';
	t->columns.overload[c->overloads++] = draft_value(i);
	return true;
}

bool draft_take_columns(struct draft *t, const struct ini_item *i, struct fault *why)
{
	struct columns *c = &t->d->columns;
	static const char *const sides[] = {"right", "left", NULL}, *const blanks[] = {
	    "none", "leading", NULL};
	const char *key = i->key;
	int n;
	if (strncmp(key, "flag ", 5) == 0)
		return take_flag(t, i, why);
	if (strncmp(key, "byte ", 5) == 0)
		return take_byte(t, i, why);
	if (strncmp(key, "digit ", 6) == 0)
		return take_digit(t, i, why);
	if (strncmp(key, "shape ", 6) == 0)
		return take_shape(t, i, why);
	if (strcmp(key, "digits") == 0)
		return take_digits(t, i, why);
	if (strcmp(key, "point") == 0 || strcmp(key, "range") == 0 || strncmp(key, "range ", 6) == 0)
		return take_range(t, i, why);
	if (strcmp(key, "overload") == 0 || strncmp(key, "overload ", 9) == 0)
		return take_overload(t, i, why);
	if (strcmp(key, "function") == 0) {
		c->has_function = true;
		return read_table(t, i, &c->function, true, why);
	}
	if (strcmp(key, "size") == 0 && draft_whole(i->value, 2, FRAME_MAX, &c->size)) {
		t->columns.size = draft_value(i);
		return true;
	}
	if (strcmp(key, "sign") == 0 && draft_whole(i->value, 0, FRAME_MAX - 1, &c->sign))
		return claim(t, i, c->sign, 0xff, false, draft_value(i), why);
	if (strcmp(key, "bits") == 0 && draft_one_of(i->value, sides, &n)) {
		t->columns.bits_left = n == 1;
		return true;
	}
	if (strcmp(key, "blanks") == 0 && draft_one_of(i->value, blanks, &n)) {
		c->blanks = n == 1;
		return true;
	}
	static const char *const keys[] = {"size", "sign", "bits", "blanks", NULL};
	static const char *const want[] = {"a number of bytes from 2 to 256", "a column from 0 to 255",
	                                   "right or left", "leading or none"};
	if (draft_one_of(key, keys, &n))
		return draft_wrong(t, why, draft_value(i), "`%s`: expected %s", key, want[n]);
	return draft_wrong(t, why, draft_key(i), "unknown key `%.40s` of [columns]: expected size, "
	                   "sign, digits, digit N, shape, blanks, point, range, function, overload, "
	                   "byte N, bits, flag BYTE.BIT", key);
}

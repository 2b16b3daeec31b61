/* SPDX-License-Identifier: MIT */
/* See pattern.h. */
#include "protocol/meter/pattern.h"

#define PCRE2_CODE_UNIT_WIDTH 8
#include <pcre2.h>
#include <stdio.h>
#include <string.h>

#include "protocol/meter/stream.h"
#include "protocol/trade/ascii.h"

/* A frame of FRAME_MAX bytes takes a sane pattern some thousand steps.  A group that
 * repeats byte by byte nests as deep as the frame is long. */
#define STEPS_MAX 20000
#define DEPTH_MAX 1000
#define HEAP_MAX_KIB 1024

enum part {
	PART_VALUE, PART_SIGN, PART_PREFIX, PART_UNIT, PART_COUPLING, PART_FUNCTION, PART_RANGE,
	PART_OVERLOAD, PART_UNDER, PART_HOLD, PART_BATTERY, PART_RELATIVE, PART_SECOND, PARTS
};
_Static_assert(PARTS == PATTERN_PARTS, "a name for each part");

static const char *const part_name[PARTS] = {"value", "sign", "prefix", "unit", "coupling",
                                             "function", "range", "overload", "under", "hold",
                                             "battery", "relative", "second"};

/* ---- compiling ---- */

/* Where in the text the name of a part stands, for the fault. */
static int name_column(const char *text, size_t len, const char *name)
{
	size_t n = strlen(name);
	for (size_t i = 2; i + n < len; i++) {
		char end = text[i + n];
		if (memcmp(text + i, name, n) == 0 && (text[i - 1] == '<' || text[i - 1] == '\'') &&
		    (end == '>' || end == '\''))
			return (int)i + 1;
	}
	return 1;
}

static bool place_part(struct pattern *p, int k, int number)
{
	for (int i = 0; i < PATTERN_SAME_MAX; i++)
		if (!p->part[k][i]) {
			p->part[k][i] = number;
			return true;
		}
	return false;
}

static bool find_parts(struct pattern *p, const char *text, size_t len, struct fault *why)
{
	uint32_t count = 0, size = 0;
	PCRE2_SPTR table = NULL;
	pcre2_pattern_info(p->value.code, PCRE2_INFO_NAMECOUNT, &count);
	pcre2_pattern_info(p->value.code, PCRE2_INFO_NAMEENTRYSIZE, &size);
	pcre2_pattern_info(p->value.code, PCRE2_INFO_NAMETABLE, &table);
	for (uint32_t i = 0; i < count; i++, table += size) {
		const char *name = (const char *)table + 2;
		int k = 0, column = name_column(text, len, name);
		while (k < PARTS && strcmp(part_name[k], name) != 0)
			k++;
		if (k == PARTS) {
			fault_at(why, NULL, 0, column, "the part `%s` is none of value, sign, prefix, unit, "
			         "coupling, function, range, overload, under, hold, battery, relative, second", name);
			return false;
		}
		if (!place_part(p, k, table[0] << 8 | table[1])) {
			fault_at(why, NULL, 0, column, "the part `%s` stands more than %d times", name,
			         PATTERN_SAME_MAX);
			return false;
		}
	}
	if (p->part[PART_VALUE][0])
		return true;
	fault_at(why, NULL, 0, 1, "the pattern has no part (?<value>...)");
	return false;
}

static bool find_number(struct pattern *p, struct fault *why)
{
	p->error_number = pcre2_substring_number_from_name(p->error.code, (PCRE2_SPTR) "number");
	if (p->error_number > 0)
		return true;
	fault_at(why, NULL, 0, 1, "the pattern has no part (?<number>...), or several");
	return false;
}

static bool compile(struct pattern_code *c, const char *text, size_t len, struct fault *why)
{
	int error;
	PCRE2_SIZE at;
	if (len > PATTERN_TEXT_MAX) {
		fault_at(why, NULL, 0, PATTERN_TEXT_MAX + 1, "a pattern of at most %d bytes was expected",
		         PATTERN_TEXT_MAX);
		return false;
	}
	c->code = pcre2_compile((PCRE2_SPTR)text, len,
	                        PCRE2_ANCHORED | PCRE2_ENDANCHORED | PCRE2_NEVER_UTF |
	                            PCRE2_NEVER_BACKSLASH_C | PCRE2_DOLLAR_ENDONLY | PCRE2_DUPNAMES,
	                        &error, &at, NULL);
	if (!c->code) {
		PCRE2_UCHAR message[160];
		pcre2_get_error_message(error, message, sizeof message);
		fault_at(why, NULL, 0, (int)at + 1, "pattern: %s", (const char *)message);
		return false;
	}
	c->match = pcre2_match_data_create_from_pattern(c->code, NULL);
	if (!c->match)
		fault_at(why, NULL, 0, 1, "out of memory");
	return c->match != NULL;
}

bool pattern_compile(struct pattern *p, enum pattern_sort sort, const char *text, size_t len,
                     struct fault *why)
{
	struct pattern_code *c = sort == PATTERN_VALUE      ? &p->value
	                         : sort == PATTERN_IDENTITY ? &p->identity
	                                                    : &p->error;
	if (!p->context && !(p->context = pcre2_match_context_create(NULL))) {
		fault_at(why, NULL, 0, 1, "out of memory");
		return false;
	}
	pcre2_set_match_limit(p->context, STEPS_MAX);
	pcre2_set_depth_limit(p->context, DEPTH_MAX);
	pcre2_set_heap_limit(p->context, HEAP_MAX_KIB);
	if (!compile(c, text, len, why))
		return false;
	if (sort == PATTERN_VALUE)
		return find_parts(p, text, len, why);
	return sort == PATTERN_IDENTITY || find_number(p, why);
}

void pattern_free(struct pattern *p)
{
	struct pattern_code *codes[] = {&p->value, &p->identity, &p->error};
	for (size_t i = 0; i < sizeof codes / sizeof *codes; i++) {
		pcre2_match_data_free(codes[i]->match);
		pcre2_code_free(codes[i]->code);
		*codes[i] = (struct pattern_code){NULL, NULL};
	}
	pcre2_match_context_free(p->context);
	p->context = NULL;
}

bool pattern_says_function(const struct pattern *p)
{
	return p->part[PART_UNIT][0] || p->part[PART_FUNCTION][0];
}

/* ---- pieces of a frame ---- */

struct piece {
	const char *at; /* NULL: not there */
	size_t len;
};

static struct piece piece_number(const struct pattern_code *c, const char *bytes, int n)
{
	const PCRE2_SIZE *ends = pcre2_get_ovector_pointer(c->match);
	if (ends[2 * n] == PCRE2_UNSET || ends[2 * n + 1] < ends[2 * n])
		return (struct piece){NULL, 0};
	return (struct piece){bytes + ends[2 * n], ends[2 * n + 1] - ends[2 * n]};
}

static struct piece piece_of(const struct pattern *p, const char *bytes, enum part part)
{
	struct piece piece = {NULL, 0};
	for (int i = 0; i < PATTERN_SAME_MAX && p->part[part][i] && !piece.at; i++)
		piece = piece_number(&p->value, bytes, p->part[part][i]);
	return piece;
}

static bool is(struct piece piece, const char *word)
{
	return piece.at && piece.len == strlen(word) && memcmp(piece.at, word, piece.len) == 0;
}

static const struct pattern_word *word_find(const struct pattern_word *words, int count,
                                            struct piece piece)
{
	for (int i = 0; i < count; i++)
		if (is(piece, words[i].text))
			return &words[i];
	return NULL;
}

static bool nothing(struct understood *out, const char *why)
{
	out->said = SAID_NOTHING;
	out->count = 0;
	snprintf(out->why, sizeof out->why, "%s", why);
	return false;
}

/* ---- the number ---- */

static bool read_digits(const struct pattern *p, struct piece value, struct decimal *out)
{
	char text[64];
	if (!value.at || value.len >= sizeof text)
		return false;
	if (!p->point)
		return decimal_parse(value.at, value.len, out);
	/* Another point: one that is not its own is no number. */
	for (size_t i = 0; i < value.len; i++) {
		if (value.at[i] == '.')
			return false;
		text[i] = value.at[i] == p->point ? '.' : value.at[i];
	}
	return decimal_parse(text, value.len, out);
}

static bool read_value(const struct pattern *p, const char *bytes, struct reading *r,
                       struct understood *out)
{
	struct piece value = piece_of(p, bytes, PART_VALUE), sign = piece_of(p, bytes, PART_SIGN);
	bool minus = is(sign, "-");
	bool over = piece_of(p, bytes, PART_OVERLOAD).len > 0;
	bool under = piece_of(p, bytes, PART_UNDER).len > 0;
	if (sign.len && !minus && !is(sign, "+") && !is(sign, " "))
		return nothing(out, "the part `sign` is neither +, - nor a space");
	for (int i = 0; i < p->overloads; i++)
		over = over || is(value, p->overload[i]);
	if (over || under) {
		r->state |= over ? READING_OVERLOAD : READING_UNDER;
		r->negative = minus;
		return true;
	}
	if (!read_digits(p, value, &r->value))
		return nothing(out, "the part `value` is no number of up to 18 digits");
	if (sign.len && (*value.at == '+' || *value.at == '-'))
		return nothing(out, "two signs: the parts `sign` and `value` both have one");
	r->has_value = true;
	if (minus)
		r->value.n = -r->value.n;
	return true;
}

/* ---- function and prefix ---- */

static bool read_function(const struct pattern *p, const struct dialect_setting *setting,
                          const char *bytes, struct reading *r, struct understood *out)
{
	struct piece unit = piece_of(p, bytes, PART_UNIT);
	struct piece function = piece_of(p, bytes, PART_FUNCTION);
	const struct pattern_word *w;
	r->function = setting->function;
	if (unit.len && unit_doubtful(bytes, unit.at))
		return nothing(out, "the byte before the unit may be a spoilt digit");
	if (unit.len && (w = word_find(p->unit, p->units, unit))) {
		r->function = w->function;
		r->prefix = w->exponent;
	} else if (unit.len && !unit_read(unit.at, unit.len, &r->function, &r->prefix)) {
		return nothing(out, "the part `unit` is no unit, and no `unit` line has it");
	}
	if (function.len) {
		if (!(w = word_find(p->function, p->functions, function)))
			return nothing(out, "no `function` line has the text of the part `function`");
		r->function = w->function;
	}
	if (r->function == FUNCTION_NONE && pattern_says_function(p))
		return nothing(out, "neither unit nor function is said: set `function`");
	if (r->function == FUNCTION_NONE)
		r->function = FUNCTION_NUMBER;
	return true;
}

static bool add_prefix(struct reading *r, int exponent, struct understood *out)
{
	if (r->prefix && exponent)
		return nothing(out, "a prefix twice");
	r->prefix += exponent;
	return true;
}

static bool read_prefix(const struct pattern *p, const char *bytes, struct reading *r,
                        struct understood *out)
{
	struct piece prefix = piece_of(p, bytes, PART_PREFIX);
	const struct pattern_word *w;
	int exponent;
	if (!prefix.len)
		return true;
	if ((w = word_find(p->prefix, p->prefixes, prefix)))
		exponent = w->exponent;
	else if (prefix.len != 1 || !prefix_exponent(*prefix.at == 'K' ? 'k' : *prefix.at, &exponent))
		return nothing(out, "the part `prefix` is no SI prefix, and no `prefix` line has it");
	return add_prefix(r, exponent, out);
}

static bool couple(const struct pattern *p, const char *bytes, struct reading *r,
                   struct understood *out)
{
	struct piece c = piece_of(p, bytes, PART_COUPLING);
	bool ac = is(c, "AC") || is(c, "ac") || is(c, "Ac");
	bool dc = is(c, "DC") || is(c, "dc") || is(c, "Dc");
	bool volt = r->function == FUNCTION_VOLT_DC || r->function == FUNCTION_VOLT_AC;
	bool amp = r->function == FUNCTION_AMP_DC || r->function == FUNCTION_AMP_AC;
	if (!c.len)
		return true;
	if (!ac && !dc)
		return nothing(out, "the part `coupling` is neither AC nor DC");
	if (!volt && !amp)
		return nothing(out, "AC and DC go with volts and amperes only");
	if (volt)
		r->function = ac ? FUNCTION_VOLT_AC : FUNCTION_VOLT_DC;
	else
		r->function = ac ? FUNCTION_AMP_AC : FUNCTION_AMP_DC;
	return true;
}

/* The point from the range: of a number that has none of its own. */
static bool read_range(const struct pattern *p, const char *bytes, struct reading *r,
                       struct understood *out)
{
	struct piece range = piece_of(p, bytes, PART_RANGE), value = piece_of(p, bytes, PART_VALUE);
	const struct pattern_word *w = NULL;
	if (!range.len)
		return true;
	for (int i = 0; i < p->ranges; i++) {
		bool own = p->range[i].function == r->function;
		if (is(range, p->range[i].text) && (own || (!w && p->range[i].function == FUNCTION_NONE)))
			w = &p->range[i];
	}
	if (!w)
		return nothing(out, "no `range` line has the text of the part `range` for this function");
	if (!add_prefix(r, w->exponent, out))
		return false;
	if (!r->has_value || w->before < 0)
		return true;
	int digits = 0;
	for (size_t i = 0; i < value.len; i++) {
		if (ascii_digit(value.at[i]))
			digits++;
		else if (i > 0 || (value.at[i] != '+' && value.at[i] != '-'))
			return nothing(out, "a range and a point of its own");
	}
	if (w->before > digits)
		return nothing(out, "fewer digits than the range has before the point");
	r->value.e = w->before - digits;
	return true;
}

/* ---- the frame ---- */

static bool read_match(const struct pattern *p, const struct dialect_setting *setting,
                       const char *bytes, struct reading *r, struct understood *out)
{
	if (!read_value(p, bytes, r, out) || !read_function(p, setting, bytes, r, out) ||
	    !read_prefix(p, bytes, r, out) || !couple(p, bytes, r, out) ||
	    !read_range(p, bytes, r, out))
		return false;
	if (piece_of(p, bytes, PART_HOLD).len)
		r->state |= READING_HOLD;
	if (piece_of(p, bytes, PART_BATTERY).len)
		r->state |= READING_LOW_BATTERY;
	if (piece_of(p, bytes, PART_RELATIVE).len)
		r->state |= READING_RELATIVE;
	bool bare = r->function == FUNCTION_CELSIUS || r->function == FUNCTION_PERCENT;
	if (bare && r->prefix)
		return nothing(out, "no prefix goes with percent and celsius");
	if (!r->has_value)
		return true;
	struct piece second = piece_of(p, bytes, PART_SECOND);
	r->has_second = second.len > 0 && read_digits(p, second, &r->second);
	if (second.len && !r->has_second)
		return nothing(out, "the part `second` is no number of up to 18 digits");
	r->value.e += r->prefix;
	if (r->value.e < DECIMAL_EXP_MIN || r->value.e > DECIMAL_EXP_MAX)
		return nothing(out, "a number within 1e-40 and 1e40 was expected");
	return true;
}

/* Does it match the whole frame?  Meeting a limit is said in *out. */
static bool matches(const struct pattern *p, const struct pattern_code *c, const struct frame *f,
                    struct understood *out)
{
	if (!c->code || out->why[0])
		return false;
	int got = pcre2_match(c->code, (PCRE2_SPTR)f->bytes, f->len, 0, 0, c->match, p->context);
	if (got <= 0 && got != PCRE2_ERROR_NOMATCH)
		nothing(out, "the pattern takes too many steps on this frame");
	return got > 0;
}

static void keep_text(const struct frame *f, struct understood *out)
{
	size_t n = f->len < sizeof out->text - 1 ? f->len : sizeof out->text - 1;
	for (size_t i = 0; i < n; i++)
		out->text[i] = f->bytes[i] >= 0x20 && f->bytes[i] <= 0x7e ? f->bytes[i] : '?';
	out->text[n] = '\0';
}

static void say_error(const struct pattern *p, const struct frame *f, struct understood *out)
{
	struct piece number = piece_number(&p->error, f->bytes, p->error_number);
	struct decimal d, whole;
	if (!number.at || !decimal_parse(number.at, number.len, &d) || !decimal_rescale(d, 0, &whole) ||
	    whole.n < -1000000 || whole.n > 1000000) {
		nothing(out, "the part `number` is no whole number");
		return;
	}
	out->said = SAID_ERROR;
	out->error_number = (int)whole.n;
	keep_text(f, out);
}

void pattern_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                        const struct frame *f, struct understood *out)
{
	const struct pattern *p = setting->rules;
	struct reading r = {.t = f->t};
	(void)memory;
	understood_clear(out, SAID_NOTHING);
	if (f->len == 0) {
		out->said = SAID_OTHER;
	} else if (matches(p, &p->identity, f, out)) {
		out->said = SAID_IDENTITY;
		keep_text(f, out);
	} else if (matches(p, &p->error, f, out)) {
		say_error(p, f, out);
	} else if (matches(p, &p->value, f, out)) {
		if (!read_match(p, setting, f->bytes, &r, out))
			return;
		out->said = SAID_READINGS;
		out->reading[0] = r;
		out->count = 1;
	} else if (!out->why[0]) {
		nothing(out, "the pattern does not match the whole frame");
	}
}

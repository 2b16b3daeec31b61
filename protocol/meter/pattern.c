/* SPDX-License-Identifier: MIT */
/* See pattern.h. */
#include "protocol/meter/pattern.h"

#define PCRE2_CODE_UNIT_WIDTH 8
#include <pcre2.h>
#include <stdio.h>
#include <string.h>

#include "protocol/meter/stream.h"

/* A frame of FRAME_MAX bytes takes a sane pattern some thousand steps. */
#define STEPS_MAX 20000
#define DEPTH_MAX 250
#define HEAP_MAX_KIB 1024

enum part {
	PART_VALUE, PART_SIGN, PART_PREFIX, PART_UNIT, PART_COUPLING, PART_FUNCTION,
	PART_OVERLOAD, PART_HOLD, PART_BATTERY, PARTS
};

static const char *const part_name[PARTS] = {"value", "sign", "prefix", "unit", "coupling",
                                             "function", "overload", "hold", "battery"};

/* ---- compiling ---- */

static bool find_parts(struct pattern *p, struct fault *why)
{
	uint32_t count = 0, size = 0;
	PCRE2_SPTR table = NULL;
	pcre2_pattern_info(p->code, PCRE2_INFO_NAMECOUNT, &count);
	pcre2_pattern_info(p->code, PCRE2_INFO_NAMEENTRYSIZE, &size);
	pcre2_pattern_info(p->code, PCRE2_INFO_NAMETABLE, &table);
	for (uint32_t i = 0; i < count; i++, table += size) {
		const char *name = (const char *)table + 2;
		int k = 0;
		while (k < PARTS && strcmp(part_name[k], name) != 0)
			k++;
		if (k == PARTS) {
			fault_at(why, NULL, 0, 1, "the part `%s` is none of value, sign, prefix, unit, "
			         "coupling, function, overload, hold, battery", name);
			return false;
		}
		p->part[k] = table[0] << 8 | table[1];
	}
	if (p->part[PART_VALUE])
		return true;
	fault_at(why, NULL, 0, 1, "the pattern has no part (?<value>...)");
	return false;
}

bool pattern_compile(struct pattern *p, const char *text, size_t len, struct fault *why)
{
	int error;
	PCRE2_SIZE at;
	p->code = p->match = p->context = NULL;
	memset(p->part, 0, sizeof p->part);
	if (len > PATTERN_TEXT_MAX) {
		fault_at(why, NULL, 0, 1, "a pattern of at most %d bytes was expected", PATTERN_TEXT_MAX);
		return false;
	}
	p->code = pcre2_compile((PCRE2_SPTR)text, len,
	                        PCRE2_ANCHORED | PCRE2_ENDANCHORED | PCRE2_NEVER_UTF |
	                            PCRE2_NEVER_BACKSLASH_C | PCRE2_DOLLAR_ENDONLY,
	                        &error, &at, NULL);
	if (!p->code) {
		PCRE2_UCHAR message[160];
		pcre2_get_error_message(error, message, sizeof message);
		fault_at(why, NULL, 0, (int)at + 1, "pattern: %s", (const char *)message);
		return false;
	}
	p->match = pcre2_match_data_create_from_pattern(p->code, NULL);
	p->context = pcre2_match_context_create(NULL);
	if (!p->match || !p->context) {
		pattern_free(p);
		fault_at(why, NULL, 0, 1, "out of memory");
		return false;
	}
	pcre2_set_match_limit(p->context, STEPS_MAX);
	pcre2_set_depth_limit(p->context, DEPTH_MAX);
	pcre2_set_heap_limit(p->context, HEAP_MAX_KIB);
	if (!find_parts(p, why)) {
		pattern_free(p);
		return false;
	}
	return true;
}

void pattern_free(struct pattern *p)
{
	pcre2_match_context_free(p->context);
	pcre2_match_data_free(p->match);
	pcre2_code_free(p->code);
	p->code = p->match = p->context = NULL;
}

/* ---- matching ---- */

struct piece {
	const char *at; /* NULL: not there */
	size_t len;
};

static struct piece piece_of(const struct pattern *p, const char *bytes, enum part part)
{
	const PCRE2_SIZE *ends = pcre2_get_ovector_pointer(p->match);
	int n = p->part[part];
	if (!n || ends[2 * n] == PCRE2_UNSET || ends[2 * n + 1] < ends[2 * n])
		return (struct piece){NULL, 0};
	return (struct piece){bytes + ends[2 * n], ends[2 * n + 1] - ends[2 * n]};
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

static bool nothing(struct understood *out, const char *why, struct piece piece)
{
	out->said = SAID_NOTHING;
	out->count = 0;
	snprintf(out->why, sizeof out->why, "%s", why);
	(void)piece;
	return false;
}

static bool read_value(const struct pattern *p, const char *bytes, struct reading *r,
                       struct understood *out)
{
	struct piece value = piece_of(p, bytes, PART_VALUE), sign = piece_of(p, bytes, PART_SIGN);
	struct piece overload = piece_of(p, bytes, PART_OVERLOAD);
	bool minus = is(sign, "-");
	bool over = overload.len > 0;
	if (sign.len && !minus && !is(sign, "+") && !is(sign, " "))
		return nothing(out, "the part `sign` is neither +, - nor a space", sign);
	for (int i = 0; i < p->overloads; i++)
		over = over || is(value, p->overload[i]);
	if (over) {
		r->state |= READING_OVERLOAD;
		r->negative = minus;
		return true;
	}
	if (!value.at || !decimal_parse(value.at, value.len, &r->value))
		return nothing(out, "the part `value` is no number of up to 18 digits", value);
	r->has_value = true;
	if (minus)
		r->value.n = -r->value.n;
	return true;
}

/* Function and prefix from the parts unit, prefix, function and coupling. */
static bool read_unit(const struct pattern *p, const struct dialect_setting *setting,
                      const char *bytes, struct reading *r, struct understood *out)
{
	struct piece unit = piece_of(p, bytes, PART_UNIT), prefix = piece_of(p, bytes, PART_PREFIX);
	struct piece function = piece_of(p, bytes, PART_FUNCTION);
	const struct pattern_word *w;
	int shown = 0;
	r->function = setting->function;
	if (function.len) {
		if (!(w = word_find(p->function, p->functions, function)))
			return nothing(out, "no `function` line has the text of the part `function`", function);
		r->function = w->function;
	}
	if (unit.len) {
		enum function f;
		if ((w = word_find(p->unit, p->units, unit))) {
			f = w->function;
			shown = w->exponent;
		} else if (!unit_read(unit.at, unit.len, &f, &shown)) {
			return nothing(out, "the part `unit` is no unit, and no `unit` line has it", unit);
		}
		if (!function.len)
			r->function = f;
	}
	if (prefix.len) {
		int exponent;
		if ((w = word_find(p->prefix, p->prefixes, prefix)))
			exponent = w->exponent;
		else if (prefix.len != 1 || !prefix_exponent(*prefix.at == 'K' ? 'k' : *prefix.at, &exponent))
			return nothing(out, "the part `prefix` is no SI prefix, and no `prefix` line has it",
			               prefix);
		if (shown && exponent)
			return nothing(out, "a prefix twice", prefix);
		shown += exponent;
	}
	if (r->function == FUNCTION_NONE)
		return nothing(out, "neither unit nor function is said: set `function`", unit);
	r->prefix = shown;
	return true;
}

static bool couple(const struct pattern *p, const char *bytes, struct reading *r,
                   struct understood *out)
{
	struct piece c = piece_of(p, bytes, PART_COUPLING);
	bool ac = is(c, "AC") || is(c, "ac") || is(c, "Ac");
	if (!c.len || is(c, "DC") || is(c, "dc") || is(c, "Dc"))
		return true;
	if (!ac)
		return nothing(out, "the part `coupling` is neither AC nor DC", c);
	if (r->function == FUNCTION_VOLT_DC)
		r->function = FUNCTION_VOLT_AC;
	else if (r->function == FUNCTION_AMP_DC)
		r->function = FUNCTION_AMP_AC;
	return true;
}

static bool read_match(const struct pattern *p, const struct dialect_setting *setting,
                       const char *bytes, struct reading *r, struct understood *out)
{
	if (!read_value(p, bytes, r, out) || !read_unit(p, setting, bytes, r, out) ||
	    !couple(p, bytes, r, out))
		return false;
	if (piece_of(p, bytes, PART_HOLD).len)
		r->state |= READING_HOLD;
	if (piece_of(p, bytes, PART_BATTERY).len)
		r->state |= READING_LOW_BATTERY;
	if (!r->has_value)
		return true;
	r->value.e += r->prefix;
	if (r->value.e < DECIMAL_EXP_MIN || r->value.e > DECIMAL_EXP_MAX)
		return nothing(out, "a number within 1e-40 and 1e40 was expected", (struct piece){0});
	return true;
}

void pattern_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                        const struct frame *f, struct understood *out)
{
	const struct pattern *p = setting->rules;
	(void)memory;
	memset(out, 0, sizeof *out);
	if (f->len == 0) {
		out->said = SAID_OTHER;
		return;
	}
	int got = pcre2_match(p->code, (PCRE2_SPTR)f->bytes, f->len, 0, 0, p->match, p->context);
	struct reading r = {.t = f->t};
	if (got == PCRE2_ERROR_NOMATCH) {
		nothing(out, "the pattern does not match the whole frame", (struct piece){0});
	} else if (got <= 0) {
		nothing(out, "the pattern takes too many steps on this frame", (struct piece){0});
	} else if (read_match(p, setting, f->bytes, &r, out)) {
		out->said = SAID_READINGS;
		out->reading[0] = r;
		out->count = 1;
	}
}

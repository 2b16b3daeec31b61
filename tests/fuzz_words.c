/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: what people write in a cell or on a command line -- numbers,
 * quantities, tolerances, accuracies, line settings, anchors,
 * times.
 *
 * What must hold: what is read is written and read again as the same; a number is
 * the one that strtod finds; what is refused has a sentence, at a place that is
 * in the text.
 */
#include "protocol/meter/dialect.h"
#include "protocol/record/seal.h"
#include "protocol/record/text.h"
#include "protocol/trade/uncertainty.h"
#include "tests/fuzz.h"

static void refused(const struct fault *why, size_t len)
{
	must(why->text[0]);
	must(why->column >= 0 && (size_t)why->column <= len + 1);
}

static void number(const char *text, size_t len)
{
	struct decimal d, back, other;
	char out[DECIMAL_TEXT_SIZE], plain[DECIMAL_TEXT_SIZE], copy[512];
	size_t used = decimal_read(text, len, &d);
	must(used <= len);
	if (!used || used >= sizeof copy)
		return;
	memcpy(copy, text, used);
	copy[used] = '\0';
	must(decimal_double(d) == strtod(copy, NULL));
	must(d.e >= DECIMAL_EXP_MIN && d.e <= DECIMAL_EXP_MAX);
	size_t n = decimal_json(d, out, sizeof out);
	must(n == strlen(out) && json_valid(out, n, NULL));
	must(decimal_parse(out, n, &back) && decimal_compare(d, back) == 0);
	n = decimal_plain(d, plain, sizeof plain);
	must(n == strlen(plain));
	if (decimal_parse(plain, n, &back))
		must(decimal_compare(d, back) == 0 && (d.e > 0 || back.n == d.n));
	other = decimal_strip(d);
	must(decimal_compare(d, other) == 0 && decimal_compare(other, d) == 0);
	must(other.n % 10 || other.n == 0 || other.e == DECIMAL_EXP_MAX);
	if (decimal_add(d, (struct decimal){1, d.e}, &other))
		must(decimal_compare(other, d) > 0 && decimal_subtract(other, d, &back) &&
		     decimal_compare(back, (struct decimal){1, d.e}) == 0);
	if (decimal_multiply(d, (struct decimal){10, 0}, &other) && decimal_strip(d).e < DECIMAL_EXP_MAX)
		must(d.n == 0 || (decimal_compare(other, d) > 0) == (d.n > 0));
}

/* What is not read again though we wrote it: zeros that fill more places than a
 * number may have, and kilofarads, which in old print meant another thing. */
static bool unwritable(const char *shown, struct decimal d, enum function f)
{
	struct decimal most = {1000, 0}, least = {-1000, 0};
	return strlen(shown) > DECIMAL_DIGITS_MAX ||
	       (f == FUNCTION_FARAD &&
	        (decimal_compare(d, most) >= 0 || decimal_compare(d, least) <= 0));
}

static void quantity(const char *text, size_t len, enum function hint)
{
	struct decimal d, back;
	enum function f, g;
	struct fault why;
	char out[128];
	memset(&why, 0, sizeof why);
	if (!quantity_parse(text, len, hint, &d, &f, &why)) {
		refused(&why, len);
		return;
	}
	must(f < FUNCTION_COUNT && (hint == FUNCTION_NONE || f == hint));
	/* `V` alone is dc, so the words of ac do not come back by themselves. */
	if (f == FUNCTION_VOLT_AC || f == FUNCTION_AMP_AC || f == FUNCTION_DIODE)
		return;
	quantity_shown(d, f, quantity_prefix(d, f), out, sizeof out);
	if (!quantity_parse(out, strlen(out), f, &back, &g, &why)) {
		must(unwritable(out, d, f));
		return;
	}
	must(decimal_compare(d, back) == 0 && f == g);
}

static bool side_same(bool has, struct decimal a, bool has_too, struct decimal b)
{
	return has == has_too && (!has || decimal_compare(a, b) == 0);
}

static void tolerance(const char *text, size_t len, enum function f)
{
	struct tolerance t, back;
	struct limits l, m;
	struct fault why;
	char out[256];
	memset(&why, 0, sizeof why);
	if (!tolerance_parse(text, len, f, &t, &why)) {
		refused(&why, len);
		return;
	}
	struct decimal nominal = {-47, -8};
	bool limited = limits_from(&t, true, nominal, &l);
	if (limited && l.has_low && l.has_high)
		must(decimal_compare(l.low, l.high) <= 0);
	if (limited && t.form == TOLERANCE_PERCENT)
		must(decimal_compare(l.low, nominal) <= 0 && decimal_compare(nominal, l.high) <= 0);
	must(tolerance_shown(&t, f, out, sizeof out) == strlen(out));
	if (f == FUNCTION_NONE)
		return; /* with no unit at all `+-5` of something cannot be told from percent */
	if (!tolerance_parse(out, strlen(out), f, &back, &why)) {
		must(t.form != TOLERANCE_PERCENT || strlen(out) > DECIMAL_DIGITS_MAX);
		must(t.form == TOLERANCE_PERCENT || unwritable(out, t.low, f) || unwritable(out, t.high, f));
		return;
	}
	must(back.form == t.form);
	must(limits_from(&back, true, nominal, &m) == limited);
	if (limited)
		must(side_same(l.has_low, l.low, m.has_low, m.low) &&
		     side_same(l.has_high, l.high, m.has_high, m.high));
}

static void settings(const char *text, size_t len)
{
	struct line_settings line = {0};
	struct fault why;
	memset(&why, 0, sizeof why);
	if (line_settings_parse(text, len, &line, &why))
		must(line.baud >= 50 && (line.bits == 7 || line.bits == 8) &&
		     (line.stop == 1 || line.stop == 2));
	else
		refused(&why, len);
}

static void anchor(const char *text, size_t len)
{
	int64_t seq, t;
	uint8_t hash[SEAL_SIZE];
	char out[ANCHOR_SIZE], copy[64];
	struct text back;
	if (anchor_parse(text, len, &seq, hash)) {
		must(seq >= 1 && anchor_text(seq, hash, out) == len);
		for (size_t i = 0; i < len; i++) /* of either case; written in small letters */
			must((out[i] | 32) == (text[i] | 32));
	}
	if (time_parse(text, len, &t)) {
		text_begin(&back, copy, sizeof copy);
		text_time(&back, t);
		must(!back.failed && back.len == len + 2 && !memcmp(copy + 1, text, len));
	}
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static const enum function hints[] = {FUNCTION_NONE, FUNCTION_OHM, FUNCTION_FARAD,
	                                      FUNCTION_VOLT_DC};
	const char *text = (const char *)data;
	double percent, counts;
	struct fault why;
	if (size > 512)
		return 0;
	memset(&why, 0, sizeof why);
	number(text, size);
	for (size_t i = 0; i < sizeof hints / sizeof *hints; i++) {
		quantity(text, size, hints[i]);
		tolerance(text, size, hints[i]);
	}
	if (accuracy_parse(text, size, &percent, &counts, &why))
		must(percent >= 0 && percent <= 100 && counts >= 0 && counts <= 100000);
	else
		refused(&why, size);
	settings(text, size);
	anchor(text, size);
	return 0;
}

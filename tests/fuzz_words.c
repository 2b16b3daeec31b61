/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: what people write in a cell or on a command line -- numbers,
 * quantities, tolerances, accuracies.  What is read is written and read again as
 * the same; what is refused has a sentence.
 */
#include "protocol/trade/uncertainty.h"

#include <stdlib.h>
#include <string.h>

static void must(int holds)
{
	if (!holds)
		abort();
}

static void number(const char *text, size_t len)
{
	struct decimal d, back;
	char out[DECIMAL_TEXT_SIZE];
	if (!decimal_parse(text, len, &d))
		return;
	size_t n = decimal_json(d, out, sizeof out);
	must(decimal_parse(out, n, &back) && decimal_compare(d, back) == 0);
	n = decimal_plain(d, out, sizeof out);
	if (n < sizeof out - 1 && decimal_parse(out, n, &back))
		must(decimal_compare(d, back) == 0);
}

static void quantity(const char *text, size_t len)
{
	struct decimal d, back;
	enum function f, g;
	struct fault why;
	char out[128];
	memset(&why, 0, sizeof why);
	if (!quantity_parse(text, len, FUNCTION_NONE, &d, &f, &why)) {
		must(why.text[0]);
		return;
	}
	if (f == FUNCTION_NONE || f == FUNCTION_PERCENT || f == FUNCTION_VOLT_AC || f == FUNCTION_AMP_AC)
		return;
	quantity_shown(d, f, quantity_prefix(d, f), out, sizeof out);
	if (quantity_parse(out, strlen(out), FUNCTION_NONE, &back, &g, &why))
		must(decimal_compare(d, back) == 0 && f == g);
}

static void tolerance(const char *text, size_t len)
{
	struct tolerance t;
	struct limits l;
	struct fault why;
	memset(&why, 0, sizeof why);
	if (!tolerance_parse(text, len, FUNCTION_FARAD, &t, &why)) {
		must(why.text[0]);
		return;
	}
	struct decimal nominal = {-47, -8};
	if (limits_from(&t, true, nominal, &l) && l.has_low && l.has_high)
		must(decimal_compare(l.low, l.high) <= 0);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	const char *text = (const char *)data;
	double percent, counts;
	struct fault why;
	number(text, size);
	quantity(text, size);
	tolerance(text, size);
	if (accuracy_parse(text, size, &percent, &counts, &why))
		must(percent >= 0 && counts >= 0);
	return 0;
}

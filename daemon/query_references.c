/* SPDX-License-Identifier: MIT */
/*
 * Of `compare`: three meters and more together, and each against a reference part.
 */
#include "daemon/query_compare.h"

#include <string.h>

/* What three and more say together; each of them can be compared with another. */
void compare_together(struct compare *c, struct fresh **at, size_t n)
{
	double x[COMPARE_METERS], u[COMPARE_METERS];
	const struct fresh *of[COMPARE_METERS];
	struct consistency all;
	struct answer *out = &c->q->out;
	int m = compare_mutual(at, n, of);
	for (int i = 0; i < m; i++) {
		x[i] = decimal_double(of[i]->e.value);
		u[i] = of[i]->e.u;
	}
	if (m < 3 || !crosscheck_consistency(x, u, m, &all)) {
		answer_puts(out, ",\"together\":null");
		return;
	}
	answer_puts(out, ",\"together\":{\"mean\":");
	answer_real(out, all.mean);
	answer_puts(out, ",\"U\":");
	answer_real(out, 2 * all.u);
	answer_puts(out, ",\"chi2\":");
	answer_real(out, all.chi_squared);
	answer_puts(out, ",\"p\":");
	answer_real(out, all.p);
	answer_printf(out, ",\"consistent\":%s}", all.consistent ? "true" : "false");
}

/* One value against the reference part that it was measured on. */
static void reference_write(struct compare *c, const struct fresh *f, const struct sheet_line *line)
{
	struct slice sheet = json_member(line->text, line->len, "sheet");
	struct slice limits = json_member(sheet.at, sheet.len, "limits");
	struct answer *out = &c->q->out;
	struct decimal nominal;
	struct limits l = { 0 };
	struct fault why;
	double u, en;
	if (!json_is(json_member(sheet.at, sheet.len, "kind"), "reference") ||
	    !json_decimal(json_member(sheet.at, sheet.len, "nominal"), &nominal))
		return;
	l.has_low = json_decimal(json_element(limits, 0), &l.low);
	l.has_high = json_decimal(json_element(limits, 1), &l.high);
	if (f->e.quantity != QUANTITY_VALUE || !f->e.has_value || f->e.struck ||
	    !crosscheck_reference(&f->e, nominal, &l, &u, &en))
		return;
	if (f->e.source == SOURCE_TYPED || !f->e.settled) {
		fault_set(&why, f->e.settled ? "the value from %s was typed: only values that meters sent "
		                               "are held against a reference"
		                             : "%s had not settled: measure the reference again",
		          f->e.meter);
		compare_refuse(c, f, f, &why);
		return;
	}
	compare_comma(out, &c->references);
	answer_puts(out, "{\"position\":");
	answer_string(out, f->e.position);
	answer_puts(out, ",");
	compare_place(out, f);
	answer_puts(out, ",");
	compare_side(out, "a", f);
	answer_puts(out, ",\"nominal\":");
	answer_real(out, decimal_double(nominal));
	answer_puts(out, ",\"U\":");
	answer_real(out, 2 * u);
	answer_puts(out, ",\"en\":");
	answer_real(out, en);
	answer_printf(out, ",\"agree\":%s}", en <= 1 ? "true" : "false");
}

void compare_references(struct compare *c)
{
	for (size_t i = 0; i < c->n; i++) {
		const struct sheet_line *line = sheet_lines_find(&c->lines, c->at[i]->e.position);
		if (line && compare_wanted(c, c->at[i]->e.position))
			reference_write(c, c->at[i], line);
	}
}

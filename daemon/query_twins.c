/* SPDX-License-Identifier: MIT */
/*
 * Twin against twin: the same place in the other channel, at equal quantity,
 * condition and reach.  In circuit that is the true test, for both channels have
 * the same paths beside the part.
 */
#include "daemon/query_compare.h"

#include <math.h>
#include <string.h>

/* How far two parts of this tolerance may lie apart, as a fraction of their mean:
 * one at each of its limits: of what is fitted, for parts that are not as they were found.
 * The limits are those that the record froze; where the
 * sheet says none, those that are usual for the kind. */
static double row_allowed(const struct sheet_line *line, enum condition condition,
                          struct decimal *nominal, bool *has)
{
	bool fitted = condition != CONDITION_FOUND && line->fit;
	struct slice sheet = fitted ? json_member(line->fit, line->fit_len, "fit")
	                            : json_member(line->text, line->len, "sheet");
	struct slice limits = json_member(sheet.at, sheet.len, "limits");
	double low, high;
	*has = json_decimal(json_member(sheet.at, sheet.len, "nominal"), nominal);
	if (!json_number(json_element(limits, 0), &low) ||
	    !json_number(json_element(limits, 1), &high)) {
		char kind[32], function[16];
		enum kind k;
		enum function f;
		struct tolerance t;
		struct limits l;
		json_text(json_member(sheet.at, sheet.len, "kind"), kind, sizeof kind);
		json_text(json_member(sheet.at, sheet.len, "function"), function, sizeof function);
		if (!kind_from_name(kind, strlen(kind), &k) ||
		    !function_from_name(function, strlen(function), &f) || !tolerance_default(k, f, &t) ||
		    !limits_from(&t, *has, *nominal, &l) || !l.has_low || !l.has_high)
			return 0;
		low = decimal_double(l.low);
		high = decimal_double(l.high);
	}
	double mean = (fabs(low) + fabs(high)) / 2;
	return mean > 0 ? fabs(high - low) / mean : 0;
}

struct twin_rows {
	const struct sheet_line *one, *other;
};

static double twins_allowed(const struct sheet_line *a, const struct sheet_line *b,
                            enum condition condition)
{
	struct decimal x = { 0 }, y = { 0 };
	bool has_x, has_y;
	double p = row_allowed(a, condition, &x, &has_x), q = row_allowed(b, condition, &y, &has_y);
	/* Two that are not the same part have no tolerance in common. */
	if (!has_x || !has_y || decimal_compare(x, y))
		return 0;
	return p > q ? p : q;
}

/* The stretch of a position in the sorted list. */
static struct fresh **stretch(const struct compare *c, const char *position, size_t *n)
{
	size_t from = 0;
	while (from < c->n && strcmp(c->at[from]->e.position, position))
		from++;
	size_t to = from;
	while (to < c->n && !strcmp(c->at[to]->e.position, position))
		to++;
	*n = to - from;
	return c->at + from;
}

static bool same_place(const struct fresh *a, const struct fresh *b)
{
	return a->e.quantity == b->e.quantity && a->e.condition == b->e.condition &&
	       a->e.reach == b->e.reach;
}

/* The entries to compare with each other: by one meter where one measured both
 * (its own error falls out), else the newest of each. */
static void choose(struct fresh **a, size_t n, struct fresh **b, size_t m,
                   const struct fresh **x, const struct fresh **y)
{
	int64_t best = 0;
	*x = compare_newest(a, n, NULL);
	*y = compare_newest(b, m, NULL);
	for (size_t i = 0; i < n; i++) {
		for (size_t k = 0; k < m; k++) {
			int64_t older = a[i]->e.seq < b[k]->e.seq ? a[i]->e.seq : b[k]->e.seq;
			if (strcmp(a[i]->e.meter, b[k]->e.meter) || older <= best)
				continue;
			best = older;
			*x = a[i];
			*y = b[k];
		}
	}
}

static void twin_write(struct compare *c, const struct twin_rows *rows, const struct fresh *a,
                       const struct fresh *b)
{
	double allowed = twins_allowed(rows->one, rows->other, a->e.condition);
	struct answer *out = &c->q->out;
	struct twins twins;
	struct fault why;
	if (!twins_compare(&a->e, &b->e, allowed, &twins, &why)) {
		compare_refuse(c, a, b, &why);
		return;
	}
	compare_comma(out, &c->twins);
	answer_puts(out, "{\"position\":");
	answer_string(out, a->e.position);
	answer_puts(out, ",\"twin\":");
	answer_string(out, b->e.position);
	answer_puts(out, ",");
	compare_place(out, a);
	if (a->e.frequency.n > 0 && b->e.frequency.n > 0) {
		answer_puts(out, ",\"frequency\":");
		answer_real(out, decimal_double(a->e.frequency));
	}
	answer_puts(out, ",");
	compare_side(out, "a", a);
	answer_puts(out, ",");
	compare_side(out, "b", b);
	answer_puts(out, ",\"ratio\":");
	answer_real(out, twins.ratio);
	answer_puts(out, ",\"difference\":");
	answer_real(out, twins.difference);
	answer_puts(out, ",\"en\":");
	answer_real(out, twins.en);
	answer_printf(out, ",\"agree\":%s}", twins.agree ? "true" : "false");
}

static size_t place_end(struct fresh **at, size_t from, size_t n)
{
	size_t to = from + 1;
	while (to < n && same_place(at[from], at[to]))
		to++;
	return to;
}

/* A quantity that both twins have, but never in one condition and reach. */
static void twins_refuse(struct compare *c, const struct twin_rows *rows, struct fresh **a,
                         size_t n, struct fresh **b, size_t m)
{
	for (size_t i = 0, to; i < n; i = to) {
		bool met = false;
		size_t from = 0, end;
		for (to = i; to < n && a[to]->e.quantity == a[i]->e.quantity; to++)
			;
		while (from < m && b[from]->e.quantity != a[i]->e.quantity)
			from++;
		for (end = from; end < m && b[end]->e.quantity == a[i]->e.quantity; end++)
			for (size_t k = i; k < to; k++)
				met = met || same_place(a[k], b[end]);
		if (!met && end > from)
			twin_write(c, rows, compare_newest(a + i, to - i, NULL),
			           compare_newest(b + from, end - from, NULL));
	}
}

static void twins_of(struct compare *c, const struct sheet_line *one,
                     const struct sheet_line *other)
{
	size_t n, m;
	struct fresh **a = stretch(c, one->position, &n), **b = stretch(c, other->position, &m);
	const struct twin_rows rows = {one, other};
	for (size_t i = 0, to; i < n; i = to) {
		to = place_end(a, i, n);
		for (size_t k = 0, end; k < m; k = end) {
			end = place_end(b, k, m);
			if (!same_place(a[i], b[k]))
				continue;
			const struct fresh *x, *y;
			choose(a + i, to - i, b + k, end - k, &x, &y);
			twin_write(c, &rows, x, y);
		}
	}
	twins_refuse(c, &rows, a, n, b, m);
	for (size_t i = 0; i < n; i++)
		for (size_t k = 0; k < m; k++)
			if (a[i]->e.quantity == b[k]->e.quantity)
				return;
	if (n && m) /* nothing alike was measured of them */
		twin_write(c, &rows, compare_newest(a, n, NULL), compare_newest(b, m, NULL));
}

/* The twin that the sheet names, in either of the two. */
void compare_twin(const struct sheet_line *line, char out[NAME_SIZE])
{
	json_text(json_member(line->text, line->len, "sheet.twin"), out, NAME_SIZE);
}

void compare_twins(struct compare *c)
{
	char name[NAME_SIZE], back[NAME_SIZE];
	for (size_t i = 0; i < c->lines.n; i++) {
		const struct sheet_line *line = &c->lines.at[i];
		if (!compare_wanted(c, line->position))
			continue;
		compare_twin(line, name);
		const struct sheet_line *twin = name[0] ? sheet_lines_find(&c->lines, name) : NULL;
		if (!twin || twin == line)
			continue;
		compare_twin(twin, back);
		/* Each pair once, by the one that stands first. */
		if (!c->position && twin < line && !strcmp(back, line->position))
			continue;
		twins_of(c, line, twin);
	}
}

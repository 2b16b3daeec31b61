/* SPDX-License-Identifier: MIT */
/*
 * The uncertainty budget of entries, worked out again from their records alone: see
 * protocol/trade/budget.h.
 */
#include "client/view.h"

#include "protocol/record/record.h"
#include "protocol/trade/budget.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const struct table_column columns[] = {
	{"component", false, true}, {"from", false, true},  {"distribution", false, false},
	{"half or s", true, true},  {"divisor", true, false}, {"u", true, true},
	{"c", true, false},         {"share", true, true},
};

/* Finite, or null: there is no infinity in JSON. */
static void real_member(struct text *t, const char *key, double x)
{
	if (isfinite(x))
		text_member_real(t, key, x);
	else
		text_member_null(t, key);
}

static void component_json(struct text *t, const struct budget_component *p, bool first)
{
	text_puts(t, first ? "{\"name\":" : ",{\"name\":");
	text_string(t, p->name, strlen(p->name));
	text_member_string(t, "statement", p->statement);
	text_member_string(t, "distribution", p->distribution);
	real_member(t, "spread", p->spread);
	real_member(t, "divisor", p->divisor);
	real_member(t, "u", p->u);
	real_member(t, "sensitivity", p->sensitivity);
	real_member(t, "share", p->share);
	real_member(t, "nu", p->nu);
	text_puts(t, "}");
}

/* A number has no unit. */
static void second_shown(const struct entry *e, char *out, size_t size)
{
	quantity_shown(e->value, e->function, e->prefix, out, size);
}

void view_budget_json(const struct entry *e, const char *shown, struct text *t)
{
	struct budget b;
	text_puts(t, "{\"seq\":");
	text_int(t, e->seq);
	text_member_string(t, "position", e->position);
	text_member_string(t, "quantity", quantity_name(e->quantity));
	text_member_string(t, "meter", e->meter);
	text_member_string(t, "shown", shown);
	if (!budget_of(e, &b)) {
		text_member_null(t, "value");
		text_puts(t, ",\"components\":[]");
		text_member_string(t, "unknown", "an overload has no value, and so no uncertainty");
		text_puts(t, "}");
		return;
	}
	text_member_decimal(t, "value", e->value);
	text_puts(t, ",\"components\":[");
	for (int i = 0; i < b.parts; i++)
		component_json(t, &b.part[i], i == 0);
	text_puts(t, "]");
	real_member(t, "u", b.u);
	real_member(t, "nu", b.nu);
	real_member(t, "k", b.k);
	real_member(t, "U", b.U);
	real_member(t, "k95", b.k95);
	real_member(t, "U95", b.U95);
	real_member(t, "sealed", e->u);
	text_member_bool(t, "agrees", b.agrees);
	text_member_string(t, "unknown", b.unknown[0] ? b.unknown : NULL);
	struct entry second;
	if (entry_second(e, &second)) {
		char text[WORDS_SIZE];
		second_shown(&second, text, sizeof text);
		text_member(t, "second");
		view_budget_json(&second, text, t);
	}
	text_puts(t, "}");
}

static void like(struct table *t, const struct style *style, double x, const char *shown)
{
	char text[WORDS_SIZE];
	words_like(style, x, 3, shown, text, sizeof text);
	table_cell(t, text);
}

static void rows(const struct style *style, const struct budget *b, const char *shown,
                 struct lines *out)
{
	struct table t;
	table_begin(&t, columns, sizeof columns / sizeof columns[0]);
	for (int i = 0; i < b->parts; i++) {
		const struct budget_component *p = &b->part[i];
		table_row(&t, TABLE_ORDINARY);
		table_cell(&t, p->name);
		table_cell(&t, p->statement);
		table_cell(&t, p->distribution);
		like(&t, style, p->spread, shown);
		table_printf(&t, "%.3g", p->divisor);
		like(&t, style, p->u, shown);
		table_printf(&t, "%g", p->sensitivity);
		table_printf(&t, "%.1f %%", 100 * p->share);
	}
	table_print(&t, style, out);
	out->failed |= t.failed;
	table_end(&t);
}

void view_budget(const struct style *style, const struct entry *e, const char *shown,
                 struct lines *out)
{
	struct budget b;
	char value[WORDS_SIZE], u[WORDS_SIZE], U[WORDS_SIZE], nu[32], text[WORDS_SIZE];
	words_value(style, shown, value, sizeof value);
	lines_printf(out, "entry %lld, %s %s, %s: %s\n", (long long)e->seq, e->position,
	             quantity_name(e->quantity), e->meter, value);
	if (!budget_of(e, &b)) {
		lines_puts(out, "an overload has no value, and so no uncertainty\n");
		return;
	}
	rows(style, &b, shown, out);
	words_like(style, b.u, 3, shown, u, sizeof u);
	words_like(style, b.U, 2, shown, U, sizeof U);
	if (b.nu < 1000)
		snprintf(nu, sizeof nu, "%.1f", b.nu);
	else if (isfinite(b.nu)) /* t is then the normal distribution, to four figures of k */
		snprintf(nu, sizeof nu, "above 1000");
	else
		snprintf(nu, sizeof nu, "infinite");
	lines_printf(out, "combined u %s, degrees of freedom %s; U = %g u = %s\n", u, nu, b.k, U);
	if (b.k95 > 2.005) {
		words_like(style, b.U95, 2, shown, U, sizeof U);
		lines_printf(out, "with so few readings 95 %% would take k = %.2f: %s\n", b.k95, U);
	}
	if (b.unknown[0])
		lines_printf(out, "not told: %s\n", b.unknown);
	struct entry second;
	if (!entry_second(e, &second))
		return;
	second_shown(&second, text, sizeof text);
	lines_printf(out, "beside it %s, ", second_word(e->second.kind));
	view_budget(style, &second, text, out);
}

/* SPDX-License-Identifier: MIT */
/*
 * A job beside an earlier one of the same unit: what each place was then, what it is now.
 */
#include "client/view.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const struct table_column columns[] = {
	{"position", false, true}, {"quantity", false, true}, {"then", true, true},
	{"measured", false, false}, {"now", true, true},      {"measured", false, false},
	{"change", true, true},    {"+-", true, false},       {"beside", false, true},
};

void view_beside_begin(struct view_list *v)
{
	*v = (struct view_list){.rows = 0};
	table_begin(&v->table, columns, sizeof columns / sizeof columns[0]);
}

/* "+12.3 %": as many digits as its own uncertainty lets stand. */
static void percent_text(double fraction, double U, bool sign, char *out, size_t size)
{
	double percent = fraction * 100, doubt = fabs(U) * 100;
	int digits = doubt >= 2 ? 0 : doubt >= 0.2 ? 1 : doubt >= 0.02 ? 2 : 3;
	snprintf(out, size, sign ? "%+.*f %%" : "%.*f %%", digits, percent);
}

static bool change_text(struct slice element, char *change, char *U, size_t size)
{
	double x, u = 0;
	change[0] = U[0] = '\0';
	if (!json_number(json_member(element.at, element.len, "change"), &x))
		return false;
	json_number(json_member(element.at, element.len, "U"), &u);
	percent_text(x, u, true, change, size);
	percent_text(u, u, false, U, size);
	return true;
}

static void side_cells(struct table *t, const struct style *style, struct slice side)
{
	char shown[WORDS_SIZE], value[WORDS_SIZE], condition[64], reach[64];
	words_member(side, "shown", shown, sizeof shown);
	words_value(style, shown, value, sizeof value);
	words_member(side, "condition", condition, sizeof condition);
	words_member(side, "reach", reach, sizeof reach);
	table_cell(t, value);
	table_printf(t, "%.40s%s%.40s", condition, reach[0] ? ", " : "", reach);
}

/* What is fitted there since, in the technician's words. */
static void replaced_text(struct slice element, char *out, size_t size)
{
	static const char *const cells[] = {"kind", "nominal", "tolerance", "rated", "part"};
	struct slice replaced = json_member(element.at, element.len, "replaced");
	size_t n = 0;
	out[0] = '\0';
	if (!replaced.at || *replaced.at != '{')
		return;
	n = (size_t)snprintf(out, size, "replaced since");
	for (size_t i = 0; i < sizeof cells / sizeof cells[0] && n < size; i++) {
		char path[40], text[WORDS_SIZE];
		snprintf(path, sizeof path, "written.%s", cells[i]);
		words_member(replaced, path, text, sizeof text);
		if (text[0])
			n += (size_t)snprintf(out + n, size - n, "%s%.60s", n > 14 ? " " : ": ", text);
	}
}

static void beside_text(struct slice element, char *out, size_t size)
{
	char replaced[WORDS_SIZE], why[WORDS_SIZE];
	double en;
	replaced_text(element, replaced, sizeof replaced);
	words_member(element, "why", why, sizeof why);
	bool has = json_number(json_member(element.at, element.len, "en"), &en);
	const char *change = !has ? "" : en <= 1 ? "nothing shows that it changed" : "";
	bool none = json_absent(json_member(element.at, element.len, "now"));
	const char *first = none ? "not measured yet" : why[0] ? why : change;
	snprintf(out, size, "%.200s%s%.240s", first, first[0] && replaced[0] ? "; " : "", replaced);
}

void view_beside_add(struct view_list *v, const struct style *style, struct slice element)
{
	char text[WORDS_SIZE], change[40], U[40];
	struct table *t = &v->table;
	v->rows++;
	table_row(t, TABLE_ORDINARY);
	words_member(element, "position", text, sizeof text);
	table_cell(t, text);
	words_member(element, "quantity", text, sizeof text);
	table_cell(t, text);
	side_cells(t, style, json_member(element.at, element.len, "then"));
	side_cells(t, style, json_member(element.at, element.len, "now"));
	change_text(element, change, U, sizeof change);
	table_cell(t, change);
	table_cell(t, U);
	beside_text(element, text, sizeof text);
	table_cell(t, text);
}

void view_beside_print(struct view_list *v, const struct style *style, struct lines *out)
{
	table_print(&v->table, style, out);
	if (!v->rows)
		lines_puts(out, "nothing was measured then at these positions\n");
}

void view_before(const struct style *style, struct slice element, char *out, size_t size)
{
	char shown[WORDS_SIZE], value[120], condition[40], reach[40], change[40], U[40], beside[WORDS_SIZE];
	struct slice then = json_member(element.at, element.len, "then");
	words_member(then, "shown", shown, sizeof shown);
	words_value(style, shown, value, sizeof value);
	words_member(then, "condition", condition, sizeof condition);
	words_member(then, "reach", reach, sizeof reach);
	bool changed = change_text(element, change, U, sizeof change);
	beside_text(element, beside, sizeof beside);
	snprintf(out, size, "last time %.110s (%.39s, %.39s)%s%s%s%s%s%.200s", value, condition, reach,
	         changed ? "; now " : "", change, changed ? " +-" : "", U, beside[0] ? "; " : "", beside);
}

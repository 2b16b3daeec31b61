/* SPDX-License-Identifier: MIT */
/*
 * Cross-checks of meters against each other, and twin against twin.
 */
#include "client/view.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const struct table_column check_columns[] = {
	{"position", false, true}, {"quantity", false, true}, {"measured", false, true},
	{"one", false, true},      {"value", true, true},     {"other", false, true},
	{"value", true, true},     {"E_n", true, false},      {"answer", false, true},
};
static const struct table_column twin_columns[] = {
	{"position", false, true}, {"shown", true, true},      {"twin", false, false},
	{"twin's", true, false},   {"measured", false, true},  {"difference", true, true},
	{"ratio", true, false},    {"answer", false, true},
};

/* "red" and "612.0 +-1.8 kohm (12)": which meter, what is compared, by which entry. */
static void side_cells(struct table *t, const struct style *style, struct slice side)
{
	char meter[80], shown[WORDS_SIZE], value[WORDS_SIZE], spread[120] = "";
	double U;
	int64_t seq = 0;
	words_member(side, "meter", meter, sizeof meter);
	words_compared(side, shown, sizeof shown);
	words_value(style, shown, value, sizeof value);
	const char *unit = strrchr(value, ' ');
	int number = unit ? (int)(unit - value) : (int)strlen(value);
	if (json_number(json_member(side.at, side.len, "U"), &U))
		words_like(style, U, 2, shown, spread, sizeof spread);
	/* The unit once: that of the spread is the same. */
	spread[strcspn(spread, " ")] = '\0';
	json_int(json_member(side.at, side.len, "seq"), &seq);
	table_cell(t, meter);
	table_printf(t, "%.*s%s%s%s (%lld)", number, value, spread[0] ? style->utf8 ? " ±" : " +-" : "", spread,
	             unit ? unit : "", (long long)seq);
}

static void real_cell(struct table *t, struct slice object, const char *path, int digits)
{
	double x;
	if (json_number(json_member(object.at, object.len, path), &x))
		table_printf(t, "%.*f", digits, x);
	else
		table_cell(t, "");
}

/* "found, lifted" */
static void measured_cell(struct table *t, struct slice object)
{
	char condition[64], reach[64], hertz[40];
	words_member(object, "condition", condition, sizeof condition);
	words_member(object, "reach", reach, sizeof reach);
	words_hertz(object, hertz, sizeof hertz);
	table_printf(t, "%s%s%s%s%s", condition, condition[0] && reach[0] ? ", " : "", reach,
	             hertz[0] ? ", at " : "", hertz);
}

static void pair_row(struct table *t, const struct style *style, struct slice check,
                     struct slice pair)
{
	char text[WORDS_SIZE];
	bool agree = json_bool(json_member(pair.at, pair.len, "agree"), false);
	table_row(t, agree ? TABLE_ORDINARY : TABLE_BAD);
	words_member(check, "position", text, sizeof text);
	table_cell(t, text);
	words_member(check, "quantity", text, sizeof text);
	table_cell(t, text);
	measured_cell(t, check);
	side_cells(t, style, json_member(pair.at, pair.len, "a"));
	side_cells(t, style, json_member(pair.at, pair.len, "b"));
	real_cell(t, pair, "en", 2);
	words_member(check, "apart", text, sizeof text);
	char why[WORDS_SIZE];
	words_member(pair, "why", why, sizeof why);
	char answer[80];
	words_mark(style, agree ? "within" : "outside", agree ? "agree" : "disagree", answer, sizeof answer);
	table_printf(t, "%s%s%.80s%s%s%.160s", answer, text[0] ? "; " : "", text,
	             text[0] ? " stands apart" : "", why[0] ? "; " : "", why);
}

static int check_rows(struct table *t, const struct style *style, struct slice checks,
                      int *disagree)
{
	struct slice check, pair;
	size_t cursor = 0;
	int n = 0;
	while (json_next(checks, &cursor, &check)) {
		struct slice pairs = json_member(check.at, check.len, "pairs");
		size_t at = 0;
		while (json_next(pairs, &at, &pair))
			pair_row(t, style, check, pair);
		n++;
		*disagree += !json_bool(json_member(check.at, check.len, "agree"), false);
	}
	return n;
}

static void twin_row(struct table *t, const struct style *style, struct slice twin, bool agree)
{
	char text[WORDS_SIZE], value[WORDS_SIZE];
	double difference;
	/* In circuit both have the same paths beside them; out of it there is no more
	 * to lift.  E_n stays in the JSON: twins are alike within their tolerance. */
	const char *differ = words_member_is(twin, "reach", "in-circuit")
	                         ? "differ: lift both and measure again"
	                         : "differ more than their tolerance allows";
	table_row(t, agree ? TABLE_ORDINARY : TABLE_WARNING);
	static const char *const names[] = {"position", "a", "twin", "b"};
	for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
		if (i % 2)
			words_compared(json_member(twin.at, twin.len, names[i]), text, sizeof text);
		else
			words_member(twin, names[i], text, sizeof text);
		words_value(style, text, value, sizeof value);
		table_cell(t, i % 2 ? value : text);
	}
	measured_cell(t, twin);
	if (json_number(json_member(twin.at, twin.len, "difference"), &difference))
		table_printf(t, "%.1f %%", fabs(difference) * 100);
	else
		table_cell(t, "");
	real_cell(t, twin, "ratio", 3);
	words_mark(style, agree ? "within" : "outside", agree ? "alike: nothing against them" : differ, text,
	           sizeof text);
	table_cell(t, text);
}

static int twin_rows(struct table *t, const struct style *style, struct slice twins, int *differ)
{
	struct slice twin;
	size_t cursor = 0;
	int n = 0;
	while (json_next(twins, &cursor, &twin)) {
		bool agree = json_bool(json_member(twin.at, twin.len, "agree"), false);
		twin_row(t, style, twin, agree);
		n++;
		*differ += !agree;
	}
	return n;
}

static const struct table_column reference_columns[] = {
	{"reference", false, true}, {"measured", false, true}, {"meter", false, true},
	{"value", true, true},      {"E_n", true, false},      {"answer", false, true},
};

static int reference_rows(struct table *t, const struct style *style, struct slice references,
                          int *disagree)
{
	struct slice one;
	size_t cursor = 0;
	char text[WORDS_SIZE];
	int n = 0;
	while (json_next(references, &cursor, &one)) {
		bool agree = json_bool(json_member(one.at, one.len, "agree"), false);
		table_row(t, agree ? TABLE_ORDINARY : TABLE_BAD);
		words_member(one, "position", text, sizeof text);
		table_cell(t, text);
		measured_cell(t, one);
		side_cells(t, style, json_member(one.at, one.len, "a"));
		real_cell(t, one, "en", 2);
		words_mark(style, agree ? "within" : "outside", agree ? "as it is known to be"
		           : "not what it is known to be", text, sizeof text);
		table_cell(t, text);
		*disagree += !agree;
		n++;
	}
	return n;
}

/* Of three meters and more: do they have one value in common? */
static void together_lines(struct slice checks, struct lines *out)
{
	struct slice check;
	size_t cursor = 0;
	while (json_next(checks, &cursor, &check)) {
		char position[80];
		double p;
		struct slice all = json_member(check.at, check.len, "together");
		if (!all.at || *all.at != '{' || !json_number(json_member(all.at, all.len, "p"), &p))
			continue;
		words_member(check, "position", position, sizeof position);
		lines_printf(out, "%s, all meters together: %s (so much by chance: p = %.3g)\n", position,
		             json_bool(json_member(all.at, all.len, "consistent"), false)
		                 ? "one value fits them" : "no one value fits them", p);
	}
}

/* A value by one meter and a leakage by another are every day's work: many of them are one line. */
static const int folded_above = 3;

static int folded_count(struct slice refused)
{
	struct slice one;
	size_t cursor = 0;
	int n = 0;
	while (json_next(refused, &cursor, &one))
		n += json_member(one.at, one.len, "other").at != NULL;
	return n > folded_above ? n : 0;
}

static void folded_line(struct slice refused, int count, struct lines *out)
{
	struct slice one;
	size_t cursor = 0;
	int n = 0;
	char last[80] = "", position[80];
	lines_printf(out, "not compared: %d times different quantities, at ", count);
	while (json_next(refused, &cursor, &one)) {
		words_member(one, "position", position, sizeof position);
		if (!json_member(one.at, one.len, "other").at || !strcmp(position, last))
			continue;
		if (n < 8)
			lines_printf(out, "%s%s", n ? ", " : "", position);
		n++;
		snprintf(last, sizeof last, "%s", position);
	}
	if (n > 8)
		lines_printf(out, " and %d more", n - 8);
	lines_puts(out, " (tally compare POSITION says which); measure the same one with both\n");
}

static void refused_lines(struct slice refused, struct lines *out)
{
	struct slice one;
	size_t cursor = 0;
	int folded = folded_count(refused);
	while (json_next(refused, &cursor, &one)) {
		char position[80], why[WORDS_SIZE];
		int64_t a = 0, b = 0;
		if (folded && json_member(one.at, one.len, "other").at)
			continue;
		words_member(one, "position", position, sizeof position);
		words_member(one, "why", why, sizeof why);
		json_int(json_member(one.at, one.len, "a"), &a);
		json_int(json_member(one.at, one.len, "b"), &b);
		lines_printf(out, "not compared: %s, entries %lld and %lld: %s\n", position,
		             (long long)a, (long long)b, why);
	}
	if (folded)
		folded_line(refused, folded, out);
}

void view_compare(const struct style *style, struct slice result, int *disagree,
                  struct lines *out)
{
	struct table checks, twins, references;
	int differ = 0;
	*disagree = 0;
	table_begin(&checks, check_columns, sizeof check_columns / sizeof check_columns[0]);
	table_begin(&twins, twin_columns, sizeof twin_columns / sizeof twin_columns[0]);
	int n = check_rows(&checks, style, json_member(result.at, result.len, "crosschecks"),
	                   disagree);
	int m = twin_rows(&twins, style, json_member(result.at, result.len, "twins"), &differ);
	table_print(&checks, style, out);
	if (n)
		lines_printf(out, "%d cross-check%s: %d agree, %d disagree (they agree where E_n is at "
		             "most 1)\n", n, n == 1 ? "" : "s", n - *disagree, *disagree);
	if (n && m && !style->plain)
		lines_puts(out, "\n");
	table_print(&twins, style, out);
	if (m)
		lines_printf(out, "%d pair%s of twins: %d alike, %d differ\n", m, m == 1 ? "" : "s",
		             m - differ, differ);
	table_begin(&references, reference_columns,
	            sizeof reference_columns / sizeof reference_columns[0]);
	int r = reference_rows(&references, style, json_member(result.at, result.len, "references"),
	                       disagree);
	table_print(&references, style, out);
	out->failed |= references.failed;
	table_end(&references);
	together_lines(json_member(result.at, result.len, "crosschecks"), out);
	refused_lines(json_member(result.at, result.len, "refused"), out);
	if (!n && !m && !r)
		lines_puts(out, "nothing to compare yet: it takes one part measured with two meters, or "
		           "both twins, at the same reach\n");
	out->failed |= checks.failed | twins.failed;
	table_end(&checks);
	table_end(&twins);
}

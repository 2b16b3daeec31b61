/* SPDX-License-Identifier: MIT */
/*
 * What parts do in their place, as calculated: never shown as if it had been measured.
 */
#include "client/view.h"

#include <stdio.h>
#include <string.h>

static const struct table_column columns[] = {
	{"position", false, true}, {"calculated", false, true}, {"by values", false, true},
	{"result", true, true},    {"+- U", true, false},       {"from", false, false},
	{"note", false, true},
};

/* "coupling-corner" as people say it. */
static void spoken(char *word)
{
	for (; *word; word++)
		if (*word == '-')
			*word = ' ';
}

static void from_cell(struct table *t, struct slice list)
{
	struct slice one;
	size_t cursor = 0;
	char text[WORDS_SIZE] = "", name[80];
	while (json_next(list, &cursor, &one) && json_text(one, name, sizeof name)) {
		size_t at = strlen(text);
		snprintf(text + at, sizeof text - at, "%s%s", at ? "; " : "", name);
	}
	table_cell(t, text);
}

/* The uncertainty in the prefix of the result. */
static void spread_cell(struct table *t, const struct style *style, struct slice one,
                        const char *shown)
{
	double u;
	char text[WORDS_SIZE];
	if (!json_number(json_member(one.at, one.len, "u"), &u) || !(u > 0)) {
		table_cell(t, "");
		return;
	}
	words_like(style, 2 * u, 2, shown, text, sizeof text);
	table_cell(t, text);
}

void view_places(const struct style *style, struct slice result, struct lines *out)
{
	struct slice one, list = json_member(result.at, result.len, "places");
	struct table t;
	size_t cursor = 0;
	int n = 0;
	table_begin(&t, columns, sizeof columns / sizeof columns[0]);
	for (; json_next(list, &cursor, &one); n++) {
		char text[WORDS_SIZE], shown[WORDS_SIZE];
		table_row(&t, TABLE_ORDINARY);
		words_member(one, "position", text, sizeof text);
		table_cell(&t, text);
		words_member(one, "what", text, sizeof text);
		spoken(text);
		table_cell(&t, text);
		words_member(one, "condition", text, sizeof text);
		table_cell(&t, text);
		words_member(one, "shown", shown, sizeof shown);
		words_value(style, shown, text, sizeof text);
		table_cell(&t, text);
		spread_cell(&t, style, one, shown);
		from_cell(&t, json_member(one.at, one.len, "from"));
		words_member(one, "note", text, sizeof text);
		table_cell(&t, text);
	}
	table_print(&t, style, out);
	out->failed |= t.failed;
	table_end(&t);
	if (!n)
		lines_puts(out, "nothing to calculate yet: it takes roles and `with` in the sheet (coupling "
		           "with its grid leak, bypass with its cathode resistor), and entries\n");
}

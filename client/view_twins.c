/* SPDX-License-Identifier: MIT */
/* Twins that are proposed by equal value. */
#include "client/view.h"

#include <stdio.h>
#include <string.h>

static const struct table_column columns[] = {
	{"position", false, true}, {"measured", true, true}, {"twin", false, false},
	{"measured", true, true},  {"difference", true, false}, {"", false, true},
};

static void side(struct table *t, const struct style *style, struct slice pair, const char *name)
{
	char text[WORDS_SIZE], value[WORDS_SIZE];
	struct slice one = json_member(pair.at, pair.len, name);
	words_member(one, "position", text, sizeof text);
	table_cell(t, text);
	words_member(one, "shown", text, sizeof text);
	words_value(style, text, value, sizeof value);
	table_cell(t, value);
}

void view_twins(const struct style *style, struct slice result, struct lines *out)
{
	view_twins_how(style, result, "`tally sheet twins accept`", out);
}

void view_twins_how(const struct style *style, struct slice result, const char *how,
                    struct lines *out)
{
	struct table t;
	struct slice pairs = json_member(result.at, result.len, "pairs"), pair;
	size_t cursor = 0;
	int n = 0, alone = 0;
	double difference;
	table_begin(&t, columns, sizeof columns / sizeof columns[0]);
	for (; json_next(pairs, &cursor, &pair); n++) {
		bool sure = json_bool(json_member(pair.at, pair.len, "alone"), false);
		alone += sure;
		table_row(&t, TABLE_ORDINARY);
		side(&t, style, pair, "a");
		side(&t, style, pair, "b");
		if (json_number(json_member(pair.at, pair.len, "difference"), &difference))
			table_printf(&t, "%.1f %%", 100 * difference);
		else
			table_cell(&t, "");
		table_cell(&t, sure ? "the only ones of this value" : "others have this value, too");
	}
	table_print(&t, style, out);
	table_end(&t);
	if (!n)
		lines_puts(out, "no twins are proposed: two channels have to be measured, and positions "
		           "that have a twin already are passed over\n");
	else
		lines_printf(out, "%s makes twins of the %d that %s sure; with positions behind it, of those "
		             "that you name\n", how, alone, alone == 1 ? "is" : "are");
}

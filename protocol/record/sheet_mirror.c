/* SPDX-License-Identifier: MIT */
/*
 * The other channel of an amplifier, made from the first: see sheet_entry.h.
 */
#include "protocol/record/sheet_entry.h"

#include "protocol/record/sheet_cells.h"

#include <stdio.h>
#include <string.h>

void channel_other(const char *channel, char out[16])
{
	static const char *const pairs[][2] = {
	    {"left", "right"}, {"l", "r"}, {"a", "b"}, {"1", "2"}, {"one", "two"},
	};
	out[0] = '\0';
	for (size_t i = 0; i < 2 * (sizeof pairs / sizeof *pairs); i++) {
		const char *from = pairs[i / 2][i % 2], *to = pairs[i / 2][1 - i % 2];
		if (!column_is(channel, strlen(channel), from))
			continue;
		snprintf(out, 16, "%s", to);
		for (size_t k = 0; out[k]; k++) {
			bool upper = channel[k ? 1 : 0] >= 'A' && channel[k ? 1 : 0] <= 'Z';
			if (upper && out[k] >= 'a' && out[k] <= 'z' && (k == 0 || channel[1]))
				out[k] = (char)(out[k] - 'a' + 'A');
		}
		return;
	}
}

bool sheet_mirror_row(const struct sheet_row *row, int by,
                      bool (*mirrored)(void *arg, const char *name), void *arg,
                      struct sheet_row *out, struct fault *why)
{
	static const enum sheet_column dropped[] = {SHEET_PRICE, SHEET_NOTE, SHEET_WITH, SHEET_PART,
	                                            SHEET_CHANNEL};
	const char *name = row->position.name;
	struct sheet_row made = *row;
	enum sheet_column bad;
	char shifted[NAME_SIZE];
	if (!name_shift(name, by, shifted)) {
		fault_set(why, "%s: its number cannot be raised by %d", name, by);
		return false;
	}
	for (size_t i = 0; i < sizeof dropped / sizeof *dropped; i++)
		made.written[dropped[i]][0] = '\0';
	snprintf(made.written[SHEET_POSITION], SHEET_CELL_SIZE, "%s", shifted);
	snprintf(made.written[SHEET_TWIN], SHEET_CELL_SIZE, "%s", name);
	const char *with = row->written[SHEET_WITH];
	if (with[0] && mirrored(arg, with) && name_shift(with, by, shifted))
		snprintf(made.written[SHEET_WITH], SHEET_CELL_SIZE, "%s", shifted);
	else if (with[0])
		snprintf(made.written[SHEET_WITH], SHEET_CELL_SIZE, "%s", with);
	/* A can or a double valve of the other channel is another one. */
	if (row->written[SHEET_PART][0] && name_shift(row->written[SHEET_PART], by, shifted))
		snprintf(made.written[SHEET_PART], SHEET_CELL_SIZE, "%s", shifted);
	channel_other(row->written[SHEET_CHANNEL], made.written[SHEET_CHANNEL]);
	memset(&made.position, 0, sizeof made.position);
	if (!row_understand(&made, &bad, why))
		return false;
	*out = made;
	return true;
}

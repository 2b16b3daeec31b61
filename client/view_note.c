/* SPDX-License-Identifier: MIT */
/* One note as a line: when, about what, what it says, and its photo. */
#include "client/view.h"

#include <string.h>

void view_note(const struct style *style, struct slice element, struct lines *out)
{
	char position[80], text[WORDS_SIZE * 2], time[80], name[WORDS_SIZE], state[40];
	struct slice record = json_member(element.at, element.len, "record");
	words_member(element, "position", position, sizeof position);
	words_member(element, "state", state, sizeof state);
	words_member(record, "text", text, sizeof text);
	words_member(record, "photo.name", name, sizeof name);
	words_time(style, json_member(record.at, record.len, "t"), true, time, sizeof time);
	lines_printf(out, "%s  %s  %s", time, position[0] ? position : "job", text);
	if (name[0])
		lines_printf(out, "  [photo %s%s%s]", name, state[0] ? ": " : "", state);
	words_member(record, "photo.hash", name, sizeof name);
	if (state[0] && strcmp(state, "good") != 0)
		lines_printf(out, " %s", name);
	lines_puts(out, "\n");
}

/* SPDX-License-Identifier: MIT */
/*
 * Danger that goes on stands over everything, and goes when the daemon says that it is
 * over; no key takes it away.
 */
#include "client/view_bench.h"

#include "client/block.h"

#include <stdio.h>
#include <string.h>

static const struct {
	const char *word, *says; /* where the daemon gave no sentence */
} dangers[] = {
	[SCENE_DANGER_NONE] = {"", ""},
	[SCENE_DANGER_OTHER] = {"DANGER", "the daemon warns of danger: hands off"},
	[SCENE_DANGER_HELD] = {"STILL CHARGED", "the reservoirs still hold volts: discharge them, and "
	                                        "measure them dead"},
	[SCENE_DANGER_MAINS] = {"MAINS", "this meter is not isolated: it must not be used here"},
	[SCENE_DANGER_LIVE] = {"LIVE", "there are volts that kill on a unit that was said to be cold: "
	                               "hands off"},
};

int view_bench_banner(const struct bench_view *v, struct picture *p, int row, int width, int rows)
{
	const struct scene *s = v->scene;
	const struct scene_alarm *a = scene_alarm(s);
	char text[SCENE_TEXT + 3 * SCENE_NAME];
	if (!a || rows < 1)
		return 0;
	const char *word = dangers[a->danger].word;
	int wide = block_width(BLOCK_MIDDLE, word);
	bool large = rows >= BLOCK_MIDDLE_ROWS + 1 && wide <= width;
	int all = large ? BLOCK_MIDDLE_ROWS + 1 : 1;
	snprintf(text, sizeof text, "%s%s%s%s%s", large ? "" : word, large ? "" : ": ", a->meter,
	         a->meter[0] ? ": " : "", a->text[0] ? a->text : dangers[a->danger].says);
	for (int i = 0; i < all; i++) {
		picture_clear(p, row + i, 0, width);
		picture_tint(p, row + i, 0, width, LOOK_LIVE);
	}
	picture_put_most(p, row + all - 1, large ? 1 : 0, width - 1, LOOK_LIVE, text);
	if (s->alarms > 1) {
		snprintf(text, sizeof text, " and %d more ", s->alarms - 1);
		picture_put(p, row + all - 1, width - (int)strlen(text), LOOK_LIVE, text);
	}
	if (!large)
		return all;
	/* Twice, where it has room: seen from any side of the bench. */
	int column = block_put(p, row, 1, BLOCK_MIDDLE, v->style->utf8, LOOK_LIVE, word);
	if (column + 6 + wide < width)
		block_put(p, row, width - wide - 1, BLOCK_MIDDLE, v->style->utf8, LOOK_LIVE, word);
	return all;
}

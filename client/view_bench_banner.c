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

/* What the daemon says, without what stands here in large letters already, and with the meter
 * only where the sentence does not name it. */
static void sentence(const struct scene_alarm *a, bool large, char *out, size_t size)
{
	const char *word = dangers[a->danger].word, *says = a->text[0] ? a->text : dangers[a->danger].says;
	size_t n = strlen(word);
	if (n && strncmp(says, word, n) == 0 && strncmp(says + n, ": ", 2) == 0)
		says += n + 2;
	bool named = !a->meter[0] || strstr(says, a->meter);
	snprintf(out, size, "%s%s%s%s%s", large ? "" : word, large ? "" : ": ", named ? "" : a->meter,
	         named ? "" : ": ", says);
}

#define BESIDE_LEAST 30 /* columns beside the large word; with fewer a sentence is all breaks */

/* A sentence that is longer than the last row goes beside the large word, row by row; what to do
 * stands at its end.  Returns what is left for the last row. */
static const char *beside(struct picture *p, int row, int column, int room, const char *text)
{
	for (int i = 0; i < BLOCK_MIDDLE_ROWS && *text; i++) {
		size_t len = strlen(text), n = len;
		if (n > (size_t)room) {
			for (n = (size_t)room; n && text[n] != ' '; n--)
				;
			if (!n)
				n = (size_t)room;
		}
		char line[SCENE_TEXT + 3 * SCENE_NAME];
		snprintf(line, sizeof line, "%.*s", (int)n, text);
		picture_put_most(p, row + i, column, room, LOOK_LIVE, line);
		text += n;
		text += strspn(text, " ");
	}
	return text;
}

int view_bench_banner(const struct bench_view *v, struct picture *p, int row, int width, int rows)
{
	const struct scene *s = v->scene;
	const struct scene_alarm *a = scene_alarm(s);
	char text[SCENE_TEXT + 3 * SCENE_NAME], more[40] = "";
	if (!a || rows < 1)
		return 0;
	const char *word = dangers[a->danger].word, *rest = text;
	int wide = block_width(BLOCK_MIDDLE, word);
	bool large = rows >= BLOCK_MIDDLE_ROWS + 1 && wide <= width;
	int all = large ? BLOCK_MIDDLE_ROWS + 1 : 1;
	sentence(a, large, text, sizeof text);
	for (int i = 0; i < all; i++)
		picture_clear(p, row + i, 0, width);
	picture_tint(p, row + all - 1, 0, width, LOOK_LIVE);
	if (s->alarms > 1)
		snprintf(more, sizeof more, " and %d more ", s->alarms - 1);
	if (large) {
		/* Twice, where it has room: seen from any side of the bench.  Letters of this kind are
		 * not reversed, for they would run into what is around the field. */
		int column = block_put(p, row, 1, BLOCK_MIDDLE, v->style->utf8, LOOK_BAD, word);
		int end = width;
		if (column + 6 + wide < width) {
			end = width - wide - 1;
			block_put(p, row, end, BLOCK_MIDDLE, v->style->utf8, LOOK_BAD, word);
		}
		for (int i = 0; i < BLOCK_MIDDLE_ROWS; i++)
			picture_tint(p, row + i, column + 2, end - column - 4, LOOK_LIVE);
		int room = end - column - 6;
		if ((int)(words_width(text, strlen(text)) + strlen(more)) > width - 2 && room >= BESIDE_LEAST)
			rest = beside(p, row, column + 3, room, text);
	}
	picture_put_most(p, row + all - 1, large ? 1 : 0, width - 1, LOOK_LIVE, rest);
	if (more[0])
		picture_put(p, row + all - 1, width - (int)strlen(more), LOOK_LIVE, more);
	return all;
}

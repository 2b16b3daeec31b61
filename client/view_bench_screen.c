/* SPDX-License-Identifier: MIT */
/*
 * The whole screen of `tally bench`: which part stands where.
 *
 *     header                                   1 row
 *     position               state             3
 *     facts of the position                    1
 *     value and unit                           8   (16 in a large window, 3 in a small one)
 *     settling, trail                          1
 *     limits                                   1
 *     the last entry                           3   (from 30 rows on)
 *     entries                                  what is left
 *     COLD FOUND LIFTED                        3
 *     sheet                                    1   (beside it all from 116 columns on)
 *     message, or what is typed                1
 *     keys                                     1
 */
#include "client/view_bench.h"

#include "client/block.h"

#include <stdio.h>
#include <string.h>

#define SHEET_WIDTH 34
#define SHEET_FROM 116
#define FEWEST_ENTRIES 3
#define NEAR 112
#define GAPS 5

static void full(const struct bench_view *v, struct picture *p)
{
	int width = p->width, row = 0, foot = p->height;
	bool beside = p->width >= SHEET_FROM && v->scene->sheet_count > 0;
	int fixed = 1 + 3 + 1 + 1 + 1 + 3 + 1 + 1 + 1; /* all but value and entries */
	int spare = p->height - fixed - FEWEST_ENTRIES - BLOCK_TALL_ROWS, rows = BLOCK_TALL_ROWS;
	bool last = spare >= BLOCK_MIDDLE_ROWS + 1;
	spare -= last ? BLOCK_MIDDLE_ROWS : 0;
	if (spare >= BLOCK_TALL_ROWS + GAPS + 4) { /* a large window: a large value */
		rows = 2 * BLOCK_TALL_ROWS;
		spare -= BLOCK_TALL_ROWS;
	}
	/* Blank rows where they help most, as far as there are any to spare. */
	bool before_unit = spare > 0, before_last = spare > 1, before_value = spare > 2;
	bool after_value = spare > 3, before_place = spare > 4;
	view_bench_header(v, p, row, width);
	if (beside) {
		width -= SHEET_WIDTH;
		view_bench_sheet(v, p, 1, width, SHEET_WIDTH, p->height - 3);
		width -= 2;
	}
	view_bench_keys(v, p, --foot, p->width);
	view_bench_note(v, p, --foot, p->width);
	if (!beside)
		view_bench_map(v, p, --foot, width, 1);
	foot -= BLOCK_MIDDLE_ROWS;
	int near = width < NEAR ? width : NEAR; /* what belongs together stands together */
	view_bench_unit(v, p, foot, near);
	int bottom = foot + BLOCK_MIDDLE_ROWS + !beside;
	row += 1 + before_place;
	view_bench_place(v, p, row, near);
	row += BLOCK_MIDDLE_ROWS;
	view_bench_facts(v, p, row++, width);
	row += before_value;
	view_bench_value(v, p, row, rows > BLOCK_TALL_ROWS ? width : near, rows);
	row += rows + after_value;
	int panel = row;
	view_bench_settling(v, p, row++, width);
	view_bench_limits(v, p, row++, width);
	row += before_last;
	if (last) {
		view_bench_last(v, p, row, near);
		row += BLOCK_MIDDLE_ROWS;
	}
	view_bench_entries(v, p, row, width, foot - row - before_unit);
	view_bench_panel(v, p, panel, width, foot - panel, bottom - panel);
}

/* A small window: what is read from afar first, the rest as far as it goes, and what is
 * missing said. */
static void small(const struct bench_view *v, struct picture *p)
{
	int row = 0, foot = p->height, width = p->width;
	char text[200];
	if (foot > 3)
		view_bench_keys(v, p, --foot, width);
	if (foot > 2) {
		view_bench_note(v, p, --foot, width);
		snprintf(text, sizeof text, "%dx%d: not all is here, 80x24 has it", p->width, p->height);
		if (v->keys->mode == KEYS_ACT)
			picture_clear(p, foot, 0, width), picture_put(p, foot, 0, LOOK_WARNING, text);
	}
	int room = foot;
	bool tall = room >= 3 + BLOCK_TALL_ROWS;
	if (room >= 6) {
		view_bench_place(v, p, row, width);
		row += BLOCK_MIDDLE_ROWS;
		view_bench_value(v, p, row, width, tall ? BLOCK_TALL_ROWS : BLOCK_MIDDLE_ROWS);
		row += tall ? BLOCK_TALL_ROWS : BLOCK_MIDDLE_ROWS;
	} else {
		const struct scene_meter *m = scene_front(v->scene);
		enum look look;
		view_bench_state(v, text, sizeof text, &look);
		picture_printf(p, row++, 0, LOOK_STRONG, "%s %s %s", v->scene->position, text,
		               scene_stands(v->scene, m, v->now) ? m->shown : "");
	}
	if (row < foot)
		picture_printf(p, row++, 0, v->scene->live ? LOOK_LIVE : LOOK_STRONG, "%s %s %s",
		               !v->scene->unit_known ? "" : v->scene->live ? "LIVE" : "COLD",
		               v->scene->condition, v->scene->reach);
	int panel = row;
	if (row < foot)
		view_bench_facts(v, p, row++, width);
	if (row < foot)
		view_bench_settling(v, p, row++, width);
	if (row < foot)
		view_bench_entries(v, p, row, width, foot - row);
	view_bench_panel(v, p, panel, width, foot - panel, foot - panel);
}

void view_bench_screen(const struct bench_view *v, struct picture *p)
{
	if (p->width >= BENCH_WIDTH && p->height >= BENCH_HEIGHT)
		full(v, p);
	else
		small(v, p);
}

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
 *     keys, or what helps with typing          1
 *
 * Danger stands over the first four rows; the position goes to its facts then.
 */
#include "client/view_bench.h"

#include "client/block.h"

#include <stdio.h>
#include <string.h>

#define SHEET_WIDTH 34
#define SHEET_FROM 116
/* ... and from here on with values, each beside that of its twin. */
#define SHEET_WIDE 74
#define SHEET_WIDE_FROM 176
#define FEWEST_ENTRIES 3
#define NEAR 112
#define GAPS 5
#define SMALL_NOTE_MS 4000
/* Position and state of the whole screen, with the header over them. */
#define BANNER_ROWS 4

/* Where each part of the whole screen stands. */
struct plan {
	int value_rows;
	bool last, before_place, before_value, after_value, before_last, before_unit;
};

/* Blank rows where they help most, as far as there are any to spare. */
static struct plan plan_of(const struct picture *p)
{
	struct plan plan = {.value_rows = BLOCK_TALL_ROWS};
	int fixed = 1 + 3 + 1 + 1 + 1 + 3 + 1 + 1 + 1; /* all but value and entries */
	int spare = p->height - fixed - FEWEST_ENTRIES - BLOCK_TALL_ROWS;
	plan.last = spare >= BLOCK_MIDDLE_ROWS + 1;
	spare -= plan.last ? BLOCK_MIDDLE_ROWS : 0;
	if (spare >= BLOCK_TALL_ROWS + GAPS + 4) { /* a large window: a large value */
		plan.value_rows = 2 * BLOCK_TALL_ROWS;
		spare -= BLOCK_TALL_ROWS;
	}
	plan.before_unit = spare > 0;
	plan.before_last = spare > 1;
	plan.before_value = spare > 2;
	plan.after_value = spare > 3;
	plan.before_place = spare > 4;
	return plan;
}

/* The list of keys, the whole sheet and what stands before the power want more room than is
 * below a large value: it is smaller then, in its place; nobody has to go without it.  A list
 * of keys that would not be whole takes the row of facts, too. */
static void page(const struct bench_view *v, struct picture *p, int row, int near)
{
	bool keys = v->keys->asked == ACTION_HELP;
	int bottom = p->height - 1;
	int want = keys ? view_bench_help_rows(v, p->width) : bottom;
	if (keys && bottom - row - BLOCK_MIDDLE_ROWS < want)
		picture_clear(p, --row, 0, p->width);
	int rows = bottom - row - BLOCK_TALL_ROWS >= want ? BLOCK_TALL_ROWS : BLOCK_MIDDLE_ROWS;
	view_bench_value(v, p, row, near, rows);
	row += rows + (bottom - row - rows > want);
	view_bench_panel(v, p, row, p->width, bottom - row);
}

static void full(const struct bench_view *v, struct picture *p)
{
	int width = p->width, row = 0, foot = p->height;
	bool beside = p->width >= SHEET_FROM && v->scene->sheet_count > 0;
	bool looks = v->keys->mode == KEYS_LOOK;
	struct plan plan = plan_of(p);
	view_bench_header(v, p, row, width);
	if (beside && !looks) {
		int wide = p->width >= SHEET_WIDE_FROM ? SHEET_WIDE : SHEET_WIDTH;
		width -= wide;
		view_bench_sheet(v, p, 1, width, wide, p->height - 3);
		width -= 2;
	}
	int near = width < NEAR ? width : NEAR; /* what belongs together stands together */
	row += 1 + plan.before_place;
	view_bench_place(v, p, row, near);
	row += BLOCK_MIDDLE_ROWS;
	view_bench_facts(v, p, row++, width);
	row += plan.before_value;
	view_bench_keys(v, p, --foot, p->width);
	if (looks) {
		page(v, p, row, near);
		return;
	}
	bool long_note = !beside && view_bench_note_is_long(v, p->width);
	--foot;
	if (!long_note)
		view_bench_note(v, p, foot, p->width);
	if (long_note) /* over the sheet, for as long as it stands */
		view_bench_note_long(v, p, --foot, p->width);
	else if (!beside && v->keys->mode == KEYS_TYPE && p->width < BENCH_HOW_BESIDE)
		view_bench_how(p, --foot, width);
	else if (!beside)
		view_bench_map(v, p, --foot, width, 1);
	foot -= BLOCK_MIDDLE_ROWS;
	view_bench_unit(v, p, foot, near);
	view_bench_value(v, p, row, plan.value_rows > BLOCK_TALL_ROWS ? width : near, plan.value_rows);
	row += plan.value_rows + plan.after_value;
	int panel = row;
	view_bench_settling(v, p, row++, width);
	view_bench_limits(v, p, row++, width);
	row += plan.before_last;
	if (plan.last) {
		view_bench_last(v, p, row, near);
		row += BLOCK_MIDDLE_ROWS;
	}
	view_bench_entries(v, p, row, width, foot - row - plan.before_unit);
	view_bench_panel(v, p, panel, width, foot - panel);
}

/* What was said last, as long as it is new; then that not all is here. */
static void small_note(const struct bench_view *v, struct picture *p, int row, int width,
                       const char *missing)
{
	const struct scene_note *n = scene_note(v->scene, 0);
	if (n && v->now - n->at < SMALL_NOTE_MS)
		return;
	picture_clear(p, row, 0, width);
	picture_put(p, row, 0, LOOK_WARNING, missing);
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
		if (v->keys->mode == KEYS_ACT && !v->scene->caution)
			small_note(v, p, foot, width, text);
	}
	int room = foot;
	bool tall = room >= 3 + BLOCK_TALL_ROWS;
	if (room >= 6) {
		view_bench_place(v, p, row, width);
		row += BLOCK_MIDDLE_ROWS + (scene_alarm(v->scene) != NULL && room > 7);
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
	/* A list that was asked for leaves position and state alone. */
	int panel = v->keys->mode == KEYS_LOOK && room >= 6 ? BLOCK_MIDDLE_ROWS : row;
	if (row < foot)
		view_bench_facts(v, p, row++, width);
	if (row < foot)
		view_bench_settling(v, p, row++, width);
	if (row < foot)
		view_bench_entries(v, p, row, width, foot - row);
	view_bench_panel(v, p, panel, width, foot - panel);
}

void view_bench_screen(const struct bench_view *v, struct picture *p)
{
	if (p->width >= BENCH_WIDTH && p->height >= BENCH_HEIGHT)
		full(v, p);
	else
		small(v, p);
	view_bench_banner(v, p, 0, p->width, p->height > 8 ? BANNER_ROWS : 1);
}

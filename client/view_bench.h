/* SPDX-License-Identifier: MIT */
/*
 * The views of `tally bench`: the scene as a picture, and as lines.
 *
 * The screen is read from two metres by someone who does not touch a key.  So the value
 * stands largest and in one place that never moves; position, state, COLD or LIVE,
 * condition and reach are three rows high; everything else is ordinary text for when
 * the probes are down.  Colour adds, never decides: every state has its word, every
 * verdict its word and its mark:
 *
 *     +  within      X  outside      ?  unsure      -  no limits to judge by
 *     .  nothing yet   :  in part    >  up            t  the twin, among the limits
 *
 * At 80x24 all of it is there; smaller windows say what is missing, larger ones show
 * more entries, the last entry in block letters, and the sheet beside it all.
 */
#ifndef TALLY_CLIENT_VIEW_BENCH_H
#define TALLY_CLIENT_VIEW_BENCH_H

#include "client/keys.h"
#include "client/picture.h"
#include "client/scene.h"

/* Below this some parts are missing, and the screen says so. */
#define BENCH_WIDTH 80
#define BENCH_HEIGHT 24
/* From here on the keys that end typing have room beside what is typed. */
#define BENCH_HOW_BESIDE 110

struct bench_view {
	const struct scene *scene;
	const struct keys *keys;
	const struct style *style; /* utf8: half blocks, micro and ohm signs */
	int64_t now;
};

/* Fill a blank picture. */
void view_bench_screen(const struct bench_view *v, struct picture *p);

/* ---- --plain: one line an event ---- */

/* A happening as one line with its end; nothing for what is no news there. */
void view_bench_told(const struct style *style, const struct happening_told *told,
                     struct lines *out);
/* How things stand, a line a fact; and the words that can be typed. */
void view_bench_status(const struct style *style, const struct scene *s, int64_t now,
                       struct lines *out);
void view_bench_words(struct lines *out);
/* Every position with what is done of it, a line each. */
void view_bench_sheet_lines(const struct style *style, const struct scene *s, struct lines *out);

/* ---- the parts of the screen, each from a row on, within `width` columns ---- */

void view_bench_header(const struct bench_view *v, struct picture *p, int row, int width);
void view_bench_place(const struct bench_view *v, struct picture *p, int row, int width);
void view_bench_facts(const struct bench_view *v, struct picture *p, int row, int width);
/* `rows`: 3, 8 or 16. */
void view_bench_value(const struct bench_view *v, struct picture *p, int row, int width,
                      int rows);
void view_bench_settling(const struct bench_view *v, struct picture *p, int row, int width);
void view_bench_limits(const struct bench_view *v, struct picture *p, int row, int width);
void view_bench_unit(const struct bench_view *v, struct picture *p, int row, int width);
/* The last entry three rows high. */
void view_bench_last(const struct bench_view *v, struct picture *p, int row, int width);
void view_bench_entries(const struct bench_view *v, struct picture *p, int row, int width,
                        int rows);
void view_bench_map(const struct bench_view *v, struct picture *p, int row, int width, int rows);
void view_bench_sheet(const struct bench_view *v, struct picture *p, int row, int column,
                      int width, int rows);
/* All positions, a mark each beside the name that their row begins with. */
void view_bench_overview(const struct bench_view *v, struct picture *p, int row, int width,
                         int rows);
/* What is typed, and below it what helps: what is asked for, names, what is wrong. */
void view_bench_prompt(const struct bench_view *v, struct picture *p, int row, int width);
void view_bench_hint(const struct bench_view *v, struct picture *p, int row, int width);
/* Which keys end typing, where they have no room beside it. */
void view_bench_how(struct picture *p, int row, int width);
/* Danger over everything: block letters, and its sentence.  Returns the rows it took. */
int view_bench_banner(const struct bench_view *v, struct picture *p, int row, int width, int rows);
void view_bench_note(const struct bench_view *v, struct picture *p, int row, int width);
/* Does a warning want two rows?  Then it is put into two, with view_bench_note_long. */
bool view_bench_note_is_long(const struct bench_view *v, int width);
void view_bench_note_long(const struct bench_view *v, struct picture *p, int row, int width);
void view_bench_keys(const struct bench_view *v, struct picture *p, int row, int width);
/* Cautions over these rows, or the list of keys, where asked for. */
void view_bench_panel(const struct bench_view *v, struct picture *p, int row, int width,
                      int rows);
/* Rows that the list of keys takes at this width, to be whole. */
int view_bench_help_rows(const struct bench_view *v, int width);

/* The state as its word: "LOGGED OUTSIDE", "HELD R13?"; how it looks. */
void view_bench_state(const struct bench_view *v, char *word, size_t size, enum look *look);
/* Bytes of a text that stand in `room` columns, up to a blank where there is one. */
size_t view_bench_fold(const char *text, int room);
char view_bench_mark(const char *verdict);
enum look view_bench_verdict(const char *verdict);
/* "high", or for a value below zero "more negative": the deviation of a value from a
 * nominal, "" where there is none. */
void view_bench_deviation(struct decimal value, const struct scene_limits *l, char *out,
                          size_t size);

#define BENCH_GUTTER 11 /* columns of the labels */

#endif

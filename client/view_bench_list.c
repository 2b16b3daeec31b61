/* SPDX-License-Identifier: MIT */
/* What was done: the last entries, and the sheet with what is finished. */
#include "client/view_bench.h"

#include "client/block.h"

#include <stdio.h>
#include <string.h>

char view_bench_mark(const char *verdict)
{
	return strcmp(verdict, "within") == 0    ? '+'
	       : strcmp(verdict, "outside") == 0 ? 'X'
	       : strcmp(verdict, "unsure") == 0  ? '?' : '-';
}

enum look view_bench_verdict(const char *verdict)
{
	return strcmp(verdict, "within") == 0    ? LOOK_GOOD
	       : strcmp(verdict, "outside") == 0 ? LOOK_BAD
	       : strcmp(verdict, "unsure") == 0  ? LOOK_WARNING : LOOK_ORDINARY;
}

/* ---- entries ---- */

static void entry_put(const struct bench_view *v, struct picture *p, int row, int width,
                      const struct scene_entry *e)
{
	char value[WORDS_SIZE], rest[2 * SCENE_TEXT];
	enum look look = e->struck ? LOOK_FAINT : view_bench_verdict(e->verdict);
	words_value(v->style, e->shown, value, sizeof value);
	picture_put_most(p, row, 0, 10, e->struck ? LOOK_FAINT : LOOK_ORDINARY, e->position);
	int wide = (int)words_width(value, strlen(value));
	int column = BENCH_GUTTER + (wide < 13 ? 13 - wide : 0);
	column = picture_put(p, row, column, e->struck ? LOOK_FAINT : LOOK_STRONG, value) + 2;
	char mark[2] = {e->struck ? ' ' : view_bench_mark(e->verdict), '\0'};
	picture_put(p, row, column, look, mark);
	picture_put(p, row, column + 2, look,
	            e->struck ? "struck" : e->verdict[0] ? e->verdict : "no limits");
	column += 12;
	bool other = e->quantity[0] && strcmp(e->quantity, "value") != 0;
	snprintf(rest, sizeof rest, "%s%s%s%s%s", other ? e->quantity : "",
	         other && e->deviation[0] ? ", " : "", e->deviation,
	         e->remark[0] && (e->deviation[0] || other) ? "; " : "", e->remark);
	picture_put_most(p, row, column, width - column, LOOK_FAINT, rest);
}

void view_bench_entries(const struct bench_view *v, struct picture *p, int row, int width,
                        int rows)
{
	for (int i = 0; i < rows; i++) {
		const struct scene_entry *e = scene_entry(v->scene, i);
		if (e)
			entry_put(v, p, row + i, width, e);
		else if (i == 0)
			picture_put(p, row, 0, LOOK_FAINT, "no entries yet: what settles is logged by itself");
	}
}

void view_bench_last(const struct bench_view *v, struct picture *p, int row, int width)
{
	const struct scene_entry *e = scene_entry(v->scene, 0);
	static const struct style signs = {.utf8 = true};
	char value[WORDS_SIZE], verdict[16], text[WORDS_SIZE + 80];
	if (!e)
		return;
	words_value(&signs, e->shown, value, sizeof value);
	snprintf(verdict, sizeof verdict, "%s", e->struck ? "STRUCK" : e->verdict);
	enum look look = e->struck ? LOOK_FAINT : view_bench_verdict(e->verdict);
	for (int pass = 0; pass < 2; pass++) {
		snprintf(text, sizeof text, "%s %s", e->position, pass ? "" : value);
		int left = block_width(BLOCK_MIDDLE, text), right = block_width(BLOCK_MIDDLE, verdict);
		if (left + 4 + right > width)
			continue;
		block_put(p, row, 0, BLOCK_MIDDLE, v->style->utf8, LOOK_ORDINARY, text);
		/* In capitals: a lower-case m is another letter here. */
		char word[16];
		for (size_t i = 0; i < sizeof word; i++)
			word[i] = verdict[i] >= 'a' && verdict[i] <= 'z' ? (char)(verdict[i] - 32) : verdict[i];
		block_put(p, row, width - block_width(BLOCK_MIDDLE, word), BLOCK_MIDDLE, v->style->utf8,
		          look, word);
		return;
	}
}

/* ---- the sheet ---- */

static char place_mark(const struct scene *s, int i)
{
	const struct scene_position *at = &s->sheet[i];
	if (strcmp(at->name, s->position) == 0 && at->entries == 0)
		return '>';
	return at->entries ? view_bench_mark(at->verdict) : '.';
}

static void counts(const struct bench_view *v, char *out, size_t size)
{
	const struct scene *s = v->scene;
	int next = scene_next(s);
	bool more = next >= 0 && s->sheet[next].entries == 0;
	snprintf(out, size, "%d of %d%s%.40s", s->done, s->positions, more ? "  next " : "",
	         more ? s->sheet[next].name : "");
}

/* One mark a position, in groups of five; where they do not fit, the part around the
 * one that is up. */
void view_bench_map(const struct bench_view *v, struct picture *p, int row, int width, int rows)
{
	const struct scene *s = v->scene;
	char text[120];
	picture_put(p, row, BENCH_GUTTER - 7, LOOK_FAINT, "sheet");
	if (!s->sheet_count) {
		picture_put(p, row, BENCH_GUTTER, LOOK_FAINT, "no sheet: positions come as they are chosen");
		return;
	}
	counts(v, text, sizeof text);
	int column = picture_put(p, row, BENCH_GUTTER, LOOK_ORDINARY, text) + 2;
	column = column < BENCH_GUTTER + 24 ? BENCH_GUTTER + 24 : column;
	int room = (width - column) * 5 / 6 * rows, up = scene_place(s, s->position);
	int first = 0;
	if (s->sheet_count > room && up > room / 2)
		first = up - room / 2;
	if (first > s->sheet_count - room && s->sheet_count > room)
		first = s->sheet_count - room;
	int at = column, line = 0;
	for (int i = first; i < s->sheet_count; i++) {
		char mark[2] = {place_mark(s, i), '\0'};
		if (at >= width) {
			at = column;
			if (++line == rows)
				return;
		}
		enum look look = i == up ? LOOK_STRONG
		               : s->sheet[i].entries ? view_bench_verdict(s->sheet[i].verdict) : LOOK_FAINT;
		at = picture_put(p, row + line, at, look, mark);
		at += i % 5 == 4;
	}
}

static void sheet_row(const struct bench_view *v, struct picture *p, int row, int column,
                      int width, int i)
{
	const struct scene *s = v->scene;
	const struct scene_position *at = &s->sheet[i];
	bool up = strcmp(at->name, s->position) == 0;
	char nominal[WORDS_SIZE], mark[2] = {place_mark(s, i), '\0'};
	enum look look = at->entries ? view_bench_verdict(at->verdict) : LOOK_FAINT;
	words_value(v->style, at->nominal, nominal, sizeof nominal);
	picture_put(p, row, column, up ? LOOK_STRONG : LOOK_FAINT, up ? ">" : " ");
	picture_put_most(p, row, column + 2, 8, up ? LOOK_STRONG : LOOK_ORDINARY, at->name);
	picture_put_most(p, row, column + 11, 10, LOOK_FAINT, nominal);
	picture_put(p, row, column + 22, look, up && mark[0] == '>' ? "." : mark);
	picture_put_most(p, row, column + 24, width - 24, look,
	                 !at->entries ? "" : at->verdict[0] ? at->verdict : "no limits");
}

void view_bench_sheet(const struct bench_view *v, struct picture *p, int row, int column,
                      int width, int rows)
{
	const struct scene *s = v->scene;
	char text[120];
	if (rows < 2)
		return;
	counts(v, text, sizeof text);
	picture_put(p, row, column + 2, LOOK_FAINT, "sheet");
	picture_put_most(p, row, column + 11, width - 11, LOOK_ORDINARY, text);
	rows--;
	int up = scene_place(s, s->position), first = 0;
	if (s->sheet_count > rows && up > rows / 2)
		first = up - rows / 2;
	if (s->sheet_count > rows && first > s->sheet_count - rows)
		first = s->sheet_count - rows;
	for (int i = 0; i < rows && first + i < s->sheet_count; i++)
		sheet_row(v, p, row + 1 + i, column, width, first + i);
}

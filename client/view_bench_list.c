/* SPDX-License-Identifier: MIT */
/* What was done: the last entries.  The sheet is in view_bench_sheet.c. */
#include "client/view_bench.h"

#include "client/block.h"
#include "client/phrase.h"

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

/* From so many rows on each entry may take two. */
#define ROOMY 7

/* ---- which entry is meant ---- */

static bool asks_for_entry(enum action action)
{
	return action == ACTION_MOVE || action == ACTION_STRIKE;
}

/* While an entry is chosen by what is typed: their numbers, and those that are meant. */
static void number_put(const struct bench_view *v, struct picture *p, int row, int width,
                       const struct scene_entry *e)
{
	const struct keys *k = v->keys;
	int64_t seqs[PHRASE_LAST_MAX];
	char text[64];
	int count = phrase_picks(v->scene, k->asked, k->line.text, k->seq, seqs);
	bool meant = false;
	for (int i = 0; i < count; i++)
		meant = meant || seqs[i] == e->seq;
	snprintf(text, sizeof text, "  %s#%lld", meant ? k->asked == ACTION_MOVE ? "moves " : "strikes "
	         : "", (long long)e->seq);
	int wide = (int)strlen(text);
	picture_put(p, row, width - wide, meant ? LOOK_KEY : LOOK_FAINT, text);
	picture_tint(p, row, width - wide, 2, LOOK_ORDINARY);
}

/* What is said of it, behind its verdict, or what is left of that in the next row: a remark that
 * breaks off would be the wrong half of one.  What has no room ends with a mark.  Returns the
 * rows it took. */
static int remark_put(struct picture *p, int row, int column, int width, int rows, const char *text)
{
	size_t fits = view_bench_fold(text, width - column), len = strlen(text);
	char first[2 * SCENE_TEXT];
	if (fits == len || rows < 2) {
		picture_put_most(p, row, column, width - column, LOOK_FAINT, text);
		if (words_width(text, len) > (size_t)(width - column))
			picture_put(p, row, width - 1, LOOK_FAINT, "~");
		return 1;
	}
	snprintf(first, sizeof first, "%.*s", (int)fits, text);
	picture_put_most(p, row, column, width - column, LOOK_FAINT, first);
	const char *rest = text + fits + strspn(text + fits, " ");
	column = column + (int)words_width(rest, strlen(rest)) > width ? BENCH_GUTTER : column;
	return 1 + remark_put(p, row + 1, column, width, 1, rest);
}

/* Returns the rows it took, at most `rows`. */
static int entry_put(const struct bench_view *v, struct picture *p, int row, int width, int rows,
                     const struct scene_entry *e)
{
	char value[WORDS_SIZE], rest[2 * SCENE_TEXT];
	enum look look = e->struck ? LOOK_FAINT : view_bench_verdict(e->verdict);
	words_value(v->style, e->shown, value, sizeof value);
	picture_put_name(p, row, 0, 10, e->struck ? LOOK_FAINT : LOOK_ORDINARY, e->position);
	int wide = (int)words_width(value, strlen(value));
	int column = BENCH_GUTTER + (wide < 13 ? 13 - wide : 0);
	column = picture_put(p, row, column, e->struck ? LOOK_FAINT : LOOK_STRONG, value) + 2;
	char mark[2] = {e->struck ? ' ' : view_bench_mark(e->verdict), '\0'};
	picture_put(p, row, column, look, mark);
	picture_put(p, row, column + 2, look,
	            e->struck ? "struck" : e->verdict[0] ? e->verdict : "no limits");
	column += e->verdict[0] || e->struck ? 12 : 13; /* "no limits" is the longest */
	if (e->typed)
		column = picture_printf(p, row, column, LOOK_WARNING, "typed from %s", e->meter) + 2;
	bool other = e->quantity[0] && strcmp(e->quantity, "value") != 0;
	snprintf(rest, sizeof rest, "%s%s%s%s%s", other ? e->quantity : "",
	         other && e->deviation[0] ? ", " : "", e->deviation,
	         e->remark[0] && (e->deviation[0] || other) ? "; " : "", e->remark);
	if (v->keys->mode != KEYS_TYPE || !asks_for_entry(v->keys->asked))
		return remark_put(p, row, column, width, rows, rest);
	picture_put_most(p, row, column, width - column, LOOK_FAINT, rest);
	number_put(v, p, row, width, e);
	return 1;
}

void view_bench_entries(const struct bench_view *v, struct picture *p, int row, int width,
                        int rows)
{
	int at = 0;
	for (int i = 0; at < rows; i++) {
		const struct scene_entry *e = scene_entry(v->scene, i);
		if (!e && i == 0)
			picture_put(p, row, 0, LOOK_FAINT, "no entries yet: what settles is logged by itself");
		if (!e)
			return;
		/* The newest whole, if it may be; the others where there is room to spare. */
		at += entry_put(v, p, row + at, width, i == 0 || rows > ROOMY ? rows - at : 1, e);
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
		if (e->typed && left + 10 + right <= width)
			picture_put(p, row + 2, left + 2, LOOK_WARNING, "typed");
		/* In capitals: a lower-case m is another letter here. */
		char word[16];
		for (size_t i = 0; i < sizeof word; i++)
			word[i] = verdict[i] >= 'a' && verdict[i] <= 'z' ? (char)(verdict[i] - 32) : verdict[i];
		block_put(p, row, width - block_width(BLOCK_MIDDLE, word), BLOCK_MIDDLE, v->style->utf8,
		          look, word);
		return;
	}
}

/* SPDX-License-Identifier: MIT */
/*
 * The sheet with what is finished: as a row of marks, as a list beside everything, and
 * all of it on one page: values, each beside that of its twin, where they fit, else
 * marks, 400 positions and more:
 *
 *     R1       1.062 Mohm + within     R101     1.041 Mohm + within
 *
 *     R1      +?.XX +++.. .....      R101    +++++ ...
 *     C1      ++... ..>..
 */
#include "client/view_bench.h"

#include <stdio.h>
#include <string.h>

/* What of a position is known in the condition that is chosen: nothing, something but not
 * all that it is asked, all. */
enum progress { NOTHING, PARTLY, FINISHED };

/* The entry that stands for it: of what it is asked first, else of anything. */
static const struct scene_last *entry_of(const struct scene *s, int i, bool *first)
{
	static const enum quantity asked[] = {QUANTITY_VALUE, QUANTITY_VOLTS, QUANTITY_INSULATION};
	const struct scene_position *p = &s->sheet[i];
	for (size_t k = 0; k < sizeof asked / sizeof asked[0]; k++)
		if ((*first = scene_last(s, p, asked[k])->seq > 0))
			return scene_last(s, p, asked[k]);
	for (int q = 0; q < QUANTITY_COUNT; q++)
		if (scene_last(s, p, (enum quantity)q)->seq)
			return scene_last(s, p, (enum quantity)q);
	return NULL;
}

/* No entry of it came by, and yet it has some: where the list was not asked yet. */
static bool entries_unknown(const struct scene_position *p)
{
	for (int c = 0; c < CONDITION_COUNT; c++)
		for (int q = 0; q < QUANTITY_COUNT; q++)
			if (p->last[c][q].seq)
				return false;
	return p->entries > 0;
}

/* The marks agree with the count: both are the daemon's. */
static enum progress progress_of(const struct scene *s, int i, const char **verdict)
{
	const struct scene_position *p = &s->sheet[i];
	bool first = false;
	const struct scene_last *e = entry_of(s, i, &first);
	*verdict = e ? e->verdict : "";
	if (e)
		return (s->lacks_known ? p->lacks : !first) ? PARTLY : FINISHED;
	if (!entries_unknown(p) || (s->lacks_known && p->lacks))
		return NOTHING;
	*verdict = p->verdict;
	return FINISHED;
}

static char place_mark(const struct scene *s, int i)
{
	const char *verdict;
	enum progress known = progress_of(s, i, &verdict);
	if (known == FINISHED)
		return view_bench_mark(verdict);
	if (strcmp(s->sheet[i].name, s->position) == 0)
		return '>';
	/* What is outside already is not hidden by what it lacks. */
	return known == PARTLY ? strcmp(verdict, "outside") == 0 ? 'x' : ':' : '.';
}

static enum look place_look(const struct scene *s, int i)
{
	const char *verdict;
	enum progress known = progress_of(s, i, &verdict);
	bool out = known == PARTLY && strcmp(verdict, "outside") == 0;
	return known == FINISHED || out ? view_bench_verdict(verdict)
	     : known == PARTLY   ? LOOK_ORDINARY : LOOK_FAINT;
}

/* "within", "no limits"; "in part" where only something else was measured. */
static const char *place_word(const struct scene *s, int i)
{
	const char *verdict;
	enum progress known = progress_of(s, i, &verdict);
	return known == NOTHING ? "" : known == PARTLY ? "in part" : verdict[0] ? verdict : "no limits";
}

static void counts(const struct bench_view *v, char *out, size_t size)
{
	const struct scene *s = v->scene;
	int next = scene_next(s);
	bool more = next >= 0 && (s->next_known || s->sheet[next].entries == 0);
	bool by = s->order[0] && strcmp(s->order, "sheet") != 0;
	snprintf(out, size, "%d of %d%s%s%s%.40s", s->done, s->positions, by ? " by " : "",
	         by ? s->order : "", more ? "  next " : "", more ? s->sheet[next].name : "");
}

/* "walk on", "walk lift": it says what comes up by itself. */
static void walk_word(const struct scene *s, char *out, size_t size)
{
	snprintf(out, size, s->walk[0] ? "walk %.8s" : "sheet", s->walk);
}

/* ---- a row of marks ---- */

/* Several positions in one mark: the worst of those that are finished; x and : where
 * others are not yet. */
static void bucket(const struct scene *s, int from, int count, char *mark, enum look *look)
{
	int none = 0;
	const char *worst = "";
	static const char *const order[] = {"", "within", "unsure", "outside"};
	int rank = -1;
	for (int i = from; i < from + count && i < s->sheet_count; i++) {
		const char *verdict;
		if (progress_of(s, i, &verdict) != FINISHED) {
			none++;
			continue;
		}
		for (int r = 0; r < 4; r++)
			if (strcmp(verdict, order[r]) == 0 && r > rank)
				rank = r, worst = order[r];
	}
	*mark = rank < 0 ? '.' : rank == 1 && none ? ':' : view_bench_mark(worst);
	if (rank == 3 && none)
		*mark = 'x';
	*look = rank < 0 ? LOOK_FAINT : view_bench_verdict(worst);
}

/* One mark a position, in groups of five; where they do not fit, one for several, and
 * how many is said. */
void view_bench_map(const struct bench_view *v, struct picture *p, int row, int width, int rows)
{
	const struct scene *s = v->scene;
	char text[160], label[16];
	walk_word(s, label, sizeof label);
	picture_put(p, row, BENCH_GUTTER - 2 - (int)strlen(label), LOOK_FAINT, label);
	if (!s->sheet_count) {
		picture_put(p, row, BENCH_GUTTER, LOOK_FAINT, "no sheet: positions come as they are chosen");
		return;
	}
	counts(v, text, sizeof text);
	int column = picture_put(p, row, BENCH_GUTTER, LOOK_ORDINARY, text) + 2;
	column = column < BENCH_GUTTER + 24 ? BENCH_GUTTER + 24 : column;
	int room = (width - column) * 5 / 6 * rows, each = 1, up = scene_place(s, s->position);
	if (s->sheet_count > room) {
		room = (width - column - 8) * 5 / 6 * rows;
		room = room < 5 ? 5 : room;
		for (each = 2; (s->sheet_count + each - 1) / each > room; )
			each += each < 5 ? each == 2 ? 3 : 1 : 5;
		column = picture_printf(p, row, column, LOOK_FAINT, "%d each", each) + 1;
	}
	int at = column, line = 0;
	for (int i = 0; i < s->sheet_count; i += each) {
		char mark[2] = {place_mark(s, i), '\0'};
		enum look look = place_look(s, i);
		if (each > 1)
			bucket(s, i, each, &mark[0], &look);
		bool here = up >= i && up < i + each;
		if (each > 1 && here && mark[0] == '.')
			mark[0] = '>';
		if (at >= width) {
			at = column;
			if (++line == rows)
				return;
		}
		at = picture_put(p, row + line, at, here ? LOOK_STRONG : look, mark);
		at += i / each % 5 == 4;
	}
}

/* ---- all of it ---- */

/* Rows of `marks` each, a new one where the letter, the channel or the hundred changes:
 * how names go on a bench. */
static bool new_row(const struct scene *s, int i, int in_row, int marks)
{
	const struct scene_position *a = &s->sheet[i - 1], *b = &s->sheet[i];
	return in_row == marks || a->name[0] != b->name[0] || strcmp(a->channel, b->channel) != 0;
}

/* The last value of a position: in what it is asked first, else in anything. */
static const char *value_of(const struct bench_view *v, int i, char *out, size_t size)
{
	static const enum quantity order[] = {QUANTITY_VALUE, QUANTITY_VOLTS, QUANTITY_INSULATION,
	                                      QUANTITY_LEAKAGE, QUANTITY_ESR, QUANTITY_DISSIPATION};
	const struct scene_position *p = &v->scene->sheet[i];
	out[0] = '\0';
	for (size_t q = 0; q < sizeof order / sizeof order[0]; q++)
		if (scene_last(v->scene, p, order[q])->seq) {
			words_value(v->style, scene_last(v->scene, p, order[q])->shown, out, size);
			return scene_last(v->scene, p, order[q])->typed ? "typed" : "";
		}
	return "";
}

#define VALUE_WIDTH 13

/* "R1         1.062 M(ohm) + within", 32 columns; typed ones say so in a letter. */
static void value_put(const struct bench_view *v, struct picture *p, int row, int column, int i)
{
	const struct scene *s = v->scene;
	const struct scene_position *at = &s->sheet[i];
	bool up = strcmp(at->name, s->position) == 0;
	char value[WORDS_SIZE], mark[2] = {place_mark(s, i), '\0'};
	enum look look = place_look(s, i);
	const char *typed = value_of(v, i, value, sizeof value);
	int wide = (int)words_width(value, strlen(value));
	picture_put_name(p, row, column, 9, up ? LOOK_STRONG : LOOK_ORDINARY, at->name);
	int from = column + 10 + (wide < VALUE_WIDTH ? VALUE_WIDTH - wide : 0);
	picture_put_most(p, row, from, VALUE_WIDTH, LOOK_STRONG, value);
	picture_put(p, row, column + 11 + VALUE_WIDTH, up ? LOOK_STRONG : look, mark);
	picture_put_most(p, row, column + 13 + VALUE_WIDTH, 9, look,
	                 place_word(s, i));
	if (typed[0])
		picture_put(p, row, column + 10, LOOK_WARNING, "typed");
}

/* Twins side by side, one pair a row.  Drawn (p not NULL) or counted; those that have
 * none stand alone. */
#define PAIR_WIDTH 78

static int twin_of(const struct scene *s, int i)
{
	int twin = s->sheet[i].twin[0] ? scene_place(s, s->sheet[i].twin) : -1;
	return twin == i ? -1 : twin;
}

static int pairs_put(const struct bench_view *v, struct picture *p, int row, int rows)
{
	const struct scene *s = v->scene;
	int line = 0;
	for (int i = 0; i < s->sheet_count; i++) {
		int twin = twin_of(s, i);
		if (twin >= 0 && twin < i && twin_of(s, twin) == i)
			continue; /* it stands beside the first of them */
		if (p) {
			int column = line / rows * PAIR_WIDTH;
			value_put(v, p, row + line % rows, column, i);
			if (twin >= 0)
				value_put(v, p, row + line % rows, column + PAIR_WIDTH / 2, twin);
		}
		line++;
	}
	return line;
}

/* ---- all of it, in marks ---- */

#define OVERVIEW_NAME 10

/* Draw (p not NULL) or count the rows, `columns` of them side by side. */
static int overview_rows(const struct bench_view *v, struct picture *p, int row, int wide,
                         int marks, int rows)
{
	const struct scene *s = v->scene;
	int line = -1, in_row = 0, at = 0, up = scene_place(s, s->position);
	for (int i = 0; i < s->sheet_count; i++) {
		if (i == 0 || new_row(s, i, in_row, marks)) {
			line++;
			in_row = 0;
			at = line / rows * wide + OVERVIEW_NAME;
			if (p)
				picture_put_name(p, row + line % rows, at - OVERVIEW_NAME, OVERVIEW_NAME - 1,
				                 LOOK_ORDINARY, s->sheet[i].name);
		}
		char mark[2] = {place_mark(s, i), '\0'};
		enum look look = i == up ? LOOK_STRONG : place_look(s, i);
		if (p)
			picture_put(p, row + line % rows, at, look, mark);
		at += 1 + (in_row % 5 == 4);
		in_row++;
	}
	return line + 1;
}

/* Where rows by letter and channel do not fit: one behind the other, and one mark for
 * several where that is needed, which is said beside the counts. */
static void overview_dense(const struct bench_view *v, struct picture *p, int row, int width,
                           int rows, int said)
{
	const struct scene *s = v->scene;
	int marks = (width - OVERVIEW_NAME) / 6 * 5, each = 1, up = scene_place(s, s->position);
	if (marks < 5)
		return;
	while ((s->sheet_count + each - 1) / each > marks * rows)
		each++;
	if (each > 1)
		picture_printf(p, row - 1, said, LOOK_FAINT, "%d each", each);
	for (int i = 0, at = 0; i < s->sheet_count; i += each, at++) {
		char mark[2] = {place_mark(s, i), '\0'};
		enum look look = place_look(s, i);
		if (each > 1)
			bucket(s, i, each, &mark[0], &look);
		int line = row + at / marks, in_row = at % marks;
		if (in_row == 0)
			picture_put_name(p, line, 0, OVERVIEW_NAME - 1, LOOK_ORDINARY, s->sheet[i].name);
		picture_put(p, line, OVERVIEW_NAME + in_row + in_row / 5,
		            up >= i && up < i + each ? LOOK_STRONG : look, mark);
	}
}

/* As wide rows as are needed for all to be there. */
void view_bench_overview(const struct bench_view *v, struct picture *p, int row, int width,
                         int rows)
{
	char text[160];
	static const int choices[] = {10, 20, 30, 50, 100};
	if (rows < 3)
		return;
	counts(v, text, sizeof text);
	int column = picture_put(p, row, 0, LOOK_STRONG, text) + 2;
	static const char marks[] = "+ within X outside ? unsure - no limits : in part . none";
	if (column + (int)sizeof marks <= width + 1)
		picture_put(p, row, column, LOOK_FAINT, marks);
	row++;
	rows--;
	if (width >= PAIR_WIDTH && pairs_put(v, NULL, 0, rows) <= rows * (width / PAIR_WIDTH)) {
		pairs_put(v, p, row, rows);
		return;
	}
	for (size_t i = 0; i < sizeof choices / sizeof choices[0]; i++) {
		int wide = OVERVIEW_NAME + choices[i] * 6 / 5 + 2, columns = width / wide;
		if (columns < 1 || overview_rows(v, NULL, 0, wide, choices[i], rows) > rows * columns)
			continue;
		overview_rows(v, p, row, wide, choices[i], rows);
		return;
	}
	overview_dense(v, p, row, width, rows, column);
}

/* ---- a list ---- */

/* A row of the list; with room its value, and beside it that of its twin. */
#define LIST_WIDE 70

static void sheet_row(const struct bench_view *v, struct picture *p, int row, int column,
                      int width, int i)
{
	const struct scene *s = v->scene;
	const struct scene_position *at = &s->sheet[i];
	bool up = strcmp(at->name, s->position) == 0;
	char nominal[WORDS_SIZE], mark[2] = {place_mark(s, i), '\0'};
	enum look look = place_look(s, i);
	picture_put(p, row, column, up ? LOOK_STRONG : LOOK_FAINT, up ? ">" : " ");
	if (width >= LIST_WIDE) {
		int twin = twin_of(s, i);
		value_put(v, p, row, column + 2, i);
		if (twin >= 0)
			value_put(v, p, row, column + 39, twin);
		return;
	}
	words_value(v->style, at->nominal, nominal, sizeof nominal);
	picture_put_name(p, row, column + 2, 8, up ? LOOK_STRONG : LOOK_ORDINARY, at->name);
	picture_put_most(p, row, column + 11, 10, LOOK_FAINT, nominal);
	picture_put(p, row, column + 22, look, up && mark[0] == '>' ? "." : mark);
	picture_put_most(p, row, column + 24, width - 24, look,
	                 place_word(s, i));
}

void view_bench_sheet(const struct bench_view *v, struct picture *p, int row, int column,
                      int width, int rows)
{
	const struct scene *s = v->scene;
	char text[160], walk[16];
	if (rows < 3)
		return;
	counts(v, text, sizeof text);
	walk_word(s, walk, sizeof walk);
	picture_put(p, row, column + 2, LOOK_FAINT, walk);
	picture_put_most(p, row + 1, column + 2, width - 2, LOOK_ORDINARY, text);
	row += 2;
	rows -= 2;
	int up = scene_place(s, s->position), first = 0;
	if (s->sheet_count > rows && up > rows / 2)
		first = up - rows / 2;
	if (s->sheet_count > rows && first > s->sheet_count - rows)
		first = s->sheet_count - rows;
	for (int i = 0; i < rows && first + i < s->sheet_count; i++)
		sheet_row(v, p, row + i, column, width, first + i);
}

void view_bench_sheet_lines(const struct style *style, const struct scene *s, struct lines *out)
{
	if (!s->sheet_count)
		lines_puts(out, "there is no sheet\n");
	for (int i = 0; i < s->sheet_count; i++) {
		const struct scene_position *p = &s->sheet[i];
		char nominal[WORDS_SIZE];
		words_value(style, p->nominal, nominal, sizeof nominal);
		lines_printf(out, "%s%s%s, %s%s\n", p->name, nominal[0] ? ", nominal " : "", nominal,
		             place_word(s, i)[0] ? place_word(s, i) : "nothing yet",
		             strcmp(p->name, s->position) == 0 ? ", up" : "");
	}
	if (s->sheet_more)
		lines_printf(out, "and %d more\n", s->sheet_more);
}

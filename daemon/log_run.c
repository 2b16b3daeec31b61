/* SPDX-License-Identifier: MIT */
/*
 * What pictures of the trail are made from: a row for each run in the table `run`, and one
 * for every ROLLUP_RUNS runs of a meter and function, as they came, in `rollup`.
 *
 * Both say nothing that the sealed records do not say; they are written in the same
 * transaction as those, never changed, and made again from the records where they are
 * missing (somebody dropped them, or an older program wrote the log).  Rows are kept by
 * the number of the record, not by time: a clock that was set back would else put a run
 * between two that are rolled up already.
 */
#include "daemon/log_inside.h"

#include "protocol/record/record.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A picture of 2000 columns looks into the runs of 2000 rollups at most, and at all the
 * rollups: of a hundred million readings in runs of forty there are 39,000. */
#define ROLLUP_RUNS 16
/* Meters and functions whose last runs are remembered; of more the log is asked again. */
#define LINES_MAX 256

/* Runs of one meter and function since the last that were rolled up. */
struct run_line {
	char meter[NAME_SIZE];
	enum function function;
	bool any;      /* there was a run before */
	int64_t until; /* us since 1970: its last reading */
	int runs;      /* in what follows */
	int64_t since, t, end;
	bool has_silence;
	int64_t silence, inner; /* before the first of them, and the longest between them */
	struct trail_extremes all;
	int64_t n;
};

struct run_lines {
	struct run_line at[LINES_MAX];
	int n;
};

static void bind_real(struct sqlite3_stmt *st, int i, bool there, double x)
{
	if (there)
		sqlite3_bind_double(st, i, x);
}

static void bind_line(struct sqlite3_stmt *st, const struct run_line *l)
{
	sqlite3_bind_text(st, 1, l->meter, -1, SQLITE_STATIC);
	sqlite3_bind_text(st, 2, function_name(l->function), -1, SQLITE_STATIC);
}

static void line_clear(struct run_line *l)
{
	l->runs = 0;
	l->n = 0;
	l->inner = 0;
	l->all = (struct trail_extremes){ .n = 0 };
}

/* One run more into what will be rolled up. */
static void line_take(struct run_line *l, int64_t seq, int64_t t, int64_t until, bool has_silence,
                      int64_t silence, const struct trail_extremes *all)
{
	if (!l->runs) {
		l->since = seq;
		l->t = t;
		l->end = until;
		l->has_silence = has_silence;
		l->silence = silence;
	} else if (silence > l->inner) {
		l->inner = silence;
	}
	l->t = t < l->t ? t : l->t;
	l->end = until > l->end ? until : l->end;
	if (all->has_value) {
		if (!l->all.has_value)
			l->all = *all;
		l->all.low = all->low < l->all.low ? all->low : l->all.low;
		l->all.high = all->high > l->all.high ? all->high : l->all.high;
		l->all.last = all->last;
	}
	l->n += all->n;
	l->until = until;
	l->any = true;
	l->runs++;
}

/* What the log knows of a line: after a start, and after a transaction that was undone. */
static int line_recall(struct log_store *s, struct run_line *l)
{
	bind_line(s->run_tail, l);
	int code;
	while ((code = sqlite3_step(s->run_tail)) == SQLITE_ROW) {
		struct sqlite3_stmt *st = s->run_tail;
		struct trail_extremes all = { .n = sqlite3_column_int(st, 8),
			.has_value = sqlite3_column_type(st, 4) != SQLITE_NULL,
			.low = sqlite3_column_double(st, 4), .high = sqlite3_column_double(st, 5),
			.first = sqlite3_column_double(st, 6), .last = sqlite3_column_double(st, 7) };
		if (sqlite3_column_int(st, 9)) { /* rolled up already: only when it ended counts */
			l->any = true;
			l->until = sqlite3_column_int64(st, 2);
			continue;
		}
		line_take(l, sqlite3_column_int64(st, 0), sqlite3_column_int64(st, 1),
		          sqlite3_column_int64(st, 2), sqlite3_column_type(st, 3) != SQLITE_NULL,
		          sqlite3_column_int64(st, 3), &all);
	}
	sqlite3_reset(s->run_tail);
	sqlite3_clear_bindings(s->run_tail);
	return code == SQLITE_DONE ? SQLITE_OK : code;
}

static struct run_line *line_find(struct log_store *s, const struct trail_summary *run, int *code)
{
	struct run_lines *lines = s->lines;
	*code = SQLITE_OK;
	for (int i = 0; i < lines->n; i++)
		if (lines->at[i].function == run->function && !strcmp(lines->at[i].meter, run->meter))
			return &lines->at[i];
	if (lines->n == LINES_MAX)
		lines->n = 0;
	struct run_line *l = &lines->at[lines->n];
	memset(l, 0, sizeof *l);
	strcpy(l->meter, run->meter);
	l->function = run->function;
	*code = line_recall(s, l);
	lines->n += *code == SQLITE_OK;
	return l;
}

static int roll_up(struct log_store *s, struct run_line *l, int64_t seq)
{
	struct sqlite3_stmt *st = s->rollup_add;
	bind_line(st, l);
	sqlite3_bind_int64(st, 3, seq);
	sqlite3_bind_int64(st, 4, l->since);
	sqlite3_bind_int64(st, 5, l->t);
	sqlite3_bind_int64(st, 6, l->end);
	if (l->has_silence)
		sqlite3_bind_int64(st, 7, l->silence);
	sqlite3_bind_int64(st, 8, l->inner);
	bind_real(st, 9, l->all.has_value, l->all.low);
	bind_real(st, 10, l->all.has_value, l->all.high);
	bind_real(st, 11, l->all.has_value, l->all.first);
	bind_real(st, 12, l->all.has_value, l->all.last);
	sqlite3_bind_int64(st, 13, l->n);
	line_clear(l);
	return store_step(st);
}

int run_add(struct log_store *s, int64_t seq, const char *text, size_t len)
{
	struct trail_summary run;
	int code;
	if (s->runs_stale || !text_is_of_kind(text, len, "trail") || !trail_summary_read(text, len, &run))
		return SQLITE_OK; /* the trail of another writer: its pictures are made the long way */
	struct run_line *l = line_find(s, &run, &code);
	if (code != SQLITE_OK)
		return code;
	bool has_silence = l->any;
	int64_t silence = has_silence && run.t > l->until ? run.t - l->until : 0;
	struct sqlite3_stmt *st = s->run_add;
	bind_line(st, l);
	sqlite3_bind_int64(st, 3, seq);
	sqlite3_bind_int64(st, 4, run.t);
	sqlite3_bind_int64(st, 5, run.t + run.span);
	if (has_silence)
		sqlite3_bind_int64(st, 6, silence);
	if (run.position[0])
		sqlite3_bind_text(st, 7, run.position, -1, SQLITE_STATIC);
	bind_real(st, 8, run.all.has_value, run.all.low);
	bind_real(st, 9, run.all.has_value, run.all.high);
	bind_real(st, 10, run.all.has_value, run.all.first);
	bind_real(st, 11, run.all.has_value, run.all.last);
	sqlite3_bind_int(st, 12, run.all.n);
	code = store_step(st);
	if (code != SQLITE_OK)
		return code;
	line_take(l, seq, run.t, run.t + run.span, has_silence, silence, &run.all);
	return l->runs == ROLLUP_RUNS ? roll_up(s, l, seq) : SQLITE_OK;
}

void run_forget(struct log_store *s)
{
	if (s->lines)
		s->lines->n = 0;
}

static int64_t number(struct log_store *s, const char *sql, int *code)
{
	sqlite3_stmt *st = NULL;
	int64_t n = 0;
	*code = sqlite3_prepare_v2(s->db, sql, -1, &st, NULL);
	if (*code == SQLITE_OK)
		*code = sqlite3_step(st);
	if (*code == SQLITE_ROW)
		n = sqlite3_column_int64(st, 0);
	*code = *code == SQLITE_ROW || *code == SQLITE_DONE ? SQLITE_OK : *code;
	sqlite3_finalize(st);
	return n;
}

/* The last record that has a row, 0 for none.  The rows are kept by meter and function, so it
 * is asked of each of these: a start may not read two million rows. */
static int64_t last_row(struct log_store *s, int *code)
{
	static const char next[] = "SELECT meter, function FROM run WHERE (meter, function) > (?1, ?2) "
	                           "ORDER BY meter, function LIMIT 1";
	static const char newest[] = "SELECT max(seq) FROM run WHERE meter = ?1 AND function = ?2";
	sqlite3_stmt *line = NULL, *row = NULL;
	char meter[NAME_SIZE + 1] = "", function[32] = "";
	int64_t last = 0;
	*code = sqlite3_prepare_v2(s->db, next, -1, &line, NULL);
	if (*code == SQLITE_OK)
		*code = sqlite3_prepare_v2(s->db, newest, -1, &row, NULL);
	while (*code == SQLITE_OK) {
		sqlite3_bind_text(line, 1, meter, -1, SQLITE_STATIC);
		sqlite3_bind_text(line, 2, function, -1, SQLITE_STATIC);
		if ((*code = sqlite3_step(line)) != SQLITE_ROW)
			break;
		char was[sizeof meter + sizeof function], now[sizeof was];
		snprintf(was, sizeof was, "%s %s", meter, function);
		snprintf(meter, sizeof meter, "%s", (const char *)sqlite3_column_text(line, 0));
		snprintf(function, sizeof function, "%s", (const char *)sqlite3_column_text(line, 1));
		snprintf(now, sizeof now, "%s %s", meter, function);
		sqlite3_reset(line);
		sqlite3_bind_text(row, 1, meter, -1, SQLITE_STATIC);
		sqlite3_bind_text(row, 2, function, -1, SQLITE_STATIC);
		*code = sqlite3_step(row);
		if (*code == SQLITE_ROW && sqlite3_column_int64(row, 0) > last)
			last = sqlite3_column_int64(row, 0);
		*code = *code == SQLITE_ROW ? sqlite3_reset(row) : *code;
		if (*code == SQLITE_OK && strcmp(was, now) == 0) /* a name that was cut: none of ours */
			break;
	}
	*code = *code == SQLITE_DONE ? SQLITE_OK : *code;
	sqlite3_finalize(line);
	sqlite3_finalize(row);
	return last;
}

/* Rows of the trail records above `seq`. */
static int add_above(struct log_store *s, int64_t seq)
{
	sqlite3_stmt *st = NULL;
	int code = sqlite3_prepare_v2(
	    s->db, "SELECT seq, text FROM record WHERE seq > ? AND +kind = 'trail' ORDER BY seq", -1, &st,
	    NULL);
	sqlite3_bind_int64(st, 1, seq);
	while (code == SQLITE_OK && (code = sqlite3_step(st)) == SQLITE_ROW)
		code = run_add(s, sqlite3_column_int64(st, 0), (const char *)sqlite3_column_text(st, 1),
		               (size_t)sqlite3_column_bytes(st, 1));
	sqlite3_finalize(st);
	return code == SQLITE_DONE ? SQLITE_OK : code;
}

bool run_catch_up(struct log_store *s)
{
	int code = SQLITE_OK;
	if (!s->lines && !(s->lines = calloc(1, sizeof *s->lines))) {
		s->runs_stale = true;
		return false;
	}
	run_forget(s);
	int64_t have = last_row(s, &code);
	/* From the end: there is one among the last records, or, by the index, none at all. */
	int64_t last = code != SQLITE_OK ? 0
	             : number(s, "SELECT seq FROM record WHERE +kind = 'trail' AND EXISTS (SELECT 1 FROM "
	                         "record WHERE kind = 'trail') ORDER BY seq DESC LIMIT 1", &code);
	bool all = have > last; /* rows of records that are not there: of another log */
	if (code == SQLITE_OK && have != last) {
		code = sqlite3_exec(s->db, "BEGIN IMMEDIATE", NULL, NULL, NULL);
		if (code == SQLITE_OK && (all || !have))
			code = sqlite3_exec(s->db, "DELETE FROM run; DELETE FROM rollup", NULL, NULL, NULL);
		if (code == SQLITE_OK)
			code = add_above(s, all ? 0 : have);
		if (code == SQLITE_OK)
			code = sqlite3_exec(s->db, "COMMIT", NULL, NULL, NULL);
		if (!sqlite3_get_autocommit(s->db))
			sqlite3_exec(s->db, "ROLLBACK", NULL, NULL, NULL);
	}
	run_forget(s);
	/* A hole would stay unseen, so none is made: nothing more until the next start. */
	s->runs_stale = code != SQLITE_OK;
	return code == SQLITE_OK;
}

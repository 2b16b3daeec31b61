/* SPDX-License-Identifier: MIT */
/*
 * Pictures of the trail: what a meter read in a stretch of time, in columns.
 *
 * Rollups that lie within one column are taken whole; of the others their runs; of a run
 * that lies across an edge, its readings.  Where the log has no table of runs (an older
 * program wrote it) every trail record of the stretch is read instead; the answer is the
 * same.
 */
#include "daemon/log_inside.h"

#include "protocol/record/record.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A rollup, a run, or a part of one. */
struct stretch {
	int64_t seq, since;
	int64_t t, until;
	int64_t silence, inner;
	bool has_value;
	double low, high, first, last;
	int64_t n;
};

struct envelope {
	struct log_reader *r;
	const struct log_envelope_query *q;
	struct log_column *column;
	int64_t *edge; /* columns + 1: column i is edge[i] <= t < edge[i + 1] */
	double per_us; /* columns */
	/* Where one position is asked for: its run before. */
	bool any;
	int64_t until;
	sqlite3_stmt *runs, *text;
	int code;
};

/* ---- a position that had other names ---- */

void log_reader_called(struct log_reader *r, bool (*called)(void *arg, int64_t seq, const char *name),
                       void *arg)
{
	r->called = called;
	r->called_arg = arg;
}

static void called_sql(sqlite3_context *context, int n, sqlite3_value **value)
{
	const struct log_reader *r = sqlite3_user_data(context);
	const char *name = (const char *)sqlite3_value_text(value[1]);
	sqlite3_result_int(context, n == 2 && name && r->called &&
	                            r->called(r->called_arg, sqlite3_value_int64(value[0]), name));
}

/* Prepare a statement in which %s stands for the condition of the position, parameter `n`. */
static int prepare_called(struct log_reader *r, sqlite3_stmt **st, const char *format, int n)
{
	char same[40], sql[1024];
	int code = SQLITE_OK;
	if (r->called)
		code = sqlite3_create_function(r->db, "is_called", 2, SQLITE_UTF8, r, called_sql, NULL, NULL);
	snprintf(same, sizeof same, r->called ? "is_called(seq, position)" : "position = ?%d", n);
	snprintf(sql, sizeof sql, format, same);
	return code == SQLITE_OK ? sqlite3_prepare_v2(r->db, sql, -1, st, NULL) : code;
}

static bool is_position(const struct log_reader *r, int64_t seq, const char *name, const char *asked)
{
	return r->called ? r->called(r->called_arg, seq, name) : !strcmp(name, asked);
}

/* ---- columns ---- */

static bool edges_make(struct envelope *e)
{
	int64_t n = e->q->columns, span = e->q->to - e->q->from;
	e->edge = malloc(((size_t)n + 1) * sizeof *e->edge);
	for (int64_t i = 0; e->edge && i <= n; i++)
		e->edge[i] = e->q->from + i * (span / n) + i * (span % n) / n;
	e->per_us = (double)n / (double)span;
	return e->edge != NULL;
}

/* Of a time within the stretch that is asked for. */
static int column_at(const struct envelope *e, int64_t t)
{
	int last = e->q->columns - 1;
	int i = (int)((double)(t - e->q->from) * e->per_us);
	i = i < 0 ? 0 : i > last ? last : i;
	while (i > 0 && t < e->edge[i])
		i--;
	while (i < last && t >= e->edge[i + 1])
		i++;
	return i;
}

static void put(struct log_column *c, const struct stretch *s)
{
	if (s->has_value) {
		if (!c->has_value || s->low < c->low)
			c->low = s->low;
		if (!c->has_value || s->high > c->high)
			c->high = s->high;
		/* Not always the newest: a clock may have been set back. */
		if (!c->has_value || s->t < c->t)
			c->first = s->first;
		if (!c->has_value || s->until >= c->until)
			c->last = s->last;
		c->has_value = true;
	}
	if (!c->n || s->t < c->t)
		c->t = s->t;
	if (!c->n || s->until > c->until)
		c->until = s->until;
	int64_t silence = s->silence > s->inner ? s->silence : s->inner;
	c->silence = silence > c->silence ? silence : c->silence;
	c->n += s->n;
}

static bool outside(const struct envelope *e, const struct stretch *s)
{
	return s->until < e->q->from || s->t >= e->q->to;
}

/* Within one column, and then it is put there. */
static bool put_whole(struct envelope *e, const struct stretch *s)
{
	if (s->t < e->q->from || s->until >= e->q->to)
		return false;
	int i = column_at(e, s->t);
	if (s->until >= e->edge[i + 1])
		return false;
	put(&e->column[i], s);
	return true;
}

/* Of a run across edges each column has its part. */
static void put_parts(struct envelope *e, struct trail_summary *run, int64_t silence)
{
	int64_t end = run->t + run->span;
	int i = column_at(e, run->t < e->q->from ? e->q->from : run->t);
	trail_summary_skip(run, e->edge[i]);
	for (; i < e->q->columns && e->edge[i] <= end; i++) {
		struct trail_extremes x;
		trail_summary_part(run, e->edge[i + 1], &x);
		if (!x.n)
			continue;
		bool begins = run->t >= e->edge[i];
		struct stretch s = { .t = begins ? run->t : e->edge[i],
			.until = end < e->edge[i + 1] ? end : e->edge[i + 1] - 1,
			.silence = begins ? silence : 0, .has_value = x.has_value, .low = x.low, .high = x.high,
			.first = x.first, .last = x.last, .n = x.n };
		put(&e->column[i], &s);
	}
}

/* ---- runs and rollups ---- */

static void row_read(sqlite3_stmt *st, struct stretch *s)
{
	s->seq = sqlite3_column_int64(st, 0);
	s->since = sqlite3_column_int64(st, 1);
	s->t = sqlite3_column_int64(st, 2);
	s->until = sqlite3_column_int64(st, 3);
	s->silence = sqlite3_column_int64(st, 4);
	s->inner = sqlite3_column_int64(st, 5);
	s->has_value = sqlite3_column_type(st, 6) != SQLITE_NULL;
	s->low = sqlite3_column_double(st, 6);
	s->high = sqlite3_column_double(st, 7);
	s->first = sqlite3_column_double(st, 8);
	s->last = sqlite3_column_double(st, 9);
	s->n = sqlite3_column_int64(st, 10);
}

static bool prepare(struct envelope *e, sqlite3_stmt **st, const char *sql)
{
	e->code = prepare_called(e->r, st, sql, 5);
	if (e->code != SQLITE_OK)
		return false;
	/* Of what a statement does not have it takes no notice. */
	sqlite3_bind_text(*st, 1, e->q->meter, -1, SQLITE_STATIC);
	sqlite3_bind_text(*st, 2, e->q->function, -1, SQLITE_STATIC);
	sqlite3_bind_text(*st, 5, e->q->position, -1, SQLITE_STATIC);
	return true;
}

/* The silence before it, among those that are asked for. */
static void silence_of_position(struct envelope *e, struct stretch *s)
{
	s->silence = e->any && s->t > e->until ? s->t - e->until : 0;
	e->any = true;
	e->until = s->until;
}

static void run_into(struct envelope *e, struct stretch *s)
{
	struct trail_summary run;
	if (e->q->position)
		silence_of_position(e, s);
	if (outside(e, s) || put_whole(e, s))
		return;
	sqlite3_bind_int64(e->text, 6, s->seq);
	e->code = sqlite3_step(e->text);
	if (e->code == SQLITE_ROW) {
		const char *text = (const char *)sqlite3_column_text(e->text, 0);
		if (trail_summary_read(text, (size_t)sqlite3_column_bytes(e->text, 0), &run))
			put_parts(e, &run, s->silence);
		e->code = SQLITE_OK;
	} else if (e->code == SQLITE_DONE) {
		e->code = SQLITE_OK; /* a row of a record that is not there: it says nothing */
	}
	sqlite3_reset(e->text);
}

/* The runs of the records `since` to `seq`. */
static void runs_into(struct envelope *e, int64_t since, int64_t seq)
{
	struct stretch s;
	int code = SQLITE_DONE;
	sqlite3_bind_int64(e->runs, 3, since);
	sqlite3_bind_int64(e->runs, 4, seq);
	while (e->code == SQLITE_OK && (code = sqlite3_step(e->runs)) == SQLITE_ROW) {
		row_read(e->runs, &s);
		run_into(e, &s);
	}
	sqlite3_reset(e->runs);
	if (e->code == SQLITE_OK && code != SQLITE_DONE)
		e->code = code;
}

#define RUN_VALUES "silence, 0, low, high, first, last, n FROM run "

static void from_tables(struct envelope *e)
{
	sqlite3_stmt *rollups = NULL;
	struct stretch s = { .seq = 0 };
	int64_t rolled = 0;
	int code = SQLITE_DONE;
	if (!prepare(e, &e->text, "SELECT text FROM record WHERE seq = ?6") ||
	    !prepare(e, &e->runs, e->q->position
	                 ? "SELECT seq, seq, t, until, " RUN_VALUES "WHERE meter = ?1 AND function = ?2 "
	                   "AND seq >= ?3 AND seq <= ?4 AND %s ORDER BY seq"
	                 : "SELECT seq, seq, t, until, " RUN_VALUES "WHERE meter = ?1 AND function = ?2 "
	                   "AND seq >= ?3 AND seq <= ?4 ORDER BY seq"))
		return;
	if (!prepare(e, &rollups, "SELECT seq, since, t, until, silence, inner, low, high, first, last, n "
	             "FROM rollup WHERE meter = ?1 AND function = ?2 ORDER BY seq"))
		return;
	while (e->code == SQLITE_OK && (code = sqlite3_step(rollups)) == SQLITE_ROW) {
		row_read(rollups, &s);
		rolled = s.seq;
		if (!outside(e, &s) && (e->q->position || !put_whole(e, &s)))
			runs_into(e, s.since, s.seq);
	}
	sqlite3_finalize(rollups);
	if (e->code == SQLITE_OK && code != SQLITE_DONE)
		e->code = code;
	if (e->code == SQLITE_OK)
		runs_into(e, rolled + 1, INT64_MAX);
}

/* ---- without them ---- */

static void from_records(struct envelope *e)
{
	struct trail_summary run;
	int code = SQLITE_DONE;
	if (!prepare(e, &e->text, "SELECT text, seq FROM record WHERE kind = 'trail' AND meter = ?1 "
	                          "ORDER BY seq"))
		return;
	while ((code = sqlite3_step(e->text)) == SQLITE_ROW) {
		const char *text = (const char *)sqlite3_column_text(e->text, 0);
		if (!trail_summary_read(text, (size_t)sqlite3_column_bytes(e->text, 0), &run) ||
		    strcmp(function_name(run.function), e->q->function))
			continue;
		if (e->q->position &&
		    !is_position(e->r, sqlite3_column_int64(e->text, 1), run.position, e->q->position))
			continue;
		struct stretch s = { .t = run.t, .until = run.t + run.span, .has_value = run.all.has_value,
			.low = run.all.low, .high = run.all.high, .first = run.all.first, .last = run.all.last,
			.n = run.all.n };
		silence_of_position(e, &s);
		if (!outside(e, &s) && !put_whole(e, &s))
			put_parts(e, &run, s.silence);
	}
	e->code = code == SQLITE_DONE ? SQLITE_OK : code;
}

/* ---- not sealed yet ---- */

/* When the last run before it ended. */
static bool sealed_until(struct envelope *e, int64_t *until)
{
	sqlite3_stmt *st = NULL;
	if (e->any) {
		*until = e->until;
		return true;
	}
	bool there = prepare(e, &st, "SELECT until FROM run WHERE meter = ?1 AND function = ?2 "
	                             "ORDER BY seq DESC LIMIT 1") && sqlite3_step(st) == SQLITE_ROW;
	*until = there ? sqlite3_column_int64(st, 0) : 0;
	sqlite3_finalize(st);
	return there;
}

static bool open_run_into(void *arg, const struct trail_summary *open, const char *text, size_t len)
{
	struct envelope *e = arg;
	struct trail_summary run = *open;
	int64_t until = 0, before = 0;
	(void)text, (void)len;
	bool follows = sealed_until(e, &until) && run.t > until;
	for (int i = 0; i < e->q->columns; i++)
		before += e->column[i].n;
	put_parts(e, &run, follows ? run.t - until : 0);
	for (int i = 0; i < e->q->columns; i++)
		*e->q->unsealed += e->column[i].n;
	*e->q->unsealed -= before;
	return e->code == SQLITE_OK;
}

static void from_open_runs(struct envelope *e)
{
	struct log_trail_query what = { .meter = e->q->meter, .function = e->q->function,
		.position = e->q->position, .from = e->q->from, .to = e->q->to };
	int code = reader_open_runs(e->r, &what, open_run_into, e);
	e->code = e->code == SQLITE_OK ? code : e->code;
}

/* Not there, or not of this log as it is now (its record would be the last of its kind). */
static bool has_tables(struct envelope *e)
{
	sqlite3_stmt *st = NULL;
	bool there = sqlite3_prepare_v2(e->r->db, "SELECT 1 FROM run, rollup LIMIT 0", -1, &st, NULL) ==
	             SQLITE_OK;
	sqlite3_finalize(st);
	return there;
}

bool log_reader_envelope(struct log_reader *r, const struct log_envelope_query *q,
                         struct log_column *column, struct fault *why)
{
	struct envelope e = { .r = r, .q = q, .column = column };
	memset(column, 0, (size_t)q->columns * sizeof *column);
	if (q->to <= q->from || q->columns < 1) {
		fault_set(why, "the end of the stretch of time must lie after its beginning");
		return false;
	}
	if (!reader_refresh(r, why))
		return false;
	if (!edges_make(&e)) {
		fault_set(why, "no memory for the answer");
		return false;
	}
	/* One moment of the log, and its locks are taken once. */
	e.code = sqlite3_exec(r->db, "BEGIN", NULL, NULL, NULL);
	if (e.code == SQLITE_OK) {
		if (has_tables(&e))
			from_tables(&e);
		else
			from_records(&e);
		if (q->unsealed && e.code == SQLITE_OK)
			from_open_runs(&e);
	}
	sqlite3_finalize(e.runs);
	sqlite3_finalize(e.text);
	free(e.edge);
	if (e.code != SQLITE_OK)
		fault_at(why, r->path, 0, 0, "the log cannot be read: %s", sqlite3_errmsg(r->db));
	if (!sqlite3_get_autocommit(r->db))
		sqlite3_exec(r->db, "ROLLBACK", NULL, NULL, NULL);
	return e.code == SQLITE_OK;
}

/* ---- what there is ---- */

bool log_reader_lines(struct log_reader *r, const char *meter, const char *position,
                      bool (*each)(void *arg, const struct log_line *line), void *arg,
                      struct fault *why)
{
	sqlite3_stmt *st = NULL;
	if (!reader_refresh(r, why))
		return false;
	struct envelope e = { .r = r };
	const char *sql = has_tables(&e)
	    ? "SELECT meter, function, min(t), max(until), sum(n), count(*), min(low), max(high) FROM run "
	      "WHERE (?1 IS NULL OR meter = ?1) AND (?2 IS NULL OR %s) "
	      "GROUP BY meter, function ORDER BY min(seq)"
	    : "SELECT meter, json_extract(text, '$.function'), "
	      "min(unixepoch(t) * 1000000), max(unixepoch(t) * 1000000 + "
	      "  100 * json_extract(text, '$.at[#-1]') + 1000000), sum(json_extract(text, '$.n')), count(*), "
	      "min(json_extract(text, '$.low') * json_extract(text, '$.digit')), "
	      "max(json_extract(text, '$.high') * json_extract(text, '$.digit')) FROM record "
	      "WHERE kind = 'trail' AND (?1 IS NULL OR meter = ?1) AND (?2 IS NULL OR %s) "
	      "GROUP BY 1, 2 ORDER BY min(seq)";
	int code = prepare_called(r, &st, sql, 2);
	if (code == SQLITE_OK) {
		sqlite3_bind_text(st, 1, meter, -1, SQLITE_STATIC);
		sqlite3_bind_text(st, 2, position, -1, SQLITE_STATIC);
		while ((code = sqlite3_step(st)) == SQLITE_ROW) {
			struct log_line line = {
				.meter = (const char *)sqlite3_column_text(st, 0),
				.function = (const char *)sqlite3_column_text(st, 1),
				.t = sqlite3_column_int64(st, 2),
				.until = sqlite3_column_int64(st, 3),
				.readings = sqlite3_column_int64(st, 4),
				.runs = sqlite3_column_int64(st, 5),
				.has_value = sqlite3_column_type(st, 6) != SQLITE_NULL,
				.low = sqlite3_column_double(st, 6),
				.high = sqlite3_column_double(st, 7),
			};
			if (!line.meter || !line.function)
				continue;
			if (!each(arg, &line)) {
				code = SQLITE_DONE;
				break;
			}
		}
	}
	sqlite3_finalize(st);
	if (code != SQLITE_DONE)
		fault_at(why, r->path, 0, 0, "the log cannot be read: %s", sqlite3_errmsg(r->db));
	return code == SQLITE_DONE;
}

/* ---- the records ---- */

bool reader_in_stretch(const struct log_reader *r, const struct log_trail_query *q, int64_t seq,
                       const struct trail_summary *run)
{
	return run->t + run->span >= q->from && run->t < q->to &&
	       (!q->meter || !strcmp(q->meter, run->meter)) &&
	       (!q->function || !strcmp(q->function, function_name(run->function))) &&
	       (!q->position || is_position(r, seq, run->position, q->position));
}

static bool in_stretch(const struct log_reader *r, const struct log_trail_query *q, int64_t seq,
                       const char *text, size_t len)
{
	struct trail_summary run;
	return trail_summary_read(text, len, &run) && reader_in_stretch(r, q, seq, &run);
}

int64_t log_reader_trail(struct log_reader *r, const struct log_trail_query *q,
                         bool (*each)(void *arg, int64_t seq, const char *text, size_t len), void *arg,
                         struct fault *why)
{
	sqlite3_stmt *st = NULL;
	int64_t given = 0;
	if (!reader_refresh(r, why))
		return -1;
	struct envelope e = { .r = r };
	bool stopped = false;
	int code = q->unsealed ? sqlite3_exec(r->db, "BEGIN", NULL, NULL, NULL) : SQLITE_OK;
	if (code == SQLITE_OK)
		code = prepare_called(r, &st, has_tables(&e)
	    ? "SELECT seq, text FROM record WHERE seq IN (SELECT seq FROM run WHERE t < ?5 AND until >= ?4 "
	      "AND seq > ?6 AND (?1 IS NULL OR meter = ?1) AND (?2 IS NULL OR function = ?2) "
	      "AND (?3 IS NULL OR %s)) ORDER BY seq"
	    : "SELECT seq, text FROM record WHERE seq > ?6 AND kind = 'trail' AND (?1 IS NULL OR meter = ?1) "
	      "ORDER BY seq", 3);
	if (code == SQLITE_OK) {
		sqlite3_bind_text(st, 1, q->meter, -1, SQLITE_STATIC);
		sqlite3_bind_text(st, 2, q->function, -1, SQLITE_STATIC);
		sqlite3_bind_text(st, 3, q->position, -1, SQLITE_STATIC);
		sqlite3_bind_int64(st, 4, q->from);
		sqlite3_bind_int64(st, 5, q->to);
		sqlite3_bind_int64(st, 6, q->after);
		while ((code = sqlite3_step(st)) == SQLITE_ROW) {
			const char *text = (const char *)sqlite3_column_text(st, 1);
			size_t len = (size_t)sqlite3_column_bytes(st, 1);
			if (!in_stretch(r, q, sqlite3_column_int64(st, 0), text, len))
				continue;
			given++;
			if (!each(arg, sqlite3_column_int64(st, 0), text, len)) {
				code = SQLITE_DONE;
				stopped = true;
				break;
			}
		}
	}
	sqlite3_finalize(st);
	if (code == SQLITE_DONE && q->unsealed && !stopped && reader_give_open(r, q, arg) != SQLITE_OK)
		code = SQLITE_ERROR;
	if (code != SQLITE_DONE)
		fault_at(why, r->path, 0, 0, "the log cannot be read: %s", sqlite3_errmsg(r->db));
	if (!sqlite3_get_autocommit(r->db))
		sqlite3_exec(r->db, "ROLLBACK", NULL, NULL, NULL);
	return code == SQLITE_DONE ? given : -1;
}

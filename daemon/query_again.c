/* SPDX-License-Identifier: MIT */
/*
 * `beside`: the same unit in an earlier job, position by position and quantity by quantity.
 *
 * Then: the last entry of condition done, else of found; of those the newest at the reach of
 * today's, else the newest.  Now: the newest entry of found or done.  Names are today's: what
 * was renamed since is followed.  A part was replaced since where a fit, or an entry of a new
 * part, came after the one of then and counts for the one of now (one that is found today was
 * there before anything was fitted today).
 */
#include "daemon/query_gather.h"

#include "protocol/trade/change.h"

#include <math.h>
#include <string.h>

struct both {
	struct query *q;
	const char *job, *before;
	struct gathered now, then;
};

/* The row of then that today's job calls so. */
static int row_then(const struct both *b, const char *name)
{
	for (int i = 0; i < b->then.rows; i++) {
		char today[NAME_SIZE];
		memcpy(today, b->then.row[i].position.name, sizeof today);
		names_follow(&b->now.names, b->job, 0, today);
		if (!strcmp(today, name))
			return i;
	}
	return -1;
}

static const struct entry *newest(const struct gathered *g, int row, enum quantity q,
                                  enum condition c, int reach)
{
	for (int k = row < 0 ? -1 : g->row[row].newest; k >= 0; k = g->older[k]) {
		const struct entry *e = &g->entry[k];
		if (e->quantity == q && e->condition == c && (reach < 0 || (int)e->reach == reach))
			return e;
	}
	return NULL;
}

static const struct entry *of_now(const struct both *b, int row, enum quantity q)
{
	const struct entry *done = newest(&b->now, row, q, CONDITION_DONE, -1);
	return done ? done : newest(&b->now, row, q, CONDITION_FOUND, -1);
}

static const struct entry *of_then(const struct both *b, int row, enum quantity q,
                                   const struct entry *now)
{
	static const enum condition order[] = { CONDITION_DONE, CONDITION_FOUND };
	for (size_t i = 0; i < 2; i++) {
		const struct entry *e = now ? newest(&b->then, row, q, order[i], (int)now->reach) : NULL;
		e = e ? e : newest(&b->then, row, q, order[i], -1);
		if (e)
			return e;
	}
	return NULL;
}

/* ---- replaced since ---- */

struct replaced {
	int64_t seq; /* 0: it was not */
	const char *job;
	bool by_fit;
	const struct sheet_line *line; /* with the fit, where that says it */
};

/* A fit or a new part of that job with a seq above `after`. */
static void replaced_in(const struct gathered *g, const char *job, int row, int64_t after,
                        struct replaced *out)
{
	int64_t seq = 0;
	if (row < 0)
		return;
	const struct sheet_line *line = g->row[row].line;
	if (line->fit && json_int(json_member(line->fit, line->fit_len, "seq"), &seq) && seq > after)
		*out = (struct replaced){ seq, job, true, line };
	for (int k = g->row[row].newest; k >= 0 && !out->seq; k = g->older[k])
		if (g->entry[k].condition == CONDITION_NEW && g->entry[k].seq > after)
			*out = (struct replaced){ g->entry[k].seq, job, false, NULL };
}

static struct replaced replaced_since(const struct both *b, int row, int old,
                                      const struct entry *then, const struct entry *now)
{
	struct replaced r = { 0 };
	replaced_in(&b->then, b->before, old, then->seq, &r);
	if (!r.seq && now && now->condition == CONDITION_DONE)
		replaced_in(&b->now, b->job, row, 0, &r);
	return r;
}

static void write_replaced(struct answer *out, const struct replaced *r)
{
	answer_puts(out, ",\"replaced\":");
	if (!r->seq) {
		answer_puts(out, "null");
		return;
	}
	answer_printf(out, "{\"seq\":%lld,\"by\":\"%s\",\"job\":", (long long)r->seq,
	              r->by_fit ? "fit" : "entry");
	answer_string(out, r->job);
	answer_puts(out, ",\"written\":");
	struct slice written = { NULL, 0 };
	if (r->line)
		written = json_member(r->line->fit, r->line->fit_len, "fit.written");
	if (written.at)
		answer_add(out, written.at, written.len);
	else
		answer_puts(out, "null");
	answer_puts(out, "}");
}

/* ---- an element ---- */

static void write_side(struct answer *out, const char *key, const struct entry *e)
{
	char shown[80];
	answer_printf(out, ",\"%s\":", key);
	if (!e) {
		answer_puts(out, "null");
		return;
	}
	struct reading r = { .function = e->function, .state = e->state, .has_value = e->has_value,
		                 .value = e->value, .prefix = e->prefix };
	reading_shown(&r, shown, sizeof shown);
	answer_printf(out, "{\"seq\":%lld,\"t\":", (long long)e->seq);
	char t[48];
	struct text time;
	text_begin(&time, t, sizeof t);
	text_time(&time, e->t);
	answer_puts(out, time.failed ? "null" : t);
	answer_printf(out, ",\"condition\":\"%s\",\"reach\":\"%s\",\"source\":\"%s\",\"meter\":",
	              condition_name(e->condition), reach_name(e->reach), source_name(e->source));
	answer_string(out, e->meter);
	answer_puts(out, ",\"shown\":");
	answer_string(out, shown);
	answer_puts(out, ",\"U\":");
	if (e->has_value && isfinite(e->u))
		answer_real(out, 2 * e->u);
	else
		answer_puts(out, "null");
	answer_printf(out, ",\"verdict\":\"%s\"}", verdict_word_name(e->verdict.word));
}

static void write_element(const struct both *b, int row, int old, enum quantity q, bool *any)
{
	struct answer *out = &b->q->out;
	struct change change;
	struct fault why = { .text = "" };
	const struct entry *now = of_now(b, row, q), *then = of_then(b, old, q, now);
	if (!then)
		return;
	bool known = now && change_since(then, now, &change, &why);
	struct replaced r = replaced_since(b, row, old, then, now);
	answer_puts(out, *any ? ",{\"position\":" : "{\"position\":");
	*any = true;
	answer_string(out, b->now.row[row].position.name);
	answer_printf(out, ",\"quantity\":\"%s\"", quantity_name(q));
	write_side(out, "then", then);
	write_side(out, "now", now);
	answer_puts(out, ",\"change\":");
	if (known)
		answer_real(out, change.change);
	else
		answer_puts(out, "null");
	answer_puts(out, ",\"U\":");
	if (known)
		answer_real(out, 2 * change.u);
	else
		answer_puts(out, "null");
	answer_puts(out, ",\"en\":");
	if (known && isfinite(change.en))
		answer_real(out, change.en);
	else
		answer_puts(out, "null");
	answer_puts(out, ",\"why\":");
	if (now && !known)
		answer_string(out, why.text);
	else
		answer_puts(out, "null");
	write_replaced(out, &r);
	answer_puts(out, "}");
}

/* Pages by the place in the sheet: `after` rows were given. */
static void write_rows(const struct both *b, const char *position, const struct page_bounds *bounds)
{
	struct answer *out = &b->q->out;
	bool any = false, more = false;
	int64_t next = bounds->after;
	answer_puts(out, "{\"job\":");
	answer_string(out, b->job);
	answer_puts(out, ",\"beside\":");
	answer_string(out, b->before);
	answer_puts(out, ",\"positions\":[");
	for (int64_t i = bounds->after; i < b->now.rows; i++) {
		const char *name = b->now.row[i].position.name;
		int old = position && strcmp(name, position) ? -1 : row_then(b, name);
		more = i - bounds->after >= bounds->limit || !query_room(b->q, 8192);
		if (more)
			break;
		for (int q = 0; old >= 0 && q < QUANTITY_COUNT; q++)
			write_element(b, (int)i, old, (enum quantity)q, &any);
		next = i + 1;
	}
	answer_puts(out, "]");
	query_more(b->q, more, next);
	answer_puts(out, "}");
}

static bool again_of(void *arg, int64_t seq, const char *text, size_t len)
{
	struct both *b = arg;
	struct job_body body;
	(void)seq;
	if (job_body_read(text, len, &body) && body.change == JOB_STARTED && !strcmp(body.job, b->job))
		memcpy((char *)(uintptr_t)b->before, body.again, JOB_SIZE);
	return true;
}

/* The one asked for, else the one that was named when the job began. */
static bool job_before(struct both *b, const char *asked, char out[JOB_SIZE])
{
	struct query *q = b->q;
	const struct log_query what = { .kind = "job" };
	memset(out, 0, JOB_SIZE);
	b->before = out;
	if (!asked && !query_each(q, &what, again_of, b))
		return false;
	if (!asked && !out[0]) {
		fault_set(q->why, "job %.63s was not begun with --again: say beside which earlier job", b->job);
		return query_refuse(q, WIRE_REFUSED);
	}
	char name[JOB_SIZE];
	snprintf(name, sizeof name, "%s", asked && strlen(asked) < JOB_SIZE ? asked : out);
	if (!query_job(q, asked ? asked : name, false, out))
		return false;
	if (strcmp(out, b->job) != 0)
		return true;
	fault_set(q->why, "job %.63s beside itself: say an earlier one", b->job);
	return query_refuse(q, WIRE_BAD_INPUT);
}

bool query_beside(struct query *q, json_t *params)
{
	struct page_bounds bounds = { 0, QUERY_LIMIT_MAX };
	const char *position = NULL, *asked = NULL, *beside = NULL;
	char job[JOB_SIZE], before[JOB_SIZE];
	struct both b = { .q = q, .job = job };
	const struct param list[] = {
		{ "position", PARAM_TEXT, false, &position }, { "job", PARAM_TEXT, false, &asked },
		{ "beside", PARAM_TEXT, false, &beside },     { "after", PARAM_WHOLE, false, &bounds.after },
		{ "limit", PARAM_WHOLE, false, &bounds.limit },
	};
	if (!params_read("beside", params, list, 5, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (!query_bounds(q, "beside", &bounds) || !query_job(q, asked, false, job))
		return false;
	if (!job[0]) {
		fault_set(q->why, "there is no job in this log yet");
		return query_refuse(q, WIRE_REFUSED);
	}
	bool good = job_before(&b, beside, before) && gather(q, job, &b.now) &&
	            gather(q, before, &b.then);
	if (good)
		write_rows(&b, position, &bounds);
	gathered_free(&b.now);
	gathered_free(&b.then);
	return good;
}

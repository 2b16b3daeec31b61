/* SPDX-License-Identifier: MIT */
/*
 * `job.ready`: what stands in the way of bringing up the power.  Every leg that is still up,
 * and every part that is new and was not yet said to be in its place.
 *
 * Folded from the records of the job in their order:
 *
 *     entry found or done, lifted or loose    its leg is up
 *     reach lifted or loose, said there       the same
 *     fit, or entry in condition new          a new part
 *     entry found or done, in circuit         the leg is back; a done one: the new part is in
 *     fit taken back                          no new part by that
 *     fitted                                  the person has looked: both are done
 *
 * An entry that was struck can still say that a leg is up: what was wrong was its value or its
 * place, and to look once too often costs nothing.  It never says that one is back.
 * Reference parts belong to no unit.
 */
#include "daemon/query_private.h"

#include "protocol/record/fit.h"
#include "protocol/record/job_kinds.h"
#include "protocol/trade/caution.h"

#include <stdlib.h>
#include <string.h>

struct place {
	int64_t lifted, fresh; /* seq of the record that says so, 0 for none */
	enum reach reach;
	bool by_reach, by_fit; /* else by an entry */
	bool struck;           /* the entry that says that it is up */
};

struct folding {
	const char *job;
	struct sheet_lines *lines;
	struct place *place; /* as lines->at */
	struct said_list strikes, moves;
	struct names names;
	bool live;
};

static struct place *place_of(struct folding *f, const char *position)
{
	struct sheet_line *line = sheet_lines_find(f->lines, position);
	return line ? &f->place[line - f->lines->at] : NULL;
}

static void fold_entry(struct folding *f, int64_t seq, const char *text, size_t len)
{
	struct entry e;
	if (!entry_read(text, len, &e))
		return; /* of a later version: not understood, not guessed */
	said_position(&f->moves, &f->names, seq, text, len, e.position);
	struct place *p = place_of(f, e.position);
	bool struck = said_of(&f->strikes, seq) != NULL;
	if (!p)
		return;
	if (e.condition == CONDITION_NEW) {
		/* Measured before it was fitted: that part, not the leg of the old one. */
		if (!p->fresh)
			p->by_fit = false;
		p->fresh = struck && !p->fresh ? 0 : seq;
	} else if (e.reach != REACH_IN_CIRCUIT) {
		p->lifted = seq;
		p->reach = e.reach;
		p->by_reach = false;
		p->struck = struck;
	} else if (!struck) {
		p->lifted = 0;
		p->fresh = e.condition == CONDITION_DONE ? 0 : p->fresh;
	}
}

static void fold_fit(struct folding *f, int64_t seq, const char *text, size_t len)
{
	struct fit_body body;
	struct sheet_row *cells = malloc(sizeof *cells);
	if (cells && fit_body_read(text, len, &body, cells)) {
		names_follow(&f->names, f->job, seq, body.position);
		struct place *p = place_of(f, body.position);
		if (p && !body.none) {
			p->fresh = seq;
			p->by_fit = true;
		} else if (p && p->by_fit) {
			p->fresh = 0;
		}
	}
	free(cells);
}

static void fold_job(struct folding *f, int64_t seq, const char *text, size_t len)
{
	struct job_body body;
	if (!job_body_read(text, len, &body))
		return;
	f->live = body.live;
	if (!body.position[0] || body.reach == REACH_IN_CIRCUIT)
		return;
	names_follow(&f->names, f->job, seq, body.position);
	struct place *p = place_of(f, body.position);
	if (p) {
		p->lifted = seq;
		p->reach = body.reach;
		p->by_reach = true;
		p->struck = false;
	}
}

static void fold_fitted(struct folding *f, int64_t seq, const char *text, size_t len)
{
	struct fitted_body body;
	if (!fitted_body_read(text, len, &body))
		return;
	names_follow(&f->names, f->job, seq, body.position);
	struct place *p = place_of(f, body.position);
	if (p)
		*p = (struct place){ 0 };
}

static bool fold(void *arg, int64_t seq, const char *text, size_t len)
{
	struct folding *f = arg;
	struct slice kind = json_member(text, len, "kind");
	if (!query_of_job(f->job, text, len))
		return true;
	if (json_is(kind, "entry"))
		fold_entry(f, seq, text, len);
	else if (json_is(kind, "fit"))
		fold_fit(f, seq, text, len);
	else if (json_is(kind, "job"))
		fold_job(f, seq, text, len);
	else
		fold_fitted(f, seq, text, len);
	return true;
}

static bool is_reference(const struct sheet_line *line)
{
	return json_is(json_member(line->text, line->len, "sheet.kind"), kind_name(KIND_REFERENCE));
}

static int64_t write_lifted(struct answer *out, const struct folding *f)
{
	int64_t n = 0;
	answer_puts(out, ",\"lifted\":[");
	for (size_t i = 0; i < f->lines->n; i++) {
		const struct place *p = &f->place[i];
		if (!p->lifted || is_reference(&f->lines->at[i]))
			continue;
		answer_puts(out, n++ ? ",{\"position\":" : "{\"position\":");
		answer_string(out, f->lines->at[i].position);
		answer_printf(out, ",\"reach\":\"%s\",\"by\":\"%s\",\"seq\":%lld,\"struck\":%s}",
		              reach_name(p->reach), p->by_reach ? "reach" : "entry", (long long)p->lifted,
		              p->struck ? "true" : "false");
	}
	answer_puts(out, "]");
	return n;
}

static int64_t write_fresh(struct answer *out, const struct folding *f)
{
	int64_t n = 0;
	answer_puts(out, ",\"new\":[");
	for (size_t i = 0; i < f->lines->n; i++) {
		const struct place *p = &f->place[i];
		if (!p->fresh || is_reference(&f->lines->at[i]))
			continue;
		answer_puts(out, n++ ? ",{\"position\":" : "{\"position\":");
		answer_string(out, f->lines->at[i].position);
		answer_printf(out, ",\"by\":\"%s\",\"seq\":%lld}", p->by_fit ? "fit" : "entry",
		              (long long)p->fresh);
	}
	answer_puts(out, "]");
	return n;
}

static bool read_all(struct query *q, struct folding *f)
{
	const struct log_query what = { .kind = "job,entry,fit,fitted" };
	f->place = calloc(f->lines->n + 1, sizeof *f->place);
	if (!f->place)
		return query_no_memory(q);
	return said_read(q, "strike", 0, false, NULL, NULL, &f->strikes) &&
	       said_read(q, "move", 0, false, NULL, NULL, &f->moves) && names_read(q, &f->names) &&
	       query_each(q, &what, fold, f);
}

bool query_job_ready(struct query *q, json_t *params)
{
	const char *asked = NULL;
	char job[JOB_SIZE];
	struct sheet_lines lines;
	struct folding f = { .job = job, .lines = &lines };
	const struct param list[] = { { "job", PARAM_TEXT, false, &asked } };
	if (!params_read("job.ready", params, list, 1, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (!query_job(q, asked, false, job))
		return false;
	if (!job[0]) {
		fault_set(q->why, "there is no job in this log yet; `tally job start NAME` begins one");
		return query_refuse(q, WIRE_REFUSED);
	}
	if (!sheet_lines_read(q, job, &lines))
		return false;
	bool good = read_all(q, &f);
	if (good) {
		struct answer *out = &q->out;
		answer_puts(out, "{\"job\":");
		answer_string(out, job);
		answer_printf(out, ",\"state\":\"%s\",\"cautions\":[", f.live ? "live" : "cold");
		for (int i = 0; caution_rise[i]; i++) {
			answer_puts(out, i ? "," : "");
			answer_string(out, caution_rise[i]);
		}
		answer_puts(out, "]");
		int64_t left = write_lifted(out, &f) + write_fresh(out, &f);
		answer_printf(out, ",\"ready\":%s}", left ? "false" : "true");
	}
	said_free(&f.strikes);
	said_free(&f.moves);
	names_free(&f.names);
	sheet_lines_free(&lines);
	free(f.place);
	return good;
}

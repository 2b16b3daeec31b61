/* SPDX-License-Identifier: MIT */
/* See main_calls_inside.h: jobs and their sheets. */
#include "daemon/main_calls_inside.h"

#include <stdlib.h>
#include <string.h>

enum { FIELDS = 16 };

static bool read_fields(const struct answering *a, const char *key[FIELDS],
                        const char *value[FIELDS], int *n, struct fault *why)
{
	const char *k;
	json_t *v;
	*n = 0;
	json_object_foreach (a->asked.fields, k, v) {
		if (*n == FIELDS || !json_is_string(v)) {
			fault_set(why, "fields: at most %d, each a text, as written in a sheet", FIELDS);
			return false;
		}
		key[*n] = k;
		value[(*n)++] = json_string_value(v);
	}
	return true;
}

bool call_job_start(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      k->again ? bench_job_again(a->calls->bench, a->t, k->name, k->again, w, why)
	               : bench_job_start(a->calls->bench, a->t, k->name, w, why));
}

bool call_job_set(struct answering *a, struct fault *why)
{
	const char *key[FIELDS], *value[FIELDS];
	int n;
	if (!read_fields(a, key, value, &n, why))
		return false;
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_identity(a->calls->bench, a->t, key, value, n, w, why));
}

bool call_job_fitted(struct answering *a, struct fault *why)
{
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_fitted(a->calls->bench, a->t, a->asked.positions, w, why));
}

bool call_job_close(struct answering *a, struct fault *why)
{
	LATER(SHAPE_SEQ, WIRE_REFUSED, bench_job_close(a->calls->bench, a->t, w, why));
}

bool call_job_state(struct answering *a, struct fault *why)
{
	bool live = strcmp(a->asked.state, "live") == 0;
	if (!live && strcmp(a->asked.state, "cold") != 0) {
		fault_set(why, "the state of a job is cold or live, not %.40s", a->asked.state);
		return false;
	}
	LATER(SHAPE_SEQ, WIRE_REFUSED, bench_job_state(a->calls->bench, a->t, live,
	                                              a->asked.because ? a->asked.because : "", w, why));
}

bool call_sheet_load(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	struct sheet_map map = {.pairs = 0};
	if (!sheet_map_read(k->map, &map, why))
		return false;
	struct bench_wait w = wait_for(a, SHAPE_SHEET);
	struct waiting *waiting = w.arg;
	struct sheet_taken *taken = calloc(1, sizeof *taken);
	if (!waiting || !taken) {
		free(taken);
		free(waiting);
		fault_set(why, "out of memory");
		return false;
	}
	waiting->taken = taken;
	return later(a, bench_sheet_load_mapped(a->calls->bench, a->t, k->name, k->text,
	                                        strlen(k->text), k->job, &map, taken, w, why),
	             w, WIRE_BAD_INPUT, why);
}

bool call_sheet_add(struct answering *a, struct fault *why)
{
	const char *text = a->asked.text;
	if (a->asked.dry) {
		sheet_try_write(a->calls->bench, a->t, text, &a->out);
		server_answer(a->call, a->out.bytes);
		return true;
	}
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_sheet_add(a->calls->bench, a->t, text, strlen(text), w, why));
}

bool call_sheet_mirror(struct answering *a, struct fault *why)
{
	int64_t by = a->asked.by;
	if (by < -999999999 || by > 999999999)
		by = 0; /* refused, with the reason */
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_sheet_mirror(a->calls->bench, a->t, a->asked.range, (int)by, w, why));
}

bool call_sheet_set(struct answering *a, struct fault *why)
{
	const char *key[FIELDS], *value[FIELDS];
	int n;
	if (!read_fields(a, key, value, &n, why) ||
	    !bench_sheet_known(a->calls->bench, a->t, a->asked.position, why))
		return false;
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_sheet_set(a->calls->bench, a->t, a->asked.position, key, value, n, w, why));
}

bool call_sheet_fit(struct answering *a, struct fault *why)
{
	const char *key[FIELDS], *value[FIELDS];
	int n;
	if (!read_fields(a, key, value, &n, why))
		return false;
	if (a->asked.none == (n > 0)) {
		fault_set(why, "say what is fitted (fields), or that nothing else is (none), not both");
		return false;
	}
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_sheet_fit(a->calls->bench, a->t, a->asked.position, key, value, n, w, why));
}

bool call_sheet_rename(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	LATER(SHAPE_SEQ, WIRE_BAD_INPUT,
	      bench_sheet_rename(a->calls->bench, a->t, k->position, k->to, w, why));
}

bool call_sheet_twins(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	if (!k->accept && k->positions) {
		fault_set(why, "positions are those to accept: say accept, too");
		return false;
	}
	if (k->accept)
		LATER(SHAPE_SEQ, WIRE_REFUSED,
		      bench_twins_accept(a->calls->bench, a->t, k->positions, w, why));
	bench_twins(a->calls->bench, &a->out);
	server_answer(a->call, a->out.bytes);
	return true;
}

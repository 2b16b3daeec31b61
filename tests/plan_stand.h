/* SPDX-License-Identifier: MIT */
/*
 * A log with a sheet and entries whose verdicts the rows say, for questions that must see a
 * whole job: tests/test_plan*.c, tests/test_places_job.c.
 */
#ifndef TALLY_TESTS_PLAN_STAND_H
#define TALLY_TESTS_PLAN_STAND_H

#include "tests/store_stand.h"

#include "protocol/record/fit.h"
#include "protocol/record/record.h"

static inline int64_t add(struct store *s, const char *kind, const struct text *body)
{
	assert_false(body->failed);
	int64_t seq = store_add(s, kind, body->bytes, body->len);
	s->t += 1000000;
	return seq;
}

static char room[RECORD_BODY_MAX];

static inline bool row_add(void *arg, const struct sheet_row *row, struct fault *why)
{
	struct position_body body = {.job = "j", .row = row};
	struct text t;
	(void)why;
	text_begin(&t, room, sizeof room);
	position_body_write(&t, &body);
	add(arg, "position", &t);
	return true;
}

static inline void sheet(struct store *s, const char *csv)
{
	struct job_body job = {.job = "j", .open = true};
	struct fault why;
	struct text t;
	text_begin(&t, room, sizeof room);
	job_body_write(&t, &job);
	add(s, "job", &t);
	if (!sheet_parse("sheet", csv, strlen(csv), row_add, s, &why))
		fail_msg("%d:%d: %s", why.line, why.column, why.text);
}

struct told {
	const char *position, *value; /* "OL": overload */
	enum function function;
	double u;
	enum verdict_word tolerance, service;
	enum verdict_side side;
	enum quantity quantity;
	enum condition condition;
	enum reach reach;
	enum agreement swapped;
};

static inline int64_t tell(struct store *s, const struct told *w)
{
	struct entry e = {.quantity = w->quantity, .condition = w->condition, .reach = w->reach,
	                  .source = SOURCE_METER, .function = w->function, .u = w->u, .n = 4,
	                  .settled = true, .swapped = w->swapped != AGREEMENT_UNKNOWN,
	                  .swap = w->swapped};
	struct entry_beside beside = {.job = "j", .shown = "so"};
	struct fault why;
	enum function f;
	struct text t;
	snprintf(e.position, sizeof e.position, "%s", w->position);
	strcpy(e.meter, "red");
	e.has_value = strcmp(w->value, "OL") != 0;
	e.state = e.has_value ? 0 : READING_OVERLOAD;
	if (e.has_value && !quantity_parse(w->value, strlen(w->value), w->function, &e.value, &f, &why))
		fail_msg("%s: %s", w->value, why.text);
	e.verdict = (struct verdict){.word = w->tolerance, .side = w->side};
	e.service = (struct verdict){.word = w->service, .side = w->side};
	if (w->service == VERDICT_UNSURE) {
		e.service.reason = REASON_CIRCUIT;
		strcpy(e.service.why, "other paths");
		strcpy(e.service.next, "lift one leg and measure again");
	}
	text_begin(&t, room, sizeof room);
	entry_write(&t, &e, &beside);
	return add(s, "entry", &t);
}

static inline char *ask(struct store *s, const char *method, const char *params)
{
	struct fault why;
	int code = 0;
	json_t *p = json_loads(params, 0, NULL);
	char *text = query_run(s->reader, method, p, &code, &why);
	json_decref(p);
	if (!text)
		fail_msg("%s: %d, %s", method, code, why.text);
	return text;
}

static inline json_t *answer(struct store *s, const char *method, const char *params)
{
	char *text = ask(s, method, params);
	json_t *j = json_loads(text, 0, NULL);
	assert_non_null(j);
	free(text);
	return j;
}

static inline json_t *find(json_t *list, const char *key, const char *value)
{
	size_t i;
	json_t *one;
	json_array_foreach(list, i, one)
		if (!strcmp(json_string_value(json_object_get(one, key)), value))
			return one;
	fail_msg("no %s %s", key, value);
	return NULL;
}

/* Rows of tables are short. */
#define O FUNCTION_OHM
#define F FUNCTION_FARAD
#define W VERDICT_WITHIN
#define X VERDICT_OUTSIDE
#define U VERDICT_UNSURE

/* The sheet of a small amplifier. */
#define PLAN_SHEET \
    "position,kind,nominal,tolerance,rated,role,with,channel,twin,part,max\n" \
    "R12,carbon-composition,470k,10%,,anode load,,left,R112,,1\n" \
    "R112,carbon-composition,470k,10%,,anode load,,right,,,1\n" \
    "R14,carbon-composition,1k,10%,,grid stopper,,left,,,\n" \
    "R15,carbon-composition,1.5k,10%,,cathode,,left,,,\n" \
    "C7,paper,0.1u,20%,400 V,coupling,R14,left,C17,,\n" \
    "C17,film,0.1u,10%,400 V,coupling,R14,right,,,\n" \
    "C20,electrolytic,32u,-20/+50%,450 V,reservoir,,,,can-1,\n" \
    "C21,electrolytic,32u,-20/+50%,450 V,smoothing,,,,can-1,\n" \
    "C22,electrolytic,25u,-20/+50%,25 V,cathode bypass,R15,left,,,\n" \
    "B1,rail,285 V,10%,,,,,,,\n" \
    "S1,switch,,,,,,,,,\n" \
    "X1,reference,10 kohm,0.1%,,,,,,,\n"

#endif

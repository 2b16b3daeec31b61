/* SPDX-License-Identifier: MIT */
/*
 * What to replace, to buy and to measure again, and what parts do in their place: on
 * sheets of a few rows with entries whose verdicts the rows say.  The rules are common
 * practice, no source; formulas of places: tests/test_places.c has their sources.
 */
#include "daemon/query.h"
#include "protocol/record/fit.h"
#include "protocol/record/record.h"
#include "protocol/trade/plan.h"
#include "tests/check.h"

#include <stdlib.h>

/* ---- a log with a sheet and entries ---- */

struct store {
	struct log *log;
	struct log_reader *reader;
};

static int store_up(void **state)
{
	struct store *s = calloc(1, sizeof *s);
	struct fault why;
	static const uint8_t identity[16] = {0xab};
	struct log_options options = {.path = ":memory:", .bench = "north", .version = "1",
	                              .inline_mode = true, .identity = identity};
	s->log = log_open(&options, &why);
	assert_non_null(s->log);
	s->reader = log_reader_open(log_path(s->log), &why);
	assert_non_null(s->reader);
	*state = s;
	return 0;
}

static int store_down(void **state)
{
	struct store *s = *state;
	log_reader_close(s->reader);
	log_close(s->log);
	free(s);
	return 0;
}

static void durable(void *arg, const struct log_result *r)
{
	(void)arg;
	assert_int_equal(r->status, LOG_DURABLE);
}

static int64_t clock_us = INT64_C(1795600800000000);

static int64_t add(struct store *s, const char *kind, const struct text *body)
{
	struct fault why;
	struct log_draft draft = {clock_us, kind, body->bytes, body->len};
	assert_false(body->failed);
	if (!log_append(s->log, &draft, 1, NULL, &why))
		fail_msg("%s", why.text);
	log_collect(s->log, durable, NULL);
	clock_us += 1000000;
	return log_last_seq(s->log);
}

static char room[RECORD_BODY_MAX];

static bool row_add(void *arg, const struct sheet_row *row, struct fault *why)
{
	struct position_body body = {.job = "j", .row = row};
	struct text t;
	(void)why;
	text_begin(&t, room, sizeof room);
	position_body_write(&t, &body);
	add(arg, "position", &t);
	return true;
}

static void sheet(struct store *s, const char *csv)
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

static int64_t tell(struct store *s, const struct told *w)
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

static char *ask(struct store *s, const char *method, const char *params)
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

static json_t *answer(struct store *s, const char *method, const char *params)
{
	char *text = ask(s, method, params);
	json_t *j = json_loads(text, 0, NULL);
	assert_non_null(j);
	free(text);
	return j;
}

/* "1:C1 C2 3:R12" of the rounds. */
static void rounds_text(json_t *plan, char *out, size_t size)
{
	size_t r, i, at = 0;
	json_t *round, *one;
	out[0] = '\0';
	json_array_foreach(json_object_get(plan, "rounds"), r, round)
		json_array_foreach(json_object_get(round, "replace"), i, one)
			at += (size_t)snprintf(out + at, size - at, "%s%zu:%s", at ? " " : "", r + 1,
			                       json_string_value(json_object_get(one, "position")));
}

static void names_text(json_t *list, const char *key, char *out, size_t size)
{
	size_t i, at = 0;
	json_t *one;
	out[0] = '\0';
	json_array_foreach(list, i, one)
		at += (size_t)snprintf(out + at, size - at, "%s%s", at ? " " : "",
		                       json_string_value(key ? json_object_get(one, key) : one));
}

static json_t *find(json_t *list, const char *key, const char *value)
{
	size_t i;
	json_t *one;
	json_array_foreach(list, i, one)
		if (!strcmp(json_string_value(json_object_get(one, key)), value))
			return one;
	fail_msg("no %s %s", key, value);
	return NULL;
}

#define O FUNCTION_OHM
#define F FUNCTION_FARAD
#define W VERDICT_WITHIN
#define X VERDICT_OUTSIDE
#define U VERDICT_UNSURE

static const char first[] =
    "position,kind,nominal,tolerance,rated,role,with,channel,twin,part,max\n"
    "R12,carbon-composition,470k,10%,,anode load,,left,R112,,1\n"
    "R112,carbon-composition,470k,10%,,anode load,,right,,,1\n"
    "R14,carbon-composition,1k,10%,,grid stopper,,left,,,\n"
    "R15,carbon-composition,1.5k,10%,,cathode,,left,,,\n"
    "C7,paper,0.1u,20%,400 V,coupling,R14,left,C17,,\n"
    "C17,film,0.1u,10%,400 V,coupling,R14,right,,,\n"
    "C20,electrolytic,32u,-20/+50%,450 V,reservoir,,,,can-1,\n"
    "C21,electrolytic,32u,-20/+50%,450 V,smoothing,,,,can-1,\n"
    "C22,electrolytic,25u,-20/+50%,25 V,cathode bypass,R15,left,,,\n"
    "B1,rail,285 V,10%,,,,,,,\n"
    "S1,switch,,,,,,,,,\n"
    "X1,reference,10 kohm,0.1%,,,,,,,\n";

static void rounds(void **state)
{
	struct store *s = *state;
	char got[400];
	sheet(s, first);
	/* By age alone, before anything was measured; a twin goes with it. */
	json_t *plan = answer(s, "plan", "{}");
	rounds_text(plan, got, sizeof got);
	assert_string_equal(got, "1:C20 1:C21 1:C22 2:C7 2:C17");
	assert_int_equal(json_integer_value(json_object_get(plan, "unmeasured")), 6);
	json_decref(plan);
	/* Told otherwise. */
	plan = answer(s, "plan", "{\"keep\":[\"paper\",\"C22\"]}");
	rounds_text(plan, got, sizeof got);
	assert_string_equal(got, "1:C20 1:C21");
	json_decref(plan);

	tell(s, &(struct told){"R12", "680k", O, 1e3, X, X, SIDE_HIGH, .reach = REACH_LIFTED});
	tell(s, &(struct told){"R112", "471k", O, 1e3, U, U, SIDE_HIGH, .reach = REACH_IN_CIRCUIT});
	tell(s, &(struct told){"R14", "1.4k", O, 3, X, W, SIDE_HIGH, .reach = REACH_LIFTED});
	tell(s, &(struct told){"R15", "2k", O, 3, X, X, SIDE_HIGH, .reach = REACH_IN_CIRCUIT});
	tell(s, &(struct told){"C17", "0.1u", F, 1e-10, U, U, SIDE_HIGH, .reach = REACH_IN_CIRCUIT});
	tell(s, &(struct told){"B1", "330 V", FUNCTION_VOLT_DC, 1, X, X, SIDE_HIGH, .quantity = QUANTITY_VOLTS,
	                       .reach = REACH_IN_CIRCUIT});
	plan = answer(s, "plan", "{}");
	rounds_text(plan, got, sizeof got);
	/* The stopper may live with it; the twin goes along though it is unsure itself; the
	 * cathode resistor was not measured with the leads swapped. */
	assert_string_equal(got, "1:C20 1:C21 1:C22 2:C7 2:C17 3:R12 3:R112");
	names_text(json_object_get(plan, "recheck"), "position", got, sizeof got);
	assert_string_equal(got, "R15 B1 S1");
	json_t *r112 = find(json_object_get(json_array_get(json_object_get(plan, "rounds"), 2), "replace"),
	                    "position", "R112");
	assert_string_equal(json_string_value(json_object_get(r112, "along")), "R12");
	json_decref(plan);

	/* Swapped, and the same: now it is high. */
	tell(s, &(struct told){"R15", "2k", O, 3, X, X, SIDE_HIGH, .reach = REACH_IN_CIRCUIT,
	                       .swapped = AGREEMENT_YES});
	/* Replaced and proved: done, and its twin has no reason any more. */
	tell(s, &(struct told){"R12", "470k", O, 1e3, W, W, SIDE_NONE, .condition = CONDITION_DONE,
	                       .reach = REACH_LIFTED});
	/* A part that is not fitted yet decides nothing. */
	tell(s, &(struct told){"C20", "33u", F, 1e-7, W, W, SIDE_NONE, .condition = CONDITION_NEW,
	                       .reach = REACH_LOOSE});
	plan = answer(s, "plan", "{}");
	rounds_text(plan, got, sizeof got);
	assert_string_equal(got, "1:C20 1:C21 1:C22 2:C7 2:C17 3:R15");
	assert_int_equal(json_integer_value(json_object_get(plan, "done")), 1);
	json_decref(plan);
}

/* ---- what guided runs found ---- */

static int64_t ran(struct store *s, const char *guide, const char *of, const char *event,
                   const char *rest)
{
	struct text t;
	text_begin(&t, room, sizeof room);
	text_printf(&t, ",\"job\":\"j\",\"guide\":\"%s\",\"of\":\"%s\",\"event\":\"%s\",\"position\":\"%s\""
	            ",\"step\":\"off\",\"alarm\":false%s", guide, of, event, of, rest);
	return add(s, "guide", &t);
}

#define FOUND(amps, word) ",\"result\":{\"calculated\":true,\"leakage\":{\"value\":" amps ",\"u\":1e-9," \
	"\"unit\":\"A\"},\"verdict\":\"" word "\",\"most\":5e-07}"
#define HOURS ",\"failed\":\"2 hours without progress at 296 uA\"" FOUND("0.000296", "outside")
#define ROUND "its meter is the wrong way round"
#define KEEP "{\"keep\":[\"paper\",\"electrolytic\"]}"

/* What becomes of a position: its round or "recheck", and why; "" where nothing does. */
static void becomes(struct store *s, const char *position, char *out, size_t size)
{
	json_t *plan = answer(s, "plan", KEEP), *round, *one;
	size_t r, i;
	out[0] = '\0';
	json_array_foreach(json_object_get(plan, "rounds"), r, round)
		json_array_foreach(json_object_get(round, "replace"), i, one)
			if (!strcmp(json_string_value(json_object_get(one, "position")), position))
				snprintf(out, size, "%zu %s", r + 1,
				         json_string_value(json_object_get(one, "because")));
	json_array_foreach(json_object_get(plan, "recheck"), i, one)
		if (!strcmp(json_string_value(json_object_get(one, "position")), position))
			snprintf(out, size, "recheck %s", json_string_value(json_object_get(one, "because")));
	json_decref(plan);
}

static bool lacks_leakage(struct store *s, const char *position)
{
	char params[80];
	json_t *one;
	size_t i;
	bool lacks = false;
	snprintf(params, sizeof params, "{\"position\":\"%s\"}", position);
	json_t *missing = answer(s, "sheet.missing", params);
	json_t *of = json_array_get(json_object_get(missing, "positions"), 0);
	json_array_foreach(json_object_get(of, "missing"), i, one)
		lacks = lacks || strstr(json_string_value(one), "leakage");
	json_decref(missing);
	return lacks;
}

static void guided(void **state)
{
	struct store *s = *state;
	static const struct {
		const char *guide, *of, *event, *rest, *becomes;
		bool lacks; /* its leakage is still to be measured */
	} rows[] = {
	    /* Left is not ended: it says nothing. */
	    {"reform", "C20", "left", FOUND("1.5e-06", "unsure"), "recheck nothing was measured", true},
	    {"reform", "C20", "done", FOUND("3.9e-05", "within"), "", false},
	    {"reform", "C20", "stopped", HOURS,
	     "1 re-forming was given up: 2 hours without progress at 296 uA", false},
	    /* ... nor does it undo the run before it. */
	    {"reform", "C20", "left", FOUND("1.5e-06", "unsure"),
	     "1 re-forming was given up: 2 hours without progress at 296 uA", false},
	    {"reform", "C20", "done", FOUND("0.0004", "outside"), "1 re-forming: 400 uA, at most 500 nA",
	     false},
	    {"reform", "C20", "done", FOUND("0.000144", "unsure"),
	     "recheck re-forming: 144 uA, at most 500 nA", false},
	    /* No current was found: the part is not condemned. */
	    {"reform", "C20", "stopped", ",\"failed\":\"" ROUND "\"",
	     "recheck re-forming was given up: " ROUND, true},
	    {"leak", "C7", "done", FOUND("4.4e-06", "outside"), "2 leakage: 4.4 uA, at most 500 nA", false},
	    {"leak", "C7", "done", FOUND("4.39e-07", "within"), "", false},
	    {"leak", "C7", "done", FOUND("4.99e-07", "unsure"), "recheck leakage: 499 nA, at most 500 nA",
	     false},
	    {"leak", "C7", "stopped", ",\"failed\":\"the rail is above 450 V\"",
	     "recheck leakage was given up: the rail is above 450 V", true},
	    /* Another kind of run says nothing of leakage. */
	    {"tune", "R15", "done", FOUND("1", "outside"), "recheck nothing was measured", false},
	};
	char got[400];
	sheet(s, first);
	assert_true(lacks_leakage(s, "C20") && lacks_leakage(s, "C7"));
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		ran(s, rows[i].guide, rows[i].of, rows[i].event, rows[i].rest);
		becomes(s, rows[i].of, got, sizeof got);
		if (strcmp(got, rows[i].becomes))
			fail_msg("row %zu: \"%s\", not \"%s\"", i, got, rows[i].becomes);
		if (lacks_leakage(s, rows[i].of) != rows[i].lacks)
			fail_msg("row %zu: leakage is %s", i, rows[i].lacks ? "not missing" : "missing");
	}
}

/* What was found out is a better reason than age; the can and the twin go along; what is
 * measured later takes its place. */
static void guided_reasons(void **state)
{
	struct store *s = *state;
	char got[400];
	sheet(s, first);
	int64_t seq = ran(s, "reform", "C20", "stopped", HOURS);
	ran(s, "leak", "C7", "done", FOUND("4.4e-06", "outside"));
	json_t *plan = answer(s, "plan", "{}");
	json_t *c20 = find(json_object_get(json_array_get(json_object_get(plan, "rounds"), 0), "replace"),
	                   "position", "C20");
	assert_true(json_is_false(json_object_get(c20, "policy")));
	assert_int_equal(json_integer_value(json_object_get(c20, "guided")), seq);
	assert_string_equal(json_string_value(json_object_get(c20, "quantity")), "leakage");
	json_decref(plan);
	becomes(s, "C21", got, sizeof got);
	assert_string_equal(got, "1 one part with C20");
	becomes(s, "C17", got, sizeof got);
	assert_string_equal(got, "2 its twin C7 is replaced");
	tell(s, &(struct told){"C20", "33u", F, 1e-7, W, W, SIDE_NONE, .condition = CONDITION_DONE,
	                       .reach = REACH_LOOSE});
	becomes(s, "C20", got, sizeof got);
	assert_string_equal(got, "");
	tell(s, &(struct told){"C7", "0.1 uA", FUNCTION_AMP_DC, 1e-9, W, W, SIDE_NONE,
	                       .quantity = QUANTITY_LEAKAGE, .reach = REACH_LIFTED});
	becomes(s, "C7", got, sizeof got);
	assert_string_equal(got, "");
}

/* An entry that the run rests on is struck: so is what it found out. */
static void guided_struck(void **state)
{
	struct store *s = *state;
	char got[400], rest[400];
	struct text t;
	sheet(s, first);
	int64_t entry = tell(s, &(struct told){"C7", "4 V", FUNCTION_VOLT_DC, .01, 0, 0, SIDE_NONE,
	                                       .quantity = QUANTITY_LEAKAGE, .reach = REACH_IN_CIRCUIT});
	snprintf(rest, sizeof rest, ",\"values\":{\"volts\":{\"value\":4,\"seq\":%d}}%s", (int)entry,
	         FOUND("4.4e-06", "outside"));
	ran(s, "leak", "C7", "done", rest);
	becomes(s, "C7", got, sizeof got);
	assert_string_equal(got, "2 leakage: 4.4 uA, at most 500 nA");
	text_begin(&t, room, sizeof room);
	text_printf(&t, ",\"job\":\"j\",\"of\":%d,\"because\":\"the valve was in\"", (int)entry);
	add(s, "strike", &t);
	becomes(s, "C7", got, sizeof got);
	assert_string_equal(got, "recheck nothing was measured");
	assert_true(lacks_leakage(s, "C7"));
}

/* All lists of a plan in one line, page by page; how many pages that took. */
static int walk_pages(struct store *s, int limit, char **out)
{
	static const char *const lists[] = {"order", "recheck"};
	json_int_t after = 0;
	bool more = true;
	int pages = 0;
	size_t len = 0, size = 1 << 21, i;
	char *part[5];
	for (int k = 0; k < 5; k++)
		part[k] = calloc(1, size);
	for (; more; pages++) {
		char params[80];
		snprintf(params, sizeof params, limit ? "{\"after\":%d,\"limit\":%d}" : "{\"after\":%d}", (int)after,
		         limit);
		char *text = ask(s, "plan", params);
		assert_true(strlen(text) < 960u << 10);
		json_t *plan = json_loads(text, 0, NULL), *round, *one;
		free(text);
		json_array_foreach(json_object_get(plan, "rounds"), i, round) {
			size_t k;
			json_array_foreach(json_object_get(round, "replace"), k, one)
				strcat(strcat(part[i], " "), json_string_value(json_object_get(one, "position")));
		}
		for (int l = 0; l < 2; l++)
			json_array_foreach(json_object_get(plan, lists[l]), i, one) {
				const char *name = json_string_value(json_object_get(one, l ? "position" : "value"));
				strcat(strcat(part[3 + l], " "), name ? name : "-");
			}
		more = json_is_true(json_object_get(plan, "more"));
		json_int_t next = json_integer_value(json_object_get(plan, "next"));
		assert_true(!more || next > after);
		after = next;
		json_decref(plan);
	}
	*out = calloc(1, 5 * size);
	for (int k = 0; k < 5; k++) {
		len += (size_t)sprintf(*out + len, "%d:%s; ", k, part[k]);
		free(part[k]);
	}
	return pages;
}

/* A plan that is longer than a line of the wire comes in pages, and no page loses or doubles
 * anything, whatever its limit. */
static void pages(void **state)
{
	struct store *s = *state;
	char *csv = malloc(1 << 20), *all, *few;
	size_t len = (size_t)sprintf(csv, "position,kind,nominal,rated,role\n");
	for (int i = 1; i <= 3000; i++)
		len += (size_t)sprintf(csv + len, "the-left-supply-board/C%d,electrolytic,%du,450 V,"
		                       "smoothing in a very long row of words\n",
		                       i, 1 + i % 90);
	for (int i = 1; i <= 400; i++)
		len += (size_t)sprintf(csv + len, "R%d,,100k,,\n", i);
	sheet(s, csv);
	assert_true(walk_pages(s, 0, &all) > 1);
	assert_non_null(strstr(all, "0: the-left-supply-board/C1 the-left-supply-board/C2 "));
	assert_non_null(strstr(all, "/C3000; 1:; 2:; 3:"));
	assert_non_null(strstr(all, " R399 R400; "));
	assert_int_equal(walk_pages(s, 700, &few), (3000 + 90 + 400 + 699) / 700);
	assert_string_equal(all, few);
	free(all);
	free(few);
	free(csv);
	/* Beyond the end there is nothing, and the counts are still those of the whole. */
	json_t *plan = answer(s, "plan", "{\"after\":100000}");
	assert_int_equal(json_array_size(json_object_get(plan, "order")), 0);
	assert_int_equal(json_integer_value(json_object_get(plan, "replace")), 3000);
	assert_true(json_is_false(json_object_get(plan, "more")));
	json_decref(plan);
}

/* The value is right, and what came beside it is not: it dried up. */
static void beside_the_value(void **state)
{
	struct store *s = *state;
	sheet(s, "position,kind,nominal,tolerance,dissipation\nC1,film,0.1u,10%,<=0.01\nC2,film,0.1u,10%,<=0.01\n");
	for (int i = 0; i < 2; i++) {
		struct entry e = {.quantity = QUANTITY_VALUE, .condition = CONDITION_FOUND, .reach = REACH_LIFTED,
		                  .source = SOURCE_METER, .function = F, .has_value = true, .value = {1000, -10},
		                  .u = 1e-10, .n = 4, .settled = true, .verdict = {.word = W},
		                  .second = {.kind = SECOND_DISSIPATION, .value = {i ? 30 : 3, -3}, .u = 1e-3, .n = 4,
		                             .basis = {.known = true, .percent = 2, .counts = 1}},
		                  .second_verdict = {.word = i ? X : W, .side = i ? SIDE_HIGH : SIDE_NONE}};
		struct entry_beside beside = {.job = "j", .shown = "100 nF"};
		struct text t;
		snprintf(e.position, sizeof e.position, "C%d", i + 1);
		strcpy(e.meter, "lcr");
		text_begin(&t, room, sizeof room);
		entry_write(&t, &e, &beside);
		add(s, "entry", &t);
	}
	char got[200];
	json_t *plan = answer(s, "plan", "{}");
	rounds_text(plan, got, sizeof got);
	assert_string_equal(got, "3:C2");
	json_decref(plan);
}

static void orders(void **state)
{
	struct store *s = *state;
	char got[400];
	sheet(s, "position,kind,nominal,tolerance,rated,role,twin,part,max\n"
	         "R12,carbon-composition,50k,20%,,anode load,R112,,0.4\n"
	         "R112,carbon-composition,50k,20%,,anode load,,,0.4\n"
	         "R20,resistor,50k,20%,,dropper,,,4\n"
	         "R21,metal-film,1k,1%,,feedback,,,\n"
	         "C7,paper,0.05u,20%,400 V,coupling,,,\n"
	         "C8,paper,0.05u,20%,350 V,coupling,,,\n"
	         "C20,electrolytic,8u,,450 V,reservoir,,can-1,\n"
	         "C21,electrolytic,16u,,450 V,smoothing,,can-1,\n"
	         "C22,electrolytic,25u,,12 V,cathode bypass,,,\n"
	         "C23,electrolytic,25u,,,cathode bypass,,,\n");
	static const char *const high[] = {"R12", "R112", "R20", "R21"};
	for (size_t i = 0; i < 4; i++)
		tell(s, &(struct told){high[i], "900k", O, 1, X, X, SIDE_HIGH, .reach = REACH_LIFTED});
	json_t *plan = answer(s, "plan", "{}");
	static const struct {
		const char *value, *kind, *tolerance, *positions, *note;
		int count;
		double rated, watts;
	} rows[] = {
	    /* kept where the signal is; two at once */
	    {"50 kohm", "metal-film", "5%", "R12 R112", NULL, 2, 0, 0.5},
	    {"51 kohm", "metal-film", "5%", "R20", "nearest", 1, 0, 5},
	    {"1 kohm", "metal-film", "1%", "R21", NULL, 1, 0, 0},
	    /* 350 V are 350, or more: each its own */
	    {"50 nF", "film", "10%", "C7", NULL, 1, 400, 0},
	    {"50 nF", "film", "10%", "C8", NULL, 1, 350, 0},
	    {"10 uF + 15 uF", "electrolytic", "20%", "C20 C21", "nearest", 1, 450, 0},
	    {"25 uF", "electrolytic", "20%", "C22", NULL, 1, 16, 0},
	    {"25 uF", "electrolytic", "20%", "C23", "rating", 1, 0, 0},
	};
	json_t *order = json_object_get(plan, "order");
	assert_int_equal(json_array_size(order), sizeof rows / sizeof *rows);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		json_t *one = json_array_get(order, i);
		assert_string_equal(json_string_value(json_object_get(one, "value")), rows[i].value);
		assert_string_equal(json_string_value(json_object_get(one, "kind")), rows[i].kind);
		assert_string_equal(json_string_value(json_object_get(one, "tolerance")), rows[i].tolerance);
		names_text(json_object_get(one, "positions"), NULL, got, sizeof got);
		assert_string_equal(got, rows[i].positions);
		assert_int_equal(json_integer_value(json_object_get(one, "count")), rows[i].count);
		assert_near(json_number_value(json_object_get(one, "rated")), rows[i].rated, 0);
		assert_near(json_number_value(json_object_get(one, "watts")), rows[i].watts, 0);
		const char *note = json_string_value(json_object_get(one, "note"));
		assert_int_equal(note != NULL, rows[i].note != NULL);
		assert_true(!note || strstr(note, rows[i].note));
	}
	json_decref(plan);
	/* What the owner can afford this time. */
	plan = answer(s, "plan", "{\"round\":1}");
	names_text(json_object_get(plan, "order"), "value", got, sizeof got);
	assert_string_equal(got, "51 kohm 10 uF + 15 uF 25 uF 25 uF");
	json_decref(plan);
}

/* What the technician says a replacement is counts before what is usual. */
static void fits(void **state)
{
	struct store *s = *state;
	static const char csv[] = "position,kind,nominal,tolerance,rated,role,twin\n"
	                          "C7,paper,0.05u,20%,400 V,coupling,C8\nC8,paper,0.05u,20%,400 V,coupling,\n"
	                          "C9,paper,0.05u,20%,600 V,tone,\n";
	static const struct {
		const char *position;
		const char *cell[5][2];
	} said[] = {
	    {"C7", {{"kind", "film"}, {"nominal", "47n"}, {"tolerance", "5%"}, {"rated", "630 V"}, {"part", "F47-630"}}},
	    {"C8", {{"kind", "film"}, {"nominal", "47n"}, {"tolerance", "5%"}, {"rated", "630 V"}, {"part", "F47-630"}}},
	    {"C9", {{"kind", "mica"}, {"rated", "500 V"}, {NULL, NULL}, {NULL, NULL}, {NULL, NULL}}},
	};
	sheet(s, csv);
	for (size_t i = 0; i < sizeof said / sizeof *said; i++) {
		static struct sheet_row row, fit, over;
		struct fault why;
		struct text t;
		memset(&fit, 0, sizeof fit);
		assert_true(sheet_bare(&row, said[i].position, &why));
		assert_true(sheet_set(&row, "kind", "paper", &why));
		assert_true(sheet_set(&row, "nominal", "0.05u", &why));
		for (int k = 0; k < 5 && said[i].cell[k][0]; k++)
			if (!fit_set(&fit, &row, said[i].cell[k][0], said[i].cell[k][1], &why))
				fail_msg("%s", why.text);
		assert_true(fit_over(&row, &fit, &over, &why));
		struct fit_body body = {.job = "j", .fit = &fit, .over = &over, .sheet = &row};
		snprintf(body.position, sizeof body.position, "%s", said[i].position);
		text_begin(&t, room, sizeof room);
		fit_body_write(&t, &body);
		add(s, "fit", &t);
	}
	json_t *plan = answer(s, "plan", "{}"), *order = json_object_get(plan, "order");
	assert_int_equal(json_array_size(order), 2);
	json_t *one = json_array_get(order, 0);
	assert_string_equal(json_string_value(json_object_get(one, "value")), "47 nF");
	assert_string_equal(json_string_value(json_object_get(one, "kind")), "film");
	assert_string_equal(json_string_value(json_object_get(one, "tolerance")), "5%");
	assert_string_equal(json_string_value(json_object_get(one, "number")), "F47-630");
	assert_near(json_number_value(json_object_get(one, "rated")), 630, 0);
	assert_int_equal(json_integer_value(json_object_get(one, "count")), 2);
	assert_true(json_is_true(json_object_get(one, "fit")));
	one = json_array_get(order, 1); /* its own value, another kind, and too low a rating */
	assert_string_equal(json_string_value(json_object_get(one, "value")), "50 nF");
	assert_string_equal(json_string_value(json_object_get(one, "kind")), "mica");
	assert_non_null(strstr(json_string_value(json_object_get(one, "note")), "rated below"));
	json_decref(plan);
}

/* A struck entry decides nothing, a moved one where it belongs, a rejudged one as now. */
static void afterwards(void **state)
{
	struct store *s = *state;
	struct text t;
	char got[200], body[80];
	sheet(s, "position,kind,nominal,tolerance\nR1,resistor,1k,10%\nR2,resistor,1k,10%\nR3,resistor,1k,10%\n");
	int64_t struck = tell(s, &(struct told){"R1", "2k", O, 1, X, X, SIDE_HIGH, .reach = REACH_LIFTED});
	int64_t moved = tell(s, &(struct told){"R1", "2k", O, 1, X, X, SIDE_HIGH, .reach = REACH_LIFTED});
	int64_t again = tell(s, &(struct told){"R3", "2k", O, 1, X, X, SIDE_HIGH, .reach = REACH_LIFTED});
	json_t *plan = answer(s, "plan", "{}");
	rounds_text(plan, got, sizeof got);
	assert_string_equal(got, "3:R1 3:R3");
	json_decref(plan);
	struct strike_body strike = {.of = struck, .job = "j", .position = "R1", .because = "slip"};
	text_begin(&t, body, sizeof body);
	text_begin(&t, room, sizeof room);
	strike_body_write(&t, &strike);
	add(s, "strike", &t);
	struct move_body move = {.of = moved, .job = "j", .position = "R2", .from = "R1"};
	text_begin(&t, room, sizeof room);
	move_body_write(&t, &move);
	add(s, "move", &t);
	struct rejudge_body rejudge = {.of = again, .job = "j", .position = "R3", .because = "sheet set",
	                               .verdict = {.word = W}, .service = {.word = W}};
	text_begin(&t, room, sizeof room);
	rejudge_body_write(&t, &rejudge);
	add(s, "rejudge", &t);
	plan = answer(s, "plan", "{}");
	rounds_text(plan, got, sizeof got);
	assert_string_equal(got, "3:R2");
	names_text(json_object_get(plan, "recheck"), "position", got, sizeof got);
	assert_string_equal(got, "R1");
	json_decref(plan);
}

/* What the one of two twins that was measured last found holds for both. */
static void twins(void **state)
{
	(void)state;
	for (int agree = 0; agree < 2; agree++) {
		static struct plan_line line[2];
		struct plan_policy policy = {{false}};
		memset(line, 0, sizeof line);
		for (int i = 0; i < 2; i++) {
			struct plan_line *l = &line[i];
			struct entry *e = &l->entry[QUANTITY_VALUE];
			strcpy(l->position.name, i ? "R101" : "R1");
			strcpy(l->position.twin, i ? "R1" : "R101");
			l->position.kind = KIND_RESISTOR;
			*e = (struct entry){.seq = 10 + i, .reach = REACH_IN_CIRCUIT, .has_value = true,
			                    .service = {.word = VERDICT_UNSURE, .reason = REASON_CIRCUIT,
			                                .why = "other paths lower it"}};
		}
		strcpy(line[1].entry[0].twin, "R1");
		line[1].entry[0].twin_agrees = agree;
		line[1].entry[0].twin_difference = 0.25;
		plan_decide(line, 2, &policy);
		assert_int_equal(line[0].action, PLAN_RECHECK);
		assert_non_null(strstr(line[0].because, agree ? "nothing against it" : "lower than its twin R101"));
		assert_non_null(strstr(line[0].next, agree ? "nothing" : "both"));
	}
}

/* Whatever is unsure is never replaced for it, and one worse verdict never empties a plan. */
static void laws(void **state)
{
	enum { N = 12 };
	static struct plan_line line[N];
	struct plan_policy policy = {{false}};
	uint64_t seed = 0x9e37;
	(void)state;
	for (int turn = 0; turn < 3000; turn++) {
		memset(line, 0, sizeof line);
		for (int i = 0; i < N; i++) {
			seed = seed * 6364136223846793005u + 1442695040888963407u;
			struct plan_line *l = &line[i];
			unsigned dice = (unsigned)(seed >> 40);
			snprintf(l->position.name, NAME_SIZE, "R%d", i);
			l->position.kind = dice % 3 ? KIND_RESISTOR : KIND_PAPER;
			if (dice & 8)
				snprintf(l->position.twin, NAME_SIZE, "R%u", (dice >> 4) % N);
			if (dice & 256)
				snprintf(l->position.part, NAME_SIZE, "p%u", (dice >> 9) % 3);
			l->entry[0].seq = (dice >> 12) % 4 ? i + 1 : 0;
			l->entry[0].reach = REACH_LIFTED;
			l->entry[0].condition = (dice >> 14) % 5 ? CONDITION_FOUND : CONDITION_DONE;
			l->entry[0].service.word = (enum verdict_word)((dice >> 17) % 4);
		}
		plan_decide(line, N, &policy);
		int before = 0;
		for (int i = 0; i < N; i++) {
			const struct plan_line *l = &line[i];
			before += l->action == PLAN_REPLACE;
			bool unsure = l->entry[0].seq && l->entry[0].service.word == VERDICT_UNSURE;
			if (unsure && l->action == PLAN_REPLACE)
				assert_true(l->policy || l->with >= 0);
			if (l->action == PLAN_REPLACE && l->position.twin[0] && strcmp(l->position.twin, l->position.name)) {
				int twin = atoi(l->position.twin + 1);
				assert_true(line[twin].action == PLAN_REPLACE || line[twin].action == PLAN_DONE);
				if (line[twin].action == PLAN_REPLACE)
					assert_true(line[twin].round <= ROUND_REST && line[twin].round <= l->round);
			}
			if (l->with >= 0)
				assert_int_equal(line[l->with].action, PLAN_REPLACE);
		}
		int worse = (int)(seed >> 33) % N;
		line[worse].entry[0].seq = 99;
		line[worse].entry[0].condition = CONDITION_FOUND;
		line[worse].entry[0].service.word = VERDICT_OUTSIDE;
		plan_decide(line, N, &policy);
		int after = 0;
		for (int i = 0; i < N; i++)
			after += line[i].action == PLAN_REPLACE;
		assert_true(after >= before && line[worse].action == PLAN_REPLACE);
	}
}

/* ---- places ---- */

static double value(json_t *list, const char *position, const char *what, const char *condition,
                    double *u)
{
	size_t i;
	json_t *one;
	json_array_foreach(list, i, one)
		if (!strcmp(json_string_value(json_object_get(one, "position")), position) &&
		    !strcmp(json_string_value(json_object_get(one, "what")), what) &&
		    !strcmp(json_string_value(json_object_get(one, "condition")), condition)) {
			assert_true(json_is_true(json_object_get(one, "calculated")));
			assert_true(json_array_size(json_object_get(one, "from")) >= 1);
			*u = json_number_value(json_object_get(one, "u"));
			return json_number_value(json_object_get(one, "value"));
		}
	*u = NAN;
	return NAN;
}

static void places(void **state)
{
	struct store *s = *state;
	sheet(s, "position,kind,nominal,tolerance,rated,role,with,channel,twin,source,max,mu,ra,load,chart,range\n"
	         "C7,film,22n,10%,400 V,coupling,R14,left,,,,,,,,\n"
	         "R14,resistor,1M,5%,,grid leak,,left,,,,,,,,\n"
	         "C9,electrolytic,25u,,25 V,cathode bypass,R9,left,,,,100,62500,90909.09,,\n"
	         "R9,resistor,1.5k,5%,,cathode,,left,,,,,,,,\n"
	         "V2,valve,100 V,20%,,,,left,,1M,,,,,1k,100 V\n"
	         "G2,rail,100 V,20%,,,,left,,1M,,,,,1 kohm/V,100 V\n"
	         "G3,rail,100 V,20%,,,,left,,1M,,,,,1000 ohms per volt,100 V\n"
	         "G4,rail,100 V,20%,,,,left,,1M,,,,,1 kohm/A,100 V\n"
	         "C8,film,22n,10%,400 V,coupling,R14,left,,38k,,,,,,\n"
	         "V5,valve,435 V,10%,,output,,left,,,25,,,,,\n"
	         "R30,resistor,10,1%,,sense,V5,left,R130,,,,,,,\n"
	         "R130,resistor,10,1%,,sense,,right,,,,,,,,\n"
	         "R31,resistor,1k,5%,,screen,V5,left,,,,,,,,\n"
	         "B1,rail,420 V,10%,,,,,,,,,,,,\n"
	         "B1ac,rail,2 V AC,90%,,ripple,B1,,,,,,,,,\n"
	         "L1,resistor,8,5%,,load,,left,L2,,,,,,,\n"
	         "L2,resistor,8,5%,,load,,right,,,,,,,,\n"
	         "L3,resistor,16,5%,,load,,left,,,,,,,,\n"
	         "C20,electrolytic,47u,,450 V,reservoir,R40,,,,,,,,,\n"
	         "R40,resistor,220k,5%,,bleeder,,,,,,,,,,\n");
	static const struct told touches[] = {
	    {"C7", "22n", F, 1e-10, W, W, 0, .reach = REACH_LIFTED},
	    {"C7", "1u A", FUNCTION_AMP_DC, 1e-8, 0, 0, 0, .quantity = QUANTITY_LEAKAGE, .reach = REACH_LIFTED},
	    {"R14", "1M", O, 1e3, W, W, 0, .reach = REACH_LIFTED},
	    {"C9", "25u", F, 1e-7, W, W, 0, .reach = REACH_LIFTED},
	    {"R9", "1.5k", O, 5, W, W, 0, .reach = REACH_LIFTED},
	    {"V2", "100 V", FUNCTION_VOLT_DC, 0.5, W, W, 0, .quantity = QUANTITY_VOLTS},
	    {"G2", "100 V", FUNCTION_VOLT_DC, 0.5, W, W, 0, .quantity = QUANTITY_VOLTS},
	    {"G3", "100 V", FUNCTION_VOLT_DC, 0.5, W, W, 0, .quantity = QUANTITY_VOLTS},
	    {"G4", "100 V", FUNCTION_VOLT_DC, 0.5, W, W, 0, .quantity = QUANTITY_VOLTS},
	    {"C8", "0.02 V", FUNCTION_VOLT_DC, 0.001, 0, 0, 0, .quantity = QUANTITY_VOLTS},
	    {"V5", "435 V", FUNCTION_VOLT_DC, 1, W, W, 0, .quantity = QUANTITY_VOLTS},
	    {"R30", "10", O, 0.02, W, W, 0, .reach = REACH_LIFTED},
	    {"R130", "10", O, 0.02, W, W, 0, .reach = REACH_LIFTED},
	    {"R30", "0.42 V", FUNCTION_VOLT_DC, 0.001, 0, 0, 0, .quantity = QUANTITY_VOLTS},
	    {"R130", "0.385 V", FUNCTION_VOLT_DC, 0.001, 0, 0, 0, .quantity = QUANTITY_VOLTS},
	    {"R31", "1k", O, 1, W, W, 0, .reach = REACH_LIFTED},
	    {"R31", "4.5 V", FUNCTION_VOLT_DC, 0.01, 0, 0, 0, .quantity = QUANTITY_VOLTS},
	    {"B1", "420 V", FUNCTION_VOLT_DC, 1, W, W, 0, .quantity = QUANTITY_VOLTS},
	    {"B1ac", "1.8 V AC", FUNCTION_VOLT_AC, 0.02, W, W, 0, .quantity = QUANTITY_VOLTS},
	    {"L1", "8.9 V AC", FUNCTION_VOLT_AC, 0.02, 0, 0, 0, .quantity = QUANTITY_VOLTS},
	    {"L2", "8.4 V AC", FUNCTION_VOLT_AC, 0.02, 0, 0, 0, .quantity = QUANTITY_VOLTS},
	    {"L3", "9.4 V AC", FUNCTION_VOLT_AC, 0.02, 0, 0, 0, .quantity = QUANTITY_VOLTS},
	    {"C20", "47u", F, 5e-7, W, W, 0, .reach = REACH_LIFTED},
	    {"C20", "1m A", FUNCTION_AMP_DC, 1e-5, 0, 0, 0, .quantity = QUANTITY_LEAKAGE, .reach = REACH_LIFTED},
	    {"R40", "220k", O, 500, W, W, 0, .reach = REACH_LIFTED},
	    {"C7", "23n", F, 1e-10, U, U, 0, .reach = REACH_IN_CIRCUIT},
	    {"C7", "20n", F, 1e-10, W, W, 0, .condition = CONDITION_DONE, .reach = REACH_LIFTED},
	};
	for (size_t i = 0; i < sizeof touches / sizeof *touches; i++)
		tell(s, &touches[i]);
	clock_us += INT64_C(1200000000); /* a soak of 20 minutes */
	tell(s, &(struct told){"R30", "0.455 V", FUNCTION_VOLT_DC, 0.001, 0, 0, 0, .quantity = QUANTITY_VOLTS});
	json_t *all = answer(s, "places", "{}"), *list = json_object_get(all, "places");
	static const struct {
		const char *position, *what, *condition;
		double value; /* computed by hand, some of them in tests/reference/valve-checks.tsv */
		bool has_u;
	} rows[] = {
	    {"C7", "coupling-corner", "nominal", 7.23432, true},
	    {"C7", "coupling-corner", "found", 7.23432, true},
	    {"C7", "coupling-corner", "done", 7.95775, true},
	    {"C7", "grid-shift", "found", 1, true}, /* 1 uA over 1 Mohm */
	    {"C9", "cathode-zero", "found", 4.24413, true},
	    {"C9", "cathode-pole", "found", 8.43545, true},
	    {"C9", "cathode-step", "found", 5.96639, true},
	    {"V2", "unloaded", "found", 110, true},
	    /* 110 V through 1 Mohm into 1 kohm/V on 100 V */
	    {"V2", "as-chart", "found", 10, true},
	    /* as charts write it */
	    {"G2", "as-chart", "found", 10, true},
	    {"G3", "as-chart", "found", 10, true},
	    {"R30", "cathode-current", "found", 0.0455, true},
	    {"R30", "pair-difference", "found", 16.6667, true}, /* 45.5 against 38.5 mA */
	    {"R30", "bias-drift", "found", 8.33333, true},
	    /* (435 - 0.455) (45.5 mA - 4.5 mA) */
	    {"V5", "dissipation", "found", 17.8163, true},
	    {"V5", "dissipation-percent", "found", 71.2654, true},
	    {"B1ac", "ripple", "found", 0.428571, true},
	    {"L1", "power", "found", 9.90125, true},
	    {"L1", "balance", "found", 0.502196, true},
	    /* (9.4 - 8.9) / (8.9/8 - 9.4/16) */
	    {"L1", "output-impedance", "found", 0.952381, true},
	    {"C20", "discharge-5rc", "found", 51.7, true},
	    {"C20", "discharge-to-60V", "found", 20.8341, true},
	    {"C20", "leakage-limit-period", "found", 2.18e-3, true}, /* 0.04 47 + 0.3 mA */
	    {"C20", "leakage-limit-modern", "found", 211.5e-6, true},
	    {"C20", "heat", "found", 0.45, true},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		double u, got = value(list, rows[i].position, rows[i].what, rows[i].condition, &u);
		if (!near_enough(got, rows[i].value, fabs(rows[i].value) * 2e-4))
			note_row("%s %s %s: %.7g", rows[i].position, rows[i].what, rows[i].condition, got);
		assert_near_relative(got, rows[i].value, 2e-4);
		assert_int_equal(u > 0, rows[i].has_u);
	}
	/* No ohms per volt, no chart; and what drives a coupling capacitor loads no grid. */
	double none;
	assert_true(isnan(value(list, "G4", "as-chart", "found", &none)) != 0);
	assert_true(isnan(value(list, "G4", "unloaded", "found", &none)) == 0);
	assert_true(isnan(value(list, "C8", "unloaded", "found", &none)) != 0);
	json_decref(all);
	/* One position alone. */
	all = answer(s, "places", "{\"position\":\"C20\"}");
	size_t i;
	json_t *one;
	json_array_foreach(json_object_get(all, "places"), i, one)
		assert_string_equal(json_string_value(json_object_get(one, "position")), "C20");
	assert_true(i > 3);
	json_decref(all);
}

/* Nothing is calculated from what was measured in circuit, still moved, or is not there. */
static void nothing_made_up(void **state)
{
	struct store *s = *state;
	double u;
	sheet(s, "position,kind,nominal,tolerance,rated,role,with\n"
	         "C7,film,,,,coupling,R14\nR14,resistor,,,,grid leak,\nL1,resistor,8,5%,,anode load,\n");
	json_t *all = answer(s, "places", "{}");
	assert_int_equal(json_array_size(json_object_get(all, "places")), 0);
	json_decref(all);
	tell(s, &(struct told){"C7", "22n", F, 1e-10, W, W, 0, .reach = REACH_LIFTED});
	tell(s, &(struct told){"R14", "1M", O, 1e3, U, U, 0, .reach = REACH_IN_CIRCUIT});
	tell(s, &(struct told){"L1", "8 V AC", FUNCTION_VOLT_AC, 0.1, 0, 0, 0, .quantity = QUANTITY_VOLTS});
	all = answer(s, "places", "{}");
	assert_int_equal(json_array_size(json_object_get(all, "places")), 0);
	json_decref(all);
	tell(s, &(struct told){"R14", "OL", O, 0, X, X, 0, .reach = REACH_LIFTED});
	all = answer(s, "places", "{}");
	assert_int_equal(json_array_size(json_object_get(all, "places")), 0);
	json_decref(all);
	tell(s, &(struct told){"R14", "1M", O, 1e3, W, W, 0, .reach = REACH_LIFTED});
	all = answer(s, "places", "{}");
	assert_near_relative(value(json_object_get(all, "places"), "C7", "coupling-corner", "found", &u),
	                     7.23432, 1e-5);
	json_decref(all);
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, store_up, store_down)
	const struct CMUnitTest tests[] = {
	    TEST(rounds), TEST(pages), TEST(beside_the_value), TEST(orders), TEST(fits), TEST(afterwards),
	    cmocka_unit_test(twins), cmocka_unit_test(laws), TEST(places), TEST(nothing_made_up),
	    TEST(guided), TEST(guided_reasons), TEST(guided_struck),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/*
 * What to replace, to buy and to measure again: on sheets of a few rows with entries whose
 * verdicts the rows say.  The rules are common practice, no source.
 */
#include "tests/plan_stand.h"

#include "protocol/trade/plan.h"

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

static void rounds(void **state)
{
	struct store *s = *state;
	char got[400];
	sheet(s, PLAN_SHEET);
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

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, store_up, store_down)
	const struct CMUnitTest tests[] = {
	    TEST(rounds), TEST(pages), TEST(beside_the_value), TEST(orders), TEST(fits), TEST(afterwards),
	    cmocka_unit_test(twins), cmocka_unit_test(laws),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/*
 * Without a schematic: positions named one after the other, kinds learnt from what was
 * measured, markings, and twins proposed by equal value.
 */
#include "tests/fit_stand.h"

#define OPEN "red OL MOhm *8\n"

static void names_are(const struct stand *s, const char *want)
{
	char got[1024] = "";
	for (int i = 0; i < s->records; i++)
		if (strstr(s->record[i], "\"change\":\"new\""))
			stand_append(got, sizeof got, stand_member(s->record[i], "position"));
	if (strcmp(got, want) != 0)
		fail_msg("named: %s, expected %s", got, want);
}

static void the_next_free_name(void **state)
{
	(void)state;
	struct stand *s = fit_begin("position,nominal\nR1,1k\nR2,1k\nR9,1k\nR7a,1k\n");
	fit_tell(s, "new R"); /* behind the last of the sheet */
	fit_tell(s, "new");   /* as last time */
	fit_tell(s, "new T3/");
	fit_tell(s, "new");
	fit_tell(s, "new C");
	fit_tell(s, "at new"); /* the same, as a recording may have it */
	fit_tell(s, "at new R");
	names_are(s, "R10; R11; T3/1; T3/2; C1; C2; R12");
	/* A name is given once, also where it is free again. */
	fit_tell(s, "rename R12 R77");
	fit_tell(s, "new R");
	fit_tell(s, "rename R78 R6");
	fit_restart(s);
	fit_tell(s, "new");
	names_are(s, "R10; R11; T3/1; T3/2; C1; C2; R12; R78; R79");
	static const struct {
		const char *act, *says;
	} bad[] = {
	    {"new R1", "no digit at the end"},
	    {"new -R", "no beginning of a name"},
	    {"new R T", "one word, or none"},
	    {"new abcdefghijklmnopqrstuvwxyz", "at most 24"},
	    {"walk new R1", "the beginning of a name"},
	};
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
		fit_refused(s, bad[i].act, bad[i].says);
	fit_end(s);
	/* Without any word ever: letters that say nothing of a kind. */
	s = fit_begin(NULL);
	fit_tell(s, "new");
	names_are(s, "N1");
	fit_has(s->record[s->records - 1], "\"kind\":\"other\"");
	fit_end(s);
}

/* What the meter is set to says what stands there, where the letters do not. */
static void the_kind_is_learnt(void **state)
{
	(void)state;
	static const struct {
		const char *value, *kind, *quantity;
	} rows[] = {
	    {"100k ohm", "resistor", "value"},  {"0.1 uF", "capacitor", "value"},
	    {"285 V", "rail", "volts"},         {"6.3 V AC", "rail", "volts"},
	    {"10 H", "winding", "value"},       {"3 mA", "other", "value"},
	    {"50 Hz", "other", "value"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct stand *s = fit_begin(NULL);
		char want[64];
		fit_tell(s, "reach loose");
		fit_tell(s, "new");
		fit_enter(s, "N1", rows[i].value);
		char *shown = fit_ask(s, "sheet.show", "{}");
		snprintf(want, sizeof want, "\"kind\":\"%s\"", rows[i].kind);
		bool good = strstr(shown, want) &&
		            strcmp(stand_member(fit_record(s, "entry", 0), "quantity"),
		                   rows[i].quantity) == 0;
		/* Nothing is written in a cell: nobody wrote it. */
		if (!good || !strstr(shown, "\"written\":{\"position\":\"N1\"}")) {
			note_row("%s: %s", rows[i].value, shown);
			fail();
		}
		free(shown);
		/* It stays after a restart; what counts no more taught nothing. */
		fit_restart(s);
		shown = fit_ask(s, "sheet.show", "{}");
		assert_non_null(strstr(shown, want));
		free(shown);
		fit_tell(s, "undo");
		shown = fit_ask(s, "sheet.show", "{}");
		assert_non_null(strstr(shown, "\"kind\":\"other\""));
		free(shown);
		fit_enter(s, "N1", "33 nF");
		fit_has(fit_record(s, "position", 0), "\"learnt\":\"capacitor\",\"kind\":\"capacitor\"");
		/* The right name, when it is found: letters say more than what was learnt. */
		fit_tell(s, "rename N1 EC3");
		fit_has(fit_record(s, "position", 0), "\"kind\":\"electrolytic\"");
		fit_end(s);
	}
	/* A name that says nothing, for one that did: it is what it was measured as. */
	struct stand *s = fit_begin(NULL);
	fit_tell(s, "new C");
	fit_enter(s, "C1", "33 nF");
	fit_tell(s, "new C");
	fit_enter(s, "C2", "33 nF");
	fit_tell(s, "twins C1");
	fit_tell(s, "rename C1 N5");
	fit_has(fit_record(s, "position", 1), "\"learnt\":\"capacitor\",\"kind\":\"capacitor\"");
	fit_has(fit_record(s, "position", 1), "\"twin\":\"C2\"");
	fit_restart(s);
	char *rows_now = fit_ask(s, "sheet.show", "{}");
	fit_has(rows_now, "{\"position\":\"N5\"");
	assert_null(strstr(rows_now, "\"kind\":\"other\""));
	free(rows_now);
	/* Struck: nothing is known of it any more. */
	fit_tell(s, "rename C2 X9");
	fit_tell(s, "undo");
	fit_has(fit_record(s, "position", 0), "\"position\":\"X9\",\"change\":\"learnt\"");
	fit_has(fit_record(s, "position", 0), "\"kind\":\"other\"");
	fit_end(s);
	/* Letters that say a kind, and a kind that was written, learn nothing. */
	s = fit_begin("position,kind,nominal\nX1,other,10 kohm\nX2,,1 kohm\n");
	fit_enter(s, "X1", "10k ohm");
	fit_enter(s, "X2", "1k ohm");
	fit_tell(s, "new R");
	assert_int_equal(fit_count(s, "position"), 3);
	fit_end(s);
}

/* Nominal by what stands on the part, and then it is judged. */
static void a_marking_gives_the_nominal(void **state)
{
	(void)state;
	static const struct {
		const char *name, *value, *marking, *written, *verdict, *limits;
	} rows[] = {
	    /* IEC 60062: brown black yellow gold, 100 kohm 5 % */
	    {"R", "104k", "\"brown black yellow gold\"", "\"nominal\":\"brown black yellow gold\"",
	     "within", "[95000,105000]"},
	    {"R", "104k", "4K7", "\"nominal\":\"4K7\"", "outside", "[4230,5170]"},
	    /* 104 as a nominal were 104 ohm: as a marking it is 100 kohm. */
	    {"R", "104k", "104", "\"nominal\":\"100 kohm\"", "within", "[90000,110000]"},
	    {"C", "0.1 uF", "104K", "\"nominal\":\"104K\"", "within", "[9e-08,1.1e-07]"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct stand *s = fit_begin(NULL);
		char act[96], name[8];
		fit_tell(s, "reach loose");
		snprintf(act, sizeof act, "new %s", rows[i].name);
		snprintf(name, sizeof name, "%s1", rows[i].name);
		fit_tell(s, act);
		fit_enter(s, name, rows[i].value);
		fit_has(fit_record(s, "entry", 0), "\"verdict\":\"none\"");
		snprintf(act, sizeof act, "sheet set %s marking=%s", name, rows[i].marking);
		fit_tell(s, act);
		const char *rejudge = fit_record(s, "rejudge", 0);
		fit_has(fit_record(s, "position", 0), rows[i].written);
		fit_has(rejudge, rows[i].limits);
		assert_string_equal(stand_member(rejudge, "verdict"), rows[i].verdict);
		fit_end(s);
	}
	struct stand *s = fit_begin(NULL);
	fit_tell(s, "new");
	fit_refused(s, "sheet set N1 marking=104K", "has no marking that is known: say its kind first");
	fit_tell(s, "sheet set N1 kind=capacitor marking=104K");
	fit_has(fit_record(s, "position", 0), "\"nominal\":1e-07");
	fit_refused(s, "sheet set N1 marking=elephant", "");
	fit_end(s);
}

/* Hands free: each lift names the next one. */
static void a_walk_of_new_ones(void **state)
{
	(void)state;
	struct stand *s = fit_begin(NULL);
	stand_play(s, "@0 reach lifted\n@0 walk new T1/\n"
	              OPEN "red ~100.2 kOhm *12\n" OPEN "red ~47.1 kOhm *12\n" OPEN);
	assert_string_equal(s->made, "T1/1 red 100.2 kohm lifted; T1/2 red 47.1 kohm lifted");
	assert_string_equal(s->up, "T1/1; T1/2; T1/3");
	/* Skipped, back, and on to a new one: the one that has its entry does not hold. */
	stand_play(s, "@0 next\n" OPEN "red ~1.000 kOhm *12\n" OPEN "@8 back\n@8 back\n");
	assert_string_equal(s->up, "T1/1; T1/2; T1/3; T1/4; T1/5; T1/4; T1/3");
	stand_play(s, OPEN "red ~2.200 kOhm *12\n" OPEN);
	assert_string_equal(s->up, "T1/1; T1/2; T1/3; T1/4; T1/5; T1/4; T1/3; T1/6");
	fit_has(s->made, "T1/4 red 1.000 kohm lifted; T1/3 red 2.200 kohm lifted");
	assert_string_equal(s->refused, "");
	/* Another prefix, and off. */
	stand_play(s, "@0 walk new T2/\n" OPEN "@2 walk off\n@2 next\n");
	fit_has(s->up, "T1/6; T2/1; ");
	fit_end(s);
}

/* ---- twins ---- */

static void proposals(struct stand *s, char *out, size_t size)
{
	char *text = malloc(65536);
	struct text t;
	size_t i, n = 0;
	json_t *pair;
	text_begin(&t, text, 65536);
	bench_twins(s->bench, &t);
	json_t *a = json_loads(text, 0, NULL);
	assert_non_null(a);
	out[0] = '\0';
	json_array_foreach (json_object_get(a, "pairs"), i, pair) {
		json_t *x = json_object_get(pair, "a"), *y = json_object_get(pair, "b");
		n += (size_t)snprintf(out + n, size - n, "%s%s-%s%s", n ? "; " : "",
		                      json_string_value(json_object_get(x, "position")),
		                      json_string_value(json_object_get(y, "position")),
		                      json_is_true(json_object_get(pair, "alone")) ? "" : "?");
	}
	json_decref(a);
	free(text);
}

static void twins_are(struct stand *s, const char *want)
{
	char got[1024];
	proposals(s, got, sizeof got);
	if (strcmp(got, want) != 0)
		fail_msg("proposed: %s, expected %s", got, want);
}

/* Names and values in the order in which they were touched. */
static struct stand *touched(const char *parts)
{
	struct stand *s = fit_begin(NULL);
	char *text = strdup(parts), *save = NULL;
	fit_tell(s, "reach loose");
	for (char *p = strtok_r(text, ";", &save); p; p = strtok_r(NULL, ";", &save)) {
		char name[NAME_SIZE], value[40];
		assert_int_equal(sscanf(p, " %32s %39[^\n]", name, value), 2);
		fit_enter(s, name, value);
	}
	free(text);
	return s;
}

static void twins_by_equal_value(void **state)
{
	(void)state;
	static const struct {
		const char *what, *parts, *want;
	} rows[] = {
	    {"two channels by their names",
	     "L/R1 101k; L/R2 470k; L/C1 0.1 uF; R/R1 103k; R/R2 455k; R/C1 0.11 uF",
	     "L/R1-R/R1; L/R2-R/R2; L/C1-R/C1"},
	    {"equal ones: in the order of naming, not sure",
	     "L/R1 101k; L/R2 100k; R/R1 103k; R/R2 99k", "L/R1-R/R1?; L/R2-R/R2?"},
	    {"no channels: the only two of a value", "R1 101k; R2 470k; R3 99k; R4 1k", "R1-R3"},
	    {"no channels, four alike: the first half with the second",
	     "R1 101k; R2 100k; R3 99k; R4 102k", "R1-R3?; R2-R4?"},
	    {"an odd one has no half", "R1 101k; R2 100k; R3 99k", ""},
	    {"both in one channel are no twins", "L/R1 101k; L/R2 100k", ""},
	    {"a third one in the other channel makes it unsure",
	     "L/R1 101k; L/R2 100k; R/R1 102k", "L/R1-R/R1?"},
	    {"neighbours of a series", "L/R1 101k; L/R2 118k; R/R1 99k; R/R2 121k",
	     "L/R1-R/R1; L/R2-R/R2"},
	    {"ohms are no farads, and far is not alike", "R1 101k; R2 150k; C1 100 nF; C2 220 nF", ""},
	    {"no chain of small steps", "R1 100k; R2 108k; R3 118k; R4 128k", "R1-R2; R3-R4"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct stand *s = touched(rows[i].parts);
		char got[1024];
		proposals(s, got, sizeof got);
		if (strcmp(got, rows[i].want) != 0) {
			note_row("%s: %s, expected %s", rows[i].what, got, rows[i].want);
			fail();
		}
		/* The same after a restart: all of it follows from the records. */
		fit_restart(s);
		twins_are(s, rows[i].want);
		fit_end(s);
	}
}

static void accepted(void **state)
{
	(void)state;
	struct stand *s = touched("L/R1 101k; L/R2 470k; L/R3 1k; L/R4 1k; R/R1 103k; R/R2 455k; "
	                          "R/R3 1.01k; R/R4 1.02k");
	twins_are(s, "L/R3-R/R3?; L/R4-R/R4?; L/R1-R/R1; L/R2-R/R2");
	fit_tell(s, "twins"); /* only the sure ones */
	fit_has(fit_record(s, "position", 0), "\"change\":\"paired\"");
	twins_are(s, "L/R3-R/R3?; L/R4-R/R4?");
	char *text = fit_ask(s, "sheet.show", "{}");
	fit_has(text, "\"twin\":\"R/R1\"");
	fit_has(text, "\"twin\":\"L/R1\"");
	free(text);
	fit_refused(s, "twins", "name those that you mean");
	fit_refused(s, "twins L/R3 L/R9", "no twin is proposed for L/R9");
	fit_tell(s, "twins R/R3"); /* by either of the two */
	twins_are(s, "L/R4-R/R4");
	fit_restart(s);
	twins_are(s, "L/R4-R/R4");
	/* They follow another name as any twins do. */
	fit_tell(s, "rename L/R1 L/R101");
	text = fit_ask(s, "compare", "{\"position\":\"L/R101\"}");
	fit_has(text, "\"position\":\"L/R101\",\"twin\":\"R/R1\"");
	free(text);
	fit_end(s);
}

/* Capitals are not typed at every bench: r2 is R2 where there is one, in records, too. */
static void small_letters(void **state)
{
	(void)state;
	static const char sheet[] = "position,nominal\nR1,100k\nR2,100k\n";
	struct stand *s = fit_begin(sheet);
	fit_tell(s, "reach loose");
	fit_enter(s, "r1", "100.1k");
	fit_has(fit_record(s, "entry", 0), "\"position\":\"R1\"");
	fit_tell(s, "note r2 dark");
	fit_has(fit_record(s, "note", 0), "\"position\":\"R2\"");
	char which[24];
	snprintf(which, sizeof which, "%lld", (long long)log_last_seq(s->log) - 1);
	if (!bench_move(s->bench, s->t, which, "r2", NULL, (struct bench_wait){0}, &s->why))
		fail_msg("%s", s->why.text);
	bench_collect(s->bench);
	fit_has(fit_record(s, "move", 0), "\"position\":\"R2\"");
	char *text = fit_ask(s, "entries", "{\"position\":\"R2\"}");
	fit_has(text, "100.1 kohm");
	free(text);
	text = fit_ask(s, "sheet.show", "{}");
	assert_null(strstr(text, "r2"));
	free(text);
	fit_end(s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(the_next_free_name),
	    cmocka_unit_test(the_kind_is_learnt),
	    cmocka_unit_test(a_marking_gives_the_nominal),
	    cmocka_unit_test(a_walk_of_new_ones),
	    cmocka_unit_test(twins_by_equal_value),
	    cmocka_unit_test(accepted),
	    cmocka_unit_test(small_letters),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/*
 * The scene of `tally bench`: messages in, state and happenings out.
 */
#include "tests/bench_scene.h"

#include "client/speech_words.h"

/* The next happening must be this one; returns it. */
static const struct happening_told *next(enum happening what)
{
	const struct happening_told *told = scene_happening(scene);
	assert_non_null(told);
	assert_int_equal(told->what, what);
	return told;
}

static void nothing_more(void)
{
	assert_null(scene_happening(scene));
}

static void ready(void)
{
	scene_ready(true, "cold", "R3", "value", R3_CHOSEN);
}

/* ---- by ear ---- */

static void test_ear(void **state)
{
	static const char params[] = "{\"meters\":[],\"position\":null,\"ear\":{\"of\":\"RV1\",\"meter\":\"red\","
	                             "\"toward\":0.5,\"inside\":true,\"hertz\":699.25}}";
	static const char silent[] = "{\"meters\":[],\"position\":null}";
	const struct slice on = {params, sizeof params - 1}, off = {silent, sizeof silent - 1};
	bool inside;
	(void)state;
	ready();
	assert_near(scene_ear(scene, now, &inside), 0, 0);
	scene_live(scene, now, on);
	assert_near(scene_ear(scene, now, &inside), 699.25, 1e-9);
	assert_true(inside);
	/* Without news it says nothing. */
	assert_near(scene_ear(scene, now + SCENE_EAR_MS + 1, &inside), 0, 0);
	scene_live(scene, now, off);
	assert_near(scene_ear(scene, now, &inside), 0, 0);
	scene_live(scene, now, on);
	/* A step keeps its name on the way to those who listen: it is what is spoken. */
	event("\"event\":\"guide\",\"guide\":\"leak\",\"of\":\"C1\",\"state\":\"step\",\"step\":\"caution\",\"text\":\"x\"");
	const struct happening_told *step = next(HAPPENED_GUIDE);
	assert_non_null(step->guide);
	assert_string_equal(step->guide, "leak.caution");
	event("\"event\":\"guide\",\"guide\":\"tune\",\"of\":\"RV1\",\"state\":\"said\",\"step\":\"set\",\"text\":\"0.43 V\","
	      "\"ear\":\"yes\"");
	assert_true(next(HAPPENED_GUIDE)->ear);
	event("\"event\":\"guide\",\"guide\":\"tune\",\"of\":\"RV1\",\"state\":\"said\",\"step\":\"set\",\"text\":\"red is gone\"");
	assert_false(next(HAPPENED_GUIDE)->ear);
	scene_away(scene, now, "gone");
	assert_near(scene_ear(scene, now, &inside), 0, 0);
	scene_stop();
}

/* ---- one touch, from open leads to the next position ---- */

static void test_touch(void **state)
{
	(void)state;
	ready();
	assert_int_equal(scene_state(scene, now), SCENE_READY);
	live("131.05 kohm", "ohm", 0.1, true);
	assert_int_equal(scene_state(scene, now), SCENE_SETTLING);
	live("131.19 kohm", "ohm", 1, true);
	assert_int_equal(scene_state(scene, now), SCENE_SETTLED);
	nothing_more(); /* nothing is told before it is durable */
	event("\"event\":\"logged\",\"seq\":23,\"position\":\"R3\"");
	nothing_more();
	assert_int_equal(record(23, "entry", ENTRY("R3", "131.20 kohm", "131200", "outside", "high",
	                                           "0.312", ",\"why\":\"carbon, drifted up\"")),
	                 SCENE_ASK_STATUS);
	const struct happening_told *told = next(HAPPENED_OUTSIDE);
	assert_string_equal(told->position, "R3");
	assert_string_equal(told->shown, "131.20 kohm");
	assert_string_equal(told->verdict, "outside");
	assert_string_equal(told->side, "high");
	assert_string_equal(told->why, "31.2 % high; carbon, drifted up");
	/* ... which whoever speaks can take apart */
	char said[256];
	speech_happening(LANGUAGE_EN, told, false, said, sizeof said);
	assert_string_equal(said, "R three, one hundred thirty-one point two zero kilo-ohms, outside, "
	                    "thirty-one point two percent high, carbon, drifted up");
	assert_null(told->looks);
	assert_int_equal(told->seq, 23);
	nothing_more();
	assert_int_equal(scene_state(scene, now), SCENE_LOGGED);
	/* It lifts: what was logged stays, not what open leads read. */
	live("overload", "ohm", 0, false);
	const char *function;
	assert_int_equal(scene_state(scene, now), SCENE_LOGGED);
	assert_string_equal(scene_large(scene, now, &function), "131.20 kohm");
	assert_int_equal(scene->sheet[scene_place(scene, "R3")].entries, 1);
	assert_string_equal(scene->sheet[scene_place(scene, "R3")].verdict, "outside");
	event("\"event\":\"up\",\"position\":\"C7\",\"quantity\":\"value\",\"nominal\":\"0.1 uF\",\"role\":"
	      "\"coupling\",\"armed\":\"yes\"");
	told = next(HAPPENED_UP);
	assert_string_equal(told->position, "C7");
	assert_string_equal(told->role, "coupling");
	assert_string_equal(told->place, "left, to V3");
	assert_string_equal(told->shown, "0.1 uF");
	assert_int_equal(scene_state(scene, now), SCENE_READY);
	assert_string_equal(scene_large(scene, now, &function), "overload");
	scene_stop();
}

/* The name of the next is heard after the value of the last, whichever came first. */
static void test_order(void **state)
{
	(void)state;
	ready();
	event("\"event\":\"logged\",\"seq\":25,\"position\":\"R3\"");
	event("\"event\":\"up\",\"position\":\"C7\",\"quantity\":\"value\",\"armed\":\"yes\"");
	nothing_more();
	record(24, "trail", ",\"meter\":\"bench\"");
	nothing_more();
	record(25, "entry", ENTRY("R3", "overload", "null", "outside", "high", "null",
	                          ",\"state\":\"overload\",\"above\":120000000"));
	next(HAPPENED_OUTSIDE);
	next(HAPPENED_UP);
	nothing_more();
	scene_stop();
}

/* After its entry a probe slips, or touches the next part too soon: what was logged stays, for
 * nothing will come of this touch. */
static void test_slip(void **state)
{
	const char *function;
	(void)state;
	ready();
	live("131.20 kohm", "ohm", 1, true);
	record(23, "entry", ENTRY("R3", "131.20 kohm", "131200", "within", "high", "0.3", ""));
	live("overload", "ohm", 0, false);
	scene_live(scene, now, text_slice("{\"meters\":[{\"name\":\"bench\",\"state\":\"asked\",\"shown\":"
	           "\"47.00 kohm\",\"function\":\"ohm\",\"progress\":1,\"touching\":true,\"has\":\"R3\"}]}"));
	assert_int_equal(scene_state(scene, now), SCENE_LOGGED);
	assert_string_equal(scene_large(scene, now, &function), "131.20 kohm");
	/* Without that word it is another touch. */
	live("overload", "ohm", 0, false);
	live("47.00 kohm", "ohm", 1, true);
	assert_int_equal(scene_state(scene, now), SCENE_SETTLED);
	scene_stop();
}

/* Not armed: nothing is called; the person is to lift. */
static void test_not_armed(void **state)
{
	(void)state;
	ready();
	event("\"event\":\"up\",\"position\":\"C7\",\"quantity\":\"value\",\"armed\":\"no\"");
	nothing_more();
	assert_int_equal(scene_state(scene, now), SCENE_WAIT);
	event("\"event\":\"up\",\"position\":\"C7\",\"quantity\":\"value\",\"armed\":\"yes\"");
	next(HAPPENED_UP);
	assert_int_equal(scene_state(scene, now), SCENE_READY);
	scene_stop();
}

/* ---- everything else that may happen ---- */

static const struct {
	const char *event;
	enum scene_state state;
	enum happening what;
	const char *has; /* in why, looks or next */
} happenings[] = {
	{"\"event\":\"held\",\"meter\":\"bench\",\"position\":\"R3\",\"shown\":\"130 kohm\",\"looks\":\"R13\"",
	 SCENE_HELD, HAPPENED_HELD, "R13"},
	{"\"event\":\"doubt\",\"meter\":\"bench\",\"position\":\"R3\",\"shown\":\"-37.4 V\"", SCENE_DOUBT,
	 HAPPENED_DOUBT, "take it"},
	{"\"event\":\"refused\",\"meter\":\"bench\",\"position\":\"R3\",\"why\":\"hold is on\"", SCENE_REFUSED,
	 HAPPENED_REFUSED, "hold is on"},
	{"\"event\":\"not-logged\",\"why\":\"the disk is full\"", SCENE_NOT_LOGGED, HAPPENED_NOT_LOGGED,
	 "the disk is full"},
	{"\"event\":\"moving\",\"meter\":\"bench\",\"position\":\"R3\"", SCENE_MOVING, HAPPENED_MOVING,
	 "take it"},
};

static void test_happenings(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof happenings / sizeof happenings[0]; i++) {
		ready();
		live("131.05 kohm", "ohm", 0.1, true);
		event(happenings[i].event);
		note_row("%s", happenings[i].event);
		assert_int_equal(scene_state(scene, now), happenings[i].state);
		const struct happening_told *told = next(happenings[i].what);
		const char *in = told->why ? told->why : told->looks ? told->looks : told->next;
		assert_non_null(strstr(in, happenings[i].has));
		nothing_more();
		/* An entry ends all of them. */
		record(23, "entry", ENTRY("R3", "131.20 kohm", "131200", "within", "high", "0.3", ""));
		assert_int_equal(scene_state(scene, now), SCENE_LOGGED);
		next(HAPPENED_LOGGED);
		scene_stop();
	}
}

static void test_refused_passes(void **state)
{
	(void)state;
	ready();
	event("\"event\":\"refused\",\"why\":\"nothing to take\"");
	assert_int_equal(scene_state(scene, now + SCENE_REFUSED_MS), SCENE_REFUSED);
	live("overload", "ohm", 0, false);
	now += SCENE_REFUSED_MS + 1;
	live("overload", "ohm", 0, false);
	assert_int_equal(scene_state(scene, now), SCENE_READY);
	scene_stop();
}

static void test_live_and_cold(void **state)
{
	(void)state;
	ready();
	record(23, "job", ",\"state\":\"set\",\"unit\":\"live\"");
	next(HAPPENED_LIVE);
	assert_true(scene->live);
	assert_true(scene->caution);
	record(24, "job", ",\"state\":\"set\",\"unit\":\"live\"");
	nothing_more();
	record(25, "job", ",\"state\":\"set\",\"unit\":\"cold\"");
	next(HAPPENED_COLD);
	assert_false(scene->live);
	assert_false(scene->caution);
	scene_stop();
}

static void test_strike(void **state)
{
	(void)state;
	ready();
	record(23, "entry", ENTRY("R3", "131.20 kohm", "131200", "outside", "high", "0.312", ""));
	next(HAPPENED_OUTSIDE);
	assert_int_equal(record(24, "strike", ",\"of\":23,\"position\":\"R3\""),
	                 SCENE_ASK_STATUS | SCENE_ASK_SHEET | SCENE_ASK_ENTRIES);
	assert_true(scene_entry(scene, 0)->struck);
	assert_int_equal(scene->sheet[scene_place(scene, "R3")].entries, 0);
	assert_string_equal(scene->sheet[scene_place(scene, "R3")].verdict, "");
	assert_int_equal(scene_state(scene, now), SCENE_READY);
	record(25, "strike", ",\"of\":99999,\"position\":\"R9\""); /* one that is not kept */
	scene_stop();
}

/* R3 is up, and these are bound. */
static void bound(const char *list, const char *guides)
{
	char text[600];
	snprintf(text, sizeof text, "{\"chosen\":{\"position\":\"R3\",\"quantity\":\"value\"%s"
	         ",\"armed\":true},\"bound\":[%s],\"guides\":[%s]}", R3_CHOSEN, list, guides);
	scene_status(scene, now, text_slice(text));
}

/* A meter that is bound to another position: its value never stands large beside what is up. */
static void test_bound_elsewhere(void **state)
{
	const char *function;
	(void)state;
	ready();
	bound("{\"meter\":\"bench\",\"position\":\"R13\",\"quantity\":\"value\"}", "");
	live("99.10 kohm", "ohm", 1, true);
	assert_string_equal(scene_front(scene)->name, "red");
	assert_string_equal(scene_large(scene, now, &function), "0.012 nF");
	assert_int_equal(scene_state(scene, now), SCENE_READY);
	/* Every other one is bound, too: there is none for what is up. */
	bound("{\"meter\":\"bench\",\"position\":\"R13\"},{\"meter\":\"red\",\"position\":\"C7\"}", "");
	live("99.10 kohm", "ohm", 1, true);
	assert_null(scene_large(scene, now, &function));
	assert_int_equal(scene_state(scene, now), SCENE_GONE);
	/* In a guided run the hand waits for it: then it stands large, under its own position,
	 * and gives way to a free one that is touched. */
	assert_string_equal(scene_at(scene), "R3");
	bound("{\"meter\":\"red\",\"position\":\"C7\"}", "{\"guide\":\"tune\",\"of\":\"VR1\",\"text\":"
	      "\"set it\",\"hand\":true,\"takes\":\"red\"}");
	live("overload", "ohm", 0, false);
	assert_string_equal(scene_large(scene, now, &function), "0.012 nF");
	assert_string_equal(scene_at(scene), "C7");
	live("99.10 kohm", "ohm", 0.5, true);
	assert_string_equal(scene_at(scene), "R3");
	bound("{\"meter\":\"bench\",\"position\":\"R13\"}", "");
	/* Where it is bound comes up: then it is. */
	event("\"event\":\"up\",\"position\":\"R13\",\"quantity\":\"value\",\"armed\":\"yes\"");
	next(HAPPENED_UP);
	live("99.10 kohm", "ohm", 1, true);
	assert_string_equal(scene_large(scene, now, &function), "99.10 kohm");
	scene_stop();
}

/* The daemon's sentence may begin with the words: they are said once. */
static void test_not_logged_once(void **state)
{
	(void)state;
	ready();
	scene_refusal(scene, now, 4, "NOT LOGGED: the disk of the log is full");
	assert_string_equal(next(HAPPENED_NOT_LOGGED)->why, "the disk of the log is full");
	assert_string_equal(scene_note(scene, 0)->text, "NOT LOGGED: the disk of the log is full");
	scene_stop();
}

/* Two meters and two answers: told with both names, and seen. */
static void test_disagree(void **state)
{
	(void)state;
	ready();
	event("\"event\":\"disagree\",\"position\":\"R3\",\"quantity\":\"value\",\"meter\":\"bench\","
	      "\"other\":\"red\",\"en\":\"6.8\",\"text\":\"bench and red disagree at R3\"");
	const struct happening_told *told = next(HAPPENED_DISAGREE);
	assert_string_equal(told->position, "R3");
	assert_string_equal(told->meter, "bench");
	assert_string_equal(told->other, "red");
	assert_string_equal(scene_note(scene, 0)->text, "bench and red disagree at R3");
	struct lines out = {0};
	view_bench_told(&(struct style){.plain = true}, told, &out);
	assert_string_equal(lines_text(&out), "two answers: bench and red disagree at R3\n");
	lines_free(&out);
	nothing_more();
	scene_stop();
}

/* What was said of the part that was up is not said of the next one. */
static void test_notes_of_the_part_before(void **state)
{
	(void)state;
	ready();
	record(23, "entry", ENTRY("R3", "131.20 kohm", "131200", "within", "high", "0.3", ""));
	next(HAPPENED_LOGGED);
	event("\"event\":\"other\",\"position\":\"R3\",\"meters\":\"1 of 2\",\"text\":\"now the other "
	      "meter\"");
	assert_true(scene_note(scene, 0)->at == now);
	record(24, "entry", ENTRY("R3", "131.10 kohm", "131100", "within", "high", "0.3", ""));
	next(HAPPENED_LOGGED);
	assert_true(scene_note(scene, 0)->at < 0);
	event("\"event\":\"held\",\"meter\":\"bench\",\"position\":\"R3\",\"shown\":\"130 kohm\","
	      "\"looks\":\"R13\"");
	next(HAPPENED_HELD);
	assert_true(scene_note(scene, 0)->at == now);
	event("\"event\":\"up\",\"position\":\"C7\",\"quantity\":\"value\",\"armed\":\"yes\"");
	next(HAPPENED_UP);
	assert_true(scene_note(scene, 0)->at < 0);
	scene_stop();
}

/* What asked for something about a touch is over with its entry; danger is not. */
static void test_notes_end(void **state)
{
	(void)state;
	ready();
	event("\"event\":\"alarm\",\"alarm\":\"held\",\"text\":\"C5 still has 41 V\",\"on\":true");
	event("\"event\":\"held\",\"position\":\"R3\",\"looks\":\"R13\",\"meter\":\"bench\","
	      "\"shown\":\"131.2 kohm\"");
	event("\"event\":\"moving\",\"position\":\"R3\",\"meter\":\"bench\"");
	event("\"event\":\"refused\",\"position\":\"R3\",\"meter\":\"red\",\"why\":\"hold is on\"");
	for (int i = 0; i < 4; i++)
		assert_true(scene_note(scene, i)->at == now);
	record(23, "entry", ENTRY("R13", "131.20 kohm", "131200", "within", "high", "0.009", ""));
	for (int i = 0; i < 3; i++)
		assert_true(now - scene_note(scene, i)->at > 1000000);
	assert_true(scene_note(scene, 3)->at == now);
	scene_stop();
}

/* What is finished, by condition; `lacks` of the daemon decides, whichever answer comes first. */
static void test_by_condition(void **state)
{
	(void)state;
	ready(); /* R1 and R13 as found */
	struct scene_position *r1 = &scene->sheet[scene_place(scene, "R1")];
	assert_string_equal(scene_last(scene, r1, QUANTITY_VALUE)->shown, "1.062 Mohm");
	snprintf(scene->condition, sizeof scene->condition, "new");
	assert_string_equal(scene_last(scene, r1, QUANTITY_VALUE)->shown, "");
	record(23, "entry", ENTRY("R1", "1.001 Mohm", "1001000", "within", "high", "0.001",
	                          ",\"condition\":\"new\""));
	assert_string_equal(scene_last(scene, r1, QUANTITY_VALUE)->shown, "1.001 Mohm");
	/* What was found is judged anew: its own, and not what is up. */
	record(24, "rejudge", ",\"of\":21,\"position\":\"R1\",\"verdict\":\"outside\",\"side\":\"high\"");
	assert_string_equal(scene_last(scene, r1, QUANTITY_VALUE)->verdict, "within");
	snprintf(scene->condition, sizeof scene->condition, "found");
	assert_string_equal(scene_last(scene, r1, QUANTITY_VALUE)->shown, "1.062 Mohm");
	assert_string_equal(scene_last(scene, r1, QUANTITY_VALUE)->verdict, "outside");
	record(25, "strike", ",\"of\":21,\"position\":\"R1\"");
	assert_string_equal(scene_last(scene, r1, QUANTITY_VALUE)->shown, "");
	assert_false(scene->lacks_known);
	scene_status(scene, now, text_slice("{\"condition\":\"found\",\"lacks\":[\"R3\",\"X9\",\"R1\"],"
	                                    "\"done\":8,\"positions\":10}"));
	assert_true(scene->lacks_known);
	assert_true(scene->sheet[scene_place(scene, "R3")].lacks && r1->lacks);
	assert_false(scene->sheet[scene_place(scene, "R13")].lacks);
	sheet_there(); /* the sheet again, after it */
	assert_true(scene->sheet[scene_place(scene, "R3")].lacks && r1->lacks);
	assert_false(scene->sheet[scene_place(scene, "R13")].lacks);
	scene_status(scene, now, text_slice("{\"condition\":\"found\",\"lacks\":[]}"));
	assert_false(r1->lacks);
	scene_stop();
}

static void test_rejudged(void **state)
{
	(void)state;
	ready();
	record(23, "rejudge", ",\"of\":22,\"position\":\"R13\",\"verdict\":\"within\",\"side\":\"high\"");
	assert_string_equal(scene_entry(scene, 0)->verdict, "within");
	assert_string_equal(scene->sheet[scene_place(scene, "R13")].verdict, "within");
	scene_stop();
}

/* ---- meters ---- */

static void test_meters(void **state)
{
	(void)state;
	ready();
	assert_int_equal(scene->meters, 3);
	assert_string_equal(scene_front(scene)->name, "bench");
	event("\"event\":\"gone\",\"meter\":\"bench\",\"why\":\"unplugged\"");
	const struct happening_told *told = next(HAPPENED_GONE);
	assert_string_equal(told->meter, "bench");
	assert_string_equal(scene->meter[0].shown, "");
	event("\"event\":\"back\",\"meter\":\"bench\"");
	next(HAPPENED_BACK);
	/* Silent with open leads: no news. */
	live(NULL, "ohm", 0, false);
	nothing_more();
	/* Silent on a part: that is one. */
	live("131.05 kohm", "ohm", 0.1, true);
	live(NULL, "ohm", 0.1, true);
	told = next(HAPPENED_STALE);
	assert_string_equal(told->meter, "bench");
	assert_int_equal(scene_state(scene, now), SCENE_STALE);
	live(NULL, "ohm", 0.1, true);
	nothing_more();
	scene_stop();
}

static void test_moves(void **state)
{
	(void)state;
	static const struct { const char *shown; int after, moves; } rows[] = {
		{"131.00 kohm", 0, -1}, {"131.02 kohm", 200, 2}, {"131.01 kohm", 400, 2},
		{"131.01 kohm", 1100, 1}, {"0.1310 Mohm", 1300, 0},
	};
	ready();
	int64_t start = now;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		now = start + rows[i].after;
		live(rows[i].shown, "ohm", 0.1, true);
		note_row("%s at %d ms", rows[i].shown, rows[i].after);
		assert_int_equal(scene_moves(scene_front(scene), now), rows[i].moves);
	}
	scene_stop();
}

/* ---- a daemon that goes and comes back ---- */

static void test_away_and_back(void **state)
{
	(void)state;
	const char *function;
	ready();
	live("131.05 kohm", "ohm", 0.1, true);
	assert_non_null(scene_large(scene, now, &function));
	scene_away(scene, now, "the daemon went away");
	next(HAPPENED_GONE);
	assert_int_equal(scene_state(scene, now), SCENE_NO_DAEMON);
	assert_null(scene_large(scene, now, &function));
	scene_away(scene, now, "no daemon at ...");
	nothing_more(); /* said once */
	assert_int_equal(scene_note(scene, 0)->weight, SCENE_BAD);
	hello(23);
	next(HAPPENED_BACK);
	/* A bad note would stand for a minute over what is said since. */
	assert_string_equal(scene_note(scene, 1)->text, "the daemon went away");
	assert_int_equal(scene_note(scene, 1)->weight, SCENE_SAID);
	assert_int_equal(scene->last, 22); /* the cursor goes on where it was */
	/* What was logged meanwhile is shown, and not told as if it were now. */
	record(23, "entry", ENTRY("R3", "131.20 kohm", "131200", "outside", "high", "0.312", ""));
	nothing_more();
	assert_string_equal(scene_entry(scene, 0)->position, "R3");
	record(24, "entry", ENTRY("R3", "131.21 kohm", "131210", "outside", "high", "0.312", ""));
	next(HAPPENED_OUTSIDE);
	record(24, "entry", ENTRY("R3", "131.21 kohm", "131210", "outside", "high", "0.312", ""));
	nothing_more(); /* not twice */
	/* Another log: nothing of this one is left. */
	scene_away(scene, now, "gone");
	next(HAPPENED_GONE);
	scene_connected(scene, now, text_slice("{\"identity\":\"cd\",\"last\":3,\"bench\":\"south\"}"));
	assert_int_equal(scene->entry_count, 0);
	assert_int_equal(scene->last, 3);
	scene_stop();
}

/* A daemon that comes back takes the walk up again, or says that it did not. */
static void test_walk_after(void **state)
{
	(void)state;
	static const struct {
		const char *walk, *said;
	} rows[] = {{"on", "goes on where it was"}, {"lift", "goes on where it was"},
	            {"off", "the walk is off"}};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char json[200];
		note_row("%s", rows[i].walk);
		ready();
		scene_copy(scene->walk, sizeof scene->walk, "on");
		scene_away(scene, now, "the daemon went away");
		hello(23);
		snprintf(json, sizeof json, "{\"walk\":\"%s\",\"job\":\"x\",\"chosen\":null}",
		         rows[i].walk);
		scene_status(scene, now, text_slice(json));
		assert_non_null(strstr(scene_note(scene, 0)->text, rows[i].said));
		scene_stop();
	}
}

static void test_silent_daemon(void **state)
{
	(void)state;
	const char *function;
	ready();
	live("131.05 kohm", "ohm", 0.1, true);
	assert_non_null(scene_large(scene, now + SCENE_LIVE_MS, &function));
	assert_null(scene_large(scene, now + SCENE_LIVE_MS + 1, &function));
	assert_int_equal(scene_state(scene, now + SCENE_LIVE_MS + 1), SCENE_STALE);
	scene_stop();
}

/* ---- the sheet ---- */

static void test_next_and_before(void **state)
{
	(void)state;
	ready(); /* R1 and R13 have entries, R3 is up */
	assert_string_equal(scene->sheet[scene_next(scene)].name, "C7");
	assert_string_equal(scene->sheet[scene_before(scene)].name, "R1");
	snprintf(scene->position, sizeof scene->position, "X1");
	assert_string_equal(scene->sheet[scene_next(scene)].name, "R3"); /* from the top again */
	snprintf(scene->position, sizeof scene->position, "R1");
	assert_string_equal(scene->sheet[scene_before(scene)].name, "X1");
	scene->position[0] = '\0';
	assert_string_equal(scene->sheet[scene_next(scene)].name, "R3");
	for (int i = 0; i < scene->sheet_count; i++)
		scene->sheet[i].entries = 1;
	assert_string_equal(scene->sheet[scene_next(scene)].name, "R1");
	scene_sheet_begin(scene);
	assert_int_equal(scene_next(scene), -1);
	assert_int_equal(scene_before(scene), -1);
	scene_stop();
}

/* ---- bounds, and nonsense ---- */

static void test_bounds(void **state)
{
	(void)state;
	ready();
	for (int i = 0; i < 500; i++) {
		record(100 + i, "entry", ENTRY("R3", "131.20 kohm", "131200", "outside", "high", "0.3", ""));
		event("\"event\":\"refused\",\"why\":\"no\"");
		live("131.05 kohm", "ohm", 0.1, true);
		now += 50;
	}
	assert_int_equal(scene->entry_count, SCENE_ENTRIES_MAX);
	assert_int_equal(scene_entry(scene, 0)->seq, 599);
	assert_null(scene_entry(scene, SCENE_ENTRIES_MAX));
	int told = 0;
	while (scene_happening(scene))
		told++;
	assert_int_equal(told, SCENE_TOLD_MAX);
	assert_true(scene->told_lost > 0);
	scene_stop();
}

static const char *const nonsense[] = {
	"{}", "[]", "null", "17", "\"text\"", "{\"record\":null}", "{\"record\":{\"seq\":\"x\"}}",
	"{\"record\":{\"seq\":9999,\"kind\":\"entry\"}}", "{\"event\":17}", "{\"event\":\"up\"}",
	"{\"event\":\"up\",\"position\":{}}", "{\"event\":\"unheard-of\",\"text\":\"a new one\"}",
	"{\"meters\":[null,{},{\"name\":\"\\u001b[2J\"},[]]}", "{\"meters\":{}}",
	"{\"meters\":[{\"name\":\"red\",\"shown\":\"1e99 kohm\",\"touching\":true,\"progress\":-7}]}",
	"{\"rows\":[null,{},{\"position\":\"R1\",\"limits\":[1e300,null]}]}",
	"{\"entries\":[{},null,{\"record\":{}}],\"more\":true}", "{\"chosen\":[]}",
	"{\"chosen\":{\"position\":\"\\u0000\"},\"done\":-5,\"positions\":1e30}",
};

/* The unit was here before: its value of then stands beside what is up, in that quantity. */
static void test_last_time(void **state)
{
	(void)state;
	ready();
	scene_status(scene, now, text_slice("{\"job\":\"second\",\"chosen\":{\"position\":\"R12\",\"quantity\":"
	                                    "\"value\",\"kind\":\"resistor\",\"again\":\"first\"}}"));
	assert_string_equal(scene->again, "first");
	scene_last_time(scene, text_slice(
	    "{\"positions\":[{\"position\":\"R12\",\"quantity\":\"volts\",\"then\":{\"shown\":\"1 V\"}},"
	    "{\"position\":\"R12\",\"quantity\":\"value\",\"then\":{\"shown\":\"470 kohm\",\"condition\":\"done\","
	    "\"reach\":\"lifted\"},\"now\":{\"shown\":\"480 kohm\"},\"change\":0.0213,\"U\":0.004,\"en\":4,"
	    "\"why\":null,\"replaced\":null}]}"));
	assert_string_equal(scene->before, "last time 470 k\xce\xa9 (done, lifted); now +2.1 % +-0.4 %");
	/* Another position: nothing is known of it yet. */
	scene_event(scene, now, text_slice("{\"event\":\"up\",\"position\":\"R1\",\"quantity\":\"value\"}"));
	assert_string_equal(scene->before, "");
	scene_stop();
}

/* Other meters, perhaps: they are asked for. */
static void test_reloaded(void **state)
{
	(void)state;
	ready();
	unsigned asks = scene_event(scene, now, text_slice("{\"event\":\"reloaded\"}"));
	assert_true(asks & SCENE_ASK_METERS);
	assert_true(asks & SCENE_ASK_STATUS);
	scene_stop();
}

/* How the log stands is said when it changes, and what was set aside once. */
static void test_log_stands(void **state)
{
	(void)state;
	static const struct {
		const char *status, *says; /* NULL: nothing is said */
		enum scene_weight weight;
	} rows[] = {
		{ "{\"health\":\"good\"}", NULL, SCENE_SAID },
		{ "{\"health\":\"full\"}", "the log is full: `tally status` says why", SCENE_BAD },
		{ "{\"health\":\"full\"}", NULL, SCENE_SAID },
		{ "{\"health\":\"good\"}", "the log is good again", SCENE_GOOD },
		{ "{\"health\":\"suspect\"}", "the log is suspect", SCENE_BAD },
		{ "{\"health\":\"good\"}", "the log is good again", SCENE_GOOD },
		{ "{\"health\":\"good\",\"log-aside\":\"THE LOG WAS DAMAGED: it is there\"}",
		  "THE LOG WAS DAMAGED: it is there", SCENE_BAD },
		{ "{\"health\":\"good\",\"log-aside\":\"THE LOG WAS DAMAGED: it is there\"}", NULL, SCENE_SAID },
	};
	ready();
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		int before = scene->note_next;
		scene_status(scene, now, text_slice(rows[i].status));
		const struct scene_note *n = scene_note(scene, 0);
		note_row("%s", rows[i].status);
		if (!rows[i].says) {
			assert_int_equal(scene->note_next, before);
			continue;
		}
		assert_non_null(n);
		assert_non_null(strstr(n->text, rows[i].says));
		assert_int_equal(n->weight, rows[i].weight);
	}
	scene_stop();
}

static void test_nonsense(void **state)
{
	(void)state;
	const struct keys keys = {.mode = KEYS_ACT};
	for (size_t i = 0; i < sizeof nonsense / sizeof nonsense[0]; i++) {
		struct picture p;
		struct slice s;
		ready();
		s = text_slice(nonsense[i]);
		scene_record(scene, now, s);
		scene_event(scene, now, s);
		scene_live(scene, now, s);
		scene_status(scene, now, s);
		scene_meters(scene, now, s);
		scene_sheet(scene, s);
		scene_entries(scene, s);
		scene_connected(scene, now, s);
		struct bench_view view = {scene, &keys, &scene->style, now};
		assert_true(picture_begin(&p, 132, 43));
		view_bench_screen(&view, &p);
		picture_end(&p);
		scene_stop();
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_ear),
		cmocka_unit_test(test_touch),         cmocka_unit_test(test_order),
		cmocka_unit_test(test_not_armed),     cmocka_unit_test(test_happenings),
		cmocka_unit_test(test_refused_passes), cmocka_unit_test(test_live_and_cold),
		cmocka_unit_test(test_strike),        cmocka_unit_test(test_rejudged),
	    cmocka_unit_test(test_by_condition),
	    cmocka_unit_test(test_notes_end),
	    cmocka_unit_test(test_slip),
	    cmocka_unit_test(test_bound_elsewhere),
	    cmocka_unit_test(test_disagree),
	    cmocka_unit_test(test_not_logged_once),
	    cmocka_unit_test(test_notes_of_the_part_before),
		cmocka_unit_test(test_meters),        cmocka_unit_test(test_moves),
		cmocka_unit_test(test_away_and_back), cmocka_unit_test(test_silent_daemon),
		cmocka_unit_test(test_walk_after),
		cmocka_unit_test(test_next_and_before), cmocka_unit_test(test_bounds),
		cmocka_unit_test(test_reloaded), cmocka_unit_test(test_log_stands), cmocka_unit_test(test_nonsense),      cmocka_unit_test(test_last_time),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/*
 * The unit on the bench: which legs are still up and which new parts wait, which unit it is,
 * and meters that are held to a position; each the same after a restart.
 */
#include "tests/fit_stand.h"

static const char sheet[] =
    "position,kind,nominal,role,part\n"
    "C7,paper,0.1 uF,coupling,\n"
    "C20,electrolytic,33 uF,reservoir,CAN1\n"
    "C21,electrolytic,33 uF,smoothing,CAN1\n"
    "R1,,100k,,\n"
    "R2,,100k,,\n"
    "REF1,reference,10 kohm,,\n";

/* Acts in a row, parted by "; ".  "= P V" types an entry, "> P" moves the newest one. */
static void tell_all(struct stand *s, const char *acts)
{
	char act[160];
	for (const char *p = acts; *p;) {
		const char *end = strstr(p, "; ");
		size_t n = end ? (size_t)(end - p) : strlen(p);
		snprintf(act, sizeof act, "%.*s", (int)n, p);
		p += end ? n + 2 : n;
		s->t += 1000000;
		if (act[0] == '=') {
			char position[40], value[40];
			assert_int_equal(sscanf(act, "= %39s %39[^;]", position, value), 2);
			fit_enter(s, position, value);
		} else if (act[0] == '>') { /* the newest entry belongs to that position */
			int64_t seq;
			char which[24];
			const char *entry = fit_record(s, "entry", 0);
			assert_true(json_int(json_member(entry, strlen(entry), "seq"), &seq));
			snprintf(which, sizeof which, "%lld", (long long)seq);
			if (!bench_move(s->bench, s->t, which, act + 2, NULL, (struct bench_wait){0}, &s->why))
				fail_msg("%s: %s", act, s->why.text);
			bench_collect(s->bench);
		} else {
			fit_tell(s, act);
		}
	}
}

/* "C7 lifted entry; R1 loose reach | C7 fit" of an answer of job.ready. */
static void ready_text(const char *answer, char *out, size_t size)
{
	static const char *const list[] = {"lifted", "new"};
	size_t len = strlen(answer);
	out[0] = '\0';
	for (int i = 0; i < 2; i++) {
		struct slice all = json_member(answer, len, list[i]), one;
		if (i)
			stand_append(out, size, "|");
		for (size_t cursor = 0; json_next(all, &cursor, &one);) {
			char text[3][40] = {"", "", ""}, line[140];
			json_text(json_member(one.at, one.len, "position"), text[0], 40);
			json_text(json_member(one.at, one.len, "reach"), text[1], 40);
			json_text(json_member(one.at, one.len, "by"), text[2], 40);
			snprintf(line, sizeof line, "%s%s%s %s%s", text[0], text[1][0] ? " " : "", text[1], text[2],
			         json_bool(json_member(one.at, one.len, "struck"), false) ? " struck" : "");
			stand_append(out, size, line);
		}
	}
}

static void legs_and_new_parts(void **state)
{
	(void)state;
	static const struct {
		const char *acts, *ready; /* lifted | new */
	} rows[] = {
	    {"at C7", "|"},
	    /* The last entry counts. */
	    {"reach lifted; = C7 0.1uF", "C7 lifted entry; |"},
	    {"reach lifted; = C7 0.1uF; reach in-circuit", "C7 lifted entry; |"},
	    {"reach lifted; = C7 0.1uF; reach in-circuit; = C7 0.1uF", "|"},
	    {"reach loose; = C7 0.1uF", "C7 loose entry; |"},
	    /* The reach that was said there, an entry or none. */
	    {"at R1; reach lifted", "R1 lifted reach; |"},
	    {"at R1; reach lifted; at R2", "R1 lifted reach; |"},
	    {"at R1; reach lifted; at R2; reach lifted", "R1 lifted reach; R2 lifted reach; |"},
	    {"reach lifted; at R2", "|"},
	    {"at R1; reach lifted; reach in-circuit", "R1 lifted reach; |"},
	    {"at R1; reach lifted; fitted R1", "|"},
	    /* The walk's own reach says nothing of a part. */
	    {"at R1; walk lift", "|"},
	    /* Struck: the leg is up all the same, and is back by no entry that does not count. */
	    {"reach lifted; = C7 0.1uF; undo", "C7 lifted entry struck; |"},
	    {"reach lifted; = C7 0.1uF; reach in-circuit; = C7 0.1uF; undo", "C7 lifted entry; |"},
	    /* Moved, and renamed. */
	    {"reach lifted; = R1 100k; > R2", "R2 lifted entry; |"},
	    {"reach lifted; = C7 0.1uF; rename C7 C8", "C8 lifted entry; |"},
	    {"at C7; reach lifted; rename C7 C8", "C8 lifted reach; |"},
	    {"reach lifted; = C7 0.1uF; rename C7 C8; fitted C8", "|"},
	    /* New parts. */
	    {"fit C7 kind=film", "|; C7 fit"},
	    {"fit C7 kind=film; fit C7 none", "|"},
	    {"fit C7 kind=film; fitted C7", "|"},
	    {"fit C7 kind=film; fitted C7; fit C7 kind=ceramic", "|; C7 fit"},
	    {"condition new; reach loose; = C7 0.1uF", "|; C7 entry"},
	    {"condition new; reach loose; = C7 0.1uF; condition done; reach in-circuit; = C7 0.1uF", "|"},
	    {"condition new; reach loose; = C7 0.1uF; condition done; reach lifted; = C7 0.1uF",
	     "C7 lifted entry; |; C7 entry"},
	    {"condition new; reach loose; = C7 0.1uF; condition found; reach in-circuit; = C7 0.1uF",
	     "|; C7 entry"},
	    {"fit C7 kind=film; rename C7 C8", "|; C8 fit"},
	    /* Said of ranges, and of a part with its sections. */
	    {"reach lifted; = R1 100k; = R2 100k; = C7 0.1uF; fitted R1-R9,C7", "|"},
	    {"reach lifted; = C20 33uF; = C21 33uF; fitted CAN1", "|"},
	    {"reach lifted; = C20 33uF; = C21 33uF; fitted C20", "C21 lifted entry; |"},
	    {"fit C20 kind=electrolytic; fitted C20; reach lifted; = C20 33uF", "C20 lifted entry; |"},
	    /* A reference part is in no unit. */
	    {"reach loose; = REF1 10k", "|"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char got[400];
		struct stand *s = fit_begin(sheet);
		tell_all(s, rows[i].acts);
		char *before = fit_ask(s, "job.ready", "{}");
		ready_text(before, got, sizeof got);
		if (strcmp(got, rows[i].ready) != 0)
			fail_msg("%s: got \"%s\", want \"%s\"", rows[i].acts, got, rows[i].ready);
		assert_int_equal(strstr(before, "\"ready\":true") != NULL, strcmp(rows[i].ready, "|") == 0);
		/* Cautions stand before every list. */
		assert_true(strstr(before, "\"cautions\":[\"valve equipment kills") <
		            strstr(before, "\"lifted\""));
		fit_restart(s);
		char *after = fit_ask(s, "job.ready", "{}");
		assert_string_equal(before, after);
		free(before);
		free(after);
		fit_end(s);
	}
}

static void status(struct stand *s, char *out, size_t size)
{
	struct text t;
	text_begin(&t, out, size);
	bench_status(s->bench, &t);
	assert_false(t.failed);
}

/* What another job left lifted is that job's. */
static void ready_by_job(void **state)
{
	(void)state;
	struct stand *s = fit_begin(sheet);
	tell_all(s, "reach lifted; = C7 0.1uF; job second; at C7");
	char *first = fit_ask(s, "job.ready", "{\"job\":\"job\"}"), *second = fit_ask(s, "job.ready", "{}");
	fit_has(first, "\"position\":\"C7\"");
	fit_has(second, "\"lifted\":[],\"new\":[],\"ready\":true");
	free(first);
	free(second);
	fit_end(s);
}

static void refused(void **state)
{
	(void)state;
	static const struct {
		const char *act, *says;
	} rows[] = {
	    {"fitted", "expected positions"},
	    {"fitted C99", "nothing of C99 is in the sheet"},
	    {"fitted C7,R5-R9", "nothing of R5-R9 is in the sheet"},
	    {"fitted C7,-", "-"},
	    {"fitted CAN9", "nothing of CAN9"},
	    {"identity", "expected key=value"},
	    {"identity colour=grey", "\"colour\" is nothing that a job has: maker"},
	    {"identity received=yesterday", "received=yesterday is no day"},
	    {"identity received=2026-02-30", "received=2026-02-30 is no day"},
	    {"identity maker=\xff", "maker, byte 1: no printable UTF-8"},
	    {"identity serial=12\x07" "3", "serial, byte 3: no printable UTF-8"},
	    {"meter red free", "red is not bound"},
	    {"at C7 value green", "the name of a meter"},
	};
	struct stand *s = fit_begin(sheet);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		fit_refused(s, rows[i].act, rows[i].says);
	/* A cell is a paragraph: 511 bytes are taken, 512 are not. */
	char value[600];
	const char *key = "complaint", *cell = value;
	memset(value, 'x', sizeof value);
	value[512] = '\0';
	assert_false(bench_identity(s->bench, s->t, &key, &cell, 1, (struct bench_wait){0}, &s->why));
	assert_non_null(strstr(s->why.text, "complaint: 512 bytes, at most 511"));
	value[511] = '\0';
	assert_true(bench_identity(s->bench, s->t, &key, &cell, 1, (struct bench_wait){0}, &s->why));
	fit_end(s);
	/* No job is open: nothing is begun by itself. */
	s = fit_begin(NULL);
	bench_collect(s->bench);
	fit_refused(s, "identity maker=x", "no job is open");
	fit_refused(s, "fitted C7", "no job is open");
	fit_end(s);
}

static void which_unit_it_is(void **state)
{
	(void)state;
	struct stand *s = fit_begin(sheet);
	tell_all(s, "identity type=\"monitor amplifier\" serial=1204 mains=\"240 V\" received=2026-11-25; "
	            "identity serial=1205 complaint=\"hum, both channels: \xc3\xa4lter als gedacht\"; "
	            "identity mains=");
	fit_has(fit_record(s, "identity", 0), "\"identity\":{\"mains\":null}");
	char *show = fit_ask(s, "job.show", "{}");
	fit_has(show, "\"identity\":{\"type\":\"monitor amplifier\",\"serial\":\"1205\",\"complaint\":\"hum, both "
	              "channels: \xc3\xa4lter als gedacht\",\"received\":\"2026-11-25\"}");
	fit_restart(s);
	char *again = fit_ask(s, "job.show", "{}"), *list = fit_ask(s, "job.list", "{}");
	assert_string_equal(show, again);
	fit_has(list, "\"serial\":\"1205\"");
	free(show);
	free(again);
	free(list);
	/* Another job is another unit. */
	tell_all(s, "job second");
	show = fit_ask(s, "job.show", "{}");
	fit_has(show, "\"again\":null,\"identity\":null");
	free(show);
	fit_end(s);
}

/* Held by a record: after a restart, and by the name that its position has now. */
static void held_meters(void **state)
{
	(void)state;
	char text[16384];
	struct stand *s = fit_begin(sheet);
	tell_all(s, "at C7 leakage red; at R1 volts blue; rename R1 R11");
	fit_has(fit_record(s, "bind", 1), "\"meter\":\"red\",\"position\":\"C7\",\"quantity\":\"leakage\"");
	status(s, text, sizeof text);
	fit_has(text, "\"bound\":[{\"meter\":\"red\",\"position\":\"C7\",\"quantity\":\"leakage\"},"
	              "{\"meter\":\"blue\",\"position\":\"R11\",\"quantity\":\"volts\"}]");
	fit_restart(s);
	status(s, text, sizeof text);
	fit_has(text, "\"bound\":[{\"meter\":\"red\",\"position\":\"C7\",\"quantity\":\"leakage\"},"
	              "{\"meter\":\"blue\",\"position\":\"R11\",\"quantity\":\"volts\"}]");
	tell_all(s, "meter red free");
	fit_has(fit_record(s, "bind", 0), "\"meter\":\"red\",\"position\":null");
	fit_restart(s);
	status(s, text, sizeof text);
	fit_has(text, "\"bound\":[{\"meter\":\"blue\",");
	/* Another job holds nothing. */
	tell_all(s, "job second");
	fit_restart(s);
	status(s, text, sizeof text);
	fit_has(text, "\"bound\":[]");
	fit_end(s);
}

/* Readings of a held meter stand in the trail at its position, and make nothing. */
static void held_readings_stand_in_the_trail(void **state)
{
	(void)state;
	struct stand *s = fit_begin(sheet);
	stand_play(s, "@0 at C20 volts red\n@0.1 at R1\nred ~285.4 V DC *40\n@9 take red\n@9.5 meter red free\n");
	assert_string_equal(s->made, "C20 red 285.4 V volts");
	fit_has(fit_record(s, "trail", 0), "\"position\":\"C20\"");
	fit_refused(s, "take", "nothing to take");
	fit_end(s);
}

/* ---- valves ---- */

static const char valves[] =
    "position,kind,nominal,part\n"
    "V3,,,\n"
    "V4,,,\n"
    "V1a,valve,,V1\n"
    "V1b,valve,,V1\n"
    "V1k,rail,2 V,V1\n"
    "R1,,100k,\n";

/* Positions of the entries of a valve, oldest first, with their jobs. */
static void history(struct stand *s, const char *valve, char *out, size_t size)
{
	char params[80];
	snprintf(params, sizeof params, "{\"valve\":\"%s\"}", valve);
	char *answer = fit_ask(s, "entries", params);
	struct slice list = json_member(answer, strlen(answer), "entries"), one;
	out[0] = '\0';
	for (size_t cursor = 0; json_next(list, &cursor, &one);) {
		char job[JOB_SIZE], position[NAME_SIZE], line[120];
		json_text(json_member(one.at, one.len, "record.job"), job, sizeof job);
		json_text(json_member(one.at, one.len, "position"), position, sizeof position);
		snprintf(line, sizeof line, "%s %s", job, position);
		stand_append(out, size, line);
	}
	free(answer);
}

static void valves_move_between_sockets(void **state)
{
	(void)state;
	char text[400];
	struct stand *s = fit_begin(valves);
	tell_all(s, "sheet set V3 valve=A17; sheet set V4 valve=B2; = V3 41V; = V4 38V");
	fit_has(fit_record(s, "entry", 1), "\"position\":\"V3\",\"valve\":\"A17\"");
	/* To the other socket: V3 is empty, B2 is in none. */
	tell_all(s, "sheet set V4 valve=A17");
	fit_has(fit_record(s, "position", 0), "\"position\":\"V3\"");
	fit_has(fit_record(s, "position", 0), "\"valve\":\"\"");
	tell_all(s, "= V4 40V; = V3 1V");
	assert_null(strstr(fit_record(s, "entry", 0), "\"valve\""));
	history(s, "A17", text, sizeof text);
	assert_string_equal(text, "job V3; job V4");
	history(s, "B2", text, sizeof text);
	assert_string_equal(text, "job V4");
	/* A slip of the hand, put right: the entry belongs to the valve of that socket then. */
	tell_all(s, "sheet set V3 valve=B2; = V3 39V; > V4");
	history(s, "A17", text, sizeof text);
	assert_string_equal(text, "job V3; job V4; job V4");
	history(s, "B2", text, sizeof text);
	assert_string_equal(text, "job V4");
	/* Another name, another job, and a restart. */
	tell_all(s, "rename V4 V9");
	fit_restart(s);
	tell_all(s, "= V9 42V; job second; sheet set V5 valve=A17; = V5 43V");
	fit_restart(s);
	tell_all(s, "= V5 44V");
	history(s, "A17", text, sizeof text);
	assert_string_equal(text, "job V3; job V9; job V9; job V9; second V5; second V5");
	history(s, "A99", text, sizeof text);
	assert_string_equal(text, "");
	fit_end(s);
}

static bool typed(struct stand *s, const char *line)
{
	s->why = (struct fault){.text = ""};
	bool good = bench_sheet_add(s->bench, s->t, line, strlen(line), (struct bench_wait){0}, &s->why);
	bench_collect(s->bench);
	return good;
}

/* The number may be typed with the line; the rules are those of sheet set. */
static void valves_in_typed_lines(void **state)
{
	(void)state;
	struct stand *s = fit_begin(valves);
	tell_all(s, "sheet set V3 valve=A17; = V3 41V");
	/* From V3, which is empty then, in the same transaction. */
	assert_true(typed(s, "V7 output valve=A17"));
	fit_has(fit_record(s, "position", 1), "\"position\":\"V7\"");
	fit_has(fit_record(s, "position", 1), "\"valve\":\"A17\"");
	fit_has(fit_record(s, "position", 0), "\"position\":\"V3\"");
	fit_has(fit_record(s, "position", 0), "\"valve\":\"\"");
	tell_all(s, "= V7 40V; = V3 1V");
	fit_has(fit_record(s, "entry", 1), "\"valve\":\"A17\"");
	assert_null(strstr(fit_record(s, "entry", 0), "\"valve\""));
	/* Both halves of a double valve, joined by that. */
	assert_true(typed(s, "V8A,V8B valve=D4"));
	fit_has(fit_record(s, "position", 0), "\"part\":\"V8\"");
	tell_all(s, "= V8B 2V");
	fit_has(fit_record(s, "entry", 0), "\"valve\":\"D4\"");
	/* Two sockets at once: refused, and nothing of it is done. */
	assert_false(typed(s, "V10 valve=E5\nV11 valve=E5"));
	assert_non_null(strstr(s->why.text, "one socket at a time"));
	fit_refused(s, "fit V10 kind=valve", "V10 is not in the sheet");
	fit_refused(s, "fit V3 valve=A17", "goes with the socket");
	fit_end(s);
}

static void a_double_valve_is_one(void **state)
{
	(void)state;
	struct stand *s = fit_begin(valves);
	tell_all(s, "sheet set V1a valve=D4; = V1b 1mA; = V1k 2V");
	fit_has(fit_record(s, "entry", 1), "\"position\":\"V1b\",\"valve\":\"D4\"");
	fit_has(fit_record(s, "entry", 0), "\"position\":\"V1k\",\"valve\":\"D4\"");
	tell_all(s, "sheet set V3 valve=D4; = V1a 1mA; = V1k 2V");
	assert_null(strstr(fit_record(s, "entry", 1), "\"valve\""));
	assert_null(strstr(fit_record(s, "entry", 0), "\"valve\""));
	/* The other channel has other valves. */
	assert_true(bench_sheet_mirror(s->bench, s->t, "V3", 100, (struct bench_wait){0}, &s->why));
	bench_collect(s->bench);
	tell_all(s, "= V103 40mA");
	assert_null(strstr(fit_record(s, "entry", 0), "\"valve\":\"D4\""));
	fit_refused(s, "sheet set R1 valve=A17", "R1 is a resistor: a valve's number goes to a socket");
	fit_refused(s, "sheet set V3 valve=\"A 17\"", "valve=A 17 is no number of a valve");
	fit_end(s);
}

/* ---- the same unit again ---- */

/* With a standard uncertainty of its own. */
static void enter_u(struct stand *s, const char *position, const char *value, const char *u)
{
	struct bench_typed typed = {.position = position, .value = value, .from = "bridge",
	                            .quantity = -1, .u = u};
	s->t += 1000000;
	if (!bench_enter(s->bench, s->t, &typed, (struct bench_wait){0}, &s->why))
		fail_msg("%s %s: %s", position, value, s->why.text);
	bench_collect(s->bench);
}

static void again(struct stand *s)
{
	if (!bench_job_again(s->bench, s->t, "second", "job", (struct bench_wait){0}, &s->why))
		fail_msg("%s", s->why.text);
	stand_load(s, sheet);
	tell_all(s, "reach lifted");
}

static void beside_the_earlier_job(void **state)
{
	(void)state;
	/* The change and its U = 2 u by hand: u = |now/then| hypot(u/now, u/then). */
	static const struct {
		const char *then, *now; /* condition value u */
		const char *says[4];
	} rows[] = {
	    /* 110/100 - 1; u = 1.1 hypot(1/110, 1/100) = 0.0148661 */
	    {"done 100k 1k", "found 110k 1k",
	     {"\"change\":0.1,\"U\":0.0297321,", "\"why\":null", "\"replaced\":null", "\"condition\":\"done\""}},
	    {"found 100k 0", "found 100k 0", {"\"change\":0,\"U\":0,\"en\":0", "\"condition\":\"found\""}},
	    {"done 100k 0", NULL, {"\"now\":null,\"change\":null"}},
	    {"done 100k 0", "found overload 0", {"\"change\":null", "\"why\":\"bridge on R1 read overload"}},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct stand *s = fit_begin(sheet);
		char condition[16], value[24], u[16], act[40];
		tell_all(s, "reach lifted");
		for (int k = 0; k < 2; k++) {
			const char *what = k ? rows[i].now : rows[i].then;
			if (k)
				again(s);
			if (!what)
				continue;
			assert_int_equal(sscanf(what, "%15s %23s %15s", condition, value, u), 3);
			snprintf(act, sizeof act, "condition %s", condition);
			tell_all(s, act);
			enter_u(s, "R1", value, u);
		}
		char *answer = fit_ask(s, "beside", "{}");
		for (int k = 0; k < 4 && rows[i].says[k]; k++)
			fit_has(answer, rows[i].says[k]);
		fit_restart(s);
		char *after = fit_ask(s, "beside", "{\"position\":\"R1\"}");
		assert_string_equal(answer, after);
		free(answer);
		free(after);
		fit_end(s);
	}
}

static void done_before_found_and_what_was_replaced(void **state)
{
	(void)state;
	struct stand *s = fit_begin(sheet);
	char text[16384];
	tell_all(s, "reach lifted; = C7 0.12uF; = R1 99k; = R2 101k; fit R2 nominal=120k; condition new; "
	            "= C7 0.101uF; condition done; = C7 0.102uF; reach in-circuit; = R1 98k");
	again(s);
	tell_all(s, "condition found; = C7 0.103uF; = R1 100k; rename R2 R22; = R22 121k");
	status(s, text, sizeof text);
	tell_all(s, "at C7");
	status(s, text, sizeof text);
	fit_has(text, "\"again\":\"job\"");
	char *c7 = fit_ask(s, "beside", "{\"position\":\"C7\"}");
	/* The done one, not the found one; it came after the new part. */
	fit_has(c7, "\"shown\":\"102 nF\"");
	fit_has(c7, "\"replaced\":null");
	/* R1's done was in circuit: no change is made of the two. */
	char *r1 = fit_ask(s, "beside", "{\"position\":\"R1\"}");
	fit_has(r1, "\"change\":null");
	fit_has(r1, "\"why\":\"different reach: lifted and in-circuit");
	/* R2 had a fit after what was measured of it; it has another name today. */
	char *r2 = fit_ask(s, "beside", "{\"position\":\"R22\"}");
	fit_has(r2, "\"position\":\"R22\"");
	fit_has(r2, "\"replaced\":{\"seq\":");
	fit_has(r2, "\"by\":\"fit\",\"job\":\"job\",\"written\":{\"nominal\":\"120k\"}");
	/* Replaced today: the found one of today is still the old part, the done one is not. */
	tell_all(s, "fit C7 kind=film");
	char *found = fit_ask(s, "beside", "{\"position\":\"C7\"}");
	fit_has(found, "\"replaced\":null");
	tell_all(s, "condition done; = C7 0.1uF");
	char *done = fit_ask(s, "beside", "{\"position\":\"C7\"}");
	fit_has(done, "\"by\":\"fit\",\"job\":\"second\"");
	fit_restart(s);
	tell_all(s, "at C7");
	status(s, text, sizeof text);
	fit_has(text, "\"again\":\"job\"");
	char *show = fit_ask(s, "job.show", "{}");
	fit_has(show, "\"again\":\"job\"");
	free(c7), free(r1), free(r2), free(found), free(done), free(show);
	fit_end(s);
}

/* Refused: the question, and the beginning. */
static void beside_refused(void **state)
{
	(void)state;
	static const struct {
		const char *params, *says;
	} rows[] = {
	    {"{}", "was not begun with --again"},
	    {"{\"beside\":\"nowhere\"}", "there is no job \"nowhere\""},
	    {"{\"beside\":\"job\"}", "beside itself"},
	    {"{\"besides\":\"job\"}", "besides"},
	    {"{\"limit\":0}", "limit"},
	};
	struct stand *s = fit_begin(sheet);
	struct log_reader *reader = log_reader_open(log_path(s->log), &s->why);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		json_t *p = json_loads(rows[i].params, 0, NULL);
		int code = 0;
		s->why = (struct fault){.text = ""};
		char *answer = query_run(reader, "beside", p, &code, &s->why);
		if (answer || !code || !strstr(s->why.text, rows[i].says))
			fail_msg("%s: %s", rows[i].params, answer ? answer : s->why.text);
		json_decref(p);
	}
	log_reader_close(reader);
	assert_false(bench_job_again(s->bench, s->t, "x", "x", (struct bench_wait){0}, &s->why));
	assert_non_null(strstr(s->why.text, "no earlier job"));
	fit_end(s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(legs_and_new_parts),
	    cmocka_unit_test(ready_by_job),
	    cmocka_unit_test(refused),
	    cmocka_unit_test(which_unit_it_is),
	    cmocka_unit_test(beside_the_earlier_job),
	    cmocka_unit_test(done_before_found_and_what_was_replaced),
	    cmocka_unit_test(beside_refused),
	    cmocka_unit_test(valves_move_between_sockets),
	    cmocka_unit_test(valves_in_typed_lines), cmocka_unit_test(a_double_valve_is_one),
	    cmocka_unit_test(held_meters),
	    cmocka_unit_test(held_readings_stand_in_the_trail),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/* The questions that a log answers, on records made by hand; compare: tests/test_query_compare.c. */
#include "tests/query_stand.h"

/* ---- records, hello ---- */

static void test_log(void **state)
{
	struct store *s = *state;
	struct query_log log;
	struct fault why;
	assert_true(query_log(s->reader, &log, &why));
	assert_string_equal(log.identity, "ab000000000000000000000000000000");
	assert_string_equal(log.bench, "north");
	assert_int_equal(log.last, 1);
	add(s, "note", ",\"text\":\"x\"");
	assert_true(query_log(s->reader, &log, &why));
	assert_int_equal(log.last, 2);
	assert_true(query_known("entries") && query_known("verify") && query_known("job.show"));
	assert_false(query_known("hello") || query_known("watch") || query_known("take"));
}

static void test_records(void **state)
{
	struct store *s = *state;
	/* Carried as sealed: digits, escapes and spelling that no printer would keep. */
	add(s, "note", ",\"position\":\"R1\",\"text\":\"\\u00b5 \\/\",\"x\":3.450e-07");
	add(s, "meter", ",\"meter\":\"red\",\"position\":null");
	add(s, "note", ",\"position\":\"R2\"");
	static const char two[] = "{\"seq\":2,\"t\":\"2026-11-25T10:00:00.000000Z\",\"kind\":\"note\","
	                          "\"position\":\"R1\",\"text\":\"\\u00b5 \\/\",\"x\":3.450e-07}";
	char expected[400];
	snprintf(expected, sizeof expected, "{\"records\":[%s],\"last\":2,\"more\":true,\"next\":2}", two);
	answer_is(s, "records", "{\"after\":1,\"limit\":1}", expected);
	snprintf(expected, sizeof expected, "{\"records\":[%s],\"last\":2,\"more\":false}", two);
	answer_is(s, "records", "{\"position\":\"R1\"}", expected);
	answer_is(s, "records", "{\"after\":4}", "{\"records\":[],\"last\":4,\"more\":false}");
	char *text = ask(s, "records", "{\"kind\":\"note,meter\"}");
	assert_int_equal(count(text, "records"), 3);
	free(text);
	text = ask(s, "records", "{\"meter\":\"red\"}");
	element_is(text, "records", 0, "seq", "3");
	assert_int_equal(count(text, "records"), 1);
	free(text);
	ask_refused(s, "records", "{\"limit\":0}", WIRE_BAD_PARAMS, "limit must be 1 to");
	ask_refused(s, "records", "{\"limit\":-1}", WIRE_BAD_PARAMS, "limit");
	ask_refused(s, "records", "{\"kinds\":\"x\"}", WIRE_BAD_PARAMS, "unknown parameter \"kinds\"");
}

/* A page is cut at the length of a line; going on from `next` gives each once. */
static void test_records_by_length(void **state)
{
	struct store *s = *state;
	enum { SIZE = 100 << 10 };
	char *body = malloc(SIZE + 64), params[64];
	sprintf(body, ",\"text\":\"%0*d\"", SIZE, 7);
	for (int i = 0; i < 25; i++)
		add(s, "note", body);
	free(body);
	int64_t after = 0, seen = 0;
	for (int pages = 0;; pages++) {
		assert_in_range(pages, 0, 4);
		snprintf(params, sizeof params, "{\"after\":%lld}", (long long)after);
		char *text = ask(s, "records", params);
		assert_true(strlen(text) < QUERY_ANSWER_MAX);
		for (size_t i = 0; i < count(text, "records"); i++) {
			int64_t seq = 0;
			struct slice e = element(text, "records", i);
			assert_true(json_int(json_member(e.at, e.len, "seq"), &seq));
			assert_int_equal(seq, ++seen);
		}
		bool more = json_bool(json_member(text, strlen(text), "more"), false);
		json_int(json_member(text, strlen(text), "next"), &after);
		free(text);
		if (!more)
			break;
	}
	assert_int_equal(seen, 26);
}

/* ---- the trail ---- */

#define TRAIL_A ",\"meter\":\"red\",\"function\":\"ohm\",\"position\":\"R1\",\"digit\":0.1," \
                "\"at\":[0,2500,5000],\"v\":[4811,null,4813],\"state\":[[1,\"overload\"]]," \
                "\"low\":4811,\"high\":4813,\"first\":4811,\"last\":4813,\"n\":3"
#define TRAIL_B ",\"meter\":\"red\",\"function\":\"farad\",\"position\":null,\"digit\":1e-10," \
                "\"at\":[0],\"v\":[null],\"state\":[[0,\"overload\"]],\"low\":null,\"high\":null," \
                "\"first\":null,\"last\":null,\"n\":1"

static void test_trail(void **state)
{
	struct store *s = *state;
	answer_is(s, "trail.lines", "{}", "{\"lines\":[]}");
	add(s, "trail", TRAIL_A);
	add(s, "note", ",\"text\":\"x\"");
	add(s, "trail", TRAIL_B);
	answer_is(s, "trail.lines", "{}",
	          "{\"lines\":[{\"meter\":\"red\",\"function\":\"ohm\",\"from\":"
	          "\"2026-11-25T10:00:00.000000Z\",\"to\":\"2026-11-25T10:00:00.500000Z\",\"readings\":3,"
	          "\"runs\":1,\"low\":481.1,\"high\":481.3},{\"meter\":\"red\",\"function\":\"farad\","
	          "\"from\":\"2026-11-25T10:00:00.000000Z\",\"to\":\"2026-11-25T10:00:00.000000Z\","
	          "\"readings\":1,\"runs\":1,\"low\":null,\"high\":null}]}");
	answer_is(s, "trail.envelope", "{\"meter\":\"red\",\"function\":\"ohm\",\"columns\":4,"
	          "\"from\":\"2026-11-25T09:59:59.750000Z\",\"to\":\"2026-11-25T10:00:00.750000Z\"}",
	          "{\"from\":\"2026-11-25T09:59:59.750000Z\",\"to\":\"2026-11-25T10:00:00.750000Z\","
	          "\"width\":4,\"columns\":[[1,1,481.1,481.1,481.1,481.1,0],[2,1,null,null,null,null,0],"
	          "[3,1,481.3,481.3,481.3,481.3,0]]}");
	char *text = ask(s, "trail", "{\"limit\":1}");
	assert_int_equal(count(text, "records"), 1);
	element_is(text, "records", 0, "function", "\"ohm\"");
	member_is(text, "more", "true");
	member_is(text, "next", "2");
	free(text);
	text = ask(s, "trail", "{\"after\":2}");
	element_is(text, "records", 0, "seq", "4");
	member_is(text, "more", "false");
	free(text);
	text = ask(s, "trail", "{\"position\":\"R1\",\"to\":\"2026-11-25T10:00:00.000001Z\"}");
	assert_int_equal(count(text, "records"), 1);
	free(text);
	answer_is(s, "trail", "{\"from\":\"2026-11-25T10:00:00.500001Z\"}",
	          "{\"records\":[],\"more\":false}");
	ask_refused(s, "trail", "{\"from\":\"yesterday\"}", WIRE_BAD_PARAMS, "from is \"yesterday\"");
	ask_refused(s, "trail.envelope", "{\"meter\":\"red\",\"function\":\"ohm\",\"columns\":0,"
	            "\"from\":\"2026-11-25T09:59:59.750000Z\",\"to\":\"2026-11-25T10:00:00.750000Z\"}",
	            WIRE_BAD_PARAMS, "columns must be");
	ask_refused(s, "trail.envelope", "{\"meter\":\"red\",\"function\":\"ohm\","
	            "\"from\":\"2026-11-25T10:00:00.750000Z\",\"to\":\"2026-11-25T10:00:00.750000Z\"}",
	            WIRE_BAD_PARAMS, "to must be later");
}

/* Runs that are open, as saved: the table is not sealed, so what is in it may be anything. */
static void test_trail_unsealed(void **state)
{
	struct store *s = *state;
	static const char spoilt[] = ",not json";
	static const char ends[] = "\"from\":\"2026-11-25T09:59:59.750000Z\","
	                           "\"to\":\"2026-11-25T10:00:10.000000Z\"";
	char params[300];
	struct log_open_run run[] = {
		{ "red", INT64_C(1795600801000000), TRAIL_A, strlen(TRAIL_A) },
		{ "blue", INT64_C(1795600802000000), spoilt, strlen(spoilt) },
	};
	add(s, "trail", TRAIL_A);
	log_save_open(s->log, run, 2);
	/* Who does not ask for them gets none, as ever. */
	char *text = ask(s, "trail", "{}");
	assert_int_equal(count(text, "records"), 1);
	assert_null(strstr(text, "sealed"));
	free(text);
	text = ask(s, "trail", "{\"unsealed\":true}");
	assert_int_equal(count(text, "records"), 1);
	assert_int_equal(count(text, "unsealed"), 1);
	element_is(text, "unsealed", 0, "sealed", "false");
	element_is(text, "unsealed", 0, "t", "\"2026-11-25T10:00:01.000000Z\"");
	element_is(text, "unsealed", 0, "n", "3");
	member_is(text, "more", "false");
	assert_null(strstr(text, "left_out"));
	free(text);
	/* With the last page alone, and where nothing is sealed after. */
	add(s, "trail", TRAIL_B);
	text = ask(s, "trail", "{\"unsealed\":true,\"limit\":1}");
	member_is(text, "more", "true");
	assert_int_equal(count(text, "unsealed"), 0);
	free(text);
	text = ask(s, "trail", "{\"unsealed\":true,\"after\":3}");
	assert_int_equal(count(text, "records"), 0);
	assert_int_equal(count(text, "unsealed"), 1);
	free(text);
	/* What is asked for holds for them, too. */
	static const char *const none[] = { "{\"unsealed\":true,\"position\":\"R2\"}",
		"{\"unsealed\":true,\"meter\":\"blue\"}", "{\"unsealed\":true,\"function\":\"farad\"}",
		"{\"unsealed\":true,\"from\":\"2026-11-25T10:00:01.500001Z\"}",
		"{\"unsealed\":true,\"to\":\"2026-11-25T10:00:01.000000Z\"}" };
	for (size_t i = 0; i < sizeof none / sizeof *none; i++) {
		text = ask(s, "trail", none[i]);
		assert_int_equal(count(text, "unsealed"), 0);
		free(text);
	}
	text = ask(s, "trail.lines", "{\"unsealed\":true,\"position\":\"R1\"}");
	element_is(text, "unsealed", 0, "readings", "3");
	element_is(text, "unsealed", 0, "to", "\"2026-11-25T10:00:01.500000Z\"");
	element_is(text, "lines", 0, "readings", "3");
	free(text);
	/* In columns with the sealed ones; the silence before it counts from the last of those. */
	snprintf(params, sizeof params, "{\"meter\":\"red\",\"function\":\"ohm\",\"columns\":1,"
	         "\"unsealed\":true,%s}", ends);
	answer_is(s, "trail.envelope", params,
	          "{\"from\":\"2026-11-25T09:59:59.750000Z\",\"to\":\"2026-11-25T10:00:10.000000Z\","
	          "\"width\":1,\"columns\":[[0,6,481.1,481.3,481.1,481.3,0.5]],\"unsealed\":3}");
	snprintf(params, sizeof params, "{\"meter\":\"red\",\"function\":\"ohm\",\"columns\":1,%s}",
	         ends);
	answer_is(s, "trail.envelope", params,
	          "{\"from\":\"2026-11-25T09:59:59.750000Z\",\"to\":\"2026-11-25T10:00:10.000000Z\","
	          "\"width\":1,\"columns\":[[0,3,481.1,481.3,481.1,481.3,0]]}");
	ask_refused(s, "trail", "{\"unsealed\":1}", WIRE_BAD_PARAMS, "unsealed");
}

/* ---- verify ---- */

static void test_verify(void **state)
{
	struct store *s = *state;
	char params[200], head[90];
	add(s, "note", ",\"text\":\"x\"");
	char *text = ask(s, "verify", "{}");
	member_is(text, "ok", "true");
	member_is(text, "records", "2");
	member_is(text, "bad", "null");
	member_is(text, "identity", "\"ab000000000000000000000000000000\"");
	assert_true(json_text(json_member(text, strlen(text), "head"), head, sizeof head));
	assert_int_equal(strlen(head), 2 + 64);
	free(text);
	snprintf(params, sizeof params, "{\"anchor\":\"%s\"}", head);
	text = ask(s, "verify", params);
	member_is(text, "verdict", "\"intact to the anchor\"");
	member_is(text, "ok", "true");
	free(text);
	add(s, "note", ",\"text\":\"y\"");
	text = ask(s, "verify", params);
	member_is(text, "verdict", "\"newer than the anchor\"");
	member_is(text, "ok", "true");
	free(text);
	params[13] = params[13] == '0' ? '1' : '0'; /* another hash at that place */
	text = ask(s, "verify", params);
	member_is(text, "verdict", "\"rewritten\"");
	member_is(text, "ok", "false");
	free(text);
	params[11] = '9';
	text = ask(s, "verify", params);
	member_is(text, "verdict", "\"truncated\"");
	member_is(text, "ok", "false");
	free(text);
	ask_refused(s, "verify", "{\"anchor\":\"12\"}", WIRE_BAD_INPUT, "\"12\" is no anchor");
	ask_refused(s, "verify", "{\"anchor\":12}", WIRE_BAD_PARAMS, "must be a string");
}

/* ---- jobs ---- */

static void test_no_job(void **state)
{
	struct store *s = *state;
	answer_is(s, "job.list", "{}", "{\"jobs\":[],\"more\":false}");
	answer_is(s, "sheet.show", "{}", "{\"job\":null,\"rows\":[],\"more\":false}");
	answer_is(s, "entries", "{}", "{\"job\":null,\"entries\":[],\"more\":false}");
	answer_is(s, "compare", "{}",
	          "{\"job\":null,\"crosschecks\":[],\"references\":[],\"twins\":[],\"refused\":[],"
	          "\"more\":false}");
	answer_is(s, "places", "{}", "{\"job\":null,\"places\":[],\"more\":false}");
	ask_refused(s, "job.show", "{}", WIRE_REFUSED, "no job in this log yet");
	ask_refused(s, "job.show", "{\"job\":\"x\"}", WIRE_BAD_INPUT, "no job \"x\"");
	ask_refused(s, "entries", "{\"job\":\"x\"}", WIRE_BAD_INPUT, "no job \"x\"");
	/* Entries made before any job are shown as long as there is none. */
	add(s, "entry", ",\"job\":null,\"position\":\"R1\"");
	char *text = ask(s, "entries", "{}");
	assert_int_equal(count(text, "entries"), 1);
	free(text);
}

static void test_jobs(void **state)
{
	struct store *s = *state;
	add_job(s, "Hall, left", "started", true, false); /* 2 */
	add_position(s, "Hall, left", "R1", "1000", "5%", "");
	add_position(s, "Hall, left", "R2", "1000", "5%", "");
	add_position(s, "Hall, left", "R1", "1100", "5%", ""); /* again: the same position */
	int64_t struck = add_entry(
	    s, &(struct touch){ "Hall, left", "R1", "red", "lifted", "1000", 1, 0 });
	add_entry(s, &(struct touch){ "Hall, left", "R1", "red", "lifted", "1001", 1, 0 });
	add_said(s, "strike", struck, ",\"because\":\"slipped\"");
	add_said(s, "strike", struck, ",\"because\":\"twice\"");
	add_job(s, "Hall, left", "live", true, true);
	add_job(s, "booth", "started", true, false); /* 11 */
	add_position(s, "booth", "R1", "1000", "5%", "");
	add_job(s, "Hall, left", "closed", false, true);
	add_job(s, "odd", "unheard-of", true, true); /* of a later version: passed over */
	answer_is(s, "job.list", "{}",
	          "{\"jobs\":[{\"job\":\"Hall, left\",\"seq\":2,\"t\":\"2026-11-25T10:00:00.000000Z\","
	          "\"open\":false,\"state\":\"live\",\"condition\":\"found\",\"reach\":\"in-circuit\","
	          "\"positions\":2,\"entries\":1,\"again\":null,\"identity\":null},"
	          "{\"job\":\"booth\",\"seq\":11,\"t\":\"2026-11-25T10:00:00.000000Z\","
	          "\"open\":true,\"state\":\"cold\",\"condition\":\"found\",\"reach\":\"in-circuit\","
	          "\"positions\":1,\"entries\":0,\"again\":null,\"identity\":null}],\"more\":false}");
	char *text = ask(s, "job.list", "{\"limit\":1}");
	element_is(text, "jobs", 0, "job", "\"Hall, left\"");
	member_is(text, "more", "true");
	member_is(text, "next", "2");
	free(text);
	text = ask(s, "job.list", "{\"after\":2}");
	element_is(text, "jobs", 0, "job", "\"booth\"");
	member_is(text, "more", "false");
	free(text);
	/* The newest is the one that was started last, not the one that changed last. */
	text = ask(s, "job.show", "{}");
	member_is(text, "job", "\"booth\"");
	free(text);
	text = ask(s, "job.show", "{\"job\":\"Hall, left\"}");
	member_is(text, "state", "\"live\"");
	member_is(text, "open", "false");
	member_is(text, "entries", "1");
	free(text);
}

static void test_sheet(void **state)
{
	struct store *s = *state;
	add_job(s, "a", "started", true, false);
	add_position(s, "a", "R2", "2000", "5%", "");  /* 3 */
	add_position(s, "a", "R10", "1000", "5%", ""); /* 4 */
	add_job(s, "b", "started", true, false);
	add_position(s, "b", "R2", "77", "1%", "");
	add_position(s, "a", "R2", "2200", "1%", "R10"); /* 7: set later, keeps its place */
	int64_t e = add_entry(s, &(struct touch){ "a", "R2", "red", "lifted", "2190", 1, 0 });
	add_entry(s, &(struct touch){ "a", "R2", "red", "lifted", "2191", 1, 0 });
	add_entry(s, &(struct touch){ "b", "R2", "red", "lifted", "77", 1, 0 });
	add_said(s, "move", e, ",\"position\":\"R10\",\"from\":\"R2\"");
	char *text = ask(s, "sheet.show", "{\"job\":\"a\"}");
	assert_int_equal(count(text, "rows"), 2);
	element_is(text, "rows", 0, "position", "\"R2\"");
	element_is(text, "rows", 0, "seq", "7");
	element_is(text, "rows", 0, "nominal", "2200");
	element_is(text, "rows", 0, "written.tolerance", "\"1%\"");
	element_is(text, "rows", 0, "entries", "1");
	element_is(text, "rows", 1, "position", "\"R10\"");
	element_is(text, "rows", 1, "entries", "1"); /* moved there */
	free(text);
	text = ask(s, "sheet.show", "{}");
	member_is(text, "job", "\"b\"");
	element_is(text, "rows", 0, "nominal", "77");
	free(text);
	text = ask(s, "sheet.show", "{\"job\":\"a\",\"limit\":1}");
	assert_int_equal(count(text, "rows"), 1);
	member_is(text, "next", "3");
	free(text);
	text = ask(s, "sheet.show", "{\"job\":\"a\",\"after\":3}");
	element_is(text, "rows", 0, "position", "\"R10\"");
	free(text);
	/* Two sheets are not one. */
	ask_refused(s, "sheet.show", "{\"job\":\"*\"}", WIRE_BAD_INPUT, "no job \"*\"");
}

/* ---- entries ---- */

static void test_entries(void **state)
{
	struct store *s = *state;
	add_job(s, "old", "started", true, false);
	add_entry(s, &(struct touch){ "old", "R1", "red", "lifted", "9", 1, 0 });
	add_job(s, "j", "started", true, false);
	int64_t a = add_entry(s, &(struct touch){ "j", "R1", "red", "lifted", "1000", 1, 0 });
	int64_t b = add_entry(s, &(struct touch){ "j", "R2", "red", "lifted", "2000", 1, 0 });
	int64_t c = add_entry(s, &(struct touch){ "j", "R1", "bench", "lifted", "1001", 1, 0 });
	int64_t strike = add_said(s, "strike", a, ",\"because\":\"probe \\u00b5 slipped\"");
	add_said(s, "rejudge", b, ",\"verdict\":\"outside\"");
	add_said(s, "rejudge", b, ",\"verdict\":\"within\"");
	add_said(s, "move", c, ",\"position\":\"R2\",\"from\":\"R1\"");
	char expected[64];

	char *text = ask(s, "entries", "{}");
	assert_int_equal(count(text, "entries"), 3);
	member_is(text, "job", "\"j\"");
	snprintf(expected, sizeof expected, "%lld", (long long)a);
	element_is(text, "entries", 0, "record.seq", expected);
	snprintf(expected, sizeof expected, "%lld", (long long)strike);
	element_is(text, "entries", 0, "struck.seq", expected);
	element_is(text, "entries", 0, "struck.because", "\"probe \\u00b5 slipped\"");
	element_is(text, "entries", 0, "rejudged", "null");
	element_is(text, "entries", 1, "struck", "false");
	element_is(text, "entries", 1, "rejudged.verdict", "\"within\"");
	element_is(text, "entries", 1, "moved", "null");
	element_is(text, "entries", 2, "moved.position", "\"R2\"");
	element_is(text, "entries", 2, "record.position", "\"R1\""); /* as sealed */
	free(text);

	/* By position: where they belong now. */
	text = ask(s, "entries", "{\"position\":\"R2\"}");
	assert_int_equal(count(text, "entries"), 2);
	element_is(text, "entries", 1, "moved.position", "\"R2\"");
	free(text);
	text = ask(s, "entries", "{\"position\":\"R1\"}");
	assert_int_equal(count(text, "entries"), 1);
	free(text);
	text = ask(s, "entries", "{\"job\":\"*\"}");
	assert_int_equal(count(text, "entries"), 4);
	free(text);
	text = ask(s, "entries", "{\"job\":\"old\"}");
	assert_int_equal(count(text, "entries"), 1);
	free(text);

	/* Pages. */
	text = ask(s, "entries", "{\"limit\":2}");
	assert_int_equal(count(text, "entries"), 2);
	member_is(text, "more", "true");
	snprintf(expected, sizeof expected, "%lld", (long long)b);
	member_is(text, "next", expected);
	free(text);
	char params[64];
	snprintf(params, sizeof params, "{\"limit\":2,\"after\":%lld}", (long long)b);
	text = ask(s, "entries", params);
	assert_int_equal(count(text, "entries"), 1);
	element_is(text, "entries", 0, "moved.position", "\"R2\"");
	member_is(text, "more", "false");
	free(text);
}

/* ---- renames ---- */

static int64_t add_rename(struct store *s, const char *job, const char *from, const char *to)
{
	char body[200];
	snprintf(body, sizeof body, ",\"job\":\"%s\",\"position\":\"%s\",\"from\":\"%s\"", job, to,
	         from);
	return add(s, "rename", body);
}

static void position_of(struct store *s, const char *job, size_t i, const char *expected)
{
	char params[64], quoted[64];
	snprintf(params, sizeof params, "{\"job\":\"%s\"}", job);
	snprintf(quoted, sizeof quoted, "\"%s\"", expected);
	char *text = ask(s, "entries", params);
	element_is(text, "entries", i, "position", quoted);
	free(text);
}

static void test_renames(void **state)
{
	struct store *s = *state;
	add_job(s, "other", "started", true, false);
	add_position(s, "other", "R1", "1000", "5%", "");
	add_entry(s, &(struct touch){ "other", "R1", "red", "lifted", "1000", 1, 0 });
	add_job(s, "j", "started", true, false);
	add_position(s, "j", "R1", "1000", "5%", "");
	add_position(s, "j", "R2", "1000", "5%", "");
	add_entry(s, &(struct touch){ "j", "R1", "red", "lifted", "1000", 1, 0 });
	int64_t moved = add_entry(s, &(struct touch){ "j", "R2", "red", "lifted", "1010", 1, 0 });
	add_said(s, "move", moved, ",\"position\":\"R1\",\"from\":\"R2\"");
	int64_t rename = add_rename(s, "j", "R1", "R7");
	add_position(s, "j", "R7", "1000", "5%", "");
	/* The name is free: another position, another entry. */
	add_position(s, "j", "R1", "2000", "5%", "");
	add_entry(s, &(struct touch){ "j", "R1", "red", "lifted", "2000", 1, 0 });
	add_rename(s, "j", "R2", "R3");
	/* Damaged, or of a later version: passed over. */
	add(s, "rename", ",\"job\":\"j\",\"position\":\"R9\"");
	add(s, "rename", ",\"job\":\"j\",\"position\":\"R 9\",\"from\":\"R7\"");
	/* What is fitted stands beside the row. */
	add(s, "fit", ",\"job\":\"j\",\"position\":\"R7\",\"fit\":{\"written\":{\"nominal\":\"1k2\"},"
	              "\"kind\":\"resistor\",\"nominal\":1200},\"replaces\":{\"nominal\":\"1000\"}");
	position_of(s, "other", 0, "R1");
	position_of(s, "j", 0, "R7");
	position_of(s, "j", 1, "R7"); /* it was moved there before */
	position_of(s, "j", 2, "R1");
	char expected[32], *text = ask(s, "entries", "{\"position\":\"R7\"}");
	assert_int_equal(count(text, "entries"), 2);
	snprintf(expected, sizeof expected, "%lld", (long long)rename);
	element_is(text, "entries", 0, "renamed.seq", expected);
	element_is(text, "entries", 0, "record.position", "\"R1\"");
	free(text);
	text = ask(s, "entries", "{\"position\":\"R1\"}");
	assert_int_equal(count(text, "entries"), 1);
	element_is(text, "entries", 0, "renamed", "null");
	free(text);
	/* In the place in which it first came. */
	text = ask(s, "sheet.show", "{}");
	assert_int_equal(count(text, "rows"), 3);
	element_is(text, "rows", 0, "position", "\"R7\"");
	element_is(text, "rows", 0, "entries", "2");
	element_is(text, "rows", 0, "fit.nominal", "1200");
	element_is(text, "rows", 0, "fit.replaces.nominal", "\"1000\"");
	element_is(text, "rows", 1, "position", "\"R3\"");
	element_is(text, "rows", 1, "fit", "null");
	element_is(text, "rows", 2, "position", "\"R1\"");
	free(text);
	text = ask(s, "job.show", "{}");
	member_is(text, "positions", "3");
	member_is(text, "fits", "1");
	free(text);
	text = ask(s, "job.show", "{\"job\":\"other\"}");
	member_is(text, "positions", "1");
	member_is(text, "fits", "0");
	free(text);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		TEST(log), TEST(records), TEST(records_by_length), TEST(verify), TEST(no_job), TEST(jobs),
		TEST(sheet), TEST(entries), TEST(renames), TEST(trail), TEST(trail_unsealed),
	};
	return cmocka_run_group_tests_name("query", tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/* The bodies of records: written exactly, read back the same, refused when cut. */
#include "tests/record_stand.h"

/* ---- entries ---- */

static void entry_exact(void **state)
{
	(void)state;
	char frame[64];
	recording_escape("0.5600 uF\r\n", 11, frame, sizeof frame);
	struct entry e = an_entry();
	struct entry_beside beside = {
	    .job = "Lyric, left monitor",
	    .shown = "0.5600 uF",
	    .frames = {frame, "\\xff\\\"x"},
	    .frame_count = 2,
	    .trail = {{.seq = 4, .from = 12, .to = 18}, {.ticket = 77, .from = 0, .to = 3}},
	    .trail_count = 2,
	    .accuracy_assumed = true,
	    .because = "taken by key",
	    .by = {true, 1000},
	};
	entry_write(begin(), &e, &beside);
	assert_false(t.failed);
	assert_string_equal(
	    body,
	    ",\"job\":\"Lyric, left monitor\",\"position\":\"C7\",\"quantity\":\"value\",\"condition\":"
	    "\"found\",\"reach\":\"lifted\",\"meter\":\"red\",\"function\":\"farad\",\"value\":5.6e-07,"
	    "\"digit\":1e-10,\"prefix\":-6,\"u\":3.5e-09,\"n\":7,\"settled\":true,\"source\":\"meter\","
	    "\"verdict\":\"outside\",\"side\":\"high\",\"reason\":\"leakage\",\"deviation\":0.191489,"
	    "\"probability\":1.25e-60,\"limits\":[4.23e-07,5.17e-07],\"why\":\"paper, far above: measure "
	    "leakage\",\"service\":{\"verdict\":\"unsure\",\"side\":\"high\",\"reason\":\"meter\","
	    "\"deviation\":0.191489,\"limits\":[3.76e-07,null],\"assumed\":true,\"other\":5.6e-07},"
	    "\"accuracy\":\"assumed\",\"because\":\"taken by key\",\"uid\":1000,\"shown\":\"0.5600 uF\","
	    "\"frames\":[\"0.5600 uF\\\\r\\\\n\",\"\\\\xff\\\\\\\"x\"],"
	    "\"trail\":[[4,12,18],[\x01" "77\x01,0,3]]");
	beside.trail_count = 1;
	entry_write(begin(), &e, &beside);
	size_t len = seal(5, "entry", body, t.len);
	struct entry back;
	char job[JOB_SIZE];
	memset(&back, 0xee, sizeof back);
	assert_true(entry_read(record_text, len, &back));
	assert_same_entry(&e, &back);
	record_job(record_text, len, job);
	assert_string_equal(job, "Lyric, left monitor");
}

static void entry_round_trips(void **state)
{
	(void)state;
	struct entry_beside none = {0};
	struct entry rows[16], back;
	int n = 0;
	/* every quantity, condition, reach, function and source in turn */
	for (int i = 0; i < 8; i++) {
		rows[n] = an_entry();
		rows[n].quantity = (enum quantity)(i % QUANTITY_COUNT);
		rows[n].condition = (enum condition)(i % CONDITION_COUNT);
		rows[n].reach = (enum reach)(i % REACH_COUNT);
		rows[n].function = (enum function)(1 + i % (FUNCTION_COUNT - 1));
		rows[n].source = i % 2 ? SOURCE_TYPED : SOURCE_METER;
		rows[n].value = (struct decimal){i % 2 ? -1200 : 0, i - 4};
		rows[n].verdict.reason = (enum verdict_reason)(1 + i);
		rows[n].verdict.word = (enum verdict_word)(i % 4);
		rows[n].verdict.side = (enum verdict_side)(i % 3);
		n++;
	}
	rows[n] = an_entry(); /* overload */
	rows[n].has_value = false;
	rows[n].value = (struct decimal){0, 0};
	rows[n].state = READING_OVERLOAD;
	rows[n].has_above = true;
	rows[n].above = (struct decimal){40, 6};
	rows[n].u = 0;
	rows[n].n = 1;
	rows[n].settled = false;
	rows[n].verdict = (struct verdict){.word = VERDICT_OUTSIDE, .side = SIDE_HIGH, .reason = REASON_OPEN};
	rows[n++].service = (struct verdict){0};
	rows[n] = rows[n - 1]; /* with a low battery too */
	rows[n++].state = READING_OVERLOAD | READING_LOW_BATTERY;
	rows[n] = an_entry(); /* a value, and the battery is low */
	rows[n++].state = READING_LOW_BATTERY | READING_HOLD;
	rows[n] = an_entry(); /* nothing to judge, nothing known */
	rows[n].verdict = rows[n].service = (struct verdict){0};
	rows[n].u = INFINITY;
	rows[n++].value = (struct decimal){INT64_C(999999999999999999), -40};
	rows[n] = an_entry(); /* a zero keeps its digit */
	rows[n++].value = (struct decimal){0, -4};
	rows[n] = an_entry();
	rows[n++].value = (struct decimal){-5, 40};
	for (int i = 0; i < n; i++) {
		note_row("%d", i);
		entry_write(begin(), &rows[i], &none);
		assert_false(t.failed);
		size_t len = seal(5, "entry", body, t.len);
		memset(&back, 0xee, sizeof back);
		assert_true(entry_read(record_text, len, &back));
		assert_same_entry(&rows[i], &back);
	}
	/* The least members that others rely on are always there. */
	static const char *const members[] = {
	    "job", "position", "quantity", "condition", "reach", "meter", "function", "value", "digit",
	    "u", "n", "settled", "source", "verdict", "side", "reason", "deviation", "limits", "shown",
	    "frames", "trail", "service"};
	entry_write(begin(), &rows[8], &none);
	size_t len = seal(5, "entry", body, t.len);
	for (size_t i = 0; i < sizeof members / sizeof *members; i++)
		if (!json_member(record_text, len, members[i]).at)
			fail_msg("no %s", members[i]);
	assert_true(json_absent(json_member(record_text, len, "value")));
	assert_true(json_is(json_member(record_text, len, "state"), "overload"));
	/* Never a value that is missing without a reason. */
	rows[8].state = 0;
	entry_write(begin(), &rows[8], &none);
	len = seal(5, "entry", body, t.len);
	assert_true(json_is(json_member(record_text, len, "state"), "invalid"));
	/* An ordinary one has no state at all. */
	entry_write(begin(), &rows[0], &none);
	len = seal(5, "entry", body, t.len);
	assert_null(json_member(record_text, len, "state").at);
}

/* Six digits of what was computed, every digit of what was measured. */
static void entry_digits(void **state)
{
	(void)state;
	struct entry e = an_entry(), back;
	struct entry_beside none = {0};
	e.value = (struct decimal){INT64_C(123456789012345678), -9};
	e.u = 1.23456789;
	entry_write(begin(), &e, &none);
	size_t len = seal(5, "entry", body, t.len);
	assert_non_null(strstr(record_text, "\"value\":123456789.012345678,\"digit\":1e-09,"));
	assert_non_null(strstr(record_text, "\"u\":1.23457,"));
	assert_true(entry_read(record_text, len, &back));
	assert_near(back.u, 1.23457, 0);
	assert_true(back.value.n == e.value.n && back.value.e == -9);
}

static void entry_refused(void **state)
{
	(void)state;
	struct entry e = an_entry(), back;
	struct entry_beside none = {0};
	entry_write(begin(), &e, &none);
	size_t len = seal(5, "entry", body, t.len);
	char *copy = malloc(len + 1);
	/* Members without which it says nothing, or with words that are none of ours. */
	static const char *const changes[][2] = {
	    {"\"kind\":\"entry\"", "\"kind\":\"entrx\""}, {"\"quantity\"", "\"quantitx\""},
	    {"\"value\",", "\"valuf\","},                 {"\"found\"", "\"fount\""},
	    {"\"lifted\"", "\"liftet\""},                 {"\"farad\"", "\"farat\""},
	    {"\"source\":\"meter\"", "\"source\":\"metre\""},
	    {"\"digit\":1e-10", "\"digit\":2e-10"},       {"\"digit\":1e-10", "\"digit\":1e-07"},
	    {"\"value\":5.6e-07", "\"value\":\"56-07\""},  {"\"value\":5.6e-07", "\"value\":null   "},
	    {"\"n\":7", "\"n\":x"},                       {"\"outside\"", "\"outsidf\""},
	    {"\"position\"", "\"positiom\""},             {"\"limits\":[4.23e-07", "\"limits\":[\"4.23e-7"},
	};
	for (size_t i = 0; i < sizeof changes / sizeof *changes; i++) {
		memcpy(copy, record_text, len + 1);
		char *at = strstr(copy, changes[i][0]);
		assert_non_null(at);
		memcpy(at, changes[i][1], strlen(changes[i][1]));
		note_row("%s", changes[i][1]);
		assert_int_equal(strlen(changes[i][0]), strlen(changes[i][1]));
		assert_false(entry_read(copy, len, &back));
	}
	/* A reason of a later version leaves the verdict readable. */
	memcpy(copy, record_text, len + 1);
	memcpy(strstr(copy, "leakage"), "newword", 7);
	assert_true(entry_read(copy, len, &back));
	assert_int_equal(back.verdict.word, VERDICT_OUTSIDE);
	assert_int_equal(back.verdict.reason, REASON_NONE);
	/* Every prefix: read or not, never past its end. */
	for (size_t n = 0; n < len; n++) {
		char *cut = malloc(n ? n : 1);
		memcpy(cut, record_text, n);
		entry_read(cut, n, &back);
		free(cut);
	}
	free(copy);
}

static void largest_entry(void **state)
{
	(void)state;
	struct entry e = an_entry();
	static char frame[ENTRY_FRAMES_MAX][1100];
	char bytes[256];
	struct entry_beside beside = {.frame_count = ENTRY_FRAMES_MAX, .trail_count = ENTRY_TRAIL_MAX};
	memset(bytes, 0xfe, sizeof bytes);
	for (int i = 0; i < ENTRY_FRAMES_MAX; i++) {
		assert_int_equal(recording_escape(bytes, sizeof bytes, frame[i], sizeof frame[i]), 1024);
		beside.frames[i] = frame[i];
	}
	for (int i = 0; i < ENTRY_TRAIL_MAX; i++)
		beside.trail[i] = (struct trail_part){.ticket = UINT64_MAX, .from = 999, .to = 999};
	entry_write(begin(), &e, &beside);
	assert_false(t.failed);
	/* A buffer that is too small is noticed. */
	struct text small;
	char little[1000];
	text_begin(&small, little, sizeof little);
	entry_write(&small, &e, &beside);
	assert_true(small.failed);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(entry_exact),
	    cmocka_unit_test(entry_round_trips),
	    cmocka_unit_test(entry_digits),
	    cmocka_unit_test(entry_refused),
	    cmocka_unit_test(largest_entry),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

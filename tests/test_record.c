/* SPDX-License-Identifier: MIT */
/* The bodies of records: written exactly, read back the same, refused when cut. */
#include "protocol/record/record.h"
#include "protocol/record/recording.h"

#include "tests/check.h"

#include <stdlib.h>

static char record_text[RECORD_BODY_MAX + 256];

/* The record as the log would seal it: head, the body of `t`, and the brace. */
static size_t seal(int64_t seq, const char *kind, const char *body, size_t len)
{
	struct text t;
	text_begin(&t, record_text, sizeof record_text);
	text_printf(&t, "{\"seq\":%lld,\"t\":", (long long)seq);
	text_time(&t, 1795600800123456);
	text_printf(&t, ",\"kind\":\"%s\"", kind);
	text_add(&t, body, len);
	text_puts(&t, "}");
	assert_false(t.failed);
	/* Ticket references are the log's to fill in. */
	if (!memchr(record_text, 1, t.len)) {
		struct fault why = {.text = ""};
		if (!record_valid(seq, record_text, t.len, &why))
			fail_msg("%s at %d: %s", why.text, why.column, record_text);
	}
	return t.len;
}

static char body[RECORD_BODY_MAX];
static struct text t;

static struct text *begin(void)
{
	text_begin(&t, body, sizeof body);
	return &t;
}

/* ---- entries ---- */

static struct entry an_entry(void)
{
	return (struct entry){
	    .seq = 5,
	    .t = 1795600800123456,
	    .position = "C7",
	    .meter = "red",
	    .quantity = QUANTITY_VALUE,
	    .condition = CONDITION_FOUND,
	    .reach = REACH_LIFTED,
	    .source = SOURCE_METER,
	    .function = FUNCTION_FARAD,
	    .has_value = true,
	    .value = {5600, -10},
	    .prefix = -6,
	    .u = 3.5e-9,
	    .n = 7,
	    .settled = true,
	    .verdict = {.word = VERDICT_OUTSIDE,
	                .side = SIDE_HIGH,
	                .reason = REASON_LEAKAGE,
	                .has_probability = true,
	                .probability = 1.25e-60,
	                .has_deviation = true,
	                .deviation = 0.191489,
	                .limits = {true, true, {423, -9}, {517, -9}},
	                .why = "paper, far above: measure leakage"},
	    .service = {.word = VERDICT_UNSURE,
	                .side = SIDE_HIGH,
	                .reason = REASON_METER,
	                .has_deviation = true,
	                .deviation = 0.191489,
	                .limits = {true, false, {376, -9}, {0, 0}},
	                .assumed = true,
	                .has_other = true,
	                .other = {56, -8}},
	};
}

static bool same_decimal(struct decimal a, struct decimal b)
{
	return decimal_compare(a, b) == 0;
}

static void assert_same_verdict(const struct verdict *a, const struct verdict *b)
{
	assert_int_equal(a->word, b->word);
	assert_int_equal(a->side, b->side);
	assert_int_equal(a->reason, b->reason);
	assert_int_equal(a->has_probability, b->has_probability);
	assert_near(a->probability, b->probability, 0);
	assert_int_equal(a->has_deviation, b->has_deviation);
	assert_near(a->deviation, b->deviation, 0);
	assert_int_equal(a->limits.has_low, b->limits.has_low);
	assert_int_equal(a->limits.has_high, b->limits.has_high);
	assert_true(same_decimal(a->limits.low, b->limits.low));
	assert_true(same_decimal(a->limits.high, b->limits.high));
	assert_int_equal(a->assumed, b->assumed);
	assert_int_equal(a->has_other, b->has_other);
	assert_true(same_decimal(a->other, b->other));
	assert_string_equal(a->why, b->why);
}

static void assert_same_entry(const struct entry *a, const struct entry *b)
{
	assert_true(a->seq == b->seq && a->t == b->t);
	assert_string_equal(a->position, b->position);
	assert_string_equal(a->meter, b->meter);
	assert_int_equal(a->quantity, b->quantity);
	assert_int_equal(a->condition, b->condition);
	assert_int_equal(a->reach, b->reach);
	assert_int_equal(a->source, b->source);
	assert_int_equal(a->function, b->function);
	assert_int_equal(a->has_value, b->has_value);
	assert_int_equal(a->state, b->state);
	/* The weight of the digit comes back too. */
	assert_true(a->value.n == b->value.n && a->value.e == b->value.e);
	assert_int_equal(a->prefix, b->prefix);
	assert_int_equal(a->has_above, b->has_above);
	assert_true(same_decimal(a->above, b->above));
	assert_near(a->u, b->u, 0);
	assert_int_equal(a->n, b->n);
	assert_int_equal(a->settled, b->settled);
	assert_same_verdict(&a->verdict, &b->verdict);
	assert_same_verdict(&a->service, &b->service);
	assert_int_equal(a->struck, b->struck);
}

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

/* ---- trail ---- */

static struct trail_reading reading[TRAIL_READINGS_MAX + 1], read_back[TRAIL_READINGS_MAX];

static void trail_exact(void **state)
{
	(void)state;
	const struct trail_reading r[] = {
	    {.at = 0, .v = 4812, .has_value = true, .second = 871, .has_second = true},
	    {.at = 2500, .state = READING_OVERLOAD},
	    {.at = 2500, .v = 4811, .has_value = true, .state = READING_LOW_BATTERY | READING_HOLD},
	    {.at = 5003, .v = -4813, .has_value = true, .second = -2, .has_second = true},
	};
	struct trail_body b = {.meter = "red",
	                       .function = FUNCTION_OHM,
	                       .position = "R12",
	                       .digit = {1, -1},
	                       .reading = r,
	                       .n = 4};
	trail_body_write(begin(), &b);
	assert_string_equal(body,
	                    ",\"meter\":\"red\",\"function\":\"ohm\",\"position\":\"R12\",\"digit\":0.1,"
	                    "\"at\":[0,2500,2500,5003],\"v\":[4812,null,4811,-4813],\"state\":[[1,"
	                    "\"overload\"],[2,\"hold\"],[2,\"low-battery\"]],\"low\":-4813,\"high\":4812,"
	                    "\"first\":4812,\"last\":-4813,\"n\":4");
	text_puts(&t, ",\"recovered\":true"); /* as the log marks it */
	size_t len = seal(9, "trail", body, t.len);
	struct trail_body back;
	struct trail_names names;
	assert_true(trail_body_read(record_text, len, &back, &names, read_back, TRAIL_READINGS_MAX));
	assert_string_equal(back.meter, "red");
	assert_string_equal(back.position, "R12");
	assert_int_equal(back.function, FUNCTION_OHM);
	assert_true(same_decimal(back.digit, b.digit));
	assert_true(back.recovered);
	assert_int_equal(back.n, 4);
	for (int i = 0; i < 4; i++) {
		assert_true(read_back[i].at == r[i].at && read_back[i].v == r[i].v);
		assert_int_equal(read_back[i].has_value, r[i].has_value);
		assert_int_equal(read_back[i].state, r[i].state);
	}
	/* With what was sent beside each. */
	b.second = SECOND_DISSIPATION;
	b.second_digit = (struct decimal){1, -4};
	trail_body_write(begin(), &b);
	assert_non_null(strstr(body, ",\"n\":4,\"second\":{\"is\":\"dissipation\",\"function\":\"number\","
	                             "\"digit\":0.0001,\"v\":[871,null,null,-2]}"));
	len = seal(9, "trail", body, t.len);
	assert_true(trail_body_read(record_text, len, &back, &names, read_back, TRAIL_READINGS_MAX));
	assert_int_equal(back.second, SECOND_DISSIPATION);
	assert_true(same_decimal(back.second_digit, b.second_digit));
	for (int i = 0; i < 4; i++) {
		assert_int_equal(read_back[i].has_second, r[i].has_second);
		assert_true(!r[i].has_second || read_back[i].second == r[i].second);
	}
	b.second = SECOND_NONE;
	/* Nothing chosen, nothing measured. */
	b.position = NULL;
	b.n = 1;
	b.reading = &r[1];
	trail_body_write(begin(), &b);
	assert_string_equal(body, ",\"meter\":\"red\",\"function\":\"ohm\",\"position\":null,\"digit\":0.1,"
	                          "\"at\":[2500],\"v\":[null],\"state\":[[0,\"overload\"]],\"low\":null,"
	                          "\"high\":null,\"first\":null,\"last\":null,\"n\":1");
	len = seal(9, "trail", body, t.len);
	assert_true(trail_body_read(record_text, len, &back, &names, read_back, 1));
	assert_string_equal(back.position, "");
	assert_false(back.recovered);
	b.n = 0;
	trail_body_write(begin(), &b);
	assert_true(t.failed);
	b.n = TRAIL_READINGS_MAX + 1;
	b.reading = reading;
	trail_body_write(begin(), &b);
	assert_true(t.failed);
}

static struct trail_body full_run(int64_t v, unsigned state, bool second)
{
	for (int i = 0; i < TRAIL_READINGS_MAX; i++)
		reading[i] = (struct trail_reading){.at = i * 600, .v = i % 2 ? v : -v, .has_value = true,
		                                      .state = state, .second = v,
		                                      .has_second = second};
	return (struct trail_body){.meter = "abcdefghijklmnopqrstuvwxyz012345",
	                           .function = FUNCTION_CELSIUS,
	                           .position = "abcdefghijklmnopqrstuvwxyz012345",
	                           .digit = {123456789012345678, -40},
	                           .second = second ? SECOND_DISSIPATION : SECOND_NONE,
	                           .second_digit = {123456789012345678, -40},
	                           .reading = reading,
	                           .n = TRAIL_READINGS_MAX};
}

/* 1000 readings fit, with any value and two states each, or with a second value; the sizes promised hold. */
static void trail_sizes(void **state)
{
	(void)state;
	static const struct {
		int64_t v;
		unsigned state;
	} rows[] = {
	    {1999, 0},
	    {INT64_MAX, 0},
	    {99999999, READING_HOLD | READING_LOW_BATTERY},
	    {999999999999999999, READING_OVERLOAD | READING_LOW_BATTERY},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct trail_body b = full_run(rows[i].v, rows[i].state, rows[i].v == 1999), back;
		struct trail_names names;
		trail_body_write(begin(), &b);
		assert_false(t.failed);
		size_t len = seal(9, "trail", body, t.len);
		assert_true(trail_body_read(record_text, len, &back, &names, read_back, TRAIL_READINGS_MAX));
		for (int k = 0; k < b.n; k++)
			assert_true(read_back[k].at == reading[k].at && read_back[k].v == reading[k].v &&
			            read_back[k].state == reading[k].state);
	}
	/* A run that is ended before TRAIL_TEXT_MAX always fits. */
	struct trail_body b = full_run(INT64_MAX, 127, true);
	size_t sum = 0;
	for (b.n = 0; b.n < TRAIL_READINGS_MAX; b.n++) {
		size_t size = trail_reading_size(&reading[b.n]);
		if (sum + size > TRAIL_TEXT_MAX)
			break;
		sum += size;
	}
	assert_true(b.n < TRAIL_READINGS_MAX);
	trail_body_write(begin(), &b);
	assert_false(t.failed);
	assert_true(t.len <= sum + 1023);
}

static void trail_refused(void **state)
{
	(void)state;
	static const char *const rows[] = {
	    "\"at\":[0],\"v\":[1,2],\"n\":2",            /* too few times */
	    "\"at\":[0,1],\"v\":[1],\"n\":2",            /* too few values */
	    "\"at\":[0,1,2],\"v\":[1,2],\"n\":2",        /* too many times */
	    "\"at\":[0,1],\"v\":[1,2,3],\"n\":2",        /* too many values */
	    "\"at\":[0,1],\"v\":[1,\"2\"],\"n\":2",
	    "\"at\":[0,null],\"v\":[1,2],\"n\":2",
	    "\"at\":[0,1],\"v\":[1,1.5],\"n\":2",
	    "\"at\":[],\"v\":[],\"n\":0",
	    "\"at\":[0],\"v\":[1],\"n\":1001",
	    "\"at\":[0,1],\"v\":[1,2],\"n\":2,\"second\":{\"is\":\"esr\",\"digit\":1,\"v\":[1]}",
	    "\"at\":[0,1],\"v\":[1,2],\"n\":2,\"second\":{\"is\":\"esr\",\"digit\":1,\"v\":[1,2,3]}",
	    "\"at\":[0,1],\"v\":[1,2],\"n\":2,\"second\":{\"is\":\"esr\",\"digit\":1,\"v\":[1,\"2\"]}",
	    "\"at\":[0,1],\"v\":[1,2],\"n\":2,\"second\":{\"is\":\"esr\",\"v\":[1,2]}",
	    "\"at\":[0],\"v\":[1]",
	    "\"at\":[0],\"v\":[1],\"n\":1,\"state\":[[1,\"overload\"]]", /* index of none */
	    "\"at\":[0],\"v\":[1],\"n\":1,\"state\":[[-1,\"overload\"]]",
	    "\"at\":[0],\"v\":[1],\"n\":1,\"state\":[[0]]",
	};
	struct trail_body b;
	struct trail_names names;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		begin();
		text_printf(&t, ",\"meter\":\"red\",\"function\":\"ohm\",\"position\":null,\"digit\":0.1,%s",
		            rows[i]);
		size_t len = seal(9, "trail", body, t.len);
		note_row("%s", rows[i]);
		assert_false(trail_body_read(record_text, len, &b, &names, read_back, TRAIL_READINGS_MAX));
	}
	/* A state of a later version is passed over. */
	begin();
	text_puts(&t, ",\"meter\":\"red\",\"function\":\"ohm\",\"position\":null,\"digit\":0.1,"
	              "\"at\":[0],\"v\":[1],\"n\":1,\"state\":[[0,\"warming\"]]");
	size_t len = seal(9, "trail", body, t.len);
	assert_true(trail_body_read(record_text, len, &b, &names, read_back, TRAIL_READINGS_MAX));
	assert_int_equal(read_back[0].state, 0);
}

/* ---- the other kinds ---- */

static void job_records(void **state)
{
	(void)state;
	struct job_body b = {.job = "Lyric \"left\"",
	                     .change = JOB_COLD,
	                     .open = true,
	                     .condition = CONDITION_DONE,
	                     .reach = REACH_LOOSE,
	                     .by = {true, 0}},
	                back;
	job_body_write(begin(), &b);
	assert_string_equal(body, ",\"job\":\"Lyric \\\"left\\\"\",\"state\":\"cold\",\"open\":true,"
	                          "\"unit\":\"cold\",\"condition\":\"done\",\"reach\":\"loose\",\"uid\":0");
	for (int i = 0; i < JOB_CHANGE_COUNT; i++) {
		b.change = (enum job_change)i;
		b.open = i % 2;
		b.live = !b.open;
		b.by.known = i > 1;
		job_body_write(begin(), &b);
		size_t len = seal(3, "job", body, t.len);
		assert_true(job_body_read(record_text, len, &back));
		assert_string_equal(back.job, b.job);
		assert_int_equal(back.change, b.change);
		assert_int_equal(back.open, b.open);
		assert_int_equal(back.live, b.live);
		assert_int_equal(back.condition, b.condition);
		assert_int_equal(back.reach, b.reach);
		assert_int_equal(back.by.known, b.by.known);
	}
	assert_false(job_body_read("{\"seq\":3,\"kind\":\"job\"}", 22, &back));
}

static void position_records(void **state)
{
	(void)state;
	struct fault why;
	struct sheet_row row, back_row;
	struct position_body b = {.job = "Lyric", .change = POSITION_SET, .row = &row}, back;
	memset(&row, 0, sizeof row);
	assert_true(sheet_bare(&row, "R12", &why));
	assert_true(sheet_set(&row, "nominal", "4k7", &why));
	position_body_write(begin(), &b);
	assert_string_equal(body, ",\"job\":\"Lyric\",\"position\":\"R12\",\"change\":\"set\",\"sheet\":"
	                          "{\"written\":{\"position\":\"R12\",\"nominal\":\"4k7\"},\"kind\":"
	                          "\"resistor\",\"function\":\"ohm\",\"nominal\":4700,\"limits\":null,"
	                          "\"service\":null}");
	size_t len = seal(7, "position", body, t.len);
	assert_true(position_body_read(record_text, len, &back, &back_row, &why));
	assert_string_equal(back.job, "Lyric");
	assert_int_equal(back.change, POSITION_SET);
	assert_string_equal(back_row.position.name, "R12");
	assert_true(same_decimal(back_row.position.nominal, (struct decimal){4700, 0}));
	len = seal(7, "positiom", body, t.len);
	assert_false(position_body_read(record_text, len, &back, &back_row, &why));

	struct sheet_body s = {.job = "Lyric", .file = "sheet.csv", .count = 24}, s_back;
	sheet_body_write(begin(), &s);
	assert_string_equal(body, ",\"job\":\"Lyric\",\"file\":\"sheet.csv\",\"count\":24");
	len = seal(8, "sheet", body, t.len);
	assert_true(sheet_body_read(record_text, len, &s_back));
	assert_string_equal(s_back.file, "sheet.csv");
	assert_int_equal(s_back.count, 24);
}

static void said_of_entries(void **state)
{
	(void)state;
	struct strike_body s = {.of = 12, .job = "Lyric", .position = "R12",
	                        .because = "probe\nslipped", .by = {true, 1000}}, s_back;
	strike_body_write(begin(), &s);
	assert_string_equal(body, ",\"of\":12,\"job\":\"Lyric\",\"position\":\"R12\",\"because\":"
	                          "\"probe\\nslipped\",\"uid\":1000");
	size_t len = seal(13, "strike", body, t.len);
	assert_true(strike_body_read(record_text, len, &s_back));
	assert_int_equal(s_back.of, 12);
	assert_string_equal(s_back.because, s.because);
	assert_int_equal(s_back.by.uid, 1000);

	struct move_body m = {.of = 12, .position = "R13", .from = "R12"}, m_back;
	move_body_write(begin(), &m);
	assert_string_equal(body, ",\"of\":12,\"position\":\"R13\",\"from\":\"R12\",\"because\":null");
	len = seal(13, "move", body, t.len);
	assert_true(move_body_read(record_text, len, &m_back));
	assert_string_equal(m_back.position, "R13");
	assert_string_equal(m_back.from, "R12");
	assert_false(strike_body_read(record_text, len, &s_back));

	struct entry e = an_entry();
	struct rejudge_body r = {.of = 12, .job = "Lyric", .position = "C7", .because = "sheet",
	                         .by = {true, 1000}, .verdict = e.verdict, .service = e.service}, r_back;
	rejudge_body_write(begin(), &r);
	len = seal(14, "rejudge", body, t.len);
	assert_true(rejudge_body_read(record_text, len, &r_back));
	assert_int_equal(r_back.of, 12);
	assert_string_equal(r_back.because, "sheet");
	assert_true(r_back.by.known && r_back.by.uid == 1000);
	assert_same_verdict(&r.verdict, &r_back.verdict);
	assert_same_verdict(&r.service, &r_back.service);

	struct note_body n = {.job = "Lyric", .note = "leaks at the end seal"}, n_back;
	note_body_write(begin(), &n);
	assert_string_equal(body, ",\"job\":\"Lyric\",\"position\":null,\"text\":\"leaks at the end seal\"");
	len = seal(15, "note", body, t.len);
	assert_true(note_body_read(record_text, len, &n_back));
	assert_string_equal(n_back.note, n.note);
	assert_string_equal(n_back.position, "");

	/* `of` is a seq, and no other number. */
	static const char *const bad[] = {",\"of\":0", ",\"of\":-1", ",\"of\":1.5", ",\"of\":\"1\"", ""};
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		len = seal(16, "strike", bad[i], strlen(bad[i]));
		assert_false(strike_body_read(record_text, len, &s_back));
	}
}

static void small_kinds(void **state)
{
	(void)state;
	struct log_body l = {.identity = {0, 1, 2, 255}, .bench = "north", .version = "0.1"};
	log_body_write(begin(), &l);
	assert_string_equal(body, ",\"format\":\"tally-record-1\",\"identity\":"
	                          "\"000102ff000000000000000000000000\",\"bench\":\"north\",\"version\":"
	                          "\"0.1\",\"key\":null");
	seal(1, "log", body, t.len);
	uint8_t key[32];
	memset(key, 0xab, sizeof key);
	l.key = key;
	log_body_write(begin(), &l);
	assert_non_null(strstr(body, "\"key\":\"abababababababababababababababababababababababababababababababab\""));

	struct clock_body c = {.boot = "b", .cause = "start", .version = "0.1"};
	clock_body_write(begin(), &c);
	assert_string_equal(body, ",\"boot\":\"b\",\"cause\":\"start\",\"version\":\"0.1\"");
	seal(2, "clock", body, t.len);
	c = (struct clock_body){.boot = "b", .cause = "step", .version = "0.1", .step = -1250000};
	clock_body_write(begin(), &c);
	assert_non_null(strstr(body, ",\"cause\":\"step\",\"version\":\"0.1\",\"step\":-1.25"));

	struct meter_body m = {.meter = "red", .dialect = "scpi", .state = "ready",
	                       .identity = "a,\"b\",0,1.0", .maker = "a", .model = "b", .serial = "",
	                       .firmware = "1.0", .accuracy = NULL};
	meter_body_write(begin(), &m);
	assert_string_equal(body, ",\"meter\":\"red\",\"dialect\":\"scpi\",\"state\":\"ready\","
	                          "\"identity\":\"a,\\\"b\\\",0,1.0\",\"maker\":\"a\",\"model\":\"b\","
	                          "\"serial\":null,\"firmware\":\"1.0\",\"accuracy\":null");
	seal(3, "meter", body, t.len);
	m = (struct meter_body){.meter = "red", .dialect = "scpi", .state = "gone", .stamp_u = 0.0068,
	                        .cause = "unplugged"};
	meter_body_write(begin(), &m);
	assert_string_equal(body, ",\"meter\":\"red\",\"dialect\":\"scpi\",\"state\":\"gone\","
	                          "\"identity\":null,\"accuracy\":null,\"stamp_u\":0.0068,"
	                          "\"cause\":\"unplugged\"");

	struct gap_body g = {.meter = "red", .from = 0, .to = 1500000, .cause = "queue full", .lost = 12};
	gap_body_write(begin(), &g);
	assert_string_equal(body, ",\"meter\":\"red\",\"from\":\"1970-01-01T00:00:00.000000Z\",\"to\":"
	                          "\"1970-01-01T00:00:01.500000Z\",\"cause\":\"queue full\",\"lost\":12");
	g.lost = -1;
	gap_body_write(begin(), &g);
	assert_non_null(strstr(body, "\"lost\":null"));
	seal(4, "gap", body, t.len);

	struct record_head head;
	assert_true(record_head_read(record_text, strlen(record_text), &head));
	assert_int_equal(head.seq, 4);
	assert_true(head.t == 1795600800123456);
	assert_string_equal(head.kind, "gap");
	assert_false(record_head_read("{\"seq\":4}", 9, &head));
}

/* What is known of a meter's limits goes into its records and comes back. */
static void limits_of_use_go_with_the_readings(void **state)
{
	struct limits_of_use use = {.isolated = ANSWER_NO, .ac = AC_AVERAGE, .bandwidth = 1000}, of, got;
	(void)state;
	use.input[FUNCTION_VOLT_DC] = 1e7;
	use.input[FUNCTION_VOLT_AC] = 1e6;
	snprintf(use.test[FUNCTION_FARAD], USE_TEST_SIZE, "1 kHz, \"bridge\"");
	struct meter_body m = {.meter = "red", .dialect = "d", .state = "configured", .use = &use};
	meter_body_write(begin(), &m);
	assert_non_null(strstr(body, ",\"use\":{\"isolated\":false,\"ac\":\"average\","
	                             "\"bandwidth\":1000,\"input\":{\"volt-dc\":10000000,"
	                             "\"volt-ac\":1000000},\"test\":{\"farad\":\"1 kHz, \\\"bridge\\\"\"}}"));
	seal(3, "meter", body, t.len);
	assert_true(use_read(record_text, strlen(record_text), &got));
	assert_memory_equal(&got, &use, sizeof use);
	/* Of one function: what concerns it. */
	use_of(&use, FUNCTION_VOLT_DC, &of);
	assert_near(of.input[FUNCTION_VOLT_DC], 1e7, 0);
	assert_near(of.input[FUNCTION_VOLT_AC], 0, 0);
	assert_near(of.bandwidth, 0, 0);
	assert_int_equal(of.ac, AC_UNKNOWN);
	assert_int_equal(of.isolated, ANSWER_NO);
	assert_string_equal(of.test[FUNCTION_FARAD], "");
	use_of(&use, FUNCTION_AMP_AC, &of);
	assert_int_equal(of.ac, AC_AVERAGE);
	assert_near(of.bandwidth, 1000, 0);
	/* Nothing known: nothing written. */
	memset(&use, 0, sizeof use);
	assert_false(use_known(&use));
	use_write(begin(), &use);
	assert_string_equal(body, "");
	assert_false(use_read("{\"seq\":1}", 9, &got));
	assert_false(use_known(&got));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(entry_exact),      cmocka_unit_test(entry_round_trips),
	    cmocka_unit_test(entry_digits),     cmocka_unit_test(entry_refused),
	    cmocka_unit_test(largest_entry),    cmocka_unit_test(trail_exact),
	    cmocka_unit_test(trail_sizes),      cmocka_unit_test(trail_refused),
	    cmocka_unit_test(job_records),      cmocka_unit_test(position_records),
	    cmocka_unit_test(said_of_entries),  cmocka_unit_test(small_kinds),
	    cmocka_unit_test(limits_of_use_go_with_the_readings),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

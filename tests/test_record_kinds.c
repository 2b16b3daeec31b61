/* SPDX-License-Identifier: MIT */
/* The exact text of the other kinds of records, and back. */
#include "tests/record_stand.h"

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
	    cmocka_unit_test(job_records),
	    cmocka_unit_test(position_records),
	    cmocka_unit_test(said_of_entries),
	    cmocka_unit_test(small_kinds),
	    cmocka_unit_test(limits_of_use_go_with_the_readings),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

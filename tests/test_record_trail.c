/* SPDX-License-Identifier: MIT */
/* The exact text of trail records, and back. */
#include "tests/record_stand.h"

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

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(trail_exact),
	    cmocka_unit_test(trail_sizes),
	    cmocka_unit_test(trail_refused),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/*
 * Pictures of the trail against every single reading: random runs of several meters, with
 * overloads, gaps and a clock that is set back, in random stretches and widths; with the
 * tables of runs, without them (the log of an older program), and after they were lost.
 */
#include "tests/log_help.h"

#include "protocol/record/record.h"
#include "protocol/trade/quantity.h"

#include <math.h>

static uint64_t seed = 20261125;

static uint64_t any(uint64_t below)
{
	seed = seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
	return (seed >> 33) % below;
}

/* ---- a log of random runs ---- */

static const struct {
	const char *meter;
	enum function function;
	int exponent;
} lines[] = {
	{"red", FUNCTION_OHM, -1}, {"red", FUNCTION_FARAD, -12}, {"blue", FUNCTION_VOLT_DC, -3},
};
#define LINES (sizeof lines / sizeof *lines)

static int64_t clock_now;

static size_t random_body(char *buffer, size_t size, size_t line, int most, int64_t *t)
{
	static struct trail_reading reading[TRAIL_READINGS_MAX];
	struct trail_body body = {.meter = lines[line].meter, .function = lines[line].function,
		.digit = {.n = 1, .e = lines[line].exponent}, .reading = reading,
		.n = 1 + (int)any((uint64_t)most)};
	static const char *const position[] = {NULL, "R1", "R2", "C10"};
	struct text text;
	body.position = position[any(4)];
	int64_t at = 0, v = (int64_t)any(20000) - 10000;
	bool silent = any(20) == 0;
	for (int i = 0; i < body.n; i++) {
		v += (int64_t)any(7) - 3;
		reading[i] = (struct trail_reading){.at = at, .v = v, .has_value = !silent && any(10) > 0};
		if (!reading[i].has_value)
			reading[i] = (struct trail_reading){.at = at, .state = READING_OVERLOAD};
		at += (int64_t)any(4) * 600; /* some at the same tick */
	}
	*t = clock_now;
	clock_now += at * TRAIL_TICK_US + (any(5) ? 1000 : (int64_t)any(90000000));
	if (any(150) == 0)
		clock_now -= 20000000; /* the clock was set */
	text_begin(&text, buffer, size);
	trail_body_write(&text, &body);
	assert_false(text.failed);
	return text.len;
}

static void add_runs(struct log *log, int n, int most)
{
	static char buffer[RECORD_BODY_MAX];
	for (int i = 0; i < n; i++) {
		struct fault why = {.text = ""};
		struct log_draft d = {.kind = "trail", .body = buffer};
		d.body_len = random_body(buffer, sizeof buffer, any(LINES), most, &d.t);
		assert_true(log_append(log, &d, 1, NULL, &why) > 0);
		if (any(9) == 0)
			append_one(log, "note", ",\"position\":\"R1\",\"text\":\",\\\"at\\\":[1]\"");
	}
}

/* ---- every reading, from the records ---- */

struct reading_row {
	size_t line;
	char position[NAME_SIZE];
	int64_t t;
	bool has_value;
	double value;
};
static struct reading_row *rows;
static size_t row_count, row_size;

static bool take_record(void *arg, int64_t seq, const char *text, size_t len)
{
	static struct trail_reading reading[TRAIL_READINGS_MAX];
	struct trail_body body;
	struct trail_names names;
	struct record_head head;
	(void)arg, (void)seq;
	assert_true(record_head_read(text, len, &head));
	assert_true(trail_body_read(text, len, &body, &names, reading, TRAIL_READINGS_MAX));
	for (int i = 0; i < body.n; i++) {
		if (row_count == row_size)
			rows = realloc(rows, (row_size = row_size ? 2 * row_size : 4096) * sizeof *rows);
		struct reading_row *r = &rows[row_count++];
		for (r->line = 0; strcmp(lines[r->line].meter, names.meter) ||
		                  lines[r->line].function != body.function; r->line++)
			;
		strcpy(r->position, names.position);
		r->t = head.t + reading[i].at * TRAIL_TICK_US;
		r->has_value = reading[i].has_value;
		r->value = decimal_double((struct decimal){.n = reading[i].v, .e = body.digit.e});
	}
	return true;
}

static void read_all(struct log_reader *r)
{
	struct fault why;
	row_count = 0;
	assert_true(log_reader_records(r, &(struct log_query){.kind = "trail"}, take_record, NULL,
	                               &why) >= 0);
}

/* One column, reading by reading.  Of two readings at one time the one in the later run
 * comes last, as in the log. */
static void compare_column(const struct log_envelope_query *q, size_t line, int i,
                           const struct log_column *c, bool clock_set)
{
	int64_t span = q->to - q->from, n = 0;
	int64_t from = q->from + i * (span / q->columns) + i * (span % q->columns) / q->columns;
	int64_t to = q->from + (i + 1) * (span / q->columns) + (i + 1) * (span % q->columns) / q->columns;
	const struct reading_row *low = NULL, *high = NULL, *first = NULL, *last = NULL;
	for (size_t k = 0; k < row_count; k++) {
		const struct reading_row *r = &rows[k];
		if (r->line != line || r->t < from || r->t >= to ||
		    (q->position && strcmp(q->position, r->position)))
			continue;
		n++;
		if (!r->has_value)
			continue;
		low = !low || r->value < low->value ? r : low;
		high = !high || r->value > high->value ? r : high;
		first = !first || r->t < first->t ? r : first;
		last = !last || r->t >= last->t ? r : last;
	}
	assert_int_equal(c->n, n);
	assert_int_equal(c->has_value, low != NULL);
	if (!low)
		return;
	assert_true(c->low == low->value && c->high == high->value);
	/* Where the clock was set back, runs overlap, and a run is taken as one piece. */
	if (!clock_set)
		assert_true(c->first == first->value && c->last == last->value);
}

static void compare_some(const char *path, int times, bool clock_set)
{
	struct fault why = {.text = ""};
	struct log_reader *r = log_reader_open(path, &why);
	assert_non_null(r);
	read_all(r);
	int64_t t0 = rows[0].t, t1 = rows[0].t;
	for (size_t i = 0; i < row_count; i++) {
		t0 = rows[i].t < t0 ? rows[i].t : t0;
		t1 = rows[i].t > t1 ? rows[i].t : t1;
	}
	static struct log_column column[300];
	for (int k = 0; k < times; k++) {
		size_t line = any(LINES);
		struct log_envelope_query q = {.meter = lines[line].meter,
			.function = function_name(lines[line].function),
			.position = any(3) ? NULL : "R2", .columns = 1 + (int)any(k % 2 ? 8 : 300)};
		/* All of it and more, some of it, or a few seconds. */
		int64_t length = k % 3 == 0 ? t1 - t0 + 2000000 : k % 3 == 1 ? (t1 - t0) / 7 : 3000000;
		q.from = k % 3 == 0 ? t0 - 1000000 : rows[any(row_count)].t - (int64_t)any(2000000);
		q.to = q.from + length;
		if (!log_reader_envelope(r, &q, column, &why))
			fail_msg("%s", why.text);
		for (int i = 0; i < q.columns; i++)
			compare_column(&q, line, i, &column[i], clock_set);
	}
	log_reader_close(r);
}

static bool steps_back(void)
{
	for (size_t i = 1; i < row_count; i++)
		if (rows[i].t < rows[i - 1].t)
			return true;
	return false;
}

static void test_random(void **state)
{
	(void)state;
	const char *path = in_folder("log");
	clock_now = NOW;
	struct log *log = open_sure(path, false);
	add_runs(log, 700, 40);
	add_runs(log, 20, 1000);
	log_close(log);
	compare_some(path, 60, true);
	assert_true(steps_back());

	/* Twice as much, by a daemon that knows nothing of the runs before but by asking. */
	log = open_sure(path, false);
	assert_null(strstr(log_opening(log), "made again"));
	add_runs(log, 300, 60);
	log_close(log);
	compare_some(path, 40, true);

	/* Rows and rollups are those that one stroke would have made. */
	char before[64], after[64];
	const char *sum = "SELECT count(*) || ' ' || sum(seq) || ' ' || sum(n) || ' ' || sum(silence) || "
	                  "' ' || (SELECT count(*) || ' ' || sum(n) || ' ' || sum(since) || ' ' || "
	                  "sum(coalesce(silence, 0) + inner) || ' ' || sum(t) FROM rollup) FROM run";
	assert_true(sql_value(path, sum, before, sizeof before));
	assert_int_equal(sql(path, "DROP TABLE run; DROP TABLE rollup"), SQLITE_OK);
	compare_some(path, 30, true); /* without them */
	log_close(open_sure(path, false));
	assert_true(sql_value(path, sum, after, sizeof after));
	assert_string_equal(before, after);
	compare_some(path, 10, true);

	/* Rows at the end are lost: a copy of an earlier table. */
	assert_int_equal(sql(path, "DELETE FROM run WHERE seq > 900; DELETE FROM rollup WHERE seq > 900"),
	                 SQLITE_OK);
	log_close(open_sure(path, false));
	assert_true(sql_value(path, sum, after, sizeof after));
	assert_string_equal(before, after);
	compare_some(path, 5, true);
}

/* The same without a clock that is set: first and last are compared, too. */
static void test_in_order(void **state)
{
	(void)state;
	const char *path = in_folder("log");
	clock_now = NOW;
	struct log *log = open_sure(path, true);
	static char buffer[RECORD_BODY_MAX];
	int64_t last = clock_now;
	for (int i = 0; i < 900; i++) {
		struct fault why = {.text = ""};
		struct log_draft d = {.kind = "trail", .body = buffer};
		clock_now = clock_now < last ? last : clock_now;
		d.body_len = random_body(buffer, sizeof buffer, any(LINES), i % 50 ? 30 : 1000, &d.t);
		last = clock_now > last ? clock_now : last + 70000000;
		assert_true(log_append(log, &d, 1, NULL, &why) > 0);
	}
	log_close(log);
	compare_some(path, 120, false);
}

/* ---- gaps ---- */

static void add_run_at(struct log *log, int64_t t, const char *position, int n)
{
	static struct trail_reading reading[TRAIL_READINGS_MAX];
	static char buffer[RECORD_BODY_MAX];
	struct trail_body body = {.meter = "red", .function = FUNCTION_OHM, .digit = {.n = 1, .e = 0},
		.reading = reading, .n = n, .position = position};
	struct fault why = {.text = ""};
	struct text text;
	for (int i = 0; i < n; i++)
		reading[i] = (struct trail_reading){.at = i * 2500, .v = 100 + i, .has_value = true};
	text_begin(&text, buffer, sizeof buffer);
	trail_body_write(&text, &body);
	struct log_draft d = {.t = t, .kind = "trail", .body = text.bytes, .body_len = text.len};
	assert_true(log_append(log, &d, 1, NULL, &why) > 0);
}

/* A silence stands in the column where it ended, and nothing stands in those that it
 * covered. */
static void test_silence(void **state)
{
	(void)state;
	const char *path = in_folder("log");
	struct fault why;
	struct log *log = open_sure(path, true);
	add_run_at(log, NOW, NULL, 4);              /* 0 to 0.75 s */
	add_run_at(log, NOW + 1000000, "R1", 4);    /* 1 to 1.75 s */
	add_run_at(log, NOW + 9000000, "R2", 5);    /* 9 to 10 s, after 7.25 s */
	add_run_at(log, NOW + 10250000, "R1", 2);
	for (int i = 0; i < 150; i++) /* beyond a rollup or two; runs of 0.25 s, each second */
		add_run_at(log, NOW + 20000000 + i * 1000000, i % 2 ? "R1" : NULL, 2);
	log_close(log);
	struct log_reader *r = log_reader_open(path, &why);
	struct log_column c[20];
	struct log_envelope_query q = {.meter = "red", .function = "ohm", .from = NOW,
		.to = NOW + 20000000, .columns = 20};
	assert_true(log_reader_envelope(r, &q, c, &why));
	static const struct {
		int n;
		int64_t silence;
	} want[20] = {{4, 0}, {4, 250000}, [9] = {4, 7250000}, [10] = {3, 250000}};
	for (int i = 0; i < 20; i++) {
		assert_int_equal(c[i].n, want[i].n);
		assert_int_equal(c[i].silence, want[i].silence);
	}
	/* Of R1 alone the silence is longer. */
	q.position = "R1";
	assert_true(log_reader_envelope(r, &q, c, &why));
	assert_int_equal(c[10].silence, 8500000);
	assert_int_equal(c[9].n, 0);
	/* All in one column: the longest. */
	q = (struct log_envelope_query){.meter = "red", .function = "ohm", .from = NOW - 5,
		.to = NOW + 400000000, .columns = 1};
	assert_true(log_reader_envelope(r, &q, c, &why));
	assert_int_equal(c[0].n, 4 + 4 + 5 + 2 + 300);
	assert_int_equal(c[0].silence, 9500000);
	/* A meter that is not there, a stretch that is none. */
	q.meter = "green";
	assert_true(log_reader_envelope(r, &q, c, &why));
	assert_int_equal(c[0].n, 0);
	q.to = q.from;
	assert_false(log_reader_envelope(r, &q, c, &why));
	log_reader_close(r);
}

/* ---- what there is, and the records of a stretch ---- */

static bool line_print(void *arg, const struct log_line *l)
{
	char *out = arg;
	sprintf(out + strlen(out), "%s %s %lld %lld %lld..%lld; ", l->meter, l->function,
	        (long long)l->readings, (long long)l->runs, (long long)(l->t - NOW),
	        (long long)(l->until - NOW));
	return true;
}

static bool seq_print(void *arg, int64_t seq, const char *text, size_t len)
{
	char *out = arg;
	(void)text, (void)len;
	sprintf(out + strlen(out), "%lld ", (long long)seq);
	return true;
}

static void look(const char *path, bool tables)
{
	struct fault why;
	struct log_reader *r = log_reader_open(path, &why);
	char out[400] = "";
	assert_true(log_reader_lines(r, NULL, NULL, line_print, out, &why));
	/* Without tables times are known to the second. */
	assert_string_equal(out, tables ? "red ohm 13 3 0..10000000; " : "red ohm 13 3 -123456..10876544; ");
	out[0] = '\0';
	assert_true(log_reader_lines(r, NULL, "R2", line_print, out, &why));
	assert_true(strncmp(out, "red ohm 5 1 ", 12) == 0);
	out[0] = '\0';
	assert_true(log_reader_lines(r, "blue", NULL, line_print, out, &why));
	assert_string_equal(out, "");
	static const struct {
		struct log_trail_query q;
		const char *seqs;
	} rows_of[] = {
		{{.from = INT64_MIN, .to = INT64_MAX}, "2 3 4 "},
		{{.from = INT64_MIN, .to = INT64_MAX, .after = 2}, "3 4 "},
		{{.from = NOW + 750000, .to = NOW + 1000000}, "2 "},
		{{.from = NOW + 750001, .to = NOW + 1000000}, ""},
		{{.from = NOW + 1750000, .to = NOW + 9000001}, "3 4 "},
		{{.from = INT64_MIN, .to = INT64_MAX, .position = "R1"}, "3 "},
		{{.from = INT64_MIN, .to = INT64_MAX, .function = "farad"}, ""},
		{{.from = INT64_MIN, .to = INT64_MAX, .meter = "red", .function = "ohm"}, "2 3 4 "},
	};
	for (size_t i = 0; i < sizeof rows_of / sizeof *rows_of; i++) {
		out[0] = '\0';
		assert_true(log_reader_trail(r, &rows_of[i].q, seq_print, out, &why) >= 0);
		assert_string_equal(out, rows_of[i].seqs);
	}
	log_reader_close(r);
}

static void test_look(void **state)
{
	(void)state;
	const char *path = in_folder("log");
	struct log *log = open_sure(path, true);
	add_run_at(log, NOW, NULL, 4);
	add_run_at(log, NOW + 1000000, "R1", 4);
	add_run_at(log, NOW + 9000000, "R2", 5);
	log_close(log);
	look(path, true);
	assert_int_equal(sql(path, "DROP TABLE run; DROP TABLE rollup"), SQLITE_OK);
	look(path, false);
}

/* ---- a run by itself, cut at every tick ---- */

/* Whatever words the states are, what stands behind them is found. */
static void test_past_states(void **state)
{
	static const char *const states[] = {"", ",\"state\":[]", ",\"state\":[[0,\"overload\"]]",
		",\"state\":[[0,\"overload\"],[1,\"hold\"]]", ",\"state\":[[0,\"]]\"],[1,\"hold\"]]",
		",\"state\":[[0,\"a\\\"]]\"],[1,\"]]\"]]", ",\"state\":[[0,\"a]]\"],[1,\"b,\"]]",
		",\"state\":[[0,\"\"]]", ",\"state\":[ [0, \"overload\" ] ]"};
	(void)state;
	for (size_t i = 0; i < sizeof states / sizeof *states; i++) {
		char text[600];
		struct trail_summary run;
		note_row("%s", states[i]);
		snprintf(text, sizeof text, "{\"seq\":2,\"t\":\"2026-01-01T00:00:00.000000Z\",\"kind\":\"trail\","
		         "\"meter\":\"red\",\"function\":\"ohm\",\"position\":null,\"digit\":0.1,\"at\":[0,7],"
		         "\"v\":[12,15]%s,\"low\":12,\"high\":15,\"first\":12,\"last\":15,\"n\":2}", states[i]);
		assert_true(trail_summary_read(text, strlen(text), &run));
		assert_int_equal(run.all.n, 2);
		assert_true(run.all.has_value && run.all.high == 1.5);
	}
}

static void test_parts(void **state)
{
	(void)state;
	static char text[] =
	    "{\"seq\":7,\"t\":\"2026-11-25T10:00:00.000000Z\",\"kind\":\"trail\",\"meter\":\"red\","
	    "\"function\":\"ohm\",\"position\":null,\"digit\":0.1,\"at\":[0,0,5,5,5,12,100,1000,1000],"
	    "\"v\":[-5,null,7,3,-12,null,40,1234567,9],\"state\":[[1,\"overload\"],[5,\"overload\"]],"
	    "\"low\":-12,\"high\":1234567,\"first\":-5,\"last\":9,\"n\":9}";
	static const int64_t at[] = {0, 0, 5, 5, 5, 12, 100, 1000, 1000};
	static const struct {
		bool there;
		double v;
	} v[] = {{true, -0.5}, {false, 0}, {true, 0.7}, {true, 0.3}, {true, -1.2}, {false, 0},
		{true, 4}, {true, 123456.7}, {true, 0.9}};
	struct trail_summary run;
	assert_true(trail_summary_read(text, strlen(text), &run));
	assert_string_equal(run.meter, "red");
	assert_int_equal(run.span, 100000);
	assert_int_equal(run.all.n, 9);
	assert_true(run.all.low == -1.2 && run.all.high == 123456.7 && run.all.first == -0.5 &&
	            run.all.last == 0.9);
	static const int64_t cut[] = {-1, 0, 1, 499, 500, 501, 599, 600, 1199, 1200, 1201, 9999, 10000,
		10001, 99999, 100000, 100001, 200000};
	for (size_t a = 0; a < sizeof cut / sizeof *cut; a++)
		for (size_t b = a; b < sizeof cut / sizeof *cut; b++) {
			struct trail_extremes x, want = {.n = 0};
			for (int i = 0; i < 9; i++) {
				int64_t t = at[i] * TRAIL_TICK_US;
				if (t < cut[a] || t >= cut[b])
					continue;
				want.n++;
				if (!v[i].there)
					continue;
				if (!want.has_value || v[i].v < want.low)
					want.low = v[i].v;
				if (!want.has_value || v[i].v > want.high)
					want.high = v[i].v;
				if (!want.has_value)
					want.first = v[i].v;
				want.last = v[i].v;
				want.has_value = true;
			}
			assert_true(trail_summary_read(text, strlen(text), &run));
			trail_summary_skip(&run, run.t + cut[a]);
			trail_summary_part(&run, run.t + cut[b], &x);
			assert_int_equal(x.n, want.n);
			assert_int_equal(x.has_value, want.has_value);
			if (x.has_value)
				assert_true(x.low == want.low && x.high == want.high && x.first == want.first &&
				            x.last == want.last);
		}
	/* What is not ours is not taken: cut anywhere it never reads beyond its end. */
	for (size_t len = 0; len < strlen(text); len++) {
		char *piece = malloc(len + 1);
		memcpy(piece, text, len);
		if (trail_summary_read(piece, len, &run)) {
			struct trail_extremes x;
			trail_summary_skip(&run, INT64_MIN / 2);
			trail_summary_part(&run, INT64_MAX / 2, &x);
		}
		free(piece);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_setup_teardown(test_random, folder_make_fast, folder_drop),
		cmocka_unit_test_setup_teardown(test_in_order, folder_make_fast, folder_drop),
		cmocka_unit_test_setup_teardown(test_silence, folder_make_fast, folder_drop),
		cmocka_unit_test_setup_teardown(test_look, folder_make_fast, folder_drop),
		cmocka_unit_test(test_past_states),
		cmocka_unit_test(test_parts),
	};
	int failed = cmocka_run_group_tests(tests, NULL, NULL);
	free(rows);
	return failed;
}

/* SPDX-License-Identifier: MIT */
/* What the log answers of itself: records by kind and meter, full pages, the views of the sqlite3 shell. */
#include "tests/log_help.h"

struct seen {
	int n, stop_at;
	int64_t first, last;
	bool falling, rising;
	struct log *log; /* appends meanwhile */
};

static bool see(void *arg, int64_t seq, const char *text, size_t len)
{
	struct seen *s = arg;
	char head[40];
	snprintf(head, sizeof head, "{\"seq\":%d,", (int)seq);
	assert_int_equal(strlen(text), len);
	assert_memory_equal(text, head, strlen(head));
	s->rising = s->n == 0 || (s->rising && seq > s->last);
	s->falling = s->n == 0 || (s->falling && seq < s->last);
	if (s->n++ == 0)
		s->first = seq;
	s->last = seq;
	if (s->log && s->n % 500 == 1) {
		append_one(s->log, "note", ",\"meanwhile\":true");
		log_flush(s->log);
	}
	return s->n != s->stop_at;
}

/* Record n: kind by n % 4, position R(n % 10), meter by n % 3; record 1 is log. */
static const char *const kinds[] = { "trail", "check", "strike", "note" }; /* no entries: the log signs for itself after a hundred */
static const char *const meters[] = { "red", "blue", "grey" };

static struct log *make_big(const char *path, int last)
{
	struct log *log = open_sure(path, true);
	static char body[1000][400];
	static struct log_draft d[1000];
	struct fault why;
	for (int seq = 2; seq <= last;) {
		int n = 0;
		for (; n < 1000 && seq <= last; n++, seq++) {
			snprintf(body[n], sizeof body[n], ",\"position\":\"R%d\",\"meter\":\"%s\"", seq % 10,
			         meters[seq % 3]);
			d[n] = draft(kinds[seq % 4], body[n]);
		}
		assert_true(log_append(log, d, (size_t)n, NULL, &why) > 0);
	}
	return log;
}

/* The same question, answered by counting. */
static int expected(const struct log_query *q, int last, int64_t *first, int64_t *end)
{
	int n = 0;
	int64_t until = q->until && q->until < last ? q->until : last;
	*first = *end = 0;
	for (int64_t k = 0; k < last; k++) {
		int64_t seq = q->newest_first ? last - k : k + 1;
		const char *kind = seq == 1 ? "log" : kinds[seq % 4];
		char position[8], list[64];
		snprintf(position, sizeof position, "R%d", (int)(seq % 10));
		snprintf(list, sizeof list, ",%s,", q->kind ? q->kind : kind);
		char item[16];
		snprintf(item, sizeof item, ",%s,", kind);
		if (seq <= q->after || seq > until || !strstr(list, item) ||
		    (q->position && (seq == 1 || strcmp(q->position, position) != 0)) ||
		    (q->meter && (seq == 1 || strcmp(q->meter, meters[seq % 3]) != 0)))
			continue;
		if (q->limit && n == q->limit)
			break;
		if (n++ == 0)
			*first = seq;
		*end = seq;
	}
	return n;
}

static void queries_answer_what_was_asked(void **state)
{
	(void)state;
	enum { LAST = 23456 };
	struct fault why = { .text = "" };
	struct log *log = make_big(":memory:", LAST);
	struct log_reader *r = log_reader_open(log_path(log), &why);
	assert_non_null(r);
	static const struct log_query rows[] = {
		{ .kind = NULL },
		{ .after = 100 },
		{ .after = LAST - 1 },
		{ .after = LAST },
		{ .after = LAST + 1 },
		{ .after = INT64_MAX },
		{ .after = -5, .limit = 3 },
		{ .until = 1 },
		{ .until = 5000, .after = 4000 },
		{ .until = 10, .after = 20 },
		{ .limit = 1 },
		{ .limit = 1000 },
		{ .limit = 1001 },
		{ .kind = "log" },
		{ .kind = "check" },
		{ .kind = "check,strike" },
		{ .kind = "strike,check", .after = 20000 },
		{ .kind = "none" },
		{ .kind = "check", .position = "R3" },
		{ .kind = "check", .position = "R3", .meter = "red" },
		{ .kind = "trail", .meter = "blue", .limit = 700 },
		{ .kind = "trail", .meter = "blue", .after = LAST - 30 },
		{ .position = "R7" },
		{ .meter = "grey", .limit = 5000 },
		{ .position = "R7", .meter = "grey" },
		{ .position = "X" },
		{ .kind = "check,trail,note", .until = 15000, .after = 3000 },
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		for (int newest = 0; newest < 2; newest++) {
			struct log_query q = rows[i];
			struct seen s = { 0 };
			int64_t first, last;
			q.newest_first = newest;
			int want = expected(&q, LAST, &first, &last);
			int64_t n = log_reader_records(r, &q, see, &s, &why);
			if (n != want || s.n != want || s.first != first || s.last != last) {
				note_row("row %d newest %d: %d records from %d to %d, want %d from %d to %d",
				         (int)i, newest, (int)n, (int)s.first, (int)s.last, want, (int)first,
				         (int)last);
				fail();
			}
			assert_true(want < 2 || (newest ? s.falling : s.rising));
		}
	struct seen s = { .stop_at = 1500 };
	struct log_query q = { 0 };
	assert_int_equal(log_reader_records(r, &q, see, &s, &why), 1500);
	q.kind = "check,trail";
	s = (struct seen){ .stop_at = 1500 };
	assert_int_equal(log_reader_records(r, &q, see, &s, &why), 1500);
	q.kind = "a,b,c,d,e,f,g,h,i,j,k,l,m,n,o,p,q";
	assert_int_equal(log_reader_records(r, &q, see, &s, &why), -1);
	assert_non_null(strstr(why.text, "16 kinds"));
	/* What is called may append: no read transaction is open meanwhile. */
	s = (struct seen){ .log = log };
	q.kind = "check";
	assert_true(log_reader_records(r, &q, see, &s, &why) > 5000);
	s = (struct seen){ .log = log };
	q.kind = NULL;
	assert_true(log_reader_records(r, &q, see, &s, &why) >= LAST);
	assert_true(log_last_seq(log) > LAST + 50);
	assert_int_equal(log_health(log), LOG_GOOD);
	log_reader_close(r);
	log_close(log);
}

static void big_records_fill_pages(void **state)
{
	(void)state;
	struct fault why = { .text = "" };
	static char body[LOG_TEXT_MAX - 128];
	struct log *log = open_sure(":memory:", true);
	memset(body, 'x', sizeof body);
	memcpy(body, ",\"a\":\"", 6);
	body[sizeof body - 1] = '"';
	struct log_draft d = { NOW, "note", body, sizeof body };
	for (int i = 0; i < 9; i++) {
		struct got *got = calloc(1, sizeof *got);
		assert_true(log_append(log, &d, 1, NULL, &why) > 0);
		log_collect(log, got_one, got);
		assert_int_equal(got->durable, 1);
		free(got);
	}
	struct log_reader *r = log_reader_open(log_path(log), &why);
	for (int newest = 0; newest < 2; newest++) {
		struct seen s = { 0 };
		struct log_query q = { .newest_first = newest };
		assert_int_equal(log_reader_records(r, &q, see, &s, &why), 10);
		assert_int_equal(s.last, newest ? 1 : 10);
	}
	log_reader_close(r);
	log_close(log);
}

/* ---- views ---- */

static void views_hold_with_members_missing(void **state)
{
	(void)state;
	static const char *const records[][2] = {
		{ "job", ",\"job\":\"amp\",\"state\":\"started\",\"open\":true,\"unit\":\"cold\"" },
		{ "position", ",\"job\":\"amp\",\"position\":\"R1\",\"sheet\":{\"nominal\":\"100k\"}" },
		{ "position", ",\"job\":\"amp\",\"position\":\"R1\",\"sheet\":{\"nominal\":\"120k\"}" },
		{ "position", ",\"job\":\"amp\",\"position\":\"R2\"" },
		{ "entry", ",\"job\":\"amp\",\"position\":\"R1\",\"value\":121000,\"verdict\":\"within\"" },
		{ "entry", ",\"job\":\"amp\",\"position\":\"R2\",\"value\":null" },
		{ "strike", ",\"of\":7,\"because\":\"slipped\"" },
		{ "move", ",\"of\":6,\"position\":\"R9\"" },
		{ "rejudge", ",\"of\":6,\"verdict\":\"outside\",\"side\":\"high\"" },
		{ "trail", ",\"meter\":\"red\",\"position\":\"R1\",\"function\":\"ohm\",\"digit\":100,"
		           "\"at\":[0,2500,12345],\"v\":[1210,null,-5]" },
		{ "trail", "" },
		{ "trail", ",\"v\":[1,2]" },
		{ "trail", ",\"v\":7,\"digit\":2" },
		{ "entry", "" },
		{ "position", "" },
		{ "job", "" },
		{ "strike", "" },
		{ "job", ",\"job\":\"amp\",\"state\":\"closed\",\"open\":false,\"unit\":\"cold\"" },
	};
	static const struct {
		const char *query, *want;
	} rows[] = {
		{ "SELECT count(*) FROM entry", "3" },
		{ "SELECT position || ' ' || value || ' ' || verdict || ' ' || side FROM entry WHERE seq = 6",
		  "R9 121000 outside high" },
		{ "SELECT struck FROM entry WHERE seq = 7", "slipped" },
		{ "SELECT count(*) FROM entry WHERE struck IS NULL", "2" },
		{ "SELECT nominal FROM sheet WHERE job = 'amp' AND position = 'R1'", "120k" },
		{ "SELECT count(*) FROM sheet WHERE job = 'amp'", "2" },
		{ "SELECT open || ' ' || unit || ' ' || seq FROM job WHERE job = 'amp'", "0 cold 19" },
		{ "SELECT group_concat(i || ':' || seconds || ':' || coalesce(value, 'none'), ' ') "
		  "FROM reading WHERE seq = 11", "0:0.0:121000 1:0.25:none 2:1.2345:-500" },
		{ "SELECT meter || ' ' || position || ' ' || function || ' ' || t FROM reading "
		  "WHERE seq = 11 AND i = 0", "red R1 ohm 2026-11-25T10:00:00.123456Z" },
		{ "SELECT count(*) FROM reading WHERE seq = 13 AND value IS NULL", "2" },
		{ "SELECT count(*) FROM reading", "6" },
	};
	const char *path = in_folder("a.db");
	struct log *log = open_sure(path, true);
	for (size_t i = 0; i < sizeof records / sizeof *records; i++)
		assert_int_equal(append_one(log, records[i][0], records[i][1]), i + 1);
	log_close(log);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char value[200];
		if (!sql_value(path, rows[i].query, value, sizeof value) ||
		    strcmp(value, rows[i].want) != 0) {
			note_row("%s: %s", rows[i].query, value);
			fail();
		}
	}
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, folder_make_fast, folder_drop)
	const struct CMUnitTest tests[] = {
		T(queries_answer_what_was_asked),
		T(big_records_fill_pages),
		T(views_hold_with_members_missing),
	};
	return cmocka_run_group_tests_name("log queries", tests, NULL, NULL);
}

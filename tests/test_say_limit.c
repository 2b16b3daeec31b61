/* SPDX-License-Identifier: MIT */
/*
 * How much one source may say: ten lines in any minute, the tenth of them a count.
 */
#include "tests/check.h"

#include "daemon/say.h"
#include "daemon/say_limit.h"

#include <stdlib.h>
#include <unistd.h>

#define SECOND INT64_C(1000000)

/* Lines that came out within the minute before `t`, the counts among them. */
struct heard {
	int64_t at[4096];
	int lines;
	uint64_t left_out; /* counted by summaries */
	int summaries;
};

static void hear(struct heard *h, int64_t t)
{
	assert_true(h->lines < 4096);
	h->at[h->lines++] = t;
}

static void say_it(struct say_limit *l, struct heard *h, int64_t t, const char *text)
{
	uint64_t left_out;
	int64_t since;
	if (say_limit_due(l, t, &left_out, &since)) {
		hear(h, t);
		h->left_out += left_out;
		h->summaries++;
	}
	if (text && say_limit_take(l, t, text))
		hear(h, t);
}

static int most_in_a_minute(const struct heard *h)
{
	int most = 0;
	for (int i = 0, from = 0; i < h->lines; i++) {
		while (h->at[i] - h->at[from] >= SAY_LIMIT_US)
			from++;
		if (i - from + 1 > most)
			most = i - from + 1;
	}
	return most;
}

static void test_flood(void **state)
{
	/* Lines come so often, for so long: whatever the pattern, ten a minute. */
	static const struct { const char *legend; int64_t every; int lines; int distinct; } rows[] = {
	    {"a line that flaps 20 times a second", SECOND / 20, 6000, 2},
	    {"a new line each second", SECOND, 600, 600},
	    {"the same line each second", SECOND, 600, 1},
	    {"every 6 s: one too many", 6 * SECOND, 100, 100},
	    {"every 7 s: all of them", 7 * SECOND, 100, 100},
	    {"bunches", SECOND / 1000, 3000, 7},
	};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct say_limit l = {0};
		struct heard *h = calloc(1, sizeof *h);
		int64_t t = 5 * SECOND;
		char text[32];
		print_message("row: %s\n", rows[i].legend);
		for (int k = 0; k < rows[i].lines; k++, t += rows[i].every) {
			snprintf(text, sizeof text, "line %d", k % rows[i].distinct);
			say_it(&l, h, t, text);
		}
		for (int k = 0; k < 130; k++, t += SECOND)
			say_it(&l, h, t, NULL);
		assert_true(most_in_a_minute(h) <= SAY_LIMIT_LINES);
		/* Nothing is lost without a count. */
		assert_int_equal((uint64_t)(h->lines - h->summaries) + h->left_out, rows[i].lines);
		assert_true(h->lines > 0);
		if (rows[i].every == 7 * SECOND)
			assert_int_equal(h->lines, rows[i].lines);
		free(h);
	}
}

static void test_edges(void **state)
{
	struct say_limit l = {0};
	uint64_t left_out = 0;
	int64_t since = 0;
	(void)state;
	/* The first nine at once; the last of what was left out is told with the count. */
	for (int i = 0; i < 9; i++) {
		char text[16];
		snprintf(text, sizeof text, "%d", i);
		assert_true(say_limit_take(&l, i, text));
	}
	assert_false(say_limit_take(&l, 10, "tenth"));
	assert_false(say_limit_take(&l, 11, "the state in the end"));
	assert_false(say_limit_due(&l, 59 * SECOND, &left_out, &since));
	assert_true(say_limit_due(&l, 60 * SECOND + 20, &left_out, &since));
	assert_int_equal(left_out, 2);
	assert_int_equal(since, 10);
	assert_string_equal(l.last, "the state in the end");
	assert_false(say_limit_due(&l, 60 * SECOND + 21, &left_out, &since));
	/* What happens again after a minute is news. */
	struct say_limit again = {0};
	assert_true(say_limit_take(&again, 0, "x"));
	assert_false(say_limit_take(&again, SECOND, "x"));
	assert_true(say_limit_take(&again, 61 * SECOND, "x"));
}

/* Lines on standard error, of a meter that says the same 30 times. */
static int lines_of_thirty(void)
{
	int lines = 0, kept = dup(STDERR_FILENO);
	FILE *heard = tmpfile();
	assert_non_null(heard);
	assert_true(kept >= 0 && dup2(fileno(heard), STDERR_FILENO) >= 0);
	for (int i = 0; i < 30; i++)
		say_of(&(struct say_about){.event = "line-open", .meter = "red"}, "red: line open");
	fflush(stderr);
	dup2(kept, STDERR_FILENO);
	close(kept);
	rewind(heard);
	for (int c; (c = fgetc(heard)) != EOF;)
		lines += c == '\n';
	fclose(heard);
	return lines;
}

/* tallyd --say-all. */
static void test_all(void **state)
{
	(void)state;
	assert_int_equal(lines_of_thirty(), 1);
	say_all();
	assert_int_equal(lines_of_thirty(), 30);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_flood),
	    cmocka_unit_test(test_edges),
	    cmocka_unit_test(test_all),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

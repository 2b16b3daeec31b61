/* SPDX-License-Identifier: MIT */
/*
 * Lots: numbers by touch, and pairs held against a search of every way to pair.
 */
#include "tests/check.h"

#include "protocol/guide/guide.h"

#include <stdlib.h>

static void plan_lot(struct guide_plan *p, int fits)
{
	guide_plan_empty(p);
	snprintf(p->of, sizeof p->of, "4k7");
	p->function = FUNCTION_OHM;
	p->nominal = 4700;
	p->low = 4700 * 0.9;
	p->high = 4700 * 1.1;
	p->fits = fits;
	for (int i = 0; i < fits; i++)
		snprintf(p->fit[i], NAME_SIZE, "R%d", i + 1);
}

static void begin(struct guide *g, int fits)
{
	struct guide_plan p;
	struct fault why;
	struct guide_out out;
	plan_lot(&p, fits);
	assert_true(guide_begin(g, GUIDE_LOT, &p, &why));
	guide_input(g, &(struct guide_input){.act = GUIDE_GO}, &out);
	assert_string_equal(guide_step_word(g), "touch");
}

static int64_t clock_of(int n)
{
	return (int64_t)n * 3000000;
}

/* Open, a reading on the way, settled; what was said. */
static void touch(struct guide *g, int n, double ohms, double u, struct guide_out *out)
{
	struct guide_out ignored;
	struct guide_input open = {.act = GUIDE_READING, .t = clock_of(n), .over = true};
	struct guide_input in = {.act = GUIDE_READING, .t = clock_of(n) + 1000000, .x = {ohms * 1.01, u}};
	guide_input(g, &open, &ignored);
	guide_input(g, &in, &ignored);
	assert_string_equal(ignored.text, "");
	in.act = GUIDE_SETTLED;
	in.x.value = ohms;
	in.t += 500000;
	guide_input(g, &in, out);
}

static void go(struct guide *g, struct guide_out *out)
{
	struct guide_input open = {.act = GUIDE_READING, .t = INT64_MAX / 4, .over = true};
	struct fault why;
	guide_input(g, &open, out);
	assert_true(guide_may_go(g, &why));
	guide_input(g, &(struct guide_input){.act = GUIDE_GO}, out);
}

/* ---- pairs against every way to pair ---- */

static double percent(double a, double b)
{
	return 200 * fabs(a - b) / (a + b);
}

/* The least sum of n pairs of those not used. */
static double search(const double *x, int count, int n, unsigned used)
{
	double best = 1e300;
	int i = 0;
	if (n == 0)
		return 0;
	while (i < count && (used >> i & 1))
		i++;
	if (i == count)
		return 1e300;
	best = search(x, count, n, used | 1u << i);
	for (int j = i + 1; j < count; j++) {
		if (used >> j & 1)
			continue;
		double sum = percent(x[i], x[j]) + search(x, count, n - 1, used | 1u << i | 1u << j);
		best = sum < best ? sum : best;
	}
	return best;
}

static double sum_of(const struct guide *g, int n, const double *x)
{
	struct guide_pair pair[GUIDE_LOT_MAX / 2];
	double sum = 0;
	bool used[GUIDE_LOT_MAX + 1] = {false};
	assert_int_equal(guide_lot_pairs(g, n, pair), n);
	for (int i = 0; i < n; i++) {
		assert_false(used[pair[i].a] || used[pair[i].b] || pair[i].a == pair[i].b);
		used[pair[i].a] = used[pair[i].b] = true;
		assert_near(pair[i].percent, percent(x[pair[i].a - 1], x[pair[i].b - 1]), 1e-9);
		assert_true(i == 0 || pair[i].percent >= pair[i - 1].percent);
		sum += pair[i].percent;
	}
	return sum;
}

static void pairs_are_the_least_of_all(void **state)
{
	(void)state;
	unsigned seed = 5;
	for (int round = 0; round < 300; round++) {
		struct guide g;
		struct guide_out out;
		double x[10];
		int count = 2 + round % 9;
		begin(&g, 0);
		g.plan.low = 100;
		g.plan.high = 1e6;
		for (int i = 0; i < count; i++) {
			seed = seed * 1103515245u + 12345u;
			/* Narrow, wide (where nested pairs may be the least), and with equal ones. */
			double spread = round % 3 == 0 ? 0.02 : 8;
			x[i] = 4700 * (1 + spread * (double)(seed >> 16 & 0x3ff) / 1024);
			x[i] = round % 5 == 0 ? floor(x[i] / 300) * 300 : x[i];
			touch(&g, i, x[i], 1, &out);
		}
		for (int n = 1; n <= count / 2; n++)
			assert_near(sum_of(&g, n, x), search(x, count, n, 0), 1e-9);
	}
}

/* The nearest two first would take 2 and 3, and leave 1 and 4 for each other. */
static void not_the_nearest_two_first(void **state)
{
	(void)state;
	struct guide g;
	struct guide_out out;
	struct guide_pair pair[2];
	begin(&g, 4);
	touch(&g, 0, 4600, 1, &out);
	touch(&g, 1, 4650, 1, &out);
	touch(&g, 2, 4690, 1, &out);
	touch(&g, 3, 4740, 1, &out);
	assert_int_equal(guide_lot_pairs(&g, 2, pair), 2);
	assert_int_equal(pair[0].a + pair[0].b, 7);
	assert_int_equal(pair[1].a, 1);
	assert_int_equal(pair[1].b, 2);
}

static void below_u_is_no_difference(void **state)
{
	(void)state;
	static const struct {
		double a, b, u;
		bool apart;
	} row[] = {
	    {4700, 4701, 1, false}, {4700, 4702.8, 1, false}, {4700, 4703, 1, true}, {4700, 4703, 10, false},
	    {4700, 4750, 10, true}};
	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		struct guide g;
		struct guide_out out;
		struct guide_pair pair;
		char text[GUIDE_TEXT];
		begin(&g, 2);
		touch(&g, 0, row[i].a, row[i].u, &out);
		touch(&g, 1, row[i].b, row[i].u, &out);
		assert_int_equal(guide_lot_pairs(&g, 1, &pair), 1);
		assert_int_equal(pair.apart, row[i].apart);
		go(&g, &out);
		guide_say(&g, text, sizeof text);
		assert_int_equal(strstr(text, "no difference to this meter") == NULL, row[i].apart);
		assert_non_null(strstr(text, "1 and 2 for R1 and R2"));
	}
}

/* ---- numbers ---- */

static void each_touch_is_a_number(void **state)
{
	(void)state;
	struct guide g;
	struct guide_out out;
	struct fault why;
	begin(&g, 2);
	touch(&g, 0, 4712.3, 5, &out);
	assert_string_equal(out.text, "1: 4.7123 kohm");
	assert_true(out.keep);
	touch(&g, 1, 5400, 5, &out);
	assert_string_equal(out.text, "2: 5.4 kohm, outside: 14.9 % high");
	touch(&g, 2, 4000, 5, &out);
	assert_string_equal(out.text, "3: 4 kohm, outside: 14.9 % low");
	touch(&g, 3, 47, 5, &out);
	assert_string_equal(out.text, ""); /* nothing between the probes */
	touch(&g, 3, 300, 5, &out);
	assert_non_null(strstr(out.text, "not counted"));
	struct guide_input open = {.act = GUIDE_READING, .t = clock_of(4), .over = true};
	guide_input(&g, &open, &out);
	assert_false(guide_may_go(&g, &why));
	assert_non_null(strstr(why.text, "1 of the 3"));
	touch(&g, 5, 4720, 5, &out);
	assert_string_equal(out.text, "4: 4.72 kohm");
	go(&g, &out);
	assert_string_equal(guide_step_word(&g), "pairs");
	go(&g, &out);
	assert_true(out.ended);
}

static void the_same_touch_is_counted_once_by_hand(void **state)
{
	(void)state;
	struct guide g;
	struct guide_out out;
	begin(&g, 0);
	/* Keeps moving: the person says it. */
	struct guide_input in = {.act = GUIDE_READING, .t = 100, .over = true};
	guide_input(&g, &in, &out);
	in = (struct guide_input){.act = GUIDE_READING, .t = 200, .x = {4690, 4}};
	guide_input(&g, &in, &out);
	guide_input(&g, &(struct guide_input){.act = GUIDE_GO, .t = 300}, &out);
	assert_string_equal(out.text, "1: 4.69 kohm, as it stood");
	assert_string_equal(guide_step_word(&g), "touch");
	touch(&g, 3, 4700, 5, &out);
	/* Still between the probes, and counted: enough. */
	guide_input(&g, &(struct guide_input){.act = GUIDE_GO, .t = clock_of(4)}, &out);
	assert_string_equal(guide_step_word(&g), "pairs");
}

static void a_number_once_more(void **state)
{
	(void)state;
	struct guide g;
	struct guide_out out;
	begin(&g, 0);
	for (int i = 0; i < 3; i++)
		touch(&g, i, 4700 + i, 1, &out);
	guide_input(&g, &(struct guide_input){.act = GUIDE_BACK, .number = 9}, &out);
	assert_non_null(strstr(out.text, "there is no part 9"));
	guide_input(&g, &(struct guide_input){.act = GUIDE_BACK, .number = 2}, &out);
	assert_string_equal(out.text, "2 once more: touch it");
	touch(&g, 5, 4650, 1, &out);
	assert_string_equal(out.text, "2: 4.65 kohm");
	touch(&g, 6, 4710, 1, &out);
	assert_string_equal(out.text, "4: 4.71 kohm");
	guide_input(&g, &(struct guide_input){.act = GUIDE_BACK}, &out);
	assert_string_equal(out.text, "4 once more: touch it");
	/* Further back, part by part; what was not touched again stays. */
	guide_input(&g, &(struct guide_input){.act = GUIDE_BACK}, &out);
	assert_string_equal(out.text, "3 once more: touch it");
	guide_input(&g, &(struct guide_input){.act = GUIDE_BACK}, &out);
	assert_string_equal(out.text, "2 once more: touch it");
	guide_input(&g, &(struct guide_input){.act = GUIDE_BACK}, &out);
	assert_string_equal(out.text, "1 once more: touch it");
	guide_input(&g, &(struct guide_input){.act = GUIDE_BACK}, &out);
	assert_non_null(strstr(out.text, "part 1 is the first one"));
	touch(&g, 6, 4640, 1, &out);
	assert_string_equal(out.text, "1: 4.64 kohm");
	assert_int_equal(out.part, 1);
	guide_input(&g, &(struct guide_input){.act = GUIDE_BACK, .number = 3}, &out);
	guide_input(&g, &(struct guide_input){.act = GUIDE_READING, .t = (int64_t)7e6 - 1000, .over = true}, &out);
	go(&g, &out);
	assert_string_equal(out.text, "3 stays as it is: touch 5");
	assert_string_equal(guide_step_word(&g), "touch");
	/* From the pairs back to more touches. */
	touch(&g, 7, 4711, 1, &out);
	go(&g, &out);
	guide_input(&g, &(struct guide_input){.act = GUIDE_BACK}, &out);
	assert_string_equal(guide_step_word(&g), "touch");
}

static void a_lot_is_bounded(void **state)
{
	(void)state;
	struct guide g;
	struct guide_out out;
	struct guide_pair pair[GUIDE_LOT_MAX / 2];
	begin(&g, 0);
	for (int i = 0; i < GUIDE_LOT_MAX; i++) {
		touch(&g, i, 4500 + (i * 37) % 400, 1, &out);
		assert_true(out.keep);
	}
	touch(&g, GUIDE_LOT_MAX, 4700, 1, &out);
	assert_non_null(strstr(out.text, "at most 40"));
	assert_int_equal(guide_lot_pairs(&g, 100, pair), GUIDE_LOT_MAX / 2);
}

static void what_a_plan_needs(void **state)
{
	(void)state;
	struct guide_plan p;
	struct guide g;
	struct fault why;
	plan_lot(&p, 3);
	assert_false(guide_begin(&g, GUIDE_LOT, &p, &why));
	plan_lot(&p, 2);
	snprintf(p.fit[1], NAME_SIZE, "R1");
	assert_false(guide_begin(&g, GUIDE_LOT, &p, &why));
	assert_non_null(strstr(why.text, "twice"));
	plan_lot(&p, 0);
	p.nominal = NAN;
	assert_false(guide_begin(&g, GUIDE_LOT, &p, &why));
}

/* After every touch: the state written and read again goes on the same. */
static void taken_up_at_any_touch(void **state)
{
	(void)state;
	struct guide g, again;
	struct guide_out out;
	struct guide_pair one[20], two[20];
	char text[16384], end[4096], end2[4096];
	begin(&g, 0);
	for (int i = 0; i < 12; i++) {
		struct text t;
		struct fault why;
		touch(&g, i, 4600 + (i * 53) % 190, 2, &out);
		text_begin(&t, text, sizeof text);
		text_puts(&t, "{\"x\":0");
		guide_state_write(&g, &t);
		text_puts(&t, "}");
		assert_false(t.failed);
		assert_true(json_valid(text, t.len, NULL));
		assert_true(guide_begin(&again, GUIDE_LOT, &g.plan, &why));
		assert_true(guide_state_read(&again, text, t.len));
		assert_string_equal(guide_step_word(&again), "touch");
		int n = guide_lot_pairs(&g, 20, one);
		assert_int_equal(guide_lot_pairs(&again, 20, two), n);
		for (int k = 0; k < n; k++)
			assert_true(one[k].a == two[k].a && one[k].b == two[k].b && one[k].apart == two[k].apart);
		g = again;
	}
	go(&g, &out);
	struct text t;
	text_begin(&t, end, sizeof end);
	text_puts(&t, "{\"x\":0");
	guide_result_write(&g, &t);
	text_puts(&t, "}");
	assert_true(json_valid(end, t.len, NULL));
	struct slice pairs = json_member(end, t.len, "result.pairs");
	assert_false(json_absent(json_element(pairs, 5)));
	assert_true(json_absent(json_element(pairs, 6)));
	text_begin(&t, end2, sizeof end2);
	guide_dry(&g, &t);
	assert_non_null(strstr(end2, "caution: "));
	assert_non_null(strstr(end2, "3  pairs: "));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(pairs_are_the_least_of_all), cmocka_unit_test(not_the_nearest_two_first),
	    cmocka_unit_test(below_u_is_no_difference), cmocka_unit_test(each_touch_is_a_number),
	    cmocka_unit_test(the_same_touch_is_counted_once_by_hand),
	    cmocka_unit_test(a_number_once_more), cmocka_unit_test(a_lot_is_bounded),
	    cmocka_unit_test(what_a_plan_needs), cmocka_unit_test(taken_up_at_any_touch)};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/*
 * Charts: axes, times as people write them, gaps that stay open, and whole pictures against
 * kept ones (tests/charts/; `test_chart --rebuild` writes them anew: look at them, before you
 * commit).  check_chart.py reads the SVG as XML and the numbers back out of its paths.
 */
#include "client/chart.h"
#include "client/moment.h"
#include "tests/check.h"

#include <math.h>
#include <stdlib.h>
#include <time.h>

#define T0 INT64_C(1795600800000000) /* 2026-11-25T10:00:00Z */

static const struct style plain = {.plain = true};

/* ---- axes ---- */

static void columns_fill(struct chart_panel *p, int n, const double *value)
{
	p->column = calloc((size_t)n + 1, sizeof *p->column);
	p->columns = n;
	for (int i = 0; i < n; i++)
		p->column[i] = (struct chart_column){.index = i, .n = 10, .has_value = true, .low = value[i],
			.high = value[i], .first = value[i], .last = value[i]};
}

static void test_scale(void **state)
{
	(void)state;
	static const struct {
		enum function function;
		double low, high, digit;
		double step;
		const char *unit, *mark; /* of the step */
	} rows[] = {
		{FUNCTION_OHM, 480e3, 482e3, 100, 1000, "kohm", "1"},
		{FUNCTION_OHM, 0.1, 0.9, 0.1, 0.5, "mohm", "500"},
		{FUNCTION_OHM, 1, 9.9, 0.1, 5, "ohm", "5"},
		{FUNCTION_FARAD, 95e-9, 105e-9, 1e-11, 5e-9, "nF", "5"},
		{FUNCTION_FARAD, 20e-6, 37.5e-6, 1e-8, 5e-6, "uF", "5"},
		{FUNCTION_VOLT_DC, -35.5, -34.5, 0.01, 0.5, "V", "0.5"},
		{FUNCTION_VOLT_DC, -0.2, 0.3, 0.001, 0.2, "mV", "200"},
		{FUNCTION_OHM, 2.2e6, 2.2e6, 1000, 5e3, "Mohm", "0.005"}, /* stands still: ten digits */
		{FUNCTION_VOLT_DC, 0, 0, 0, 5e-4, "V", "0.0005"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct chart_panel p = {.function = rows[i].function, .digit = rows[i].digit};
		struct chart_scale s;
		char unit[16], mark[40];
		columns_fill(&p, 2, (const double[]){rows[i].low, rows[i].high});
		chart_scale(&p, 4, &s);
		chart_unit(&s, p.function, false, unit, sizeof unit);
		chart_mark(&s, s.step, mark, sizeof mark);
		if (fabs(s.step / rows[i].step - 1) > 1e-9 || strcmp(unit, rows[i].unit) ||
		    strcmp(mark, rows[i].mark))
			fail_msg("row %zu: step %g, %s, %s", i, s.step, unit, mark);
		assert_true(s.low < rows[i].low && s.high > rows[i].high);
		assert_int_equal(s.beyond, 0);
		free(p.column);
	}
}

/* One hunt through a far range does not press a settled value into a line; limits and
 * entries are in the picture all the same. */
static void test_far_values(void **state)
{
	(void)state;
	struct chart_panel p = {.function = FUNCTION_OHM};
	struct chart_scale s;
	double value[60];
	for (int i = 0; i < 60; i++)
		value[i] = i == 3 ? 9.9e6 : 47000 + i % 5 * 10;
	columns_fill(&p, 60, value);
	chart_scale(&p, 5, &s);
	assert_true(s.high < 48000 && s.low > 46000);
	assert_int_equal(s.beyond, 10);
	p.has_high = true;
	p.high = 49350;
	chart_scale(&p, 5, &s);
	assert_true(s.high > 49350 && s.high < 60000);
	struct chart_entry e = {.has_value = true, .value = 100e3};
	p.entry = &e;
	p.entries = 1;
	chart_scale(&p, 5, &s);
	assert_true(s.high > 100e3);
	free(p.column);
}

static void test_time_steps(void **state)
{
	(void)state;
	static const struct {
		int64_t span;
		int64_t step; /* us, at 8 marks */
	} rows[] = {
		{80000, 10000}, {1000000, 200000}, {8000000, 1000000}, {15000000, 2000000},
		{60000000, 10000000}, {INT64_C(300000000), 60000000}, {INT64_C(3600000000), 600000000},
		{INT64_C(86400000000), INT64_C(10800000000)}, {INT64_C(604800000000), INT64_C(86400000000)},
		{INT64_C(31536000000000), INT64_C(7776000000000)},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		assert_int_equal(chart_time_step(rows[i].span, 8), rows[i].step);
}

/* ---- gaps ---- */

static int count_of(const char *text, const char *what)
{
	int n = 0;
	for (const char *p = text; (p = strstr(p, what)); p++)
		n++;
	return n;
}

static void test_gaps_stay_open(void **state)
{
	(void)state;
	struct chart_panel p = {.meter = "red", .function = FUNCTION_OHM};
	struct chart c = {.title = "gaps", .from = T0, .to = T0 + 100000000, .width = 100, .panel = &p,
		.panels = 1};
	double value[20];
	for (int i = 0; i < 20; i++)
		value[i] = 1000 + i;
	columns_fill(&p, 20, value);
	/* Four readings a second; from column 10 on after 7 s of silence. */
	for (int i = 10; i < 20; i++)
		p.column[i].index = i + 7;
	p.column[10].silence = 7;
	struct lines out = {0};
	chart_svg(&c, &plain, &out);
	assert_int_equal(count_of(lines_text(&out), "class=\"trail\"/>\n"), 2);
	lines_free(&out);
	/* A reading in between that is no number opens it, too. */
	p.column[5].has_value = false;
	chart_svg(&c, &plain, &out);
	assert_int_equal(count_of(lines_text(&out), "class=\"trail\"/>\n"), 3);
	assert_non_null(strstr(lines_text(&out), "class=\"over\""));
	lines_free(&out);
	p.column[5].has_value = true;
	/* A slow meter, one reading in 3 s: its usual pace is no gap; 20 s are one. */
	for (int i = 0; i < 20; i++) {
		p.column[i].index = 3 * i + (i >= 15 ? 20 : 0);
		p.column[i].n = 1;
		p.column[i].silence = 0;
	}
	p.column[15].silence = 23;
	p.column[7].silence = 3;
	chart_svg(&c, &plain, &out);
	assert_int_equal(count_of(lines_text(&out), "class=\"trail\"/>\n"), 2);
	lines_free(&out);
	free(p.column);
}

/* ---- times ---- */

static void berlin(int64_t us, char out[20])
{
	time_t t = (time_t)(us / 1000000);
	struct tm tm;
	localtime_r(&t, &tm);
	strftime(out, 20, "%Y-%m-%d %H:%M:%S", &tm);
}

static void test_moments(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		bool good;
		const char *utc; /* about 2026-11-25T10:00:00Z */
	} rows[] = {
		{"2026-11-25T10:00:00Z", true, "2026-11-25T10:00:00.000000Z"},
		{"2026-11-25T10:00:00.25Z", true, "2026-11-25T10:00:00.250000Z"},
		{"2026-11-25T10:00:00+01:00", true, "2026-11-25T09:00:00.000000Z"},
		{"2026-11-25 10:00:00-05:30", true, "2026-11-25T15:30:00.000000Z"},
		/* by the clock of Berlin */
		{"10:00", true, "2026-11-25T09:00:00.000000Z"},
		{"10:00:05", true, "2026-11-25T09:00:05.000000Z"},
		{"10:00:05.5", true, "2026-11-25T09:00:05.500000Z"},
		{"2026-11-25", true, "2026-11-24T23:00:00.000000Z"},
		{"2026-07-01 12:00", true, "2026-07-01T10:00:00.000000Z"}, /* summer time */
		{"2026-11-25 10:00", true, "2026-11-25T09:00:00.000000Z"},
		{"-10m", true, "2026-11-25T09:50:00.000000Z"},
		{"-90s", true, "2026-11-25T09:58:30.000000Z"},
		{"-2h", true, "2026-11-25T08:00:00.000000Z"},
		{"-3d", true, "2026-11-22T10:00:00.000000Z"},
		{"", false, NULL}, {"now", false, NULL}, {"10", false, NULL}, {"25:00", false, NULL},
		{"2026-02-30", false, NULL}, {"2026-11-25T", true, "2026-11-24T23:00:00.000000Z"},
		{"2026-11-25Tx", false, NULL}, {"-10", false, NULL}, {"-m", false, NULL},
		{"10:00:05.", false, NULL}, {"10:00Zx", false, NULL}, {"10:00+1", false, NULL},
	};
	const struct style style = {.local = berlin};
	setenv("TZ", "Europe/Berlin", 1);
	tzset();
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct fault why;
		int64_t us = 0, want = 0;
		bool good = moment_parse(rows[i].text, T0, &style, &us, &why);
		if (rows[i].utc)
			assert_true(time_parse(rows[i].utc, strlen(rows[i].utc), &want));
		if (good != rows[i].good || (good && us != want))
			fail_msg("\"%s\": %d, off by %lld s", rows[i].text, good, (long long)(us - want) / 1000000);
	}
	unsetenv("TZ");
	tzset();
}

/* ---- pictures ---- */

static bool rebuild;

static void picture_is(const char *name, const char *text)
{
	char path[200];
	snprintf(path, sizeof path, "tests/charts/%s", name);
	FILE *f = fopen(path, rebuild ? "w" : "r");
	if (!f)
		fail_msg("%s: cannot be opened", path);
	if (rebuild) {
		fputs(text, f);
		fclose(f);
		return;
	}
	char *kept = calloc(1, 1 << 20);
	size_t n = fread(kept, 1, (1 << 20) - 1, f);
	fclose(f);
	if (n != strlen(text) || memcmp(kept, text, n) != 0) {
		size_t at = 0;
		while (kept[at] && kept[at] == text[at])
			at++;
		fail_msg("%s differs at byte %zu: kept \"%.60s\", made \"%.60s\"", path, at, kept + at, text + at);
	}
	free(kept);
}

/* A touch that settles, its entry, limits, a named gap, an overload. */
static void make_chart(struct chart *c)
{
	*c = (struct chart){.title = "C7 & <twin>, last touch", .from = T0, .to = T0 + 20000000, .width = 80,
		.panel = calloc(2, sizeof *c->panel), .panels = 2};
	struct chart_panel *p = &c->panel[0];
	*p = (struct chart_panel){.meter = "red", .function = FUNCTION_FARAD, .digit = 1e-10,
		.has_accuracy = true, .has_low = true, .has_high = true, .low = 90e-9, .high = 110e-9,
		.limits_of = "C7"};
	p->accuracy.count = 1;
	p->accuracy.line[0] = (struct accuracy_line){.function = FUNCTION_FARAD, .percent = 1, .counts = 3};
	double value[80];
	for (int i = 0; i < 80; i++)
		value[i] = i < 20 || i > 60 ? 0.02e-9 : 118.3e-9 * (1 - exp(-(i - 20) / 4.0));
	columns_fill(p, 80, value);
	p->column[70].silence = 4;
	p->column[69].has_value = false;
	p->entry = calloc(1, sizeof *p->entry);
	*p->entry = (struct chart_entry){.t = T0 + 13000000, .has_value = true, .value = 118.3e-9,
		.word = CHART_OUTSIDE, .position = "C7", .text = "C7, 0.1183 uF, outside, 18 % high, entry 45"};
	p->entries = 1;
	p->touch = calloc(1, sizeof *p->touch);
	*p->touch = (struct chart_touch){T0 + 11000000, T0 + 13000000, "C7"};
	p->touches = 1;
	p->gap = calloc(1, sizeof *p->gap);
	*p->gap = (struct chart_gap){T0 + 16500000, T0 + 17500000, "unplugged"};
	p->gaps = 1;
	struct chart_panel *q = &c->panel[1];
	*q = (struct chart_panel){.meter = "blue", .function = FUNCTION_VOLT_DC};
	columns_fill(q, 2, (const double[]){-35.1, -35.2});
	q->column[1].index = 79;
	q->unsealed = 1;
}

static void test_pictures(void **state)
{
	(void)state;
	struct chart c;
	struct lines out = {0};
	make_chart(&c);
	chart_svg(&c, &plain, &out);
	assert_false(out.failed);
	picture_is("touch.svg", lines_text(&out));
	lines_free(&out);
	const struct style terminal = {.width = 80}, wide = {.width = 132, .utf8 = true};
	chart_text(&c, &terminal, &out);
	picture_is("touch-80.txt", lines_text(&out));
	lines_free(&out);
	chart_text(&c, &wide, &out);
	picture_is("touch-132.txt", lines_text(&out));
	lines_free(&out);
	chart_text(&c, &plain, &out);
	picture_is("touch-plain.txt", lines_text(&out));
	lines_free(&out);
	chart_free(&c);
}

int main(int argc, char **argv)
{
	rebuild = argc > 1 && strcmp(argv[1], "--rebuild") == 0;
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_scale), cmocka_unit_test(test_far_values), cmocka_unit_test(test_time_steps),
		cmocka_unit_test(test_gaps_stay_open), cmocka_unit_test(test_moments),
		cmocka_unit_test(test_pictures),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

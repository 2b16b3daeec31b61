/* SPDX-License-Identifier: MIT */
/*
 * The report's pure parts: numbers by language, where a value lies on its scale, what passes
 * as a safety test, CSV by locale.  The whole of it is read back by check_report.py.
 */
#include "client/report.h"
#include "protocol/trade/drift.h"
#include "tests/check.h"

#include <stdlib.h>

static void numbers(void **state)
{
	static const struct {
		const char *shown, *en, *de;
	} rows[] = {
		{"131.20 kohm", "131.20\u00a0kΩ", "131,20\u00a0kΩ"},
		{"0.345 uF", "0.345\u00a0µF", "0,345\u00a0µF"},
		{"-35.0 V", "−35.0\u00a0V", "−35,0\u00a0V"},
		{"+12 mA", "12\u00a0mA", "12\u00a0mA"},
		{"21.5 C", "21.5\u00a0°C", "21,5\u00a0°C"},
		{"47 ohm", "47\u00a0Ω", "47\u00a0Ω"},
		{"80 mohm", "80\u00a0mΩ", "80\u00a0mΩ"},
		{"OL Mohm", "OL\u00a0MΩ", "OL\u00a0MΩ"},
		{"1.25", "1.25", "1,25"},
		{"", "", ""},
	};
	char out[80];
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		struct report r = {.german = false};
		report_value(&r, rows[i].shown, out, sizeof out);
		assert_string_equal(out, rows[i].en);
		r.german = true;
		report_value(&r, rows[i].shown, out, sizeof out);
		assert_string_equal(out, rows[i].de);
	}
	struct report r = {.german = true};
	report_number(&r, -0.04, 1, out, sizeof out);
	assert_string_equal(out, "0,0"); /* no minus before zero */
	report_number(&r, -5.14, 1, out, sizeof out);
	assert_string_equal(out, "−5,1");
}

/* One position with an entry: sheet row, limits, what is asked. */
static struct report one_entry(const char *row, const char *record, struct report_position *p,
                               struct report_entry *e)
{
	*p = (struct report_position){.row = {row, strlen(row)}, .name = "P", .kind = KIND_OTHER};
	*e = (struct report_entry){.record = {record, strlen(record)}, .position = "P", .has_value = true};
	e->judged = e->record;
	return (struct report){.position = p, .positions = 1, .entry = e, .entries = 1};
}

static void places(void **state)
{
	/* nominal, limits, value, where: by the definition in report.h, worked out by hand. */
	static const struct {
		const char *row, *record;
		double value, want;
	} rows[] = {
		{"{\"nominal\":100}", "{\"limits\":[90,110]}", 100, 0},
		{"{\"nominal\":100}", "{\"limits\":[90,110]}", 110, 1},
		{"{\"nominal\":100}", "{\"limits\":[90,110]}", 85, -1.5},
		{"{\"nominal\":8}", "{\"limits\":[6.4,12]}", 10, 0.5},  /* -20/+50 % */
		{"{\"nominal\":8}", "{\"limits\":[6.4,12]}", 7.2, -0.5},
		{"{\"nominal\":-35}", "{\"limits\":[-37,-33]}", -36, -0.5},
		{"{\"nominal\":null}", "{\"limits\":[1,3]}", 2, 0},      /* no nominal: the middle */
		{"{\"nominal\":null}", "{\"limits\":[null,0.2]}", 0.2, 1},
		{"{\"nominal\":null}", "{\"limits\":[null,0.2]}", 0, -1},
		{"{\"nominal\":null}", "{\"limits\":[2e6,null]}", 2e6, -1},
		{"{\"nominal\":null}", "{\"limits\":[2e6,null]}", 2e7, 1},
	};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		struct report_position p;
		struct report_entry e;
		struct report r = one_entry(rows[i].row, rows[i].record, &p, &e);
		double got;
		note_row("row %zu", i);
		assert_true(report_place(&r, &e, rows[i].value, &got));
		assert_near(got, rows[i].want, 1e-12);
	}
	struct report_position p;
	struct report_entry e;
	double got;
	struct report r = one_entry("{}", "{\"limits\":[null,null]}", &p, &e);
	assert_false(report_place(&r, &e, 1, &got));
}

static void safety(void **state)
{
	static const struct {
		enum report_word word;
		const char *record;
		bool has_value, overload, passed;
	} rows[] = {
		{REPORT_WITHIN, "{\"reason\":null}", true, false, true},
		{REPORT_NONE, "{\"reason\":null}", true, false, true}, /* no limit: the person judges */
		{REPORT_OUTSIDE, "{\"reason\":null}", true, false, false},
		{REPORT_UNSURE, "{\"reason\":\"meter\"}", true, false, false},
		{REPORT_UNSURE, "{\"reason\":\"circuit\"}", true, false, true},
		{REPORT_WITHIN, "{\"reason\":null}", false, true, true}, /* insulation beyond the range */
		{REPORT_OUTSIDE, "{\"reason\":\"open\"}", false, true, false}, /* an open earth */
		{REPORT_NONE, "{\"reason\":null}", false, true, false},
	};
	(void)state;
	assert_false(report_test_passed(NULL));
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		struct report_entry e = {.word = rows[i].word, .has_value = rows[i].has_value,
			.overload = rows[i].overload, .function = FUNCTION_OHM,
			.judged = {rows[i].record, strlen(rows[i].record)}};
		note_row("row %zu", i);
		assert_int_equal(report_test_passed(&e), rows[i].passed);
	}
}

/* Whatever a kind's drift is called, the report has words for it, in both languages. */
static void drift_has_words(void **state)
{
	(void)state;
	int seen = 0;
	for (int k = 0; k < KIND_COUNT; k++)
		for (int side = 0; side < 4; side++) {
			const struct decimal nominals[] = {{100, -9}, {100, -6}};
			const struct drift *d = drift_of((enum kind)k, nominals[side / 2]);
			if (!d || (side % 2 && d->leaky_high)) /* leakage is a reason with its own words */
				continue;
			char judged[200];
			snprintf(judged, sizeof judged, "{\"reason\":null,\"why\":\"%s\"}",
			         side % 2 ? d->why_high : d->why_low);
			struct report_entry e = {.word = REPORT_OUTSIDE, .judged = {judged, strlen(judged)}};
			struct report en = {.german = false}, de = {.german = true};
			note_row("%s", judged);
			/* Of a kind that nobody named there is nothing to say but its side. */
			if (k != KIND_CAPACITOR || !strstr(judged, "measure ")) {
				assert_true(report_why(&en, &e)[0] && report_why(&de, &e)[0]);
				assert_string_not_equal(report_why(&en, &e), report_why(&de, &e));
			}
			assert_null(strstr(report_why(&en, &e), "measure"));
			seen++;
		}
	assert_true(seen > 20);
	struct report_entry none = {.word = REPORT_OUTSIDE, .judged = {"{}", 2}};
	assert_string_equal(report_why(&(struct report){.german = true}, &none), "");
}

static void locales(void **state)
{
	static const struct {
		const char *name;
		bool known;
		char separator, decimal;
	} rows[] = {
		{"de", true, ';', ','},    {"de_DE", true, ';', ','}, {"de_DE.UTF-8", true, ';', ','},
		{"de_CH", true, ';', '.'}, {"en", true, ',', '.'},    {"en-US", true, ',', '.'},
		{"fr_FR", true, ';', ','}, {"xx", false, 0, 0},       {"", false, 0, 0},
		{"d", false, 0, 0},        {"deu", false, 0, 0},      {"../de", false, 0, 0},
	};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		struct report_csv how;
		note_row("%s", rows[i].name);
		assert_int_equal(report_csv_locale(rows[i].name, &how), rows[i].known);
		if (!rows[i].known)
			continue;
		assert_int_equal(how.separator, rows[i].separator);
		assert_int_equal(how.decimal, rows[i].decimal);
		assert_true(how.spreadsheet);
	}
}

static void cells(void **state)
{
	static const char record[] = "{\"seq\":5,\"t\":\"2026-11-25T10:00:00.000000Z\",\"job\":\"@job\",\"value\":-0.020,"
		"\"digit\":0.001,\"u\":1e-05,\"n\":4,\"deviation\":-0.5,\"limits\":[-2,null],\"because\":\"\\tx\\\"y,\\n=1\","
		"\"meter\":\"-red\",\"verdict\":\"within\"}";
	static const struct report_csv rfc = {',', '.', false}, german = {';', ',', true};
	struct report_position p;
	struct report_entry e;
	struct lines out = {0};
	struct report r = one_entry("{\"role\":\"+cathode\"}", record, &p, &e);
	(void)state;
	snprintf(e.shown, sizeof e.shown, "-20.0 mV");
	report_csv(&r, &rfc, &out);
	assert_non_null(strstr(out.bytes, "\r\n5,2026-11-25T10:00:00.000000Z,'@job,P,,'+cathode,"));
	assert_non_null(strstr(out.bytes, ",'-red,"));
	assert_non_null(strstr(out.bytes, ",-0.020,0.001,")); /* as it was sealed */
	assert_non_null(strstr(out.bytes, ",\"'\tx\"\"y,\n=1\",-20.0,mV\r\n"));
	lines_free(&out);
	report_csv(&r, &german, &out);
	assert_memory_equal(out.bytes, "\xef\xbb\xbf" "record;time_utc;", 18);
	assert_non_null(strstr(out.bytes, ";-0,020;0,001;"));
	assert_non_null(strstr(out.bytes, "\r\n5;2026-11-25 10:00:00;"));
	assert_non_null(strstr(out.bytes, ";-20,0;mV\r\n"));
	lines_free(&out);
}

/* Whatever a note holds is text: in HTML, and in a line for the pages. */
static void paper_is_text(void **state)
{
	static const struct paper_column columns[] = {{"a", 1, false}, {"b", 1, false}, {"c", 1, true}};
	const struct paper_head head = {"<t>", "en", "a4", "f\tg", "%1 %2"};
	struct paper p;
	(void)state;
	paper_begin(&p, &head);
	paper_table(&p, "<b>", columns, 3);
	paper_row(&p, "pos-\"x");
	paper_cell(&p, PAPER_PLAIN, "<i>");
	paper_cell(&p, PAPER_PLAIN, "tab\there\\n\nline");
	paper_cell(&p, PAPER_PLAIN, "\x1b[31m");
	paper_row_end(&p);
	paper_table_end(&p);
	paper_end(&p, &head);
	assert_non_null(strstr(p.html.bytes, "<title>&lt;t&gt;</title>"));
	assert_non_null(strstr(p.html.bytes, "<tr role=\"row\" id=\"pos-&quot;x\">"));
	assert_non_null(strstr(p.html.bytes, "<th scope=\"row\" role=\"rowheader\">&lt;i&gt;</th>"));
	assert_non_null(strstr(p.html.bytes, "data-label=\"b\">tabhere\\n<br>line</td>"));
	assert_null(strchr(p.html.bytes, 0x1b));
	assert_non_null(strstr(p.pages.bytes, "\nc\t\ttab here\\\\n\\nline\n"));
	assert_non_null(strstr(p.pages.bytes, "\nfoot\tf g\n"));
	paper_free(&p);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(numbers), cmocka_unit_test(places),  cmocka_unit_test(safety),
		cmocka_unit_test(drift_has_words),
		cmocka_unit_test(locales), cmocka_unit_test(cells),   cmocka_unit_test(paper_is_text),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

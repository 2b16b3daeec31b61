/* SPDX-License-Identifier: MIT */
/*
 * The report's pure parts: numbers by language, where a value lies on its scale, what passes
 * as a safety test, CSV by locale.  The whole of it is read back by check_report.py.
 */
#include "client/report_photo.h"
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
	assert_non_null(strstr(out.bytes, ",\"'\tx\"\"y,\n=1\",-20.0,mV,,,,,,,,\r\n"));
	lines_free(&out);
	report_csv(&r, &german, &out);
	assert_memory_equal(out.bytes, "\xef\xbb\xbf" "record;time_utc;", 18);
	assert_non_null(strstr(out.bytes, ";-0,020;0,001;"));
	assert_non_null(strstr(out.bytes, "\r\n5;2026-11-25 10:00:00;"));
	assert_non_null(strstr(out.bytes, ";-20,0;mV;;;;;;;;\r\n"));
	lines_free(&out);
	/* What came beside the value, with its own verdict as it was judged last. */
	static const char pair[] = "{\"seq\":6,\"frequency\":1000,\"mode\":\"series\",\"second\":{\"is\":"
	                           "\"dissipation\",\"value\":0.0312,\"digit\":0.0001,\"u\":0.001,\"verdict\":"
	                           "\"outside\",\"limits\":[null,0.02]}}";
	static const char anew[] = "{\"verdict\":\"within\",\"second\":{\"verdict\":\"within\",\"limits\":"
	                           "[null,0.05]}}";
	r = one_entry("{}", pair, &p, &e);
	report_csv(&r, &rfc, &out);
	assert_non_null(strstr(out.bytes, ",series,dissipation,0.0312,0.0001,0.001,outside,,0.02\r\n"));
	assert_non_null(strstr(out.bytes, ",1000,")); /* its test frequency */
	lines_free(&out);
	e.judged = (struct slice){anew, strlen(anew)};
	report_csv(&r, &rfc, &out);
	assert_non_null(strstr(out.bytes, ",series,dissipation,0.0312,0.0001,0.001,within,,0.05\r\n"));
	lines_free(&out);
}

/* Whatever a note holds is text: in HTML, and in a line for the pages. */
static void paper_is_text(void **state)
{
	static const struct paper_column columns[] = {{"a", 1, false}, {"b", 1, false}, {"c", 1, true}};
	const struct paper_head head = {"<t>", "en", "a4", "f\tg", "%1 %2", NULL, NULL};
	struct paper p;
	(void)state;
	paper_begin(&p, &head);
	paper_table(&p, "<b>", columns, 3);
	paper_row(&p, "pos-\"x");
	paper_cell(&p, PAPER_PLAIN, "<i>");
	paper_cell(&p, PAPER_PLAIN, "tab\there\\n\nline");
	paper_cell(&p, PAPER_PLAIN, "\x1b[31m");
	paper_table_end(&p);
	/* Good characters stay; cut off, lone, overlong and half ones go, or no page could be drawn. */
	paper_text(&p, PAPER_PLAIN, "a\xc3\xa9\xe6\x97\xa5\xf0\x9f\x94\x8a|b\xa9|c\xc0\xaf|d\xed\xa0\x80|e\xe6\x97");
	paper_end(&p, &head);
	assert_non_null(strstr(p.html.bytes, "<title>&lt;t&gt;</title>"));
	assert_non_null(strstr(p.html.bytes, "<tr role=\"row\" id=\"pos-&quot;x\">"));
	assert_non_null(strstr(p.html.bytes, "<th scope=\"row\" role=\"rowheader\">&lt;i&gt;</th>"));
	assert_non_null(strstr(p.html.bytes, "data-label=\"b\">tabhere\\n<br>line</td>"));
	assert_null(strchr(p.html.bytes, 0x1b));
	assert_non_null(strstr(p.html.bytes, "<p>a\xc3\xa9\xe6\x97\xa5\xf0\x9f\x94\x8a|b|c|d|e</p>"));
	assert_non_null(strstr(p.pages.bytes, "p\t\ta\xc3\xa9\xe6\x97\xa5\xf0\x9f\x94\x8a|b|c|d|e\n"));
	assert_non_null(strstr(p.pages.bytes, "\nc\t\ttab here\\\\n\\nline\n"));
	assert_non_null(strstr(p.pages.bytes, "\nfoot\tf g\n"));
	paper_free(&p);
}

/* A column that nobody wrote into is left out, the first one never; a table without rows keeps its
 * head, and one that was none leaves nothing. */
static void empty_columns(void **state)
{
	static const struct paper_column columns[] = {{"a", 1, false}, {"b", 1, false}, {"c", 2, true}};
	const struct paper_head head = {"t", "en", "a4", "f", "%1 %2", "who <answers>", NULL};
	struct paper p;
	(void)state;
	paper_begin(&p, &head);
	for (int i = 0; i < 2; i++) {
		paper_table(&p, "caption", columns, 3);
		for (int row = 0; row < 2; row++) {
			paper_row(&p, NULL);
			paper_cell(&p, PAPER_PLAIN, "");
			paper_cell(&p, PAPER_PLAIN, "");
			paper_cell(&p, PAPER_PLAIN, row ? "x" : "");
		}
		if (i)
			paper_kept_free(&p);
		else
			paper_table_end(&p);
	}
	paper_facts_begin(&p);
	paper_fact(&p, "left out", "");
	paper_fact(&p, "name", "a & b\nc");
	paper_facts_end(&p);
	assert_non_null(strstr(p.html.bytes, "<col style=\"width:33.3%\"><col style=\"width:66.7%\">"));
	assert_null(strstr(p.html.bytes, ">b</th>"));
	assert_non_null(strstr(p.html.bytes, "<td role=\"cell\" class=\"r\">x</td></tr>\n</tbody></table>\n"
	                                     "<dl class=\"facts\">"));
	assert_non_null(strstr(p.html.bytes, "<dt>name</dt><dd>a &amp; b<br>c</dd>"));
	assert_null(strstr(p.html.bytes, "left out"));
	assert_non_null(strstr(p.html.bytes, "<meta name=\"author\" content=\"who &lt;answers&gt;\">"));
	assert_non_null(strstr(p.pages.bytes, "\ncol\t1\tl\ta\ncol\t2\tr\tc\nrow\nc\tstrong\t\nc\t\t\nrow\n"));
	assert_non_null(strstr(p.pages.bytes, "end\nfact\tname\ta & b\\nc\n"));
	paper_free(&p);
}

/* No finer than the value, where that adds less than a quarter; two figures else. */
static void spreads(void **state)
{
	static const struct {
		double U;
		const char *shown, *want;
	} rows[] = {
		{4.9e3, "1.062 Mohm", "0.005"},   /* 0.0049 */
		{77, "131.20 kohm", "0.08"},      /* 0.077 */
		{0.82, "1.5410 kohm", "0.0009"},  /* 0.00082: rounded up, never down */
		{1.3e3, "104 kohm", "1.3"},       /* 2 would be half as much again */
		{28, "100.120 kohm", "0.028"},
		{13e-3, "41 mV", "13"},
		{0.0996, "3.0 V", "0.1"},
		{5, "120 Mohm", "0.0000050"},
	};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		struct report r = {.german = false};
		char out[96];
		report_spread(&r, rows[i].U, rows[i].shown, out, sizeof out);
		out[strcspn(out, "\xc2")] = '\0';
		assert_string_equal(out, rows[i].want);
	}
}

/* What a meter sent beside the value is told with its own verdict. */
static void beside_value(void **state)
{
	static const char record[] = "{\"value\":1e-07,\"u\":5e-10,\"frequency\":1000,\"second\":{\"is\":"
	                             "\"dissipation\",\"function\":\"number\",\"value\":0.0871,\"digit\":0.0001}}";
	static const struct {
		enum report_word second;
		bool german;
		const char *want;
	} rows[] = {
		{REPORT_OUTSIDE, false, "dissipation 0.0871 at 1\u00a0kHz, \u2717 outside"},
		{REPORT_WITHIN, false, "dissipation 0.0871 at 1\u00a0kHz, \u2713 within"},
		{REPORT_UNSURE, true, "Verlustfaktor 0,0871 bei 1\u00a0kHz, ? unsicher"},
		{REPORT_NONE, false, "dissipation 0.0871 at 1\u00a0kHz"},
	};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		struct report_position p;
		struct report_entry e;
		struct report r = one_entry("{}", record, &p, &e);
		char out[800];
		r.german = rows[i].german;
		e.second = rows[i].second;
		e.word = REPORT_WITHIN;
		e.value = 1e-7;
		e.u = 5e-10;
		snprintf(e.shown, sizeof e.shown, "100.0 nF");
		report_entry_text(&r, &e, out, sizeof out);
		const char *last = strrchr(out, '\n');
		assert_non_null(last);
		assert_string_equal(last + 1, rows[i].want);
	}
}

/* How large a photo is and which way up, by its first bytes; nothing is read behind their end. */
static void photo_sizes(void **state)
{
	static const unsigned char png[] = "\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\2\x80\0\0\1\xe0\x08\2\0\0\0";
	static const unsigned char jpeg[] =
	    "\xff\xd8\xff\xe1\0\"Exif\0\0MM\0*\0\0\0\x08\0\1\1\x12\0\3\0\0\0\1\0\6\0\0\0\0\0\0"
	    "\xff\xdb\0\4\0\0\xff\xc2\0\x0b\x08\1\xe0\2\x80\1\1\x11\0";
	static const unsigned char intel[] =
	    "\xff\xd8\xff\xff\xe1\0\"Exif\0\0II*\0\x08\0\0\0\1\0\x12\1\3\0\1\0\0\0\x08\0\0\0\0\0\0\0"
	    "\xff\xc0\0\x0b\x08\1\xe0\2\x80\1\1\x11\0";
	const struct {
		const unsigned char *bytes;
		size_t len;
		int turn;
	} rows[] = {{png, sizeof png - 1, 1}, {jpeg, sizeof jpeg - 1, 6}, {intel, sizeof intel - 1, 8}};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		int width = 0, height = 0, turn = 0;
		assert_true(report_photo_size(rows[i].bytes, rows[i].len, &width, &height, &turn));
		assert_int_equal(width, 640);
		assert_int_equal(height, 480);
		assert_int_equal(turn, rows[i].turn);
		/* Cut off anywhere: from a copy that ends there, so that a sanitizer sees one byte more. */
		for (size_t n = 0; n < rows[i].len; n++) {
			unsigned char *cut = malloc(n + 1);
			memcpy(cut, rows[i].bytes, n);
			unsigned char *end = realloc(cut, n ? n : 1);
			report_photo_size(end, n, &width, &height, &turn);
			free(end);
		}
	}
	int width, height, turn;
	assert_false(report_photo_size((const unsigned char *)"GIF89a", 6, &width, &height, &turn));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(numbers), cmocka_unit_test(places),  cmocka_unit_test(safety),
		cmocka_unit_test(drift_has_words),
		cmocka_unit_test(locales), cmocka_unit_test(cells),   cmocka_unit_test(paper_is_text),
		cmocka_unit_test(empty_columns), cmocka_unit_test(spreads),
		cmocka_unit_test(beside_value), cmocka_unit_test(photo_sizes),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

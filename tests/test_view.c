/* SPDX-License-Identifier: MIT */
/*
 * Pictures of records and entries: JSON goes in, the lines that a person sees come out.  Each
 * row keeps its picture, so that a change of the look is a change of this file.
 */
#include "tests/view_stand.h"

/* An entry with the members that a row cares about; the common ones before them. */
static const char *entry(const char *members)
{
	static char text[2048];
	snprintf(text, sizeof text,
	         "{\"seq\":14,\"t\":\"2026-11-25T10:00:03.123456Z\",\"kind\":\"entry\","
	         "\"job\":\"a\",\"quantity\":\"value\",\"condition\":\"found\",\"reach\":\"lifted\","
	         "\"meter\":\"red\",%s}", members);
	return text;
}

/* The members of the entries that several tests show. */
#define DRIFTED                                                                           \
	"\"position\":\"R12\",\"function\":\"ohm\",\"value\":612000,\"u\":2100,"              \
	"\"settled\":true,\"source\":\"meter\",\"verdict\":\"outside\",\"side\":\"high\","    \
	"\"reason\":null,\"deviation\":0.302128,\"limits\":[423000,517000],"                  \
	"\"why\":\"carbon, drifted up\",\"shown\":\"612 kohm\""
#define GOOD                                                                              \
	"\"position\":\"C5\",\"function\":\"farad\",\"value\":4.71e-08,\"settled\":true,"      \
	"\"source\":\"meter\",\"verdict\":\"within\",\"side\":\"high\",\"reason\":null,"       \
	"\"deviation\":0.00212766,\"limits\":[4.23e-08,5.17e-08],\"shown\":\"0.0471 uF\""
#define CLOSE                                                                             \
	"\"position\":\"C6\",\"function\":\"farad\",\"value\":5.12e-08,\"settled\":true,"      \
	"\"source\":\"meter\",\"verdict\":\"unsure\",\"side\":\"high\",\"reason\":\"meter\","  \
	"\"deviation\":0.0893617,\"limits\":[4.23e-08,5.17e-08],\"accuracy\":\"assumed\","     \
	"\"shown\":\"0.0512 uF\""
#define BIAS                                                                              \
	"\"position\":\"V1\",\"function\":\"volt-dc\",\"value\":-40.1,\"settled\":true,"       \
	"\"source\":\"typed\",\"because\":\"no line\",\"verdict\":\"outside\","                \
	"\"side\":\"low\",\"reason\":null,\"deviation\":0.145714,\"limits\":[-38.5,-31.5],"    \
	"\"why\":\"more negative\",\"shown\":\"-40.1 V\""
#define OPEN                                                                              \
	"\"position\":\"R7\",\"function\":\"ohm\",\"value\":null,\"state\":\"overload\","      \
	"\"above\":20000000,\"settled\":true,\"source\":\"meter\",\"verdict\":\"outside\","    \
	"\"side\":\"high\",\"reason\":\"open\",\"deviation\":null,"                            \
	"\"limits\":[90000,110000],\"why\":\"open\",\"shown\":\"overload\""

/* ---- records ---- */

static void test_record_lines(void **state)
{
	(void)state;
	static const struct { const char *members, *columns, *plain; } rows[] = {
		{DRIFTED,
		 "    14  10:00:03  R12         value         612 kohm  outside  30.2 % high; carbon, "
		 "drifted up\n",
		 "record 14, 10:00:03, entry R12, value, 612 kohm, outside, 30.2 % high, carbon, drifted "
		 "up\n"},
		{GOOD, "    14  10:00:03  C5          value        0.0471 uF  within   0.21 % high\n",
		 "record 14, 10:00:03, entry C5, value, 0.0471 uF, within, 0.21 % high\n"},
		{CLOSE,
		 "    14  10:00:03  C6          value        0.0512 uF  unsure   8.9 % high; too near the "
		 "limit for this meter: measure with a more accurate one; meter's accuracy assumed\n",
		 "record 14, 10:00:03, entry C6, value, 0.0512 uF, unsure, 8.9 % high, too near the limit "
		 "for this meter: measure with a more accurate one; meter's accuracy assumed\n"},
		{BIAS,
		 "    14  10:00:03  V1          value          -40.1 V  outside  14.6 % more negative; "
		 "typed: no line\n",
		 "record 14, 10:00:03, entry V1, value, -40.1 V, outside, 14.6 % more negative, typed: no "
		 "line\n"},
		{OPEN,
		 "    14  10:00:03  R7          value         overload  outside  above 20 Mohm; open: look "
		 "at its joints, then replace it\n",
		 "record 14, 10:00:03, entry R7, value, overload, outside, above 20 Mohm, open: look at "
		 "its joints, then replace it\n"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		struct lines out = {0};
		note_row("%zu", i);
		view_record(&columns, slice(entry(rows[i].members)), &out);
		same(&out, rows[i].columns);
		view_record(&sentences, slice(entry(rows[i].members)), &out);
		same(&out, rows[i].plain);
	}
}

#define HEAD(seq, kind) "{\"seq\":" seq ",\"t\":\"2026-11-25T10:00:03.123456Z\",\"kind\":\"" kind "\""

static void test_other_records(void **state)
{
	(void)state;
	static const struct { const char *record, *want; } rows[] = {
		{HEAD("1", "log") ",\"identity\":\"ab12\",\"bench\":\"north\",\"version\":\"0.1.0\"}",
		 "     1  10:00:03  log         bench north, version 0.1.0, identity ab12\n"},
		{HEAD("2", "job") ",\"job\":\"amp 1\",\"state\":\"started\",\"open\":true,\"unit\":\"cold\","
		 "\"condition\":\"found\",\"reach\":\"lifted\"}",
		 "     2  10:00:03  job         amp 1, started, cold, found, lifted\n"},
		{HEAD("3", "position") ",\"job\":\"a\",\"position\":\"R12\",\"change\":\"loaded\","
		 "\"sheet\":{\"written\":{\"nominal\":\"470k\",\"tolerance\":\"10%\"},\"kind\":\"pot\"}}",
		 "     3  10:00:03  position    R12, loaded, kind pot, nominal 470k, tolerance 10%\n"},
		{HEAD("4", "note") ",\"position\":\"R12\",\"text\":\"smells burnt\"}",
		 "     4  10:00:03  note        R12, smells burnt\n"},
		{HEAD("5", "strike") ",\"of\":3,\"position\":\"R12\",\"because\":\"wrong part\"}",
		 "     5  10:00:03  strike      entry 3, R12, wrong part\n"},
		{HEAD("6", "gap") ",\"meter\":\"red\",\"from\":\"2026-11-25T10:00:03.123456Z\","
		 "\"to\":\"2026-11-25T10:00:05.000000Z\",\"cause\":\"unplugged\",\"lost\":null}",
		 "     6  10:00:03  gap         red, unplugged, from 10:00:03, to 10:00:05\n"},
		{HEAD("7", "trail") ",\"meter\":\"red\",\"function\":\"ohm\",\"position\":null,\"n\":120}",
		 "     7  10:00:03  trail       red, readings 120, ohm\n"},
		{HEAD("8", "clock") ",\"boot\":\"b\",\"cause\":\"suspend\",\"version\":\"0.1\",\"step\":3600}",
		 "     8  10:00:03  clock       suspend, seconds 3600, version 0.1\n"},
		{HEAD("2", "aside") ",\"file\":\"/l/a.db.aside-1\",\"why\":\"record 4 is missing\","
		 "\"identity\":null,\"head\":\"3:ab\"}",
		 "     2  10:00:03  aside       record 4 is missing, now /l/a.db.aside-1, last 3:ab\n"},
		/* A kind of a later version: its simple members, and nothing that steers. */
		{HEAD("8", "weather") ",\"sky\":\"grey\\u001b[31m\",\"wet\":true,\"deep\":{\"a\":1}}",
		 "     8  10:00:03  weather     sky grey\\x1B[31m, wet true\n"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		struct lines out = {0};
		note_row("%zu", i);
		view_record(&columns, slice(rows[i].record), &out);
		same(&out, rows[i].want);
	}
}

static void test_events(void **state)
{
	(void)state;
#define T "\"t\":\"2026-11-25T10:00:03.123456Z\""
	static const struct { const char *event, *want; } rows[] = {
		{"{\"event\":\"moving\"," T ",\"meter\":\"red\",\"position\":\"R13\",\"text\":\"still "
		 "moves 2 digits\"}",
		 "        10:00:03  moving      R13, red: still moves 2 digits\n"},
		{"{\"event\":\"held\"," T ",\"position\":\"R13\",\"shown\":\"1.2 Mohm\",\"looks\":\"R14\"}",
		 "        10:00:03  held        R13, 1.2 Mohm: looks like another part: `tally take` logs "
		 "it all the same, like R14\n"},
		{"{\"event\":\"not-logged\"," T ",\"why\":\"the disk is full\"}",
		 "        10:00:03  not-logged  NOT LOGGED: the disk is full\n"},
		{"{\"event\":\"gone\"," T ",\"meter\":\"red\",\"why\":\"unplugged\"}",
		 "        10:00:03  gone        red: is gone: unplugged\n"},
		{"{\"event\":\"reloaded\"," T "}",
		 "        10:00:03  reloaded    the daemon has read its configuration anew\n"},
		{"{\"event\":\"up\"," T ",\"position\":\"C7\",\"quantity\":\"value\",\"armed\":\"no\"}",
		 "        10:00:03  up          C7, value, lift the probes first\n"},
		{"{\"event\":\"logged\"," T ",\"seq\":12}", ""}, /* its record comes anyway */
		{"{\"event\":\"later\"," T ",\"news\":\"good\"}",
		 "        10:00:03  later       good\n"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		struct lines out = {0};
		note_row("%zu", i);
		view_event(&columns, slice(rows[i].event), &out);
		same(&out, rows[i].want);
	}
}

static void test_frames(void **state)
{
	(void)state;
	struct lines out = {0};
	view_frame(&columns, slice("{\"meter\":\"red\"," T ",\"bytes\":\"+0.4812 kOhm\\\\r\\\\n\","
	                           "\"fault\":\"good\",\"said\":\"readings\","
	                           "\"shown\":[\"0.4812 kohm\",\"D 0.01\"],\"why\":\"\"}"), &out);
	view_frame(&columns, slice("{\"meter\":\"red\"," T ",\"bytes\":\"+0.48\",\"fault\":\"cut\","
	                           "\"said\":\"nothing\",\"shown\":[],\"why\":\"a unit was expected\"}"),
	           &out);
	view_frame(&sentences, slice("{\"meter\":\"b\"," T ",\"bytes\":\"A,B\",\"fault\":\"good\","
	                             "\"said\":\"identity\",\"shown\":[],\"why\":\"A,B\"}"), &out);
	same(&out, "10:00:03  \"+0.4812 kOhm\\r\\n\"            0.4812 kohm, D 0.01\n"
	           "10:00:03  \"+0.48\"                       not understood, cut, a unit was expected\n"
	           "10:00:03, \"A,B\", identity, A,B\n");
}

/* ---- entries ---- */

static void add(struct view_entries *v, const struct style *style, const char *members,
                const char *beside)
{
	static char text[4096];
	snprintf(text, sizeof text, "{\"record\":%s,%s}", entry(members), beside);
	view_entries_add(v, style, slice(text));
}

#define UNTOUCHED "\"struck\":false,\"moved\":null,\"rejudged\":null"

static void entries_picture(const struct style *style, const char *want)
{
	struct view_entries v;
	struct lines out = {0};
	view_entries_begin(&v);
	add(&v, style, GOOD, UNTOUCHED);
	add(&v, style, DRIFTED, UNTOUCHED);
	add(&v, style, GOOD, "\"struck\":{\"seq\":20,\"because\":\"wrong part\"},\"moved\":null,"
	                     "\"rejudged\":null");
	add(&v, style, BIAS, UNTOUCHED);
	view_entries_print(&v, style, &out);
	view_entries_end(&v);
	same(&out, want);
}

static void test_entries(void **state)
{
	(void)state;
	entries_picture(
		&columns,
		"seq  position  quantity          shown  verdict                deviation  limits    "
		"           measured       meter  remark\n"
		" 14  C5        value       0.0471 uF      within    0.21 % high           0.0423 to "
		"0.0517 uF  found, lifted  red\n"
		" 14  R12       value     612      kohm  ! outside  30.2  % high           423 to "
		"517 kohm      found, lifted  red    carbon, drifted up\n"
		" 14  C5        value       0.0471 uF      within    0.21 % high           0.0423 to "
		"0.0517 uF  found, lifted  red    STRUCK by 20: wrong part\n"
		" 14  V1        value     -40.1    V     ! outside  14.6  % more negative  -38.5 to "
		"-31.5 V     found, lifted  red    typed: no line\n"
		"4 entries: 1 within, 2 outside, 1 struck\n");
	entries_picture(
		&sentences,
		"seq 14, C5, value, 0.0471 uF, within, 0.21 % high, limits 0.0423 to 0.0517 uF, found, "
		"lifted, meter red\n"
		"seq 14, R12, value, 612 kohm, outside, 30.2 % high, limits 423 to 517 kohm, found, "
		"lifted, meter red, carbon, drifted up\n"
		"seq 14, C5, value, 0.0471 uF, within, 0.21 % high, limits 0.0423 to 0.0517 uF, found, "
		"lifted, meter red, STRUCK by 20: wrong part\n"
		"seq 14, V1, value, -40.1 V, outside, 14.6 % more negative, limits -38.5 to -31.5 V, "
		"found, lifted, meter red, typed: no line\n"
		"4 entries: 1 within, 2 outside, 1 struck\n");
}

/* 0.56 where 0.47 belongs: as it was sold, and yet nothing for its place (common practice, no
 * source). */
static void test_entries_by_place(void **state)
{
	(void)state;
	struct view_entries v;
	struct lines out = {0};
	static const char part[] =
	    "{\"record\":{\"seq\":26,\"kind\":\"entry\",\"position\":\"C7\",\"quantity\":\"value\","
	    "\"shown\":\"560.0 nF\",\"function\":\"farad\",\"prefix\":-9,\"verdict\":\"%s\","
	    "\"limits\":[3.76e-07,5.64e-07],\"service\":{\"verdict\":\"%s\",\"limits\":[3.76e-07,"
	    "5.17e-07],\"next\":\"measure its leakage\"},\"condition\":\"found\",\"reach\":\"lifted\","
	    "\"meter\":\"red\"},\"struck\":false,\"moved\":null,\"rejudged\":null}";
	static const struct {
		const char *verdict, *service;
		bool said;
	} rows[] = {
	    {"within", "outside", true},   {"unsure", "outside", true},  {"within", "within", false},
	    {"outside", "outside", false}, {"within", "unsure", false},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		char json[800];
		note_row("%s %s", rows[i].verdict, rows[i].service);
		snprintf(json, sizeof json, part, rows[i].verdict, rows[i].service);
		view_entries_begin(&v);
		view_entries_add(&v, &sentences, slice(json));
		view_entries_print(&v, &sentences, &out);
		view_entries_end(&v);
		bool said = strstr(lines_text(&out), "outside what its place can live with (376 to 517 nF): "
		                                     "measure its leakage") != NULL;
		if (said != rows[i].said)
			fail_msg("%s", lines_text(&out));
		lines_free(&out);
	}
}

/* What was said of an entry afterwards: where it belongs, how it is judged now. */
static void test_entries_afterwards(void **state)
{
	(void)state;
	struct view_entries v;
	struct lines out = {0};
	view_entries_begin(&v);
	add(&v, &columns, DRIFTED,
	    "\"struck\":false,\"moved\":{\"seq\":30,\"from\":\"R12\",\"position\":\"R13\"},"
	    "\"rejudged\":{\"seq\":31,\"because\":\"nominal set\",\"verdict\":\"within\","
	    "\"side\":\"low\",\"reason\":null,\"deviation\":-0.01,\"limits\":[558000,682000]}");
	view_entries_print(&v, &columns, &out);
	view_entries_end(&v);
	same(&out,
	     "seq  position  quantity     shown  verdict   deviation  limits           measured   "
	     "    meter  remark\n"
	     " 14  R13       value     612 kohm    within  1.0 % low  558 to 682 kohm  found, "
	     "lifted  red    moved from R12 by 30; judged anew by 31: nominal set\n"
	     "1 entry: 1 within\n");
	view_entries_begin(&v);
	view_entries_print(&v, &columns, &out);
	view_entries_end(&v);
	same(&out, "no entries yet\n");
}

/* By whose specification a new part was judged, and what its position was called. */
static void test_entries_of_new_parts(void **state)
{
	(void)state;
	struct view_entries v;
	struct lines out = {0};
#define NEW_PART "{\"record\":{\"seq\":14,\"kind\":\"entry\",\"position\":\"C1\",\"quantity\":\"value\"," \
	"\"shown\":\"0.1 uF\",\"verdict\":\"within\",\"condition\":\"new\",\"reach\":\"loose\","         \
	"\"meter\":\"red\",\"against\":\"sheet\"},\"struck\":false,\"moved\":null,"
	view_entries_begin(&v);
	view_entries_add(&v, &sentences, slice(NEW_PART "\"rejudged\":null,\"renamed\":null,"
	                                       "\"position\":\"C1\"}"));
	view_entries_add(&v, &sentences,
	                 slice(NEW_PART "\"rejudged\":{\"seq\":31,\"because\":\"fit\",\"verdict\":"
	                       "\"outside\",\"against\":\"fit\"},\"renamed\":{\"seq\":33,\"from\":\"C1\","
	                       "\"position\":\"C7\"},\"position\":\"C7\"}"));
	view_entries_print(&v, &sentences, &out);
	view_entries_end(&v);
	same(&out,
	     "seq 14, C1, value, 0.1 uF, within, new, loose, meter red, by the sheet, for no fit is known\n"
	     "seq 14, C7, value, 0.1 uF, outside, new, loose, meter red, by what is fitted; was C1 until "
	     "33; judged anew by 31: fit\n"
	     "2 entries: 1 within, 1 outside\n");
}

static void test_twins(void **state)
{
	(void)state;
	struct lines out = {0};
	view_twins(&sentences, slice("{\"pairs\":[{\"a\":{\"position\":\"R1\",\"shown\":\"101 kohm\"},"
	                             "\"b\":{\"position\":\"R7\",\"shown\":\"99 kohm\"},"
	                             "\"difference\":-0.02,\"alone\":true}],\"more\":false}"), &out);
	assert_non_null(strstr(lines_text(&out), "R1, 101 kohm, twin R7, 99 kohm, difference -2.0 %, "
	                       "the only ones of this value\n"));
	lines_free(&out);
	view_twins(&sentences, slice("{\"pairs\":[],\"more\":false}"), &out);
	assert_non_null(strstr(lines_text(&out), "no twins are proposed"));
	lines_free(&out);
	view_record(&sentences, slice("{\"seq\":9,\"t\":\"2026-11-25T10:00:00.000000Z\",\"kind\":\"rename\","
	                              "\"job\":\"j\",\"position\":\"R7\",\"from\":\"R1\"}"), &out);
	assert_non_null(strstr(lines_text(&out), "R1, to R7"));
	lines_free(&out);
}

/* Colour is beside the words, and is gone with the colours; never in plain text. */
static void test_colour(void **state)
{
	(void)state;
	struct lines out = {0};
	view_record(&colours, slice(entry(DRIFTED)), &out);
	assert_non_null(strstr(lines_text(&out), "\033[1;31moutside\033[0m"));
	lines_free(&out);
	view_record(&columns, slice(entry(DRIFTED)), &out);
	assert_null(strchr(lines_text(&out), '\033'));
	lines_free(&out);
	struct style both = {.colour = true, .plain = true};
	view_record(&both, slice(entry(DRIFTED)), &out);
	assert_null(strchr(lines_text(&out), '\033'));
	lines_free(&out);
}

/* 101 columns: where the remark begins in the picture below. */
#define INDENT                                                                            \
	"                                                  "                                  \
	"                                                   "

/* On a terminal that can: the signs, counted as one column each; a long remark is
 * folded under its own column. */
static void test_signs_and_width(void **state)
{
	(void)state;
	struct view_entries v;
	struct lines out = {0};
	struct style style = {.utf8 = true, .width = 130};
	view_entries_begin(&v);
	add(&v, &style, CLOSE, UNTOUCHED);
	add(&v, &style, DRIFTED, UNTOUCHED);
	view_entries_print(&v, &style, &out);
	view_entries_end(&v);
	same(&out,
	     "seq  position  quantity        shown  verdict      deviation  limits               "
	     "measured       meter  remark\n"
	     " 14  C6        value       0.0512 \u00b5F  ? unsure    8.9 % high  0.0423 to 0.0517 "
	     "\u00b5F  found, lifted  red    too near the limit for\n"
	     "                                                                                    "
	     "                     this meter: measure with\n"
	     "                                                                                    "
	     "                     a more accurate one;\n"
	     "                                                                                    "
	     "                     meter's accuracy assumed\n"
	     " 14  R12       value     612      k\u03a9  \u2717 outside  30.2 % high  423 to 517 "
	     "k\u03a9        found, lifted  red    carbon, drifted up\n"
	     "2 entries: 1 outside, 1 unsure\n");
}

/* On a narrow terminal nothing is wider than it: what does not fit is said below its row. */
static void test_narrow(void **state)
{
	(void)state;
	static const int widths[] = {60, 80, 100};
	for (size_t i = 0; i < sizeof widths / sizeof *widths; i++) {
		struct view_entries v;
		struct lines out = {0};
		struct style style = {.width = widths[i]};
		view_entries_begin(&v);
		add(&v, &style, CLOSE, UNTOUCHED);
		add(&v, &style, DRIFTED, UNTOUCHED);
		view_entries_print(&v, &style, &out);
		view_entries_end(&v);
		for (const char *line = lines_text(&out), *end; *line; line = end + 1) {
			end = strchr(line, '\n');
			if (words_width(line, (size_t)(end - line)) > (size_t)widths[i])
				fail_msg("wider than %d:\n%s", widths[i], lines_text(&out));
		}
		assert_non_null(strstr(lines_text(&out), "carbon, drifted up"));
		assert_non_null(strstr(lines_text(&out), "red"));
		assert_non_null(strstr(lines_text(&out), "\n     "));
		lines_free(&out);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_record_lines),
		cmocka_unit_test(test_other_records),
		cmocka_unit_test(test_events),
		cmocka_unit_test(test_frames),
		cmocka_unit_test(test_entries),
		cmocka_unit_test(test_entries_by_place),
		cmocka_unit_test(test_entries_of_new_parts),
		cmocka_unit_test(test_twins),
		cmocka_unit_test(test_entries_afterwards),
		cmocka_unit_test(test_colour),
		cmocka_unit_test(test_signs_and_width),
		cmocka_unit_test(test_narrow),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/*
 * Pictures: JSON goes in, the lines that a person sees come out.  Each row keeps its
 * picture, so that a change of the look is a change of this file.
 */
#include "tests/check.h"

#include "client/view.h"

static const struct style columns = {0};
static const struct style sentences = {.plain = true};
static const struct style signs = {.utf8 = true, .width = 100};
static const struct style colours = {.colour = true};

static struct slice slice(const char *text)
{
	size_t where;
	/* A picture of what is no JSON would prove nothing. */
	if (!json_valid(text, strlen(text), &where))
		fail_msg("not JSON at %zu: %s", where, text);
	return (struct slice){text, strlen(text)};
}

static void same(struct lines *got, const char *want)
{
	if (strcmp(lines_text(got), want) != 0) {
		print_error("got:\n%s\nexpected:\n%s\n", lines_text(got), want);
		fail();
	}
	lines_free(got);
}

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

/* ---- the others ---- */

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

static void test_compare(void **state)
{
	(void)state;
	static const char result[] =
		"{\"crosschecks\":[{\"position\":\"R12\",\"quantity\":\"value\",\"condition\":\"found\","
		"\"reach\":\"lifted\",\"pairs\":[{\"a\":{\"seq\":15,\"meter\":\"blue\",\"shown\":"
		"\"600.0 kohm\",\"U\":10969.8},\"b\":{\"seq\":13,\"meter\":\"red\",\"shown\":\"612.0 kohm\","
		"\"U\":3764.76},\"en\":1.03467,\"agree\":false}],\"apart\":null,\"agree\":false},"
		"{\"position\":\"R13\",\"quantity\":\"value\",\"condition\":\"found\",\"reach\":\"lifted\","
		"\"pairs\":[{\"a\":{\"seq\":3,\"meter\":\"blue\",\"shown\":\"1.000 Mohm\",\"U\":20000},"
		"\"b\":{\"seq\":4,\"meter\":\"red\",\"shown\":\"1.001 Mohm\",\"U\":3000},\"en\":0.049,"
		"\"agree\":true}],\"apart\":null,\"agree\":true}],"
		"\"twins\":[{\"position\":\"R12\",\"twin\":\"R112\",\"a\":{\"seq\":13,\"shown\":"
		"\"612.0 kohm\"},\"b\":{\"seq\":18,\"shown\":\"471.2 kohm\"},\"ratio\":1.29881,"
		"\"difference\":0.26,\"en\":29.4,\"agree\":false,\"reach\":\"in-circuit\"},"
		"{\"position\":\"R1\",\"twin\":\"R101\",\"a\":{\"seq\":1,\"shown\":\"2 ohm\"},"
		"\"b\":{\"seq\":2,\"shown\":\"1 ohm\"},\"ratio\":2,\"difference\":-0.667,\"en\":9,"
		"\"agree\":false,\"condition\":\"found\",\"reach\":\"lifted\"},"
		"{\"position\":\"R2\",\"twin\":\"R102\",\"a\":{\"seq\":1,\"shown\":\"1 ohm\"},"
		"\"b\":{\"seq\":2,\"shown\":\"1 ohm\"},\"ratio\":1,\"difference\":0,\"en\":0,"
		"\"agree\":true,\"condition\":\"found\",\"reach\":\"lifted\"}],"
		"\"refused\":[{\"position\":\"C1\",\"a\":5,\"b\":6,\"why\":\"the reach differs\"}]}";
	struct lines out = {0};
	int disagree = -1;
	view_compare(&columns, slice(result), &disagree, &out);
	assert_int_equal(disagree, 1);
	same(&out,
	     "position  quantity  measured       one                      value  other            "
	     "          value   E_n  answer\n"
	     "R12       value     found, lifted  blue  600.0   +-11 kohm (15)    red    612.0   "
	     "+-3.8 kohm (13)    1.03  ! disagree\n"
	     "R13       value     found, lifted  blue    1.000 +-0.020 Mohm (3)  red      1.001 "
	     "+-0.0030 Mohm (4)  0.05    agree\n"
	     "2 cross-checks: 1 agree, 1 disagree (they agree where E_n is at most 1)\n"
	     "\n"
	     "position       shown  twin      twin's  measured       difference  ratio  answer\n"
	     "R12       612.0 kohm  R112  471.2 kohm  in-circuit         26.0 %  1.299  ! differ: "
	     "lift both and measure again\n"
	     "R1          2   ohm   R101    1   ohm   found, lifted      66.7 %  2.000  ! differ "
	     "more than their tolerance allows\n"
	     "R2          1   ohm   R102    1   ohm   found, lifted       0.0 %  1.000    alike: "
	     "nothing against them\n"
	     "3 pairs of twins: 1 alike, 2 differ\n"
	     "not compared: C1, entries 5 and 6: the reach differs\n");
	view_compare(&columns, slice("{\"crosschecks\":[],\"twins\":[],\"refused\":[]}"), &disagree,
	             &out);
	assert_int_equal(disagree, 0);
	assert_non_null(strstr(lines_text(&out), "nothing to compare yet"));
	lines_free(&out);
}

static void test_verify(void **state)
{
	(void)state;
	struct lines out = {0};
	view_verify(&columns, slice("{\"verdict\":\"altered\",\"ok\":false,\"records\":11,\"bad\":12,"
	                            "\"what\":\"its hash is another\",\"head\":\"11:ab\","
	                            "\"identity\":\"cd\"}"), "l.db", "", false, &out);
	same(&out, "checked      l.db\n"
	           "identity     cd\n"
	           "records      11: the place, the text and the hash of each fit\n"
	           "verdict      altered: NOT GOOD\n"
	           "first bad    record 12\n"
	           "what         its hash is another\n"
	           "good up to   11:ab\n");
	view_verify(&columns, slice("{\"verdict\":\"newer than the anchor\",\"ok\":true,\"records\":20,"
	                            "\"bad\":null,\"what\":\"\",\"head\":\"20:ef\",\"identity\":\"cd\"}"),
	            "l.db", "11:ab", false, &out);
	same(&out, "checked      l.db\n"
	           "identity     cd\n"
	           "records      20: the place, the text and the hash of each fit\n"
	           "verdict      newer than the anchor\n"
	           "anchor       11:ab\n"
	           "head         20:ef\n"
	           "             Write the head down where nobody who can write the log can reach\n"
	           "             it: it is the anchor of the next check.\n"
	           "not proven   What was logged after the anchor could have been written anew by\n"
	           "             someone who can write the file; up to the anchor it could not.\n"
	           "             No seal shows that the probes were on the right part.\n");
}

static void test_meters(void **state)
{
	(void)state;
	struct lines out = {0};
	view_meters(&columns, slice("{\"meters\":[{\"name\":\"red\",\"dialect\":\"ascii-unit\","
	                            "\"port\":\"/dev/tally/red\",\"state\":\"ready\",\"asked\":false,"
	                            "\"identity\":null,\"function\":\"ohm\",\"shown\":\"0.4812 kohm\","
	                            "\"counters\":{\"good\":120,\"bad\":2,\"readings\":120,\"timeouts\":0,"
	                            "\"late\":0,\"resync\":1,\"parity\":3,\"stale\":4,\"reconnects\":1},"
	                            "\"accuracy\":\"ohm 0.5% + 2\","
	                            "\"why\":null},{\"name\":\"bench\",\"dialect\":\"scpi\","
	                            "\"port\":\"/dev/x\",\"state\":\"absent\",\"asked\":true,"
	                            "\"identity\":\"A,B,0,2\",\"maker\":\"A\",\"model\":\"B\","
	                            "\"serial\":null,\"firmware\":\"2\",\"function\":null,\"shown\":null,"
	                            "\"counters\":{\"good\":0,\"bad\":0,\"readings\":0,\"timeouts\":3,"
	                            "\"late\":0,\"reconnects\":0},\"accuracy\":null,"
	                            "\"why\":\"/dev/x is not there\"}]}"), &out);
	same(&out,
	     "meter  state         reads  function  dialect     line         port            good  bad  "
	     "resync  parity  stale  late  reconnects\n"
	     "red    ready   0.4812 kohm  ohm       ascii-unit  listened to  /dev/tally/red   120    2  "
	     "     1       3      4                 1\n"
	     "bench  absent                         scpi        asked        /dev/x             0    0  "
	     "                          3\n"
	     "red          accuracy ohm 0.5% + 2\n"
	     "bench        says it is maker A, model B, firmware 2\n"
	     "bench        accuracy not given: a pessimistic class is assumed; write `accuracy ohm = "
	     "0.5% + 2` under [meter bench]\n"
	     "bench        attention: /dev/x is not there\n");
	/* Counters that a daemon has besides are shown where something has come of them. */
	view_meters(&columns, slice("{\"meters\":[{\"name\":\"red\",\"counters\":{\"good\":7,\"bad\":0,"
	                            "\"resync\":2,\"parity\":31,\"stale\":4,\"late\":1,\"timeouts\":2,"
	                            "\"reconnects\":0}},{\"name\":\"blue\",\"counters\":{\"good\":1,"
	                            "\"bad\":0,\"resync\":0,\"parity\":0,\"stale\":0,\"reconnects\":0}}]}"),
	            &out);
	same(&out,
	     "meter  good  bad  resync  parity  stale  late\n"
	     "red       7    0       2      31      4     3\n"
	     "blue      1    0\n");
	view_meters(&sentences, slice("{\"meters\":[{\"name\":\"red\",\"state\":\"absent\",\"counters\":{"
	                          "\"good\":7,\"bad\":1,\"stale\":4}}]}"), &out);
	same(&out, "red, absent, good 7, bad 1, stale 4\n");
	/* An identity that is not in four fields stands as it is. */
	lines_free(&out);
	out = (struct lines){0};
	view_meters(&columns, slice("{\"meters\":[{\"name\":\"old\",\"dialect\":\"x\",\"state\":\"stale\","
	                            "\"asked\":true,\"identity\":\"OLD METER 3\",\"maker\":null}]}"), &out);
	assert_non_null(strstr(lines_text(&out), "says it is OLD METER 3\n"));
	assert_non_null(strstr(lines_text(&out), "stale"));
	view_meters(&columns, slice("{\"meters\":[]}"), &out);
	assert_non_null(strstr(lines_text(&out), "Add a section [meter NAME]"));
	lines_free(&out);
}

static void test_doctor(void **state)
{
	static const char answer[] =
	    "{\"ok\":false,\"daemon\":true,\"config\":\"/etc/tally.ini\",\"socket\":\"/s\","
	    "\"log\":\"/l\",\"user\":\"tally\",\"groups\":\"tally, dialout\",\"findings\":[{\"word\":"
	    "\"udev\",\"fault\":false,\"text\":\"no udev runs here\",\"cure\":\"run it outside\"}],"
	    "\"meters\":[{\"name\":\"red\",\"ok\":true,\"port\":\"/dev/x\",\"node\":\"/dev/ttyUSB0\","
	    "\"line\":\"open\",\"state\":\"listened to\",\"good\":12,\"bad\":1,\"findings\":[]},"
	    "{\"name\":\"blue\",\"ok\":false,\"line\":\"refused\",\"findings\":[{\"word\":\"held\","
	    "\"fault\":true,\"text\":\"/dev/ttyUSB1 is held by \\u001b[2Jcat\",\"cure\":\"close it\"},"
	    "{\"word\":\"latency\",\"fault\":false,\"text\":\"16 ms\",\"cure\":\"the rules\"}]}],"
	    "\"adapters\":[{\"node\":\"/dev/ttyUSB0\",\"ids\":\"1209:0001\",\"serial\":\"A1\",\"place\":"
	    "\"1-1.4:1.0\",\"driver\":null,\"product\":null,\"link\":null,\"user\":\"root\",\"group\":"
	    "\"dialout\",\"mode\":\"0660\",\"may\":true,\"holder\":null,\"meter\":\"red\"}],"
	    "\"strays\":[{\"place\":\"1-2\",\"ids\":\"1209:0002\",\"serial\":null,\"product\":null,"
	    "\"claimed\":false,\"holder\":null}],\"dropped\":0}";
	struct lines out = {0};
	(void)state;
	view_doctor(&columns, slice(answer), NULL, "", &out);
	same(&out,
	     "daemon       runs as user tally, in the groups tally, dialout\n"
	     "configured   /etc/tally.ini\n"
	     "bench        worth knowing (udev): no udev runs here\n"
	     "             do: run it outside\n"
	     "red          nothing stands in the way: listened to at /dev/ttyUSB0, 12 frames good, 1 bad\n"
	     "blue         IN THE WAY (held): /dev/ttyUSB1 is held by \\x1B[2Jcat\n"
	     "             do: close it\n"
	     "             worth knowing (latency): 16 ms\n"
	     "             do: the rules\n"
	     "\n"
	     "adapter       ids        serial  place      rights             meter\n"
	     "/dev/ttyUSB0  1209:0001  A1      1-1.4:1.0  root:dialout 0660  red\n"
	     "USB device   1209:0002 in place 1-2 has no line: no driver took it, or it is none\n");
	/* One meter alone, for a screen reader: each line says whose it is. */
	view_doctor(&sentences, slice(answer), "blue", "", &out);
	same(&out,
	     "daemon: runs as user tally, in the groups tally, dialout\n"
	     "configured: /etc/tally.ini\n"
	     "bench: worth knowing (udev): no udev runs here\n"
	     "bench: do: run it outside\n"
	     "blue: IN THE WAY (held): /dev/ttyUSB1 is held by \\x1B[2Jcat\n"
	     "blue: do: close it\n"
	     "blue: worth knowing (latency): 16 ms\n"
	     "blue: do: the rules\n");
}

static void test_sheet(void **state)
{
	(void)state;
	struct lines out = {0};
	struct view_list v;
	view_sheet_begin(&v);
	snprintf(v.job, sizeof v.job, "amp");
	view_sheet_add(&v, &columns,
	               slice("{\"position\":\"R12\",\"entries\":2,\"seq\":6,\"written\":{\"position\":"
	                     "\"R12\",\"nominal\":\"470k\",\"tolerance\":\"10%\"},\"extra\":{\"owner\":"
	                     "\"mine\"},\"kind\":\"resistor\",\"function\":\"ohm\",\"nominal\":470000,"
	                     "\"limits\":[423000,517000],\"service\":null}"));
	view_sheet_add(&v, &columns,
	               slice("{\"position\":\"C7\",\"entries\":0,\"seq\":7,\"written\":{\"position\":"
	                     "\"C7\",\"nominal\":\"0.1 uF\",\"max\":\"2 W\"},\"kind\":\"paper\","
	                     "\"function\":\"farad\",\"nominal\":1e-07,\"limits\":null,"
	                     "\"service\":[9e-08,null],\"twin\":\"C17\"}"));
	/* Of a marking nobody wrote a nominal: what it means is shown, not a number of farads. */
	view_sheet_add(&v, &columns,
	               slice("{\"position\":\"C8\",\"entries\":1,\"seq\":8,\"written\":{\"position\":"
	                     "\"C8\"},\"extra\":{\"marking\":\"473\"},\"kind\":\"film\","
	                     "\"function\":\"farad\",\"nominal\":4.7e-08,\"limits\":null}"));
	view_sheet_print(&v, &columns, &out);
	view_list_end(&v);
	same(&out,
	     "job          amp\n"
	     "position  kind      nominal  tolerance  twin  entries  beside\n"
	     "R12       resistor  470k           10%              2  owner mine\n"
	     "C7        paper      0.1 uF             C17         -  max 2 W\n"
	     "C8        film      47   nF                         1  marking 473\n"
	     "2 of 3 positions measured, the first without an entry is C7\n");
}

static void test_status(void **state)
{
	(void)state;
	struct lines out = {0};
	view_status(&columns,
	            slice("{\"bench\":\"north\",\"job\":\"amp\",\"state\":\"cold\",\"condition\":"
	                  "\"found\",\"reach\":\"lifted\",\"walk\":\"on\",\"chosen\":{\"position\":"
	                  "\"R12\",\"quantity\":\"value\",\"kind\":\"resistor\",\"nominal\":\"470 kohm\","
	                  "\"tolerance\":\"10%\",\"role\":null,\"twin\":\"R112\",\"armed\":false},"
	                  "\"bound\":[{\"meter\":\"red\",\"position\":\"V1\"}],\"health\":\"good\","
	                  "\"done\":9,\"positions\":24}"), &out);
	same(&out, "bench        north\n"
	           "job          amp\n"
	           "state        cold\n"
	           "condition    found\n"
	           "reach        lifted\n"
	           "walk         on\n"
	           "position     R12, value, resistor, nominal 470 kohm 10%, twin R112, not ready yet: "
	           "lift the probes\n"
	           "bound        red to V1\n"
	           "measured     9 of 24 positions\n"
	           "log          good\n");
	view_status(&sentences, slice("{\"job\":null,\"chosen\":null,\"bound\":[]}"), &out);
	same(&out, "job: none is open: `tally job start NAME` does\n"
	           "position: none is chosen: `tally at POSITION` does\n");
}

/* ---- words ---- */

static void test_deviation(void **state)
{
	(void)state;
	/* value, nominal's sign through the deviation, limits; what is said */
	static const struct { const char *members, *want; } rows[] = {
		{"\"value\":1,\"deviation\":0", "on nominal"},
		{"\"value\":1,\"deviation\":0.00004", "on nominal"},
		{"\"value\":1,\"deviation\":0.00997", "1.0 % high"},
		{"\"value\":1,\"deviation\":0.0099", "0.99 % high"},
		{"\"value\":1,\"deviation\":-0.105", "10.5 % low"},
		{"\"value\":1,\"deviation\":2.5", "250 % high"},
		{"\"value\":1,\"deviation\":99.0", "100 times nominal"},
		{"\"value\":0,\"deviation\":-1,\"limits\":[90,110]", "100 % low"},
		/* nominal -35 V */
		{"\"value\":-40,\"deviation\":0.142857", "14.3 % more negative"},
		{"\"value\":-30,\"deviation\":-0.142857", "14.3 % less negative"},
		{"\"value\":2,\"deviation\":-1.05714", "106 % off, of the wrong sign"},
		{"\"value\":0,\"deviation\":-1,\"limits\":[-38.5,-31.5]", "100 % less negative"},
		/* a positive nominal, and the leads swapped */
		{"\"value\":-35,\"deviation\":-2", "200 % low"},
		/* nominal zero, and none at all */
		{"\"value\":0.5,\"deviation\":null,\"side\":\"high\"", "high"},
		{"\"value\":0.5,\"deviation\":null,\"side\":null", ""},
		/* an overload */
		{"\"value\":null,\"above\":20000000,\"function\":\"ohm\"", "above 20 Mohm"},
		{"\"value\":null,\"above\":600,\"function\":\"volt-dc\",\"verdict\":\"outside\",\"side\":\"high\"",
		 "above 600 V"},
		{"\"value\":null,\"above\":600,\"function\":\"volt-dc\",\"verdict\":\"outside\",\"side\":null",
		 "beyond 600 V"},
		{"\"value\":null,\"function\":\"ohm\"", ""},
		{"\"value\":null,\"function\":\"ohm\",\"side\":\"high\"", "high"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		char text[256], got[WORDS_SIZE];
		snprintf(text, sizeof text, "{%s}", rows[i].members);
		note_row("%s", text);
		words_deviation(&columns, slice(text), got, sizeof got);
		assert_string_equal(got, rows[i].want);
	}
}

static void test_limits(void **state)
{
	(void)state;
	static const struct { const char *members, *want; } rows[] = {
		/* in the prefix that the meter showed */
		{"\"limits\":[9e-08,1.1e-07],\"function\":\"farad\",\"shown\":\"0.1183 uF\"",
		 "0.09 to 0.11 uF"},
		{"\"limits\":[9e-08,1.1e-07],\"function\":\"farad\",\"shown\":\"118 nF\"", "90 to 110 nF"},
		/* unless it would not be readable */
		{"\"limits\":[423000,517000],\"function\":\"ohm\",\"shown\":\"3 ohm\"", "423 to 517 kohm"},
		{"\"limits\":[423000,517000],\"function\":\"ohm\",\"shown\":\"overload\"",
		 "423 to 517 kohm"},
		{"\"limits\":[20000000,null],\"function\":\"ohm\",\"shown\":\"overload\"",
		 "at least 20 Mohm"},
		{"\"limits\":[null,0.1],\"function\":\"ohm\",\"shown\":\"0.05 ohm\"", "at most 0.1 ohm"},
		{"\"limits\":[-38.5,-31.5],\"function\":\"volt-dc\",\"shown\":\"-35 V\"",
		 "-38.5 to -31.5 V"},
		{"\"limits\":[-2,2],\"function\":\"volt-dc\",\"shown\":\"0.1 V\"", "-2 to 2 V"},
		{"\"limits\":[null,null],\"function\":\"ohm\",\"shown\":\"1 ohm\"", ""},
		{"\"function\":\"ohm\"", ""},
		{"\"limits\":[1,2],\"function\":\"number\",\"shown\":\"1.5\"", "1 to 2"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		char text[256], got[WORDS_SIZE];
		snprintf(text, sizeof text, "{%s}", rows[i].members);
		note_row("%s", text);
		words_limits(&columns, slice(text), got, sizeof got);
		assert_string_equal(got, rows[i].want);
	}
}

static void test_signs(void **state)
{
	(void)state;
	static const struct { const char *shown, *want; } rows[] = {
		{"0.345 uF", "0.345 \u00b5F"}, {"612 kohm", "612 k\u03a9"}, {"5 ohm", "5 \u03a9"},
		{"12 uohm", "12 \u00b5\u03a9"}, {"-40.1 V", "-40.1 V"}, {"overload", "overload"},
		{"", ""}, {"3 u", "3 u"}, {"0.09 to 0.11 uF", "0.09 to 0.11 \u00b5F"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		char got[WORDS_SIZE];
		note_row("%s", rows[i].shown);
		words_value(&signs, rows[i].shown, got, sizeof got);
		assert_string_equal(got, rows[i].want);
		words_value(&columns, rows[i].shown, got, sizeof got);
		assert_string_equal(got, rows[i].shown);
	}
}

/* Whatever a line sends must not steer the terminal, nor turn the text around. */
static void test_clean(void **state)
{
	(void)state;
	static const struct { const char *text, *want; } rows[] = {
		{"plain", "plain"}, {"\x1b[2J", "\\x1B[2J"}, {"a\nb\tc", "a\\x0Ab\\x09c"},
		{"\x7f", "\\x7F"}, {"\xc2\x9b" "31m", "\\x9B31m"}, {"\xff\xfe", "\\xFF\\xFE"},
		{"\xe2\x80\xae" "abc", "\\u202Eabc"}, {"\xc3\xa4", "\xc3\xa4"}, {"\xc3", "\\xC3"},
		{"\xed\xa0\x80", "\\xED\\xA0\\x80"}, {"\xc0\x80", "\\xC0\\x80"},
		{"\xf0\x9f\x94\x8a", "\xf0\x9f\x94\x8a"},
	};
	char got[WORDS_SIZE], small[8];
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		note_row("%zu", i);
		words_clean(rows[i].text, strlen(rows[i].text), got, sizeof got);
		assert_string_equal(got, rows[i].want);
	}
	/* Cut at a character, never inside one. */
	words_clean("abcdef\xc3\xa4", 8, small, sizeof small);
	assert_string_equal(small, "abcdef");
}

static void test_width(void **state)
{
	(void)state;
	static const struct { const char *text; size_t want; } rows[] = {
		{"", 0}, {"abc", 3}, {"\u00b5F", 2}, {"k\u03a9", 2}, {"e\u0301", 1},
		{"\u96fb", 2}, {"\xff", 1},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		note_row("%zu", i);
		assert_int_equal(words_width(rows[i].text, strlen(rows[i].text)), rows[i].want);
	}
}

static void shifted(int64_t us, char out[20])
{
	(void)us;
	memcpy(out, "2026-11-26 01:02:03", 20);
}

static void test_times(void **state)
{
	(void)state;
	struct style local = {.local = shifted};
	char got[64];
	const char *time = "\"2026-11-25T23:02:03.000001Z\"";
	words_time(&columns, slice(time), true, got, sizeof got);
	assert_string_equal(got, "2026-11-25 23:02:03");
	words_time(&local, slice(time), true, got, sizeof got);
	assert_string_equal(got, "2026-11-26 01:02:03");
	words_time(&local, slice(time), false, got, sizeof got);
	assert_string_equal(got, "01:02:03");
	words_time(&columns, slice("\"yesterday\""), false, got, sizeof got);
	assert_string_equal(got, "yesterday");
	words_time(&columns, slice("12"), false, got, sizeof got);
	assert_string_equal(got, "");
}

/* Members that are missing leave their place empty, and nothing falls over. */
static void test_nothing_there(void **state)
{
	(void)state;
	struct lines out = {0};
	struct slice nothing = slice("{}");
	int disagree;
	view_record(&columns, nothing, &out);
	view_event(&columns, nothing, &out);
	view_frame(&columns, nothing, &out);
	view_meters(&columns, nothing, &out);
	view_job(&columns, nothing, &out);
	view_chosen(&columns, nothing, &out);
	view_status(&columns, nothing, &out);
	view_compare(&columns, nothing, &disagree, &out);
	view_doctor(&columns, nothing, NULL, "", &out);
	view_verify(&columns, nothing, "x", "", false, &out);
	assert_int_equal(disagree, 0);
	assert_false(out.failed);
	/* And an unsealed nothing is never called good. */
	assert_non_null(strstr(lines_text(&out), "NOT GOOD"));
	lines_free(&out);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_record_lines),
		cmocka_unit_test(test_other_records),
		cmocka_unit_test(test_events),
		cmocka_unit_test(test_frames),
		cmocka_unit_test(test_entries), cmocka_unit_test(test_entries_by_place),
		cmocka_unit_test(test_entries_of_new_parts),
		cmocka_unit_test(test_twins),
		cmocka_unit_test(test_entries_afterwards),
		cmocka_unit_test(test_colour),
		cmocka_unit_test(test_signs_and_width),
		cmocka_unit_test(test_narrow),
		cmocka_unit_test(test_compare),
		cmocka_unit_test(test_verify),
		cmocka_unit_test(test_meters),
		cmocka_unit_test(test_doctor),
		cmocka_unit_test(test_sheet),
		cmocka_unit_test(test_status),
		cmocka_unit_test(test_deviation),
		cmocka_unit_test(test_limits),
		cmocka_unit_test(test_signs),
		cmocka_unit_test(test_clean),
		cmocka_unit_test(test_width),
		cmocka_unit_test(test_times),
		cmocka_unit_test(test_nothing_there),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

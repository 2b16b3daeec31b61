/* SPDX-License-Identifier: MIT */
/*
 * What stands on the screen besides the touch: what is typed, danger, the whole sheet,
 * limits of every form, twins, and every state as a word.  Pictures as in
 * test_bench_view.c; `--rebuild` writes them anew.
 */
#include "tests/bench_picture.h"

#include "client/phrase.h"

/* ---- scenes ---- */

static void ready(void)
{
	scene_ready(true, "cold", "R3", "value", R3_CHOSEN);
}

static void type(enum action action, const char *text, size_t at)
{
	keys = (struct keys){.mode = KEYS_TYPE, .asked = action, .about = "R3"};
	prompt_set(&keys.line, text, at);
}

static void enter_begins(void)
{
	ready();
	type(ACTION_ENTER, "R3  from tester", 3);
}

static void enter_whole(void)
{
	ready();
	type(ACTION_ENTER, "C7 leakage 0.3 uA from tester u 0.05 uA because it has no line", 99);
}

static void enter_wrong(void)
{
	ready();
	type(ACTION_ENTER, "R3 10,000 from tester", 99);
	phrase_good(ACTION_ENTER, keys.line.text, keys.hint, sizeof keys.hint);
}

static void move_two(void)
{
	ready();
	type(ACTION_MOVE, "last 2 R101", 99);
}

static void strike_one(void)
{
	ready();
	type(ACTION_STRIKE, "#21 the probe slipped off", 99);
}

static void completing(void)
{
	ready();
	type(ACTION_AT, "R1", 99);
	snprintf(keys.hint, sizeof keys.hint, "R1  R13  R101  R103");
}

#define WIDE "\xE6\xBC\xA2\xE5\xAD\x97" /* two characters of two columns each */
#define MARKED "e\xCC\x81"              /* a letter and its combining mark */

static void wide_typing(void)
{
	char text[300] = "";
	ready();
	for (int i = 0; i < 12; i++)
		strcat(text, WIDE MARKED);
	type(ACTION_NOTE, text, 999);
}

static void errand(void)
{
	ready();
	event("\"event\":\"errand\",\"meter\":\"bench\",\"errand\":\"short\",\"text\":\"hold the tips "
	      "together\"");
}

/* Names as `walk new --prefix` and big units have them: what tells them apart is their end. */
#define LONG "power-supply/left/stage1/"

static void long_names(void)
{
	ready();
	for (int i = 1; i < 4; i++) {
		char more[400];
		snprintf(more, sizeof more, ",\"job\":\"picture house\",\"position\":\"" LONG "R%d\","
		         "\"quantity\":\"value\",\"meter\":\"bench\",\"function\":\"ohm\",\"shown\":"
		         "\"10%d.2 kohm\",\"verdict\":\"within\",\"side\":\"high\",\"settled\":true,"
		         "\"source\":\"meter\"", i, i);
		record(30 + i, "entry", more);
	}
	now += 60000;
	live("overload", "ohm", 0, false);
	event("\"event\":\"up\",\"position\":\"" LONG "R12\",\"quantity\":\"value\",\"armed\":\"yes\"");
}

static void long_held(void)
{
	long_names();
	live("131.20 kohm", "ohm", 1, true);
	event("\"event\":\"held\",\"meter\":\"bench\",\"position\":\"" LONG "R12\",\"shown\":"
	      "\"131.2 kohm\",\"looks\":\"" LONG "R13\"");
}

static void check_failed(void)
{
	ready();
	live("10.12 kohm", "ohm", 1, true);
	record(30, "check", ",\"meter\":\"bench\",\"position\":\"REF1\",\"shown\":\"10.12 kohm\","
	       "\"agree\":false");
}

static void typed_outside(void)
{
	ready();
	record(30, "entry", ",\"job\":\"picture house\",\"position\":\"R3\",\"quantity\":\"value\","
	       "\"meter\":\"tester\",\"function\":\"ohm\",\"shown\":\"131 kohm\",\"value\":131000,\"verdict\":"
	       "\"outside\",\"side\":\"high\",\"deviation\":0.31,\"settled\":true,\"source\":\"typed\"");
}

static void alarm_live(void)
{
	ready();
	live("131.20 kohm", "ohm", 0.6, true);
	event("\"event\":\"alarm\",\"alarm\":\"held\",\"text\":\"C5 still has 41 V\",\"on\":true");
	event("\"event\":\"alarm\",\"alarm\":\"live\",\"meter\":\"red\",\"text\":\"red reads 287 V on a unit "
	      "that is said to be cold: hands off\",\"on\":true");
}

/* As the daemon says it. */
static void alarm_long(void)
{
	ready();
	event("\"event\":\"alarm\",\"alarm\":\"live\",\"meter\":\"blue\",\"text\":\"LIVE: blue reads 231.4 V AC "
	      "on a unit that is said to be cold. Hands off; switch off, isolate, discharge, measure\",\"on\":true");
	event("\"event\":\"alarm\",\"alarm\":\"live\",\"meter\":\"red\",\"text\":\"LIVE: red reads 312.4 V "
	      "on a unit that is said to be cold. Hands off; switch off, isolate, discharge, measure\",\"on\":true");
}

static void discharging(void)
{
	scene_ready(true, "live", "C7", "volts", C7_CHOSEN);
	scene_status(scene, now, text_slice("{\"discharging\":true}"));
	event("\"event\":\"discharging\",\"text\":\"C7 dead once: again in 60 s\"");
}

static void long_note(void)
{
	ready();
	event("\"event\":\"caution\",\"text\":\"mains isolated, one hand, rated probes: discharge the "
	      "reservoirs through a resistor, then take volts dc of C5, and again after a minute\"");
}

static void alarm_held(void)
{
	ready();
	event("\"event\":\"alarm\",\"alarm\":\"held\",\"text\":\"C5 still has 41 V: discharge it\",\"on\":true");
}

/* 400 positions in two channels; 130 are finished. */
static void large_sheet(void)
{
	static char text[120000];
	size_t n = 0;
	ready();
	scene_sheet_begin(scene);
	n += (size_t)snprintf(text, sizeof text, "{\"rows\":[");
	for (int i = 0; i < 400; i++) {
		const char *letter = i % 200 < 150 ? "R" : i % 200 < 190 ? "C" : "V";
		int number = (i % 200 < 150 ? i % 200 : i % 200 < 190 ? i % 200 - 150 : i % 200 - 190) + 1;
		n += (size_t)snprintf(text + n, sizeof text - n,
		                      "%s{\"position\":\"%s%d\",\"entries\":%d,\"written\":{},\"kind\":\"other\","
		                      "\"function\":\"ohm\",\"channel\":\"%s\"}", i ? "," : "", letter,
		                      number + (i < 200 ? 0 : 200), i < 130, i < 200 ? "left" : "right");
	}
	snprintf(text + n, sizeof text - n, "],\"more\":false}");
	scene_sheet(scene, text_slice(text));
	for (int i = 0; i < 130; i++)
		snprintf(scene->sheet[i].verdict, sizeof scene->sheet[i].verdict, "%s",
		         i == 77 ? "outside" : i == 41 ? "unsure" : "within");
	scene->done = 130;
	scene->positions = 400;
	snprintf(scene->position, sizeof scene->position, "R131");
}

/* As handed back: R1 was measured again, R3 and R13 only as found; C7 lacks its leakage. */
static void as_done(void)
{
	ready();
	record(30, "entry", ENTRY("R3", "131.20 kohm", "131200", "outside", "high", "0.312", ""));
	record(31, "entry", ENTRY("R1", "1.010 Mohm", "1010000", "within", "high", "0.01",
	                          ",\"condition\":\"done\""));
	record(32, "entry", ENTRY("C7", "104.00 nF", "1.04e-07", "within", "high", "0.04",
	                          ",\"condition\":\"done\""));
	scene->logged.is = false;
	scene_status(scene, now, text_slice(
		"{\"job\":\"picture house\",\"state\":\"cold\",\"condition\":\"done\",\"reach\":\"lifted\","
		"\"walk\":\"on\",\"chosen\":{\"position\":\"R3\",\"quantity\":\"value\"" R3_CHOSEN
		",\"armed\":true},\"lacks\":[\"R3\",\"R13\",\"C7\",\"B1\",\"T1\",\"R101\",\"R103\","
		"\"C107\",\"X1\"],\"done\":1,\"positions\":10,\"next\":\"R13\"}"));
	live("overload", "ohm", 0, false);
}

static void as_done_overview(void)
{
	as_done();
	keys = (struct keys){.mode = KEYS_LOOK, .asked = ACTION_SHEET};
}

static void large_overview(void)
{
	large_sheet();
	keys = (struct keys){.mode = KEYS_LOOK, .asked = ACTION_SHEET};
}

/* A twin that has a value, too. */
static void twins(void)
{
	ready();
	record(30, "entry", ENTRY("R103", "104.10 kohm", "104100", "within", "high", "0.041", ""));
	scene->logged.is = false;
	live("97.20 kohm", "ohm", 0.8, true);
}

static void twins_overview(void)
{
	twins();
	keys = (struct keys){.mode = KEYS_LOOK, .asked = ACTION_SHEET};
}

/* Limits as the daemon says them for what is up. */
static void limits_of(const char *position, const char *quantity, const char *function,
                      const char *limits, const char *more, const char *shown)
{
	char chosen[400];
	snprintf(chosen, sizeof chosen, ",\"function\":\"%s\",\"limits\":%s%s", function, limits, more);
	scene_ready(true, "cold", position, quantity, chosen);
	live(shown, strcmp(function, "none") == 0 ? "amp-dc" : function, 0.7, true);
}

static const struct {
	const char *name, *position, *quantity, *function, *limits, *more, *shown;
	const char *want[3]; /* in the picture */
} limit_rows[] = {
	/* what form; position, quantity, function, limits, more, display; what is to be seen */
	{"volts of a rail, negative, absolute", "B1", "volts", "volt-dc", "[-37,-33]", "", "-38.2 V",
	 {"-37 V", "-33 V", "9.1 % more negative"}},
	{"another quantity than the sheet's", "C7", "leakage", "amp-dc", "[null,3e-06]", "", "4.1 uA",
	 {"at most", "3 \u00B5A", "|"}},
	{"where several functions will do", "C7", "leakage", "none", "[null,3e-06]", "", "2.1 uA",
	 {"at most", "3 \u00B5A", "\u25C6"}},
	{"a replacement, with a nominal of its own", "R3", "value", "ohm", "[108000,132000]",
	 ",\"nominal\":\"120 kohm\",\"fit\":true", "126.0 kohm",
	 {"108 k\u03A9", "fitted 120 k\u03A9", "5.0 % high"}},
	{"insulation, one bound", "T1", "insulation", "ohm", "[20000000,null]", "", "31.2 Mohm",
	 {"at least 20 M\u03A9", "|\u2500", "\u25C6"}},
	{"asymmetric", "C7", "value", "farad", "[8e-08,1.8e-07]", "", "95.0 nF",
	 {"80 nF", "180 nF", "5.0 % low"}},
	{"about zero", "X1", "volts", "volt-dc", "[-2,2]", "", "0.30 V", {"-2 V", "2 V", "\u25C6"}},
	{"practice, where the sheet says none", "X1", "value", "ohm", "[80,120]", ",\"assumed\":true",
	 "100.0 ohm", {"assumed", "80 \u03A9", "120 \u03A9"}},
	{"henry", "X1", "value", "henry", "[9,11]", "", "10.2 H", {"9 H", "11 H", "\u25C6"}},
	{"percent", "X1", "dissipation", "percent", "[null,5]", "", "7 %", {"at most", "5 %", "\u25C6"}},
	{"none at all", "X1", "esr", "ohm", "null", "", "3 ohm", {"logged without a verdict", "", ""}},
};

static const struct {
	const char *name;
	void (*scene)(void);
	int width, height;
	bool looks;
} pictures[] = {
	{"enter-begins", enter_begins, 80, 24, true}, {"enter", enter_whole, 80, 24, false},
	{"enter", enter_whole, 132, 43, false},       {"enter", enter_whole, 40, 12, false},
	{"enter-wrong", enter_wrong, 80, 24, false},  {"move", move_two, 80, 24, true},
	{"strike", strike_one, 80, 24, false},        {"completing", completing, 80, 24, false},
	{"wide-typing", wide_typing, 80, 24, false},  {"wide-typing", wide_typing, 40, 12, false},
	{"errand", errand, 80, 24, false},            {"check-failed", check_failed, 80, 24, false},
	{"long-names", long_names, 80, 24, false},    {"long-names", long_names, 40, 12, false},
	{"long-held", long_held, 80, 24, false},
	{"typed", typed_outside, 80, 24, false},      {"typed", typed_outside, 132, 43, false},
	{"discharging", discharging, 80, 24, true},
	{"long-note", long_note, 80, 24, false},
	{"alarm-live", alarm_live, 80, 24, true},     {"alarm-live", alarm_live, 40, 12, false},
	{"alarm-live", alarm_live, 200, 60, false},   {"alarm-held", alarm_held, 80, 24, false},
	{"alarm-long", alarm_long, 80, 24, true},     {"alarm-long", alarm_long, 40, 12, false},
	{"large-sheet", large_sheet, 80, 24, false},  {"large-sheet", large_sheet, 132, 43, false},
	{"as-done", as_done, 80, 24, false},
	{"as-done", as_done, 200, 60, false},
	{"as-done-overview", as_done_overview, 80, 24, false},
	{"large-overview", large_overview, 80, 24, false},
	{"large-overview", large_overview, 200, 60, false},
	{"twins", twins, 80, 24, false},              {"twins", twins, 200, 60, false},
	{"twins-overview", twins_overview, 80, 24, false},
	{"twins-overview", twins_overview, 40, 12, false},
	{"large-overview", large_overview, 40, 12, false},
};

static void test_pictures(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof pictures / sizeof pictures[0]; i++) {
		struct picture p;
		struct lines out = {0};
		keys = (struct keys){.mode = KEYS_ACT};
		pictures[i].scene();
		draw(&p, pictures[i].width, pictures[i].height);
		picture_text(&p, pictures[i].looks, &out);
		compare(pictures[i].name, pictures[i].width, pictures[i].height, &out);
		lines_free(&out);
		picture_end(&p);
		scene_stop();
	}
}

/* Every size, every scene: nothing outside the grid, whatever is typed. */
static void test_every_size(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof pictures / sizeof pictures[0]; i++) {
		keys = (struct keys){.mode = KEYS_ACT};
		pictures[i].scene();
		for (int width = 1; width <= 210; width += width < 30 ? 1 : 9)
			for (int height = 1; height <= 70; height += height < 14 ? 1 : 4) {
				struct picture p;
				draw(&p, width, height);
				assert_true(p.cursor_column < width);
				picture_end(&p);
			}
		scene_stop();
	}
}

/* ---- limits ---- */

static void test_limits(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof limit_rows / sizeof limit_rows[0]; i++) {
		struct picture p;
		keys = (struct keys){.mode = KEYS_ACT};
		note_row("%s", limit_rows[i].name);
		limits_of(limit_rows[i].position, limit_rows[i].quantity, limit_rows[i].function,
		          limit_rows[i].limits, limit_rows[i].more, limit_rows[i].shown);
		draw(&p, 80, 24);
		for (int k = 0; k < 3; k++)
			if (!shows(&p, limit_rows[i].want[k])) {
				print_error("\"%s\" is not to be seen\n", limit_rows[i].want[k]);
				fail();
			}
		picture_end(&p);
		scene_stop();
	}
}

/* Where a value stands on the line: the column of its mark, -1 where there is none. */
static int mark_at(const char *mark)
{
	struct picture p;
	int found = -1;
	draw(&p, 80, 24);
	for (int row = 0; row < p.height; row++)
		for (int column = BENCH_GUTTER; column < p.width; column++)
			if (strcmp(p.cells[row * p.width + BENCH_GUTTER - 8].text, "l") == 0 && /* limits */
			    strcmp(p.cells[row * p.width + BENCH_GUTTER - 3].text, "s") == 0 &&
			    strcmp(p.cells[row * p.width + column].text, mark) == 0)
				found = column;
	picture_end(&p);
	return found;
}

/* The mark goes with the value, and the twin's stands in its place. */
static void test_limits_line(void **state)
{
	(void)state;
	static const char *const rising[] = {"-40 V", "-36.9 V", "-35 V", "-33.1 V", "-20 V"};
	int last = -1;
	keys = (struct keys){.mode = KEYS_ACT};
	for (size_t i = 0; i < 5; i++) {
		limits_of("B1", "volts", "volt-dc", "[-37,-33]", "", rising[i]);
		int at = mark_at("\u25C6");
		note_row("%s", rising[i]);
		assert_true(at > last);
		last = at;
		scene_stop();
	}
	twins();
	assert_true(mark_at("t") > mark_at("\u25C6"));
	scene_stop();
}

/* ---- danger ---- */

/* It stands over everything and every key, is told once, and goes when it is over. */
static void test_danger(void **state)
{
	(void)state;
	static const char *const on = "\"event\":\"alarm\",\"alarm\":\"live\",\"meter\":\"red\",\"text\":"
	                              "\"red reads 287 V\",\"on\":true";
	static const char *const off = "\"event\":\"alarm\",\"alarm\":\"live\",\"meter\":\"red\",\"on\":false";
	struct picture p;
	int told = 0;
	const struct happening_told *t;
	keys = (struct keys){.mode = KEYS_ACT};
	ready();
	event(on);
	event(on);
	while ((t = scene_happening(scene))) {
		assert_int_equal(t->what, HAPPENED_ALARM);
		assert_string_equal(t->alarm, "live");
		assert_string_equal(t->why, "red reads 287 V");
		told++;
	}
	assert_int_equal(told, 1);
	/* It goes on: told again, but not all the time. */
	scene_remind(scene, now + SCENE_REMIND_MS - 1);
	assert_null(scene_happening(scene));
	scene_remind(scene, now + SCENE_REMIND_MS);
	assert_int_equal(scene_happening(scene)->what, HAPPENED_ALARM);
	assert_null(scene_happening(scene));
	static const struct { enum keys_mode mode; enum action asked; } modes[] = {
		{KEYS_ACT, ACTION_NONE}, {KEYS_TYPE, ACTION_NOTE}, {KEYS_LOOK, ACTION_HELP},
		{KEYS_LOOK, ACTION_SHEET}, {KEYS_CONFIRM, ACTION_LIVE}};
	static const int sizes[][2] = {{80, 24}, {40, 12}, {200, 60}, {60, 20}};
	for (size_t i = 0; i < sizeof modes / sizeof modes[0]; i++)
		for (size_t k = 0; k < 4; k++) {
			keys = (struct keys){.mode = modes[i].mode, .asked = modes[i].asked};
			draw(&p, sizes[k][0], sizes[k][1]);
			assert_true(shows_block(&p, BLOCK_MIDDLE, "LIVE"));
			/* The meter is named once. */
			assert_true(shows(&p, "red reads 287 V"));
			assert_false(shows(&p, "red: red"));
			assert_int_equal(p.cells[BLOCK_MIDDLE_ROWS * p.width].look, LOOK_LIVE);
			/* Reversed, block letters run into what is around them and cannot be read. */
			for (int c = 0; c < p.width * p.height; c++)
				assert_false(p.cells[c].look == LOOK_LIVE && strstr("\u2580\u2584\u2588", p.cells[c].text) &&
				             p.cells[c].text[0] == '\xE2');
			picture_end(&p);
		}
	keys = (struct keys){.mode = KEYS_ACT};
	/* Away is not over; a list of the daemon is the truth. */
	scene_away(scene, now, "gone");
	assert_non_null(scene_alarm(scene));
	hello(40);
	assert_null(scene_alarm(scene));
	scene_status(scene, now, text_slice("{\"alarms\":[{\"alarm\":\"mains\",\"meter\":\"red\",\"text\":\"x\"}]}"));
	assert_int_equal(scene_alarm(scene)->danger, SCENE_DANGER_MAINS);
	event(on);
	assert_int_equal(scene_alarm(scene)->danger, SCENE_DANGER_LIVE); /* the worst of them */
	event(off);
	assert_int_equal(scene_alarm(scene)->danger, SCENE_DANGER_MAINS);
	scene_status(scene, now, text_slice("{\"alarms\":[]}"));
	assert_null(scene_alarm(scene));
	/* More than there is room for, and words of a later daemon. */
	for (int i = 0; i < 3 * SCENE_ALARMS_MAX; i++) {
		char text[200];
		snprintf(text, sizeof text, "\"event\":\"alarm\",\"alarm\":\"new-%d\",\"on\":true", i);
		event(text);
	}
	event(on);
	assert_int_equal(scene_alarm(scene)->danger, SCENE_DANGER_LIVE);
	scene_stop();
}

/* ---- wide and combining characters ---- */

/* Each cell holds a whole character with its marks, and what is cut is cut between. */
static void whole(const struct picture *p)
{
	for (int i = 0; i < p->width * p->height; i++) {
		const char *text = p->cells[i].text;
		size_t where, wide = words_width(text, strlen(text));
		assert_true(words_utf8(text, strlen(text), &where));
		if (wide == 2) {
			assert_true(i % p->width + 1 < p->width);
			assert_string_equal(p->cells[i + 1].text, "");
		}
		assert_true(!text[0] || wide >= 1);
	}
}

static void test_wide(void **state)
{
	(void)state;
	char role[400] = "", note[500], chosen[800];
	for (int i = 0; i < 12; i++)
		strcat(role, WIDE MARKED);
	for (int cut = 0; cut < 8; cut++) {
		keys = (struct keys){.mode = KEYS_ACT};
		snprintf(chosen, sizeof chosen, ",\"kind\":\"other\",\"role\":\"%.*s%s\",\"twin\":\"R103\"", cut,
		         "abcdefgh", role);
		scene_ready(true, "cold", "R3", "value", chosen);
		snprintf(note, sizeof note, ",\"position\":\"R3\",\"text\":\"%.*s%s%s\"", cut, "abcdefgh", role,
		         role);
		record(30, "note", note);
		event("\"event\":\"refused\",\"meter\":\"bench\",\"why\":\"" WIDE MARKED WIDE MARKED "\"");
		for (int width = 20; width < 130; width++) {
			struct picture p;
			draw(&p, width, 24);
			whole(&p);
			picture_end(&p);
		}
		for (int i = 0; scene_note(scene, i); i++)
			assert_null(strstr(scene_note(scene, i)->text, "\\x"));
		/* What is told, too: speech and --plain get it. */
		const struct happening_told *t;
		size_t where;
		while ((t = scene_happening(scene)))
			assert_true(!t->why || words_utf8(t->why, strlen(t->why), &where));
		scene_stop();
	}
}

/* ---- every state in words ---- */

static void away(void) { ready(); scene_away(scene, now, "the daemon went away"); }
static void nothing_up(void)
{
	scene_start(true);
	hello(0);
	status("cold", "", "", "");
	live("overload", "ohm", 0, false);
}
static void waiting(void) { ready(); event("\"event\":\"up\",\"position\":\"R3\",\"armed\":\"no\""); }
static void settling(void) { ready(); live("131.2 kohm", "ohm", 0.4, true); }
static void moving(void)
{
	settling();
	event("\"event\":\"moving\",\"meter\":\"bench\",\"position\":\"R3\"");
}
static void settled(void) { ready(); live("131.2 kohm", "ohm", 1, true); }
static void logged(void)
{
	settled();
	record(30, "entry", ENTRY("R3", "101 kohm", "101000", "within", "high", "0.01", ""));
}
static void logged_unsure(void)
{
	settled();
	record(30, "entry", ENTRY("R3", "109 kohm", "109000", "unsure", "high", "0.09", ""));
}
static void held(void)
{
	settled();
	event("\"event\":\"held\",\"meter\":\"bench\",\"position\":\"R3\",\"shown\":\"130 kohm\",\"looks\":\"R13\"");
}
static void doubt(void)
{
	settled();
	event("\"event\":\"doubt\",\"meter\":\"bench\",\"position\":\"R3\",\"shown\":\"1 V\"");
}
static void refused(void)
{
	settled();
	event("\"event\":\"refused\",\"meter\":\"bench\",\"position\":\"R3\",\"why\":\"hold\"");
}
static void not_logged(void) { settled(); event("\"event\":\"not-logged\",\"why\":\"full\""); }
static void stale(void) { ready(); now += SCENE_LIVE_MS + 1; }
static void no_meter(void)
{
	ready();
	scene_live(scene, now, text_slice("{\"meters\":[{\"name\":\"bench\",\"state\":\"absent\"},{\"name\":"
	                                  "\"red\",\"state\":\"absent\"},{\"name\":\"blue\",\"state\":\"absent\"}]}"));
}
static void finished(void) { ready(); event("\"event\":\"done\",\"text\":\"all of it\""); }
static void errand_check(void)
{
	ready();
	event("\"event\":\"errand\",\"meter\":\"red\",\"errand\":\"check\",\"position\":\"REF1\"");
}

/* Volts are up, and what is there reads ohms and farads. */
static void dial(void)
{
	scene_ready(true, "cold", "B1", "volts", B1_CHOSEN ",\"function\":\"volt-dc\",\"limits\":[-37,-33]");
}
/* Ohms are up, and the unit is live. */
static void forbidden(void)
{
	scene_ready(true, "live", "R3", "value", R3_CHOSEN ",\"function\":\"ohm\",\"limits\":[90000,110000]");
}
/* Struck while the probes are still there. */
static void struck_there(void)
{
	logged();
	record(31, "strike", ",\"of\":30,\"position\":\"R3\"");
}
/* It fell silent on the part, and everything else is away. */
static void silent(void)
{
	settling();
	scene_live(scene, now, text_slice("{\"meters\":[{\"name\":\"bench\",\"state\":\"stale\"},{\"name\":"
	                                  "\"red\",\"state\":\"absent\"},{\"name\":\"blue\",\"state\":\"absent\"}]}"));
}

static const struct {
	enum scene_state state;
	void (*scene)(void);
	const char *line;
} states[] = {
	{SCENE_NO_DAEMON, away, "state NO DAEMON\n"},   {SCENE_NO_POSITION, nothing_up, "state CHOOSE\n"},
	{SCENE_ERRAND, errand, "state SHORT LEADS\n"},  {SCENE_ERRAND, errand_check, "state TOUCH REF1\n"},
	{SCENE_READY, ready, "state READY\n"},          {SCENE_WAIT, waiting, "state LIFT\n"},
	{SCENE_SETTLING, settling, "state SETTLING\n"}, {SCENE_MOVING, moving, "state MOVING\n"},
	{SCENE_SETTLED, settled, "state SETTLED\n"},    {SCENE_LOGGED, logged, "state LOGGED\n"},
	{SCENE_LOGGED, logged_unsure, "state LOGGED UNSURE\n"},
	{SCENE_LOGGED, typed_outside, "state TYPED OUTSIDE\n"},
	{SCENE_HELD, held, "state HELD R13?\n"},        {SCENE_DOUBT, doubt, "state DOUBT\n"},
	{SCENE_REFUSED, refused, "state REFUSED\n"},    {SCENE_NOT_LOGGED, not_logged, "state NOT LOGGED\n"},
	{SCENE_GONE, no_meter, "state NO METER\n"},     {SCENE_STALE, stale, "state STALE\n"},
	{SCENE_DONE, finished, "state FINISHED\n"},      {SCENE_DIAL, dial, "state DIAL V DC\n"},
	{SCENE_FORBIDDEN, forbidden, "state NO OHM\n"},
	{SCENE_LOGGED, struck_there, "state STRUCK\n"}, {SCENE_STALE, silent, "state STALE\n"},
};

static void test_states(void **state)
{
	(void)state;
	unsigned seen = 0;
	for (size_t i = 0; i < sizeof states / sizeof states[0]; i++) {
		struct lines out = {0};
		struct picture p;
		const struct style style = {.plain = true};
		keys = (struct keys){.mode = KEYS_ACT};
		states[i].scene();
		note_row("%s", states[i].line);
		assert_int_equal(scene_state(scene, now), states[i].state);
		seen |= 1u << states[i].state;
		view_bench_status(&style, scene, now, &out);
		assert_non_null(strstr(lines_text(&out), states[i].line));
		/* The same word in letters that are read from afar, its last word at least. */
		char word[80];
		snprintf(word, sizeof word, "%.*s", (int)strlen(states[i].line) - 7, states[i].line + 6);
		draw(&p, 80, 24);
		assert_true(shows_block(&p, BLOCK_MIDDLE, word) ||
		            (strchr(word, ' ') && shows_block(&p, BLOCK_MIDDLE, strchr(word, ' ') + 1)));
		picture_end(&p);
		lines_free(&out);
		scene_stop();
	}
	assert_int_equal(seen, (2u << SCENE_DONE) - 1); /* none was forgotten */
}

static void test_plain_words(void **state)
{
	(void)state;
	struct lines out = {0};
	const struct style style = {.plain = true};
	/* Every key has its word there, with what is typed behind it. */
	view_bench_words(&out);
	for (int i = 1; i < ACTION_COUNT; i++)
		assert_non_null(strstr(lines_text(&out), action_table[i].word));
	assert_non_null(strstr(lines_text(&out), "enter POSITION VALUE from INSTRUMENT: "));
	lines_free(&out);
	out = (struct lines){0};
	view_bench_told(&style, &(struct happening_told){.what = HAPPENED_ALARM, .alarm = "live",
	                .meter = "red", .why = "red reads 287 V"}, &out);
	view_bench_told(&style, &(struct happening_told){.what = HAPPENED_LOGGED, .position = "R3",
	                .shown = "47 kohm", .meter = "tester", .typed = true}, &out);
	view_bench_told(&style, &(struct happening_told){.what = HAPPENED_LOGGED, .quantity =
	                "lead offset", .shown = "120 mohm", .meter = "bench"}, &out);
	assert_string_equal(lines_text(&out), "ALARM live, meter red, red reads 287 V\n"
	                    "logged R3, typed from tester, 47 kohm\nlogged lead offset, 120 mohm\n");
	lines_free(&out);
	twins();
	view_bench_sheet_lines(&style, scene, &out);
	assert_non_null(strstr(lines_text(&out), "R3, nominal 100k, nothing yet, up\n"));
	assert_non_null(strstr(lines_text(&out), "R103, nominal 100k, within\n"));
	lines_free(&out);
	view_bench_status(&style, scene, now, &out);
	assert_non_null(strstr(lines_text(&out), "twin R103, 104.10 kohm, within\n"));
	lines_free(&out);
	scene_stop();
}

/* What a position was asked first is what finishes it; something else does so in part. */
static void test_in_part(void **state)
{
	(void)state;
	struct lines out = {0};
	struct picture p;
	const struct style style = {.plain = true};
	ready();
	keys = (struct keys){.mode = KEYS_ACT};
	record(30, "entry", ",\"job\":\"picture house\",\"position\":\"C7\",\"quantity\":\"leakage\","
	       "\"meter\":\"tester\",\"function\":\"amp-dc\",\"shown\":\"0.3 uA\",\"value\":3e-07,"
	       "\"verdict\":\"none\",\"source\":\"typed\"");
	view_bench_sheet_lines(&style, scene, &out);
	assert_non_null(strstr(lines_text(&out), "C7, nominal 0.1 uF, in part\n"));
	assert_non_null(strstr(lines_text(&out), "C107, nominal 0.1 uF, nothing yet\n"));
	draw(&p, 80, 24);
	assert_true(shows(&p, "+>?:. ....."));
	picture_end(&p);
	record(31, "entry", ENTRY("C7", "0.11 uF", "1.1e-07", "within", "high", "0.1", ""));
	draw(&p, 80, 24);
	assert_true(shows(&p, "+>?+. ....."));
	picture_end(&p);
	lines_free(&out);
	scene_stop();
}

/* 80x24 has every key with its words. */
static void test_help_is_whole(void **state)
{
	(void)state;
	struct picture p;
	ready();
	keys = (struct keys){.mode = KEYS_LOOK, .asked = ACTION_HELP};
	draw(&p, 80, 24);
	for (int i = 1; i < ACTION_COUNT; i++) {
		/* It is cold; this is the list; and these stand beside another of their line. */
		if (i == ACTION_COLD || i == ACTION_HELP || i == ACTION_QUIETER || i == ACTION_LOUDER ||
		    i == ACTION_SOUNDS || i == ACTION_METERS || i == ACTION_GO_BACK || i == ACTION_LEAVE ||
		    i == ACTION_TWINS || i == ACTION_NOTES)
			continue;
		note_row("%s", action_table[i].label);
		assert_true(shows(&p, action_table[i].label));
		if (i == ACTION_SHEET || i == ACTION_NOTE)
			continue;
		assert_true(shows(&p, action_table[i].help));
	}
	assert_true(shows(&p, "+ - y volume    tones; y: each of them"));
	assert_true(shows(&p, "> < * run       guided: on, back, leave"));
	assert_true(shows(&p, "a & sheet     what is done; & twins"));
	assert_true(shows(&p, "t \" note      on this; \" all of them"));
	assert_true(shows(&p, "d # order"));
	assert_true(shows(&p, "# meters"));
	picture_end(&p);
	scene_stop();
}

int main(int argc, char **argv)
{
	rebuild = argc > 1 && strcmp(argv[1], "--rebuild") == 0;
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_pictures),    cmocka_unit_test(test_every_size),
		cmocka_unit_test(test_limits),      cmocka_unit_test(test_limits_line),
		cmocka_unit_test(test_danger),      cmocka_unit_test(test_wide),
		cmocka_unit_test(test_states),      cmocka_unit_test(test_plain_words),
		cmocka_unit_test(test_help_is_whole), cmocka_unit_test(test_in_part),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

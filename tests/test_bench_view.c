/* SPDX-License-Identifier: MIT */
/*
 * The screen of `tally bench` as pictures: scenes in many sizes, compared with those that
 * are kept in tests/screens.  After a change that is meant to change them:
 *
 *     build/tests/test_bench_view --rebuild
 *
 * and then read what changed before it is committed.
 */
#include "tests/bench_picture.h"

/* ---- scenes ---- */

static void begin_only(void)
{
	scene_start(true);
	hello(0);
	scene_status(scene, now, text_slice("{\"job\":null,\"state\":\"cold\",\"condition\":\"found\","
	                                    "\"reach\":\"in-circuit\",\"walk\":\"off\",\"chosen\":null,"
	                                    "\"bound\":[],\"health\":\"good\",\"done\":0,\"positions\":0}"));
}

static void ready(void)
{
	scene_ready(true, "cold", "R3", "value", R3_CHOSEN);
}

static void settle_to(const char *last, double progress)
{
	static const char *const way[] = {"overload", "128.11 kohm", "130.62 kohm", "131.05 kohm",
	                                  "131.17 kohm", "131.18 kohm"};
	for (size_t i = 0; i < sizeof way / sizeof way[0]; i++) {
		now += 250;
		live(way[i], "ohm", (double)i * 0.12, true);
	}
	now += 250;
	live(last, "ohm", progress, true);
}

static void settling(void)
{
	ready();
	settle_to("131.19 kohm", 0.62);
}

static void logged_outside(void)
{
	settling();
	now += 250;
	live("131.20 kohm", "ohm", 1, true);
	event("\"event\":\"logged\",\"seq\":23,\"position\":\"R3\"");
	record(23, "entry", ENTRY("R3", "131.20 kohm", "131200", "outside", "high", "0.312",
	                          ",\"why\":\"carbon, drifted up\""));
	now += 400;
	live("overload", "ohm", 0, false);
}

static void logged_open(void)
{
	ready();
	record(23, "entry", ENTRY("R3", "overload", "null", "outside", "high", "null",
	                          ",\"state\":\"overload\",\"above\":120000000"));
	live("overload", "ohm", 0, false);
}

static void held(void)
{
	settling();
	event("\"event\":\"held\",\"meter\":\"bench\",\"position\":\"R3\",\"shown\":\"131.20 kohm\","
	      "\"looks\":\"R13\"");
}

static void moving(void)
{
	settling();
	event("\"event\":\"moving\",\"meter\":\"bench\",\"position\":\"R3\"");
}

static void bias(void)
{
	scene_ready(true, "live", "B1", "value", B1_CHOSEN);
	now += 250;
	live("-37.42 V", "volt-dc", 0.4, true);
	now += 250;
	live("-37.41 V", "volt-dc", 0.8, true);
	event("\"event\":\"doubt\",\"meter\":\"bench\",\"position\":\"B1\",\"shown\":\"-37.41 V\"");
}

static void leakage(void)
{
	scene_ready(true, "live", "C7", "leakage", C7_CHOSEN);
	now += 250;
	live("0.412 V", "volt-dc", 0.3, true);
}

static void not_logged(void)
{
	settling();
	event("\"event\":\"not-logged\",\"position\":\"R3\",\"why\":\"the disk of the log is full\"");
}

static void refused(void)
{
	settling();
	event("\"event\":\"refused\",\"position\":\"R3\",\"meter\":\"bench\",\"why\":\"the unit is live: ohm "
	      "is refused\"");
}

static void away(void)
{
	settling();
	scene_away(scene, now, "the daemon went away");
}

static void stale(void)
{
	settling();
	now += 300;
	live(NULL, "ohm", 0.6, true);
}

static void lower_bound(void)
{
	scene_ready(true, "cold", "T1", "value", ",\"kind\":\"winding\"");
	live("31.2 Mohm", "ohm", 0.4, true);
}

static void capacitor(void)
{
	scene_ready(true, "cold", "C7", "value", C7_CHOSEN);
	live("0.0471 uF", "farad", 0.9, true);
}

static void struck(void)
{
	logged_outside();
	record(24, "strike", ",\"of\":23,\"position\":\"R3\",\"because\":\"undone\"");
}

static void long_words(void)
{
	scene_ready(true, "cold", "left/power-supply.R1234567", "insulation",
	            ",\"nominal\":\"1.234567 Mohm\",\"role\":\"a role of many words that goes on and on\"");
	settle_to("-1234.5678 kohm", 0.5);
}

static void all_keys(void)
{
	settling();
	keys.mode = KEYS_LOOK;
	keys.asked = ACTION_HELP;
}

/* What stands before the power, asked by its key. */
static void before_power(void)
{
	settling();
	keys.mode = KEYS_LOOK;
	keys.asked = ACTION_RISE;
	scene_ready_set(scene, text_slice("{\"lifted\":[{\"position\":\"R13\"}],\"new\":[{\"position\":"
	                                  "\"C7\"}]}"),
	                "CAUTION: valve equipment kills: local codes and licensed practice come before "
	                "anything said here\n"
	                "CAUTION: never alone: somebody is near who knows how to switch it off\n"
	                "job  picture house\n"
	                "R13: a leg is up, and nobody has measured it in circuit since\n"
	                "C7: a new part is to be fitted, not confirmed to be in its place\n"
	                "look at each, then say so: the key . (the word fitted) and the positions\n");
}

static void to_live(void)
{
	settling();
	keys.mode = KEYS_CONFIRM;
	keys.asked = ACTION_LIVE;
}

static void to_cold(void)
{
	bias();
	keys.mode = KEYS_CONFIRM;
	keys.asked = ACTION_COLD;
}

static void went_live(void)
{
	ready();
	record(23, "job", ",\"job\":\"picture house\",\"state\":\"set\",\"unit\":\"live\"");
}

static void typing(void)
{
	settling();
	keys = (struct keys){.mode = KEYS_TYPE, .asked = ACTION_NOTE, .about = "R3"};
	prompt_set(&keys.line, "smells burnt", 12);
}

static void plain_letters(void)
{
	logged_outside();
	scene->style.utf8 = false;
}

static const struct {
	const char *name;
	void (*scene)(void);
	int width, height;
	bool looks; /* kept, too */
} pictures[] = {
	{"begin", begin_only, 80, 24, false},
	{"ready", ready, 80, 24, true},
	{"ready", ready, 100, 30, false},
	{"settling", settling, 80, 24, false},
	{"settling", settling, 100, 30, false},
	{"settling", settling, 132, 43, false},
	{"settling", settling, 200, 60, false},
	{"settling", settling, 60, 20, false},
	{"settling", settling, 40, 10, false},
	{"settling", settling, 20, 4, false},
	{"outside", logged_outside, 80, 24, true},
	{"outside", logged_outside, 132, 43, false},
	{"outside", logged_outside, 40, 10, false},
	{"open", logged_open, 80, 24, false},
	{"held", held, 80, 24, false},
	{"moving", moving, 80, 24, false},
	{"bias", bias, 80, 24, true},
	{"bias", bias, 100, 30, false},
	{"leakage", leakage, 80, 24, false},
	{"not-logged", not_logged, 80, 24, true},
	{"refused", refused, 80, 24, false},
	{"away", away, 80, 24, false},
	{"away", away, 40, 10, false},
	{"stale", stale, 80, 24, false},
	{"lower-bound", lower_bound, 80, 24, false},
	{"capacitor", capacitor, 80, 24, false},
	{"struck", struck, 80, 24, false},
	{"long-words", long_words, 80, 24, false},
	{"long-words", long_words, 100, 30, false},
	{"keys", all_keys, 80, 24, false},
	{"keys", all_keys, 132, 43, false},
	{"keys", all_keys, 40, 12, false},
	{"before-power", before_power, 80, 24, false},
	{"before-power", before_power, 40, 12, false},
	{"outside", logged_outside, 40, 12, false},
	{"bias", bias, 200, 60, false},
	{"to-live", to_live, 80, 24, true},
	{"to-cold", to_cold, 80, 24, false},
	{"went-live", went_live, 80, 24, true},
	{"typing", typing, 80, 24, false},
	{"ascii", plain_letters, 80, 24, false},
	{"ascii", plain_letters, 100, 30, false},
};

/* ---- comparing ---- */

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

/* Every size, every scene: nothing outside the grid, and nothing lost that must be there. */
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
				picture_end(&p);
			}
		scene_stop();
	}
}

/* Without UTF-8 no byte above 126; and what colour says is there in words. */
static void test_no_utf8_no_colour(void **state)
{
	(void)state;
	struct picture p;
	struct lines out = {0};
	plain_letters();
	draw(&p, 80, 24);
	picture_text(&p, false, &out);
	for (const char *at = lines_text(&out); *at; at++)
		assert_true(*at == '\n' || (*at >= ' ' && *at <= 126));
	assert_true(shows(&p, "X outside"));
	assert_true(shows(&p, "+ within"));
	assert_true(shows(&p, "? unsure"));
	lines_free(&out);
	picture_end(&p);
	scene_stop();
}

/* The Linux console has the letters of code page 437 (from memory): halves of blocks, the line, the
 * square, the diamond; but no eighths of blocks, so the trail is drawn in other signs. */
static void test_few_letters(void **state)
{
	(void)state;
	static const char *const none[] = {"\u2581", "\u2582", "\u2583", "\u2585", "\u2586", "\u2587"};
	struct picture p;
	int eighths[2] = {0, 0};
	for (int few = 0; few < 2; few++) {
		settling();
		scene->style.few = few;
		draw(&p, 80, 24);
		for (size_t i = 0; i < sizeof none / sizeof none[0]; i++)
			eighths[few] += shows(&p, none[i]);
		assert_true(shows(&p, "touch "));
		picture_end(&p);
		scene_stop();
	}
	assert_true(eighths[0] > 0);
	assert_int_equal(eighths[1], 0);
}

static const struct {
	void (*scene)(void);
	enum block size;
	const char *text;
} from_afar[] = {
	/* scene, size, what must be read from two metres at 80x24 */
	{ready, BLOCK_MIDDLE, "R3"},          {ready, BLOCK_MIDDLE, "READY"},
	{ready, BLOCK_MIDDLE, "COLD"},        {ready, BLOCK_MIDDLE, "LIFTED"},
	{ready, BLOCK_MIDDLE, "FOUND"},       {settling, BLOCK_TALL, "131.19"},
	{settling, BLOCK_MIDDLE, "SETTLING"}, {logged_outside, BLOCK_MIDDLE, "LOGGED OUTSIDE"},
	{logged_outside, BLOCK_TALL, "131.20"}, {logged_open, BLOCK_TALL, "OVERLOAD"},
	{held, BLOCK_MIDDLE, "HELD R13?"},    {moving, BLOCK_MIDDLE, "MOVING"},
	{bias, BLOCK_MIDDLE, "LIVE"},         {bias, BLOCK_TALL, "-37.41"},
	{bias, BLOCK_MIDDLE, "DOUBT"},        {leakage, BLOCK_MIDDLE, "LEAKAGE"},
	{not_logged, BLOCK_MIDDLE, "NOT LOGGED"}, {refused, BLOCK_MIDDLE, "REFUSED"},
	{away, BLOCK_MIDDLE, "NO DAEMON"},    {stale, BLOCK_MIDDLE, "STALE"},
	{went_live, BLOCK_MIDDLE, "LIVE"},    {to_live, BLOCK_TALL, "131.19"},
	{all_keys, BLOCK_MIDDLE, "131.19"},     {capacitor, BLOCK_TALL, "0.0471"},
	{capacitor, BLOCK_TALL, "\u00B5F"},
};

static void test_from_afar(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof from_afar / sizeof from_afar[0]; i++) {
		struct picture p;
		keys = (struct keys){.mode = KEYS_ACT};
		from_afar[i].scene();
		draw(&p, 80, 24);
		if (!shows_block(&p, from_afar[i].size, from_afar[i].text)) {
			print_error("row %zu: %s is not to be read from afar\n", i, from_afar[i].text);
			fail();
		}
		/* The search can fail. */
		assert_false(shows_block(&p, BLOCK_MIDDLE, "QX7"));
		picture_end(&p);
		scene_stop();
	}
}

/* A value that does not stand is nowhere on the screen. */
static void test_stale_is_off(void **state)
{
	(void)state;
	static void (*const scenes[])(void) = {stale, away};
	for (size_t i = 0; i < 2; i++) {
		struct picture p;
		keys = (struct keys){.mode = KEYS_ACT};
		scenes[i]();
		draw(&p, 100, 30);
		assert_false(shows(&p, "131.19"));
		assert_false(shows_block(&p, BLOCK_TALL, "131"));
		picture_end(&p);
		scene_stop();
	}
	/* The daemon says nothing any more, and nothing said so. */
	struct picture p;
	settling();
	now += SCENE_LIVE_MS + 1;
	draw(&p, 100, 30);
	assert_false(shows(&p, "131.19"));
	assert_false(shows_block(&p, BLOCK_TALL, "131"));
	picture_end(&p);
	scene_stop();
}

/* The cautions stand before and after the unit is live; a key takes them away. */
/* What a guided run asks for now is not hidden by what was said before it; what was said
 * since, and what is bad, is seen for its time. */
static void test_guided_step(void **state)
{
	static const char step[] = "\"event\":\"guide\",\"guide\":\"leak\",\"of\":\"C7\",\"state\":\"step\","
	                           "\"step\":\"valve\",\"text\":\"take out the valve\"";
	struct picture p;
	(void)state;
	scene_ready(true, "cold", "R3", "value", R3_CHOSEN);
	event("\"event\":\"bound\",\"meter\":\"red\",\"position\":\"C7\"");
	event(step);
	draw(&p, 80, 24);
	assert_true(shows(&p, "leak C7: take out the valve"));
	assert_true(shows(&p, "> run"));
	assert_true(shows(&p, "* leave"));
	picture_end(&p);
	now += 50;
	event("\"event\":\"bound\",\"meter\":\"blue\",\"position\":\"C8\"");
	draw(&p, 80, 24);
	assert_true(shows(&p, "meter blue is bound to C8"));
	picture_end(&p);
	now += 50;
	event(step);
	draw(&p, 80, 24);
	assert_true(shows(&p, "leak C7: take out the valve"));
	picture_end(&p);
	event("\"event\":\"not-logged\",\"position\":\"C7\",\"why\":\"the disk is full\"");
	now += 50;
	event(step);
	draw(&p, 80, 24);
	assert_true(shows(&p, "the disk is full"));
	picture_end(&p);
	event("\"event\":\"guide\",\"guide\":\"leak\",\"of\":\"C7\",\"state\":\"left\",\"text\":\"left\"");
	draw(&p, 80, 24);
	assert_false(shows(&p, "* leave"));
	picture_end(&p);
	scene_stop();
}

static void test_cautions(void **state)
{
	(void)state;
	static void (*const scenes[])(void) = {to_live, went_live};
	static const char *const said[] = {"isolate it from the mains", "discharge the reservoirs",
	                                   "measure them dead", "one hand", "rated probes",
	                                   "current limited", "never alone", "Local codes"};
	for (size_t i = 0; i < 2; i++)
		for (size_t k = 0; k < sizeof said / sizeof said[0]; k++) {
			struct picture p;
			keys = (struct keys){.mode = KEYS_ACT};
			scenes[i]();
			draw(&p, 80, 24);
			assert_true(shows(&p, said[k]));
			picture_end(&p);
			scene_stop();
		}
}

/* ---- --plain ---- */

static const struct {
	struct happening_told told;
	const char *line;
} plain_rows[] = {
	{{.what = HAPPENED_UP, .position = "C8", .quantity = "value", .role = "coupling",
	  .place = "left, to V3", .shown = "0.1 uF"},
	 "up C8, coupling, left, to V3, nominal 0.1 uF\n"},
	{{.what = HAPPENED_UP, .position = "C8", .quantity = "leakage"}, "up C8, leakage\n"},
	{{.what = HAPPENED_LOGGED, .position = "R1", .shown = "1.062 Mohm", .verdict = "within",
	  .side = "high", .why = "6.2 % high"},
	 "logged R1, 1.062 Mohm\n"},
	{{.what = HAPPENED_OUTSIDE, .position = "R3", .shown = "131.20 kohm", .verdict = "outside",
	  .why = "31.2 % high; carbon, drifted up"},
	 "logged R3, 131.20 kohm, outside, 31.2 % high; carbon, drifted up\n"},
	{{.what = HAPPENED_UNSURE, .position = "R3", .shown = "109.9 kohm", .verdict = "unsure"},
	 "logged R3, 109.9 kohm, unsure\n"},
	{{.what = HAPPENED_HELD, .position = "R12", .shown = "4.7 kohm", .looks = "R13",
	  .next = "take logs it here, other there, again neither"},
	 "held R12, 4.7 kohm, looks like R13, take logs it here, other there, again neither\n"},
	{{.what = HAPPENED_NOT_LOGGED, .position = "R3", .why = "the disk is full"},
	 "NOT LOGGED R3, the disk is full\n"},
	{{.what = HAPPENED_REFUSED, .why = "nothing to take"}, "refused: nothing to take\n"},
	{{.what = HAPPENED_GONE, .meter = "red", .why = "unplugged"}, "gone meter red, unplugged\n"},
	{{.what = HAPPENED_BACK}, "back daemon\n"},
	{{.what = HAPPENED_STALE, .position = "R3", .meter = "red"},
	 "stale, no value stands R3, meter red\n"},
	{{.what = HAPPENED_COLD}, "the unit is cold\n"},
};

static void test_plain(void **state)
{
	(void)state;
	const struct style style = {.plain = true};
	for (size_t i = 0; i < sizeof plain_rows / sizeof plain_rows[0]; i++) {
		struct lines out = {0};
		view_bench_told(&style, &plain_rows[i].told, &out);
		assert_string_equal(lines_text(&out), plain_rows[i].line);
		lines_free(&out);
	}
}

int main(int argc, char **argv)
{
	rebuild = argc > 1 && strcmp(argv[1], "--rebuild") == 0;
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_pictures),     cmocka_unit_test(test_every_size),
		cmocka_unit_test(test_few_letters),
		cmocka_unit_test(test_no_utf8_no_colour), cmocka_unit_test(test_from_afar),
		cmocka_unit_test(test_stale_is_off), cmocka_unit_test(test_cautions),
		cmocka_unit_test(test_guided_step),
		cmocka_unit_test(test_plain),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

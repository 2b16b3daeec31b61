/* SPDX-License-Identifier: MIT */
/*
 * The flow of the work at the bench: orders of the walk, skipping and coming back, what
 * needs a leg up, the dial, held values, modes of meters, names that are said aloud,
 * one meter after the other, moves, lead offsets and meter checks.
 *
 * Scenes as in tests/bench_stand.h; records are looked at by their members.
 */
#include "tests/bench_stand.h"

#define OPEN "red OL MOhm *6\n"
#define WALK "@0 walk on\n" OPEN
#define R1_TOUCHED "red ~100.2 kOhm *8\n"
#define R2_TOUCHED "red ~98.4 kOhm *8\n"
#define R3_TOUCHED "red ~46.9 kOhm *8\n"
#define R4_TOUCHED "red ~1.001 kOhm *8\n"

/* The sheet of bench_stand.h: R1 R2 R3 R4 C1 C2 HT1 BIAS R5, no channels. */

/* ---- next, back ---- */

static const struct scene way_rows[] = {
    {"next skips; what was skipped comes up again at the end",
     "@0 walk on\n@0.1 next\n" "red OL MOhm *8\n" R2_TOUCHED OPEN R3_TOUCHED OPEN R4_TOUCHED OPEN,
     "R2 red 98.4 kohm; R3 red 46.9 kohm; R4 red 1.001 kohm", "", "R1; R2; R3; R4; C1", ""},
    {"... after all others",
     "@0 walk on\n@0.1 next\n@0.2 next\n@0.3 next\n@0.4 next\n@0.5 next\n@0.6 next\n@0.7 next\n"
     "@0.8 next\n@0.9 next\n@1 next\n",
     "", "", "R1; R2; R3; R4; C1; C2; HT1; BIAS; R5; R1; R2", ""},
    {"back to the one that was skipped, and on from there",
     "@0 walk on\n@0.1 next\n@0.2 back\n" "red OL MOhm *8\n" R1_TOUCHED OPEN,
     "R1 red 100.2 kohm", "", "R1; R2; R1; R2", ""},
    {"back twice, and nothing before the first",
     "@0 walk on\n@0.1 next\n@0.2 next\n@0.3 back\n@0.4 back\n@0.5 back\n", "", "",
     "R1; R2; R3; R2; R1", "back"},
    {"back to one that has its entry: it is measured again, not passed over",
     WALK R1_TOUCHED OPEN "@5 back\n" OPEN R1_TOUCHED OPEN,
     "R1 red 100.2 kohm; R1 red 100.2 kohm", "", "R1; R2; R1; R2", ""},
    {"skipped while it is touched: that touch makes nothing, here or there",
     WALK "red glide 99.0 60.0 8 kOhm *12\nred ~60.1 kOhm *16\n" "red OL MOhm *8\n" R2_TOUCHED OPEN
     "@3 next\n",
     "R2 red 98.4 kohm", NULL, "R1; R2-; R2; R3", ""},
    {"without a walk next is the next row, measured or not",
     "@0 at R2\n@0.1 next\n@0.2 next\n@0.3 back\n", "", "", "R2; R3; R4; R3", ""},
    {"no sheet", "@0 walk on\n@1 job other\n@1.1 next\n", "", NULL, NULL, "next"},
    {"by kind: resistors, then capacitors, then volts",
     "@0 walk on kind\n@0.1 next\n@0.2 next\n@0.3 next\n@0.4 next\n@0.5 next\n@0.6 next\n"
     "@0.7 next\n", "", "", "R1; R2; R3; R4; R5; C1; C2; HT1", ""},
    {"an order that is none", "@0 walk on upwards\n", "", "", "", "walk"},
    {"the dial to farad: capacitors, and stays with them; back to ohm: on with the resistors",
     WALK R1_TOUCHED OPEN
     "red every 0.5\nred ~0.021 nF *6\nred ~101.3 nF *9\nred ~0.022 nF *5\nred ~0.329 uF *9\n"
     "red ~0.022 nF *5\nred every 0.25\n" "red OL MOhm *8\n" R2_TOUCHED OPEN,
     "R1 red 100.2 kohm; C1 red 101.3 nF; C2 red 0.329 uF; R2 red 98.4 kohm", "",
     "R1; R2; C1; C2; R2; R3", ""},
    {"turning through other functions leads nowhere",
     WALK "red 0.000 Hz *2\nred ~0.021 nF *2\nred OL MOhm *8\n" R1_TOUCHED OPEN,
     "R1 red 100.2 kohm", "", "R1; R2", ""},
    {"the dial to volts leads nobody to a live unit", WALK "red ~1.2 mV DC *20\n", "", "", "R1", ""},
    {"another meter on farad lies beside: no turn of a dial",
     WALK R1_TOUCHED OPEN "blue ~0.021 nF *20\n", "R1 red 100.2 kohm", "", "R1; R2", ""},
};

static void the_way(void **state)
{
	(void)state;
	stand_run_scenes(way_rows, sizeof way_rows / sizeof *way_rows);
}

/* ---- channels, lifting ---- */

static const char channel_sheet[] =
    "position,kind,nominal,tolerance,channel,twin\n"
    "F1,fuse,,<=0.5,,\n"
    "R1,metal-film,100k,5%,left,R101\n"
    "R101,metal-film,100k,5%,right,R1\n"
    "R2,metal-film,47k,5%,left,R102\n"
    "R102,metal-film,47k,5%,right,R2\n"
    "R3,metal-film,1k,5%,left,\n"
    "C1,film,0.1 uF,10%,left,\n"
    "HT1,rail,285 V,5%,,\n";

static struct stand *channel_stand(const char *scene)
{
	struct stand *s = calloc(1, sizeof *s);
	assert_non_null(s);
	stand_open(s, stand_config, ":memory:", NULL);
	stand_load(s, channel_sheet);
	stand_play(s, scene);
	return s;
}

static void stand_end(struct stand *s)
{
	bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	assert_true(stand_check_trail(s));
	stand_free(s);
	free(s);
}

static void by_channel(void **state)
{
	(void)state;
	struct stand *s = channel_stand(
	    "@0 walk on channel\n@0.1 next\n@0.2 next\n@0.3 next\n@0.4 next\n@0.5 next\n@0.6 next\n"
	    "@0.7 next\n");
	assert_string_equal(s->up, "F1; HT1; R1; R2; R3; C1; R101; R102");
	stand_end(s);
}

/* `lacks` and `done` of the status, as they stand there. */
static const char *lacks(struct stand *s)
{
	static char all[8192], out[300];
	struct text text;
	text_begin(&text, all, sizeof all);
	bench_status(s->bench, &text);
	const char *from = strstr(all, "\"lacks\"");
	assert_non_null(from);
	const char *end = strstr(from, ",\"positions\"");
	assert_non_null(end);
	snprintf(out, sizeof out, "%.*s", (int)(end - from), from);
	return out;
}

/* In circuit: R1 and R101 read low alike, R2 and R102 differ, R3 is high (conclusive). */
#define SWEEP                                                                              \
	"@0 at R1\n" OPEN "red ~81.20 kOhm *8\n" OPEN "@5 at R101\n" "red ~81.35 kOhm *8\n" OPEN   \
	"@8.5 at R2\n" "red ~46.90 kOhm *8\n" OPEN "@12 at R102\n" "red ~33.10 kOhm *8\n" OPEN \
	"@15.5 at R3\n" "red ~1.210 kOhm *8\n" OPEN

static void lift_where_nothing_else_tells(void **state)
{
	(void)state;
	struct stand *s = channel_stand(SWEEP);
	assert_string_equal(s->made, "R1 red 81.20 kohm; R101 red 81.35 kohm; R2 red 46.90 kohm; "
	                             "R102 red 33.10 kohm; R3 red 1.210 kohm");
	s->up[0] = s->made[0] = '\0';
	/* The sweep is not done, and names what is not: the rest of the sheet. */
	assert_string_equal(lacks(s), "\"lacks\":[\"F1\",\"C1\",\"HT1\"],\"done\":5");
	stand_play(s, "@0 walk lift\n");
	/* Now also what has its entry, and needs a leg up. */
	assert_string_equal(lacks(s), "\"lacks\":[\"F1\",\"R2\",\"R102\",\"C1\",\"HT1\"],\"done\":3");
	stand_play(s, "red OL MOhm *8\nred ~46.95 kOhm *8\nred OL MOhm *6\n"
	              "red ~46.70 kOhm *8\nred OL MOhm *6\n"
	              "red every 0.5\nred ~0.021 nF *5\nred ~101.3 nF *9\nred ~0.022 nF *5\n");
	/* R1 agrees with its twin, R3 is conclusive, rails and fuses are never lifted. */
	assert_string_equal(s->up, "R2; R102; C1");
	assert_string_equal(s->made, "R2 red 46.95 kohm lifted; R102 red 46.70 kohm lifted; "
	                             "C1 red 101.3 nF lifted");
	assert_non_null(strstr(s->says, "done"));
	assert_string_equal(lacks(s), "\"lacks\":[\"F1\",\"HT1\"],\"done\":6");
	/* Another condition begins from nothing; the first keeps what it has. */
	stand_play(s, "@0 walk off\n@0.1 condition done\n");
	assert_non_null(strstr(lacks(s), "\"done\":0"));
	stand_play(s, "@0 condition found\n");
	assert_non_null(strstr(lacks(s), "\"done\":6"));
	/* Going back to the sweep puts the reach back. */
	s->made[0] = '\0';
	stand_play(s, "@0 walk on\n@0.5 at R3\nred OL MOhm *8\nred ~1.211 kOhm *8\nred OL MOhm *6\n");
	assert_non_null(strstr(s->made, "R3 red 1.211 kohm"));
	assert_null(strstr(s->made, "lifted"));
	stand_end(s);
}

static void lift_needs_something(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	stand_open(s, stand_config, ":memory:", NULL);
	stand_load(s, "position,nominal,tolerance\nR1,100k,5%\nHT1,285 V,5%\n");
	stand_play(s, "@0 walk lift\n");
	assert_string_equal(s->refused, "walk");
	/* What the person chose in between stays. */
	stand_play(s, "@0 at R1\n" OPEN "red ~98.40 kOhm *8\n" OPEN "@5 walk lift\n@6 reach loose\n"
	              "@6.1 walk off\n");
	char status[4096];
	struct text t;
	text_begin(&t, status, sizeof status);
	bench_status(s->bench, &t);
	assert_non_null(strstr(status, "\"reach\":\"loose\""));
	assert_non_null(strstr(status, "\"walk\":\"off\""));
	stand_end(s);
}

/* ---- what status says of what is up ---- */

static const struct {
	const char *acts, *says[4];
} status_rows[] = {
    /* acts, what stands in the answer */
    {"@0 at B1\n", {"\"function\":\"volt-dc\"", "\"limits\":[-37,-33]", "\"assumed\":false", ""}},
    {"@0 at R1\n", {"\"function\":\"ohm\"", "\"limits\":[95000,105000]", "\"next\":\"R2\"", ""}},
    {"@0 at R2\n", {"\"assumed\":true", "\"limits\":[", "\"next\":\"C1\"", ""}},
    {"@0 at C1\n", {"\"limits\":[8e-08,1.8e-07]", "\"function\":\"farad\"", "", ""}},
    /* the sheet's limits are about what it asks first */
    {"@0 at C1 leakage\n", {"\"limits\":null", "\"function\":\"none\"", "", ""}},
    {"@0 at T1\n", {"\"limits\":[20000000,null]", "\"next\":\"B1\"", "", ""}},
    {"@0 walk on kind\n@0 at R2\n", {"\"order\":\"kind\"", "\"next\":\"R9\"", "", ""}},
    /* the last that lacks anything */
    {"@0 walk on\n@0 at R9\n@1 next\n", {"\"next\":\"R2\"", "", "", ""}},
};

static void status_of_what_is_up(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof status_rows / sizeof *status_rows; i++) {
		struct stand *s = calloc(1, sizeof *s);
		stand_open(s, stand_config, ":memory:", NULL);
		stand_load(s, "position,kind,nominal,tolerance\nR1,,100k,5%\nR2,carbon-composition,47k,\n"
		              "C1,paper,0.1 uF,-20/+80%\nT1,winding,,>=20M\nB1,rail,-35 V,+-2 V\nR9,,1k,5%\n");
		stand_play(s, status_rows[i].acts);
		char status[4096];
		struct text t;
		text_begin(&t, status, sizeof status);
		bench_status(s->bench, &t);
		note_row("%s", status_rows[i].acts);
		for (int k = 0; k < 4; k++)
			if (!strstr(status, status_rows[i].says[k]))
				fail_msg("%s is not in %s", status_rows[i].says[k], status);
		stand_end(s);
	}
}

/* A reference in the sheet lies on the bench: no walk leads there, and it is no position of the
 * unit; chosen it is measured as any other. */
static void references_are_passed_over(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	char status[4096];
	struct text t;
	stand_open(s, stand_config, ":memory:", NULL);
	stand_load(s, "position,kind,nominal,tolerance\nREF1,reference,100 kohm,0.01%\nR1,,100k,5%\n"
	              "REF2,reference,1 kohm,0.01%\nR2,,98k,5%\n");
	stand_play(s, WALK R1_TOUCHED "red OL MOhm *8\n");
	text_begin(&t, status, sizeof status);
	bench_status(s->bench, &t);
	assert_string_equal(s->up, "R1; R2");
	assert_non_null(strstr(status, "\"done\":1,\"positions\":2"));
	stand_play(s, "@0 at REF1\n" "red OL MOhm *8\n" R1_TOUCHED OPEN);
	assert_string_equal(s->made, "R1 red 100.2 kohm; REF1 red 100.2 kohm");
	stand_end(s);
}

/* ---- held: here, there, again ---- */

static const struct scene held_rows[] = {
    {"there: to the part that it looks like; the one that was up stays up",
     "@0 walk on\n@0 at R2\n" OPEN R3_TOUCHED OPEN "@4.6 there\n" "red OL MOhm *4\n" R2_TOUCHED OPEN,
     "R3 red 46.9 kohm; R2 red 98.4 kohm", "held R2 like R3", "R1; R2; R2; R4", ""},
    {"there while it is still touched",
     "@0 walk on\n@0 at R2\n" OPEN "red ~46.9 kOhm *10\n" "red OL MOhm *8\n" R2_TOUCHED OPEN
     "@3.6 there\n",
     "R3 red 46.9 kohm; R2 red 98.4 kohm", "held R2 like R3", "R1; R2; R2; R4", ""},
    {"here", "@0 at R2\n" OPEN R3_TOUCHED OPEN "@4.5 take\n", "R2 red 46.9 kohm",
     "held R2 like R3", NULL, ""},
    {"again: dropped, and neither word can bring it back",
     "@0 at R2\n" OPEN R3_TOUCHED OPEN "@4.5 again\n@4.6 there\n" "red OL MOhm *2\n" R2_TOUCHED OPEN,
     "R2 red 98.4 kohm", "held R2 like R3", NULL, "there"},
    {"nothing is held", "@0 at R2\n@1 there\n", "", "", NULL, "there"},
    {"a doubt looks like nothing",
     "@0 at TP1 volts\nred ~-17.9 mV *6\nred ~3.214 V *10\n@4 there\n", "", "doubt TP1", NULL,
     "there"},
};

static void held_and_decided(void **state)
{
	(void)state;
	stand_run_scenes(held_rows, sizeof held_rows / sizeof *held_rows);
}

/* ---- names said aloud ---- */

static const struct scene speech_rows[] = {
    {"touched before the name was said: nothing, and said once; then it counts",
     "@0 speaks on\n@0.1 walk on\n" OPEN "red ~100.2 kOhm *8\n" OPEN "@4 announced\n" R1_TOUCHED OPEN,
     "R1 red 100.2 kohm", "refused R1; armed R1", NULL, ""},
    {"said in time",
     "@0 speaks on\n@0.1 walk on\n@0.9 announced\n" OPEN R1_TOUCHED OPEN "@5.3 announced\n"
     "red OL MOhm *2\n" R2_TOUCHED OPEN,
     "R1 red 100.2 kohm; R2 red 98.4 kohm", "armed R1; armed R2", "R1-; R2-; R3-", ""},
    {"a client that hangs holds nobody up for ever",
     "@0 speaks on\n@0.1 walk on\nred OL MOhm *24\n" R1_TOUCHED OPEN R2_TOUCHED OPEN,
     "R1 red 100.2 kohm; R2 red 98.4 kohm", "mute; armed R1", "R1-; R2; R3", ""},
    {"nobody speaks any more",
     "@0 speaks on\n@0.1 walk on\n@0.5 speaks off\n" OPEN R1_TOUCHED OPEN, "R1 red 100.2 kohm",
     "armed R1", "R1-; R2", ""},
    {"nobody speaks: announced is no more than a word", WALK "@0.5 announced\n" R1_TOUCHED OPEN,
     "R1 red 100.2 kohm", "", "R1; R2", ""},
    {"nothing is up", "@0 announced\n", "", "", "", "announced"},
    {"a bound meter follows no names",
     "@0 speaks on\n@0 walk on\n@0 at R3 value blue\n@3 take blue\nblue OL MOhm *6\nblue ~46.9 kOhm *8\n",
     "R3 blue 46.9 kohm", NULL, NULL, ""},
};

static void names_said(void **state)
{
	(void)state;
	stand_run_scenes(speech_rows, sizeof speech_rows / sizeof *speech_rows);
}

/* ---- one meter after the other ---- */

static const struct scene cross_rows[] = {
    {"the position stays until two meters have measured it",
     "@0 walk on sheet 2\n" OPEN R1_TOUCHED "red OL MOhm *24\nred OL MOhm *8\n" R2_TOUCHED OPEN
     "blue wait 5\nblue OL MOhm *4\nblue ~100.4 kOhm *8\nblue OL MOhm *6\n",
     "R1 red 100.2 kohm; R1 blue 100.4 kohm; R2 red 98.4 kohm", "other R1; other R2", "R1; R2", ""},
    {"the same meter once more does not count for the other",
     "@0 walk on 2\n" OPEN R1_TOUCHED "red OL MOhm *6\n" R1_TOUCHED OPEN,
     "R1 red 100.2 kohm", "other R1; refused R1", "R1", ""},
    {"next, where the other does not come", "@0 walk on 2\n" OPEN R1_TOUCHED OPEN "@5 next\n",
     "R1 red 100.2 kohm", "other R1", "R1; R2", ""},
    {"none, and too many", "@0 walk on 0\n@0.1 walk on 9\n", "", "", "", "walk; walk"},
};

static void one_after_the_other(void **state)
{
	(void)state;
	stand_run_scenes(cross_rows, sizeof cross_rows / sizeof *cross_rows);
}

/* ---- functions, modes ---- */

static const struct scene word_rows[] = {
    {"a function that does not suit: said once a touch",
     "@0 at R1\nred ~0.021 nF *6\nred ~101.3 nF *30\nred ~0.021 nF *6\n", "", "refused R1", NULL, ""},
    {"... again at the next touch",
     "@0 at R1\nred ~0.021 nF *6\nred ~101.3 nF *12\nred ~0.021 nF *8\nred ~101.3 nF *12\n", "",
     "refused R1; refused R1", NULL, ""},
    {"volts at a resistor, where nothing says what to expect: said once",
     "@0 at R1\nred ~-17.9 mV *6\nred ~5.213 V *20\n", "", "refused R1", NULL, ""},
    {"overload of a touched part, by key", "@0 walk on\nred OL MOhm *10\n@2.2 take\n",
     "R1 red overload", "", NULL, ""},
};

static void words_of_refusal(void **state)
{
	(void)state;
	stand_run_scenes(word_rows, sizeof word_rows / sizeof *word_rows);
}

static const char columns_config[] = "[bench]\nname = tests\n[meter cols]\ndialect = columns-14\n";

/* A frame of columns-14 with these bits in its bytes 7 and 8, some times. */
static void columns_say(struct stand *s, int seven, int eight, int times)
{
	char frame[] = "+1002 4\x20\x00\x20\x20\x00\r\n";
	frame[7] = (char)seven;
	frame[8] = (char)eight;
	for (int i = 0; i < times; i++) {
		bench_line_bytes(s->bench, s->t, 0, frame, sizeof frame - 1);
		bench_collect(s->bench);
		s->t += 250000;
	}
}

/* Byte 7 of the frame: 0x02 hold, 0x04 relative; byte 8: 0x20 maximum, 0x10 minimum. */
static void modes_are_refused(void **state)
{
	(void)state;
	static const struct { int seven, eight; const char *word; } rows[] = {
	    {0x22, 0, "hold"}, {0x24, 0, "relative"}, {0x20, 0x20, "min-max"}, {0x20, 0x10, "min-max"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct stand *s = calloc(1, sizeof *s);
		stand_open(s, columns_config, ":memory:", NULL);
		stand_load(s, stand_sheet);
		stand_act(s, s->t, "at R1");
		columns_say(s, rows[i].seven, rows[i].eight, 20);
		stand_act(s, s->t, "take");
		note_row("%s", rows[i].word);
		assert_string_equal(s->made, "");
		assert_string_equal(s->says, "refused R1");
		assert_string_equal(s->refused, "take");
		/* Off, the touch counts; on again it is said again. */
		columns_say(s, 0x20, 0, 8);
		assert_string_equal(s->made, "R1 cols 100.2 kohm");
		columns_say(s, rows[i].seven, rows[i].eight, 4);
		assert_string_equal(s->says, "refused R1; refused R1");
		stand_end(s);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(the_way),
	    cmocka_unit_test(by_channel),
	    cmocka_unit_test(lift_where_nothing_else_tells),
	    cmocka_unit_test(lift_needs_something),
	    cmocka_unit_test(status_of_what_is_up),
	    cmocka_unit_test(references_are_passed_over),
    cmocka_unit_test(held_and_decided),
	    cmocka_unit_test(names_said),
	    cmocka_unit_test(one_after_the_other),
	    cmocka_unit_test(words_of_refusal),
	    cmocka_unit_test(modes_are_refused),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

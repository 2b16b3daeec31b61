/* SPDX-License-Identifier: MIT */
/*
 * Entries and what is said of them: moves, lead offsets, meter checks; and all of it read
 * back from the log.  Scenes as in tests/bench_stand.h.
 */
#include "tests/bench_stand.h"

#include "protocol/trade/crosscheck.h"

#define OPEN "red OL MOhm *6\n"
#define R1_TOUCHED "red ~100.2 kOhm *8\n"
#define R2_TOUCHED "red ~98.4 kOhm *8\n"

static const char sheet[] = "position,kind,nominal,tolerance,role\n"
                            "R1,carbon-composition,100k,10%,anode load\n"
                            "R2,carbon-composition,100k,10%,anode load\n"
                            "R3,metal-film,47k,1%,grid leak\n"
                            "R8,metal-film,10,5%,\n"
                            "R9,metal-film,120,5%,\n"
                            "C1,film,1 nF,10%,coupling\n"
                            "REF1,reference,100 ohm,0.1%,\n"
                            "REF2,reference,100 ohm,,\n"
                            "REF3,reference,10 nF,0.5%,\n";

static struct stand *began(const char *scene)
{
	struct stand *s = calloc(1, sizeof *s);
	assert_non_null(s);
	stand_open(s, stand_config, ":memory:", NULL);
	stand_load(s, sheet);
	stand_play(s, scene);
	return s;
}

static void end(struct stand *s)
{
	bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	assert_true(stand_check_trail(s));
	stand_free(s);
	free(s);
}

/* The N-th last record of a kind (1: the last), "" for none. */
static const char *record(const struct stand *s, const char *kind, int n)
{
	struct record_head head;
	for (int i = s->records - 1; i >= 0; i--)
		if (record_head_read(s->record[i], strlen(s->record[i]), &head) &&
		    strcmp(head.kind, kind) == 0 && --n == 0)
			return s->record[i];
	return "";
}

static int count(const struct stand *s, const char *kind)
{
	int n = 0;
	while (record(s, kind, n + 1)[0])
		n++;
	return n;
}

static struct slice member(const char *text, const char *path)
{
	return json_member(text, strlen(text), path);
}

static void is(const char *text, const char *path, const char *want)
{
	struct slice got = member(text, path);
	char have[256];
	snprintf(have, sizeof have, "%.*s", got.at ? (int)got.len : 6, got.at ? got.at : "absent");
	if (strcmp(have, want) != 0)
		fail_msg("%s is %s and not %s in %s", path, have, want, text);
}

static double number(const char *text, const char *path)
{
	double x;
	if (!json_number(member(text, path), &x))
		fail_msg("no number %s in %s", path, text);
	return x;
}

static int64_t seq_of(const char *text)
{
	struct record_head head;
	assert_true(record_head_read(text, strlen(text), &head));
	return head.seq;
}

static void act(struct stand *s, const char *text)
{
	stand_act(s, s->t, text);
	bench_collect(s->bench);
}

static void load(struct stand *s, const char *position, const char *key, const char *value)
{
	assert_true(bench_sheet_set(s->bench, s->t, position, &key, &value, 1, (struct bench_wait){0},
	                            &s->why));
	bench_collect(s->bench);
}

/* ---- moves ---- */

static void moved_and_judged_anew(void **state)
{
	(void)state;
	struct stand *s = began("@0 reach lifted\n@0 at R3\n" OPEN "red ~98.4 kOhm *16\n" OPEN);
	char words[64];
	const char *entry = record(s, "entry", 1);
	is(entry, "verdict", "\"outside\"");
	snprintf(words, sizeof words, "move %lld R2", (long long)seq_of(entry));
	act(s, words);
	assert_string_equal(s->refused, "");
	const char *move = record(s, "move", 1), *rejudge = record(s, "rejudge", 1);
	assert_int_equal((int)number(move, "of"), (int)seq_of(entry));
	is(move, "from", "\"R3\"");
	is(move, "position", "\"R2\"");
	is(move, "job", "\"job\"");
	is(rejudge, "verdict", "\"within\"");
	is(rejudge, "position", "\"R2\"");
	is(rejudge, "because", "\"moved from R3\"");
	is(rejudge, "limits", "[90000,110000]");
	/* The rejudge is in the same transaction, right after the move. */
	assert_int_equal((int)seq_of(rejudge), (int)seq_of(move) + 1);
	/* Another move takes it on; R3 lacks its value again. */
	act(s, "move ^1 R1");
	is(record(s, "move", 1), "from", "\"R2\"");
	assert_int_equal(count(s, "rejudge"), 1); /* the same limits: nothing new to say */
	s->up[0] = '\0';
	act(s, "walk on");
	act(s, "next");
	act(s, "next");
	assert_string_equal(s->up, "R8; R9"); /* R3 stayed chosen, lacking */
	end(s);
}

static void moved_back_by_undo(void **state)
{
	(void)state;
	struct stand *s = began("@0 at R1\n" OPEN R1_TOUCHED OPEN "@5 at R2\n" R2_TOUCHED OPEN);
	char words[80];
	snprintf(words, sizeof words, "move %lld-%lld R3", (long long)seq_of(record(s, "entry", 2)),
	         (long long)seq_of(record(s, "entry", 1)));
	act(s, words);
	assert_string_equal(s->refused, "");
	assert_int_equal(count(s, "move"), 2);
	/* One undo takes both back, the next strikes the last entry. */
	act(s, "undo");
	assert_int_equal(count(s, "move"), 4);
	assert_int_equal(count(s, "strike"), 0);
	is(record(s, "move", 2), "position", "\"R1\"");
	is(record(s, "move", 1), "position", "\"R2\"");
	is(record(s, "move", 1), "because", "\"undo\"");
	is(record(s, "rejudge", 1), "verdict", "\"unsure\"");
	act(s, "undo");
	assert_int_equal(count(s, "strike"), 1);
	is(record(s, "strike", 1), "position", "\"R2\"");
	/* An entry after a move is undone first. */
	act(s, "move ^1 R2");
	stand_play(s, "@0 at R3\n" OPEN "red ~46.9 kOhm *8\n" OPEN);
	act(s, "undo");
	is(record(s, "strike", 1), "position", "\"R3\"");
	act(s, "undo");
	is(record(s, "move", 1), "position", "\"R1\"");
	end(s);
}

static void moves_that_are_refused(void **state)
{
	(void)state;
	static const char *const rows[] = {
	    "move 1 R2",       /* the log's own record, no entry */
	    "move 4000 R2",    /* none */
	    "move ^2 R2",      /* there is but one */
	    "move ^1 R1",      /* there already */
	    "move ^1 C1",      /* ohm is no farad */
	    "move 2-3 R2",     /* a run without an entry */
	    "move R2",         /* which? */
	    "move ^1",         /* where? */
	    "move 9-8 R2",     /* backwards */
	    "move ^0 R2",
	    "move 12x R2",
	};
	struct stand *s = began("@0 at R1\n" OPEN R1_TOUCHED OPEN);
	int records = s->records;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		s->refused[0] = '\0';
		act(s, rows[i]);
		note_row("%s", rows[i]);
		assert_string_equal(s->refused, "move");
	}
	assert_int_equal(s->records, records);
	/* A struck one belongs nowhere. */
	char words[64];
	snprintf(words, sizeof words, "move %lld R2", (long long)seq_of(record(s, "entry", 1)));
	act(s, "undo");
	s->refused[0] = '\0';
	act(s, words);
	assert_string_equal(s->refused, "move");
	/* To a position that is in no sheet: it is made as it is named. */
	stand_play(s, OPEN "@1 at R1\n" R1_TOUCHED OPEN);
	act(s, "move ^1 R77");
	is(record(s, "move", 1), "position", "\"R77\"");
	is(record(s, "position", 1), "change", "\"named\"");
	is(record(s, "rejudge", 1), "verdict", "\"none\"");
	end(s);
}

/* ---- lead offsets ---- */

static void offset_is_taken_off(void **state)
{
	(void)state;
	struct stand *s = began("@0 offset short red\n" "red OL Ohm *4\n" "red ~0.21 Ohm *8\n" "red OL Ohm *6\n"
	                        "@5.5 reach lifted\n@5.6 at R8\n" "red OL Ohm *4\n" "red ~10.41 Ohm *12\n"
	                        "red OL Ohm *6\n");
	assert_string_equal(s->made, "R8 red 10.41 ohm lifted");
	const char *offset = record(s, "offset", 1), *entry = record(s, "entry", 1);
	is(offset, "meter", "\"red\"");
	is(offset, "leads", "\"short\"");
	is(offset, "function", "\"ohm\"");
	is(offset, "value", "0.21");
	is(offset, "digit", "0.01");
	is(offset, "shown", "\"0.21 ohm\"");
	assert_true(number(offset, "n") >= 4);
	assert_non_null(strstr(offset, "\"trail\":[["));
	/* 0.5 % + 2 digits, rectangular, with a display step: by hand, from the formula. */
	double u_offset = hypot((0.005 * 0.21 + 0.02) / sqrt(3), 0.01 / sqrt(12));
	assert_near(number(offset, "u"), u_offset, 1e-3 * u_offset);
	is(entry, "value", "10.2");
	is(entry, "digit", "0.01");
	is(entry, "raw", "10.41");
	is(entry, "shown", "\"10.41 ohm\"");
	assert_int_equal((int)number(entry, "offset"), (int)seq_of(offset));
	double u = hypot(hypot((0.005 * 10.41 + 0.02) / sqrt(3), 0.01 / sqrt(12)), u_offset);
	assert_near(number(entry, "u"), u, 1e-3 * u);
	is(entry, "verdict", "\"within\"");
	assert_near(number(entry, "deviation"), 0.02, 1e-9);
	end(s);
}

static void offset_of_another_digit(void **state)
{
	(void)state;
	struct stand *s = began("@0 offset short red\n" "red OL Ohm *4\n" "red ~0.21 Ohm *8\n" "red OL Ohm *6\n"
	                        "@5.5 reach lifted\n@5.6 at R9\n" "red OL Ohm *4\n" "red 118.4 Ohm *8\n"
	                        "red OL Ohm *6\n" "@10.5 at R1\n" "red ~100.2 kOhm *8\n" "red OL kOhm *6\n");
	const char *fine = record(s, "entry", 2), *coarse = record(s, "entry", 1);
	/* The finer of the two digits; nothing is lost. */
	is(fine, "value", "118.19");
	is(fine, "digit", "0.01");
	is(fine, "raw", "118.4");
	/* 0.21 of 100 ohm a digit shows nothing: the entry only names it. */
	is(coarse, "value", "100200");
	is(coarse, "digit", "100");
	is(coarse, "raw", "absent");
	assert_int_equal((int)number(coarse, "offset"), (int)seq_of(record(s, "offset", 1)));
	end(s);
}

static void offset_of_open_leads(void **state)
{
	(void)state;
	/* Wandering by some digits: the median of seven. */
	struct stand *s = began("@0 reach lifted\nred every 0.5\nred 0.021 nF *1\nred 0.024 nF *1\n"
	                        "red 0.019 nF *2\n@1.9 offset open\nred 0.026 nF *1\nred 0.021 nF *1\n"
	                        "red 0.023 nF *1\nred 0.018 nF *1\nred 0.022 nF *1\nred 0.025 nF *1\n"
	                        "red 0.021 nF *3\n@7 at C1\nred 1.061 nF *9\nred 0.021 nF *5\n");
	const char *offset = record(s, "offset", 1), *entry = record(s, "entry", 1);
	is(offset, "leads", "\"open\"");
	is(offset, "function", "\"farad\"");
	is(offset, "value", "2.2e-11");
	is(offset, "n", "7");
	is(entry, "raw", "1.061e-09");
	is(entry, "value", "1.039e-09");
	end(s);
	/* At rest already: at once. */
	s = began("red every 0.5\nred 0.021 nF *10\n@4.9 offset open red\n");
	is(record(s, "offset", 1), "value", "2.1e-11");
	end(s);
}

static void offset_at_once_strikes_what_the_touch_made(void **state)
{
	(void)state;
	struct stand *s = began("@0 at R8\n" "red OL Ohm *6\n" "red ~0.21 Ohm *12\n" "@4.3 offset short\n"
	                        "red OL Ohm *6\n");
	assert_string_equal(s->made, "R8 red 0.21 ohm; strike R8");
	is(record(s, "strike", 1), "because", "\"it was the lead offset\"");
	is(record(s, "offset", 1), "value", "0.21");
	end(s);
}

/* What a touch before made is no offset: neither that of open leads, nor of a touch after it. */
static void offset_after_a_part_leaves_it(void **state)
{
	(void)state;
	static const char *const scenes[] = {
	    "red every 0.5\n@0 at C1\nred 0.021 nF *8\nred 101.3 nF *9\nred 0.021 nF *6\n"
	    "@12 offset open red\nred 0.021 nF *10\n",
	    "@0 at R8\nred OL Ohm *6\nred ~101.3 Ohm *12\nred OL Ohm *8\n@6.6 offset open red\n"
	    "red 0.021 nF *10\n",
	    "@0 at R8\nred OL Ohm *6\nred ~101.3 Ohm *12\nred OL Ohm *8\n@6.6 offset short red\n"
	    "red ~0.21 Ohm *12\nred OL Ohm *6\n",
	};
	for (size_t i = 0; i < sizeof scenes / sizeof *scenes; i++) {
		struct stand *s = began(scenes[i]);
		assert_int_equal(count(s, "entry"), 1);
		assert_int_equal(count(s, "offset"), 1);
		assert_int_equal(count(s, "strike"), 0);
		end(s);
	}
}

static void offsets_that_are_refused(void **state)
{
	(void)state;
	static const struct { const char *what, *scene, *refused, *says; } rows[] = {
	    {"more than 2 ohm, now", "red OL Ohm *4\nred ~5.21 Ohm *8\n@2.9 offset short red\n", "offset", NULL},
	    {"more than 2 ohm, later", "@0 offset short red\nred OL Ohm *4\nred ~5.21 Ohm *8\n", "", "refused"},
	    {"below -0.5 ohm", "@0 offset short red\nred OL Ohm *4\nred ~-0.82 Ohm *8\n", "", "refused"},
	    {"the wrong function", "@0 offset short red\nred 0.021 nF *4\nred ~101.3 nF *10\n", "", "refused"},
	    {"a part on the open leads", "red every 0.5\n@0.1 offset open red\nred ~0.021 nF *4\nred ~101.3 nF *70\n",
	     "", "refused; refused"},
	    {"nothing for half a minute", "red OL Ohm *4\n@1 offset short red\nred OL Ohm *130\n", "", "refused"},
	    {"two meters read ohm: which one", "red OL Ohm *4\nblue OL Ohm *4\n@1 offset short\n", "offset", ""},
	    {"none does", "red ~0.021 nF *4\n@1 offset short\n", "offset", ""},
	    {"no such meter", "@1 offset short green\n", "offset", ""},
	    {"no such leads", "@1 offset crossed red\n", "offset", ""},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct stand *s = began(rows[i].scene);
		note_row("%s", rows[i].what);
		assert_string_equal(s->refused, rows[i].refused);
		if (rows[i].says)
			assert_string_equal(s->says, rows[i].says);
		assert_int_equal(count(s, "offset"), 0);
		assert_int_equal(count(s, "entry"), 0);
		end(s);
	}
}

/* Without an offset a value that the leads could push over a limit is in doubt. */
static void offset_that_is_missing(void **state)
{
	(void)state;
	static const char touched[] = "red OL Ohm *4\n" "red ~10.41 Ohm *12\n" "red OL Ohm *6\n";
	struct stand *s = began("@0 reach lifted\n@0.1 at R8\n");
	stand_play(s, touched);
	is(record(s, "entry", 1), "reason", "\"offset\"");
	is(record(s, "entry", 1), "offset", "absent");
	/* Taken, struck, and half a day later it is old. */
	stand_play(s, "@0 offset short red\nred OL Ohm *4\nred ~0.01 Ohm *8\nred OL Ohm *6\n@4.4 again\n");
	stand_play(s, touched);
	is(record(s, "entry", 1), "verdict", "\"within\"");
	char words[64];
	int64_t offset = seq_of(record(s, "offset", 1));
	assert_true(bench_strike(s->bench, s->t, offset, "the plug was loose", (struct bench_wait){0},
	                         &s->why));
	bench_collect(s->bench);
	is(record(s, "strike", 1), "because", "\"the plug was loose\"");
	assert_int_equal((int)number(record(s, "strike", 1), "of"), (int)offset);
	is(record(s, "rejudge", 1), "reason", "\"offset\"");
	is(record(s, "rejudge", 1), "because", "\"the lead offset was struck\"");
	assert_false(bench_strike(s->bench, s->t, offset, "twice", (struct bench_wait){0}, &s->why));
	snprintf(words, sizeof words, "at R8");
	act(s, words);
	stand_play(s, touched);
	is(record(s, "entry", 1), "offset", "absent");
	stand_play(s, "@0 offset short red\nred OL Ohm *4\nred ~0.01 Ohm *8\nred OL Ohm *6\n");
	s->t += INT64_C(11) * 3600 * 1000000;
	act(s, "at R8");
	stand_play(s, touched);
	assert_true(number(record(s, "entry", 1), "offset") > (double)offset);
	s->t += INT64_C(2) * 3600 * 1000000;
	act(s, "at R8");
	stand_play(s, touched);
	is(record(s, "entry", 1), "offset", "absent");
	end(s);
}

/* ---- meter checks ---- */

#define REF1_TOUCHED(value) "red OL Ohm *4\n" "red " value " Ohm *10\n" "red OL Ohm *6\n"

static void check_passed(void **state)
{
	(void)state;
	struct stand *s = began("@0 check red REF1\n" REF1_TOUCHED("100.12"));
	const char *check = record(s, "check", 1);
	assert_string_equal(s->made, "");
	is(check, "meter", "\"red\"");
	is(check, "position", "\"REF1\"");
	is(check, "nominal", "100");
	is(check, "value", "100.12");
	is(check, "agree", "true");
	/* E_n of ISO 13528, from the formula: U of 0.1 % of 100 ohm, rectangular. */
	double u_ref = 0.1 / sqrt(3), u = hypot((0.005 * 100.12 + 0.02) / sqrt(3), 0.01 / sqrt(12));
	assert_near(number(check, "nominal-u"), u_ref, 1e-6);
	assert_near(number(check, "u"), u, 1e-5);
	assert_near(number(check, "en"), crosscheck_en(100.12, 2 * u, 100, 2 * u_ref), 1e-4);
	stand_play(s, "@0 reach lifted\n@0 at R2\n" OPEN R2_TOUCHED OPEN);
	const char *entry = record(s, "entry", 1);
	assert_int_equal((int)number(entry, "check"), (int)seq_of(check));
	is(entry, "verdict", "\"within\"");
	end(s);
}

static void check_failed(void **state)
{
	(void)state;
	struct stand *s = began("@0 check red REF1\n" REF1_TOUCHED("103.41"));
	int64_t failed = seq_of(record(s, "check", 1));
	is(record(s, "check", 1), "agree", "false");
	stand_play(s, "@0 reach lifted\n@0 at R2\n" OPEN R2_TOUCHED OPEN);
	const char *entry = record(s, "entry", 1);
	is(entry, "verdict", "\"unsure\"");
	is(entry, "reason", "\"meter\"");
	assert_non_null(strstr(entry, "its meter failed check"));
	assert_int_equal((int)number(entry, "check"), (int)failed);
	/* Another function, another meter: not concerned. */
	stand_play(s, "@0 at C1\nred every 0.5\nred 0.021 nF *4\nred 1.005 nF *9\nred 0.021 nF *5\n"
	              "red every 0.25\n");
	is(record(s, "entry", 1), "check", "absent");
	/* Passed: entries from there on are judged as ever, those before stay as they are. */
	stand_play(s, "@0 check red REF1\n" REF1_TOUCHED("100.05"));
	stand_play(s, "@0 at R1\n" OPEN R1_TOUCHED OPEN);
	is(record(s, "entry", 1), "verdict", "\"within\"");
	assert_int_equal(count(s, "rejudge"), 0);
	/* The failed one is struck (it was the wrong part): its entries are judged anew. */
	assert_true(bench_strike(s->bench, s->t, failed, "it was REF2", (struct bench_wait){0}, &s->why));
	bench_collect(s->bench);
	is(record(s, "rejudge", 1), "verdict", "\"within\"");
	is(record(s, "rejudge", 1), "because", "\"the meter check was struck\"");
	end(s);
}

static void checks_that_are_refused(void **state)
{
	(void)state;
	static const char *const rows[] = {
	    "check red R1",      /* no reference */
	    "check red REF2",    /* known how well? */
	    "check red REF9",    /* not in the sheet */
	    "check green REF1",
	    "check red",
	};
	struct stand *s = began("");
	int records = s->records;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		s->refused[0] = '\0';
		act(s, rows[i]);
		note_row("%s", rows[i]);
		assert_string_equal(s->refused, "check");
	}
	assert_int_equal(s->records, records);
	/* On the wrong function. */
	s->says[0] = '\0';
	stand_play(s, "@0 check red REF3\n" REF1_TOUCHED("100.12"));
	assert_string_equal(s->says, "refused");
	assert_int_equal(count(s, "check"), 0);
	end(s);
}

/* ---- read back ---- */

static void read_back(void **state)
{
	(void)state;
	struct stand *s = began("@0 offset short red\nred OL Ohm *4\nred ~0.41 Ohm *8\nred OL Ohm *6\n"
	                        "@5 check red REF1\n" REF1_TOUCHED("103.41")
	                        "@10 reach lifted\n@10 at R9\n" "red OL Ohm *4\n" "red ~121.4 Ohm *8\n"
	                        "red OL Ohm *6\n");
	act(s, "move ^1 R8");
	int64_t offset = seq_of(record(s, "offset", 1)), failed = seq_of(record(s, "check", 1));
	bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	stand_bench(s, NULL);
	struct log_reader *reader = log_reader_open(log_path(s->log), &s->why);
	assert_non_null(reader);
	assert_true(bench_restore(s->bench, reader, &s->why));
	log_reader_close(reader);
	bench_collect(s->bench);
	/* Nothing changed by that: a rejudge only where something does. */
	int rejudged = count(s, "rejudge");
	load(s, "R8", "note", "anything");
	assert_int_equal(count(s, "rejudge"), rejudged);
	/* The entry is at R8, with its offset and its failed check. */
	load(s, "R8", "nominal", "122 ohm");
	assert_int_equal(count(s, "rejudge"), rejudged + 1);
	is(record(s, "rejudge", 1), "position", "\"R8\"");
	is(record(s, "rejudge", 1), "verdict", "\"unsure\"");
	assert_near(number(record(s, "rejudge", 1), "deviation"), (120.99 - 122) / 122, 1e-5);
	assert_true(bench_strike(s->bench, s->t, failed, "wrong part", (struct bench_wait){0}, &s->why));
	bench_collect(s->bench);
	is(record(s, "rejudge", 1), "verdict", "\"within\"");
	assert_true(bench_strike(s->bench, s->t, offset, "wrong leads", (struct bench_wait){0}, &s->why));
	bench_collect(s->bench);
	assert_near(number(record(s, "rejudge", 1), "deviation"), (121.4 - 122) / 122, 1e-5);
	/* One undo after all takes the move back. */
	act(s, "undo");
	is(record(s, "move", 1), "position", "\"R9\"");
	end(s);
}

/* ---- who waits is answered, once ---- */

struct answers {
	int count, durable, refused;
	int64_t seq;
	char why[200];
};

static void on_done(void *arg, const struct bench_outcome *o)
{
	struct answers *a = arg;
	a->count++;
	a->durable += o->durable;
	a->refused += o->refused;
	a->seq = o->seq;
	snprintf(a->why, sizeof a->why, "%s", o->why ? o->why : "");
}

static void waiters_are_answered_once(void **state)
{
	(void)state;
	struct answers a = {0}, late = {0}, other = {0}, closed = {0};
	struct stand *s = began("red OL Ohm *4\n");
	struct bench_wait w = {on_done, &a};
	assert_true(bench_offset(s->bench, s->t, false, "red", w, &s->why));
	assert_int_equal(a.count, 0);
	stand_play(s, "red ~0.21 Ohm *12\n");
	assert_int_equal(a.count, 1);
	assert_int_equal(a.durable, 1);
	assert_int_equal(a.seq, seq_of(record(s, "offset", 1)));
	/* Nothing comes. */
	stand_play(s, "red OL Ohm *8\n");
	w.arg = &late;
	assert_true(bench_offset(s->bench, s->t, false, "red", w, &s->why));
	stand_play(s, "red OL Ohm *116\n");
	assert_int_equal(late.count, 0);
	stand_play(s, "red OL Ohm *8\n");
	assert_int_equal(late.count, 1);
	assert_int_equal(late.refused, 1);
	assert_non_null(strstr(late.why, "30 s"));
	/* Called off: the next touch is an entry again. */
	struct answers off = {0};
	w.arg = &off;
	assert_true(bench_offset(s->bench, s->t, false, "red", w, &s->why));
	assert_true(bench_again(s->bench, s->t, false, &s->why));
	assert_int_equal(off.count, 1);
	assert_int_equal(off.refused, 1);
	assert_non_null(strstr(off.why, "called off"));
	stand_play(s, "red ~0.21 Ohm *12\n");
	assert_int_equal(count(s, "offset"), 1);
	stand_play(s, "red OL Ohm *8\n");
	/* Another errand takes its place; the bench closes. */
	w.arg = &other;
	assert_true(bench_offset(s->bench, s->t, false, "red", w, &s->why));
	w.arg = &closed;
	assert_true(bench_check(s->bench, s->t, "red", "REF1", w, &s->why));
	assert_int_equal(other.count, 1);
	assert_int_equal(other.refused, 1);
	end(s);
	assert_int_equal(closed.count, 1);
	assert_int_equal(closed.refused, 1);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(moved_and_judged_anew),
	    cmocka_unit_test(moved_back_by_undo),
	    cmocka_unit_test(moves_that_are_refused),
	    cmocka_unit_test(offset_is_taken_off),
	    cmocka_unit_test(offset_of_another_digit),
	    cmocka_unit_test(offset_of_open_leads),
	    cmocka_unit_test(offset_at_once_strikes_what_the_touch_made),
	    cmocka_unit_test(offset_after_a_part_leaves_it),
	    cmocka_unit_test(offsets_that_are_refused),
	    cmocka_unit_test(offset_that_is_missing),
	    cmocka_unit_test(check_passed),
	    cmocka_unit_test(check_failed),
	    cmocka_unit_test(checks_that_are_refused),
	    cmocka_unit_test(read_back),
	    cmocka_unit_test(waiters_are_answered_once),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

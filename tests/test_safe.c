/* SPDX-License-Identifier: MIT */
/*
 * Cold and live: what is refused while volts may be there, how a unit becomes cold, and the
 * watch over one that is said to be.  Scenes as in tests/bench_stand.h.
 *
 * The limits: 60 V dc and 30 V ac (IEC 60364-4-41, from memory: 60 V dc and 25 V ac need no
 * protection against touch in dry rooms).  1 V and one minute are common practice, no source.
 */
#include "tests/bench_stand.h"

#include "protocol/trade/reservoir.h"

static const char supply_sheet[] =
    "position,kind,nominal,tolerance,rated,role\n"
    "R1,metal-film,100k,5%,,\n"
    "C20,electrolytic,47 uF,-20/+50%,450 V,reservoir\n"
    "C21,electrolytic,47 uF,-20/+50%,450 V,smoothing\n"
    "C1,electrolytic,25 uF,-20/+50%,25 V,cathode bypass\n";

#define OPEN "red OL MOhm *6\n"
#define R1_TOUCHED "red ~100.2 kOhm *8\n"
/* Near zero volts wait for the person's word. */
#define DEAD "red ~12.3 mV DC *10\n"


/* Both reservoirs dead, twice; R1 after it.  The second time they come up by themselves. */
#define FIRST_TIME "@0 reach lifted\n@0 live\n@1 cold\nred wait 2\n" DEAD "@4.4 take\n" OPEN \
                   DEAD "@8.4 take\n" OPEN
#define SECOND_TIME "red wait 65\n" DEAD "@77.4 take\n" OPEN DEAD "@81.4 take\n" OPEN

static const struct scene rules[] = {
    {"live: nothing that drives the part, whatever it is",
     "@0 reach lifted\n@0 live\n@0 at R1\n" OPEN R1_TOUCHED OPEN
     "@5 at C1\nred every 0.5\nred ~0.021 nF *6\nred ~25.31 uF *9\n",
     "", "refused R1; refused C1", "R1; C1", ""},
    {"... also by key", "@0 live\n@0 at R1\n" OPEN R1_TOUCHED "@3.4 take\n", "", "refused R1", NULL, "take"},
    {"... and volts are logged", "@0 live\n@0 at C20 volts\nred ~413.2 V DC *10\n@2.4 take\n",
     "C20 red 413.2 V volts", "doubt C20", NULL, ""},
    {"to be cold: the reservoirs are asked for, and it stays live; near zero waits for a word",
     "@0 reach lifted\n@0 live\n@1 cold\nred wait 2\n" DEAD "@5 at R1\n" OPEN R1_TOUCHED,
     "", "discharging; refused R1", "C20; R1", ""},
    {"a reservoir that is chosen by its name alone is asked for its volts",
     "@0 reach lifted\n@0 live\n@1 cold\n@1.2 at R1\n@1.4 at C21\nred wait 2\n" DEAD "@4.4 take\n",
     "C21 red 12.3 mV volts lifted", NULL, NULL, ""},
    {"... but at another time for what it is", "@0 reach lifted\n@0 live\n@1.4 at C21\nred wait 2\n" DEAD
     "@4.4 take\n", "", NULL, "C21", "take"},
    {"once is not twice", FIRST_TIME "@12 at R1\n" OPEN R1_TOUCHED,
     "C20 red 12.3 mV volts lifted; C21 red 12.3 mV volts lifted", NULL, NULL, ""},
    {"the minute is over while something else is up: said, and that stays up",
     FIRST_TIME "@12 at R1\nred wait 65\n" OPEN, NULL,
     "discharging; discharging; discharging", "C20; C21; R1", ""},
    {"twice, but not a minute apart", FIRST_TIME "@13 at C20 volts\nred wait 3\n" DEAD "@15.4 take\n"
     "@16 at C21 volts\n" OPEN DEAD "@19.4 take\n@20 at R1\n" OPEN OPEN R1_TOUCHED, NULL, NULL, NULL, ""},
    {"to be cold once more while it is asked for", "@0 live\n@1 cold\n@2 cold\n", "", "discharging", "C20",
     "cold"},
    {"the walk asks for nothing else meanwhile",
     "@0 walk on\n@0 reach lifted\n@0 live\n@1 cold\nred wait 2\n" DEAD "@4.4 take\n" OPEN, NULL, NULL,
     "R1; C20; C21", ""},
    {"nobody asks where it was never live", "@0 cold\n@0 reach lifted\n@0 at R1\n" OPEN R1_TOUCHED,
     "R1 red 100.2 kohm lifted", "", "R1", ""},
    {"an overload is not dead", "@0 live\n@1 cold\nred wait 2\nred OL V DC *8\n@3.4 take\n",
     "C20 red overload volts", "discharging; alarm C20", NULL, ""},
};

static bool has_job_state(const struct stand *s, const char *state, const char *because)
{
	for (int i = 0; i < s->records; i++)
		if (strstr(s->record[i], "\"kind\":\"job\"") &&
		    strcmp(stand_member(s->record[i], "state"), state) == 0 &&
		    (!because || strstr(stand_member(s->record[i], "because"), because)))
			return true;
	return false;
}

static void run(struct stand *s, const char *scene)
{
	char text[4096];
	snprintf(text, sizeof text, "%s", scene);
	stand_play(s, text);
}

static void begin(struct stand *s, const char *config, const char *sheet)
{
	stand_open(s, config, ":memory:", NULL);
	stand_load(s, sheet);
}

static void refusals(void **state)
{
	(void)state;
	bool good = true;
	for (size_t i = 0; i < sizeof rules / sizeof *rules; i++) {
		struct stand s;
		begin(&s, stand_config, supply_sheet);
		run(&s, rules[i].scene);
		/* All four are shown, whichever differs. */
		bool made = stand_same("made", s.made, rules[i].made);
		bool says = stand_same("says", s.says, rules[i].says);
		bool up = stand_same("up", s.up, rules[i].up);
		bool same = stand_same("refused", s.refused, rules[i].refused) && made && says && up;
		if (!same)
			print_error("  row: %s\n", rules[i].what);
		good = good && same;
		assert_false(strstr(rules[i].scene, "live") && has_job_state(&s, "cold", NULL));
		stand_free(&s);
	}
	assert_true(good);
}

/* ---- the whole road ---- */

static void twice_dead(void **state)
{
	(void)state;
	struct stand s;
	begin(&s, stand_config, supply_sheet);
	run(&s, FIRST_TIME SECOND_TIME "@84 at R1\n" OPEN R1_TOUCHED);
	assert_string_equal(s.made, "C20 red 12.3 mV volts lifted; C21 red 12.3 mV volts lifted; "
	                    "C20 red 12.3 mV volts lifted; C21 red 12.3 mV volts lifted; "
	                    "R1 red 100.2 kohm lifted");
	assert_true(has_job_state(&s, "discharging", NULL));
	assert_true(has_job_state(&s, "cold", "twice"));
	/* They came up in turn, the second time when the minute was over. */
	assert_string_equal(s.up, "C20; C21; C20; C21; R1");
	/* Live again: everything from the beginning. */
	run(&s, "@200 live\n@200.1 cold\n@201 at R1\nred wait 201\n" OPEN R1_TOUCHED);
	assert_non_null(strstr(s.says, "refused R1"));
	stand_free(&s);
}

/* What it reads the second time is above: it begins anew, and is a danger that is said. */
static void volts_come_back(void **state)
{
	(void)state;
	struct stand s;
	begin(&s, stand_config, supply_sheet);
	run(&s, FIRST_TIME "red wait 65\nred ~4.31 V DC *10\n@77.4 take\n" OPEN);
	assert_non_null(strstr(s.says, "alarm"));
	assert_false(has_job_state(&s, "cold", NULL));
	char look[8192];
	struct text out;
	text_begin(&out, look, sizeof look);
	bench_status(s.bench, &out);
	assert_non_null(strstr(look, "{\"alarm\":\"held\",\"text\":\"C20 still holds volts\"}"));
	assert_non_null(strstr(look, "{\"position\":\"C20\",\"dead\":0},{\"position\":\"C21\",\"dead\":1"));
	/* Dead, and a minute later again. */
	run(&s, "@10 at C20 volts\nred wait 12\n" DEAD "@14.4 take\n" OPEN DEAD "@18.4 take\n" OPEN
	        "red wait 60\n" DEAD "@82.4 take\n" OPEN);
	assert_true(has_job_state(&s, "cold", "twice"));
	text_begin(&out, look, sizeof look);
	bench_status(s.bench, &out);
	assert_non_null(strstr(look, "\"alarms\":[]"));
	stand_free(&s);
}

static const char *status(struct stand *s)
{
	static char look[8192];
	struct text out;
	text_begin(&out, look, sizeof look);
	bench_status(s->bench, &out);
	assert_false(out.failed);
	return look;
}

/* Seen, and not logged: it is not dead all the same, and has another minute to wait. */
static void volts_are_seen(void **state)
{
	(void)state;
	struct stand s;
	begin(&s, stand_config, supply_sheet);
	run(&s, FIRST_TIME "red wait 65\nred ~4.31 V DC *6\nred glide 4.31 0.01 0.5 V DC *12\n" DEAD
	        "@81.9 take\n" OPEN);
	assert_non_null(strstr(s.says, "alarm C20"));
	assert_non_null(strstr(status(&s), "{\"position\":\"C20\",\"dead\":1,\"wait\":"));
	assert_false(has_job_state(&s, "cold", NULL));
	/* One reading is a spark, and what is below 1 V is dead. */
	struct stand t;
	begin(&t, stand_config, supply_sheet);
	run(&t, FIRST_TIME "red wait 65\nred 4.31 V DC\nred 0.96 V DC *6\n" DEAD "@78.9 take\n" OPEN);
	assert_non_null(strstr(status(&t), "{\"position\":\"C20\",\"dead\":2}"));
	assert_null(strstr(t.says, "alarm"));
	stand_free(&t);
	stand_free(&s);
}

/* What made it cold is taken back: it is not known to be any more. */
static void cold_is_taken_back(void **state)
{
	(void)state;
	struct stand s;
	begin(&s, stand_config, supply_sheet);
	run(&s, FIRST_TIME SECOND_TIME);
	assert_non_null(strstr(status(&s), "\"state\":\"cold\""));
	assert_non_null(strstr(status(&s), "\"measured\":true"));
	/* Said once more it is no word alone: it was measured. */
	run(&s, "@1 cold\n");
	assert_non_null(strstr(status(&s), "\"measured\":true"));
	run(&s, "@1 undo\n@1.2 at R1\nred wait 1.2\n" OPEN R1_TOUCHED);
	assert_non_null(strstr(status(&s), "\"state\":\"live\""));
	assert_true(has_job_state(&s, "discharging", "taken back"));
	assert_non_null(strstr(s.says, "refused R1"));
	stand_free(&s);
	/* Moved to where it is no reservoir's: the same. */
	begin(&s, stand_config, supply_sheet);
	run(&s, FIRST_TIME SECOND_TIME);
	run(&s, "@1 move ^1 C1\n");
	assert_non_null(strstr(status(&s), "\"state\":\"live\""));
	assert_true(has_job_state(&s, "discharging", "taken back"));
	stand_free(&s);
	/* An entry that is not of a reservoir takes nothing back. */
	begin(&s, stand_config, supply_sheet);
	run(&s, FIRST_TIME SECOND_TIME "@84 at R1\n" OPEN R1_TOUCHED OPEN "@90 undo\n");
	assert_non_null(strstr(status(&s), "\"state\":\"cold\""));
	stand_free(&s);
}

/* No role says which: every electrolytic counts, and that is said. */
static void by_kind(void **state)
{
	(void)state;
	struct stand s;
	begin(&s, stand_config, "position,kind,nominal,rated\nC20,electrolytic,47 uF,450 V\nC1,electrolytic,25 uF,25 V\n");
	run(&s, "@0 live\n@1 cold\n");
	assert_non_null(strstr(status(&s), "\"reservoirs-by\":\"kind\""));
	assert_non_null(strstr(status(&s), "\"reservoirs\":[{\"position\":\"C20\",\"dead\":0}]"));
	run(&s, "@1 sheet set C1 role=reservoir\n");
	assert_non_null(strstr(status(&s), "\"reservoirs-by\":\"role\""));
	assert_non_null(strstr(status(&s), "\"reservoirs\":[{\"position\":\"C1\",\"dead\":0}]"));
	stand_free(&s);
}

/* A strike takes a measurement back. */
static void undone(void **state)
{
	(void)state;
	struct stand s;
	begin(&s, stand_config, supply_sheet);
	run(&s, FIRST_TIME "@13 undo\n");
	char look[8192];
	struct text out;
	text_begin(&out, look, sizeof look);
	bench_status(s.bench, &out);
	assert_non_null(strstr(look, "{\"position\":\"C20\",\"dead\":1"));
	assert_non_null(strstr(look, "{\"position\":\"C21\",\"dead\":0"));
	stand_free(&s);
}

static void by_word(void **state)
{
	(void)state;
	struct stand s;
	begin(&s, stand_config, supply_sheet);
	run(&s, "@0 live\n@1 cold board is out of the chassis\n@1 at R1\n@1 reach loose\n" OPEN OPEN R1_TOUCHED);
	assert_true(has_job_state(&s, "cold", "board is out of the chassis"));
	assert_string_equal(s.made, "R1 red 100.2 kohm loose");
	stand_free(&s);
	/* A sheet without one: the word is taken, and kept as no more than that. */
	begin(&s, stand_config, "position,nominal\nR1,100k\n");
	run(&s, "@0 live\n@1 cold\n@1 at R1\n@1 reach loose\n" OPEN OPEN R1_TOUCHED);
	assert_true(has_job_state(&s, "cold", "by word alone"));
	assert_non_null(strstr(status(&s), "\"measured\":false"));
	assert_string_equal(s.made, "R1 red 100.2 kohm loose");
	stand_free(&s);
}

/* The state, and what was measured, after a restart. */
static void restart(void **state)
{
	(void)state;
	struct stand s;
	char path[] = "/tmp/tally-safe-XXXXXX", log[64], command[128];
	assert_non_null(mkdtemp(path));
	snprintf(log, sizeof log, "%s/log", path);
	stand_open(&s, stand_config, log, NULL);
	stand_load(&s, supply_sheet);
	run(&s, FIRST_TIME);
	char before[8192], after[8192];
	struct text out;
	text_begin(&out, before, sizeof before);
	bench_status(s.bench, &out);
	int64_t t = s.t;
	stand_bench(&s, NULL);
	struct log_reader *reader = log_reader_open(log, &s.why);
	assert_non_null(reader);
	assert_true(bench_restore(s.bench, reader, &s.why));
	log_reader_close(reader);
	bench_run_until(s.bench, t);
	text_begin(&out, after, sizeof after);
	bench_status(s.bench, &out);
	const char *a = strstr(before, "\"discharging\""), *b = strstr(after, "\"discharging\"");
	assert_memory_equal(a, b, strcspn(a, "]") + 1);
	assert_memory_equal(a, "\"discharging\":true", 18);
	/* Volts that were only seen, too. */
	run(&s, "@0 at C20 volts\n@0 reach lifted\nred ~4.31 V DC *6\n");
	assert_non_null(strstr(status(&s), "{\"position\":\"C20\",\"dead\":0}"));
	t = s.t;
	stand_bench(&s, NULL);
	reader = log_reader_open(log, &s.why);
	assert_true(reader && bench_restore(s.bench, reader, &s.why));
	log_reader_close(reader);
	bench_run_until(s.bench, t);
	assert_non_null(strstr(status(&s), "{\"position\":\"C20\",\"dead\":0}"));
	stand_free(&s);
	snprintf(command, sizeof command, "rm -r %s", path);
	assert_int_equal(system(command), 0);
}

/* A wall clock that is set back makes nothing dead that was measured before the power was on, and one
 * that is set forward is no minute. */
static void clock_is_set(void **state)
{
	static const char again[] = "@0 at C20 volts\nred wait 0.5\n" DEAD "@3 take\n@3.2 at C21 volts\n"
	                            OPEN "red wait 0.5\n" DEAD "@7.5 take\n";
	const int64_t hour = INT64_C(3600000000);
	(void)state;
	struct stand s;
	begin(&s, stand_config, supply_sheet);
	run(&s, FIRST_TIME SECOND_TIME);
	assert_true(has_job_state(&s, "cold", "measured dead"));
	bench_clock(s.bench, s.t, STAND_UTC - hour);
	run(&s, "@0 live\n@1 cold\n");
	assert_non_null(strstr(status(&s), "\"discharging\":true"));
	assert_non_null(strstr(status(&s), "{\"position\":\"C20\",\"dead\":0}"));
	assert_non_null(strstr(status(&s), "{\"position\":\"C21\",\"dead\":0}"));
	stand_free(&s);
	begin(&s, stand_config, supply_sheet);
	run(&s, FIRST_TIME);
	bench_clock(s.bench, s.t, STAND_UTC + hour);
	run(&s, again);
	assert_non_null(strstr(status(&s), "\"discharging\":true"));
	assert_non_null(strstr(status(&s), "{\"position\":\"C20\",\"dead\":1"));
	assert_non_null(strstr(status(&s), "{\"position\":\"C21\",\"dead\":1"));
	run(&s, "red wait 60\n");
	run(&s, again);
	if (!strstr(status(&s), "\"state\":\"cold\""))
		fail_msg("%s: %s %s: %s", s.made, s.refused, s.why.text, status(&s));
	stand_free(&s);
}

/* ---- isolated ---- */

static void not_isolated(void **state)
{
	(void)state;
	struct stand s;
	begin(&s, "[bench]\nname = tests\n[meter red]\ndialect = ascii-unit\nisolated = no\n"
	          "[meter blue]\ndialect = ascii-unit\nisolated = yes\n", supply_sheet);
	run(&s, "@0 live\n@0 at C20 volts\nred ~413.2 V DC *10\n@2.4 take red\n"
	        "blue wait 3\nblue ~413.2 V DC *10\n@5.4 take blue\n@6 cold out of the chassis\n"
	        "@6 at C21 volts\nred wait 4\nred ~0.413 V DC *10\n@8.9 take red\n");
	assert_string_equal(s.made, "C20 blue 413.2 V volts; C21 red 0.413 V volts");
	assert_string_equal(s.refused, "take");
	/* Why, in words that a person minds. */
	struct fault why;
	run(&s, "@7 live\n@7 at C20 volts\nred wait 8\nred ~413.2 V DC *10\n");
	assert_false(bench_take(s.bench, s.t, "red", (struct bench_wait){0}, &why));
	assert_non_null(strstr(why.text, "not isolated from earth"));
	assert_non_null(strstr(why.text, "kill"));
	stand_free(&s);
}

/* ---- the watch ---- */

struct watch {
	const char *what, *scene, *alarms; /* of the records: + begins, - is over */
};

static const struct watch watches[] = {
    {"60 V dc and below", "@0 at R1\nred 59.9 V DC *6\nred -60.0 V DC *6\n", ""},
    {"above", "@0 at R1\nred 60.1 V DC *6\n", "+red"},
    {"negative, and with no position chosen", "red -60.1 V DC *6\n", "+red"},
    {"30 V ac and below", "red 30.0 V AC *6\n", ""},
    {"above 30 V ac", "red 30.1 V AC *6\n", "+red"},
    {"one reading is a spark", "red 12.0 mV DC *4\nred 312.0 V DC\nred 12.0 mV DC *4\n", ""},
    {"two are not", "red 12.0 mV DC *4\nred 312.0 V DC *2\nred 12.0 mV DC *4\n", "+red -red"},
    {"said once while it lasts", "red 312.0 V DC *40\n", "+red"},
    {"around the limit it does not chatter", "red 61.0 V DC *3\nred 59.0 V DC *3\nred 61.0 V DC *3\n"
     "red 59.0 V DC *3\nred 47.0 V DC *3\n", "+red -red"},
    {"beyond the range", "red OL V DC *3\n", "+red"},
    {"ohms beyond the range are no volts", "red OL MOhm *9\n", ""},
    {"the dial is turned", "red 312.0 V DC *3\nred OL MOhm *3\n", "+red -red"},
    {"the meter goes away", "red 312.0 V DC *3\n@2 meter red gone\n", "+red -red"},
    {"a meter that is bound elsewhere", "@0 at R1\n@0 at C20 red\nred 312.0 V DC *3\n", "+red"},
    {"two meters", "red 312.0 V DC *3\nblue 6.30 V AC *2\nblue 231.0 V AC *3\n", "+red +blue"},
    {"a unit that is live may have volts", "@0 live\nred 312.0 V DC *9\n", ""},
    {"... and then it is over", "red 312.0 V DC *3\n@2 live\nred 312.0 V DC *9\n", "+red -red"},
    {"... also while it is discharged", "@0 live\n@0 cold\nred 312.0 V DC *9\n", ""},
    {"... and again once it is cold", "@0 live\n@0 cold out of the chassis\nred 312.0 V DC *9\n", "+red"},
};

static void watch(void **state)
{
	(void)state;
	bool good = true;
	for (size_t i = 0; i < sizeof watches / sizeof *watches; i++) {
		struct stand s;
		char got[200] = "";
		begin(&s, stand_config, supply_sheet);
		run(&s, watches[i].scene);
		for (int k = 0; k < s.records; k++) {
			const char *r = s.record[k];
			if (!strstr(r, "\"kind\":\"alarm\"") || strcmp(stand_member(r, "alarm"), "live"))
				continue;
			snprintf(got + strlen(got), sizeof got - strlen(got), "%s%s%s", got[0] ? " " : "",
			         strstr(r, "\"on\":true") ? "+" : "-", stand_member(r, "meter"));
		}
		if (!stand_same("alarms", got, watches[i].alarms)) {
			print_error("  row: %s\n", watches[i].what);
			good = false;
		}
		stand_free(&s);
	}
	assert_true(good);
}

/* ---- which are reservoirs ---- */

static void reservoirs(void **state)
{
	(void)state;
	static const struct {
		enum kind kind;
		const char *role;
		int rated; /* 0: not known */
		bool role_says, kind_says;
	} rows[] = {
	    {KIND_ELECTROLYTIC, "reservoir", 450, true, true},
	    {KIND_ELECTROLYTIC, "Second SMOOTHING", 450, true, true},
	    {KIND_ELECTROLYTIC, "screen supply", 350, true, true},
	    {KIND_ELECTROLYTIC, "HT decoupling", 350, true, true},
	    {KIND_ELECTROLYTIC, "B+ filter", 0, true, true},
	    {KIND_PAPER, "reservoir", 1000, true, false},
	    {KIND_ELECTROLYTIC, "cathode bypass", 25, false, false},
	    {KIND_ELECTROLYTIC, "cathode bypass", 50, false, false},
	    {KIND_ELECTROLYTIC, "cathode bypass", 63, false, true},
	    {KIND_ELECTROLYTIC, "", 0, false, true},
	    {KIND_FILM, "coupling", 630, false, false},
	    {KIND_CAPACITOR, "weighting", 450, false, false}, /* not HT: a word by itself */
	    {KIND_RESISTOR, "supply dropper", 0, false, false},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct position p = {.kind = rows[i].kind, .has_rated = rows[i].rated > 0,
		                     .rated = {rows[i].rated, 0}};
		snprintf(p.role, sizeof p.role, "%s", rows[i].role);
		if (reservoir_by_role(&p) != rows[i].role_says || reservoir_by_kind(&p) != rows[i].kind_says)
			fail_msg("row %zu: %s", i, rows[i].role);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(refusals),     cmocka_unit_test(twice_dead), cmocka_unit_test(volts_come_back),
	    cmocka_unit_test(volts_are_seen), cmocka_unit_test(cold_is_taken_back), cmocka_unit_test(by_kind),
	    cmocka_unit_test(undone),       cmocka_unit_test(by_word),    cmocka_unit_test(restart),
	    cmocka_unit_test(clock_is_set),
	    cmocka_unit_test(not_isolated), cmocka_unit_test(watch),      cmocka_unit_test(reservoirs),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/*
 * Whose accuracy nobody has said: which kind of meter it is taken for, what is assumed of it,
 * and that the entry and its budget say so; the same after a restart and on a tape.
 *
 * What a kind is good for: common practice, no source (protocol/trade/meter_class.h).
 */
#include "tests/fit_stand.h"

#include "protocol/trade/budget.h"

static const char sheet[] = "position,nominal,tolerance\nR1,4k7,5%\nR2,100,5%\nR3,4k7,5%\nC1,0.1u,10%\n";

static struct stand *begin(const char *meters)
{
	struct stand *s = calloc(1, sizeof *s);
	char file[600];
	snprintf(file, sizeof file, "[bench]\nname = tests\n%s", meters);
	stand_open(s, file, ":memory:", NULL);
	stand_load(s, sheet);
	return s;
}

static void play(struct stand *s, const char *scene)
{
	char text[1000];
	snprintf(text, sizeof text, "%s", scene);
	stand_play(s, text);
}

/* The newest entry, read back: its budget's words of the accuracy. */
static void last(struct stand *s, char kind[32], char statement[96])
{
	const char *e = fit_record(s, "entry", 0);
	struct entry read;
	struct budget b;
	assert_true(entry_read(e, strlen(e), &read));
	assert_true(budget_of(&read, &b));
	assert_true(b.agrees);
	snprintf(kind, 32, "%s", meter_class_word(read.basis.kind));
	snprintf(statement, 96, "%s", b.part[0].statement);
}

static void by_what_is_known(void **state)
{
	(void)state;
	static const struct {
		const char *section, *scene, *kind, *says;
	} rows[] = {
		/* the section; what is touched; which kind; what the budget says */
		{"dialect = ascii-unit\n", "@0 at R2\nred OL Ohm *4\nred 101.2 Ohm *10\n", "handheld-2000",
		 "1.5% of reading + 5 counts, assumed for a handheld of 2000 counts"},
		{"dialect = ascii-unit\n", "@0 at R1\nred OL kOhm *4\nred 4.712 kOhm *10\n", "handheld-6000",
		 "1.2% of reading + 5 counts, assumed for a handheld of 6000 counts"},
		{"dialect = ascii-unit\n", "@0 at R1\nred OL kOhm *4\nred 4.7121 kOhm *10\n", "bench-50000",
		 "0.2% of reading + 10 counts, assumed for a bench meter of 50000 counts"},
		/* zeros at the end may be padding */
		{"dialect = ascii-unit\n", "@0 at R1\nred OL kOhm *4\nred 4.7000 kOhm *10\n", "handheld-2000",
		 "1.5% of reading + 5 counts, assumed for a handheld of 2000 counts"},
		/* what its owner says counts before that, for better and for worse */
		{"dialect = ascii-unit\nclass = handheld-2000\n", "@0 at R1\nred OL kOhm *4\nred 4.7121 kOhm *10\n",
		 "handheld-2000", "1.5% of reading + 5 counts, assumed for a handheld of 2000 counts"},
		{"dialect = ascii-unit\nclass = lcr\n", "@0 at C1\nred 0.021 nF *4\nred 101.2 nF *10\n", "lcr",
		 "1% of reading + 5 counts, assumed for a bridge for L, C and R"},
		/* a bridge sends its dissipation beside */
		{"dialect = scpi\nquery = READ?\nfunction = farad\nsecond = dissipation\n",
		 "@0 at C1\nred +1.2E-11,+9.9E+37 *6\nred +1.012E-07,+0.0123 *10\n", "lcr",
		 "1% of reading + 5 counts, assumed for a bridge for L, C and R"},
		/* asked as bench instruments are */
		{"dialect = scpi\nquery = READ?\nfunction = ohm\n",
		 "@0 at R2\nred +9.9E+37 *6\nred +1.0120E+02 *10\n", "bench-50000",
		 "0.2% of reading + 10 counts, assumed for a bench meter of 50000 counts"},
		/* it has its own */
		{"dialect = ascii-unit\naccuracy ohm = 0.5% + 2\n", "@0 at R1\nred OL kOhm *4\nred 4.712 kOhm *10\n",
		 "", "0.5% of reading + 2 counts"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char kind[32], says[96], section[300];
		snprintf(section, sizeof section, "[meter red]\n%s", rows[i].section);
		note_row("%s%s", rows[i].section, rows[i].scene);
		struct stand *s = begin(section);
		play(s, "@0 reach lifted\n");
		play(s, rows[i].scene);
		last(s, kind, says);
		assert_string_equal(kind, rows[i].kind);
		assert_string_equal(says, rows[i].says);
		bool assumed = strstr(fit_record(s, "entry", 0), "\"accuracy\":\"assumed\"") != NULL;
		assert_int_equal(assumed, rows[i].kind[0] != '\0');
		fit_end(s);
	}
}

static char taped[2000];

static void on_act(void *arg, const char *meter, int64_t t, const char *act, const char *rest)
{
	size_t len = strlen(taped);
	(void)arg, (void)meter, (void)t;
	snprintf(taped + len, sizeof taped - len, "@%s %s\n", act, rest);
}

/* More counts are seen once and remembered: for later entries, after a restart, on a tape. */
static void what_was_seen_stays(void **state)
{
	(void)state;
	static const char meters[] = "[meter red]\ndialect = ascii-unit\n";
	char kind[32], says[96];
	struct stand *s = begin(meters);
	play(s, "@0 reach lifted\n@0 at R2\nred OL Ohm *4\nred 101.2 Ohm *10\nred OL Ohm *8\n");
	last(s, kind, says);
	assert_string_equal(kind, "handheld-2000");
	play(s, "@9 at R1\nred wait 9\nred OL kOhm *4\nred 4.712 kOhm *10\nred OL kOhm *8\n");
	play(s, "@30 at R2\nred wait 30\nred OL Ohm *4\nred 101.2 Ohm *10\nred OL Ohm *8\n");
	last(s, kind, says);
	assert_string_equal(s->made, "R2 red 101.2 ohm lifted; R1 red 4.712 kohm lifted; R2 red 101.2 ohm lifted");
	assert_string_equal(kind, "handheld-6000");
	fit_restart(s);
	struct text text;
	char out[8000];
	text_begin(&text, out, sizeof out);
	bench_meters(s->bench, s->t, &text);
	assert_non_null(strstr(out, "\"accuracy\":null,\"class\":\"handheld-6000\""));
	fit_end(s);
	/* A tape that begins here tells a bench that has seen nothing. */
	s = begin(meters);
	assert_true(bench_act_check(s->bench, "meter", "red class handheld-6000", &s->why));
	assert_false(bench_act_check(s->bench, "meter", "red class better", &s->why));
	play(s, "@0 reach lifted\n@0 meter red class handheld-6000\n@0.1 at R2\nred OL Ohm *4\nred 101.2 Ohm *10\n");
	last(s, kind, says);
	assert_string_equal(kind, "handheld-6000");
	struct bench_options bo = {.config = s->config, .log = s->log, .replay = true, .utc = STAND_UTC,
	                           .boot = "test", .version = "test", .hooks = {.act = on_act, .arg = s}};
	struct bench *b = bench_open(&bo, &s->why);
	assert_non_null(b);
	assert_true(bench_act(b, 0, "meter", "red class bench-50000", &s->why));
	bench_tape_begins(b, 1);
	assert_non_null(strstr(taped, "@meter red class bench-50000\n"));
	bench_free(b);
	fit_end(s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(by_what_is_known),
		cmocka_unit_test(what_was_seen_stays),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

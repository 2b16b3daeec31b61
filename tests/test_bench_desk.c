/* SPDX-License-Identifier: MIT */
/*
 * A walk goes on after a restart: in its order, at its place, past what was served, and not
 * before somebody has read what is up and the leads were open.  tests/bench_stand.h says how
 * a scene is written.
 */
#include "tests/bench_stand.h"
#include "tests/log_help.h"

#define OPEN "red OL MOhm *6\n"
#define R1 "red ~100.2 kOhm *8\n"
#define R2 "red ~98.4 kOhm *8\n"
#define R3 "red ~46.9 kOhm *8\n"

/* The daemon ends (killed: without a word), and another one begins. */
static void restart(struct stand *s, bool killed)
{
	if (!killed)
		bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	stand_bench(s, NULL);
	struct log_reader *reader = log_reader_open(log_path(s->log), &s->why);
	assert_non_null(reader);
	assert_true(bench_restore(s->bench, reader, &s->why));
	s->made[0] = s->says[0] = s->up[0] = s->refused[0] = '\0';
	bench_resume(s->bench, reader);
	log_reader_close(reader);
	bench_collect(s->bench);
	s->t = 0;
}

static const char *status(const struct stand *s, const char *key)
{
	static char json[8192];
	struct text t;
	text_begin(&t, json, sizeof json);
	bench_status(s->bench, &t);
	assert_false(t.failed);
	struct slice v = json_member(json, t.len, key);
	return v.at ? strndup(v.at, v.len) : strdup("");
}

static bool status_is(const struct stand *s, const char *key, const char *want)
{
	char *got = (char *)(uintptr_t)status(s, key);
	bool same = stand_same(key, got, want);
	free(got);
	return same;
}

static const struct {
	const char *what, *before;
	bool killed;
	const char *walk, *order, *meters, *up; /* as status has them after the restart */
	bool unread;       /* no client reads what is up */
	const char *after, *made, *refused; /* what is played then, and what came of it */
} rows[] = {
	/* what, before, killed, walk, order, meters, up, unread, after, made, refused */
	{"at its place", "@0 walk on\n" OPEN R1 OPEN R2 OPEN, false, "\"on\"", "\"sheet\"", "1",
	 "\"R3\"", false, OPEN R3 OPEN, "R3 red 46.9 kohm", ""},
	{"after a kill", "@0 walk on\n" OPEN R1 OPEN R2 OPEN "red OL MOhm *6\n", true, "\"on\"",
	 "\"sheet\"", "1", "\"R3\"", false, OPEN R3 OPEN, "R3 red 46.9 kohm", ""},
	{"its order and meters", "@0 walk on kind 2\n" OPEN R1 OPEN, false, "\"on\"", "\"kind\"", "2",
	 "\"R1\"", false, "blue OL MOhm *6\nblue ~100.1 kOhm *8\nblue OL MOhm *6\n",
	 "R1 blue 100.1 kohm", ""},
	{"chosen by hand within it", "@0 walk on\n" OPEN R1 OPEN "@5.5 at R4\nred OL MOhm *4\n", false,
	 "\"on\"", "\"sheet\"", "1", "\"R4\"", false, OPEN "red ~1.002 kOhm *8\n" OPEN,
	 "R4 red 1.002 kohm", ""},
	{"what was skipped comes last", "@0 walk on\n@0.1 next\n" OPEN R2 OPEN, false, "\"on\"",
	 "\"sheet\"", "1", "\"R3\"", false, OPEN R3 OPEN "red ~1.002 kOhm *8\n" OPEN,
	 "R3 red 46.9 kohm; R4 red 1.002 kohm", ""},
	{"the probes are on it still: it was served", "@0 walk on\n" OPEN R1, false, "\"on\"",
	 "\"sheet\"", "1", "\"R2\"", false, R1 OPEN R2 OPEN, "R2 red 98.4 kohm", ""},
	{"the first touch of a meter that was not heard open is the part before",
	 "@0 walk on\n" OPEN R1 OPEN, false, "\"on\"", "\"sheet\"", "1", "\"R2\"", false, R2 OPEN,
	 "", ""},
	{"nobody has read what is up", "@0 walk on\n" OPEN R1 OPEN, false, "\"on\"", "\"sheet\"", "1",
	 "\"R2\"", true, OPEN R2 OPEN, "", ""},
	{"lift, and its reach goes back", "@0 walk on\n@0 reach lifted\n@0 reach in-circuit\n@0 at C1\n"
	 "@0 walk lift\nred 0.000 uF *2\n", false, "\"lift\"", "\"sheet\"", "1", "\"C1\"", false,
	 "@0 walk on\n@0.1 at R3\n" OPEN R3 OPEN, "R3 red 46.9 kohm", ""},
	{"off stays off", "@0 walk on\n" OPEN R1 OPEN "@5 walk off\n", false, "\"off\"", "\"sheet\"", "1",
	 "", false, OPEN R2 OPEN, "", ""},
	{"another job begins with nothing up", "@0 walk on\n" OPEN R1 OPEN "@5 job other\n", false,
	 "\"off\"", "\"sheet\"", "1", "", false, OPEN, "", ""},
	{"new positions", "@0 walk new T\n" OPEN R1 OPEN, false, "\"new\"", "\"sheet\"", "1", "\"T2\"",
	 false, OPEN R2 OPEN, "T2 red 98.4 kohm", ""},
};

static void walks_go_on(void **state)
{
	(void)state;
	int wrong = 0;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct stand *s = calloc(1, sizeof *s);
		char file[32];
		assert_non_null(s);
		snprintf(file, sizeof file, "desk%zu.db", i);
		stand_open(s, stand_config, in_folder(file), NULL);
		stand_load(s, stand_sheet);
		stand_play(s, rows[i].before);
		restart(s, rows[i].killed);
		if (rows[i].up[0])
			assert_true(status_is(s, "chosen.armed", "false"));
		if (!rows[i].unread)
			bench_seen(s->bench, 0);
		bool good = status_is(s, "walk", rows[i].walk);
		good = status_is(s, "order", rows[i].order) && good;
		good = status_is(s, "meters", rows[i].meters) && good;
		good = status_is(s, "chosen.position", rows[i].up) && good;
		if (rows[i].up[0])
			good = status_is(s, "chosen.armed", rows[i].unread ? "false" : "true") && good;
		stand_play(s, rows[i].after);
		good = stand_same("made", s->made, rows[i].made) && good;
		good = stand_same("refused", s->refused, rows[i].refused) && good;
		bench_finish(s->bench, s->t);
		bench_collect(s->bench);
		if (!good) {
			note_row("%s: %s", rows[i].what, s->says);
			wrong++;
		}
		stand_free(s);
		free(s);
	}
	assert_int_equal(wrong, 0);
}

/* A desk that somebody wrote by hand is worth nothing, and does no harm. */
static void spoilt_desks(void **state)
{
	(void)state;
	static const char *const desks[] = {
		"", "{", "[]", "{}", "null", "{\"job\":7}", "{\"job\":\"job\",\"walk\":\"on\"}",
		"{\"job\":\"job\",\"walk\":\"backwards\",\"order\":\"sheet\"}",
		"{\"job\":\"else\",\"walk\":\"on\",\"order\":\"sheet\",\"position\":\"R1\"}",
	};
	for (size_t i = 0; i < sizeof desks / sizeof *desks; i++) {
		struct stand *s = calloc(1, sizeof *s);
		char file[32];
		assert_non_null(s);
		snprintf(file, sizeof file, "spoilt%zu.db", i);
		stand_open(s, stand_config, in_folder(file), NULL);
		stand_load(s, stand_sheet);
		stand_play(s, "@0 walk on\n" OPEN R1 OPEN);
		bench_finish(s->bench, s->t);
		log_save_desk(s->log, NULL, 0, desks[i]);
		restart(s, true);
		assert_true(status_is(s, "walk", "\"off\""));
		assert_true(status_is(s, "chosen", "null"));
		stand_free(s);
		free(s);
	}
}

#define in_its_folder(test) cmocka_unit_test_setup_teardown(test, folder_make_fast, folder_drop)

int main(void)
{
	const struct CMUnitTest tests[] = {
	    in_its_folder(walks_go_on),
	    in_its_folder(spoilt_desks),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

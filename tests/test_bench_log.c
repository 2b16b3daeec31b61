/* SPDX-License-Identifier: MIT */
/*
 * What the bench keeps: runs of the trail, what an entry names of them, verdicts
 * after the sheet changed, the job read back, and a log that takes nothing for a
 * while.  tests/bench_stand.h says how a scene is written.
 */
#include "tests/bench_stand.h"
#include "tests/fault_vfs.h"
#include "tests/log_help.h"

#define OPEN "red OL MOhm *6\n"
#define R1_TOUCHED "red ~100.2 kOhm *8\n"
#define R2_TOUCHED "red ~98.4 kOhm *8\n"

/* ---- runs ---- */

/* Every run: position, weight of the digit, readings. */
static void list_runs(const struct stand *s, char *out, size_t size, long *readings)
{
	static struct trail_reading reading[TRAIL_READINGS_MAX];
	struct trail_body body;
	struct trail_names names;
	char line[128];
	out[0] = '\0';
	*readings = 0;
	for (int i = 0; i < s->records; i++) {
		const char *text = s->record[i];
		if (!trail_body_read(text, strlen(text), &body, &names, reading, TRAIL_READINGS_MAX))
			continue;
		snprintf(line, sizeof line, "%s%s%g %d", names.position, names.position[0] ? " " : "",
		         decimal_double(body.digit), body.n);
		stand_append(out, size, line);
		*readings += body.n;
		for (int k = 0; k < body.n; k++)
			assert_true(k == 0 ? reading[k].at == 0 : reading[k].at >= reading[k - 1].at);
		assert_true(reading[body.n - 1].at <= 600000);
	}
}

static const struct runs_row {
	const char *what, *scene, *runs;
} runs_rows[] = {
    {"a thousand readings", "red every 0.001\nred ~5.012 V DC *2500\n",
     "0.001 1000; 0.001 1000; 0.001 500"},
    {"sixty seconds", "red every 1\nred ~5.012 V DC *150\n", "0.001 60; 0.001 60; 0.001 30"},
    {"sixty seconds of a silent meter end it on time", "red ~5.012 V DC *4\nred wait 100\nred ~5.012 V DC *4\n",
     "0.001 4; 0.001 4"},
    {"another digit", "red ~5.012 V DC *4\nred ~50.12 V DC *5\nred ~5.012 V DC *6\n",
     "0.001 4; 0.01 5; 0.001 6"},
    {"another function", "red ~5.012 V DC *4\nred ~5.012 kOhm *5\n", "0.001 4; 1 5"},
    {"overload has no digit and ends nothing", "red ~5.012 kOhm *4\nred OL kOhm *3\nred ~5.012 kOhm *4\n",
     "1 11"},
    {"overload first", "red OL kOhm *3\nred ~5.012 kOhm *2\n", "1 5"},
    {"another position", "red ~0.012 V DC *4\n@0.9 at R1\nred ~0.012 V DC *5\n@2.1 at R2\nred ~0.012 V DC *2\n",
     "0.001 4; R1 0.001 5; R2 0.001 2"},
    {"the same position chosen again", "@0 at R1\n@0.6 at R1\nred ~0.012 V DC *6\n", "R1 0.001 6"},
    {"a gap", "red ~5.012 V DC *4\n@0.9 meter red gone\n@2.9 meter red back\nred wait 2\nred ~5.012 V DC *3\n",
     "0.001 4; 0.001 3"},
    {"an entry, and what follows it", "@0 at R1\nred OL MOhm *6\nred 100.2 kOhm *7\nred OL MOhm *3\n",
     "R1 100 10; R1 100 6"},
    {"another job", "red ~5.012 V DC *4\n@0.9 job two\nred ~5.012 V DC *5\n", "0.001 4; 0.001 5"},
};

static void runs_end_where_they_must(void **state)
{
	(void)state;
	int wrong = 0;
	for (size_t i = 0; i < sizeof runs_rows / sizeof *runs_rows; i++) {
		struct stand *s = calloc(1, sizeof *s);
		char runs[4096];
		long readings;
		stand_begin(s);
		stand_play(s, runs_rows[i].scene);
		bench_finish(s->bench, s->t);
		bench_collect(s->bench);
		list_runs(s, runs, sizeof runs, &readings);
		if (!stand_same("runs", runs, runs_rows[i].runs) || !stand_check_trail(s)) {
			note_row("%s", runs_rows[i].what);
			wrong++;
		}
		stand_free(s);
		free(s);
	}
	assert_int_equal(wrong, 0);
}

/* ---- what an entry names ---- */

static const struct scene named_rows[] = {
    {"a range change, then the value", "@0 at R1\n" OPEN "red 0.100 MOhm *2\nred ~100.2 kOhm *9\n" OPEN,
     "R1 red 100.2 kohm", NULL, NULL, ""},
    {"a stray in the stretch", "@0 at R1\n" OPEN "red 100.2 kOhm *2\nred 131.7 kOhm *1\nred 100.2 kOhm *9\n" OPEN,
     "R1 red 100.2 kohm", NULL, NULL, ""},
    {"the position changes while it settles", "@0 at R1\n@2 at R2\n" OPEN R1_TOUCHED OPEN,
     "R2 red 100.2 kohm", NULL, NULL, ""},
    {"a fast meter over several runs",
     "@0 at R1\nred every 0.001\nred OL MOhm *1500\nred glide 60.0 100.2 0.4 kOhm *6000\nred OL MOhm *1500\n",
     "R1 red 100.2 kohm", NULL, NULL, ""},
    {"held, and taken an hour later",
     "@0 at R2\n" OPEN "red ~46.9 kOhm *8\nred every 20\nred OL MOhm *200\n@3900 take\n",
     "R2 red 46.9 kohm", "held R2 like R3", NULL, ""},
    {"held on a fast meter, through hundreds of runs",
     "@0 at R2\nred every 0.001\nred OL MOhm *1500\nred ~46.9 kOhm *900\nred OL MOhm *200000\n@201 take\n",
     "R2 red 46.9 kohm", "held R2 like R3", NULL, ""},
    {"overload by key", "@0 at R1\nred OL MOhm *6\n@1.4 take\n", "R1 red overload", NULL, NULL, ""},
};

static void entries_name_their_readings(void **state)
{
	(void)state;
	stand_run_scenes(named_rows, sizeof named_rows / sizeof *named_rows);
}

/* ---- the sheet changes ---- */

static void set(struct stand *s, const char *position, const char *key, const char *value)
{
	assert_true(bench_sheet_set(s->bench, s->t, position, &key, &value, 1, (struct bench_wait){0},
	                            &s->why));
}

static void changed_sheet_judges_anew(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	stand_begin(s);
	stand_play(s, "@0 reach lifted\n@0 at R1\n" OPEN R1_TOUCHED OPEN);
	set(s, "R1", "nominal", "220k");
	bench_collect(s->bench);
	assert_string_equal(s->made, "R1 red 100.2 kohm lifted; rejudge R1");
	assert_string_equal(stand_member(s->record[s->records - 1], "verdict"), "outside");
	set(s, "R1", "note", "brown");
	set(s, "R2", "nominal", "220k");
	bench_collect(s->bench);
	assert_string_equal(s->made, "R1 red 100.2 kohm lifted; rejudge R1");
	/* A sheet that is loaded again is a change like any other. */
	stand_load(s, "position,nominal,tolerance\nR1,100k,10%\nR2,100k,10%\n");
	assert_string_equal(s->made, "R1 red 100.2 kohm lifted; rejudge R1; rejudge R1");
	/* Struck entries are past judging. */
	stand_play(s, "@0 undo\n");
	set(s, "R1", "nominal", "470k");
	bench_collect(s->bench);
	assert_string_equal(s->made, "R1 red 100.2 kohm lifted; rejudge R1; rejudge R1; strike R1");
	stand_free(s);
	free(s);
}

/* An entry that the disk has not taken yet is judged anew when it has. */
static void entry_on_its_way_is_judged_anew(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	stand_begin(s);
	s->deaf = true;
	stand_play(s, "@0 reach lifted\n@0 at R1\n" OPEN R1_TOUCHED);
	set(s, "R1", "nominal", "220k");
	assert_string_equal(s->made, "");
	bench_collect(s->bench);
	bench_collect(s->bench);
	assert_string_equal(s->made, "R1 red 100.2 kohm lifted; rejudge R1");
	stand_free(s);
	free(s);
}

/* ---- a restart ---- */

static void reopen(struct stand *s)
{
	bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	stand_bench(s, NULL);
	struct log_reader *reader = log_reader_open(log_path(s->log), &s->why);
	assert_non_null(reader);
	assert_true(bench_restore(s->bench, reader, &s->why));
	log_reader_close(reader);
	bench_collect(s->bench);
	s->made[0] = s->says[0] = s->up[0] = '\0';
	s->t = 0;
}

static void job_is_read_back(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	char status[4096];
	struct text t;
	stand_open(s, stand_config, in_folder("bench.db"), NULL);
	stand_load(s, stand_sheet);
	stand_play(s, "@0 reach lifted\n@0 condition done\n@0 walk on\n" OPEN R1_TOUCHED OPEN R2_TOUCHED OPEN
	              "red ~46.9 kOhm *8\n" OPEN "@12.6 undo\n@12.7 live\n@12.8 note R9 found no R9\n");
	assert_string_equal(s->made, "R1 red 100.2 kohm done lifted; R2 red 98.4 kohm done lifted; "
	                             "R3 red 46.9 kohm done lifted; strike R3");
	reopen(s);
	text_begin(&t, status, sizeof status);
	bench_status(s->bench, &t);
	assert_non_null(strstr(status, "\"state\":\"live\",\"condition\":\"done\",\"reach\":\"lifted\","
	                               "\"walk\":\"off\",\"chosen\":null,\"bound\":[]"));
	assert_non_null(strstr(status, "\"done\":2,\"positions\":10}"));
	/* R3's entry was struck: it is the first that lacks one. */
	stand_play(s, "@0 cold\n@0 walk on\n" OPEN "red ~46.9 kOhm *8\n" OPEN);
	assert_string_equal(s->made, "R3 red 46.9 kohm done lifted");
	assert_string_equal(s->up, "R3; R4");
	/* The newest entry of before can be undone, and is lacking then. */
	reopen(s);
	stand_play(s, "@0 undo\n@0.1 undo\n@0.2 undo\n@0.3 undo\n");
	assert_string_equal(s->made, "strike R3; strike R2; strike R1");
	assert_string_equal(s->refused, "undo");
	stand_free(s);
	free(s);
}

static bool keep(void *arg, int64_t seq, const char *text, size_t len)
{
	struct stand *s = arg;
	(void)seq;
	s->record = realloc(s->record, (size_t)(s->records + 1) * sizeof *s->record);
	s->record[s->records++] = strndup(text, len);
	return true;
}

/* A kill leaves the open run in the unsealed table: it is sealed at the next start. */
static void open_run_is_recovered(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	char runs[1024], command[1000];
	long readings;
	stand_open(s, stand_config, in_folder("bench.db"), NULL);
	stand_load(s, stand_sheet);
	stand_play(s, "@0 at R1\nred ~5.012 V DC *11\nblue ~50.12 kOhm *3\n");
	list_runs(s, runs, sizeof runs, &readings);
	assert_string_equal(runs, "");
	/* What is on the disk at this moment is what a kill would leave. */
	snprintf(command, sizeof command, "cp %s %s && cp %s-wal %s-wal", in_folder("bench.db"),
	         in_folder("killed.db"), in_folder("bench.db"), in_folder("killed.db"));
	assert_int_equal(system(command), 0);
	stand_free(s);
	struct fault why;
	struct log *log = open_log(in_folder("killed.db"), true, NULL, &why);
	if (!log)
		fail_msg("%s", why.text);
	struct log_reader *reader = log_reader_open(log_path(log), &why);
	struct log_query query = {.kind = "trail"};
	s->records = s->records_size = 0;
	s->record = NULL;
	assert_non_null(reader);
	assert_int_equal(log_reader_records(reader, &query, keep, s, &why), 2);
	log_reader_close(reader);
	log_close(log);
	list_runs(s, runs, sizeof runs, &readings);
	/* Saved once a second: of the last second nothing is left. */
	assert_true(strcmp(runs, "R1 10 3; R1 0.001 8") == 0 || strcmp(runs, "R1 0.001 8; R1 10 3") == 0);
	for (int i = 0; i < s->records; i++) {
		assert_non_null(strstr(s->record[i], "\"recovered\":true"));
		free(s->record[i]);
	}
	free(s->record);
	free(s);
}

/* ---- a log that takes nothing for a while ---- */

static const struct fault_rule disk_full = {.calls = FAULT_WRITE, .times = -1, .code = SQLITE_FULL,
	                                        .error = ENOSPC};

/* Long enough for the log to try again. */
static void second_passes(void)
{
	usleep(1100000);
}

static long lost_readings(const struct stand *s)
{
	long lost = 0;
	for (int i = 0; i < s->records; i++) {
		const char *gap = strstr(s->record[i], "\"kind\":\"gap\"");
		const char *n = gap ? strstr(gap, "\"lost\":") : NULL;
		lost += n ? atol(n + 7) : 0;
	}
	return lost;
}

/* The gap lies before the run that came after it. */
static void check_gap(const struct stand *s)
{
	char to[64] = "";
	int after = 0;
	for (int i = 0; i < s->records; i++) {
		if (strstr(s->record[i], "\"kind\":\"gap\""))
			snprintf(to, sizeof to, "%s", stand_member(s->record[i], "to"));
	}
	for (int i = 0; i < s->records; i++)
		after += strstr(s->record[i], "\"kind\":\"trail\"") && to[0] &&
		         strcmp(stand_member(s->record[i], "t"), to) > 0;
	assert_int_equal(after, 3); /* the run of R2's entry, the lift, the next position */
}

static void refused_entry(bool late)
{
	struct stand *s = calloc(1, sizeof *s);
	char runs[4096];
	long readings;
	fault_install();
	stand_open(s, stand_config, in_folder("bench.db"), "fault");
	stand_load(s, stand_sheet);
	stand_play(s, "@0 walk on\n" OPEN R1_TOUCHED OPEN);
	assert_string_equal(s->made, "R1 red 100.2 kohm");
	assert_string_equal(s->up, "R1; R2");
	fault_plan(disk_full);
	s->deaf = late; /* a disk that takes its time: the walk has gone on meanwhile */
	stand_play(s, R2_TOUCHED OPEN);
	s->deaf = false;
	bench_collect(s->bench);
	assert_true(fault_count() > 0);
	assert_string_equal(s->made, "R1 red 100.2 kohm");
	assert_string_equal(s->says, "not-logged R2");
	assert_string_equal(s->up, late ? "R1; R2; R3; R2" : "R1; R2");
	/* Still full: said again of the next one, and only of it. */
	stand_play(s, R2_TOUCHED OPEN);
	assert_string_equal(s->says, "not-logged R2; not-logged R2");
	fault_clear();
	second_passes();
	stand_play(s, R2_TOUCHED OPEN);
	bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	assert_string_equal(s->says, "not-logged R2; not-logged R2");
	assert_string_equal(s->made, "R1 red 100.2 kohm; R2 red 98.4 kohm; gap red");
	list_runs(s, runs, sizeof runs, &readings);
	/* Every reading is in the trail or counted as lost. */
	assert_int_equal(readings + lost_readings(s), 6 + 4 * (8 + 6));
	assert_true(lost_readings(s) > 0);
	check_gap(s);
	assert_true(stand_check_trail(s));
	stand_free(s);
	free(s);
}

static void refused_at_once(void **state)
{
	(void)state;
	refused_entry(false);
}

static void refused_late(void **state)
{
	(void)state;
	refused_entry(true);
}

/* A strike that is refused leaves the entry standing. */
static void refused_undo(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	char status[4096];
	struct text t;
	fault_install();
	stand_open(s, stand_config, in_folder("bench.db"), "fault");
	stand_load(s, stand_sheet);
	stand_play(s, "@0 at R1\n" OPEN R1_TOUCHED OPEN);
	fault_plan(disk_full);
	stand_play(s, "@0 undo\n");
	fault_clear();
	assert_string_equal(s->made, "R1 red 100.2 kohm");
	assert_string_equal(s->says, "not-logged");
	text_begin(&t, status, sizeof status);
	bench_status(s->bench, &t);
	assert_non_null(strstr(status, "\"done\":1,"));
	second_passes();
	stand_play(s, "@0 undo\n");
	assert_string_equal(s->made, "R1 red 100.2 kohm; strike R1");
	stand_free(s);
	free(s);
}

static const char *find_record(const struct stand *s, const char *kind, const char *with, int nth)
{
	char wanted[64];
	snprintf(wanted, sizeof wanted, "\"kind\":\"%s\"", kind);
	for (int i = 0; i < s->records; i++)
		if (strstr(s->record[i], wanted) && strstr(s->record[i], with) && nth-- == 0)
			return s->record[i];
	fail_msg("no record %s with %s", kind, with);
	return "";
}

/* The wall clock was set, forward and back: a record each time, with the boot and by
 * how much; readings keep their distances, each run by the clock that held for it. */
static void a_clock_that_is_set_is_a_record(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	assert_non_null(s);
	stand_begin(s);
	const char *first = find_record(s, "clock", "\"cause\":\"start\"", 0);
	assert_non_null(strstr(first, "\"boot\":\"test\""));
	assert_null(strstr(first, "\"step\""));
	stand_play(s, "red ~5.012 V DC *8\n");
	bench_clock(s->bench, s->t, STAND_UTC + 3600000000);
	bench_collect(s->bench);
	stand_play(s, "red ~5.012 V DC *8\n");
	bench_clock(s->bench, s->t, STAND_UTC - 250000);
	bench_collect(s->bench);
	stand_play(s, "red ~5.012 V DC *8\n");
	bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	const char *forward = find_record(s, "clock", "\"cause\":\"step\"", 0);
	assert_non_null(strstr(forward, "\"t\":\"2000-01-01T01:00:02.000000Z\""));
	assert_non_null(strstr(forward, "\"boot\":\"test\""));
	assert_non_null(strstr(forward, "\"step\":3.6e3") ? "" : strstr(forward, "\"step\":3600"));
	const char *back = find_record(s, "clock", "\"cause\":\"step\"", 1);
	assert_non_null(strstr(back, "\"t\":\"2000-01-01T00:00:03.750000Z\""));
	assert_non_null(strstr(back, "\"step\":-3600.25"));
	/* Three runs of eight, whose times are those of the clocks. */
	static const char *const began[] = {"00:00:00.000000Z", "01:00:02.000000Z", "00:00:03.750000Z"};
	for (int i = 0; i < 3; i++) {
		const char *run = find_record(s, "trail", "\"meter\":\"red\"", i);
		assert_non_null(strstr(run, began[i]));
		assert_non_null(strstr(run, "\"n\":8"));
	}
	stand_free(s);
	free(s);
}

/* The machine slept for an hour, and stream time stood still: a gap for the meter that was
 * there, a clock record, and what comes after it has the right time; order is seq. */
static void sleep_is_a_gap(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	assert_non_null(s);
	stand_begin(s);
	stand_play(s, "red ~5.012 V DC *8\n");
	bench_slept(s->bench, s->t, 3600000000);
	bench_collect(s->bench);
	stand_play(s, "red ~5.012 V DC *8\n");
	bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	const char *clock = find_record(s, "clock", "\"cause\":\"suspend\"", 0);
	assert_non_null(strstr(clock, "\"t\":\"2000-01-01T01:00:02.000000Z\""));
	const char *gap = find_record(s, "gap", "\"meter\":\"red\"", 0);
	assert_non_null(strstr(gap, "\"from\":\"2000-01-01T00:00:02.000000Z\""));
	assert_non_null(strstr(gap, "\"to\":\"2000-01-01T01:00:02.000000Z\""));
	assert_non_null(strstr(gap, "\"cause\":\"the machine slept\",\"lost\":null"));
	assert_non_null(strstr(find_record(s, "trail", "\"meter\":\"red\"", 0), "00:00:00.000000Z"));
	assert_non_null(strstr(find_record(s, "trail", "\"meter\":\"red\"", 1), "01:00:02.000000Z"));
	/* In this order, whatever their times say. */
	int at[3] = {0};
	for (int i = 0; i < s->records; i++)
		for (int k = 0; k < 3; k++)
			if (s->record[i] == (k == 0 ? gap : k == 1 ? clock :
			                     find_record(s, "trail", "\"meter\":\"red\"", 1)))
				at[k] = i;
	assert_true(at[0] < at[1] && at[1] < at[2]);
	stand_free(s);
	free(s);
}

/* The limits of use in the meter's record, in its runs and in its entries: each what
 * concerns its function.  A meter of which nothing is said has none. */
static void limits_of_use_are_carried(void **state)
{
	static const char config[] =
	    "[bench]\nname = tests\n[meter red]\ndialect = ascii-unit\nisolated = yes\nac = average\n"
	    "bandwidth = 1k\ninput volt-dc = 10M\ntest farad = 1 kHz, bridge\n"
	    "[meter blue]\ndialect = ascii-unit\n";
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	assert_non_null(s);
	stand_open(s, config, ":memory:", NULL);
	stand_load(s, stand_sheet);
	stand_play(s, "@0 at R1\nred OL MOhm *5\nred ~100.2 kOhm *9\nred 5.01 V DC *3\nred 6.3 V AC *3\n"
	              "red 12 pF *3\nblue OL MOhm *3\n");
	bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	const char *all = find_record(s, "meter", "\"meter\":\"red\"", 0);
	assert_non_null(strstr(all, "\"use\":{\"isolated\":true,\"ac\":\"average\",\"bandwidth\":1000,"
	                            "\"input\":{\"volt-dc\":10000000},\"test\":{\"farad\":"
	                            "\"1 kHz, bridge\"}}"));
	assert_non_null(strstr(find_record(s, "entry", "\"meter\":\"red\"", 0),
	                       "\"use\":{\"isolated\":true}"));
	assert_non_null(strstr(find_record(s, "trail", "\"function\":\"volt-dc\"", 0),
	                       "\"use\":{\"isolated\":true,\"input\":{\"volt-dc\":10000000}}"));
	assert_non_null(strstr(find_record(s, "trail", "\"function\":\"volt-ac\"", 0),
	                       "\"use\":{\"isolated\":true,\"ac\":\"average\",\"bandwidth\":1000}"));
	assert_non_null(strstr(find_record(s, "trail", "\"function\":\"farad\"", 0),
	                       "\"use\":{\"isolated\":true,\"test\":{\"farad\":\"1 kHz, bridge\"}}"));
	assert_null(strstr(find_record(s, "trail", "\"meter\":\"blue\"", 0), "\"use\""));
	assert_null(strstr(find_record(s, "meter", "\"meter\":\"blue\"", 0), "\"use\""));
	/* 9600 8N1, a line of 17: tests/test_scpi_reference.c works it out. */
	assert_non_null(strstr(all, "\"stamp_u\":0.0068955"));
	stand_free(s);
	free(s);
}

#define in_its_folder(test) cmocka_unit_test_setup_teardown(test, folder_make_fast, folder_drop)

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(runs_end_where_they_must),
	    cmocka_unit_test(entries_name_their_readings),
	    cmocka_unit_test(changed_sheet_judges_anew),
	    cmocka_unit_test(entry_on_its_way_is_judged_anew),
	    cmocka_unit_test(a_clock_that_is_set_is_a_record),
	    cmocka_unit_test(sleep_is_a_gap),
	    cmocka_unit_test(limits_of_use_are_carried),
	    in_its_folder(job_is_read_back),
	    in_its_folder(open_run_is_recovered),
	    in_its_folder(refused_at_once),
	    in_its_folder(refused_late),
	    in_its_folder(refused_undo),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/*
 * The daemon while its clocks are moved: the wall clock set by hours, the machine asleep, the
 * program stopped; and the checkpoints that time brings.
 *
 * What is demanded: no reading is lost and none counted twice, every second of the trail has the
 * right time or a record that says why not, the order of records stays, the seal holds.
 * tests/move_clocks.c moves the clocks of the daemon alone.
 */
#include "tests/daemon_stand.h"

#include <sys/mman.h>

#define SECOND INT64_C(1000000)
#define HOUR (3600 * SECOND)
#define OHM "accuracy ohm = 0.5% + 2\n"

static int64_t *moved; /* monotonic, boot, wall */

/* A daemon whose clocks are ours. */
static void clocks_up(struct stand *s)
{
	static char preload[PATH_MAX + 40], file[160];
	const char *path = in_dir(s, "clocks");
	char program[PATH_MAX];
	int fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
	assert_true(fd >= 0 && ftruncate(fd, 24) == 0);
	moved = mmap(NULL, 24, PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
	assert_true(moved != MAP_FAILED);
	close(fd);
	assert_non_null(realpath(build_dir(), program));
	snprintf(preload, sizeof preload, "%s/tests/libclocks.so", program);
	snprintf(file, sizeof file, "TALLY_CLOCKS=%s", path);
	/* The stand's adapters are preloaded, too. */
	const char *const words[] = { "env", file, "ASAN_OPTIONS=verify_asan_link_order=0", "sh", "-c",
		"LD_PRELOAD=\"$LD_PRELOAD $0\" exec \"$@\"", preload, NULL };
	memcpy(s->wrap, words, sizeof words);
}

/* One meter that is open, talks and is watched, with a position up. */
static struct peer *talking(struct stand *s, int *red)
{
	*red = meter_new(s, "red", 20, OHM);
	meter_says(s, *red, "");
	meter_plug(s, *red);
	daemon_start(s);
	wait_until(s, file_has(s->said, "red: line open"));
	nap_ms(400);
	struct peer *watch = peer_watching(s, 0);
	meter_says(s, *red, "wander");
	musttally(s, 0, "at", "R1");
	return watch;
}

static json_t *wait_record(struct peer *p, const char *fragment)
{
	char *text = record_of(mustsee(p, fragment));
	json_t *record = json_loads(text, 0, NULL);
	assert_non_null(record);
	free(text);
	return record;
}

static const char *word(json_t *record, const char *key)
{
	const char *text = json_string_value(json_object_get(record, key));
	return text ? text : "";
}

/* Microseconds since 1970. */
static int64_t time_of(const char *text)
{
	struct tm tm = { 0 };
	long us = 0;
	const char *rest = strptime(text, "%Y-%m-%dT%H:%M:%S", &tm);
	assert_true(rest && sscanf(rest, ".%6ldZ", &us) == 1);
	return (int64_t)timegm(&tm) * SECOND + us;
}

static int64_t wall(void)
{
	struct timespec t;
	clock_gettime(CLOCK_REALTIME, &t);
	return (int64_t)t.tv_sec * SECOND + t.tv_nsec / 1000 + moved[2];
}

static void near(const char *what, int64_t got, int64_t want, int64_t slack)
{
	if (got < want - slack || got > want + slack)
		fail_msg("%s: %.3f s, expected %.3f", what, (double)got / 1e6, (double)want / 1e6);
}

/* A typed entry: its time is that of the wall clock now. */
static void ckentry_now(struct stand *s, struct peer *watch, const char *text)
{
	int64_t before = wall();
	musttally(s, 0, "enter", "R1", "101k", "--from", "tester", "--because", text);
	json_t *r = wait_record(watch, text);
	near(text, time_of(word(r, "t")), (before + wall()) / 2, (wall() - before) / 2 + 50000);
	json_decref(r);
}

/* Every reading once; no run of readings lies across a change of the clocks. */
static void ckreadings(struct stand *s, long said)
{
	char *all = log_texts(s, s->log);
	long n = 0;
	for (char *line = strtok(all, "\n"); line; line = strtok(NULL, "\n")) {
		json_t *r = json_loads(line, 0, NULL);
		if (!strcmp(word(r, "kind"), "trail")) {
			json_t *at = json_object_get(r, "at");
			n += (long)json_integer_value(json_object_get(r, "n"));
			int64_t last = json_integer_value(json_array_get(at, json_array_size(at) - 1));
			if (last > 61 * 10000)
				fail_msg("a run of %.1f s: %.300s", (double)last / 1e4, line);
		}
		json_decref(r);
	}
	free(all);
	if (n != said)
		fail_msg("the meter said %ld lines, the log has %ld readings", said, n);
}

static long stop_meter(struct stand *s, int meter, struct peer *watch)
{
	meter_says(s, meter, "");
	nap_ms(300);
	meter_unplug(s, meter);
	mustsee(watch, "\"event\":\"gone\"");
	return (long)meter_said(s, meter);
}

/* ---- the wall clock ---- */

static void test_steps(void **state)
{
	struct stand *s = *state;
	static const struct {
		const char *legend;
		int64_t by;
	} rows[] = {
		{ "two hours on", 2 * HOUR }, { "five hours back", -5 * HOUR }, { "a year on", 8760 * HOUR },
		{ "a quarter of a second back", -SECOND / 4 }, { "ten years back", -87600 * HOUR },
	};
	clocks_up(s);
	int red;
	struct peer *watch = talking(s, &red);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		note_row("%s", rows[i].legend);
		ckentry_now(s, watch, "before");
		size_t said = meter_said(s, red);
		moved[2] += rows[i].by;
		json_t *r = wait_record(watch, "\"cause\":\"step\"");
		near("step", (int64_t)(json_number_value(json_object_get(r, "step")) * 1e6), rows[i].by, 20000);
		near("time of the clock record", time_of(word(r, "t")), wall(), 2 * SECOND);
		json_decref(r);
		wait_until(s, meter_said(s, red) > said + 25);
		ckentry_now(s, watch, "after");
		mustprint(s, 0, "intact, no anchor", "verify");
	}
	/* Charts and lists go by what is sealed: nothing is refused. */
	musttally(s, 0, "trail", "--meter", "red");
	musttally(s, 0, "entries");
	long said = stop_meter(s, red, watch);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	ckreadings(s, said);
	/* And it starts again with a last record that lies ten years before others. */
	daemon_start(s);
	musttally(s, 0, "note", "R1", "again");
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	mustprint(s, 0, "intact, no anchor", "verify", s->log);
}

/* ---- sleep ---- */

static void test_sleep(void **state)
{
	struct stand *s = *state;
	clocks_up(s);
	int red;
	struct peer *watch = talking(s, &red);
	ckentry_now(s, watch, "awake");
	moved[1] += 8 * HOUR;
	moved[2] += 8 * HOUR;
	json_t *gap = wait_record(watch, "\"kind\":\"gap\""), *clock = wait_record(watch, "\"suspend\"");
	assert_string_equal(word(gap, "meter"), "red");
	assert_string_equal(word(gap, "cause"), "the machine slept");
	near("gap", time_of(word(gap, "to")) - time_of(word(gap, "from")), 8 * HOUR, 2 * SECOND);
	near("its end", time_of(word(gap, "to")), wall(), 2 * SECOND);
	near("slept", (int64_t)(json_number_value(json_object_get(clock, "step")) * 1e6), 8 * HOUR, 20000);
	json_decref(gap);
	json_decref(clock);
	ckentry_now(s, watch, "woken");
	/* Slept, and the clock was wrong on waking: both are said. */
	moved[1] += HOUR;
	moved[2] += 3 * HOUR;
	json_decref(wait_record(watch, "\"suspend\""));
	json_t *step = wait_record(watch, "\"cause\":\"step\"");
	near("step", (int64_t)(json_number_value(json_object_get(step, "step")) * 1e6), 2 * HOUR, 20000);
	json_decref(step);
	ckentry_now(s, watch, "woken again");
	long said = stop_meter(s, red, watch);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	ckreadings(s, said);
	mustprint(s, 0, "intact, no anchor", "verify", s->log);
}

/* Stopped for seconds, as a debugger or a machine without memory does it: what the line kept is read
 * afterwards, nothing is said of the clocks, and whoever was connected still is. */
static void test_stopped(void **state)
{
	struct stand *s = *state;
	int red;
	struct peer *watch = talking(s, &red);
	for (int i = 0; i < 3; i++) {
		assert_int_equal(kill(s->daemon, SIGSTOP), 0);
		mustsend(watch, CALL("\"note\"", "note", "{\"position\":\"R1\",\"text\":\"asked meanwhile\"}"));
		nap_ms(1500);
		assert_int_equal(kill(s->daemon, SIGCONT), 0);
		mustsee(watch, "\"id\":\"note\",\"result\"");
		nap_ms(300);
	}
	long said = stop_meter(s, red, watch);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	assert_false(file_has(s->said, "clock"));
	ckreadings(s, said);
	mustprint(s, 0, "intact, no anchor", "verify", s->log);
}

/* ---- checkpoints ---- */

static long count_kind(struct stand *s, const char *kind)
{
	char want[40], *all = log_texts(s, s->log);
	long n = 0;
	snprintf(want, sizeof want, "\"kind\":\"%s\"", kind);
	for (char *at = all; (at = strstr(at, want)); at++)
		n++;
	free(all);
	return n;
}

/* The last checkpoint, which stands at the end of the log, is signed and names the one before it. */
static void ckcheckpoint(struct stand *s, long expected)
{
	struct answer a = tally(s, "--json", "verify", s->log);
	json_t *v = json_loads(a.out, 0, NULL);
	if (a.status != 0 || json_integer_value(json_object_get(v, "checkpoints")) != expected ||
	    json_integer_value(json_object_get(v, "signed")) !=
	    json_integer_value(json_object_get(v, "records")) - 1 ||
	    json_integer_value(json_object_get(v, "entries_after")) != 0)
		fail_msg("expected %ld checkpoints, the last one at the end: %s", expected, a.out);
	assert_int_equal(count_kind(s, "checkpoint"), expected);
	json_decref(v);
	answer_free(&a);
}

static void hour_passes(void)
{
	for (int i = 0; i < 3; i++)
		moved[i] += HOUR + SECOND;
}

static void test_checkpoints(void **state)
{
	struct stand *s = *state;
	clocks_up(s);
	daemon_start(s);
	struct peer *watch = peer_watching(s, 0);
	musttally(s, 0, "note", "R1", "the first");
	/* A quiet hour after something was logged; of the next one there is nothing to sign. */
	hour_passes();
	mustsee(watch, "\"kind\":\"checkpoint\"");
	ckcheckpoint(s, 1);
	hour_passes();
	nap_ms(1500);
	ckcheckpoint(s, 1);
	musttally(s, 0, "note", "R1", "the second");
	hour_passes();
	mustsee(watch, "\"kind\":\"checkpoint\"");
	ckcheckpoint(s, 2);
	/* A hundred entries. */
	for (int i = 0; i < 100; i++)
		mustsend(watch, CALL("\"e\"", "enter", "{\"position\":\"R1\",\"value\":\"101k\",\"from\":\"t\"}"));
	mustsee(watch, "\"kind\":\"checkpoint\"");
	ckcheckpoint(s, 3);
	/* A job's end. */
	musttally(s, 0, "job", "close");
	mustsee(watch, "\"kind\":\"checkpoint\"");
	ckcheckpoint(s, 4);
	/* Whose key it is, and how far it vouches, is shown. */
	struct answer a = tally(s, "verify");
	assert_non_null(strstr(a.out, "\nsigned"));
	assert_non_null(strstr(a.out, "\nkey"));
	answer_free(&a);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		on_stand(test_steps),
		on_stand(test_sleep),
		on_stand(test_stopped),
		on_stand(test_checkpoints),
	};
	return run_on_stand(tests);
}

/* SPDX-License-Identifier: MIT */
/*
 * The life of a daemon on a bench: meters that talk and one that is asked, a walk
 * through a sheet, the tape of it and its replay, cables that are pulled, its end.
 *
 * The whole program runs, as a process, on pseudo-terminals (daemon_stand.h).  What
 * is expected are the project's own promises; no outside source.
 */
#include "tests/daemon_stand.h"

static const char sheet_csv[] =
	"position,kind,nominal,tolerance,role,twin\n"
	"R1,carbon-composition,100k,10%,anode load,R2\n"
	"R2,carbon-composition,100k,10%,anode load,R1\n"
	"R3,metal-film,47k,1%,grid leak,\n"
	"C1,paper,0.1 uF,10%,coupling,\n";

#define OHM "accuracy ohm = 0.5% + 2\naccuracy farad = 1% + 3\n"
#define SCPI "setup = *CLS | CONF:RES\nquery = READ?\npace = 0.05\ntimeout = 0.5\ndigit = 0.1\n" \
	"accuracy ohm = 0.02% + 3\n"

/* ---- what the hands do ---- */

/* Touch a part when its name was called, wait for its tone, lift. */
static char *touch(struct stand *s, struct peer *watch, int meter, const char *position,
                   const char *value, const char *open)
{
	char expected[96];
	meter_says(s, meter, value);
	snprintf(expected, sizeof expected, "\"kind\":\"entry\"");
	char *record = record_of(mustsee(watch, expected));
	snprintf(expected, sizeof expected, "\"position\":\"%s\"", position);
	if (!strstr(record, expected))
		fail_msg("expected an entry at %s: %s", position, record);
	mustsee(watch, "\"event\":\"logged\"");
	meter_says(s, meter, open);
	return record;
}

static void up(struct peer *watch, const char *position)
{
	char expected[96];
	snprintf(expected, sizeof expected, "\"position\":\"%s\"", position);
	if (!strstr(mustsee(watch, "\"event\":\"up\""), expected))
		fail_msg("expected %s to be called: %s", position, watch->line);
}

static void ckfield(const char *record, const char *fragment)
{
	if (!strstr(record, fragment))
		fail_msg("expected %s in\n%s", fragment, record);
}

/* How many entries the log has. */
static int entries(struct stand *s)
{
	struct answer a = tally(s, "--json", "entries");
	int n = 0;
	assert_int_equal(a.status, 0);
	for (const char *p = a.out; (p = strstr(p, "\"kind\":\"entry\"")); p++)
		n++;
	answer_free(&a);
	return n;
}

/* ---- a walk ---- */

static void test_walk(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 20, OHM), bench = meter_new(s, "bench", 0, SCPI);
	meter_says(s, red, "OL MOhm");
	meter_says(s, bench, "+9.90000000E+37");
	meter_plug(s, red);
	meter_plug(s, bench);
	daemon_start(s);
	file_write(in_dir(s, "sheet.csv"), sheet_csv);
	musttally(s, 0, "job", "start", "walk");
	musttally(s, 0, "sheet", "load", in_dir(s, "sheet.csv"));
	musttally(s, 0, "reach", "lifted");

	struct peer *watch = peer_watching(s, -1);
	musttally(s, 0, "walk", "on");
	up(watch, "R1");
	char *r1 = touch(s, watch, red, "R1", "+101.2 kOhm", "OL MOhm");
	ckfield(r1, "\"meter\":\"red\"");
	ckfield(r1, "\"value\":101200,\"digit\":100,");
	ckfield(r1, "\"shown\":\"101.2 kohm\"");
	ckfield(r1, "\"verdict\":\"within\"");
	ckfield(r1, "\"source\":\"meter\"");
	ckfield(r1, ",\"+101.2 kOhm\"],\"trail\":[[");
	up(watch, "R2");
	char *r2 = touch(s, watch, bench, "R2", "+1.21000E+05", "+9.90000000E+37");
	ckfield(r2, "\"meter\":\"bench\"");
	ckfield(r2, "\"digit\":0.1,");
	ckfield(r2, "\"verdict\":\"outside\",\"side\":\"high\"");
	up(watch, "R3");
	free(touch(s, watch, red, "R3", "+46.99 kOhm", "OL MOhm"));
	up(watch, "C1");
	free(touch(s, watch, red, "C1", "+0.345 uF", "+0.000 uF"));
	mustsee(watch, "\"event\":\"done\"");
	assert_int_equal(entries(s), 4);
	free(r1);
	free(r2);
	peer_free(watch);
	/* A meter that is listened to is never sent a byte. */
	assert_int_equal(meter_got(s, red), 0);
	assert_true(meter_got(s, bench) > 0);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	musttally(s, 0, "verify", s->log);
}

/* ---- its tape, replayed ---- */

/* Seconds of the day in a time of a record. */
static double seconds_of(json_t *record, const char *key)
{
	int hour = 0, minute = 0;
	double second = 0;
	const char *t = json_string_value(json_object_get(record, key));
	if (!t || sscanf(t, "%*d-%*d-%*dT%d:%d:%lfZ", &hour, &minute, &second) != 3)
		fail_msg("no time in %s", key);
	return hour * 3600 + minute * 60 + second;
}

/* What may differ between a live session and its replay (interfaces of the project):
 * t, boot, uid, version, identity and key of the log, signatures.  Times must agree when counted
 * from the clock record, so they are compared as such. */
static json_t *comparable(const char *text, double *began)
{
	static const char *const differs[] = {"t", "boot", "version", "identity", "key", "uid",
	                                      "hash", "signature"};
	json_t *r = json_loads(text, 0, NULL);
	if (!r)
		fail_msg("no JSON: %.300s", text);
	double t = seconds_of(r, "t");
	const char *kind = json_string_value(json_object_get(r, "kind"));
	if (!strcmp(kind, "clock"))
		*began = t;
	if (!strcmp(kind, "trail") || !strcmp(kind, "entry") || !strcmp(kind, "gap"))
		json_object_set_new(r, "after", json_integer(llround((t - *began) * 1e6)));
	if (!strcmp(kind, "gap")) {
		json_object_set_new(r, "from", json_integer(llround((seconds_of(r, "from") - *began) * 1e6)));
		json_object_set_new(r, "to", json_integer(llround((seconds_of(r, "to") - *began) * 1e6)));
	}
	json_t *frame;
	size_t n;
	if (!strcmp(kind, "bad"))
		json_array_foreach(json_object_get(r, "frames"), n, frame)
			json_object_del(frame, "t");
	for (size_t i = 0; i < sizeof differs / sizeof *differs; i++)
		json_object_del(r, differs[i]);
	return r;
}

/* Line by line, member by member. */
static int ckreplay(char *live, char *replay)
{
	int records = 0;
	double began[2] = {0, 0};
	char *at[2];
	char *a = strtok_r(live, "\n", &at[0]), *b = strtok_r(replay, "\n", &at[1]);
	for (; a && b; records++) {
		json_t *x = comparable(a, &began[0]), *y = comparable(b, &began[1]);
		const char *key;
		json_t *value;
		json_object_foreach(x, key, value)
			if (!json_equal(value, json_object_get(y, key)))
				fail_msg("%s differs:\nlive   %s\nreplay %s", key, a, b);
		if (json_object_size(x) != json_object_size(y))
			fail_msg("other members:\nlive   %s\nreplay %s", a, b);
		json_decref(x);
		json_decref(y);
		a = strtok_r(NULL, "\n", &at[0]);
		b = strtok_r(NULL, "\n", &at[1]);
	}
	if (a || b)
		fail_msg("only the %s has %s", a ? "live session" : "replay", a ? a : b);
	return records;
}

static void test_tape(void **state)
{
	struct stand *s = *state;
	const char *tape = in_dir(s, "session.rec"), *sheet = in_dir(s, "sheet.csv");
	int red = meter_new(s, "red", 20, OHM), bench = meter_new(s, "bench", 0, SCPI);
	daemon_start(s);
	file_write(sheet, sheet_csv);
	pid_t taping = tally_start(s, (const char *[]){"meters", "tape", NULL}, tape,
	                           in_dir(s, "tape.err"));
	wait_until(s, file_has(tape, "# tally recording 1\n"));
	musttally(s, 0, "job", "start", "taped");
	musttally(s, 0, "sheet", "load", sheet);
	musttally(s, 0, "reach", "lifted");
	struct peer *watch = peer_watching(s, 0);
	meter_says(s, red, "OL MOhm");
	meter_says(s, bench, "+9.90000000E+37");
	meter_plug(s, red);
	meter_plug(s, bench);
	mustsee(watch, IDENTITY);
	musttally(s, 0, "walk", "on");
	up(watch, "R1");
	free(touch(s, watch, red, "R1", "+101.2 kOhm", "OL MOhm"));
	up(watch, "R2");
	free(touch(s, watch, bench, "R2", "+1.21000E+05", "+9.90000000E+37"));
	up(watch, "R3");
	/* An open part: no touch can be seen, it is taken by key. */
	musttally(s, 0, "take", "--meter", "red");
	up(watch, "C1");
	meter_says(s, red, "+0.345 uF");
	/* The cable is pulled in the middle of the touch, and comes back. */
	mustsee(watch, "\"event\":\"logged\"");
	meter_unplug(s, red);
	mustsee(watch, "\"event\":\"gone\"");
	meter_says(s, red, "+0.000 uF");
	meter_plug(s, red);
	mustsee(watch, "\"event\":\"back\"");
	/* Its first reading tells that it touches no more: the walk is at its end.  (The gap may be
	 * on the disk sooner or later than that.) */
	mustsee(watch, "\"event\":\"done\"");
	struct answer a = tally(s, "export");
	assert_non_null(strstr(a.out, "\"kind\":\"gap\""));
	answer_free(&a);
	musttally(s, 0, "undo");
	musttally(s, 0, "condition", "done");
	musttally(s, 0, "at", "R3");
	free(touch(s, watch, red, "R3", "+47.10 kOhm", "OL MOhm"));
	meter_says(s, red, NULL);
	meter_unplug(s, bench);
	mustsee(watch, "\"event\":\"gone\"");
	musttally(s, 0, "note", "R3", "the end: \"a\" & b");
	wait_until(s, file_has(tape, "@note R3 the end"));
	assert_int_equal(child_stop(s, taping, SIGINT), 0);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	peer_free(watch);

	char *err, *replay;
	unlink(in_dir(s, "out"));
	s->sims = 0;
	int status = daemon_run(s, (const char *[]){"--replay", tape, "--sheet", sheet, "--config",
	                                            s->config, "--log", in_dir(s, "replay.db"), NULL},
	                        &err);
	if (status != 0)
		fail_msg("the replay ended with %d: %s", status, err);
	free(err);
	replay = file_text(in_dir(s, "out"));
	char *live = log_texts(s, s->log);
	assert_true(ckreplay(live, replay) > 20);
	free(live);
	free(replay);
}

/* ---- cables ---- */

/* Pulled in the middle of a touch: a gap, no entry from the half of it, and the line
 * is read again at most two seconds after it is there again. */
static void replug(struct stand *s, struct peer *watch, int meter, const char *value)
{
	int before = entries(s);
	meter_says(s, meter, value);
	/* Two displays are no settled value. */
	size_t said = meter_said(s, meter);
	wait_until(s, meter_said(s, meter) >= said + 2);
	meter_unplug(s, meter);
	mustsee(watch, "\"event\":\"gone\"");
	assert_int_equal(entries(s), before);
	meter_says(s, meter, "OL MOhm");
	double t = now_s();
	meter_plug(s, meter);
	mustsee(watch, "\"event\":\"back\""); /* heard at once; the record waits for the disk */
	char *gap = record_of(mustsee(watch, "\"kind\":\"gap\""));
	ckfield(gap, "\"meter\":\"red\"");
	ckfield(gap, "\"cause\":\"");
	free(gap);
	struct answer a = {0};
	wait_until(s, (answer_free(&a), a = tally(s, "meters"), strstr(a.out, "overload")) ||
	           now_s() - t > 2);
	if (now_s() - t > 2)
		fail_msg("data came back after %.1f s: %s", now_s() - t, a.out);
	answer_free(&a);
	assert_int_equal(entries(s), before);
}

static void test_replug(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 10, OHM);
	meter_says(s, red, "OL MOhm");
	meter_plug(s, red);
	daemon_start(s);
	struct peer *watch = peer_watching(s, 0);
	musttally(s, 0, "at", "R1");
	mustsee(watch, "\"event\":\"up\"");
	wait_until(s, meter_said(s, red) > 10);
	replug(s, watch, red, "+101.2 kOhm");
	replug(s, watch, red, "+102.2 kOhm");
	/* After all that a whole touch is one entry. */
	free(touch(s, watch, red, "R1", "+103.2 kOhm", "OL MOhm"));
	assert_int_equal(entries(s), 1);
	/* The link alone goes, the terminal stays: unplugged too. */
	char hidden[160];
	snprintf(hidden, sizeof hidden, "%s.away", s->sim[red].link);
	assert_int_equal(rename(s->sim[red].link, hidden), 0);
	mustsee(watch, "\"event\":\"gone\"");
	assert_int_equal(rename(hidden, s->sim[red].link), 0);
	mustsee(watch, "\"event\":\"back\"");
	assert_int_equal(meter_got(s, red), 0);
	peer_free(watch);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	musttally(s, 0, "verify", s->log);
}

/* Seventeen adapters, pulled and plugged three times each, all at once. */
static void test_growth(void **state)
{
	enum { METERS = 17, ROUNDS = 3 };
	struct stand *s = *state;
	for (int i = 0; i < METERS; i++) {
		char name[16];
		snprintf(name, sizeof name, "m%d", i);
		meter_new(s, name, 20, NULL);
		meter_says(s, i, "OL MOhm");
	}
	daemon_start(s);
	struct peer *watch = peer_watching(s, 0);
	long rss = 0;
	int files = 0;
	/* The first round makes what is made once. */
	for (int round = 0; round <= ROUNDS; round++) {
		for (int i = 0; i < METERS; i++)
			meter_plug(s, i);
		for (int i = 0; i < METERS; i++) {
			size_t said = meter_said(s, i);
			wait_until(s, meter_said(s, i) > said);
		}
		for (int i = 0; round > 0 && i < METERS; i++)
			mustsee(watch, "\"event\":\"back\"");
		if (round == 0)
			wait_until(s, file_has(s->said, "m16: line open"));
		if (round == 1) {
			rss = status_kib(s->daemon, "VmRSS:");
			files = open_files(s->daemon);
		}
		if (round == ROUNDS)
			break;
		for (int i = 0; i < METERS; i++)
			meter_unplug(s, i);
		for (int i = 0; i < METERS; i++)
			mustsee(watch, "\"event\":\"gone\"");
	}
	assert_true(rss > 0 && files > METERS);
	print_message("   %ld KiB and %d files, then %ld KiB and %d files\n", rss, files,
	              status_kib(s->daemon, "VmRSS:"), open_files(s->daemon));
	assert_int_equal(open_files(s->daemon), files);
	if (!is_sanitized())
		assert_true(status_kib(s->daemon, "VmRSS:") - rss < 1024);
	peer_free(watch);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
}

/* ---- its end ---- */

/* SIGTERM under load, with an open run and a client that never reads: within two
 * seconds, and every reading that came is sealed. */
static void end_by(struct stand *s, int red, int signal)
{
	daemon_start(s);
	struct peer *watch = peer_watching(s, 0), *deaf = peer_watching(s, 0);
	musttally(s, 0, "at", "R1");
	meter_says(s, red, "wander");
	size_t said = meter_said(s, red);
	wait_until(s, meter_said(s, red) > said + 100);
	double t = now_s();
	assert_int_equal(daemon_stop(s, signal), 0);
	t = now_s() - t;
	if (t > 2)
		fail_msg("it took %.2f s", t);
	assert_int_not_equal(access(s->socket, F_OK), 0);
	assert_true(file_has(s->said, "everything is logged first"));
	mustend(watch);
	peer_free(watch);
	peer_free(deaf);
}

static void test_end(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 200, NULL);
	meter_plug(s, red);
	end_by(s, red, SIGTERM);
	end_by(s, red, SIGINT);
	/* The readings of both runs stand in the log, none of them recovered. */
	char *all = log_texts(s, s->log);
	int n = 0, sum = 0;
	for (char *at = all; (at = strstr(at, "\"kind\":\"trail\"")); at++) {
		char *end = strchr(at, '\n'), *count = strstr(at, "\"n\":");
		assert_true(count && count < end);
		sum += atoi(count + 4);
		n++;
	}
	assert_true(n >= 2);
	assert_true(sum > 30);
	assert_null(strstr(all, "\"recovered\""));
	free(all);
	musttally(s, 0, "verify", s->log);
	/* Nothing is left beside the log that a next daemon would have to clean. */
	assert_int_not_equal(access(in_dir(s, "stand.db-wal"), F_OK), 0);
}

/* ---- the life that the README shows ---- */

static void test_life(void **state)
{
	struct stand *s = *state;
	int bench = meter_new(s, "bench", 0, SCPI), red = meter_new(s, "red", 20, OHM),
	    blue = meter_new(s, "blue", 20, OHM);
	static const struct {
		int meter; /* 0 bench, 1 red, 2 blue */
		const char *position, *value, *open, *verdict;
	} touches[] = {
		{1, "R1", "+101.2 kOhm", "OL MOhm", "within"},
		{2, "R2", "118.9 kOhm", "OL MOhm", "outside"},
		{0, "R3", "+4.69990E+04", "+9.90000000E+37", "within"},
		{1, "C1", "+0.098 uF", "+0.000 uF", "within"},
		{2, "C2", "0.140 uF", "0.000 uF", "outside"},
		{1, "C3", "331.0 nF", "0.000 nF", "within"},
	};
	for (int i = 0; i < 3; i++) {
		meter_says(s, i, i == bench ? "+9.90000000E+37" : "OL MOhm");
		meter_plug(s, i);
	}
	daemon_start(s);
	musttally(s, 0, "job", "start", "attic find");
	musttally(s, 0, "sheet", "load", "tests/recordings/sheet.csv");
	musttally(s, 0, "reach", "lifted");
	struct peer *watch = peer_watching(s, -1);
	musttally(s, 0, "walk", "on");
	for (size_t i = 0; i < sizeof touches / sizeof *touches; i++) {
		note_row("%s", touches[i].position);
		up(watch, touches[i].position);
		char verdict[64], *record = touch(s, watch, touches[i].meter, touches[i].position,
		                                  touches[i].value, touches[i].open);
		snprintf(verdict, sizeof verdict, "\"verdict\":\"%s\"", touches[i].verdict);
		ckfield(record, verdict);
		free(record);
	}
	/* A rail: floating leads first, then the supply, well above what floats. */
	up(watch, "HT1");
	meter_says(s, red, "+0.004 V DC");
	size_t said = meter_said(s, red);
	wait_until(s, meter_said(s, red) > said + 20);
	free(touch(s, watch, red, "HT1", "+286.4 V DC", "+0.004 V DC"));
	up(watch, "BIAS");
	free(touch(s, watch, red, "BIAS", "-35.42 V DC", "+0.004 V DC"));
	mustsee(watch, "\"event\":\"done\"");
	/* Far from this nominal, and it fits the next position: held until it is taken. */
	musttally(s, 0, "at", "C2");
	meter_says(s, red, "0.345 uF");
	ckfield(mustsee(watch, "\"event\":\"held\""), "\"looks\":\"C3\"");
	musttally(s, 0, "take");
	char *taken = record_of(mustsee(watch, "\"kind\":\"entry\""));
	ckfield(taken, "\"position\":\"C2\"");
	ckfield(taken, "\"value\":3.45e-07");
	free(taken);
	meter_says(s, red, "OL MOhm");
	/* Red and blue cannot both be right about C2: the answer of compare is no. */
	musttally(s, 1, "compare");
	musttally(s, 0, "undo");
	/* A second meter on R1: the same part, another opinion. */
	musttally(s, 0, "at", "R1");
	free(touch(s, watch, blue, "R1", "101.5 kOhm", "OL MOhm"));
	musttally(s, 0, "meters");
	musttally(s, 0, "entries");
	musttally(s, 0, "entries", "R1");
	struct answer a = tally(s, "compare");
	assert_int_equal(a.status, 0);
	assert_non_null(strstr(a.out, "R1"));
	answer_free(&a);
	musttally(s, 0, "job", "show");
	musttally(s, 0, "job", "close");
	musttally(s, 0, "verify");
	assert_int_equal(meter_got(s, red), 0);
	assert_int_equal(meter_got(s, blue), 0);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	/* The job is closed in the next life, too, and all of it can be looked at. */
	daemon_start(s);
	a = tally(s, "--json", "status");
	assert_non_null(strstr(a.out, "\"job\":null"));
	answer_free(&a);
	a = tally(s, "--json", "entries", "--job", "attic find");
	assert_non_null(strstr(a.out, "\"position\":\"C3\""));
	answer_free(&a);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	peer_free(watch);
}

/* ---- what a meter says of itself, and its silence ---- */

static void boot_is_kept(struct stand *s)
{
	char id[64] = "", wanted[96];
	FILE *f = fopen("/proc/sys/kernel/random/boot_id", "r");
	if (f && fgets(id, sizeof id, f))
		id[strcspn(id, "\n")] = '\0';
	if (f)
		fclose(f);
	snprintf(wanted, sizeof wanted, "\"boot\":\"%s\"", id);
	char *texts = log_texts(s, s->log);
	assert_true(!id[0] || strstr(texts, wanted));
	free(texts);
}

/* Open and silent: said, shown, refused, counted; and over with the next reading. */
static void test_stale(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 20, OHM);
	struct answer a;
	daemon_start(s);
	struct peer *watch = peer_watching(s, 0);
	meter_says(s, red, "OL MOhm");
	meter_plug(s, red);
	musttally(s, 0, "at", "R1");
	a = (struct answer){0};
	wait_until(s, (answer_free(&a), a = tally(s, "--json", "meters"), strstr(a.out, "overload")));
	ckfield(a.out, "\"stale\":0");
	ckfield(a.out, "\"resync\":0");
	answer_free(&a);
	meter_says(s, red, NULL);
	mustsee(watch, "\"event\":\"stale\"");
	a = tally(s, "--json", "meters");
	ckfield(a.out, "\"state\":\"stale\"");
	ckfield(a.out, "\"shown\":null");
	ckfield(a.out, "\"stale\":1");
	answer_free(&a);
	musttally(s, 1, "take");
	musttally(s, 1, "take", "--meter", "red");
	meter_says(s, red, "OL MOhm");
	mustsee(watch, "\"event\":\"fresh\"");
	musttally(s, 0, "take", "--meter", "red");
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	boot_is_kept(s);
	peer_free(watch);
}

/* Nothing says what it measures: it is asked, and again when the dial is turned. */
static void test_learns(void **state)
{
	struct stand *s = *state;
	int bench = meter_new(s, "bench", 0, "timeout = 0.5\npace = 0.02\n");
	struct answer a = {0};
	daemon_start(s);
	meter_dial(s, bench, "\"RES\"", "+1.01200E+05");
	meter_plug(s, bench);
	wait_until(s, (answer_free(&a), a = tally(s, "--json", "meters"), strstr(a.out, "101.2 kohm")));
	ckfield(a.out, "\"function\":\"ohm\"");
	ckfield(a.out, "\"maker\":\"");
	ckfield(a.out, "\"firmware\":\"");
	meter_dial(s, bench, "\"VOLT:AC\"", "+6.31000E+00");
	wait_until(s, (answer_free(&a), a = tally(s, "--json", "meters"), strstr(a.out, "volt-ac")));
	answer_free(&a);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	char *texts = log_texts(s, s->log);
	assert_null(strstr(texts, "\"function\":\"number\""));
	free(texts);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		on_stand(test_walk),
		on_stand(test_tape),
		on_stand(test_replug),
		on_stand(test_growth),
		on_stand(test_end),
		on_stand(test_life),
		on_stand(test_stale),
		on_stand(test_learns),
	};
	return run_on_stand(tests);
}

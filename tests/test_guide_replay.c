/* SPDX-License-Identifier: MIT */
/*
 * Guided runs, each played to its end through the whole daemon program, against the records
 * expected: tests/recordings/guided/NAME.rec has NAME.want beside it, the guide, entry, alarm,
 * fit and job records that its replay must print, text for text.
 *
 *     build/tests/test_guide_replay --rebuild     writes the .want files anew (read the
 *                                                 difference before you commit it)
 *     build/tests/test_guide_replay --record      writes the recordings of re-formings anew:
 *                                                 made-up parts (tests/reform_model.h), and a
 *                                                 person who does what they are told
 *     build/tests/test_guide_replay --scenes      writes those of rise, tune and lot anew, from
 *                                                 the demo's scenes of their names
 *
 * A table says how each must end, beside its records, so that no rebuild hides another end.
 */
#include "tests/check.h"
#include "tests/reform_model.h"

#include "protocol/guide/guide.h"

#include <stdlib.h>
#include <sys/wait.h>
#include <unistd.h>

#define FOLDER "tests/recordings/guided"
#define OUTPUT_MAX (16u << 20)
#define SECOND 1000000

/* ---- how they end ---- */

static const struct ending {
	const char *name;
	const char *event;      /* of the last guide record */
	const char *says[4];    /* that record has; NULL for no more */
	int entries, alarms;    /* records; an alarm has two, its begin and its end */
} endings[] = {
    /* 0.01 C V of 32 uF and 450 V is 144 uA */
    {"reforms", "done", {"\"verdict\":\"within\"", "\"most\":0.000144", "\"breaks\":0", NULL}, 6, 0},
    {"reforms-meter-away", "done", {"\"verdict\":\"within\"", "\"breaks\":1", NULL}, 4, 0},
    /* 0.04 mA/uF 32 uF + 0.3 mA, by the limit of its period */
    {"never-period", "done", {"\"verdict\":\"within\"", "\"most\":0.00158", NULL}, 4, 0},
    {"never", "stopped", {"2 hours without progress", "\"verdict\":\"outside\"", NULL}, 2, 0},
    {"runs-away", "stopped", {"rises at constant volts", NULL}, 2, 2},
    {"too-many-volts", "left", {"\"failed\":\"left\"", "\"verdict\":\"unsure\"", NULL}, 0, 2},
    {"wrong-way-round", "stopped", {"wrong way round", NULL}, 2, 2},
    /* Ohm's law: 0.4 V, 4 V, 0.454 V on 1 Mohm beside 10 Mohm; half a volt of shift is practice */
    {"leak-within", "done", {"\"leakage\":{\"value\":4.39", "\"verdict\":\"within\"", NULL}, 2, 0},
    {"leak-outside", "done", {"\"leakage\":{\"value\":4.39", "\"verdict\":\"outside\"", NULL}, 2, 0},
    {"leak-unsure", "done", {"\"verdict\":\"unsure\"", NULL}, 2, 0},
    {"leak-rail", "left", {"\"step\":\"volts\"", NULL}, 1, 2},
    {"warms", "stopped", {"warms the can", NULL}, 2, 2},
    /* 8.94 V into 8 ohm: 9.99 W; 20 log 2.1 mV / 8.94 V: -72.6 dB (computed) */
    /* and the demo's amplifier (demo/amplifier.h) has 0.8 ohm inside, +- 0.1 by one digit of its volts */
    {"rise", "done", {"\"watts\":9.99", "\"hum-dB\":-72.", "\"output-impedance\":{\"value\":0.", NULL}, 20, 0},
    {"rise-shorted", "stopped", {"pulls it down (rectifier", "\"soaked\":0", NULL}, 0, 2},
    {"rise-drifts", "stopped", {"R22 rose by 2", "it runs away", NULL}, 5, 2},
    /* Ohm's law: 0.42 V on 10 ohm */
    {"tune", "done", {"\"target\":0.42", "\"verdict\":\"within\"", "\"current-here\":{\"value\":0.042", NULL},
     2, 0},
    {"lot", "done", {"\"parts\":20", "\"outside\":[5]", "\"for\"", NULL}, 0, 0},
};

/* Those of the demo's scenes have its meters, and these an amplifier's sheet. */
static bool by_scene(const char *name)
{
	return strncmp(name, "rise", 4) == 0 || strcmp(name, "tune") == 0 || strcmp(name, "lot") == 0;
}

/* ---- replay ---- */

static char *run(const char *command, int *status)
{
	FILE *f = popen(command, "r");
	assert_non_null(f);
	char *out = malloc(OUTPUT_MAX);
	assert_non_null(out);
	size_t n = fread(out, 1, OUTPUT_MAX - 1, f);
	out[n] = '\0';
	int s = pclose(f);
	*status = WIFEXITED(s) ? WEXITSTATUS(s) : -1;
	return out;
}

static char *replay(const char *name, int *status)
{
	const char *build = getenv("TALLY_BUILD");
	char command[1024];
	snprintf(command, sizeof command,
	         "%s/tallyd --replay %s/%s.rec --sheet %s --config %s/bench.conf --log :memory: 2>/dev/null",
	         build ? build : "build", FOLDER, name, by_scene(name) ? "demo/power.csv" : FOLDER "/sheet.csv",
	         by_scene(name) ? "demo" : FOLDER);
	return run(command, status);
}

static char *slurp(const char *name)
{
	char path[160];
	snprintf(path, sizeof path, "%s/%s.want", FOLDER, name);
	FILE *f = fopen(path, "r");
	if (!f)
		fail_msg("%s is not there", path);
	char *text = malloc(OUTPUT_MAX);
	assert_non_null(text);
	size_t n = fread(text, 1, OUTPUT_MAX - 1, f);
	text[n] = '\0';
	fclose(f);
	return text;
}

static bool is_kind(const char *line, const char *kind)
{
	char mark[40];
	const char *eol = strchr(line, '\n');
	snprintf(mark, sizeof mark, "\"kind\":\"%s\"", kind);
	const char *at = strstr(line, mark);
	return at && (!eol || at < eol);
}

static char *wanted(const char *records)
{
	static const char *const kinds[] = {"guide", "entry", "alarm", "job", "strike", "gap", "fit", "part"};
	char *out = calloc(1, strlen(records) + 2);
	size_t n = 0;
	assert_non_null(out);
	while (*records) {
		size_t len = strcspn(records, "\n");
		for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
			if (is_kind(records, kinds[i])) {
				memcpy(out + n, records, len);
				n += len;
				out[n++] = '\n';
			}
		records += len + (records[len] == '\n');
	}
	return out;
}

static void check_ending(const struct ending *e, const char *records)
{
	const char *last = NULL;
	char event[60], line[8192];
	int entries = 0, alarms = 0;
	for (const char *p = records; *p; p += strcspn(p, "\n"), p += *p == '\n') {
		last = is_kind(p, "guide") ? p : last;
		entries += is_kind(p, "entry");
		alarms += is_kind(p, "alarm");
	}
	assert_non_null(last);
	snprintf(line, sizeof line, "%.*s", (int)strcspn(last, "\n"), last);
	snprintf(event, sizeof event, "\"event\":\"%s\"", e->event);
	if (!strstr(line, event))
		fail_msg("%s: not %s: %s", e->name, event, line);
	for (int i = 0; i < 4 && e->says[i]; i++)
		if (!strstr(line, e->says[i]))
			fail_msg("%s: no %s in %s", e->name, e->says[i], line);
	assert_int_equal(entries, e->entries);
	assert_int_equal(alarms, e->alarms);
}

static void each_to_its_end(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof endings / sizeof *endings; i++) {
		int status;
		note_row("%s", endings[i].name);
		char *whole = replay(endings[i].name, &status);
		if (status != 0)
			fail_msg("status %d: %.400s", status, whole);
		char *got = wanted(whole), *want = slurp(endings[i].name);
		assert_string_equal(got, want);
		check_ending(&endings[i], whole);
		free(whole);
		free(got);
		free(want);
	}
}

/* ---- the demo's scenes, played at once ---- */

static const struct ending scenes[] = {
    /* 0.01 C V of 8 uF and 350 V: 28 uA */
    {"reform", "done", {"\"verdict\":\"within\"", "\"most\":2.8e-05", NULL}, 4, 0},
    {"reform-never", "stopped", {"2 hours without progress", "\"verdict\":\"outside\"", NULL}, 2, 0},
    {"reform-away", "stopped", {"rises at constant volts", NULL}, 2, 2},
};

static void play_scene(const struct ending *e, const char *sheet)
{
	const char *build = getenv("TALLY_BUILD");
	char tape[] = "/tmp/tally-scene-XXXXXX", command[1024];
	int fd = mkstemp(tape), status;
	assert_true(fd >= 0);
	close(fd);
	/* Other noise makes no other end. */
	for (int seed = 0; seed < 3; seed++) {
		note_row("%s, seed %d", e->name, seed);
		snprintf(command, sizeof command,
		         "%s/demo/meters --tape %s --seed %d demo/scenes/%s.scene >/dev/null && "
		         "%s/tallyd --replay %s --sheet %s --config demo/bench.conf --log :memory: 2>&1",
		         build ? build : "build", tape, seed, e->name, build ? build : "build", tape, sheet);
		char *whole = run(command, &status);
		if (status != 0)
			fail_msg("status %d: %.400s", status, whole);
		check_ending(e, whole);
		free(whole);
	}
	unlink(tape);
}

static void scenes_of_the_demo(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof scenes / sizeof *scenes; i++)
		play_scene(&scenes[i], "demo/amplifier.csv");
	for (size_t i = 0; i < sizeof endings / sizeof *endings; i++)
		if (by_scene(endings[i].name))
			play_scene(&endings[i], "demo/power.csv");
}

static void the_same_twice(void **state)
{
	int status;
	(void)state;
	char *a = replay("reforms", &status), *b = replay("reforms", &status);
	assert_true(strlen(a) > 10000);
	assert_string_equal(a, b);
	free(a);
	free(b);
}

/* ---- by pedal alone ---- */

/* Every `go` is a `take`, as the foot switch sends it: the records must be the kept ones. */
static void by_pedal_alone(void **state)
{
	const char *build = getenv("TALLY_BUILD");
	(void)state;
	for (size_t i = 0; i < sizeof endings / sizeof *endings; i++) {
		const char *name = endings[i].name;
		char tape[] = "/tmp/tally-pedal-XXXXXX", command[1024];
		int fd = mkstemp(tape), status;
		assert_true(fd >= 0);
		close(fd);
		note_row("%s", name);
		snprintf(command, sizeof command,
		         "sed -E 's/^([0-9.]+) @go .*$/\\1 @take/' %s/%s.rec > %s && grep -q '@take' %s && "
		         "%s/tallyd --replay %s --sheet %s --config %s/bench.conf --log :memory: 2>/dev/null",
		         FOLDER, name, tape, tape, build ? build : "build", tape,
		         by_scene(name) ? "demo/power.csv" : FOLDER "/sheet.csv", by_scene(name) ? "demo" : FOLDER);
		char *whole = run(command, &status);
		unlink(tape);
		if (status != 0)
			fail_msg("status %d: %.400s", status, whole);
		char *got = wanted(whole), *want = slurp(name);
		assert_string_equal(got, want);
		free(whole);
		free(got);
		free(want);
	}
}

/* ---- recordings are made ---- */

struct tape {
	FILE *out;
	struct guide g;
	struct guide_plan plan;
	struct reform_part part;
	const char *of, *words;
	double t, S, every;
	bool drop_away;
};

static void act(struct tape *p, const char *what, const char *rest)
{
	fprintf(p->out, "%.6f @%s%s%s\n", p->t, what, rest[0] ? " " : "", rest);
}

static void said(struct tape *p, int role, const char *meter, double V)
{
	int digits = fabs(V) < 60 ? 2 : 1;
	double digit = pow(10, -digits), x = round(V / digit) * digit;
	struct guide_out out;
	struct guide_input in = {.act = GUIDE_READING, .role = role, .t = (int64_t)(p->t * SECOND),
	                         .x = {x, 0.003 * fabs(x)}};
	fprintf(p->out, "%.6f %s \"%+.*f V DC\\r\\n\"\n", p->t, meter, digits, x == 0 ? 0 : x);
	guide_input(&p->g, &in, &out);
}

static void both(struct tape *p)
{
	said(p, 1, "part", p->part.V);
	if (!p->drop_away)
		said(p, 0, "drop", p->S - p->part.V);
}

static double to_set(const struct guide *g)
{
	char bytes[1000];
	struct text t;
	double x = NAN;
	text_begin(&t, bytes, sizeof bytes);
	text_puts(&t, "{\"a\":0");
	guide_look(g, &t);
	text_puts(&t, "}");
	json_number(json_member(t.bytes, t.len, "set"), &x);
	return x;
}

static void pass(struct tape *p, double S)
{
	p->S = S;
	reform_part_run(&p->part, S, p->every);
	p->t += p->every;
	both(p);
}

/* As the run says, for so long or until it is at that step. */
static bool obey(struct tape *p, double seconds, const char *until)
{
	for (double s = 0; s < seconds; s += p->every) {
		double set = to_set(&p->g);
		pass(p, isnan(set) ? p->S : set);
		if (strcmp(guide_step_word(&p->g), until) == 0)
			return true;
	}
	return false;
}

static void go(struct tape *p)
{
	struct guide_out out;
	enum quantity q;
	const char *at;
	int role = guide_takes(&p->g, &q, &at);
	struct guide_input in = {.act = role < 0 ? GUIDE_GO : GUIDE_TAKEN};
	if (role >= 0)
		in.x = p->g.live[role];
	p->t += 0.1;
	act(p, "go", p->of);
	p->t -= 0.1;
	guide_input(&p->g, &in, &out);
}

static void begin(struct tape *p)
{
	char rest[200];
	struct fault why;
	fprintf(p->out, "# tally recording 1\n# Made by test_guide_replay --record from a made-up part.\n");
	if (!guide_begin(&p->g, GUIDE_REFORM, &p->plan, &why))
		fprintf(stderr, "%s\n", why.text);
	both(p);
	p->t += 0.5;
	snprintf(rest, sizeof rest, "reform %s drop=drop part=part %s", p->of, p->words);
	act(p, "guide", rest);
	for (int i = 0; i < 4; i++) {
		p->t += 1;
		both(p);
		go(p);
	}
}

/* Down, discharged, measured dead twice. */
static void finish(struct tape *p)
{
	while (strcmp(guide_step_word(&p->g), "off") != 0) {
		pass(p, p->S);
		go(p);
	}
	for (int i = 0; i < 4; i++)
		pass(p, p->S * 0.5);
	go(p);
	p->part.V = 0.2;
	for (int i = 0; i < 4; i++)
		pass(p, 0);
	go(p);
	for (double s = 0; s < 65; s += p->every)
		pass(p, 0);
	go(p);
	pass(p, 0);
}

/* Where --record writes them; the test of that has a folder of its own. */
static const char *recorded_to = FOLDER;

static struct tape tape(const char *name, struct reform_part part, const char *words, double R,
                        enum leakage_formula limit)
{
	char path[160];
	struct tape p = {.part = part, .of = "C20", .words = words, .every = 5};
	snprintf(path, sizeof path, "%s/%s.rec", recorded_to, name);
	p.out = fopen(path, "w");
	if (!p.out) {
		fprintf(stderr, "%s cannot be written\n", path);
		exit(1);
	}
	guide_plan_empty(&p.plan);
	strcpy(p.plan.of, "C20");
	p.plan.nominal = part.C;
	p.plan.rated = part.rated;
	p.plan.limit = limit;
	p.plan.R = (struct measure){R, 0.05 * R / sqrt(3)};
	p.plan.input[0] = p.plan.input[1] = part.input;
	p.part.R = R;
	begin(&p);
	return p;
}

/* Meanwhile ohms are measured with another meter: one touch, one entry. */
static void meanwhile(struct tape *p, const char *at, double kilohm)
{
	act(p, "at", at);
	for (int i = 0; i < 24; i++)
		fprintf(p->out, i > 4 && i < 16 ? "%.6f red \"%+.2f kOhm\\r\\n\"\n" : "%.6f red \"OL MOhm\\r\\n\"\n",
		        p->t + 0.15 * (i + 1), kilohm);
}

static const struct reform_part good = {
    .C = 32e-6, .rated = 450, .A = 2.5e-3, .left = 40e-6, .tau = 300, .R = 100e3, .input = 10e6};

static int record_scenes(void)
{
	const char *build = getenv("TALLY_BUILD");
	int bad = 0;
	for (size_t i = 0; i < sizeof endings / sizeof *endings; i++) {
		char command[600];
		snprintf(command, sizeof command,
		         "%s/demo/meters --tape " FOLDER "/%s.rec demo/scenes/%s.scene >/dev/null",
		         build ? build : "build", endings[i].name, endings[i].name);
		bad |= by_scene(endings[i].name) && system(command) != 0;
	}
	return bad;
}

static int record(void)
{
	struct reform_part part = good;
	struct tape p = tape("reforms", part, "resistor=100k", 100e3, LEAKAGE_001CV);
	obey(&p, 200, "");
	meanwhile(&p, "R1", 131.2);
	obey(&p, 300, "");
	meanwhile(&p, "R2", 47.31);
	obey(&p, 7200, "volts");
	finish(&p);
	fclose(p.out);

	p = tape("reforms-meter-away", part, "resistor=100k", 100e3, LEAKAGE_001CV);
	obey(&p, 7200, "hold");
	obey(&p, 600, "volts");
	p.t += 1;
	act(&p, "meter", "drop gone");
	guide_input(&p.g, &(struct guide_input){.act = GUIDE_AWAY, .role = 0}, &(struct guide_out){0});
	p.drop_away = true;
	obey(&p, 300, "volts");
	p.drop_away = false;
	p.t += 1;
	act(&p, "meter", "drop back");
	obey(&p, 7200, "volts");
	finish(&p);
	fclose(p.out);

	part.left = 1.2e-3;
	p = tape("never-period", part, "resistor=10k era=period", 10e3, LEAKAGE_PERIOD);
	obey(&p, 7200, "volts");
	finish(&p);
	fclose(p.out);

	p = tape("never", part, "resistor=100k", 100e3, LEAKAGE_001CV);
	p.every = 10;
	obey(&p, 30000, "off");
	finish(&p);
	fclose(p.out);

	part = good;
	part.from = 280;
	part.flee = 1500;
	p = tape("runs-away", part, "resistor=100k", 100e3, LEAKAGE_001CV);
	obey(&p, 30000, "off");
	finish(&p);
	fclose(p.out);

	p = tape("too-many-volts", good, "resistor=100k", 100e3, LEAKAGE_001CV);
	obey(&p, 30000, "full");
	for (int i = 0; i < 12; i++)
		pass(&p, 520);
	for (int i = 0; i < 24; i++)
		pass(&p, 60);
	act(&p, "leave", "C20");
	fclose(p.out);

	p = tape("wrong-way-round", good, "resistor=100k", 100e3, LEAKAGE_001CV);
	for (int i = 0; i < 3; i++)
		pass(&p, -40);
	finish(&p);
	fclose(p.out);

	part = good;
	part.A = part.left = 4e-3;
	p = tape("warms", part, "resistor=10k era=period", 10e3, LEAKAGE_PERIOD);
	/* A hand that turns too far, and a part that takes what it gets. */
	for (int i = 0; i < 60 && strcmp(guide_step_word(&p.g), "off") != 0; i++)
		pass(&p, 420);
	finish(&p);
	fclose(p.out);
	return 0;
}

/* What is kept is what --record makes: else nobody could change a rule and see what comes of it. */
static void recorded_anew(void **state)
{
	char folder[] = "/tmp/tally-record-XXXXXX", command[400];
	static const char *const made[] = {"reforms", "reforms-meter-away", "never-period", "never", "runs-away",
	                                   "too-many-volts", "wrong-way-round", "warms"};
	(void)state;
	assert_non_null(mkdtemp(folder));
	recorded_to = folder;
	assert_int_equal(record(), 0);
	recorded_to = FOLDER;
	for (size_t i = 0; i < sizeof made / sizeof *made; i++) {
		note_row("%s", made[i]);
		snprintf(command, sizeof command, "cmp %s/%s.rec " FOLDER "/%s.rec", folder, made[i], made[i]);
		assert_int_equal(system(command), 0);
		snprintf(command, sizeof command, "%s/%s.rec", folder, made[i]);
		unlink(command);
	}
	assert_int_equal(rmdir(folder), 0);
}

static int rebuild(void)
{
	for (size_t i = 0; i < sizeof endings / sizeof *endings; i++) {
		char path[160];
		int status;
		char *whole = replay(endings[i].name, &status), *got = wanted(whole);
		snprintf(path, sizeof path, "%s/%s.want", FOLDER, endings[i].name);
		FILE *f = fopen(path, "w");
		if (!f || status != 0) {
			fprintf(stderr, "%s: %s", endings[i].name, whole);
			return 1;
		}
		fputs(got, f);
		fclose(f);
		free(whole);
		free(got);
	}
	return 0;
}

int main(int argc, char **argv)
{
	if (argc > 1 && strcmp(argv[1], "--record") == 0)
		return record();
	if (argc > 1 && strcmp(argv[1], "--scenes") == 0)
		return record_scenes();
	if (argc > 1 && strcmp(argv[1], "--rebuild") == 0)
		return rebuild();
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(each_to_its_end),
		cmocka_unit_test(by_pedal_alone),
	    cmocka_unit_test(scenes_of_the_demo),
	    cmocka_unit_test(the_same_twice),
	    cmocka_unit_test(recorded_anew),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/*
 * A machine that is switched off in the middle of a guided run, and comes up with another clock: years
 * ahead (with a monotonic clock that began anew), or behind the records that are there.  The run is where it was; time
 * that nobody saw counts for nothing, whatever the wall says; and the log is whole, in its order.
 *
 * The clocks are libfaketime's.  Where it is not installed the machine comes up with its own.
 */
#include "tests/guide_daemon_stand.h"

#define FAKE "/usr/lib/*/faketime/libfaketime.so.1"

static const char unit_csv[] = "position,kind,nominal,tolerance,rated,role,with,max\n"
                               "C20,electrolytic,32 uF,-20/+50%,450 V,reservoir,,\n"
                               "HT1,rail,285 V,10%,,,,\n"
                               "V3,valve,280 V,10%,,output,,14\n"
                               "R21,metal-film,10,1%,,sense,V3,\n";

/* What comes up next: FAKETIME, and whether the monotonic clock is another one, too. */
static const char *const boots[][2] = {{"+400d", "0"}, {"-30d", "1"}, {"+4000d", "0"}, {"-3000d", "1"}};
#define BOOTS (sizeof boots / sizeof *boots)

static size_t booted;

static void begin_unit(struct stand *s)
{
	booted = 0;
	begin_with(s, "0.00 V DC", unit_csv);
}

/* The current is gone, and comes back. */
static void reboot(struct stand *s)
{
	static char script[400];
	const char *const *b = boots[booted++ % BOOTS];
	snprintf(script, sizeof script,
	         "for f in " FAKE "; do [ -e \"$f\" ] && LD_PRELOAD=\"$LD_PRELOAD:$f\" && export FAKETIME=%s "
	         "FAKETIME_DONT_FAKE_MONOTONIC=%s DONT_FAKE_MONOTONIC=%s; done; exec \"$@\"", b[0], b[1], b[1]);
	daemon_stop(s, SIGKILL);
	memcpy(s->wrap, (const char *[]){"sh", "-c", script, "sh", NULL}, 5 * sizeof *s->wrap);
	daemon_start(s);
}

static double look(struct stand *s, const char *step, const char *key)
{
	char wanted[60];
	snprintf(wanted, sizeof wanted, "\"step\":\"%s\"", step);
	struct answer a = tally_run(s, (const char *const[]){"--json", "status", NULL});
	const char *at = strstr(a.out, wanted);
	if (!at)
		fail_msg("not at %s: %s", step, a.out);
	snprintf(wanted, sizeof wanted, "\"%s\":", key);
	at = strstr(at, wanted);
	double x = at ? strtod(at + strlen(wanted), NULL) : -1;
	answer_free(&a);
	return x;
}

static bool at_step(struct stand *s, const char *step)
{
	char wanted[60];
	snprintf(wanted, sizeof wanted, "\"step\":\"%s\"", step);
	struct answer a = tally_run(s, (const char *const[]){"--json", "status", NULL});
	bool there = strstr(a.out, wanted) != NULL;
	answer_free(&a);
	return there;
}

static void test_reform(void **state)
{
	static const char *const steps[] = {"part", "clip", "supply"};
	struct stand *s = *state;
	begin_unit(s);
	musttally(s, 0, "reform", "C20", "drop=red", "part=blue", "resistor=100k", "--yes");
	for (int i = 0; i < 3; i++) {
		look(s, steps[i], "step");
		reboot(s);
		look(s, steps[i], "step");
		go(s, "C20");
	}
	meter_says(s, red, "20.0 V DC");
	meter_says(s, blue, "84.0 V DC");
	for (size_t i = 0; i < BOOTS; i++) {
		usleep(300000);
		reboot(s);
		/* Not given up, however many days the wall says have gone. */
		look(s, "quarter", "step");
		mustanswer(s, 0, "\"alarms\":[]", "--json", "status");
		mustanswer(s, 0, "set the supply to 113 V", "--json", "status");
	}
	musttally(s, 0, "leave", "C20");
	musttally(s, 0, "reform", "C20", "--resume", "--yes");
	look(s, "part", "step");
	musttally(s, 0, "leave");
	daemon_stop(s, SIGTERM);
	musttally(s, 0, "verify", s->log);
}

static void test_rise(void **state)
{
	static const struct { const char *step, *red, *blue; } road[] = {
	    {"ready", NULL, NULL}, {"load", NULL, NULL}, {"bare", NULL, NULL}, {"transformer", "0.1 V DC", NULL},
	    {"rectifier", NULL, NULL}, {"raise", "94.8 V DC", NULL}, {"raise", "189.5 V DC", NULL},
	    {"raise", "284.3 V DC", NULL}, {"raise", "379.1 V DC", NULL}, {"valves", NULL, NULL},
	    {"glow", "150.0 V DC", NULL}, {"lamp", NULL, NULL}, {"on", "286.0 V DC", NULL},
	    {"rails", NULL, NULL}, {"sense", NULL, "0.3500 V DC"}};
	struct stand *s = *state;
	begin_unit(s);
	musttally(s, 0, "rise", "rail=red", "probe=blue", "soak=0.1", "because=tests", "--yes");
	for (size_t i = 0; i < sizeof road / sizeof *road; i++) {
		if (road[i].red)
			meter_says(s, red, road[i].red);
		if (road[i].blue)
			meter_says(s, blue, road[i].blue);
		look(s, road[i].step, "step");
		if (i % 2)
			reboot(s);
		look(s, road[i].step, "step");
		/* No alarm, and the unit is what it was: on, and no more being measured dead. */
		mustanswer(s, 0, "\"alarms\":[]", "--json", "status");
		bool on = strcmp(road[i].step, "raise") == 0 || strcmp(road[i].step, "rails") == 0;
		if (on)
			mustanswer(s, 0, "\"discharging\":false", "--json", "status");
		usleep(600000);
		go(s, "rise");
	}
	/* Six seconds of soak, of which a reboot takes what was not kept, and adds nothing. */
	double left = look(s, "soak", "left");
	assert_true(left > 3 && left <= 6);
	reboot(s);
	double after = look(s, "soak", "left");
	if (!(after > 4.5 && after <= 6))
		fail_msg("%g s left after the reboot, %g before", after, left);
	for (int i = 0; i < 200 && !at_step(s, "sense-after"); i++)
		usleep(50000);
	for (int i = 0; i < 3; i++) {
		usleep(600000);
		go(s, "rise");
	}
	mustanswer(s, 0, "\"guides\":[]", "--json", "status");
	daemon_stop(s, SIGTERM);
	musttally(s, 0, "verify", s->log);
	/* And the report tells it, with times that go back and forth. */
	musttally(s, 0, "--file", s->log, "report", "--incomplete", "a test", "--out",
	          in_dir(s, "report"));
	char *html = file_text(in_dir(s, "report/report.html"));
	assert_non_null(strstr(html, "bringing up the power: done"));
	free(html);
	unlink(in_dir(s, "report/report.html"));
}

int main(void)
{
	const struct CMUnitTest tests[] = {on_stand(test_reform), on_stand(test_rise)};
	return run_on_stand(tests);
}

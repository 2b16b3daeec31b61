/* SPDX-License-Identifier: MIT */
/*
 * Guided runs through the whole program, by verbs, with a daemon that is killed (-9) in the
 * middle of every step, and what is refused before anything begins.
 *
 * Leakage: 0.412 V less 0.012 V over 1 Mohm beside the 10 Mohm of the meter: 0.44 uA (Ohm's law).
 */
#include "tests/guide_daemon_stand.h"

#include <poll.h>
#include <sys/socket.h>
#include <sys/un.h>

static void killed_at(struct stand *s, const char *step)
{
	char wanted[60];
	snprintf(wanted, sizeof wanted, "\"step\":\"%s\"", step);
	mustanswer(s, 0, wanted, "--json", "status");
	daemon_stop(s, SIGKILL);
	daemon_start(s);
	mustanswer(s, 0, wanted, "--json", "status");
}

static void test_leak(void **state)
{
	static const char *const steps[] = {"valve", "clip", "zero", "power", "volts", "off"};
	struct stand *s = *state;
	begin(s);
	mustanswer(s, 2, "--yes", "leak", "C1", "grid=red");
	mustanswer(s, 0, "caution: valve equipment kills", "leak", "C1", "grid=red", "--yes");
	for (int i = 0; i < 6; i++) {
		if (strcmp(steps[i], "volts") == 0)
			meter_says(s, red, "0.4120 V DC");
		killed_at(s, steps[i]);
		if (strcmp(steps[i], "volts") == 0)
			usleep(600000);
		go(s, "C1");
	}
	mustanswer(s, 0, "\"guides\":[]", "--json", "status");
	daemon_stop(s, SIGTERM);
	musttally(s, 0, "verify", s->log);
}

static void test_reform(void **state)
{
	static const char *const steps[] = {"part", "clip", "supply", "quarter"};
	struct stand *s = *state;
	begin(s);
	meter_says(s, red, "0.00 V DC");
	mustanswer(s, 0, "refused as it stands: which resistor", "reform", "C20", "--dry");
	mustanswer(s, 1, "which resistor", "reform", "C20", "drop=red", "part=blue", "--yes");
	mustanswer(s, 0, "caution: a charged capacitor kills", "reform", "C20", "drop=red", "part=blue",
	         "resistor=100k", "--yes");
	for (int i = 0; i < 4; i++) {
		killed_at(s, steps[i]);
		if (i < 3)
			go(s, "C20");
	}
	/* It ends by itself, not by a key; and it says what to set. */
	mustanswer(s, 1, "ends by itself", "go", "C20");
	mustanswer(s, 0, "set the supply to 113 V", "--json", "status");
	/* Its volts are no alarm of the cold unit, and the wrong way round is one. */
	meter_says(s, blue, "84.0 V DC");
	meter_says(s, red, "20.0 V DC");
	usleep(300000);
	mustanswer(s, 0, "\"alarms\":[]", "--json", "status");
	meter_says(s, blue, "-9.00 V DC");
	usleep(300000);
	mustanswer(s, 0, "wrong way round", "--json", "status");
	mustanswer(s, 0, "\"alarm\":\"guide\"", "--json", "status");
	killed_at(s, "off");
	mustanswer(s, 0, "wrong way round", "--json", "status");
	mustanswer(s, 0, "\"alarm\":\"guide\"", "--json", "status");
	musttally(s, 0, "leave", "C20");
	mustanswer(s, 0, "\"alarms\":[]", "--json", "status");
	mustanswer(s, 0, "taken up again", "reform", "C20", "--resume", "--yes");
	mustanswer(s, 0, "\"step\":\"part\"", "--json", "status");
	mustanswer(s, 1, "goes on already", "reform", "C20", "drop=red", "part=blue", "resistor=100k", "--yes");
	musttally(s, 0, "leave");
	daemon_stop(s, SIGTERM);
	musttally(s, 0, "verify", s->log);
}

/* What stands before the power is refused by the daemon itself, not by the client alone: here
 * by a client that does not ask (the socket, a line by hand); and the pitch of a `tune`. */
static void wire_says(struct stand *s, const char *method, const char *params, const char *wanted)
{
	char answer[65536] = "";
	size_t n = 0;
	struct sockaddr_un where = {.sun_family = AF_UNIX};
	int fd = socket(AF_UNIX, SOCK_STREAM, 0);
	snprintf(where.sun_path, sizeof where.sun_path, "%s", s->socket);
	assert_int_equal(connect(fd, (struct sockaddr *)&where, sizeof where), 0);
	dprintf(fd, "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"hello\",\"params\":{\"protocol\":1,\"client\":\"t\"}}\n"
	        "{\"jsonrpc\":\"2.0\",\"id\":2,\"method\":\"%s\",\"params\":%s}\n", method, params);
	struct pollfd p = {.fd = fd, .events = POLLIN};
	while (!strstr(answer, wanted) && n < sizeof answer - 1 && poll(&p, 1, 4000) > 0) {
		ssize_t got = read(fd, answer + n, sizeof answer - 1 - n);
		if (got <= 0)
			break;
		n += (size_t)got;
		answer[n] = '\0';
	}
	close(fd);
	if (!strstr(answer, wanted))
		fail_msg("%s %s: expected %s: %s", method, params, wanted, answer);
}

static void test_rise_asks_the_log(void **state)
{
	static const char start[] = "{\"name\":\"rise\",\"text\":\"rail=red%s\"}";
	char params[200];
	struct stand *s = *state;
	begin(s);
	musttally(s, 0, "sheet", "add", "HT1 285V");
	musttally(s, 0, "sheet", "fit", "C1", "kind=film");
	snprintf(params, sizeof params, start, "");
	wire_says(s, "guide.start", params, "not ready for the power: new and not said to be in its place: C1");
	wire_says(s, "guide.start", params, "because=TEXT");
	snprintf(params, sizeof params, start, " because=");
	wire_says(s, "guide.start", params, "not ready for the power");
	mustanswer(s, 0, "\"guides\":[]", "--json", "status");
	snprintf(params, sizeof params, start, " because=it-is-in");
	wire_says(s, "guide.start", params, "\"seq\":");
	musttally(s, 0, "leave");
	wire_says(s, "guide.resume", "{\"name\":\"rise\"}", "\"seq\":"); /* it said why */
	musttally(s, 0, "leave");
	musttally(s, 0, "job", "fitted", "C1");
	snprintf(params, sizeof params, start, "");
	wire_says(s, "guide.start", params, "\"seq\":");
	musttally(s, 0, "leave");
	/* The fit came after it was left: its words say nothing of that. */
	musttally(s, 0, "sheet", "fit", "C1", "kind=paper");
	wire_says(s, "guide.resume", "{}", "not ready for the power");
	/* Another run is not asked. */
	wire_says(s, "guide.start", "{\"name\":\"leak\",\"position\":\"C1\",\"text\":\"grid=red\"}", "\"seq\":");
	daemon_stop(s, SIGTERM);
	musttally(s, 0, "verify", s->log);
}

/* 660 Hz is the target (protocol/guide/guide.h); above it, higher. */
static void test_live_has_the_pitch(void **state)
{
	struct stand *s = *state;
	begin(s);
	musttally(s, 0, "sheet", "add", "TP1 0.42V 5%");
	musttally(s, 0, "job", "live");
	meter_says(s, red, "0.4200 V DC");
	mustanswer(s, 0, "begun", "tune", "TP1", "here=red", "to=0.42V", "--yes");
	go(s, "TP1");
	wire_says(s, "watch", "{\"live\":true}", "\"ear\":{\"of\":\"TP1\",\"meter\":\"red\",\"toward\":0,\"inside\":true,\"hertz\":660}");
	meter_says(s, red, "0.5000 V DC");
	wire_says(s, "watch", "{\"live\":true}", "\"inside\":false,\"hertz\":1");
	meter_says(s, red, "OL V DC");
	usleep(400000);
	wire_says(s, "watch", "{\"live\":true}", "\"position\":null}"); /* and no ear behind it */
	daemon_stop(s, SIGTERM);
}

static void test_rise(void **state)
{
	struct stand *s = *state;
	int steps = 0, raised = 0, answered = 0;
	char step[40];
	begin_power(s);
	meter_says(s, red, "0.1 V DC");
	mustanswer(s, 0, "caution:", "rise", "rail=red", "because=the leg is known to be up",
	           "probe=blue", "soak=0", "--yes");
	while (snprintf(step, sizeof step, "%s", step_now(s)) > 0 && steps++ < 60) {
		amplifier(s, step, raised);
		raised += strcmp(step, "raise") == 0;
		/* The ten points of the response are one step: killed before the first and the third. */
		answered += strcmp(step, "response") == 0;
		if (strcmp(step, "response") != 0 || answered == 1 || answered == 3)
			killed_at(s, step);
		go(s, "rise");
	}
	assert_int_equal(raised, 4);
	assert_int_equal(answered, 10);
	mustanswer(s, 0, "\"guides\":[]", "--json", "status");
	daemon_stop(s, SIGTERM);
	musttally(s, 0, "verify", s->log);
}

static void test_tune(void **state)
{
	struct stand *s = *state;
	begin_power(s);
	meter_says(s, red, "-38.0 V DC");
	musttally(s, 0, "job", "live");
	mustanswer(s, 0, "caution:", "tune", "BIAS", "here=red", "--yes");
	killed_at(s, "clip");
	go(s, "BIAS");
	killed_at(s, "set");
	meter_says(s, red, "-34.5 V DC");
	usleep(700000); /* at rest */
	go(s, "BIAS");
	mustanswer(s, 0, "\"guides\":[]", "--json", "status");
	mustanswer(s, 0, "\"value\":-34.5", "--json", "entries");
	daemon_stop(s, SIGTERM);
	musttally(s, 0, "verify", s->log);
}

/* Until so many parts are counted. */
static void counted(struct stand *s, int parts)
{
	char wanted[40];
	bool there = false;
	snprintf(wanted, sizeof wanted, "\"parts\":%d,", parts);
	for (int i = 0; i < 200 && !there; i++) {
		struct answer a = tally_run(s, (const char *const[]){"--json", "status", NULL});
		there = strstr(a.out, wanted) != NULL;
		answer_free(&a);
		if (!there)
			usleep(50000);
	}
	assert_true(there);
}

static void test_lot(void **state)
{
	static const char *const parts[] = {"4.712 kOhm", "4.655 kOhm", "4.713 kOhm"};
	struct stand *s = *state;
	begin_power(s);
	meter_says(s, red, "OL MOhm");
	mustanswer(s, 0, "caution:", "lot", "4k7", "part=red", "for=R1,R2", "--yes");
	for (int i = 0; i < 3; i++) {
		killed_at(s, "touch");
		usleep(400000); /* it hears the leads open */
		meter_says(s, red, parts[i]);
		counted(s, i + 1);
		/* With the part still between the probes: it is no new one. */
		if (i == 1) {
			killed_at(s, "touch");
			usleep(1500000); /* long enough to settle */
		}
		meter_says(s, red, "OL MOhm");
		usleep(1200000); /* a lift */
		counted(s, i + 1);
	}
	go(s, "lot");
	killed_at(s, "pairs");
	mustanswer(s, 0, "1 and 3 for R1 and R2", "--json", "status");
	go(s, "lot");
	mustanswer(s, 0, "\"guides\":[]", "--json", "status");
	mustanswer(s, 0, "loose, lot 4k7, part 2: 4.655 kohm", "entries");
	daemon_stop(s, SIGTERM);
	musttally(s, 0, "verify", s->log);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		on_stand(test_leak),
		on_stand(test_reform),
		on_stand(test_rise_asks_the_log),
		on_stand(test_live_has_the_pitch),
		on_stand(test_rise),
		on_stand(test_tune),
		on_stand(test_lot),
	};
	return run_on_stand(tests);
}

/* SPDX-License-Identifier: MIT */
/*
 * `tally doctor` as people run it, on a whole daemon with meters on pseudo-terminals:
 * one that is well and, beside it, one for each trouble; and without a daemon.
 *
 * A pseudo-terminal carries no parity and framing errors, so the bytes that came with
 * one are left out here: an adapter whose driver drops them does the same.
 */
#include "tests/daemon_stand.h"
#include "tests/uart_model.h"

#include <sys/file.h>

/* ---- meters that speak with other settings than the line has ---- */

static struct {
	char bytes[16384];
	size_t n;
} heard;

static void hear_byte(void *arg, unsigned char byte)
{
	(void)arg;
	if (heard.n < sizeof heard.bytes)
		heard.bytes[heard.n++] = (char)byte;
}

static void hear_error(void *arg)
{
	(void)arg;
}

/* Readings sent as `sent`, as a line that is read as `read` hears them. */
static void hear_line(const char *sent, const char *read)
{
	struct line_settings from = {.baud = 0}, to = {.baud = 0};
	struct fault why;
	struct wire w;
	char line[64];
	assert_true(line_settings_parse(sent, strlen(sent), &from, &why));
	assert_true(line_settings_parse(read, strlen(read), &to, &why));
	heard.n = 0;
	wire_begin(&w, from.baud);
	for (int i = 0; i < 80; i++) {
		int n = snprintf(line, sizeof line, "+%d.%03d kOhm\r\n", i % 10, i * 7919 % 1000);
		wire_send(&w, &from, line, (size_t)n, 0);
		wire_bit(&w, 1, 16 * 50);
	}
	wire_hear(&w, &to, 0.005, false, hear_byte, hear_error, NULL);
	free(w.level);
	assert_true(heard.n > 60);
}

static void say_bytes(struct stand *s, int meter, const char *bytes, size_t len)
{
	pthread_mutex_lock(&s->lock);
	ssize_t n = write(s->sim[meter].master, bytes, len);
	pthread_mutex_unlock(&s->lock);
	assert_int_equal(n, len);
}

static void meter_mute(struct stand *s, int meter)
{
	pthread_mutex_lock(&s->lock);
	s->sim[meter].asked = false;
	pthread_mutex_unlock(&s->lock);
}

/* ---- what it answers ---- */

static json_t *doctor_json(struct stand *s, int status)
{
	struct answer a = tally(s, "doctor", "--json");
	if (a.status != status)
		fail_msg("doctor: status %d, expected %d\n%s\n%s", a.status, status, a.out, a.err);
	json_t *all = json_loads(a.out, JSON_REJECT_DUPLICATES, NULL);
	assert_non_null(all);
	answer_free(&a);
	return all;
}

static json_t *meter_of(json_t *all, const char *name)
{
	json_t *meter;
	size_t i;
	json_array_foreach(json_object_get(all, "meters"), i, meter)
		if (!strcmp(json_string_value(json_object_get(meter, "name")), name))
			return meter;
	fail_msg("no meter %s", name);
	return NULL;
}

/* Its first finding is this one (faults come first); "" for no fault: a loaded machine
 * may be worth a word. */
static void must_find(json_t *all, const char *name, const char *word, const char *text,
                      const char *cure)
{
	json_t *of = name ? meter_of(all, name) : all;
	json_t *first = json_array_get(json_object_get(of, "findings"), 0);
	const char *w = json_string_value(json_object_get(first, "word"));
	const char *t = json_string_value(json_object_get(first, "text"));
	const char *c = json_string_value(json_object_get(first, "cure"));
	if (!word[0]) {
		if (json_is_true(json_object_get(first, "fault")))
			fail_msg("%s: %s: %s", name, w, t);
		return;
	}
	if (!first || strcmp(w, word) || !strstr(t, text) || !strstr(c, cure))
		fail_msg("%s: expected %s (%s; %s), found %s\n  %s\n  %s", name ? name : "bench", word, text,
		         cure, w ? w : "nothing", t ? t : "", c ? c : "");
	if (name && json_is_true(json_object_get(first, "fault")))
		assert_true(json_is_false(json_object_get(of, "ok")));
}

static void a_bench_full_of_troubles(void **state)
{
	struct stand *s = *state;
	int well = meter_new(s, "well", 5, "");
	int dead = meter_new(s, "dead", 5, "dtr = on\nrts = off");
	int slow = meter_new(s, "slow", 5, "serial = 9600 8N1");
	int seven = meter_new(s, "seven", 5, "serial = 9600 8N1");
	int bare = meter_new(s, "bare", 10, "");
	int held = meter_new(s, "held", 5, "");
	int away = meter_new(s, "away", 5, "");
	int mute = meter_new(s, "mute", 0, "function = ohm");
	int echo = meter_new(s, "echo", 0, "function = ohm");
	int good = meter_new(s, "good", 0, "function = ohm\npace = 0.1");
	(void)away;
	meter_says(s, well, "+0.4812 kOhm");
	meter_says(s, bare, "+4.8120E+02");
	meter_says(s, good, "+4.8120E+02");
	const int there[] = {well, dead, slow, seven, bare, held, mute, echo, good};
	for (size_t i = 0; i < sizeof there / sizeof *there; i++)
		meter_plug(s, there[i]);
	int other = open(s->sim[held].link, O_RDWR | O_NOCTTY | O_CLOEXEC);
	assert_true(other >= 0 && flock(other, LOCK_EX) == 0);
	config_write(s);
	/* They read questions like the others, and answer none. */
	meter_mute(s, mute);
	meter_mute(s, echo);
	s->daemon = daemon_launch(s, (const char *[]){"--config", s->config, NULL}, s->said);
	int fd = -1;
	wait_until(s, (fd = socket_connect(s->socket)) >= 0);
	close(fd);
	wait_until(s, file_has(s->said, "slow: line open") && file_has(s->said, "seven: line open") &&
	                  file_has(s->said, "echo: line open"));
	hear_line("2400 8N1", "9600 8N1");
	say_bytes(s, slow, heard.bytes, heard.n);
	hear_line("9600 7E1", "9600 8N1");
	say_bytes(s, seven, heard.bytes, heard.n);
	wait_until(s, meter_got(s, echo) >= 6);
	say_bytes(s, echo, "*IDN?\n", 6);
	/* Silence takes its time to be one. */
	double until = now_s() + 5.3;
	wait_until(s, now_s() > until);

	json_t *all = doctor_json(s, 1);
	assert_true(json_is_true(json_object_get(all, "daemon")));
	must_find(all, "well", "", "", "");
	must_find(all, "good", "", "", "");
	must_find(all, "dead", "silent", "not one byte", "try `dtr = off` and `rts = on`");
	must_find(all, "slow", "speed", "4 times slower", "serial = 2400 8N1");
	must_find(all, "seven", "bits", "even parity", "serial = 9600 7E1");
	must_find(all, "bare", "dialect", "ascii-number understands them", "dialect = ascii-number");
	must_find(all, "held", "held", "test_doctor_sta", "close the line");
	must_find(all, "away", "absent", "is not there", "plug it in");
	must_find(all, "mute", "no-answer", "*IDN?", "identify = no");
	must_find(all, "echo", "echo", "*IDN?", "echo off");
	assert_int_equal(json_array_size(json_object_get(all, "adapters")), 9);
	json_decref(all);

	/* For people; one meter alone has its own exit status. */
	struct answer a = tally(s, "doctor");
	assert_int_equal(a.status, 1);
	/* On a machine that is busy our meter may really have stopped for a moment. */
	assert_true(strstr(a.out, "well         nothing stands in the way: listened to at /dev/ttyTEST0") ||
	            strstr(a.out, "well         worth knowing (unsteady)"));
	assert_non_null(strstr(a.out, "slow         IN THE WAY (speed)"));
	assert_null(strchr(a.out, '\x1b'));
	answer_free(&a);
	musttally(s, 0, "doctor", "well");
	musttally(s, 0, "doctor", "good", "--plain");
	musttally(s, 1, "doctor", "dead");
	musttally(s, 2, "doctor", "nobody");
	musttally(s, 2, "doctor", "--file", s->log);

	/* What it says is done: the line is let go, and the meter is switched on. */
	close(other);
	wait_until(s, file_has(s->said, "held: line open"));
	meter_says(s, held, "+0.4812 kOhm");
	meter_says(s, dead, "+0.4812 kOhm");
	wait_until(s, tally_status(s, "doctor", "dead") == 0 && tally_status(s, "doctor", "held") == 0);

	/* Nothing was ever sent to those that are listened to. */
	const int listened[] = {well, dead, slow, seven, bare, held};
	for (size_t i = 0; i < sizeof listened / sizeof *listened; i++)
		assert_int_equal(meter_got(s, listened[i]), 0);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
}

static void all_is_well(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 10, "");
	meter_says(s, red, "+0.4812 kOhm");
	meter_plug(s, red);
	daemon_start(s);
	wait_until(s, meter_said(s, red) > 5);
	json_t *all = doctor_json(s, 0);
	must_find(all, "red", "", "", "");
	assert_true(json_is_true(json_object_get(all, "ok")));
	json_decref(all);
	/* Asked all the time it costs no reading. */
	for (int i = 0; i < 10; i++)
		musttally(s, 0, "doctor");
	/* Many at once, and one that goes away before its answer. */
	struct peer *p[8];
	for (int i = 0; i < 8; i++) {
		p[i] = peer_greeted(s);
		mustsend(p[i], CALL("7", "doctor", "{}"));
	}
	peer_free(p[0]);
	for (int i = 1; i < 8; i++)
		mustsee(p[i], "\"id\":7,\"result\":{\"ok\":true,");
	mustsend(p[1], CALL("8", "doctor", "{\"meter\":\"red\"}"));
	mustsee(p[1], "\"code\":-32602");
	/* It ends while one looks. */
	mustsend(p[1], CALL("9", "doctor", "{}"));
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
}

/* `tally doctor` below demo/adapters, as `words`; no daemon runs. */
static struct answer doctor_alone(struct stand *s, const char *const *words)
{
	static char spec[METERS_MAX][256], program[PATH_MAX];
	const char *all[64];
	int n = 0;
	const char *out = in_dir(s, "alone.out"), *err = in_dir(s, "alone.err");
	unlink(out);
	unlink(err);
	snprintf(program, sizeof program, "%s/tally", build_dir());
	all[n++] = "sh";
	all[n++] = "demo/adapters";
	for (int i = 0; i < s->sims; i++) {
		snprintf(spec[i], sizeof spec[i], "ttyTEST%d=%s,1209:0001:%s", i, s->sim[i].link,
		         s->sim[i].name);
		all[n++] = spec[i];
	}
	all[n++] = "--";
	for (int i = 0; s->wrap[i]; i++)
		all[n++] = s->wrap[i];
	all[n++] = program;
	for (int i = 0; words[i]; i++)
		all[n++] = words[i];
	all[n] = NULL;
	struct answer a = {.status = child_wait(s, child_start(s, all, out, err))};
	a.out = file_text(out);
	a.err = file_text(err);
	return a;
}

static void without_a_daemon(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 5, ""), blue = meter_new(s, "blue", 5, "");
	(void)blue;
	meter_plug(s, red);
	config_write(s);
	const char *const words[] = {"doctor", "--json", "--config", s->config, NULL};
	struct answer a = doctor_alone(s, words);
	assert_int_equal(a.status, 1);
	json_t *all = json_loads(a.out, 0, NULL);
	if (!all)
		fail_msg("no JSON: %s%s", a.out, a.err);
	assert_true(json_is_false(json_object_get(all, "daemon")));
	must_find(all, NULL, "no-daemon", "no daemon", "");
	must_find(all, "red", "", "", "");
	must_find(all, "blue", "absent", "usb:1209:0001:blue is not there", "plug it in");
	assert_string_equal(json_string_value(json_object_get(meter_of(all, "red"), "line")), "unread");
	json_decref(all);
	answer_free(&a);

	/* Another program has it. */
	int other = open(s->sim[red].link, O_RDWR | O_NOCTTY | O_CLOEXEC);
	assert_true(other >= 0);
	a = doctor_alone(s, words);
	all = json_loads(a.out, 0, NULL);
	must_find(all, "red", "held", "test_doctor_sta", "close the line");
	json_decref(all);
	answer_free(&a);
	close(other);

	/* A configuration with a fault, and for people. */
	file_write(s->config, "[bench]\nname = x\n[meter red]\nprot = /dev/x\n");
	a = doctor_alone(s, (const char *[]){"doctor", "--config", s->config, NULL});
	assert_int_equal(a.status, 1);
	assert_non_null(strstr(a.out, "bench.conf:4:1:"));
	assert_non_null(strstr(a.out, "--check-config"));
	answer_free(&a);
	assert_int_equal(meter_got(s, red), 0);

	/* It goes with nothing that it would do besides. */
	char *err;
	assert_int_equal(daemon_run(s, (const char *[]){"--doctor", "--serve", "x", NULL}, &err), 2);
	assert_non_null(strstr(err, "--doctor goes with"));
	free(err);
}

/* As another user, whom the node does not know. */
static void missing_right(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 5, "");
	meter_plug(s, red);
	config_write(s);
	assert_int_equal(chmod(s->dir, 0777), 0);
	assert_int_equal(chmod(s->config, 0644), 0);
	assert_int_equal(chmod(s->sim[red].link, geteuid() ? 0 : 0660), 0);
	if (geteuid() == 0) {
		assert_int_equal(chown(s->sim[red].link, 0, 20), 0); /* any group but root's */
		static const char *const user[] = {"setpriv", "--reuid=65534", "--regid=65534",
		                                   "--clear-groups", NULL};
		memcpy(s->wrap, user, sizeof user);
	}
	struct answer a = doctor_alone(s, (const char *[]){"doctor", "--json", "--config", s->config, NULL});
	json_t *all = json_loads(a.out, 0, NULL);
	if (!all) { /* no setpriv, or a build folder that is not for everybody */
		print_message("no other user can run it here: %s", a.err);
		answer_free(&a);
		skip();
	}
	assert_int_equal(a.status, 1);
	must_find(all, "red", "denied", "may not be used: it belongs to",
	          geteuid() ? "60-tally.rules" : "adduser");
	json_decref(all);
	answer_free(&a);
}

/* A line that no daemon has: taped until it goes, and tried.  Nothing is sent, and one
 * that is not there is an error at once. */
static void test_listen(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 20, NULL);
	char *err;
	meter_says(s, red, "+0.4812 kOhm");
	assert_int_equal(daemon_run(s, (const char *[]){ "--listen", "/dev/ttyTEST0", NULL }, &err), 2);
	assert_non_null(strstr(err, "/dev/ttyTEST0 is not there"));
	free(err);
	assert_int_equal(daemon_run(s, (const char *[]){ "--listen", "/dev/ttyTEST0", "--line",
	                                                "9600 8N1 up", NULL }, &err), 2);
	assert_non_null(strstr(err, "what is \"up\"?"));
	free(err);
	meter_plug(s, red);
	const char *out = in_dir(s, "out");
	unlink(out);
	pid_t pid = daemon_launch(s, (const char *[]){ "--listen", "/dev/ttyTEST0", "--line",
	                                              "2400 7E1 dtr=on rts=off", NULL }, s->said);
	wait_until(s, file_has(out, "4812 kOhm\\r\\n\""));
	meter_unplug(s, red);
	assert_int_equal(child_wait(s, pid), 0);
	assert_true(file_has(s->said, "the line went away"));
	assert_int_equal(meter_got(s, red), 0);
	const char *tape = in_dir(s, "x.rec");
	assert_int_equal(rename(out, tape), 0);
	struct answer a = tally(s, "meters", "try", "ascii-unit", tape);
	assert_int_equal(a.status, 0);
	assert_non_null(strstr(a.out, "0.4812 kohm ohm"));
	answer_free(&a);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		on_stand(test_listen),
	    on_stand(a_bench_full_of_troubles),
	    on_stand(all_is_well),
	    on_stand(without_a_daemon),
	    on_stand(missing_right),
	};
	return run_on_stand(tests);
}

/* SPDX-License-Identifier: MIT */
/*
 * Another configuration while the daemon runs: what is wrong changes nothing, what is the same
 * loses no frame, and what changed begins anew.
 */
#include "tests/daemon_stand.h"

static long counter(struct stand *s, const char *meter, const char *name)
{
	struct answer a = tally(s, "--json", "meters");
	long n = -1;
	for (char *line = strtok(a.out, "\n"); line; line = strtok(NULL, "\n")) {
		json_t *m = json_loads(line, 0, NULL);
		if (m && !strcmp(json_string_value(json_object_get(m, "name")), meter))
			n = (long)json_integer_value(json_object_get(json_object_get(m, "counters"), name));
		json_decref(m);
	}
	answer_free(&a);
	return n;
}

static const char *state_of(struct stand *s, const char *meter)
{
	static char state[32];
	struct answer a = tally(s, "--json", "meters");
	state[0] = '\0';
	for (char *line = strtok(a.out, "\n"); line; line = strtok(NULL, "\n")) {
		json_t *m = json_loads(line, 0, NULL);
		if (m && !strcmp(json_string_value(json_object_get(m, "name")), meter))
			snprintf(state, sizeof state, "%s", json_string_value(json_object_get(m, "state")));
		json_decref(m);
	}
	answer_free(&a);
	return state;
}

static void must_reload(struct stand *s, int status, const char *fragment)
{
	struct answer a = tally(s, "--json", "reload");
	if (a.status != status || (!strstr(a.out, fragment) && !strstr(a.err, fragment))) {
		show_said(s);
		fail_msg("reload: status %d and %s were expected, not %d:\n%s%s", status, fragment, a.status,
		         a.out, a.err);
	}
	answer_free(&a);
}

static void about(struct stand *s, int meter, const char *text)
{
	snprintf(s->about[meter], sizeof s->about[meter], "%s", text);
	config_write(s);
}

/* ---- nothing is lost ---- */

/* A meter that talks five hundred times a second, while everything around it changes. */
static void test_talking(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 500, "accuracy ohm = 1%"), blue = meter_new(s, "blue", 50, "");
	meter_plug(s, red);
	meter_plug(s, blue);
	meter_says(s, blue, "+2.00 kOhm");
	daemon_start(s);
	wait_until(s, !strcmp(state_of(s, "red"), "listened to") && !strcmp(state_of(s, "blue"), "listened to"));
	meter_says(s, red, "wander");
	wait_until(s, counter(s, "red", "readings") > 20);
	/* What came just when the line was opened may be the rest of a frame. */
	long bad = counter(s, "red", "bad");
	assert_true(bad <= 1);
	/* The other meter, the thresholds, the order of sections and keys,
	 * comments, the accuracy of this one. */
	for (int i = 0; i < 20; i++) {
		char text[200];
		snprintf(text, sizeof text, "quiet = %d\n; turn %d", i + 1, i);
		about(s, blue, text);
		must_reload(s, 0, "\"same\":[\"red\"],\"judged\":[],\"changed\":[\"blue\"]");
		nap_ms(10);
	}
	about(s, red, "# another comment\naccuracy   ohm =   1%");
	must_reload(s, 0, "\"same\":[\"red\",\"blue\"],\"judged\":[],\"changed\":[]");
	about(s, red, "accuracy ohm = 0.5% + 2\ninput volt-dc = 10M");
	must_reload(s, 0, "\"judged\":[\"red\"]");
	snprintf(s->extra, sizeof s->extra, "settle conversions = 7\n");
	config_write(s);
	must_reload(s, 0, "\"thresholds\":true");
	/* At another place of the file, and with a new one before it. */
	FILE *f = fopen(s->config, "w");
	fprintf(f, "[meter green]\nport = /dev/ttyNONE\ndialect = ascii-unit\n[meter red]\n"
	        "input volt-dc = 10M\naccuracy ohm = 0.5%% + 2\ndialect = ascii-unit\n"
	        "port = usb:1209:0001:red\n[bench]\nname = stand\nlog = %s\nsocket = %s\n"
	        "arm seconds = 0.2\nlift seconds = 0.1\nsettle conversions = 7\n", s->log, s->socket);
	fclose(f);
	must_reload(s, 0, "\"same\":[\"red\"],\"judged\":[],\"changed\":[],\"added\":[\"green\"],"
	            "\"removed\":[\"blue\"]");
	assert_int_equal(counter(s, "blue", "good"), -1);
	/* All that it said was heard: not one frame less, none in pieces. */
	meter_says(s, red, NULL);
	long said = (long)meter_said(s, red);
	wait_until(s, counter(s, "red", "good") + counter(s, "red", "bad") >= said);
	print_message("   %ld frames over 24 reloads\n", said);
	assert_int_equal(counter(s, "red", "good"), said - bad);
	assert_int_equal(counter(s, "red", "bad"), bad);
	assert_int_equal(counter(s, "red", "reconnects"), 0);
	assert_true(file_has(s->said, "red: line open"));
	assert_false(file_has(s->said, "red: line gone"));
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	/* And all of it is in the log, under the accuracy of its time, without a gap. */
	assert_int_equal(tally_status(s, "verify", s->log), 0);
	struct answer a = tally(s, "--file", s->log, "--json", "export");
	long readings = 0, gaps = 0;
	for (char *line = strtok(a.out, "\n"); line; line = strtok(NULL, "\n")) {
		json_t *r = json_loads(line, 0, NULL);
		const char *kind = json_string_value(json_object_get(r, "kind"));
		const char *meter = json_string_value(json_object_get(r, "meter"));
		if (kind && meter && !strcmp(meter, "red")) {
			readings += strcmp(kind, "trail") ? 0
			            : (long)json_array_size(json_object_get(r, "v"));
			gaps += !strcmp(kind, "gap");
		}
		json_decref(r);
	}
	answer_free(&a);
	assert_int_equal(readings, said - bad);
	assert_int_equal(gaps, 0);
}

/* A frame that is half in when the configuration is swapped. */
static void test_half_a_frame(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 20, ""), blue = meter_new(s, "blue", 20, "");
	meter_plug(s, red);
	meter_plug(s, blue);
	daemon_start(s);
	wait_until(s, !strcmp(state_of(s, "red"), "listened to"));
	struct sim *m = &s->sim[red];
	/* Behind the first line end: what comes before may be the rest of an older frame. */
	assert_int_equal(write(m->master, "+1.00 kOhm\r\n+4.7", 16), 16);
	wait_until(s, counter(s, "red", "good") + counter(s, "red", "bad") >= 1);
	long before = counter(s, "red", "good");
	struct peer *raw = peer_greeted(s);
	mustsend(raw, CALL("1", "raw", "{\"meter\":\"red\"}"));
	mustsee(raw, "\"id\":1,\"result\"");
	about(s, blue, "quiet = 9");
	must_reload(s, 0, "\"same\":[\"red\"]");
	assert_int_equal(write(m->master, "11 kOhm\r\n", 9), 9);
	wait_until(s, counter(s, "red", "good") == before + 1);
	mustsee(raw, "4.711 kOhm");
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
}

/* ---- what changed begins anew ---- */

static void test_changed(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 50, ""), blue = meter_new(s, "blue", 0, "function = ohm");
	meter_plug(s, red);
	meter_plug(s, blue);
	meter_says(s, red, "+1.00 kOhm");
	meter_says(s, blue, "2000");
	daemon_start(s);
	wait_until(s, counter(s, "red", "readings") > 3 && counter(s, "blue", "readings") > 3);
	struct peer *watch = peer_watching(s, -1);
	/* What is bound stays bound; the gap stands in the log. */
	assert_int_equal(tally_status(s, "job", "start", "amp"), 0);
	assert_int_equal(tally_status(s, "sheet", "add", "R1", "1k"), 0);
	assert_int_equal(tally_status(s, "at", "R1", "--meter", "red"), 0);
	about(s, red, "serial = 4800 8N1");
	must_reload(s, 0, "\"changed\":[\"red\"]");
	mustsee(watch, "\"meter\":\"red\",\"why\":\"another configuration\"");
	mustsee(watch, "\"kind\":\"gap\"");
	struct answer a = tally(s, "--json", "status");
	assert_non_null(strstr(a.out, "\"bound\":[{\"meter\":\"red\",\"position\":\"R1\""));
	answer_free(&a);
	/* A meter gets another name: its line moves to it as soon as it is let go. */
	snprintf(s->sim[red].name, sizeof s->sim[red].name, "rot");
	config_write(s);
	must_reload(s, 0, "\"added\":[\"rot\"],\"removed\":[\"red\"]");
	wait_until(s, counter(s, "rot", "readings") > 3);
	/* Two change lines with each other, both at once. */
	char other[16];
	memcpy(other, s->sim[red].serial, sizeof other);
	memcpy(s->sim[red].serial, s->sim[blue].serial, sizeof other);
	memcpy(s->sim[blue].serial, other, sizeof other);
	snprintf(s->about[red], sizeof s->about[red], "%s", "");
	config_write(s);
	must_reload(s, 0, "\"changed\":[\"rot\",\"blue\"]");
	wait_until(s, !strcmp(state_of(s, "rot"), "listened to"));
	/* None at all, and all of them again. */
	s->sim[red].spare = s->sim[blue].spare = true;
	config_write(s);
	must_reload(s, 0, "\"meters\":0");
	s->sim[red].spare = s->sim[blue].spare = false;
	config_write(s);
	must_reload(s, 0, "\"added\":[\"rot\",\"blue\"]");
	wait_until(s, !strcmp(state_of(s, "rot"), "listened to"));
	int files = open_files(s->daemon);
	for (int i = 0; i < 50; i++) {
		about(s, red, i % 2 ? "quiet = 1" : "quiet = 2");
		must_reload(s, 0, "\"changed\":[\"rot\"]");
	}
	wait_until(s, !strcmp(state_of(s, "rot"), "listened to"));
	wait_until(s, open_files(s->daemon) <= files + 1);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	assert_int_equal(tally_status(s, "verify", s->log), 0);
}

/* The file of a dialect belongs to the sections of its meters. */
#define DIALECT "[dialect]\nname = own\nreads = pattern\nserial = 9600 8N1\n\n[pattern]\n" \
	"match = (?<value>\\d+\\.\\d+) (?<unit>R)%s\nunit R = ohm\n\n[samples]\n" \
	"frame 1 = 1.5 R\nmeans 1 = ohm 1.5\n"

static void dialect_write(const char *path, const char *end)
{
	char text[1024];
	snprintf(text, sizeof text, DIALECT, end);
	file_write(path, text);
}

static void test_dialects(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 50, "");
	const char *folder = in_dir(s, "dialects"), *file = in_dir(s, "dialects/own.ini");
	assert_int_equal(mkdir(folder, 0700), 0);
	dialect_write(file, "");
	meter_plug(s, red);
	meter_says(s, red, "1.5 R");
	config_write(s);
	FILE *f = fopen(s->config, "w");
	fprintf(f, "[bench]\nname = stand\nlog = %s\nsocket = %s\ndialects = %s\n[meter red]\n"
	        "port = usb:1209:0001:red\ndialect = own\n", s->log, s->socket, folder);
	fclose(f);
	s->daemon = daemon_launch(s, (const char *[]){ "--config", s->config, NULL }, s->said);
	int fd;
	wait_until(s, (fd = socket_connect(s->socket)) >= 0);
	close(fd);
	wait_until(s, counter(s, "red", "readings") > 3);
	must_reload(s, 0, "\"same\":[\"red\"]");
	long before = counter(s, "red", "readings");
	/* It goes by the rules of the file that was loaded anew, not by freed ones. */
	wait_until(s, counter(s, "red", "readings") > before + 5);
	dialect_write(file, "?");
	must_reload(s, 0, "\"changed\":[\"red\"]");
	wait_until(s, counter(s, "red", "readings") > 3);
	/* A fault in it: its own place is named, and the old one goes on. */
	dialect_write(file, "(");
	must_reload(s, 2, "own.ini:7:");
	before = counter(s, "red", "readings");
	wait_until(s, counter(s, "red", "readings") > before + 5);
	unlink(file);
	must_reload(s, 2, "bench.conf:8:11: `dialect`: `own` is no dialect");
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
}

/* ---- what is wrong changes nothing ---- */

static void test_faults(void **state)
{
	static const struct { const char *legend, *text, *says; } rows[] = {
	    {"an unknown section", "[benches]\n", "bench.conf:1:"},
	    {"an unknown key", "[bench]\nname = stand\nlogs = x\n", "bench.conf:3:1: unknown key `logs`"},
	    {"a value out of range", "[bench]\nname = stand\narm seconds = 900\n", "bench.conf:3:15"},
	    {"a meter without a port", "[meter red]\ndialect = ascii-unit\n", "bench.conf:1:"},
	    {"another name", "[bench]\nname = other\n", "bench.conf:2:8: `name` is other now"},
	    {"no file", NULL, "bench.conf: the configuration cannot be read"},
	};
	struct stand *s = *state;
	int red = meter_new(s, "red", 50, "");
	meter_plug(s, red);
	meter_says(s, red, "+1.00 kOhm");
	daemon_start(s);
	wait_until(s, counter(s, "red", "readings") > 3);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		long before = counter(s, "red", "readings");
		print_message("row: %s\n", rows[i].legend);
		if (rows[i].text)
			file_write(s->config, rows[i].text);
		else
			unlink(s->config);
		must_reload(s, 2, rows[i].says);
		wait_until(s, counter(s, "red", "readings") > before + 3);
		struct answer a = tally(s, "status");
		assert_int_equal(a.status, 1);
		assert_non_null(strstr(a.out, "the configuration was not taken, an older one goes on"));
		answer_free(&a);
	}
	/* Where each of them stands: log and sockets need a restart. */
	static const char *const keys[] = {"log", "socket", "viewers"};
	for (size_t i = 0; i < 3; i++) {
		char text[512], says[64];
		snprintf(text, sizeof text, "[bench]\nname = stand\n%s%s%s%s%s%s%s = /tmp/elsewhere\n",
		         i ? "log = " : "", i ? s->log : "", i ? "\n" : "", i > 1 ? "socket = " : "",
		         i > 1 ? s->socket : "", i > 1 ? "\n" : "", keys[i]);
		snprintf(says, sizeof says, "`%s` is /tmp/elsewhere now", keys[i]);
		file_write(s->config, text);
		must_reload(s, 2, says);
	}
	assert_int_equal(counter(s, "red", "reconnects"), 0);
	config_write(s);
	must_reload(s, 0, "\"same\":[\"red\"]");
	assert_int_equal(tally_status(s, "status"), 0);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    on_stand(test_talking),  on_stand(test_half_a_frame), on_stand(test_changed),
	    on_stand(test_dialects), on_stand(test_faults),
	};
	return run_on_stand(tests);
}

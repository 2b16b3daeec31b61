/* SPDX-License-Identifier: MIT */
/*
 * `tally meters try`: a dialect held against a recording without a daemon, and
 * against a meter of a running one; and the same file in the daemon's own hands.
 */
#include "tests/client_script.h"
#include "tests/uart_model.h"

#define FRAME14 "+4812 1\\x20\\x00\\x20\\x20\\x00\\r\\n"

static char file[4][96]; /* of this run, removed at its end */
static int files;

static const char *written(const char *name, const char *text)
{
	char *p = file[files++];
	snprintf(p, sizeof file[0], "%s/%s", place, name);
	FILE *f = fopen(p, "wb");
	assert_non_null(f);
	fputs(text, f);
	fclose(f);
	return p;
}

static void forget(void)
{
	while (files)
		unlink(file[--files]);
}

static void a_shipped_dialect_and_a_recording(void **state)
{
	(void)state;
	const char *rec = written("a.rec", "# tally recording 1\n"
	                          "0.000000 red \"" FRAME14 "\"\n"
	                          "0.100000 @at R1\n"
	                          "0.250000 red \"+481\"\n0.260000 red \"2 1\\x20\\x04\\x20\\x20\\x00\\r\\n\"\n");
	struct run r = run_client(NULL, CLIENT("meters", "try", "columns-14", rec));
	assert_string_equal(r.err, "");
	assert_string_equal(r.out,
	                    "0.000000 red \"+4812 1 \\x00  \\x00\\r\\n\"  4.812 kohm ohm\n"
	                    "0.250000 red \"+4812 1 \\x04  \\x00\\r\\n\"  4.812 kohm ohm low-battery\n"
	                    "columns-14: 2 frames understood with 2 readings, 0 not understood\n");
	assert_int_equal(r.status, 0);
	run_free(&r);
	r = run_client(NULL, CLIENT("meters", "try", "columns-14", rec, "--json"));
	expect(r.out, "{\"after\":0.250000,\"meter\":\"red\",", "JSON");
	expect(r.out, "\"readings\":[{\"function\":\"ohm\",\"value\":4812,\"state\":\"low-battery\"}]", "JSON");
	expect(r.out, "{\"dialect\":\"columns-14\",\"good\":2,\"readings\":2,\"bad\":0}", "JSON");
	assert_int_equal(r.status, 0);
	run_free(&r);
	forget();
}

static FILE *tape;

static void tape_byte(void *arg, unsigned char byte)
{
	(void)arg;
	fprintf(tape, "\\x%02X", byte);
}

static void tape_error(void *arg)
{
	tape_byte(arg, 0xff);
}

/* What is not understood at all is looked at: the line's speed, or another dialect. */
static void why_nothing_is_understood(void **state)
{
	struct line_settings sent = {.baud = 2400, .bits = 8, .stop = 1}, heard = sent;
	char out[120];
	struct wire w;
	(void)state;
	heard.baud = 9600;
	const char *rec = written("slow.rec", "");
	snprintf(out, sizeof out, "%s", rec);
	tape = fopen(out, "w");
	assert_non_null(tape);
	fputs("# tally recording 1\n", tape);
	for (int i = 0; i < 40; i++) {
		char line[32];
		int n = snprintf(line, sizeof line, "%d.%03d kOhm\r\n", i % 10, i * 37 % 1000);
		wire_begin(&w, sent.baud);
		wire_send(&w, &sent, line, (size_t)n, 0);
		fprintf(tape, "%d.000000 red \"", i);
		wire_hear(&w, &heard, 0, false, tape_byte, tape_error, NULL);
		fputs("\"\n", tape);
		free(w.level);
	}
	fclose(tape);
	struct run r = run_client(NULL, CLIENT("meters", "try", "ascii-unit", rec));
	expect(r.err, "red: it speaks 4 times slower than the line is read", "standard error");
	assert_int_equal(r.status, 1);
	run_free(&r);
	rec = written("other.rec", "# tally recording 1\n0 red \"1.5\\r\\n1.6\\r\\n1.7\\r\\n1.8\\r\\n1.9\\r\\n\"\n");
	r = run_client(NULL, CLIENT("meters", "try", "ascii-unit", rec));
	expect(r.err, "red: the shipped dialect ascii-number understands it", "standard error");
	assert_int_equal(r.status, 1);
	run_free(&r);
	forget();
}

/* Status 1: a frame that was not understood, or none at all; a meter that goes away in
 * the middle of one, two meters of which one is meant. */
static void what_is_not_understood(void **state)
{
	(void)state;
	const char *rec = written("a.rec", "# tally recording 1\n"
	                          "0.000000 red \"1.5 V\\r\\n\"\n0.1 blue \"2.5 V\\r\\nwhat\\r\\n\"\n"
	                          "0.200000 red \"1.5\"\n0.3 @meter red gone unplugged\n"
	                          "0.400000 red \" V\\r\\n1.25 V\\r\\n\"\n");
	struct run r = run_client(NULL, CLIENT("meters", "try", "ascii-unit", rec));
	expect(r.out, "0.100000 blue \"what\"  NOT UNDERSTOOD: a number", "output");
	expect(r.out, "0.200000 red \"1.5\"  NOT UNDERSTOOD: cut frame", "output");
	expect(r.out, "0.400000 red \" V\"  NOT UNDERSTOOD", "output");
	expect(r.out, "ascii-unit: 3 frames understood with 3 readings, 3 not understood\n", "output");
	assert_int_equal(r.status, 1);
	run_free(&r);
	r = run_client(NULL, CLIENT("meters", "try", "ascii-unit", rec, "--meter", "blue"));
	assert_null(strstr(r.out, " red "));
	expect(r.out, "1 frames understood with 1 readings, 1 not understood\n", "output");
	run_free(&r);
	r = run_client(NULL, CLIENT("meters", "try", "ascii-unit", rec, "--meter", "green"));
	expect(r.err, "no frame came from that meter", "standard error");
	assert_int_equal(r.status, 1);
	run_free(&r);
	forget();
}

static void a_dialect_of_a_user(void **state)
{
	(void)state;
	const char *ini = written("mine.ini", "[dialect]\nname = mine\nreads = pattern\nfunction = farad\n"
	                          "[pattern]\nmatch = (?<value>\\d+)p\n"
	                          "[samples]\nframe 1 = 12p\nmeans 1 = farad 12\n");
	const char *bad = written("bad.ini", "[dialect]\nname = mine\nreads = pattern\nfunction = farad\n"
	                          "[pattern]\nmatch = (?<value>\\d+)p\n"
	                          "[samples]\nframe 1 = 12p\nmeans 1 = farad 13\n");
	const char *rec = written("a.rec", "# tally recording 1\n0.0 red \"470p\\n\"\n");
	char want[160];
	struct run r = run_client(NULL, CLIENT("meters", "try", ini, rec));
	expect(r.out, "470 F farad\nmine: 1 frames understood with 1 readings", "output");
	assert_int_equal(r.status, 0);
	run_free(&r);
	r = run_client(NULL, CLIENT("meters", "try", bad, rec));
	snprintf(want, sizeof want, "%s:9:11: sample 1 is understood as `farad 12`, not as `farad 13`\n",
	         bad);
	assert_string_equal(r.err, want);
	assert_string_equal(r.out, "");
	assert_int_equal(r.status, 2);
	run_free(&r);
	forget();
}

static void wrong_words(void **state)
{
	(void)state;
	const char *rec = written("a.rec", "# tally recording 1\n0.0 red 470p\n");
	char want[160];
	struct run r = run_client(NULL, CLIENT("meters", "try", "telepathy", rec));
	expect(r.err, "no shipped dialect telepathy: expected one of ascii-unit, ascii-number, ask-comma, "
	       "columns-14, scpi", "standard error");
	assert_int_equal(r.status, 2);
	run_free(&r);
	r = run_client(NULL, CLIENT("meters", "try", "./nix.ini", rec));
	expect(r.err, "./nix.ini: cannot be read", "standard error");
	assert_int_equal(r.status, 2);
	run_free(&r);
	r = run_client(NULL, CLIENT("meters", "try", "scpi", rec));
	snprintf(want, sizeof want, "%s:2:9: expected the bytes", rec);
	expect(r.err, want, "standard error");
	assert_int_equal(r.status, 2);
	run_free(&r);
	r = run_client(NULL, CLIENT("meters", "try", "scpi", "./nix.rec"));
	expect(r.err, "./nix.rec: cannot be read", "standard error");
	assert_int_equal(r.status, 2);
	run_free(&r);
	r = run_client(NULL, CLIENT("meters", "try", "scpi"));
	assert_int_equal(r.status, 2);
	run_free(&r);
	/* No such file: the name of a meter, and no daemon. */
	r = run_client(NULL, CLIENT("meters", "try", "scpi", "nix"));
	expect(r.err, "there is no file nix", "standard error");
	assert_int_equal(r.status, 3);
	run_free(&r);
	forget();
}

static volatile sig_atomic_t stop;

static void on_alarm(int signal)
{
	(void)signal;
	stop = 1;
}

/* A meter of the running daemon: its tape, until the person ends it. */
static void a_meter_of_the_daemon(void **state)
{
	(void)state;
	const char *script[LINES_MOST] = {HELLO, RESULT("{}"),
		NEWS("tape", "{\"line\":\"# tally recording 1\"}"),
		NEWS("tape", "{\"line\":\"5.000000 red \\\"+1.0 V\\\\r\\\\n+1.\\\"\"}"),
		NEWS("tape", "{\"line\":\"5.010000 red \\\"5 V\\\\r\\\\n\\\"\"}"), "!hang", "!hang"};
	struct client c = client_for(NULL, NULL);
	struct sigaction action = {.sa_handler = on_alarm};
	sigaction(SIGALRM, &action, NULL);
	stop = 0;
	c.stop = &stop;
	alarm(1);
	struct run r = run_script(&c, script, CLIENT("meters", "try", "ascii-unit", "red"));
	alarm(0);
	expect(heard(), "{\"meters\":[\"red\"]}", "what was asked");
	assert_string_equal(r.out, "5.000000 red \"+1.0 V\"  1.0 V volt-dc\n"
	                           "5.000000 red \"+1.5 V\"  1.5 V volt-dc\n"
	                           "ascii-unit: 2 frames understood with 2 readings, 0 not understood\n");
	assert_int_equal(r.status, 0);
	run_free(&r);
}

/* ---- the daemon with the same file ---- */

static int shell(const char *arguments, char *out, size_t size)
{
	char command[512];
	const char *build = getenv("TALLY_BUILD");
	snprintf(command, sizeof command, "%s/tallyd %s --config %s/b.conf 2>&1", build ? build : "build",
	         arguments, place);
	FILE *f = popen(command, "r");
	assert_non_null(f);
	size_t n = fread(out, 1, size - 1, f);
	out[n] = '\0';
	int status = pclose(f);
	return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

/* A new meter needs a file, not code; it stands in for a shipped one, too. */
static void the_daemon_takes_the_folder(void **state)
{
	static char out[1 << 16];
	char line[256];
	(void)state;
	snprintf(line, sizeof line, "mkdir -p %s/dialects", place);
	assert_int_equal(system(line), 0);
	const char *ini = written("dialects/mine.ini",
	                          "[dialect]\nname = ascii-unit\nreads = pattern\n"
	                          "[pattern]\nmatch = R(?<value>[\\d.]+|OPEN)(?<prefix>k?)\noverload = OPEN\n"
	                          "[samples]\nframe 1 = R12k\nmeans 1 = number 12000\n");
	snprintf(line, sizeof line, "[bench]\ndialects = %s/dialects\n[meter red]\nport = /dev/none\n"
	         "dialect = ascii-unit\nfunction = ohm\n", place);
	written("b.conf", line);
	const char *rec = written("a.rec", "");
	FILE *f = fopen(rec, "w");
	assert_non_null(f);
	fputs("# tally recording 1\n0.0 @at R12\n", f);
	for (int i = 0; i < 30; i++)
		fprintf(f, "%d.%d00000 red \"%s\\n\"\n", i / 4, i % 4 * 2,
		        i < 8 || i > 22 ? "ROPEN" : "R4.812k");
	fclose(f);
	snprintf(line, sizeof line, "--replay %s --log :memory:", rec);
	int status = shell(line, out, sizeof out);
	assert_int_equal(status, 0);
	expect(out, "\"kind\":\"entry\"", "records");
	expect(out, "\"value\":4812", "records");
	expect(out, "\"function\":\"ohm\"", "records");
	/* A fault in the file: refused whole, with its place. */
	f = fopen(ini, "a");
	assert_non_null(f);
	fputs("frame 2 = x\nmeans 2 = number 1\n", f);
	fclose(f);
	status = shell("--check-config", out, sizeof out);
	assert_int_equal(status, 2);
	expect(out, "mine.ini:11:11: sample 2 is understood as `nothing`", "the daemon");
	forget();
	snprintf(line, sizeof line, "%s/dialects", place);
	rmdir(line);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(a_shipped_dialect_and_a_recording),
	    cmocka_unit_test(what_is_not_understood),
		cmocka_unit_test(why_nothing_is_understood),
	    cmocka_unit_test(a_dialect_of_a_user),
	    cmocka_unit_test(wrong_words),
	    cmocka_unit_test(a_meter_of_the_daemon),
	    cmocka_unit_test(the_daemon_takes_the_folder),
	};
	return cmocka_run_group_tests(tests, set_up, tear_down);
}

/* SPDX-License-Identifier: MIT */
/*
 * What is said to the program and what it answers: every verb with --json and
 * --help, exit statuses, configuration, --serve and --file, and clients that do not
 * keep to the protocol.
 *
 * The exit statuses (0 done, 1 the answer is no, 2 wrong use or bad input, 3 not
 * reachable, 4 not logged) are the project's contract; no outside source.
 */
#include "tests/daemon_stand.h"

#include "client/command.h"

/* ---- verbs ---- */

static void test_help(void **state)
{
	struct stand *s = *state;
	assert_true(command_count > 20);
	for (int i = 0; i < command_count; i++) {
		char words[64], *save;
		const char *w[8];
		int n = 0;
		snprintf(words, sizeof words, "%s", command_table[i].verb);
		for (char *p = strtok_r(words, " ", &save); p; p = strtok_r(NULL, " ", &save))
			w[n++] = p;
		w[n++] = "--help";
		w[n] = NULL;
		struct answer a = tally_run(s, w);
		if (a.status != 0 || !strstr(a.out, command_table[i].verb))
			fail_msg("%s --help: status %d, %.200s%.200s", command_table[i].verb, a.status, a.out,
			         a.err);
		answer_free(&a);
	}
	struct answer a = tally(s, "--help");
	assert_int_equal(a.status, 0);
	for (int i = 0; i < command_count; i++)
		assert_non_null(strstr(a.out, command_table[i].verb));
	answer_free(&a);
}

/* Every line is a JSON text; how many there are. */
static int json_lines(const char *what, char *text)
{
	int n = 0;
	char *save;
	for (char *line = strtok_r(text, "\n", &save); line; line = strtok_r(NULL, "\n", &save)) {
		json_error_t why;
		json_t *j = json_loads(line, JSON_DECODE_ANY | JSON_REJECT_DUPLICATES, &why);
		if (!j)
			fail_msg("%s: %s in %.300s", what, why.text, line);
		json_decref(j);
		n++;
	}
	return n;
}

struct row {
	int status;
	int lines; /* of JSON on standard output, at least */
	const char *words; /* | stands between them */
	const char *says;  /* in what is printed on either output; NULL: anything */
};

static void run_rows(struct stand *s, const struct row *rows, size_t count, bool json)
{
	for (size_t i = 0; i < count; i++) {
		const struct row *r = &rows[i];
		char words[200], *save;
		const char *w[16];
		int n = 0;
		if (json)
			w[n++] = "--json";
		snprintf(words, sizeof words, "%s", r->words);
		for (char *p = strtok_r(words, "|", &save); p; p = strtok_r(NULL, "|", &save))
			w[n++] = p;
		w[n] = NULL;
		struct answer a = tally_run(s, w);
		bool said = !r->says || strstr(a.out, r->says) || strstr(a.err, r->says);
		if (a.status != r->status || !said) {
			show_said(s);
			fail_msg("%s: status %d, expected %d and %s\n%s%s", r->words, a.status, r->status,
			         r->says ? r->says : "anything", a.out, a.err);
		}
		if (json && json_lines(r->words, a.out) < r->lines)
			fail_msg("%s: fewer than %d lines", r->words, r->lines);
		if (!json && a.status > 1 && a.out[0])
			fail_msg("%s: a failure belongs on standard error: %s", r->words, a.out);
		answer_free(&a);
	}
}

static void test_json(void **state)
{
	static const struct row rows[] = {
		{0, 1, "meters", "\"name\":\"red\""},
		{0, 1, "job|start|one", "\"seq\":"},
		{0, 1, "sheet|load|tests/recordings/sheet.csv", "\"positions\":"},
		{0, 6, "sheet|show", "\"position\":\"C3\""},
		{0, 1, "sheet|set|R1|tolerance=5%|note=from the left channel", "\"seq\":"},
		{0, 1, "sheet|fit|C1|tolerance=5%|rated=630V", "\"seq\":"},
		{0, 1, "sheet|fit|C1|none", "\"seq\":"},
		{0, 1, "at|new|R", "\"position\":\"R"},
		{0, 1, "at|new|--prefix|T3/", "\"position\":\"T3/1\""},
		{0, 1, "sheet|rename|T3/1|R77", "\"seq\":"},
		{0, 1, "sheet|twins", "\"pairs\":["},
		{0, 1, "walk|new|--prefix|T4/", "\"position\":\"T4/1\""},
		{0, 1, "walk|off", NULL},
		{0, 1, "job|list", "\"job\":\"one\""},
		{0, 1, "job|show", "\"job\":\"one\""},
		{0, 1, "job|show|one", "\"state\":"},
		{0, 1, "status", "\"health\":\"good\""},
		{0, 1, "at|R1", "\"position\":\"R1\""},
		{0, 1, "at|R1|value", NULL},
		{0, 1, "at|R2|--meter|red", NULL},
		{0, 1, "at", NULL},
		{0, 1, "reach|lifted", "\"reach\":\"lifted\""},
		{0, 1, "reach", "lifted"},
		{0, 1, "condition|done", NULL},
		{0, 1, "condition|found", NULL},
		{0, 1, "condition", "found"},
		{0, 1, "walk|on", NULL},
		{0, 1, "walk|off", NULL},
		{0, 1, "walk", "off"},
		{0, 1, "take|--meter|red", "\"state\":\"overload\""},
		{0, 1, "enter|R1|101k|--from|bridge", "\"source\":\"typed\""},
		{0, 1, "enter|C1|overload|--from|tester|--quantity|insulation|--because|good",
		 "\"value\":null"},
		{0, 1, "enter|C2|>200M|--from|tester|--quantity|insulation", "\"above\":200000000"},
		{0, 3, "entries", "\"kind\":\"entry\""},
		{0, 1, "entries|R1", "\"position\":\"R1\""},
		{0, 1, "note|R1|a|note|of|words", "\"seq\":"},
		{0, 0, "compare", NULL},
		{0, 0, "compare|R1", NULL},
		{0, 1, "undo", "\"struck\":"},
		{0, 1, "verify", "\"verdict\":\"intact"},
		{0, 1, "judge|470k|10%|469k|--accuracy|0.5% + 2", "\"verdict\":\"within\""},
		{1, 1, "judge|0.25u|10%|345n", "\"verdict\":\"outside\""},
		{0, 1, "job|close", "\"seq\":"},
	};
	struct stand *s = *state;
	int red = meter_new(s, "red", 20, "accuracy ohm = 0.5% + 2\n");
	meter_says(s, red, "OL MOhm");
	meter_plug(s, red);
	daemon_start(s);
	struct answer a = {0};
	wait_until(s, (answer_free(&a), a = tally(s, "meters"), strstr(a.out, "overload")));
	answer_free(&a);
	/* The three that go on until they are ended. */
	static const char *const follow[] = {"watch", "raw", "tape"};
	pid_t pid[3];
	char name[3][16];
	for (int i = 0; i < 3; i++) {
		const char *words[] = {"--json", i ? "meters" : "watch", i ? follow[i] : "--after",
		                       i ? "red" : "0", NULL};
		snprintf(name[i], sizeof name[i], "%s.json", follow[i]);
		pid[i] = tally_start(s, words, in_dir(s, name[i]), in_dir(s, "follow.err"));
	}
	wait_until(s, file_has(in_dir(s, name[0]), "\"kind\":\"log\""));
	run_rows(s, rows, sizeof rows / sizeof *rows, true);
	wait_until(s, file_has(in_dir(s, name[0]), "\"state\":\"closed\""));
	for (int i = 0; i < 3; i++) {
		wait_until(s, file_has(in_dir(s, name[i]), "\n"));
		assert_int_equal(child_stop(s, pid[i], SIGINT), 0);
		char *text = file_text(in_dir(s, name[i]));
		assert_true(json_lines(follow[i], text) > 1);
		free(text);
	}
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
}

/* The same verbs in words, and what goes wrong. */
static void test_statuses(void **state)
{
	static const struct row rows[] = {
		{1, 0, "undo", "undo"},
		{1, 0, "take", "nothing to take"},
		{1, 0, "job|close", "no job is open"},
		/* Where nothing was written down yet a name is made as it is said. */
		{0, 0, "job|start|as it is touched", NULL},
		{0, 0, "note|R77|smells", NULL},
		{0, 0, "job|close", NULL},
		{0, 0, "job|start|one two", NULL},
		{0, 0, "sheet|load|tests/recordings/sheet.csv", NULL},
		{2, 0, "job|start|one two", "open already"},
		{2, 0, "frobnicate", "frobnicate"},
		{2, 0, "at|bad name!", "bad name!"},
		{2, 0, "at|R1|colour", "colour"},
		{2, 0, "at|R1|--meter|nobody", "nobody"},
		{2, 0, "reach|hanging", "hanging"},
		{2, 0, "condition|broken", "broken"},
		{2, 0, "walk|perhaps", "perhaps"},
		{2, 0, "enter|R1|banana|--from|bridge", "a value was expected"},
		{2, 0, "enter|R1|100k", "--from"},
		{2, 0, "enter|R1|12 V|--from|bridge", "volts"},
		{2, 0, "enter|R99|banana|--from|bridge", "a value was expected"},
		{2, 0, "strike|999999|--because|why not", "999999"},
		{2, 0, "strike|one|--because|why not", "one"},
		{2, 0, "sheet|load|no/such/file.csv", "no/such/file.csv"},
		{2, 0, "sheet|set|R1|colour=red", "colour"},
		{2, 0, "sheet|set|R77|nominal=4k7", "R77 is not in the sheet: `sheet add` adds it"},
		{2, 0, "note|R77|smells", "R77 is not in the sheet: `sheet add` adds it"},
		{2, 0, "move|last|R77", "R77 is not in the sheet: `sheet add` adds it"},
		{0, 0, "at|R76", NULL}, /* the hand on the part knows it */
		{0, 0, "note|R76|smells", NULL},
		{0, 0, "note|r2|as the sheet writes it", NULL},
		{2, 0, "sheet|set|R$7|nominal=4k7", "R$7"},
		{2, 0, "sheet|set|R1|nominal=-5", "no part has less than nothing"},
		{2, 0, "sheet|set|R1|nominal=4x7", "nominal"},
		{2, 0, "sheet|fit|R1|colour=red", "colour"},
		{2, 0, "sheet|fit|R1|role=coupling", "belongs to the place"},
		{2, 0, "sheet|fit|R1|nominal=4x7", "R1 nominal=4x7"},
		{2, 0, "sheet|fit|R1|none", "no fit to take back"},
		{2, 0, "sheet|fit|R1", NULL},
		{2, 0, "sheet|fit|R99|kind=film", "R99 is not in the sheet"},
		{2, 0, "sheet|rename|R1|R2", "R2 is in the sheet already"},
		{2, 0, "sheet|rename|R1|R 1", "no name of a position"},
		{2, 0, "sheet|rename|R1", NULL},
		{1, 0, "sheet|twins|accept", "no twins are proposed"},
		{2, 0, "sheet|twins|R1", "say accept"},
		{2, 0, "at|new|R1", "no digit at the end"},
		{2, 0, "at|new|R|--prefix|C", "given twice"},
		{2, 0, "walk|on|--prefix|R", "prefix"},
		{2, 0, "note|R1", NULL},
		{2, 0, "meters|raw|nobody", "nobody"},
		{2, 0, "watch|--after|minus", "minus"},
		{2, 0, "judge|470k|10%", NULL},
		{2, 0, "judge|470k|ten|469k", "ten"},
		{2, 0, "verify|no/such.db", "no/such.db"},
		{2, 0, "verify|LICENSE", "LICENSE"},
		{2, 0, "--file|LICENSE|entries", "LICENSE"},
		{1, 0, "judge|470k|10%|600k", "outside"},
		{3, 0, "--socket|/nowhere/at/all.sock|status", "/nowhere/at/all.sock"},
		{3, 0, "--socket|/nowhere/at/all.sock|take", NULL},
	};
	struct stand *s = *state;
	daemon_start(s);
	run_rows(s, rows, sizeof rows / sizeof *rows, false);
	/* A sheet with a fault: file, line and column, and nothing of it is taken. */
	file_write(in_dir(s, "bad.csv"), "position,nominal\nR50,100k\nR51,4x7\n");
	struct answer a = tally(s, "sheet", "load", in_dir(s, "bad.csv"));
	assert_int_equal(a.status, 2);
	assert_non_null(strstr(a.err, "bad.csv:3:6: "));
	answer_free(&a);
	a = tally(s, "sheet", "show");
	assert_null(strstr(a.out, "R50"));
	assert_null(strstr(a.out, "R77"));
	assert_null(strstr(a.out, "R99"));
	answer_free(&a);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	musttally(s, 3, "status");
}

/* ---- the daemon's own command line ---- */

static void test_options(void **state)
{
	static const struct {
		const char *config, *says;
	} bad[] = {
		{"[bench]\nname = x\ncolour = red\n", "bad.conf:3:1: "},
		{"[bench]\nname = x\n[meter red]\ndialect = ascii-unit\nport = /dev/null\n"
		 "accuracy ohm = much\n", "bad.conf:6:"},
		{"[meter red]\nport = usb:12\ndialect = ascii-unit\n", "bad.conf:2:"},
		{"[meter red]\nport = /dev/ttyUSB0\ndialect = klingon\n", "bad.conf:3:"},
		{"[meter red]\nport = /dev/ttyUSB0\ndialect = ascii-unit\n[meter red]\n", "bad.conf:4:"},
		{"[bench]\narm seconds = 1000\n", "bad.conf:2:"},
		{"[bench\n", "bad.conf:1:"},
	};
	struct stand *s = *state;
	char *err;
	config_write(s);
	assert_int_equal(daemon_run(s, (const char *[]){"--check-config", "--config", s->config, NULL},
	                            &err), 0);
	assert_non_null(strstr(err, "is good"));
	free(err);
	const char *config = in_dir(s, "bad.conf");
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		file_write(config, bad[i].config);
		for (int check = 0; check < 2; check++) {
			const char *words[] = {"--config", config, check ? "--check-config" : NULL, NULL};
			int status = daemon_run(s, words, &err);
			if (status != 2 || !strstr(err, bad[i].says))
				fail_msg("%s: status %d, expected 2 and %s: %s", bad[i].config, status,
				         bad[i].says, err);
			free(err);
		}
	}
	/* All faults of a file, in the order of their places. */
	file_write(config, "[meter red]\ndialect = ascii-unit\n[bench]\nfrob = 1\nname = a b\n");
	assert_int_equal(daemon_run(s, (const char *[]){"--check-config", "--config", config, NULL}, &err), 2);
	const char *one = strstr(err, "bad.conf:1:2: "), *two = strstr(err, "bad.conf:4:1: "),
	           *three = strstr(err, "bad.conf:5:8: ");
	assert_true(one && two > one && three > two);
	assert_non_null(strstr(err, "3 faults in "));
	free(err);
	const char *sheet = in_dir(s, "bad.csv"), *tape = in_dir(s, "j.rec");
	file_write(sheet, "position,nominal,twin\nR1,4x7,R9\nR2,1k,\nR2,1k,\n");
	file_write(tape, "# tally recording 1\n0.000000 @job j\n");
	assert_int_equal(daemon_run(s, (const char *[]){"--replay", tape, "--sheet", sheet, NULL}, &err), 2);
	one = strstr(err, "bad.csv:2:5: "), two = strstr(err, "bad.csv:2:8: ");
	three = strstr(err, "bad.csv:4:1: ");
	assert_true(one && two > one && three > two);
	assert_non_null(strstr(err, "3 faults in "));
	free(err);
	static const struct {
		int status;
		const char *words[4], *says;
	} rows[] = {
		{0, {"--help"}, ""},
		{0, {"--version"}, ""},
		{2, {"--frobnicate"}, "frobnicate"},
		{2, {"what"}, "what"},
		{2, {"--config", "/no/such.conf"}, "/no/such.conf"},
		{2, {"--serve", "/no/such.db"}, "/no/such.db"},
		{2, {"--serve", "LICENSE"}, "LICENSE"},
		{2, {"--replay", "/no/such.rec"}, "/no/such.rec"},
		{2, {"--replay", "LICENSE"}, "LICENSE:1:1: "},
		{2, {"--sheet", "LICENSE"}, "--replay"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		int status = daemon_run(s, rows[i].words, &err);
		if (status != rows[i].status || !strstr(err, rows[i].says))
			fail_msg("tallyd %s: status %d, expected %d: %s", rows[i].words[0], status,
			         rows[i].status, err);
		free(err);
	}
	/* A place that takes no log, a file that is none, a folder. */
	file_write(in_dir(s, "text.db"), "not a log\n");
	const char *places[] = {"/proc/tally/north.db", "/proc/north.db", in_dir(s, "text.db"), s->dir};
	for (size_t i = 0; i < sizeof places / sizeof *places; i++) {
		int status = daemon_run(s, (const char *[]){"--config", s->config, "--log", places[i], NULL},
		                        &err);
		if (status != 2 || !strstr(err, places[i]))
			fail_msg("a log at %s: status %d: %s", places[i], status, err);
		free(err);
	}
	assert_true(file_has(in_dir(s, "text.db"), "not a log\n"));
	/* Refused before anything was made: no socket, no key, no reserve. */
	assert_int_not_equal(access(s->socket, F_OK), 0);
	assert_int_not_equal(access(in_dir(s, "text.db.key"), F_OK), 0);
}

/* ---- a log without its daemon ---- */

static void test_file(void **state)
{
	struct stand *s = *state;
	daemon_start(s);
	musttally(s, 0, "enter", "R1", "101k", "--from", "bridge");
	musttally(s, 0, "note", "R1", "spoil this letter");
	struct answer live = tally(s, "--json", "entries");
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	struct answer file = tally(s, "--file", s->log, "--json", "entries");
	assert_int_equal(file.status, 0);
	assert_string_equal(file.out, live.out);
	answer_free(&live);
	answer_free(&file);
	musttally(s, 0, "--file", s->log, "job", "list");
	musttally(s, 0, "--file", s->log, "sheet", "show");
	musttally(s, 2, "--file", s->log, "take");
	musttally(s, 2, "--file", s->log, "note", "R1", "no");
	musttally(s, 0, "verify", s->log);

	/* --serve, as a conversation. */
	const char *in = in_dir(s, "in"), *out = in_dir(s, "serve.said");
	file_write(in, CALL("1", "entries", "{}") "\n" HELLO "\n" CALL("2", "entries", "{}") "\n"
	           CALL("3", "take", "{}") "\n" CALL("4", "verify", "{}") "\n");
	char program[PATH_MAX];
	snprintf(program, sizeof program, "%s/tallyd", build_dir());
	const char *words[] = {"sh", "-c", "exec \"$0\" --serve \"$1\" <\"$2\"", program, s->log, in,
	                       NULL};
	assert_int_equal(child_wait(s, child_start(s, words, out, NULL)), 0);
	static const char *const said[] = {
		"\"id\":1,\"error\":{\"code\":-32002", "\"live\":false", "\"id\":2,\"result\":{\"job\":\"job\",\"entries\":[{",
		"\"id\":3,\"error\":{\"code\":-32601", "\"id\":4,\"result\":{\"verdict\":\"intact",
	};
	for (size_t i = 0; i < sizeof said / sizeof *said; i++)
		if (!file_has(out, said[i]))
			fail_msg("--serve did not say %s", said[i]);

	/* One letter is another: the answer of verify is no, and says where. */
	FILE *f = fopen(s->log, "r+");
	char byte[18] = "";
	bool spoilt = false;
	for (long at = 0; !spoilt && fseek(f, at, SEEK_SET) == 0 && fread(byte, 1, 17, f) == 17; at++)
		if (memcmp(byte, "spoil this letter", 17) == 0) {
			fseek(f, at, SEEK_SET);
			spoilt = fputc('S', f) == 'S';
		}
	fclose(f);
	assert_true(spoilt);
	struct answer a = tally(s, "verify", s->log);
	assert_int_equal(a.status, 1);
	assert_non_null(strstr(a.out, "altered"));
	answer_free(&a);
	/* No daemon goes on with such a log: it is set aside as it is, with its key, loudly, and
	 * the new one says so. */
	daemon_start(s);
	a = tally(s, "--file", s->log, "export", "--from", "2", "--to", "2");
	assert_int_equal(a.status, 0);
	assert_non_null(strstr(a.out, "\"kind\":\"aside\",\"file\":\""));
	assert_non_null(strstr(a.out, "does not fit its hash"));
	char aside[PATH_MAX];
	const char *at = strstr(a.out, "\"file\":\"") + 8;
	snprintf(aside, sizeof aside, "%.*s", (int)strcspn(at, "\""), at);
	answer_free(&a);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	assert_true(file_has(s->said, "THE LOG WAS DAMAGED"));
	a = tally(s, "verify", aside);
	assert_int_equal(a.status, 1);
	assert_non_null(strstr(a.out, "altered"));
	answer_free(&a);
	strncat(aside, ".key", sizeof aside - strlen(aside) - 1);
	assert_int_equal(access(aside, F_OK), 0);
}

/* ---- clients that do not keep to it ---- */

static void test_bad_clients(void **state)
{
	struct stand *s = *state;
	daemon_start(s);
	struct peer *good = peer_watching(s, 0);
	struct peer *p = peer_new(s);
	mustsend(p, CALL("1", "status", "{}"));
	mustsee(p, "\"id\":1,\"error\":{\"code\":-32002,");
	mustsend(p, HELLO);
	mustsee(p, "\"id\":0,\"result\":");
	mustsend(p, CALL("2", "take", "{\"metre\":\"red\"}"));
	mustsee(p, "\"id\":2,\"error\":{\"code\":-32602,");
	mustsend(p, CALL("3", "frobnicate", "{}"));
	mustsee(p, "\"id\":3,\"error\":{\"code\":-32601,");
	mustsend(p, "this is no JSON");
	mustsee(p, "\"error\":{\"code\":-32700,");
	mustend(p);
	peer_free(p);

	/* A line of two MiB. */
	p = peer_greeted(s);
	char *big = malloc(2 << 20);
	assert_non_null(big);
	memset(big, 'x', 2 << 20);
	(void)!peer_write(p, big, 2 << 20); /* the daemon may close in the middle of it */
	while (!p->ended && !(peer_line(p, WAIT_MS) && strstr(p->line, "-32700")))
		;
	mustend(p);
	peer_free(p);
	free(big);

	/* Half a line and away; nothing but zeros; and a call whose caller is gone. */
	p = peer_greeted(s);
	assert_true(peer_write(p, "{\"jsonrpc\":", 11));
	peer_free(p);
	p = peer_new(s);
	assert_true(peer_write(p, "\0\0\0\0\n", 5));
	mustsee(p, "-32700");
	peer_free(p);
	p = peer_greeted(s);
	mustsend(p, CALL("1", "note", "{\"position\":\"R1\",\"text\":\"and away\"}"));
	peer_free(p);
	/* Nobody else was harmed: the note of the one who left is there, and is seen. */
	mustsee(good, "and away");
	mustsend(good, CALL("9", "status", "{}"));
	mustsee(good, "\"id\":9,\"result\":");
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
}

/* Who asked: the user of the client's process stands in every record that a call made,
 * and in none that came of the meters alone. */
static void test_who_asked(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 20, "");
	char want[40];
	meter_says(s, red, "OL MOhm");
	meter_plug(s, red);
	daemon_start(s);
	snprintf(want, sizeof want, "\"uid\":%u", (unsigned)getuid());
	musttally(s, 0, "job", "start", "amp");
	musttally(s, 0, "sheet", "add", "R1,R2 100k 10%");
	musttally(s, 0, "reach", "lifted");
	musttally(s, 0, "at", "R1");
	struct peer *p = peer_watching(s, -1);
	nap_ms(600);
	meter_says(s, red, "+100.2 kOhm");
	mustsee(p, "\"event\":\"logged\"");
	musttally(s, 0, "again"); /* it has the entry of its touch */
	musttally(s, 0, "take");
	musttally(s, 0, "note", "R1", "brown");
	musttally(s, 0, "undo");
	musttally(s, 0, "enter", "C1", "0.1 uF", "--from", "bridge");
	musttally(s, 0, "move", "last", "R2");
	musttally(s, 0, "job", "close");
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	static const char *const asked[] = {"job", "position", "note", "strike", "move", "rejudge"};
	char *all = log_texts(s, s->log), *save;
	int by_call = 0, entries = 0, entries_asked = 0;
	for (char *line = strtok_r(all, "\n", &save); line; line = strtok_r(NULL, "\n", &save)) {
		bool has = strstr(line, want) != NULL, due = false;
		char kind[40];
		for (size_t i = 0; i < sizeof asked / sizeof *asked; i++) {
			snprintf(kind, sizeof kind, "\"kind\":\"%s\"", asked[i]);
			due = due || strstr(line, kind);
		}
		bool entry = strstr(line, "\"kind\":\"entry\"") != NULL;
		entries += entry;
		entries_asked += entry && has;
		by_call += due;
		if (!entry && has != due)
			fail_msg("%s: %s", due ? "nobody asked" : "somebody asked", line);
	}
	free(all);
	assert_true(by_call >= 6);
	/* The touch, the take, the typed one. */
	assert_int_equal(entries, 3);
	assert_int_equal(entries_asked, 2);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		on_stand(test_help),
		on_stand(test_json),
		on_stand(test_statuses),
		on_stand(test_options),
		on_stand(test_file),
		on_stand(test_bad_clients),
		on_stand(test_who_asked),
	};
	return run_on_stand(tests);
}

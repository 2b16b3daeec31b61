/* SPDX-License-Identifier: MIT */
/*
 * What is fitted, renamed and named without a schematic, through the whole program: the
 * verbs, a daemon that is killed, and a tape whose replay judges as the bench did.
 *
 * The daemon runs, as a process, on pseudo-terminals (daemon_stand.h).  What is expected
 * are the project's own promises; no outside source.
 */
#include "tests/daemon_stand.h"

static const char sheet_csv[] = "position,kind,nominal,tolerance,role\n"
                                "C7,paper,0.1 uF,20%,coupling\n"
                                "R12,carbon-composition,470k,10%,anode load\n";

static int begin(struct stand *s)
{
	int red = meter_new(s, "red", 20, "accuracy ohm = 0.5% + 2\naccuracy farad = 1% + 3\n");
	meter_says(s, red, "OL MOhm");
	meter_plug(s, red);
	daemon_start(s);
	file_write(in_dir(s, "sheet.csv"), sheet_csv);
	musttally(s, 0, "job", "start", "flow");
	musttally(s, 0, "sheet", "load", in_dir(s, "sheet.csv"));
	musttally(s, 0, "reach", "loose");
	return red;
}

/* All that is derived from the records, as one text. */
static char *derived(struct stand *s)
{
	static const char *const verbs[][3] = {
		{"--json", "entries", NULL}, {"--json", "sheet", "show"}, {"--json", "compare", NULL},
		{"--json", "job", "show"}, {"--json", "sheet", "twins"}};
	char *all = calloc(1, 1 << 18);
	assert_non_null(all);
	for (size_t i = 0; i < sizeof verbs / sizeof verbs[0]; i++) {
		const char *words[] = {verbs[i][0], verbs[i][1], verbs[i][2], NULL};
		struct answer a = tally_run(s, words);
		assert_true(a.status == 0 || a.status == 1);
		assert_true(strlen(all) + strlen(a.out) < (1 << 18));
		strcat(all, a.out);
		answer_free(&a);
	}
	return all;
}

/* Killed at once after the last answer: all that was answered is there. */
static void test_killed(void **state)
{
	struct stand *s = *state;
	begin(s);
	musttally(s, 0, "enter", "R12", "500k", "--from", "bridge", "--u", "0");
	musttally(s, 0, "condition", "new");
	musttally(s, 0, "enter", "C7", "0.108 uF", "--from", "bridge", "--u", "0");
	mustprint(s, 0, "by the sheet, for no fit is known", "entries", "C7");
	mustprint(s, 0, "fitted at C7: record ", "sheet", "fit", "C7", "kind=film", "tolerance=5%",
	         "part=polyester 630 V");
	mustprint(s, 0, "by what is fitted", "entries", "C7");
	mustprint(s, 0, "fitted: film 5% polyester 630 V", "sheet", "show");
	mustprint(s, 0, "1\n", "job", "show");
	mustprint(s, 0, "R12 is now R112: record ", "sheet", "rename", "R12", "R112");
	mustprint(s, 0, "R112", "entries", "R112");
	mustprint(s, 0, "\"renamed\":{\"seq\":", "--json", "entries", "R112");
	mustprint(s, 0, "was R12 until ", "entries", "R112");
	mustprint(s, 0, "N1", "at", "new");
	musttally(s, 0, "condition", "found");
	musttally(s, 0, "enter", "N1", "10.2 kohm", "--from", "bridge", "--u", "0");
	musttally(s, 0, "enter", "N2", "10.1 kohm", "--from", "bridge", "--u", "0");
	mustprint(s, 0, "the only ones of this value", "sheet", "twins");
	musttally(s, 0, "sheet", "set", "R112", "tolerance=5%");
	char *before = derived(s);
	daemon_stop(s, SIGKILL);
	daemon_start(s);
	char *after = derived(s);
	assert_string_equal(before, after);
	musttally(s, 2, "note", "R99", "a slip, after a restart as well");
	/* The readings of the last second, from a run that goes on. */
	nap_ms(1300);
	mustprint(s, 0, " of them not sealed yet", "trail");
	mustprint(s, 0, "{\"sealed\":false,\"t\":", "trail", "--json");
	free(after);
	/* And it goes on from there. */
	mustprint(s, 0, "twins accepted: record ", "sheet", "twins", "accept");
	/* What stands on a part is not handed on to its twin, but the twin is named. */
	mustprint(s, 0, "its twin N2 has no nominal: where the same stands on it, tally sheet set N2 "
	          "nominal=\"10k\"", "sheet", "set", "N1", "tolerance=5%", "nominal=10k");
	struct answer a = tally(s, "sheet", "set", "N2", "nominal=10k");
	assert_int_equal(a.status, 0);
	assert_null(strstr(a.out, "its twin"));
	answer_free(&a);
	mustprint(s, 0, "N3", "at", "new");
	mustprint(s, 0, "the fit of C7 is taken back", "sheet", "fit", "C7", "none");
	mustprint(s, 0, "\"against\":\"sheet\"", "--json", "entries", "C7");
	free(before);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	musttally(s, 0, "verify", s->log);
	/* A log that nobody has open answers the same. */
	mustprint(s, 0, "R112", "--file", s->log, "entries", "R112");
}

/* The entries and judgements of a text of records, without what a replay has otherwise. */
static void judgements(const char *text, char *out, size_t size)
{
	size_t n = 0;
	out[0] = '\0';
	for (const char *p = text; (p = strstr(p, "\"kind\":\"")); p++) {
		static const char *const kinds[] = {"entry", "rejudge", "fit", "rename"};
		const char *kind = p + 8, *end = strchr(p, '\n');
		size_t len = end ? (size_t)(end - p) : strlen(p);
		for (size_t i = 0; i < 4; i++) {
			size_t k = strlen(kinds[i]);
			if (strncmp(kind, kinds[i], k) != 0 || kind[k] != '"')
				continue;
			char line[2048], *verdict, *position;
			snprintf(line, sizeof line, "%.*s", (int)(len < 2047 ? len : 2047), p);
			position = strstr(line, "\"position\":");
			verdict = strstr(line, "\"verdict\":");
			n += (size_t)snprintf(out + n, size - n, "%s %.*s %.*s\n", kinds[i],
			                      position ? (int)strcspn(position, ",") : 0,
			                      position ? position : "", verdict ? (int)strcspn(verdict, ",") : 0,
			                      verdict ? verdict : "");
		}
	}
}

static void test_tape(void **state)
{
	struct stand *s = *state;
	const char *tape = in_dir(s, "session.rec");
	int red = begin(s);
	struct peer *watch = peer_watching(s, -1);
	/* What is fitted already is where the tape begins. */
	musttally(s, 0, "sheet", "fit", "R12", "nominal=390k", "part=no 7");
	pid_t taping = tally_start(s, (const char *[]){"meters", "tape", NULL}, tape,
	                           in_dir(s, "tape.err"));
	wait_until(s, file_has(tape, "@reach loose\n"));
	assert_true(file_has(tape, "@fit R12 nominal=390k part=\"no 7\"\n"));
	nap_ms(700);
	musttally(s, 0, "at", "new", "T1/");
	meter_says(s, red, "+101.2 kOhm");
	mustsee(watch, "\"event\":\"logged\"");
	meter_says(s, red, "OL MOhm");
	nap_ms(1300);
	musttally(s, 0, "sheet", "set", "T1/1", "nominal=91k", "tolerance=5%", "role=anode load");
	musttally(s, 0, "sheet", "rename", "T1/1", "R8");
	musttally(s, 0, "sheet", "fit", "R8", "nominal=100k", "kind=metal-film");
	musttally(s, 0, "condition", "new");
	musttally(s, 0, "at", "R8");
	nap_ms(300);
	meter_says(s, red, "+100.4 kOhm");
	mustsee(watch, "\"event\":\"logged\"");
	musttally(s, 0, "sheet", "fit", "R8", "none");
	wait_until(s, file_has(tape, "@fit R8 none\n"));
	assert_true(file_has(tape, "@new T1/\n"));
	assert_true(file_has(tape, "@sheet set T1/1 nominal=91k tolerance=5% role=\"anode load\"\n"));
	assert_true(file_has(tape, "@rename T1/1 R8\n"));
	nap_ms(200);
	assert_int_equal(child_stop(s, taping, SIGINT), 0);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	peer_free(watch);
	char *err, live[8192], replayed[8192];
	char *texts = log_texts(s, s->log);
	judgements(texts, live, sizeof live);
	free(texts);
	unlink(in_dir(s, "out"));
	s->sims = 0;
	int status = daemon_run(s, (const char *[]){"--replay", tape, "--sheet", in_dir(s, "sheet.csv"),
	                                            "--config", s->config, NULL}, &err);
	char *replay = file_text(in_dir(s, "out"));
	if (status != 0 || strstr(err, "@"))
		fail_msg("the replay ended with %d: %s", status, err);
	judgements(replay, replayed, sizeof replayed);
	assert_string_equal(live, replayed);
	assert_non_null(strstr(live, "rejudge \"position\":\"R8\" \"verdict\":\"outside\""));
	free(replay);
	free(err);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		on_stand(test_killed),
		on_stand(test_tape),
	};
	return run_on_stand(tests);
}

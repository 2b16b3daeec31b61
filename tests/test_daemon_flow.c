/* SPDX-License-Identifier: MIT */
/*
 * The flow of the work through the whole program: the verbs and calls that skip, come
 * back, move, take offsets and check meters, and a tape that begins in the middle.
 *
 * The daemon runs, as a process, on pseudo-terminals (daemon_stand.h).  What is expected
 * are the project's own promises; no outside source.
 */
#include "tests/daemon_stand.h"

#include <time.h>

static const char sheet_csv[] =
	"position,kind,nominal,tolerance,channel\n"
	"R1,metal-film,100k,5%,left\n"
	"R2,metal-film,100k,5%,right\n"
	"R3,metal-film,10,5%,left\n"
	"C1,film,0.1 uF,10%,left\n"
	"REF1,reference,100 ohm,0.1%,\n";

#define OHM "accuracy ohm = 0.5% + 2\naccuracy farad = 1% + 3\n"

/* A verb with its words, whose standard output must hold `says`. */
static int begin(struct stand *s)
{
	int red = meter_new(s, "red", 20, OHM);
	meter_says(s, red, "OL MOhm");
	meter_plug(s, red);
	daemon_start(s);
	file_write(in_dir(s, "sheet.csv"), sheet_csv);
	musttally(s, 0, "job", "start", "flow");
	musttally(s, 0, "sheet", "load", in_dir(s, "sheet.csv"));
	return red;
}

static void test_way(void **state)
{
	struct stand *s = *state;
	begin(s);
	mustprint(s, 1, "", "back");
	mustprint(s, 0, "R1", "walk", "on", "--order", "channel");
	mustprint(s, 0, "R3", "next");
	mustprint(s, 0, "\"position\":\"C1\"", "next", "--json");
	mustprint(s, 0, "R3", "back");
	mustprint(s, 0, "R3", "again");
	mustprint(s, 0, "\"walk\":\"on\",\"order\":\"kind\",\"meters\":2", "--json", "walk", "on", "--order",
	         "kind", "--meters", "2");
	mustprint(s, 2, "", "walk", "on", "--order", "upwards");
	mustprint(s, 1, "", "walk", "on", "--meters", "9");
	mustprint(s, 2, "", "walk", "on", "--meters", "two");
	mustprint(s, 2, "", "walk", "--meters", "2");
	mustprint(s, 0, "\"reach\":\"lifted\"", "--json", "walk", "lift");
	mustprint(s, 0, "\"reach\":\"lifted\"", "--json", "status");
	mustprint(s, 0, "", "walk", "off");
	mustprint(s, 0, "\"reach\":\"in-circuit\"", "--json", "status");
	mustprint(s, 1, "", "there");
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
}

/* Until the daemon has read this of its meter. */
static void shows(struct stand *s, int red, const char *says, const char *shown)
{
	char expected[64];
	meter_says(s, red, says);
	snprintf(expected, sizeof expected, "\"shown\":\"%s\"", shown);
	for (int i = 0; i < 200; i++) {
		struct answer a = tally(s, "--json", "meters");
		bool there = strstr(a.out, expected) != NULL;
		answer_free(&a);
		if (there) {
			nap_ms(700); /* long enough open for a lift */
			return;
		}
		nap_ms(25);
	}
	fail_msg("red never showed %s", shown);
}

/* A verb that waits for the hands: it is asked, then they do it. */
static char *asked_then(struct stand *s, int red, struct peer *watch, const char *says, int status,
                        const char *const *words)
{
	const char *out = in_dir(s, "asked.out");
	unlink(out);
	pid_t child = tally_start(s, words, out, in_dir(s, "asked.err"));
	mustsee(watch, "\"event\":\"errand\"");
	meter_says(s, red, says);
	assert_int_equal(child_wait(s, child), status);
	return file_text(out);
}

#define ASKED(status, says, ...) \
	asked_then(s, red, watch, says, status, (const char *const[]){"--json", __VA_ARGS__, NULL})

static void has(char *text, const char *fragment)
{
	if (!strstr(text, fragment))
		fail_msg("no %s in %s", fragment, text);
}

static void test_records(void **state)
{
	struct stand *s = *state;
	int red = begin(s);
	struct peer *watch = peer_watching(s, -1);
	shows(s, red, "OL Ohm", "overload");
	mustprint(s, 2, "", "offset", "crossed");
	/* Shorted while it waits. */
	char *offset = ASKED(0, "+0.21 Ohm", "offset", "short");
	has(offset, "\"kind\":\"offset\",\"job\":\"flow\",\"meter\":\"red\",\"leads\":\"short\"");
	has(offset, "\"value\":0.21,");
	free(offset);
	/* Ctrl-C while it waits: at once, and the next touch is for what is up. */
	shows(s, red, "OL Ohm", "overload");
	pid_t waits = tally_start(s, (const char *const[]){"offset", "short", "--meter", "red", NULL},
	                          in_dir(s, "off.out"), in_dir(s, "off.err"));
	mustsee(watch, "\"event\":\"errand\"");
	assert_int_equal(child_stop(s, waits, SIGINT), 3);
	assert_true(file_has(in_dir(s, "off.err"), "called off: the next touch is for what is up"));
	mustsee(watch, "called off");
	/* Absurd, now and later. */
	shows(s, red, "OL Ohm", "overload");
	free(ASKED(1, "+7.31 Ohm", "offset", "short", "--meter", "red"));
	shows(s, red, "OL Ohm", "overload");
	/* A screen that does not wait. */
	struct peer *asks = peer_greeted(s);
	mustsend(asks, CALL("1", "offset", "{\"leads\":\"short\",\"wait\":false}"));
	mustsee(asks, "\"id\":1,\"result\":{\"chosen\":null}");
	mustsend(asks, CALL("2", "status", "{}"));
	mustsee(asks, "\"id\":2,\"result\":{");
	meter_says(s, red, "+0.22 Ohm");
	mustsee(watch, "\"event\":\"offset\"");
	peer_free(asks);
	/* The reference part: passed, and then not. */
	shows(s, red, "OL Ohm", "overload");
	char *check = ASKED(0, "+100.31 Ohm", "meters", "check", "red", "REF1");
	has(check, "\"raw\":100.31,\"raw-digit\":0.01");
	has(check, "\"value\":100.09,");
	has(check, "\"agree\":true");
	free(check);
	shows(s, red, "OL Ohm", "overload");
	check = ASKED(1, "+107.31 Ohm", "meters", "check", "red", "REF1");
	has(check, "\"agree\":false");
	free(check);
	shows(s, red, "OL Ohm", "overload");
	nap_ms(600); /* and for the next position */
	/* An entry names both; moved it is judged anew; undo takes that back, then the entry. */
	musttally(s, 0, "reach", "lifted");
	musttally(s, 0, "at", "R3");
	meter_says(s, red, "+10.40 Ohm");
	char *entry = record_of(mustsee(watch, "\"kind\":\"entry\""));
	has(entry, "\"value\":10.18,\"digit\":0.01,");
	has(entry, "\"reason\":\"meter\"");
	has(entry, "\"why\":\"its meter failed check ");
	free(entry);
	meter_says(s, red, "OL Ohm");
	mustprint(s, 2, "", "move", "4711", "R1");
	mustprint(s, 0, "moved to R1: record ", "move", "last", "R1");
	mustprint(s, 0, "\"moved\":{\"seq\":", "--json", "entries", "R1");
	mustprint(s, 0, "\"rejudged\":{", "--json", "entries", "R1");
	mustprint(s, 0, "moved back entry ", "undo");
	mustprint(s, 0, "\"position\":\"R3\"", "--json", "entries", "R3");
	mustprint(s, 0, "struck entry ", "undo");
	peer_free(watch);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	musttally(s, 0, "verify", s->log);
}

/* A client that speaks: what is touched before the name was said makes nothing. */
static void test_names(void **state)
{
	struct stand *s = *state;
	int red = begin(s);
	struct peer *watch = peer_watching(s, -1), *voice = peer_greeted(s);
	shows(s, red, "OL MOhm", "overload");
	mustsend(voice, CALL("1", "speaks", "{\"speaks\":true}"));
	mustsee(voice, "\"id\":1,\"result\"");
	musttally(s, 0, "walk", "on");
	mustsee(watch, "\"armed\":\"no\",\"up\":");
	meter_says(s, red, "+99.8 kOhm");
	mustsee(watch, "\"event\":\"refused\"");
	meter_says(s, red, "OL MOhm");
	mustsend(voice, CALL("2", "announced", "{}"));
	mustsee(voice, "\"armed\":true");
	mustsee(watch, "\"event\":\"armed\"");
	nap_ms(1200);
	meter_says(s, red, "+99.8 kOhm");
	mustsee(watch, "\"event\":\"logged\"");
	/* Two speak, and one of them no more: the other is waited for. */
	struct peer *second = peer_greeted(s);
	mustsend(second, CALL("1", "speaks", "{\"speaks\":true}"));
	mustsee(second, "\"id\":1,\"result\"");
	mustsend(second, CALL("2", "speaks", "{\"speaks\":false}"));
	mustsee(second, "\"id\":2,\"result\"");
	meter_says(s, red, "OL MOhm");
	mustsee(watch, "\"armed\":\"no\",\"up\":");
	/* It goes, as one that was killed: its silence holds nobody up, not for five seconds. */
	time_t before = time(NULL);
	peer_free(voice);
	mustsee(watch, "\"event\":\"armed\"");
	assert_true(time(NULL) - before < 4);
	nap_ms(1200);
	meter_says(s, red, "+98.7 kOhm");
	mustsee(watch, "\"event\":\"logged\"");
	peer_free(second);
	peer_free(watch);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
}

/* A tape that begins in the middle of the work: its replay goes on from there. */
static void test_tape_from_the_middle(void **state)
{
	struct stand *s = *state;
	const char *tape = in_dir(s, "session.rec");
	int red = begin(s);
	struct peer *watch = peer_watching(s, -1);
	shows(s, red, "OL MOhm", "overload");
	musttally(s, 0, "condition", "done");
	musttally(s, 0, "reach", "loose");
	musttally(s, 0, "at", "R2");
	musttally(s, 0, "walk", "on", "--order", "kind");
	pid_t taping = tally_start(s, (const char *[]){"meters", "tape", NULL}, tape,
	                           in_dir(s, "tape.err"));
	wait_until(s, file_has(tape, "@walk on kind\n"));
	nap_ms(700);
	meter_says(s, red, "+101.2 kOhm");
	mustsee(watch, "\"event\":\"logged\"");
	meter_says(s, red, "OL MOhm");
	mustsee(watch, "\"position\":\"R3\"");
	musttally(s, 0, "move", "last", "R1");
	musttally(s, 0, "next");
	wait_until(s, file_has(tape, "@move ^1 R1\n") && file_has(tape, "@next\n"));
	assert_int_equal(child_stop(s, taping, SIGINT), 0);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	peer_free(watch);
	char *err;
	unlink(in_dir(s, "out"));
	s->sims = 0;
	int status = daemon_run(s, (const char *[]){"--replay", tape, "--sheet", in_dir(s, "sheet.csv"),
	                                            "--config", s->config, NULL}, &err);
	char *replay = file_text(in_dir(s, "out"));
	if (status != 0 || strstr(err, "@"))
		fail_msg("the replay ended with %d: %s", status, err);
	has(replay, "\"kind\":\"entry\",\"job\":\"flow\",\"position\":\"R2\",\"quantity\":\"value\","
	            "\"condition\":\"done\",\"reach\":\"loose\"");
	has(replay, "\"kind\":\"move\"");
	free(replay);
	free(err);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		on_stand(test_way),
		on_stand(test_records),
		on_stand(test_names),
		on_stand(test_tape_from_the_middle),
	};
	return run_on_stand(tests);
}

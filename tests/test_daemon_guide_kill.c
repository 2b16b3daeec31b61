/* SPDX-License-Identifier: MIT */
/*
 * A daemon that is killed (-9) while a `go` is on its way: somewhere between the byte on the socket and
 * the record on the disk.  The next one stands where the log says, nowhere else; what was sealed stays;
 * and each run still comes to its end, with a result that rests on records that are there and are its
 * own.  All five kinds; where it is hit is drawn from a seed.
 *
 * TALLY_LONG=1: at every step, and three times over.
 */
#include "tests/guide_daemon_stand.h"

#include "daemon/log.h"
#include "protocol/record/text.h"

static unsigned long long seed = 1;

static unsigned drawn(unsigned below)
{
	seed = seed * 6364136223846793005ULL + 1442695040888963407ULL;
	return (unsigned)(seed >> 33) % below;
}

static unsigned one_in(unsigned usual)
{
	return getenv("TALLY_LONG") ? 1 : usual;
}

/* `go`, and nobody waits for the answer. */
static int go_unheard(struct stand *s, const char *of)
{
	int fd = socket_connect(s->socket);
	assert_true(fd >= 0);
	dprintf(fd, HELLO "\n{\"jsonrpc\":\"2.0\",\"id\":2,\"method\":\"guide.go\",\"params\":{\"name\":\"%s\"}}\n", of);
	return fd;
}

/* ---- what the log says ---- */

#define KEPT 400

struct kept {
	int64_t last;                    /* seq of the newest record */
	char guide[8192];                /* the newest guide record */
	int64_t own[KEPT], begun[KEPT];  /* entries and parts, and the run they name */
	int owns;
};

static bool keep(void *arg, int64_t seq, const char *text, size_t len)
{
	struct kept *k = arg;
	k->last = seq;
	struct slice kind = json_member(text, len, "kind");
	if (json_is(kind, "guide"))
		snprintf(k->guide, sizeof k->guide, "%.*s", (int)len, text);
	if ((json_is(kind, "entry") || json_is(kind, "part")) && k->owns < KEPT) {
		k->own[k->owns] = seq;
		(void)json_int(json_member(text, len, "guide"), &k->begun[k->owns]);
		k->owns++;
	}
	return true;
}

static const struct kept *kept(struct stand *s)
{
	static struct kept k;
	struct fault why;
	memset(&k, 0, sizeof k);
	struct log_reader *r = log_reader_open(s->log, &why);
	if (!r || log_reader_records(r, &(struct log_query){0}, keep, &k, &why) < 0)
		fail_msg("%s", why.text);
	log_reader_close(r);
	return &k;
}

/* Each value that it names has its record, made for this run. */
static void rests_on_its_own(const struct kept *k)
{
	size_t len = strlen(k->guide);
	struct slice values = json_member(k->guide, len, "values");
	int64_t begun = 0, seq = 0;
	int named = 0;
	assert_true(json_int(json_member(k->guide, len, "begun"), &begun));
	for (const char *at = values.at; (at = strstr(at, "\"seq\":")); at += 6, named++) {
		bool there = false;
		seq = strtoll(at + 6, NULL, 10);
		for (int i = 0; i < k->owns; i++)
			there = there || (k->own[i] == seq && k->begun[i] == begun);
		if (!there)
			fail_msg("value of record %lld, which is no entry of this run: %s", (long long)seq, k->guide);
	}
	assert_true(named > 0);
}

/* ---- to its end ---- */

struct road {
	const char *kind, *of;
	void (*at_step)(struct stand *s, const char *step);
	const char *result; /* that its last record has */
};

static void at_leak(struct stand *s, const char *step)
{
	if (strcmp(step, "volts") == 0)
		meter_says(s, red, "0.4120 V DC");
}

static void at_rise(struct stand *s, const char *step)
{
	int stage = 0;
	if (strcmp(step, "raise") == 0) {
		struct answer a = tally_run(s, (const char *const[]){"--json", "status", NULL});
		const char *at = strstr(a.out, "\"stage\":{\"value\":");
		stage = at ? atoi(at + 17) : 0;
		answer_free(&a);
	}
	amplifier(s, step, stage);
}

static void at_tune(struct stand *s, const char *step)
{
	meter_says(s, red, strcmp(step, "set") == 0 ? "-34.5 V DC" : "-38.0 V DC");
}

/* Three parts, each lifted after it was counted. */
static void at_lot(struct stand *s, const char *step)
{
	static const char *const parts[] = {"4.712 kOhm", "4.655 kOhm", "4.713 kOhm"};
	if (strcmp(step, "touch") != 0)
		return;
	for (int i = 0; i < 3; i++) {
		struct answer a = tally_run(s, (const char *const[]){"--json", "status", NULL});
		const char *at = strstr(a.out, "\"parts\":");
		int counted = at ? atoi(at + 8) : 0;
		answer_free(&a);
		if (counted > i)
			continue;
		meter_says(s, red, parts[i]);
		usleep(1300000);
		meter_says(s, red, "OL MOhm");
		usleep(1100000);
	}
}

static bool killed(struct stand *s, const struct road *r, const char *step)
{
	char says[60];
	int64_t before = kept(s)->last;
	int fd = go_unheard(s, r->of);
	usleep(drawn(8000));
	daemon_stop(s, SIGKILL);
	close(fd);
	daemon_start(s);
	const struct kept *k = kept(s);
	if (k->last < before)
		fail_msg("%s at %s: records are lost", r->kind, step);
	bool over = strstr(k->guide, "\"event\":\"done\"") != NULL;
	const char *now = step_now(s);
	snprintf(says, sizeof says, "\"step\":\"%s\"", now);
	note_row("%s: killed at %s, then at %s", r->kind, step, now[0] ? now : "its end");
	if (over ? now[0] != '\0' : !strstr(k->guide, says))
		fail_msg("it stands at %s: %s", now, k->guide);
	return true;
}

static void to_its_end(struct stand *s, const struct road *r, unsigned one)
{
	char step[40];
	int kills = 0;
	for (int i = 0; i < 200 && snprintf(step, sizeof step, "%s", step_now(s)) > 0; i++) {
		/* A `go` that was not heard of may have been done: the same step may come again. */
		r->at_step(s, step);
		usleep(350000); /* its meters are read again, and rest */
		if (drawn(one) == 0 && kills < 40)
			kills += killed(s, r, step);
		else
			go(s, r->of);
	}
	const struct kept *k = kept(s);
	if (!strstr(k->guide, "\"event\":\"done\"") || !strstr(k->guide, r->result))
		fail_msg("%s: %s", r->kind, k->guide);
	rests_on_its_own(k);
	assert_true(kills > 0);
	mustanswer(s, 0, "\"guides\":[]", "--json", "status");
	daemon_stop(s, SIGTERM);
	musttally(s, 0, "verify", s->log);
}

static void test_leak(void **state)
{
	struct stand *s = *state;
	begin(s);
	musttally(s, 0, "leak", "C1", "grid=red", "--yes");
	to_its_end(s, &(struct road){"leak", "C1", at_leak, "\"verdict\":\"within\""}, one_in(2));
}

static void test_rise(void **state)
{
	struct stand *s = *state;
	begin_power(s);
	meter_says(s, red, "0.1 V DC");
	musttally(s, 0, "rise", "rail=red", "probe=blue", "soak=0", "because=tests", "--yes");
	to_its_end(s, &(struct road){"rise", "rise", at_rise, "\"watts\":9.9"}, one_in(4));
}

static void test_tune(void **state)
{
	struct stand *s = *state;
	begin_power(s);
	meter_says(s, red, "-38.0 V DC");
	musttally(s, 0, "job", "live");
	musttally(s, 0, "tune", "BIAS", "here=red", "--yes");
	to_its_end(s, &(struct road){"tune", "BIAS", at_tune, "\"verdict\":\"within\""}, 1);
}

static void test_lot(void **state)
{
	struct stand *s = *state;
	begin_power(s);
	meter_says(s, red, "OL MOhm");
	musttally(s, 0, "lot", "4k7", "part=red", "for=R1,R2", "--yes");
	to_its_end(s, &(struct road){"lot", "4k7", at_lot, "\"for\":[\"R1\",\"R2\"]"}, 1);
	/* Where it is done its pairs are fitted. */
	daemon_start(s);
	mustanswer(s, 0, "of the lot 4k7", "--json", "sheet", "show");
	struct answer a = tally_run(s, (const char *const[]){"--json", "sheet", "show", NULL});
	const char *one = strstr(a.out, "of the lot 4k7");
	if (!one || !strstr(one + 1, "of the lot 4k7"))
		fail_msg("not both are fitted: %s", a.out);
	answer_free(&a);
}

/* While it forms there is no `go`: killed between readings, and then as it is given up. */
static void test_reform(void **state)
{
	struct stand *s = *state;
	begin(s);
	meter_says(s, red, "0.00 V DC");
	musttally(s, 0, "reform", "C20", "drop=red", "part=blue", "resistor=100k", "--yes");
	const struct road road = {"reform", "C20", at_leak, ""};
	char step[40];
	for (int i = 0; i < 60 && snprintf(step, sizeof step, "%s", step_now(s)) && strcmp(step, "quarter") != 0; i++) {
		usleep(350000);
		killed(s, &road, step);
	}
	assert_string_equal(step_now(s), "quarter");
	meter_says(s, blue, "84.0 V DC");
	meter_says(s, red, "20.0 V DC");
	for (int i = 0; i < 3; i++) {
		usleep(drawn(200000));
		killed(s, &road, "quarter");
	}
	meter_says(s, blue, "-9.00 V DC");
	usleep(drawn(120000)); /* before or after it was given up */
	daemon_stop(s, SIGKILL);
	daemon_start(s);
	for (int i = 0; i < 100 && strcmp(step_now(s), "off") != 0; i++)
		usleep(20000);
	assert_string_equal(step_now(s), "off");
	mustanswer(s, 1, "\"alarm\":\"guide\"", "--json", "status");
	musttally(s, 0, "leave");
	assert_non_null(strstr(kept(s)->guide, "wrong way round"));
	daemon_stop(s, SIGTERM);
	musttally(s, 0, "verify", s->log);
}

int main(void)
{
	const struct CMUnitTest tests[] = {on_stand(test_leak), on_stand(test_rise), on_stand(test_tune),
	                                   on_stand(test_lot), on_stand(test_reform)};
	int failed = 0;
	for (int i = 0; i < (getenv("TALLY_LONG") ? 3 : 1); i++)
		failed += run_on_stand(tests);
	return failed;
}

/* SPDX-License-Identifier: MIT */
/*
 * Watching: every record once, in order, whoever is slow and whenever one begins;
 * events, lives, frames and tapes that make way and are counted.
 */
#include "tests/server_fixture.h"

#define NEWS(method, params) "{\"jsonrpc\":\"2.0\",\"method\":\"" method "\",\"params\":" params "}"

/* ---- what was sealed, to hold the wire against ---- */

#define SEALED_MAX 8000
static char *sealed[SEALED_MAX]; /* by seq */

static bool remember(void *arg, int64_t seq, const char *text, size_t len)
{
	(void)arg;
	assert_in_range(seq, 1, SEALED_MAX - 1);
	free(sealed[seq]);
	sealed[seq] = strndup(text, len);
	return true;
}

static void sealed_read(struct fixture *f)
{
	struct fault why;
	struct log_reader *r = log_reader_open(log_path(f->log), &why);
	struct log_query all = { 0 };
	assert_non_null(r);
	assert_true(log_reader_records(r, &all, remember, NULL, &why) == log_last_seq(f->log));
	log_reader_close(r);
}

static void sealed_forget(void)
{
	for (int i = 0; i < SEALED_MAX; i++) {
		free(sealed[i]);
		sealed[i] = NULL;
	}
}

static void add_records(struct fixture *f, int n, bool tell)
{
	static char text[256][200];
	const char *body[256];
	while (n > 0) {
		int now = n < 256 ? n : 256;
		/* Some long, and with what is special in JSON, to be carried verbatim. */
		for (int i = 0; i < now; i++) {
			snprintf(text[i], sizeof text[i],
			         ",\"position\":\"R%d\",\"text\":\"\xc2\xb5 \\u00b5 \\\" \\\\ %*s\"", i % 40,
			         i % 90, "");
			body[i] = text[i];
		}
		log_notes(f, "note", body, (size_t)now);
		n -= now;
	}
	if (tell)
		log_collect(f->log, announce, f);
}

/* A watcher that keeps count: the next record must be next + 1, verbatim. */
struct watcher {
	struct peer *peer;
	int64_t next;
	long other; /* lines that were no records */
};

static void watcher_line(struct watcher *w, const char *line)
{
	char expected[1024];
	if (!strstr(line, "\"method\":\"record\"")) {
		w->other++;
		return;
	}
	if (!sealed[w->next])
		sealed_read(w->peer->f);
	assert_non_null(sealed[w->next]);
	snprintf(expected, sizeof expected, NEWS("record", "{\"seq\":%lld,\"record\":%s}"),
	         (long long)w->next, sealed[w->next]);
	assert_string_equal(line, expected);
	w->next++;
}

static struct watcher watcher_new(struct fixture *f, int64_t after)
{
	char call[160], last[80];
	struct watcher w = { .peer = peer_greeted(f), .next = after + 1 };
	snprintf(call, sizeof call, CALL("1", "watch", "{\"after\":%lld}"), (long long)after);
	mustsend(w.peer, call);
	snprintf(last, sizeof last, "\"id\":1,\"result\":{\"last\":");
	ckhas(w.peer, last);
	return w;
}

/* Take up to `most` bytes of what is there and check the whole lines in it. */
static void watcher_take(struct watcher *w, size_t most)
{
	peer_read(w->peer, most);
	char *lf;
	size_t from = 0;
	while (from < w->peer->len &&
	       (lf = memchr(w->peer->in + from, '\n', w->peer->len - from)) != NULL) {
		*lf = '\0';
		watcher_line(w, w->peer->in + from);
		from = (size_t)(lf + 1 - w->peer->in);
	}
	w->peer->len -= from;
	memmove(w->peer->in, w->peer->in + from, w->peer->len);
}

static void watcher_until(struct watcher *w, int64_t last)
{
	uint64_t until = now_ms() + WAIT_MS;
	while (w->next <= last) {
		watcher_take(w, 64 << 10);
		turn(w->peer->f);
		poll(NULL, 0, 0);
		if (now_ms() > until)
			fail_msg("record %lld did not come", (long long)w->next);
	}
	cknothing(w->peer);
	assert_int_equal(w->next, last + 1);
}

/* ---- records ---- */

static void test_from_now(void **state)
{
	struct fixture *f = *state;
	struct peer *p = peer_greeted(f);
	log_record(f, "note", ",\"text\":\"before\"");
	mustsend(p, CALL("1", "watch", "{}"));
	ckresp(p, RESULT("1", "{\"last\":2}"));
	cknothing(p);
	log_record(f, "note", ",\"text\":\"after\"");
	ckresp(p, NEWS("record", "{\"seq\":3,\"record\":{\"seq\":3,\"t\":\"2026-11-25T10:00:00.002000Z\","
	               "\"kind\":\"note\",\"text\":\"after\"}}"));
	/* A second call begins anew. */
	mustsend(p, CALL("2", "watch", "{\"after\":0}"));
	ckresp(p, RESULT("2", "{\"last\":3}"));
	ckhas(p, "{\"seq\":1,\"record\":{\"seq\":1,");
	ckhas(p, "{\"seq\":2,\"record\":");
	ckhas(p, "{\"seq\":3,\"record\":");
	cknothing(p);
	mustsend(p, CALL("3", "watch", "{\"after\":4}"));
	ckhas(p, "\"error\":{\"code\":2,\"message\":\"watch after 4, but the log ends at 3");
	peer_free(p);
}

/* The hand-over from catching up to live, under a stream of records: watchers come at
 * different times, at different cursors, records are durable before they are
 * announced, and what is announced comes in groups. */
static void test_hand_over(void **state)
{
	enum { WATCHERS = 12, ROUNDS = 160 };
	struct fixture *f = *state;
	struct watcher w[WATCHERS];
	int n = 0;
	add_records(f, 600, true);
	for (int round = 0; round < ROUNDS; round++) {
		add_records(f, 1 + round % 7, round % 3 != 0);
		if (round % 5 == 0 && n < WATCHERS) {
			int64_t last = log_last_seq(f->log);
			/* From the start, from a page's edge, from just before the end. */
			int64_t after[] = { 0, 256, last - 30, 511 };
			log_collect(f->log, announce, f);
			w[n] = watcher_new(f, after[n % 4]);
			n++;
		}
		turn(f);
		for (int i = 0; i < n; i++)
			if ((round + i) % 3)
				watcher_take(&w[i], 40000);
	}
	log_collect(f->log, announce, f);
	for (int i = 0; i < n; i++)
		watcher_until(&w[i], log_last_seq(f->log));
	for (int i = 0; i < n; i++)
		peer_free(w[i].peer);
	assert_int_equal(n, WATCHERS);
	sealed_forget();
}

static void announce_every_third(void *arg, const struct log_result *r)
{
	if (r->seq % 3 == 0)
		announce(arg, r);
}

/* What was not announced is read from the log before what was. */
static void test_unannounced(void **state)
{
	struct fixture *f = *state;
	struct watcher w = watcher_new(f, 1);
	for (int i = 0; i < 10; i++) {
		add_records(f, 6, false);
		log_collect(f->log, announce_every_third, f);
		uint64_t until = now_ms() + WAIT_MS;
		while (w.next <= log_last_seq(f->log) / 3 * 3 && now_ms() < until) {
			turn(f);
			watcher_take(&w, 64 << 10);
		}
		assert_true(w.next > log_last_seq(f->log) / 3 * 3);
	}
	peer_free(w.peer);
	sealed_forget();
}

/* One that reads nothing for a long time lags, while the others are up to date, and
 * then gets everything. */
static void test_slow_reader(void **state)
{
	struct fixture *f = *state;
	struct watcher slow = watcher_new(f, 0), quick = watcher_new(f, 0);
	for (int i = 0; i < 60; i++) {
		add_records(f, 100, true);
		watcher_until(&quick, log_last_seq(f->log));
	}
	assert_int_equal(slow.next, 1);
	watcher_until(&slow, log_last_seq(f->log));
	assert_int_equal(slow.other, 0);
	/* And is a watcher like any other from then on. */
	add_records(f, 10, true);
	watcher_until(&slow, log_last_seq(f->log));
	/* One that comes back goes on where it was. */
	int64_t had = quick.next - 1;
	peer_free(quick.peer);
	quick = watcher_new(f, had);
	watcher_until(&quick, log_last_seq(f->log));
	peer_free(slow.peer);
	peer_free(quick.peer);
	sealed_forget();
}

/* ---- news ---- */

static void test_events(void **state)
{
	struct fixture *f = *state;
	struct peer *p = peer_greeted(f), *other = peer_greeted(f);
	mustsend(p, CALL("1", "watch", "{}"));
	ckhas(p, "\"last\":1");
	assert_false(server_wants_live(f->server));
	server_event(f->server, "{\"event\":\"up\",\n\"position\":\"R1\"}");
	ckresp(p, NEWS("event", "{\"event\":\"up\", \"position\":\"R1\"}"));
	cknothing(other);
	peer_free(p);
	peer_free(other);
}

/* A watcher that reads nothing while events and records come: the oldest events are
 * lost and counted, in the place where they are missing; no record is. */
static void test_lost_events(void **state)
{
	enum { EVENTS = 60000 };
	struct fixture *f = *state;
	struct peer *p = peer_greeted(f);
	char text[200];
	int64_t first = log_last_seq(f->log) + 1, next = first;
	mustsend(p, CALL("1", "watch", "{}"));
	ckhas(p, "\"last\":1");
	for (int i = 0; i < EVENTS; i++) {
		snprintf(text, sizeof text, "{\"event\":\"moving\",\"n\":%d,\"filler\":\"%0100d\"}", i, i);
		server_event(f->server, text);
		if (i % 1000 == 0)
			add_records(f, 10, true);
		if (i % 500 == 0)
			turn(f);
	}
	/* The reader comes back.  What is read is contiguous but for what is told. */
	int64_t last = log_last_seq(f->log);
	long seen = 0, lost = 0, number = -1;
	while (next <= last || number < EVENTS - 1) {
		const char *line = peer_line(p), *at;
		long n, told = 0;
		assert_non_null(line);
		if (strstr(line, "\"method\":\"record\"")) {
			at = strstr(line, "\"params\":{\"seq\":");
			assert_int_equal(strtol(at + 16, NULL, 10), next);
			next++;
			continue;
		}
		at = strstr(line, "\"n\":");
		n = strtol(at + 4, NULL, 10);
		at = strstr(line, "\"params\":{\"lost\":");
		if (at)
			told = strtol(at + 17, NULL, 10);
		if (at)
			assert_non_null(strstr(at, ",\"event\":\"moving\","));
		assert_int_equal(n, number + 1 + told);
		number = n;
		lost += told;
		seen++;
	}
	assert_int_equal(seen + lost, EVENTS);
	assert_true(lost > 1000);
	assert_in_range(seen, 10000, 40000); /* about 4 MiB of them, and the kernel's */
	assert_int_equal(next, last + 1);
	peer_free(p);
}

static void test_live(void **state)
{
	struct fixture *f = *state;
	struct peer *p = peer_greeted(f), *without = peer_greeted(f);
	char text[64];
	mustsend(p, CALL("1", "watch", "{\"live\":true}"));
	mustsend(without, CALL("1", "watch", "{\"live\":false}"));
	ckhas(p, "\"last\":1");
	ckhas(without, "\"last\":1");
	assert_true(server_wants_live(f->server));
	uint64_t began = now_ms();
	int sent = 0, got = 0, newest = 0;
	while (now_ms() < began + 500) {
		snprintf(text, sizeof text, "{\"n\":%d}", ++sent);
		server_live(f->server, text);
		turn(f);
		peer_read(p, 4096);
		usleep(500);
	}
	for (uint64_t until = now_ms() + 150; now_ms() < until;)
		turn(f);
	server_event(f->server, "{\"event\":\"back\"}");
	for (;;) {
		const char *line = peer_line(p);
		assert_non_null(line);
		if (strstr(line, "\"back\""))
			break;
		const char *at = strstr(line, "\"method\":\"live\",\"params\":{\"n\":");
		assert_non_null(at);
		int n = (int)strtol(at + 30, NULL, 10);
		assert_true(n > newest);
		newest = n;
		got++;
	}
	assert_true(sent > 100);
	assert_in_range(got, 2, 15); /* 20 a second, for 0.65 s, on a busy machine or not */
	assert_int_equal(newest, sent); /* the last one always comes */
	ckhas(without, "\"back\"");
	peer_free(p);
	for (int i = 0; i < 5; i++)
		turn(f);
	assert_false(server_wants_live(f->server));
	peer_free(without);
}

static void test_frames(void **state)
{
	struct fixture *f = *state;
	struct peer *p = peer_greeted(f);
	assert_false(server_wants_frames(f->server, "red"));
	mustsend(p, CALL("1", "raw", "{\"meter\":\"green\"}"));
	ckresp(p, "{\"jsonrpc\":\"2.0\",\"id\":1,\"error\":{\"code\":2,\"message\":\"there is no meter "
	          "\\\"green\\\"; `tally meters` lists them\"}}");
	mustsend(p, CALL("2", "raw", "{}"));
	ckhas(p, "\"code\":-32602");
	mustsend(p, CALL("3", "raw", "{\"meter\":\"red\"}"));
	ckresp(p, RESULT("3", "{}"));
	mustsend(p, CALL("4", "raw", "{\"meter\":\"red\"}"));
	ckresp(p, RESULT("4", "{}"));
	assert_true(server_wants_frames(f->server, "red"));
	assert_false(server_wants_frames(f->server, "bench"));
	server_frame(f->server, "bench", "{\"meter\":\"bench\"}");
	server_frame(f->server, "red", "{\"meter\":\"red\",\"bytes\":\"+1.0\\\\r\"}");
	ckresp(p, NEWS("frame", "{\"meter\":\"red\",\"bytes\":\"+1.0\\\\r\"}"));
	cknothing(p);
	peer_free(p);
	for (int i = 0; i < 5; i++)
		turn(f);
	assert_false(server_wants_frames(f->server, "red"));
}

static void test_tape(void **state)
{
	struct fixture *f = *state;
	struct peer *one = peer_greeted(f), *all = peer_greeted(f);
	assert_false(server_wants_tape(f->server, NULL));
	mustsend(one, CALL("1", "tape", "{\"meters\":[\"red\",\"green\"]}"));
	ckhas(one, "there is no meter \\\"green\\\"");
	assert_false(server_wants_tape(f->server, "red"));
	mustsend(one, CALL("2", "tape", "{\"meters\":[\"red\"]}"));
	ckresp(one, RESULT("2", "{}"));
	mustsend(all, CALL("3", "tape", "{\"meters\":[]}"));
	ckresp(all, RESULT("3", "{}"));
	assert_true(server_wants_tape(f->server, "bench"));
	static const char red[] = "0.000000 red \"+0.48 kOhm\\r\\n\"\n";
	static const char bench[] = "0.100000 bench \"OL\"";
	static const char act[] = "0.300000 @at R12";
	server_tape(f->server, "red", red, sizeof red - 1);
	server_tape(f->server, "bench", bench, sizeof bench - 1);
	server_tape(f->server, NULL, act, sizeof act - 1);
	ckresp(one, NEWS("tape", "{\"line\":\"0.000000 red \\\"+0.48 kOhm\\\\r\\\\n\\\"\"}"));
	ckresp(one, NEWS("tape", "{\"line\":\"0.300000 @at R12\"}"));
	ckresp(all, NEWS("tape", "{\"line\":\"0.000000 red \\\"+0.48 kOhm\\\\r\\\\n\\\"\"}"));
	ckresp(all, NEWS("tape", "{\"line\":\"0.100000 bench \\\"OL\\\"\"}"));
	ckresp(all, NEWS("tape", "{\"line\":\"0.300000 @at R12\"}"));
	peer_free(one);
	peer_free(all);
}

/* The end of the daemon while many read from the log. */
static void test_close_while_reading(void **state)
{
	struct fixture *f = *state;
	struct peer *p[20];
	add_records(f, 2000, true);
	for (int i = 0; i < 20; i++) {
		p[i] = peer_greeted(f);
		mustsend(p[i], CALL("1", "watch", "{\"after\":0}") "\n" CALL("2", "entries", "{}") "\n" CALL(
		                   "3", "verify", "{}"));
	}
	server_down(f);
	for (int i = 0; i < 20; i++)
		peer_free(p[i]);
}

#define TEST(name) cmocka_unit_test_setup_teardown(test_##name, fixture_up, fixture_down)

int main(void)
{
	const struct CMUnitTest tests[] = {
		TEST(from_now), TEST(hand_over), TEST(unannounced), TEST(slow_reader), TEST(events),
		TEST(lost_events), TEST(live), TEST(frames), TEST(tape),
		TEST(close_while_reading),
	};
	return cmocka_run_group_tests_name("server, watching", tests, NULL, NULL);
}

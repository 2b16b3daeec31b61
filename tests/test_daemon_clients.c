/* SPDX-License-Identifier: MIT */
/*
 * Bad clients, and those that only look: a real daemon, a meter that talks, and beside the
 * technician everything that a broken or hostile program on the same machine can do.
 *
 * What is demanded: memory stays bounded, no reading is lost, whoever works is answered,
 * and every record names who asked for it.
 *
 * TALLY_LONG=1 sends 1 GiB without a line end, and not 64 MiB.
 */
#include "tests/daemon_stand.h"

#include <sys/resource.h>

#define CROWD 1000
#define DAEMON_GROWTH_KIB (96 * 1024) /* 64 connections may hold 1 MiB of a line each, and 20
                                       * slow readers 256 KiB of records */

static struct peer *viewer(struct stand *s, const char *path)
{
	char bench[sizeof s->socket];
	memcpy(bench, s->socket, sizeof bench);
	snprintf(s->socket, sizeof s->socket, "%s", path);
	struct peer *p = peer_greeted(s);
	memcpy(s->socket, bench, sizeof bench);
	return p;
}

/* ---- viewers ---- */

/* Every method of WIRE.md's table: those that only look are answered, whatever they say to empty
 * parameters; all others are refused by their names. */
static void ckviewer_table(struct stand *s, const char *path)
{
	static const char *const look[] = { "hello", "status", "meters", "doctor", "watch", "raw", "tape" };
	char *page = file_text("protocol/WIRE.md");
	int looked = 0, refused = 0;
	for (char *at = page; (at = strstr(at, "\n| `"));) {
		char name[40] = "", call[160];
		at += 4;
		size_t n = strcspn(at, "`");
		if (n == 0 || n >= sizeof name || strspn(at, "abcdefghijklmnopqrstuvwxyz.") != n)
			continue;
		memcpy(name, at, n);
		bool may = !strncmp(at + n, "` *file* |", 10) && strcmp(name, "backup") != 0;
		/* Other tables have members and words in their first column. */
		bool is_method = strncmp(at + n, "` |", 3) == 0 || strncmp(at + n, "` *file* |", 10) == 0;
		for (size_t i = 0; i < sizeof look / sizeof *look; i++)
			may = may || !strcmp(name, look[i]);
		if (!is_method)
			continue;
		struct peer *p = viewer(s, path);
		snprintf(call, sizeof call, CALL("7", "%s", "{}"), name);
		mustsend(p, call);
		const char *line = mustsee(p, "\"id\":7,");
		bool no_method = strstr(line, "\"code\":-32601,") != NULL;
		bool no = strstr(line, "\"code\":5,") && strstr(line, "for looking only");
		if (may ? no || no_method : !no || !strstr(line, name))
			fail_msg("%s by a viewer: %s", name, line);
		looked += may;
		refused += !may;
		peer_free(p);
		if (!strcmp(name, "verify"))
			break; /* the last of the methods; notifications follow */
	}
	free(page);
	print_message("  methods of WIRE.md: %d that look, %d refused\n", looked, refused);
	assert_true(looked > 25 && refused > 35);
}

static void test_viewers(void **state)
{
	struct stand *s = *state;
	const char *view = in_dir(s, "view.sock");
	struct stat st;
	int red = meter_new(s, "red", 10, "accuracy ohm = 0.5% + 2\n");
	snprintf(s->extra, sizeof s->extra, "viewers = %s\n", view);
	s->sim[red].wander = true; /* so that there is always something live to be told */
	meter_plug(s, red);
	daemon_start(s);
	/* To connect is to write: anybody may, here. */
	wait_until(s, stat(view, &st) == 0);
	assert_int_equal(st.st_mode & 07777, 0666);
	assert_int_equal(stat(s->socket, &st), 0);
	assert_int_equal(st.st_mode & 07777, 0660);

	struct peer *work = peer_greeted(s), *look = viewer(s, view);
	mustsend(look, CALL("1", "watch", "{\"live\":true}"));
	mustsee(look, "\"id\":1,\"result\"");
	mustsend(work, CALL("1", "at", "{\"position\":\"R1\"}"));
	mustsee(look, "\"position\":\"R1\"");
	mustsend(work, CALL("2", "note", "{\"position\":\"R1\",\"text\":\"by the one who works\"}"));
	mustsee(look, "by the one who works");
	mustsee(look, "\"method\":\"live\"");
	static const char *const asks[] = { "status", "meters", "entries", "job.list", "sheet.show",
		"verify", "records", "compare", "doctor", "trail.lines" };
	for (size_t i = 0; i < sizeof asks / sizeof *asks; i++) {
		char call[200];
		snprintf(call, sizeof call, CALL("\"%s\"", "%s", "{}"), asks[i], asks[i]);
		mustsend(look, call);
		snprintf(call, sizeof call, "\"id\":\"%s\",\"result\"", asks[i]);
		mustsee(look, call);
	}
	/* Everything else is refused, whatever its parameters, and nothing comes of it. */
	static const char *const changes[] = { "take", "note", "at", "undo", "walk", "job.start",
		"job.close", "sheet.load", "sheet.set", "sheet.add", "enter", "strike", "move", "offset",
		"speaks", "announced", "reach", "condition", "backup", "next", "back", "again", "there",
		"meters.check", "no.such.thing" };
	struct peer *quiet = viewer(s, view);
	for (size_t i = 0; i < sizeof changes / sizeof *changes; i++) {
		char call[200];
		snprintf(call, sizeof call, CALL("7", "%s", "{\"position\":\"R1\",\"text\":\"by a viewer\"}"),
		         changes[i]);
		mustsend(quiet, call);
		const char *line = mustsee(quiet, "\"id\":7,");
		if (!strstr(line, "\"code\":5,") || !strstr(line, "for looking only"))
			fail_msg("%s by a viewer: %s", changes[i], line);
	}
	ckviewer_table(s, view);
	mustsend(work, CALL("9", "records", "{}"));
	assert_null(strstr(mustsee(work, "\"id\":9,"), "by a viewer"));
	/* The client, too. */
	setenv("TALLY_SOCKET", view, 1);
	musttally(s, 0, "entries");
	musttally(s, 1, "note", "R1", "by a viewer");
	setenv("TALLY_SOCKET", s->socket, 1);
	daemon_stop(s, SIGTERM);
	assert_int_equal(access(view, F_OK), -1);
}

/* As many viewers as there may be keep nobody from working. */
static void test_viewers_crowd(void **state)
{
	struct stand *s = *state;
	const char *view = in_dir(s, "view.sock");
	int fd[80];
	snprintf(s->extra, sizeof s->extra, "viewers = %s\n", view);
	daemon_start(s);
	for (int i = 0; i < 80; i++)
		fd[i] = socket_connect(view);
	struct peer *work = peer_greeted(s);
	mustsend(work, CALL("1", "note", "{\"position\":\"R1\",\"text\":\"x\"}"));
	mustsee(work, "\"id\":1,\"result\"");
	for (int i = 0; i < 80; i++)
		close(fd[i]);
	daemon_stop(s, SIGTERM);
}

/* ---- bad clients ---- */

/* Bytes without a line end, a connection after the other. */
static void send_endless(struct stand *s, size_t bytes)
{
	static char block[65536];
	memset(block, 'x', sizeof block);
	size_t sent = 0;
	int connections = 0;
	while (sent < bytes) {
		int fd = socket_connect(s->socket);
		assert_true(fd >= 0);
		connections++;
		for (;;) {
			ssize_t n = send(fd, block, sizeof block, MSG_NOSIGNAL);
			if (n > 0) {
				sent += (size_t)n;
			} else if (n < 0 && errno == EAGAIN) {
				if (poll(&(struct pollfd){ .fd = fd, .events = POLLOUT }, 1, WAIT_MS) != 1)
					fail_msg("the daemon neither reads nor closes");
			} else {
				break; /* put out */
			}
			if (sent >= bytes)
				break;
		}
		close(fd);
	}
	print_message("  %zu MiB without a line end, over %d connections\n", bytes >> 20, connections);
}

static void crowd_in(struct stand *s, int *fd)
{
	int in = 0;
	for (int i = 0; i < CROWD; i++) {
		/* The kernel keeps 128 waiting; of more it says "again". */
		for (int tries = 0; tries < 2000 && (fd[i] = socket_connect(s->socket)) < 0; tries++)
			nap_ms(1);
		if (fd[i] < 0)
			continue;
		in++;
		static const char *const says[] = { "", "{\"jsonrpc\":\"2.0\",\"id\":1,\"meth",
			CALL("1", "hello", "{\"protocol\":99}") "\n", HELLO "\n" CALL("2", "watch", "{\"after\":0}") "\n",
			"\xff\xfe\x00\n", "[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[\n", "GET / HTTP/1.1\r\n\r\n" };
		const char *text = says[i % 7];
		(void)!send(fd[i], text, strlen(text), MSG_NOSIGNAL);
	}
	assert_int_equal(in, CROWD);
}

/* How many readings of the meter the log has. */
static long readings_logged(struct peer *p)
{
	static int id;
	char call[200], want[40];
	long sum = 0, after = 0;
	do {
		snprintf(call, sizeof call, CALL("\"r%d\"", "records", "{\"kind\":\"trail\",\"after\":%ld}"), ++id,
		         after);
		snprintf(want, sizeof want, "\"id\":\"r%d\",\"result\"", id);
		mustsend(p, call);
		const char *line = mustsee(p, want);
		for (const char *at = line; (at = strstr(at, ",\"n\":")); at++)
			sum += strtol(at + 5, NULL, 10);
		const char *next = strstr(line, "\"more\":true,\"next\":");
		after = next ? strtol(next + 19, NULL, 10) : -1;
	} while (after >= 0);
	return sum;
}

static void test_bad_clients(void **state)
{
	struct stand *s = *state;
	struct rlimit files;
	static int fd[CROWD];
	getrlimit(RLIMIT_NOFILE, &files);
	files.rlim_cur = files.rlim_max < 4096 ? files.rlim_max : 4096;
	setrlimit(RLIMIT_NOFILE, &files);
	int red = meter_new(s, "red", 20, "accuracy ohm = 0.5% + 2\n");
	/* It is silent until its line is open, so that every line that it writes must arrive. */
	meter_says(s, red, "");
	meter_plug(s, red);
	daemon_start(s);
	wait_until(s, file_has(s->said, "red: line open"));
	nap_ms(500); /* a first line without a pause before it may be a piece of one */
	meter_says(s, red, "+1.000 kOhm");
	struct peer *work = peer_watching(s, -1);
	mustsend(work, CALL("1", "at", "{\"position\":\"R1\"}"));
	mustsee(work, "\"id\":1,\"result\"");
	wait_until(s, meter_said(s, red) > 10);
	long before = status_kib(s->daemon, "VmRSS:");

	/* Slow readers: each asks for all records and reads nothing. */
	for (int i = 0; i < 20; i++) {
		struct peer *slow = peer_new(s);
		mustsend(slow, HELLO);
		mustsend(slow, CALL("1", "watch", "{\"after\":0,\"live\":true}"));
		mustsend(slow, CALL("2", "tape", "{\"meters\":[]}"));
	}
	double begun = now_s();
	long most = 0;
	send_endless(s, getenv("TALLY_LONG") ? (size_t)1 << 30 : (size_t)64 << 20);
	/* One crowd after the other, so that the meter has said something meanwhile. */
	int crowds = 0;
	for (; !crowds || now_s() - begun < 2; crowds++) {
		for (int i = 0; crowds && i < CROWD; i++)
			close(fd[i]);
		crowd_in(s, fd);
		most = status_kib(s->daemon, "VmRSS:") > most ? status_kib(s->daemon, "VmRSS:") : most;
	}
	print_message("  %d crowds of %d connections each\n", crowds, CROWD);
	/* Who was in works on, among them. */
	double slowest = 0;
	for (int i = 0; i < 20; i++) {
		double t = now_s();
		mustsend(work, CALL("\"n\"", "note", "{\"position\":\"R1\",\"text\":\"still here\"}"));
		mustsee(work, "\"id\":\"n\",\"result\"");
		slowest = now_s() - t > slowest ? now_s() - t : slowest;
	}
	most = status_kib(s->daemon, "VmRSS:") > most ? status_kib(s->daemon, "VmRSS:") : most;
	for (int i = 0; i < CROWD; i++)
		if (fd[i] >= 0)
			close(fd[i]);
	print_message("  memory %ld KiB before, %ld at most; the slowest note of 20 took %.0f ms; %.1f s\n",
	              before, most, slowest * 1e3, now_s() - begun);
	if (!is_sanitized())
		assert_true(most - before < DAEMON_GROWTH_KIB);
	assert_true(slowest < 5);

	/* No reading is missing, and the meter never went away. */
	meter_says(s, red, "");
	nap_ms(500);
	assert_false(file_has(s->said, "red: line gone"));
	meter_unplug(s, red);
	mustsee(work, "\"event\":\"gone\"");
	long said = (long)meter_said(s, red);
	wait_until(s, readings_logged(work) == said);
	print_message("  all of %ld readings are in the log\n", said);
	char *texts = NULL;
	/* Whoever asked stands in the record. */
	daemon_stop(s, SIGTERM);
	texts = log_texts(s, s->log);
	char by[64];
	snprintf(by, sizeof by, "\"text\":\"still here\",\"uid\":%u", (unsigned)getuid());
	if (!strstr(texts, by))
		fail_msg("no %s in the log", by);
	free(texts);
	musttally(s, 0, "verify", s->log);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		on_stand(test_viewers),
		on_stand(test_viewers_crowd),
		on_stand(test_bad_clients),
	};
	return run_on_stand(tests);
}

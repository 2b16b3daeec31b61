/* SPDX-License-Identifier: MIT */
/*
 * The whole daemon while cables are pulled: identity, gaps, times, and a thousand
 * unplug and replug cycles that leave nothing behind.
 *
 * Where namespaces are to be had the daemon hears events of a udev of our own
 * (tests/udev_stand.h); else only its look every 250 ms is tested, with fewer cycles.
 * TALLY_LONG=1 makes a thousand cycles of it.  What is expected are the project's own
 * promises; no outside source.
 */
#include "tests/daemon_stand.h"
#include "tests/udev_stand.h"

static bool events; /* of a udev of our own */

static bool is_long(void)
{
	const char *text = getenv("TALLY_LONG");
	return text && text[0] && strcmp(text, "0");
}

/* What udev says when an adapter comes or goes: nothing, where there is none. */
static void event_of(struct stand *s, int meter, const char *action)
{
	static int fd = -1;
	char name[32];
	(void)s;
	if (!events)
		return;
	if (fd < 0)
		fd = udev_stand_socket();
	snprintf(name, sizeof name, "ttyTEST%d", meter);
	assert_true(udev_stand_event(fd, action, "tty", name));
}

static void plug(struct stand *s, int meter)
{
	meter_plug(s, meter);
	event_of(s, meter, "add");
}

static void unplug(struct stand *s, int meter)
{
	meter_unplug(s, meter);
	event_of(s, meter, "remove");
}

/* How many descriptors of the daemon lead to this terminal (gone or not). */
static int holds(struct stand *s, const char *pts)
{
	char path[300], to[128];
	int n = 0;
	snprintf(path, sizeof path, "/proc/%d/fd", (int)s->daemon);
	DIR *dir = opendir(path);
	struct dirent *e;
	while (dir && (e = readdir(dir))) {
		snprintf(path, sizeof path, "/proc/%d/fd/%.20s", (int)s->daemon, e->d_name);
		ssize_t len = readlink(path, to, sizeof to - 1);
		if (len <= 0)
			continue;
		to[len] = '\0';
		/* One whose other end is gone reads "/dev/pts/3 (deleted)". */
		size_t plain = strlen(pts);
		if (strncmp(to, pts, plain) == 0 && (to[plain] == '\0' || to[plain] == ' '))
			n++;
	}
	if (dir)
		closedir(dir);
	return n;
}

static int count_in(const char *text, const char *fragment)
{
	int n = 0;
	for (const char *at = text; (at = strstr(at, fragment)); at++)
		n++;
	return n;
}

static void mustsay(const char *line, const char *fragment)
{
	if (!strstr(line, fragment))
		fail_msg("expected %s in\n%s", fragment, line);
}

/* ---- which adapter it is ---- */

/* Absent at the start, plugged, unplugged, and back under another number. */
static void test_renumbered(void **state)
{
	enum { ROUNDS = 6 };
	struct stand *s = *state;
	int red = meter_new(s, "red", 50, NULL), moved = meter_new(s, "moved", 50, NULL);
	/* The same adapter, as the kernel would number it the next time. */
	strcpy(s->sim[moved].serial, "red");
	s->sim[moved].spare = true;
	meter_says(s, red, "+1.000 kOhm");
	meter_says(s, moved, "+1.001 kOhm");
	daemon_start(s);
	wait_until(s, file_has(s->said, "no adapter usb:1209:0001:red is there: it is waited for"));
	struct answer a = tally(s, "--json", "meters");
	mustsay(a.out, "\"state\":\"absent\"");
	mustsay(a.out, "it is waited for");
	answer_free(&a);

	struct peer *watch = peer_watching(s, 0);
	int from = red, to = moved;
	plug(s, red);
	wait_until(s, file_has(s->said, "red: line open at /dev/ttyTEST0"));
	double waited = 0;
	for (int round = 0; round < ROUNDS; round++) {
		char pts[64];
		wait_until(s, (answer_free(&a), a = tally(s, "--json", "meters"), strstr(a.out, "kohm")));
		answer_free(&a);
		ssize_t n = readlink(s->sim[from].link, pts, sizeof pts - 1);
		assert_true(n > 0);
		pts[n] = '\0';
		assert_int_equal(holds(s, pts), 2); /* ours with the lock, the library's */
		double t = now_s();
		unplug(s, from);
		wait_until(s, holds(s, pts) == 0);
		if (now_s() - t > 0.1)
			fail_msg("closed after %.0f ms", (now_s() - t) * 1e3);
		mustsay(mustsee(watch, "\"event\":\"gone\""), "\"why\":\"unplugged\"");
		t = now_s();
		plug(s, to);
		mustsee(watch, "\"event\":\"back\"");
		t = now_s() - t;
		if (t > 2)
			fail_msg("back after %.0f ms", t * 1e3);
		waited += t;
		from = to;
		to = to == red ? moved : red;
	}
	peer_free(watch);
	print_message("   back after %.0f ms in the mean\n", waited / ROUNDS * 1e3);
	/* The look every 250 ms alone takes 125 in the mean. */
	if (events)
		assert_true(waited / ROUNDS < 0.08);
	assert_int_equal(meter_got(s, red) + meter_got(s, moved), 0);
	assert_true(file_has(s->said, "red: line open at /dev/ttyTEST1"));
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	char *all = log_texts(s, s->log);
	assert_int_equal(count_in(all, "\"kind\":\"gap\""), ROUNDS);
	assert_int_equal(count_in(all, "\"cause\":\"unplugged\"") +
	                 count_in(all, "\"why\":\"unplugged\""), 2 * ROUNDS); /* the gaps, and the meter gone */
	free(all);
	musttally(s, 0, "verify", s->log);
}

/* Two adapters with one serial number: none is taken, whichever came first. */
static void test_ambiguous(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 50, NULL), same = meter_new(s, "same", 50, NULL);
	strcpy(s->sim[same].serial, "red");
	s->sim[same].spare = true;
	meter_says(s, red, "+1.000 kOhm");
	meter_says(s, same, "+2.000 kOhm");
	plug(s, red);
	plug(s, same);
	daemon_start(s);
	static const char *const said[] = {
		"2 adapters fit usb:1209:0001:red", "/dev/ttyTEST0 in place 9-1:1.0",
		"/dev/ttyTEST1 in place 9-2:1.0", "port = usb-place:9-1:1.0 or usb-place:9-2:1.0",
	};
	struct peer *watch = peer_watching(s, 0);
	struct answer a = {0};
	wait_until(s, (answer_free(&a), a = tally(s, "--json", "meters"),
	               strstr(a.out, "\"state\":\"refused\"")));
	for (size_t i = 0; i < sizeof said / sizeof *said; i++) {
		mustsay(a.out, said[i]);
		assert_true(file_has(s->said, said[i]));
	}
	answer_free(&a);
	/* One goes: the other is the one.  It comes again: neither is. */
	for (int round = 0; round < 3; round++) {
		unplug(s, same);
		if (round)
			mustsee(watch, "\"event\":\"back\"");
		wait_until(s, (answer_free(&a), a = tally(s, "--json", "meters"), strstr(a.out, "kohm")));
		answer_free(&a);
		plug(s, same);
		mustsay(mustsee(watch, "\"event\":\"gone\""), "another adapter fits as well");
		mustsay(mustsee(watch, "\"event\":\"trouble\""), said[3]);
	}
	peer_free(watch);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	char *all = log_texts(s, s->log);
	assert_int_equal(count_in(all, "\"kind\":\"gap\""), 2); /* the third has no end yet */
	assert_int_equal(count_in(all, "+2.000"), 0);
	free(all);
	musttally(s, 0, "verify", s->log);
}

/* ---- a thousand times ---- */

/* What the daemon said to be on the disk: the texts of records. */
struct promised {
	char **text;
	int count, room;
};

static void promise_add(struct promised *p, char *text)
{
	if (p->count == p->room) {
		p->room = p->room * 2 + 256;
		p->text = realloc(p->text, (size_t)p->room * sizeof *p->text);
		assert_non_null(p->text);
	}
	p->text[p->count++] = text;
}

/* Lines until one has this in it; every record among them is a promise. */
static void see(struct peer *watch, struct promised *p, const char *fragment)
{
	double until = now_s() + WAIT_MS / 1000.0;
	for (;;) {
		const char *line = peer_line(watch, (int)((until - now_s()) * 1000));
		char *record = line ? record_of(line) : NULL;
		if (record)
			promise_add(p, record);
		if (line && strstr(line, fragment))
			return;
		if (!line || now_s() > until) {
			show_said(watch->stand);
			fail_msg("waited for %s", fragment);
		}
	}
}

/* Every promised record stands in the log, letter by letter. */
static void keep_promises(struct stand *s, struct promised *p)
{
	char *all = log_texts(s, s->log), *at = all;
	for (int i = 0; i < p->count; i++) {
		/* Both are in the order of seq. */
		size_t len = strlen(p->text[i]);
		char *found = strstr(at, p->text[i]);
		if (!found || found[len] != '\n')
			fail_msg("told as durable, and not in the log: %s", p->text[i]);
		at = found + len;
		free(p->text[i]);
	}
	free(p->text);
	free(all);
}

/* Seconds of processor that it used. */
static double cpu_of(pid_t pid)
{
	char path[64];
	unsigned long user = 0, system = 0;
	snprintf(path, sizeof path, "/proc/%d/stat", (int)pid);
	char *text = file_text(path), *at = strrchr(text, ')');
	assert_non_null(at);
	assert_int_equal(sscanf(at + 1, " %*c %*d %*d %*d %*d %*d %*u %*u %*u %*u %*u %lu %lu", &user,
	                        &system), 2);
	free(text);
	return (double)(user + system) / (double)sysconf(_SC_CLK_TCK);
}

static double cpu_share(struct stand *s, int ms)
{
	double before = cpu_of(s->daemon), t = now_s();
	nap_ms(ms);
	return (cpu_of(s->daemon) - before) / (now_s() - t);
}

static void test_cycles(void **state)
{
	struct stand *s = *state;
	const int cycles = is_long() ? 1000 : events ? 120 : 30, settled = is_long() ? 50 : cycles / 3;
	int red = meter_new(s, "red", 500, NULL), asked = meter_new(s, "asked", 0, "setup = CONF:RES\npace = 0.01\n");
	meter_says(s, red, "wander");
	meter_says(s, asked, "+1.01000E+05");
	daemon_start(s);
	struct promised promised = {0};
	struct peer *watch = peer_watching(s, 0);
	long rss = 0;
	int files = 0;
	double began = now_s(), slowest = 0;
	/* The opening before the first gap is no event: it is waited for by the words. */
	plug(s, red);
	plug(s, asked);
	wait_until(s, file_has(s->said, "red: line open") && file_has(s->said, "asked: line open"));
	for (int i = 1; i <= cycles; i++) {
		char note[120];
		/* One of them answers or talks, then both are pulled, in the middle of it. */
		size_t said = meter_said(s, red);
		wait_until(s, meter_said(s, red) > said + 2);
		snprintf(note, sizeof note, CALL("%d", "note", "{\"position\":\"R1\",\"text\":\"n%d\"}"), i, i);
		mustsend(watch, note);
		snprintf(note, sizeof note, "\"text\":\"n%d\"", i);
		see(watch, &promised, note);
		unplug(s, red);
		unplug(s, asked);
		see(watch, &promised, "\"event\":\"gone\"");
		see(watch, &promised, "\"event\":\"gone\"");
		double t = now_s();
		plug(s, red);
		plug(s, asked);
		see(watch, &promised, "\"event\":\"back\"");
		see(watch, &promised, "\"event\":\"back\"");
		slowest = now_s() - t > slowest ? now_s() - t : slowest;
		if (i == settled) {
			rss = status_kib(s->daemon, "VmRSS:");
			files = open_files(s->daemon);
		}
	}
	long grown = status_kib(s->daemon, "VmRSS:") - rss;
	print_message("   %d cycles of two meters in %.1f s, the slowest back %.0f ms; %d files and "
	              "%ld KiB at %d, %d files and %ld KiB at the end\n", cycles, now_s() - began,
	              slowest * 1e3, files, rss, settled, open_files(s->daemon), rss + grown);
	assert_int_equal(open_files(s->daemon), files);
	assert_true(slowest < 2);
	/* Half a KiB lost in a cycle of a thousand would show; the log's cache (512 KiB) may
	 * still fill. */
	if (!is_sanitized())
		assert_true(grown < 1024);
	unplug(s, red);
	unplug(s, asked);
	see(watch, &promised, "\"event\":\"gone\"");
	see(watch, &promised, "\"event\":\"gone\"");
	double share = cpu_share(s, is_long() ? 5000 : 3000);
	print_message("   %.2f %% of a processor while they are absent\n", share * 100);
	if (!is_sanitized())
		assert_true(share < 0.01);
	peer_free(watch);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	assert_true(promised.count >= cycles * 5); /* a note, two gone, two gaps */
	print_message("   %d records told as durable\n", promised.count);
	keep_promises(s, &promised);
	musttally(s, 0, "verify", s->log);
	/* Every unplugging is one gap. */
	char *all = log_texts(s, s->log);
	assert_int_equal(count_in(all, "\"kind\":\"gap\""), 2 * cycles);
	free(all);
}

/* Many that are absent cost no more than one. */
static void test_idle(void **state)
{
	struct stand *s = *state;
	for (int i = 0; i < METERS_MAX; i++) {
		char name[16];
		snprintf(name, sizeof name, "m%d", i);
		meter_new(s, name, 20, NULL);
	}
	daemon_start(s);
	wait_until(s, file_has(s->said, "m19: no adapter"));
	double share = cpu_share(s, 3000);
	print_message("   %.2f %% of a processor with %d meters absent\n", share * 100, METERS_MAX);
	if (!is_sanitized())
		assert_true(share < 0.01);
	/* Nothing was said twice. */
	char *text = file_text(s->said);
	assert_int_equal(count_in(text, "m7: "), 1);
	free(text);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
}

int main(void)
{
	events = udev_stand_heard() && udev_stand_begin(true);
	if (!events)
		print_message("no libudev, or no namespace of our own: without events of udev\n");
	const struct CMUnitTest tests[] = {
		on_stand(test_renumbered),
		on_stand(test_ambiguous),
		on_stand(test_cycles),
		on_stand(test_idle),
	};
	return run_on_stand(tests);
}

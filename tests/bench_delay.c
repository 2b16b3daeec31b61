/* SPDX-License-Identifier: MIT */
/*
 * From the last byte of the frame that settles a touch to the event at the client, which
 * is sent once the record is durable: through the whole daemon, its line (a
 * pseudo-terminal), settling, judging, sealing, the socket.  A bare durable SQLite commit
 * of one row on the same disk takes turns with it.
 *
 *     build/tests/bench_delay [TOUCHES]      (100; about a second each)
 *
 * The meter sends 20 frames a second, so the frame written last before the event is the
 * one that settled it, and no delay near a period goes unnoticed.
 */
#include "tests/daemon_stand.h"

#include <sqlite3.h>

#define TOUCHES_MAX 1000
#define PERIOD_MS 50
#define OPEN_FRAMES 14
#define TOUCH_FRAMES 60

static double ours[TOUCHES_MAX], plain[TOUCHES_MAX];

static int by_size(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;
	return (x > y) - (x < y);
}

static void frame(struct stand *s, int meter, const char *text)
{
	size_t n = strlen(text);
	if (write(s->sim[meter].master, text, n) != (ssize_t)n)
		fail_msg("the line takes nothing");
}

/* What comes until then; true with the event. */
static bool heard(struct peer *p, double until)
{
	for (double left; (left = until - now_s()) > 0;) {
		const char *line = peer_line(p, (int)(left * 1000) + 1);
		if (line && strstr(line, "\"event\":\"logged\""))
			return true;
	}
	return false;
}

/* Seconds from the settling frame to the event. */
static double touch(struct stand *s, struct peer *p, int meter, int number)
{
	char text[40];
	mustsend(p, CALL("\"a\"", "at", "{\"position\":\"R1\"}"));
	mustsee(p, "\"id\":\"a\",\"result\"");
	for (int i = 0; i < OPEN_FRAMES; i++) {
		frame(s, meter, "OL MOhm\r\n");
		heard(p, now_s() + PERIOD_MS / 1000.0);
	}
	for (int i = 0; i < TOUCH_FRAMES; i++) {
		snprintf(text, sizeof text, "+%d.%d kOhm\r\n", 100 + number % 7, 2 + i % 2);
		frame(s, meter, text);
		double t = now_s();
		if (heard(p, t + PERIOD_MS / 1000.0))
			return now_s() - t;
	}
	fail_msg("touch %d was not logged", number);
	return 0;
}

static double commit(sqlite3_stmt *insert)
{
	char text[1200];
	memset(text, 'x', sizeof text);
	sqlite3_bind_text(insert, 1, text, sizeof text, SQLITE_STATIC);
	double t = now_s();
	if (sqlite3_step(insert) != SQLITE_DONE)
		fail_msg("the bare commit failed");
	t = now_s() - t;
	sqlite3_reset(insert);
	return t;
}

static sqlite3 *plain_db(const char *path)
{
	sqlite3 *db = NULL;
	if (sqlite3_open(path, &db) != SQLITE_OK ||
	    sqlite3_exec(db, "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; "
	                     "CREATE TABLE row (id INTEGER PRIMARY KEY, text TEXT)", NULL, NULL, NULL))
		fail_msg("no SQLite database at %s", path);
	return db;
}

static void row(const char *what, double q, int n)
{
	double a = ours[(int)(q * (n - 1))] * 1e3, b = plain[(int)(q * (n - 1))] * 1e3;
	printf("%-30s %10.3f %-12s %10.3f %-34s %6.2f\n", what, a, "ms", b,
	       "one durable row, committed", a / b);
}

int main(int argc, char **argv)
{
	int n = argc > 1 ? atoi(argv[1]) : 100;
	void *state = NULL;
	if (n < 2 || n > TOUCHES_MAX || stand_up(&state) != 0)
		return 2;
	struct stand *s = state;
	int red = meter_new(s, "red", 20, "accuracy ohm = 0.5% + 2");
	meter_plug(s, red);
	daemon_start(s);
	struct peer *p = peer_watching(s, -1);
	mustsend(p, CALL("\"r\"", "reach", "{\"reach\":\"lifted\"}"));
	mustsee(p, "\"id\":\"r\",\"result\"");
	sqlite3 *db = plain_db(in_dir(s, "plain.db"));
	sqlite3_stmt *insert = NULL;
	sqlite3_prepare_v2(db, "INSERT INTO row (text) VALUES (?)", -1, &insert, NULL);
	for (int i = 0; i < n; i++) {
		ours[i] = touch(s, p, red, i);
		plain[i] = commit(insert);
	}
	sqlite3_finalize(insert);
	sqlite3_close(db);
	qsort(ours, (size_t)n, sizeof *ours, by_size);
	qsort(plain, (size_t)n, sizeof *plain, by_size);
	printf("%-30s %10s %-12s %10s %-34s %6s\n", "what", "ours", "", "plain", "against", "ratio");
	row("settling byte to event, p50", 0.5, n);
	row("the same, p99", 0.99, n);
	return stand_down(&state);
}

/* SPDX-License-Identifier: MIT */
/*
 * A daemon that finds its log damaged: what is lost is said by the daemon, by status and on the
 * bench, until somebody has taken it away; not a byte of it is changed; and work goes on.
 *
 * The log is that of a daemon that was killed, so that most of it is in LOG-wal.  "closed" puts all
 * of it into the file first.
 */
#include "tests/daemon_stand.h"

static const struct row {
	const char *legend;
	bool closed;
	const char *harm;  /* for sh, in the folder of stand.db */
	const char *keeps; /* a file of which every byte must be somewhere afterwards; NULL for none */
	const char *says;  /* in status, on the bench and by the daemon; NULL: nothing is lost */
} rows[] = {
	{ "the header", true, "printf XXXXXXXX | dd of=stand.db conv=notrunc", "stand.db",
	  "THE LOG WAS DAMAGED" },
	{ "the first page", true, "head -c 3000 /dev/urandom | dd of=stand.db bs=1 seek=100 conv=notrunc",
	  "stand.db", "THE LOG WAS DAMAGED" },
	{ "pages in the middle", true, "head -c 36000 /dev/urandom | dd of=stand.db bs=4096 seek=2 "
	  "conv=notrunc", "stand.db", "THE LOG WAS DAMAGED" },
	{ "cut off", true, "truncate -s 20000 stand.db", "stand.db", "THE LOG WAS DAMAGED" },
	{ "empty", true, ": >stand.db", NULL, "THE LOG WAS DAMAGED" },
	{ "another file in its place", true, "seq 9999 >stand.db", "stand.db", "THE LOG WAS DAMAGED" },
	{ "one record changed", true, "python3 -c 'import sqlite3; d = sqlite3.connect(\"stand.db\"); "
	  "d.executescript(\"drop trigger record_no_update; update record set text = replace(text, "
	  "\\\"four\\\", \\\"FOUR\\\")\")'", "stand.db", "THE LOG WAS DAMAGED" },
	{ "LOG-wal, in the middle", false, "head -c 500 /dev/urandom | dd of=stand.db-wal bs=1 seek=9000 "
	  "conv=notrunc", "stand.db-wal", "A PART OF THE LOG IS LOST" },
	{ "LOG-wal, its header", false, "head -c 32 /dev/urandom | dd of=stand.db-wal conv=notrunc",
	  "stand.db-wal", "A PART OF THE LOG IS LOST" },
	{ "LOG-wal, its header and the first frames", false, "head -c 30000 /dev/urandom | dd "
	  "of=stand.db-wal bs=30000 conv=notrunc", "stand.db-wal", "A PART OF THE LOG IS LOST" },
	{ "LOG-wal is missing", false, "rm stand.db-wal", NULL, "A PART OF THE LOG IS LOST" },
	{ "LOG-shm is noise", false, "head -c 32768 /dev/urandom >stand.db-shm", NULL, NULL },
	{ "LOG-shm is missing", false, "rm stand.db-shm", NULL, NULL },
};

static void shell(struct stand *s, const char *script)
{
	const char *words[] = { "sh", "-c", script, s->dir, NULL };
	if (child_wait(s, child_start(s, words, NULL, in_dir(s, "shell.err"))) != 0)
		fail_msg("%s: %s", script, file_text(in_dir(s, "shell.err")));
}

/* Status says it and answers no, or says nothing of it. */
static void ckstatus(struct stand *s, const char *says)
{
	struct answer a = tally(s, "status");
	bool lost = strstr(a.out, "LOG WAS DAMAGED") || strstr(a.out, "LOG IS LOST");
	if (says ? !strstr(a.out, says) || a.status != 1 : lost)
		fail_msg("status %d: %s", a.status, a.out);
	answer_free(&a);
	if (!says)
		return;
	/* What the bench goes by. */
	struct peer *p = peer_greeted(s);
	mustsend(p, CALL("1", "status", "{}"));
	const char *line = strstr(mustsee(p, "\"id\":1,"), "\"log-aside\":\"");
	if (!line || !strstr(line, says))
		fail_msg("no log-aside in status: %s", p->line);
	peer_free(p);
}

static void ckrow(struct stand *s, const struct row *r)
{
	char script[700];
	note_row("%s", r->legend);
	snprintf(script, sizeof script, "cd \"$0\" && rm -rf stand.db* said* && cp -p kept/%s/* . && "
	         "{ %s; } 2>/dev/null && rm -f want && { test -z '%s' || sha256sum <%s >want; }",
	         r->closed ? "closed" : "killed", r->harm, r->keeps ? r->keeps : "",
	         r->keeps ? r->keeps : "/dev/null");
	shell(s, script);
	unlink(s->said);
	daemon_start(s);
	if (file_has(s->said, "LOG WAS DAMAGED") || file_has(s->said, "LOG IS LOST") ? !r->says
	    || !file_has(s->said, r->says) : r->says != NULL) {
		show_said(s);
		fail_msg("expected: %s", r->says ? r->says : "nothing");
	}
	ckstatus(s, r->says);
	musttally(s, 0, "note", "R1", "work goes on");
	mustprint(s, 0, "intact, no anchor", "verify");
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	/* All that was there is there, to the byte. */
	if (r->keeps)
		shell(s, "cd \"$0\" && for f in stand.db*; do sha256sum <$f; done | grep -qxFf want");
	/* It is said again after a restart, as long as it lies there. */
	daemon_start(s);
	bool lies = r->keeps || !strcmp(r->legend, "empty");
	ckstatus(s, lies ? r->says : NULL);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	shell(s, "cd \"$0\" && rm -rf away && mkdir away && for f in stand.db.aside*; do test ! -e $f || "
	         "mv $f away; done");
	daemon_start(s);
	ckstatus(s, NULL);
	mustprint(s, 0, "intact, no anchor", "verify");
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
}

static void test_rows(void **state)
{
	struct stand *s = *state;
	daemon_start(s);
	static const char *const notes[] = { "one", "two", "three", "four", "five", "six" };
	for (size_t i = 0; i < sizeof notes / sizeof *notes; i++)
		musttally(s, 0, "note", "R1", notes[i]);
	assert_int_equal(daemon_stop(s, SIGKILL), 128 + SIGKILL);
	shell(s, "cd \"$0\" && mkdir -p kept/killed kept/closed && cp -p stand.db* kept/killed");
	daemon_start(s);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	shell(s, "cd \"$0\" && cp -p stand.db* kept/closed");
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		ckrow(s, &rows[i]);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		on_stand(test_rows),
	};
	return run_on_stand(tests);
}

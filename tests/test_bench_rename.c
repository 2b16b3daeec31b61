/* SPDX-License-Identifier: MIT */
/*
 * Another name for a position: what belongs to it belongs to it under the new one, and
 * what was sealed stays as it was.
 */
#include "tests/fit_stand.h"

#include <sqlite3.h>
#include <unistd.h>

static const char sheet[] = "position,nominal,tolerance,with,twin,part\n"
                            "R1,100k,10%,,R2,\n"
                            "R2,100k,10%,,R1,\n"
                            "R3,470k,10%,,,\n"
                            "C1,0.1 uF,10%,R3,,\n"
                            "C8,10 uF,,,,CAN1\n"
                            "CAN1,,,,,CAN1\n";

/* Names and verdicts of the entries, as they are listed: "R12 within; R3 none". */
static void listed(struct stand *s, const char *params, char *out, size_t size)
{
	char *answer = fit_ask(s, "entries", params);
	json_t *a = json_loads(answer, 0, NULL), *e;
	size_t i, n = 0;
	out[0] = '\0';
	json_array_foreach (json_object_get(a, "entries"), i, e) {
		const json_t *rejudged = json_object_get(e, "rejudged");
		const json_t *judged = json_is_object(rejudged) ? rejudged : json_object_get(e, "record");
		n += (size_t)snprintf(out + n, size - n, "%s%s %s", n ? "; " : "",
		                      json_string_value(json_object_get(e, "position")),
		                      json_string_value(json_object_get(judged, "verdict")));
	}
	json_decref(a);
	free(answer);
}

static void entries_are(struct stand *s, const char *position, const char *want)
{
	char params[80] = "{}", got[2048];
	if (position)
		snprintf(params, sizeof params, "{\"position\":\"%s\"}", position);
	listed(s, params, got, sizeof got);
	if (strcmp(got, want) != 0)
		fail_msg("entries %s: \"%s\", expected \"%s\"", params, got, want);
}

static void everything_follows(void **state)
{
	(void)state;
	struct stand *s = fit_begin(sheet);
	fit_tell(s, "reach loose");
	fit_enter(s, "R1", "102k");
	fit_enter(s, "R3", "480k");
	fit_tell(s, "note R1 smells burnt");
	int at = s->records;
	fit_tell(s, "rename R1 R101");
	/* The rename first, then its row and the twin's; one transaction. */
	fit_has(s->record[at], "\"kind\":\"rename\",\"job\":\"job\",\"position\":\"R101\",\"from\":\"R1\"");
	fit_has(s->record[at + 1], "\"position\":\"R101\",\"change\":\"renamed\"");
	fit_has(s->record[at + 2], "\"position\":\"R2\",\"change\":\"renamed\"");
	fit_has(s->record[at + 2], "\"twin\":\"R101\"");
	assert_int_equal(s->records, at + 3);
	entries_are(s, NULL, "R101 within; R3 within");
	entries_are(s, "R101", "R101 within");
	entries_are(s, "R1", "");
	/* The record is as it was sealed; the rename stands beside it. */
	char *answer = fit_ask(s, "entries", "{\"position\":\"R101\"}");
	fit_has(answer, "\"position\":\"R1\",\"quantity\"");
	fit_has(answer, "\"renamed\":{\"seq\":");
	free(answer);
	/* with, and a part that is called as a position of it. */
	fit_tell(s, "rename R3 R14");
	fit_has(fit_record(s, "position", 0), "\"with\":\"R14\"");
	fit_tell(s, "rename CAN1 C88");
	fit_has(fit_record(s, "position", 1), "\"position\":\"C88\"");
	fit_has(fit_record(s, "position", 1), "\"part\":\"C88\"");
	fit_has(fit_record(s, "position", 0), "\"position\":\"C8\",\"change\":\"renamed\"");
	fit_has(fit_record(s, "position", 0), "\"part\":\"C88\"");
	/* A name that is free again is another position. */
	fit_enter(s, "R1", "220k");
	entries_are(s, NULL, "R101 within; R14 within; R1 none");
	fit_tell(s, "rename R101 R7");
	entries_are(s, NULL, "R7 within; R14 within; R1 none");
	fit_tell(s, "rename R1 R101");
	entries_are(s, NULL, "R7 within; R14 within; R101 none");
	/* Moved to a name that has another one since. */
	fit_tell(s, "undo");
	fit_enter(s, "R14", "99k");
	char which[32];
	struct entry e;
	assert_true(entry_read(fit_record(s, "entry", 0), strlen(fit_record(s, "entry", 0)), &e));
	snprintf(which, sizeof which, "%lld", (long long)e.seq);
	assert_true(bench_move(s->bench, s->t, which, "R2", NULL, (struct bench_wait){0}, &s->why));
	bench_collect(s->bench);
	fit_tell(s, "rename R2 R8");
	fit_tell(s, "rename R14 R15");
	entries_are(s, "R8", "R8 within");
	/* ... and back, by the name that it came from has now. */
	fit_tell(s, "undo");
	entries_are(s, "R8", "");
	entries_are(s, "R15", "R15 within; R15 outside");
	char *rows = fit_ask(s, "sheet.show", "{}");
	fit_has(rows, "{\"position\":\"R15\",\"entries\":2,");
	fit_has(rows, "{\"position\":\"R7\",\"entries\":1,");
	free(rows);
	char *job = fit_ask(s, "job.show", "{}");
	fit_has(job, "\"positions\":7,");
	free(job);
	fit_end(s);
}

static void refused(void **state)
{
	(void)state;
	static const struct {
		const char *act, *says;
	} rows[] = {
	    {"rename R9 R10", "R9 is not in the sheet"},
	    {"rename R1 R2", "R2 is in the sheet already"},
	    {"rename R1 R1", "called so already"},
	    {"rename R1 -R", "expected the name of a position"},
	    {"rename R1", "expected the name of a position"},
	    {"rename R1 R5 R6", "expected two names"},
	};
	struct stand *s = fit_begin(sheet);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		fit_refused(s, rows[i].act, rows[i].says);
	assert_false(bench_sheet_rename(s->bench, 0, "R1", "R 1", (struct bench_wait){0}, &s->why));
	fit_has(s->why.text, "`R 1` is no name of a position");
	/* By its letters it would be another kind, which its ohms deny. */
	fit_tell(s, "sheet set R1 nominal=100kohm");
	fit_refused(s, "rename R1 C5", "C5 would be a capacitor");
	fit_tell(s, "sheet set R1 kind=resistor");
	fit_tell(s, "rename R1 C5");
	fit_end(s);
}

/* By other letters it is of another kind, where nobody set one; then its entries are judged
 * anew: a pot to 20 %, a resistor to 10 % (defaults, common practice, no source). */
static void kind_follows_from_the_letters(void **state)
{
	(void)state;
	struct stand *s = fit_begin("position,kind,nominal\nP1,,100k\nP2,pot,100k\n");
	fit_tell(s, "reach loose");
	fit_enter(s, "P1", "115k");
	fit_enter(s, "P2", "115k");
	fit_tell(s, "rename P1 R1");
	fit_has(fit_record(s, "rejudge", 0), "\"position\":\"R1\",\"because\":\"sheet renamed\"");
	fit_has(fit_record(s, "rejudge", 0), "\"verdict\":\"outside\"");
	fit_tell(s, "rename P2 R2");
	assert_int_equal(fit_count(s, "rejudge"), 1);
	fit_has(fit_record(s, "position", 0), "\"kind\":\"pot\"");
	fit_tell(s, "rename R1 P1");
	fit_has(fit_record(s, "rejudge", 0), "\"verdict\":\"within\"");
	fit_end(s);
}

/* It is renamed under the probes: the touch goes on, and what comes of it names the new. */
static void under_the_probes(void **state)
{
	(void)state;
	struct stand *s = fit_begin(sheet);
	stand_play(s, "@0 reach loose\n@0 at R1\nred OL MOhm *8\nred ~100.2 kOhm *12\n"
	              "@2.4 rename R1 R77\nred OL MOhm *8\n");
	assert_string_equal(s->made, "R77 red 100.2 kohm loose");
	assert_string_equal(s->up, "R1; R77");
	/* No reading is sealed under the old name after the record that ended it. */
	bool renamed = false;
	for (int i = 0; i < s->records; i++) {
		renamed = renamed || strstr(s->record[i], "\"kind\":\"rename\"");
		if (renamed && strstr(s->record[i], "\"kind\":\"trail\""))
			assert_null(strstr(s->record[i], "\"position\":\"R1\""));
	}
	assert_true(renamed && stand_check_trail(s));
	fit_end(s);
}

/* ---- properties ---- */

/* An answer without the numbers of records that tell when it was said. */
static char *timeless(struct stand *s, const char *method)
{
	char *text = fit_ask(s, method, "{}"), *out = text, *p = text;
	for (; *p; p++) {
		if (strncmp(p, "\"seq\":", 6) == 0 && strcmp(method, "sheet.show") == 0)
			p += 6 + strspn(p + 6, "0123456789");
		*out++ = *p;
	}
	*out = '\0';
	return text;
}

static char *entries_now(struct stand *s)
{
	char *out = malloc(8192);
	assert_non_null(out);
	listed(s, "{}", out, 8192);
	return out;
}

/* A permutation of names by way of free ones, and the way back: all is as it was. */
static void there_and_back_is_the_identity(void **state)
{
	(void)state;
	static const char *const names[] = {"R1", "R2", "R3", "C1", "C8", "CAN1"};
	unsigned dice = 1;
	for (int round = 0; round < 20; round++) {
		struct stand *s = fit_begin(sheet);
		char act[96], from[24][NAME_SIZE], to[24][NAME_SIZE];
		int n = 0;
		fit_tell(s, "reach loose");
		for (size_t i = 0; i < 4; i++)
			fit_enter(s, names[i], i < 3 ? "104k" : "0.104 uF");
		fit_tell(s, "fit R3 nominal=120k");
		fit_tell(s, "condition new");
		fit_enter(s, "R3", "121k");
		char *rows = timeless(s, "sheet.show"), *made = entries_now(s);
		char *twins = fit_ask(s, "compare", "{}"), *job = fit_ask(s, "job.show", "{}");
		char now[6][NAME_SIZE];
		for (int i = 0; i < 6; i++)
			snprintf(now[i], NAME_SIZE, "%s", names[i]);
		for (n = 0; n < 1 + round; n++) {
			dice = dice * 1103515245u + 12345u;
			int which = (int)(dice >> 16) % 6;
			snprintf(from[n], NAME_SIZE, "%s", now[which]);
			snprintf(to[n], NAME_SIZE, "%c%c%d", now[which][0], now[which][0] == 'C' ? '-' : '0',
			         100 + n);
			if (to[n][1] == '-')
				snprintf(to[n], NAME_SIZE, "C%d%s", 100 + n, which == 5 ? "x" : "");
			snprintf(now[which], NAME_SIZE, "%s", to[n]);
			snprintf(act, sizeof act, "rename %s %s", from[n], to[n]);
			fit_tell(s, act);
			if (round % 3 == 0)
				fit_restart(s);
		}
		while (n-- > 0) {
			snprintf(act, sizeof act, "rename %s %s", to[n], from[n]);
			fit_tell(s, act);
		}
		char *rows_after = timeless(s, "sheet.show"), *made_after = entries_now(s);
		char *twins_after = fit_ask(s, "compare", "{}"), *job_after = fit_ask(s, "job.show", "{}");
		assert_string_equal(rows, rows_after);
		assert_string_equal(made, made_after);
		assert_string_equal(twins, twins_after);
		assert_string_equal(job, job_after);
		/* And a sheet that is said once more, row by row, judges nothing anew. */
		int rejudges = fit_count(s, "rejudge");
		for (int i = 0; i < 6; i++) {
			snprintf(act, sizeof act, "sheet set %s note=", names[i]);
			fit_tell(s, act);
		}
		stand_load(s, sheet);
		fit_tell(s, "fit R3 nominal=120k");
		assert_int_equal(fit_count(s, "rejudge"), rejudges);
		free(rows), free(made), free(twins), free(job);
		free(rows_after), free(made_after), free(twins_after), free(job_after);
		fit_end(s);
	}
}

/* The tables that a person sees in the file say the same as the answers. */
static void views_follow(void **state)
{
	(void)state;
	static const struct {
		const char *sql, *want;
	} rows[] = {
	    {"SELECT group_concat(said, '; ') FROM (SELECT position || ' ' || verdict AS said "
	     "FROM entry ORDER BY seq)",
	     "R9 within; R2 within; R1 none"},
	    {"SELECT group_concat(position, ' ') FROM (SELECT position FROM sheet ORDER BY position)",
	     "C1 C8 CAN1 R1 R2 R3 R9"},
	    {"SELECT was || ' ' || now FROM renamed ORDER BY seq LIMIT 1", "R1 R9"},
	    {"SELECT group_concat(position || ' ' || kind || ' ' || nominal) FROM fit",
	     "R9 resistor 120000"},
	    {"SELECT group_concat(DISTINCT position) FROM reading WHERE position IS NOT NULL", "R9"},
	};
	char path[] = "/tmp/tally-rename-XXXXXX";
	int fd = mkstemp(path);
	assert_true(fd >= 0);
	close(fd);
	unlink(path);
	struct stand *s = calloc(1, sizeof *s);
	stand_open(s, stand_config, path, NULL);
	stand_load(s, sheet);
	stand_play(s, "@0 reach loose\n@0 at R1\nred OL MOhm *8\nred ~100.2 kOhm *12\nred OL MOhm *8\n");
	fit_enter(s, "R2", "101k");
	fit_tell(s, "fit R1 nominal=120k");
	fit_tell(s, "rename R1 R7");
	fit_enter(s, "R1", "220k");
	fit_tell(s, "rename R7 R9");
	sqlite3 *db;
	assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		sqlite3_stmt *st;
		assert_int_equal(sqlite3_prepare_v2(db, rows[i].sql, -1, &st, NULL), SQLITE_OK);
		assert_int_equal(sqlite3_step(st), SQLITE_ROW);
		const char *got = (const char *)sqlite3_column_text(st, 0);
		if (!got || strcmp(got, rows[i].want) != 0)
			fail_msg("%s: %s, expected %s", rows[i].sql, got ? got : "null", rows[i].want);
		sqlite3_finalize(st);
	}
	sqlite3_close(db);
	fit_end(s);
	char beside[64];
	unlink(path);
	for (int i = 0; i < 4; i++) {
		snprintf(beside, sizeof beside, "%s%s", path,
		         (const char *[]){"-wal", "-shm", ".lock", ".key"}[i]);
		unlink(beside);
	}
}

/* How many readings the trail of a position has, by its lines; and its runs by its records. */
static void trail_is(struct stand *s, const char *position, int64_t readings)
{
	char params[160];
	snprintf(params, sizeof params, "{\"position\":\"%s\"}", position);
	char *lines = fit_ask(s, "trail.lines", params), *records = fit_ask(s, "trail", params);
	snprintf(params, sizeof params, "{\"meter\":\"red\",\"function\":\"ohm\",\"position\":\"%s\","
	         "\"from\":\"2000-01-01T00:00:00.000000Z\",\"to\":\"2000-01-01T01:00:00.000000Z\","
	         "\"columns\":3}", position);
	char *columns = fit_ask(s, "trail.envelope", params);
	json_t *l = json_loads(lines, 0, NULL), *r = json_loads(records, 0, NULL);
	json_t *c = json_loads(columns, 0, NULL), *one;
	int64_t n[3] = {0, 0, 0};
	size_t i;
	json_array_foreach (json_object_get(l, "lines"), i, one)
		n[0] += json_integer_value(json_object_get(one, "readings"));
	json_array_foreach (json_object_get(r, "records"), i, one)
		n[1] += json_integer_value(json_object_get(one, "n"));
	json_array_foreach (json_object_get(c, "columns"), i, one)
		n[2] += json_integer_value(json_array_get(one, 1));
	if (n[0] != readings || n[1] != readings || n[2] != readings)
		fail_msg("%s: %d, %d, %d readings, expected %d", position, (int)n[0], (int)n[1], (int)n[2],
		         (int)readings);
	json_decref(l), json_decref(r), json_decref(c);
	free(lines), free(records), free(columns);
}

static void trail_follows(void **state)
{
	(void)state;
	static const char touch[] = "red OL MOhm *8\nred ~100.2 kOhm *12\n";
	char scene[256];
	struct stand *s = fit_begin(sheet);
	snprintf(scene, sizeof scene, "@0 reach loose\n@0 at R1\n%s", touch); /* 20 */
	stand_play(s, scene);
	fit_tell(s, "job two"); /* of the same names */
	stand_load(s, sheet);
	snprintf(scene, sizeof scene, "@0 reach loose\n@0 at R1\n%s%s", touch, touch); /* 40 */
	stand_play(s, scene);
	fit_tell(s, "rename R1 R7");
	stand_play(s, touch); /* 20, under the new name */
	fit_tell(s, "rename R7 R9");
	snprintf(scene, sizeof scene, "@0 at R1\n%s%s%s", touch, touch, touch); /* 60, another R1 */
	stand_play(s, scene);
	bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	trail_is(s, "R9", 60);
	trail_is(s, "R7", 0);
	trail_is(s, "R1", 80); /* of the first job, and of the position that has the name now */
	fit_end(s);
}

/* Answers are the same after a restart, whatever was done before it. */
static void rebuilt_from_the_records(void **state)
{
	(void)state;
	struct stand *s = fit_begin(sheet);
	fit_tell(s, "reach loose");
	fit_enter(s, "R1", "104k");
	fit_tell(s, "rename R1 R101");
	fit_tell(s, "condition new");
	fit_tell(s, "fit R101 nominal=120k tolerance=1%");
	fit_enter(s, "R101", "121k");
	fit_tell(s, "rename R101 R11");
	fit_restart(s);
	entries_are(s, NULL, "R11 within; R11 within");
	/* The bench knows them by that name, too: what the sheet says reaches them. */
	int before = fit_count(s, "rejudge");
	fit_tell(s, "fit R11 nominal=130k");
	assert_int_equal(fit_count(s, "rejudge"), before + 1);
	fit_tell(s, "sheet set R11 tolerance=1%");
	assert_int_equal(fit_count(s, "rejudge"), before + 2);
	entries_are(s, "R11", "R11 outside; R11 outside");
	fit_refused(s, "rename R2 R11", "R11 is in the sheet already");
	fit_refused(s, "rename R101 R12", "R101 is not in the sheet");
	fit_end(s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(everything_follows),
	    cmocka_unit_test(refused),
	    cmocka_unit_test(kind_follows_from_the_letters),
	    cmocka_unit_test(under_the_probes),
	    cmocka_unit_test(there_and_back_is_the_identity),
	    cmocka_unit_test(views_follow),
	    cmocka_unit_test(trail_follows),
	    cmocka_unit_test(rebuilt_from_the_records),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

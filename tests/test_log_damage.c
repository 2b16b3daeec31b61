/* SPDX-License-Identifier: MIT */
/*
 * Damaged files.  A log whose bytes are no log any more is set aside, byte for byte, said
 * loudly and in the new log's second record; what is foreign, newer or merely unreadable is
 * refused and stays as it is; nothing is ever replaced in silence.
 *
 * TALLY_SEED chooses the bytes that are flipped, TALLY_FLIPS how many files (default 120).
 */
#include "tests/log_help.h"

#include <limits.h>
#include <signal.h>
#include <sys/wait.h>
#include <time.h>

static unsigned seed;

static unsigned dice(unsigned n)
{
	seed = seed * 1103515245u + 12345u;
	return (seed >> 8) % n;
}

/* ---- files as bytes ---- */

struct bytes {
	size_t n;
	uint8_t at[1 << 20];
};

static void load(const char *path, struct bytes *b)
{
	FILE *f = fopen(path, "r");
	b->n = f ? fread(b->at, 1, sizeof b->at, f) : 0;
	if (f)
		fclose(f);
	assert_true(b->n < sizeof b->at);
}

static void store(const char *path, const struct bytes *b)
{
	FILE *f = fopen(path, "w");
	assert_non_null(f);
	assert_int_equal(fwrite(b->at, 1, b->n, f), b->n);
	fclose(f);
}

static struct bytes whole, wal, other, found;

/* ---- logs ---- */

static struct log *open_aside(const char *path, bool set_aside, struct fault *why)
{
	struct log_options o = { .path = path, .bench = "north", .version = "0.1", .now = NOW,
		                     .set_aside = set_aside };
	*why = (struct fault){ .text = "" };
	return log_open(&o, why);
}

/* A log with a key, closed; records enough for some pages. */
static void make_closed(const char *path)
{
	char body[900];
	struct log *log = open_sure(path, false);
	for (int i = 0; i < 60; i++) {
		snprintf(body, sizeof body, ",\"position\":\"R%d\",\"text\":\"%0600d\"", i, i);
		append_one(log, "note", body);
	}
	log_flush(log);
	log_close(log);
}

/* One whose daemon was killed: six commits stand in LOG-wal. */
static void make_killed(const char *path, const char *word)
{
	fflush(NULL);
	pid_t pid = fork();
	if (pid == 0) {
		struct fault why;
		char body[300];
		struct log *log = open_log(path, false, NULL, &why);
		for (int i = 0; log && i < 6; i++) {
			snprintf(body, sizeof body, ",\"text\":\"%s %d\"", word, i);
			append_one(log, "note", body);
			log_flush(log);
		}
		kill(getpid(), SIGKILL);
	}
	waitpid(pid, NULL, 0);
}

static int64_t count(const char *path)
{
	uint8_t head[32];
	return chain_by_rule(path, head);
}

/* ---- the file ---- */

static void trash_header(struct bytes *b)
{
	for (size_t i = 0; i < 100; i++)
		b->at[i] = (uint8_t)dice(256);
}

static void trash_page(struct bytes *b)
{
	memset(b->at, 0xff, 4096);
}

static void cut_half(struct bytes *b)
{
	b->n /= 2;
}

static void cut_short(struct bytes *b)
{
	b->n = 100;
}

static void cut_odd(struct bytes *b)
{
	b->n = b->n / 2 + 777;
}

static void cut_all(struct bytes *b)
{
	b->n = 0;
}

static void zeros(struct bytes *b)
{
	memset(b->at, 0, b->n);
}

/* A digit of a text, where it stands in the file. */
static void one_digit(struct bytes *b)
{
	for (size_t i = 0; i + 12 < b->n; i++)
		if (memcmp(b->at + i, "\"position\":\"R3", 14) == 0) {
			b->at[i + 13] = '4';
			return;
		}
	fail();
}

static void application(struct bytes *b)
{
	b->at[71] ^= 1; /* sqlite.org/fileformat2.html: application id at 68 */
}

static void newer(struct bytes *b)
{
	b->at[63] = 2; /* user version at 60 */
}

static void never_was(struct bytes *b)
{
	b->at[63] = 0;
}

enum want { ASIDE, REFUSED };

static const struct {
	const char *legend;
	void (*damage)(struct bytes *b);
	enum want want;
	const char *says;
} rows[] = {
	{ "header trashed", trash_header, ASIDE, "not an SQLite database" },
	{ "first page trashed", trash_page, ASIDE, "not an SQLite database" },
	{ "cut in half", cut_half, ASIDE, "" },
	{ "cut to 100 bytes", cut_short, ASIDE, "" },
	{ "cut in the middle of a page", cut_odd, ASIDE, "" },
	{ "of zero length", cut_all, ASIDE, "empty" },
	{ "nothing but zeros", zeros, ASIDE, "not an SQLite database" },
	{ "one digit of a record", one_digit, ASIDE, "does not fit its hash" },
	{ "another application's", application, REFUSED, "not a log" },
	{ "of a newer format", newer, REFUSED, "newer program" },
	{ "of format 0", never_was, REFUSED, "never was" },
};

/* The new log says in words and in its second record what became of the old one. */
static void aside_is_told(const struct log *log, const char *path, const char *says)
{
	char value[400], file[400];
	const char *opening = log_opening(log);
	assert_non_null(strstr(opening, "THE LOG WAS DAMAGED"));
	if (!strstr(opening, says))
		fail_msg("%s is not in: %s", says, opening);
	assert_int_equal(log_last_seq(log), 2);
	assert_true(sql_value(path, "SELECT kind FROM record WHERE seq = 2", value, sizeof value));
	assert_string_equal(value, "aside");
	assert_true(sql_value(path, "SELECT json_extract(text, '$.file') FROM record WHERE seq = 2", file,
	                      sizeof file));
	/* Byte for byte, with its key. */
	load(file, &found);
	assert_int_equal(found.n, other.n);
	assert_memory_equal(found.at, other.at, other.n);
	strcat(file, ".key");
	assert_int_equal(access(file, F_OK), 0);
}

static void every_damage_has_its_answer(void **state)
{
	(void)state;
	const char *path = in_folder("a.db");
	make_closed(path);
	load(path, &whole);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct fault why;
		note_row("%s", rows[i].legend);
		folder_drop(NULL);
		folder_make_fast(NULL);
		path = in_folder("a.db");
		make_closed(path);
		load(path, &whole);
		other = whole;
		rows[i].damage(&other);
		store(path, &other);
		/* Who did not ask for it gets a fault, and all stays. */
		assert_null(open_aside(path, false, &why));
		if (other.n && !strstr(why.text, rows[i].says))
			fail_msg("%s is not in: %s", rows[i].says, why.text);
		load(path, &found);
		assert_int_equal(found.n, other.n);
		assert_memory_equal(found.at, other.at, other.n);
		assert_true(is_there("a.db.key"));

		struct log *log = open_aside(path, true, &why);
		if (rows[i].want == REFUSED) {
			assert_null(log);
			load(path, &found);
			assert_int_equal(found.n, other.n);
			assert_memory_equal(found.at, other.at, other.n);
			continue;
		}
		if (!log)
			fail_msg("%s", why.text);
		assert_true(append_one(log, "note", "") > 0);
		log_flush(log);
		struct got *got = calloc(1, sizeof *got);
		log_collect(log, got_one, got);
		free(got);
		log_close(log);
		/* The next start has nothing more to say. */
		log = open_aside(path, true, &why);
		assert_non_null(log);
		assert_null(strstr(log_opening(log), "aside"));
		assert_int_equal(log_last_seq(log), 3);
		log_close(log);
	}
}

static void it_is_told(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct fault why;
		if (rows[i].want != ASIDE)
			continue;
		note_row("%s", rows[i].legend);
		folder_drop(NULL);
		folder_make_fast(NULL);
		const char *path = in_folder("a.db");
		make_closed(path);
		load(path, &other);
		rows[i].damage(&other);
		store(path, &other);
		struct log *log = open_aside(path, true, &why);
		assert_non_null(log);
		aside_is_told(log, path, rows[i].says);
		log_close(log);
		assert_int_equal(count(path), 2);
	}
}

/* Twice in one second: two names. */
static void a_second_one_gets_a_name_of_its_own(void **state)
{
	(void)state;
	struct fault why;
	const char *path = in_folder("a.db");
	for (int i = 0; i < 3; i++) {
		make_closed(path);
		load(path, &other);
		trash_page(&other);
		store(path, &other);
		struct log *log = open_aside(path, true, &why);
		assert_non_null(log);
		log_close(log);
	}
	assert_true(is_there("a.db.aside-20261125T100000Z"));
	assert_true(is_there("a.db.aside-20261125T100000Z-2"));
	assert_true(is_there("a.db.aside-20261125T100000Z-3"));
}

/* A file that never was a log may be somebody's. */
static void a_strangers_file_stays(void **state)
{
	(void)state;
	struct fault why;
	static const char text[] = "Dear Sir, with reference to your letter of the 4th";
	FILE *f = fopen(in_folder("letter"), "w");
	fwrite(text, 1, sizeof text, f);
	fclose(f);
	assert_null(open_aside(in_folder("letter"), true, &why));
	load(in_folder("letter"), &found);
	assert_int_equal(found.n, sizeof text);
	assert_memory_equal(found.at, text, sizeof text);
	assert_false(is_there("letter.lock"));
}

/* Any byte: set aside, or of no consequence for the records. */
static void flipped_bytes(void **state)
{
	(void)state;
	const char *flips = getenv("TALLY_FLIPS"), *seeds = getenv("TALLY_SEED");
	int n = flips ? atoi(flips) : 120, aside = 0, harmless = 0, refused = 0;
	seed = seeds ? (unsigned)atoi(seeds) : (unsigned)time(NULL);
	unsigned first = seed;
	const char *path = in_folder("a.db");
	make_closed(path);
	load(path, &whole);
	for (int i = 0; i < n; i++) {
		struct fault why;
		unsigned at_seed = seed;
		folder_drop(NULL);
		
		folder_make_fast(NULL);
		path = in_folder("a.db");
		other = whole;
		for (unsigned k = 0, many = 1 + dice(3); k < many; k++)
			other.at[dice((unsigned)other.n)] ^= (uint8_t)(1 + dice(255));
		store(path, &other);
		fclose(fopen(in_folder("a.db.reserve"), "w")); /* it was a log */
		struct log *log = open_aside(path, true, &why);
		/* Which of its records are left must be what they were. */
		if (!log) {
			refused++;
			if (getenv("TALLY_SHOW"))
				print_message("  %s\n", why.text);
			load(path, &found);
			assert_int_equal(found.n, other.n);
			assert_memory_equal(found.at, other.at, other.n);
			continue;
		}
		bool set_aside = strstr(log_opening(log), "THE LOG WAS DAMAGED") != NULL;
		int64_t last = log_last_seq(log);
		log_close(log);
		aside += set_aside;
		harmless += !set_aside;
		if (set_aside ? last != 2 : count(path) < 61) {
			note_row("seed %u: %d records", at_seed, (int)last);
			fail();
		}
	}
	print_message("  seed %u: %d files with flipped bytes: %d set aside, %d whole in their records, "
	              "%d refused\n", first, n, aside, harmless, refused);
	assert_true(aside > n / 4);
}

/* ---- LOG-wal ---- */

static void a_foreign_wal_is_found(void **state)
{
	(void)state;
	struct fault why;
	const char *path = in_folder("a.db"), *strange = in_folder("b.db");
	make_killed(path, "mine");
	make_killed(strange, "theirs");
	load(in_folder("b.db-wal"), &wal);
	load(path, &other);
	store(in_folder("a.db-wal"), &wal);
	unlink(in_folder("a.db-shm"));
	assert_null(open_aside(path, false, &why));
	assert_non_null(strstr(why.text, "not a part of this log"));
	load(path, &found);
	assert_memory_equal(found.at, other.at, other.n);
	struct log *log = open_aside(path, true, &why);
	assert_non_null(log);
	aside_is_told(log, path, "not a part of this log");
	log_close(log);
	/* The stranger's records are not there, nor in the one set aside. */
	char value[40];
	assert_true(sql_value(path, "SELECT count(*) FROM record WHERE text LIKE '%theirs%'", value,
	                      sizeof value));
	assert_string_equal(value, "0");
	/* Without it what was set aside is a whole log. */
	unlink(in_folder("a.db.aside-20261125T100000Z-wal"));
	unlink(in_folder("a.db.aside-20261125T100000Z-shm"));
	struct log_check check;
	assert_int_equal(verdict_of(in_folder("a.db.aside-20261125T100000Z"), 0, NULL, &check),
	                 LOG_INTACT_NO_ANCHOR);
}

/* Legend, the byte of LOG-wal that is flipped (from its end where less than 0), how much of it is
 * left (less than 0: so many bytes less), is the note of the last record there, is it said, and with
 * which words? */
static void a_damaged_wal_is_told(void **state)
{
	(void)state;
	static const struct {
		const char *legend;
		long at, left;
		bool noted, said;
		const char *words;
	} places[] = {
		{ "untouched", 0, 0, true, false, "" },
		{ "untouched, no note", 0, 0, false, false, "" },
		{ "a page of the second commit", 32 + 4120 * 3 + 500, 0, false, true, "commits" },
		{ "a page of the second commit, noted", 32 + 4120 * 3 + 500, 0, true, true, "commits" },
		{ "the header", 10, 0, false, true, "commits" },
		{ "the checksum of the header", 26, 0, false, true, "commits" },
		/* As a power cut tears it: nobody can tell, but by the note. */
		{ "the last page", -100, 0, false, false, "" },
		{ "the last page, noted", -100, 0, true, true, "record 7, and now ends at record 6" },
		{ "the last page cut off", 0, -4120, false, false, "" },
		{ "the last page cut off, noted", 0, -4120, true, true, "record 7, and now ends at record 6" },
		{ "cut to its header, noted", 0, 32, true, true, "record 7, and now ends at record " },
		{ "emptied, noted", 0, LONG_MIN, true, true, "record 7, and now ends at record " },
		{ "emptied", 0, LONG_MIN, false, false, "" },
	};
	for (size_t i = 0; i < sizeof places / sizeof *places; i++) {
		struct fault why;
		note_row("%s", places[i].legend);
		folder_drop(NULL);
		folder_make_fast(NULL);
		const char *path = in_folder("a.db");
		make_killed(path, "mine");
		load(in_folder("a.db-wal"), &wal);
		long at = places[i].at < 0 ? (long)wal.n + places[i].at : places[i].at;
		if (at)
			wal.at[at] ^= 0x55;
		wal.n = places[i].left == LONG_MIN ? 0 : places[i].left > 0 ? (size_t)places[i].left :
		        wal.n - (size_t)-places[i].left;
		store(in_folder("a.db-wal"), &wal);
		if (!places[i].noted)
			unlink(in_folder("a.db.lock"));
		unlink(in_folder("a.db-shm"));
		struct log *log = open_aside(path, true, &why);
		assert_non_null(log);
		bool said = strstr(log_opening(log), "A PART OF THE LOG IS LOST") != NULL;
		if (said != places[i].said || (said && !strstr(log_opening(log), places[i].words)))
			fail_msg("%s: %s", places[i].legend, log_opening(log));
		log_close(log);
		/* It is said once. */
		log = open_aside(path, true, &why);
		assert_non_null(log);
		assert_null(strstr(log_opening(log), "A PART OF THE LOG IS LOST"));
		log_close(log);
		assert_true(count(path) > 0);
		if (!said)
			continue;
		char file[400];
		if (wal.n <= 32)
			continue;
		assert_true(sql_value(path, "SELECT json_extract(text, '$.file') FROM record WHERE kind = "
		                      "'aside'", file, sizeof file));
		load(file, &found);
		assert_int_equal(found.n, wal.n);
		assert_memory_equal(found.at, wal.at, wal.n);
	}
}

/* What LOG.lock holds behind the pid at the start of a log of 7 records.  A note may know too
 * little; half of one, or one of another log, is none. */
static void a_note_accuses_nobody(void **state)
{
	(void)state;
	static const struct {
		const char *legend, *format; /* %s: the identity */
		bool said;
	} notes[] = {
		{ "as it is", "%s 0000000000000000007 0000000000000000007\n", false },
		{ "an older one", "%s 0000000000000000005 0000000000000000005\n", false },
		{ "a newer one", "%s 0000000000000000008 0000000000000000008\n", true },
		{ "much newer", "%s 0000000009999999999 0000000009999999999\n", true },
		{ "half of it is older", "%s 0000000000000000017 0000000000000000009\n", false },
		{ "of another log", "%.31sx 0000000000000000008 0000000000000000008\n", false },
		{ "no number", "%s 000000000000000000: 000000000000000000:\n", false },
		{ "more than there can be", "%s 9999999999999999999 9999999999999999999\n", false },
		{ "cut off", "%s 0000000000000000008 00000000000", false },
		{ "nothing", "", false },
		{ "words", "who wrote this?\n%.0s", false },
	};
	for (size_t i = 0; i < sizeof notes / sizeof *notes; i++) {
		struct fault why;
		char identity[40], note[100];
		folder_drop(NULL);
		folder_make_fast(NULL);
		const char *path = in_folder("a.db");
		make_killed(path, "mine");
		load(in_folder("a.db.lock"), &other);
		assert_true(sql_value(path, "SELECT json_extract(text, '$.identity') FROM record WHERE seq = 1",
		                      identity, sizeof identity));
		snprintf(note, sizeof note, notes[i].format, identity);
		if (i == 0)
			assert_true(other.n == 32 + strlen(note) && !memcmp(other.at + 32, note, strlen(note)));
		memcpy(other.at + 32, note, strlen(note));
		other.n = 32 + strlen(note);
		store(in_folder("a.db.lock"), &other);
		struct log *log = open_aside(path, true, &why);
		assert_non_null(log);
		bool said = strstr(log_opening(log), "A PART OF THE LOG IS LOST") != NULL;
		int64_t last = log_last_seq(log);
		log_close(log);
		if (said != notes[i].said || last != (said ? 8 : 7))
			fail_msg("%s: %s, %d records", notes[i].legend, said ? "said" : "not said", (int)last);
	}
}

static void a_missing_wal_is_told(void **state)
{
	(void)state;
	struct fault why;
	const char *path = in_folder("a.db");
	make_killed(path, "mine");
	unlink(in_folder("a.db-wal"));
	struct log *log = open_aside(path, true, &why);
	assert_non_null(log);
	assert_non_null(strstr(log_opening(log), "A PART OF THE LOG IS LOST"));
	assert_non_null(strstr(log_opening(log), "record 1 is the last"));
	log_close(log);
	log = open_aside(path, true, &why);
	assert_null(strstr(log_opening(log), "LOST"));
	log_close(log);
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, folder_make_fast, folder_drop)
	const struct CMUnitTest tests[] = {
		T(every_damage_has_its_answer),
		T(it_is_told),
		T(a_second_one_gets_a_name_of_its_own),
		T(a_strangers_file_stays),
		T(flipped_bytes),
		T(a_foreign_wal_is_found),
		T(a_damaged_wal_is_told),
		T(a_note_accuses_nobody),
		T(a_missing_wal_is_told),
	};
	return cmocka_run_group_tests_name("log_damage", tests, NULL, NULL);
}

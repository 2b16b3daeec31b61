/* SPDX-License-Identifier: MIT */
/*
 * Every system call of the log fails in turn, once and for good, with every error that it may
 * give, until a whole life passes in which none was met: opening what a kill left, appending,
 * saving, tidying up, closing; and making a new log with its key.  And the power is cut at every
 * sync, with what was written since the last one dropped, kept, or trashed by the sector.
 *
 * A sort of failure (a life, a call, an error, once or for good) is tried at the first call, the
 * second and so on, to the life in which nothing failed any more; that is its end.  What is
 * printed is how many sorts came to their end, of how many, and in how many lives something failed.
 *
 *   TALLY_TORTURE   seconds for each test here: sorts are begun, each at every call, until they
 *                   are over; the seed says with which one it begins.  Without it, and with less
 *                   than 20, a part of the sorts at a part of their calls
 *   TALLY_WHOLE     1: every sort to its end, however long that takes (a quarter of an hour)
 *   TALLY_SEED      the seed, else the clock's; printed either way
 */
#include "tests/fault_calls.h"
#include "tests/fault_vfs.h"
#include "tests/log_promise.h"

#include <signal.h>
#include <sys/wait.h>
#include <time.h>

static unsigned seed;
static long seconds; /* 0: the short version */

static unsigned dice(unsigned n)
{
	seed = seed * 1103515245u + 12345u;
	return (seed >> 8) % n;
}

static bool whole;

/* At every call, not at some. */
static bool thorough(void)
{
	return whole || seconds >= 20;
}

/* 1, or in the short version up to n. */
static int some(unsigned n)
{
	return thorough() ? 1 : 1 + (int)dice(n);
}

static double now(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static void fresh(void)
{
	folder_drop(NULL);
	folder_make_fast(NULL);
}

/* ---- what every life begins with ---- */

/* A log whose program was killed: commits and a saved run in LOG-wal. */
static struct kept {
	char name[16];
	size_t n;
	char *bytes;
} left[3] = { { "a.db", 0, NULL }, { "a.db-wal", 0, NULL }, { "a.db-shm", 0, NULL } };
/* And a backup of it, which has a rollback journal until its first start. */
static struct kept copied = { "copy.db", 0, NULL };

static void keep(struct kept *k)
{
	FILE *f = fopen(in_folder(k->name), "r");
	assert_non_null(f);
	free(k->bytes);
	k->bytes = malloc(1 << 20);
	k->n = fread(k->bytes, 1, 1 << 20, f);
	fclose(f);
}

static void put(const struct kept *k, const char *name)
{
	FILE *f = fopen(in_folder(name), "w");
	assert_int_equal(fwrite(k->bytes, 1, k->n, f), k->n);
	fclose(f);
}

static void make_left(void)
{
	static struct got got = { .base = 1000000 };
	fflush(NULL);
	pid_t pid = fork();
	if (pid == 0) {
		struct log *log = open_sure(in_folder("a.db"), true);
		live(log, 4, &got);
		kill(getpid(), SIGKILL);
	}
	waitpid(pid, NULL, 0);
	struct fault why;
	struct log_check check;
	struct log_reader *r = log_reader_open(in_folder("a.db"), &why);
	assert_true(log_reader_copy(r, in_folder("copy.db"), &check, &why));
	log_reader_close(r);
	for (int i = 0; i < 3; i++)
		keep(&left[i]);
	keep(&copied);
	folder_drop(NULL);
	folder_make_fast(NULL);
}

static void put_left(void)
{
	for (int i = 0; i < 3; i++)
		put(&left[i], left[i].name);
}

static void put_copy(void)
{
	put(&copied, "a.db");
}

static void put_nothing(void)
{
}

/* ---- lives ---- */

/* Tickets begin anew with each life. */
static void begin(struct got got[2])
{
	for (int i = 0; i < 2; i++) {
		got[i].n = got[i].durable = got[i].asked = 0;
		got[i].base = 1000000 * (i + 2);
	}
}

static bool both_were_kept(const struct got got[2], bool refused_may_stand)
{
	return promise_is_kept(in_folder("a.db"), &got[0], refused_may_stand) &&
	       was_kept(in_folder("a.db"), &got[1], refused_may_stand);
}

/* Open, work, tidy up on the way, close, and all of it once more. */
static void old_life(const char *vfs, struct got *got)
{
	struct fault why;
	for (int i = 0; i < 2; i++) {
		struct log *log = open_log(in_folder("a.db"), true, vfs, &why);
		if (!log && !why.text[0])
			fail_msg("refused without a reason");
		if (!log)
			continue;
		live(log, i ? 2 : 5, &got[i]);
		log_checkpoint(log, NOW);
		log_collect(log, got_one, &got[i]);
		log_close(log);
	}
}

static void new_life(const char *vfs, struct got *got)
{
	struct fault why;
	struct log *log = open_log(in_folder("a.db"), false, vfs, &why);
	if (!log && !why.text[0])
		fail_msg("refused without a reason");
	if (!log)
		return;
	live(log, 3, got);
	log_close(log);
}

static const struct life {
	const char *legend;
	void (*put)(void);
	void (*live)(const char *vfs, struct got *got);
} lives[] = {
	{ "an old log", put_left, old_life },
	{ "a new log", put_nothing, new_life },
	{ "a backup in a log's place", put_copy, old_life },
};

/* ---- calls that fail ---- */

static const struct {
	enum calls_sort sort;
	int error;
	bool half;
} faults[] = {
	{ CALLS_OPEN, EACCES, false },     { CALLS_OPEN, EMFILE, false },   { CALLS_OPEN, ENOSPC, false },
	{ CALLS_OPEN, EROFS, false },      { CALLS_READ, EIO, false },      { CALLS_WRITE, EIO, false },
	{ CALLS_WRITE, ENOSPC, false },    { CALLS_WRITE, EDQUOT, false },  { CALLS_WRITE, ENOSPC, true },
	{ CALLS_WRITE, EIO, true },        { CALLS_SYNC, EIO, false },      { CALLS_SYNC, ENOSPC, false },
	{ CALLS_TRUNCATE, EIO, false },    { CALLS_ALLOCATE, ENOSPC, false }, { CALLS_RENAME, EIO, false },
	{ CALLS_RENAME, EINVAL, false },   { CALLS_UNLINK, EIO, false },    { CALLS_LOCK, ENOLCK, false },
	{ CALLS_STAT, EIO, false },        { CALLS_MAP, ENOMEM, false },   { CALLS_READ, EIO, true },
};

struct score {
	int runs, hits, reached; /* reached: lives that were tried to their end */
};

/* One life with one fault.  False where the promise was broken. */
static bool one_run(const struct life *life, const struct calls_rule *rule, int *failed)
{
	static struct got got[2];
	fresh();
	life->put();
	begin(got);
	calls_plan(*rule);
	life->live(NULL, got);
	*failed = calls_clear();
	return both_were_kept(got, false);
}

/* One sort to its end.  In the short version at some of the calls only. */
static void every_call(const struct life *life, size_t i, bool lasting, struct score *score)
{
	int stride = thorough() ? 1 : 97;
	int after = stride > 1 ? (int)dice((unsigned)stride) : 0;
	for (;; after += stride) {
		struct calls_rule rule = { .sort = faults[i].sort, .after = after,
			                       .times = lasting ? -1 : 1, .error = faults[i].error,
			                       .half = faults[i].half };
		int failed = 0;
		bool kept = one_run(life, &rule, &failed);
		score->runs++;
		score->hits += failed > 0;
		if (!kept) {
			note_row("%s, %s: %s, %s%s, after %d", life->legend, calls_names[rule.sort],
			         strerror(rule.error), lasting ? "lasting" : "once", rule.half ? ", half" : "",
			         after);
			fail();
		}
		if (!failed)
			break;
	}
	score->reached++;
}

/* The sorts one after the other, from the one that the seed says on, until time is over. */
static void each_sort(size_t n, void (*each)(size_t i, struct score *score), struct score *score)
{
	size_t first = dice((unsigned)n);
	double end = now() + (double)seconds;
	for (size_t k = 0; k < n; k++) {
		if (thorough() && !whole && now() >= end)
			break;
		if (some(3) == 1)
			each((first + k) % n, score);
	}
}

static void each_call_sort(size_t i, struct score *score)
{
	size_t n = sizeof faults / sizeof *faults;
	every_call(&lives[i / 2 / n], i / 2 % n, i % 2, score);
}

static void every_call_fails_in_turn(void **state)
{
	(void)state;
	struct score all = { 0 };
	unsigned first = seed;
	size_t n = sizeof lives / sizeof *lives * (sizeof faults / sizeof *faults) * 2;
	make_left();
	each_sort(n, each_call_sort, &all);
	print_message("  seed %u: calls that fail, %d lives, a call failed in %d; %d of %d sorts of failure "
	              "until none was met%s\n", first, all.runs, all.hits, all.reached, (int)n,
	              thorough() ? "" : ", at some of the calls");
	assert_true(all.hits > (thorough() ? 50 : 5));
	assert_true(!whole || all.reached == (int)n);
}

/* ---- SQLite is told so ---- */

static const struct {
	unsigned calls;
	int code, error;
	bool half;
} codes[] = {
	/* No short reads: to SQLite they are no error, but zeros behind the end of a file. */
	{ FAULT_READ, SQLITE_IOERR_READ, EIO, false },
	{ FAULT_READ, SQLITE_CORRUPT, 0, false },
	{ FAULT_READ, SQLITE_IOERR_NOMEM, ENOMEM, false },
	{ FAULT_WRITE, SQLITE_IOERR_WRITE, EIO, false },
	{ FAULT_WRITE, SQLITE_FULL, ENOSPC, false },
	{ FAULT_WRITE, SQLITE_IOERR_WRITE, ENOSPC, false },
	{ FAULT_WRITE, SQLITE_IOERR_WRITE, EROFS, false },
	{ FAULT_WRITE, SQLITE_READONLY, EROFS, false },
	{ FAULT_WRITE, SQLITE_IOERR_NOMEM, ENOMEM, false },
	{ FAULT_WRITE, SQLITE_IOERR_WRITE, EIO, true },
	{ FAULT_WRITE, SQLITE_FULL, ENOSPC, true },
	{ FAULT_SYNC, SQLITE_IOERR_FSYNC, EIO, false },
	{ FAULT_SYNC, SQLITE_IOERR_DIR_FSYNC, EIO, false },
	{ FAULT_TRUNCATE, SQLITE_IOERR_TRUNCATE, EIO, false },
	{ FAULT_SIZE, SQLITE_IOERR_FSTAT, EIO, false },
	{ FAULT_LOCK, SQLITE_IOERR_LOCK, EIO, false },
	{ FAULT_LOCK, SQLITE_BUSY, 0, false },
	{ FAULT_UNLOCK, SQLITE_IOERR_UNLOCK, EIO, false },
	{ FAULT_SHM, SQLITE_IOERR_SHMMAP, EIO, false },
	{ FAULT_SHM, SQLITE_IOERR_SHMSIZE, ENOSPC, false },
	{ FAULT_SHM, SQLITE_IOERR_SHMOPEN, EIO, false },
	{ FAULT_SHM_LOCK, SQLITE_IOERR_SHMLOCK, EIO, false },
	{ FAULT_SHM_LOCK, SQLITE_BUSY, 0, false },
	{ FAULT_OPEN, SQLITE_CANTOPEN, EACCES, false },
	{ FAULT_OPEN, SQLITE_IOERR, EIO, false },
	{ FAULT_DELETE, SQLITE_IOERR_DELETE, EIO, false },
	{ FAULT_ACCESS, SQLITE_IOERR_ACCESS, EIO, false },
	{ FAULT_PATH, SQLITE_CANTOPEN, EIO, false },
};

static bool one_code(const struct life *life, const struct fault_rule *rule, int *failed)
{
	static struct got got[2];
	fresh();
	fault_clear();
	life->put();
	begin(got);
	fault_plan(*rule);
	life->live("fault", got);
	*failed = fault_count();
	fault_clear();
	return both_were_kept(got, false);
}

static void every_code(const struct life *life, size_t i, bool lasting, struct score *score)
{
	int stride = thorough() ? 1 : 83;
	int after = stride > 1 ? (int)dice((unsigned)stride) : 0;
	for (;; after += stride) {
		struct fault_rule rule = { .calls = codes[i].calls, .code = codes[i].code,
			                       .error = codes[i].error, .half = codes[i].half, .after = after,
			                       .times = lasting ? -1 : 1 };
		/* A lock that stays busy is waited for, five seconds each time. */
		if (lasting && codes[i].code == SQLITE_BUSY)
			rule.times = 3;
		int failed = 0;
		bool kept = one_code(life, &rule, &failed);
		score->runs++;
		score->hits += failed > 0;
		if (!kept) {
			note_row("%s, calls %u, code %d, errno %d, %s%s, after %d", life->legend, codes[i].calls,
			         codes[i].code, codes[i].error, lasting ? "lasting" : "once",
			         codes[i].half ? ", half" : "", after);
			fail();
		}
		if (!failed)
			break;
	}
	score->reached++;
}

static void each_code_sort(size_t i, struct score *score)
{
	size_t n = sizeof codes / sizeof *codes;
	every_code(&lives[i / 2 / n], i / 2 % n, i % 2, score);
}

static void every_code_in_turn(void **state)
{
	(void)state;
	struct score all = { 0 };
	unsigned first = seed;
	size_t n = sizeof lives / sizeof *lives * (sizeof codes / sizeof *codes) * 2;
	make_left();
	each_sort(n, each_code_sort, &all);
	print_message("  seed %u: codes of the VFS, %d lives, a call failed in %d; %d of %d sorts of failure "
	              "until none was met%s\n", first, all.runs, all.hits, all.reached, (int)n,
	              thorough() ? "" : ", at some of the calls");
	assert_true(all.hits > (thorough() ? 50 : 5));
	assert_true(!whole || all.reached == (int)n);
}

/* ---- power cuts ---- */

static bool one_cut(const struct life *life, int after, enum fault_rest rest, unsigned cut_seed,
                    int *failed)
{
	struct fault_rule rule = { .calls = FAULT_SYNC, .after = after, .times = 1,
		                       .code = SQLITE_IOERR_FSYNC, .error = EIO, .cut = true,
		                       .rest = rest, .seed = cut_seed };
	static struct got got[2];
	fresh();
	fault_clear();
	life->put();
	begin(got);
	fault_plan(rule);
	life->live("fault", got);
	*failed = fault_count();
	fault_clear();
	unlink(in_folder("a.db.suspect")); /* nobody was there to write it */
	return both_were_kept(got, true);
}

static void the_power_is_cut_at_every_sync(void **state)
{
	(void)state;
	static const char *const names[] = { "dropped", "kept", "a part kept", "trashed" };
	unsigned first = seed;
	int cuts[4] = { 0 };
	double end = now() + (double)seconds;
	make_left();
	do {
		for (size_t l = 0; l < sizeof lives / sizeof *lives; l++)
			for (int rest = 0; rest < 4; rest++)
				for (int after = some(7) - 1;; after += some(7)) {
					unsigned cut_seed = dice(1 << 20) + 1;
					int failed = 0;
					bool kept = one_cut(&lives[l], after, (enum fault_rest)rest, cut_seed, &failed);
					cuts[rest] += failed > 0;
					if (!kept) {
						note_row("%s, sync %d, %s, seed %u", lives[l].legend, after, names[rest],
						         cut_seed);
						fail();
					}
					if (!failed)
						break;
				}
	} while (now() < end);
	print_message("  seed %u: power cuts with what was not synced dropped %d, kept %d, partly %d, "
	              "trashed %d\n", first, cuts[0], cuts[1], cuts[2], cuts[3]);
	for (int i = 0; i < 4; i++)
		assert_true(cuts[i] > 0);
}

/* ---- as chance will have it, for as long as there is time ---- */

static void anything_at_any_time(void **state)
{
	(void)state;
	unsigned first = seed;
	int runs = 0, hits = 0;
	double end = now() + (seconds ? (double)seconds : 1.5);
	make_left();
	while (now() < end) {
		const struct life *life = &lives[dice(3)];
		unsigned at_seed = seed;
		int failed = 0;
		bool kept;
		if (dice(2)) {
			size_t i = dice(sizeof faults / sizeof *faults);
			struct calls_rule rule = { .sort = faults[i].sort, .after = (int)dice(120),
				                       .times = dice(3) ? 1 + (int)dice(5) : -1,
				                       .error = faults[i].error, .half = faults[i].half };
			kept = one_run(life, &rule, &failed);
		} else {
			size_t i = dice(sizeof codes / sizeof *codes);
			struct fault_rule rule = { .calls = codes[i].calls, .code = codes[i].code,
				                       .error = codes[i].error, .after = (int)dice(120),
				                       .times = 1 + (int)dice(3), .half = dice(2), .late = dice(2) };
			kept = one_code(life, &rule, &failed);
		}
		runs++;
		hits += failed > 0;
		if (!kept) {
			note_row("seed %u", at_seed);
			fail();
		}
	}
	print_message("  seed %u: %d lives, a call failed in %d\n", first, runs, hits);
	assert_true(hits > 0);
}

int main(void)
{
	const char *time_given = getenv("TALLY_TORTURE"), *seed_given = getenv("TALLY_SEED");
	const char *whole_given = getenv("TALLY_WHOLE");
	seconds = time_given ? atol(time_given) : 0;
	whole = whole_given && strcmp(whole_given, "1") == 0;
	seed = seed_given ? (unsigned)strtoul(seed_given, NULL, 10) : (unsigned)time(NULL);
#define T(f) cmocka_unit_test_setup_teardown(f, folder_make_fast, folder_drop)
	fault_install();
	calls.impatient = true;
	const struct CMUnitTest tests[] = {
		T(every_call_fails_in_turn),
		T(every_code_in_turn),
		T(the_power_is_cut_at_every_sync),
		T(anything_at_any_time),
	};
	return cmocka_run_group_tests_name("log_torture", tests, NULL, NULL);
}

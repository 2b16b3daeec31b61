/* SPDX-License-Identifier: MIT */
/*
 * Recordings through the whole daemon program, against the records expected.
 *
 * tests/recordings/NAME.rec has NAME.want beside it: the entry, gap, job and note
 * records that its replay must print, text for text.  Every recording is run as
 * it stands, with its bytes one by one, and cut in two at every point of some of
 * its lines; the records must be the same each time.
 *
 *     build/tests/test_replay --rebuild     writes the .want files anew (read the
 *                                           difference before you commit it)
 */
#include "tests/check.h"
#include "tests/trail_check.h"

#include <dirent.h>
#include <stdbool.h>
#include <stdlib.h>
#include <sys/wait.h>
#include <unistd.h>

#define FOLDER "tests/recordings"
#define OUTPUT_MAX (8u << 20)

static const char *build_dir(void)
{
	const char *b = getenv("TALLY_BUILD");
	return b ? b : "build";
}

/* Standard output of a command, and its exit status. */
static char *run(const char *command, int *status)
{
	FILE *f = popen(command, "r");
	assert_non_null(f);
	char *out = malloc(OUTPUT_MAX);
	assert_non_null(out);
	size_t n = fread(out, 1, OUTPUT_MAX - 1, f);
	out[n] = '\0';
	int s = pclose(f);
	*status = WIFEXITED(s) ? WEXITSTATUS(s) : -1;
	return out;
}

static char *replay(const char *recording, int *status)
{
	char command[1024];
	snprintf(command, sizeof command,
	         "%s/tallyd --replay %s --sheet %s/sheet.csv --config %s/bench.conf 2>/dev/null",
	         build_dir(), recording, FOLDER, FOLDER);
	return run(command, status);
}

static char *slurp(const char *path)
{
	FILE *f = fopen(path, "r");
	if (!f)
		return NULL;
	char *text = malloc(OUTPUT_MAX);
	assert_non_null(text);
	size_t n = fread(text, 1, OUTPUT_MAX - 1, f);
	text[n] = '\0';
	fclose(f);
	return text;
}

/* The records that say what became of the touches. */
static bool is_wanted(const char *line)
{
	static const char *const kinds[] = {"entry", "gap", "strike", "rejudge", "bad",
	                                    "move", "offset", "check"};
	const char *kind = strstr(line, "\"kind\":\"");
	for (size_t i = 0; kind && i < sizeof kinds / sizeof *kinds; i++)
		if (strncmp(kind + 8, kinds[i], strlen(kinds[i])) == 0)
			return true;
	return false;
}

static char *wanted(const char *records)
{
	char *out = calloc(1, strlen(records) + 2);
	size_t n = 0;
	assert_non_null(out);
	while (*records) {
		size_t len = strcspn(records, "\n");
		if (is_wanted(records)) {
			memcpy(out + n, records, len);
			n += len;
			out[n++] = '\n';
		}
		records += len + (records[len] == '\n');
	}
	return out;
}

/* ---- the same bytes in other pieces ---- */

/* Where the quoted bytes of a line begin and end; false where it has none. */
static bool quoted(const char *line, size_t len, size_t *from, size_t *to)
{
	const char *open = memchr(line, '"', len);
	if (line[0] == '#' || !open || memchr(line, '@', (size_t)(open - line)))
		return false;
	*from = (size_t)(open - line) + 1;
	for (*to = *from; *to < len && line[*to] != '"'; (*to)++)
		if (line[*to] == '\\')
			(*to)++;
	return *to < len;
}

/* One byte as written: an escape or a character. */
static size_t piece(const char *at)
{
	if (at[0] != '\\')
		return 1;
	return at[1] == 'x' ? 4 : 2;
}

/* cut 0: every byte a line of its own; N: in two after the N-th byte. */
static void write_pieces(FILE *out, const char *line, size_t len, int cut)
{
	size_t from, to;
	if (!quoted(line, len, &from, &to)) {
		fprintf(out, "%.*s\n", (int)len, line);
		return;
	}
	int head = (int)from - 1, n = 0;
	size_t at = from;
	fprintf(out, "%.*s\"", head, line);
	while (at < to) {
		size_t p = piece(line + at);
		fprintf(out, "%.*s", (int)p, line + at);
		at += p;
		n++;
		if (at < to && (cut == 0 || n == cut))
			fprintf(out, "\"\n%.*s\"", head, line);
	}
	fputs("\"\n", out);
}

static void rewrite(const char *recording, const char *path, int cut)
{
	char *text = slurp(recording);
	FILE *out = fopen(path, "w");
	assert_non_null(text);
	assert_non_null(out);
	for (const char *p = text; *p;) {
		size_t len = strcspn(p, "\n");
		write_pieces(out, p, len, cut);
		p += len + (p[len] == '\n');
	}
	fclose(out);
	free(text);
}

/* ---- every recording ---- */

struct names {
	char name[64][64];
	int count;
};

static int by_name(const void *a, const void *b)
{
	return strcmp(a, b);
}

static void list(struct names *n)
{
	DIR *d = opendir(FOLDER);
	assert_non_null(d);
	n->count = 0;
	for (struct dirent *e; (e = readdir(d));) {
		size_t len = strlen(e->d_name);
		if (len < 5 || len > 60 || strcmp(e->d_name + len - 4, ".rec") != 0 || n->count == 64)
			continue;
		snprintf(n->name[n->count++], 64, "%.*s", (int)len - 4, e->d_name);
	}
	closedir(d);
	qsort(n->name, (size_t)n->count, sizeof n->name[0], by_name);
}

/* Every entry names exactly the readings that it came from. */
static void check_trail(char *records)
{
	static char *record[65536];
	int n = 0;
	char *save = NULL, *copy = strdup(records);
	for (char *p = strtok_r(copy, "\n", &save); p && n < 65536; p = strtok_r(NULL, "\n", &save))
		record[n++] = p;
	for (int i = 0; i < n; i++)
		if (strstr(record[i], "\"kind\":\"entry\"") && !trail_names_right(record, n, record[i], 1))
			fail_msg("its trail is wrong: %s", record[i]);
	free(copy);
}

static void check_one(const char *name)
{
	char path[128], want_path[128], other[] = "/tmp/tally-recording-XXXXXX";
	int status;
	snprintf(path, sizeof path, "%s/%s.rec", FOLDER, name);
	snprintf(want_path, sizeof want_path, "%s/%s.want", FOLDER, name);
	print_message("  %s\n", name);
	char *whole = replay(path, &status);
	assert_int_equal(status, 0);
	char *got = wanted(whole), *want = slurp(want_path);
	assert_non_null(want);
	assert_string_equal(got, want);
	check_trail(whole);
	int fd = mkstemp(other);
	assert_true(fd >= 0);
	close(fd);
	/* The identity is made from the file's bytes, so the pieces' record 1 differs:
	 * everything behind it must not. */
	const char *rest = strchr(whole, '\n');
	assert_non_null(rest);
	for (int cut = 0; cut <= 16; cut += cut < 3 ? 1 : 3) {
		rewrite(path, other, cut);
		char *pieces = replay(other, &status);
		assert_int_equal(status, 0);
		const char *pieces_rest = strchr(pieces, '\n');
		assert_non_null(pieces_rest);
		assert_string_equal(pieces_rest, rest);
		free(pieces);
	}
	unlink(other);
	free(whole);
	free(got);
	free(want);
}

static void recordings_give_their_records(void **state)
{
	struct names n;
	(void)state;
	list(&n);
	assert_true(n.count >= 10);
	for (int i = 0; i < n.count; i++)
		check_one(n.name[i]);
}

static void the_same_twice(void **state)
{
	int status;
	(void)state;
	char *a = replay(FOLDER "/two-meters.rec", &status);
	char *b = replay(FOLDER "/two-meters.rec", &status);
	assert_true(strlen(a) > 1000);
	assert_string_equal(a, b);
	free(a);
	free(b);
}

/* ---- bad recordings: refused whole, with the place ---- */

static const struct bad {
	const char *what, *text, *place, *says;
} bad_rows[] = {
    {"no header", "0.0 red \"x\"\n", ":1:1:", "# tally recording 1"},
    {"empty", "", ":1:1:", "# tally recording 1"},
    {"unknown act", "# tally recording 1\n0.000000 @fly R1\n", ":2:", "fly"},
    {"unknown meter", "# tally recording 1\n0.000000 blue \"x\\r\\n\"\n", ":2:", "blue"},
    {"time falls", "# tally recording 1\n1.0 red \"x\\n\"\n0.5 red \"x\\n\"\n", ":3:1:", ""},
    {"bad escape", "# tally recording 1\n0.0 red \"\\q\"\n", ":2:10:", ""},
    {"short hex", "# tally recording 1\n0.0 red \"\\x4\"\n", ":2:", ""},
    {"open quote", "# tally recording 1\n0.0 red \"abc\n", ":2:", ""},
    {"bad reach", "# tally recording 1\n0.0 @reach floating\n", ":2:12:", "in-circuit"},
    {"bad walk", "# tally recording 1\n0.0 @walk perhaps\n", ":2:11:", "on, off, lift or new"},
};

static void bad_recordings_are_refused_whole(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof bad_rows / sizeof *bad_rows; i++) {
		char path[] = "/tmp/tally-bad-XXXXXX", command[1024], place[128];
		int fd = mkstemp(path), status;
		assert_true(fd >= 0);
		assert_true(write(fd, bad_rows[i].text, strlen(bad_rows[i].text)) >= 0);
		close(fd);
		snprintf(command, sizeof command,
		         "%s/tallyd --replay %s --config %s/bench.conf 2>&1", build_dir(), path, FOLDER);
		char *said = run(command, &status);
		snprintf(place, sizeof place, "%s%s", path, bad_rows[i].place);
		if (status != 2 || !strstr(said, place) || !strstr(said, bad_rows[i].says) ||
		    strstr(said, "\"kind\"")) {
			note_row("%s: status %d, said %s", bad_rows[i].what, status, said);
			fail();
		}
		free(said);
		unlink(path);
	}
}

static int rebuild(void)
{
	struct names n;
	list(&n);
	for (int i = 0; i < n.count; i++) {
		char path[128], want_path[128];
		int status;
		snprintf(path, sizeof path, "%s/%s.rec", FOLDER, n.name[i]);
		snprintf(want_path, sizeof want_path, "%s/%s.want", FOLDER, n.name[i]);
		char *whole = replay(path, &status), *got = wanted(whole);
		FILE *f = fopen(want_path, "w");
		if (!f || status != 0)
			return 1;
		fputs(got, f);
		fclose(f);
		free(whole);
		free(got);
	}
	return 0;
}

int main(int argc, char **argv)
{
	if (argc > 1 && strcmp(argv[1], "--rebuild") == 0)
		return rebuild();
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(recordings_give_their_records),
	    cmocka_unit_test(the_same_twice),
	    cmocka_unit_test(bad_recordings_are_refused_whole),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/*
 * The three laws of the house, kept by reading every include:
 *
 *   1. bytes in at one door, records out at the other: a room includes only what
 *      lies below it on the road;
 *   2. protocol knows nobody; daemon and client know protocol and never each other;
 *      siblings (server and bench, port and bench) meet in main alone;
 *   3. pure code includes nothing that does I/O or keeps time, and keeps no
 *      changeable static state.
 *
 * And: one SPDX line and a file-top comment in every source file.
 */
#include "tests/check.h"

#include <dirent.h>
#include <stdbool.h>
#include <stdlib.h>

static int files_seen, includes_seen, faults_seen;

static void complain(const char *file, int line, const char *what, const char *include)
{
	print_error("%s:%d: %s: %s\n", file, line, what, include);
	faults_seen++;
}

static bool starts(const char *text, const char *with)
{
	return strncmp(text, with, strlen(with)) == 0;
}

/* ---- who may include what ---- */

static const struct ban {
	const char *who;     /* files that begin so */
	const char *what;    /* includes that begin so */
	const char *but;     /* ... unless the file begins so; "" for no exception */
	const char *law;
} bans[] = {
    {"protocol/", "daemon/", "", "protocol knows nobody"},
    {"protocol/", "client/", "", "protocol knows nobody"},
    {"protocol/trade/", "protocol/meter/", "", "trade lies below meter"},
    {"protocol/trade/", "protocol/record/", "", "trade lies below record"},
    {"protocol/trade/", "protocol/file/", "", "trade lies below file"},
    {"protocol/meter/", "protocol/record/", "", "a meter's frames know no records"},
    {"protocol/record/", "protocol/meter/", "", "a record knows no frames"},
    /* Dialect files and recordings are both text in the same forms: ini and escapes lie
     * in a room below both, so that neither has to know the other. */
    {"protocol/guide/", "protocol/meter/", "", "a guided run knows no frames"},
    {"protocol/trade/", "protocol/guide/", "", "trade lies below guide"},
    {"protocol/record/", "protocol/guide/", "", "record lies below guide"},
    {"protocol/meter/", "protocol/guide/", "", "a meter's frames know no guided run"},
    {"protocol/file/", "protocol/guide/", "", "file lies below guide"},
    {"protocol/file/", "protocol/meter/", "", "file lies below meter"},
    {"protocol/file/", "protocol/record/", "", "file lies below record"},
    {"daemon/", "client/", "", "daemon and client never know each other"},
    {"client/", "daemon/", "", "daemon and client never know each other"},
    {"daemon/server", "daemon/bench", "", "server and bench meet in main"},
    {"daemon/query", "daemon/bench", "", "queries are about the log alone"},
    {"daemon/bench", "daemon/server", "", "server and bench meet in main"},
    {"daemon/bench", "daemon/port", "", "port and bench meet in main"},
    {"daemon/port", "daemon/bench", "", "port and bench meet in main"},
    {"daemon/port", "daemon/log", "", "port lies at the beginning of the road"},
    {"daemon/settle", "daemon/bench", "", "settle lies below bench"},
    {"daemon/settle", "daemon/log", "", "settle lies below log"},
    {"daemon/meter", "daemon/bench", "", "meter lies below bench"},
    {"daemon/trail", "daemon/bench", "", "trail lies below bench"},
    {"daemon/log", "daemon/bench", "", "log knows nobody above it"},
    {"daemon/log", "daemon/server", "", "log knows nobody above it"},
    {"daemon/", "sqlite3.h", "daemon/log", "only the log opens SQLite"},
    {"client/", "sqlite3.h", "", "the client never reads a log itself"},
    {"daemon/", "jansson.h", "daemon/server,daemon/query,daemon/main", "jansson is for the wire"},
    {"demo/", "protocol/", "", "the demo shares no parser with the daemon"},
    {"demo/", "daemon/", "", "the demo shares no parser with the daemon"},
};

/* Pure files, and what they must not include. */
static const char *const pure[] = {"protocol/", "daemon/settle", "daemon/trail", "daemon/spoilt", "daemon/marks",
                                   "daemon/meter", "daemon/bench", "daemon/doctor", 
                                   "client/pedal_press", "client/pedal_button",
                                   "client/pedal_identity", "client/settings_edit", "client/tones",
                                   "client/turn", "client/speech_words", "client/speech_value",
                                   "client/speech_reason", "client/sentence", "client/speech_en",
                                   "client/speech_de", "client/view", "client/scene", "client/block",
                                   "client/picture", "client/keys", "client/words"};
static const char *const impure[] = {"uv.h", "sqlite3.h", "libserialport.h", "unistd.h",
                                     "sys/socket.h", "time.h", "pthread.h", "fcntl.h",
                                     "jansson.h", "termios.h", "curses.h", "client/screen.h",
                                     "client/link.h"};

static bool excepted(const char *file, const char *list)
{
	char copy[256];
	snprintf(copy, sizeof copy, "%s", list);
	for (char *save, *p = strtok_r(copy, ",", &save); p; p = strtok_r(NULL, ",", &save))
		if (starts(file, p))
			return true;
	return false;
}

static void check_include(const char *file, int line, const char *include)
{
	includes_seen++;
	for (size_t i = 0; i < sizeof bans / sizeof *bans; i++)
		if (starts(file, bans[i].who) && starts(include, bans[i].what) &&
		    !excepted(file, bans[i].but))
			complain(file, line, bans[i].law, include);
	for (size_t i = 0; i < sizeof pure / sizeof *pure; i++)
		for (size_t k = 0; starts(file, pure[i]) && k < sizeof impure / sizeof *impure; k++)
			if (strcmp(include, impure[k]) == 0)
				complain(file, line, "pure code does no I/O and asks no clock", include);
}

static void check_file(const char *file)
{
	char line[4096], include[256];
	FILE *f = fopen(file, "r");
	assert_non_null(f);
	files_seen++;
	for (int n = 1; fgets(line, sizeof line, f); n++) {
		if (n == 1 && !strstr(line, "SPDX-License-Identifier: MIT"))
			complain(file, n, "the first line is the SPDX line", line);
		if (n == 2 && !starts(line, "/*"))
			complain(file, n, "a comment at the top says problem and format", line);
		if (sscanf(line, "#include \"%255[^\"]\"", include) == 1 ||
		    sscanf(line, "#include <%255[^>]>", include) == 1)
			check_include(file, n, include);
	}
	fclose(f);
}

static void each_file(const char *folder, void (*call)(const char *file))
{
	DIR *d = opendir(folder);
	assert_non_null(d);
	for (struct dirent *e; (e = readdir(d));) {
		char path[512];
		size_t n = strlen(e->d_name);
		snprintf(path, sizeof path, "%s/%s", folder, e->d_name);
		if (e->d_type == DT_DIR && e->d_name[0] != '.')
			each_file(path, call);
		else if (n > 2 && (strcmp(e->d_name + n - 2, ".c") == 0 ||
		                   strcmp(e->d_name + n - 2, ".h") == 0))
			call(path);
	}
	closedir(d);
}

static void laws_hold(void **state)
{
	static const char *const rooms[] = {"protocol", "daemon", "client", "demo", "tests", "doc"};
	(void)state;
	for (size_t i = 0; i < sizeof rooms / sizeof *rooms; i++)
		each_file(rooms[i], check_file);
	print_message("%d files, %d includes\n", files_seen, includes_seen);
	assert_true(files_seen > 50 && includes_seen > 200);
	assert_int_equal(faults_seen, 0);
}

/* The test itself must be able to fail: made-up includes that break each law. */
static void broken_laws_are_seen(void **state)
{
	static const char *const broken[][2] = {
	    {"protocol/trade/x.c", "daemon/log.h"}, {"protocol/meter/x.c", "unistd.h"},
	    {"daemon/bench_x.c", "daemon/server.h"}, {"client/x.c", "daemon/log.h"},
	    {"daemon/port.c", "sqlite3.h"},          {"daemon/settle.c", "uv.h"},
	    {"demo/meters.c", "protocol/meter/frame.h"},
	    {"protocol/meter/dialect_file.c", "protocol/record/recording.h"},
	    {"protocol/file/x.c", "protocol/meter/frame.h"},
	    {"protocol/trade/x.c", "protocol/guide/guide.h"},
	    {"protocol/guide/x.c", "protocol/meter/frame.h"}};
	(void)state;
	int before = faults_seen, n = (int)(sizeof broken / sizeof *broken);
	for (int i = 0; i < n; i++)
		check_include(broken[i][0], 1, broken[i][1]);
	assert_int_equal(faults_seen - before, n);
	faults_seen = before;
	check_include("daemon/log_read.c", 1, "sqlite3.h");
	check_include("daemon/bench.c", 1, "daemon/log.h");
	assert_int_equal(faults_seen, before);
}

/* No changeable static state in pure code: nothing in .data or .bss. */
static void pure_code_keeps_no_state(void **state)
{
	const char *build = getenv("TALLY_BUILD");
	char command[512], line[512];
	int bad = 0, seen = 0;
	(void)state;
	snprintf(command, sizeof command, "nm %s/libprotocol.a", build ? build : "build");
	FILE *f = popen(command, "r");
	assert_non_null(f);
	while (fgets(line, sizeof line, f)) {
		char type, name[256];
		if (sscanf(line, "%*x %c %255s", &type, name) != 2)
			continue;
		seen++;
		/* Tables of const pointers need relocation and stand in .data.rel.ro (d);
		 * what can change without one stands in .bss or is global data. */
		if ((type == 'b' || type == 'B' || type == 'C') && !strstr(name, "asan") &&
		    !starts(name, "__")) {
			print_error("changeable state in protocol: %s\n", name);
			bad++;
		}
	}
	pclose(f);
	if (!seen)
		skip();
	assert_int_equal(bad, 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(broken_laws_are_seen),
	    cmocka_unit_test(laws_hold),
	    cmocka_unit_test(pure_code_keeps_no_state),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/*
 * The client against a daemon of our own that says what the script tells it: what is
 * asked, what comes of the answers, and what becomes of answers that are none.
 *
 * A script is a list of lines:
 *     =TEXT    wait for a request, then send TEXT and a line end; $ID is its id
 *     +TEXT    send TEXT and a line end at once
 *     -TEXT    send TEXT without a line end
 *     !huge    send more than a line may hold      !nul   a line with a NUL in it
 *     !close   close the connection                !hang  say nothing for a while
 *     !exit N  end (of a script that is served over standard input)
 * Every script begins with the answer to hello; where it ends, the connection is
 * closed after the client closed it.
 */
#include "tests/check.h"

#include "client/client.h"
#include "protocol/record/wire.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <unistd.h>

#define HELLO "={\"jsonrpc\":\"2.0\",\"id\":$ID,\"result\":{\"protocol\":1,\"version\":\"0\"," \
	"\"bench\":\"north\",\"identity\":\"ab\",\"last\":3,\"live\":true}}"
#define RESULT(text) "={\"jsonrpc\":\"2.0\",\"id\":$ID,\"result\":" text "}"
#define FAULT(code, message) \
	"={\"jsonrpc\":\"2.0\",\"id\":$ID,\"error\":{\"code\":" code ",\"message\":\"" message "\"}}"
#define NEWS(method, params) \
	"+{\"jsonrpc\":\"2.0\",\"method\":\"" method "\",\"params\":" params "}"

#define LINES_MOST 16
#define HEARD "heard" /* what was asked of the daemon, a line each */

static char place[64]; /* a folder of this run, and the socket in it */
static char path[96];

/* ---- the daemon that is none ---- */

static void put(int fd, const char *bytes, size_t len)
{
	while (len) {
		ssize_t n = write(fd, bytes, len);
		if (n <= 0)
			return;
		bytes += n;
		len -= (size_t)n;
	}
}

/* Read a request, byte by byte; false at the end.  Its id is a number. */
static bool hear(int in, char *line, size_t size)
{
	size_t at = 0;
	char c;
	while (at + 1 < size && read(in, &c, 1) == 1) {
		if (c == '\n') {
			line[at] = '\0';
			return true;
		}
		line[at++] = c;
	}
	return false;
}

static void answer(int out, const char *text, const char *request)
{
	const char *id = strstr(request, "\"id\":"), *mark;
	while ((mark = strstr(text, "$ID"))) {
		put(out, text, (size_t)(mark - text));
		if (id)
			put(out, id + 5, strspn(id + 5, "0123456789"));
		text = mark + 3;
	}
	put(out, text, strlen(text));
}

static void talk(int in, int out, const char *const *script, int heard)
{
	static char request[1 << 21];
	static char huge[WIRE_LINE_MAX + 100];
	for (int i = 0; i < LINES_MOST && script[i]; i++) {
		const char *line = script[i];
		if (line[0] == '=') {
			if (!hear(in, request, sizeof request))
				return;
			if (heard >= 0)
				dprintf(heard, "%s\n", request);
		}
		if (strchr("=+-", line[0]))
			answer(out, line + 1, request);
		if (line[0] == '=' || line[0] == '+')
			put(out, "\n", 1);
		if (strcmp(line, "!close") == 0)
			return;
		if (strncmp(line, "!exit ", 6) == 0)
			_exit(atoi(line + 6));
		if (strcmp(line, "!nul") == 0)
			put(out, "{\"jsonrpc\":\"2.0\",\"id\":2,\"result\":{}}\0}\n", 40);
		if (strcmp(line, "!huge") == 0) {
			memset(huge, ' ', sizeof huge);
			put(out, huge, sizeof huge);
		}
		if (strcmp(line, "!hang") == 0)
			usleep(600000);
	}
	/* The client ends it; what it still says is heard. */
	while (hear(in, request, sizeof request))
		if (heard >= 0)
			dprintf(heard, "%s\n", request);
}

/* Listen first, then fork: the client cannot come too early. */
static pid_t daemon_start(const char *const *scripts[], int count)
{
	struct sockaddr_un a = {.sun_family = AF_UNIX};
	char file[128];
	unlink(path);
	strcpy(a.sun_path, path);
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
	assert_int_equal(bind(fd, (struct sockaddr *)&a, sizeof a), 0);
	assert_int_equal(listen(fd, 4), 0);
	snprintf(file, sizeof file, "%s/" HEARD, place);
	int heard = open(file, O_CREAT | O_TRUNC | O_WRONLY | O_APPEND, 0600);
	pid_t pid = fork();
	if (pid == 0) {
		signal(SIGPIPE, SIG_IGN);
		for (int i = 0; i < count; i++) {
			int one = accept(fd, NULL, NULL);
			talk(one, one, scripts[i], heard);
			close(one);
		}
		_exit(0);
	}
	close(fd);
	close(heard);
	return pid;
}

static const char *heard(void)
{
	static char text[1 << 16];
	char file[128];
	snprintf(file, sizeof file, "%s/" HEARD, place);
	FILE *f = fopen(file, "rb");
	size_t n = f ? fread(text, 1, sizeof text - 1, f) : 0;
	text[n] = '\0';
	if (f)
		fclose(f);
	return text;
}

/* ---- the client ---- */

struct run {
	int status;
	char *out, *err;
};

#define ARGV_MOST 12
#define CLIENT(...) (const char *const[ARGV_MOST]){__VA_ARGS__}
#define SCRIPT(...) (const char *const[LINES_MOST]){__VA_ARGS__}

static struct client client_for(FILE *out, FILE *err)
{
	return (struct client){.out = out, .err = err, .out_fd = -1, .socket = path,
	                       .timeout_ms = 5000};
}

static struct run run_client(struct client *base, const char *const *argv)
{
	struct run r = {0};
	size_t out_len, err_len;
	static struct client c;
	int argc = 0;
	while (argc < ARGV_MOST && argv[argc])
		argc++;
	FILE *out = open_memstream(&r.out, &out_len), *err = open_memstream(&r.err, &err_len);
	c = base ? *base : client_for(NULL, NULL);
	if (!c.out)
		c.out = out;
	c.err = err;
	r.status = client_run(&c, argc, argv);
	fclose(out);
	fclose(err);
	return r;
}

static void run_free(struct run *r)
{
	free(r->out);
	free(r->err);
	*r = (struct run){0};
}

/* Run against one connection's script. */
static struct run run_script(struct client *base, const char *const *script,
                             const char *const *argv)
{
	const char *const *scripts[] = {script};
	pid_t pid = daemon_start(scripts, 1);
	struct run r = run_client(base, argv);
	int status;
	/* A client that never came leaves the daemon waiting. */
	if (waitpid(pid, &status, WNOHANG) == 0) {
		usleep(20000);
		kill(pid, SIGTERM);
		waitpid(pid, &status, 0);
	}
	unlink(path);
	return r;
}

static void expect(const char *got, const char *want, const char *what)
{
	if (!strstr(got, want)) {
		print_error("%s is\n%s\nexpected in it:\n%s\n", what, got, want);
		fail();
	}
}

/* ---- what is asked, and what comes of the answer ---- */

/* Spacing, escapes and forms of numbers that no writer of ours would choose: only
 * bytes that were never printed anew come out so. */
#define ODD "{\"seq\":5, \"kind\" : \"entry\",\"value\":3.45e-07,\"u\":1.50E+1,\"x\":\"\\u00b5\\/\"}"
#define ODD2 "{\"seq\":6,\"n\":-0.0,\"deep\":[ 1 , {\"a\":[ ]}]}"

static const struct verb_row {
	const char *argv[ARGV_MOST];
	const char *asked;  /* in what the daemon heard */
	const char *answer; /* to it */
	int status;
	const char *out;    /* all of standard output; NULL: not looked at */
} verb_rows[] = {
	{{"status", "--json"}, "\"method\":\"status\"}", RESULT("{\"job\" : null}"), 0,
	 "{\"job\" : null}\n"},
	{{"meters", "--json"}, "\"method\":\"meters\"", RESULT("{\"meters\":[{\"name\": \"a\"},{}]}"),
	 0, "{\"name\": \"a\"}\n{}\n"},
	{{"job", "start", "amp 1"}, "\"params\":{\"name\":\"amp 1\"}", RESULT("{\"seq\":7}"), 0,
	 "started job amp 1: record 7\n"},
	{{"job", "start", "x", "--json"}, "job.start", RESULT("{\"seq\":7}"), 0, "{\"seq\":7}\n"},
	{{"job", "close"}, "\"method\":\"job.close\"}", RESULT("{\"seq\":8}"), 0,
	 "closed the job: record 8\n"},
	{{"job", "show", "amp"}, "\"params\":{\"job\":\"amp\"}", RESULT("{\"job\":\"amp\"}"), 0, NULL},
	{{"job", "list", "--json"}, "job.list", RESULT("{\"jobs\":[{\"job\":\"a\"},{\"job\":\"b\"}],"
	 "\"more\":false}"), 0, "{\"job\":\"a\"}\n{\"job\":\"b\"}\n"},
	{{"sheet", "set", "R1", "nominal=4k7", "note=a=b", "max="},
	 "{\"position\":\"R1\",\"fields\":{\"nominal\":\"4k7\",\"note\":\"a=b\",\"max\":\"\"}}",
	 RESULT("{\"seq\":9}"), 0, "set R1: record 9\n"},
	{{"sheet", "show", "--job", "amp", "--json"}, "{\"job\":\"amp\"}",
	 RESULT("{\"job\":\"amp\",\"rows\":[" ODD2 "],\"more\":false}"), 0, ODD2 "\n"},
	{{"at", "R12", "esr", "--meter", "red"},
	 "{\"position\":\"R12\",\"quantity\":\"esr\",\"meter\":\"red\"}",
	 RESULT("{\"chosen\":{\"position\":\"R12\"},\"meter\":\"red\",\"position\":\"R12\"}"), 0, NULL},
	{{"at"}, "\"params\":{}", RESULT("{\"chosen\":null}"), 0,
	 "position     none is chosen: `tally at POSITION` does\n"},
	{{"reach", "lifted"}, "{\"reach\":\"lifted\"}", RESULT("{\"reach\":\"lifted\"}"), 0,
	 "reach        lifted\n"},
	{{"reach"}, "\"method\":\"status\"", RESULT("{\"reach\":\"loose\"}"), 0,
	 "reach        loose\n"},
	{{"condition", "--json"}, "\"method\":\"status\"", RESULT("{\"condition\":\"new\"}"), 0,
	 "{\"condition\":\"new\"}\n"},
	{{"walk", "on"}, "{\"walk\":\"on\"}", RESULT("{\"walk\":\"on\",\"chosen\":null}"), 0,
	 "walk         on\n"},
	{{"take", "--meter", "red", "--json"}, "{\"meter\":\"red\"}",
	 RESULT("{\"seq\":5,\"record\":" ODD "}"), 0, ODD "\n"},
	{{"undo"}, "\"method\":\"undo\"}", RESULT("{\"seq\":21,\"struck\":14}"), 0,
	 "struck entry 14: record 21\n"},
	{{"enter", "V1", "-35", "V", "--from", "dmm", "--quantity", "volts", "--u", "0.1",
	  "--json"}, "{\"position\":\"V1\",\"value\":\"-35 V\",\"from\":\"dmm\",\"quantity\":\"volts\","
	 "\"u\":\"0.1\"}", RESULT("{\"seq\":5,\"record\":" ODD "}"), 0, ODD "\n"},
	{{"strike", "12", "--because", "wrong part"}, "{\"because\":\"wrong part\",\"seq\":12}",
	 RESULT("{\"seq\":22}"), 0, "struck entry 12: record 22\n"},
	{{"note", "R1", "smells", "burnt"}, "{\"position\":\"R1\",\"text\":\"smells burnt\"}",
	 RESULT("{\"seq\":23}"), 0, "noted: record 23\n"},
	{{"entries", "R1", "--json"}, "{\"position\":\"R1\"}",
	 RESULT("{\"entries\":[{\"record\":" ODD ",\"struck\":false,\"moved\":null},{\"record\":" ODD2
	        ",\"struck\":{\"seq\": 9,\"because\":\"x\"},\"moved\":null}],\"more\":false}"), 0,
	 ODD "\n{\"seq\":6,\"n\":-0.0,\"deep\":[ 1 , {\"a\":[ ]}],\"struck\":{\"seq\": 9,"
	 "\"because\":\"x\"}}\n"},
	{{"compare", "--json"}, "\"method\":\"compare\"",
	 RESULT("{\"crosschecks\":[{\"pairs\":[],\"agree\":true}],\"twins\":[{\"agree\":false}]}"), 0,
	 "{\"crosschecks\":[{\"pairs\":[],\"agree\":true}],\"twins\":[{\"agree\":false}]}\n"},
	{{"compare", "R1", "--json"}, "{\"position\":\"R1\"}",
	 RESULT("{\"crosschecks\":[{\"pairs\":[],\"agree\":false}],\"twins\":[]}"), 1, NULL},
	{{"verify", "--json"}, "\"method\":\"verify\"",
	 RESULT("{\"verdict\":\"intact, no anchor\",\"ok\":true}"), 0,
	 "{\"verdict\":\"intact, no anchor\",\"ok\":true}\n"},
	{{"verify"}, "verify", RESULT("{\"verdict\":\"altered\",\"ok\":false,\"bad\":3}"), 1, NULL},
	/* A verdict that is missing is no good one. */
	{{"verify"}, "verify", RESULT("{}"), 1, NULL},
	{{"verify", "--anchor",
	  "3:0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"},
	 "{\"anchor\":\"3:0123", RESULT("{\"verdict\":\"truncated\",\"ok\":false}"), 1, NULL},
	/* The error codes of WIRE.md and the exit status that each means. */
	{{"take"}, "take", FAULT("5", "nothing to take"), 1, ""},
	{{"take"}, "take", FAULT("4", "NOT LOGGED: the disk is full"), 4, ""},
	{{"take"}, "take", FAULT("2", "no such position"), 2, ""},
	{{"take"}, "take", FAULT("-32700", "not JSON"), 2, ""},
	{{"take"}, "take", FAULT("-32600", "no request"), 2, ""},
	{{"take"}, "take", FAULT("-32601", "no such method"), 2, ""},
	{{"take"}, "take", FAULT("-32602", "unknown parameter"), 2, ""},
	{{"take"}, "take", FAULT("-32603", "the log cannot be read"), 2, ""},
	{{"take"}, "take", FAULT("-32002", "hello comes first"), 2, ""},
	{{"take"}, "take", FAULT("0", "a code that must not pass for success"), 2, ""},
	{{"take", "--json"}, "take", FAULT("99", "later"), 2, ""},
	{{"raw"}, NULL, NULL, 2, ""},
};

static void test_verbs(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof verb_rows / sizeof verb_rows[0]; i++) {
		const struct verb_row *row = &verb_rows[i];
		const char *script[LINES_MOST] = {HELLO, row->answer};
		note_row("%zu: %s %s", i, row->argv[0], row->argv[1] ? row->argv[1] : "");
		struct run r = run_script(NULL, script, row->argv);
		if (r.status != row->status)
			print_error("%s", r.err);
		assert_int_equal(r.status, row->status);
		if (row->asked)
			expect(heard(), row->asked, "what was asked");
		if (row->out)
			assert_string_equal(r.out, row->out);
		/* Silence is for what went well; what did not is said on standard error. */
		if (row->out && !row->out[0])
			assert_true(strlen(r.err) > 10);
		run_free(&r);
	}
}

static void test_hello_first(void **state)
{
	(void)state;
	struct run r = run_script(NULL, SCRIPT(HELLO, RESULT("{}")), CLIENT("status", "--json"));
	assert_int_equal(r.status, 0);
	assert_ptr_equal(strstr(heard(), "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"hello\",\"params\":"
	                                 "{\"protocol\":1,\"client\":\"tally\"}}\n"), heard());
	run_free(&r);
}

static void test_fault_place(void **state)
{
	(void)state;
	struct run r = run_script(
		NULL, SCRIPT(HELLO, "={\"jsonrpc\":\"2.0\",\"id\":$ID,\"error\":{\"code\":2,\"message\":"
		             "\"no unit\\u001b[2J\",\"data\":{\"file\":\"a.csv\",\"line\":3,\"column\":7}}}"),
		CLIENT("sheet", "load", "/dev/null"));
	assert_int_equal(r.status, 2);
	assert_string_equal(r.err, "a.csv:3:7: no unit\\x1B[2J\n");
	run_free(&r);
}

/* ---- pages ---- */

static void test_pages(void **state)
{
	(void)state;
#define PAGE(a, b, more)                                                                \
	RESULT("{\"entries\":[{\"record\":{\"seq\":" a "},\"struck\":false},{\"record\":{\"seq\":" b \
	       "},\"struck\":false}]," more "}")
	struct run r = run_script(NULL,
	                          SCRIPT(HELLO, PAGE("3", "5", "\"more\":true,\"next\":5"),
	                                 PAGE("6", "9", "\"more\":true,\"next\":9"),
	                                 PAGE("12", "13", "\"more\":false")),
	                          CLIENT("entries", "--json", "--job", "a"));
	assert_int_equal(r.status, 0);
	assert_string_equal(r.out, "{\"seq\":3}\n{\"seq\":5}\n{\"seq\":6}\n{\"seq\":9}\n{\"seq\":12}\n"
	                           "{\"seq\":13}\n");
	expect(heard(), "{\"job\":\"a\"}}\n", "the first page");
	expect(heard(), "{\"job\":\"a\",\"after\":5}}\n", "the second page");
	expect(heard(), "{\"job\":\"a\",\"after\":9}}\n", "the third page");
	run_free(&r);
	/* More, and none of it: it must not ask for ever, nor pass for all. */
	r = run_script(NULL, SCRIPT(HELLO, PAGE("3", "5", "\"more\":true,\"next\":5"),
	                            PAGE("3", "5", "\"more\":true,\"next\":5")),
	               CLIENT("entries", "--json"));
	assert_int_equal(r.status, 3);
	expect(r.err, "this is not all", "standard error");
	run_free(&r);
}

/* ---- what is no answer ---- */

static const struct bad_row {
	const char *what;
	const char *script[LINES_MOST];
	int status;
	const char *err;
} bad_rows[] = {
	{"closed at once", {"!close"}, 3, "closed the connection"},
	{"closed after hello", {HELLO, "!close"}, 3, "closed the connection"},
	{"half a line", {HELLO, "-{\"jsonrpc\":\"2.0\",\"id\":2,\"res", "!close"}, 3,
	 "closed the connection"},
	{"garbage", {HELLO, "=HTTP/1.1 400 Bad Request"}, 3, "no message of tallyd: HTTP/1.1 400"},
	{"garbage that steers", {HELLO, "=\x1b[31mred"}, 3, "\\x1B[31mred"},
	{"an empty line", {HELLO, "="}, 3, "an empty line"},
	{"a number", {HELLO, "=12"}, 3, "no message of tallyd"},
	{"an array", {HELLO, "=[]"}, 3, "no message of tallyd"},
	{"an empty object", {HELLO, "={}"}, 3, "no message of tallyd"},
	{"another version", {HELLO, "={\"jsonrpc\":\"1.0\",\"id\":$ID,\"result\":{}}"}, 3,
	 "no message"},
	{"a key twice", {HELLO, "={\"jsonrpc\":\"2.0\",\"id\":$ID,\"result\":{},\"result\":{}}"}, 3,
	 "no message"},
	{"neither", {HELLO, "={\"jsonrpc\":\"2.0\",\"id\":$ID}"}, 3, "no message"},
	{"both", {HELLO, "={\"jsonrpc\":\"2.0\",\"id\":$ID,\"result\":{},\"error\":{\"code\":2,"
	 "\"message\":\"x\"}}"}, 3, "no message"},
	{"not UTF-8", {HELLO, "={\"jsonrpc\":\"2.0\",\"id\":$ID,\"result\":\"\xff\"}"}, 3,
	 "no message"},
	{"a NUL in the line", {HELLO, "=", "!nul"}, 3, "no message"},
	{"somebody else's answer", {HELLO, "={\"jsonrpc\":\"2.0\",\"id\":77,\"result\":{}}"}, 3,
	 "not asked"},
	{"an error of the line", {HELLO, "={\"jsonrpc\":\"2.0\",\"id\":null,\"error\":{\"code\":-32700,"
	 "\"message\":\"not JSON\"}}"}, 2, "not JSON"},
	{"an error without words", {HELLO, "={\"jsonrpc\":\"2.0\",\"id\":$ID,\"error\":{\"code\":5}}"},
	 1, "gave no reason"},
	{"a line without an end", {HELLO, "!huge", "!hang"}, 3, "longer than"},
	{"no answer", {HELLO, "!hang"}, 3, "did not answer `take` in time"},
	{"no answer to hello", {"!hang"}, 3, "did not answer `hello` in time"},
	{"version refused", {"={\"jsonrpc\":\"2.0\",\"id\":$ID,\"error\":{\"code\":-32003,\"message\":"
	 "\"no\",\"data\":{\"protocol\":2}}}"}, 2, "speaks protocol 2, this tally speaks 1"},
	{"version mismatched", {RESULT("{\"protocol\":3}")}, 2, "speaks protocol 3"},
	{"hello without a version", {RESULT("{}")}, 2, "speaks protocol 0"},
};

static void test_bad_answers(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof bad_rows / sizeof bad_rows[0]; i++) {
		struct client c = client_for(NULL, NULL);
		c.timeout_ms = 300;
		note_row("%s", bad_rows[i].what);
		struct run r = run_script(&c, bad_rows[i].script, CLIENT("take"));
		expect(r.err, bad_rows[i].err, "standard error");
		assert_int_equal(r.status, bad_rows[i].status);
		assert_string_equal(r.out, "");
		/* Whether it was done is in doubt once it was asked, and never before. */
		bool doubt = r.status == 3 && strcmp(bad_rows[i].script[0], HELLO) == 0;
		assert_int_equal(strstr(r.err, "not known whether") != NULL, doubt);
		run_free(&r);
	}
}

static void test_flood(void **state)
{
	(void)state;
	/* Notifications before the answer are kept; too many of them are no daemon. */
	char many[LINK_KEPT_MAX * 64 + 256] = "=";
	for (int i = 0; i < LINK_KEPT_MAX + 1; i++)
		strcat(many, "{\"jsonrpc\":\"2.0\",\"method\":\"x\"}\n");
	struct run r = run_script(NULL, SCRIPT(HELLO, many), CLIENT("status"));
	assert_int_equal(r.status, 3);
	expect(r.err, "256 notifications and no answer", "standard error");
	run_free(&r);
}

/* ---- no daemon ---- */

static void test_not_there(void **state)
{
	(void)state;
	char longer[200], text[256];
	struct run r = run_client(NULL, CLIENT("status"));
	assert_int_equal(r.status, 3);
	expect(r.err, "there is no such socket. Start tallyd", "standard error");
	expect(r.err, path, "standard error");
	run_free(&r);
	/* The socket of one that was killed. */
	pid_t pid = daemon_start(NULL, 0);
	waitpid(pid, NULL, 0);
	r = run_client(NULL, CLIENT("status"));
	assert_int_equal(r.status, 3);
	expect(r.err, "nobody listens", "standard error");
	run_free(&r);
	unlink(path);
	/* --socket goes before the environment, which goes before the usual one. */
	r = run_client(NULL, CLIENT("status", "--socket", "/nowhere/s"));
	expect(r.err, "/nowhere/s", "standard error");
	run_free(&r);
	struct client c = client_for(NULL, NULL);
	c.socket = "";
	r = run_client(&c, CLIENT("status", "--socket=/nowhere/s"));
	run_free(&r);
	memset(longer, 'x', sizeof longer - 1);
	longer[0] = '/';
	longer[sizeof longer - 1] = '\0';
	r = run_client(NULL, CLIENT("status", "--socket", longer));
	assert_int_equal(r.status, 2);
	expect(r.err, "at most 107 bytes", "standard error");
	run_free(&r);
	/* What needs no daemon does not look for one. */
	r = run_client(NULL, CLIENT("judge", "470k", "10%", "468k", "--accuracy", "0.5% + 2"));
	assert_int_equal(r.status, 0);
	snprintf(text, sizeof text, "within, 0.43 %% low\n");
	expect(r.out, text, "standard output");
	run_free(&r);
}

/* ---- a file ---- */

/* The log is a script: this program, run as `--serve FILE`, is its daemon. */
static struct run run_file(const char *const *script, const char *const *argv)
{
	char file[128];
	struct client c = client_for(NULL, NULL);
	c.program = "/proc/self/exe";
	snprintf(file, sizeof file, "%s/log", place);
	FILE *f = fopen(file, "w");
	for (int i = 0; i < LINES_MOST && script[i]; i++)
		fprintf(f, "%s\n", script[i]);
	fclose(f);
	return run_client(&c, argv);
}

static void test_file(void **state)
{
	(void)state;
	char file[128], missing[128];
	snprintf(file, sizeof file, "%s/log", place);
	snprintf(missing, sizeof missing, "%s/no-log", place);
	const char *good[LINES_MOST] = {
		HELLO, RESULT("{\"verdict\":\"intact, no anchor\",\"ok\":true,\"records\":3}")};
	struct run r = run_file(good, CLIENT("verify", file));
	assert_int_equal(r.status, 0);
	expect(r.out, file, "standard output");
	run_free(&r);
	r = run_file(good, CLIENT("--file", file, "verify", "--json"));
	assert_int_equal(r.status, 0);
	run_free(&r);
	/* Its own reason stands on standard error; its status is the better one. */
	static const struct { const char *end; int status; } ends[] = {
		{"!exit 2", 2}, {"!exit 4", 4}, {"!exit 0", 3}, {"!exit 9", 3}};
	for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
		note_row("%s", ends[i].end);
		r = run_file(SCRIPT(ends[i].end), CLIENT("verify", file));
		assert_int_equal(r.status, ends[i].status);
		expect(r.err, "ended with status", "standard error");
		run_free(&r);
		r = run_file(SCRIPT(HELLO, ends[i].end), CLIENT("verify", file));
		assert_int_equal(r.status, ends[i].status);
		run_free(&r);
	}
	r = run_client(NULL, CLIENT("verify", missing));
	assert_int_equal(r.status, 2);
	expect(r.err, "no-log: No such file", "standard error");
	run_free(&r);
	r = run_client(NULL, CLIENT("verify", file, "--file", file));
	assert_int_equal(r.status, 2);
	run_free(&r);
	r = run_client(NULL, CLIENT("verify", file, "--anchor", "12:xyz"));
	assert_int_equal(r.status, 2);
	expect(r.err, "64 hex digits", "standard error");
	run_free(&r);
	r = run_client(NULL, CLIENT("take", "--file", file));
	assert_int_equal(r.status, 2);
	run_free(&r);
}

/* Beside our own executable, then PATH, never the working directory. */
static void test_program_missing(void **state)
{
	(void)state;
	char file[128], *path_was = strdup(getenv("PATH") ? getenv("PATH") : "");
	struct client c = client_for(NULL, NULL);
	snprintf(file, sizeof file, "%s/log", place);
	fclose(fopen(file, "w"));
	setenv("PATH", "/nowhere::/nowhere-either", 1);
	struct run r = run_client(&c, CLIENT("entries", "--file", file));
	assert_int_equal(r.status, 3);
	expect(r.err, "neither beside tally nor on PATH", "standard error");
	run_free(&r);
	c.program = "/nowhere/tallyd";
	r = run_client(&c, CLIENT("entries", "--file", file));
	assert_int_equal(r.status, 3);
	expect(r.err, "does not start", "standard error");
	run_free(&r);
	setenv("PATH", path_was, 1);
	free(path_was);
}

/* ---- sheets ---- */

static void test_sheet_load(void **state)
{
	(void)state;
#define BYTES(text) text, sizeof text - 1
	static const struct { const char *bytes; size_t len; int status; const char *says; } rows[] = {
		{BYTES("position\nR1\n"), 0, "\"text\":\"position\\nR1\\n\""},
		{BYTES(""), 0, "\"text\":\"\""},
		{BYTES("position,note\r\nR1,\xc2\xb5\r\n"), 0, "R1,\xc2\xb5\\r\\n\""},
		{BYTES("position,note\nR1,ab\xff\n"), 2, "s.csv:2:6: byte 0xFF: a sheet is UTF-8 text"},
		{BYTES("position\nR1\n\0R2\n"), 2, "s.csv:3:1: byte 0x00"},
		{BYTES("\xc3"), 2, "s.csv:1:1: byte 0xC3"},
	};
	char file[128];
	snprintf(file, sizeof file, "%s/s.csv", place);
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		note_row("%zu", i);
		FILE *f = fopen(file, "wb");
		fwrite(rows[i].bytes, 1, rows[i].len, f);
		fclose(f);
		struct run r = run_script(NULL, SCRIPT(HELLO, RESULT("{\"seq\":9,\"positions\":1}")),
		                          CLIENT("sheet", "load", file, "--job", "amp"));
		assert_int_equal(r.status, rows[i].status);
		expect(r.status ? r.err : heard(), rows[i].says, "what was said");
		if (!r.status) {
			expect(heard(), "\"job\":\"amp\"", "what was asked");
			expect(r.out, "1 position, record 9", "standard output");
		}
		run_free(&r);
	}
	struct run r = run_client(NULL, CLIENT("sheet", "load", "/nowhere/x.csv"));
	assert_int_equal(r.status, 2);
	assert_string_equal(r.err, "/nowhere/x.csv: No such file or directory\n");
	run_free(&r);
	r = run_client(NULL, CLIENT("sheet", "load", place));
	assert_int_equal(r.status, 2);
	run_free(&r);
	/* Longer than the wire: refused here, by name and before anything is asked. */
	FILE *f = fopen(file, "wb");
	for (int i = 0; i < 300000; i++)
		fputs("R1,", f);
	for (int i = 0; i < 100000; i++)
		fputs("\"\"\n", f);
	fclose(f);
	r = run_script(NULL, SCRIPT(HELLO, RESULT("{}")), CLIENT("sheet", "load", file));
	assert_int_equal(r.status, 2);
	run_free(&r);
	unlink(file);
}

static void test_sheet_set_words(void **state)
{
	(void)state;
	static const char *const bad[] = {"nominal", "=4k7", "note=\xff"};
	for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
		note_row("%zu", i);
		struct run r = run_client(NULL, CLIENT("sheet", "set", "R1", bad[i]));
		assert_int_equal(r.status, 2);
		run_free(&r);
	}
	struct run r = run_client(NULL, CLIENT("sheet", "set", "R1", "a=1", "a=2"));
	assert_int_equal(r.status, 2);
	expect(r.err, "given twice", "standard error");
	run_free(&r);
}

/* ---- what follows ---- */

static void test_watch_texts(void **state)
{
	(void)state;
	/* One that comes before the answer is not lost; events are no records. */
	const char *script[LINES_MOST] = {
		HELLO, "={\"jsonrpc\":\"2.0\",\"method\":\"record\",\"params\":{\"seq\":5,\"record\":" ODD
		"}}\n{\"jsonrpc\":\"2.0\",\"id\":2,\"result\":{\"last\":5}}",
		NEWS("event", "{\"event\":\"moving\",\"t\":\"x\"}"),
		NEWS("record", "{\"seq\":6,\"record\":" ODD2 "}"), "!close"};
	struct run r = run_script(NULL, script, CLIENT("watch", "--json", "--after", "4"));
	assert_string_equal(r.out, ODD "\n" ODD2 "\n");
	/* A daemon that is gone is said, and is status 3. */
	assert_int_equal(r.status, 3);
	expect(r.err, "closed the connection", "standard error");
	expect(heard(), "\"method\":\"watch\",\"params\":{\"after\":4}", "what was asked");
	run_free(&r);
	/* Where nobody sits at a terminal it is the same without --json. */
	r = run_script(NULL, script, CLIENT("watch"));
	assert_string_equal(r.out, ODD "\n" ODD2 "\n");
	expect(heard(), "\"method\":\"watch\",\"params\":{}", "what was asked");
	run_free(&r);
	r = run_client(NULL, CLIENT("watch", "--after", "-3"));
	assert_int_equal(r.status, 2);
	run_free(&r);
}

static volatile sig_atomic_t stop_now;

static void on_alarm(int signal)
{
	(void)signal;
	stop_now = 1;
}

static void test_watch_words(void **state)
{
	(void)state;
	/* The daemon goes and comes back: it goes on after the last record, once each. */
	const char *first[LINES_MOST] = {HELLO, RESULT("{\"last\":4}"),
		NEWS("record", "{\"seq\":5,\"record\":{\"seq\":5,\"kind\":\"note\",\"text\":\"one\"}}"),
		NEWS("event", "{\"event\":\"gone\",\"meter\":\"red\"}"), "!close"};
	const char *second[LINES_MOST] = {HELLO, RESULT("{\"last\":6}"),
		NEWS("record", "{\"seq\":6,\"record\":{\"seq\":6,\"kind\":\"note\",\"text\":\"two\"}}")};
	const char *const *scripts[] = {first, second};
	struct client c = client_for(NULL, NULL);
	struct sigaction action = {.sa_handler = on_alarm};
	sigaction(SIGALRM, &action, NULL);
	c.stop = &stop_now;
	stop_now = 0;
	pid_t pid = daemon_start(scripts, 2);
	alarm(2);
	struct run r = run_client(&c, CLIENT("watch", "--plain"));
	kill(pid, SIGTERM);
	waitpid(pid, NULL, 0);
	unlink(path);
	/* Ended by the person: quietly, and done. */
	assert_int_equal(r.status, 0);
	assert_string_equal(r.out, "record 5, note one\ngone: red: is gone\nrecord 6, note two\n");
	expect(r.err, "waiting for it to come back", "standard error");
	expect(r.err, "it is back", "standard error");
	expect(heard(), "{\"after\":5}", "what was asked");
	run_free(&r);
}

static void test_watch_reader_gone(void **state)
{
	(void)state;
	int ends[2];
	assert_int_equal(pipe(ends), 0);
	struct client c = client_for(fdopen(ends[1], "w"), NULL);
	c.out_fd = ends[1];
	signal(SIGPIPE, SIG_IGN);
	close(ends[0]);
	/* Nothing comes, and nobody reads: it ends all the same. */
	struct run r = run_script(&c, SCRIPT(HELLO, RESULT("{\"last\":4}")), CLIENT("watch"));
	assert_int_equal(r.status, 0);
	assert_string_equal(r.err, "");
	fclose(c.out);
	run_free(&r);
}

static void test_tape(void **state)
{
	(void)state;
	const char *script[LINES_MOST] = {HELLO, RESULT("{}"),
		NEWS("tape", "{\"line\":\"# tally recording 1\"}"),
		NEWS("tape", "{\"line\":\"0.000000 red \\\"+1.0 V\\\\r\\\\n\\\"\"}"),
		NEWS("tape", "{\"line\":\"0.5 @at R1\",\"lost\":3}"), "!close"};
	struct run r = run_script(NULL, script, CLIENT("meters", "tape", "red", "blue"));
	expect(heard(), "{\"meters\":[\"red\",\"blue\"]}", "what was asked");
	assert_string_equal(r.out, "# tally recording 1\n0.000000 red \"+1.0 V\\r\\n\"\n"
	                           "# 3 lines are missing here\n0.5 @at R1\n");
	assert_int_equal(r.status, 3);
	expect(r.err, "the recording is not whole", "standard error");
	run_free(&r);
	r = run_script(NULL, SCRIPT(HELLO, FAULT("2", "there is no meter")), CLIENT("meters", "tape"));
	assert_int_equal(r.status, 2);
	assert_string_equal(r.out, "");
	expect(heard(), "{\"meters\":[]}", "what was asked");
	run_free(&r);
}

static void test_raw(void **state)
{
	(void)state;
#define FRAME "{\"meter\":\"red\",\"t\":\"2026-11-25T10:00:03.123456Z\",\"bytes\":\"+1.0 V\"," \
	"\"fault\":\"good\",\"said\":\"readings\",\"shown\":[\"1.0 V\"],\"why\":\"\"}"
	const char *script[LINES_MOST] = {HELLO, RESULT("{}"), NEWS("frame", FRAME), "!close"};
	struct run r = run_script(NULL, script, CLIENT("meters", "raw", "red", "--json"));
	assert_string_equal(r.out, FRAME "\n");
	assert_int_equal(r.status, 3);
	run_free(&r);
	r = run_script(NULL, script, CLIENT("meters", "raw", "red"));
	assert_string_equal(r.out, "10:00:03  \"+1.0 V\"                      1.0 V\n");
	expect(heard(), "{\"meter\":\"red\"}", "what was asked");
	run_free(&r);
}

/* ---- output ---- */

static void test_full_disk(void **state)
{
	(void)state;
	struct client c = client_for(fopen("/dev/full", "w"), NULL);
	if (!c.out)
		skip();
	struct run r = run_script(&c, SCRIPT(HELLO, RESULT("{\"job\":null}")),
	                          CLIENT("status", "--json"));
	assert_int_equal(r.status, 4);
	expect(r.err, "standard output cannot be written: No space left", "standard error");
	fclose(c.out);
	run_free(&r);
}

static void test_help(void **state)
{
	(void)state;
	struct run r = run_client(NULL, CLIENT("--help"));
	assert_int_equal(r.status, 0);
	expect(r.out, "Valve equipment kills", "standard output");
	assert_string_equal(r.err, "");
	run_free(&r);
	for (int i = 0; i < command_count; i++) {
		char first[32] = "", *second;
		snprintf(first, sizeof first, "%s", command_table[i].verb);
		second = strchr(first, ' ');
		if (second)
			*second++ = '\0';
		note_row("%s", command_table[i].verb);
		r = second ? run_client(NULL, CLIENT(first, second, "--help"))
		           : run_client(NULL, CLIENT(first, "--help"));
		assert_int_equal(r.status, 0);
		expect(r.out, "use: tally", "standard output");
		assert_string_equal(r.err, "");
		assert_null(strchr(r.out, '\033'));
		run_free(&r);
	}
	r = run_client(NULL, CLIENT(NULL));
	assert_int_equal(r.status, 2);
	assert_string_equal(r.out, "");
	run_free(&r);
	r = run_client(NULL, CLIENT("help", "enter"));
	assert_int_equal(r.status, 0);
	expect(r.out, "--from NAME", "standard output");
	run_free(&r);
	r = run_client(NULL, CLIENT("help", "nothing"));
	assert_int_equal(r.status, 2);
	run_free(&r);
	r = run_client(NULL, CLIENT("--version"));
	assert_int_equal(r.status, 0);
	assert_ptr_equal(strstr(r.out, "tally "), r.out);
	run_free(&r);
}

/* ---- judge ---- */

static double number(const char *json, const char *path_of)
{
	double x = NAN;
	json_number(json_member(json, strlen(json), path_of), &x);
	return x;
}

/* Common practice, no source: parts of old amplifiers and what a meter of 1 % + 3
 * (the resistors 0.5 % + 2) says of them. */
static const struct judge_row {
	const char *nominal, *tolerance, *value, *accuracy, *verdict;
	int status;
	double deviation;
} judge_rows[] = {
	{"0.47 uF", "10%", "0.56 uF", "1.0% + 3", "outside", 1, 0.191489},
	{"0.01u", "10%", "0.02u", "1.0% + 0", "outside", 1, 1},
	{"0.01 uF", "10%", "0.15 uF", "1.0% + 3", "outside", 1, 14},
	{"0.25uF", "+-10%", "0.345uF", "1.0% + 3", "outside", 1, 0.38},
	{"0.1u", "10%", "0.45u", "1.0% + 3", "outside", 1, 3.5},
	{"0.33 uF", "10%", "331 nF", "1.0% + 3", "within", 0, 0.0030303},
	{"470n", "10%", "469n", "1.0% + 3", "within", 0, -0.00212766},
	{"100k", "1%", "100.2k", "0.1% + 2", "within", 0, 0.002},
	{"100k", "1%", "101.5k", "0.1% + 2", "outside", 1, 0.015},
	{"100k", "1%", "101.0k", "0.1% + 2", "unsure", 0, 0.01},
	{"-35 V", "10%", "-35.5 V", "0.5% + 1", "within", 0, 0.0142857},
	{"-35 V", "10%", "-42.0 V", "0.5% + 1", "outside", 1, 0.2},
	{"0 V", "+-2 V", "0.5 V", "0.5% + 1", "within", 0, NAN},
	{"-", ">=20M", "25.0M", "1% + 2", "within", 0, NAN},
	{"-", ">=20M", "OL", "1% + 2", "unsure", 0, NAN},
	{"-", ">=20M", ">40M", "1% + 2", "within", 0, NAN},
	{"100k", "5%", "OL", "1% + 2", "outside", 1, NAN},
	{"8u", "-20/+80%", "13.0u", "1% + 3", "within", 0, 0.625},
};

static void test_judge(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof judge_rows / sizeof judge_rows[0]; i++) {
		const struct judge_row *row = &judge_rows[i];
		char word[32];
		size_t where;
		note_row("%s %s %s", row->nominal, row->tolerance, row->value);
		struct run r = run_client(NULL, CLIENT("judge", row->nominal, row->tolerance, row->value,
		                                       "--accuracy", row->accuracy, "--json"));
		assert_string_equal(r.err, "");
		r.out[strcspn(r.out, "\n")] = '\0';
		assert_true(json_valid(r.out, strlen(r.out), &where));
		json_text(json_member(r.out, strlen(r.out), "verdict"), word, sizeof word);
		assert_string_equal(word, row->verdict);
		assert_int_equal(r.status, row->status);
		if (isnan(row->deviation))
			assert_true(isnan(number(r.out, "deviation")));
		else
			assert_near_relative(number(r.out, "deviation"), row->deviation, 1e-5);
		/* The members that scripts rely on. */
		static const char *const members[] = {"side", "reason", "probability", "limits", "u"};
		for (size_t k = 0; k < sizeof members / sizeof members[0]; k++)
			assert_non_null(json_member(r.out, strlen(r.out), members[k]).at);
		run_free(&r);
	}
}

/* u: JCGM 100:2008 4.3.7 for the accuracy statement, F.2.2.1 for the step of the
 * display; limits exact. */
static void test_judge_numbers(void **state)
{
	(void)state;
	struct run r = run_client(NULL, CLIENT("judge", "0.345 uF", "10%", "0.350uF", "--accuracy",
	                                       "1% + 3", "--json"));
	double a = 0.01 * 0.35e-6 + 3 * 1e-9;
	assert_near_relative(number(r.out, "u"), sqrt(a * a / 3 + 1e-18 / 12), 1e-5);
	expect(r.out, "\"limits\":[3.105e-07,3.795e-07]", "standard output");
	run_free(&r);
	r = run_client(NULL, CLIENT("judge", "0.345 uF", "10%", "0.350uF", "--accuracy", "1% + 3",
	                            "--digit", "0.1n", "--json"));
	a = 0.01 * 0.35e-6 + 3 * 1e-10;
	assert_near_relative(number(r.out, "u"), sqrt(a * a / 3 + 1e-20 / 12), 1e-5);
	run_free(&r);
	/* Without an accuracy: a pessimistic class, and it is said. */
	r = run_client(NULL, CLIENT("judge", "470k", "10%", "512k"));
	expect(r.out, "accuracy     assumed: ", "standard output");
	run_free(&r);
	r = run_client(NULL, CLIENT("judge", "470k", "10%", "512k", "--json"));
	expect(r.out, "\"accuracy\":\"assumed\"", "standard output");
	assert_true(number(r.out, "u") > 1000 / sqrt(12));
	run_free(&r);
	r = run_client(NULL, CLIENT("judge", "470k", "10%", "612k", "--accuracy", "0.5% + 2"));
	assert_int_equal(r.status, 1);
	assert_string_equal(r.out, "outside, 30.2 % high\n"
	                           "value        612 kohm +- 5.9 kohm (U = 2 u)\n"
	                           "limits       423 to 517 kohm\n"
	                           "probability  0.0 % that it lies within\n"
	                           "accuracy     0.5% + 2\n");
	run_free(&r);
}

static void test_judge_refused(void **state)
{
	(void)state;
	static const struct { const char *argv[ARGV_MOST], *says; } rows[] = {
		{{"judge", "100q", "5%", "98k"}, "NOMINAL \"100q\""},
		{{"judge", "100k", "5q", "98k"}, "TOLERANCE \"5q\""},
		{{"judge", "100k", "5%", "9,8k"}, "VALUE \"9,8k\""},
		{{"judge", "100 kohm", "5%", "98 nF"}, "VALUE \"98 nF\""},
		{{"judge", "-", "5%", "98k"}, "without a nominal"},
		{{"judge", "100k", "5%", "98k", "--accuracy", "-1%"}, "--accuracy \"-1%\""},
		{{"judge", "100k", "5%", "98k", "--digit", "0"}, "more than 0"},
		{{"judge", "100k", "5%", "98k", "--digit", "x"}, "--digit \"x\""},
		{{"judge", "100k", "5%", ">x"}, "VALUE \">x\""},
		{{"judge", "100k", "5%", ""}, "VALUE \"\""},
	};
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		note_row("%zu", i);
		struct run r = run_client(NULL, rows[i].argv);
		assert_int_equal(r.status, 2);
		assert_string_equal(r.out, "");
		expect(r.err, rows[i].says, "standard error");
		run_free(&r);
	}
}

/* ---- the frame of it all ---- */

/* `--serve FILE`: the daemon of a file is this program, and the file its script. */
static int serve(const char *file)
{
	static char lines[LINES_MOST][4096];
	const char *script[LINES_MOST] = {NULL};
	FILE *f = fopen(file, "r");
	for (int i = 0; f && i < LINES_MOST && fgets(lines[i], sizeof lines[i], f); i++) {
		lines[i][strcspn(lines[i], "\n")] = '\0';
		script[i] = lines[i];
	}
	talk(0, 1, script, -1);
	return 0;
}

static int set_up(void **state)
{
	(void)state;
	strcpy(place, "/tmp/tally-client-XXXXXX");
	if (!mkdtemp(place))
		return -1;
	snprintf(path, sizeof path, "%s/sock", place);
	return 0;
}

static int tear_down(void **state)
{
	static const char *const files[] = {"sock", HEARD, "log", "s.csv"};
	char file[128];
	(void)state;
	for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
		snprintf(file, sizeof file, "%s/%s", place, files[i]);
		unlink(file);
	}
	return rmdir(place);
}

int main(int argc, char **argv)
{
	if (argc == 3 && strcmp(argv[1], "--serve") == 0)
		return serve(argv[2]);
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_verbs),
		cmocka_unit_test(test_hello_first),
		cmocka_unit_test(test_fault_place),
		cmocka_unit_test(test_pages),
		cmocka_unit_test(test_bad_answers),
		cmocka_unit_test(test_flood),
		cmocka_unit_test(test_not_there),
		cmocka_unit_test(test_file),
		cmocka_unit_test(test_program_missing),
		cmocka_unit_test(test_sheet_load),
		cmocka_unit_test(test_sheet_set_words),
		cmocka_unit_test(test_watch_texts),
		cmocka_unit_test(test_watch_words),
		cmocka_unit_test(test_watch_reader_gone),
		cmocka_unit_test(test_tape),
		cmocka_unit_test(test_raw),
		cmocka_unit_test(test_full_disk),
		cmocka_unit_test(test_help),
		cmocka_unit_test(test_judge),
		cmocka_unit_test(test_judge_numbers),
		cmocka_unit_test(test_judge_refused),
	};
	return cmocka_run_group_tests(tests, set_up, tear_down);
}

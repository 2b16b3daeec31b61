/* SPDX-License-Identifier: MIT */
/*
 * The daemon under a service manager: READY, signs of life, sockets that it is given, and the
 * journal.  The manager is this test: a datagram socket, listening sockets, variables.
 *
 * Sources: sd_notify(3) for NOTIFY_SOCKET and its lines, sd_listen_fds(3) for LISTEN_*,
 * systemd's "Native Journal Protocol" for the journal's datagrams.
 */
#include "tests/daemon_stand.h"

#include <sys/ptrace.h>

/* ---- the manager's ears ---- */

static int datagram_socket(struct stand *s, const char *name)
{
	struct sockaddr_un a = { .sun_family = AF_UNIX };
	snprintf(a.sun_path, sizeof a.sun_path, "%s", in_dir(s, name));
	int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
	assert_true(fd >= 0);
	unlink(a.sun_path);
	assert_int_equal(bind(fd, (struct sockaddr *)&a, sizeof a), 0);
	return fd;
}

/* The next datagram within `ms`, or NULL; static. */
static const char *hear(int fd, int ms)
{
	static char text[8192];
	struct pollfd p = { .fd = fd, .events = POLLIN };
	if (poll(&p, 1, ms) != 1)
		return NULL;
	ssize_t n = recv(fd, text, sizeof text - 1, 0);
	if (n < 0)
		return NULL;
	text[n] = '\0';
	return text;
}

static const char *musthear(struct stand *s, int fd, const char *fragment)
{
	const char *text;
	double until = now_s() + WAIT_MS / 1000.0;
	while (now_s() < until)
		if ((text = hear(fd, 200)) && strstr(text, fragment))
			return text;
	show_said(s);
	fail_msg("the manager heard nothing of %s", fragment);
	return NULL;
}

static int signs_of_life(int fd, double seconds)
{
	int n = 0;
	double until = now_s() + seconds;
	while (now_s() < until) {
		const char *text = hear(fd, 20);
		n += text && strstr(text, "WATCHDOG=1");
	}
	return n;
}

static void drain(int fd)
{
	while (hear(fd, 0))
		;
}

/* ---- ready, reloading, stopping ---- */

static void test_ready(void **state)
{
	struct stand *s = *state;
	int ear = datagram_socket(s, "notify");
	setenv("NOTIFY_SOCKET", in_dir(s, "notify"), 1);
	config_write(s);
	s->daemon = daemon_launch(s, (const char *[]){ "--config", s->config, NULL }, s->said);
	/* It says what it does before it is ready, and is ready only when it can be asked. */
	const char *text;
	while (!(text = hear(ear, WAIT_MS)) || !strstr(text, "READY=1"))
		assert_non_null(text);
	assert_non_null(strstr(text, "STATUS=bench stand: 0 of 0 meters"));
	struct peer *p = peer_greeted(s); /* fails where it does not listen yet */
	assert_int_equal(signs_of_life(ear, 0.3), 0); /* nobody asked for any */

	assert_int_equal(kill(s->daemon, SIGHUP), 0);
	const char *reloading = musthear(s, ear, "RELOADING=1");
	long long at = 0;
	assert_non_null(strstr(reloading, "MONOTONIC_USEC="));
	assert_int_equal(sscanf(strstr(reloading, "MONOTONIC_USEC="), "MONOTONIC_USEC=%lld", &at), 1);
	assert_near((double)at / 1e6, now_s(), 5);
	musthear(s, ear, "READY=1");
	/* The same where the configuration cannot be taken: it goes on with the old one. */
	file_write(s->config, "[bench]\nname = stand\nsockets = x\n");
	assert_int_equal(kill(s->daemon, SIGHUP), 0);
	musthear(s, ear, "RELOADING=1");
	musthear(s, ear, "READY=1");
	wait_until(s, file_has(s->said, "bench.conf:3:1: unknown key `sockets`"));
	mustsend(p, CALL("1", "status", "{}"));
	mustsee(p, "\"id\":1,\"result\"");

	assert_int_equal(kill(s->daemon, SIGTERM), 0);
	musthear(s, ear, "STOPPING=1");
	assert_int_equal(child_wait(s, s->daemon), 0);
	unsetenv("NOTIFY_SOCKET");
	close(ear);
}

/* A daemon that cannot begin is never ready. */
static void test_not_ready(void **state)
{
	struct stand *s = *state;
	int ear = datagram_socket(s, "notify");
	setenv("NOTIFY_SOCKET", in_dir(s, "notify"), 1);
	config_write(s);
	file_write(s->log, "this is no log\n");
	s->daemon = daemon_launch(s, (const char *[]){ "--config", s->config, NULL }, s->said);
	assert_int_equal(child_wait(s, s->daemon), 2);
	for (const char *text; (text = hear(ear, 0));)
		assert_null(strstr(text, "READY=1"));
	unsetenv("NOTIFY_SOCKET");
	close(ear);
}

/* Addresses of the manager's socket: an abstract one, and what nobody can mean. */
static void test_addresses(void **state)
{
	struct stand *s = *state;
	struct sockaddr_un a = { .sun_family = AF_UNIX };
	char name[80];
	snprintf(name, sizeof name, "@tally-test-%ld", (long)getpid());
	snprintf(a.sun_path, sizeof a.sun_path, "%s", name);
	a.sun_path[0] = '\0';
	int ear = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
	socklen_t size = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + strlen(name));
	assert_int_equal(bind(ear, (struct sockaddr *)&a, size), 0);
	setenv("NOTIFY_SOCKET", name, 1);
	daemon_start(s);
	musthear(s, ear, "READY=1");
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	close(ear);
	static const char *const nobody[] = { "", "/", "relative", "@", "/nowhere/at/all" };
	for (size_t i = 0; i < sizeof nobody / sizeof *nobody; i++) {
		setenv("NOTIFY_SOCKET", nobody[i], 1);
		setenv("WATCHDOG_USEC", i % 2 ? "100000" : "soon", 1);
		daemon_start(s);
		assert_int_equal(daemon_stop(s, SIGTERM), 0);
	}
	unsetenv("NOTIFY_SOCKET");
	unsetenv("WATCHDOG_USEC");
}

/* ---- signs of life ---- */

/* The thread of a process with that name; 0 for none. */
static pid_t thread_named(pid_t pid, const char *name)
{
	char path[64];
	pid_t found = 0;
	snprintf(path, sizeof path, "/proc/%d/task", (int)pid);
	DIR *dir = opendir(path);
	for (struct dirent *e; dir && (e = readdir(dir));) {
		char comm[128];
		snprintf(comm, sizeof comm, "%.60s/%.20s/comm", path, e->d_name);
		char *text = file_text(comm);
		if (!strncmp(text, name, strlen(name)) && text[strlen(name)] == '\n')
			found = (pid_t)strtol(e->d_name, NULL, 10);
		free(text);
	}
	if (dir)
		closedir(dir);
	return found;
}

static bool thread_halt(pid_t tid)
{
	int status;
	if (ptrace(PTRACE_SEIZE, tid, NULL, NULL))
		return false;
	return !ptrace(PTRACE_INTERRUPT, tid, NULL, NULL) && waitpid(tid, &status, __WALL) == tid;
}

/* Only where the loop and the log's thread both go on is a sign given. */
static void test_watchdog(void **state)
{
	struct stand *s = *state;
	int ear = datagram_socket(s, "notify");
	setenv("NOTIFY_SOCKET", in_dir(s, "notify"), 1);
	setenv("WATCHDOG_USEC", "400000", 1);
	daemon_start(s);
	musthear(s, ear, "READY=1");
	unsetenv("NOTIFY_SOCKET");
	unsetenv("WATCHDOG_USEC");
	/* Four times as often as it is wanted. */
	int signs = signs_of_life(ear, 2);
	print_message("   %d signs of life in 2 s of the 5 wanted\n", signs);
	assert_true(signs >= 8 && signs <= 21);

	const pid_t threads[] = { thread_named(s->daemon, "tally-log"), s->daemon };
	for (size_t i = 0; i < 2; i++) {
		assert_true(threads[i] > 0);
		if (!thread_halt(threads[i])) {
			print_message("   a thread cannot be halted here (%s): not tried\n", strerror(errno));
			break;
		}
		drain(ear);
		/* One that was on its way already. */
		assert_true(signs_of_life(ear, 1) <= 1);
		assert_int_equal(ptrace(PTRACE_DETACH, threads[i], NULL, NULL), 0);
		assert_true(signs_of_life(ear, 1) >= 3);
	}
	wait_until(s, file_has(s->said, "the log's thread gives no sign of life"));
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	close(ear);
}

/* ---- sockets that it is given ---- */

struct given {
	int fd[3];
	int count;
	const char *names; /* LISTEN_FDNAMES; NULL for none */
	bool other_pid;    /* they are meant for somebody else */
};

static int listening(const char *path, int type)
{
	struct sockaddr_un a = { .sun_family = AF_UNIX };
	snprintf(a.sun_path, sizeof a.sun_path, "%s", path);
	int fd = socket(AF_UNIX, type | SOCK_CLOEXEC, 0);
	assert_true(fd >= 0);
	unlink(path);
	assert_int_equal(bind(fd, (struct sockaddr *)&a, sizeof a), 0);
	if (type == SOCK_STREAM)
		assert_int_equal(listen(fd, 128), 0);
	return fd;
}

/* tallyd with those descriptors as 3, 4 ..., as a service manager starts it. */
static pid_t launch_with(struct stand *s, const struct given *g)
{
	char program[PATH_MAX], number[16];
	snprintf(program, sizeof program, "%s/tallyd", build_dir());
	pid_t parent = getpid(), pid = fork();
	assert_true(pid >= 0);
	if (pid == 0) {
		int high[3], err = open(s->said, O_WRONLY | O_CREAT | O_APPEND, 0600);
		prctl(PR_SET_PDEATHSIG, SIGKILL);
		for (int i = 0; i < g->count; i++)
			high[i] = fcntl(g->fd[i], F_DUPFD, 100);
		for (int i = 0; i < g->count; i++)
			dup2(high[i], 3 + i);
		for (int i = 0; i < g->count; i++)
			close(high[i]);
		dup2(err, 2);
		snprintf(number, sizeof number, "%ld", (long)(g->other_pid ? getppid() : getpid()));
		setenv("LISTEN_PID", number, 1);
		snprintf(number, sizeof number, "%d", g->count);
		setenv("LISTEN_FDS", number, 1);
		if (g->names)
			setenv("LISTEN_FDNAMES", g->names, 1);
		if (getppid() == parent)
			execl(program, program, "--config", s->config, (char *)NULL);
		_exit(127);
	}
	s->child[s->children++] = pid;
	return pid;
}

static bool answers(struct stand *s, const char *path, const char *call, const char *expected)
{
	char own[96];
	snprintf(own, sizeof own, "%s", s->socket);
	snprintf(s->socket, sizeof s->socket, "%s", path);
	struct peer *p = peer_greeted(s);
	snprintf(s->socket, sizeof s->socket, "%s", own);
	mustsend(p, call);
	const char *line = peer_line(p, WAIT_MS);
	bool good = line && strstr(line, expected);
	peer_free(p);
	return good;
}

static void test_given(void **state)
{
	/* Which descriptor is whose: b for the bench's, v for the viewers'. */
	static const struct { const char *legend, *order, *names; } rows[] = {
	    {"one, without a name", "b", NULL},
	    {"one, named", "b", "bench"},
	    {"two, in order", "bv", NULL},
	    {"two, named, in order", "bv", "bench:viewers"},
	    {"two, named, the other way about", "vb", "viewers:bench"},
	    {"two, one of them named after its unit", "vb", "viewers:tallyd.socket"},
	};
	struct stand *s = *state;
	const char *bench = in_dir(s, "given.sock"), *view = in_dir(s, "view.sock");
	config_write(s);
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct given g = { .names = rows[i].names };
		print_message("row: %s\n", rows[i].legend);
		for (const char *o = rows[i].order; *o; o++)
			g.fd[g.count++] = listening(*o == 'b' ? bench : view, SOCK_STREAM);
		pid_t pid = launch_with(s, &g);
		char call[128];
		snprintf(call, sizeof call, CALL("1", "job.start", "{\"name\":\"job %zu\"}"), i);
		assert_true(answers(s, bench, call, "\"seq\":"));
		if (g.count > 1)
			assert_true(answers(s, view, CALL("1", "job.close", "{}"), "for looking only"));
		assert_int_equal(child_stop(s, pid, SIGTERM), 0);
		/* They are the manager's: it does not remove them, nor make its own. */
		assert_int_equal(access(bench, F_OK), 0);
		assert_int_not_equal(access(s->socket, F_OK), 0);
		for (int k = 0; k < g.count; k++)
			close(g.fd[k]);
	}
}

static void test_given_wrong(void **state)
{
	struct stand *s = *state;
	const char *bench = in_dir(s, "given.sock"), *other = in_dir(s, "other.sock");
	config_write(s);
	int stream = listening(bench, SOCK_STREAM), second = listening(other, SOCK_STREAM);
	int third = listening(in_dir(s, "third.sock"), SOCK_STREAM);
	int datagram = listening(in_dir(s, "datagram"), SOCK_DGRAM);
	int file = open("/dev/null", O_RDWR | O_CLOEXEC);
	const struct { const char *legend, *says; struct given given; } rows[] = {
	    {"a file", "no listening Unix stream socket", {{file}, 1, NULL, false}},
	    {"a datagram socket", "no listening Unix stream socket", {{datagram}, 1, NULL, false}},
	    {"a good one and a file", "no listening", {{stream, file}, 2, NULL, false}},
	    {"three", "more sockets than one", {{stream, second, third}, 3, NULL, false}},
	    {"two for viewers", "more sockets than one", {{stream, second}, 2, "viewers:viewers", false}},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		print_message("row: %s\n", rows[i].legend);
		unlink(s->said);
		assert_int_equal(child_wait(s, launch_with(s, &rows[i].given)), 2);
		assert_true(file_has(s->said, rows[i].says));
	}
	/* Meant for another process: it makes its own. */
	struct given g = { {stream}, 1, NULL, true };
	pid_t pid = launch_with(s, &g);
	int fd;
	wait_until(s, (fd = socket_connect(s->socket)) >= 0);
	close(fd);
	assert_int_equal(child_stop(s, pid, SIGTERM), 0);
	close(stream);
	close(second);
	close(third);
	close(datagram);
	close(file);
}

/* Two hundred restarts; somebody connects at once each time, before the new daemon can be
 * there, and every one of them is answered. */
static void test_restart(void **state)
{
	struct stand *s = *state;
	const char *bench = in_dir(s, "given.sock");
	struct given g = { {listening(bench, SOCK_STREAM)}, 1, "bench", false };
	int refused = 0, answered = 0, times = is_sanitized() ? 20 : 200;
	double began = now_s();
	config_write(s);
	snprintf(s->socket, sizeof s->socket, "%s", bench);
	pid_t pid = launch_with(s, &g);
	for (int i = 0; i < times; i++) {
		int status;
		assert_int_equal(kill(pid, SIGTERM), 0);
		/* Half of them while no daemon is there at all. */
		if (i % 2)
			assert_int_equal(child_wait(s, pid), 0);
		else
			wait_until(s, (status = child_ended(s, pid)) >= 0);
		int fd = socket_connect(bench);
		refused += fd < 0;
		if (fd >= 0)
			close(fd);
		struct peer *p = peer_new(s);
		mustsend(p, HELLO);
		pid = launch_with(s, &g);
		answered += mustsee(p, "\"id\":0,\"result\":{\"protocol\":1,") != NULL;
		peer_free(p);
	}
	print_message("   %d restarts in %.1f s: %d refused, %d answered\n", times, now_s() - began,
	              refused, answered);
	assert_int_equal(refused, 0);
	assert_int_equal(answered, times);
	assert_int_equal(child_stop(s, pid, SIGTERM), 0);
	close(g.fd[0]);
}

/* A client that comes at any moment of a restart gets its answer, too: accepted by the daemon that
 * ends, or before its question was read, it asks the next one. */
static void test_restart_asked(void **state)
{
	struct stand *s = *state;
	const char *bench = in_dir(s, "given.sock"), *out = in_dir(s, "out"), *err = in_dir(s, "err");
	struct given g = { {listening(bench, SOCK_STREAM)}, 1, "bench", false };
	config_write(s);
	setenv("TALLY_SOCKET", bench, 1);
	pid_t pid = launch_with(s, &g);
	for (int i = 0; i < 40; i++) {
		unlink(err);
		pid_t client = tally_start(s, (const char *[]){ "status", NULL }, out, err);
		nap_ms(i % 10);
		/* One that has hardly begun is ended by the signal itself. */
		int ended = child_stop(s, pid, SIGTERM);
		assert_true(ended == 0 || ended == 128 + SIGTERM);
		pid = launch_with(s, &g);
		int status = child_wait(s, client);
		if (status > 1) {
			char *text = file_text(err);
			fail_msg("restart %d, after %d ms: status %d: %s", i, i % 10, status, text);
		}
	}
	child_stop(s, pid, SIGTERM);
	close(g.fd[0]);
}

/* ---- the journal ---- */

/* The value of a field in a datagram of the journal; "" where it is not there. */
static const char *field(const char *datagram, const char *key)
{
	static char value[1024];
	char begins[64];
	snprintf(begins, sizeof begins, "%s=", key);
	for (const char *at = datagram; at; at = strchr(at, '\n') ? strchr(at, '\n') + 1 : NULL)
		if (!strncmp(at, begins, strlen(begins))) {
			snprintf(value, sizeof value, "%.*s", (int)strcspn(at + strlen(begins), "\n"),
			         at + strlen(begins));
			return value;
		}
	return "";
}

static void journal_set(struct stand *s, const char *path)
{
	struct stat st;
	char stream[64];
	close(open(s->said, O_WRONLY | O_CREAT | O_APPEND, 0600));
	assert_int_equal(stat(s->said, &st), 0);
	snprintf(stream, sizeof stream, "%llu:%llu", (unsigned long long)st.st_dev,
	         (unsigned long long)st.st_ino);
	setenv("JOURNAL_STREAM", stream, 1);
	setenv("TALLY_JOURNAL", path, 1);
}

static void test_journal(void **state)
{
	struct stand *s = *state;
	int ear = datagram_socket(s, "journal"), lines = 0, red_lines = 0;
	int red = meter_new(s, "red", 20, ""), blue = meter_new(s, "blue", 20, "");
	const char *text;
	journal_set(s, in_dir(s, "journal"));
	meter_plug(s, red);
	meter_plug(s, blue);
	meter_says(s, blue, "+1.00 kOhm");
	daemon_start(s);
	text = musthear(s, ear, "TALLY_EVENT=line-open\nMETER=red");
	assert_string_equal(field(text, "PRIORITY"), "6");
	assert_string_equal(field(text, "SYSLOG_IDENTIFIER"), "tallyd");
	assert_string_equal(field(text, "PORT"), "/dev/ttyTEST0");
	assert_non_null(strstr(field(text, "MESSAGE"), "red: line open at /dev/ttyTEST0"));
	/* A joint that is loose: a line each time it goes and comes would be seventeen. */
	struct peer *watch = peer_watching(s, -1);
	for (int i = 0; i < 8; i++) {
		meter_unplug(s, red);
		mustsee(watch, "{\"event\":\"gone\"");
		meter_plug(s, red);
		mustsee(watch, "{\"event\":\"back\"");
	}
	meter_unplug(s, red);
	/* The other meter is heard of all the same. */
	meter_unplug(s, blue);
	for (bool gone = false; !gone && (text = hear(ear, WAIT_MS));) {
		lines++;
		red_lines += !strcmp(field(text, "METER"), "red");
		gone = strstr(text, "TALLY_EVENT=line-gone\nMETER=blue") != NULL;
	}
	assert_non_null(text);
	assert_string_equal(field(text, "PRIORITY"), "4");
	print_message("   %d lines, %d of the meter that flaps\n", lines, red_lines);
	/* With the one above nine of a minute; the tenth will be the count of the others. */
	assert_int_equal(red_lines, 8);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	/* Nothing of it went to standard error as well. */
	assert_false(file_has(s->said, "line open"));

	/* The journal does not take it: standard error, with the priority before it. */
	close(ear);
	unlink(in_dir(s, "journal"));
	daemon_start(s);
	assert_true(file_has(s->said, "<5>bench stand: 2 meters"));
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	unsetenv("JOURNAL_STREAM");
	unsetenv("TALLY_JOURNAL");
	/* Not the journal at all. */
	daemon_start(s);
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
	assert_true(file_has(s->said, "tallyd: bench stand: 2 meters"));
}

/* ---- how it stands ---- */

static void must_say(struct stand *s, int status, const char *fragment)
{
	struct answer a = tally(s, "status");
	if (a.status != status || !strstr(a.out, fragment))
		fail_msg("status %d and %s were expected, not %d:\n%s%s", status, fragment, a.status, a.out,
		         a.err);
	answer_free(&a);
}

static void test_status(void **state)
{
	struct stand *s = *state;
	int red = meter_new(s, "red", 20, "");
	daemon_start(s);
	must_say(s, 1, "meter red is absent");
	must_say(s, 1, "tally doctor red");
	meter_plug(s, red);
	meter_says(s, red, "+1.00 kOhm");
	wait_until(s, tally_status(s, "status") == 0);
	must_say(s, 0, "nothing is wrong");
	must_say(s, 0, "backlog      nothing waits");
	must_say(s, 0, "clients      1 at the bench, 0 viewers");
	struct answer a = tally(s, "--json", "status");
	json_t *all = json_loads(a.out, 0, NULL), *service = json_object_get(all, "service");
	assert_non_null(service);
	assert_string_equal(json_string_value(json_object_get(all, "health")), "good");
	static const char *const members[] = { "daemon", "meters", "log", "disk", "checkpoint", "clock",
		                                   "clients", "findings", "ok" };
	for (size_t i = 0; i < sizeof members / sizeof *members; i++)
		assert_non_null(json_object_get(service, members[i]));
	json_int_t pid = json_integer_value(json_object_get(json_object_get(service, "daemon"), "pid"));
	assert_true(pid > 0 && kill((pid_t)pid, 0) == 0);
	json_decref(all);
	answer_free(&a);
	/* For screen readers and scripts: a label, a colon, and no column. */
	a = tally(s, "--plain", "status");
	assert_non_null(strstr(a.out, "\nbacklog: nothing waits\n"));
	assert_non_null(strstr(a.out, "\nred: listened to at /dev/ttyTEST0, "));
	assert_null(strchr(a.out, '\033'));
	answer_free(&a);
	/* The configuration was changed, and nobody has said so to the daemon. */
	nap_ms(20);
	config_write(s);
	must_say(s, 0, "tally reload");
	assert_int_equal(tally_status(s, "reload"), 0);
	must_say(s, 0, "nothing is wrong");
	/* Danger is no fault of the service, and nobody who asks is told that all is well. */
	for (int i = 0; i < 3; i++)
		meter_says(s, red, "312.4 V DC");
	wait_until(s, tally_status(s, "status") == 1);
	must_say(s, 1, "DANGER       LIVE: red reads 312.4 V on a unit that is said to be cold");
	must_say(s, 1, "all in all   DANGER");
	for (int i = 0; i < 3; i++)
		meter_says(s, red, "0.001 V DC");
	wait_until(s, tally_status(s, "status") == 0);
	must_say(s, 0, "nothing is wrong");
	assert_int_equal(daemon_stop(s, SIGTERM), 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    on_stand(test_ready),   on_stand(test_not_ready),   on_stand(test_addresses),
	    on_stand(test_watchdog), on_stand(test_given),      on_stand(test_given_wrong),
	    on_stand(test_restart), on_stand(test_restart_asked), on_stand(test_journal),     on_stand(test_status),
	};
	return run_on_stand(tests);
}

/* SPDX-License-Identifier: MIT */
/*
 * The whole program on a stand: meters on pseudo-terminals, tallyd as a process of
 * its own in a fresh folder (through demo/adapters), the client as people run it,
 * and connections that talk to the socket, for tests that read like a conversation:
 *
 *     meter_says(red, "+101.2 kOhm");
 *     mustsee(watch, "\"event\":\"logged\"");
 *     mustsend(p, CALL("1", "status", "{}"));
 *
 * The meters run on one thread of the test.  They share no code with the daemon: a
 * talking one writes its line so many times a second, an asked one answers lines
 * that it compares letter by letter.
 *
 * Nothing here sleeps for a guess.  What is waited for is a condition, looked at
 * every few milliseconds, and what does not come within WAIT_MS is a failure.  Every
 * process that was started is killed at the end of a test, failed or not, and dies
 * with the test program if that is killed.
 */
#ifndef TALLY_TESTS_DAEMON_STAND_H
#define TALLY_TESTS_DAEMON_STAND_H

#include "tests/check.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <jansson.h>
#include <limits.h>
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <stdbool.h>
#include <stdlib.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#define WAIT_MS 20000
#define METERS_MAX 20
#define PEERS_MAX 64
#define CHILDREN_MAX 64
#define PATHS_MAX 64
#define IDENTITY "TEST ROOM,SIX DIGITS,0042,1.0"

#define CALL(id, method, params) \
	"{\"jsonrpc\":\"2.0\",\"id\":" id ",\"method\":\"" method "\",\"params\":" params "}"
#define HELLO CALL("0", "hello", "{\"protocol\":1,\"client\":\"test\"}")

/* ---- meters ---- */

struct sim {
	char name[16];
	const char *link;    /* to its pty, while it is plugged */
	char serial[16];     /* of its adapter: the name, where nothing else is said */
	bool spare;          /* an adapter alone: the configuration does not know it */
	bool asked;
	double period, next; /* seconds, of a talking one */
	char says[64];       /* its line without the end; "" for silence */
	char dial[32];       /* what it answers to FUNC?; "" for nothing */
	bool wander;         /* it reads another value each time */
	unsigned conversion;
	int master;          /* -1 while it is unplugged */
	size_t got;          /* bytes that ever came over its line to the meter */
	size_t said;         /* lines that it wrote */
	char line[256];      /* a question that is coming in */
	size_t len;
	char asked_last[256];
};

struct stand {
	char dir[64], config[96], log[96], socket[96], said[96];
	char extra[512];     /* lines for [bench] */
	struct sim sim[METERS_MAX];
	char about[METERS_MAX][400]; /* lines of its section beside port and dialect */
	int sims;
	pthread_t thread;
	pthread_mutex_t lock;
	bool running;        /* the thread */
	pid_t daemon;        /* 0: none */
	const char *wrap[24]; /* words before tallyd, NULL at the end */
	pid_t child[CHILDREN_MAX];
	int children;
	struct peer *peer[PEERS_MAX];
	int peers;
	char path[PATHS_MAX][128];
	int paths;
};

static inline double now_s(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static inline void nap_ms(int ms)
{
	struct timespec t = { ms / 1000, ms % 1000 * 1000000L };
	nanosleep(&t, NULL);
}

static inline const char *build_dir(void)
{
	const char *b = getenv("TALLY_BUILD");
	return b && b[0] ? b : "build";
}

static inline void sim_write(struct sim *m, const char *text)
{
	char line[128];
	int n = snprintf(line, sizeof line, "%s%s", text, m->asked ? "\n" : "\r\n");
	if (write(m->master, line, (size_t)n) == n)
		m->said++;
}

static inline void sim_answer(struct sim *m)
{
	snprintf(m->asked_last, sizeof m->asked_last, "%s", m->line);
	if (!strcmp(m->line, "*IDN?"))
		sim_write(m, IDENTITY);
	else if (!strcmp(m->line, "SYST:ERR?") || !strcmp(m->line, "SYSTem:ERRor?"))
		sim_write(m, "0,\"No error\"");
	else if (!strcmp(m->line, "FUNC?") && m->dial[0])
		sim_write(m, m->dial);
	else if (!strcmp(m->line, "READ?") && m->says[0])
		sim_write(m, m->says);
}

static inline void sim_turn(struct sim *m, double now)
{
	char bytes[256];
	ssize_t n;
	if (m->master < 0)
		return;
	while ((n = read(m->master, bytes, sizeof bytes)) > 0) {
		m->got += (size_t)n;
		for (ssize_t i = 0; i < n; i++) {
			if (bytes[i] == '\n') {
				m->line[m->len] = '\0';
				m->len = 0;
				if (m->asked)
					sim_answer(m);
			} else if (bytes[i] != '\r' && m->len < sizeof m->line - 1) {
				m->line[m->len++] = bytes[i];
			}
		}
	}
	if (m->asked || (!m->says[0] && !m->wander))
		return;
	if (m->next < now - 0.5)
		m->next = now;
	while (m->next <= now) {
		m->next += m->period;
		if (m->wander) {
			unsigned v = m->conversion++ * 7919 % 9000 + 1000;
			snprintf(bytes, sizeof bytes, "+%u.%03u kOhm", v / 1000, v % 1000);
		}
		sim_write(m, m->wander ? bytes : m->says);
	}
}

static inline void *sim_thread(void *arg)
{
	struct stand *s = arg;
	for (bool running = true; running;) {
		double now = now_s();
		pthread_mutex_lock(&s->lock);
		for (int i = 0; i < s->sims; i++)
			sim_turn(&s->sim[i], now);
		running = s->running;
		pthread_mutex_unlock(&s->lock);
		nap_ms(1);
	}
	return NULL;
}

/* A path in the stand's folder; good until the stand is down. */
static inline const char *in_dir(struct stand *s, const char *name)
{
	int i = 0;
	char path[128];
	snprintf(path, sizeof path, "%.63s/%.60s", s->dir, name);
	while (i < s->paths && strcmp(s->path[i], path))
		i++;
	assert_true(i < PATHS_MAX);
	if (i == s->paths)
		memcpy(s->path[s->paths++], path, sizeof path);
	return s->path[i];
}

/* `about`: further lines of its section.  rate 0: it is asked. */
static inline int meter_new(struct stand *s, const char *name, int rate, const char *about)
{
	assert_true(s->sims < METERS_MAX);
	struct sim *m = &s->sim[s->sims];
	*m = (struct sim){ .asked = rate == 0, .period = rate ? 1.0 / rate : 0, .master = -1 };
	snprintf(m->name, sizeof m->name, "%s", name);
	snprintf(m->serial, sizeof m->serial, "%s", name);
	m->link = in_dir(s, name);
	snprintf(s->about[s->sims], sizeof s->about[0], "%s", about ? about : "");
	return s->sims++;
}

/* What it shows from now on; NULL: it is silent.  "OL" lines are said like others. */
static inline void meter_says(struct stand *s, int meter, const char *text)
{
	pthread_mutex_lock(&s->lock);
	snprintf(s->sim[meter].says, sizeof s->sim[meter].says, "%s", text ? text : "");
	s->sim[meter].wander = text && !strcmp(text, "wander");
	pthread_mutex_unlock(&s->lock);
}

/* Somebody turns the dial of one that is asked: what it shows, and what it says it is
 * set to. */
static inline void meter_dial(struct stand *s, int meter, const char *dial, const char *text)
{
	pthread_mutex_lock(&s->lock);
	snprintf(s->sim[meter].dial, sizeof s->sim[meter].dial, "%s", dial);
	snprintf(s->sim[meter].says, sizeof s->sim[meter].says, "%s", text);
	pthread_mutex_unlock(&s->lock);
}

/* Its adapter appears: a raw pty, and the link that leads to it. */
static inline void meter_plug(struct stand *s, int meter)
{
	struct sim *m = &s->sim[meter];
	struct termios t;
	char name[64];
	int fd = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK);
	assert_true(fd >= 0);
	assert_int_equal(grantpt(fd), 0);
	assert_int_equal(unlockpt(fd), 0);
	assert_int_equal(tcgetattr(fd, &t), 0);
	cfmakeraw(&t);
	assert_int_equal(tcsetattr(fd, TCSANOW, &t), 0);
	assert_int_equal(ptsname_r(fd, name, sizeof name), 0);
	unlink(m->link);
	pthread_mutex_lock(&s->lock);
	m->master = fd;
	m->len = 0;
	pthread_mutex_unlock(&s->lock);
	assert_int_equal(symlink(name, m->link), 0);
}

/* The number of its pty stays taken until the link is gone: else it could be that of a pty
 * of other tests by then, and our daemon would open theirs by the old link. */
static inline void meter_unplug(struct stand *s, int meter)
{
	struct sim *m = &s->sim[meter];
	int keep = m->master >= 0 ? open(m->link, O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK) : -1;
	pthread_mutex_lock(&s->lock);
	if (m->master >= 0)
		close(m->master);
	m->master = -1;
	pthread_mutex_unlock(&s->lock);
	unlink(m->link);
	if (keep >= 0)
		close(keep);
}

/* How much came over its line; what it was asked last. */
static inline size_t meter_got(struct stand *s, int meter)
{
	pthread_mutex_lock(&s->lock);
	size_t got = s->sim[meter].got;
	pthread_mutex_unlock(&s->lock);
	return got;
}

static inline size_t meter_said(struct stand *s, int meter)
{
	pthread_mutex_lock(&s->lock);
	size_t said = s->sim[meter].said;
	pthread_mutex_unlock(&s->lock);
	return said;
}

/* ---- files ---- */

/* The whole of a file, or "" where there is none; the caller frees. */
static inline char *file_text(const char *path)
{
	FILE *f = fopen(path, "r");
	size_t len = 0, size = 1 << 16;
	char *text = malloc(size);
	assert_non_null(text);
	while (f && (len += fread(text + len, 1, size - len - 1, f), !feof(f) && !ferror(f))) {
		text = realloc(text, size *= 2);
		assert_non_null(text);
	}
	if (f)
		fclose(f);
	text[len] = '\0';
	return text;
}

static inline void file_write(const char *path, const char *text)
{
	FILE *f = fopen(path, "w");
	assert_non_null(f);
	fputs(text, f);
	assert_int_equal(fclose(f), 0);
}

static inline bool file_has(const char *path, const char *fragment)
{
	char *text = file_text(path);
	bool has = strstr(text, fragment) != NULL;
	free(text);
	return has;
}

/* Before a failure: what the daemon said last. */
static inline void show_said(const struct stand *s)
{
	char *text = file_text(s->said);
	size_t len = strlen(text);
	print_error("the end of what tallyd said:\n%s\n", text + (len > 1500 ? len - 1500 : 0));
	free(text);
}

/* Wait for a condition of any kind. */
#define wait_until(s, condition)                                                          \
	do {                                                                                  \
		double until_ = now_s() + WAIT_MS / 1000.0;                                       \
		while (!(condition)) {                                                            \
			if (now_s() > until_) {                                                       \
				show_said(s);                                                             \
				fail_msg("waited %d s for %s", WAIT_MS / 1000, #condition);               \
			}                                                                             \
			nap_ms(2);                                                                    \
		}                                                                                 \
	} while (0)

/* ---- processes ---- */

static inline void child_forget(struct stand *s, pid_t pid)
{
	for (int i = 0; i < s->children; i++)
		if (s->child[i] == pid)
			s->child[i] = s->child[--s->children];
}

/* Start a program; its output goes to `out` and `err` (files, appended; NULL: none). */
static inline pid_t child_start(struct stand *s, const char *const *words, const char *out,
                                const char *err)
{
	assert_true(s->children < CHILDREN_MAX);
	pid_t parent = getpid(), pid = fork();
	assert_true(pid >= 0);
	if (pid == 0) {
		int null = open("/dev/null", O_RDWR);
		int o = out ? open(out, O_WRONLY | O_CREAT | O_APPEND, 0600) : null;
		int e = err ? open(err, O_WRONLY | O_CREAT | O_APPEND, 0600) : null;
		prctl(PR_SET_PDEATHSIG, SIGKILL);
		if (getppid() != parent || dup2(null, 0) < 0 || dup2(o, 1) < 0 || dup2(e, 2) < 0)
			_exit(126);
		execvp(words[0], (char *const *)(uintptr_t)words);
		_exit(127);
	}
	s->child[s->children++] = pid;
	return pid;
}

/* The exit status, 128 + signal where one ended it; -1 where it runs on. */
static inline int child_ended(struct stand *s, pid_t pid)
{
	int status;
	if (waitpid(pid, &status, WNOHANG) != pid)
		return -1;
	child_forget(s, pid);
	return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

static inline int child_wait(struct stand *s, pid_t pid)
{
	int status;
	wait_until(s, (status = child_ended(s, pid)) >= 0);
	return status;
}

static inline int child_stop(struct stand *s, pid_t pid, int signal)
{
	assert_int_equal(kill(pid, signal), 0);
	return child_wait(s, pid);
}

/* ---- the daemon ---- */

static inline void config_write(struct stand *s)
{
	FILE *f = fopen(s->config, "w");
	assert_non_null(f);
	/* Quick hands: the times of a real bench would make the test long. */
	fprintf(f, "[bench]\nname = stand\nlog = %s\nsocket = %s\narm seconds = 0.2\n"
	        "lift seconds = 0.1\n%s\n", s->log, s->socket, s->extra);
	for (int i = 0; i < s->sims; i++)
		if (!s->sim[i].spare)
			fprintf(f, "[meter %s]\nport = usb:1209:0001:%s\ndialect = %s\n%s\n", s->sim[i].name,
			        s->sim[i].serial, s->sim[i].asked ? "scpi" : "ascii-unit", s->about[i]);
	assert_int_equal(fclose(f), 0);
}

/* Starts tallyd with these options and waits for nothing. */
static inline pid_t daemon_launch(struct stand *s, const char *const *options, const char *err)
{
	const char *words[96];
	static char spec[METERS_MAX][256], program[PATH_MAX];
	int n = 0;
	if (s->sims) {
		words[n++] = "sh";
		words[n++] = "demo/adapters";
		for (int i = 0; i < s->sims; i++) {
			snprintf(spec[i], sizeof spec[i], "ttyTEST%d=%s,1209:0001:%s", i, s->sim[i].link,
			         s->sim[i].serial);
			words[n++] = spec[i];
		}
		words[n++] = "--";
	}
	for (int i = 0; s->wrap[i]; i++)
		words[n++] = s->wrap[i];
	snprintf(program, sizeof program, "%s/tallyd", build_dir());
	words[n++] = program;
	for (int i = 0; options[i]; i++)
		words[n++] = options[i];
	words[n] = NULL;
	return child_start(s, words, in_dir(s, "out"), err);
}

static inline int socket_connect(const char *path)
{
	struct sockaddr_un a = { .sun_family = AF_UNIX };
	snprintf(a.sun_path, sizeof a.sun_path, "%s", path);
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
	if (fd >= 0 && connect(fd, (struct sockaddr *)&a, sizeof a) == 0)
		return fd;
	if (fd >= 0)
		close(fd);
	return -1;
}

/* A daemon that takes connections. */
static inline void daemon_start(struct stand *s)
{
	int fd = -1, status = -1;
	config_write(s);
	s->daemon = daemon_launch(s, (const char *[]){ "--config", s->config, NULL }, s->said);
	wait_until(s, (fd = socket_connect(s->socket)) >= 0 ||
	           (status = child_ended(s, s->daemon)) >= 0);
	if (fd < 0) {
		show_said(s);
		fail_msg("tallyd ended with status %d", status);
	}
	close(fd);
}

/* Ends it by a signal; returns its exit status. */
static inline int daemon_stop(struct stand *s, int signal)
{
	pid_t pid = s->daemon;
	s->daemon = 0;
	return child_stop(s, pid, signal);
}

/* A daemon that is expected to end by itself: its status, and what it said. */
static inline int daemon_run(struct stand *s, const char *const *options, char **err)
{
	const char *path = in_dir(s, "run.err");
	unlink(path);
	int status = child_wait(s, daemon_launch(s, options, path));
	char *text = file_text(path);
	if (err)
		*err = text;
	else
		free(text);
	return status;
}

/* A line of /proc/PID/status, in KiB. */
static inline long status_kib(pid_t pid, const char *key)
{
	char path[64];
	snprintf(path, sizeof path, "/proc/%d/status", (int)pid);
	char *text = file_text(path), *at = strstr(text, key);
	long kib = at ? strtol(at + strlen(key), NULL, 10) : -1;
	free(text);
	return kib;
}

static inline int open_files(pid_t pid)
{
	char path[64];
	int n = 0;
	snprintf(path, sizeof path, "/proc/%d/fd", (int)pid);
	DIR *dir = opendir(path);
	while (dir && readdir(dir))
		n++;
	if (dir)
		closedir(dir);
	return n;
}

/* Built with the sanitizers?  Those keep freed memory for a while, by design. */
static inline bool is_sanitized(void)
{
	char command[PATH_MAX];
	snprintf(command, sizeof command, "grep -q __asan_init %s/tallyd", build_dir());
	return system(command) == 0;
}

/* ---- the client ---- */

struct answer {
	int status;
	char *out, *err;
};

static inline void answer_free(struct answer *a)
{
	free(a->out);
	free(a->err);
	*a = (struct answer){ 0 };
}

static inline pid_t tally_start(struct stand *s, const char *const *words, const char *out,
                                const char *err)
{
	const char *all[64];
	static char program[PATH_MAX];
	int n = 0;
	snprintf(program, sizeof program, "%s/tally", build_dir());
	all[n++] = program;
	for (int i = 0; words[i] && n < 63; i++)
		all[n++] = words[i];
	all[n] = NULL;
	return child_start(s, all, out, err);
}

/* Run the client to its end. */
static inline struct answer tally_run(struct stand *s, const char *const *words)
{
	const char *out = in_dir(s, "tally.out"), *err = in_dir(s, "tally.err");
	unlink(out);
	unlink(err);
	struct answer a = { .status = child_wait(s, tally_start(s, words, out, err)) };
	a.out = file_text(out);
	a.err = file_text(err);
	return a;
}
#define tally(s, ...) tally_run((s), (const char *[]){ __VA_ARGS__, NULL })

static inline int tally_ends(struct stand *s, const char *const *words)
{
	struct answer a = tally_run(s, words);
	int status = a.status;
	answer_free(&a);
	return status;
}
#define tally_status(s, ...) tally_ends((s), (const char *[]){ __VA_ARGS__, NULL })

/* Did the client end as expected?  `status` says 1 of whatever is wrong with a meter, and on a
 * busy machine one that a test plays is late now and then. */
static inline bool ended_as(const char *const *words, int got, int expected)
{
	bool health = false;
	for (int i = 0; words[i]; i++)
		health |= strcmp(words[i], "status") == 0;
	return got == expected || (health && expected == 0 && got == 1);
}

/* The client ends with this status; what it printed does not matter. */
static inline void tally_must(struct stand *s, int status, const char *const *words)
{
	struct answer a = tally_run(s, words);
	if (!ended_as(words, a.status, status)) {
		show_said(s);
		fail_msg("tally %s %s: status %d, expected %d\n%s%s", words[0], words[1] ? words[1] : "",
		         a.status, status, a.out, a.err);
	}
	answer_free(&a);
}
#define musttally(s, status, ...) tally_must((s), (status), (const char *[]){ __VA_ARGS__, NULL })

/* The client ends with this status, and `says` is in what it printed; with `either` a fault that
 * it said will do. */
static inline void tally_says(struct stand *s, int status, bool either, const char *says,
                              const char *const *words)
{
	struct answer a = tally_run(s, words);
	if (!ended_as(words, a.status, status) ||
	    !(strstr(a.out, says) || (either && strstr(a.err, says))))
		fail_msg("tally %s %s %s: status %d, expected %d and \"%s\": %s%s", words[0],
		         words[1] ? words[1] : "", words[1] && words[2] ? words[2] : "", a.status, status, says,
		         a.out, a.err);
	answer_free(&a);
}
#define mustprint(s, status, says, ...) \
	tally_says(s, status, false, says, (const char *const[]){ __VA_ARGS__, NULL })
#define mustanswer(s, status, says, ...) \
	tally_says(s, status, true, says, (const char *const[]){ __VA_ARGS__, NULL })

/* Every record of a log that nobody writes, one a line, through `tallyd --serve`; the
 * caller frees. */
static inline char *log_texts(struct stand *s, const char *log)
{
	char program[PATH_MAX], question[256], *all = NULL;
	size_t len = 0;
	const char *in = in_dir(s, "serve.in"), *out = in_dir(s, "serve.out");
	FILE *to = open_memstream(&all, &len);
	snprintf(program, sizeof program, "%s/tallyd", build_dir());
	for (long after = 0, more = 1; more;) {
		snprintf(question, sizeof question, "%s\n" CALL("1", "records", "{\"after\":%ld}") "\n",
		         HELLO, after);
		file_write(in, question);
		unlink(out);
		const char *script = "exec \"$0\" --serve \"$1\" <\"$2\"";
		const char *words[] = {"sh", "-c", script, program, log, in, NULL};
		int status = child_wait(s, child_start(s, words, out, out));
		char *text = file_text(out), *at = strstr(text, "\"records\":[");
		if (status || !at)
			fail_msg("no records from --serve (status %d): %.400s", status, text);
		json_t *answer = json_loads(strchr(text, '\n') + 1, 0, NULL), *record;
		json_t *result = json_object_get(answer, "result");
		size_t i;
		json_array_foreach(json_object_get(result, "records"), i, record) {
			/* Order and digits of numbers as sealed: cut out, not printed anew. */
			char begin[40];
			after = (long)json_integer_value(json_object_get(record, "seq"));
			snprintf(begin, sizeof begin, "{\"seq\":%ld,\"t\":", after);
			char *from = strstr(text, begin);
			snprintf(begin, sizeof begin, ",{\"seq\":%ld,\"t\":", after + 1);
			char *end = from ? strstr(from, begin) : NULL;
			if (from && !end)
				end = strstr(from, "],\"last\"");
			assert_true(from && end);
			fprintf(to, "%.*s\n", (int)(end - from), from);
		}
		more = json_is_true(json_object_get(result, "more"));
		json_decref(answer);
		free(text);
	}
	fclose(to);
	return all;
}

/* ---- connections ---- */

struct peer {
	struct stand *stand;
	int fd;
	char *in;
	size_t len, size;
	bool ended;
	char *line; /* the last one */
};

static inline struct peer *peer_new(struct stand *s)
{
	struct peer *p = calloc(1, sizeof *p);
	p->stand = s;
	assert_true(s->peers < PEERS_MAX);
	s->peer[s->peers++] = p;
	p->fd = socket_connect(s->socket);
	if (p->fd < 0) {
		show_said(s);
		fail_msg("no connection: %s", strerror(errno));
	}
	return p;
}

static inline void peer_free(struct peer *p)
{
	struct stand *s = p->stand;
	for (int i = 0; i < s->peers; i++)
		if (s->peer[i] == p)
			s->peer[i] = s->peer[--s->peers];
	if (p->fd >= 0)
		close(p->fd);
	free(p->in);
	free(p->line);
	free(p);
}

static inline bool peer_write(struct peer *p, const char *bytes, size_t len)
{
	while (len) {
		ssize_t n = send(p->fd, bytes, len, MSG_NOSIGNAL);
		if (n > 0) {
			bytes += n;
			len -= (size_t)n;
		} else if (n < 0 && errno == EAGAIN) {
			if (poll(&(struct pollfd){ .fd = p->fd, .events = POLLOUT }, 1, WAIT_MS) != 1)
				return false;
		} else {
			return false;
		}
	}
	return true;
}

/* The next line within `ms` (0: that is there), NULL where none came (p->ended where none ever will). */
static inline char *peer_line(struct peer *p, int ms)
{
	double until = now_s() + ms / 1000.0;
	free(p->line);
	p->line = NULL;
	size_t looked = 0;
	for (;;) {
		char *lf = p->len > looked ? memchr(p->in + looked, '\n', p->len - looked) : NULL;
		if (lf) {
			size_t n = (size_t)(lf - p->in);
			p->line = strndup(p->in, n);
			p->len -= n + 1;
			memmove(p->in, lf + 1, p->len);
			return p->line;
		}
		looked = p->len;
		double left = until - now_s();
		if (p->ended)
			return NULL;
		if (p->size - p->len < (64 << 10))
			p->in = realloc(p->in, p->size = p->size * 2 + (128 << 10));
		assert_non_null(p->in);
		ssize_t n = recv(p->fd, p->in + p->len, p->size - p->len, 0);
		if (n > 0)
			p->len += (size_t)n;
		else if (n == 0 || errno != EAGAIN)
			p->ended = true;
		else if (left <= 0)
			return NULL;
		else
			poll(&(struct pollfd){ .fd = p->fd, .events = POLLIN }, 1, (int)(left * 1000) + 1);
	}
}

static inline void mustsend(struct peer *p, const char *text)
{
	assert_true(peer_write(p, text, strlen(text)));
	assert_true(peer_write(p, "\n", 1));
}

/* Lines come, and one of them has this in it; returns it.  Others are passed over. */
static inline const char *mustsee(struct peer *p, const char *fragment)
{
	double until = now_s() + WAIT_MS / 1000.0;
	char passed[1200] = "";
	for (;;) {
		double left = until - now_s();
		const char *line = left > 0 ? peer_line(p, (int)(left * 1000)) : NULL;
		if (line && strstr(line, fragment))
			return line;
		if (!line) {
			show_said(p->stand);
			fail_msg("%s and no %s; before it came\n%s", p->ended ? "the connection ended"
			         : "waited", fragment, passed);
		}
		size_t n = strlen(passed);
		if (n > sizeof passed - 300)
			memmove(passed, passed + 300, (n -= 300) + 1);
		snprintf(passed + n, sizeof passed - n, "%.250s\n", line);
	}
}

static inline void mustend(struct peer *p)
{
	while (!p->ended)
		if (!peer_line(p, WAIT_MS) && !p->ended)
			fail_msg("the connection was not closed");
}

static inline struct peer *peer_greeted(struct stand *s)
{
	struct peer *p = peer_new(s);
	mustsend(p, HELLO);
	mustsee(p, "\"id\":0,\"result\":{\"protocol\":1,");
	return p;
}

/* One that follows records and events; `after` -1: only new ones. */
static inline struct peer *peer_watching(struct stand *s, long after)
{
	struct peer *p = peer_greeted(s);
	char call[128];
	if (after < 0)
		snprintf(call, sizeof call, CALL("\"w\"", "watch", "{}"));
	else
		snprintf(call, sizeof call, CALL("\"w\"", "watch", "{\"after\":%ld}"), after);
	mustsend(p, call);
	mustsee(p, "\"id\":\"w\",\"result\"");
	return p;
}

/* The sealed text in a notification `record`, an allocated copy; NULL in others. */
static inline char *record_of(const char *line)
{
	const char *at = strstr(line, "\"method\":\"record\"");
	at = at ? strstr(at, "\"record\":{") : NULL;
	size_t len = at ? strlen(at) : 0;
	return len > 12 ? strndup(at + 9, len - 9 - 2) : NULL;
}

/* ---- up and down ---- */

static inline int stand_up(void **state)
{
	struct stand *s = calloc(1, sizeof *s);
	strcpy(s->dir, "/tmp/tally-stand-XXXXXX");
	if (!s || !mkdtemp(s->dir))
		return -1;
	setenv("TALLY_BUILD", build_dir(), 1);
	snprintf(s->config, sizeof s->config, "%s/bench.conf", s->dir);
	snprintf(s->log, sizeof s->log, "%s/stand.db", s->dir);
	snprintf(s->socket, sizeof s->socket, "%s/tally.sock", s->dir);
	snprintf(s->said, sizeof s->said, "%s/tallyd.txt", s->dir);
	setenv("TALLY_SOCKET", s->socket, 1);
	pthread_mutex_init(&s->lock, NULL);
	s->running = true;
	*state = s;
	return pthread_create(&s->thread, NULL, sim_thread, s);
}

static inline int stand_down(void **state)
{
	struct stand *s = *state;
	char command[128];
	for (int i = 0; i < s->children; i++) {
		kill(s->child[i], SIGKILL);
		while (waitpid(s->child[i], NULL, 0) < 0 && errno == EINTR)
			;
	}
	while (s->peers)
		peer_free(s->peer[0]);
	pthread_mutex_lock(&s->lock);
	s->running = false;
	pthread_mutex_unlock(&s->lock);
	pthread_join(s->thread, NULL);
	for (int i = 0; i < s->sims; i++)
		meter_unplug(s, i);
	pthread_mutex_destroy(&s->lock);
	snprintf(command, sizeof command, "rm -rf %s", s->dir);
	int status = getenv("TALLY_KEEP") ? 0 : system(command);
	free(s);
	return status;
}

/* TALLY_TEST=test_walk runs that one alone ('*' and '?' as in file names). */
#define run_on_stand(tests) \
	(cmocka_set_test_filter(getenv("TALLY_TEST")), cmocka_run_group_tests(tests, NULL, NULL))
#define on_stand(test) cmocka_unit_test_setup_teardown(test, stand_up, stand_down)

#endif

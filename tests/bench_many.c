/* SPDX-License-Identifier: MIT */
/*
 * Many meters at once: METERS pseudo-terminals, every shipped dialect among them, each
 * with RATE frames a second where the machine can; else with as many as it can.
 *
 *     build/tests/bench_many [METERS [RATE [SECONDS [BURST]]]]      (64, 1000, 3, 1)
 *
 * With BURST so many frames are sent at once, RATE times a second, by meters that talk
 * unasked: what a frame costs where waking up for it does not count.  `make bench` runs both.
 *
 * The frames are counted where they are sent and in the daemon's counters: one that is
 * missing is an error, and the program ends with 1.  Times are printed, not asserted.
 * The ratio is the daemon's CPU a frame (all of it: reading, understanding, settling,
 * the trail, sealing on disk) against that of a plain loop over libserialport and
 * uv_poll, which only reads and splits the same bytes, and against a script of pyserial
 * and sqlite3 that makes plain rows of them (bench_pyserial.py); they take turns in one run.
 *
 * Who sends never drops a frame: where a line takes nothing, it waits, and the rate is
 * less.  A meter that is asked answers at its next turn, so both ask at the same pace.
 */
#include "client/link.h"
#include "protocol/record/text.h"
#include "tests/bench_goal.h"

#include <errno.h>
#include <fcntl.h>
#include <libserialport.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>
#include <uv.h>

#define METERS_MAX 64
#define ROUNDS 2
#define VARIANTS 256

static int meters = 64, rate = 1000, seconds = 3, burst = 1;

static _Noreturn void die(const char *what)
{
	fprintf(stderr, "bench_many: %s\n", what);
	exit(1);
}

static double now(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

/* ---- what the meters say ---- */

enum { UNIT, NUMBER, COLUMNS, TALKING, SCPI = TALKING, COMMA, KINDS };
static int kinds_used = KINDS;
static const struct kind {
	const char *dialect, *about, *query;
	size_t fixed; /* 0: lines */
} kinds[KINDS] = {
    [UNIT] = {"ascii-unit", "", NULL, 0},
    [NUMBER] = {"ascii-number", "function = ohm\n", NULL, 0},
    [COLUMNS] = {"columns-14", "", NULL, 14},
    [SCPI] = {"scpi", "function = ohm\ntimeout = 20\npace = 1000/s\n", "READ?\n", 0},
    [COMMA] = {"ask-comma", "timeout = 20\npace = 1000/s\n", "D", 0},
};

static struct frame_text {
	char bytes[48];
	size_t len;
} frames[KINDS][VARIANTS];

/* Ohms around one value, as probes that rest give them, behind those of open leads. */
#define OPEN_VARIANTS (VARIANTS / 4)
/* The probes lie on a part for four seconds of five, as long as people touch: a touch of a
 * fraction of a second would never settle, and settling is what costs most until it has. */
#define TOUCH_SECONDS 4

static void make_frames(void)
{
	unsigned seed = 1;
	for (int i = 0; i < VARIANTS; i++) {
		seed = seed * 1664525u + 1013904223u;
		int v = 4812 + (int)(seed >> 30) - 1;
		bool open = i < OPEN_VARIANTS;
		struct frame_text *f = &frames[UNIT][i];
		f->len = (size_t)(open ? sprintf(f->bytes, "OL MOhm\r\n")
		                       : sprintf(f->bytes, "+0.%04d kOhm\r\n", v));
		f = &frames[NUMBER][i];
		f->len = (size_t)(open ? sprintf(f->bytes, "OL\r\n")
		                       : sprintf(f->bytes, "+%d.%dE+02\r\n", v / 1000, v % 1000));
		f = &frames[SCPI][i];
		f->len = (size_t)(open ? sprintf(f->bytes, "+9.90000000E+37\n")
		                       : sprintf(f->bytes, "+%d.%03d12345E+02\n", v / 1000, v % 1000));
		f = &frames[COMMA][i];
		f->len = (size_t)(open ? sprintf(f->bytes, "OL,MOhm,OL\r\n")
		                       : sprintf(f->bytes, "+0.%04d,kOhm,OK\r\n", v));
		f = &frames[COLUMNS][i];
		f->len = 14;
		memcpy(f->bytes, "+0000 1\x20\x00\x00\x20\x00\r\n", 14);
		if (open)
			memcpy(f->bytes, "+?0:? 1\x20\x00\x10\x20\x00\r\n", 14);
		for (int d = 4; d > 0 && !open; d--, v /= 10)
			f->bytes[d] = (char)('0' + v % 10);
	}
}

/* ---- the senders ---- */

static struct sender {
	int kind, master, slave;
	char name[16], pty[64];
	long sent;          /* frames that began to go out */
	int variant;
	int due;            /* questions that wait for the next turn */
	char question[64];
	size_t asked;
	char rest[4096];    /* bytes that the line did not take yet */
	size_t rest_len;
} sender[METERS_MAX];

static void open_ptys(void)
{
	for (int i = 0; i < meters; i++) {
		struct sender *s = &sender[i];
		struct termios t;
		*s = (struct sender){.kind = i % kinds_used};
		snprintf(s->name, sizeof s->name, "m%d", i);
		s->master = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK);
		if (s->master < 0 || grantpt(s->master) || unlockpt(s->master) ||
		    tcgetattr(s->master, &t) || ptsname_r(s->master, s->pty, sizeof s->pty))
			die("no pseudo-terminal");
		cfmakeraw(&t);
		tcsetattr(s->master, TCSANOW, &t);
		/* Kept open, or the line would hang up between the turns. */
		s->slave = open(s->pty, O_RDWR | O_NOCTTY | O_CLOEXEC);
	}
}

static void flush_rest(struct sender *s)
{
	if (!s->rest_len)
		return;
	ssize_t n = write(s->master, s->rest, s->rest_len);
	if (n <= 0)
		return;
	s->rest_len -= (size_t)n;
	memmove(s->rest, s->rest + n, s->rest_len);
}

/* False where there is no room: then nothing of it goes out. */
static bool say(struct sender *s, const char *bytes, size_t len)
{
	if (len > sizeof s->rest - s->rest_len)
		return false;
	memcpy(s->rest + s->rest_len, bytes, len);
	s->rest_len += len;
	s->sent++;
	return true;
}

static bool say_frame(struct sender *s)
{
	bool open = s->sent / ((long)rate * burst) % (TOUCH_SECONDS + 1) == 0;
	int variant = open ? s->variant % OPEN_VARIANTS
	                   : OPEN_VARIANTS + s->variant % (VARIANTS - OPEN_VARIANTS);
	struct frame_text *f = &frames[s->kind][variant];
	if (!say(s, f->bytes, f->len))
		return false;
	s->variant = (s->variant + 1) % (OPEN_VARIANTS * (VARIANTS - OPEN_VARIANTS));
	return true;
}

static void hear_line(struct sender *s, const char *line)
{
	if (strcmp(line, "*IDN?") == 0)
		say(s, "BENCH ROOM,SIX DIGITS,0042,1.0\n", 31);
	else if (strcmp(line, "SYST:ERR?") == 0)
		say(s, "0,\"No error\"\n", 13);
	else if (strcmp(line, "READ?") == 0)
		s->due++;
}

static void hear(struct sender *s)
{
	char bytes[256];
	ssize_t n;
	if (!kinds[s->kind].query)
		return;
	while ((n = read(s->master, bytes, sizeof bytes)) > 0)
		for (ssize_t i = 0; i < n; i++) {
			if (s->kind == COMMA) {
				s->due += bytes[i] == 'D';
			} else if (bytes[i] != '\n') {
				if (s->asked < sizeof s->question - 1)
					s->question[s->asked++] = bytes[i];
			} else {
				s->question[s->asked] = '\0';
				s->asked = 0;
				hear_line(s, s->question);
			}
		}
}

/* One turn of all: `talk` frames of each that talks, and the answers that are due. */
static void turn(int talk)
{
	for (int i = 0; i < meters; i++) {
		struct sender *s = &sender[i];
		flush_rest(s);
		hear(s);
		if (!kinds[s->kind].query)
			for (int k = 0; k < talk && say_frame(s); k++)
				;
		while (s->due > 0 && say_frame(s))
			s->due--;
		flush_rest(s);
	}
}

static bool all_out(void)
{
	for (int i = 0; i < meters; i++)
		if (sender[i].rest_len)
			return false;
	return true;
}

/* For `time` seconds; a turn that comes late catches up by ten frames at most. */
static double run_senders(double time, bool talk)
{
	double begun = now(), each = 1.0 / rate, next = begun;
	while (now() - begun < time) {
		int behind = (int)((now() - next) / each);
		behind = behind < 1 ? 1 : behind > 10 ? 10 : behind;
		turn(talk ? behind * burst : 0);
		next += behind * each;
		if (next < now() - 10 * each)
			next = now();
		double wait = next - now();
		if (wait > 0) {
			struct timespec t = {0, (long)(wait * 1e9)};
			nanosleep(&t, NULL);
		}
	}
	return now() - begun;
}

/* ---- who reads ---- */

static pid_t start(const char *const *words, int in, int out)
{
	pid_t parent = getpid(), pid = fork();
	if (pid < 0)
		die("no process");
	if (pid)
		return pid;
	prctl(PR_SET_PDEATHSIG, SIGKILL);
	if (getppid() != parent || (in >= 0 && dup2(in, 0) < 0) || (out >= 0 && dup2(out, 1) < 0))
		_exit(126);
	execvp(words[0], (char *const *)(uintptr_t)words);
	_exit(127);
}

static char spec[METERS_MAX][128];

static int adapter_words(const char **words)
{
	int n = 0;
	words[n++] = "sh";
	words[n++] = "demo/adapters";
	for (int i = 0; i < meters; i++) {
		snprintf(spec[i], sizeof spec[i], "ttyMANY%d=%s,1209:0001:%s", i, sender[i].pty,
		         sender[i].name);
		words[n++] = spec[i];
	}
	words[n++] = "--";
	return n;
}

static double cpu_of(pid_t pid)
{
	clockid_t clock;
	struct timespec t;
	if (clock_getcpuclockid(pid, &clock) || clock_gettime(clock, &t))
		die("the reader has ended");
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

struct outcome_of_turn {
	double cpu_us;   /* of the reader, a frame */
	double share;    /* of a core */
	double rate[KINDS]; /* frames a second and meter, of each dialect */
	long sent, lost, cut; /* all meters together */
};

/* What went out since `before`, in `time` seconds. */
static void rates(struct outcome_of_turn *o, const long *before, double cpu, double time)
{
	int of_kind[KINDS] = {0};
	o->sent = 0;
	memset(o->rate, 0, sizeof o->rate);
	for (int i = 0; i < meters; i++) {
		long n = sender[i].sent - before[i];
		o->sent += n;
		o->rate[sender[i].kind] += (double)n / time;
		of_kind[sender[i].kind]++;
	}
	for (int k = 0; k < KINDS; k++)
		o->rate[k] /= of_kind[k] ? of_kind[k] : 1;
	o->cpu_us = cpu / (double)o->sent * 1e6;
	o->share = cpu / time;
}

static void compare_counts(const long *got, struct outcome_of_turn *o)
{
	/* A line that is full takes the rest of a frame later: such a frame of fixed size is cut
	 * into two, which is none lost. */
	o->lost = o->cut = 0;
	for (int i = 0; i < meters; i++) {
		long more = got[i] - sender[i].sent;
		*(more < 0 ? &o->lost : &o->cut) += labs(more);
	}
	/* What a frame costs is for who got it. */
	if (o->lost < o->sent)
		o->cpu_us *= (double)o->sent / (double)(o->sent - o->lost);
}

/* ---- the daemon ---- */

static char folder[256] = "/tmp/tally-many-XXXXXX", config[300], socket_path[300];

static void write_config(void)
{
	snprintf(config, sizeof config, "%s/many.conf", folder);
	snprintf(socket_path, sizeof socket_path, "%s/many.sock", folder);
	FILE *f = fopen(config, "w");
	if (!f)
		die("no configuration");
	fprintf(f, "[bench]\nname = many\nlog = %s/many.db\nsocket = %s\n", folder, socket_path);
	for (int i = 0; i < meters; i++)
		fprintf(f, "[meter %s]\nport = usb:1209:0001:%s\ndialect = %s\n%s", sender[i].name,
		        sender[i].name, kinds[sender[i].kind].dialect, kinds[sender[i].kind].about);
	fclose(f);
}

/* Frames that each meter's machine has seen; false where not all lines are open. */
static bool daemon_counts(struct link *l, long *got)
{
	struct message m;
	size_t cursor = 0;
	struct slice meter;
	bool open = true;
	if (link_call(l, "meters", NULL, 20000, &m) != OUTCOME_DONE)
		die(m.why.text);
	struct slice list = json_member(m.result.at, m.result.len, "meters");
	for (int i = 0; i < meters && json_next(list, &cursor, &meter); i++) {
		int64_t good = 0, bad = 0;
		json_int(json_member(meter.at, meter.len, "counters.good"), &good);
		json_int(json_member(meter.at, meter.len, "counters.bad"), &bad);
		got[i] = (long)(good + bad);
		open = open && !json_is(json_member(meter.at, meter.len, "state"), "absent");
	}
	message_free(&m);
	return open;
}

static struct link *connect_daemon(void)
{
	const struct link_target target = {.socket = socket_path};
	for (int i = 0; i < 500; i++) {
		enum outcome outcome;
		struct fault why;
		struct link *l = link_open(&target, &outcome, &why);
		if (l)
			return l;
		usleep(20000);
	}
	die("the daemon does not answer");
	return NULL;
}

static void forget_log(void)
{
	char command[400];
	snprintf(command, sizeof command, "rm -f %s/many.db*", folder);
	if (system(command) != 0)
		die("the log stays");
}

static void settle_counts(void)
{
	for (int i = 0; i < 50 && !all_out(); i++)
		run_senders(0.02, false);
	/* Asked meters are asked on: stop answering, and let everything arrive. */
	for (int i = 0; i < meters; i++)
		sender[i].due = 0;
	for (int i = 0; i < 50 && !all_out(); i++) {
		for (int k = 0; k < meters; k++)
			flush_rest(&sender[k]);
		usleep(2000);
	}
	usleep(300000);
}

static void turn_of_ours(const char *build, struct outcome_of_turn *o)
{
	const char *words[METERS_MAX + 16];
	char program[300];
	long got[METERS_MAX], before[METERS_MAX];
	int n = adapter_words(words), quiet = open("/dev/null", O_WRONLY | O_CLOEXEC);
	snprintf(program, sizeof program, "%s/tallyd", build);
	const char *const rest[] = {program, "--config", config, NULL};
	for (int i = 0; i < 4; i++)
		words[n + i] = rest[i];
	int err = dup(2);
	if (dup2(quiet, 2) < 0)
		die("no quiet");
	pid_t pid = start(words, -1, quiet);
	dup2(err, 2);
	close(err);
	close(quiet);
	struct link *l = connect_daemon();
	while (!daemon_counts(l, got))
		usleep(20000);
	run_senders(0.3, false); /* identified, and past the first 50 ms of a line */
	daemon_counts(l, before);
	for (int i = 0; i < meters; i++)
		sender[i].sent = before[i];
	double cpu = cpu_of(pid), time = run_senders(seconds, true);
	cpu = cpu_of(pid) - cpu;
	rates(o, before, cpu, time);
	settle_counts();
	daemon_counts(l, got);
	compare_counts(got, o);
	link_close(l);
	kill(pid, SIGTERM);
	waitpid(pid, NULL, 0);
	forget_log();
}

/* ---- the plain loop ---- */

static struct plain {
	uv_poll_t poll;
	struct sp_port *port;
	int kind;
	char line[512];
	size_t len;
	long frames;
} plain[METERS_MAX];

static void plain_frame(struct plain *p)
{
	const char *query = kinds[p->kind].query;
	p->frames++;
	p->len = 0;
	if (query)
		sp_nonblocking_write(p->port, query, strlen(query));
}

static void plain_readable(uv_poll_t *poll, int status, int events)
{
	struct plain *p = poll->data;
	char bytes[4096];
	(void)events;
	if (status < 0)
		exit(1);
	int n = (int)sp_nonblocking_read(p->port, bytes, sizeof bytes);
	for (int i = 0; i < n; i++) {
		if (p->len < sizeof p->line)
			p->line[p->len++] = bytes[i];
		if (kinds[p->kind].fixed ? p->len == kinds[p->kind].fixed : bytes[i] == '\n')
			plain_frame(p);
	}
}

/* A letter on standard input: print the counts; end of it: end. */
static void plain_told(uv_poll_t *poll, int status, int events)
{
	char letter;
	(void)status;
	(void)events;
	if (read(0, &letter, 1) != 1) {
		uv_stop(poll->loop);
		return;
	}
	for (int i = 0; i < meters; i++)
		printf("%ld%c", plain[i].frames, i + 1 < meters ? ' ' : '\n');
	fflush(stdout);
}

static int plain_main(void)
{
	uv_loop_t loop;
	uv_poll_t told;
	uv_loop_init(&loop);
	for (int i = 0; i < meters; i++) {
		struct plain *p = &plain[i];
		char node[32];
		int fd;
		snprintf(node, sizeof node, "/dev/ttyMANY%d", i);
		p->kind = i % kinds_used;
		if (sp_get_port_by_name(node, &p->port) != SP_OK ||
		    sp_open(p->port, SP_MODE_READ_WRITE) != SP_OK ||
		    sp_set_baudrate(p->port, 9600) != SP_OK || sp_get_port_handle(p->port, &fd) != SP_OK)
			die("the plain loop cannot open a line");
		sp_flush(p->port, SP_BUF_BOTH);
		uv_poll_init(&loop, &p->poll, fd);
		p->poll.data = p;
		uv_poll_start(&p->poll, UV_READABLE, plain_readable);
	}
	uv_poll_init(&loop, &told, 0);
	uv_poll_start(&told, UV_READABLE, plain_told);
	printf("ready\n");
	fflush(stdout);
	for (int i = 0; i < meters; i++)
		if (kinds[plain[i].kind].query)
			sp_nonblocking_write(plain[i].port, kinds[plain[i].kind].query,
			                     strlen(kinds[plain[i].kind].query));
	uv_run(&loop, UV_RUN_DEFAULT);
	return 0;
}

static void plain_counts(FILE *from, int to, long *got)
{
	if (write(to, "?", 1) != 1)
		die("the plain loop has ended");
	for (int i = 0; i < meters; i++)
		if (fscanf(from, "%ld", &got[i]) != 1)
			die("the plain loop says nothing");
}

static void turn_of_other(const char **words, struct outcome_of_turn *o)
{
	char line[32];
	long got[METERS_MAX], before[METERS_MAX];
	int to[2], from[2];
	if (pipe2(to, O_CLOEXEC) || pipe2(from, O_CLOEXEC))
		die("no pipe");
	pid_t pid = start(words, to[0], from[1]);
	close(to[0]);
	close(from[1]);
	FILE *in = fdopen(from[0], "r");
	if (!in || !fgets(line, sizeof line, in))
		die("the plain loop does not start");
	for (int i = 0; i < meters; i++)
		sender[i].sent = 0;
	run_senders(0.3, false);
	for (int i = 0; i < meters; i++)
		before[i] = sender[i].sent;
	double cpu = cpu_of(pid), time = run_senders(seconds, true);
	cpu = cpu_of(pid) - cpu;
	rates(o, before, cpu, time);
	settle_counts();
	plain_counts(in, to[1], got);
	compare_counts(got, o);
	close(to[1]);
	fclose(in);
	waitpid(pid, NULL, 0);
}

static void turn_of_plain(const char *self, struct outcome_of_turn *o)
{
	const char *words[METERS_MAX + 20];
	char number[4][16];
	const int value[4] = {meters, rate, seconds, burst};
	int n = adapter_words(words);
	words[n++] = self;
	words[n++] = "--plain";
	for (int i = 0; i < 4; i++) {
		snprintf(number[i], sizeof number[i], "%d", value[i]);
		words[n++] = number[i];
	}
	words[n] = NULL;
	turn_of_other(words, o);
}

/* The script knows the lines by their own names: pyserial takes a pseudo-terminal.  Its module
 * belongs to the python of the system, whichever else stands in front of that in PATH. */
static void turn_of_script(struct outcome_of_turn *o)
{
	static char line[METERS_MAX][100], database[300];
	const char *words[METERS_MAX + 16] = {"/usr/bin/python3", "tests/bench_pyserial.py",
	                                       database};
	snprintf(database, sizeof database, "%s/many.db", folder);
	for (int i = 0; i < meters; i++) {
		snprintf(line[i], sizeof line[i], "%s=%s", sender[i].pty, kinds[sender[i].kind].dialect);
		words[3 + i] = line[i];
	}
	words[3 + meters] = NULL;
	turn_of_other(words, o);
	forget_log();
}

/* Questions and answers of one turn must not be found by the next. */
static void clear_lines(void)
{
	for (int i = 0; i < meters; i++) {
		char bytes[4096];
		tcflush(sender[i].slave, TCIOFLUSH);
		while (read(sender[i].master, bytes, sizeof bytes) > 0)
			;
		sender[i].rest_len = sender[i].asked = 0;
		sender[i].due = 0;
	}
}

/* ---- the table ---- */

static void print_turn(const char *who, const struct outcome_of_turn *o)
{
	printf("%-28s %8ld %6ld %4ld", who, o->sent, o->lost, o->cut);
	for (int k = 0; k < kinds_used; k++)
		printf(" %12.0f", o->rate[k]);
	printf(" %9.2f %7.1f %%\n", o->cpu_us, o->share * 100);
}

static void print_heading(void)
{
	printf("%d meters, %s, %d frames a second each where the machine can\n"
	       "%-28s %8s %6s %4s", meters, burst > 1 ? "talking ones in bursts" : "all shipped dialects",
	       rate * burst, "", "frames", "lost", "cut");
	for (int k = 0; k < kinds_used; k++)
		printf(" %12s", kinds[k].dialect);
	printf(" %9s %9s\n", "us CPU", "of a core");
}

int main(int argc, char **argv)
{
	const char *build = getenv("TALLY_BUILD");
	bool is_plain = argc > 2 && strcmp(argv[1], "--plain") == 0;
	int *const numbers[] = {&meters, &rate, &seconds, &burst};
	for (int i = 0; i < 4 && i + 1 + is_plain < argc; i++)
		*numbers[i] = atoi(argv[i + 1 + is_plain]);
	if (meters < 1 || meters > METERS_MAX || rate < 1 || rate > 1000 || seconds < 1 || burst < 1)
		die("METERS is 1 to 64, RATE 1 to 1000, SECONDS and BURST at least 1");
	if (burst > 1)
		kinds_used = TALKING; /* who is asked says one frame at a time */
	if (is_plain)
		return plain_main();
	struct outcome_of_turn ours[ROUNDS], theirs[ROUNDS], script[ROUNDS];
	double ours_us = 0, plain_us = 0, script_us = 0, least = INFINITY, most = 0;
	long lost = 0;
	if (!mkdtemp(folder))
		die("no folder");
	if (!build || !build[0])
		setenv("TALLY_BUILD", build = "build", 1);
	make_frames();
	open_ptys();
	write_config();
	print_heading();
	for (int i = 0; i < ROUNDS; i++) {
		turn_of_ours(build, &ours[i]);
		clear_lines();
		turn_of_plain(argv[0], &theirs[i]);
		clear_lines();
		turn_of_script(&script[i]);
		clear_lines();
		print_turn("tallyd, to the sealed log", &ours[i]);
		print_turn("plain loop, read and split", &theirs[i]);
		print_turn("pyserial and sqlite3, rows", &script[i]);
		ours_us += ours[i].cpu_us / ROUNDS;
		plain_us += theirs[i].cpu_us / ROUNDS;
		script_us += script[i].cpu_us / ROUNDS;
		least = fmin(least, script[i].cpu_us / ours[i].cpu_us);
		most = fmax(most, script[i].cpu_us / ours[i].cpu_us);
		lost += ours[i].lost;
	}
	printf("%-28s %.2f (%.2f us against %.2f us)\n", "ratio, CPU a frame", ours_us / plain_us, ours_us,
	       plain_us);
	printf("%-28s %.2f times less (%.2f us against %.2f us, %.2f to %.2f), goal 4: %s\n",
	       "against the script", script_us / ours_us, ours_us, script_us, least, most,
	       goal_word(script_us / ours_us >= 4));
	rmdir(folder);
	char command[300];
	snprintf(command, sizeof command, "rm -rf %s", folder);
	if (system(command) != 0 || lost) {
		fprintf(stderr, "bench_many: frames were lost\n");
		return 1;
	}
	return 0;
}

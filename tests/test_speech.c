/* SPDX-License-Identifier: MIT */
/*
 * Speech: what is said in which order, what cuts off what, and who says it.  The speakers
 * are made up: an espeak-ng on PATH that writes down what it was told and how it ended,
 * and a server of the Speech Synthesis Interface Protocol that does the same.
 */
#include "tests/check.h"

#include "client/speech.h"

#include <poll.h>
#include <pthread.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

static char folder[64], log_path[100], socket_path[100], old_path[4096];

static double seconds(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static void nap(int ms)
{
	struct timespec t = {ms / 1000, (long)(ms % 1000) * 1000000};
	nanosleep(&t, NULL);
}

static void put_file(const char *name, const char *text, int mode)
{
	char path[256];
	snprintf(path, sizeof path, "%s/%s", folder, name);
	FILE *f = fopen(path, "w");
	assert_non_null(f);
	fputs(text, f);
	fclose(f);
	assert_int_equal(chmod(path, (mode_t)mode), 0);
}

static void drop_file(const char *name)
{
	char path[256];
	snprintf(path, sizeof path, "%s/%s", folder, name);
	unlink(path);
}

/* What was written down so far. */
static const char *noted(void)
{
	static char text[16384];
	FILE *f = fopen(log_path, "r");
	size_t n = f ? fread(text, 1, sizeof text - 1, f) : 0;
	text[n] = '\0';
	if (f)
		fclose(f);
	return text;
}

/* Waits up to 3 s for the words to be written down. */
static void expect_noted(const char *words)
{
	for (int i = 0; i < 300 && !strstr(noted(), words); i++)
		nap(10);
	if (!strstr(noted(), words))
		print_error("\"%s\" is not in\n%s\n", words, noted());
	assert_non_null(strstr(noted(), words));
}

/* `a` was written down before `b`. */
static void expect_order(const char *a, const char *b)
{
	expect_noted(b);
	const char *first = strstr(noted(), a), *second = strstr(noted(), b);
	if (!first || first > second)
		print_error("\"%s\" is not before \"%s\" in\n%s\n", a, b, noted());
	assert_true(first && first < second);
}

/* ---- the made-up espeak-ng ---- */

/* It speaks for `length` seconds and ends with `status`; `deaf`: to SIGTERM. */
static void fake_espeak(const char *length, int status, bool deaf)
{
	char script[1024];
	snprintf(script, sizeof script,
	         "#!/bin/sh\n"
	         "PATH=/usr/bin:/bin\n"
	         "text=$(cat)\n"
	         "trap '%s' TERM\n"
	         "echo \"begin [$*] $text\" >>%s\n"
	         "%s\n"
	         "echo \"end $text\" >>%s\n"
	         "exit %d\n",
	         deaf ? "" : "echo \"term $text\" >>\"$log\"; exit 143", log_path,
	         deaf ? "exec sleep 5" : "sleep \"$length\" & wait $!", log_path, status);
	setenv("length", length, 1);
	setenv("log", log_path, 1);
	put_file("espeak-ng", script, 0755);
	unlink(log_path);
}

static struct speech *open_speech(enum speech_use use, enum language language)
{
	struct speech_setting setting = {
	    .use = use, .speaker = {.language = language, .rate = 0, .volume = 100}};
	struct speech *s = speech_open(&setting);
	assert_non_null(s);
	return s;
}

/* Within a second. */
static bool comes_to_speak(struct speech *s)
{
	for (int i = 0; i < 100 && !speech_speaks(s); i++)
		nap(10);
	return speech_speaks(s);
}

static void say(struct speech *s, enum turn_rank rank, const char *text, const char *position,
                int64_t seq)
{
	struct turn_item item = {.rank = rank, .what = HAPPENED_UP, .seq = seq};
	snprintf(item.text, sizeof item.text, "%s", text);
	snprintf(item.position, sizeof item.position, "%s", position);
	speech_say(s, &item);
}

static bool readable(int fd)
{
	struct pollfd p = {.fd = fd, .events = POLLIN};
	return poll(&p, 1, 0) == 1;
}

static int begin(void **state)
{
	(void)state;
	snprintf(folder, sizeof folder, "/tmp/tally-speech-XXXXXX");
	assert_non_null(mkdtemp(folder));
	snprintf(log_path, sizeof log_path, "%s/log", folder);
	snprintf(socket_path, sizeof socket_path, "%s/speechd.sock", folder);
	snprintf(old_path, sizeof old_path, "%s", getenv("PATH") ? getenv("PATH") : "");
	/* Nothing but what is made up here. */
	setenv("PATH", folder, 1);
	char address[160];
	snprintf(address, sizeof address, "unix_socket:%s", socket_path);
	setenv("SPEECHD_ADDRESS", address, 1);
	return 0;
}

static int end(void **state)
{
	(void)state;
	drop_file("espeak-ng");
	unlink(log_path);
	unlink(socket_path);
	rmdir(folder);
	setenv("PATH", old_path, 1);
	return 0;
}

/* ---- espeak-ng ---- */

static void espeak_says_what_it_is_told(void **state)
{
	char position[40];
	int64_t seq;
	(void)state;
	fake_espeak("0.7", 0, false);
	struct speech_setting setting = {.use = SPEECH_ESPEAK,
	                                 .speaker = {LANGUAGE_DE, -100, 60}};
	struct speech *s = speech_open(&setting);
	assert_true(comes_to_speak(s));
	assert_int_equal(speech_said(s), 0);
	say(s, TURN_NAME, "R zwölf, \"$(touch x)\" `y` -v", "R12", 7);
	assert_true(speech_idle(s, 3000));
	/* The text is on its standard input, as it stands. */
	expect_noted("begin [-v de -s 80 -a 60 -b 1 --stdin] R zwölf, \"$(touch x)\" `y` -v");
	expect_noted("end R zwölf");
	assert_string_equal(speech_who(s), "espeak-ng");
	assert_int_equal(speech_said(s), 1);
	/* The name was said to its end: that is told, once. */
	assert_true(readable(speech_fd(s)));
	assert_true(speech_announced(s, position, &seq));
	assert_string_equal(position, "R12");
	assert_int_equal(seq, 7);
	assert_false(speech_announced(s, position, &seq));
	assert_false(readable(speech_fd(s)));
	/* Nothing to say is nothing said. */
	say(s, TURN_RESULT, "", "", 0);
	assert_true(speech_idle(s, 1000));
	assert_int_equal(speech_said(s), 1);
	speech_close(s);
	/* How fast: 0 and 100. */
	static const struct {
		int rate;
		const char *words;
	} row[] = {{0, "-s 175 "}, {100, "-s 350 "}, {-50, "-s 128 "}};
	for (size_t i = 0; i < 3; i++) {
		setting.speaker.rate = row[i].rate;
		fake_espeak("0.2", 0, false);
		s = speech_open(&setting);
		say(s, TURN_RESULT, "x", "", 0);
		assert_true(speech_idle(s, 3000));
		expect_noted(row[i].words);
		speech_close(s);
	}
}

static void the_newest_supersedes(void **state)
{
	char position[40];
	int64_t seq;
	(void)state;
	fake_espeak("0.8", 0, false);
	struct speech *s = open_speech(SPEECH_ESPEAK, LANGUAGE_EN);
	say(s, TURN_NAME, "C seven", "C7", 1);
	expect_noted("begin [-v en -s 175 -a 100 -b 1 --stdin] C seven");
	double from = seconds();
	say(s, TURN_NAME, "C eight", "C8", 2);
	say(s, TURN_NAME, "C nine", "C9", 3); /* C8 waited, and is the past */
	expect_noted("term C seven");
	expect_noted("] C nine");
	assert_true(seconds() - from < 1.0);
	assert_null(strstr(noted(), "C eight"));
	/* A verdict cuts off a name; a name waits for a verdict. */
	say(s, TURN_RESULT, "R one outside", "R1", 0);
	expect_noted("term C nine");
	expect_noted("] R one outside");
	say(s, TURN_NAME, "R two", "R2", 4);
	nap(200);
	assert_null(strstr(noted(), "R two"));
	expect_order("end R one outside", "] R two");
	speech_close(s);
	expect_noted("term R two");
	assert_null(strstr(noted(), "end C"));
	(void)position;
	(void)seq;
}

/* What was cut off was not announced; what was said again after an alarm is, once. */
static void alarms_queue_and_cut_in(void **state)
{
	char position[40];
	int64_t seq;
	(void)state;
	fake_espeak("0.4", 0, false);
	struct speech *s = open_speech(SPEECH_ESPEAK, LANGUAGE_EN);
	say(s, TURN_NAME, "C seven", "C7", 5);
	expect_noted("] C seven");
	say(s, TURN_ALARM, "meter red is gone", "", 0);
	say(s, TURN_ALARM, "not logged", "", 0);
	say(s, TURN_RESULT, "", "", 0);
	expect_noted("term C seven");
	assert_false(speech_announced(s, position, &seq));
	assert_true(speech_idle(s, 5000));
	expect_order("end meter red is gone", "] not logged");
	expect_order("end not logged", "end C seven");
	assert_true(speech_announced(s, position, &seq));
	assert_string_equal(position, "C7");
	assert_false(speech_announced(s, position, &seq));
	/* An alarm is not cut off by anything. */
	unlink(log_path);
	say(s, TURN_ALARM, "live", "", 0);
	expect_noted("] live");
	say(s, TURN_RESULT, "newer", "", 0);
	say(s, TURN_NAME, "name", "", 0);
	assert_true(speech_idle(s, 5000));
	expect_order("end live", "] newer");
	expect_order("end newer", "] name");
	assert_null(strstr(noted(), "term"));
	speech_close(s);
}

/* Words wait for the end of their tone; what cuts off, cuts off what waits so, too. */
static void words_wait_for_their_tone(void **state)
{
	struct turn_item item = {.rank = TURN_NAME, .wait_ms = 300, .text = "C seven"};
	(void)state;
	fake_espeak("0.3", 0, false);
	struct speech *s = open_speech(SPEECH_ESPEAK, LANGUAGE_EN);
	assert_true(comes_to_speak(s));
	double from = seconds();
	speech_say(s, &item);
	expect_noted("] C seven");
	assert_true(seconds() - from >= 0.29 && seconds() - from < 1.0);
	assert_true(speech_idle(s, 3000));
	speech_say(s, &item);
	nap(50);
	assert_false(speech_idle(s, 0));
	say(s, TURN_ALARM, "not logged", "", 0);
	expect_noted("] not logged");
	assert_true(speech_idle(s, 3000));
	/* C7 was held, cut off by the alarm before it began, and said after it. */
	const char *after = strstr(noted(), "end not logged");
	assert_non_null(strstr(after, "end C seven"));
	assert_null(strstr(noted(), "term"));
	speech_close(s);
}

static void mute_cuts_off(void **state)
{
	(void)state;
	fake_espeak("2", 0, false);
	struct speech *s = open_speech(SPEECH_ESPEAK, LANGUAGE_EN);
	assert_true(comes_to_speak(s));
	say(s, TURN_ALARM, "an alarm", "", 0);
	expect_noted("] an alarm");
	say(s, TURN_NAME, "a name", "", 0);
	speech_mute(s, true);
	assert_false(speech_speaks(s));
	assert_true(readable(speech_fd(s)));
	expect_noted("term an alarm");
	assert_true(speech_idle(s, 1000));
	say(s, TURN_NAME, "another", "", 0);
	assert_true(speech_idle(s, 1000));
	assert_null(strstr(noted(), "name"));
	assert_null(strstr(noted(), "another"));
	speech_mute(s, false);
	assert_true(speech_speaks(s));
	say(s, TURN_NAME, "heard again", "", 0);
	expect_noted("] heard again");
	double from = seconds();
	speech_close(s);
	assert_true(seconds() - from < 1.0);
	expect_noted("term heard again");
}

/* One that does not go when it is asked is made to. */
static void a_deaf_child_is_killed(void **state)
{
	(void)state;
	fake_espeak("5", 0, true);
	struct speech *s = open_speech(SPEECH_ESPEAK, LANGUAGE_EN);
	say(s, TURN_NAME, "deaf", "", 0);
	expect_noted("] deaf");
	double from = seconds();
	say(s, TURN_NAME, "next", "", 0);
	expect_noted("] next");
	assert_true(seconds() - from < 1.5);
	speech_close(s);
}

static void absence_is_a_note(void **state)
{
	char note[320], position[40];
	int64_t seq;
	(void)state;
	drop_file("espeak-ng");
	unlink(log_path);
	struct speech *s = open_speech(SPEECH_AUTO, LANGUAGE_EN);
	say(s, TURN_NAME, "C seven", "C7", 1);
	assert_true(speech_idle(s, 3000));
	assert_false(speech_speaks(s));
	assert_true(readable(speech_fd(s)));
	assert_true(speech_note(s, note, sizeof note));
	print_message("  %s\n", note);
	assert_non_null(strstr(note, "no speech"));
	assert_non_null(strstr(note, "speech-dispatcher"));
	assert_non_null(strstr(note, "espeak-ng"));
	assert_false(speech_note(s, note, sizeof note));
	assert_false(speech_announced(s, position, &seq));
	say(s, TURN_NAME, "C eight", "C8", 1);
	assert_true(speech_idle(s, 3000));
	assert_false(speech_note(s, note, sizeof note)); /* once */
	assert_string_equal(speech_who(s), "");
	/* It is installed: an alarm finds it, and that is said. */
	fake_espeak("0.3", 0, false);
	say(s, TURN_ALARM, "not logged", "", 0);
	assert_true(speech_idle(s, 3000));
	expect_noted("end not logged");
	assert_true(speech_speaks(s));
	assert_true(speech_note(s, note, sizeof note));
	assert_non_null(strstr(note, "again"));
	speech_close(s);
	/* Switched off: nothing is looked for. */
	unlink(log_path);
	s = open_speech(SPEECH_NONE, LANGUAGE_EN);
	say(s, TURN_NAME, "C nine", "C9", 1);
	assert_true(speech_idle(s, 1000));
	assert_false(speech_speaks(s));
	assert_false(speech_note(s, note, sizeof note));
	assert_string_equal(noted(), "");
	speech_close(s);
	speech_close(NULL);
	assert_false(speech_speaks(NULL));
	assert_int_equal(speech_fd(NULL), -1);
}

/* It ends with a status; or, without an audio device, at once and with none.  That is no
 * announcement. */
static void a_child_that_fails_announces_nothing(void **state)
{
	char note[320], position[40];
	int64_t seq;
	(void)state;
	for (int status = 0; status < 2; status++) {
		fake_espeak(status ? "0.2" : "0", status, false);
		struct speech *s = open_speech(SPEECH_ESPEAK, LANGUAGE_EN);
		say(s, TURN_NAME, "C seven, which takes longer than this child", "C7", 1);
		assert_true(speech_idle(s, 3000));
		assert_false(speech_announced(s, position, &seq));
		assert_false(speech_speaks(s));
		assert_true(speech_note(s, note, sizeof note));
		assert_non_null(strstr(note, "espeak-ng failed"));
		/* Said once, though it is tried again with every alarm. */
		say(s, TURN_ALARM, "not logged, the disk is full", "", 0);
		assert_true(speech_idle(s, 3000));
		assert_false(speech_note(s, note, sizeof note));
		speech_close(s);
	}
}

/* ---- the made-up server ---- */

enum manner {
	GOOD,      /* ends an utterance after `ms` */
	ENDLESS,   /* tells no end */
	MUTE,      /* takes the connection and never answers */
	RUDE,      /* refuses SPEAK */
	LEAVES,    /* closes when it is to speak, the first time */
	BABBLES,   /* events of others, and lines that are none, before every answer */
};

struct server {
	int listener, client;
	enum manner manner;
	_Atomic int ms;
	_Atomic bool stop;
	pthread_t thread;
	int messages, left;
	int speaking; /* message; 0: none */
	double until;
};

static void note_line(const char *what, const char *line)
{
	FILE *f = fopen(log_path, "a");
	assert_non_null(f);
	fprintf(f, "%s%s\n", what, line);
	fclose(f);
}

static void tell(struct server *v, const char *format, ...)
{
	char line[256];
	va_list args;
	va_start(args, format);
	vsnprintf(line, sizeof line, format, args);
	va_end(args);
	send(v->client, line, strlen(line), MSG_NOSIGNAL);
}

static void serve_line(struct server *v, const char *line, bool *text)
{
	if (*text && strcmp(line, ".") != 0) {
		note_line("says ", line);
		return;
	}
	if (v->manner == BABBLES)
		tell(v, "702-999\r\n702-1\r\n702 END\r\nnonsense\r\n\r\n700-1\r\n700-1\r\n700-mark\r\n"
		     "700 INDEX MARK\r\n");
	if (*text) {
		*text = false;
		v->speaking = ++v->messages;
		v->until = seconds() + v->ms / 1000.0;
		tell(v, "225-%d\r\n225 OK MESSAGE QUEUED\r\n", v->speaking);
		tell(v, "701-%d\r\n701-1\r\n701 BEGIN\r\n", v->speaking);
		return;
	}
	note_line("< ", line);
	if (v->manner == MUTE)
		return;
	if (strcmp(line, "SPEAK") == 0 && v->manner == RUDE) {
		tell(v, "304 ERR NOT ALLOWED\r\n");
	} else if (strcmp(line, "SPEAK") == 0 && v->manner == LEAVES && !v->left) {
		v->left = 1;
		shutdown(v->client, SHUT_RDWR);
	} else if (strcmp(line, "SPEAK") == 0) {
		*text = true;
		tell(v, "230 OK RECEIVING DATA\r\n");
	} else if (strcmp(line, "CANCEL SELF") == 0) {
		tell(v, "210 OK STOPPED\r\n");
		if (v->speaking)
			tell(v, "703-%d\r\n703-1\r\n703 CANCELED\r\n", v->speaking);
		v->speaking = 0;
	} else {
		tell(v, "2%02d OK\r\n", (int)strlen(line) % 20);
	}
}

static void serve_client(struct server *v)
{
	char in[4096];
	size_t len = 0;
	bool text = false;
	while (!v->stop) {
		struct pollfd p = {.fd = v->client, .events = POLLIN};
		if (poll(&p, 1, 5) == 1) {
			ssize_t n = recv(v->client, in + len, sizeof in - len - 1, 0);
			if (n <= 0)
				return;
			len += (size_t)n;
			in[len] = '\0';
			for (char *end; (end = strstr(in, "\r\n"));) {
				*end = '\0';
				serve_line(v, in, &text);
				len -= (size_t)(end + 2 - in);
				memmove(in, end + 2, len + 1);
			}
		}
		if (v->speaking && v->manner != ENDLESS && seconds() > v->until) {
			note_line("ended", "");
			tell(v, "702-%d\r\n702-1\r\n702 END\r\n", v->speaking);
			v->speaking = 0;
		}
	}
}

static void *serve(void *arg)
{
	struct server *v = arg;
	while (!v->stop) {
		struct pollfd p = {.fd = v->listener, .events = POLLIN};
		if (poll(&p, 1, 10) != 1)
			continue;
		v->client = accept(v->listener, NULL, NULL);
		v->speaking = 0;
		serve_client(v);
		close(v->client);
	}
	return NULL;
}

static struct server *start_server(enum manner manner, int ms)
{
	struct server *v = calloc(1, sizeof *v);
	struct sockaddr_un address = {.sun_family = AF_UNIX};
	assert_non_null(v);
	unlink(log_path);
	unlink(socket_path);
	snprintf(address.sun_path, sizeof address.sun_path, "%s", socket_path);
	v->manner = manner;
	v->ms = ms;
	v->listener = socket(AF_UNIX, SOCK_STREAM, 0);
	assert_int_equal(bind(v->listener, (struct sockaddr *)&address, sizeof address), 0);
	assert_int_equal(listen(v->listener, 4), 0);
	assert_int_equal(pthread_create(&v->thread, NULL, serve, v), 0);
	return v;
}

static void stop_server(struct server *v)
{
	v->stop = true;
	pthread_join(v->thread, NULL);
	close(v->listener);
	unlink(socket_path);
	free(v);
}

static void a_server_says_what_it_is_told(void **state)
{
	static const enum manner manners[] = {GOOD, BABBLES};
	char position[40];
	int64_t seq;
	(void)state;
	for (size_t i = 0; i < 2; i++) {
		struct server *v = start_server(manners[i], 100);
		struct speech_setting setting = {.use = SPEECH_AUTO,
		                                 .speaker = {LANGUAGE_DE, 20, 75}};
		fake_espeak("1", 0, false);
		struct speech *s = speech_open(&setting);
		say(s, TURN_NAME, ".acht Komma fünf", "C8", 9);
		assert_true(speech_idle(s, 3000));
		assert_string_equal(speech_who(s), "speech-dispatcher");
		expect_noted("< SET SELF CLIENT_NAME tally:tally:bench");
		expect_noted("< SET SELF LANGUAGE de");
		expect_noted("< SET SELF RATE 20");
		expect_noted("< SET SELF VOLUME 50");
		expect_noted("< SET SELF NOTIFICATION ALL on");
		expect_noted("< SET SELF PRIORITY TEXT");
		expect_noted("says ..acht Komma fünf\n"); /* its point is doubled */
		assert_true(speech_announced(s, position, &seq));
		assert_string_equal(position, "C8");
		say(s, TURN_ALARM, "nicht aufgezeichnet", "", 0);
		assert_true(speech_idle(s, 3000));
		expect_order("< SET SELF PRIORITY IMPORTANT", "says nicht aufgezeichnet");
		assert_int_equal(speech_said(s), 2);
		speech_close(s);
		expect_noted("< QUIT");
		assert_null(strstr(noted(), "begin")); /* espeak-ng was not needed */
		stop_server(v);
	}
}

static void a_server_is_cut_off(void **state)
{
	char position[40];
	int64_t seq;
	(void)state;
	struct server *v = start_server(GOOD, 3000);
	struct speech *s = open_speech(SPEECH_DISPATCHER, LANGUAGE_EN);
	say(s, TURN_NAME, "C seven", "C7", 1);
	expect_noted("says C seven");
	say(s, TURN_NAME, "C eight", "C8", 2);
	expect_order("< CANCEL SELF", "says C eight");
	v->ms = 50;
	say(s, TURN_ALARM, "gone", "", 0);
	assert_true(speech_idle(s, 4000));
	expect_noted("says gone");
	/* The alarm cut off C8, which was said again: announced once, C7 never. */
	assert_true(speech_announced(s, position, &seq));
	assert_string_equal(position, "C8");
	assert_false(speech_announced(s, position, &seq));
	assert_null(strstr(strstr(noted(), "says C eight"), "C seven"));
	speech_close(s);
	stop_server(v);
}

/* A server that hangs, refuses or goes away: the other speaker says it. */
static void a_bad_server_is_left(void **state)
{
	static const enum manner manners[] = {MUTE, RUDE};
	char position[40];
	int64_t seq;
	(void)state;
	for (size_t i = 0; i < 2; i++) {
		struct server *v = start_server(manners[i], 50);
		struct speech *s = open_speech(SPEECH_AUTO, LANGUAGE_EN);
		fake_espeak("0.3", 0, false);
		double from = seconds();
		say(s, TURN_NAME, "C seven", "C7", 1);
		assert_true(seconds() - from < 0.2);
		assert_true(speech_idle(s, 5000));
		expect_noted("end C seven");
		assert_true(speech_announced(s, position, &seq));
		/* And it is not waited for again with every name. */
		from = seconds();
		say(s, TURN_NAME, "C eight", "C8", 1);
		assert_true(speech_idle(s, 5000));
		assert_true(seconds() - from < 1.0);
		speech_close(s);
		stop_server(v);
	}
	/* It closed the connection: once more with a new one. */
	struct server *v = start_server(LEAVES, 50);
	struct speech *s = open_speech(SPEECH_DISPATCHER, LANGUAGE_EN);
	say(s, TURN_ALARM, "gone", "", 0);
	assert_true(speech_idle(s, 5000));
	say(s, TURN_ALARM, "and back", "", 0);
	assert_true(speech_idle(s, 5000));
	expect_noted("says and back");
	speech_close(s);
	stop_server(v);
}

/* No end is told: after the time that it may take the other speaker says it. */
static void an_endless_server_is_left(void **state)
{
	char position[40];
	int64_t seq;
	(void)state;
	struct server *v = start_server(ENDLESS, 0);
	fake_espeak("0.3", 0, false);
	struct speech *s = open_speech(SPEECH_AUTO, LANGUAGE_EN);
	say(s, TURN_NAME, "C", "C7", 1);
	assert_true(speech_idle(s, 8000));
	expect_noted("end C");
	assert_true(speech_announced(s, position, &seq));
	speech_close(s);
	stop_server(v);
}

static void words_of_settings(void **state)
{
	enum speech_use use = SPEECH_NONE;
	char path[256];
	(void)state;
	assert_true(speech_use_from_name("auto", &use));
	assert_int_equal(use, SPEECH_AUTO);
	assert_true(speech_use_from_name("espeak-ng", &use));
	assert_int_equal(use, SPEECH_ESPEAK);
	assert_false(speech_use_from_name("festive", &use));
	assert_false(speech_use_from_name(NULL, &use));
	/* Where the server is. */
	char kept[200];
	snprintf(kept, sizeof kept, "%s", getenv("SPEECHD_ADDRESS"));
	assert_true(ssip_path(path, sizeof path));
	assert_string_equal(path, socket_path);
	setenv("SPEECHD_ADDRESS", "inet_socket:localhost:6560", 1);
	assert_false(ssip_path(path, sizeof path));
	unsetenv("SPEECHD_ADDRESS");
	setenv("XDG_RUNTIME_DIR", "/nowhere/run", 1);
	assert_true(ssip_path(path, sizeof path));
	assert_string_equal(path, "/nowhere/run/speech-dispatcher/speechd.sock");
	assert_false(ssip_path(path, 20));
	setenv("SPEECHD_ADDRESS", kept, 1);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(espeak_says_what_it_is_told),
	    cmocka_unit_test(the_newest_supersedes),
	    cmocka_unit_test(alarms_queue_and_cut_in),
	    cmocka_unit_test(words_wait_for_their_tone),
	    cmocka_unit_test(mute_cuts_off),
	    cmocka_unit_test(a_deaf_child_is_killed),
	    cmocka_unit_test(absence_is_a_note),
	    cmocka_unit_test(a_child_that_fails_announces_nothing),
	    cmocka_unit_test(a_server_says_what_it_is_told),
	    cmocka_unit_test(a_server_is_cut_off),
	    cmocka_unit_test(a_bad_server_is_left),
	    cmocka_unit_test(an_endless_server_is_left),
	    cmocka_unit_test(words_of_settings),
	};
	return cmocka_run_group_tests(tests, begin, end);
}

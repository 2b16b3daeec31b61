/* SPDX-License-Identifier: MIT */
/* See say.h.  The journal's protocol: fields KEY=VALUE LF in one datagram; a value with an
 * LF in it is written KEY LF, its length as 64 bits little endian, the value, LF. */
#include "daemon/say.h"
#include "daemon/say_limit.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

#define JOURNAL "/run/systemd/journal/socket"
/* Meters, clients, log; beyond it a new source takes the place of the one that was
 * silent longest. */
#define SOURCES_MAX 80

struct source {
	char name[64];
	bool meter;
	struct say_limit limit;
};

static struct {
	int journal;  /* -1: there is none */
	bool all;     /* nothing is left out */
	bool prefix;  /* standard error is the journal's all the same */
	int sources;
	struct source source[SOURCES_MAX];
} sayer = {.journal = -1};

/* Is standard error the stream that the journal made for us? */
static bool is_journal(void)
{
	const char *stream = getenv("JOURNAL_STREAM");
	unsigned long long dev = 0, ino = 0;
	struct stat st;
	return stream && sscanf(stream, "%llu:%llu", &dev, &ino) == 2 && fstat(2, &st) == 0 &&
	       (unsigned long long)st.st_dev == dev && (unsigned long long)st.st_ino == ino;
}

void say_begin(void)
{
	/* Another path is for tests. */
	const char *path = getenv("TALLY_JOURNAL");
	struct sockaddr_un to = {.sun_family = AF_UNIX};
	sayer.prefix = is_journal();
	if (!sayer.prefix || sayer.journal >= 0)
		return;
	snprintf(to.sun_path, sizeof to.sun_path, "%s", path ? path : JOURNAL);
	int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
	if (fd >= 0 && connect(fd, (const struct sockaddr *)&to, sizeof to) == 0)
		sayer.journal = fd;
	else if (fd >= 0)
		close(fd);
}

void say_end(void)
{
	if (sayer.journal >= 0)
		close(sayer.journal);
	sayer.journal = -1;
	sayer.sources = 0;
}

/* ---- one line ---- */

static size_t add_field(char *out, size_t size, size_t at, const char *key, const char *value)
{
	size_t len = strlen(value), key_len = strlen(key);
	if (at + key_len + len + 16 > size)
		return at;
	memcpy(out + at, key, key_len);
	at += key_len;
	if (strchr(value, '\n')) {
		out[at++] = '\n';
		for (int i = 0; i < 8; i++)
			out[at++] = (char)((uint64_t)len >> (8 * i) & 0xff);
	} else {
		out[at++] = '=';
	}
	memcpy(out + at, value, len);
	at += len;
	out[at++] = '\n';
	return at;
}

static bool to_journal(const struct say_about *about, int level, const char *text)
{
	char bytes[4096], number[32];
	if (sayer.journal < 0)
		return false;
	snprintf(number, sizeof number, "%d", level);
	size_t n = add_field(bytes, sizeof bytes, 0, "MESSAGE", text);
	n = add_field(bytes, sizeof bytes, n, "PRIORITY", number);
	n = add_field(bytes, sizeof bytes, n, "SYSLOG_IDENTIFIER", "tallyd");
	if (about->event)
		n = add_field(bytes, sizeof bytes, n, "TALLY_EVENT", about->event);
	if (about->meter)
		n = add_field(bytes, sizeof bytes, n, "METER", about->meter);
	if (about->port && about->port[0])
		n = add_field(bytes, sizeof bytes, n, "PORT", about->port);
	snprintf(number, sizeof number, "%lld", (long long)about->seq);
	if (about->seq)
		n = add_field(bytes, sizeof bytes, n, "SEQ", number);
	return send(sayer.journal, bytes, n, MSG_NOSIGNAL | MSG_DONTWAIT) == (ssize_t)n;
}

static void put(const struct say_about *about, const char *text)
{
	int level = about->level ? (int)about->level : SAY_INFO;
	if (to_journal(about, level, text))
		return;
	if (sayer.prefix)
		fprintf(stderr, "<%d>%s\n", level, text);
	else
		fprintf(stderr, "tallyd: %s\n", text);
}

/* ---- not too many ---- */

static int64_t now_us(void)
{
	struct timespec ts;
	clock_gettime(CLOCK_MONOTONIC, &ts);
	return (int64_t)ts.tv_sec * 1000000 + ts.tv_nsec / 1000;
}

static struct source *source_of(const char *name, bool meter)
{
	int oldest = 0;
	for (int i = 0; i < sayer.sources; i++) {
		struct source *s = &sayer.source[i];
		if (s->meter == meter && strncmp(s->name, name, sizeof s->name - 1) == 0)
			return s;
		if (s->limit.last_at < sayer.source[oldest].limit.last_at)
			oldest = i;
	}
	struct source *s = &sayer.source[sayer.sources < SOURCES_MAX ? sayer.sources++ : oldest];
	memset(s, 0, sizeof *s);
	snprintf(s->name, sizeof s->name, "%s", name);
	s->meter = meter;
	return s;
}

void say_all(void)
{
	sayer.all = true;
}

static void say_summary(struct source *s, int64_t t)
{
	char text[SAY_LINE_SIZE + 160];
	uint64_t left_out;
	int64_t since;
	if (!say_limit_due(&s->limit, t, &left_out, &since))
		return;
	struct say_about about = {.level = SAY_WARNING, .event = "left-out",
	                          .meter = s->meter ? s->name : NULL};
	snprintf(text, sizeof text, "%s: %llu lines were left out in the last %lld s; the last one: %s",
	         s->name, (unsigned long long)left_out, (long long)((t - since) / 1000000),
	         s->limit.last);
	put(&about, text);
}

void say_left_out(void)
{
	int64_t t = now_us();
	for (int i = 0; i < sayer.sources; i++)
		say_summary(&sayer.source[i], t);
}

static void __attribute__((format(printf, 2, 0)))
say_list(const struct say_about *about, const char *format, va_list args)
{
	char text[1024];
	const char *name = about->meter ? about->meter : about->source;
	vsnprintf(text, sizeof text, format, args);
	if (name) {
		struct source *s = source_of(name, about->meter != NULL);
		int64_t t = now_us();
		say_summary(s, t);
		if (!sayer.all && !say_limit_take(&s->limit, t, text))
			return;
	}
	put(about, text);
}

void say_of(const struct say_about *about, const char *format, ...)
{
	va_list args;
	va_start(args, format);
	say_list(about, format, args);
	va_end(args);
}

void say(const char *format, ...)
{
	va_list args;
	va_start(args, format);
	say_list(&(struct say_about){0}, format, args);
	va_end(args);
}

int say_fault(const struct fault *why)
{
	char line[700];
	fault_text(why, line, sizeof line);
	say_of(&(struct say_about){.level = SAY_ERROR}, "%s", line);
	return 2;
}

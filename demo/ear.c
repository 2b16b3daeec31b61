/* SPDX-License-Identifier: MIT */
/* See ear.h. */
#include "ear.h"

#include "tape.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

static const char *socket_path;
static int ear = -1;
static double ear_retry;
static char heard[1 << 16];
static size_t heard_len;
static char called[40];        /* the name that was called last */
static char logged_name[40];   /* the position of the last value logged */
static unsigned logged_count;

/* The text after "KEY":" in a line without spaces, up to the next quote. */
static bool text_of(const char *line, const char *key, char *out, size_t size)
{
	char mark[40];
	snprintf(mark, sizeof mark, "\"%s\":\"", key);
	const char *at = strstr(line, mark);
	if (!at)
		return false;
	at += strlen(mark);
	snprintf(out, size, "%.*s", (int)strcspn(at, "\""), at);
	return true;
}

static void hear_line(char *line)
{
	char event[32], position[40];
	char *to = line;
	for (char *from = line; *from; from++)
		if (*from != ' ')
			*to++ = *from;
	*to = '\0';
	if (!strstr(line, "\"method\":\"event\"") || !text_of(line, "event", event, sizeof event) ||
	    !text_of(line, "position", position, sizeof position))
		return;
	if (strcmp(event, "up") == 0)
		memcpy(called, position, sizeof called);
	if (strcmp(event, "logged") == 0) {
		memcpy(logged_name, position, sizeof logged_name);
		logged_count++;
	}
}

static void connect_to(const char *path)
{
	static const char hello[] =
	    "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"hello\",\"params\":{\"protocol\":1,"
	    "\"client\":\"demo-hands\"}}\n"
	    "{\"jsonrpc\":\"2.0\",\"id\":2,\"method\":\"watch\",\"params\":{}}\n";
	struct sockaddr_un to = { .sun_family = AF_UNIX };
	if (strlen(path) >= sizeof to.sun_path)
		stop("the path of the socket is too long: %s", path);
	strcpy(to.sun_path, path);
	ear = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
	if (ear >= 0 && (connect(ear, (struct sockaddr *)&to, sizeof to) < 0 ||
	                 write(ear, hello, sizeof hello - 1) != (ssize_t)sizeof hello - 1)) {
		close(ear);
		ear = -1;
	}
	if (ear >= 0)
		fcntl(ear, F_SETFL, O_NONBLOCK);
}

void ear_hear(void)
{
	ssize_t n = read(ear, heard + heard_len, sizeof heard - 1 - heard_len);
	if (n == 0 || (n < 0 && errno != EAGAIN)) {
		close(ear);
		ear = -1;
		return;
	}
	heard_len += n > 0 ? (size_t)n : 0;
	heard[heard_len] = '\0';
	char *line = heard, *end;
	while ((end = strchr(line, '\n'))) {
		*end = '\0';
		hear_line(line);
		line = end + 1;
	}
	heard_len = strlen(line);
	memmove(heard, line, heard_len + 1);
	if (heard_len == sizeof heard - 1) /* no line that the hands care for is so long */
		heard_len = 0;
}

void ear_at(const char *path)
{
	socket_path = path;
}

bool ear_is(void)
{
	return socket_path != NULL;
}

void ear_try(double t)
{
	if (!socket_path || ear >= 0 || t < ear_retry)
		return;
	ear_retry = t + 0.1;
	connect_to(socket_path);
}

int ear_fd(void)
{
	return ear;
}

bool ear_called(const char *position)
{
	bool it = strcmp(called, position) == 0;
	if (it)
		called[0] = '\0';
	return it;
}

unsigned ear_logged(void)
{
	return logged_count;
}

bool ear_logged_at(const char *position)
{
	return strcmp(logged_name, position) == 0;
}

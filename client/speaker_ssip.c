/* SPDX-License-Identifier: MIT */
/* speech-dispatcher's socket: see speaker.h. */
#include "client/speaker.h"

#include "client/clock.h"
#include "client/spawn.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

extern char **environ;

/* ---- where it is ---- */

bool ssip_path(char *out, size_t size)
{
	const char *address = getenv("SPEECHD_ADDRESS");
	const char *run = getenv("XDG_RUNTIME_DIR"), *home = getenv("HOME");
	int n = -1;
	if (address && strncmp(address, "unix_socket:", 12) == 0 && address[12])
		n = snprintf(out, size, "%s", address + 12);
	else if (address && address[0] && strcmp(address, "unix_socket") != 0)
		return false;
	else if (run && run[0])
		n = snprintf(out, size, "%s/speech-dispatcher/speechd.sock", run);
	else if (home && home[0])
		n = snprintf(out, size, "%s/.cache/speech-dispatcher/speechd.sock", home);
	return n > 0 && (size_t)n < size;
}

static int connect_to(const char *path)
{
	struct sockaddr_un address = {.sun_family = AF_UNIX};
	if (strlen(path) >= sizeof address.sun_path)
		return -ENAMETOOLONG;
	strcpy(address.sun_path, path);
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
	if (fd < 0)
		return -errno;
	if (connect(fd, (struct sockaddr *)&address, sizeof address) == 0)
		return fd;
	int error = errno;
	close(fd);
	return -error;
}

static void nap(int ms)
{
	struct timespec t = {0, (long)ms * 1000000};
	nanosleep(&t, NULL);
}

/* It puts itself into the background and ends; where it does not, it is left alone. */
static bool start_server(void)
{
	char program[PATH_MAX];
	posix_spawn_file_actions_t actions;
	posix_spawnattr_t attributes;
	sigset_t none;
	pid_t pid;
	if (!spawn_find("speech-dispatcher", program))
		return false;
	char *args[] = {(char[]){"speech-dispatcher"}, (char[]){"--spawn"}, NULL};
	sigemptyset(&none);
	posix_spawn_file_actions_init(&actions);
	posix_spawnattr_init(&attributes);
	for (int fd = 0; fd < 3; fd++)
		posix_spawn_file_actions_addopen(&actions, fd, "/dev/null", O_RDWR, 0);
	posix_spawnattr_setsigmask(&attributes, &none);
	posix_spawnattr_setpgroup(&attributes, 0);
	posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETPGROUP);
	int error = posix_spawn(&pid, program, &actions, &attributes, args, environ);
	posix_spawn_file_actions_destroy(&actions);
	posix_spawnattr_destroy(&attributes);
	for (int ms = 0; !error && ms < SPEAKER_WAIT_MS; ms += 20) {
		int status;
		if (waitpid(pid, &status, WNOHANG) == pid)
			return WIFEXITED(status) && WEXITSTATUS(status) == 0;
		nap(20);
	}
	return false;
}

/* ---- lines ---- */

static bool wait_for(int fd, short what, int ms)
{
	struct pollfd p = {.fd = fd, .events = what};
	int got;
	do
		got = poll(&p, 1, ms);
	while (got < 0 && errno == EINTR);
	return got > 0;
}

static bool send_all(struct ssip *s, const char *bytes, size_t n)
{
	while (n) {
		ssize_t done = send(s->fd, bytes, n, MSG_NOSIGNAL);
		if (done < 0 && errno == EINTR)
			continue;
		if (done < 0 && errno == EAGAIN && wait_for(s->fd, POLLOUT, SPEAKER_WAIT_MS))
			continue;
		if (done < 0)
			return false;
		bytes += done;
		n -= (size_t)done;
	}
	return true;
}

/* Read what is there: false where the other side is gone.  A line longer than the room
 * is no line of this protocol. */
static bool fill(struct ssip *s)
{
	if (s->len == sizeof s->in)
		return false;
	ssize_t n = recv(s->fd, s->in + s->len, sizeof s->in - s->len, 0);
	if (n > 0)
		s->len += (size_t)n;
	return n > 0 || (n < 0 && (errno == EAGAIN || errno == EINTR));
}

/* Take one whole line out: its code and what stands between code and text ('-': more
 * lines follow); false where there is none yet. */
static bool take_line(struct ssip *s, int *code, char *mark, char *text, size_t size)
{
	char *end = memchr(s->in, '\n', s->len);
	if (!end)
		return false;
	size_t n = (size_t)(end - s->in);
	char line[sizeof s->in + 1];
	memcpy(line, s->in, n);
	line[n && line[n - 1] == '\r' ? n - 1 : n] = '\0';
	s->len -= n + 1;
	memmove(s->in, end + 1, s->len);
	*code = 0;
	*mark = ' ';
	text[0] = '\0';
	if (strlen(line) >= 3 && strspn(line, "0123456789") >= 3) {
		*code = (line[0] - '0') * 100 + (line[1] - '0') * 10 + (line[2] - '0');
		*mark = line[3] ? line[3] : ' ';
		const char *rest = line[3] ? line + 4 : "";
		size_t length = strlen(rest) < size ? strlen(rest) : size - 1;
		memcpy(text, rest, length);
		text[length] = '\0';
	}
	return true;
}

/* 701-MESSAGE, 701-CLIENT, 701 BEGIN: the first of the three says what it is about. */
static void take_event(struct ssip *s, int code, char mark, const char *text)
{
	if (mark == '-') {
		if (!s->event)
			s->event = strtol(text, NULL, 10);
		return;
	}
	/* 702 end, 703 cancelled. */
	if ((code == 702 || code == 703) && s->event == s->message)
		s->ended = true;
	s->event = 0;
}

/* The answer to a command: its code, 0 where none came in time.  Text of its first
 * line. */
static int answer(struct ssip *s, char *first, size_t size)
{
	char text[128], mark;
	int code;
	bool begun = false;
	int64_t until = clock_ms() + SPEAKER_WAIT_MS;
	for (;;) {
		if (take_line(s, &code, &mark, text, sizeof text)) {
			if (code / 100 == 7)
				take_event(s, code, mark, text);
			/* An event, or a line that is none of this protocol: not the answer. */
			if (code / 100 == 7 || !code)
				continue;
			if (!begun && first)
				snprintf(first, size, "%.*s", (int)size - 1, text);
			begun = true;
			if (mark != '-')
				return code;
			continue;
		}
		int64_t left = until - clock_ms();
		if (left <= 0 || !wait_for(s->fd, POLLIN, (int)left) || !fill(s))
			return 0;
	}
	return 0;
}

static int command(struct ssip *s, const char *line)
{
	char text[160];
	int n = snprintf(text, sizeof text, "%s\r\n", line);
	return send_all(s, text, (size_t)n) ? answer(s, NULL, 0) : 0;
}

static bool commandf(struct ssip *s, struct fault *why, const char *format, ...)
{
	char line[128];
	va_list args;
	va_start(args, format);
	vsnprintf(line, sizeof line, format, args);
	va_end(args);
	int code = command(s, line);
	if (code / 100 == 2)
		return true;
	fault_set(why, "speech-dispatcher: %.60s: %s %d", line, code ? "refused," : "no answer,", code);
	return false;
}

/* ---- for speech.c ---- */

bool ssip_open(struct ssip *s, const struct speaker_setting *setting, struct fault *why)
{
	char path[256];
	*s = (struct ssip){.fd = -1};
	if (!ssip_path(path, sizeof path)) {
		fault_set(why, "no Unix socket of speech-dispatcher is known");
		return false;
	}
	int fd = connect_to(path);
	bool nobody = fd == -ENOENT || fd == -ECONNREFUSED;
	const char *address = getenv("SPEECHD_ADDRESS");
	if (nobody && !(address && address[0]) && start_server())
		for (int ms = 0; fd < 0 && ms < SPEAKER_WAIT_MS; ms += 50) {
			fd = connect_to(path);
			if (fd < 0)
				nap(50);
		}
	if (fd < 0) {
		fault_set(why, "speech-dispatcher does not answer at %.120s: %s", path, strerror(-fd));
		return false;
	}
	s->fd = fd;
	if (commandf(s, why, "SET SELF CLIENT_NAME tally:tally:bench") &&
	    commandf(s, why, "SET SELF LANGUAGE %s", language_name(setting->language)) &&
	    commandf(s, why, "SET SELF RATE %d", setting->rate) &&
	    /* Its volumes go from -100 to 100. */
	    commandf(s, why, "SET SELF VOLUME %d", setting->volume * 2 - 100) &&
	    commandf(s, why, "SET SELF NOTIFICATION ALL on"))
		return true;
	ssip_close(s);
	return false;
}

/* One line; a point at its start would end the text. */
static bool send_text(struct ssip *s, const char *text)
{
	size_t n = strcspn(text, "\r\n");
	return (text[0] != '.' || send_all(s, ".", 1)) && send_all(s, text, n) &&
	       send_all(s, "\r\n.\r\n", 5);
}

bool ssip_say(struct ssip *s, const char *text, bool alarm, struct fault *why)
{
	char first[32] = "";
	s->ended = false;
	s->message = -1;
	if (!commandf(s, why, "SET SELF PRIORITY %s", alarm ? "IMPORTANT" : "TEXT") ||
	    !commandf(s, why, "SPEAK"))
		return false;
	int code = send_text(s, text) ? answer(s, first, sizeof first) : 0;
	if (code == 225) {
		s->message = strtol(first, NULL, 10);
		return true;
	}
	fault_set(why, "speech-dispatcher takes no text: %d", code);
	return false;
}

bool ssip_stop(struct ssip *s)
{
	return command(s, "CANCEL SELF") / 100 == 2;
}

enum spoken ssip_poll(struct ssip *s)
{
	char text[128], mark;
	int code;
	bool there = s->fd >= 0 && fill(s);
	while (take_line(s, &code, &mark, text, sizeof text))
		if (code / 100 == 7)
			take_event(s, code, mark, text);
	return s->ended ? SPOKEN_ENDED : there ? SPOKEN_GOING : SPOKEN_LOST;
}

void ssip_close(struct ssip *s)
{
	if (s->fd < 0)
		return;
	send_all(s, "QUIT\r\n", 6);
	close(s->fd);
	s->fd = -1;
}

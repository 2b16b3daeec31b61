/* SPDX-License-Identifier: MIT */
/* See spawn.h. */
#include "client/spawn.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <spawn.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

extern char **environ;

static bool runs(const char *path)
{
	return access(path, X_OK) == 0;
}

/* Beside our own executable. */
static bool find_beside(const char *program, char out[PATH_MAX])
{
	char self[PATH_MAX];
	ssize_t n = readlink("/proc/self/exe", self, sizeof self - 1);
	if (n <= 0)
		return false;
	self[n] = '\0';
	char *slash = strrchr(self, '/');
	if (!slash)
		return false;
	*slash = '\0';
	return snprintf(out, PATH_MAX, "%s/%s", self, program) < PATH_MAX && runs(out);
}

bool spawn_find(const char *program, char out[PATH_MAX])
{
	const char *path = getenv("PATH");
	while (path && *path) {
		int n = (int)strcspn(path, ":");
		/* An empty part of PATH is the working directory: not taken, what lies
		 * there is not ours to run. */
		if (n > 0 && snprintf(out, PATH_MAX, "%.*s/%s", n, path, program) < PATH_MAX &&
		    runs(out))
			return true;
		path += n + (path[n] == ':');
	}
	return false;
}

bool spawn_find_ours(const char *program, char out[PATH_MAX])
{
	return find_beside(program, out) || spawn_find(program, out);
}

#define ARGUMENTS_MAX 8

static bool start(struct spawn *s, int theirs, char *program, const char *const *arguments,
                  struct fault *why)
{
	char *args[ARGUMENTS_MAX + 2] = {program};
	/* posix_spawn changes none of them; its type is older than const. */
	for (int i = 0; i < ARGUMENTS_MAX && arguments[i]; i++)
		args[i + 1] = (char *)(uintptr_t)arguments[i];
	posix_spawn_file_actions_t actions;
	posix_spawnattr_t attributes;
	sigset_t standard;
	sigemptyset(&standard);
	sigaddset(&standard, SIGPIPE);
	posix_spawn_file_actions_init(&actions);
	posix_spawnattr_init(&attributes);
	posix_spawn_file_actions_adddup2(&actions, theirs, 0);
	posix_spawn_file_actions_adddup2(&actions, theirs, 1);
	posix_spawnattr_setsigdefault(&attributes, &standard);
	posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETSIGDEF);
	int error = posix_spawn(&s->pid, program, &actions, &attributes, args, environ);
	posix_spawn_file_actions_destroy(&actions);
	posix_spawnattr_destroy(&attributes);
	if (error)
		fault_at(why, program, 0, 0, "does not start: %s", strerror(error));
	return error == 0;
}

/* Descriptors 0 to 2 must stay what they are: the line is put above them. */
static int above_standard(int fd)
{
	if (fd > 2)
		return fd;
	int higher = fcntl(fd, F_DUPFD_CLOEXEC, 3);
	close(fd);
	return higher;
}

bool spawn_run(const char *program, const char *const *arguments, struct spawn *out,
               struct fault *why)
{
	char found[PATH_MAX];
	int pair[2];
	if (program)
		snprintf(found, sizeof found, "%s", program);
	else if (!find_beside("tallyd", found) && !spawn_find("tallyd", found)) {
		fault_set(why, "tallyd, which answers this, is neither beside tally nor on PATH");
		return false;
	}
	if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, pair) != 0) {
		fault_set(why, "no line to a daemon of our own: %s", strerror(errno));
		return false;
	}
	int ours = above_standard(pair[0]), theirs = above_standard(pair[1]);
	bool ok = ours >= 0 && theirs >= 0;
	if (!ok)
		fault_set(why, "no line to a daemon of our own: %s", strerror(errno));
	ok = ok && start(out, theirs, found, arguments, why);
	if (theirs >= 0)
		close(theirs);
	if (!ok && ours >= 0)
		close(ours);
	out->fd = ours;
	return ok;
}

bool spawn_open(const char *program, const char *file, struct spawn *out, struct fault *why)
{
	char name[PATH_MAX];
	/* A file that begins with '-' must not be taken for an option. */
	snprintf(name, sizeof name, "%s%s", file[0] == '-' ? "./" : "", file);
	const char *const serve[] = {"--serve", name, NULL};
	return spawn_run(program, serve, out, why);
}

/* Up to `ms` for the end of the child; true where it came. */
static bool wait_end(pid_t pid, int ms, int *status)
{
	const struct timespec nap = {0, 10000000};
	for (int waited = 0; waited <= ms; waited += 10) {
		pid_t got = waitpid(pid, status, WNOHANG);
		if (got == pid)
			return true;
		if (got < 0 && errno != EINTR) {
			*status = 0;
			return true;
		}
		nanosleep(&nap, NULL);
	}
	return false;
}

bool spawn_give(struct spawn *s, const char *bytes, size_t len, const volatile sig_atomic_t *stop)
{
	char said[256];
	size_t at = 0;
	while (at < len && !(stop && *stop)) {
		ssize_t n = write(s->fd, bytes + at, len - at);
		if (n < 0 && errno != EINTR)
			break;
		at += n > 0 ? (size_t)n : 0;
	}
	shutdown(s->fd, SHUT_WR);
	while (!(stop && *stop)) {
		ssize_t n = read(s->fd, said, sizeof said);
		if (n == 0 || (n < 0 && errno != EINTR))
			break;
	}
	return at == len;
}

int spawn_close(struct spawn *s)
{
	int status = 0;
	close(s->fd);
	s->fd = -1;
	if (!wait_end(s->pid, 2000, &status)) {
		kill(s->pid, SIGTERM);
		if (!wait_end(s->pid, 2000, &status)) {
			kill(s->pid, SIGKILL);
			while (waitpid(s->pid, &status, 0) < 0 && errno == EINTR)
				;
		}
	}
	if (WIFEXITED(status))
		return WEXITSTATUS(status);
	return WIFSIGNALED(status) ? 128 + WTERMSIG(status) : 128;
}

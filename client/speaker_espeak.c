/* SPDX-License-Identifier: MIT */
/* espeak-ng as a child: see speaker.h. */
#include "client/speaker.h"

#include "client/clock.h"
#include "client/spawn.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

extern char **environ;

/* At 350 words a minute a letter takes some 28 ms.  Without an audio device it ends at
 * once, with status 0: that was no speech, and no name counts as announced. */
#define LEAST_MS 100
#define LETTER_LEAST_MS 6

/* Words a minute: 175 as the voice has it, 80 and 350 at the ends (its own bounds are
 * 80 and 450). */
static int words_a_minute(int rate)
{
	return rate < 0 ? 175 + rate * 95 / 100 : 175 + rate * 175 / 100;
}

/* A child with `in` as its standard input and nothing else of ours; in a group of its
 * own, so that Ctrl-C ends us, and we it. */
static int start(pid_t *pid, const char *program, char *const *args, int in)
{
	posix_spawn_file_actions_t actions;
	posix_spawnattr_t attributes;
	sigset_t none, usual;
	sigemptyset(&none);
	sigemptyset(&usual);
	sigaddset(&usual, SIGPIPE);
	sigaddset(&usual, SIGTERM);
	sigaddset(&usual, SIGINT);
	posix_spawn_file_actions_init(&actions);
	posix_spawnattr_init(&attributes);
	posix_spawn_file_actions_adddup2(&actions, in, 0);
	posix_spawn_file_actions_addopen(&actions, 1, "/dev/null", O_WRONLY, 0);
	/* What it complains of would stand in the middle of the screen. */
	posix_spawn_file_actions_addopen(&actions, 2, "/dev/null", O_WRONLY, 0);
	posix_spawnattr_setsigmask(&attributes, &none);
	posix_spawnattr_setsigdefault(&attributes, &usual);
	posix_spawnattr_setpgroup(&attributes, 0);
	posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF |
	                                          POSIX_SPAWN_SETPGROUP);
	int error = posix_spawn(pid, program, &actions, &attributes, args, environ);
	posix_spawn_file_actions_destroy(&actions);
	posix_spawnattr_destroy(&attributes);
	return error;
}

bool espeak_say(struct espeak *e, const struct speaker_setting *setting, const char *text,
                struct fault *why)
{
	char program[PATH_MAX], speed[16], loud[16], language[8];
	int pipes[2];
	if (!spawn_find("espeak-ng", program)) {
		fault_set(why, "espeak-ng is not on PATH");
		return false;
	}
	if (pipe2(pipes, O_CLOEXEC) != 0) {
		fault_set(why, "no pipe to espeak-ng: %s", strerror(errno));
		return false;
	}
	snprintf(language, sizeof language, "%s", language_name(setting->language));
	snprintf(speed, sizeof speed, "%d", words_a_minute(setting->rate));
	snprintf(loud, sizeof loud, "%d", setting->volume);
	char *args[] = {(char[]){"espeak-ng"}, (char[]){"-v"}, language, (char[]){"-s"}, speed,
	                (char[]){"-a"}, loud, (char[]){"-b"}, (char[]){"1"}, (char[]){"--stdin"}, NULL};
	size_t n = strlen(text);
	e->least = clock_ms() + LEAST_MS + (int64_t)n * LETTER_LEAST_MS;
	int error = start(&e->pid, program, args, pipes[0]);
	close(pipes[0]);
	/* A pipe holds far more than a sentence: this never waits. */
	bool sent = !error && write(pipes[1], text, n) == (ssize_t)n && write(pipes[1], "\n", 1) == 1;
	close(pipes[1]);
	if (sent)
		return true;
	if (error)
		e->pid = 0;
	fault_set(why, "espeak-ng: %s", error ? strerror(error) : "took no text");
	espeak_stop(e);
	return false;
}

enum spoken espeak_poll(struct espeak *e)
{
	int status = 0;
	if (!e->pid)
		return SPOKEN_LOST;
	pid_t got = waitpid(e->pid, &status, WNOHANG);
	if (got == 0 || (got < 0 && errno == EINTR))
		return SPOKEN_GOING;
	e->pid = 0;
	bool good = got > 0 && WIFEXITED(status) && WEXITSTATUS(status) == 0 && clock_ms() >= e->least;
	return good ? SPOKEN_ENDED : SPOKEN_LOST;
}

void espeak_stop(struct espeak *e)
{
	const struct timespec nap = {0, 5000000};
	if (!e->pid)
		return;
	kill(e->pid, SIGTERM);
	for (int i = 0; i < 60 && espeak_poll(e) == SPOKEN_GOING; i++)
		nanosleep(&nap, NULL);
	if (!e->pid)
		return;
	kill(e->pid, SIGKILL);
	while (waitpid(e->pid, NULL, 0) < 0 && errno == EINTR)
		;
	e->pid = 0;
}

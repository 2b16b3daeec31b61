/* SPDX-License-Identifier: MIT */
/*
 * tally: the client.  What belongs to the process and its terminal; the rest is in
 * client.c and below.
 */
#include "client/client.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/ioctl.h>
#include <time.h>
#include <unistd.h>

static volatile sig_atomic_t stop;

static void on_signal(int signal)
{
	(void)signal;
	stop = 1;
}

/* The person's clock. */
static void local_time(int64_t us, char out[20])
{
	struct tm tm;
	time_t t = (time_t)(us / 1000000);
	if (!localtime_r(&t, &tm) || !strftime(out, 20, "%Y-%m-%d %H:%M:%S", &tm))
		memcpy(out, "                   ", 20);
}

/* Does the environment say UTF-8?  The first of the three that is set decides. */
static bool utf8_locale(void)
{
	static const char *const names[] = {"LC_ALL", "LC_CTYPE", "LANG"};
	for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
		const char *value = getenv(names[i]);
		if (value && value[0])
			return strcasestr(value, "utf-8") || strcasestr(value, "utf8");
	}
	return false;
}

static struct style terminal_style(bool terminal)
{
	const char *term = getenv("TERM"), *no_colour = getenv("NO_COLOR");
	bool dumb = terminal && term && strcmp(term, "dumb") == 0;
	struct winsize size = {0};
	struct style style = {.local = local_time};
	style.plain = dumb;
	style.utf8 = terminal && !dumb && utf8_locale();
	style.colour = terminal && !dumb && !(no_colour && no_colour[0]);
	if (terminal && ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0)
		style.width = size.ws_col;
	return style;
}

int main(int argc, char **argv)
{
	/* No SA_RESTART: what waits is to wake up.  A closed pipe is an error of
	 * writing, not the end. */
	struct sigaction action = {.sa_handler = on_signal};
	sigaction(SIGINT, &action, NULL);
	sigaction(SIGTERM, &action, NULL);
	struct sigaction ignore = {.sa_handler = SIG_IGN};
	sigaction(SIGPIPE, &ignore, NULL);
	bool terminal = isatty(STDOUT_FILENO) == 1;
	struct client c = {
		.out = stdout,
		.err = stderr,
		.out_fd = STDOUT_FILENO,
		.out_terminal = terminal,
		.err_terminal = isatty(STDERR_FILENO) == 1,
		.style = terminal_style(terminal),
		.socket = getenv("TALLY_SOCKET"),
		.stop = &stop,
	};
	return client_run(&c, argc > 0 ? argc - 1 : 0, (const char *const *)argv + (argc > 0));
}

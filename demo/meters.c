/* SPDX-License-Identifier: MIT */
/*
 * The demo's bench: meters on pseudo-terminals, and the hands that hold their probes.
 *
 *     meters --lines FOLDER [--socket PATH] [--tally COMMAND] [--stay] [--seed N] SCENE
 *     meters --tape FILE.rec [--seed N] SCENE
 *
 * makes one pseudo-terminal for each meter of the scene, with a link FOLDER/NAME to
 * it, and plays the scene in real time.  With --socket the hands listen to the
 * daemon, as a person would: they touch a part when its name is called and lift
 * when its value is logged; without it they go by the clock.  --tally is the client
 * with its options, for what is done by key.  When the scene has ended the line
 * "end" is printed; with --stay the meters go on talking until a signal comes.  --seed:
 * other noise, and hands that wait a little more or less before they touch.
 *
 * --tape: nobody listens; the scene is played as fast as it can be, on a clock of its own, and
 * what the lines would have carried, and what would have been done by key, is written as a
 * recording (`tallyd --replay`).  Only meters that talk can be taped.
 *
 * This program shares no code with the daemon, so that each checks the other.
 *
 *     tape.c    the clock, and the recording
 *     scene.c   the scene and its steps, which scene.h lists
 *     ear.c     what the hands hear of the daemon
 *     meter.c, meter_asked.c   a meter: what it displays and says
 *     parts.c, amplifier.c     what its probes may be clipped to
 */
#include "ear.h"
#include "scene.h"
#include "tape.h"

#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static volatile sig_atomic_t ended;

static void on_signal(int number_of)
{
	(void)number_of;
	ended = 1;
}

/* Until something happens or `until`. */
static void wait_until(double until, double t)
{
	struct pollfd fds[METERS_MAX + 1];
	struct meter *of[METERS_MAX];
	nfds_t n = 0;
	if (tape_on()) {
		tape_wait(until);
		return;
	}
	for (int i = 0; i < meter_count; i++)
		if (meters[i].fd >= 0) {
			of[n] = &meters[i];
			fds[n++] = (struct pollfd){ .fd = meters[i].fd, .events = POLLIN };
		}
	nfds_t lines = n;
	if (ear_fd() >= 0)
		fds[n++] = (struct pollfd){ .fd = ear_fd(), .events = POLLIN };
	int ms = until > t ? (int)((until - t) * 1000) + 1 : 0;
	if (poll(fds, n, ms) <= 0)
		return;
	for (nfds_t i = 0; i < lines; i++)
		if (fds[i].revents & POLLIN)
			meter_listen(of[i], now());
	if (n > lines && fds[lines].revents)
		ear_hear();
}

static struct scene_options options(int argc, char **argv, bool *stay)
{
	struct scene_options o = {.tally = ""};
	const char *tape_path = NULL, *socket_path = NULL;
	for (int i = 1; i < argc; i++) {
		bool more = i + 1 < argc;
		if (strcmp(argv[i], "--lines") == 0 && more)
			o.folder = argv[++i];
		else if (strcmp(argv[i], "--socket") == 0 && more)
			socket_path = argv[++i];
		else if (strcmp(argv[i], "--tally") == 0 && more)
			o.tally = argv[++i];
		else if (strcmp(argv[i], "--tape") == 0 && more)
			tape_path = argv[++i];
		else if (strcmp(argv[i], "--seed") == 0 && more)
			o.seed = strtoull(argv[++i], NULL, 10);
		else if (strcmp(argv[i], "--stay") == 0)
			*stay = true;
		else if (argv[i][0] != '-' && !o.scene)
			o.scene = argv[i];
		else
			o.scene = o.folder = tape_path = NULL, i = argc;
	}
	if (!o.scene || !(o.folder || tape_path) || (tape_path && (o.folder || socket_path || *stay)))
		stop("usage: meters --lines FOLDER [--socket PATH] [--tally COMMAND] [--stay] [--seed N] SCENE\n"
		     "        meters --tape FILE.rec [--seed N] SCENE");
	if (tape_path)
		tape_open(tape_path);
	ear_at(socket_path);
	return o;
}

int main(int argc, char **argv)
{
	bool stay = false, said_end = false;
	double end_at = 0;
	struct scene_options o = options(argc, argv, &stay);
	scene_read(&o);
	signal(SIGTERM, on_signal);
	signal(SIGINT, on_signal);
	signal(SIGPIPE, SIG_IGN);
	while (!ended) {
		double t = now(), until = t + 0.05;
		ear_try(t);
		bool goes_on = scene_tick(t);
		for (int i = 0; i < meter_count; i++) {
			double due = meter_tick(&meters[i], t);
			until = due < until ? due : until;
		}
		if (!goes_on && !said_end) {
			said_end = true;
			end_at = t + 1; /* what was said last must be read before the lines go */
			puts("end");
			fflush(stdout);
		}
		if (said_end && !stay && t >= end_at)
			break;
		wait_until(until, t);
	}
	for (int i = 0; !tape_on() && i < meter_count; i++)
		meter_unplug(&meters[i]);
	tape_close();
	return 0;
}

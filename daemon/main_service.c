/* SPDX-License-Identifier: MIT */
/*
 * The service manager: a part of main (main_stand.h).
 *
 * READY comes when the log is verified and the socket listens, not before.  A sign of life
 * is given four times as often as it is wanted, and only where both proved progress since
 * the last one: the loop that reads the lines, because its timer does this, and the log's
 * thread, which has to answer between two commits.  So a disk that hangs, or a loop that is
 * caught somewhere, ends in a restart, and a daemon that only waits for meters does not.
 */
#include "daemon/main_stand.h"

#include <signal.h>
#include <stdio.h>
#include <time.h>

/* Signs of life wanted at least so often are given; quicker ones are nobody's wish. */
#define WATCHDOG_LEAST_MS 5

void service_begin(struct stand *s)
{
	notify_open(&s->notify);
}

void service_end(struct stand *s)
{
	notify_close(&s->notify);
}

void service_stopping(struct stand *s)
{
	notify_send(&s->notify, "STOPPING=1\nSTATUS=ending, everything is logged first");
}

static void tell_status(struct stand *s, const char *before)
{
	int open = 0;
	for (int i = 0; i < s->config->meters; i++)
		open += s->line[i] && port_state(s->line[i]->port) == PORT_OPEN;
	notify_send(&s->notify, "%sSTATUS=bench %s: %d of %d meters have their line, %lld records, the "
	            "log is %s", before, s->config->name, open, s->config->meters,
	            (long long)log_last_seq(s->log), log_health_word(log_health(s->log)));
}

/* The log's thread did not answer the last time: said once, long before the end. */
static void log_is_quiet(struct stand *s)
{
	uint64_t now = uv_now(&s->loop);
	if (!s->log_quiet)
		s->log_quiet = now;
	uint64_t quiet_us = (now - s->log_quiet) * 1000;
	if (quiet_us * 2 >= s->notify.watchdog_us)
		say_of(&(struct say_about){.level = SAY_ERROR, .event = "log", .source = "watchdog"},
		       "the log's thread gives no sign of life: its disk hangs; no sign goes to the service "
		       "manager, either");
}

static void on_watchdog(uv_timer_t *timer)
{
	struct stand *s = timer->data;
	if (!log_pulse(s->log)) {
		log_is_quiet(s);
		return;
	}
	s->log_quiet = 0;
	tell_status(s, "WATCHDOG=1\n");
}

static void on_hangup(uv_signal_t *signal, int number)
{
	struct stand *s = signal->data;
	struct fault why;
	(void)number;
	stand_reload(s, NULL, &why);
}

void service_ready(struct stand *s)
{
	uint64_t every = s->notify.watchdog_us / 4000;
	uv_signal_start(&s->hangup, on_hangup, SIGHUP);
	tell_status(s, "READY=1\n");
	if (!s->notify.watchdog_us)
		return;
	if (every < WATCHDOG_LEAST_MS)
		every = WATCHDOG_LEAST_MS;
	log_pulse(s->log); /* asked for: answered by the first tick */
	uv_timer_start(&s->watchdog, on_watchdog, every, every);
}

void service_reloading(struct stand *s)
{
	struct timespec ts;
	clock_gettime(CLOCK_MONOTONIC, &ts);
	notify_send(&s->notify, "RELOADING=1\nMONOTONIC_USEC=%lld\nSTATUS=reading the configuration",
	            (long long)ts.tv_sec * 1000000 + ts.tv_nsec / 1000);
}

void service_reloaded(struct stand *s)
{
	tell_status(s, "READY=1\n");
}

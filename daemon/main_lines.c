/* SPDX-License-Identifier: MIT */
/*
 * The lines where they meet bench, server and doctor: a part of main (main_stand.h).
 */
#include "daemon/main_stand.h"

#include "protocol/record/recording.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A tape that begins in the middle of a frame would hand its rest to a replay as
 * if it were whole: it begins behind the next line end, or after a silence. */
#define TAPE_SILENCE_US INT64_C(50000)

static void tape_bytes(struct line *l, int64_t t, const char *bytes, size_t len)
{
	struct stand *s = l->stand;
	const char *meter = l->name;
	char line[RECORDING_LINE_MAX];
	bool wanted = server_wants_tape(s->server, meter);
	bool begins = wanted && !l->taped;
	bool rest = l->middle && t - l->last < TAPE_SILENCE_US;
	l->taped = wanted;
	l->last = t;
	l->middle = bytes[len - 1] != '\n';
	if (begins && rest) {
		const char *end = memchr(bytes, '\n', len);
		l->taped = end != NULL;
		len = end ? len - (size_t)(end + 1 - bytes) : 0;
		bytes = end ? end + 1 : bytes;
	}
	if (!l->taped)
		return;
	while (len) {
		size_t part = len < 1024 ? len : 1024;
		size_t n = recording_write_bytes(t, meter, bytes, part, line, sizeof line);
		if (n > 1)
			server_tape(s->server, meter, line, n - 1);
		bytes += part;
		len -= part;
	}
}

void tape_act(struct stand *s, const char *meter, int64_t t, const char *act,
                     const char *rest)
{
	char line[1024];
	if (!server_wants_tape(s->server, meter))
		return;
	size_t n = recording_write_act(t, act, rest, line, sizeof line);
	if (n > 1)
		server_tape(s->server, meter, line, n - 1);
}

static void on_opened(void *arg)
{
	struct line *l = arg;
	l->looked = true;
	const char *name = l->name;
	int64_t t = stream_now(l->stand);
	char rest[64];
	l->opened = t;
	l->look = (struct look){0};
	say_of(&(struct say_about){.event = "line-open", .meter = name, .port = port_node(l->port)},
	       "%s: line open at %s", name, port_node(l->port));
	snprintf(rest, sizeof rest, "%s back", name);
	tape_act(l->stand, name, t, "meter", rest);
	bench_line_opened(l->stand->bench, t, l->meter);
}

static void on_bytes(void *arg, const char *bytes, size_t len)
{
	struct line *l = arg;
	int64_t t = stream_now(l->stand);
	look_at_clocks(l->stand, t);
	look_bytes(&l->look, bytes, len);
	tape_bytes(l, t, bytes, len);
	bench_line_bytes(l->stand->bench, t, l->meter, bytes, len);
}

/* On a tape it is the byte FF, which no dialect of text takes for anything. */
static void on_bad_byte(void *arg)
{
	struct line *l = arg;
	int64_t t = stream_now(l->stand);
	look_bad(&l->look);
	tape_bytes(l, t, "\xff", 1);
	bench_line_bad_byte(l->stand->bench, t, l->meter);
}

static void on_gone(void *arg, const char *cause)
{
	struct line *l = arg;
	const char *name = l->name;
	int64_t t = stream_now(l->stand);
	char rest[160];
	say_of(&(struct say_about){.level = SAY_WARNING, .event = "line-gone", .meter = name,
	                           .port = port_node(l->port)},
	       "%s: line gone: %s", name, cause);
	snprintf(rest, sizeof rest, "%s gone %s", name, cause);
	tape_act(l->stand, name, t, "meter", rest);
	bench_line_gone(l->stand->bench, t, l->meter, cause);
}

/* A line that another program has is waited for.  But two daemons on one line at
 * the start are a mistake of whoever started the second, as with log and socket. */
static bool is_daemon_there(const struct fault *why)
{
	return strstr(why->text, "is held by tallyd (process ") != NULL;
}

static void on_failed(void *arg, const struct fault *why)
{
	struct line *l = arg;
	struct stand *s = l->stand;
	/* A line that comes with a reload ends nothing. */
	bool first = !l->looked && !s->reloaded;
	l->looked = true;
	bool refused = port_state(l->port) == PORT_REFUSED;
	say_of(&(struct say_about){.level = refused ? SAY_WARNING : SAY_NOTICE, .meter = l->name,
	                           .event = "line-trouble", .port = port_node(l->port)},
	       "%s: %s", l->name, why->text);
	bench_line_trouble(s->bench, stream_now(s), l->meter, refused, why->text);
	if (!first || !is_daemon_there(why))
		return;
	say_of(&(struct say_about){.level = SAY_ERROR, .event = "stop"},
	       "another daemon reads this line: end that one, or take the meter out of this "
	       "configuration");
	s->refused = true;
	stand_stop(s);
}

/* Something was plugged or unplugged: every line looks whether it was its own. */
static void on_hotplug(void *arg)
{
	struct stand *s = arg;
	bus_forget(&s->bus);
	for (int i = 0; i < s->config->meters; i++)
		if (s->line[i])
			port_nudge(s->line[i]->port);
}

static void on_hotplug_lost(void *arg, const struct fault *why)
{
	(void)arg;
	say_of(&(struct say_about){.level = SAY_NOTICE, .source = "hotplug"}, "%s", why->text);
}

static void listen_for_plugs(struct stand *s)
{
	struct fault why;
	if (!s->config->meters || s->hotplug || s->no_hotplug)
		return;
	s->hotplug = hotplug_open(&s->loop, on_hotplug, on_hotplug_lost, s, &why);
	s->no_hotplug = !s->hotplug;
	if (!s->hotplug)
		say("%s", why.text);
}

static void on_line_closed(void *arg)
{
	struct line *l = arg;
	struct stand *s = l->stand;
	free(l);
	s->lines_closing--;
	if (!s->stopping)
		lines_settle(s);
}

void line_end(struct line *l)
{
	struct stand *s = l->stand;
	if (l->meter >= 0 && s->line[l->meter] == l)
		s->line[l->meter] = NULL;
	l->meter = -1;
	s->lines_closing++;
	port_close(l->port, on_line_closed, l);
}

static bool line_begin(struct stand *s, int meter, struct fault *why)
{
	const struct config_meter *m = &s->config->meter[meter];
	struct line *l = calloc(1, sizeof *l);
	if (!l) {
		fault_set(why, "out of memory");
		return false;
	}
	l->stand = s;
	l->meter = meter;
	snprintf(l->name, sizeof l->name, "%s", m->name);
	struct port_options options = {
	    .place = m->place, .line = m->serial, .bus = &s->bus, .opened = on_opened,
	    .bytes = on_bytes, .bad_byte = on_bad_byte, .gone = on_gone, .failed = on_failed, .arg = l};
	l->port = port_open(&s->loop, &options, why);
	if (!l->port) {
		free(l);
		return false;
	}
	s->line[meter] = l;
	return true;
}

bool lines_open(struct stand *s, struct fault *why)
{
	for (int i = 0; i < s->config->meters; i++)
		if (!s->line[i] && !line_begin(s, i, why))
			return false;
	listen_for_plugs(s);
	return true;
}

void lines_settle(struct stand *s)
{
	struct fault why;
	if (!s->lines_closing && !lines_open(s, &why))
		say_fault(&why);
}

void lines_close(struct stand *s)
{
	hotplug_close(s->hotplug);
	s->hotplug = NULL;
	for (int i = 0; i < s->config->meters; i++)
		if (s->line[i])
			line_end(s->line[i]);
}

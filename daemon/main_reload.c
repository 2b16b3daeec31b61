/* SPDX-License-Identifier: MIT */
/*
 * Another configuration while the daemon runs: a part of main (main_stand.h).
 *
 * First everything is read and compared, and any fault leaves the old one running.  Then, in
 * one step of the loop: the lines of meters that are gone or whose section is another are
 * closed, the bench takes the configuration, and each meter without a line gets one as soon
 * as the old ones are closed.  No other line is touched.
 */
#include "daemon/main_stand.h"

#include "daemon/config_compare.h"
#include "protocol/record/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BEFORES_MAX (int)(sizeof ((struct stand *)0)->before / sizeof(struct config *))

static struct config *load(const struct stand *s, struct fault *why)
{
	struct config *c = calloc(1, sizeof *c);
	if (!c) {
		fault_set(why, "out of memory; nothing was changed");
		return NULL;
	}
	if (!config_load(s->orders.config, false, c, why)) {
		free(c);
		return NULL;
	}
	if (s->orders.log)
		snprintf(c->log, sizeof c->log, "%s", s->orders.log);
	if (s->orders.socket)
		snprintf(c->socket, sizeof c->socket, "%s", s->orders.socket);
	if (config_can_follow(s->config, c, why))
		return c;
	config_free(c);
	free(c);
	return NULL;
}

/* ---- what comes of it ---- */

enum fate { FATE_SAME, FATE_JUDGED, FATE_CHANGED, FATE_ADDED, FATE_REMOVED };
static const char *const fates[] = {"same", "judged", "changed", "added", "removed"};

static enum fate fate_of(const struct config *was, const struct config *is, const char *name)
{
	const struct config_meter *a = config_meter(was, name), *b = config_meter(is, name);
	if (!a || !b)
		return a ? FATE_REMOVED : FATE_ADDED;
	switch (config_meter_change(a, b)) {
	case CONFIG_SAME:
		return FATE_SAME;
	case CONFIG_JUDGED:
		return FATE_JUDGED;
	case CONFIG_OTHER:
		break;
	}
	return FATE_CHANGED;
}

static int list_of(const struct config *was, const struct config *is, enum fate fate,
                   struct text *out)
{
	const struct config *in = fate == FATE_REMOVED ? was : is;
	int n = 0;
	text_member(out, fates[fate]);
	text_puts(out, "[");
	for (int i = 0; i < in->meters; i++) {
		const char *name = in->meter[i].name;
		if (fate_of(was, is, name) != fate)
			continue;
		text_puts(out, n++ ? "," : "");
		text_string(out, name, strlen(name));
	}
	text_puts(out, "]");
	return n;
}

static void write_outcome(const struct config *was, const struct config *is, struct text *out,
                          int count[FATE_REMOVED + 1])
{
	text_puts(out, "{\"file\":");
	text_string(out, is->file, strlen(is->file));
	text_member_int(out, "meters", is->meters);
	for (int f = FATE_SAME; f <= FATE_REMOVED; f++)
		count[f] = list_of(was, is, (enum fate)f, out);
	text_member_bool(out, "thresholds", config_limits_differ(was, is));
	text_puts(out, "}");
}

/* ---- the swap ---- */

static void close_changed(struct stand *s, const struct config *is)
{
	for (int i = 0; i < s->config->meters; i++) {
		enum fate fate = fate_of(s->config, is, s->config->meter[i].name);
		if (s->line[i] && fate != FATE_SAME && fate != FATE_JUDGED)
			line_end(s->line[i]);
	}
}

/* The lines that went on, at their new indices. */
static void move_lines(struct stand *s, const struct config *is)
{
	struct line *was[CONFIG_METERS_MAX];
	memcpy(was, s->line, sizeof was);
	memset(s->line, 0, sizeof s->line);
	for (int i = 0; i < s->config->meters; i++)
		for (int k = 0; was[i] && k < is->meters; k++)
			if (strcmp(was[i]->name, is->meter[k].name) == 0) {
				s->line[k] = was[i];
				was[i]->meter = k;
				break;
			}
}

static bool swap(struct stand *s, struct config *is, struct fault *why)
{
	struct config *was = s->config;
	/* Each waits for a doctor who looked at it; more of them than that is a flood. */
	if (s->befores == BEFORES_MAX) {
		fault_set(why, "too many reloads while the doctor looks: try again in a moment");
		return false;
	}
	int64_t t = stream_now(s);
	look_at_clocks(s, t);
	close_changed(s, is);
	if (!bench_reload(s->bench, t, is, why)) {
		lines_settle(s); /* those that were closed open again, as they were */
		return false;
	}
	move_lines(s, is);
	s->config = is;
	s->before[s->befores++] = was;
	stand_forget(s);
	lines_settle(s);
	return true;
}

static bool refuse(struct stand *s, const struct fault *why)
{
	fault_text(why, s->reload_fault, sizeof s->reload_fault);
	say_of(&(struct say_about){.level = SAY_ERROR, .event = "reload", .source = "reload"},
	       "the configuration was not taken, the old one goes on: %s", s->reload_fault);
	service_reloaded(s);
	return false;
}

bool stand_reload(struct stand *s, struct text *out, struct fault *why)
{
	char json[8192];
	struct text own;
	int count[FATE_REMOVED + 1];
	service_reloading(s);
	int64_t now = utc_now();
	struct config *is = load(s, why);
	if (!is)
		return refuse(s, why);
	text_begin(&own, json, sizeof json);
	write_outcome(s->config, is, out ? out : &own, count);
	if (!swap(s, is, why)) {
		config_free(is);
		free(is);
		return refuse(s, why);
	}
	s->config_read = now;
	s->reloaded = true;
	s->reload_fault[0] = '\0';
	say_of(&(struct say_about){.level = SAY_NOTICE, .event = "reload", .source = "reload"},
	       "%s is taken: %d meters as before, %d judged otherwise, %d begin anew, %d new, %d gone",
	       is->file[0] ? is->file : "the standard configuration", count[FATE_SAME],
	       count[FATE_JUDGED], count[FATE_CHANGED], count[FATE_ADDED], count[FATE_REMOVED]);
	service_reloaded(s);
	return true;
}

bool call_reload(void *arg, struct text *out, struct fault *why)
{
	return stand_reload(arg, out, why);
}

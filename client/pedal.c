/* SPDX-License-Identifier: MIT */
/* See pedal.h. */
#include "client/pedal.h"

#include "client/pedal_device.h"
#include "client/pedal_find.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Events that are taken in one go; the loop comes again for more. */
#define EVENTS_AT_ONCE 4096

/* What libuv holds of one opening of the device: it outlives it by a turn of the loop. */
struct pedal_line {
	uv_poll_t poll;
	struct pedal_device *device;
};

struct pedal {
	uv_loop_t *loop;
	void (*call)(void *arg, enum pedal_action action);
	void *arg;
	void (*seen)(void *arg, unsigned code, int value);
	void *seen_arg;

	struct pedal_identity wanted;
	struct pedal_buttons buttons;
	struct pedal_timing timing;
	struct pedal_press press;

	enum pedal_state state;
	char words[900];
	bool was_there;      /* it was ready before: now it is gone, not missing */
	int64_t denied_since; /* the right to it is missing since then; 0: it is not */

	struct pedal_line *line; /* NULL while it is not open */
	bool grabbed;
	uv_timer_t due, look;
	uv_fs_event_t watch;
	bool watching, closing;
	int handles;
};

static int64_t now_us(void)
{
	return (int64_t)(uv_hrtime() / 1000);
}

const char *pedal_state_name(enum pedal_state state)
{
	static const char *const names[] = {[PEDAL_OFF] = "off", [PEDAL_AWAY] = "away",
	                                    [PEDAL_WAIT] = "wait", [PEDAL_READY] = "ready",
	                                    [PEDAL_TROUBLE] = "trouble"};
	return names[state];
}

enum pedal_state pedal_state(const struct pedal *p)
{
	return p->state;
}

const char *pedal_words(const struct pedal *p)
{
	return p->words;
}

const struct pedal_buttons *pedal_buttons(const struct pedal *p)
{
	return &p->buttons;
}

void pedal_observe(struct pedal *p, void (*seen)(void *arg, unsigned code, int value), void *arg)
{
	p->seen = seen;
	p->seen_arg = arg;
}

/* The wanted one by its name, for people. */
static const char *name_of(const struct pedal *p)
{
	return p->wanted.name[0] ? p->wanted.name : "the foot switch";
}

__attribute__((format(printf, 3, 4))) static void tell(struct pedal *p, enum pedal_state state,
                                                       const char *format, ...)
{
	char words[sizeof p->words];
	va_list args;
	va_start(args, format);
	vsnprintf(words, sizeof words, format, args);
	va_end(args);
	if (p->state == state && strcmp(p->words, words) == 0)
		return;
	p->state = state;
	memcpy(p->words, words, sizeof words);
	p->call(p->arg, PEDAL_STATE);
}

/* ---- the device ---- */

static void on_line_closed(uv_handle_t *handle)
{
	free(handle->data);
}

static void line_drop(struct pedal *p)
{
	struct pedal_line *line = p->line;
	uv_timer_stop(&p->due);
	if (!line)
		return;
	p->line = NULL;
	p->grabbed = false;
	line->poll.data = line;
	uv_close((uv_handle_t *)&line->poll, on_line_closed);
	pedal_device_close(line->device);
	line->device = NULL;
}

static void on_look(uv_timer_t *timer);

static void look_later(struct pedal *p, uint64_t ms)
{
	if (!p->closing)
		uv_timer_start(&p->look, on_look, ms, 0);
}

static void lost(struct pedal *p)
{
	line_drop(p);
	p->denied_since = 0;
	look_later(p, 0);
	tell(p, PEDAL_AWAY, "%s is gone: plug it in again", name_of(p));
}

static void on_due(uv_timer_t *timer);

static void due_set(struct pedal *p)
{
	int64_t due = pedal_press_due(&p->press), now = now_us();
	if (p->closing || !p->line)
		return;
	if (due == INT64_MAX)
		uv_timer_stop(&p->due);
	else
		uv_timer_start(&p->due, on_due, due > now ? (uint64_t)(due - now + 999) / 1000 : 0, 0);
}

/* Take every event that is there. */
static void events_take(struct pedal *p)
{
	struct pedal_event e;
	for (int i = 0; i < EVENTS_AT_ONCE && p->line && !p->closing; i++) {
		switch (pedal_device_next(p->line->device, &e)) {
		case PEDAL_READ_EVENT:
			if (p->seen)
				p->seen(p->seen_arg, e.code, e.value);
			if (!p->closing && p->line)
				pedal_press_event(&p->press, now_us(), e.time, e.code, e.value);
			break;
		case PEDAL_READ_MISSED:
			for (int k = 0; k < p->buttons.count; k++)
				pedal_press_set(&p->press, p->buttons.at[k].code,
				                pedal_device_down(p->line->device, p->buttons.at[k].code));
			break;
		case PEDAL_READ_LOST:
			lost(p);
			return;
		case PEDAL_READ_NOTHING:
			due_set(p);
			return;
		}
	}
	due_set(p);
}

/* Decisions come after all that is there was read: after a stop of this program the timer
 * comes before what waits in the device. */
static void on_due(uv_timer_t *timer)
{
	struct pedal *p = timer->data;
	events_take(p);
	if (p->line && p->grabbed && !p->closing) {
		pedal_press_run(&p->press, now_us());
		due_set(p);
	}
}

static void grab(struct pedal *p);

static void on_readable(uv_poll_t *poll, int status, int events)
{
	struct pedal *p = poll->data;
	(void)status; /* reading says what it is */
	(void)events;
	if (p->closing || !p->line || &p->line->poll != poll)
		return;
	if (p->grabbed)
		events_take(p);
	else
		grab(p);
}

/* ---- finding it ---- */

static void on_act(void *arg, enum pedal_action action, unsigned code)
{
	struct pedal *p = arg;
	(void)code;
	if (!p->closing)
		p->call(p->arg, action);
}

static void grab(struct pedal *p)
{
	switch (pedal_device_grab(p->line->device)) {
	case PEDAL_GRABBED:
		p->grabbed = true;
		p->was_there = true;
		uv_timer_stop(&p->look);
		pedal_press_begin(&p->press, &p->buttons, &p->timing, on_act, p);
		tell(p, PEDAL_READY, "%s is ready", name_of(p));
		break;
	case PEDAL_GRAB_WAIT:
		/* An event will come; the timer is for those that were lost. */
		look_later(p, PEDAL_RETRY_MS);
		tell(p, PEDAL_WAIT, "%s has a button down: let it go", name_of(p));
		break;
	case PEDAL_GRAB_BUSY:
		line_drop(p);
		look_later(p, PEDAL_RETRY_MS);
		tell(p, PEDAL_TROUBLE, "another program has %s: end it (another `tally bench`?)",
		     name_of(p));
		break;
	case PEDAL_GRAB_LOST:
		line_drop(p);
		look_later(p, PEDAL_RETRY_MS);
		tell(p, PEDAL_AWAY, "%s is gone: plug it in again", name_of(p));
		break;
	}
}

static void denied(struct pedal *p, const struct pedal_found *found)
{
	char rule[400];
	if (!p->denied_since)
		p->denied_since = now_us();
	if (now_us() - p->denied_since < PEDAL_GRACE_US)
		return;
	pedal_identity_rule(&found->id, rule, sizeof rule);
	tell(p, PEDAL_TROUBLE, "%s is there (%s), but you have no right to it: put this line into "
	     "/etc/udev/rules.d/70-tally-pedal.rules, then plug it in again\n%s", name_of(p),
	     found->node, rule);
}

static void device_open(struct pedal *p, const struct pedal_found *found)
{
	struct fault why;
	struct pedal_identity is;
	struct pedal_device *device = pedal_device_open(found->node, &why);
	if (!device && (errno == EACCES || errno == EPERM)) {
		denied(p, found);
		return;
	}
	p->denied_since = 0;
	if (!device) {
		/* It was there a moment ago: this passes, or it is worth saying. */
		if (errno != ENOENT && errno != ENODEV && errno != ENXIO)
			tell(p, PEDAL_TROUBLE, "%s: %s", name_of(p), why.text);
		return;
	}
	pedal_device_identity(device, &is);
	bool fits = pedal_identity_fits(&p->wanted, &is);
	struct pedal_line *line = fits ? calloc(1, sizeof *line) : NULL;
	if (!fits) /* the number was dealt anew meanwhile */
		tell(p, PEDAL_AWAY, "%s is not there: plug it in", name_of(p));
	if (!line || uv_poll_init(p->loop, &line->poll, pedal_device_fd(device)) != 0) {
		free(line);
		pedal_device_close(device);
		return;
	}
	line->device = device;
	line->poll.data = p;
	p->line = line;
	uv_poll_start(&line->poll, UV_READABLE | UV_DISCONNECT, on_readable);
	grab(p);
}

static void look(struct pedal *p)
{
	static const char choose[] = "`tally pedal choose` chooses anew";
	struct pedal_list list;
	int which, like, fits;
	pedal_find(&list);
	fits = pedal_find_wanted(&list, &p->wanted, &which, &like);
	if (fits == 1) {
		device_open(p, &list.at[which]);
		return;
	}
	p->denied_since = 0;
	if (fits > 1)
		tell(p, PEDAL_TROUBLE, "%d devices are what was chosen as %s: unplug one; %s", fits,
		     name_of(p), choose);
	else if (like)
		tell(p, PEDAL_AWAY, "%s is not at its place; one like it is at another: plug it in where "
		     "it was; %s", name_of(p), choose);
	else
		tell(p, PEDAL_AWAY, p->was_there ? "%s is gone: plug it in again"
		                                 : "%s is not there: plug it in", name_of(p));
}

static void on_change(uv_fs_event_t *watch, const char *name, int events, int status)
{
	struct pedal *p = watch->data;
	(void)name;
	(void)events;
	if (status < 0) {
		uv_fs_event_stop(watch);
		p->watching = false;
	}
	/* Several come at once; a moment later all of them are done. */
	if (!p->line && p->state != PEDAL_OFF)
		look_later(p, 20);
}

static void on_look(uv_timer_t *timer)
{
	struct pedal *p = timer->data;
	if (p->state == PEDAL_OFF) {
		p->call(p->arg, PEDAL_STATE);
		return;
	}
	if (!p->watching)
		p->watching = uv_fs_event_start(&p->watch, on_change, pedal_folder(), 0) == 0;
	look_later(p, PEDAL_RETRY_MS);
	if (!p->line)
		look(p);
	else if (!p->grabbed)
		grab(p);
}

/* ---- beginning and end ---- */

static int64_t setting_us(const struct settings *s, const char *key)
{
	return (int64_t)settings_number(s, "pedal", key) * 1000;
}

struct pedal *pedal_open(uv_loop_t *loop, const struct settings *settings,
                         void (*call)(void *arg, enum pedal_action action), void *arg)
{
	struct pedal *p = calloc(1, sizeof *p);
	struct fault why;
	const char *device = settings_get(settings, "pedal", "device");
	if (!p)
		return NULL;
	p->loop = loop;
	p->call = call;
	p->arg = arg;
	p->timing.debounce_us = setting_us(settings, "debounce");
	p->timing.long_us = setting_us(settings, "long");
	p->timing.double_us = setting_us(settings, "double");
	/* Both were read with the settings. */
	pedal_buttons_parse(settings_get(settings, "pedal", "buttons"), &p->buttons, &why);
	if (!device[0]) {
		snprintf(p->words, sizeof p->words, "no foot switch is chosen: `tally pedal choose`");
	} else if (!pedal_identity_parse(device, &p->wanted, &why) || !p->buttons.count) {
		snprintf(p->words, sizeof p->words, "%s has no buttons that do anything: `tally pedal "
		         "choose`", name_of(p));
	} else {
		p->state = PEDAL_AWAY;
		snprintf(p->words, sizeof p->words, "%s is looked for", name_of(p));
	}
	uv_timer_init(loop, &p->due);
	uv_timer_init(loop, &p->look);
	uv_fs_event_init(loop, &p->watch);
	p->due.data = p->look.data = p->watch.data = p;
	p->handles = 3;
	look_later(p, 0);
	return p;
}

static void on_closed(uv_handle_t *handle)
{
	struct pedal *p = handle->data;
	if (--p->handles == 0)
		free(p);
}

void pedal_close(struct pedal *p)
{
	if (!p || p->closing)
		return;
	p->closing = true;
	line_drop(p);
	uv_close((uv_handle_t *)&p->due, on_closed);
	uv_close((uv_handle_t *)&p->look, on_closed);
	uv_close((uv_handle_t *)&p->watch, on_closed);
}

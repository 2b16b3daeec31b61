/* SPDX-License-Identifier: MIT */
/*
 * `tally pedal`: which foot switch is chosen and how it stands; `tally pedal test`: each
 * press and what comes of it.  Choosing is in command_choose.c.
 */
#include "client/command_calls.h"

#include "client/pedal.h"
#include "client/pedal_find.h"

#include <stdlib.h>
#include <string.h>

/* ---- how it stands ---- */

/* Without opening anything; *good: it can be used. */
static const char *standing(const char *device, const struct pedal_buttons *buttons, bool *good)
{
	struct pedal_identity wanted;
	struct pedal_list list;
	struct fault why;
	int which, like, fits;
	*good = false;
	if (!device[0] || !pedal_identity_parse(device, &wanted, &why))
		return "none is chosen: `tally pedal choose`";
	pedal_find(&list);
	fits = pedal_find_wanted(&list, &wanted, &which, &like);
	if (fits > 1)
		return "two devices are it: unplug one, or `tally pedal choose`";
	if (!fits)
		return like ? "away; one like it is at another place" : "away";
	if (!list.at[which].readable)
		return "there, but you have no right to it: `tally pedal test` says the cure";
	if (!buttons->count)
		return "there, but its buttons do nothing: `tally pedal choose`";
	*good = true;
	return "there";
}

static void button_json(struct text *t, const struct pedal_button *b)
{
	char key[PEDAL_KEY_SIZE];
	pedal_key_name(b->code, key);
	text_puts(t, "{\"key\":");
	text_string(t, key, strlen(key));
	text_member_string(t, "press", pedal_action_name(b->press));
	text_member_string(t, "long", b->held ? pedal_action_name(b->held) : NULL);
	text_member_string(t, "double", b->twice ? pedal_action_name(b->twice) : NULL);
	text_puts(t, "}");
}

static void status_json(struct client *c, const char *device, const struct pedal_buttons *buttons,
                        const char *state, bool good)
{
	char buffer[4096];
	struct text t;
	text_begin(&t, buffer, sizeof buffer);
	text_puts(&t, "{\"device\":");
	if (device[0])
		text_string(&t, device, strlen(device));
	else
		text_puts(&t, "null");
	text_member(&t, "buttons");
	text_puts(&t, "[");
	for (int i = 0; i < buttons->count; i++) {
		text_puts(&t, i ? "," : "");
		button_json(&t, &buttons->at[i]);
	}
	text_puts(&t, "]");
	text_member_bool(&t, "there", good);
	text_member_string(&t, "state", state);
	text_puts(&t, "}");
	client_json(c, (struct slice){t.bytes, t.len});
}

static void button_line(struct lines *out, const struct style *style, const struct pedal_button *b)
{
	char key[PEDAL_KEY_SIZE], text[200];
	size_t n;
	pedal_key_name(b->code, key);
	n = (size_t)snprintf(text, sizeof text, "%s", pedal_action_name(b->press));
	if (b->held)
		n += (size_t)snprintf(text + n, sizeof text - n, "; long %s", pedal_action_name(b->held));
	if (b->twice)
		snprintf(text + n, sizeof text - n, "; double %s", pedal_action_name(b->twice));
	fact(out, style, key, text);
}

enum outcome call_pedal(struct client *c)
{
	struct settings s;
	struct pedal_buttons buttons = {0};
	struct fault why;
	struct lines out = {0};
	char clean[2 * PEDAL_IDENTITY_TEXT];
	bool good;
	if (!settings_load(&s, &why))
		return client_fault(c, OUTCOME_WRONG, &why);
	const char *device = settings_get(&s, "pedal", "device");
	pedal_buttons_parse(settings_get(&s, "pedal", "buttons"), &buttons, &why);
	const char *state = standing(device, &buttons, &good);
	if (client_has(c, OPTION_JSON)) {
		status_json(c, device, &buttons, state, good);
		return good ? OUTCOME_DONE : OUTCOME_NO;
	}
	words_clean(device, strlen(device), clean, sizeof clean);
	fact(&out, &c->style, "pedal", state);
	if (device[0])
		fact(&out, &c->style, "device", clean);
	for (int i = 0; i < buttons.count; i++)
		button_line(&out, &c->style, &buttons.at[i]);
	fact(&out, &c->style, "settings", s.path);
	client_lines(c, &out);
	return good ? OUTCOME_DONE : OUTCOME_NO;
}

enum outcome call_pedal_forget(struct client *c)
{
	static const struct setting_change none[] = {{"pedal", "device", NULL},
	                                             {"pedal", "buttons", NULL}};
	struct settings s;
	struct fault why;
	if (!settings_load(&s, &why))
		return client_fault(c, OUTCOME_WRONG, &why);
	bool any = settings_get(&s, "pedal", "device")[0] || settings_get(&s, "pedal", "buttons")[0];
	if (any && !settings_set_all(&s, none, 2, &why))
		return client_fault(c, OUTCOME_NOT_LOGGED, &why);
	return call_pedal(c) == OUTCOME_WRONG ? OUTCOME_WRONG : OUTCOME_DONE;
}

/* ---- each press ---- */

/* How often it is looked whether the person ended it. */
#define STOP_MS 100

struct testing {
	struct client *c;
	struct pedal *pedal;
	uv_timer_t stop;
	enum outcome outcome;
	bool ended;
};

static void end(struct testing *t)
{
	if (t->ended)
		return;
	t->ended = true;
	pedal_close(t->pedal);
	uv_close((uv_handle_t *)&t->stop, NULL);
}

/* One line, at once; nobody there to read it ends the test. */
static void say(struct testing *t, const char *kind, const char *text, const char *more)
{
	struct client *c = t->c;
	bool gone;
	if (client_has(c, OPTION_JSON)) {
		char buffer[4096];
		struct text json;
		text_begin(&json, buffer, sizeof buffer);
		text_printf(&json, "{\"%s\":", kind);
		text_string(&json, text, strlen(text));
		if (more)
			text_member_string(&json, strcmp(kind, "key") == 0 ? "is" : "words", more);
		text_puts(&json, "}");
		client_json(c, (struct slice){json.bytes, json.len});
	} else if (strcmp(kind, "key") == 0) {
		fprintf(c->out, "  %s %s\n", text, more);
	} else if (strcmp(kind, "action") == 0) {
		fprintf(c->out, "%s: %s\n", text, more);
	} else {
		/* One line an event; the rule that is to be copied stands on its own. */
		char clean[2000];
		for (const char *at = more; *at;) {
			size_t n = strcspn(at, "\n");
			words_clean(at, n, clean, sizeof clean);
			fprintf(c->out, "%s\n", clean);
			at += n + (at[n] == '\n');
		}
	}
	if (!client_flush(c, &gone)) {
		t->outcome = gone ? OUTCOME_DONE : OUTCOME_NOT_LOGGED;
		end(t);
	}
}

static void on_key(void *arg, unsigned code, int value)
{
	static const char *const words[] = {"up", "down", "repeats"};
	char key[PEDAL_KEY_SIZE];
	pedal_key_name(code, key);
	if (value >= 0 && value <= 2)
		say(arg, "key", key, words[value]);
}

static void on_action(void *arg, enum pedal_action action)
{
	struct testing *t = arg;
	if (action != PEDAL_STATE) {
		say(t, "action", pedal_action_name(action), pedal_action_help(action));
		return;
	}
	bool off = pedal_state(t->pedal) == PEDAL_OFF;
	say(t, "state", pedal_state_name(pedal_state(t->pedal)), pedal_words(t->pedal));
	if (off && !t->ended) {
		t->outcome = OUTCOME_NO;
		end(t);
	}
}

static void on_stop(uv_timer_t *timer)
{
	struct testing *t = timer->data;
	if (t->c->stop && *t->c->stop)
		end(t);
}

enum outcome call_pedal_test(struct client *c)
{
	struct settings s;
	struct fault why;
	uv_loop_t loop;
	struct testing t = {.c = c, .outcome = OUTCOME_DONE};
	if (!settings_load(&s, &why))
		return client_fault(c, OUTCOME_WRONG, &why);
	if (uv_loop_init(&loop) != 0)
		return client_wrong(c, "out of memory");
	t.pedal = pedal_open(&loop, &s, on_action, &t);
	uv_timer_init(&loop, &t.stop);
	t.stop.data = &t;
	uv_timer_start(&t.stop, on_stop, STOP_MS, STOP_MS);
	if (t.pedal)
		pedal_observe(t.pedal, on_key, &t);
	else
		end(&t);
	uv_run(&loop, UV_RUN_DEFAULT);
	uv_loop_close(&loop);
	return t.pedal ? t.outcome : client_wrong(c, "out of memory");
}

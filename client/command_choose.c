/* SPDX-License-Identifier: MIT */
/*
 * `tally pedal choose`: a foot switch is chosen by pressing it.
 *
 * Everything with keys is listened to, nothing is taken alone, until one is pressed and
 * the person has said on another keyboard that this is it: so nobody locks himself out of
 * the keyboard that he types on.  From then on it is had alone, and what its buttons do is
 * asked one by one.  Nothing is written before the end.
 *
 * Questions go to standard error, answers come from standard input, a line each; an empty
 * line takes what stands in brackets.
 */
#include "client/choose.h"
#include "client/command_calls.h"
#include "client/pedal_press.h"
#include "client/settings.h"

#include <linux/input-event-codes.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Wrong answers in a row before it is given up. */
#define ANSWERS_MAX 5

/* ---- questions ---- */

/* An answer into ch->line, `without` for an empty one; false at the end of input. */
static bool ask(struct choosing *ch, const char *without, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static bool ask(struct choosing *ch, const char *without, const char *format, ...)
{
	va_list args;
	struct pedal_event e;
	int which;
	va_start(args, format);
	vfprintf(ch->c->err, format, args);
	va_end(args);
	fprintf(ch->c->err, " [%s] ", without);
	fflush(ch->c->err);
	if (choose_wait(ch, false, true, -1, &which, &e) != GOT_LINE)
		return false;
	size_t lead = strspn(ch->line, " \t\r"), n = strlen(ch->line);
	while (n > lead && strchr(" \t\r", ch->line[n - 1]))
		n--;
	memmove(ch->line, ch->line + lead, n - lead);
	ch->line[n - lead] = '\0';
	if (!ch->line[0])
		snprintf(ch->line, sizeof ch->line, "%s", without);
	return true;
}

static bool ask_action(struct choosing *ch, unsigned code, const char *how,
                       enum pedal_action *action)
{
	char key[PEDAL_KEY_SIZE];
	pedal_key_name(code, key);
	for (int i = 0; i < ANSWERS_MAX; i++) {
		if (!ask(ch, pedal_action_name(*action), "%s %s: take, next, back, again, say, undo, "
		         "other, new or none?", key, how))
			return false;
		if (pedal_action_find(ch->line, strlen(ch->line), action))
			return true;
		fprintf(ch->c->err, "That is none of these words.\n");
		for (int a = PEDAL_TAKE; a < PEDAL_ACTIONS; a++)
			fprintf(ch->c->err, "  %-6s %s\n", pedal_action_name((enum pedal_action)a),
			        pedal_action_help((enum pedal_action)a));
	}
	return false;
}

/* 1 yes, 0 no, -1 the end. */
static int ask_yes(struct choosing *ch, const char *question)
{
	for (int i = 0; i < ANSWERS_MAX; i++) {
		if (!ask(ch, "yes", "%s", question))
			return -1;
		if (strcmp(ch->line, "yes") == 0 || strcmp(ch->line, "y") == 0)
			return 1;
		if (strcmp(ch->line, "no") == 0 || strcmp(ch->line, "n") == 0)
			return 0;
		fprintf(ch->c->err, "yes or no?\n");
	}
	return -1;
}

/* ---- the candidates ---- */

static void clean_name(const struct pedal_found *found, char *out, size_t size)
{
	const char *name = found->id.name[0] ? found->id.name : "a device without a name";
	words_clean(name, strlen(name), out, size);
}

static void show_all(struct choosing *ch)
{
	static const struct table_column columns[] = {
		{"device", false, true}, {"name", false, true}, {"what it is", false, false},
		{"", false, false}};
	struct table table;
	struct lines out = {0};
	char name[PEDAL_IDENTITY_TEXT], what[64];
	table_begin(&table, columns, sizeof columns / sizeof columns[0]);
	for (int i = 0; i < ch->list.count; i++) {
		const struct pedal_found *f = &ch->list.at[i];
		clean_name(f, name, sizeof name);
		snprintf(what, sizeof what, "%04x:%04x:%04x", f->id.bus, f->id.vendor, f->id.product);
		table_row(&table, ch->device[i] ? TABLE_ORDINARY : TABLE_FAINT);
		table_cell(&table, f->node);
		table_cell(&table, name);
		table_cell(&table, what);
		table_cell(&table, ch->device[i] ? "" : f->readable ? "cannot be opened" : "no right");
	}
	table_print(&table, &ch->c->style, &out);
	table_end(&table);
	fputs(lines_text(&out), ch->c->err);
	lines_free(&out);
}

/* The cure for each to which the right is missing. */
static void show_rules(struct choosing *ch)
{
	char rule[400], name[PEDAL_IDENTITY_TEXT];
	bool any = false;
	for (int i = 0; i < ch->list.count; i++) {
		const struct pedal_found *f = &ch->list.at[i];
		if (f->readable)
			continue;
		if (!any)
			fprintf(ch->c->err, "If yours is one to which you have no right: put its line, and "
			        "no other, into\n/etc/udev/rules.d/70-tally-pedal.rules, then plug it in again.\n");
		any = true;
		clean_name(f, name, sizeof name);
		pedal_identity_rule(&f->id, rule, sizeof rule);
		fprintf(ch->c->err, "  # %s\n  %s\n", name, rule);
	}
}

/* ---- step by step ---- */

/* Was Enter typed on the switch itself while the question was answered? */
static bool typed_on(struct choosing *ch, int which)
{
	struct pedal_event e;
	bool enter = false;
	while (choose_key(ch, which, &e))
		enter = enter || (e.value == 1 && (e.code == KEY_ENTER || e.code == KEY_KPENTER));
	return enter;
}

/* Others that say the same of themselves: at the next plugging nobody could tell them apart. */
static bool alone(struct choosing *ch, int which)
{
	char text[PEDAL_IDENTITY_TEXT];
	struct pedal_identity wanted;
	struct fault why;
	int first, like;
	pedal_identity_text(&ch->list.at[which].id, text);
	return pedal_identity_parse(text, &wanted, &why) &&
	       pedal_find_wanted(&ch->list, &wanted, &first, &like) == 1;
}

/* Which one, and the key of its first button. */
static enum outcome choose_device(struct choosing *ch, unsigned *code)
{
	char key[PEDAL_KEY_SIZE], name[PEDAL_IDENTITY_TEXT];
	for (;;) {
		int which;
		fprintf(ch->c->err, "Press the foot switch once (Ctrl-C ends, and nothing is changed).\n");
		choose_quiet(ch, true);
		enum got got = choose_press(ch, false, &which, code);
		choose_quiet(ch, false);
		if (got != GOT_KEY && choose_stopped(ch))
			return OUTCOME_NO;
		if (got != GOT_KEY)
			continue; /* it was unplugged while it was down */
		pedal_key_name(*code, key);
		clean_name(&ch->list.at[which], name, sizeof name);
		fprintf(ch->c->err, "%s, %s: %s\n", ch->list.at[which].node, name, key);
		if (!alone(ch, which))
			return client_wrong(ch->c, "two devices say the same of themselves as %s: they could "
			                    "not be told apart. Unplug one of them, and choose again", name);
		int yes = ask_yes(ch, "Is this the foot switch? Answer on the keyboard: yes or no?");
		if (yes < 0)
			return OUTCOME_NO;
		if (yes && typed_on(ch, which))
			fprintf(ch->c->err, "You answered on that very device: it is your keyboard, and would "
			        "be lost to you.\n");
		else if (yes) {
			ch->chosen = which;
			return OUTCOME_DONE;
		}
	}
}

/* From here on no letter of it gets anywhere. */
static enum outcome have_alone(struct choosing *ch)
{
	struct pollfd none = {.fd = -1};
	while (!choose_stopped(ch)) {
		switch (pedal_device_grab(ch->device[ch->chosen])) {
		case PEDAL_GRABBED:
			return OUTCOME_DONE;
		case PEDAL_GRAB_WAIT:
			poll(&none, 1, CHOOSE_STOP_MS);
			break;
		case PEDAL_GRAB_BUSY:
			return client_wrong(ch->c, "another program has it: end that first (`tally bench`?)");
		case PEDAL_GRAB_LOST:
			return client_wrong(ch->c, "it is gone");
		}
	}
	return OUTCOME_NO;
}

/* What each button does; the first is known. */
static enum outcome choose_buttons(struct choosing *ch, unsigned code, struct pedal_buttons *b)
{
	static const enum pedal_action usual[PEDAL_BUTTONS_MAX] = {PEDAL_TAKE, PEDAL_NEXT, PEDAL_BACK,
	                                                           PEDAL_UNDO, PEDAL_AGAIN, PEDAL_SAY};
	char key[PEDAL_KEY_SIZE];
	for (;;) {
		struct pedal_button *one = &b->at[b->count];
		*one = (struct pedal_button){.code = code, .press = usual[b->count]};
		if (!ask_action(ch, code, "pressed", &one->press))
			return OUTCOME_NO;
		b->count++;
		bool known = true;
		while (known) {
			int which;
			if (b->count == PEDAL_BUTTONS_MAX)
				return OUTCOME_DONE;
			fprintf(ch->c->err, "Press the next button, or type Enter where there is no other.\n");
			switch (choose_press(ch, true, &which, &code)) {
			case GOT_LINE:
				return OUTCOME_DONE;
			case GOT_KEY:
				break;
			default:
				if (!choose_stopped(ch) && !ch->device[ch->chosen])
					return client_wrong(ch->c, "it is gone");
				return OUTCOME_NO;
			}
			known = false;
			for (int i = 0; i < b->count; i++)
				known = known || b->at[i].code == code;
			pedal_key_name(code, key);
			if (known)
				fprintf(ch->c->err, "%s has its action already.\n", key);
		}
	}
}

/* A lone button may do two things. */
static enum outcome choose_second(struct choosing *ch, struct pedal_button *b)
{
	b->held = PEDAL_UNDO;
	fprintf(ch->c->err, "A second action, for one button alone. Held long it waits for the release "
	        "to know;\nwith `double` every press waits a moment.\n");
	if (!ask_action(ch, b->code, "held long", &b->held) ||
	    !ask_action(ch, b->code, "pressed twice", &b->twice))
		return OUTCOME_NO;
	return OUTCOME_DONE;
}

static enum outcome keep(struct choosing *ch, struct settings *s, const struct pedal_buttons *b)
{
	struct fault why;
	char device[PEDAL_IDENTITY_TEXT], buttons[SETTINGS_VALUE_MAX];
	pedal_identity_text(&ch->list.at[ch->chosen].id, device);
	pedal_buttons_text(b, buttons, sizeof buttons);
	const struct setting_change change[] = {{"pedal", "device", device},
	                                        {"pedal", "buttons", buttons}};
	if (!settings_set_all(s, change, 2, &why))
		return client_fault(ch->c, OUTCOME_NOT_LOGGED, &why);
	if (client_has(ch->c, OPTION_JSON)) {
		char buffer[4096];
		struct text t;
		text_begin(&t, buffer, sizeof buffer);
		text_puts(&t, "{\"device\":");
		text_string(&t, device, strlen(device));
		text_member_string(&t, "buttons", buttons);
		text_member_string(&t, "file", s->path);
		text_puts(&t, "}");
		client_json(ch->c, (struct slice){t.bytes, t.len});
		return OUTCOME_DONE;
	}
	fprintf(ch->c->out, "device = %s\nbuttons = %s\n", device, buttons);
	fprintf(ch->c->out, "Kept in %s. `tally pedal test` shows each press.\n", s->path);
	return OUTCOME_DONE;
}

static enum outcome choose(struct choosing *ch, struct settings *s)
{
	struct pedal_buttons b = {0};
	unsigned code = 0;
	pedal_find(&ch->list);
	if (!ch->list.count)
		return client_wrong(ch->c, "there is no device with keys in %s: plug the foot switch into "
		                    "this machine, the one where tally runs", pedal_folder());
	int opened = 0;
	for (int i = 0; i < ch->list.count; i++)
		opened += choose_listen(ch, i);
	show_all(ch);
	show_rules(ch);
	if (!opened)
		return client_wrong(ch->c, "none of these can be listened to");
	enum outcome outcome = choose_device(ch, &code);
	if (outcome == OUTCOME_DONE)
		outcome = have_alone(ch);
	if (outcome == OUTCOME_DONE)
		outcome = choose_buttons(ch, code, &b);
	if (outcome == OUTCOME_DONE && b.count == 1)
		outcome = choose_second(ch, &b.at[0]);
	if (outcome == OUTCOME_DONE)
		return keep(ch, s, &b);
	if (outcome == OUTCOME_NO)
		fprintf(ch->c->err, "\nNothing was changed.\n");
	return outcome;
}

enum outcome call_pedal_choose(struct client *c)
{
	struct settings s;
	struct fault why;
	if (!settings_load(&s, &why))
		return client_fault(c, OUTCOME_WRONG, &why);
	struct choosing *ch = calloc(1, sizeof *ch);
	if (!ch)
		return client_wrong(c, "out of memory");
	ch->c = c;
	ch->chosen = -1;
	ch->terminal = isatty(STDIN_FILENO) && tcgetattr(STDIN_FILENO, &ch->before) == 0;
	enum outcome outcome = choose(ch, &s);
	for (int i = 0; i < ch->list.count; i++)
		pedal_device_close(ch->device[i]);
	free(ch);
	return outcome;
}

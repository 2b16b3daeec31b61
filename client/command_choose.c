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
#include "client/command_calls.h"

#include "client/pedal_device.h"
#include "client/pedal_find.h"
#include "client/pedal_press.h"
#include "client/settings.h"

#include <errno.h>
#include <linux/input-event-codes.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

/* How often it is looked whether the person ended it. */
#define STOP_MS 100
/* A letter of the switch may come to the terminal this much later than from the device:
 * it goes through the desktop. */
#define LETTER_MS 150
/* How often it is looked whether something was plugged in, in steps of STOP_MS. */
#define LOOK_STEPS 10
/* How long all keys of a press may stay down before it is taken as it is. */
#define PRESS_MS 3000
/* Wrong answers in a row before it is given up. */
#define ANSWERS_MAX 5

struct choosing {
	struct client *c;
	struct pedal_list list;
	struct pedal_device *device[PEDAL_FOUND_MAX]; /* those that could be opened */
	int chosen;     /* -1: every one is listened to */
	bool terminal;
	struct termios before; /* of the terminal */
	char line[256]; /* of standard input, as far as it has come */
	size_t len;
	bool long_line;
};

/* What was waited for. */
enum got { GOT_KEY, GOT_LINE, GOT_TIME, GOT_END };

static bool stopped(const struct choosing *ch)
{
	return ch->c->stop && *ch->c->stop;
}

/* ---- keys and lines ---- */

/* What is pressed shows on no screen meanwhile, and Ctrl-C works on. */
static void quiet(struct choosing *ch, bool on)
{
	struct termios t = ch->before;
	struct pollfd none = {.fd = -1};
	if (!ch->terminal)
		return;
	if (on)
		t.c_lflag &= ~(tcflag_t)(ECHO | ICANON);
	else
		poll(&none, 1, LETTER_MS);
	/* Leaving it, what was typed is thrown away: the switch typed it. */
	tcsetattr(STDIN_FILENO, on ? TCSANOW : TCSAFLUSH, &t);
}

static bool key_of(struct choosing *ch, int i, struct pedal_event *e)
{
	if (!ch->device[i])
		return false;
	for (;;) {
		switch (pedal_device_next(ch->device[i], e)) {
		case PEDAL_READ_EVENT:
			return true;
		case PEDAL_READ_MISSED:
			continue;
		case PEDAL_READ_LOST:
			pedal_device_close(ch->device[i]);
			ch->device[i] = NULL;
			return false;
		case PEDAL_READ_NOTHING:
			return false;
		}
	}
}

/* A byte of standard input; true at the end of a line. */
static bool line_byte(struct choosing *ch, char byte)
{
	if (byte == '\n') {
		ch->line[ch->long_line ? 0 : ch->len] = '\0';
		ch->len = 0;
		ch->long_line = false;
		return true;
	}
	if (ch->len + 1 < sizeof ch->line)
		ch->line[ch->len++] = byte;
	else
		ch->long_line = true; /* no answer is that long */
	return false;
}

/* Listen to one device; false where that cannot be. */
static bool listen_to(struct choosing *ch, int i)
{
	struct fault why;
	ch->device[i] = pedal_device_open(ch->list.at[i].node, &why);
	if (ch->device[i] && !pedal_device_listen(ch->device[i])) {
		pedal_device_close(ch->device[i]);
		ch->device[i] = NULL;
	}
	return ch->device[i] != NULL;
}

/* What was plugged in since, or may be opened now, is listened to as well. */
static void look_again(struct choosing *ch)
{
	struct pedal_list now;
	pedal_find(&now);
	for (int k = 0; k < now.count; k++) {
		int at = ch->list.count;
		for (int i = ch->list.count - 1; i >= 0; i--)
			if (strcmp(ch->list.at[i].node, now.at[k].node) == 0)
				at = i;
		if (at == PEDAL_FOUND_MAX || ch->device[at])
			continue;
		ch->list.at[at] = now.at[k];
		if (at == ch->list.count)
			ch->list.count++;
		if (listen_to(ch, at))
			fprintf(ch->c->err, "%s is there now, too.\n", now.at[k].node);
	}
}

/* Is there a key event, a line?  *which and *e say what; waits `ms` (-1: for ever). */
static enum got wait_for(struct choosing *ch, bool keys, bool lines, int ms, int *which,
                         struct pedal_event *e)
{
	int steps = 0;
	for (int waited = 0; !stopped(ch); waited += STOP_MS) {
		struct pollfd p[PEDAL_FOUND_MAX + 1];
		int n = 0;
		if (keys && ch->chosen < 0 && ++steps % LOOK_STEPS == 0)
			look_again(ch);
		for (int i = 0; keys && i < ch->list.count; i++) {
			if (ch->chosen >= 0 && i != ch->chosen)
				continue;
			if (key_of(ch, i, e)) {
				*which = i;
				return GOT_KEY;
			}
			if (ch->device[i])
				p[n++] = (struct pollfd){.fd = pedal_device_fd(ch->device[i]), .events = POLLIN};
			else if (i == ch->chosen)
				return GOT_END;
		}
		if (lines)
			p[n++] = (struct pollfd){.fd = STDIN_FILENO, .events = POLLIN};
		if (ms >= 0 && waited >= ms)
			return GOT_TIME;
		if (poll(p, (nfds_t)n, STOP_MS) <= 0)
			continue;
		if (lines && p[n - 1].revents) {
			char byte;
			ssize_t got = read(STDIN_FILENO, &byte, 1);
			if (got == 0 || (got < 0 && errno != EINTR && errno != EAGAIN))
				return GOT_END;
			if (got == 1 && line_byte(ch, byte))
				return GOT_LINE;
		}
		waited -= STOP_MS; /* it was no waiting */
	}
	return GOT_END;
}

/* One whole press: of all keys that go down until all are up again the last one that is
 * no shift or control.  With `lines` a line may come instead. */
static enum got press(struct choosing *ch, bool lines, int *which, unsigned *code)
{
	struct pedal_event e;
	enum got got;
	do
		got = wait_for(ch, true, lines, -1, which, &e);
	while (got == GOT_KEY && e.value != 1);
	if (got != GOT_KEY)
		return got;
	int device = *which, down = 1;
	*code = e.code;
	while (down > 0 && wait_for(ch, true, false, PRESS_MS, which, &e) == GOT_KEY) {
		if (*which != device || e.value > 1)
			continue;
		down += e.value ? 1 : -1;
		if (e.value && (!pedal_key_modifier(e.code) || pedal_key_modifier(*code)))
			*code = e.code;
	}
	*which = device;
	return ch->device[device] ? GOT_KEY : GOT_END;
}

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
	if (wait_for(ch, false, true, -1, &which, &e) != GOT_LINE)
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
		if (!ask(ch, pedal_action_name(*action), "%s %s: take, next, back, again, say, undo or "
		         "none?", key, how))
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
		table_cell(&table, ch->device[i] ? "" : f->readable ? "cannot be opened" : "no right to it");
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
			fprintf(ch->c->err, "If yours is one to which you have no right: put its line, and no "
			        "other, into\n/etc/udev/rules.d/70-tally-pedal.rules, then plug it in again.\n");
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
	while (key_of(ch, which, &e))
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
		quiet(ch, true);
		enum got got = press(ch, false, &which, code);
		quiet(ch, false);
		if (got != GOT_KEY && stopped(ch))
			return OUTCOME_NO;
		if (got != GOT_KEY)
			continue; /* it was unplugged while it was down */
		pedal_key_name(*code, key);
		clean_name(&ch->list.at[which], name, sizeof name);
		fprintf(ch->c->err, "%s, %s: %s\n", ch->list.at[which].node, name, key);
		if (!alone(ch, which))
			return client_wrong(ch->c, "two devices say the same of themselves as %s: they could not "
			                    "be told apart. Unplug one of them, and choose again", name);
		int yes = ask_yes(ch, "Is this the foot switch? Answer on the keyboard: yes or no?");
		if (yes < 0)
			return OUTCOME_NO;
		if (yes && typed_on(ch, which))
			fprintf(ch->c->err, "You answered on that very device: it is your keyboard, and would be "
			        "lost to you.\n");
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
	while (!stopped(ch)) {
		switch (pedal_device_grab(ch->device[ch->chosen])) {
		case PEDAL_GRABBED:
			return OUTCOME_DONE;
		case PEDAL_GRAB_WAIT:
			poll(&none, 1, STOP_MS);
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
			switch (press(ch, true, &which, &code)) {
			case GOT_LINE:
				return OUTCOME_DONE;
			case GOT_KEY:
				break;
			default:
				if (!stopped(ch) && !ch->device[ch->chosen])
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
	if (!settings_set(s, "pedal", "device", device, &why) ||
	    !settings_set(s, "pedal", "buttons", buttons, &why))
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
		opened += listen_to(ch, i);
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

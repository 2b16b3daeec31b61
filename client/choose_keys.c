/* SPDX-License-Identifier: MIT */
/* See choose.h. */
#include "client/choose.h"

#include "client/pedal_press.h"

#include <errno.h>
#include <poll.h>
#include <string.h>
#include <unistd.h>

/* A letter of the switch may come to the terminal this much later than from the device:
 * it goes through the desktop. */
#define LETTER_MS 150
/* How often it is looked whether something was plugged in, in steps of STOP_MS. */
#define LOOK_STEPS 10
/* How long all keys of a press may stay down before it is taken as it is. */
#define PRESS_MS 3000

bool choose_stopped(const struct choosing *ch)
{
	return ch->c->stop && *ch->c->stop;
}

/* ---- keys and lines ---- */

/* What is pressed shows on no screen meanwhile, and Ctrl-C works on. */
void choose_quiet(struct choosing *ch, bool on)
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

bool choose_key(struct choosing *ch, int i, struct pedal_event *e)
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
bool choose_listen(struct choosing *ch, int i)
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
		if (choose_listen(ch, at))
			fprintf(ch->c->err, "%s is there now, too.\n", now.at[k].node);
	}
}

/* Is there a key event, a line?  *which and *e say what; waits `ms` (-1: for ever). */
enum got choose_wait(struct choosing *ch, bool keys, bool lines, int ms, int *which,
                         struct pedal_event *e)
{
	int steps = 0;
	for (int waited = 0; !choose_stopped(ch); waited += CHOOSE_STOP_MS) {
		struct pollfd p[PEDAL_FOUND_MAX + 1];
		int n = 0;
		if (keys && ch->chosen < 0 && ++steps % LOOK_STEPS == 0)
			look_again(ch);
		for (int i = 0; keys && i < ch->list.count; i++) {
			if (ch->chosen >= 0 && i != ch->chosen)
				continue;
			if (choose_key(ch, i, e)) {
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
		if (poll(p, (nfds_t)n, CHOOSE_STOP_MS) <= 0)
			continue;
		if (lines && p[n - 1].revents) {
			char byte;
			ssize_t got = read(STDIN_FILENO, &byte, 1);
			if (got == 0 || (got < 0 && errno != EINTR && errno != EAGAIN))
				return GOT_END;
			if (got == 1 && line_byte(ch, byte))
				return GOT_LINE;
		}
		waited -= CHOOSE_STOP_MS; /* it was no waiting */
	}
	return GOT_END;
}

/* One whole press: of all keys that go down until all are up again the last one that is
 * no shift or control.  With `lines` a line may come instead. */
enum got choose_press(struct choosing *ch, bool lines, int *which, unsigned *code)
{
	struct pedal_event e;
	enum got got;
	do
		got = choose_wait(ch, true, lines, -1, which, &e);
	while (got == GOT_KEY && e.value != 1);
	if (got != GOT_KEY)
		return got;
	int device = *which, down = 1;
	*code = e.code;
	while (down > 0 && choose_wait(ch, true, false, PRESS_MS, which, &e) == GOT_KEY) {
		if (*which != device || e.value > 1)
			continue;
		down += e.value ? 1 : -1;
		if (e.value && (!pedal_key_modifier(e.code) || pedal_key_modifier(*code)))
			*code = e.code;
	}
	*which = device;
	return ch->device[device] ? GOT_KEY : GOT_END;
}

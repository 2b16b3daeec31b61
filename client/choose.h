/* SPDX-License-Identifier: MIT */
/*
 * What `tally pedal choose` listens to: every device with keys, until one is chosen, and
 * the lines of standard input.  Inside command_choose.c and choose_keys.c alone.
 */
#ifndef TALLY_CLIENT_CHOOSE_H
#define TALLY_CLIENT_CHOOSE_H

#include "client/client.h"
#include "client/pedal_device.h"
#include "client/pedal_find.h"

#include <termios.h>

/* How often it is looked whether the person ended it. */
#define CHOOSE_STOP_MS 100

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

bool choose_stopped(const struct choosing *ch);

/* On: what is pressed shows on no screen, and Ctrl-C works on.  Off: the terminal is as it
 * was, and what the switch typed is thrown away. */
void choose_quiet(struct choosing *ch, bool on);

/* Listen to one device of the list; false where that cannot be. */
bool choose_listen(struct choosing *ch, int i);

/* The next event of a device, if there is one; one that is gone is closed. */
bool choose_key(struct choosing *ch, int i, struct pedal_event *e);

/* Is there a key event, a line?  *which and *e say what; waits `ms` (-1: for ever).  What
 * is plugged in meanwhile is listened to as well, until one is chosen. */
enum got choose_wait(struct choosing *ch, bool keys, bool lines, int ms, int *which,
                     struct pedal_event *e);

/* One whole press: of all keys that go down until all are up again the last one that is
 * no shift or control.  With `lines` a line may come instead. */
enum got choose_press(struct choosing *ch, bool lines, int *which, unsigned *code);

#endif

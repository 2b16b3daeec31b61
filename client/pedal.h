/* SPDX-License-Identifier: MIT */
/*
 * The foot switch at the bench: found by what it is, had alone, its presses as actions.
 *
 * It comes and goes: one that is unplugged is told and looked for until it is there again,
 * by a watch of the folder of the nodes, and once in PEDAL_RETRY_MS where no watch can be
 * had.  No action ever comes of plugging, unplugging or what was missed.
 *
 * What it is and what its buttons do stands in [pedal] of the settings; `tally pedal
 * choose` writes it.  The clients of this file: command_bench.c, command_pedal.c.
 */
#ifndef TALLY_CLIENT_PEDAL_H
#define TALLY_CLIENT_PEDAL_H

#include "client/pedal_press.h"
#include "client/settings.h"

#include <uv.h>

struct pedal;

/* Once a second costs nothing, and nobody plugs a switch in and presses it sooner. */
#define PEDAL_RETRY_MS 1000
/* A new node belongs to root until the rules have been read; this long it is not
 * complained of. */
#define PEDAL_GRACE_US 1500000

enum pedal_state {
	PEDAL_OFF,     /* none is chosen, or its buttons do nothing: nothing is looked for */
	PEDAL_AWAY,    /* chosen, and not there */
	PEDAL_WAIT,    /* there, with a key down: it is taken when that is let go */
	PEDAL_READY,
	PEDAL_TROUBLE, /* the right to it is missing, two of them, another program has it */
};

/* "ready", "away" ... */
const char *pedal_state_name(enum pedal_state state);

/*
 * Begin.  `call` comes from the loop, never from within pedal_open: with an action for each
 * press, and with PEDAL_STATE whenever pedal_state or pedal_words changed (at least once,
 * at the beginning).  NULL only without memory.
 */
struct pedal *pedal_open(uv_loop_t *loop, const struct settings *settings,
                         void (*call)(void *arg, enum pedal_action action), void *arg);

enum pedal_state pedal_state(const struct pedal *p);
/* One sentence on how it stands and, where something is wrong, what to do; a second line
 * where a rule is to be copied.  Valid until the next PEDAL_STATE. */
const char *pedal_words(const struct pedal *p);
/* The buttons, as they are set. */
const struct pedal_buttons *pedal_buttons(const struct pedal *p);

/* See every event of a key before what comes of it; NULL ends it. */
void pedal_observe(struct pedal *p, void (*seen)(void *arg, unsigned code, int value), void *arg);

/* End; may be called from `call`, which does not come again.  The memory is given back
 * when the loop has run on; the device is let go before this returns. */
void pedal_close(struct pedal *p);

#endif

/* SPDX-License-Identifier: MIT */
/*
 * One meter of the demo: a pseudo-terminal, a dial, and probes that meet a part, are clipped
 * somewhere, or hang in the air.
 *
 *     meter.c        its line, what it displays, the lines of one that talks
 *     meter_asked.c  what one that is asked answers, in SCPI
 *
 * Values in ohm, farad and volts; times in seconds of tape.h's clock.
 */
#ifndef TALLY_DEMO_METER_H
#define TALLY_DEMO_METER_H

#include "amplifier.h"
#include "parts.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum function { OHM, FARAD, VOLT, VOLT_AC };

struct display {
	bool overload;
	double value;
	int digit; /* power of ten that the last digit weighs */
	int range; /* power of ten of the range's end */
};

struct meter {
	char name[24];
	bool asked, tight;
	double counts, period, next; /* seconds */
	enum function dial;
	double error; /* reads so much too high */
	int fd, keep; /* the pty, and its other end so that it never hangs up by itself */
	char link[300];

	/* what its probes touch */
	bool touching, is_open;
	double value, from, tau, noise;
	double since;       /* when they met */
	int hunt, chatter;
	double off_until;   /* a slip */
	int part;           /* it is clipped there, from 1; 0: nowhere */
	enum part_where where;
	int amplifier;      /* ... or there, from 1 */
	enum amplifier_place place;

	/* of the asked one */
	char in[256];
	size_t in_len;
	double answer_at; /* a conversion is on its way; 0: none */
	char errors[8][64];
	int error_count;
	uint64_t random;
};

/* The pseudo-terminal with its link, or the line of the tape; ends the program where there is none. */
void meter_plug(struct meter *m);
void meter_unplug(struct meter *m);
/* What came over its line: commands of one that is asked, anything else is drained. */
void meter_listen(struct meter *m, double t);
/* Whatever is due; returns when the next thing is. */
double meter_tick(struct meter *m, double t);

/* ---- inside this room ---- */

/* What it shows now; its noise goes on by one display. */
struct display meter_display(struct meter *m, double t);
/* A full line loses what is said, as a cable with nobody at its end does. */
void meter_say(struct meter *m, const char *line);
void meter_obey(struct meter *m, const char *command, double t);
/* The answer to READ?, when its conversion is done. */
void meter_answer(struct meter *m, double t);

#endif

/* SPDX-License-Identifier: MIT */
/*
 * A scene: what the hands do on the demo's bench, as text, one step a line; # begins a comment.
 *
 *     meter NAME asked COUNTS      a bench meter that is asked in SCPI
 *     meter NAME talks COUNTS RATE [tight]
 *                                  a handheld that sends RATE lines a second, such as
 *                                  "+0.4812 kOhm"; tight: without sign and space
 *     dial NAME ohm|farad|volt-dc|volt-ac  turn its switch
 *     error NAME PERCENT           it reads so much too high
 *     up POSITION                  wait until that name is called (after 5 s: choose it)
 *     await POSITION               wait until that name is called, however long it takes
 *     touch NAME VALUE [noise D] [hunt N] [chatter N] [from VALUE tau S]
 *                                  its probes meet a part of VALUE (ohm, farad or volt,
 *                                  with p n u m k M; or `open`).  noise: sigma of one
 *                                  display in digits; hunt: so many displays go by
 *                                  before its range is found; chatter: contact is lost so
 *                                  often at first; from, tau: it begins there and
 *                                  approaches the value with this time constant
 *     hold logged|S                keep them there until it is logged (at most 12 s)
 *     slip S                       the probe leaves for S seconds and comes back
 *     lift                         take them away
 *     pause S
 *     unplug NAME, plug NAME       the adapter's cable
 *     tally WORDS...               what is done by key: run the client
 *     say TEXT                     print it
 *     clip NAME at|over PART       it stays on volts of a part of parts.h, which says how
 *                                  there is one: electrolytic, supply, discharge
 *     clip NAME PLACE AMPLIFIER    ... of an amplifier of amplifier.h: rail, heater, bias, sense,
 *                                  sense-other, out; amplifier, mains, put, out, signal, load
 *
 * hold, slip and lift are about the meter that touched last.
 */
#ifndef TALLY_DEMO_SCENE_H
#define TALLY_DEMO_SCENE_H

#include "meter.h"

#include <stdbool.h>
#include <stdint.h>

#define METERS_MAX 8

/* Those that the scene has made so far, in its order. */
extern struct meter meters[METERS_MAX];
extern int meter_count;

struct scene_options {
	const char *scene, *folder; /* the file; where the links to the meters' lines are made */
	const char *tally;          /* the client with its options; "": nothing is done by key */
	uint64_t seed;              /* of the meters' noise and of how long the hands take */
};

/* A scene that is wrong ends the program, with its line.  The options are kept. */
void scene_read(const struct scene_options *o);
/* Steps are done until one waits; false when there is none any more. */
bool scene_tick(double t);

#endif

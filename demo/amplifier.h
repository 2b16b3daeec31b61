/* SPDX-License-Identifier: MIT */
/*
 * What stands behind the probes of the demo's meters while the power is brought up: a valve
 * amplifier with one main rail, a bias supply, two output valves and a load.
 *
 *     amplifier NAME [rail V] [heater V] [bias V] [idle AMP] [other AMP] [watts W] [inside OHM]
 *                    [hum V] [load OHM] [drift FRACTION over S] [shorted 1]
 *                              volts of the rail under load, of a heater and of the bias rail, at
 *                              230 V of mains; idle currents of the first and the other output
 *                              valve, each over 10 ohm; the power at which it clips, its output
 *                              impedance and hum; drift: the current of the other valve rises by
 *                              that fraction, with that time constant, once it is warm; shorted:
 *                              its rectifier is
 *     mains NAME VOLTS         the variable transformer is turned there; 0: off
 *     put NAME lamp|rectifier|valves   they are put in; at first none is
 *     out NAME lamp|rectifier|valves   ... and taken out
 *     signal NAME HERTZ VOLTS  at its input; 0 0: the input is shorted
 *     load NAME OHM            another load
 *     discharge NAME OHM       a resistor lies across its reservoirs
 *     clip METER rail|heater|bias|sense|sense-other|out NAME
 *                              a meter is clipped there; what it reads goes by its dial, too: in
 *                              volts ac the rail shows its ripple
 *
 * A made-up model, no source.  Time in seconds of the scene; it never falls.
 */
#ifndef TALLY_DEMO_AMPLIFIER_H
#define TALLY_DEMO_AMPLIFIER_H

#include "parts.h"

#define AMPLIFIERS_MAX 2

enum amplifier_place { AT_RAIL, AT_HEATER, AT_BIAS, AT_SENSE, AT_SENSE_OTHER, AT_OUT, AT_PLACES };
bool amplifier_place_named(const char *word, enum amplifier_place *out);
/* As part_do of parts.h. */
bool amplifier_do(const struct part_step *s, double t, const char **expected);
int amplifier_find(const char *name); /* -1: none */
/* Volts that a meter reads there; ac: its dial stands so. */
double amplifier_volts(int amplifier, enum amplifier_place place, bool ac, double t);

#endif

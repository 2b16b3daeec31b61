/* SPDX-License-Identifier: MIT */
/*
 * What stands behind the probes of the demo's meters and is more than a value: old
 * electrolytics on a supply, through a resistor.
 *
 *     electrolytic NAME FARAD VOLTS series OHM leak AMP left AMP tau S [from VOLTS flee S]
 *                              of so many farads, made for so many volts; at those it leaks
 *                              `leak` now, which falls to `left` with the time constant tau
 *                              while it has volts (`left` as large as `leak`: it never
 *                              re-forms); above `from` its leakage rises instead, by e in
 *                              `flee` seconds: it runs away
 *     supply NAME VOLTS        a hand turns its supply to so many volts
 *     discharge NAME OHM       its supply is off, and a resistor lies across it
 *
 * A made-up model, no source.  Time in seconds of the scene; it never falls.
 */
#ifndef TALLY_DEMO_PARTS_H
#define TALLY_DEMO_PARTS_H

#include <stdbool.h>

#define PARTS_MAX 4

enum part_where { PART_AT, PART_OVER }; /* volts at the part; over its resistor */

/* number: word i of the step as a number; it ends the program where it is none. */
struct part_step {
	int words;
	char *const *word;
	double (*number)(const void *step, int i);
	const void *step;
};
/* False where it is no step of a part; *expected where it is one and wrong, else NULL. */
bool part_do(const struct part_step *s, double t, const char **expected);
int part_find(const char *name); /* -1: none */
/* Volts that a meter reads there at time t; each has 10 Mohm, and both are clipped on. */
double part_volts(int part, enum part_where where, double t);

#endif

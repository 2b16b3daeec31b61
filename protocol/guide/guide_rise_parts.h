/* SPDX-License-Identifier: MIT */
/* Between the files of bringing up the power: guide_rise.c says which does what. */
#ifndef TALLY_GUIDE_RISE_PARTS_H
#define TALLY_GUIDE_RISE_PARTS_H

#include "protocol/guide/guide_parts.h"

#define RISE_LOADS 8
#define RISE_STAGES 4     /* of the mains */
#define RISE_RESPONSES 10 /* points of the response */

/* All of these: common practice, no source. */
#define DEAD_VOLTS 30        /* on a rail that has no rectifier */
#define RISE_UNLOADED 1.4    /* of a rail without load, over the loaded one: the peak of a sine */
#define BELOW_CEILING 0.97  /* a dial is not a meter */
#define RISE_MARGIN 1.15     /* above that something is wrong with tap or transformer */
#define RISE_FLOOR 0.5       /* of the loaded rail: below, something pulls it down */
#define GLOW_FLOOR 0.1       /* the same with valves and lamp in */
#define ON_FLOOR 0.7         /* the same without the lamp */
#define BIAS_FLOOR 0.7       /* of the bias rail, before a valve is put in */
#define WARM_RECTIFIER 0.7   /* of the mains: below, a valve rectifier gives nothing */
#define SOAK_SECONDS 1800
#define RUNAWAY 0.25         /* of a bias over the soak */

enum { ROLE_RAIL, ROLE_PROBE, ROLE_OUT };
enum {
	SLOT_STATION, SLOT_STAGE, SLOT_HERTZ, SLOT_SOAKED, SLOT_TAKEN, SLOT_ABOVE, SLOT_ABOVE_BIAS,
	SLOT_SECOND = 8,                                /* volts in the second load, by load */
	SLOT_FIRST = SLOT_SECOND + RISE_LOADS + 8,      /* the first value at a station */
	SLOT_AFTER = SLOT_FIRST + GUIDE_STATIONS,       /* after the soak; of a load, at 1 kHz */
	SLOT_END = SLOT_AFTER + GUIDE_STATIONS
};
_Static_assert(SLOT_END <= GUIDE_SLOTS, "slots of rise");
enum {
	STEP_CAUTION, STEP_READY, STEP_LOAD, STEP_BARE, STEP_TRANSFORMER, STEP_HEATERS, STEP_RECTIFIER,
	STEP_RAISE, STEP_BIAS, STEP_VALVES, STEP_GLOW, STEP_LAMP, STEP_ON, STEP_RAILS, STEP_HEATED,
	STEP_RIPPLE, STEP_SENSE, STEP_SOAK, STEP_SENSE_AFTER, STEP_RAILS_AFTER, STEP_SIGNAL,
	STEP_RESPONSE, STEP_LOAD2, STEP_HUM, STEP_POWER, STEP_OFF
};

/* Where the volts of that load into the second load are kept; -1: more loads than are kept. */
int rise_second_slot(const struct guide *g, int station);
bool rise_passed_over(const struct guide *g, int step);
const char *rise_step_word(int step);

/* ---- guide_rise_station.c: volts, hertz ---- */

/* What a step visits (enum guide_what), -1: nothing. */
int rise_visits(int step);
/* The next station of that kind from `from` on, by `by` (1 or -1); -1: none. */
int rise_station_from(const struct guide *g, int what, int from, int by);
const struct guide_station *rise_here(const struct guide *g); /* NULL: nowhere */
/* The rail that is watched, the highest of the sheet: its station, -1 where there is none; then
 * there is no rise_rail. */
int rise_main_rail(const struct guide *g);
const struct guide_station *rise_rail(const struct guide *g);

/* Of the main rail at this step. */
struct guide_expected rise_expected(const struct guide *g);
/* Mains of the stage at hand; at most those that bring the rail to its ceiling without a load. */
double rise_stage_mains(const struct guide *g);
double rise_mains_most(const struct guide *g);

/* Does the meter of that role read a number now?  False for role -1. */
bool rise_heard(const struct guide *g, int role);
/* The role that reads where the step is, -1 where it is nowhere: the probe goes there; where there
 * is no second meter, the rail's does. */
int rise_wanderer(const struct guide *g);
/* Of the response; 0 in any other step. */
double rise_hertz(const struct guide *g);

struct rise_numbers {
	struct guide_expected expected; /* of the main rail at this step */
	double mains, most, hertz;
};
void rise_numbers(const struct guide *g, struct rise_numbers *n);
/* The numbers at a stage of raising the mains; false behind the last one. */
bool rise_stage(const struct guide *g, int stage, struct rise_numbers *n);

/* ---- guide_rise_watch.c: what is true has stopped the run, and `out` says so ---- */

/* What the rail may be now, at most; NAN: anything. */
double rise_rail_most(const struct guide *g);
/* A reading of the rail's meter, of the meter at the bias. */
bool rise_watch_rail(struct guide *g, const struct guide_input *in, struct guide_out *out);
bool rise_watch_bias(struct guide *g, const struct guide_input *in, struct guide_out *out);
/* What the step shows as it is left. */
bool rise_shows_fault(struct guide *g, struct guide_out *out);
bool rise_too_hot(const struct guide *g, int station, struct measure V);
void rise_abort_hot(struct guide *g, int station, struct measure V, struct guide_out *out);
/* Of the valve behind that station, at volts V over its resistor: the anode by the sheet, else
 * the main rail; the screen's current counts as the anode's. */
struct measure rise_watts(const struct guide *g, int station, struct measure V);

/* ---- guide_rise_result.c, guide_rise_dry.c ---- */

void rise_figures(const struct guide *g, struct text *out);
void rise_say(const struct guide *g, char *out, size_t size);
void rise_result(const struct guide *g, struct text *out);
void rise_look(const struct guide *g, struct text *out);

#endif

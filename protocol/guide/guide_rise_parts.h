/* SPDX-License-Identifier: MIT */
/* Between guide_rise.c, which goes, and guide_rise_result.c, which tells. */
#ifndef TALLY_GUIDE_RISE_PARTS_H
#define TALLY_GUIDE_RISE_PARTS_H

#include "protocol/guide/guide_parts.h"

#define RISE_LOADS 8

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

int rise_main_rail(const struct guide *g);
int rise_second_slot(const struct guide *g, int station); /* -1: more loads than are kept */
/* Of the valve behind that station, at volts V over its resistor: the anode by the sheet, else
 * the main rail; the screen's current counts as the anode's. */
struct measure rise_watts(const struct guide *g, int station, struct measure V);

const struct guide_station *rise_here(const struct guide *g); /* NULL: nowhere */
const struct guide_station *rise_rail(const struct guide *g);
struct rise_numbers {
	struct guide_expected expected; /* of the main rail at this step */
	double mains, most, hertz;
};
void rise_numbers(const struct guide *g, struct rise_numbers *n);

void rise_say(const struct guide *g, char *out, size_t size);
void rise_result(const struct guide *g, struct text *out);
void rise_look(const struct guide *g, struct text *out);

#endif

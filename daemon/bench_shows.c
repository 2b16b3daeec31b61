/* SPDX-License-Identifier: MIT */
/*
 * Which quantities of a part the walk asks for: those that the part must show
 * (protocol/trade/part.h), that it lacks, and that a meter of this bench can measure with
 * the probes alone.
 *
 * Leakage wants working volts, so no walk asks for it.  An ohm-meter on a capacitor shows
 * no ESR and one at its own few volts no insulation: these are asked for where a meter
 * says in its section that it measures so (`test ohm = 100 kHz`, `test ohm = 500 V`).  What
 * nobody asks for is missing all the same, and is said (`sheet show --missing`).
 */
#include "daemon/bench_state.h"

#include <string.h>

/* Does any meter of the bench measure ohms like that?  By the unit in its `test ohm`. */
static bool ohms_tested(const struct bench *b, const char *unit)
{
	for (int i = 0; i < b->meters; i++) {
		const char *test = b->meter[i].config->use.test[FUNCTION_OHM];
		const char *at = strstr(test, unit);
		if (at && at > test)
			return true;
	}
	return false;
}

static bool askable(const struct bench *b, const struct part_quantity *q)
{
	switch (q->quantity) {
	case QUANTITY_VALUE:
	case QUANTITY_VOLTS:
		return true;
	case QUANTITY_ESR:
		return ohms_tested(b, "Hz");
	case QUANTITY_INSULATION:
		return ohms_tested(b, " V") || ohms_tested(b, "0V");
	default:
		return false;
	}
}

int shows_asked(const struct bench *b, int place, enum quantity out[PART_SHOWS_MAX])
{
	struct part_quantity shows[PART_SHOWS_MAX];
	const struct position *p = position_now(b, place);
	int count = part_shows(p, shows), asked = 0;
	for (int i = 0; i < count; i++)
		if (i == 0 || askable(b, &shows[i]))
			out[asked++] = shows[i].quantity;
	if (!asked)
		out[asked++] = position_first_quantity(p);
	return asked;
}

bool shows_lacks(const struct bench *b, int place, enum quantity q)
{
	struct part_quantity shows[PART_SHOWS_MAX];
	int count = part_shows(position_now(b, place), shows), wanted = 1;
	if (b->way.mode != WALK_OFF && b->way.meters > 1)
		wanted = b->way.meters;
	if (way_meters_have(b, place, q) >= wanted)
		return false;
	/* What stands for it will do. */
	for (int i = 0; i < count; i++)
		if (shows[i].quantity == q && shows[i].or_else != q &&
		    way_meters_have(b, place, shows[i].or_else) >= wanted)
			return false;
	return true;
}

enum quantity shows_next(const struct bench *b, int place, enum function dial)
{
	enum quantity asked[PART_SHOWS_MAX];
	const struct position *p = position_now(b, place);
	int count = shows_asked(b, place, asked);
	for (int i = 0; i < count; i++)
		if (shows_lacks(b, place, asked[i]) &&
		    (dial == FUNCTION_NONE || position_takes(p, asked[i], dial)))
			return asked[i];
	return asked[0];
}

enum quantity shows_here(const struct bench *b, int place)
{
	enum quantity asked[PART_SHOWS_MAX];
	const struct position *p = position_now(b, place);
	int count = shows_asked(b, place, asked);
	for (int i = 0; i < count; i++) {
		if (!shows_lacks(b, place, asked[i]))
			continue;
		for (int k = 0; k < b->meters; k++) {
			const struct bench_meter *m = &b->meter[k];
			if (m->has_last && !m->gone && m->bound.place < 0 &&
			    position_takes(p, asked[i], m->last.function))
				return asked[i];
		}
	}
	return b->quantity;
}

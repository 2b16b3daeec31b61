/* SPDX-License-Identifier: MIT */
/* See part.h. */
#include "protocol/trade/part.h"

#include <stdio.h>

#define VALUE {QUANTITY_VALUE, QUANTITY_VALUE, false}
#define VOLTS {QUANTITY_VOLTS, QUANTITY_VOLTS, true}
#define LEAKAGE {QUANTITY_LEAKAGE, QUANTITY_LEAKAGE, true}
#define INSULATION {QUANTITY_INSULATION, QUANTITY_INSULATION, false}
#define ESR_OR_D {QUANTITY_ESR, QUANTITY_DISSIPATION, false}

/* Common practice, no source. */
static const struct {
	int count;
	struct part_quantity shows[PART_SHOWS_MAX];
} table[KIND_COUNT] = {
	[KIND_RESISTOR] = {1, {VALUE}},
	[KIND_CARBON_COMPOSITION] = {1, {VALUE}},
	[KIND_CARBON_FILM] = {1, {VALUE}},
	[KIND_METAL_FILM] = {1, {VALUE}},
	[KIND_WIREWOUND] = {1, {VALUE}},
	[KIND_POT] = {1, {VALUE}},
	[KIND_ELECTROLYTIC] = {3, {VALUE, ESR_OR_D, LEAKAGE}},
	[KIND_PAPER] = {2, {VALUE, LEAKAGE}},
	[KIND_FILM] = {1, {VALUE}},
	[KIND_CERAMIC] = {1, {VALUE}},
	[KIND_MICA] = {1, {VALUE}},
	[KIND_CAPACITOR] = {1, {VALUE}}, /* what it is, nobody has said */
	[KIND_WINDING] = {2, {VALUE, INSULATION}},
	[KIND_RECTIFIER] = {1, {VALUE}},
	[KIND_VALVE] = {1, {VOLTS}},
	[KIND_HEATER] = {1, {VALUE}},
	[KIND_SWITCH] = {1, {VALUE}},
	[KIND_FUSE] = {1, {VALUE}},
	[KIND_RAIL] = {1, {VOLTS}},
	[KIND_REFERENCE] = {1, {VALUE}},
	[KIND_OTHER] = {1, {VALUE}},
};

static bool is_volts(enum function f)
{
	return f == FUNCTION_VOLT_DC || f == FUNCTION_VOLT_AC;
}

int part_shows(const struct position *p, struct part_quantity out[PART_SHOWS_MAX])
{
	if ((unsigned)p->kind >= KIND_COUNT)
		return 0;
	int count = table[p->kind].count;
	for (int i = 0; i < count; i++) {
		out[i] = table[p->kind].shows[i];
		/* Its nominal is no voltage: that is what is asked for. */
		if (out[i].quantity == QUANTITY_VOLTS && p->has_nominal && !is_volts(p->function))
			out[i] = (struct part_quantity)VALUE;
		/* A heater by its 6.3 V AC, as a rail is. */
		if (p->kind == KIND_HEATER && p->has_nominal && is_volts(p->function))
			out[i] = (struct part_quantity)VOLTS;
		/* Its nominal is one: volts are the value. */
		else if (out[i].quantity == QUANTITY_VALUE && p->has_nominal && is_volts(p->function))
			out[i].or_else = QUANTITY_VOLTS;
	}
	return count;
}

int part_missing(const struct position *p, unsigned seen, struct part_quantity out[PART_SHOWS_MAX])
{
	struct part_quantity shows[PART_SHOWS_MAX];
	int count = part_shows(p, shows), missing = 0;
	for (int i = 0; i < count; i++)
		if (!(seen & (PART_BIT(shows[i].quantity) | PART_BIT(shows[i].or_else))))
			out[missing++] = shows[i];
	return missing;
}

enum function part_limit_function(enum quantity q)
{
	switch (q) {
	case QUANTITY_ESR:
	case QUANTITY_INSULATION:
		return FUNCTION_OHM;
	case QUANTITY_LEAKAGE:
		return FUNCTION_AMP_DC;
	case QUANTITY_DISSIPATION:
		return FUNCTION_NUMBER;
	default:
		return FUNCTION_NONE;
	}
}

void part_quantity_text(const struct part_quantity *q, char *out, size_t size)
{
	if (q->or_else != q->quantity)
		snprintf(out, size, "%s or %s", quantity_name(q->quantity), quantity_name(q->or_else));
	else
		snprintf(out, size, "%s", quantity_name(q->quantity));
}

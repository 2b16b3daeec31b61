/* SPDX-License-Identifier: MIT */
/*
 * What the trade takes for granted where the schematic says nothing (see
 * verdict.h).  Everything here is common practice, no source: careful means for
 * equipment that is forty to seventy years old.
 */
#include "protocol/trade/verdict.h"

#include <string.h>

static void percent(struct tolerance *t, int minus, int plus)
{
	*t = (struct tolerance){TOLERANCE_PERCENT, {-minus, 0}, {plus, 0}};
}

static void at_most(struct tolerance *t, struct decimal high)
{
	*t = (struct tolerance){TOLERANCE_AT_MOST, {0, 0}, high};
}

/* Every row: common practice, no source.  In percent, what a part of that age was sold to and what any place can live
 * with; 0 where practice says nothing. */
static const struct practice {
	int minus, plus;                 /* tolerance */
	int service_minus, service_plus; /* where the role says nothing more */
} practice[KIND_COUNT] = {
    [KIND_RESISTOR] = {10, 10, 20, 20},
    [KIND_CARBON_COMPOSITION] = {10, 10, 20, 20},
    [KIND_CARBON_FILM] = {5, 5, 20, 20},
    [KIND_METAL_FILM] = {1, 1, 5, 5},
    [KIND_WIREWOUND] = {5, 5, 15, 15},
    [KIND_POT] = {20, 20, 30, 30},
    [KIND_ELECTROLYTIC] = {20, 50, 30, 100},
    [KIND_PAPER] = {20, 20, 25, 25},
    [KIND_FILM] = {10, 10, 20, 20},
    [KIND_CERAMIC] = {20, 20, 50, 80},
    [KIND_MICA] = {5, 5, 10, 10},
    [KIND_CAPACITOR] = {20, 20, 30, 50},
    [KIND_WINDING] = {15, 15, 20, 20},
    [KIND_VALVE] = {20, 20, 25, 25}, /* voltages printed on old schematics */
    [KIND_HEATER] = {10, 10, 15, 15},
    [KIND_RAIL] = {10, 10, 15, 15},
};

/* Common practice, no source.  Contacts and fuses have no nominal: they have at most so much. */
static const struct decimal contact_ohm = {1, -1}, contact_service_ohm = {5, -1};
static const struct decimal fuse_ohm = {10, 0};

static bool is_volts(enum function f)
{
	return f == FUNCTION_VOLT_DC || f == FUNCTION_VOLT_AC;
}

bool tolerance_default(enum kind k, enum function f, struct tolerance *out)
{
	if ((unsigned)k >= KIND_COUNT)
		return false;
	if (is_volts(f) && !is_volts(kind_function(k)) && k != KIND_REFERENCE) {
		/* Volts at a part: as at a valve.  Heaters are kept closer. */
		const struct practice *p = &practice[k == KIND_HEATER ? k : KIND_VALVE];
		percent(out, p->minus, p->plus);
		return true;
	}
	if (f != FUNCTION_NONE && f != kind_function(k) && !is_volts(f))
		return false;
	if (k == KIND_SWITCH || k == KIND_FUSE) {
		at_most(out, k == KIND_SWITCH ? contact_ohm : fuse_ohm);
		return true;
	}
	if (k == KIND_HEATER || practice[k].plus == 0)
		return false; /* the cold resistance of a heater has no usual tolerance */
	percent(out, practice[k].minus, practice[k].plus);
	return true;
}

/* What the place can live with, by what the part does there.  The first row whose word
 * stands in the role counts.  Every row: common practice, no source. */
static const struct place {
	enum function function;
	const char *word;
	int minus, plus;
} places[] = {
    {FUNCTION_OHM, "stopper", 50, 50},        {FUNCTION_OHM, "cathode", 10, 10},
    {FUNCTION_OHM, "anode", 20, 20},          {FUNCTION_OHM, "plate", 20, 20},
    {FUNCTION_OHM, "grid leak", 30, 20},      {FUNCTION_OHM, "screen", 20, 20},
    {FUNCTION_OHM, "feedback", 5, 5},         {FUNCTION_OHM, "splitter", 5, 5},
    {FUNCTION_OHM, "inverter", 5, 5},         {FUNCTION_OHM, "bias", 10, 10},
    {FUNCTION_OHM, "sense", 2, 2},            {FUNCTION_OHM, "tone", 10, 10},
    {FUNCTION_OHM, "equal", 5, 5},            {FUNCTION_OHM, "divider", 10, 10},
    {FUNCTION_OHM, "bleeder", 30, 30},        {FUNCTION_OHM, "dropper", 15, 15},
    {FUNCTION_OHM, "hum", 20, 20},            {FUNCTION_FARAD, "bypass", 30, 150},
    {FUNCTION_FARAD, "cathode", 30, 150},     {FUNCTION_FARAD, "coupling", 20, 10},
    {FUNCTION_FARAD, "reservoir", 20, 50},    {FUNCTION_FARAD, "smoothing", 20, 100},
    {FUNCTION_FARAD, "decoupling", 30, 150},  {FUNCTION_FARAD, "bias", 30, 150},
    {FUNCTION_FARAD, "feedback", 10, 10},     {FUNCTION_FARAD, "tone", 10, 10},
    {FUNCTION_FARAD, "equal", 5, 5},
};

bool service_default(enum kind k, const char *role, struct tolerance *out)
{
	if ((unsigned)k >= KIND_COUNT)
		return false;
	for (size_t i = 0; role && i < sizeof places / sizeof *places; i++)
		if (places[i].function == kind_function(k) && k != KIND_WINDING && k != KIND_HEATER &&
		    k != KIND_SWITCH && k != KIND_FUSE && role_says(role, places[i].word)) {
			percent(out, places[i].minus, places[i].plus);
			return true;
		}
	if (k == KIND_SWITCH || k == KIND_FUSE) {
		at_most(out, k == KIND_SWITCH ? contact_service_ohm : fuse_ohm);
		return true;
	}
	if (practice[k].service_plus == 0 || k == KIND_HEATER)
		return false;
	percent(out, practice[k].service_minus, practice[k].service_plus);
	return true;
}

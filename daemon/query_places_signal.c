/* SPDX-License-Identifier: MIT */
/* Of `places`: corners, what leaks into grids, and what a meter's load hides. */
#include "daemon/query_places.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double assumed_input = 10e6; /* ohm; common practice, no source */

/* ---- coupling ---- */

static void coupling(struct places *p, int row, int leak, enum of of)
{
	struct had C, R;
	const struct position *s = &p->g.row[row].position;
	bool has = of == OF_NOMINAL ? had_nominal(p, row, of, &C)
	                            : had_entry(p, row, QUANTITY_VALUE, FUNCTION_FARAD, of, &C);
	if (!has || !had_value(p, leak, of, &R))
		return;
	const struct had *from[] = { &C, &R };
	struct measure Ro = { s->has_source ? decimal_double(s->source) : 0, 0 };
	struct measure corner = had_spread(place_coupling(R.m, Ro, C.m),
	                                   place_coupling(R.middle, Ro, C.middle));
	place_write(p, row, "coupling-corner", of, corner, "Hz",
	            s->has_source ? "with the source resistance of the stage before" : NULL, from, 2);
}

/* What comes through it, and what that does to the grid. */
static void grid(struct places *p, int row, int leak, enum of of)
{
	struct had V, V0 = { .from = "" }, R;
	if (of == OF_NOMINAL || !had_value(p, leak, of, &R))
		return;
	if (had_entry(p, row, QUANTITY_LEAKAGE, FUNCTION_AMP_DC, of, &V)) {
		const struct had *from[] = { &V, &R };
		place_write(p, row, "grid-shift", of, place_grid_shift(V.m, R.m), "V",
		            "towards positive: less bias, more current", from, 2);
		return;
	}
	if (!had_entry(p, row, QUANTITY_LEAKAGE, FUNCTION_VOLT_DC, of, &V))
		return;
	bool zeroed = had_entry(p, row, QUANTITY_VOLTS, FUNCTION_VOLT_DC, of, &V0);
	struct measure Rin = { V.entry->use.input > 0 ? V.entry->use.input : assumed_input, 0 };
	const struct had *from[] = { &V, &R, &V0 };
	int n = zeroed ? 3 : 2;
	const char *note = zeroed ? "valve out, high tension on, less what it was with it off"
	                          : "valve out; the volts with the high tension off were not taken";
	place_write(p, row, "leakage", of, place_leakage(V.m, V0.m, R.m, Rin), "A", note, from, n);
	place_write(p, row, "grid-shift", of, place_shift_without_meter(V.m, V0.m, R.m, Rin), "V",
	            "without the meter's load", from, n);
}

/* In circuit: what the resistor across it does to a meter that tests at that frequency. */
static void shunted(struct places *p, int row, int across)
{
	struct had R, C;
	char note[140];
	for (int i = p->g.row[row].newest; i >= 0; i = p->g.older[i]) {
		const struct entry *e = &p->g.entry[i];
		if (e->reach != REACH_IN_CIRCUIT || e->function != FUNCTION_FARAD || !(e->use.frequency > 0))
			continue;
		enum of of = (enum of)(e->condition + 1);
		if (!had_value(p, across, of, &R) || !had_nominal(p, row, of, &C))
			return;
		const struct had *from[] = { &R, &C };
		snprintf(note, sizeof note, "across it, at the %g Hz of %s; above 0.1 the value is not "
		         "to be believed", e->use.frequency, e->meter);
		struct measure D = had_spread(place_shunt(R.m, C.m, e->use.frequency),
		                              place_shunt(R.middle, C.middle, e->use.frequency));
		place_write(p, row, "shunt-dissipation", of, D, "", note, from, 2);
		return;
	}
}

/* ---- cathode bypass ---- */

/* mu, ra, load and gm may stand in columns of the capacitor, the resistor or its valve. */
static bool valve_cell(const struct places *p, int row, const char *column, enum function unit,
                       struct had *out)
{
	int R = with_row(p, row);
	return had_cell(p, row, column, unit, out) || had_cell(p, R, column, unit, out) ||
	       had_cell(p, with_row(p, R), column, unit, out);
}

static void bypass(struct places *p, int row, int cathode, enum of of)
{
	struct had C, R, mu, ra, load, gm;
	bool has = of == OF_NOMINAL ? had_nominal(p, row, of, &C)
	                            : had_entry(p, row, QUANTITY_VALUE, FUNCTION_FARAD, of, &C);
	if (!has || !had_value(p, cathode, of, &R))
		return;
	const struct had *from[] = { &C, &R, &mu, &ra, &load };
	if (valve_cell(p, row, "mu", FUNCTION_NUMBER, &mu) &&
	    valve_cell(p, row, "ra", FUNCTION_OHM, &ra) &&
	    valve_cell(p, row, "load", FUNCTION_OHM, &load)) {
		struct cathode k = place_cathode(R.m, C.m, mu.m, ra.m, load.m);
		struct cathode middle = place_cathode(R.middle, C.middle, mu.m, ra.m, load.m);
		place_write(p, row, "cathode-zero", of, had_spread(k.zero, middle.zero), "Hz",
		            "below it the whole feedback works", from, 2);
		place_write(p, row, "cathode-pole", of, had_spread(k.pole, middle.pole), "Hz",
		            "above it the bypass works", from, 5);
		place_write(p, row, "cathode-step", of, had_spread(k.decibel, middle.decibel), "dB",
		            "lost without the bypass", from, 5);
		return;
	}
	struct measure zero = had_spread(place_corner(R.m, C.m), place_corner(R.middle, C.middle));
	place_write(p, row, "cathode-zero", of, zero, "Hz",
	            "of the resistor alone; the upper corner needs columns mu, ra and load, or gm", from,
	            2);
	if (valve_cell(p, row, "gm", FUNCTION_NUMBER, &gm)) {
		const struct had *with_gm[] = { &C, &R, &gm };
		struct measure pole =
		    had_spread(place_corner(place_cathode_slope(R.m, gm.m), C.m),
		               place_corner(place_cathode_slope(R.middle, gm.m), C.middle));
		place_write(p, row, "cathode-pole", of, pole, "Hz", "by the slope gm (A/V)", with_gm, 3);
	}
}

/* ---- loading ---- */

/* "1k", or as charts say it: "1 kohm/V", "1000 ohms per volt". */
static bool ohms_per_volt(const struct places *p, int row, struct had *out)
{
	char cell[SHEET_CELL_SIZE];
	struct decimal d;
	enum function f;
	struct fault ignored;
	if (!gathered_cell(&p->g.row[row], "chart", cell, sizeof cell))
		return false;
	char *per = strchr(cell, '/');
	if (!per)
		per = strstr(cell, "per");
	if (per) {
		const char *volt = per + (*per == '/' ? 1 : 3) + strspn(per + (*per == '/' ? 1 : 3), " ");
		if (volt[0] != 'V' && volt[0] != 'v')
			return false;
		*per = '\0';
	}
	size_t len = strlen(cell);
	while (len && cell[len - 1] == ' ')
		cell[--len] = '\0';
	if (len > 3 && !strcmp(cell + len - 4, "ohms"))
		cell[--len] = '\0';
	if (!quantity_parse(cell, len, FUNCTION_OHM, &d, &f, &ignored) || d.n <= 0)
		return false;
	out->entry = NULL;
	out->m = out->middle = (struct measure){ decimal_double(d), 0 };
	snprintf(out->from, sizeof out->from, "%.31s chart", p->g.row[row].position.name);
	return true;
}

static void loading(struct places *p, int row, enum of of)
{
	struct had V, per_volt, range;
	const struct position *s = &p->g.row[row].position;
	if (!had_entry(p, row, QUANTITY_VOLTS, FUNCTION_VOLT_DC, of, &V))
		return;
	struct measure source = { decimal_double(s->source), 0 };
	bool known = V.entry->use.input > 0;
	struct measure Rin = { known ? V.entry->use.input : assumed_input, 0 };
	const struct had *from[] = { &V, &per_volt, &range };
	place_write(p, row, "unloaded", of, place_unloaded(V.m, source, Rin), "V",
	            known ? NULL : "the meter's input was taken as 10 Mohm", from, 1);
	if (ohms_per_volt(p, row, &per_volt) &&
	    had_cell(p, row, "range", FUNCTION_VOLT_DC, &range))
		place_write(p, row, "as-chart", of,
		            place_as_chart(V.m, source, Rin, per_volt.m.value, range.m.value), "V",
		            "as the chart's meter would show it: hold this against the chart", from, 3);
}

void places_signal(struct places *p, int row)
{
	int with = with_row(p, row);
	const struct position *s = &p->g.row[row].position;
	bool pair = row_is(p, row, FUNCTION_FARAD) && row_is(p, with, FUNCTION_OHM);
	if (pair)
		shunted(p, row, with);
	for (int of = 0; of < OF_COUNT; of++) {
		if (pair && row_says(p, row, "coupling")) {
			coupling(p, row, with, (enum of)of);
			grid(p, row, with, (enum of)of);
		} else if (pair && (row_says(p, row, "bypass") || row_says(p, row, "cathode"))) {
			bypass(p, row, with, (enum of)of);
		}
		/* Of a coupling capacitor it is that of the stage before, not of the grid's volts. */
		if (s->has_source && of != OF_NOMINAL && !pair)
			loading(p, row, (enum of)of);
	}
}

/* SPDX-License-Identifier: MIT */
/* Of `places`: the output stage. */
#include "daemon/query_places.h"
#include "protocol/trade/frequency.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Idle at most so much of the limit (rule of thumb, class AB with fixed bias). */
static const double idle_percent = 70;
static const int64_t soak_least = INT64_C(600000000); /* us: shorter is no soak */

/* ---- cathode current ---- */

static bool is_sense(const struct places *p, int row)
{
	return row_is(p, row, FUNCTION_OHM) &&
	       (row_says(p, row, "sense") || row_says(p, row, "cathode"));
}

static bool sensed(const struct places *p, int row, enum of of, struct had *V, struct had *R)
{
	return had_entry(p, row, QUANTITY_VOLTS, FUNCTION_VOLT_DC, of, V) && had_value(p, row, of, R);
}

static void current(struct places *p, int row, enum of of)
{
	struct had V, R, other, beside;
	if (!sensed(p, row, of, &V, &R))
		return;
	const struct had *from[] = { &V, &R, &other, &beside };
	struct measure I = place_current(V.m, R.m);
	place_write(p, row, "cathode-current", of, I, "A", NULL, from, 2);
	int twin = gathered_find(&p->g, p->g.row[row].position.twin);
	/* Each pair once, by the one that stands first. */
	if (twin <= row || !sensed(p, twin, of, &other, &beside))
		return;
	struct pair pair = place_pair(I, place_current(other.m, beside.m));
	place_write(p, row, "pair-difference", of, pair.percent, "%", "of the mean of the two", from,
	            4);
}

/* The first and the last reading of one meter over the resistor. */
static void drift(struct places *p, int row, enum of of)
{
	struct had last;
	char note[80];
	if (!had_entry(p, row, QUANTITY_VOLTS, FUNCTION_VOLT_DC, of, &last))
		return;
	const struct entry *oldest = last.entry;
	for (int i = p->g.row[row].newest; i >= 0; i = p->g.older[i]) {
		const struct entry *e = &p->g.entry[i];
		if (e->quantity == QUANTITY_VOLTS && e->condition == last.entry->condition &&
		    e->function == FUNCTION_VOLT_DC && e->has_value && e->settled &&
		    !strcmp(e->meter, last.entry->meter))
			oldest = e;
	}
	if (last.entry->t - oldest->t < soak_least)
		return;
	struct had first = { .m = { decimal_double(oldest->value), oldest->u }, .entry = oldest };
	snprintf(first.from, sizeof first.from, "%s, entry %lld", oldest->position,
	         (long long)oldest->seq);
	snprintf(note, sizeof note, "over %.0f min", (double)(last.entry->t - oldest->t) / 60e6);
	const struct had *from[] = { &first, &last };
	place_write(p, row, "bias-drift", of, place_drift(first.m, last.m), "%", note, from, 2);
}

/* ---- dissipation ---- */

static int part_of(const struct places *p, int valve, bool (*is)(const struct places *, int))
{
	for (int i = 0; i < p->g.rows; i++)
		if (i != valve && is(p, i) && with_row(p, i) == valve)
			return i;
	return -1;
}

static bool is_screen(const struct places *p, int row)
{
	return row_says(p, row, "screen");
}

/* Screen current: measured, or from the drop over the screen resistor. */
static bool screen_current(const struct places *p, int row, enum of of, struct measure *I,
                           struct had *from)
{
	struct had R;
	*I = (struct measure){ 0, 0 };
	if (row < 0)
		return false;
	if (had_entry(p, row, QUANTITY_VALUE, FUNCTION_AMP_DC, of, from)) {
		*I = from->m;
		return true;
	}
	if (!row_is(p, row, FUNCTION_OHM) || !sensed(p, row, of, from, &R))
		return false;
	*I = place_current(from->m, R.m);
	return true;
}

static void dissipation(struct places *p, int valve, enum of of)
{
	struct had Va, Vs, Rs, Ig;
	struct measure Ig2;
	const struct position *s = &p->g.row[valve].position;
	int sense = part_of(p, valve, is_sense), screen = part_of(p, valve, is_screen);
	if (!had_entry(p, valve, QUANTITY_VOLTS, FUNCTION_VOLT_DC, of, &Va) || sense < 0 ||
	    !sensed(p, sense, of, &Vs, &Rs))
		return;
	bool split = screen_current(p, screen, of, &Ig2, &Ig);
	const struct had *from[] = { &Va, &Vs, &Rs, &Ig };
	int n = split ? 4 : 3;
	const char *note = split ? NULL
	                         : "the screen's current is not known and counts as the anode's";
	struct measure P = place_dissipation_sensed(Va.m, Vs.m, Rs.m, Ig2);
	place_write(p, valve, "dissipation", of, P, "W", note, from, n);
	double limit = s->has_max ? decimal_double(s->max) : 0;
	if (limit <= 0)
		return;
	struct measure percent = place_percent(P, limit);
	note = percent.value - 2 * percent.u > 100   ? "above its limit: lower it at once"
	       : percent.value + 2 * percent.u > 100 ? "may be above its limit"
	       : percent.value > idle_percent        ? "above 70 % of its limit, the usual idle"
	                                             : NULL;
	place_write(p, valve, "dissipation-percent", of, percent, "%", note, from, n);
}

/* ---- power into a load ---- */

static bool is_load(const struct places *p, int row)
{
	return row_is(p, row, FUNCTION_OHM) && row_says(p, row, "load") && !row_says(p, row, "anode") &&
	       !row_says(p, row, "plate");
}

/* At the output's own frequency: of a response the points beside it say nothing of power. */
static bool loaded_at(const struct places *p, int row, enum of of, struct had *V)
{
	const struct position *s = &p->g.row[row].position;
	for (int i = p->g.row[row].newest; of != OF_NOMINAL && i >= 0; i = p->g.older[i]) {
		const struct entry *e = &p->g.entry[i];
		if (e->quantity != QUANTITY_VOLTS || e->function != FUNCTION_VOLT_AC || !e->has_value ||
		    !e->settled || (int)e->condition + 1 != (int)of || frequency_elsewhere(e, s))
			continue;
		V->entry = e;
		V->m = V->middle = (struct measure){ decimal_double(e->value), e->u };
		snprintf(V->from, sizeof V->from, "%s %s, entry %lld", e->position,
		         condition_name(e->condition), (long long)e->seq);
		return true;
	}
	return false;
}

static bool loaded(const struct places *p, int row, enum of of, struct had *V, struct had *R)
{
	return is_load(p, row) && loaded_at(p, row, of, V) && had_value(p, row, of, R);
}

/* Hum and noise with the input shorted, below what the same output gave: the load is the row
 * that `with` names, else the first one of its channel. */
static void hum(struct places *p, int row, enum of of)
{
	struct had U, V;
	int load = with_row(p, row);
	char note[80];
	if ((!row_says(p, row, "hum") && !row_says(p, row, "noise")) ||
	    (!had_entry(p, row, QUANTITY_VOLTS, FUNCTION_VOLT_AC, of, &U) &&
	     !had_entry(p, row, QUANTITY_VALUE, FUNCTION_VOLT_AC, of, &U)) || !(U.m.value > 0))
		return;
	for (int i = 0; load < 0 && i < p->g.rows; i++)
		if (is_load(p, i) && !strcmp(p->g.row[i].position.channel, p->g.row[row].position.channel))
			load = i;
	if (load < 0 || !is_load(p, load) || !loaded_at(p, load, of, &V))
		return;
	const struct had *from[] = { &V, &U };
	snprintf(note, sizeof note, "below the output of %s", p->g.row[load].position.name);
	place_write(p, row, "hum", of, place_balance(V.m, U.m), "dB", note, from, 2);
}

static void impedance(struct places *p, int row, enum of of, const struct had *V,
                      const struct had *R)
{
	struct had U, Q;
	for (int i = row + 1; i < p->g.rows; i++) {
		if (strcmp(p->g.row[i].position.channel, p->g.row[row].position.channel) ||
		    !loaded(p, i, of, &U, &Q) || fabs(Q.m.value / R->m.value - 1) < 0.05)
			continue;
		const struct had *from[] = { V, R, &U, &Q };
		struct measure Z = place_output_impedance(V->m, R->m, U.m, Q.m);
		place_write(p, row, "output-impedance", of, Z, "ohm", "from two loads", from, 4);
		struct measure damping = place_damping_of(V->m, R->m, U.m, Q.m);
		place_write(p, row, "damping", of, damping, "", NULL, from, 4);
		return;
	}
}

static void power(struct places *p, int row, enum of of)
{
	struct had V, R, U, Q;
	if (!loaded(p, row, of, &V, &R))
		return;
	const struct had *from[] = { &V, &R, &U, &Q };
	place_write(p, row, "power", of, place_power(V.m, R.m), "W", NULL, from, 2);
	impedance(p, row, of, &V, &R);
	int twin = gathered_find(&p->g, p->g.row[row].position.twin);
	if (twin <= row || !loaded(p, twin, of, &U, &Q))
		return;
	const struct had *both[] = { &V, &U };
	place_write(p, row, "balance", of, place_balance(V.m, U.m), "dB",
	            "this channel above the other", both, 2);
}

void places_output(struct places *p, int row)
{
	for (int of = OF_FOUND; of < OF_COUNT; of++) {
		if (is_sense(p, row)) {
			current(p, row, (enum of)of);
			drift(p, row, (enum of)of);
		}
		if (p->g.row[row].position.kind == KIND_VALVE)
			dissipation(p, row, (enum of)of);
		power(p, row, (enum of)of);
		hum(p, row, (enum of)of);
	}
}

/* SPDX-License-Identifier: MIT */
/*
 * What to buy: see plan.h.
 *
 * The technician's `fit` counts.  Without one the value is kept in the signal path and at
 * cathodes; in the supply the nearest value that is sold today will do (8 uF becomes 10,
 * 32 becomes 33), and old values of resistors become the nearest of E24 (50 kohm: 51).
 * Ratings go up to the next that is sold, never down.  Common practice, no source.
 */
#include "protocol/trade/plan.h"
#include "protocol/trade/preferred.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

/* What parts are sold as today. */
static const double volts_sold[] = {6.3, 10, 16, 25, 35, 50, 63, 100, 160, 200, 250, 350, 400,
                                    450, 500, 630, 1000, 1250, 1600, 2000};
static const double watts_sold[] = {0.25, 0.5, 0.6, 1, 2, 3, 5, 7, 10, 15, 25, 50, 100};

static const double capacitance_least = 0.9;

static double sold(const double *list, size_t n, double least)
{
	for (size_t i = 0; i < n; i++)
		if (list[i] >= least * (1 - 1e-9))
			return list[i];
	return least;
}

/* Is the value kept as it was? */
static bool value_kept(const struct position *p)
{
	static const char *const free[] = {"reservoir", "smoothing", "decoupling", "supply",
	                                   "bleeder",   "dropper",   "stopper"};
	for (size_t i = 0; i < sizeof free / sizeof *free; i++)
		if (role_says(p->role, free[i]))
			return false;
	/* Where nobody said what it does, only an electrolytic of 4 uF and more is surely no
	 * part of the signal path, or a bypass that may be larger. */
	return !(p->kind == KIND_ELECTROLYTIC && !p->role[0] && decimal_double(p->nominal) >= 4e-6);
}

static enum kind sold_as(enum kind k)
{
	switch (k) {
	case KIND_PAPER:
	case KIND_CAPACITOR:
		return KIND_FILM;
	case KIND_CARBON_COMPOSITION:
	case KIND_RESISTOR:
		return KIND_METAL_FILM;
	default:
		return k;
	}
}

static const char *tolerance_usual(const struct position *p, enum kind k)
{
	if (k == KIND_ELECTROLYTIC)
		return "20%";
	if (k == KIND_FILM)
		return "10%";
	if (kind_function(k) != FUNCTION_OHM || k == KIND_WINDING || k == KIND_SWITCH || k == KIND_FUSE)
		return "";
	if (k == KIND_POT)
		return "20%";
	return p->tolerance.form == TOLERANCE_PERCENT && decimal_double(p->tolerance.high) < 5 ? "1%"
	                                                                                       : "5%";
}

/* The value to buy; says whether it is another than the old one's. */
static struct decimal value_of(const struct plan_line *l, bool *changed)
{
	const struct position *p = &l->position;
	enum function f = kind_function(p->kind);
	struct neighbours near;
	*changed = false;
	if (l->fit.has_value) {
		*changed = decimal_compare(l->fit.value, p->nominal) != 0;
		return l->fit.value;
	}
	bool can = (f == FUNCTION_OHM || f == FUNCTION_FARAD) && p->nominal.n > 0;
	enum series s = f == FUNCTION_FARAD ? p->kind == KIND_ELECTROLYTIC ? SERIES_E6 : SERIES_E12
	                                    : SERIES_E24;
	if (!can || value_kept(p) || !preferred_find(s, p->nominal, &near) ||
	    series_contains(SERIES_E96, p->nominal))
		return p->nominal;
	/* A capacitor of the supply rather larger than much smaller. */
	bool low = f == FUNCTION_FARAD &&
	           decimal_double(near.nearest) < capacitance_least * decimal_double(p->nominal);
	struct decimal to = low ? near.above : near.nearest;
	*changed = decimal_compare(to, p->nominal) != 0;
	return to;
}

static void value_add(const struct plan_line *l, struct order_item *item)
{
	char shown[2 * DECIMAL_TEXT_SIZE];
	bool changed;
	struct decimal v = decimal_strip(value_of(l, &changed));
	int prefix = quantity_prefix(v, l->position.function);
	if (v.e > prefix)
		decimal_rescale(v, prefix, &v);
	quantity_shown(v, l->position.function, prefix, shown, sizeof shown);
	size_t at = strlen(item->value);
	if (l->position.has_nominal || l->fit.has_value)
		snprintf(item->value + at, sizeof item->value - at, "%s%.40s", at ? " + " : "", shown);
	item->changed = item->changed || (changed && !l->fit.has_value);
	item->fit = item->fit || l->fit.has_value;
}

static void ratings_add(const struct plan_line *l, struct order_item *item)
{
	const struct position *p = &l->position;
	double old = p->has_rated ? decimal_double(p->rated) : 0;
	double volts = l->fit.has_rated ? decimal_double(l->fit.rated) : 0;
	if (l->fit.has_rated && volts < old)
		snprintf(item->note, sizeof item->note, "the fit is rated below the old part: look again");
	if (!l->fit.has_rated && old > 0)
		volts = sold(volts_sold, sizeof volts_sold / sizeof *volts_sold, old);
	if (volts > 0 && (!item->has_rated || volts > item->rated))
		item->rated = volts;
	item->has_rated = item->has_rated || volts > 0;
	if (kind_function(p->kind) == FUNCTION_FARAD && volts <= 0 && !item->note[0])
		snprintf(item->note, sizeof item->note, "its rating is not in the sheet");
	if (!p->has_max || kind_function(p->kind) != FUNCTION_OHM)
		return;
	double watts = sold(watts_sold, sizeof watts_sold / sizeof *watts_sold, decimal_double(p->max));
	if (!item->has_watts || watts > item->watts)
		item->watts = watts;
	item->has_watts = true;
}

static bool wanted(const struct plan_line *l, enum plan_round round)
{
	return l->action == PLAN_REPLACE && l->round <= round;
}

/* The part at line i, with all its sections; false where an earlier line has it. */
static bool make(const struct plan_line *line, int n, int i, enum plan_round round,
                 struct order_item *item)
{
	const struct position *p = &line[i].position;
	memset(item, 0, sizeof *item);
	item->kind = line[i].fit.has_kind ? line[i].fit.kind : sold_as(p->kind);
	for (int k = 0; k < n; k++) {
		bool section = k == i || (p->part[0] && strcmp(line[k].position.part, p->part) == 0);
		if (!section || !wanted(&line[k], round))
			continue;
		if (k < i)
			return false;
		if (item->lines < ORDER_POSITIONS_MAX)
			item->line[item->lines++] = k;
		if (!item->number[0])
			memcpy(item->number, line[k].fit.number, sizeof item->number);
		if (!item->price[0])
			memcpy(item->price, line[k].fit.price[0] ? line[k].fit.price : line[k].position.price,
			       sizeof item->price);
		value_add(&line[k], item);
		ratings_add(&line[k], item);
		if (!item->tolerance[0])
			snprintf(item->tolerance, sizeof item->tolerance, "%s",
			         line[k].fit.tolerance[0] ? line[k].fit.tolerance
			                                  : tolerance_usual(&line[k].position, item->kind));
	}
	if (item->changed && !item->note[0])
		snprintf(item->note, sizeof item->note, "the nearest value that is sold");
	if (!item->value[0])
		snprintf(item->note, sizeof item->note, "its value is not in the sheet");
	item->count = 1;
	return true;
}

/* What is not priced costs what its like does. */
static bool same_price(const struct order_item *a, const struct order_item *b)
{
	return !a->price[0] || !b->price[0] || strcmp(a->price, b->price) == 0;
}

static bool same(const struct order_item *a, const struct order_item *b)
{
	return a->kind == b->kind && strcmp(a->value, b->value) == 0 && a->value[0] &&
	       strcmp(a->tolerance, b->tolerance) == 0 && a->has_rated == b->has_rated &&
	       a->rated == b->rated && a->has_watts == b->has_watts && a->watts == b->watts &&
	       strcmp(a->number, b->number) == 0 && strcmp(a->note, b->note) == 0 && same_price(a, b);
}

bool plan_here(const struct plan_line *line, int n, int i)
{
	const char *part = line[i].position.part;
	for (int k = 0; k < n; k++)
		if (line[k].here && (k == i || (part[0] && strcmp(line[k].position.part, part) == 0)))
			return true;
	return false;
}

int plan_order(const struct plan_line *line, int n, enum plan_round round, struct order_item *item,
               int max)
{
	int items = 0;
	for (int i = 0; i < n; i++) {
		struct order_item one;
		int k = 0;
		if (!wanted(&line[i], round) || plan_here(line, n, i) || !make(line, n, i, round, &one))
			continue;
		while (k < items && k < max && !same(&item[k], &one))
			k++;
		if (k < items && k < max) {
			for (int j = 0; j < one.lines && item[k].lines < ORDER_POSITIONS_MAX; j++)
				item[k].line[item[k].lines++] = one.line[j];
			item[k].count++;
			if (!item[k].price[0])
				memcpy(item[k].price, one.price, sizeof item[k].price);
			item[k].fit = item[k].fit || one.fit;
			continue;
		}
		if (items < max)
			item[items] = one;
		items++;
	}
	return items;
}

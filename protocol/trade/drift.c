/* SPDX-License-Identifier: MIT */
/* See drift.h. */
#include "protocol/trade/drift.h"

#include <math.h>

/* Common practice, no source:
 * - carbon composition goes up, by half and more in hot places, hardly ever
 *   down; film and wire move little, wire goes down by shorted turns;
 * - an electrolytic dries out, down to nothing, and starts up to twice its
 *   marking; three times is another part;
 * - paper loses little and reads high, without bound, when it leaks;
 * - plastic film and mica stay where they were. */
static const struct drift carbon = {
    0.80, 3.0, false, SERIES_E24, 0.05,
    "low: unusual for carbon, measure it again", "carbon, drifted up",
};
static const struct drift resistor = {
    0.80, 3.0, false, SERIES_E24, 0.05, "low: unusual, measure it again", "drifted up",
};
static const struct drift carbon_film = {
    0.80, 1.8, false, SERIES_E24, 0.05, "low: unusual, measure it again", "drifted up",
};
static const struct drift metal_film = {
    0.80, 1.5, false, SERIES_E24, 0.02, "low: unusual, measure it again", "drifted up",
};
static const struct drift wirewound = {
    0.50, 1.5, false, SERIES_E24, 0.05, "low: shorted turns", "high: a bad joint or corrosion",
};
static const struct drift pot = {
    0.60, 2.0, false, SERIES_E6, 0.10, "track low", "track worn or drifted up",
};
static const struct drift electrolytic = {
    0.0, 2.2, false, SERIES_E6, 0.15,
    "dried out, capacitance lost", "high for an electrolytic: measure leakage",
};
static const struct drift paper = {
    0.60, HUGE_VAL, true, SERIES_E12, 0.05,
    "low for paper: measure it again", "reads high as leaky paper does: measure leakage",
};
static const struct drift film = {
    0.75, 1.5, false, SERIES_E12, 0.05,
    "low for film: measure it again", "high for film: measure leakage",
};
static const struct drift ceramic = {
    0.40, 2.0, false, SERIES_E12, 0.05, "ceramic, aged down", "high for ceramic",
};
static const struct drift mica = {
    0.75, 1.5, false, SERIES_E12, 0.05,
    "low for mica: a broken plate or lead", "high for mica: measure leakage",
};
static const struct drift unknown_small = {
    0.60, HUGE_VAL, true, SERIES_E12, 0.05,
    "low: measure it again", "reads high as a leaky part does: measure leakage",
};
static const struct drift unknown_large = {
    0.0, 2.2, false, SERIES_E6, 0.15, "capacitance lost", "high: measure leakage",
};

const struct drift *drift_of(enum kind k, struct decimal nominal)
{
	static const struct decimal microfarad = {1, -6};
	switch (k) {
	case KIND_RESISTOR:
		return &resistor;
	case KIND_CARBON_COMPOSITION:
		return &carbon;
	case KIND_CARBON_FILM:
		return &carbon_film;
	case KIND_METAL_FILM:
		return &metal_film;
	case KIND_WIREWOUND:
		return &wirewound;
	case KIND_POT:
		return &pot;
	case KIND_ELECTROLYTIC:
		return &electrolytic;
	case KIND_PAPER:
		return &paper;
	case KIND_FILM:
		return &film;
	case KIND_CERAMIC:
		return &ceramic;
	case KIND_MICA:
		return &mica;
	case KIND_CAPACITOR:
		return decimal_compare(nominal, microfarad) < 0 ? &unknown_small : &unknown_large;
	default:
		return NULL;
	}
}

bool drift_other_value(const struct drift *d, struct decimal nominal, struct decimal value,
                       double U, struct decimal *other)
{
	double n = decimal_double(nominal), x = decimal_double(value);
	struct neighbours near;
	if (n <= 0 || x <= 0)
		return false;
	bool beyond = x - U > n * d->high || x + U < n * d->low;
	if (!beyond || !preferred_find(d->series, value, &near))
		return false;
	double p = decimal_double(near.nearest);
	/* A blurred value has no name. */
	double near_by = p * d->near * (1 + 1e-12);
	if (fabs(x - p) > near_by || U > near_by)
		return false;
	*other = near.nearest;
	return true;
}

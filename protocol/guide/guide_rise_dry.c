/* SPDX-License-Identifier: MIT */
/* See guide_rise.c: for `rise --dry`, with what it will go on: the places of the sheet, what the rail is
 * expected at for each mains voltage, and what aborts it. */
#include "protocol/guide/guide_rise_parts.h"

#include <math.h>

static void figures_of_stations(const struct guide *g, struct text *out)
{
	char a[32], b[32], c[32];
	for (int i = 0; i < g->plan.stations; i++) {
		const struct guide_station *s = &g->plan.station[i];
		bool ohms = s->what == GUIDE_SENSE || s->what == GUIDE_LOAD;
		text_printf(out, "visits: %s", s->name);
		if (ohms && s->R.value > 0)
			text_printf(out, ", over %s", guide_shown(s->R.value, "ohm", a));
		else if (!ohms && !isnan(s->nominal))
			text_printf(out, ", %s", guide_shown(s->nominal, "V", a));
		if (!isnan(s->low) && !isnan(s->high))
			text_printf(out, " (%s to %s)", guide_shown(s->low, "V", b), guide_shown(s->high, "V", c));
		else if (!isnan(s->high))
			text_printf(out, " (at most %s)", guide_shown(s->high, "V", b));
		if (!isnan(s->most))
			text_printf(out, ", at most %.3g W in its valve", s->most);
		text_puts(out, "\n");
	}
}

void rise_figures(const struct guide *g, struct text *out)
{
	struct rise_numbers n;
	bool any = false;
	figures_of_stations(g, out);
	if (rise_main_rail(g) < 0 || isnan(g->plan.tap)) /* it does not begin so, and that is said */
		return;
	for (int i = 0; rise_stage(g, i, &n); i++)
		text_printf(out, "mains %.0f V: %s from %.0f V loaded to %.0f V without load\n", n.mains,
		            rise_rail(g)->name, n.expected.loaded, n.expected.unloaded);
	if (isnan(g->plan.ceiling))
		text_puts(out, "no ceiling: nobody said what the reservoirs are rated for (rated in the sheet, or "
		          "ceiling=450V)\n");
	else
		text_printf(out, "abort: the rail above %.0f V, or beyond its meter's range\n", g->plan.ceiling);
	text_printf(out, "abort: more than %d V with the rectifier out; more than %.0f %% of what the mains can give, "
	            "or less than half of it; with valves and lamp less than %.0f %%, without the lamp less than "
	            "%.0f %% of the nominal\n", DEAD_VOLTS, 100 * RISE_MARGIN, 100 * GLOW_FLOOR, 100 * ON_FLOOR);
	text_printf(out, "abort: a bias rail below %.0f %%; a valve above its watts; a bias that rises by %.0f %% over "
	            "the soak of %.3g minutes\n", 100 * BIAS_FLOOR, 100 * RUNAWAY, g->plan.soak / 60);
	for (int i = STEP_READY; i < STEP_OFF; i++) {
		if (!rise_passed_over(g, i))
			continue;
		text_printf(out, "%s%s", any ? ", " : "passed over, for the sheet or the words have nothing of it: ",
		            rise_step_word(i));
		any = true;
	}
	if (any)
		text_puts(out, "\n");
}

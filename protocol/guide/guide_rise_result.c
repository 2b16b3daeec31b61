/* SPDX-License-Identifier: MIT */
/* See guide_rise.c: what is said at each of its steps, and the numbers of its records. */
#include "protocol/guide/guide_rise_parts.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- for people ---- */

static void say_watch(const struct guide *g, const struct rise_numbers *n, char *out, size_t size)
{
	size_t k = strlen(out);
	(void)g;
	if (!isnan(n->most))
		snprintf(out + k, size - k, "; above %.0f V switch off", n->most);
	else
		snprintf(out + k, size - k, "; nobody said what the reservoirs are rated for: watch them yourself");
}

static void say_raise(const struct guide *g, const struct rise_numbers *n, char *out, size_t size)
{
	snprintf(out, size, "set the mains to %.0f V: %s should come to %.0f V loaded, up to %.0f V without load",
	         n->mains, rise_rail(g)->name, n->expected.loaded, n->expected.unloaded);
	say_watch(g, n, out, size);
	size_t k = strlen(out);
	snprintf(out + k, size - k, "; lamp bright: switch off; then go on");
}

/* Steps at a station; false: the step is none. */
static bool say_station(const struct guide *g, const struct rise_numbers *n, char *out, size_t size)
{
	const struct guide_station *s = rise_here(g);
	char a[32];
	if (!s)
		return false;
	switch (g->step) {
	case STEP_HEATERS:
		snprintf(out, size, "heater volts at %s (%s loaded, more without its valves); with the lamp in no "
		         "verdict; go on", s->name, guide_shown(s->nominal, "V", a));
		break;
	case STEP_BIAS:
		snprintf(out, size, "bias rail %s: %s is wanted before any output valve goes in; go on",
		         s->name, guide_shown(s->nominal, "V", a));
		break;
	case STEP_SENSE: case STEP_SENSE_AFTER:
		snprintf(out, size, "one hand: volts over %s; go on logs them", s->name);
		if (!isnan(s->most))
			snprintf(out, size, "one hand: volts over %s, at most %.3g W in its valve; go on logs them",
			         s->name, s->most);
		break;
	case STEP_RIPPLE:
		snprintf(out, size, "ripple, volts ac, at %s; go on logs them", s->name);
		break;
	case STEP_RESPONSE:
		snprintf(out, size, "%g Hz, the input as it was: volts ac at %s; go on logs them", n->hertz, s->name);
		break;
	case STEP_LOAD2:
		snprintf(out, size, "%s ohm in the place of %s, 1 kHz, the input as it was; go on takes the volts",
		         guide_shown(g->plan.load2, "", a), s->name);
		break;
	case STEP_HUM:
		snprintf(out, size, "input shorted, volume as in use: hum, volts ac, at %s; go on logs them", s->name);
		break;
	case STEP_POWER:
		snprintf(out, size, "1 kHz, up to where it just stays clean: volts ac at %s; go on logs them", s->name);
		break;
	default:
		snprintf(out, size, "volts at %s; go on logs them", s->name);
	}
	return true;
}

void rise_say(const struct guide *g, char *out, size_t size)
{
	struct rise_numbers n;
	rise_numbers(g, &n);
	if (say_station(g, &n, out, size))
		return;
	switch (g->step) {
	case STEP_CAUTION:
		snprintf(out, size, "read the cautions; go on when they hold");
		break;
	case STEP_READY:
		snprintf(out, size, "every leg down, every new part in, fuse of the right value, tap at %.0f V; go on",
		         g->plan.tap);
		break;
	case STEP_LOAD:
		snprintf(out, size, "a load that was measured on every output, nothing at the inputs, volume down; go on");
		break;
	case STEP_BARE:
		snprintf(out, size, "valves and rectifier out; lamp in series, variable transformer at zero; a meter "
		         "clipped on %s; then go on", rise_rail(g)->name);
		break;
	case STEP_TRANSFORMER:
		snprintf(out, size, "hands off; mains on, slowly up to %.0f V: the lamp stays dark; lamp bright, or more "
		         "than %.0f V on %s: switch off; else go on", n.mains, n.most, rise_rail(g)->name);
		break;
	case STEP_RECTIFIER:
		snprintf(out, size, "switch off, transformer to zero, discharge; rectifier in, no other valve; go on");
		break;
	case STEP_RAISE:
		say_raise(g, &n, out, size);
		break;
	case STEP_VALVES:
		snprintf(out, size, "switch off, discharge; all valves in, bias at its most negative; the lamp stays; "
		         "go on");
		break;
	case STEP_GLOW:
		snprintf(out, size, "hands off; on, up to %.0f V: the lamp flares, then dims; it stays bright or an anode "
		         "glows: switch off; with the lamp in no verdict; go on", n.mains);
		break;
	case STEP_LAMP:
		snprintf(out, size, "switch off, discharge; lamp out, meters clipped on; go on");
		break;
	case STEP_ON:
		snprintf(out, size, "hands off; on, %.0f V: %s at about %.0f V", n.mains, rise_rail(g)->name,
		         n.expected.loaded);
		say_watch(g, &n, out, size);
		snprintf(out + strlen(out), size - strlen(out), "; warm: go on");
		break;
	case STEP_SOAK:
		snprintf(out, size, "soak of %.0f minutes: nothing to do; stay near", g->plan.soak / 60);
		say_watch(g, &n, out, size);
		break;
	case STEP_SIGNAL:
		snprintf(out, size, "1 kHz at the input, until about 1 W stands in the load; leave it so; go on");
		break;
	default:
		if (g->failed)
			snprintf(out, size, "SWITCH OFF: %s; discharge, measure dead, then go on", g->because);
		else
			snprintf(out, size, "done: switch off, discharge, measure dead, then go on");
	}
}

/* ---- for the record ---- */

static struct measure first(const struct guide *g, int i)
{
	return guide_slot_measure(g, SLOT_FIRST + i);
}

static struct measure after(const struct guide *g, int i)
{
	return guide_slot_measure(g, SLOT_AFTER + i);
}

static void member_if(struct text *out, const char *key, struct measure x, enum function f)
{
	if (isfinite(x.value))
		guide_value_write(out, key, x, f);
}

static int station_named(const struct guide *g, const char *name)
{
	for (int i = 0; name[0] && i < g->plan.stations; i++)
		if (strcmp(g->plan.station[i].name, name) == 0)
			return i;
	return -1;
}

static void write_sense(const struct guide *g, int i, struct text *out)
{
	const struct guide_station *s = &g->plan.station[i];
	struct measure I = place_current(first(g, i), s->R), W = rise_watts(g, i, first(g, i));
	int twin = station_named(g, s->twin);
	member_if(out, "current", I, FUNCTION_AMP_DC);
	if (isfinite(W.value)) {
		text_member_real(out, "watts", W.value);
		text_member_real(out, "watts-u", W.u);
		text_member_string(out, "watts-verdict", guide_verdict_most(W, s->most));
		if (!isnan(s->most))
			member_if(out, "percent", place_percent(W, s->most), FUNCTION_PERCENT);
	}
	member_if(out, "drift", place_drift(first(g, i), after(g, i)), FUNCTION_PERCENT);
	if (twin > i)
		member_if(out, "pair-difference",
		          place_pair(I, place_current(first(g, twin), g->plan.station[twin].R)).percent,
		          FUNCTION_PERCENT);
}

static void write_load(const struct guide *g, int i, struct text *out)
{
	const struct guide_station *s = &g->plan.station[i];
	struct measure R = s->R, V = first(g, i);
	struct measure R2 = {g->plan.load2, 0};
	int second = rise_second_slot(g, i), twin = station_named(g, s->twin);
	struct measure P = place_power(V, R);
	if (isfinite(P.value)) {
		text_member_real(out, "watts", P.value);
		text_member_real(out, "watts-u", P.u);
	}
	if (second >= 0 && g->slot[second].has) {
		struct measure Z = place_output_impedance(after(g, i), R, guide_slot_measure(g, second), R2);
		member_if(out, "output-impedance", Z, FUNCTION_OHM);
		member_if(out, "damping", place_damping(R, Z), FUNCTION_NUMBER);
	}
	if (twin > i && first(g, twin).value > 0)
		text_member_real(out, "balance-dB", place_balance(V, first(g, twin)).value);
}

static void write_station(const struct guide *g, int i, struct text *out)
{
	static const char *const whats[] = {"heater", "bias", "rail", "ripple", "sense", "load", "hum"};
	const struct guide_station *s = &g->plan.station[i];
	text_printf(out, "{\"what\":\"%s\"", whats[s->what]);
	text_member_string(out, "position", s->name);
	member_if(out, "volts", first(g, i), FUNCTION_VOLT_DC);
	member_if(out, s->what == GUIDE_LOAD ? "volts-1kHz" : "volts-after", after(g, i), FUNCTION_VOLT_DC);
	if (s->what == GUIDE_SENSE)
		write_sense(g, i, out);
	if (s->what == GUIDE_RAIL)
		member_if(out, "drift", place_drift(first(g, i), after(g, i)), FUNCTION_PERCENT);
	if (s->what == GUIDE_RIPPLE && station_named(g, s->twin) >= 0)
		member_if(out, "ripple", place_ripple(first(g, i), first(g, station_named(g, s->twin))),
		          FUNCTION_PERCENT);
	if (s->what == GUIDE_HUM && station_named(g, s->twin) >= 0) {
		double level = place_balance(first(g, i), first(g, station_named(g, s->twin))).value;
		if (isfinite(level))
			text_member_real(out, "hum-dB", level);
	}
	if (s->what == GUIDE_LOAD)
		write_load(g, i, out);
	text_puts(out, "}");
}

void rise_result(const struct guide *g, struct text *out)
{
	bool begun = false;
	if (g->step != STEP_OFF)
		return;
	text_member(out, "result");
	text_puts(out, "{\"calculated\":true");
	text_member_real(out, "mains", g->plan.mains);
	text_member_real(out, "tap", g->plan.tap);
	text_member_real(out, "soaked", guide_slot_value(g, SLOT_SOAKED));
	text_member(out, "stations");
	text_puts(out, "[");
	for (int i = 0; i < g->plan.stations; i++) {
		if (!g->slot[SLOT_FIRST + i].has && !g->slot[SLOT_AFTER + i].has)
			continue;
		text_puts(out, begun ? "," : "");
		write_station(g, i, out);
		begun = true;
	}
	text_puts(out, "]}");
}

void rise_look(const struct guide *g, struct text *out)
{
	struct rise_numbers n;
	rise_numbers(g, &n);
	if (rise_here(g))
		text_member_string(out, "at", rise_here(g)->name);
	if (g->step == STEP_RAISE || g->step == STEP_ON) {
		text_member_real(out, "mains", n.mains);
		text_member_real(out, "expected", n.expected.loaded);
		text_member_real(out, "expected-unloaded", n.expected.unloaded);
	}
	if (!isnan(n.most))
		text_member_real(out, "most", n.most);
	if (g->step == STEP_SOAK)
		text_member_real(out, "left", g->plan.soak - guide_slot_value(g, SLOT_SOAKED));
	if (n.hertz > 0)
		text_member_real(out, "frequency", n.hertz);
}

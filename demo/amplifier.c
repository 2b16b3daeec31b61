/* SPDX-License-Identifier: MIT */
/* See amplifier.h. */
#include "amplifier.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define MAINS 230.0
#define STEP 0.05         /* s */
#define UNLOADED 1.33     /* of the rail, over the loaded one */
#define CHARGES 0.15      /* s: time constants */
#define BLEEDS 8.0
#define WARMS 6.0
#define COOLS 20.0
#define SENSE_OHMS 10.0
#define RIPPLE 0.0042     /* of the rail, at its idle current */
#define LOW 15.0          /* Hz: where its response is 3 dB down */
#define HIGH 40e3
#define GAIN 30.0

struct amplifier {
	char name[24];
	double rail, heater, bias, idle, other, watts, inside, hum, load, drift, over, shorted;
	double mains, hertz, input, bleeder;
	bool lamp, rectifier, valves;
	double V, bias_now, warm, drifted, t; /* how it stands */
};

static struct amplifier amplifiers[AMPLIFIERS_MAX];
static int count;

int amplifier_find(const char *name)
{
	for (int i = 0; i < count; i++)
		if (strcmp(amplifiers[i].name, name) == 0)
			return i;
	return -1;
}

bool amplifier_place_named(const char *word, enum amplifier_place *out)
{
	static const char *const names[AT_PLACES] = {
	    [AT_RAIL] = "rail", [AT_HEATER] = "heater", [AT_BIAS] = "bias", [AT_SENSE] = "sense",
	    [AT_SENSE_OTHER] = "sense-other", [AT_OUT] = "out"};
	for (int i = 0; i < AT_PLACES; i++) {
		if (strcmp(word, names[i]) != 0)
			continue;
		*out = (enum amplifier_place)i;
		return true;
	}
	return false;
}

/* ---- how it stands ---- */

/* Amps of one output valve at those volts of the rail. */
static double valve(const struct amplifier *a, double idle, double drifted)
{
	double x = a->V > 0 ? a->V / a->rail : 0;
	return a->valves ? idle * a->warm * pow(x, 1.5) * (1 + drifted) : 0;
}

static double drawn(const struct amplifier *a)
{
	return valve(a, a->idle, 0) + valve(a, a->other, a->drifted);
}

/* Volts at the transformer, over MAINS: a lamp in series has its share, the hotter the more. */
static double turned(const struct amplifier *a)
{
	double watts = 6 + (a->valves ? 22 : 0) + a->V * drawn(a);
	double ohms = a->rectifier && a->shorted > 0 ? 25 : MAINS * MAINS / watts;
	double over = a->mains / 2;
	if (!a->lamp)
		return a->mains / MAINS;
	for (int i = 0; i < 60; i++) { /* a lamp of 60 W: 70 ohm cold */
		double lamp = 70 + 810 * sqrt(over / MAINS);
		over += 0.5 * (a->mains * lamp / (lamp + ohms) - over);
	}
	return (a->mains - over) / MAINS;
}

static void one_step(struct amplifier *a, double dt)
{
	double x = turned(a), idle = a->idle + a->other;
	double inside = (UNLOADED - 1) * a->rail / idle;
	double charged = a->rectifier ? UNLOADED * a->rail * x - inside * drawn(a) : 0;
	bool warms = a->valves && x > 0.6;
	if (a->rectifier && a->shorted > 0)
		charged = 0.02 * a->rail * x;
	if (a->bleeder > 0)
		a->V -= a->V * fmin(dt / 0.3, 1);
	else
		a->V += (charged - a->V) * dt / (charged > a->V ? CHARGES : drawn(a) > 0.1 * idle ? 2 : BLEEDS);
	a->bias_now += (a->bias * x - a->bias_now) * dt / CHARGES;
	a->warm += ((warms ? 1 : 0) - a->warm) * dt / (warms ? WARMS : COOLS);
	if (a->drift > 0 && a->warm > 0.9 && !a->lamp)
		a->drifted += (a->drift - a->drifted) * dt / a->over;
}

static void run(struct amplifier *a, double t)
{
	while (a->t < t) {
		double dt = fmin(STEP, t - a->t);
		one_step(a, dt);
		a->t = t - a->t > STEP ? a->t + dt : t;
	}
}

static double at_load(const struct amplifier *a)
{
	double most = sqrt(a->watts * a->load), f = a->hertz;
	double emf = f > 0 ? GAIN * a->input / hypot(1, LOW / f) / hypot(1, f / HIGH) : 0;
	double V = fmin(emf * a->load / (a->load + a->inside), most);
	return hypot(V, a->hum) * a->warm * fmin(a->V / a->rail, 1);
}

double amplifier_volts(int amplifier, enum amplifier_place place, bool ac, double t)
{
	struct amplifier *a = &amplifiers[amplifier];
	run(a, t);
	if (ac) {
		switch (place) {
		case AT_RAIL: return RIPPLE * a->rail * drawn(a) / (a->idle + a->other);
		case AT_HEATER: return a->heater * turned(a) * (a->valves ? 1 : 1.035);
		case AT_OUT: return at_load(a);
		default: return 0;
		}
	}
	switch (place) {
	case AT_RAIL: return a->V;
	case AT_BIAS: return a->bias_now;
	case AT_SENSE: return SENSE_OHMS * valve(a, a->idle, 0);
	case AT_SENSE_OTHER: return SENSE_OHMS * valve(a, a->other, a->drifted);
	default: return 0;
	}
}

/* ---- steps of a scene ---- */

static const char *define(const struct part_step *s, double t)
{
	static const char usage[] = "amplifier NAME, and rail heater bias idle other watts inside hum load "
	                            "drift over shorted, each with a number";
	struct amplifier a = {.rail = 285, .heater = 6.3, .bias = -36, .idle = 0.035, .other = 0.038,
	                      .watts = 10, .inside = 0.8, .hum = 2.1e-3, .load = 8, .over = 60, .t = t};
	const struct { const char *word; double *to; } words[] = {
	    {"rail", &a.rail}, {"heater", &a.heater}, {"bias", &a.bias}, {"idle", &a.idle},
	    {"other", &a.other}, {"watts", &a.watts}, {"inside", &a.inside}, {"hum", &a.hum},
	    {"load", &a.load}, {"drift", &a.drift}, {"over", &a.over}, {"shorted", &a.shorted}};
	if (s->words < 2 || count == AMPLIFIERS_MAX || strlen(s->word[1]) >= sizeof a.name)
		return usage;
	snprintf(a.name, sizeof a.name, "%s", s->word[1]);
	for (int i = 2; i < s->words; i += 2) {
		double *to = NULL;
		for (size_t k = 0; k < sizeof words / sizeof *words; k++)
			if (strcmp(s->word[i], words[k].word) == 0)
				to = words[k].to;
		if (!to)
			return usage;
		*to = s->number(s->step, i + 1);
	}
	if (!(a.rail > 0 && a.heater > 0 && a.idle > 0 && a.other > 0 && a.load > 0 && a.over > 0))
		return usage;
	amplifiers[count++] = a;
	return NULL;
}

static const char *put(struct amplifier *a, const char *what, bool in)
{
	bool *to = strcmp(what, "lamp") == 0        ? &a->lamp
	           : strcmp(what, "rectifier") == 0 ? &a->rectifier
	           : strcmp(what, "valves") == 0    ? &a->valves
	                                            : NULL;
	if (!to)
		return "put NAME or out NAME, and lamp, rectifier or valves";
	*to = in;
	return NULL;
}

bool amplifier_do(const struct part_step *s, double t, const char **expected)
{
	static const char *const words[] = {"mains", "put", "out", "signal", "load", "discharge"};
	static const int needs[] = {3, 3, 3, 4, 3, 3};
	size_t w = 0;
	*expected = NULL;
	if (strcmp(s->word[0], "amplifier") == 0) {
		*expected = define(s, t);
		return true;
	}
	while (w < sizeof words / sizeof *words && strcmp(s->word[0], words[w]) != 0)
		w++;
	int i = s->words > 1 ? amplifier_find(s->word[1]) : -1;
	if (w == sizeof words / sizeof *words || (w == 5 && i < 0)) /* a part is discharged, too */
		return false;
	if (i < 0 || s->words != needs[w]) {
		*expected = "mains NAME V, put or out NAME WHAT, signal NAME HERTZ V, load or discharge NAME OHM, of "
		            "an amplifier that the scene has";
		return true;
	}
	struct amplifier *a = &amplifiers[i];
	run(a, t); /* until now it was as before */
	switch (w) {
	case 0:
		a->mains = s->number(s->step, 2);
		a->bleeder = a->mains > 0 ? 0 : a->bleeder;
		break;
	case 1: case 2: *expected = put(a, s->word[2], w == 1); break;
	case 3:
		a->hertz = s->number(s->step, 2);
		a->input = s->number(s->step, 3);
		break;
	case 4: a->load = s->number(s->step, 2); break;
	default: a->bleeder = s->number(s->step, 2);
	}
	return true;
}

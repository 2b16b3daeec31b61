/* SPDX-License-Identifier: MIT */
/* The frequency of a signal that was measured: see frequency.h. */
#include "protocol/trade/frequency.h"


#include <stdio.h>
#include <string.h>

static const double reference_hertz = 1000;
static const double mains_least = 40, mains_most = 130; /* 50 and 60 Hz, and ripple of both halves */
static const double third_of_octave = 1.26; /* 2 ^ (1/3) */
static const double least = 1e-3, most = 1e9;

bool frequency_parse(const char *text, struct decimal *out, struct fault *why)
{
	enum function f;
	struct fault ignored;
	if (quantity_parse(text, strlen(text), FUNCTION_HERTZ, out, &f, &ignored) &&
	    f == FUNCTION_HERTZ && decimal_double(*out) >= least && decimal_double(*out) <= most)
		return true;
	fault_set(why, "\"%.40s\" is no frequency: 1 kHz, 31.5 Hz, 20k was expected", text);
	return false;
}

bool frequency_suits(enum function f)
{
	return f == FUNCTION_VOLT_AC || f == FUNCTION_AMP_AC;
}

void frequency_known(struct entry *e, struct decimal hertz)
{
	if (!frequency_suits(e->function) || hertz.n <= 0)
		return;
	e->frequency = hertz;
	e->hertz = e->use.signal = decimal_double(hertz);
}

/* Fed by the mains: the reference of signals is none of theirs. */
static bool of_mains(const struct position *p)
{
	if (role_says(p->role, "load") || role_says(p->role, "output") || role_says(p->role, "input"))
		return false;
	return p->kind == KIND_HEATER || p->kind == KIND_RAIL || p->kind == KIND_RECTIFIER ||
	       p->kind == KIND_FUSE || p->kind == KIND_SWITCH || role_says(p->role, "mains") ||
	       role_says(p->role, "heater") || role_says(p->role, "filament");
}

bool frequency_elsewhere(const struct entry *e, const struct position *p)
{
	if (!frequency_suits(e->function) || e->frequency.n <= 0 || role_says(p->role, "hum") ||
	    role_says(p->role, "noise") || role_says(p->role, "ripple"))
		return false;
	struct position by_role = *p; /* the usual frequency of its kind is none that was said */
	by_role.kind = KIND_OTHER;
	double said = decimal_double(e->frequency), meant = use_hertz(&by_role);
	if (!(meant > 0) && of_mains(p))
		return said < mains_least || said > mains_most;
	if (!(meant > 0))
		meant = reference_hertz;
	return said > meant * third_of_octave || said * third_of_octave < meant;
}

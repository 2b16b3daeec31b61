/* SPDX-License-Identifier: MIT */
/* Whether a meter was made for what it was asked: see use.h. */
#include "protocol/trade/use.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

/* Common practice, no source. */
static const double assumed_input = 10e6;    /* ohm, of handheld and bench meters on volts */
static const double heater_hertz = 50, ripple_hertz = 100;
static const double crest_wanted = 2;        /* of a charging current's ripple, with room */
static const double slow_test = 1000;        /* Hz: above it an electrolytic is another part */
static const double fast_test = 10000;       /* Hz: below it ESR is not what is meant */
static const double insulation_volts = 50, insulation_fraction = 0.1;

/* ---- the text of `test` ---- */

static bool word_is(const char *at, size_t n, const char *const *words)
{
	for (; *words; words++)
		if (strlen(*words) == n && strncasecmp(*words, at, n) == 0)
			return true;
	return false;
}

static bool separates(char c)
{
	return c == ' ' || c == ',' || c == ';' || c == '\t' || c == '@' || c == '/' || c == '(' ||
	       c == ')';
}

static size_t token(const char *at)
{
	size_t n = 0;
	while (at[n] && !separates(at[n]))
		n++;
	return n;
}

/* A number with its unit at `at`, also `1 kHz`; what it took, 0 for none. */
static size_t measure(const char *at, struct use *out)
{
	struct decimal d;
	enum function f;
	struct fault ignored;
	size_t n = token(at), gap = n;
	while (separates(at[gap]))
		gap++;
	size_t both = gap + token(at + gap);
	size_t tries[] = {n, both};
	if ((*at < '0' || *at > '9') && *at != '.')
		return 0;
	for (size_t i = 0; i < 2; i++) {
		if (!quantity_parse(at, tries[i], FUNCTION_NONE, &d, &f, &ignored))
			continue;
		if (f == FUNCTION_HERTZ)
			out->frequency = decimal_double(d);
		else if (f == FUNCTION_VOLT_DC || f == FUNCTION_VOLT_AC)
			out->volts = decimal_double(d);
		else
			continue;
		return tries[i];
	}
	return 0;
}

static void understand(const char *text, struct use *out)
{
	static const char *const ramp[] = {"ramp", "charge", "charging", "dc", NULL};
	static const char *const bridge[] = {"bridge", "lcr", "ac", NULL};
	for (const char *at = text; *at;) {
		size_t n = token(at), taken = measure(at, out);
		if (!taken && word_is(at, n, ramp))
			out->method = METHOD_RAMP;
		else if (!taken && word_is(at, n, bridge))
			out->method = METHOD_BRIDGE;
		at += taken ? taken : n;
		while (separates(*at))
			at++;
	}
}

void use_understand(const struct limits_of_use *use, enum function f, struct use *out)
{
	memset(out, 0, sizeof *out);
	if (!use || (unsigned)f >= FUNCTION_COUNT)
		return;
	out->input = use->input[f];
	out->isolated = use->isolated;
	out->ac = use->ac;
	out->bandwidth = use->bandwidth;
	out->crest = use->crest;
	understand(use->test[f], out);
}

/* ---- what is asked of it ---- */

double use_hertz(const struct position *p)
{
	struct use said = {0};
	understand(p->role, &said);
	if (said.frequency > 0)
		return said.frequency;
	return p->kind == KIND_HEATER ? heater_hertz : p->kind == KIND_RAIL ? ripple_hertz : 0;
}

static bool no_sine(const struct position *p)
{
	struct use said = {0};
	if (role_says(p->role, "ripple") || role_says(p->role, "hum") || role_says(p->role, "noise"))
		return true;
	/* `output 1 kHz` is a generator's, whatever kind the row has. */
	understand(p->role, &said);
	bool driven = said.frequency > 0 || role_says(p->role, "output");
	return !driven && (p->kind == KIND_RAIL || p->kind == KIND_RECTIFIER);
}

static bool doubt(struct use_doubt *out, const char *why, const char *next)
{
	snprintf(out->why, sizeof out->why, "%s", why);
	snprintf(out->next, sizeof out->next, "%s", next);
	return true;
}

static bool ac_outside(const struct use *use, const struct position *p, struct use_doubt *out)
{
	double hertz = use->signal > 0 ? use->signal : use_hertz(p);
	if (use->bandwidth > 0 && hertz > use->bandwidth) {
		char why[120];
		snprintf(why, sizeof why, "%g Hz is beyond this meter's bandwidth of %g Hz", hertz,
		         use->bandwidth);
		return doubt(out, why, "measure with a meter that reaches that frequency");
	}
	if (use->ac == AC_AVERAGE && no_sine(p))
		return doubt(out, "the meter responds to the average, and this is no sine wave",
		             "measure with a true rms meter");
	if (use->crest > 0 && use->crest < crest_wanted && no_sine(p))
		return doubt(out, "the wave's peaks are beyond this meter's crest factor",
		             "measure with a true rms meter of crest factor 3");
	return false;
}

static bool electrolytic(const struct position *p)
{
	return p->kind == KIND_ELECTROLYTIC ||
	       (p->kind == KIND_CAPACITOR && p->has_nominal && decimal_double(p->nominal) >= 1e-6);
}

static bool capacitor_outside(const struct use *use, const struct position *p, enum quantity q,
                              struct use_doubt *out)
{
	bool loss = q == QUANTITY_ESR || q == QUANTITY_DISSIPATION;
	if (kind_function(p->kind) != FUNCTION_FARAD)
		return false;
	if (loss && use->method == METHOD_RAMP)
		return doubt(out, "a meter that charges by a ramp does not see losses",
		             "measure with a bridge or an ESR meter");
	if (!electrolytic(p) || !(use->frequency > 0))
		return false;
	if (q == QUANTITY_ESR && use->frequency < fast_test)
		return doubt(out, "ESR is meant at 10 kHz and above, this meter tests lower",
		             "measure with an ESR meter");
	if ((q == QUANTITY_VALUE || q == QUANTITY_DISSIPATION) && use->frequency > slow_test) {
		char why[120];
		snprintf(why, sizeof why, "an electrolytic is another part at %g Hz", use->frequency);
		return doubt(out, why, "measure at 100 or 120 Hz");
	}
	return false;
}

static bool insulation_outside(const struct use *use, const struct position *p, enum quantity q,
                               enum function f, struct use_doubt *out)
{
	if ((q != QUANTITY_INSULATION && q != QUANTITY_LEAKAGE) || f != FUNCTION_OHM ||
	    !(use->volts > 0))
		return false;
	double wanted = p->has_rated ? insulation_fraction * decimal_double(p->rated)
	                             : insulation_volts;
	if (use->volts >= wanted)
		return false;
	char why[120];
	snprintf(why, sizeof why, "tested with %g V: insulation shows at working volts only",
	         use->volts);
	return doubt(out, why, "measure with an insulation tester at working volts");
}

bool use_outside(const struct use *use, const struct position *p, enum quantity q,
                 enum function f, struct use_doubt *out)
{
	memset(out, 0, sizeof *out);
	if ((f == FUNCTION_VOLT_AC || f == FUNCTION_AMP_AC) && ac_outside(use, p, out))
		return true;
	bool volts = f == FUNCTION_VOLT_DC || f == FUNCTION_VOLT_AC;
	enum function own = kind_function(p->kind);
	if (volts && use->isolated == ANSWER_NO &&
	    ((own == FUNCTION_OHM && p->kind != KIND_HEATER) || own == FUNCTION_FARAD))
		return doubt(out, "the meter's input is tied to earth, and this part is not",
		             "measure both ends against chassis, or with an isolated meter");
	return capacitor_outside(use, p, q, out) || insulation_outside(use, p, q, f, out);
}

double use_loading(const struct use *use, const struct position *p, enum function f, double value)
{
	bool volts = f == FUNCTION_VOLT_DC || f == FUNCTION_VOLT_AC;
	if (!volts || !p->has_source)
		return 0;
	double input = use->input > 0 ? use->input : assumed_input;
	return fabs(value) * decimal_double(p->source) / input;
}

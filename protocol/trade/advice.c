/* SPDX-License-Identifier: MIT */
/*
 * What a technician would do next: see verdict.h.  The words are the trade's; what they
 * advise is common practice, no source.
 */
#include "protocol/trade/verdict.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *const replace_perhaps = "replace it where its place cannot live with that";
static const char *const replace_it = "replace it: its place cannot live with that";

static const char *advice_unsure(const struct judgement *j, const struct verdict *v)
{
	switch (v->reason) {
	case REASON_CIRCUIT:
		return j->swapped == AGREEMENT_NO
		           ? "discharge what is charged and measure again both ways round"
		           : "lift one leg and measure again";
	case REASON_MOVING:
		return "let it settle and measure again";
	case REASON_OFFSET:
		return j->function == FUNCTION_FARAD
		           ? "hold the leads open, take the offset and measure again"
		           : "short the leads, take the offset and measure again";
	default:
		return j->has_value ? "measure with a more accurate meter"
		                    : "use a higher range, or a meter that reaches farther";
	}
}

static const char *advice_outside(const struct judgement *j, const struct verdict *v)
{
	bool volts = j->function == FUNCTION_VOLT_DC || j->function == FUNCTION_VOLT_AC;
	if (j->in_circuit && v->side == SIDE_HIGH && j->swapped == AGREEMENT_UNKNOWN &&
	    (j->function == FUNCTION_OHM || j->function == FUNCTION_DIODE))
		return "swap the leads and touch it again (tally again swapped)";
	if (v->reason == REASON_OPEN)
		return "look at its joints, then replace it";
	if (v->reason == REASON_LEAKAGE)
		return "measure its leakage at working volts";
	if (v->reason == REASON_OTHER_VALUE)
		return "read its marking and the schematic before replacing it";
	if (volts)
		return "look for the cause around it before replacing parts";
	if (j->function == FUNCTION_FARAD && v->side == SIDE_HIGH)
		return "measure its leakage at working volts";
	if (j->function == FUNCTION_FARAD || (j->function == FUNCTION_OHM && v->side == SIDE_HIGH))
		return replace_perhaps;
	return "measure it again; if it stays so, replace it";
}

void verdicts_advise(struct verdict *tolerance, struct verdict *service)
{
	bool known = service->word == VERDICT_OUTSIDE || service->word == VERDICT_WITHIN;
	const char *next = service->word == VERDICT_OUTSIDE ? replace_it : "its place can live with that";
	if (known && strcmp(tolerance->next, replace_perhaps) == 0)
		snprintf(tolerance->next, sizeof tolerance->next, "%s", next);
	if (strcmp(service->next, replace_perhaps) == 0)
		snprintf(service->next, sizeof service->next, "%s", replace_it);
	/* As it was sold, and still no good there. */
	if (tolerance->word == VERDICT_WITHIN && service->word == VERDICT_OUTSIDE &&
	    !tolerance->next[0])
		snprintf(tolerance->next, sizeof tolerance->next, "%s", service->next);
}

void verdict_advise(const struct judgement *j, struct verdict *v)
{
	const char *next = "";
	if (v->next[0])
		return;
	if (v->word == VERDICT_UNSURE)
		next = advice_unsure(j, v);
	else if (v->word == VERDICT_OUTSIDE)
		next = advice_outside(j, v);
	snprintf(v->next, sizeof v->next, "%s", next);
}

void verdict_beside_twin(struct verdict *v, const char *twin, bool agree, double difference)
{
	if (v->word != VERDICT_UNSURE || v->reason != REASON_CIRCUIT)
		return;
	if (agree) {
		snprintf(v->why, sizeof v->why, "as its twin %.32s: nothing against it", twin);
		snprintf(v->next, sizeof v->next, "nothing, while nothing else speaks against it");
		return;
	}
	snprintf(v->why, sizeof v->why, "%.1f %% %s than its twin %.32s: lift both",
	         100 * fabs(difference), difference < 0 ? "lower" : "higher", twin);
	snprintf(v->next, sizeof v->next, "lift one leg of both and measure both");
}

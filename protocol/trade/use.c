/* SPDX-License-Identifier: MIT */
/* See use.h. */
#include "protocol/trade/use.h"

#include <string.h>

void use_of(const struct limits_of_use *use, enum function f, struct limits_of_use *out)
{
	memset(out, 0, sizeof *out);
	out->isolated = use->isolated;
	out->input[f] = use->input[f];
	memcpy(out->test[f], use->test[f], sizeof out->test[f]);
	if (f != FUNCTION_VOLT_AC && f != FUNCTION_AMP_AC)
		return;
	out->ac = use->ac;
	out->bandwidth = use->bandwidth;
	out->crest = use->crest;
}

bool use_known(const struct limits_of_use *use)
{
	bool known = use->isolated != ANSWER_UNKNOWN || use->ac != AC_UNKNOWN || use->bandwidth > 0 ||
	             use->crest > 0;
	for (int f = 0; f < FUNCTION_COUNT; f++)
		known = known || use->input[f] > 0 || use->test[f][0];
	return known;
}

/* SPDX-License-Identifier: MIT */
/* See outcome.h. */
#include "client/outcome.h"

#include "protocol/record/wire.h"

enum outcome outcome_from_code(int code)
{
	switch (code) {
	case 0:
		return OUTCOME_DONE;
	case WIRE_REFUSED:
		return OUTCOME_NO;
	case WIRE_NOT_LOGGED:
		return OUTCOME_NOT_LOGGED;
	default:
		/* Everything else is a request that was wrong, or input that is bad. */
		return OUTCOME_WRONG;
	}
}

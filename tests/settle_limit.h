/* SPDX-License-Identifier: MIT */
/* `-l FIELD=VALUE` of the scorers of settling: one threshold of settle.h, by the name of its field. */
#ifndef TALLY_TESTS_SETTLE_LIMIT_H
#define TALLY_TESTS_SETTLE_LIMIT_H

#include "daemon/settle.h"

#include <stdlib.h>
#include <string.h>

/* False where there is no such field; its value is not checked. */
static inline bool limit_set(struct settle_limits *limits, const char *text)
{
	const char *sign = strchr(text, '=');
	size_t len = sign ? (size_t)(sign - text) : 0;
#define X(field, name, standard, low, high)                        \
	if (len == strlen(#field) && !strncmp(text, #field, len)) {    \
		limits->field = atof(sign + 1);                            \
		return true;                                               \
	}
	SETTLE_LIMIT_LIST(X)
#undef X
	return false;
}

#endif

/* SPDX-License-Identifier: MIT */
/*
 * The parameters of a call: a table says what a method takes, and everything
 * else is refused, so that a misspelt parameter is never silently ignored.
 */
#ifndef TALLY_QUERY_PARAMS_H
#define TALLY_QUERY_PARAMS_H

#include "protocol/trade/fault.h"

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

enum param_type {
	PARAM_TEXT,  /* const char *: borrowed from the parameters */
	PARAM_WHOLE, /* int64_t, not negative */
	PARAM_FLAG,  /* bool */
	PARAM_NAMES, /* json_t *: an array of strings, borrowed */
};

struct param {
	const char *name;
	enum param_type type;
	bool compulsory;
	void *out; /* left as it is where the parameter is absent or null */
};

/* Read them; on false *why names the parameter and says what was expected. */
bool params_read(const char *method, json_t *params, const struct param *list, size_t n,
                 struct fault *why);

#endif

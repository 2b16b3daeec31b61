/* SPDX-License-Identifier: MIT */
/*
 * The values of configuration keys: each reader takes the whole value and says
 * what was expected.  Columns of faults count from the start of the value, 1 the
 * first byte; 0 is the whole of it.
 */
#ifndef TALLY_CONFIG_VALUE_H
#define TALLY_CONFIG_VALUE_H

#include "protocol/trade/quantity.h"

/* One of `words` (NULL at the end): its index. */
bool value_word(const char *value, const char *const *words, int *out, struct fault *why);

bool value_whole(const char *value, int low, int high, int *out, struct fault *why);

/* `0.4`, `0.4 s`, `400 ms`; without a unit seconds.  Bounds in us. */
bool value_seconds(const char *value, int64_t low, int64_t high, int64_t *us, struct fault *why);

/* A number with an SI prefix if need be, `0.05n`, in [low, high]. */
bool value_number(const char *value, double low, double high, double *out, struct fault *why);

/* A quantity of function `f`, `10M` or `10 Mohm`, in [low, high] (SI). */
bool value_quantity(const char *value, enum function f, double low, double high,
                    struct decimal *out, struct fault *why);

/* Text without control characters, not empty, shorter than `size`. */
bool value_text(const char *value, const char *what, char *out, size_t size, struct fault *why);

#endif

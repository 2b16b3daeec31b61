/* SPDX-License-Identifier: MIT */
/*
 * A time as a person writes it.
 *
 *     2026-11-25T10:00:00Z  2026-11-25T10:00:00.5+01:00    RFC 3339
 *     2026-11-25 10:00      2026-11-25      10:00  10:00:05     by the person's clock; without a
 *                                                          day the one of `about`
 *     -10m  -90s  -2h  -3d                                  before `about`
 *
 * Pure.
 */
#ifndef TALLY_CLIENT_MOMENT_H
#define TALLY_CLIENT_MOMENT_H

#include "client/words.h"
#include "protocol/trade/fault.h"

/* `about`: us since 1970; style->local is the person's clock. */
bool moment_parse(const char *text, int64_t about, const struct style *style, int64_t *us,
                  struct fault *why);

#endif

/* SPDX-License-Identifier: MIT */
/* See caution.h. */
#include "protocol/trade/caution.h"

#include <stddef.h>

const char *const caution_rise[] = {
    "valve equipment kills: local codes and licensed practice come before anything said here",
    "mains isolated, and the reservoir capacitors discharged and measured, before anything is touched",
    "power comes up through a variable transformer and a series lamp, or another limit in series",
    "one hand; meters and probes rated for the volts that will be there, clipped on while it is off",
    "never alone: somebody is near who knows how to switch it off",
    NULL,
};

/* SPDX-License-Identifier: MIT */
/*
 * Who a meter says it is, in four fields.
 *
 * The answer to *IDN? is (IEEE 488.2 10.14, as quoted by makers' guides)
 *
 *     maker , model , serial number , firmware
 *
 * with 0 for a serial number or firmware that is not known; at most 72 characters,
 * which nobody keeps to.  Blanks around a field are no part of it; some meters put
 * the whole in quotes.  Commas behind the third belong to the firmware, for it is
 * what makers put lists into.
 */
#ifndef TALLY_METER_IDENTITY_H
#define TALLY_METER_IDENTITY_H

#include <stdbool.h>

#define IDENTITY_FIELD 96

struct identity {
	char maker[IDENTITY_FIELD], model[IDENTITY_FIELD];
	char serial[IDENTITY_FIELD], firmware[IDENTITY_FIELD]; /* "" for 0: not known */
};

/* False, and four empty fields, where there are fewer than three commas: then nobody
 * can say which field is which, and the text as a whole is all that is known.  A
 * field that is longer is cut. */
bool identity_parse(const char *text, struct identity *out);

#endif

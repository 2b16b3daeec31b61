/* SPDX-License-Identifier: MIT */
/*
 * The sheet of an earlier job, for another one: the rows of `sheet.show` as CSV that somebody
 * might have saved; and which unit it was, for its next visit.
 */
#ifndef TALLY_CLIENT_SHEET_COPY_H
#define TALLY_CLIENT_SHEET_COPY_H

#include "client/lines.h"
#include "protocol/record/text.h"

#include <jansson.h>
#include <stdbool.h>

struct sheet_copy {
	json_t *rows; /* an array of {column: cell} */
	json_t *columns; /* {column: true} */
	bool again; /* the same unit: what is fitted in it, and its valves, come along */
	bool failed; /* no memory */
};

void sheet_copy_begin(struct sheet_copy *k, bool again);
/* One row of the answer. */
void sheet_copy_row(struct sheet_copy *k, struct slice row);
size_t sheet_copy_rows(const struct sheet_copy *k);
void sheet_copy_csv(const struct sheet_copy *k, struct lines *out);
void sheet_copy_end(struct sheet_copy *k);

/* Parameters of job.set with what stays true of a unit from visit to visit (maker, type, serial,
 * year, mains), of an answer to job.show; NULL where nothing of it is known. */
json_t *sheet_copy_unit(struct slice job);

#endif

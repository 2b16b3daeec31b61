/* SPDX-License-Identifier: MIT */
/*
 * All that a job knows of its parts, for questions that must see the whole of it: the rows
 * of the sheet as they stand, and every entry that counts, where it belongs now and as it
 * is judged now.
 */
#ifndef TALLY_QUERY_GATHER_H
#define TALLY_QUERY_GATHER_H

#include "daemon/query_private.h"

struct gathered_row {
	struct position position;
	/* What is fitted there now: the same, where no fit was said. */
	struct position fitted;
	bool has_fit, fit_value, fit_rated;       /* ... and which of its cells the fit says */
	char tolerance[24], number[NAME_SIZE], price[24]; /* as the fit says them */
	int newest;                    /* index of its newest entry, -1 for none */
	const struct sheet_line *line; /* for columns that nobody knows */
};

struct gathered {
	struct sheet_lines lines;
	struct gathered_row *row; /* in the order of the sheet */
	int rows;
	struct entry *entry;      /* not struck, in the order in which they were made */
	size_t entries, size;
	int *older;               /* of each, the one before it at its position; -1 for none */
	struct said_list strikes, moves, rejudged;
	struct names names;
	bool no_memory;
};

/* False where the log cannot be read.  Free it either way. */
bool gather(struct query *q, const char *job, struct gathered *out);
void gathered_free(struct gathered *g);
/* The row of a position; -1 for none. */
int gathered_find(const struct gathered *g, const char *position);
/* The cell of an unknown column of a row; false where it is empty. */
bool gathered_cell(const struct gathered_row *row, const char *column, char *out, size_t size);

#endif

/* SPDX-License-Identifier: MIT */
/*
 * What meter against meter (query_compare.c) and twin against twin (query_twins.c)
 * share.
 */
#ifndef TALLY_QUERY_COMPARE_H
#define TALLY_QUERY_COMPARE_H

#include "daemon/query_private.h"
#include "protocol/trade/crosscheck.h"

/* The newest entry of one meter in one place of comparison. */
struct fresh {
	struct entry e;
	char shown[48];
	size_t rank; /* place of the position in the sheet */
	bool aside;  /* a point of a response, at another frequency than its place is meant for */
};

struct compare {
	struct query *q;
	const char *job;
	const char *position, *twin; /* asked for; NULL: every position */
	struct said_list strikes, moves;
	struct names names;
	struct sheet_lines lines;
	struct fresh **at; /* sorted */
	size_t n, size;
	size_t from, upto; /* the lines of the sheet whose positions are on this page */
	bool no_memory;
	int checks, pairs, references, twins; /* written so far */
	struct answer refused;
	int refused_count;
};

/* The newest of these (of one meter, where it is named); NULL for none. */
const struct fresh *compare_newest(struct fresh **at, size_t n, const char *meter);

/* Do the meters of one group, three and more, have one value in common? (`together`) */
void compare_together(struct compare *c, struct fresh **at, size_t n);
/* Values of reference parts against what those are known to be. (`references`) */
void compare_references(struct compare *c);

/* Is this position one that was asked for, and on this page? */
bool compare_wanted(const struct compare *c, const char *position);
/* A comma before every element but the first of a list. */
void compare_comma(struct answer *out, int *count);
/* "NAME":{"seq","meter","shown","judged" (the leads taken off, where they were),"U"} */
void compare_side(struct answer *out, const char *name, const struct fresh *f);
/* The members quantity, condition and reach. */
void compare_place(struct answer *out, const struct fresh *f);
/* Those of one group that can be compared with another of it; the count, and 0 where two of them
 * cannot be held against each other (a ramp and a bridge, with a third of which nobody said how
 * it measures): what was refused decides nothing. */
#define COMPARE_METERS 64
int compare_mutual(struct fresh **at, size_t n, const struct fresh *out[COMPARE_METERS]);
/* One more that was not compared. */
void compare_refuse(struct compare *c, const struct fresh *a, const struct fresh *b,
                    const struct fault *why);

/* The twin that the sheet names; "" for none. */
void compare_twin(const struct sheet_line *line, char out[NAME_SIZE]);
void compare_twins(struct compare *c);

#endif

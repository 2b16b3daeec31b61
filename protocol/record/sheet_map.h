/* SPDX-License-Identifier: MIT */
/*
 * Parts lists that others made: which of their columns is which of ours.
 *
 * A file that has a column named `position` is a sheet (sheet.h): its columns are what
 * they are called.  Any other is a parts list, and of its headings these are known, in
 * any case, each where no second heading means the same column:
 *   position   Reference References Ref Refs Designator Designators RefDes
 *   nominal    Value Val
 *   count      Qty Quantity Count: how many positions the row has, compared, not kept
 *   tolerance  Tolerance Tol
 *   rated      Voltage Rating
 *   note       Description
 * and those that are named as in a sheet.  What a map says goes before all of that, in a
 * sheet, too.  Columns that nobody knows are kept under their headings.
 *
 * Cells of a parts list are read more freely:
 *   - a row may have many positions: R1,R2,R5-R7 (sheet_names.h);
 *   - a value may have its rating and tolerance with it: 47u/450V, 100k 1W 5%;
 *   - what is no value of a valve, a rectifier, a transformer or a switch (its type, say)
 *     goes to the note.
 */
#ifndef TALLY_RECORD_SHEET_MAP_H
#define TALLY_RECORD_SHEET_MAP_H

#include "protocol/record/sheet.h"

#define SHEET_MAP_MAX 64
#define SHEET_HEADING_SIZE 64 /* with its NUL; of a longer one the beginning counts */

/* What a column is used as: enum sheet_column, or one of these. */
enum {
	SHEET_COUNT = SHEET_COLUMNS, /* how many positions the row has */
	SHEET_KEPT,                  /* kept under its heading */
	SHEET_LEFT,                  /* left out */
	SHEET_UNNAMED                /* has no heading, and no cells */
};

struct sheet_map {
	int pairs;
	char heading[SHEET_MAP_MAX][SHEET_HEADING_SIZE];
	int use[SHEET_MAP_MAX];
	bool rest_left; /* `*=-`: nothing else is kept */
};

/* Add a pair; `column`: a column of a sheet, `count`, `kept` or `-` (left out). */
bool sheet_map_add(struct sheet_map *map, const char *heading, const char *column,
                   struct fault *why);

/* `ref=position,val=nominal,*=-`.  The fault's column counts from the start of `text`. */
bool sheet_map_parse(struct sheet_map *map, const char *text, struct fault *why);

/* What became of the columns, in the order of the file. */
struct sheet_taken {
	char delimiter; /* , ; or a tab */
	bool list;      /* a parts list, no sheet */
	int columns;
	char heading[SHEET_MAP_MAX][SHEET_HEADING_SIZE];
	int use[SHEET_MAP_MAX];
};

/* The word for a use: the name of the column, `count`, `kept`, `-`. */
const char *sheet_use_name(int use);

/* What a heading of a parts list means, SHEET_KEPT where it is not known. */
int sheet_heading_use(const char *heading, size_t len);

/* As sheet_parse, with a map and an answer; both may be NULL. */
bool sheet_parse_mapped(const char *file, const char *text, size_t len,
                        const struct sheet_map *map, struct sheet_taken *taken,
                        bool (*each)(void *arg, const struct sheet_row *row, struct fault *why),
                        void *arg, struct fault *why);

/*
 * Every fault of a sheet that is refused, as it is found: those of the rows, in order (one or
 * more a row, each with what it would be without the others), then twins and `with` that
 * nobody has.  A fault of the first row, or a quote that spoils the rest, ends it, and so does
 * the fault SHEET_FAULTS_MAX.  Returns how many were told; 0 where sheet_parse_mapped would
 * take the sheet.  Nothing is given.
 */
#define SHEET_FAULTS_MAX 1000
int sheet_faults(const char *file, const char *text, size_t len, const struct sheet_map *map,
                 void (*tell)(void *arg, const struct fault *why), void *arg);

/*
 * Is this the first row of a sheet or parts list that was pasted: cells parted by tabs,
 * semicolons or commas of which one names the positions?  No typed line is one.
 */
bool sheet_is_header(const char *line, size_t len);

/* Only text may come in: false with line and column of the first byte that is not UTF-8
 * or is a control character, and what to do. */
bool sheet_bytes_check(const char *file, const char *text, size_t len, struct fault *why);

#endif

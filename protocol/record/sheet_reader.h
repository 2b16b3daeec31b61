/* SPDX-License-Identifier: MIT */
/*
 * Inside this room only: a sheet while it is read.  sheet.c feeds the bytes to libcsv and
 * compares the rows with each other; sheet_header.c understands the first row, sheet_list.c
 * the others.
 */
#ifndef TALLY_RECORD_SHEET_READER_H
#define TALLY_RECORD_SHEET_READER_H

#include "protocol/record/sheet_map.h"

#define COLUMNS_MAX SHEET_MAP_MAX
#define COLUMN_EXTRA 100 /* and the index of the unknown column */

struct cell {
	size_t raw;  /* where it begins in the text, spaces and quote included */
	size_t lead; /* spaces dropped at the start of its content */
	size_t len;  /* of the content; may be more than what was kept */
	char text[SHEET_CELL_SIZE];
};

/* What is kept of a row, to check it against the others. */
struct row_index {
	char name[NAME_SIZE], twin[NAME_SIZE], with[NAME_SIZE];
	size_t name_raw, twin_raw, with_raw;
};

struct reader {
	const char *file, *text;
	size_t len;
	struct fault *why;
	bool failed;

	size_t first;      /* where the first row begins */
	size_t at;         /* the byte that libcsv is being given */
	size_t cell_start; /* of the cell at work */
	bool quoted;       /* inside quotes */

	int cells; /* of the row at work */
	struct cell cell[COLUMNS_MAX + 1];

	char delimiter;
	bool list;                    /* a parts list, no sheet */
	const struct sheet_map *map;  /* may be NULL */
	struct sheet_taken *taken;

	int columns; /* 0 until the first row was read */
	int column[COLUMNS_MAX];      /* enum sheet_column, SHEET_COUNT ..., COLUMN_EXTRA + i */
	int extras;
	char extra_name[SHEET_EXTRA_MAX][SHEET_NAME_SIZE];

	struct row_index *index;
	size_t rows, index_size;

	/* Where every fault is told (sheet_faults), and not the first alone; else NULL. */
	void (*tell)(void *arg, const struct fault *why);
	void *tell_arg;
	int told;         /* of the whole sheet */
	bool name_lost;   /* of some row nobody knows what it names */
	int row_told;     /* of the row at work, with their places: one place is told once */
	struct { int line, column; } row_place[16];

	/* The second reading only. */
	bool giving;
	size_t given;
	bool (*each)(void *arg, const struct sheet_row *row, struct fault *why);
	void *arg;
};

/* Lines are counted only where somebody is told. */
void reader_place(const struct reader *r, size_t at, int *line, int *column);
/* A fault at a byte of the text; false. */
bool reader_refuse(struct reader *r, size_t at, const char *what);
/* Where every fault is told: told, and the reading goes on behind it; else false. */
bool reader_excuse(struct reader *r);
/* The whole of it; false where it is refused or has told faults. */
bool reader_run(struct reader *r);
/* Where a cell begins, without the spaces before it. */
size_t cell_begin(const struct reader *r, const struct cell *c);
/* Where byte `i` of its content stands. */
size_t cell_byte(const struct reader *r, const struct cell *c, size_t i);

/* What parts the cells: a line `sep=;` says so, else the one of , ; and tab that stands
 * most often in the first row, outside quotes. */
void reader_delimiter(struct reader *r);
void reader_header(struct reader *r);
/* A row behind it: into the index, or given. */
void reader_row(struct reader *r);

#endif

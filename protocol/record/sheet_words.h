/* SPDX-License-Identifier: MIT */
/*
 * Inside this room only: the words of a typed line, and what each can be.
 *
 * All of it works on plain text (sheet_plain.h); places are bytes of that text.
 */
#ifndef TALLY_RECORD_SHEET_WORDS_H
#define TALLY_RECORD_SHEET_WORDS_H

#include "protocol/record/sheet.h"

#define WORDS_MAX 64
#define SECTIONS_MAX 8

struct word {
	size_t at, len; /* in the line */
	bool taken;     /* a kind, or part of the word before it */
};

struct line {
	const char *text;
	size_t len;
	struct word word[WORDS_MAX];
	int words;
	int first;  /* of the words behind the names */
	bool capacitor; /* by the letters of its name */
	bool soft;  /* names that only a space set off from the ones before */
	struct sheet_row row; /* without a name yet */
	struct fault *why;
	/* Where each cell begins in the line, to place the faults of its meaning. */
	size_t cell_at[SHEET_COLUMNS];
	size_t valve_at; /* where the number of a valve stands, 0: none */
	size_t limit_at[SHEET_EXTRA_MAX]; /* of esr=<=3 and the like, kept as further columns */
	/* 8+8u and 2x100k: the nominal of each name, in order. */
	int sections;
	bool one_can; /* parted by +: they share a part */
	char section[SECTIONS_MAX][SHEET_CELL_SIZE];
};

/* Splits at blanks, up to a remark; a quote keeps them. */
bool words_split(struct line *l);
/* Finds how many words are names: sets `first` and `soft`.  Returns where the names end. */
size_t words_names(struct line *l);
/* Behind it: 1k R1, the value before the name? */
bool words_swapped(const struct line *l);

bool word_is(const struct line *l, int i, const char *text); /* in any case */
bool word_is_limit(const struct line *l, const struct word *w); /* +- >= <= */
bool word_is_tolerance(const struct line *l, int i);
bool word_is_micro(const struct line *l, const struct word *w); /* the sign and 47: a capacitance */
/* `f`: what its kind is measured in, for codes such as n47. */
bool word_is_value(const struct line *l, const struct word *w, enum function f);
/* Where a run of three colours or more that begins with this word ends (its words are taken
 * then), 0 for none. */
size_t words_bands(struct line *l, int i);
/* Behind a bare number the beginning of a unit that is none of those known: micro, kilo. */
bool word_is_scale(const struct line *l, int i);
/* Takes the words after `i` that belong to it; returns the end in the line. */
size_t words_join(struct line *l, int i, bool tolerance);

/* `8+8u` and `2x100k`: the parts of a value, each with its unit, into l->section.  False
 * where it is no such thing; refused (why) where there are too many. */
bool value_sections(struct line *l, const char *value, size_t at, bool *refused);
/* `47u/450V`: where the slash stands that parts nominal and rating; 0 for none. */
size_t value_slash(const char *value, enum function f);
/* volts, watts, VW and the like as V and W; `comma_to_point` for its numbers. */
bool value_plain(char *value, size_t size, struct fault *why);
/* Volts on what is not measured in volts and watts always: what it is rated for; amps
 * on what is measured in ohms: the most it may carry. */
enum sheet_column value_column(const char *value, enum function f);

/* What only a slip of the hand can mean, though each cell has a meaning: sheet_slip.c. */
/* R1-C5, R1-R6-R9: meant as a range, and a name by its characters. */
bool slip_of_range(const char *name, struct fault *why);
/* A part of -5 ohm: no sheet may say so, typed or loaded. */
bool slip_below_nothing(const struct sheet_row *row, struct fault *why);
/* That, and 1m of a resistor; *bad is the cell. */
bool slip_of_value(const struct sheet_row *row, enum sheet_column *bad, struct fault *why);
/* The same of one cell of that column, typed by hand, at its first byte: a nominal has the slips of a
 * typed line.  (What a file brought stays.) */
bool slip_of_cell(const struct sheet_row *row, enum sheet_column column, enum sheet_column *bad,
                  struct fault *why);

#endif

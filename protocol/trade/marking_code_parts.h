/* SPDX-License-Identifier: MIT */
/*
 * Inside marking_code.c, marking_tail.c, marking_unit.c, marking_sections.c and marking_pair.c
 * only.
 */
#ifndef TALLY_TRADE_MARKING_CODE_PARTS_H
#define TALLY_TRADE_MARKING_CODE_PARTS_H

#include "protocol/trade/marking_parts.h"

/* What stands behind a value. */
struct tail {
	bool has_tolerance, by_letter;
	char letter;
	struct tolerance tolerance;
	bool has_volts, has_watts;
	struct decimal volts, watts;
	const char *track;       /* of a pot, for the note; NULL: not said */
};

struct scan {
	const struct plain *p;
	struct marking_list *out;
	size_t far;              /* how far any reading came, and what stopped it there */
	const char *far_why;
	bool has_volts, has_watts; /* said before the number */
	struct decimal volts, watts;
};

/* What a number is like, before its unit is known. */
struct number {
	struct decimal value;
	int digits;       /* figures as they stand */
	bool point;
	bool zero_first;  /* 047 */
	size_t end;       /* the place behind it */
};

/* How far the text was understood, for the fault: the farthest place counts. */
void scan_stopped(struct scan *s, size_t at, const char *why);

/* marking_tail.c: everything behind a value, from `at` on.  `loose`: volts may stand there
 * without their letter (104K100, .33K250, .05 400). */
bool tail_read(struct scan *s, size_t at, enum function f, bool loose, struct tail *t);
/* Volts or watts at `at`; the place behind them, 0 where none stand there.  `bare`: a number
 * alone is volts, since a slash or dash stood before it. */
size_t rating_at(const struct scan *s, size_t at, bool bare, struct tail *t);
/* The bytes of "V", "VDC", "volts" ... at `text`, 0 for none. */
size_t volts_word(const char *text);

/* marking_unit.c: letters behind the number, or (letter_first) before it: 4K7, .05 mfd, R47. */
void unit_readings(struct scan *s, const struct number *n);
void letter_first(struct scan *s, size_t at);

/* marking_pair.c: two numbers of one part: 3-30pF of a trimmer, 25 25 for 25 uF and 25 V. */
void pair_readings(struct scan *s, size_t at);

/* marking_code.c: a number with figures and a point at `at`; one value with all that it can
 * mean, true where there is any; a reading into the list; a value that 5 % parts are made in. */
bool number_read(const struct plain *p, size_t at, struct number *n);
bool one_value(struct scan *s, size_t at);
void code_add(struct scan *s, struct decimal value, enum function f, const struct tail *tail,
              const char *scheme);
bool in_series(struct decimal value);

/* marking_sections.c: false where the text names no sections. */
bool sections_read(const struct plain *p, struct marking_list *out);

#endif

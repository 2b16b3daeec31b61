/* SPDX-License-Identifier: MIT */
/*
 * A line about the sheet or the unit, as it is typed in `tally bench`: what the verbs
 * `sheet`, `job set` and `job start` do, without leaving the screen.
 *
 *     R1-R6,R9 100k                  lines of a sheet as `sheet add` has them (`add` may
 *                                    stand before one that begins with a word of these)
 *     mirror R1-R40 +100             the other channel
 *     set R12 tolerance=5%           set V3 valve=A17
 *     fit C7 kind=film rated=630V    fit C7 none takes it back
 *     rename N5 R12
 *     twins accept R1 R2             those proposed by equal value; without names those
 *                                    that are alone
 *     unit serial=1204 complaint="hum on the left"
 *     start "a year later" again "monitor amplifier"      (like: another unit of that kind)
 *     walk new T3/                   no schematic: T3/1, T3/2 ... each as it is touched
 *
 * Pure.
 */
#ifndef TALLY_CLIENT_PHRASE_LINE_H
#define TALLY_CLIENT_PHRASE_LINE_H

#include "client/phrase.h"

enum line_what {
	LINE_ADD, LINE_MIRROR, LINE_SET, LINE_FIT, LINE_RENAME, LINE_TWINS, LINE_UNIT, LINE_START,
	LINE_WALK,
};

struct phrase_line {
	enum line_what what;
	char position[SCENE_NAME], to[SCENE_NAME]; /* set, fit, rename */
	char range[KEYS_TEXT_MAX];  /* mirror: the range; twins: names; start: its name; walk: new */
	char again[KEYS_TEXT_MAX];  /* start: the earlier job, "" for none; walk: the prefix, "" for none */
	bool like;                  /* start: that job is of another unit; its sheet alone */
	int by;                     /* mirror */
	bool none;                  /* fit: it is taken back */
	const char *rest;           /* add: the line; set, fit, unit: the pairs; in the text */
};

/* False with one sentence where it says nothing that can be done. */
bool phrase_line(const char *text, struct phrase_line *out, char *why, size_t size);

/* The next `key=value` of the pairs ("in quotes" where it has blanks); false at their end.
 * They were looked at by phrase_line. */
bool phrase_pair(const char **pairs, char key[32], char value[KEYS_TEXT_MAX]);

/* What may stand behind `before`. */
enum phrase_word phrase_line_expects(const char *before);
/* The nth word that such a line may begin with; NULL behind the last. */
const char *phrase_line_word(int nth);

#endif

/* SPDX-License-Identifier: MIT */
/*
 * What is typed in `tally bench`, taken apart: the same lines in the prompt of the screen
 * and behind a word of --plain.
 *
 *     enter     C7 leakage 0.3 uA from tester u 0.05 because meter on its last leg
 *     move      R13                  the last entry
 *               last 3 R13           the last three that count
 *               45-48 51 R13         by the numbers of their records
 *     strike    slipped              the last entry that counts
 *               #45 slipped          this one
 *     offset    short              short leads, for ohm; `open` for farad; and a meter
 *     check     red REF1
 *     bind      red C1 leakage       `red free` lets it follow the walk again
 *     photo     c7.jpg leaks here    the file ("two words.jpg" in quotes), what it shows
 *     fitted    C7 R1-R6             positions, ranges and parts
 *     line      see phrase_line.h
 *
 * Pure.  Words are parted by blanks.  Names are looked at for their form alone; whether
 * there is such a position, the daemon knows.
 */
#ifndef TALLY_CLIENT_PHRASE_H
#define TALLY_CLIENT_PHRASE_H

#include "client/keys.h"
#include "client/scene.h"

/* A value with its unit, "because" and its text: what does not fit is refused. */
#define PHRASE_VALUE 64
#define PHRASE_RUNS 16
#define PHRASE_LAST_MAX SCENE_ENTRIES_MAX

struct phrase_enter {
	char position[SCENE_NAME], quantity[16], value[PHRASE_VALUE], from[SCENE_NAME];
	char u[PHRASE_VALUE], because[KEYS_TEXT_MAX]; /* "" where nothing was said */
};

struct phrase_move {
	int last; /* so many of the last entries; 0: none by that */
	struct { int64_t from, to; } run[PHRASE_RUNS];
	int runs;
	char position[SCENE_NAME]; /* "" while it is typed and not there yet */
};

struct phrase_strike {
	int64_t seq; /* 0: the last that counts */
	const char *because; /* within the text */
};

struct phrase_names {
	char first[SCENE_NAME], second[SCENE_NAME], third[16];
};

/* Each: false with one sentence where it says nothing that can be done. */
bool phrase_enter(const char *text, struct phrase_enter *out, char *why, size_t size);
bool phrase_move(const char *text, struct phrase_move *out, char *why, size_t size);
bool phrase_strike(const char *text, struct phrase_strike *out, char *why, size_t size);
/* offset (short or open, a meter), check and bind (a meter, a position, a quantity). */
bool phrase_names(enum action action, const char *text, struct phrase_names *out, char *why,
                  size_t size);

/* photo: its file, and where the text begins ("" where nothing was said). */
bool phrase_photo(const char *text, char file[KEYS_TEXT_MAX], const char **said, char *why,
                  size_t size);

/* Any of them: can it be understood? */
bool phrase_good(enum action action, const char *text, char *why, size_t size);

/*
 * Which entries are meant, the newest first, of those that the scene has: their numbers
 * into seqs.  `newest` is the number that `last` counts from (0: the newest of all).
 * `text` may be half typed.  For ACTION_MOVE and ACTION_STRIKE; 0 for everything else.
 */
int phrase_picks(const struct scene *s, enum action action, const char *text, int64_t newest,
                 int64_t seqs[PHRASE_LAST_MAX]);

/* What may stand where the cursor is: for completion. */
enum phrase_word {
	PHRASE_ANYTHING, /* nothing that has names */
	PHRASE_POSITION,
	PHRASE_REFERENCE, /* a position of kind reference */
	PHRASE_QUANTITY,
	PHRASE_METER,
	PHRASE_INSTRUMENT, /* one that entries were typed from */
	PHRASE_LEADS,
	PHRASE_WAITING, /* a position that stands between the unit and its power */
	PHRASE_LINE,    /* a line of a sheet: see phrase_line.h */
};
/* `before`: the words before the one at the cursor, their bytes. */
enum phrase_word phrase_expects(enum action action, const char *before, size_t len);

#endif

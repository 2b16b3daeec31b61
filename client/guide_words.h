/* SPDX-License-Identifier: MIT */
/*
 * What guided runs say in between, in another language.  The daemon's sentences are English, and
 * stand so on the screen and in the log; they are few, and made of a few patterns, so each is
 * found in a table (guide_words.c) and said anew.  What a pattern leaves open, values and names, is
 * written as the place wants it: as words where it is spoken, with its decimal comma in a report.
 *
 * tests/test_guide_said.c reads the sentences out of the sources of the runs: one that has no row here
 * fails it.
 */
#ifndef TALLY_CLIENT_GUIDE_WORDS_H
#define TALLY_CLIENT_GUIDE_WORDS_H

#include "client/speech_words.h"

#define GUIDE_WORDS_SIZE 640 /* of a whole sentence, with its end; a longer one is cut */

enum guide_manner {
	GUIDE_SPOKEN,  /* values and names as words (speech_words.h) */
	GUIDE_WRITTEN, /* as they stand, in German with a comma */
};

/* False, and "" in out, where no pattern fits the whole text. */
bool guide_words(enum language l, enum guide_manner m, const char *text, char *out, size_t size);

#endif

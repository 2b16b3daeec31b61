/* SPDX-License-Identifier: MIT */
/*
 * The shape of a language's table: speech_en.c and speech_de.c fill it, speech_words.c
 * reads it.  `$` in a phrase stands for what is put in.
 */
#ifndef TALLY_CLIENT_SPEECH_TABLE_H
#define TALLY_CLIENT_SPEECH_TABLE_H

#include "client/ear.h"
#include "client/happening.h"

#include <stddef.h>

struct speech_pair {
	const char *written, *said;
};

struct speech_unit {
	const char *written; /* as in `shown`, without prefix */
	const char *one, *many;
	const char *joint; /* between prefix and unit */
};

struct speech_reason {
	/* A word of a verdict's reason, or words that stand in the daemon's sentence. */
	const char *written;
	const char *said;
};

struct speech_table {
	const char *name;
	const char *digit[10];
	const char *point, *minus, *above;
	/* The words of a whole number up to 999 999 999, into `out` of SPEECH_NUMBER. */
	void (*number)(unsigned n, char *out);
	const char *one;             /* 1 before a unit: "one", "ein" */
	const char *letter_a;        /* A by itself, where a voice would take it for a word */
	const struct speech_pair *prefixes;   /* ended by written NULL, as all of these */
	const struct speech_unit *units;
	const struct speech_pair *states;     /* overload, no value ... */
	const struct speech_pair *separators; /* of a position's name */
	const struct speech_pair *quantities;
	const struct speech_pair *kinds; /* said where a position has no role */
	const struct speech_pair *verdicts;
	const struct speech_pair *sides, *negative_sides;
	const struct speech_pair *deviations; /* what follows the percent of one */
	const char *times, *on_nominal;       /* "470 times nominal", "on nominal" */
	const struct speech_reason *reasons;
	const char *other_reason;    /* for one that is not in the table; NULL: as it stands */
	const char *happening[HAPPENING_COUNT]; /* the name of each */
	const char *ear[EAR_SAMPLES];           /* of what is set by ear, below its target, on it, above */
	const char *held, *refused, *moving, *doubt;
	const char *disagree; /* before the two meters */
	const char *gone, *back, *stale, *daemon_gone, *daemon_back;
	const char *not_logged, *live, *cold;
	const struct speech_pair *guides; /* steps of guided runs by kind and word; others as they stand */
	const char *limit;                /* of a step of them: above $ ... */
	const struct speech_pair *alarms; /* what each danger says; others by their name */
};

/* The longest number is German, 777 777 777: about 90 bytes. */
#define SPEECH_NUMBER 160

extern const struct speech_table speech_table_en, speech_table_de;

#endif

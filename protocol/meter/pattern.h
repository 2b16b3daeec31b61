/* SPDX-License-Identifier: MIT */
/*
 * Frames that are taken apart by a pattern: users' dialect files with
 * `reads = pattern`.
 *
 * The pattern is one of PCRE2 and must match the whole frame.  Its named parts:
 *
 *     value     the number (compulsory; may be absent in an overload)
 *     sign      + or - or space, where it stands apart from the number
 *     prefix    p n u m k M G, or what the file's `prefix` lines say
 *     unit      V A Ohm F H Hz C %, or what the file's `unit` lines say
 *     coupling  AC or DC, any case
 *     function  what the file's `function` lines say, where the unit does not tell
 *     range     what the file's `range` lines say: where the point stands and which
 *               prefix the unit has, where the number does not show it
 *     second    a second number beside the value, without prefix: what it is, the meter's
 *               section says (`second = dissipation`)
 *     overload, under, hold, battery, relative
 *               a state, where the part is there and not empty
 *
 * A name may stand several times, in branches of which only one matches; the first
 * that is there counts.
 *
 * A meter that is asked may also identify itself and answer about its errors: a frame
 * that matches `identity` whole is that, and one that matches `error` whole has the
 * error's number in the part `number` (0 is "no error").  They are held against a
 * frame before the pattern of values.
 *
 * Matching is bounded: the interpreter only (its compiler fails unnoticed where
 * memory may not be both written and run), frames of at most FRAME_MAX bytes, a
 * limit on steps and depth, so that no file can hang the daemon.  A frame that
 * meets the limit is not understood and says so.
 */
#ifndef TALLY_METER_PATTERN_H
#define TALLY_METER_PATTERN_H

#include "protocol/meter/dialect.h"

#define PATTERN_WORDS_MAX 32
#define PATTERN_TEXT_MAX 1024
#define PATTERN_WORD_SIZE 24
#define PATTERN_PARTS 13
#define PATTERN_SAME_MAX 8 /* places of one name */

struct pattern_word {
	char text[PATTERN_WORD_SIZE];
	enum function function; /* of unit and function words; of range words: for this one */
	int exponent;           /* of prefix and range words; of unit words that hold a prefix */
	int before;             /* of range words: digits before the point; -1: as it stands */
};

/* A compiled pattern; private to pattern.c. */
struct pattern_code {
	void *code, *match;
};

struct pattern {
	struct pattern_word unit[PATTERN_WORDS_MAX], prefix[PATTERN_WORDS_MAX],
	    function[PATTERN_WORDS_MAX], range[PATTERN_WORDS_MAX];
	int units, prefixes, functions, ranges;
	char overload[PATTERN_WORDS_MAX][PATTERN_WORD_SIZE]; /* values that mean overload */
	int overloads;
	char point; /* of the number; '\0' is '.' */
	/* private */
	struct pattern_code value, identity, error;
	void *context;
	int part[PATTERN_PARTS][PATTERN_SAME_MAX]; /* numbers of the named parts, 0 for none */
	int error_number;
};

enum pattern_sort { PATTERN_VALUE, PATTERN_IDENTITY, PATTERN_ERROR };

/* Compile one of the three; the words are filled in by the caller before or after.
 * Begin with a zeroed struct.  On false *why has a column within `text`, 1 the first
 * byte.  Free with pattern_free either way. */
bool pattern_compile(struct pattern *p, enum pattern_sort sort, const char *text, size_t len,
                     struct fault *why);
void pattern_free(struct pattern *p);

/* Has it the part that says a unit or a function?  Else the configuration must. */
bool pattern_says_function(const struct pattern *p);

/* The `understand` of dialects that go by a pattern; setting->rules has it. */
void pattern_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                        const struct frame *f, struct understood *out);

#endif

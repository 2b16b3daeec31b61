/* SPDX-License-Identifier: MIT */
/*
 * Lines that are taken apart by a pattern: users' dialect files with
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
 *     overload, hold, battery    a state, where the part is there and not empty
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

struct pattern_word {
	char text[PATTERN_WORD_SIZE];
	enum function function; /* of unit and function words */
	int exponent;           /* of prefix words; of unit words that hold a prefix */
};

struct pattern {
	struct pattern_word unit[PATTERN_WORDS_MAX], prefix[PATTERN_WORDS_MAX],
	    function[PATTERN_WORDS_MAX];
	int units, prefixes, functions;
	char overload[PATTERN_WORDS_MAX][PATTERN_WORD_SIZE]; /* values that mean overload */
	int overloads;
	/* private */
	void *code, *match, *context;
	int part[10]; /* number of each named part, 0 where the pattern has none */
};

/* Compile; the words are filled in by the caller before or after.  On false *why
 * has a column within `text`, 1 the first byte.  Free with pattern_free. */
bool pattern_compile(struct pattern *p, const char *text, size_t len, struct fault *why);
void pattern_free(struct pattern *p);

/* The `understand` of dialects that go by a pattern; setting->rules has it. */
void pattern_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                        const struct frame *f, struct understood *out);

#endif

/* SPDX-License-Identifier: MIT */
/*
 * What the fuzz entry points share.  `must` holds or ends the program with the
 * place and the words of what did not hold, so that a finding can be read without
 * a debugger.
 */
#ifndef TALLY_TESTS_FUZZ_H
#define TALLY_TESTS_FUZZ_H

#include "protocol/trade/fault.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* An entry point of which one input costs milliseconds may define this: how many
 * damaged copies of each kept file tests/corpus_main.c tries (200 where it does not). */
int fuzz_damaged(void);

#define must(holds)                                                               \
	do {                                                                          \
		if (!(holds)) {                                                           \
			fprintf(stderr, "%s:%d: must hold: %s\n", __FILE__, __LINE__, #holds); \
			abort();                                                              \
		}                                                                         \
	} while (0)

/* A fault of a text says what is wrong, and at a place that is in the text or
 * directly behind it. */
static inline void must_be_placed(const struct fault *why, const uint8_t *data, size_t size)
{
	int lines = 1;
	for (size_t i = 0; i < size; i++)
		lines += data[i] == '\n';
	must(why->text[0]);
	must(why->line >= 1 && why->line <= lines);
	must(why->column >= 1 && (size_t)why->column <= size + 1);
}

#endif

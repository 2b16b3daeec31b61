/* SPDX-License-Identifier: MIT */
/*
 * What stands on the command line: verb, words and options, in any order.
 *
 * An option begins with two dashes and a letter: `--name VALUE` or `--name=VALUE`.
 * `-h` is --help.  A single dash and a digit or point is a word, for values are
 * negative on a bench (`-35 V`, `-20/+80%`); a lone dash is one, too.  After `--`
 * everything is a word.  Any other single dash is refused rather than guessed at.
 *
 * In `enter`, `judge`, `preferred` and `corner` a unit that stands alone belongs to the
 * number before it, so that `enter B1 -35 V --from bench` needs no quotes; in `note`
 * all that follows the position is the text, and `marking` is one text altogether.
 */
#ifndef TALLY_CLIENT_ARGS_H
#define TALLY_CLIENT_ARGS_H

#include "client/command.h"
#include "protocol/trade/fault.h"

#define ARGS_WORDS_MAX 128
/* Bytes of words that were joined. */
#define ARGS_JOINED_MAX 8192

struct args {
	const struct command *command; /* NULL: no verb (only with --help, --version) */
	const char *words[ARGS_WORDS_MAX + 1]; /* after the verb */
	int count;
	const char *option[OPTION_COUNT]; /* the value, "" of a switch; NULL: not given */
	char joined[ARGS_JOINED_MAX];
	size_t joined_len;
};

/* argv without the program's name.  False with the fault: *a->command says, where
 * it was found, which usage to show.  `a` points into argv and itself: it is
 * not to be copied. */
bool args_parse(struct args *a, int argc, const char *const *argv, struct fault *why);

#endif

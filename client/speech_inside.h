/* SPDX-License-Identifier: MIT */
/*
 * What the files of spoken words share.
 *
 *     speech_words.c    languages; what is said when something happens
 *     speech_value.c    positions and values
 *     speech_reason.c   deviations and reasons
 *     speech_en.c, speech_de.c   the tables (speech_table.h)
 */
#ifndef TALLY_CLIENT_SPEECH_INSIDE_H
#define TALLY_CLIENT_SPEECH_INSIDE_H

#include "client/sentence.h"
#include "client/speech_table.h"
#include "client/speech_words.h"

/* A free text (a reason) is spoken up to here, in bytes with its NUL. */
#define SPEECH_FREE 120

/* English where there is no such language. */
const struct speech_table *speech_table_of(enum language l);
/* What is said for the first `len` bytes of `written`; NULL where the table has no such row. */
const char *speech_pair_said(const struct speech_pair *p, const char *written, size_t len);
/* The same of a whole word; "" for NULL and for what the table has not. */
const char *speech_word_said(const struct speech_pair *p, const char *written);

/* ---- speech_reason.c ---- */

/* What is said for a word of a verdict's reason or for a sentence of the daemon; NULL: not known. */
const char *speech_known_reason(const struct speech_table *t, const char *why);
/* A free text as a part, cleaned of what cannot be spoken; nothing for NULL. */
void speech_say_free(struct sentence *s, const char *text);
/* A deviation may stand before the reason, parted by a semicolon or a comma: "30.0 % high;
 * carbon, drifted up".  It says the side, too.  Returns what follows it; `why` where there
 * is none. */
const char *speech_say_deviation(struct sentence *s, enum language l, const char *why);
/* The reason; one that is not known in another language than the daemon's only where it `must` be said. */
void speech_say_why(struct sentence *s, enum language l, const char *why, bool must);

#endif

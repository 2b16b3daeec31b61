/* SPDX-License-Identifier: MIT */
/*
 * What is spoken, in words: positions, values and happenings, in English and German.
 *
 * A synthesizer left to itself drops the minus, takes a point for the end of a
 * sentence, reads "1.2" as a date and "uF" as a word.  So nothing is left to it: sign,
 * point and unit are words, and so is every digit, as the meter gave them:
 *
 *     -35.0 V      minus thirty-five point zero volts
 *                  minus fünfunddreißig Komma null Volt
 *     0.0471 uF    zero point zero four seven one microfarads
 *                  null Komma null vier sieben eins Mikrofarad
 *
 * What stands before the point is one number up to 999 999 999; one with a leading zero
 * or more digits goes digit by digit, as does everything after the point.  A position is
 * letters and number: "R twelve".
 *
 * Pure.  All texts are UTF-8 without control characters, bounded, and cut at a
 * character where they do not fit.  The tables are speech_en.c and speech_de.c.
 */
#ifndef TALLY_CLIENT_SPEECH_WORDS_H
#define TALLY_CLIENT_SPEECH_WORDS_H

#include "client/happening.h"

#include <stdbool.h>
#include <stddef.h>

enum language {
	LANGUAGE_EN,
	LANGUAGE_DE,
	LANGUAGE_COUNT,
};

/* "en", "de", also with what follows a dash or underscore ("de_AT.UTF-8"). */
bool language_from_name(const char *name, enum language *out);
/* "en", "de": what speech-dispatcher and espeak-ng call it, too. */
const char *language_name(enum language l);

/* A position's name: "R12" is "R twelve", "VR2" "V R two", "L/C7" "L slash C seven",
 * "C1B" "C one B".  From 1000 on, and with a leading zero, digit by digit.  Letters are
 * spelt, but for a word of four and more, or of three in small letters. */
void speech_position(enum language l, const char *name, char *out, size_t size);

/* A value as it is shown: "4.70 kohm", "overload", ">20 Mohm", "-0.000 V".  A plus is
 * not said.  What is no value is passed on as it stands. */
void speech_value(enum language l, const char *shown, char *out, size_t size);

/*
 * What is said when something happens; "" where a tone says enough.
 *
 *   logged (within, or without limits)  nothing, the tone is enough; but an overload is said
 *   outside, unsure     position, quantity where it is not the value, value, verdict,
 *                       side, reason; of a negative value "more negative"
 *   up                  the name and place, always: position, quantity, place, role
 *   held                position, value, "looks like R thirteen"
 *   disagree            position and the two meters
 *   refused, not logged the word, position and reason in a few words
 *   live, cold          the caution with it
 *
 * `whole` is for `say again`: then a logged entry is said, too, with its verdict.
 * Reasons that the daemon gives are English sentences: those that are known are said in
 * a few words of the language (reason tables); another one is said as it stands in
 * English, up to its first colon, and in German as "reason on the screen".
 */
void speech_happening(enum language l, const struct happening_told *told, bool whole, char *out,
                      size_t size);

/* The name of a happening, for the sound check: "not logged", "nicht aufgezeichnet". */
const char *speech_name(enum language l, enum happening what);
/* The same of a sample of ear.h: "tune, above its target". */
const char *speech_ear_name(enum language l, int sample);

#endif

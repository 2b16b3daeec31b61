/* SPDX-License-Identifier: MIT */
/*
 * Speech: through speech-dispatcher, with espeak-ng where it is absent, on a thread of
 * its own.  Every call returns at once (speech_close within about a second).
 *
 * The newest supersedes and alarms queue (turn.h): a new result cuts off an old one and
 * a name, a new name an old name; an alarm cuts off all but an alarm, and what it cut
 * off is said again after it.  We keep that order ourselves and give the speaker one
 * utterance at a time, for its own priorities differ from server to server.
 *
 * Absence of both is a note and no failure: speech_note says it once, nothing is
 * spoken, and it is tried again at most every SPEECH_RETRY_MS, with the next utterance.
 * A speaker that hangs (no end of an utterance after twice the time that it may take) is
 * left for the other one.
 *
 * Whoever arms positions after their names were said needs to know that: each name
 * that was said to its end comes out of speech_announced.  speech_fd becomes readable
 * when there is something new of any kind.
 */
#ifndef TALLY_CLIENT_SPEECH_H
#define TALLY_CLIENT_SPEECH_H

#include "client/speaker.h"
#include "client/turn.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define SPEECH_RETRY_MS 5000
/* What waited longer for its turn is the past. */
#define SPEECH_LATE_MS 15000

struct speech;

enum speech_use {
	SPEECH_AUTO, /* speech-dispatcher, else espeak-ng */
	SPEECH_NONE,
	SPEECH_DISPATCHER,
	SPEECH_ESPEAK,
};

struct speech_setting {
	enum speech_use use;
	struct speaker_setting speaker;
	bool mute;
};

/* "auto", "none", "speech-dispatcher", "espeak-ng". */
bool speech_use_from_name(const char *name, enum speech_use *out);

/* NULL without memory or a thread; every other function takes NULL and does nothing. */
struct speech *speech_open(const struct speech_setting *setting);

/* Say it when its turn comes; "" says nothing.  rank, what, text, and what
 * speech_announced is to give back; `at` is set here. */
void speech_say(struct speech *s, const struct turn_item *item);

/* Begin nothing before `until` (of clock_us): tones sound.  What is being said goes on; an
 * earlier time than the one before changes nothing. */
void speech_hold(struct speech *s, int64_t until);

/* Muted: what is spoken is cut off, what waits is forgotten, nothing new is said. */
void speech_mute(struct speech *s, bool mute);

/* Wait up to `ms` until nothing is spoken and nothing waits. */
bool speech_idle(struct speech *s, int ms);

/* Does a name that is given to us get said?  False while muted, where there is no speaker,
 * and until it is known that there is one (speech_fd becomes readable then). */
bool speech_speaks(struct speech *s);

/* Who speaks: "speech-dispatcher", "espeak-ng", "" while nobody does. */
const char *speech_who(struct speech *s);

/* Utterances that were said to their end. */
unsigned speech_said(struct speech *s);

/* Readable (poll, epoll) when there is something new: a name that was said, a note, or
 * another answer of speech_speaks.  Never read it: the two calls below empty it.  -1 for
 * none. */
int speech_fd(const struct speech *s);

/* A name that was said to its end: position (at most 39 bytes) and seq of its item, once
 * each and in order.  At most 16 wait to be asked for; then the oldest are dropped. */
bool speech_announced(struct speech *s, char position[40], int64_t *seq);

/* What a person should know about the speaker and was not told yet: one sentence. */
bool speech_note(struct speech *s, char *out, size_t size);

void speech_close(struct speech *s);

#endif

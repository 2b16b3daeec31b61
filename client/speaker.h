/* SPDX-License-Identifier: MIT */
/*
 * Who speaks: one utterance at a time, through speech-dispatcher's socket (speaker_ssip.c)
 * or a child process espeak-ng (speaker_espeak.c).  Used on the thread of speech.c alone.
 * Nothing here waits longer than SPEAKER_WAIT_MS.
 *
 * speech-dispatcher: the Speech Synthesis Interface Protocol, lines ended by CR LF over
 * a Unix stream socket; its manual is the source of commands and reply codes.  Only what
 * is needed: CLIENT_NAME, LANGUAGE, RATE, VOLUME, NOTIFICATION, PRIORITY, SPEAK, CANCEL,
 * QUIT; events 701 to 705.  Alarms have priority `important`, which no other program
 * cuts off, the rest `text`.
 *
 * espeak-ng: `espeak-ng -v LANGUAGE -s WORDS -a AMPLITUDE -b 1 --stdin`, the text on its
 * standard input, so that nothing of it stands in a command line; SIGTERM when it is
 * superseded, SIGKILL where it does not go.
 */
#ifndef TALLY_CLIENT_SPEAKER_H
#define TALLY_CLIENT_SPEAKER_H

#include "client/speech_words.h"
#include "protocol/trade/fault.h"

#include <stdbool.h>
#include <stdint.h>
#include <sys/types.h>

#define SPEAKER_WAIT_MS 2000

struct speaker_setting {
	enum language language;
	int rate;   /* -100 to 100 */
	int volume; /* 0 to 100 */
};

enum spoken {
	SPOKEN_GOING,
	SPOKEN_ENDED,
	SPOKEN_LOST, /* the speaker is gone, or failed: open another */
};

/* ---- speech-dispatcher ---- */

struct ssip {
	int fd; /* -1: not open */
	char in[1024];
	size_t len;
	long message, event; /* what is spoken; what the event that is being read is about */
	bool ended;
};

/* The socket: SPEECHD_ADDRESS (unix_socket:PATH), else the usual place.  False where
 * SPEECHD_ADDRESS names no Unix socket or there is no place. */
bool ssip_path(char *out, size_t size);

/* Connect; where nobody listens and SPEECHD_ADDRESS is not set, start
 * `speech-dispatcher --spawn` first, as its own library does. */
bool ssip_open(struct ssip *s, const struct speaker_setting *setting, struct fault *why);
bool ssip_say(struct ssip *s, const char *text, bool alarm, struct fault *why);
/* Stop what is spoken. */
bool ssip_stop(struct ssip *s);
/* What has become of the utterance; never waits. */
enum spoken ssip_poll(struct ssip *s);
void ssip_close(struct ssip *s);

/* ---- espeak-ng ---- */

struct espeak {
	pid_t pid;     /* 0: none */
	int64_t least; /* it cannot have said all of it before (steady ms) */
};

bool espeak_say(struct espeak *e, const struct speaker_setting *setting, const char *text,
                struct fault *why);
enum spoken espeak_poll(struct espeak *e);
/* Ends it and waits for its end. */
void espeak_stop(struct espeak *e);

#endif

/* SPDX-License-Identifier: MIT */
/*
 * One audio device: 16-bit signed, mono, TONE_RATE a second.  Behind it stands ALSA, or
 * nothing where it was built without.  Used on the thread of sound.c alone; may block
 * where the device hangs.
 */
#ifndef TALLY_CLIENT_SOUND_DEVICE_H
#define TALLY_CLIENT_SOUND_DEVICE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct sound_device;

/* NULL with the reason in `why`, which goes on behind "the audio device NAME". */
struct sound_device *device_open(const char *name, char *why, size_t size);

/* Give it samples, after SOUND_LEAD_MS of silence where it stood still; waits for room.  False
 * where it is lost, or takes nothing for half a second.
 *
 * Without that silence a tone begins with a click: a mixer that begins in the middle of what
 * the card plays just now (dmix) is late by a millisecond, and a card that wakes up loses its
 * first one. */
#define SOUND_LEAD_MS 5
bool device_write(struct sound_device *d, const int16_t *samples, size_t count);

/* Wait until all of it was heard; false where it is lost or takes too long. */
bool device_drain(struct sound_device *d);

void device_close(struct sound_device *d);

#endif

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

/* NULL with the reason in `why`. */
struct sound_device *device_open(const char *name, char *why, size_t size);

/* Give it samples; waits for room.  False where it is lost, or takes nothing for
 * half a second. */
bool device_write(struct sound_device *d, const int16_t *samples, size_t count);

/* Wait until all of it was heard; false where it is lost or takes too long. */
bool device_drain(struct sound_device *d);

void device_close(struct sound_device *d);

#endif

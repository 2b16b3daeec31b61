/* SPDX-License-Identifier: MIT */
/* The audio device: see sound_device.h. */
#include "client/sound_device.h"

#include "client/tones.h"

#include <stdio.h>
#include <stdlib.h>

#ifdef HAVE_ALSA

#include <alsa/asoundlib.h>
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <unistd.h>

/* What the device holds at most: how late an alarm may cut in. */
#define LATENCY_US 80000
/* A device that takes nothing for so long hangs. */
#define STUCK_MS 500

#define LEAD_SAMPLES ((size_t)TONE_RATE * SOUND_LEAD_MS / 1000)

struct sound_device {
	snd_pcm_t *pcm;
	bool stands; /* nothing was given to it since it was opened or ran dry */
};

/* The library writes its troubles on standard error, into the middle of the screen. */
__attribute__((format(printf, 5, 6))) static void keep_quiet(const char *file, int line,
                                                             const char *function, int error,
                                                             const char *format, ...)
{
	(void)file;
	(void)line;
	(void)function;
	(void)error;
	(void)format;
}

/* Is there a card whose nodes this person may not use? */
static bool cards_denied(void)
{
	DIR *folder = opendir("/dev/snd");
	bool denied = false;
	if (!folder)
		return false;
	for (struct dirent *e; !denied && (e = readdir(folder));)
		denied = strncmp(e->d_name, "pcm", 3) == 0 &&
		         faccessat(dirfd(folder), e->d_name, R_OK | W_OK, AT_EACCESS) != 0;
	closedir(folder);
	return denied;
}

/* What goes on behind "the audio device NAME". */
static void say_why(int error, char *why, size_t size)
{
	/* Without the right to a card the library does not see it, and says that there is none. */
	if (error == -EACCES || error == -EPERM || (error == -ENOENT && cards_denied()))
		snprintf(why, size, "is not yours to use: join the group audio, log in anew");
	else if (error == -ENOENT || error == -ENODEV || error == -ENXIO)
		snprintf(why, size, "is not there");
	else if (error == -EBUSY)
		snprintf(why, size, "is held by another program");
	else
		snprintf(why, size, "does not open (%s)", snd_strerror(error));
}

struct sound_device *device_open(const char *name, char *why, size_t size)
{
	struct sound_device *d = calloc(1, sizeof *d);
	int error = d ? 0 : -ENOMEM;
	snd_lib_error_set_handler(keep_quiet);
	/* Not blocking: who waits for a device in use by another program waits for ever. */
	if (!error)
		error = snd_pcm_open(&d->pcm, name, SND_PCM_STREAM_PLAYBACK, SND_PCM_NONBLOCK);
	if (!error)
		error = snd_pcm_set_params(d->pcm, SND_PCM_FORMAT_S16_LE, SND_PCM_ACCESS_RW_INTERLEAVED, 1,
		                           TONE_RATE, 1, LATENCY_US);
	if (error >= 0) {
		d->stands = true;
		return d;
	}
	say_why(error, why, size);
	device_close(d);
	return NULL;
}

/* Is there room within STUCK_MS?  An underrun while we waited is none of our worry. */
static bool wait_room(struct sound_device *d)
{
	if (snd_pcm_state(d->pcm) == SND_PCM_STATE_PREPARED)
		snd_pcm_start(d->pcm);
	int got = snd_pcm_wait(d->pcm, STUCK_MS);
	return got > 0 || (got < 0 && snd_pcm_recover(d->pcm, got, 1) == 0);
}

static bool give(struct sound_device *d, const int16_t *samples, size_t count)
{
	int troubles = 0;
	while (count) {
		snd_pcm_sframes_t n = snd_pcm_writei(d->pcm, samples, count);
		if (n > 0) {
			samples += n;
			count -= (size_t)n;
		} else if (n == 0 || n == -EAGAIN) {
			if (!wait_room(d) || ++troubles > 100)
				return false;
		} else if (++troubles > 10 || snd_pcm_recover(d->pcm, (int)n, 1) != 0) {
			return false;
		}
	}
	return true;
}

bool device_write(struct sound_device *d, const int16_t *samples, size_t count)
{
	static const int16_t silence[LEAD_SAMPLES];
	bool stood = d->stands;
	d->stands = false;
	return (!stood || give(d, silence, LEAD_SAMPLES)) && give(d, samples, count);
}

bool device_drain(struct sound_device *d)
{
	snd_pcm_sframes_t left;
	d->stands = true;
	if (snd_pcm_state(d->pcm) == SND_PCM_STATE_PREPARED)
		snd_pcm_start(d->pcm);
	/* snd_pcm_drain waits for ever on a device that hangs: watch it run dry instead.
	 * Then it stands in an underrun, which is how it ends. */
	for (int ms = 0; ms < LATENCY_US / 1000 + STUCK_MS; ms += 5) {
		snd_pcm_state_t state = snd_pcm_state(d->pcm);
		if (state == SND_PCM_STATE_DISCONNECTED)
			return false;
		if (state != SND_PCM_STATE_RUNNING || snd_pcm_delay(d->pcm, &left) < 0 || left <= 0) {
			snd_pcm_drop(d->pcm);
			return snd_pcm_prepare(d->pcm) == 0;
		}
		struct timespec nap = {0, 5000000};
		nanosleep(&nap, NULL);
	}
	return false;
}

void device_close(struct sound_device *d)
{
	if (d && d->pcm)
		snd_pcm_close(d->pcm);
	free(d);
	/* So that the next one sees a configuration that was changed. */
	snd_config_update_free_global();
}

#else

struct sound_device {
	int none;
};

struct sound_device *device_open(const char *name, char *why, size_t size)
{
	(void)name;
	snprintf(why, size, "cannot be had: this tally was built without ALSA");
	return NULL;
}

bool device_write(struct sound_device *d, const int16_t *samples, size_t count)
{
	(void)d;
	(void)samples;
	(void)count;
	return false;
}

bool device_drain(struct sound_device *d)
{
	(void)d;
	return false;
}

void device_close(struct sound_device *d)
{
	(void)d;
}

#endif

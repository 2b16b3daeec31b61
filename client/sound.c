/* SPDX-License-Identifier: MIT */
/*
 * See sound.h.  One thread owns the device; the others push what is to be heard, under
 * the mutex, and never wait for more than that.
 */
#include "client/sound.h"

#include "client/clock.h"
#include "client/ear.h"
#include "client/sound_device.h"
#include "client/tones.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A tone is given to the device in pieces: how fast an alarm cuts in. */
#define PIECE ((size_t)TONE_RATE / 100)
#define PAUSE_PIECES (SOUND_PAUSE_MS / 10)
/* The pitch is given to the device so far ahead of the ear: less than the device holds, so
 * that one that takes all at once is not filled with it. */
#define EAR_AHEAD_US 60000

enum device_state {
	DEVICE_UNTRIED,
	DEVICE_GOOD,
	DEVICE_ABSENT,
};

struct sound {
	pthread_mutex_t mutex;
	pthread_cond_t work;  /* something waits, or stop */
	pthread_cond_t quiet; /* nothing waits any more */
	pthread_t thread;
	char name[128];
	struct turn turn;
	int volume;
	bool mute, stop, busy;
	struct { double hertz; bool inside; int64_t at; } ear; /* hertz 0: silence */
	int users; /* thread and owner: the last one frees */
	unsigned played;
	enum device_state state;
	char note[256]; /* not told yet; "" for none */

	/* The thread's own. */
	struct sound_device *device;
	int64_t ear_next;  /* when the next of its figures begins */
	int64_t failed_at; /* when it could not be opened; 0: it could */
	int16_t pcm[TONE_SAMPLES_MAX];
};

static void sound_free(struct sound *s)
{
	pthread_cond_destroy(&s->work);
	pthread_cond_destroy(&s->quiet);
	pthread_mutex_destroy(&s->mutex);
	free(s);
}

/* Under the mutex. */
static bool ear_on(const struct sound *s)
{
	return !s->stop && !s->mute && s->volume > 0 && s->ear.hertz > 0 &&
	       clock_us() - s->ear.at < SOUND_EAR_MS * INT64_C(1000);
}

/* ---- the device, on the thread ---- */

/* Say what changed, once. */
static void device_is(struct sound *s, enum device_state state, const char *why)
{
	pthread_mutex_lock(&s->mutex);
	if (state == DEVICE_ABSENT && s->state != DEVICE_ABSENT)
		snprintf(s->note, sizeof s->note, "no sound: the audio device %.80s %.80s; all of it is on "
		         "the screen, too", s->name, why);
	if (state == DEVICE_GOOD && s->state == DEVICE_ABSENT)
		snprintf(s->note, sizeof s->note, "the audio device %.80s sounds again", s->name);
	s->state = state;
	pthread_mutex_unlock(&s->mutex);
}

static bool device_ready(struct sound *s, bool urgent)
{
	char why[128];
	if (s->device)
		return true;
	/* Opening one that is not there may take long: not for each tone. */
	if (s->failed_at && !urgent && clock_us() - s->failed_at < SOUND_RETRY_MS * INT64_C(1000))
		return false;
	s->device = device_open(s->name, why, sizeof why);
	s->failed_at = s->device ? 0 : clock_us();
	device_is(s, s->device ? DEVICE_GOOD : DEVICE_ABSENT, why);
	return s->device != NULL;
}

static void device_lost(struct sound *s)
{
	device_close(s->device);
	s->device = NULL;
}

/* Is what plays to be cut off here? */
static bool cut_off(struct sound *s, enum turn_rank heard)
{
	pthread_mutex_lock(&s->mutex);
	/* Tones are short: only an alarm does not wait for the end. */
	bool cut = s->stop || s->mute || (s->turn.alarms && heard != TURN_ALARM);
	pthread_mutex_unlock(&s->mutex);
	return cut;
}

enum end {
	END_PLAYED,
	END_CUT,
	END_LOST,
};

static enum end play(struct sound *s, size_t count, enum turn_rank rank)
{
	for (size_t at = 0; at < count; at += PIECE) {
		size_t n = count - at < PIECE ? count - at : PIECE;
		bool cut = at && cut_off(s, rank);
		if (cut)
			tone_fade(s->pcm + at, n);
		if (!device_write(s->device, s->pcm + at, n))
			return END_LOST;
		if (cut)
			return END_CUT;
	}
	return device_drain(s->device) ? END_PLAYED : END_LOST;
}

/* Something waits: it does not follow on the heels of this one. */
static void pause_between(struct sound *s)
{
	pthread_mutex_lock(&s->mutex);
	bool waits = !turn_empty(&s->turn) || ear_on(s);
	pthread_mutex_unlock(&s->mutex);
	memset(s->pcm, 0, PIECE * sizeof s->pcm[0]);
	for (int i = 0; i < PAUSE_PIECES && waits; i++)
		if (!device_write(s->device, s->pcm, PIECE))
			return; /* the next tone will find out */
}

static void play_item(struct sound *s, const struct turn_item *item, int volume)
{
	const struct tone *t = tone_of(item->what);
	size_t count = t ? tone_render(t, volume, s->pcm, TONE_SAMPLES_MAX) : 0;
	/* One that was lost is tried once more: the default may be another by now. */
	for (int try = 0; try < 2 && t; try++) {
		if (!device_ready(s, item->rank == TURN_ALARM))
			return;
		enum end end = play(s, count, t->rank);
		if (end == END_LOST) {
			device_lost(s);
			continue;
		}
		pthread_mutex_lock(&s->mutex);
		if (end == END_PLAYED)
			s->played++;
		else if (!s->mute)
			turn_return(&s->turn, item);
		pthread_mutex_unlock(&s->mutex);
		pause_between(s);
		return;
	}
	if (t) {
		s->failed_at = clock_us();
		device_is(s, DEVICE_ABSENT, "takes no sound");
	}
}

/* ---- by ear, on the thread ---- */

/* Until `at`, or something goes before it, or it ends: false. */
static bool ear_waits(struct sound *s, int64_t at)
{
	pthread_mutex_lock(&s->mutex);
	bool on;
	int64_t left;
	while ((on = ear_on(s) && turn_empty(&s->turn)) && (left = at - clock_us()) > 0) {
		struct timespec until = clock_after((int)(left / 1000) + 1);
		pthread_cond_timedwait(&s->work, &s->mutex, &until);
	}
	pthread_mutex_unlock(&s->mutex);
	return on;
}

/* One figure, at the pitch of now; the next goes on where it ends. */
static void play_ear(struct sound *s)
{
	pthread_mutex_lock(&s->mutex);
	double hertz = s->ear.hertz;
	bool inside = s->ear.inside, on = true;
	int volume = s->volume;
	pthread_mutex_unlock(&s->mutex);
	if (!device_ready(s, false))
		return;
	int64_t now = clock_us(), begun = s->ear_next > now - EAR_AHEAD_US ? s->ear_next : now;
	size_t count = ear_render(hertz, inside, volume, s->pcm, TONE_SAMPLES_MAX);
	for (size_t at = 0; at < count && on; at += PIECE) {
		size_t n = count - at < PIECE ? count - at : PIECE;
		on = ear_waits(s, begun + (int64_t)at * 1000000 / TONE_RATE - EAR_AHEAD_US);
		if (!on && !at)
			break;
		if (!on)
			tone_fade(s->pcm + at, n);
		if (device_write(s->device, s->pcm + at, n))
			continue;
		device_lost(s);
		s->failed_at = clock_us();
		device_is(s, DEVICE_ABSENT, "takes no sound");
		return;
	}
	s->ear_next = on ? begun + (int64_t)count * 1000000 / TONE_RATE : 0;
	pthread_mutex_lock(&s->mutex);
	bool waits = !turn_empty(&s->turn);
	pthread_mutex_unlock(&s->mutex);
	if (!on && !waits && !device_drain(s->device))
		device_lost(s);
	else if (!on && waits)
		pause_between(s);
}

/* ---- the thread ---- */

enum work {
	WORK_END,
	WORK_TONE,
	WORK_EAR,
};

/* May the device be asked for? */
static bool device_due(const struct sound *s)
{
	return s->device || !s->failed_at ||
	       clock_us() - s->failed_at >= SOUND_RETRY_MS * INT64_C(1000);
}

/* The next one, under the mutex. */
static enum work wait_item(struct sound *s, struct turn_item *item, int *volume)
{
	bool kept = true;
	for (;;) {
		if (s->stop)
			return WORK_END;
		if (turn_next(&s->turn, clock_us(), SOUND_LATE_MS * INT64_C(1000), item))
			break;
		s->busy = false;
		pthread_cond_broadcast(&s->quiet);
		if (ear_on(s) && device_due(s))
			return WORK_EAR;
		struct timespec until = clock_after(SOUND_KEEP_MS);
		if (s->device && kept) {
			kept = pthread_cond_timedwait(&s->work, &s->mutex, &until) == 0;
		} else if (s->device) {
			/* Silent for long: let others have it. */
			pthread_mutex_unlock(&s->mutex);
			device_lost(s);
			pthread_mutex_lock(&s->mutex);
		} else {
			pthread_cond_wait(&s->work, &s->mutex);
		}
	}
	s->busy = true;
	*volume = s->volume;
	return WORK_TONE;
}

static void *run(void *arg)
{
	struct sound *s = arg;
	struct turn_item item;
	int volume;
	enum work work;
	pthread_mutex_lock(&s->mutex);
	while ((work = wait_item(s, &item, &volume)) != WORK_END) {
		pthread_mutex_unlock(&s->mutex);
		if (work == WORK_EAR)
			play_ear(s);
		else
			play_item(s, &item, volume);
		pthread_mutex_lock(&s->mutex);
	}
	pthread_mutex_unlock(&s->mutex);
	if (s->device)
		device_close(s->device);
	pthread_mutex_lock(&s->mutex);
	s->busy = false;
	bool last = --s->users == 0;
	pthread_cond_broadcast(&s->quiet);
	pthread_mutex_unlock(&s->mutex);
	if (last)
		sound_free(s);
	return NULL;
}

/* ---- for the client ---- */

static bool threads(struct sound *s)
{
	pthread_mutex_init(&s->mutex, NULL);
	clock_condition(&s->work);
	clock_condition(&s->quiet);
	s->users = 2;
	if (pthread_create(&s->thread, NULL, run, s) == 0)
		return true;
	sound_free(s);
	return false;
}

struct sound *sound_open(const struct sound_setting *setting)
{
	struct sound *s = calloc(1, sizeof *s);
	if (!s)
		return NULL;
	const char *device = setting->device && setting->device[0] ? setting->device : "default";
	snprintf(s->name, sizeof s->name, "%s", device);
	s->volume = setting->volume;
	s->mute = setting->mute;
	return threads(s) ? s : NULL;
}

void sound_play(struct sound *s, enum happening what)
{
	const struct tone *t = tone_of(what);
	if (!s || !t)
		return;
	struct turn_item item = {.rank = t->rank, .what = what, .at = clock_us()};
	pthread_mutex_lock(&s->mutex);
	if (!s->mute) {
		turn_push(&s->turn, &item);
		pthread_cond_signal(&s->work);
	}
	pthread_mutex_unlock(&s->mutex);
}

void sound_ear(struct sound *s, double hertz, bool inside)
{
	if (!s)
		return;
	pthread_mutex_lock(&s->mutex);
	bool was = s->ear.hertz > 0;
	s->ear.hertz = hertz >= EAR_HERTZ_LEAST && hertz <= EAR_HERTZ_MOST ? hertz : 0;
	s->ear.inside = inside;
	s->ear.at = clock_us();
	if (was || hertz > 0)
		pthread_cond_signal(&s->work);
	pthread_mutex_unlock(&s->mutex);
}

bool sound_hears(struct sound *s)
{
	if (!s)
		return false;
	pthread_mutex_lock(&s->mutex);
	bool hears = ear_on(s) && s->state != DEVICE_ABSENT;
	pthread_mutex_unlock(&s->mutex);
	return hears;
}

void sound_volume(struct sound *s, int volume)
{
	if (!s)
		return;
	pthread_mutex_lock(&s->mutex);
	s->volume = volume;
	pthread_mutex_unlock(&s->mutex);
}

void sound_mute(struct sound *s, bool mute)
{
	if (!s)
		return;
	pthread_mutex_lock(&s->mutex);
	s->mute = mute;
	if (mute)
		turn_clear(&s->turn);
	pthread_mutex_unlock(&s->mutex);
}

bool sound_idle(struct sound *s, int ms)
{
	if (!s)
		return true;
	struct timespec until = clock_after(ms);
	pthread_mutex_lock(&s->mutex);
	while (s->busy || !turn_empty(&s->turn))
		if (pthread_cond_timedwait(&s->quiet, &s->mutex, &until) != 0)
			break;
	bool idle = !s->busy && turn_empty(&s->turn);
	pthread_mutex_unlock(&s->mutex);
	return idle;
}

bool sound_sounds(struct sound *s)
{
	if (!s)
		return false;
	pthread_mutex_lock(&s->mutex);
	bool sounds = !s->mute && s->volume > 0 && s->state != DEVICE_ABSENT;
	pthread_mutex_unlock(&s->mutex);
	return sounds;
}

unsigned sound_played(struct sound *s)
{
	if (!s)
		return 0;
	pthread_mutex_lock(&s->mutex);
	unsigned played = s->played;
	pthread_mutex_unlock(&s->mutex);
	return played;
}

bool sound_note(struct sound *s, char *out, size_t size)
{
	if (!s)
		return false;
	pthread_mutex_lock(&s->mutex);
	bool new = s->note[0] != '\0';
	if (new)
		snprintf(out, size, "%s", s->note);
	s->note[0] = '\0';
	pthread_mutex_unlock(&s->mutex);
	return new;
}

void sound_close(struct sound *s)
{
	if (!s)
		return;
	pthread_t thread = s->thread;
	pthread_mutex_lock(&s->mutex);
	s->stop = true;
	pthread_cond_signal(&s->work);
	struct timespec until = clock_after(1000);
	while (s->users > 1)
		if (pthread_cond_timedwait(&s->quiet, &s->mutex, &until) != 0)
			break;
	bool last = --s->users == 0;
	pthread_mutex_unlock(&s->mutex);
	if (!last) {
		pthread_detach(thread);
		return;
	}
	pthread_join(thread, NULL);
	sound_free(s);
}

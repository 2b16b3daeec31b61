/* SPDX-License-Identifier: MIT */
/*
 * For the virtual machine of `make check-sound`: plays silence for ever through the ALSA
 * device "default" (mixed with what others play), so that the sound card runs without a
 * break and a place in what it played is a time.
 *
 *     hush                       says when it begins, CLOCK_MONOTONIC: "12.345678 begins"
 *
 * and "12.345678 late 250" where the card took nothing for so many ms: then the machine
 * stood still (a busy host), and what sounded just then may have a hole.
 */
#include <alsa/asoundlib.h>
#include <stdio.h>
#include <time.h>

#define RATE 48000
#define LATE_MS 70 /* the card takes something every 21 */

static long long say(const char *what, long long ms)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	if (what)
		printf("%lld.%06ld %s %lld\n", (long long)t.tv_sec, t.tv_nsec / 1000, what, ms);
	fflush(stdout);
	return (long long)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

int main(void)
{
	static const int16_t silence[RATE / 50][2];
	snd_pcm_t *pcm;
	long long before = 0;
	int error = snd_pcm_open(&pcm, "default", SND_PCM_STREAM_PLAYBACK, 0);
	if (error >= 0)
		error = snd_pcm_set_params(pcm, SND_PCM_FORMAT_S16_LE, SND_PCM_ACCESS_RW_INTERLEAVED, 2,
		                           RATE, 1, 200000);
	if (error < 0) {
		fprintf(stderr, "hush: %s\n", snd_strerror(error));
		return 1;
	}
	for (int i = 0;; i++) {
		snd_pcm_sframes_t n = snd_pcm_writei(pcm, silence, RATE / 50);
		if (n < 0 && snd_pcm_recover(pcm, (int)n, 1) != 0)
			return 1;
		long long now = say(i == 0 ? "begins" : NULL, 0);
		if (before && now - before > LATE_MS)
			say("late", now - before);
		before = now;
	}
}

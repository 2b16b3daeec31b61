/* SPDX-License-Identifier: MIT */
/*
 * For the virtual machine of `make check-sound`: plays silence for ever through the ALSA
 * device "default" (mixed with what others play), so that the sound card runs without a
 * break and a place in what it played is a time.
 *
 *     hush                       says when it begins, CLOCK_MONOTONIC: "12.345678 begins"
 */
#include <alsa/asoundlib.h>
#include <stdio.h>
#include <time.h>

#define RATE 48000

int main(void)
{
	static const int16_t silence[RATE / 50][2];
	snd_pcm_t *pcm;
	struct timespec t;
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
		if (i == 0) {
			clock_gettime(CLOCK_MONOTONIC, &t);
			printf("%lld.%06ld begins\n", (long long)t.tv_sec, t.tv_nsec / 1000);
			fflush(stdout);
		}
	}
}

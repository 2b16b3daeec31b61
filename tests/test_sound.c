/* SPDX-License-Identifier: MIT */
/*
 * Sound through ALSA, without a loudspeaker: its `file` plugin writes what would be
 * heard into a file, which must hold the tones that were asked for; a pipe that nobody
 * reads is a device that hangs.
 */
#include "tests/check.h"

#include "client/clock.h"
#include "client/sound.h"
#include "client/sound_device.h"
#include "client/tones.h"
#include "tests/pitch.h"

#include <fcntl.h>
#include <pthread.h>
#include <stdbool.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#ifdef HAVE_ALSA

static char folder[64], raw[128], config[128];

static double seconds(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static void nap(int ms)
{
	struct timespec t = {ms / 1000, (long)(ms % 1000) * 1000000};
	nanosleep(&t, NULL);
}

static void write_config(const char *text)
{
	FILE *f = fopen(config, "w");
	assert_non_null(f);
	fputs(text, f);
	fclose(f);
}

/* The device `name` writes its samples into the file. */
static void file_device(const char *name)
{
	char text[512];
	snprintf(text, sizeof text,
	         "pcm.%s {\n type file\n slave.pcm { type null }\n file \"%s\"\n format \"raw\"\n}\n",
	         name, raw);
	write_config(text);
}

static int begin(void **state)
{
	(void)state;
	snprintf(folder, sizeof folder, "/tmp/tally-sound-XXXXXX");
	assert_non_null(mkdtemp(folder));
	snprintf(raw, sizeof raw, "%s/heard.raw", folder);
	snprintf(config, sizeof config, "%s/asound.conf", folder);
	setenv("ALSA_CONFIG_PATH", config, 1);
	file_device("speaker");
	return 0;
}

static int end(void **state)
{
	(void)state;
	unlink(raw);
	unlink(config);
	rmdir(folder);
	return 0;
}

static struct sound *open_sound(const char *device, int volume)
{
	struct sound_setting setting = {.device = device, .volume = volume};
	struct sound *s = sound_open(&setting);
	assert_non_null(s);
	return s;
}

/* Silence before a tone where the device stood still. */
#define LEAD ((size_t)TONE_RATE * SOUND_LEAD_MS / 1000)

/* What was heard: the samples in the file. */
static int16_t *heard(size_t *count)
{
	FILE *f = fopen(raw, "rb");
	int16_t *pcm = malloc(TONE_SAMPLES_MAX * 64);
	assert_non_null(pcm);
	*count = f ? fread(pcm, sizeof *pcm, TONE_SAMPLES_MAX * 16, f) : 0;
	if (f)
		fclose(f);
	return pcm;
}

static void expect_tone(const double *hertz, const double *ms, const struct tone *t)
{
	for (int i = 0; i < tone_notes(t); i++) {
		assert_near(hertz[i], t->note[i].hertz, t->note[i].hertz * 0.02);
		assert_near(ms[i], t->note[i].ms, 12);
	}
}

/* ---- what comes out ---- */

static void the_tones_asked_for_come_out(void **state)
{
	(void)state;
	for (int what = 0; what < HAPPENING_COUNT; what++) {
		const struct tone *t = tone_of((enum happening)what);
		double hertz[64], ms[64];
		size_t n;
		note_row("%s", t->name);
		unlink(raw);
		struct sound *s = open_sound("speaker", 100);
		sound_play(s, (enum happening)what);
		assert_true(sound_idle(s, 3000));
		assert_int_equal(sound_played(s), 1);
		sound_close(s);
		int16_t *pcm = heard(&n);
		assert_int_equal(n, LEAD + tone_render(t, 100, NULL, 0));
		for (size_t i = 0; i < LEAD; i++)
			assert_int_equal(pcm[i], 0);
		assert_int_equal(pitch_notes(pcm, n, TONE_RATE, hertz, ms), tone_notes(t));
		expect_tone(hertz, ms, t);
		/* To the sample: nothing between us and the device changed it. */
		int16_t *want = malloc(TONE_SAMPLES_MAX * sizeof *want);
		assert_non_null(want);
		tone_render(t, 100, want, TONE_SAMPLES_MAX);
		assert_memory_equal(pcm + LEAD, want, (n - LEAD) * sizeof *pcm);
		free(want);
		free(pcm);
	}
}

/* ---- by ear ---- */

/* Hold the pitch for so long, as a live value does: told 20 times a second. */
static void hold_pitch(struct sound *s, double hertz, bool inside, int ms)
{
	/* By the clock: on a busy machine a nap is longer than it was to be. */
	int64_t until = clock_us() + ms * INT64_C(1000), left;
	while ((left = until - clock_us()) > 0) {
		sound_ear(s, hertz, inside);
		nap(left < 50000 ? (int)(left / 1000) + 1 : 50);
	}
}

/* As many of the notes as have this pitch and length. */
static int notes_like(const double *hertz, const double *ms, int notes, double pitch, int length)
{
	int n = 0;
	for (int i = 0; i < notes; i++)
		n += fabs(hertz[i] - pitch) < pitch * 0.02 && fabs(ms[i] - length) < 12;
	return n;
}

static int heard_notes(double hertz[64], double ms[64], size_t *n)
{
	int16_t *pcm = heard(n);
	int notes = pitch_notes(pcm, *n, TONE_RATE, hertz, ms);
	free(pcm);
	return notes;
}

static void the_pitch_follows(void **state)
{
	double hertz[64], ms[64];
	size_t n;
	(void)state;
	unlink(raw);
	struct sound *s = open_sound("speaker", 100);
	assert_false(sound_hears(s));
	hold_pitch(s, 990, false, 1300);
	assert_true(sound_hears(s));
	assert_true(sound_idle(s, 0)); /* it is none of the tones */
	hold_pitch(s, 660, true, 1300);
	sound_ear(s, 0, false);
	assert_false(sound_hears(s));
	nap(200);
	sound_close(s);
	int notes = heard_notes(hertz, ms, &n);
	/* Long ones 300 ms apart; then pairs of short ones, 400 ms each. */
	assert_in_range(notes_like(hertz, ms, notes, 990, 200), 4, 5);
	assert_in_range(notes_like(hertz, ms, notes, 660, 80), 4, 7);
	/* A device that takes all at once is not filled with it: what was told is what sounds. */
	assert_in_range(n, (size_t)TONE_RATE * 22 / 10, (size_t)TONE_RATE * 29 / 10);
	assert_int_equal(sound_played(s = open_sound("speaker", 100)), 0);
	sound_close(s);
}

static void a_pitch_without_news_is_silent(void **state)
{
	size_t n;
	double hertz[64], ms[64];
	static const double none[] = {0, -1, 1e9, NAN};
	(void)state;
	unlink(raw);
	struct sound *s = open_sound("speaker", 100);
	for (size_t i = 0; i < sizeof none / sizeof *none; i++)
		hold_pitch(s, none[i], false, 50);
	sound_volume(s, 0);
	hold_pitch(s, 990, false, 100);
	sound_volume(s, 100);
	sound_mute(s, true);
	hold_pitch(s, 990, false, 100);
	sound_ear(s, 0, false);
	sound_mute(s, false);
	nap(50);
	assert_int_equal(heard_notes(hertz, ms, &n), 0);
	sound_ear(s, 990, false);
	nap(SOUND_EAR_MS + 700);
	assert_false(sound_hears(s));
	assert_in_range(heard_notes(hertz, ms, &n), 1, 2);
	/* Muted in the middle: cut off, not played to its end. */
	unlink(raw);
	sound_close(s);
	s = open_sound("speaker", 100);
	hold_pitch(s, 990, false, 100);
	sound_mute(s, true);
	nap(400);
	sound_close(s);
	heard_notes(hertz, ms, &n);
	assert_in_range(n, TONE_RATE / 20, TONE_RATE / 4);
}

/* An alarm and a result go before it, and it comes back behind them. */
static void tones_go_before_the_pitch(void **state)
{
	static const enum happening whats[] = {HAPPENED_ALARM, HAPPENED_LOGGED};
	(void)state;
	for (int i = 0; i < 2; i++) {
		const struct tone *t = tone_of(whats[i]);
		double hertz[64], ms[64];
		size_t n;
		int at = 0;
		unlink(raw);
		struct sound *s = open_sound("speaker", 100);
		hold_pitch(s, 523, false, 400);
		double before = seconds();
		sound_play(s, whats[i]);
		nap(20);
		sound_ear(s, 523, false);
		assert_true(sound_idle(s, 3000));
		assert_true(seconds() - before < 1.5);
		assert_int_equal(sound_played(s), 1);
		hold_pitch(s, 523, false, 700);
		sound_close(s);
		int notes = heard_notes(hertz, ms, &n);
		while (at < notes && fabs(hertz[at] - t->note[0].hertz) > 20)
			at++;
		/* At most what was begun before it: two of them, and none between its notes. */
		assert_in_range(at, 1, 2);
		expect_tone(hertz + at, ms + at, t);
		assert_true(notes_like(hertz + at, ms + at, notes - at, 523, 200) >= 1);
	}
}

static void volume_and_mute(void **state)
{
	size_t n;
	char note[256];
	(void)state;
	unlink(raw);
	struct sound *s = open_sound("speaker", 50);
	sound_play(s, HAPPENED_REFUSED);
	assert_true(sound_idle(s, 3000));
	int16_t *pcm = heard(&n);
	double quiet = pitch_power(pcm + LEAD, n - LEAD);
	free(pcm);
	sound_volume(s, 100);
	sound_play(s, HAPPENED_REFUSED);
	assert_true(sound_idle(s, 3000));
	sound_mute(s, true);
	sound_play(s, HAPPENED_NOT_LOGGED);
	assert_true(sound_idle(s, 100));
	assert_int_equal(sound_played(s), 2);
	sound_mute(s, false);
	assert_false(sound_note(s, note, sizeof note));
	sound_close(s);
	pcm = heard(&n);
	size_t one = tone_render(tone_of(HAPPENED_REFUSED), 100, NULL, 0);
	assert_int_equal(n, 2 * (LEAD + one));
	assert_near_relative(pitch_power(pcm + LEAD + one + LEAD, one), 16 * quiet, 0.01);
	free(pcm);
}

/* ---- no device ---- */

static void no_device_is_a_note(void **state)
{
	char note[256];
	(void)state;
	unlink(raw);
	file_device("another");
	struct sound *s = open_sound("speaker", 100);
	assert_false(sound_note(s, note, sizeof note)); /* nothing was tried yet */
	sound_play(s, HAPPENED_LOGGED);
	assert_true(sound_idle(s, 3000));
	assert_true(sound_note(s, note, sizeof note));
	assert_string_equal(note, "no sound: the audio device speaker is not there; all of it is on the "
	                          "screen, too");
	assert_false(sound_note(s, note, sizeof note)); /* once */
	sound_play(s, HAPPENED_NOT_LOGGED);
	assert_true(sound_idle(s, 3000));
	assert_false(sound_note(s, note, sizeof note));
	assert_int_equal(sound_played(s), 0);
	/* It is plugged in: the next alarm finds it at once, and that is said. */
	file_device("speaker");
	sound_play(s, HAPPENED_GONE);
	assert_true(sound_idle(s, 3000));
	assert_int_equal(sound_played(s), 1);
	assert_true(sound_note(s, note, sizeof note));
	assert_non_null(strstr(note, "sounds again"));
	sound_close(s);
}

/* An ordinary tone tries again too, but no more than once in SOUND_RETRY_MS. */
static void a_device_is_tried_again(void **state)
{
	(void)state;
	unlink(raw);
	file_device("another");
	struct sound *s = open_sound("speaker", 100);
	sound_play(s, HAPPENED_LOGGED);
	assert_true(sound_idle(s, 3000));
	file_device("speaker");
	sound_play(s, HAPPENED_LOGGED);
	assert_true(sound_idle(s, 3000));
	assert_int_equal(sound_played(s), 0);
	nap(SOUND_RETRY_MS + 50);
	sound_play(s, HAPPENED_LOGGED);
	assert_true(sound_idle(s, 3000));
	assert_int_equal(sound_played(s), 1);
	sound_close(s);
}

static void without_a_configuration(void **state)
{
	char note[256];
	(void)state;
	write_config("this is no configuration {{{\n");
	struct sound *s = open_sound(NULL, 100);
	sound_play(s, HAPPENED_LOGGED);
	assert_true(sound_idle(s, 3000));
	assert_true(sound_note(s, note, sizeof note));
	sound_close(s);
	file_device("speaker");
	/* No memory for one: all calls take none. */
	sound_play(NULL, HAPPENED_LOGGED);
	sound_mute(NULL, true);
	sound_volume(NULL, 3);
	assert_true(sound_idle(NULL, 0));
	assert_false(sound_note(NULL, note, sizeof note));
	sound_close(NULL);
}

/* ---- a device that hangs, and one that takes its time ---- */

/* Opening the pipe waits for a reader that never comes. */
static void a_device_that_hangs_holds_nobody(void **state)
{
	(void)state;
	unlink(raw);
	assert_int_equal(mkfifo(raw, 0600), 0);
	struct sound *s = open_sound("speaker", 100);
	double from = seconds();
	for (int i = 0; i < 200; i++)
		sound_play(s, (enum happening)(i % HAPPENING_COUNT));
	assert_true(seconds() - from < 0.2);
	assert_false(sound_idle(s, 50));
	from = seconds();
	sound_mute(s, true);
	sound_mute(s, false);
	assert_true(seconds() - from < 0.1);
	from = seconds();
	sound_close(s);
	assert_true(seconds() - from < 1.5);
	/* Let it go, so that its thread ends. */
	int fd = open(raw, O_RDONLY | O_NONBLOCK);
	assert_true(fd >= 0);
	nap(100);
	close(fd);
	nap(100);
	unlink(raw);
}

/* Reads the pipe as fast as a loudspeaker would sound. */
struct listener {
	int fd;
	int16_t *pcm;
	size_t count;
	_Atomic bool stop;
};

static void *listen_slowly(void *arg)
{
	struct listener *l = arg;
	const size_t piece = TONE_RATE / 100;
	double from = seconds();
	for (size_t heard_at = 0; !l->stop; heard_at += piece) {
		while (seconds() - from < (double)heard_at / TONE_RATE)
			nap(1);
		ssize_t n = read(l->fd, l->pcm + l->count, piece * sizeof *l->pcm);
		if (n > 0 && l->count < TONE_SAMPLES_MAX * 8)
			l->count += (size_t)n / sizeof *l->pcm;
	}
	return NULL;
}

/* The largest bend of the curve: a click is one of thousands. */
static int bend(const int16_t *pcm, size_t n)
{
	int most = 0;
	for (size_t i = 1; i + 1 < n; i++) {
		int b = abs(pcm[i + 1] - 2 * pcm[i] + pcm[i - 1]);
		most = b > most ? b : most;
	}
	return most;
}

/* An alarm cuts off a tone that plays, without a click; then that one comes again.  Of
 * the results that waited the newest alone is heard. */
static void alarms_cut_in_and_the_newest_wins(void **state)
{
	struct listener l = {0};
	pthread_t thread;
	double hertz[64], ms[64];
	(void)state;
	unlink(raw);
	assert_int_equal(mkfifo(raw, 0600), 0);
	l.fd = open(raw, O_RDWR);
	assert_true(l.fd >= 0 && fcntl(l.fd, F_SETPIPE_SZ, 4096) >= 0);
	assert_int_equal(fcntl(l.fd, F_SETFL, O_NONBLOCK), 0);
	l.pcm = calloc(TONE_SAMPLES_MAX * 9, sizeof *l.pcm);
	assert_non_null(l.pcm);
	assert_int_equal(pthread_create(&thread, NULL, listen_slowly, &l), 0);
	struct sound *s = open_sound("speaker", 100);
	sound_play(s, HAPPENED_REFUSED);
	nap(150); /* into its first long note */
	sound_play(s, HAPPENED_LOGGED);
	sound_play(s, HAPPENED_NOT_LOGGED);
	sound_play(s, HAPPENED_OUTSIDE);
	assert_true(sound_idle(s, 6000));
	nap(100);
	l.stop = true;
	pthread_join(thread, NULL);
	sound_close(s);
	int n = pitch_notes(l.pcm, l.count, TONE_RATE, hertz, ms);
	/* A piece of refused (cut), the alarm whole, then the newest result: outside. */
	for (int i = 0; i < n; i++)
		print_message("  heard %.0f Hz for %.0f ms\n", hertz[i], ms[i]);
	assert_int_equal(n, 1 + 3 + 2);
	assert_near(hertz[0], 311, 8);
	assert_true(ms[0] > 50); /* its second note was not begun: see the count */
	expect_tone(hertz + 1, ms + 1, tone_of(HAPPENED_NOT_LOGGED));
	expect_tone(hertz + 4, ms + 4, tone_of(HAPPENED_OUTSIDE));
	assert_true(bend(l.pcm, l.count) < 1000);
	close(l.fd);
	unlink(raw);
	free(l.pcm);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(the_tones_asked_for_come_out),
	    cmocka_unit_test(the_pitch_follows),
	    cmocka_unit_test(a_pitch_without_news_is_silent),
	    cmocka_unit_test(tones_go_before_the_pitch),
	    cmocka_unit_test(volume_and_mute),
	    cmocka_unit_test(no_device_is_a_note),
	    cmocka_unit_test(a_device_is_tried_again),
	    cmocka_unit_test(without_a_configuration),
	    cmocka_unit_test(alarms_cut_in_and_the_newest_wins),
	    cmocka_unit_test(a_device_that_hangs_holds_nobody),
	};
	return cmocka_run_group_tests(tests, begin, end);
}

#else

static void it_says_that_it_was_built_without(void **state)
{
	struct sound_setting setting = {.volume = 100};
	char note[256];
	(void)state;
	struct sound *s = sound_open(&setting);
	sound_play(s, HAPPENED_LOGGED);
	assert_true(sound_idle(s, 3000));
	assert_true(sound_note(s, note, sizeof note));
	assert_non_null(strstr(note, "built without ALSA"));
	sound_close(s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {cmocka_unit_test(it_says_that_it_was_built_without)};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

#endif

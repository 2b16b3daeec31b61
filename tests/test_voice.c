/* SPDX-License-Identifier: MIT */
/*
 * The voice: each happening as a tone and in words, say again, mute, the person's
 * settings, and the sound check of the client.  Tones go through ALSA's `file` plugin
 * into a file, words to a made-up espeak-ng that writes them down.
 */
#include "tests/client_script.h"

#include "client/ear.h"
#include "client/tones.h"
#include "client/voice.h"
#include "tests/pitch.h"

#include <time.h>

static char folder[64];

static const char *in_folder(const char *name)
{
	static char found[160];
	snprintf(found, sizeof found, "%s/%s", folder, name);
	return found;
}

static void put_file(const char *name, const char *text, mode_t mode)
{
	FILE *f = fopen(in_folder(name), "w");
	assert_non_null(f);
	fputs(text, f);
	fclose(f);
	assert_int_equal(chmod(in_folder(name), mode), 0);
}

/* What the speaker was told, a line each. */
static const char *told_words(void)
{
	static char text[16384];
	FILE *f = fopen(in_folder("said"), "r");
	size_t n = f ? fread(text, 1, sizeof text - 1, f) : 0;
	text[n] = '\0';
	if (f)
		fclose(f);
	return text;
}

/* Samples that were played. */
static size_t played_samples(void)
{
	struct stat s;
	return stat(in_folder("heard.raw"), &s) == 0 ? (size_t)s.st_size / 2 : 0;
}

static int begin(void **state)
{
	char text[512];
	set_up(state);
	snprintf(folder, sizeof folder, "/tmp/tally-voice-XXXXXX");
	assert_non_null(mkdtemp(folder));
	/* A sentence takes longer than 6 ms a letter. */
	snprintf(text, sizeof text, "#!/bin/sh\nPATH=/usr/bin:/bin\ntext=$(cat)\n"
	         "echo \"$2 $text\" >>%s/said\n"
	         "exec sleep $(awk \"BEGIN { print 0.11 + 0.0065 * length(\\\"$text\\\") }\")\n", folder);
	put_file("espeak-ng", text, 0755);
	snprintf(text, sizeof text, "pcm.speaker {\n type file\n slave.pcm { type null }\n"
	         " file \"%s/heard.raw\"\n format \"raw\"\n}\n", folder);
	put_file("asound.conf", text, 0644);
	put_file("tally.ini", "[sound]\ndevice = speaker\nvolume = 100\n"
	         "[speech]\nlanguage = de\nuse = espeak-ng\n", 0644);
	setenv("ALSA_CONFIG_PATH", in_folder("asound.conf"), 1);
	setenv("TALLY_SETTINGS", in_folder("tally.ini"), 1);
	setenv("PATH", folder, 1);
	/* Whatever speaks on this machine is left alone. */
	setenv("SPEECHD_ADDRESS", "unix_socket:/nowhere/speechd.sock", 1);
	return 0;
}

static int end(void **state)
{
	static const char *const names[] = {"espeak-ng", "asound.conf", "tally.ini", "said",
	                                    "heard.raw"};
	for (size_t i = 0; i < sizeof names / sizeof *names; i++)
		unlink(in_folder(names[i]));
	rmdir(folder);
	return tear_down(state);
}

static void fresh(void)
{
	unlink(in_folder("said"));
	unlink(in_folder("heard.raw"));
}

static struct voice *open_voice(enum language language)
{
	struct voice_setting setting = {
	    .sound = {.device = "speaker", .volume = 100},
	    .speech = {.use = SPEECH_ESPEAK, .speaker = {.language = language, .volume = 100}}};
	struct voice *v = voice_open(&setting);
	assert_non_null(v);
	for (int i = 0; i < 100 && !voice_speaks(v); i++)
		nanosleep(&(struct timespec){0, 10000000}, NULL);
	assert_true(voice_speaks(v));
	fresh();
	return v;
}

static void happen(struct voice *v, struct happening_told told)
{
	struct happening_list list = {0};
	assert_true(happening_listen(&list, voice_listener(v)));
	happening_tell(&list, &told);
	assert_true(voice_idle(v, 8000));
}

static const struct happening_told up = {
    .what = HAPPENED_UP, .position = "C8", .role = "coupling", .seq = 41};
static const struct happening_told within = {
    .what = HAPPENED_LOGGED, .position = "C7", .shown = "0.0471 uF", .verdict = "within",
    .side = "high"};
static const struct happening_told outside = {
    .what = HAPPENED_OUTSIDE, .position = "R1", .shown = "612 kohm", .verdict = "outside",
    .side = "high"};

static const struct happening_told early = {
    .what = HAPPENED_REFUSED, .position = "C8",
    .why = "touched before its name was said: lift, and touch it again"};

/* ---- tone and words ---- */

static void each_happening_sounds_and_what_must_be_is_said(void **state)
{
	(void)state;
	for (int what = 0; what < HAPPENING_COUNT; what++) {
		struct happening_told told = {.what = (enum happening)what, .position = "R1",
		                              .meter = "red", .looks = "R2", .shown = "5 ohm",
		                              .guide = "leak.zero"};
		char words[512], line[600];
		struct voice *v = open_voice(LANGUAGE_EN);
		note_row("%s", tone_of((enum happening)what)->name);
		happen(v, told);
		speech_happening(LANGUAGE_EN, &told, false, words, sizeof words);
		snprintf(line, sizeof line, "en %s\n", words);
		assert_string_equal(told_words(), words[0] ? line : "");
		assert_true(words[0] || what == HAPPENED_LOGGED);
#ifdef HAVE_ALSA
		assert_int_equal(played_samples(),
		                 tone_render(tone_of((enum happening)what), 100, NULL, 0));
#endif
		voice_close(v);
	}
}

#ifdef HAVE_ALSA
/* What the pitch says already is not told over it; without the pitch it is. */
static void the_pitch_spares_its_words(void **state)
{
	static const struct happening_told word = {.what = HAPPENED_GUIDE, .ear = true, .position = "RV1",
	                                           .why = "0.43 V, 0.01 V above"};
	struct happening_told gone = word;
	(void)state;
	struct voice *v = open_voice(LANGUAGE_EN);
	for (int i = 0; i < 8; i++) {
		voice_ear(v, 700, false);
		nanosleep(&(struct timespec){0, 50000000}, NULL);
	}
	assert_true(played_samples() > 0);
	happen(v, word);
	assert_string_equal(told_words(), "");
	gone.ear = false;
	happen(v, gone);
	assert_string_not_equal(told_words(), "");
	voice_ear(v, 0, false);
	fresh();
	happen(v, word);
	assert_string_not_equal(told_words(), "");
	assert_true(voice_idle(v, 4000));
	voice_close(v);
}
#endif

static void a_name_is_announced(void **state)
{
	char position[40], note[512];
	int64_t seq;
	(void)state;
	struct voice *v = open_voice(LANGUAGE_DE);
	assert_true(voice_fd(v) >= 0);
	happen(v, up);
	assert_string_equal(told_words(), "de C acht, coupling\n");
	assert_true(voice_announced(v, position, &seq));
	assert_string_equal(position, "C8");
	assert_int_equal(seq, 41);
	happen(v, outside);
	assert_false(voice_announced(v, position, &seq));
	/* Touched before it was said: the refusal cuts it off, and says the name. */
	happen(v, early);
	assert_true(voice_announced(v, position, &seq));
	assert_int_equal(seq, 41);
	assert_false(voice_note(v, note, sizeof note));
	voice_close(v);
}

static void again_is_in_full(void **state)
{
	char position[40];
	int64_t seq;
	(void)state;
	struct voice *v = open_voice(LANGUAGE_EN);
	assert_false(voice_say_again(v)); /* nothing happened yet */
	happen(v, within);
	assert_string_equal(told_words(), ""); /* the tone is enough */
	assert_true(voice_say_again(v));
	assert_true(voice_idle(v, 8000));
	assert_string_equal(told_words(),
	                    "en C seven, zero point zero four seven one microfarads, within\n");
	happen(v, up);
	assert_true(voice_announced(v, position, &seq));
	fresh();
	assert_true(voice_say_again(v));
	assert_true(voice_idle(v, 8000));
	assert_string_equal(told_words(), "en C seven, zero point zero four seven one microfarads, "
	                    "within. C eight, coupling\n");
	/* The name was said once more: so it was announced once more. */
	assert_true(voice_announced(v, position, &seq));
	assert_string_equal(position, "C8");
	voice_close(v);
}

static void mute_is_for_both(void **state)
{
	(void)state;
	struct voice *v = open_voice(LANGUAGE_EN);
	voice_mute(v, true);
	assert_true(voice_muted(v));
	assert_false(voice_speaks(v));
	happen(v, outside);
	assert_false(voice_say_again(v));
	assert_string_equal(told_words(), "");
	assert_int_equal(played_samples(), 0);
	voice_mute(v, false);
	assert_false(voice_muted(v));
	/* What happened meanwhile is remembered for `say again`. */
	assert_true(voice_say_again(v));
	assert_true(voice_idle(v, 8000));
	assert_string_equal(told_words(),
	                    "en R one, six hundred twelve kilo-ohms, outside, high\n");
	voice_close(v);
	voice_close(NULL);
	voice_happened(NULL, &up);
	voice_mute(NULL, true);
	assert_false(voice_say_again(NULL));
	assert_true(voice_idle(NULL, 0));
}

/* What the settings muted stays muted. */
static void the_settings_are_kept(void **state)
{
	static struct settings s;
	struct voice_setting setting;
	struct fault why;
	(void)state;
	const char *text = "[sound]\nvolume = 35\nmute = yes\ndevice = hw:1\n"
	                   "[speech]\nrate = -20\nlanguage = de\nvolume = 60\nuse = espeak-ng\n";
	assert_true(settings_parse(&s, "tally.ini", text, strlen(text), &why));
	voice_setting_from(&s, &setting);
	assert_string_equal(setting.sound.device, "hw:1");
	assert_int_equal(setting.sound.volume, 35);
	assert_true(setting.sound.mute);
	assert_int_equal(setting.speech.use, SPEECH_ESPEAK);
	assert_int_equal(setting.speech.speaker.language, LANGUAGE_DE);
	assert_int_equal(setting.speech.speaker.rate, -20);
	assert_int_equal(setting.speech.speaker.volume, 60);
	assert_false(setting.speech.mute);
	setting.sound.device = "speaker";
	struct voice *v = voice_open(&setting);
	assert_non_null(v);
	fresh();
	voice_mute(v, true);
	voice_mute(v, false);
	happen(v, outside);
	assert_string_equal(told_words(), "de R eins, sechshundertzwölf Kiloohm, außerhalb, hoch\n");
	assert_int_equal(played_samples(), 0);
	voice_close(v);
}

/* ---- tally sound check ---- */

#ifdef HAVE_ALSA
/* Behind the tones: long notes below the target's pitch, pairs of short ones on it, long ones above. */
static void pitches_are_heard_behind(size_t tones)
{
	size_t n = played_samples() - tones;
	double hertz[64], ms[64];
	int long_notes[EAR_SAMPLES] = {0}, short_notes[EAR_SAMPLES] = {0};
	int16_t *pcm = malloc(n * sizeof *pcm);
	FILE *f = fopen(in_folder("heard.raw"), "r");
	assert_non_null(pcm);
	assert_non_null(f);
	assert_true(played_samples() > tones);
	assert_int_equal(fseek(f, (long)(tones * sizeof *pcm), SEEK_SET), 0);
	assert_int_equal(fread(pcm, sizeof *pcm, n, f), n);
	fclose(f);
	int notes = pitch_notes(pcm, n, TONE_RATE, hertz, ms);
	for (int i = 0; i < notes; i++)
		for (int sample = 0; sample < EAR_SAMPLES; sample++) {
			struct ear_sample ear = ear_sample(sample);
			bool like = fabs(hertz[i] - ear.hertz) < 0.03 * ear.hertz;
			/* The last one of each is faded out, at any length. */
			long_notes[sample] += like && ms[i] > 150;
			short_notes[sample] += like && ms[i] < 100;
		}
	free(pcm);
	assert_true(long_notes[0] >= 3 && short_notes[0] <= 1);
	assert_true(long_notes[1] == 0 && short_notes[1] >= 6);
	assert_true(long_notes[2] >= 3 && short_notes[2] <= 1);
	assert_true(ear_sample(0).hertz < 0.8 * ear_sample(1).hertz);
	assert_true(ear_sample(2).hertz > 1.25 * ear_sample(1).hertz);
}
#endif

static void every_sound_is_checked(void **state)
{
	(void)state;
	fresh();
	struct run r = run_client(NULL, CLIENT("sound", "check"));
	assert_int_equal(r.status, 0);
	size_t all = 0;
	const char *at = told_words();
	for (int what = 0; what < HAPPENING_COUNT; what++) {
		const struct tone *t = tone_of((enum happening)what);
		char line[128];
		assert_non_null(strstr(r.out, t->words));
		snprintf(line, sizeof line, "de %s\n", speech_name(LANGUAGE_DE, (enum happening)what));
		assert_int_equal(strncmp(at, line, strlen(line)), 0);
		at += strlen(line);
		all += tone_render(t, 100, NULL, 0);
	}
	/* The pitch of what is set by ear: three of them, and which is which. */
	for (int sample = 0; sample < EAR_SAMPLES; sample++) {
		char line[128];
		assert_non_null(strstr(r.out, ear_sample(sample).words));
		snprintf(line, sizeof line, "de %s\n", speech_ear_name(LANGUAGE_DE, sample));
		assert_int_equal(strncmp(at, line, strlen(line)), 0);
		at += strlen(line);
	}
	assert_string_equal(at, "");
#ifdef HAVE_ALSA
	pitches_are_heard_behind(all);
	expect(r.out, "20 of 20 sounds and 20 of 20 names went out, spoken by espeak-ng", "the sum");
	assert_string_equal(r.err, "");
#endif
	run_free(&r);
}

/* Neither device nor speaker: all of it is printed, the notes are said once, and it is no
 * failure. */
static void nothing_there_is_no_failure(void **state)
{
	(void)state;
	fresh();
	put_file("tally.ini", "[sound]\ndevice = nowhere\n[speech]\nuse = espeak-ng\n", 0644);
	setenv("PATH", "/nowhere", 1);
	struct run r = run_client(NULL, CLIENT("sound", "check", "--json"));
	setenv("PATH", folder, 1);
	assert_int_equal(r.status, 0);
	expect(r.out, "{\"sound\":\"not logged\",\"pattern\":\"three long notes, high low high\","
	       "\"name\":\"not logged\",\"played\":false,\"spoken\":false}", "JSON");
	expect(r.err, "no sound", "a note");
	expect(r.err, "espeak-ng is not on PATH", "a note");
	char *first = strstr(r.err, "no sound");
	assert_null(strstr(first + 1, "no sound"));
	run_free(&r);
	/* Muted: that is said. */
	put_file("tally.ini", "[sound]\ndevice = speaker\nmute = yes\n[speech]\nmute = yes\n", 0644);
	r = run_client(NULL, CLIENT("sound", "check", "--plain"));
	assert_int_equal(r.status, 0);
	expect(r.err, "tones are muted in the settings", "muted");
	expect(r.err, "speech is muted in the settings", "muted");
	expect(r.out, "logged: one short high note (neither heard nor spoken)", "plain");
	run_free(&r);
	assert_string_equal(told_words(), "");
	/* A mistake in the settings is said with its place, and the check is made. */
	put_file("tally.ini", "[sound]\nvolume = loud\n", 0644);
	r = run_client(NULL, CLIENT("sound", "check", "--plain"));
	assert_int_equal(r.status, 2);
	expect(r.err, "tally.ini:2:", "the place");
	expect(r.out, "three long notes", "the check");
	run_free(&r);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(each_happening_sounds_and_what_must_be_is_said),
#ifdef HAVE_ALSA
	    cmocka_unit_test(the_pitch_spares_its_words),
#endif
	    cmocka_unit_test(a_name_is_announced),
	    cmocka_unit_test(again_is_in_full),
	    cmocka_unit_test(mute_is_for_both),
	    cmocka_unit_test(the_settings_are_kept),
	    cmocka_unit_test(every_sound_is_checked),
	    cmocka_unit_test(nothing_there_is_no_failure),
	};
	return cmocka_run_group_tests(tests, begin, end);
}

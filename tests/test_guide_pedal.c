/* SPDX-License-Identifier: MIT */
/*
 * Guided runs by pedal and speech alone.  A verb begins one; from its cautions on every step is a
 * press of the foot switch, on its whole road: bytes of the kernel (tests/input_stand.h), the
 * senses of a sitting, the daemon on its socket, meters on their lines.  And what is to be done,
 * each alarm are in what is spoken, in both languages.
 *
 * A re-forming takes hours, so its whole is played by test_guide_replay (takes alone give the kept
 * records); here it is begun, and runs into an alarm, as the leakage does.
 */
#ifdef HAVE_LIBEVDEV
#include "tests/guide_daemon_stand.h"
#include "tests/input_stand.h"

#include "client/senses.h"
#include "client/speech_words.h"
#include "client/turn.h"

#include <uv.h>

#define A1 "usb:1209:0002 uniq=A1 phys=input0 name=Foot Switch"

static uv_loop_t loop;
static struct sitting sitting;
static struct senses senses;
static struct fake *foot;
static char spoken[2][65536]; /* English, German: a line each */
static size_t spoken_from[2]; /* what was asked for already lies before it */

/* What a voice would say of it (client/voice.c says the same words). */
static void on_told(void *arg, const struct happening_told *told)
{
	static const enum language languages[] = {LANGUAGE_EN, LANGUAGE_DE};
	(void)arg;
	for (int l = 0; l < 2; l++) {
		char words[TURN_TEXT];
		size_t n = strlen(spoken[l]);
		speech_happening(languages[l], told, false, words, sizeof words);
		if (words[0])
			snprintf(spoken[l] + n, sizeof spoken[l] - n, "%s\n", words);
	}
}

static void on_deed(void *arg, const struct deed *deed)
{
	sitting_do(arg, deed);
}

static void turn(void)
{
	uv_run(&loop, UV_RUN_NOWAIT);
	usleep(2000);
}

/* In English and in German, behind what was heard before. */
static void hear(const char *english, const char *german)
{
	const char *words[2] = {english, german};
	for (int l = 0; l < 2; l++) {
		const char *at = NULL;
		for (int i = 0; i < 5000 && !(at = strstr(spoken[l] + spoken_from[l], words[l])); i++)
			turn();
		if (!at)
			fail_msg("never said: %s\nbut:\n%s\nof all:\n%s", words[l], spoken[l] + spoken_from[l], spoken[l]);
		spoken_from[l] = (size_t)(at - spoken[l]) + strlen(words[l]);
	}
}

static void press(unsigned code)
{
	int64_t now = fake_now();
	fake_key_at(foot, now - 20000, code, 1);
	fake_key_at(foot, now, code, 0);
	for (int i = 0; i < 30; i++)
		turn();
}

/* So long that the meters' values stand at rest. */
static void at_rest(void)
{
	for (double until = now_s() + 0.9; now_s() < until;)
		turn();
}

/* As the verb at a terminal does: it stands at its cautions and waits. */
static void start_guide(struct stand *s, const char *kind, const char *of, const char *words)
{
	char call[400];
	struct peer *p = peer_greeted(s);
	snprintf(call, sizeof call, "{\"jsonrpc\":\"2.0\",\"id\":7,\"method\":\"guide.start\",\"params\":"
	         "{\"name\":\"%s\",\"position\":\"%s\",\"text\":\"%s\"}}", kind, of, words);
	mustsend(p, call);
	mustsee(p, "\"seq\":");
	peer_free(p);
}

/* Settings of the person: which foot switch, what its buttons do. */
static void begin_by_foot(struct stand *s)
{
	const struct style style = {.utf8 = false};
	const char *file = in_dir(s, "settings.ini");
	memset(spoken, 0, sizeof spoken);
	memset(spoken_from, 0, sizeof spoken_from);
	begin(s);
	input_begin();
	foot = fake_new(1, "A1", "usb-1/input0", "Foot Switch");
	file_write(file, "[pedal]\ndevice = " A1 "\nbuttons = KEY_B take, KEY_C next, KEY_D back, KEY_E again\n"
	                 "[sound]\nmute = yes\n");
	setenv("TALLY_SETTINGS", file, 1);
	assert_int_equal(uv_loop_init(&loop), 0);
	sitting = (struct sitting){.loop = &loop};
	senses = (struct senses){.sitting = &sitting, .words = false, .act = on_deed, .arg = &sitting};
	happening_listen(&sitting.listeners, (struct happening_listener){on_told, NULL});
	senses_listen(&senses);
	assert_true(sitting_begin(&sitting, s->socket, &style));
	senses_begin(&senses);
	for (int i = 0; i < 3000 && !(pedal_state(senses.pedal) == PEDAL_READY && sitting.scene->connected); i++)
		turn();
	if (pedal_state(senses.pedal) != PEDAL_READY)
		fail_msg("%s", pedal_words(senses.pedal));
	assert_true(sitting.scene->connected);
	at_rest(); /* it watches */
}

static void end(struct stand *s)
{
	senses_end(&senses);
	sitting_end(&sitting);
	uv_run(&loop, UV_RUN_DEFAULT);
	assert_int_equal(uv_loop_close(&loop), 0);
	senses_free(&senses);
	sitting_free(&sitting);
	input_end();
	struct answer a = tally(s, "--json", "status");
	if (!strstr(a.out, "\"guides\":[]"))
		fail_msg("a run goes on: %s", a.out);
	answer_free(&a);
	daemon_stop(s, SIGTERM);
	musttally(s, 0, "verify", s->log);
}

static void test_leak(void **state)
{
	struct stand *s = *state;
	begin_by_foot(s);
	start_guide(s, "leak", "C1", "grid=red rail=blue");
	hear("local codes and licensed practice", "örtliche Vorschriften"), hear("go on when they hold", "weiter, wenn sie eingehalten sind");
	press(KEY_B); /* the yes */
	hear("take the valve out", "die Röhre hinter diesem Kondensator ziehen");
	press(KEY_B);
	hear("clip the meter", "Messgerät zwischen Gitter");
	press(KEY_B);
	hear("go on takes the zero", "weiter übernimmt den Nullwert");
	at_rest();
	press(KEY_B);
	hear("High tension on", "Hochspannung ein");
	hear("above four hundred fifty volts switch off", "über vierhundertfünfzig Volt ausschalten");
	press(KEY_B);
	hear("until the volts rest", "bis die Anzeige steht");
	/* Its other buttons: said again, the step before (the zero, once more, is none with the high tension
	 * on), and no walk begins by a wrong foot. */
	press(KEY_E);
	hear("until the volts rest", "bis die Anzeige steht");
	press(KEY_C);
	hear("refused, a guided run waits for the hand", "abgelehnt, ein geführter Lauf wartet auf die Hand");
	press(KEY_D);
	hear("High tension on", "Hochspannung ein");
	press(KEY_B);
	hear("until the volts rest", "bis die Anzeige steht");
	/* The rail passes what C1 stands: an alarm, and over it. */
	meter_says(s, blue, "455.0 V DC");
	hear("a limit is passed: switch off. Hands off, the rail is at four hundred fifty-five volts",
	     "eine Grenze ist überschritten: ausschalten. Hände weg, die Versorgungsspannung liegt bei "
	     "vierhundertfünfundfünfzig Volt");
	press(KEY_B); /* not while it stands there */
	hear("refused, the rail is above", "abgelehnt, die Versorgungsspannung liegt über");
	/* Turned down again: it goes on by foot to its end. */
	meter_says(s, blue, "352.0 V DC");
	meter_says(s, red, "0.4120 V DC");
	at_rest();
	at_rest();
	press(KEY_B); /* both meters have moved, and each would be one that touches */
	hear("four hundred forty nanoamps, within, switch off and discharge",
	     "vierhundertvierzig Nanoampere, innerhalb, ausschalten und entladen");
	press(KEY_B);
	hear("the guided run is done", "der geführte Lauf ist beendet");
	end(s);
}

static void test_reform(void **state)
{
	struct stand *s = *state;
	begin_by_foot(s);
	meter_says(s, red, "0.00 V DC");
	start_guide(s, "reform", "C20", "drop=red part=blue resistor=100k");
	hear("local codes and licensed practice", "örtliche Vorschriften"), hear("go on when they hold", "weiter, wenn sie eingehalten sind");
	press(KEY_B);
	hear("free it of its circuit", "aus der Schaltung nehmen");
	press(KEY_B);
	hear("clip the meters on", "Messgeräte anklemmen");
	at_rest();
	press(KEY_B);
	hear("supply on at its lowest volts", "Netzteil bei kleinster Spannung einschalten");
	press(KEY_B);
	hear("a quarter: set the supply to", "ein Viertel: Netzteil auf");
	meter_says(s, blue, "-9.00 V DC");
	hear("a limit is passed: switch off. Hands off", "eine Grenze ist überschritten: ausschalten. Hände weg");
	musttally(s, 0, "leave", "C20");
	end(s);
}

int main(void)
{
	signal(SIGPIPE, SIG_IGN);
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test_setup_teardown(test_leak, stand_up, stand_down),
	    cmocka_unit_test_setup_teardown(test_reform, stand_up, stand_down),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
#else
#include <stdio.h>

int main(void)
{
	printf("built without libevdev: no foot switch to try\n");
	return 0;
}
#endif

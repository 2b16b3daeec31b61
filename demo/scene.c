/* SPDX-License-Identifier: MIT */
/* See scene.h.  The C locale is never changed, so strtod has a point. */
#include "scene.h"

#include "ear.h"
#include "tape.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#define STEPS_MAX 1000
#define WORDS_MAX 16
#define CALL_SECONDS 5     /* a name that is not called: choose it */
#define LOGGED_SECONDS 12  /* a value that is not logged: go on */
#define CLOCK_CALL 1.7     /* without a daemon to listen to */
#define CLOCK_LOGGED 1.6

struct meter meters[METERS_MAX];
int meter_count;

struct step {
	int line;
	int words;
	char *word[WORDS_MAX];
	char *rest; /* all after the first word */
};

static struct step steps[STEPS_MAX];
static int step_count, step_at;
static const char *scene;
static const char *folder;
static const char *tally = "";
static uint64_t seed;
static double touch_at; /* the hands are there; 0: the name was not called yet */

static bool begun;          /* the step at hand has begun and is waited for */
static double step_since;
static struct meter *in_hand;
static char position[40];   /* called last by the scene */
static unsigned logged_before;
static pid_t client;
static int chosen_line;        /* the `up` that chose its position by itself */

static _Noreturn void wrong(const struct step *s, const char *expected)
{
	fprintf(stderr, "%s:%d: `%s`: expected %s\n", scene, s->line, s->word[0], expected);
	exit(2);
}

static struct meter *meter_of(const struct step *s, int i)
{
	for (int k = 0; i < s->words && k < meter_count; k++)
		if (strcmp(meters[k].name, s->word[i]) == 0)
			return &meters[k];
	wrong(s, "the name of a meter");
}

/* A number with a prefix; the C locale is never changed, so strtod has a point. */
static double number(const struct step *s, int i)
{
	static const struct {
		char letter;
		double factor;
	} prefix[] = { { 'p', 1e-12 }, { 'n', 1e-9 }, { 'u', 1e-6 }, { 'm', 1e-3 },
		           { 'k', 1e3 },   { 'M', 1e6 },  { '\0', 1 } };
	char *end;
	if (i >= s->words)
		wrong(s, "a number");
	double v = strtod(s->word[i], &end);
	for (size_t k = 0; end > s->word[i] && k < sizeof prefix / sizeof prefix[0]; k++)
		if (*end == prefix[k].letter && (!*end || !end[1]))
			return v * prefix[k].factor;
	wrong(s, "a number, with p n u m k M if need be");
}

static void step_meter(const struct step *s)
{
	if (s->words < 4 || meter_count == METERS_MAX || strlen(s->word[1]) >= 24)
		wrong(s, "meter NAME asked COUNTS, or meter NAME talks COUNTS RATE [tight]");
	struct meter *m = &meters[meter_count++];
	snprintf(m->name, sizeof m->name, "%s", s->word[1]);
	m->asked = strcmp(s->word[2], "asked") == 0;
	m->counts = number(s, 3);
	if (m->asked && tape_on())
		wrong(s, "a meter that talks: what is asked cannot be taped");
	if (!m->asked && (strcmp(s->word[2], "talks") != 0 || s->words < 5 || number(s, 4) <= 0))
		wrong(s, "meter NAME talks COUNTS RATE [tight]");
	m->period = m->asked ? 0 : 1 / number(s, 4);
	m->tight = s->words > 5 && strcmp(s->word[5], "tight") == 0;
	m->random = 0x9e3779b97f4a7c15u * ((uint64_t)meter_count + METERS_MAX * seed);
	m->next = now();
	snprintf(m->link, sizeof m->link, "%s/%s", folder, s->word[1]);
	meter_plug(m);
}

static void step_dial(const struct step *s)
{
	static const char *const names[] = { "ohm", "farad", "volt-dc", "volt-ac" };
	struct meter *m = meter_of(s, 1);
	for (int i = 0; s->words > 2 && i < 4; i++)
		if (strcmp(s->word[2], names[i]) == 0) {
			m->dial = (enum function)i;
			return;
		}
	wrong(s, "dial NAME ohm, farad, volt-dc or volt-ac");
}

static void step_touch(const struct step *s, double t)
{
	struct meter *m = meter_of(s, 1);
	if (s->words < 3)
		wrong(s, "touch NAME VALUE ...");
	m->is_open = strcmp(s->word[2], "open") == 0;
	m->value = m->is_open ? 0 : number(s, 2);
	m->noise = m->asked ? 0.5 : 0.3;
	m->hunt = m->chatter = 0;
	m->tau = 0;
	for (int i = 3; i < s->words; i += 2) {
		double v = number(s, i + 1);
		if (strcmp(s->word[i], "noise") == 0)
			m->noise = v;
		else if (strcmp(s->word[i], "hunt") == 0)
			m->hunt = (int)v;
		else if (strcmp(s->word[i], "chatter") == 0)
			m->chatter = (int)v;
		else if (strcmp(s->word[i], "from") == 0)
			m->from = v;
		else if (strcmp(s->word[i], "tau") == 0)
			m->tau = v;
		else
			wrong(s, "noise, hunt, chatter, from or tau, each with a number");
	}
	m->part = m->amplifier = 0;
	m->touching = true;
	m->since = t;
	m->off_until = 0;
	in_hand = m;
	logged_before = ear_logged();
}

static bool step_hold(const struct step *s, double t)
{
	if (s->words != 2)
		wrong(s, "hold logged, or hold S");
	if (strcmp(s->word[1], "logged") != 0)
		return t - step_since >= number(s, 1);
	if (!ear_is())
		return t - step_since >= CLOCK_LOGGED;
	if (t - step_since >= LOGGED_SECONDS) {
		fprintf(stderr, "%s:%d: %s was not logged within %d s\n", scene, s->line, position,
		        LOGGED_SECONDS);
		return true;
	}
	/* a hand is not faster than this after the tone */
	return ear_logged() != logged_before && ear_logged_at(position) && t - step_since >= 0.3;
}

/* Run the client with these words; it is waited for without standing still. */
static void client_start(const char *words)
{
	char command[1200];
	snprintf(command, sizeof command, "exec %s %s", tally, words);
	fflush(NULL);
	client = fork();
	if (client == 0) {
		execl("/bin/sh", "sh", "-c", command, (char *)NULL);
		_exit(127);
	}
}

static bool client_ended(void)
{
	if (client > 0 && waitpid(client, NULL, WNOHANG) == 0)
		return false;
	client = 0;
	return true;
}

/* How long the hands take to the next part, beside what the bench asks for: nothing with
 * seed 0, else up to 0.4 s. */
static double hand_time(const struct step *s)
{
	uint64_t x = (seed + 1) * 0x9e3779b97f4a7c15u + (uint64_t)s->line * 0xd1b54a32d192ed03u;
	x ^= x >> 31;
	x *= 0x9e3779b97f4a7c15u;
	return seed ? 0.4 * (double)(x >> 11) / 9007199254740992.0 : 0;
}

/* Wait for the name; where it is not called for a while choose it, as a person would. */
static bool step_up(const struct step *s, double t)
{
	double waited = t - step_since;
	if (s->words != 2)
		wrong(s, "up POSITION, or await POSITION");
	snprintf(position, sizeof position, "%s", s->word[1]);
	if (!ear_is())
		return waited >= CLOCK_CALL;
	if (ear_called(position))
		touch_at = t + hand_time(s);
	if (touch_at > 0) {
		bool there = t >= touch_at && client_ended();
		touch_at = there ? 0 : touch_at;
		return there;
	}
	if (strcmp(s->word[0], "await") == 0)
		return false;
	if (*tally && waited >= CALL_SECONDS && chosen_line != s->line && client_ended()) {
		char words[60];
		chosen_line = s->line;
		snprintf(words, sizeof words, "at %s >/dev/null", position);
		client_start(words);
	}
	return client_ended() && waited >= 2 * CALL_SECONDS;
}

/* What is done by key, as the act that a recording has for it.  A guided run that begins has
 * its yes with it, as the verb does with --yes. */
static void tape_step(const struct step *s)
{
	static const char *const guided[] = {"leak", "reform", "rise", "tune", "lot"};
	const char *verb = s->word[1];
	bool job = strcmp(verb, "job") == 0, begins = false;
	char words[1100];
	size_t n = 0;
	for (size_t i = 0; i < sizeof guided / sizeof *guided; i++)
		begins = begins || strcmp(guided[i], verb) == 0;
	bool of_all = begins && s->words > 2 && strchr(s->word[2], '=');
	words[0] = '\0';
	for (int i = job ? 2 : 1; i < s->words && n < sizeof words; i++) {
		if (s->word[i][0] != '-' && s->word[i][0] != '>')
			n += (size_t)snprintf(words + n, sizeof words - n, "%s%s",
			                      i > 1 + job || begins ? " " : "", s->word[i]);
		if (i == 1 && of_all && n < sizeof words)
			n += (size_t)snprintf(words + n, sizeof words - n, " -");
	}
	tape_act("%s%s", begins ? "guide" : "", words);
	if (begins)
		tape_act("go %s", strchr(s->word[2], '=') ? verb : s->word[2]);
}

static void step_clip(const struct step *s)
{
	struct meter *m = meter_of(s, 1);
	bool over = s->words == 4 && strcmp(s->word[2], "over") == 0;
	m->noise = 0.3;
	m->part = m->amplifier = 0;
	m->touching = false;
	if (s->words == 4 && amplifier_place_named(s->word[2], &m->place) &&
	    (m->amplifier = amplifier_find(s->word[3]) + 1) > 0)
		return;
	if (s->words != 4 || (!over && strcmp(s->word[2], "at") != 0) || part_find(s->word[3]) < 0)
		wrong(s, "clip NAME at or over PART, or clip NAME PLACE AMPLIFIER, which the scene has");
	m->where = over ? PART_OVER : PART_AT;
	m->part = part_find(s->word[3]) + 1;
	m->dial = VOLT;
}

static double number_of_step(const void *step, int i)
{
	return number(step, i);
}

static bool step_tally(const struct step *s)
{
	if (tape_on() && s->words > 1)
		tape_step(s);
	if (!*tally)
		return true;
	if (!begun)
		client_start(s->rest);
	return client_ended();
}

/* Do one step, or go on waiting in it; true when it is done. */
static bool step_do(const struct step *s, double t)
{
	const char *w = s->word[0];
	const char *expected;
	struct part_step of_part = {s->words, s->word, number_of_step, s};
	if (!begun)
		step_since = t;
	if (amplifier_do(&of_part, t, &expected) || part_do(&of_part, t, &expected)) {
		if (expected)
			wrong(s, expected);
	} else if (strcmp(w, "clip") == 0)
		step_clip(s);
	else if (strcmp(w, "meter") == 0)
		step_meter(s);
	else if (strcmp(w, "dial") == 0)
		step_dial(s);
	else if (strcmp(w, "error") == 0)
		meter_of(s, 1)->error = number(s, 2);
	else if (strcmp(w, "touch") == 0)
		step_touch(s, t);
	else if (strcmp(w, "unplug") == 0)
		meter_unplug(meter_of(s, 1));
	else if (strcmp(w, "plug") == 0)
		meter_plug(meter_of(s, 1));
	else if (strcmp(w, "say") == 0)
		printf("%s\n", s->rest);
	else if (strcmp(w, "pause") == 0)
		return t - step_since >= number(s, 1);
	else if (strcmp(w, "tally") == 0)
		return step_tally(s);
	else if (strcmp(w, "up") == 0 || strcmp(w, "await") == 0)
		return step_up(s, t);
	else if (!in_hand)
		wrong(s, "a step (and a touch before hold, slip and lift)");
	else if (strcmp(w, "hold") == 0)
		return step_hold(s, t);
	else if (strcmp(w, "slip") == 0) {
		in_hand->off_until = step_since + number(s, 1);
		return t >= in_hand->off_until;
	} else if (strcmp(w, "lift") == 0)
		in_hand->touching = false;
	else
		wrong(s, "one of the steps that scene.h lists");
	return true;
}

bool scene_tick(double t)
{
	while (step_at < step_count && step_do(&steps[step_at], t)) {
		step_at++;
		begun = false;
	}
	begun = step_at < step_count;
	fflush(stdout);
	return begun;
}

void scene_read(const struct scene_options *o)
{
	char line[1024];
	int number_of = 0;
	scene = o->scene;
	folder = o->folder;
	tally = o->tally;
	seed = o->seed;
	FILE *f = fopen(scene, "re");
	if (!f)
		stop("%s: %s", scene, strerror(errno));
	while (fgets(line, sizeof line, f)) {
		number_of++;
		line[strcspn(line, "#\r\n")] = '\0';
		char *text = strdup(line + strspn(line, " \t"));
		if (!text || step_count == STEPS_MAX)
			stop("%s:%d: the scene is too long", scene, number_of);
		if (!*text) {
			free(text);
			continue;
		}
		struct step *s = &steps[step_count++];
		s->line = number_of;
		char *after = text + strcspn(text, " \t");
		s->rest = strdup(after + strspn(after, " \t"));
		for (char *save = NULL, *w = strtok_r(text, " \t", &save);
		     w && s->words < WORDS_MAX; w = strtok_r(NULL, " \t", &save))
			s->word[s->words++] = w;
	}
	fclose(f);
}

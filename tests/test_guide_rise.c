/* SPDX-License-Identifier: MIT */
/*
 * Bringing up the power, played to its end with an amplifier of numbers: one that comes up, one
 * with a shorted rectifier, one whose bias drifts, and each abort by itself.
 */
#include "tests/check.h"

#include "client/guide_words.h"
#include "protocol/guide/guide.h"

#include <stdlib.h>

enum { RAIL, PROBE, OUT };

static void station(struct guide_plan *p, const char *name, enum guide_what what, double nominal,
                    double ohms, const char *twin)
{
	struct guide_station *s = &p->station[p->stations++];
	snprintf(s->name, sizeof s->name, "%s", name);
	snprintf(s->twin, sizeof s->twin, "%s", twin);
	s->what = what;
	s->nominal = nominal;
	s->low = s->high = NAN;
	s->R = (struct measure){ohms, ohms * 0.002};
	s->most = what == GUIDE_SENSE ? 25 : NAN;
	s->anode = NAN;
}

static void plan_rise(struct guide_plan *p)
{
	guide_plan_empty(p);
	p->ceiling = 500;
	p->mains = p->tap = 230;
	p->soak = 1200;
	p->load2 = 10;
	p->there[RAIL] = p->there[PROBE] = p->there[OUT] = true;
	station(p, "H1", GUIDE_HEATER, 6.3, NAN, "");
	station(p, "BIAS", GUIDE_BIAS, -35, NAN, "");
	station(p, "HT2", GUIDE_RAIL, 280, NAN, "");
	station(p, "HT1", GUIDE_RAIL, 420, NAN, "");
	station(p, "RIP1", GUIDE_RIPPLE, NAN, NAN, "HT1");
	station(p, "R21", GUIDE_SENSE, NAN, 10, "R22");
	station(p, "R22", GUIDE_SENSE, NAN, 10, "R21");
	station(p, "LOAD1", GUIDE_LOAD, NAN, 8, "LOAD2");
	station(p, "LOAD2", GUIDE_LOAD, NAN, 8, "LOAD1");
	station(p, "HUM1", GUIDE_HUM, NAN, NAN, "LOAD1");
}

/* An amplifier of numbers. */
struct amplifier {
	double bare, heater, unloaded, bias, glow, on; /* volts; unloaded: at full mains */
	double ht2, ripple, sense[2], sense_after[2], hum, level, level2, power;
	double creep; /* of the bias, a minute of the soak */
};
static const struct amplifier good = {
    .bare = 0.1, .heater = 6.6, .unloaded = 560, .bias = -36, .glow = 230, .on = 424, .ht2 = 281,
    .ripple = 1.8, .sense = {0.420, 0.385}, .sense_after = {0.455, 0.386}, .hum = 0.0021, .level = 2.83,
    .level2 = 2.9, .power = 12.65};

struct play {
	struct guide g;
	struct guide_out last;
	int64_t t, seq;
	int entries, points, steps, said;
	double hertz[40];
	char at[80][NAME_SIZE];
	enum guide_unit unit;
	bool alarm;
	char text[GUIDE_TEXT];
};

static void after(struct play *p)
{
	if (p->last.alarm) {
		p->alarm = true;
		snprintf(p->text, sizeof p->text, "%s", p->last.text);
	}
	p->said += p->last.text[0] != '\0';
}

static void reads(struct play *p, int role, double v)
{
	for (int i = 0; i < 2 && !p->last.ended; i++) {
		p->t += 250000;
		guide_input(&p->g, &(struct guide_input){.act = GUIDE_READING, .t = p->t, .role = role,
		                                         .over = isinf(v), .x = {v, 0.002 * fabs(v)}},
		            &p->last);
		after(p);
	}
}

static bool step_is(const struct play *p, const char *word)
{
	return strcmp(guide_step_word(&p->g), word) == 0;
}

/* What the meters show at this step. */
static void show(struct play *p, const struct amplifier *a)
{
	enum quantity q;
	const char *at;
	int role = guide_takes(&p->g, &q, &at);
	bool second = strcmp(at, "R22") == 0;
	if (step_is(p, "transformer"))
		reads(p, RAIL, a->bare);
	else if (step_is(p, "heaters"))
		reads(p, PROBE, a->heater);
	else if (step_is(p, "raise"))
		reads(p, RAIL, a->unloaded * (guide_rise_expected(1, 230, 230).loaded) *
		               p->g.slot[1].value / 4 + a->unloaded / 4);
	else if (step_is(p, "bias"))
		reads(p, PROBE, a->bias);
	else if (step_is(p, "glow"))
		reads(p, RAIL, a->glow);
	else if (step_is(p, "on"))
		reads(p, RAIL, a->on);
	else if (step_is(p, "rails") || step_is(p, "rails-after"))
		reads(p, role, strcmp(at, "HT1") == 0 ? a->on : a->ht2);
	else if (step_is(p, "heated"))
		reads(p, role, 6.3);
	else if (step_is(p, "ripple"))
		reads(p, role, a->ripple);
	else if (step_is(p, "sense"))
		reads(p, role, a->sense[second]);
	else if (step_is(p, "sense-after"))
		reads(p, role, a->sense_after[second]);
	else if (step_is(p, "response") || step_is(p, "power") || step_is(p, "hum"))
		reads(p, role, step_is(p, "response") ? a->level : step_is(p, "power") ? a->power : a->hum);
	else if (step_is(p, "second-load"))
		reads(p, OUT, a->level2);
}

static void soak(struct play *p, const struct amplifier *a)
{
	for (int s = 0; s < 4000 && step_is(p, "soak"); s++) {
		p->t += 1000000;
		double v = a->sense[1] * (1 + a->creep * s / 60);
		guide_input(&p->g, &(struct guide_input){.act = GUIDE_READING, .t = p->t, .role = PROBE,
		                                         .x = {v, 0.001}}, &p->last);
		after(p);
		guide_input(&p->g, &(struct guide_input){.act = GUIDE_READING, .t = p->t, .role = RAIL,
		                                         .x = {a->on, 0.4}}, &p->last);
		after(p);
	}
}

static void go(struct play *p)
{
	enum quantity q;
	const char *at;
	struct fault why;
	int role = guide_takes(&p->g, &q, &at);
	if (!guide_may_go(&p->g, &why))
		fail_msg("%s: %s", guide_step_word(&p->g), why.text);
	if (guide_unit(&p->g) != GUIDE_UNIT_SAME)
		p->unit = guide_unit(&p->g);
	if (role < 0) {
		guide_input(&p->g, &(struct guide_input){.act = GUIDE_GO, .t = p->t}, &p->last);
	} else {
		assert_int_equal(q, QUANTITY_VOLTS);
		snprintf(p->at[p->entries], NAME_SIZE, "%s", at);
		p->hertz[p->points] = guide_hertz(&p->g);
		p->points += guide_hertz(&p->g) > 0;
		p->entries++;
		guide_input(&p->g, &(struct guide_input){.act = GUIDE_TAKEN, .t = p->t, .role = role,
		                                         .x = p->g.live[role], .seq = ++p->seq}, &p->last);
	}
	after(p);
}

/* Written and read again, as after a restart. */
static void restarted(struct play *p)
{
	char text[16384];
	struct text t;
	struct guide again;
	struct fault why;
	text_begin(&t, text, sizeof text);
	text_puts(&t, "{\"x\":0");
	guide_state_write(&p->g, &t);
	text_puts(&t, "}");
	assert_false(t.failed);
	assert_true(guide_begin(&again, GUIDE_RISE, &p->g.plan, &why));
	assert_true(guide_state_read(&again, text, t.len));
	assert_string_equal(guide_step_word(&again), guide_step_word(&p->g));
	p->g = again;
}

static void play(struct play *p, const struct guide_plan *plan, const struct amplifier *a,
                 const char *until, bool restarts)
{
	struct fault why;
	memset(p, 0, sizeof *p);
	if (!guide_begin(&p->g, GUIDE_RISE, plan, &why))
		fail_msg("%s", why.text);
	for (p->steps = 0; p->steps < 200 && !p->last.ended; p->steps++) {
		if (until && step_is(p, until))
			return;
		if (restarts)
			restarted(p);
		show(p, a);
		if (step_is(p, "soak"))
			soak(p, a);
		else
			go(p);
	}
	assert_true(p->last.ended);
}

static double number(const char *text, const char *path)
{
	double x = NAN;
	(void)json_number(json_member(text, strlen(text), path), &x);
	return x;
}

/* The member of the result for a station. */
static const char *result_of(const struct guide *g, const char *name, char one[1024])
{
	static char text[16384];
	struct text t;
	struct slice stations, s;
	size_t cursor = 0;
	text_begin(&t, text, sizeof text);
	text_puts(&t, "{\"x\":0");
	guide_result_write(g, &t);
	text_puts(&t, "}");
	assert_false(t.failed);
	assert_true(json_valid(text, t.len, NULL));
	stations = json_member(text, t.len, "result.stations");
	while (json_next(stations, &cursor, &s)) {
		if (!json_is(json_member(s.at, s.len, "position"), name))
			continue;
		snprintf(one, 1024, "%.*s", (int)s.len, s.at);
		return one;
	}
	one[0] = '\0';
	return one;
}

/* ---- the rail by the mains ---- */

static void a_rail_goes_with_the_mains(void **state)
{
	(void)state;
	static const struct {
		double nominal, mains, tap, loaded, unloaded;
	} row[] = {
	    {420, 230, 230, 420, 588}, {420, 57.5, 230, 105, 147}, {285, 240, 220, 310.91, 435.27},
	    {420, 0, 230, 0, 0}};
	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		struct guide_expected e = guide_rise_expected(row[i].nominal, row[i].mains, row[i].tap);
		assert_near(e.loaded, row[i].loaded, 0.01);
		assert_near(e.unloaded, row[i].unloaded, 0.01);
	}
}

/* ---- one that comes up ---- */

static void one_that_comes_up(void **state)
{
	(void)state;
	for (int restarts = 0; restarts < 2; restarts++) {
		struct play p;
		struct guide_plan plan;
		char one[1024];
		plan_rise(&plan);
		plan.ceiling = 600;
		play(&p, &plan, &good, NULL, restarts);
		assert_false(p.g.failed);
		assert_false(p.alarm);
		assert_int_equal(p.unit, GUIDE_UNIT_COLD);
		/* 2 rails, heater, ripple, 2 sense; again 2 and 2; 20 points, hum, 2 power. */
		assert_int_equal(p.entries, 6 + 4 + 20 + 3);
		assert_int_equal(p.points, 20);
		assert_near(p.hertz[0], 1000, 0);
		assert_near(p.hertz[1], 20, 0);
		assert_near(p.hertz[19], 20000, 0);
		assert_string_equal(p.at[0], "HT2");
		assert_string_equal(p.at[p.entries - 1], "LOAD2");
		/* 0.42 V over 10 ohm: 42 mA; 42.0 to 45.5 mA: 8.33 %; 42.0 and 38.5 mA: 8.70 % of their mean
		 * (computed). */
		result_of(&p.g, "R21", one);
		assert_near(number(one, "current.value"), 0.042, 1e-6);
		assert_near(number(one, "drift.value"), 8.3333, 1e-3);
		assert_near(number(one, "pair-difference.value"), 8.6957, 1e-3);
		assert_near(number(one, "watts"), (424 - 0.42) * 0.042, 1e-3);
		assert_near(number(one, "percent.value"), 71.16, 0.01);
		/* 12.65 V into 8 ohm: 20.0028 W (computed). */
		result_of(&p.g, "LOAD1", one);
		assert_near(number(one, "watts"), 20.0028, 1e-3);
		assert_near(number(one, "balance-dB"), 0, 1e-9);
		/* 2.83 V over 8 ohm, 2.90 V over 10 ohm. */
		assert_near(number(one, "output-impedance.value"), (2.83 - 2.9) / (2.9 / 10 - 2.83 / 8), 1e-3);
		result_of(&p.g, "HUM1", one);
		assert_near(number(one, "hum-dB"), 20 * log10(0.0021 / 12.65), 1e-3);
		/* 1.8 V on 424 V. */
		result_of(&p.g, "RIP1", one);
		assert_near(number(one, "ripple.value"), 100 * 1.8 / 424, 1e-3);
	}
}

static void nothing_is_logged_with_the_lamp_in(void **state)
{
	(void)state;
	struct play p;
	struct guide_plan plan;
	plan_rise(&plan);
	plan.ceiling = 600;
	play(&p, &plan, &good, "rails", false);
	assert_int_equal(p.entries, 0);
	assert_int_equal(p.unit, GUIDE_UNIT_LIVE);
	assert_true(p.g.slot[24].has); /* the heater was looked at */
}

/* ---- those that do not ---- */

static void but(struct amplifier *a, size_t offset, double value)
{
	*a = good;
	*(double *)(void *)((char *)a + offset) = value;
}

/* Said aloud in both languages, the danger by its own words. */
static void is_spoken(const char *text)
{
	static const enum language languages[] = {LANGUAGE_EN, LANGUAGE_DE};
	char words[2][GUIDE_WORDS_SIZE];
	for (int l = 0; l < 2; l++) {
		if (!guide_words(languages[l], GUIDE_SPOKEN, text, words[l], sizeof words[l]))
			fail_msg("nobody has words for: %s", text);
		note_row("%s", words[l]);
	}
	assert_string_not_equal(words[0], words[1]);
}

/* Each abort by itself: where it is met, and what is said. */
static void each_abort(void **state)
{
	(void)state;
	static const struct {
		const char *what;
		size_t member;
		double value;
		const char *at, *says; /* the last step before `off` */
	} row[] = {
	    {"volts without a rectifier", offsetof(struct amplifier, bare), 90, "transformer",
	     "with the rectifier out"},
	    {"shorted rectifier", offsetof(struct amplifier, unloaded), 6, "raise", "pulls it down"},
	    {"above the reservoirs", offsetof(struct amplifier, unloaded), 640, "raise", "above 600 V"},
	    {"beyond the meter's range", offsetof(struct amplifier, glow), INFINITY, "glow", "beyond the meter's range"},
	    {"another tap", offsetof(struct amplifier, unloaded), 700, "raise", "wrong tap"},
	    {"no bias", offsetof(struct amplifier, bias), -2, "bias", "run away"},
	    {"bias of the other sign", offsetof(struct amplifier, bias), 35, "bias", "run away"},
	    {"short behind the valves", offsetof(struct amplifier, glow), 12, "glow", "short"},
	    {"too much drawn", offsetof(struct amplifier, on), 250, "on", "too much is drawn"},
	    {"valve above its limit", offsetof(struct amplifier, sense), 0.7, "sense", "above its 25 W"},
	    {"bias drifts", offsetof(struct amplifier, creep), 0.03, "soak", "runs away"},
	};
	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		struct play p;
		struct guide_plan plan;
		struct amplifier a;
		char text[GUIDE_TEXT];
		note_row("%s", row[i].what);
		plan_rise(&plan);
		plan.ceiling = 600;
		but(&a, row[i].member, row[i].value);
		play(&p, &plan, &a, "off", false);
		assert_true(p.g.failed);
		assert_true(p.alarm);
		assert_non_null(strstr(p.text, "SWITCH OFF"));
		assert_non_null(strstr(p.text, row[i].says));
		is_spoken(p.text);
		guide_say(&p.g, text, sizeof text);
		assert_non_null(strstr(text, "SWITCH OFF"));
		/* The same amplifier reaches that step, and one that is good goes past it. */
		struct play q;
		play(&q, &plan, &a, row[i].at, false);
		assert_false(q.g.failed);
		play(&q, &plan, &good, "power", false);
		assert_false(q.g.failed);
		/* Off it stays: going on ends it, cold. */
		go(&p);
		assert_true(p.last.ended);
		assert_int_equal(p.unit, GUIDE_UNIT_COLD);
	}
}

/* A bias that creeps, not far enough to run away, but above the valve's watts. */
static void too_hot_in_the_soak(void **state)
{
	(void)state;
	struct play p;
	struct guide_plan plan;
	struct amplifier a = good;
	plan_rise(&plan);
	plan.ceiling = 600;
	a.sense[1] = 0.56; /* 23.5 W of 25 */
	a.creep = 0.01;
	play(&p, &plan, &a, "off", false);
	assert_true(p.g.failed && p.alarm);
	assert_non_null(strstr(p.text, "the valve at R22 has 25.0 W, above its 25 W"));
	is_spoken(p.text);
}

static void a_spark_is_no_abort(void **state)
{
	(void)state;
	struct play p;
	struct guide_plan plan;
	struct guide_out out;
	plan_rise(&plan);
	plan.ceiling = 600;
	play(&p, &plan, &good, "on", false);
	struct guide_input in = {.act = GUIDE_READING, .t = p.t, .role = RAIL, .x = {4000, 1}};
	guide_input(&p.g, &in, &out);
	assert_false(out.alarm);
	in.x.value = 420;
	guide_input(&p.g, &in, &out);
	in.x.value = 4000;
	guide_input(&p.g, &in, &out);
	assert_false(out.alarm);
	guide_input(&p.g, &in, &out);
	assert_true(out.alarm);
	assert_string_equal(guide_step_word(&p.g), "off");
}

static void nobody_goes_on_blind(void **state)
{
	(void)state;
	static const char *const steps[] = {"transformer", "raise", "bias", "glow", "on"};
	for (size_t i = 0; i < sizeof steps / sizeof *steps; i++) {
		struct play p;
		struct guide_plan plan;
		struct guide_out out;
		struct fault why;
		plan_rise(&plan);
		plan.ceiling = 600;
		play(&p, &plan, &good, steps[i], false);
		for (int r = 0; r < GUIDE_ROLES; r++)
			guide_input(&p.g, &(struct guide_input){.act = GUIDE_AWAY, .role = r}, &out);
		assert_false(guide_may_go(&p.g, &why));
	}
}

/* A rectifier with a heater gives nothing at 25 and 50 %. */
static void a_valve_rectifier_is_cold_at_first(void **state)
{
	(void)state;
	for (int valve = 0; valve < 2; valve++) {
		struct play p;
		struct guide_plan plan;
		struct guide_out out;
		plan_rise(&plan);
		plan.rectifier_valve = valve;
		play(&p, &plan, &good, "raise", false);
		guide_input(&p.g, &(struct guide_input){.act = GUIDE_READING, .t = p.t, .role = RAIL,
		                                        .x = {0.5, 0.1}}, &out);
		guide_input(&p.g, &(struct guide_input){.act = GUIDE_GO, .t = p.t}, &out);
		assert_int_equal(p.g.failed, !valve);
	}
}

/* Silence is not soaked, and a restart loses at most the minute that was not kept. */
static void a_soak_counts_what_was_watched(void **state)
{
	(void)state;
	struct play p;
	struct guide_plan plan;
	struct guide_out out;
	plan_rise(&plan);
	plan.ceiling = 600;
	play(&p, &plan, &good, "soak", false);
	struct fault why;
	assert_false(guide_may_go(&p.g, &why));
	struct guide_input in = {.act = GUIDE_READING, .t = p.t, .role = RAIL, .x = {420, 1}};
	int kept = 0;
	for (int s = 0; s < 600; s++) {
		in.t += 1000000;
		guide_input(&p.g, &in, &out);
		kept += out.keep;
	}
	double soaked = p.g.slot[3].value;
	assert_near(soaked, 600, 10);
	assert_true(kept >= 9 && kept <= 11);
	in.t += INT64_C(3600000000);
	guide_input(&p.g, &in, &out);
	assert_near(p.g.slot[3].value, soaked, 1e-9);
	restarted(&p);
	assert_near(p.g.slot[3].value, soaked, 1e-9);
	in.t = 5; /* the stream begins anew */
	guide_input(&p.g, &in, &out);
	in.t += 1000000;
	guide_input(&p.g, &in, &out);
	assert_near(p.g.slot[3].value, soaked + 1, 1e-9);
}

static void back_within_what_is_measured(void **state)
{
	(void)state;
	struct play p;
	struct guide_plan plan;
	struct guide_out out;
	enum quantity q;
	const char *at;
	plan_rise(&plan);
	plan.ceiling = 600;
	play(&p, &plan, &good, "ripple", false);
	guide_input(&p.g, &(struct guide_input){.act = GUIDE_BACK}, &out);
	assert_string_equal(guide_step_word(&p.g), "heated");
	guide_input(&p.g, &(struct guide_input){.act = GUIDE_BACK}, &out);
	assert_string_equal(guide_step_word(&p.g), "rails");
	(void)guide_takes(&p.g, &q, &at);
	assert_string_equal(at, "HT2");
	/* Not over a switch. */
	guide_input(&p.g, &(struct guide_input){.act = GUIDE_BACK}, &out);
	assert_string_equal(guide_step_word(&p.g), "rails");
	assert_non_null(strstr(out.text, "no way back"));
	play(&p, &plan, &good, "response", false);
	show(&p, &good);
	go(&p);
	assert_near(guide_hertz(&p.g), 20, 0);
	guide_input(&p.g, &(struct guide_input){.act = GUIDE_BACK}, &out);
	assert_near(guide_hertz(&p.g), 1000, 0);
}

/* Without a load the rail goes to its peak: no stage asks for more than the reservoirs bear. */
static void no_stage_passes_the_ceiling(void **state)
{
	(void)state;
	struct play p;
	struct guide_plan plan;
	char text[4096];
	double before = 0;
	int stages = 0;
	plan_rise(&plan);
	plan.ceiling = 400;
	play(&p, &plan, &good, "raise", false);
	while (step_is(&p, "raise")) {
		struct text t;
		text_begin(&t, text, sizeof text);
		text_puts(&t, "{\"x\":0");
		guide_look(&p.g, &t);
		text_puts(&t, "}");
		double mains = number(text, "mains"), most = number(text, "expected-unloaded");
		assert_true(most < 400 && mains > before);
		before = mains;
		stages++;
		reads(&p, RAIL, most * 0.98);
		go(&p);
		assert_false(p.g.failed);
	}
	assert_int_equal(stages, 3); /* 57.5 V, 115 V, and 152 V of 230 V */
}

static void the_wrong_function_is_no_value(void **state)
{
	(void)state;
	static const struct {
		const char *step;
		enum function reads;
		bool may;
	} row[] = {
	    {"rails", FUNCTION_VOLT_DC, true}, {"rails", FUNCTION_VOLT_AC, false},
	    {"ripple", FUNCTION_VOLT_AC, true}, {"ripple", FUNCTION_VOLT_DC, false},
	    {"sense", FUNCTION_VOLT_DC, true}, {"sense", FUNCTION_OHM, false},
	    {"bias", FUNCTION_VOLT_AC, false}, {"bias", FUNCTION_VOLT_DC, true},
	    {"hum", FUNCTION_VOLT_DC, false}, {"power", FUNCTION_VOLT_AC, true}};
	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		struct play p;
		struct guide_plan plan;
		struct guide_out out;
		struct fault why;
		plan_rise(&plan);
		plan.ceiling = 600;
		play(&p, &plan, &good, row[i].step, false);
		for (int r = 0; r < GUIDE_ROLES; r++)
			guide_input(&p.g, &(struct guide_input){.act = GUIDE_READING, .t = p.t, .role = r,
			                                        .function = row[i].reads, .x = {0.1, 0.01}}, &out);
		assert_int_equal(guide_may_go(&p.g, &why), row[i].may);
	}
}

/* A sheet with a rail alone, one meter: short, and still in order. */
static void one_rail_one_meter(void **state)
{
	(void)state;
	struct play p;
	struct guide_plan plan;
	guide_plan_empty(&plan);
	plan.there[RAIL] = true;
	plan.soak = 0;
	station(&plan, "HT1", GUIDE_RAIL, 420, NAN, "");
	play(&p, &plan, &good, NULL, true);
	assert_false(p.g.failed);
	assert_int_equal(p.entries, 1);
	assert_string_equal(p.at[0], "HT1");
}

static void what_a_plan_needs(void **state)
{
	(void)state;
	struct guide_plan plan;
	struct guide g;
	struct fault why;
	plan_rise(&plan);
	plan.stations = 2;
	assert_false(guide_begin(&g, GUIDE_RISE, &plan, &why));
	assert_non_null(strstr(why.text, "no rail"));
	plan_rise(&plan);
	plan.mains = 400;
	assert_false(guide_begin(&g, GUIDE_RISE, &plan, &why));
}

/* The dry text is kept here: whoever changes a step sees it. */
static void the_dry_road(void **state)
{
	(void)state;
	struct guide_plan plan;
	struct guide g;
	struct fault why;
	struct text t;
	char text[8192];
	static const char *const order[] = {
	    "caution: ", "caution: never alone", "1  caution", "2  ready", "3  load", "4  bare", "5  transformer",
	    "6  heaters", "7  rectifier", "8  raise: mains at 25, 50, 75 and 100 %", "9  bias", "10  valves",
	    "11  glow", "12  lamp", "13  on", "14  rails", "15  heated", "16  ripple", "17  sense", "18  soak",
	    "19  sense-after", "20  rails-after", "21  signal", "22  response", "23  second-load", "24  hum",
	    "25  power", "26  off"};
	plan_rise(&plan);
	assert_true(guide_begin(&g, GUIDE_RISE, &plan, &why));
	text_begin(&t, text, sizeof text);
	guide_dry(&g, &t);
	const char *at = text;
	for (size_t i = 0; i < sizeof order / sizeof *order; i++) {
		at = strstr(at, order[i]);
		if (!at)
			fail_msg("not there, or out of order: %s in\n%s", order[i], text);
	}
	assert_null(strstr(text, "%%"));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(a_rail_goes_with_the_mains), cmocka_unit_test(one_that_comes_up),
	    cmocka_unit_test(nothing_is_logged_with_the_lamp_in), cmocka_unit_test(each_abort), cmocka_unit_test(too_hot_in_the_soak),
	    cmocka_unit_test(a_spark_is_no_abort), cmocka_unit_test(nobody_goes_on_blind),
	    cmocka_unit_test(a_valve_rectifier_is_cold_at_first),
	    cmocka_unit_test(a_soak_counts_what_was_watched),
	    cmocka_unit_test(back_within_what_is_measured),
	    cmocka_unit_test(no_stage_passes_the_ceiling),
	    cmocka_unit_test(the_wrong_function_is_no_value), cmocka_unit_test(one_rail_one_meter),
	    cmocka_unit_test(what_a_plan_needs), cmocka_unit_test(the_dry_road)};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

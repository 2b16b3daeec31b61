/* SPDX-License-Identifier: MIT */
/*
 * `tally bench --plain`: one line an event, for screen readers and Braille lines.
 *
 *     up R3, anode load, left, input stage, nominal 100 kohm
 *     logged R3, 131.20 kohm, outside, 31.2 % high; carbon, drifted up
 *
 * The word that says what happened stands first, so that it is heard first.  The verdict
 * is said only where it is not `within`.
 */
#include "client/view_bench.h"

#include <stdio.h>
#include <string.h>

static const char *const words[HAPPENING_COUNT] = {
	[HAPPENED_LOGGED] = "logged", [HAPPENED_OUTSIDE] = "logged", [HAPPENED_UNSURE] = "logged",
	[HAPPENED_HELD] = "held", [HAPPENED_REFUSED] = "refused", [HAPPENED_MOVING] = "keeps moving",
	[HAPPENED_DOUBT] = "doubt, could be floating", [HAPPENED_GONE] = "gone",
	[HAPPENED_BACK] = "back", [HAPPENED_STALE] = "stale, no value stands",
	[HAPPENED_NOT_LOGGED] = "NOT LOGGED", [HAPPENED_UP] = "up",
	[HAPPENED_LIVE] = ("the unit is LIVE: valve equipment kills; one hand, rated probes, never "
	                   "alone; ohm and farad are refused"),
	[HAPPENED_COLD] = "the unit is cold",
	[HAPPENED_GUIDE] = "next",
	[HAPPENED_ALARM] = "ALARM",
	[HAPPENED_DISAGREE] = "two answers",
};

static void part(struct lines *out, const char *before, const char *text, const char **gap)
{
	if (!text || !text[0])
		return;
	lines_printf(out, "%s%s%s", *gap, before, text);
	*gap = ", ";
}

void view_bench_told(const struct style *style, const struct happening_told *t,
                     struct lines *out)
{
	const char *gap = " ";
	bool bad = t->what == HAPPENED_OUTSIDE || t->what == HAPPENED_UNSURE;
	(void)style;
	lines_puts(out, words[t->what]);
	bool line = t->what == HAPPENED_GONE || t->what == HAPPENED_BACK;
	if (line)
		part(out, t->meter ? "meter " : "", t->meter ? t->meter : "daemon", &gap);
	else if (t->what != HAPPENED_DISAGREE) /* its sentence names all */
		part(out, "", t->position, &gap);
	/* Said first where it is another than usual, for it changes what the number means. */
	part(out, "", t->alarm, &gap);
	if (t->quantity && strcmp(t->quantity, "value") != 0 && t->what != HAPPENED_DISAGREE)
		part(out, "", t->quantity, &gap);
	if (t->typed)
		part(out, "typed from ", t->meter ? t->meter : "an instrument", &gap);
	if (t->what == HAPPENED_UP) {
		part(out, "", t->role, &gap);
		part(out, "", t->place, &gap);
		part(out, "nominal ", t->shown, &gap);
	} else {
		part(out, "", t->shown, &gap);
	}
	part(out, "looks like ", t->looks, &gap);
	if (bad)
		part(out, "", t->verdict, &gap);
	if (t->what == HAPPENED_STALE || t->what == HAPPENED_MOVING || t->what == HAPPENED_ALARM)
		part(out, "meter ", t->meter, &gap);
	if (gap[0] == ' ' && t->why)
		gap = ": ";
	if (t->what != HAPPENED_LOGGED)
		part(out, "", t->why, &gap);
	part(out, "", t->next, &gap);
	lines_puts(out, "\n");
}

void view_bench_status(const struct style *style, const struct scene *s, int64_t now,
                       struct lines *out)
{
	const struct keys none = {.mode = KEYS_ACT};
	struct bench_view v = {.scene = s, .keys = &none, .style = style, .now = now};
	char state[80];
	enum look look;
	view_bench_state(&v, state, sizeof state, &look);
	for (int i = 0; i < s->alarms; i++)
		lines_printf(out, "ALARM %s%s%s, %s\n", s->alarm[i].word, s->alarm[i].meter[0] ? ", meter " : "",
		             s->alarm[i].meter, s->alarm[i].text);
	lines_printf(out, "state %s\n", state);
	lines_printf(out, "job %s, %s, %s, %s, walk %s%s%s\n", s->job[0] ? s->job : "none",
	             !s->unit_known ? "cold or live not known" : !s->live ? "cold"
	             : s->discharging ? "LIVE, discharging" : "LIVE", s->condition, s->reach,
	             s->walk, s->order[0] ? " by " : "", s->order);
	if (s->position[0])
		lines_printf(out, "position %s, %s, %s%snominal %s %s\n", s->position, s->quantity,
		             s->role, s->role[0] ? ", " : "", s->nominal[0] ? s->nominal : "not given",
		             s->tolerance);
	else
		lines_puts(out, "position none\n");
	const char *verdict = "", *twin = scene_twin_shown(s, &verdict);
	if (s->position[0] && s->twin[0])
		lines_printf(out, "twin %s, %s%s%s\n", s->twin, twin[0] ? twin : "nothing yet",
		             verdict[0] ? ", " : "", verdict);
	if (s->position[0] && s->before[0])
		lines_printf(out, "%s\n", s->before);
	for (int i = 0; i < s->meters; i++)
		lines_printf(out, "meter %s, %s%s%s%s%s\n", s->meter[i].name,
		             scene_stands(s, &s->meter[i], now) ? s->meter[i].shown : s->meter[i].state,
		             s->meter[i].touching ? ", touching" : "", s->meter[i].bound[0] ? ", bound to " : "",
		             s->meter[i].bound, "");
	lines_printf(out, "measured %d of %d positions\n", s->done, s->positions);
	if (s->health[0])
		lines_printf(out, "log %s\n", s->health);
}

void view_bench_words(struct lines *out)
{
	for (int i = 1; i < ACTION_COUNT; i++)
		lines_printf(out, "%s%s%s: %s%s%s\n", action_table[i].word,
		             action_table[i].typed ? " " : "",
		             action_table[i].typed ? action_table[i].typed : "", action_table[i].help,
		             keys_asks((enum action)i)[0] ? "; " : "", keys_asks((enum action)i));
}

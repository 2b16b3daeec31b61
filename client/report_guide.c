/* SPDX-License-Identifier: MIT */
/*
 * Guided runs in the report: leakage, re-forming, bringing up the power, setting by ear, sorting.
 *
 * A run is what stands between a `guide` record whose event is `begun` and the one that ends it,
 * of the same `guide` and `of`; several may go on at once.  A kind, a step or a member of a result
 * that is not known here is told by its own word, so that a later program's log loses nothing.
 */
#include "client/array.h"
#include "client/command_calls.h"
#include "client/command_trail.h"
#include "client/report_guide_inside.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Is that record told here, so that the table of what happened leaves it out? */
static bool report_guide_tells(const struct report_record *one)
{
	return strcmp(one->kind, "guide") == 0;
}

/* ---- which records are one run ---- */

static bool same_run(const struct report_record *a, const struct report_record *b)
{
	char kind[32], of[64];
	words_member(a->record, "guide", kind, sizeof kind);
	words_member(a->record, "of", of, sizeof of);
	return words_member_is(b->record, "guide", kind) && words_member_is(b->record, "of", of);
}

const char *report_guide_end(const struct report_record *one)
{
	static const char *const ends[] = {"done", "stopped", "left"};
	for (size_t i = 0; i < sizeof ends / sizeof *ends; i++)
		if (words_member_is(one->record, "event", ends[i]))
			return ends[i];
	return NULL;
}

static void add_record(struct report *r, struct report_guide *g, const struct report_record *one)
{
	if (!array_grow(&r->no_memory, &g->record, g->records, sizeof *g->record))
		return;
	g->record[g->records++] = one;
	g->from = g->records == 1 || one->t < g->from ? one->t : g->from;
	g->to = one->t > g->to ? one->t : g->to;
	g->ended = report_guide_end(one);
}

/* The open one of its kind and place; what does not begin with `begun` opens one, too. */
static struct report_guide *run_of(struct report *r, const struct report_record *one)
{
	if (!words_member_is(one->record, "event", "begun"))
		for (int i = r->guides - 1; i >= 0; i--)
			if (!r->guide[i].ended && same_run(r->guide[i].record[0], one))
				return &r->guide[i];
	if (!array_grow(&r->no_memory, &r->guide, r->guides, sizeof *r->guide))
		return NULL;
	memset(&r->guide[r->guides], 0, sizeof *r->guide);
	return &r->guide[r->guides++];
}

/* ---- what its meters read ---- */

/* Readings that a picture is worth. */
#define PICTURE_READINGS 8

/* The functions that the meter read in that time, the most read first: a probe that wanders reads
 * volts dc here and volts ac there. */
static int functions_read(struct client *c, const struct report_guide *g, const char *meter,
                          enum function out[FUNCTION_COUNT])
{
	struct message m;
	struct slice one;
	char word[24];
	int64_t count[FUNCTION_COUNT] = {0}, n = 0, from = 0, to = 0;
	int found = 0;
	if (client_ask(c, "trail.lines", client_params("meter", meter, NULL), &m) == OUTCOME_DONE) {
		struct slice list = json_member(m.result.at, m.result.len, "lines");
		for (size_t cursor = 0; list.at && json_next(list, &cursor, &one);) {
			enum function f = FUNCTION_NONE;
			words_member(one, "function", word, sizeof word);
			if (function_from_name(word, strlen(word), &f) &&
			    json_int(json_member(one.at, one.len, "readings"), &n) &&
			    json_time(json_member(one.at, one.len, "from"), &from) &&
			    json_time(json_member(one.at, one.len, "to"), &to) && from < g->to && to > g->from)
				count[f] += n;
		}
	}
	message_free(&m);
	for (int best; found < FUNCTION_COUNT; out[found++] = (enum function)best) {
		best = 0;
		for (int f = 1; f < FUNCTION_COUNT; f++)
			best = count[f] > count[best] ? f : best;
		if (!count[best] || (found && count[best] < PICTURE_READINGS))
			break;
		count[best] = 0;
	}
	return found;
}

static enum outcome add_panel(struct client *c, struct report *r, struct report_guide *g,
                              const char *role, const char *meter, enum function f)
{
	struct message m;
	struct report_guide_panel *p = &g->panel[g->panels];
	memset(p, 0, sizeof *p);
	snprintf(p->role, sizeof p->role, "%s", role);
	snprintf(p->panel.meter, sizeof p->panel.meter, "%s", meter);
	p->panel.function = f;
	json_t *params = client_params("meter", meter, "function", function_name(f), NULL);
	trail_time_param(params, "from", g->from);
	trail_time_param(params, "to", g->to);
	json_object_set_new(params, "columns", json_integer(REPORT_GUIDE_COLUMNS));
	enum outcome outcome = client_ask(c, "trail.envelope", params, &m);
	if (outcome == OUTCOME_DONE &&
	    !trail_columns_take(&p->panel, json_member(m.result.at, m.result.len, "columns")))
		r->no_memory = true;
	message_free(&m);
	g->panels += p->panel.columns > 0;
	return outcome;
}

static enum outcome add_meter(struct client *c, struct report *r, struct report_guide *g, const char *role,
                              const char *meter)
{
	enum function read[FUNCTION_COUNT];
	enum outcome outcome = OUTCOME_DONE;
	int n = g->to > g->from ? functions_read(c, g, meter, read) : 0;
	for (int i = 0; i < n && outcome == OUTCOME_DONE && g->panels < REPORT_GUIDE_PANELS; i++)
		outcome = add_panel(c, r, g, role, meter, read[i]);
	return outcome; /* no reading of it is left: no picture */
}

/* "meters":{"grid":"red","rail":"blue"}, as its first record says. */
static enum outcome add_panels(struct client *c, struct report *r, struct report_guide *g)
{
	struct slice record = g->record[0]->record;
	json_t *meters = NULL, *value;
	const char *role;
	struct slice text = json_member(record.at, record.len, "meters");
	enum outcome outcome = OUTCOME_DONE;
	if (text.at)
		meters = json_loadb(text.at, text.len, 0, NULL);
	json_object_foreach(meters, role, value)
		if (outcome == OUTCOME_DONE && json_is_string(value))
			outcome = add_meter(c, r, g, role, json_string_value(value));
	json_decref(meters);
	return outcome;
}

enum outcome report_guide_gather(struct client *c, struct report *r)
{
	enum outcome outcome = OUTCOME_DONE;
	for (int i = 0; i < r->records && !r->no_memory; i++) {
		struct report_guide *g =
		    report_guide_tells(&r->record[i]) ? run_of(r, &r->record[i]) : NULL;
		if (g)
			add_record(r, g, &r->record[i]);
	}
	for (int i = 0; i < r->guides && outcome == OUTCOME_DONE && !r->no_memory; i++)
		if (r->guide[i].records)
			outcome = add_panels(c, r, &r->guide[i]);
	return outcome;
}

void report_guide_free(struct report *r)
{
	for (int i = 0; i < r->guides; i++) {
		free(r->guide[i].record);
		for (int k = 0; k < REPORT_GUIDE_PANELS; k++)
			free(r->guide[i].panel[k].panel.column);
	}
	free(r->guide);
}

/* ---- what is told ---- */

static void title_of(const struct report *r, const struct report_guide *g, char *out, size_t size)
{
	char kind[48], of[64];
	words_member(g->record[0]->record, "guide", kind, sizeof kind);
	words_member(g->record[0]->record, "of", of, sizeof of);
	snprintf(out, size, "%s%s%s: %s", WORD(r, KIND, kind), of[0] ? ", " : "", of,
	         g->ended ? WORD(r, END, g->ended) : SAY(r, "not ended", "nicht beendet"));
}

/* The entry that a run's leakage was worked out from; *struck: one of them counts no more. */
static const struct report_entry *rests_on(const struct report *r, struct slice record, bool *struck)
{
	static const char *const slots[] = {"zero", "volts", "drop"};
	const struct report_entry *last = NULL;
	char path[40];
	int64_t seq;
	for (size_t i = 0; i < sizeof slots / sizeof *slots; i++) {
		snprintf(path, sizeof path, "values.%s.seq", slots[i]);
		const struct report_entry *e = json_int(json_member(record.at, record.len, path), &seq) ?
		                               report_entry(r, seq) : NULL;
		*struck = *struck || (e && (!json_absent(e->struck) || !json_absent(e->moved)));
		last = e && e->quantity == QUANTITY_LEAKAGE ? e : last;
	}
	return last;
}

bool report_guide_leakage(const struct report *r, const char *position, char *out, size_t size,
                          const struct report_entry **rests, bool *outside)
{
	char verdict[16], value[96];
	for (int i = r->guides - 1; i >= 0; i--) {
		const struct report_guide *g = &r->guide[i];
		const struct report_record *end = g->records ? g->record[g->records - 1] : NULL;
		bool struck = false;
		if (!g->ended || !strcmp(g->ended, "left") || strcmp(end->position, position) ||
		    (!words_member_is(end->record, "guide", "leak") &&
		     !words_member_is(end->record, "guide", "reform")) ||
		    !report_guide_measured(r, json_member(end->record.at, end->record.len, "result.leakage"), value,
		              sizeof value))
			continue;
		*rests = rests_on(r, end->record, &struck);
		if (struck)
			continue;
		words_member(end->record, "result.verdict", verdict, sizeof verdict);
		*outside = !strcmp(verdict, "outside");
		snprintf(out, size, "%s %s, %s (%s%s)", SAY(r, "leakage", "Leckstrom"), value,
		         report_verdict(r, !strcmp(verdict, "within") ? REPORT_WITHIN
		                        : !strcmp(verdict, "unsure") ? REPORT_UNSURE
		                        : *outside ? REPORT_OUTSIDE : REPORT_NONE),
		         SAY(r, "calculated, guided run", "berechnet, geführter Lauf"),
		         !strcmp(g->ended, "stopped") ? SAY(r, ", given up", ", abgebrochen") : "");
		return true;
	}
	return false;
}

void report_guides(const struct report *r, struct paper *p)
{
	char title[200], heading[240];
	struct lines svg = {0};
	if (!r->guides)
		return;
	paper_heading(p, 2, "guides", SAY(r, "Guided runs", "Geführte Läufe"));
	paper_text(p, PAPER_SMALL, SAY(r, "Step by step, with the cautions read first. Results are "
	                                  "calculated from the entries named.",
	                               "Schritt für Schritt, nach den Vorsichtsregeln. Ergebnisse sind "
	                               "aus den genannten Einträgen berechnet."));
	for (int i = 0; i < r->guides; i++) {
		const struct report_guide *g = &r->guide[i];
		if (!g->records)
			continue;
		title_of(r, g, title, sizeof title);
		snprintf(heading, sizeof heading, "%d. %s", i + 1, title);
		paper_heading(p, 3, NULL, heading);
		report_guide_result(r, g, p);
		svg.len = 0;
		report_guide_picture(r, g, i, title, &svg);
		if (svg.len)
			paper_picture(p, REPORT_GUIDE_WIDTH, report_guide_height(g), lines_text(&svg));
		report_guide_steps(r, g, p);
	}
	lines_free(&svg);
}

void report_guide_owner(const struct report *r, struct paper *p)
{
	struct lines item = {0};
	char title[200];
	int n = 0;
	for (int i = 0; i < r->guides; i++) {
		if (!r->guide[i].records || n >= 8)
			continue;
		title_of(r, &r->guide[i], title, sizeof title);
		lines_printf(&item, "%s%s", n++ ? "; " : "", title);
	}
	if (n) {
		char *text = strdup(lines_text(&item));
		item.len = 0;
		lines_printf(&item, "%s: %s.", SAY(r, "Guided runs", "Geführte Läufe"), text ? text : "");
		free(text);
		paper_item(p, lines_text(&item));
	}
	lines_free(&item);
}

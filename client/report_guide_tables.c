/* SPDX-License-Identifier: MIT */
/* A guided run as tables: its steps with what each one logged, and its result. */
#include "client/report_guide_inside.h"

#include "client/guide_words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- its steps ---- */

/* The entries that a record names and an earlier one did not. */
static void new_entries(const struct report *r, struct slice record, struct slice before,
                        char *out, size_t size)
{
	struct slice values = json_member(record.at, record.len, "values");
	struct slice old = json_member(before.at, before.len, "values");
	json_t *all = values.at ? json_loadb(values.at, values.len, 0, NULL) : NULL, *one;
	json_t *seen = old.at ? json_loadb(old.at, old.len, 0, NULL) : NULL;
	const char *name;
	out[0] = '\0';
	json_object_foreach(all, name, one) {
		json_int_t seq = json_integer_value(json_object_get(one, "seq"));
		char text[200], shown[96];
		if (!seq || json_integer_value(json_object_get(json_object_get(seen, name), "seq")) == seq)
			continue;
		const struct report_entry *e = report_entry(r, seq);
		if (e)
			report_value(r, e->shown, shown, sizeof shown);
		else
			report_guide_number(r, json_number_value(json_object_get(one, "value")), shown, sizeof shown);
		snprintf(text, sizeof text, "%s%s%s (%s %lld)", e ? e->position : WORD(r, MEMBER, name),
		         e ? ": " : " ", shown, SAY(r, "entry", "Eintrag"), (long long)seq);
		report_guide_put(out, size, "\n", text);
	}
	json_decref(all);
	json_decref(seen);
}

/* What was sealed only to be taken up again says nothing new. */
static bool same_step(struct slice a, struct slice b)
{
	char step[64], event[32], failed[200];
	words_member(a, "step", step, sizeof step);
	words_member(a, "event", event, sizeof event);
	words_member(a, "failed", failed, sizeof failed);
	return words_member_is(b, "step", step) && words_member_is(b, "event", event) &&
	       (!failed[0] || words_member_is(b, "failed", failed));
}

void report_guide_steps(const struct report *r, const struct report_guide *g, struct paper *p)
{
	const struct paper_column columns[] = {
		{SAY(r, "after", "nach"), 2, false}, {SAY(r, "step", "Schritt"), 6, false},
		{SAY(r, "logged", "verzeichnet"), 6, false}, {SAY(r, "said", "gesagt"), 5, false}};
	char when[40], text[WORDS_SIZE], said[WORDS_SIZE];
	struct slice before = {NULL, 0};
	char caption[120], kind[48];
	words_member(g->record[0]->record, "guide", kind, sizeof kind);
	report_time(r, g->from, false, when, sizeof when);
	snprintf(caption, sizeof caption, SAY(r, "Its steps, from %s", "Seine Schritte, ab %s"), when);
	paper_table(p, caption, columns, 4);
	for (int i = 0; i < g->records; i++) {
		struct slice record = g->record[i]->record;
		/* What a step logged is in the record with which the next one begins. */
		struct slice after = i + 1 < g->records ? g->record[i + 1]->record : record;
		new_entries(r, after, record, text, sizeof text);
		if (i && i + 1 < g->records && same_step(record, before) && !text[0])
			continue;
		paper_row(p, NULL);
		long long s = (g->record[i]->t - g->from) / 1000000;
		paper_cell_printf(p, PAPER_PLAIN, "%lld:%02lld:%02lld", s / 3600, s / 60 % 60, s % 60);
		words_member(record, "step", said, sizeof said);
		snprintf(said, sizeof said, "%s", report_guide_step(r, kind, said));
		if (report_guide_end(g->record[i]))
			snprintf(said, sizeof said, "%s", WORD(r, END, report_guide_end(g->record[i])));
		paper_cell(p, PAPER_PLAIN, said);
		paper_cell(p, PAPER_PLAIN, text);
		words_member(record, i ? "failed" : "said", said, sizeof said);
		if (i && r->german) {
			char german[GUIDE_WORDS_SIZE];
			if (guide_words(LANGUAGE_DE, GUIDE_WRITTEN, said, german, sizeof german))
				snprintf(said, sizeof said, "%.*s", (int)words_cut(german, strlen(german), sizeof said - 1), german);
		}
		if (!i && said[0]) {
			char with[WORDS_SIZE];
			snprintf(with, sizeof with, "%s %.400s", SAY(r, "with", "mit"), said);
			snprintf(said, sizeof said, "%s", with);
		}
		if (json_bool(json_member(record.at, record.len, "alarm"), false))
			report_guide_put(said, sizeof said, "; ", SAY(r, "DANGER: a limit was passed",
			                                 "GEFAHR: eine Grenze war überschritten"));
		paper_cell(p, PAPER_PLAIN, said);
		before = record;
	}
	paper_table_end(p);
}

/* ---- its result ---- */

static bool bound(const char *name)
{
	static const char *const bounds[] = {"most", "low", "high", "target", "nominal"};
	for (size_t i = 0; i < sizeof bounds / sizeof *bounds; i++)
		if (strcmp(bounds[i], name) == 0)
			return true;
	return false;
}

/* A member that has a column of its own, as the text of its cell; taken out of `one`. */
static void station_cell(const struct report *r, struct paper *p, json_t *one, const char *member)
{
	char text[300] = "", spread[64], key[48];
	json_t *value = json_object_get(one, member), *u;
	char *flat = value ? json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT) : NULL;
	snprintf(key, sizeof key, "%s-u", member);
	u = json_object_get(one, key);
	if (json_is_number(value) && json_is_number(u)) {
		/* Watts are no unit of a reading. */
		report_like(r, json_number_value(value), 3, "1", text, sizeof text);
		report_like(r, 2 * json_number_value(u), 2, "1", spread, sizeof spread);
		report_guide_put(text, sizeof text, " ± ", spread);
		report_guide_put(text, sizeof text, "\xc2\xa0", report_guide_unit(member));
	} else if (json_is_number(value)) {
		report_guide_member(r, member, json_number_value(value), text, sizeof text);
	} else if (flat) {
		report_guide_value(r, (struct slice){flat, strlen(flat)}, 1, text, sizeof text);
	}
	free(flat);
	json_object_del(one, member);
	json_object_del(one, key);
	paper_cell(p, PAPER_PLAIN, text);
}

/* What was measured at each place of a run, a row each; what has no column stands in the last. */
static void stations(const struct report *r, json_t *list, struct paper *p)
{
	static const char *const members[] = {"volts", "volts-after", "drift", "current", "watts",
	                                      "percent", "watts-verdict"};
	const struct paper_column columns[] = {
		{SAY(r, "position", "Position"), 7, false}, {SAY(r, "volts", "Spannung"), 5, false},
		{SAY(r, "after the soak", "nach dem Warmlauf"), 5, false},
		{SAY(r, "drift", "Drift"), 5, false}, {SAY(r, "current", "Strom"), 5, false},
		{SAY(r, "watts", "Leistung"), 5, false}, {SAY(r, "of its maximum", "vom Max."), 5, false},
		{SAY(r, "verdict", "Urteil"), 5, false}, {SAY(r, "besides", "außerdem"), 6, false}};
	char text[400];
	json_t *one;
	size_t i;
	paper_table(p, SAY(r, "What it read, place by place", "Was angezeigt wurde, Stelle für Stelle"),
	            columns, 9);
	json_array_foreach(list, i, one) {
		const char *at = json_string_value(json_object_get(one, "position"));
		const char *what = json_string_value(json_object_get(one, "what"));
		paper_row(p, NULL);
		paper_cell_printf(p, PAPER_PLAIN, "%s%s%s", at, what ? "\n" : "", what ? WORD(r, VALUE, what) : "");
		for (size_t k = 0; k < sizeof members / sizeof *members; k++)
			station_cell(r, p, one, members[k]);
		json_object_del(one, "position");
		json_object_del(one, "what");
		text[0] = '\0';
		report_guide_flat(r, one, 1, text, sizeof text);
		paper_cell(p, PAPER_SMALL, text);
	}
	paper_table_end(p);
}

/* Pairs of a lot: "parts 1 and 4, for R1, R2: 0.02 % apart" */
static void pairs(const struct report *r, json_t *list, struct paper *p)
{
	char text[500], number[40];
	json_t *one, *place;
	size_t i, k;
	paper_list_begin(p);
	json_array_foreach(list, i, one) {
		json_t *a = json_object_get(one, "a"), *b = json_object_get(one, "b");
		json_t *percent = json_object_get(one, "percent");
		if (!json_is_integer(a) || !json_is_integer(b) || !json_is_number(percent)) {
			text[0] = '\0';
			report_guide_flat(r, one, 1, text, sizeof text);
			paper_item(p, text);
			continue;
		}
		snprintf(text, sizeof text, SAY(r, "parts %d and %d", "Teile %d und %d"),
		         (int)json_integer_value(a), (int)json_integer_value(b));
		json_array_foreach(json_object_get(one, "for"), k, place)
			report_guide_put(text, sizeof text, k ? ", " : SAY(r, ", for ", ", für "),
			    json_string_value(place) ? json_string_value(place) : "");
		report_number(r, json_number_value(percent), 2, number, sizeof number);
		report_guide_put(text, sizeof text, ": ", number);
		report_guide_put(text, sizeof text, "\xc2\xa0", SAY(r, "% apart", "% Unterschied"));
		if (json_is_false(json_object_get(one, "apart")))
			report_guide_put(text, sizeof text, "; ", SAY(r, "no difference to this meter",
			                                 "für dieses Messgerät kein Unterschied"));
		paper_item(p, text);
	}
	paper_list_end(p);
}

/* A list of numbers of parts is no count. */
static bool parts_text(const struct report *r, const char *name, json_t *list, char *out, size_t size)
{
	json_t *one;
	size_t i;
	char number[24];
	if (strcmp(name, "outside") != 0 || !json_is_integer(json_array_get(list, 0)))
		return false;
	snprintf(out, size, "%s", json_array_size(list) == 1 ? SAY(r, "part", "Teil") : SAY(r, "parts", "Teile"));
	json_array_foreach(list, i, one) {
		snprintf(number, sizeof number, "%d", (int)json_integer_value(one));
		report_guide_put(out, size, i ? ", " : " ", number);
	}
	return true;
}

void report_guide_result(const struct report *r, const struct report_guide *g, struct paper *p)
{
	struct slice record = g->record[g->records - 1]->record;
	struct slice s = json_member(record.at, record.len, "result");
	json_t *all = s.at && *s.at == '{' ? json_loadb(s.at, s.len, 0, NULL) : NULL, *one;
	const char *name;
	char text[600], unit[24] = "", like[40];
	bool any = false;
	/* Limits are in the unit of what they are limits of. */
	if (json_is_string(json_object_get(all, "unit"))) {
		snprintf(unit, sizeof unit, "%s", json_string_value(json_object_get(all, "unit")));
		json_object_del(all, "unit");
	}
	json_object_foreach(all, name, one)
		if (!unit[0] && json_is_object(one) && json_is_string(json_object_get(one, "unit")))
			snprintf(unit, sizeof unit, "%s", json_string_value(json_object_get(one, "unit")));
	/* By the text as it was sealed: its digits are not written anew. */
	json_object_foreach(all, name, one) {
		if (json_is_object(json_array_get(one, 0)))
			continue; /* below */
		report_guide_value(r, json_member(s.at, s.len, name), 0, text, sizeof text);
		if (bound(name) && unit[0] && json_is_number(one)) {
			report_si(json_number_value(one), unit, like, sizeof like);
			report_like(r, json_number_value(one), 3, like, text, sizeof text);
			if (!strcmp(name, "most") && json_is_true(json_object_get(all, "assumed")))
				report_guide_put(text, sizeof text, " ", SAY(r, "(assumed: the sheet says none)",
				                                "(angenommen: das Blatt nennt keine)"));
		} else if (parts_text(r, name, one, text, sizeof text)) {
			/* it is said */
		} else if (json_is_number(one)) {
			report_guide_member(r, name, json_number_value(one), text, sizeof text);
		}
		if (!any && text[0])
			paper_facts_begin(p);
		any = any || text[0];
		paper_fact(p, WORD(r, MEMBER, name), text);
	}
	if (any)
		paper_facts_end(p);
	json_object_foreach(all, name, one) {
		json_t *first = json_array_get(one, 0);
		if (json_is_string(json_object_get(first, "position")))
			stations(r, one, p);
		else if (json_is_object(first))
			pairs(r, one, p);
	}
	json_decref(all);
}

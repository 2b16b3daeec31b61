/* SPDX-License-Identifier: MIT */
/* What follows from what was gathered: see report.h for the rules. */
#include "client/array.h"
#include "client/report.h"
#include "protocol/trade/frequency.h"

#include <math.h>
#include <stdlib.h>
#include <stdio.h>
#include <string.h>

/* ---- which entry counts ---- */

static bool better(const struct report_entry *now, const struct report_entry *e)
{
	bool volts = e->function == FUNCTION_VOLT_DC || e->function == FUNCTION_VOLT_AC;
	if (!now)
		return true;
	if (now->aside != e->aside)
		return !e->aside;
	if (!volts && now->in_circuit != e->in_circuit)
		return !e->in_circuit;
	return e->seq > now->seq;
}

const struct report_position *report_position(const struct report *r, const char *name)
{
	for (int i = 0; i < r->positions; i++)
		if (strcmp(r->position[i].name, name) == 0)
			return &r->position[i];
	return NULL;
}

const struct report_entry *report_entry(const struct report *r, int64_t seq)
{
	for (int i = 0; i < r->entries; i++)
		if (r->entry[i].seq == seq)
			return &r->entry[i];
	return NULL;
}

/* A position's first quantity: what stands in the table when nothing was measured. */
static enum quantity first_quantity(const struct report_position *p)
{
	return p->function == FUNCTION_VOLT_DC || p->function == FUNCTION_VOLT_AC ? QUANTITY_VOLTS
	                                                                          : QUANTITY_VALUE;
}

static void add_line(struct report *r, const struct report_position *p, enum quantity q)
{
	if (!array_grow(&r->no_memory, &r->line, r->lines, sizeof *r->line))
		return;
	r->line[r->lines++] = (struct report_line){.position = p, .quantity = q};
}

struct by_position {
	const struct report_entry *e;
	int place; /* of its position in the sheet */
};

static int by_place(const void *a, const void *b)
{
	const struct by_position *x = a, *y = b;
	if (x->place != y->place)
		return x->place - y->place;
	return (x->e->seq > y->e->seq) - (x->e->seq < y->e->seq);
}

struct named {
	const char *name;
	int place;
};

static int by_name(const void *a, const void *b)
{
	return strcmp(((const struct named *)a)->name, ((const struct named *)b)->name);
}

static void lines_of(struct report *r, int place, const struct by_position *at, int count)
{
	const struct report_position *p = &r->position[place];
	enum quantity first = first_quantity(p);
	bool any = false;
	for (int k = 0; k < QUANTITY_COUNT; k++) {
		/* The first quantity stands first. */
		int q = k == 0 ? (int)first : k <= (int)first ? k - 1 : k;
		struct report_line l = {.position = p, .quantity = (enum quantity)q};
		bool here = false;
		for (int i = 0; i < count; i++) {
			const struct report_entry *e = at[i].e;
			if ((int)e->quantity != q)
				continue;
			here = true;
			if (better(l.at[e->condition], e))
				l.at[e->condition] = e;
		}
		if (!here)
			continue;
		add_line(r, p, (enum quantity)q);
		if (!r->no_memory)
			r->line[r->lines - 1] = l;
		any = true;
	}
	if (!any)
		add_line(r, p, first);
}

/* By the same rule by which the daemon judges, and tells of power. */
static void beside_frequency(struct report_position *p, struct report_entry *e)
{
	struct position place = {.kind = p->kind};
	struct entry entry = {.function = e->function};
	if (!(e->hertz > 0))
		return;
	snprintf(place.role, sizeof place.role, "%s", p->role);
	frequency_known(&entry, decimal_from_double(e->hertz, 9));
	e->aside = frequency_elsewhere(&entry, &place);
	p->outputs = true;
}

static void make_lines(struct report *r)
{
	struct named *named = calloc((size_t)r->positions + 1, sizeof *named);
	struct by_position *all = calloc((size_t)r->entries + 1, sizeof *all);
	int n = 0, at = 0;
	if (!named || !all) {
		r->no_memory = true;
	} else {
		for (int i = 0; i < r->positions; i++)
			named[i] = (struct named){r->position[i].name, i};
		qsort(named, (size_t)r->positions, sizeof *named, by_name);
		for (int i = 0; i < r->entries; i++) {
			struct named key = {r->entry[i].position, 0};
			const struct named *found =
			    bsearch(&key, named, (size_t)r->positions, sizeof *named, by_name);
			if (found)
				beside_frequency(&r->position[found->place], &r->entry[i]);
			if (found && !r->entry[i].struck.at)
				all[n++] = (struct by_position){&r->entry[i], found->place};
		}
		qsort(all, (size_t)n, sizeof *all, by_place);
		for (int i = 0; i < r->positions; i++) {
			int from = at;
			while (at < n && all[at].place == i)
				at++;
			lines_of(r, i, all + from, at - from);
		}
	}
	free(named);
	free(all);
}

/* ---- safety ---- */

static bool is_test(const struct report_position *p, const struct report_entry *e, int test)
{
	switch (test) {
	case REPORT_EARTH:
		return e->function == FUNCTION_OHM && e->quantity == QUANTITY_VALUE &&
		       (role_says(p->role, "earth bond") || role_says(p->role, "protective earth") ||
		        role_says(p->role, "bonding"));
	case REPORT_INSULATION:
		return (e->function == FUNCTION_OHM && role_says(p->role, "insulation")) ||
		       (e->quantity == QUANTITY_INSULATION &&
		        (role_says(p->role, "mains") || role_says(p->role, "primary")));
	default:
		return (e->function == FUNCTION_AMP_AC || e->function == FUNCTION_AMP_DC) &&
		       role_says(p->role, "touch current");
	}
}

/* Several of them: the worst counts. */
static void find_tests(struct report *r)
{
	for (int i = 0; i < r->lines; i++) {
		const struct report_line *l = &r->line[i];
		const struct report_entry *e = l->at[REPORT_DONE];
		for (int t = 0; e && t < REPORT_TESTS; t++) {
			if (!is_test(l->position, e, t))
				continue;
			const struct report_entry *now = r->test[t];
			if (!now || (report_test_passed(now) && !report_test_passed(e)))
				r->test[t] = e;
		}
	}
}

bool report_test_passed(const struct report_entry *e)
{
	if (!e || e->word == REPORT_OUTSIDE)
		return false;
	/* An overload answers the question after insulation, and no other. */
	if (!e->has_value && !(e->overload && e->function == FUNCTION_OHM && e->word == REPORT_WITHIN))
		return false;
	return e->word != REPORT_UNSURE || words_member_is(e->judged, "reason", "circuit");
}

bool report_complete(const struct report *r)
{
	for (int t = 0; t < REPORT_TESTS; t++)
		if (!report_test_passed(r->test[t]))
			return false;
	return !r->incomplete;
}

/* ---- where a value lies ---- */

bool report_limits(const struct report_entry *e, bool *has_low, double *low, bool *has_high,
                   double *high)
{
	struct slice limits = json_member(e->judged.at, e->judged.len, "limits");
	*has_low = json_number(json_element(limits, 0), low);
	*has_high = json_number(json_element(limits, 1), high);
	return *has_low || *has_high;
}

static bool report_nominal(const struct report *r, const struct report_entry *e, double *out)
{
	const struct report_position *p = report_position(r, e->position);
	bool fit = words_member_is(e->judged, "against", "fit") && p && p->fit.at;
	struct slice from = fit ? p->fit : p ? p->row : (struct slice){NULL, 0};
	return from.at && json_number(json_member(from.at, from.len, "nominal"), out);
}

bool report_place(const struct report *r, const struct report_entry *e, double value, double *out)
{
	bool has_low, has_high;
	double low = 0, high = 0, middle;
	if (!report_limits(e, &has_low, &low, &has_high, &high))
		return false;
	if (has_low && has_high) {
		if (!report_nominal(r, e, &middle) || middle <= low || middle >= high)
			middle = (low + high) / 2;
		double half = value < middle ? middle - low : high - middle;
		*out = half > 0 ? (value - middle) / half : 0;
	} else if (has_high) {
		*out = high > 0 ? 2 * value / high - 1 : value <= high ? 0 : 3;
	} else {
		*out = low > 0 && value > 0 ? 2 * log10(value / low) - 1 : value >= low ? 0 : -3;
	}
	return isfinite(*out);
}

/* ---- what is lacking ---- */

struct slice report_lacks(const struct report_position *p)
{
	struct slice list = json_member(p->row.at, p->row.len, "missing");
	return json_element(list, 0).at ? list : (struct slice){NULL, 0};
}

bool report_replaced(const struct report *r, const struct report_position *p)
{
	if (p->fit.at)
		return true;
	for (int i = 0; i < r->lines; i++)
		if (r->line[i].position == p && r->line[i].at[REPORT_NEW])
			return true;
	return false;
}

/* ---- as it is handed back ---- */

/* Is what was found there still so, when nobody measured again? */
static bool stays(const struct report *r, const struct report_position *p, const struct report_entry *e)
{
	bool part = e && (e->function == FUNCTION_OHM || e->function == FUNCTION_FARAD ||
	                  e->function == FUNCTION_HENRY || e->function == FUNCTION_NONE);
	return part && !report_replaced(r, p);
}

static void find_now(struct report *r)
{
	for (int i = 0; i < r->lines; i++) {
		struct report_line *l = &r->line[i];
		l->now = l->at[REPORT_DONE] ? l->at[REPORT_DONE] : l->at[REPORT_NEW];
		l->kept = !l->now && stays(r, l->position, l->at[REPORT_FOUND]);
		if (l->kept)
			l->now = l->at[REPORT_FOUND];
	}
}

/* The lines of a position follow each other, its first quantity first: the first one that
 * was measured speaks for it. */
static void count_position(struct report_counts *n, const struct report_line *line, int lines)
{
	const struct report_entry *first[REPORT_CONDITIONS] = {NULL}, *kept = NULL;
	for (int i = 0; i < lines; i++) {
		for (int c = 0; c < REPORT_CONDITIONS; c++)
			first[c] = first[c] ? first[c] : line[i].at[c];
		kept = kept || !line[i].kept ? kept : line[i].now;
	}
	n->positions++;
	for (int c = 0; c < REPORT_CONDITIONS; c++)
		if (first[c]) {
			n->of[c][first[c]->word]++;
			n->measured[c]++;
		}
	if (kept && !first[REPORT_DONE] && !first[REPORT_NEW]) {
		n->kept[kept->word]++;
		n->left++;
	}
}

static void count_all(struct report *r)
{
	r->counts = (struct report_counts){.positions = 0};
	for (int i = 0, end; i < r->lines; i = end) {
		for (end = i; end < r->lines && r->line[end].position == r->line[i].position;)
			end++;
		if (r->line[i].position->kind != KIND_REFERENCE)
			count_position(&r->counts, &r->line[i], end - i);
	}
}

void report_facts(struct report *r)
{
	make_lines(r);
	find_tests(r);
	find_now(r);
	count_all(r);
}

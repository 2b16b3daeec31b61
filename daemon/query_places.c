/* SPDX-License-Identifier: MIT */
/*
 * `places`: what parts do in their place, calculated from the entries of the job by the
 * sheet's columns role, with, source and max.  Every result says that it is calculated,
 * and from what.
 */
#include "daemon/query_places.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *const of_names[] = {"nominal", "found", "new", "done"};

/* ---- values to calculate with ---- */

static bool usable(const struct entry *e, enum quantity q, enum function f, enum of of)
{
	bool part = e->function == FUNCTION_OHM || e->function == FUNCTION_FARAD;
	return e->quantity == q && e->has_value && e->settled && (int)e->condition + 1 == (int)of &&
	       (f == FUNCTION_NONE || e->function == f) &&
	       !(part && q == QUANTITY_VALUE && e->reach == REACH_IN_CIRCUIT);
}

bool had_entry(const struct places *p, int row, enum quantity q, enum function f, enum of of,
               struct had *out)
{
	if (row < 0 || of == OF_NOMINAL)
		return false;
	for (int i = p->g.row[row].newest; i >= 0; i = p->g.older[i]) {
		const struct entry *e = &p->g.entry[i];
		if (!usable(e, q, f, of))
			continue;
		out->entry = e;
		out->m = out->middle = (struct measure){ decimal_double(e->value), e->u };
		snprintf(out->from, sizeof out->from, "%s %s, entry %lld", e->position, of_names[of],
		         (long long)e->seq);
		return true;
	}
	return false;
}

bool had_nominal(const struct places *p, int row, enum of of, struct had *out)
{
	if (row < 0)
		return false;
	bool now = of == OF_NEW || of == OF_DONE;
	const struct position *s = now ? &p->g.row[row].fitted : &p->g.row[row].position;
	if (!s->has_nominal)
		return false;
	struct limits l;
	struct tolerance usual;
	bool known = limits_from(&s->tolerance, true, s->nominal, &l) ||
	             (tolerance_default(s->kind, s->function, &usual) &&
	              limits_from(&usual, true, s->nominal, &l));
	double x = decimal_double(s->nominal), low = x, high = x;
	if (known && l.has_low && l.has_high) {
		low = decimal_double(l.low);
		high = decimal_double(l.high);
	}
	out->entry = NULL;
	out->middle = (struct measure){ x + ((high - x) - (x - low)) / 2, (high - low) / sqrt(12) };
	out->m = (struct measure){ x, hypot(out->middle.u, out->middle.value - x) };
	snprintf(out->from, sizeof out->from, "%s nominal", s->name);
	return true;
}

struct measure had_spread(struct measure at_m, struct measure at_middle)
{
	return (struct measure){ at_m.value, hypot(at_middle.u, at_middle.value - at_m.value) };
}

bool had_value(const struct places *p, int row, enum of of, struct had *out)
{
	if (had_entry(p, row, QUANTITY_VALUE, FUNCTION_NONE, of, out))
		return true;
	/* What stayed as it was needs no second measurement. */
	if ((of == OF_DONE || of == OF_NEW) && row >= 0 && !p->g.row[row].has_fit &&
	    had_entry(p, row, QUANTITY_VALUE, FUNCTION_NONE, OF_FOUND, out))
		return true;
	return had_nominal(p, row, of, out);
}

bool had_cell(const struct places *p, int row, const char *column, enum function unit,
              struct had *out)
{
	char cell[SHEET_CELL_SIZE];
	struct decimal d;
	enum function f;
	struct fault ignored;
	if (row < 0 || !gathered_cell(&p->g.row[row], column, cell, sizeof cell) ||
	    !quantity_parse(cell, strlen(cell), unit, &d, &f, &ignored))
		return false;
	out->entry = NULL;
	out->m = out->middle = (struct measure){ decimal_double(d), 0 };
	snprintf(out->from, sizeof out->from, "%.31s %s", p->g.row[row].position.name, column);
	return true;
}

int with_row(const struct places *p, int row)
{
	return row < 0 ? -1 : gathered_find(&p->g, p->g.row[row].position.with);
}

bool row_is(const struct places *p, int row, enum function f)
{
	return row >= 0 && kind_function(p->g.row[row].position.kind) == f;
}

bool row_says(const struct places *p, int row, const char *word)
{
	return row >= 0 && role_says(p->g.row[row].position.role, word);
}

/* ---- writing ---- */

/* "3.39 Hz", "42.1 mA", "5.97 dB": four figures, an SI prefix where the unit takes one: its own,
 * or of what is less than its uncertainty U the prefix of that. */
static void shown(double x, double U, const char *unit, char *out, size_t size)
{
	static const char *const prefix[] = {"p", "n", "u", "m", "", "k", "M", "G", "T"};
	int step = 4;
	bool bare = !strcmp(unit, "%") || !strcmp(unit, "dB") || !unit[0];
	double y = fabs(x), z = isfinite(U) && U > y ? U : y;
	for (; !bare && z >= 999.95 && step < 8; step++, z /= 1000)
		y /= 1000;
	for (; !bare && z > 0 && z < 0.99995 && step > 0; step--, z *= 1000)
		y *= 1000;
	int digits = y >= 100 ? 1 : y >= 10 ? 2 : 3;
	snprintf(out, size, "%s%.*f%s%s%s", x < 0 ? "-" : "", digits, y, unit[0] ? " " : "",
	         bare ? "" : prefix[step], unit);
}

void place_write(struct places *p, int row, const char *what, enum of of, struct measure m,
                 const char *unit, const char *note, const struct had *const *from, int n)
{
	struct answer *out = &p->q->out;
	char text[64];
	if (!isfinite(m.value))
		return;
	shown(m.value, 2 * m.u, unit, text, sizeof text);
	answer_puts(out, p->written++ ? ",{\"position\":" : "{\"position\":");
	answer_string(out, p->g.row[row].position.name);
	answer_printf(out, ",\"what\":\"%s\",\"condition\":\"%s\",\"calculated\":true,\"value\":", what,
	              of_names[of]);
	answer_real(out, m.value);
	answer_puts(out, ",\"u\":");
	if (isfinite(m.u))
		answer_real(out, m.u);
	else
		answer_puts(out, "null");
	answer_puts(out, ",\"unit\":");
	answer_string(out, unit);
	answer_puts(out, ",\"shown\":");
	answer_string(out, text);
	answer_puts(out, ",\"from\":[");
	for (int i = 0; i < n; i++) {
		answer_puts(out, i ? "," : "");
		answer_string(out, from[i]->from);
	}
	answer_puts(out, "],\"note\":");
	if (note && note[0])
		answer_string(out, note);
	else
		answer_puts(out, "null");
	answer_puts(out, "}");
}

/* What the places of one position may take: a dozen calculated values. */
#define PLACE_ROOM (16u << 10)

/* The positions of one page; the result is how many were passed, all before counted. */
static int64_t page_write(struct places *p, const struct page_bounds *bounds)
{
	int64_t i = bounds->after;
	for (; i < p->g.rows && i - bounds->after < bounds->limit; i++) {
		int row = (int)i;
		if (p->position && strcmp(p->position, p->g.row[row].position.name))
			continue;
		if (!query_room(p->q, PLACE_ROOM))
			break;
		places_signal(p, row);
		places_output(p, row);
		places_supply(p, row);
	}
	return i;
}

bool query_places(struct query *q, json_t *params)
{
	const char *asked = NULL;
	char job[JOB_SIZE];
	struct places p = { .q = q };
	struct page_bounds bounds = { 0, QUERY_LIMIT_MAX };
	const struct param list[] = {
		{ "position", PARAM_TEXT, false, &p.position },
		{ "job", PARAM_TEXT, false, &asked },
		{ "after", PARAM_WHOLE, false, &bounds.after },
		{ "limit", PARAM_WHOLE, false, &bounds.limit },
	};
	if (!params_read("places", params, list, 4, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (!query_bounds(q, "places", &bounds))
		return false;
	if (!query_job(q, asked, false, job))
		return false;
	bool good = gather(q, job, &p.g);
	if (good) {
		answer_puts(&q->out, "{\"job\":");
		answer_name(&q->out, job);
		answer_puts(&q->out, ",\"places\":[");
		int64_t next = page_write(&p, &bounds);
		answer_puts(&q->out, "]");
		query_more(q, next < p.g.rows, next);
		answer_puts(&q->out, "}");
	}
	gathered_free(&p.g);
	return good;
}

/* SPDX-License-Identifier: MIT */
/*
 * `compare`: meter against meter on one part, and twin against twin.
 *
 * What is compared is the newest entry that is not struck of each meter, at one
 * position, quantity, condition and reach.  What cannot be compared is refused
 * with the reason, since "no answer" and "they agree" must not look alike.
 */
#include "daemon/query_private.h"

#include "protocol/trade/crosscheck.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The newest entry of one meter in one place of comparison. */
struct fresh {
	struct entry e;
	char shown[48];
	size_t rank; /* place of the position in the sheet */
};

struct compare {
	struct query *q;
	const char *job;
	const char *position, *twin; /* asked for; NULL: every position */
	struct said_list strikes, moves;
	struct sheet_lines lines;
	struct fresh **at; /* sorted */
	size_t n, size;
	bool no_memory;
	int checks, pairs, twins; /* written so far */
	struct answer refused;
	int refused_count;
};

/* ---- gathering ---- */

/* The order of the output, and what one group is: up to the reach.  The meter last. */
static int group_order(const struct fresh *a, const struct fresh *b)
{
	if (a->rank != b->rank)
		return a->rank < b->rank ? -1 : 1;
	int order = strcmp(a->e.position, b->e.position);
	if (!order)
		order = (int)a->e.quantity - (int)b->e.quantity;
	if (!order)
		order = (int)a->e.condition - (int)b->e.condition;
	if (!order)
		order = (int)a->e.reach - (int)b->e.reach;
	return order;
}

static int fresh_order(const struct fresh *a, const struct fresh *b)
{
	int order = group_order(a, b);
	return order ? order : strcmp(a->e.meter, b->e.meter);
}

static size_t fresh_place(const struct compare *c, const struct fresh *f, bool *there)
{
	size_t low = 0, high = c->n;
	while (low < high) {
		size_t middle = low + (high - low) / 2;
		if (fresh_order(c->at[middle], f) < 0)
			low = middle + 1;
		else
			high = middle;
	}
	*there = low < c->n && fresh_order(c->at[low], f) == 0;
	return low;
}

static bool fresh_insert(struct compare *c, const struct fresh *f)
{
	bool there;
	size_t place = fresh_place(c, f, &there);
	if (there)
		return true; /* newest first: what came before is newer */
	if (c->n == c->size) {
		size_t size = c->size ? 2 * c->size : 64;
		struct fresh **at = realloc(c->at, size * sizeof *at);
		if (!at)
			return false;
		c->at = at;
		c->size = size;
	}
	struct fresh *copy = malloc(sizeof *copy);
	if (!copy)
		return false;
	*copy = *f;
	memmove(c->at + place + 1, c->at + place, (c->n - place) * sizeof *c->at);
	c->at[place] = copy;
	c->n++;
	return true;
}

static bool entry_fresh(void *arg, int64_t seq, const char *text, size_t len)
{
	struct compare *c = arg;
	struct fresh f;
	if (said_of(&c->strikes, seq) || !query_of_job(c->job, text, len))
		return true;
	char position[NAME_SIZE];
	said_position(&c->moves, seq, text, len, position);
	if (c->position && strcmp(position, c->position) && (!c->twin || strcmp(position, c->twin)))
		return true;
	if (!entry_read(text, len, &f.e))
		return true; /* of a later version: not understood, not guessed */
	memcpy(f.e.position, position, sizeof f.e.position);
	json_text(json_member(text, len, "shown"), f.shown, sizeof f.shown);
	const struct sheet_line *line = sheet_lines_find(&c->lines, position);
	f.rank = line ? (size_t)(line - c->lines.at) : SIZE_MAX;
	c->no_memory = !fresh_insert(c, &f);
	return !c->no_memory;
}

/* ---- writing ---- */

static void comma(struct answer *out, int *count)
{
	answer_puts(out, (*count)++ ? "," : "");
}

static void side_write(struct answer *out, const char *name, const struct fresh *f)
{
	answer_printf(out, "\"%s\":{\"seq\":%lld,\"meter\":", name, (long long)f->e.seq);
	answer_string(out, f->e.meter);
	answer_puts(out, ",\"shown\":");
	answer_string(out, f->shown);
	answer_puts(out, ",\"U\":");
	answer_real(out, 2 * f->e.u);
	answer_puts(out, "}");
}

static void place_write(struct answer *out, const struct fresh *f)
{
	answer_printf(out, "\"quantity\":\"%s\",\"condition\":\"%s\",\"reach\":\"%s\"",
	              quantity_name(f->e.quantity), condition_name(f->e.condition),
	              reach_name(f->e.reach));
}

static void refuse(struct compare *c, const struct fresh *a, const struct fresh *b,
                   const struct fault *why)
{
	comma(&c->refused, &c->refused_count);
	answer_puts(&c->refused, "{\"position\":");
	answer_string(&c->refused, a->e.position);
	answer_printf(&c->refused, ",\"quantity\":\"%s\",\"a\":%lld,\"b\":%lld,\"why\":",
	              quantity_name(a->e.quantity), (long long)a->e.seq, (long long)b->e.seq);
	answer_string(&c->refused, why->text);
	answer_puts(&c->refused, "}");
}

/* ---- meter against meter ---- */

static double pair_en(const struct fresh *a, const struct fresh *b)
{
	return crosscheck_en(decimal_double(a->e.value), 2 * a->e.u, decimal_double(b->e.value),
	                     2 * b->e.u);
}

static void pair_write(struct compare *c, const struct fresh *a, const struct fresh *b, double en)
{
	struct answer *out = &c->q->out;
	comma(out, &c->pairs);
	answer_puts(out, "{");
	side_write(out, "a", a);
	answer_puts(out, ",");
	side_write(out, "b", b);
	answer_puts(out, ",\"en\":");
	answer_real(out, en);
	answer_printf(out, ",\"agree\":%s}", en <= 1 ? "true" : "false");
}

/* Who of those that can be compared stands apart; NULL for nobody. */
static const char *group_apart(struct fresh **at, size_t n)
{
	enum { METERS = 64 };
	double x[METERS], U[METERS];
	const char *name[METERS];
	struct fault why;
	int m = 0;
	for (size_t i = 0; i < n && m < METERS; i++) {
		bool any = false;
		for (size_t k = 0; k < n; k++)
			any = any || (k != i && crosscheck_allowed(&at[i]->e, &at[k]->e, &why));
		if (!any)
			continue;
		x[m] = decimal_double(at[i]->e.value);
		U[m] = 2 * at[i]->e.u;
		name[m++] = at[i]->e.meter;
	}
	int apart = m >= 3 ? crosscheck_apart(x, U, m) : -1;
	return apart >= 0 ? name[apart] : NULL;
}

/* One group: every pair of meters in it. */
static void group_write(struct compare *c, struct fresh **at, size_t n)
{
	struct answer *out = &c->q->out;
	struct fault why;
	bool open = false, agree = true;
	for (size_t i = 0; i < n; i++) {
		for (size_t k = i + 1; k < n; k++) {
			if (!crosscheck_allowed(&at[i]->e, &at[k]->e, &why)) {
				refuse(c, at[i], at[k], &why);
				continue;
			}
			if (!open) {
				comma(out, &c->checks);
				answer_puts(out, "{\"position\":");
				answer_string(out, at[0]->e.position);
				answer_puts(out, ",");
				place_write(out, at[0]);
				answer_puts(out, ",\"pairs\":[");
				open = true;
				c->pairs = 0;
			}
			double en = pair_en(at[i], at[k]);
			agree = agree && en <= 1;
			pair_write(c, at[i], at[k], en);
		}
	}
	if (!open)
		return;
	const char *apart = group_apart(at, n);
	answer_puts(out, "],\"apart\":");
	if (apart)
		answer_string(out, apart);
	else
		answer_puts(out, "null");
	answer_printf(out, ",\"agree\":%s}", agree ? "true" : "false");
}

static bool share_group(struct fresh **at, size_t n, const char *a, const char *b)
{
	for (size_t i = 0; i < n; i++)
		for (size_t k = 0; k < n; k++)
			if (!strcmp(at[i]->e.meter, a) && !strcmp(at[k]->e.meter, b) &&
			    group_order(at[i], at[k]) == 0)
				return true;
	return false;
}

static const struct fresh *newest_of(struct fresh **at, size_t n, const char *meter)
{
	const struct fresh *newest = NULL;
	for (size_t i = 0; i < n; i++)
		if ((!meter || !strcmp(at[i]->e.meter, meter)) &&
		    (!newest || at[i]->e.seq > newest->e.seq))
			newest = at[i];
	return newest;
}

/* All of one position and quantity: two meters that never met there say why. */
static void strangers_refuse(struct compare *c, struct fresh **at, size_t n)
{
	struct fault why;
	for (size_t i = 0; i < n; i++) {
		if (newest_of(at, n, at[i]->e.meter) != at[i])
			continue; /* each meter once */
		for (size_t k = i + 1; k < n; k++) {
			if (!strcmp(at[i]->e.meter, at[k]->e.meter) ||
			    newest_of(at, n, at[k]->e.meter) != at[k] ||
			    share_group(at, n, at[i]->e.meter, at[k]->e.meter))
				continue;
			if (!crosscheck_allowed(&at[i]->e, &at[k]->e, &why))
				refuse(c, at[i], at[k], &why);
		}
	}
}

static bool same_quantity(const struct fresh *a, const struct fresh *b)
{
	return !strcmp(a->e.position, b->e.position) && a->e.quantity == b->e.quantity;
}

static void crosschecks_write(struct compare *c)
{
	for (size_t from = 0, to; from < c->n; from = to) {
		to = from + 1;
		while (to < c->n && same_quantity(c->at[from], c->at[to]))
			to++;
		if (c->position && strcmp(c->at[from]->e.position, c->position))
			continue; /* here for the twin's sake */
		for (size_t i = from, k; i < to; i = k) {
			k = i + 1;
			while (k < to && group_order(c->at[i], c->at[k]) == 0)
				k++;
			group_write(c, c->at + i, k - i);
		}
		strangers_refuse(c, c->at + from, to - from);
	}
}

/* ---- twin against twin ---- */

/* How far two parts of this tolerance may lie apart, as a fraction of their mean:
 * one at each end of it. */
static double row_allowed(const struct sheet_line *line, struct decimal *nominal, bool *has)
{
	struct sheet_row row;
	struct fault why;
	*has = false;
	if (!sheet_row_read(json_member(line->text, line->len, "sheet"), &row, &why))
		return 0;
	struct tolerance t = row.position.tolerance;
	if (t.form == TOLERANCE_NONE &&
	    !tolerance_default(row.position.kind, row.position.function, &t))
		return 0;
	*has = row.position.has_nominal;
	*nominal = row.position.nominal;
	if (t.form != TOLERANCE_PERCENT)
		return 0;
	double low = 1 + decimal_double(t.low) / 100, high = 1 + decimal_double(t.high) / 100;
	return low + high > 0 ? fabs(high - low) / ((low + high) / 2) : 0;
}

static double twins_allowed(const struct sheet_line *a, const struct sheet_line *b)
{
	struct decimal x, y;
	bool has_x, has_y;
	double p = row_allowed(a, &x, &has_x), q = row_allowed(b, &y, &has_y);
	/* Two that are not the same part have no tolerance in common. */
	if (!has_x || !has_y || decimal_compare(x, y))
		return 0;
	return p > q ? p : q;
}

/* The stretch of a position in the sorted list. */
static struct fresh **stretch(const struct compare *c, const char *position, size_t *n)
{
	size_t from = 0;
	while (from < c->n && strcmp(c->at[from]->e.position, position))
		from++;
	size_t to = from;
	while (to < c->n && !strcmp(c->at[to]->e.position, position))
		to++;
	*n = to - from;
	return c->at + from;
}

static bool same_place(const struct fresh *a, const struct fresh *b)
{
	return a->e.quantity == b->e.quantity && a->e.condition == b->e.condition &&
	       a->e.reach == b->e.reach;
}

/* The entries to compare with each other: by one meter where one measured both
 * (its own error falls out), else the newest of each. */
static void choose(struct fresh **a, size_t n, struct fresh **b, size_t m,
                   const struct fresh **x, const struct fresh **y)
{
	int64_t best = 0;
	*x = newest_of(a, n, NULL);
	*y = newest_of(b, m, NULL);
	for (size_t i = 0; i < n; i++) {
		for (size_t k = 0; k < m; k++) {
			int64_t older = a[i]->e.seq < b[k]->e.seq ? a[i]->e.seq : b[k]->e.seq;
			if (strcmp(a[i]->e.meter, b[k]->e.meter) || older <= best)
				continue;
			best = older;
			*x = a[i];
			*y = b[k];
		}
	}
}

static void twin_write(struct compare *c, const struct fresh *a, const struct fresh *b,
                       double allowed)
{
	struct answer *out = &c->q->out;
	struct twins twins;
	struct fault why;
	if (!twins_compare(&a->e, &b->e, allowed, &twins, &why)) {
		refuse(c, a, b, &why);
		return;
	}
	comma(out, &c->twins);
	answer_puts(out, "{\"position\":");
	answer_string(out, a->e.position);
	answer_puts(out, ",\"twin\":");
	answer_string(out, b->e.position);
	answer_puts(out, ",");
	place_write(out, a);
	answer_puts(out, ",");
	side_write(out, "a", a);
	answer_puts(out, ",");
	side_write(out, "b", b);
	answer_puts(out, ",\"ratio\":");
	answer_real(out, twins.ratio);
	answer_puts(out, ",\"difference\":");
	answer_real(out, twins.difference);
	answer_puts(out, ",\"en\":");
	answer_real(out, twins.en);
	answer_printf(out, ",\"agree\":%s}", twins.agree ? "true" : "false");
}

static size_t place_end(struct fresh **at, size_t from, size_t n)
{
	size_t to = from + 1;
	while (to < n && same_place(at[from], at[to]))
		to++;
	return to;
}

/* A quantity that both twins have, but never in one condition and reach. */
static void twins_refuse(struct compare *c, struct fresh **a, size_t n, struct fresh **b, size_t m,
                         double allowed)
{
	for (size_t i = 0, to; i < n; i = to) {
		bool met = false;
		size_t from = 0, end;
		for (to = i; to < n && a[to]->e.quantity == a[i]->e.quantity; to++)
			;
		while (from < m && b[from]->e.quantity != a[i]->e.quantity)
			from++;
		for (end = from; end < m && b[end]->e.quantity == a[i]->e.quantity; end++)
			for (size_t k = i; k < to; k++)
				met = met || same_place(a[k], b[end]);
		if (!met && end > from)
			twin_write(c, newest_of(a + i, to - i, NULL), newest_of(b + from, end - from, NULL),
			           allowed);
	}
}

static void twins_of(struct compare *c, const struct sheet_line *one, const struct sheet_line *other)
{
	size_t n, m;
	struct fresh **a = stretch(c, one->position, &n), **b = stretch(c, other->position, &m);
	double allowed = n && m ? twins_allowed(one, other) : 0;
	for (size_t i = 0, to; i < n; i = to) {
		to = place_end(a, i, n);
		for (size_t k = 0, end; k < m; k = end) {
			end = place_end(b, k, m);
			if (!same_place(a[i], b[k]))
				continue;
			const struct fresh *x, *y;
			choose(a + i, to - i, b + k, end - k, &x, &y);
			twin_write(c, x, y, allowed);
		}
	}
	twins_refuse(c, a, n, b, m, allowed);
}

/* The twin that the sheet names, in either of the two. */
static void twin_name(const struct sheet_line *line, char out[NAME_SIZE])
{
	json_text(json_member(line->text, line->len, "sheet.twin"), out, NAME_SIZE);
}

static void twins_write(struct compare *c)
{
	char name[NAME_SIZE], back[NAME_SIZE];
	for (size_t i = 0; i < c->lines.n; i++) {
		const struct sheet_line *line = &c->lines.at[i];
		if (c->position && strcmp(line->position, c->position))
			continue;
		twin_name(line, name);
		const struct sheet_line *twin = name[0] ? sheet_lines_find(&c->lines, name) : NULL;
		if (!twin || twin == line)
			continue;
		twin_name(twin, back);
		/* Each pair once, by the one that stands first. */
		if (!c->position && twin < line && !strcmp(back, line->position))
			continue;
		twins_of(c, line, twin);
	}
}

/* ---- the method ---- */

static bool compare_read(struct compare *c, char twin[NAME_SIZE])
{
	struct query *q = c->q;
	if (!sheet_lines_read(q, c->job, &c->lines))
		return false;
	const struct sheet_line *line =
	    c->position ? sheet_lines_find(&c->lines, c->position) : NULL;
	twin[0] = '\0';
	if (line)
		twin_name(line, twin);
	c->twin = twin[0] ? twin : NULL;
	const struct log_query what = { .kind = "entry", .newest_first = true };
	if (!said_read(q, "strike", 0, false, NULL, NULL, &c->strikes) ||
	    !said_read(q, "move", 0, false, NULL, NULL, &c->moves) ||
	    !query_each(q, &what, entry_fresh, c))
		return false;
	return !c->no_memory || query_no_memory(q);
}

static void compare_write(struct compare *c)
{
	struct answer *out = &c->q->out;
	answer_begin(&c->refused, QUERY_ANSWER_MAX);
	answer_puts(out, "{\"job\":");
	if (c->job[0])
		answer_string(out, c->job);
	else
		answer_puts(out, "null");
	answer_puts(out, ",\"crosschecks\":[");
	crosschecks_write(c);
	answer_puts(out, "],\"twins\":[");
	twins_write(c);
	answer_puts(out, "],\"refused\":[");
	if (c->refused.len)
		answer_add(out, c->refused.bytes, c->refused.len);
	answer_puts(out, "]}");
	out->failed = out->failed || c->refused.failed;
	answer_free(&c->refused);
}

bool query_compare(struct query *q, json_t *params)
{
	const char *asked = NULL;
	char job[JOB_SIZE], twin[NAME_SIZE];
	struct compare c = { .q = q, .job = job };
	const struct param list[] = {
		{ "position", PARAM_TEXT, false, &c.position },
		{ "job", PARAM_TEXT, false, &asked },
	};
	if (!params_read("compare", params, list, 2, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (!query_job(q, asked, false, job))
		return false;
	bool good = compare_read(&c, twin);
	if (good)
		compare_write(&c);
	for (size_t i = 0; i < c.n; i++)
		free(c.at[i]);
	free(c.at);
	said_free(&c.strikes);
	said_free(&c.moves);
	sheet_lines_free(&c.lines);
	return good;
}

/* SPDX-License-Identifier: MIT */
/*
 * `compare`: meter against meter on one part, and twin against twin.
 *
 * What is compared is the newest entry that is not struck of each meter, at one
 * position, quantity, condition and reach.  What cannot be compared is refused
 * with the reason, since "no answer" and "they agree" must not look alike.
 */
#include "daemon/query_compare.h"

#include "protocol/trade/frequency.h"

#include <stdlib.h>
#include <string.h>

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
	if (there) {
		/* Newest first: what came before is newer.  But a channel is held against the other by the
		 * frequency that its output is told by, not by where a response happened to end. */
		if (c->at[place]->aside && !f->aside)
			*c->at[place] = *f;
		return true;
	}
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

static bool is_aside(const struct sheet_line *line, const struct entry *e)
{
	struct position p = {.kind = KIND_OTHER};
	char kind[32] = "";
	if (!line)
		return false;
	json_text(json_member(line->text, line->len, "sheet.role"), p.role, sizeof p.role);
	json_text(json_member(line->text, line->len, "sheet.kind"), kind, sizeof kind);
	if (!kind_from_name(kind, strlen(kind), &p.kind))
		p.kind = KIND_OTHER;
	return frequency_elsewhere(e, &p);
}

static bool entry_fresh(void *arg, int64_t seq, const char *text, size_t len)
{
	struct compare *c = arg;
	struct fresh f;
	if (said_of(&c->strikes, seq) || !query_of_job(c->job, text, len))
		return true;
	char position[NAME_SIZE];
	said_position(&c->moves, &c->names, seq, text, len, position);
	if (c->position && strcmp(position, c->position) && (!c->twin || strcmp(position, c->twin)))
		return true;
	if (!entry_read(text, len, &f.e))
		return true; /* of a later version: not understood, not guessed */
	memcpy(f.e.position, position, sizeof f.e.position);
	json_text(json_member(text, len, "shown"), f.shown, sizeof f.shown);
	const struct sheet_line *line = sheet_lines_find(&c->lines, position);
	f.rank = line ? (size_t)(line - c->lines.at) : SIZE_MAX;
	f.aside = is_aside(line, &f.e);
	c->no_memory = !fresh_insert(c, &f);
	return !c->no_memory;
}

/* ---- writing ---- */

void compare_comma(struct answer *out, int *count)
{
	answer_puts(out, (*count)++ ? "," : "");
}

/* To the digit of the display: what the leads had below it is nothing that the meter showed. */
static struct decimal to_digit(struct decimal d, int e)
{
	int64_t step = 1;
	for (; d.e < e && step < INT64_MAX / 100; d.e++)
		step *= 10;
	int64_t half = d.n < 0 ? -step / 2 : step / 2;
	d.n = (d.n + half) / step;
	return d;
}

void compare_side(struct answer *out, const char *name, const struct fresh *f)
{
	answer_printf(out, "\"%s\":{\"seq\":%lld,\"meter\":", name, (long long)f->e.seq);
	answer_string(out, f->e.meter);
	answer_puts(out, ",\"shown\":");
	answer_string(out, f->shown);
	if (f->e.has_raw) { /* what is compared, not what stood on the display */
		char judged[2 * DECIMAL_TEXT_SIZE];
		quantity_shown(to_digit(f->e.value, f->e.raw.e), f->e.function, f->e.prefix, judged, sizeof judged);
		answer_puts(out, ",\"judged\":");
		answer_string(out, judged);
	}
	answer_puts(out, ",\"U\":");
	answer_real(out, 2 * f->e.u);
	answer_puts(out, "}");
}

void compare_place(struct answer *out, const struct fresh *f)
{
	answer_printf(out, "\"quantity\":\"%s\",\"condition\":\"%s\",\"reach\":\"%s\"",
	              quantity_name(f->e.quantity), condition_name(f->e.condition),
	              reach_name(f->e.reach));
}

void compare_refuse(struct compare *c, const struct fresh *a, const struct fresh *b,
                    const struct fault *why)
{
	compare_comma(&c->refused, &c->refused_count);
	answer_puts(&c->refused, "{\"position\":");
	answer_string(&c->refused, a->e.position);
	answer_printf(&c->refused, ",\"quantity\":\"%s\"", quantity_name(a->e.quantity));
	if (a->e.quantity != b->e.quantity)
		answer_printf(&c->refused, ",\"other\":\"%s\"", quantity_name(b->e.quantity));
	answer_printf(&c->refused, ",\"a\":%lld,\"b\":%lld,\"why\":", (long long)a->e.seq,
	              (long long)b->e.seq);
	answer_string(&c->refused, why->text);
	answer_puts(&c->refused, "}");
}

bool compare_wanted(const struct compare *c, const char *position)
{
	if (c->position)
		return !strcmp(c->position, position);
	/* What is in no sheet has no line: it is on the first page. */
	const struct sheet_line *line = sheet_lines_find(&c->lines, position);
	size_t place = line ? (size_t)(line - c->lines.at) : 0;
	return place >= c->from && (place < c->upto || !line);
}

/* ---- meter against meter ---- */

static void pair_write(struct compare *c, const struct fresh *a, const struct fresh *b, double en)
{
	struct answer *out = &c->q->out;
	compare_comma(out, &c->pairs);
	answer_puts(out, "{");
	compare_side(out, "a", a);
	answer_puts(out, ",");
	compare_side(out, "b", b);
	answer_puts(out, ",\"en\":");
	answer_real(out, en);
	answer_printf(out, ",\"agree\":%s", en <= 1 ? "true" : "false");
	struct fault why;
	if (crosscheck_offset(&a->e, &b->e, &why)) {
		answer_puts(out, ",\"why\":");
		answer_string(out, why.text);
	}
	answer_puts(out, "}");
}

static bool comparable(struct fresh **at, size_t n, size_t i)
{
	struct fault ignored;
	for (size_t k = 0; k < n; k++)
		if (k != i && crosscheck_allowed(&at[i]->e, &at[k]->e, &ignored))
			return true;
	return false;
}

int compare_mutual(struct fresh **at, size_t n, const struct fresh *out[COMPARE_METERS])
{
	struct fault ignored;
	int m = 0;
	for (size_t i = 0; i < n && m < COMPARE_METERS; i++)
		if (comparable(at, n, i))
			out[m++] = at[i];
	for (int i = 0; i < m; i++)
		for (int k = i + 1; k < m; k++)
			if (!crosscheck_allowed(&out[i]->e, &out[k]->e, &ignored))
				return 0;
	return m;
}

/* Who of those that can be compared stands apart; NULL for nobody. */
static const char *group_apart(struct fresh **at, size_t n)
{
	double x[COMPARE_METERS], U[COMPARE_METERS];
	const struct fresh *all[COMPARE_METERS];
	int m = compare_mutual(at, n, all);
	for (int i = 0; i < m; i++) {
		x[i] = decimal_double(all[i]->e.value);
		U[i] = 2 * all[i]->e.u;
	}
	int apart = m >= 3 ? crosscheck_apart(x, U, m) : -1;
	return apart >= 0 ? all[apart]->e.meter : NULL;
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
				compare_refuse(c, at[i], at[k], &why);
				continue;
			}
			if (!open) {
				compare_comma(out, &c->checks);
				answer_puts(out, "{\"position\":");
				answer_string(out, at[0]->e.position);
				answer_puts(out, ",");
				compare_place(out, at[0]);
				answer_puts(out, ",\"pairs\":[");
				open = true;
				c->pairs = 0;
			}
			double en = crosscheck_entries(&at[i]->e, &at[k]->e);
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
	compare_together(c, at, n);
	answer_printf(out, ",\"agree\":%s}", agree ? "true" : "false");
}

const struct fresh *compare_newest(struct fresh **at, size_t n, const char *meter)
{
	const struct fresh *newest = NULL;
	for (size_t i = 0; i < n; i++)
		if ((!meter || !strcmp(at[i]->e.meter, meter)) &&
		    (!newest || at[i]->e.seq > newest->e.seq))
			newest = at[i];
	return newest;
}

static bool same_group(const struct fresh *a, const struct fresh *b)
{
	return group_order(a, b) == 0;
}

static bool same_quantity(const struct fresh *a, const struct fresh *b)
{
	return !strcmp(a->e.position, b->e.position) && a->e.quantity == b->e.quantity;
}

/* Have these two meters values that are alike so? */
static bool met(struct fresh **at, size_t n, const char *a, const char *b,
                bool (*alike)(const struct fresh *, const struct fresh *))
{
	for (size_t i = 0; i < n; i++)
		for (size_t k = 0; k < n; k++)
			if (!strcmp(at[i]->e.meter, a) && !strcmp(at[k]->e.meter, b) && alike(at[i], at[k]))
				return true;
	return false;
}

/* Two meters of which no values are alike so say why. */
static void strangers_refuse(struct compare *c, struct fresh **at, size_t n,
                             bool (*alike)(const struct fresh *, const struct fresh *))
{
	struct fault why;
	for (size_t i = 0; i < n; i++) {
		if (compare_newest(at, n, at[i]->e.meter) != at[i])
			continue; /* each meter once */
		for (size_t k = i + 1; k < n; k++)
			if (strcmp(at[i]->e.meter, at[k]->e.meter) &&
			    compare_newest(at, n, at[k]->e.meter) == at[k] &&
			    !met(at, n, at[i]->e.meter, at[k]->e.meter, alike) &&
			    !crosscheck_allowed(&at[i]->e, &at[k]->e, &why))
				compare_refuse(c, at[i], at[k], &why);
	}
}

static void crosschecks_write(struct compare *c)
{
	for (size_t from = 0, to; from < c->n; from = to) {
		to = from + 1;
		while (to < c->n && same_quantity(c->at[from], c->at[to]))
			to++;
		if (!compare_wanted(c, c->at[from]->e.position))
			continue; /* here for the twin's sake, or of another page */
		for (size_t i = from, k; i < to; i = k) {
			k = i + 1;
			while (k < to && group_order(c->at[i], c->at[k]) == 0)
				k++;
			group_write(c, c->at + i, k - i);
		}
		strangers_refuse(c, c->at + from, to - from, same_group);
	}
	/* ... and of a whole position who measured nothing alike there. */
	for (size_t from = 0, to; from < c->n; from = to) {
		to = from + 1;
		while (to < c->n && !strcmp(c->at[from]->e.position, c->at[to]->e.position))
			to++;
		if (compare_wanted(c, c->at[from]->e.position))
			strangers_refuse(c, c->at + from, to - from, same_quantity);
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
		compare_twin(line, twin);
	c->twin = twin[0] ? twin : NULL;
	const struct log_query what = { .kind = "entry", .newest_first = true };
	if (!said_read(q, "strike", 0, false, NULL, NULL, &c->strikes) ||
	    !said_read(q, "move", 0, false, NULL, NULL, &c->moves) || !names_read(q, &c->names) ||
	    !query_each(q, &what, entry_fresh, c))
		return false;
	return !c->no_memory || query_no_memory(q);
}

static void compare_write(struct compare *c)
{
	struct answer *out = &c->q->out;
	c->checks = c->pairs = c->references = c->twins = c->refused_count = 0;
	answer_begin(&c->refused, QUERY_ANSWER_MAX);
	answer_puts(out, "{\"job\":");
	answer_name(out, c->job);
	answer_puts(out, ",\"crosschecks\":[");
	crosschecks_write(c);
	answer_puts(out, "],\"references\":[");
	compare_references(c);
	answer_puts(out, "],\"twins\":[");
	compare_twins(c);
	answer_puts(out, "],\"refused\":[");
	if (c->refused.len)
		answer_add(out, c->refused.bytes, c->refused.len);
	bool more = !c->position && c->upto < c->lines.n;
	answer_puts(out, "]");
	query_more(c->q, more, (int64_t)c->upto);
	answer_puts(out, "}");
	out->failed = out->failed || c->refused.failed;
	answer_free(&c->refused);
}

/* As many positions as the answer has room for: nobody knows before what they give, so half
 * as many are tried until they fit. */
static void page_write(struct compare *c, const struct page_bounds *bounds)
{
	size_t n = c->lines.n, limit = (size_t)bounds->limit;
	c->from = (uint64_t)bounds->after < n ? (size_t)bounds->after : n;
	c->upto = n - c->from > limit ? c->from + limit : n;
	compare_write(c);
	while (c->q->out.failed && !c->position && c->upto - c->from > 1) {
		c->upto = c->from + (c->upto - c->from) / 2;
		answer_free(&c->q->out);
		answer_begin(&c->q->out, QUERY_ANSWER_MAX);
		compare_write(c);
	}
}

bool query_compare(struct query *q, json_t *params)
{
	const char *asked = NULL;
	char job[JOB_SIZE], twin[NAME_SIZE];
	struct compare c = { .q = q, .job = job };
	struct page_bounds bounds = { 0, QUERY_LIMIT_MAX };
	const struct param list[] = {
		{ "position", PARAM_TEXT, false, &c.position },
		{ "job", PARAM_TEXT, false, &asked },
		{ "after", PARAM_WHOLE, false, &bounds.after },
		{ "limit", PARAM_WHOLE, false, &bounds.limit },
	};
	if (!params_read("compare", params, list, 4, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (!query_bounds(q, "compare", &bounds))
		return false;
	if (!query_job(q, asked, false, job))
		return false;
	bool good = compare_read(&c, twin);
	if (good)
		page_write(&c, &bounds);
	for (size_t i = 0; i < c.n; i++)
		free(c.at[i]);
	free(c.at);
	said_free(&c.strikes);
	said_free(&c.moves);
	names_free(&c.names);
	sheet_lines_free(&c.lines);
	return good;
}

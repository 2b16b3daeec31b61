/* SPDX-License-Identifier: MIT */
/*
 * `plan`: what to replace, in rounds, what to buy for it, and what to measure again.
 */
#include "daemon/query_gather.h"
#include "daemon/query_guided.h"
#include "protocol/trade/plan.h"

#include <stdlib.h>
#include <string.h>

#define ORDER_MAX 1024

/* ---- from records to lines ---- */

/* The newest that was measured of a part before fitting: good enough to fit? */
static void new_part(struct plan_line *l, const struct entry *e)
{
	if (e->quantity != QUANTITY_VALUE || e->seq < l->new_seq)
		return;
	l->new_seq = e->seq;
	l->here = e->verdict.word == VERDICT_OUTSIDE ? 0 : e->seq;
}

static struct plan_line *lines_of(const struct gathered *g)
{
	struct plan_line *line = calloc(g->rows ? (size_t)g->rows : 1, sizeof *line);
	for (int i = 0; line && i < g->rows; i++) {
		const struct gathered_row *r = &g->row[i];
		struct plan_fit *fit = &line[i].fit;
		line[i].position = r->position;
		*fit = (struct plan_fit){ .has_value = r->fit_value, .value = r->fitted.nominal,
			                  .has_rated = r->fit_rated, .rated = r->fitted.rated,
			                  .has_kind = r->has_fit, .kind = r->fitted.kind };
		memcpy(fit->tolerance, r->tolerance, sizeof fit->tolerance);
		memcpy(fit->number, r->number, sizeof fit->number);
		memcpy(fit->price, r->price, sizeof fit->price);
	}
	for (size_t k = 0; line && k < g->entries; k++) {
		const struct entry *e = &g->entry[k];
		int i = gathered_find(g, e->position);
		if (i < 0)
			continue;
		if (e->condition == CONDITION_NEW) {
			new_part(&line[i], e);
			continue;
		}
		struct entry *have = &line[i].entry[e->quantity];
		if (!have->seq || plan_newer(e, have))
			*have = *e;
		/* What came beside it decides as what it is: a capacitor of the right value dries up. */
		struct entry beside;
		if (!entry_second(e, &beside) || beside.quantity == e->quantity)
			continue;
		have = &line[i].entry[beside.quantity];
		if (!have->seq || plan_newer(&beside, have))
			*have = beside;
	}
	return line;
}

static bool runs_of(struct query *q, const char *job, const struct gathered *g, struct plan_line *line)
{
	struct guided_list list;
	bool good = guided_read(q, job, &list);
	for (size_t k = 0; good && k < list.n; k++) {
		int i = gathered_find(g, list.at[k].position);
		if (i >= 0)
			line[i].run = list.at[k].run;
	}
	guided_free(&list);
	return good;
}

/* What the policy is told to leave: kinds, or positions. */
static bool policy_read(struct query *q, json_t *keep, struct plan_policy *policy,
                        struct plan_line *line, int n)
{
	size_t at;
	json_t *one;
	json_array_foreach(keep, at, one) {
		const char *name = json_string_value(one);
		enum kind k;
		bool known = kind_from_name(name, strlen(name), &k);
		if (known)
			policy->keep[k] = true;
		for (int i = 0; i < n; i++)
			if (!strcmp(line[i].position.name, name))
				line[i].keep = known = true;
		if (!known) {
			fault_set(q->why, "keep: \"%.40s\" is no kind and no position of the sheet", name);
			return query_refuse(q, WIRE_BAD_PARAMS);
		}
	}
	return true;
}

/* ---- pages ---- */

/* The elements of all lists together, one after the other: which of them are on this page. */
struct plan_page {
	struct query *q;
	struct page_bounds bounds;
	int64_t at, given, next; /* of the elements so far; how many of them; the last one given */
	bool more;
};

/* An order of one part for a whole sheet names some thousand positions. */
#define ELEMENT_ROOM (200u << 10)

static bool on_page(struct plan_page *page)
{
	if (++page->at <= page->bounds.after)
		return false;
	page->more = page->more || page->given >= page->bounds.limit ||
	             !query_room(page->q, ELEMENT_ROOM);
	if (page->more)
		return false;
	page->given++;
	page->next = page->at;
	return true;
}

/* ---- writing ---- */

static void member(struct answer *out, const char *name, const char *value)
{
	answer_printf(out, ",\"%s\":", name);
	answer_name(out, value);
}

static void shown_of(const struct position *p, char *out, size_t size)
{
	out[0] = '\0';
	if (!p->has_nominal)
		return;
	struct decimal v = decimal_strip(p->nominal);
	int prefix = quantity_prefix(v, p->function);
	if (v.e > prefix)
		decimal_rescale(v, prefix, &v);
	quantity_shown(v, p->function, prefix, out, size);
}

static void line_write(struct answer *out, const struct plan_line *line, const struct plan_line *l)
{
	char shown[2 * DECIMAL_TEXT_SIZE];
	const struct position *p = &l->position;
	const struct entry *e = &l->entry[l->quantity];
	answer_puts(out, "{\"position\":");
	answer_string(out, p->name);
	member(out, "part", p->part);
	member(out, "kind", kind_name(p->kind));
	shown_of(p, shown, sizeof shown);
	member(out, "nominal", shown);
	member(out, "role", p->role);
	member(out, "channel", p->channel);
	member(out, "twin", p->twin);
	member(out, "because", l->because);
	answer_printf(out, ",\"policy\":%s", l->policy ? "true" : "false");
	member(out, "along", l->with >= 0 ? line[l->with].position.name : "");
	if (l->by_run)
		answer_printf(out, ",\"quantity\":\"%s\",\"guided\":%lld", quantity_name(l->quantity),
		              (long long)l->run.seq);
	else if (e->seq && !l->policy && l->with < 0)
		answer_printf(out, ",\"quantity\":\"%s\",\"seq\":%lld", quantity_name(l->quantity),
		              (long long)e->seq);
	answer_puts(out, "}");
}

static void rounds_write(struct answer *out, struct plan_page *page, const struct plan_line *line,
                         int n, enum plan_round most)
{
	answer_puts(out, "\"rounds\":[");
	for (int r = 0; r < ROUND_COUNT; r++) {
		int count = 0;
		answer_printf(out, "%s{\"round\":%d,\"name\":\"%s\",\"replace\":[", r ? "," : "", r + 1,
		              plan_round_name((enum plan_round)r));
		for (int i = 0; i < n && r <= (int)most; i++)
			if (line[i].action == PLAN_REPLACE && (int)line[i].round == r && on_page(page)) {
				answer_puts(out, count++ ? "," : "");
				line_write(out, line, &line[i]);
			}
		answer_puts(out, "]}");
	}
	answer_puts(out, "]");
}

static void order_write(struct answer *out, struct plan_page *page, const struct plan_line *line,
                        const struct order_item *item, int items)
{
	int count = 0;
	answer_puts(out, ",\"order\":[");
	for (int i = 0; i < items; i++) {
		const struct order_item *o = &item[i];
		if (!on_page(page))
			continue;
		answer_printf(out, "%s{\"count\":%d,\"kind\":\"%s\"", count++ ? "," : "", o->count,
		              kind_name(o->kind));
		member(out, "value", o->value);
		member(out, "tolerance", o->tolerance);
		answer_puts(out, ",\"rated\":");
		if (o->has_rated)
			answer_real(out, o->rated);
		else
			answer_puts(out, "null");
		answer_puts(out, ",\"watts\":");
		if (o->has_watts)
			answer_real(out, o->watts);
		else
			answer_puts(out, "null");
		member(out, "number", o->number);
		member(out, "price", o->price);
		answer_printf(out, ",\"fit\":%s", o->fit ? "true" : "false");
		member(out, "note", o->note);
		answer_puts(out, ",\"positions\":[");
		for (int k = 0; k < o->lines; k++) {
			answer_puts(out, k ? "," : "");
			answer_string(out, line[o->line[k]].position.name);
		}
		answer_puts(out, "]}");
	}
	answer_puts(out, "]");
}

static void recheck_write(struct answer *out, struct plan_page *page,
                          const struct plan_line *line, int n)
{
	int count = 0;
	answer_puts(out, ",\"recheck\":[");
	for (int i = 0; i < n; i++) {
		const struct plan_line *l = &line[i];
		if ((l->action != PLAN_RECHECK && l->action != PLAN_UNMEASURED) || !on_page(page))
			continue;
		const struct entry *e = &l->entry[l->quantity];
		bool measured = l->action == PLAN_RECHECK;
		answer_puts(out, count++ ? ",{\"position\":" : "{\"position\":");
		answer_string(out, l->position.name);
		answer_printf(out, ",\"measured\":%s", measured ? "true" : "false");
		member(out, "quantity", measured ? quantity_name(l->quantity) : "");
		member(out, "verdict", !measured ? "" :
		       verdict_word_name(l->by_run ? l->run.word : e->verdict.word));
		member(out, "because", l->because);
		member(out, "next", l->next);
		member(out, "twin", l->position.twin);
		if (l->by_run)
			answer_printf(out, ",\"guided\":%lld", (long long)l->run.seq);
		else if (measured)
			answer_printf(out, ",\"seq\":%lld", (long long)e->seq);
		answer_puts(out, "}");
	}
	answer_puts(out, "]");
}

/* What is to be fitted and lies on the bench. */
static void here_write(struct answer *out, const struct plan_line *line, int n, enum plan_round most)
{
	int count = 0;
	answer_puts(out, ",\"here\":[");
	for (int i = 0; i < n; i++)
		if (line[i].action == PLAN_REPLACE && line[i].round <= most && plan_here(line, n, i)) {
			answer_puts(out, count++ ? "," : "");
			answer_string(out, line[i].position.name);
		}
	answer_puts(out, "]");
}

static void counts_write(struct answer *out, const struct plan_line *line, int n)
{
	int count[PLAN_DONE + 1] = { 0 };
	for (int i = 0; i < n; i++)
		count[line[i].action]++;
	answer_printf(out, ",\"keep\":%d,\"replace\":%d,\"unsure\":%d,\"unmeasured\":%d,\"done\":%d",
	              count[PLAN_KEEP], count[PLAN_REPLACE], count[PLAN_RECHECK],
	              count[PLAN_UNMEASURED], count[PLAN_DONE]);
}

static bool plan_write(struct query *q, const struct page_bounds *bounds, const char *job,
                       struct plan_line *line, int n, enum plan_round round)
{
	struct plan_page page = {.q = q, .bounds = *bounds, .next = bounds->after};
	struct answer *out = &q->out;
	struct order_item *item = calloc(ORDER_MAX, sizeof *item);
	if (!item)
		return query_no_memory(q);
	int items = plan_order(line, n, round, item, ORDER_MAX);
	answer_puts(out, "{\"job\":");
	answer_name(out, job);
	answer_puts(out, ",");
	rounds_write(out, &page, line, n, round);
	order_write(out, &page, line, item, items < ORDER_MAX ? items : ORDER_MAX);
	recheck_write(out, &page, line, n);
	here_write(out, line, n, round);
	counts_write(out, line, n);
	answer_printf(out, ",\"more\":%s,\"next\":%lld}", page.more ? "true" : "false",
	              (long long)page.next);
	free(item);
	return true;
}

bool query_plan(struct query *q, json_t *params)
{
	const char *asked = NULL;
	int64_t round = ROUND_COUNT;
	json_t *keep = NULL;
	char job[JOB_SIZE];
	struct gathered g;
	struct plan_policy policy = { .keep = { false } };
	struct page_bounds bounds = { 0, QUERY_LIMIT_MAX };
	const struct param list[] = {
		{ "job", PARAM_TEXT, false, &asked },
		{ "keep", PARAM_NAMES, false, &keep },
		{ "round", PARAM_WHOLE, false, &round },
		{ "after", PARAM_WHOLE, false, &bounds.after },
		{ "limit", PARAM_WHOLE, false, &bounds.limit },
	};
	if (!params_read("plan", params, list, 5, q->why))
		return query_refuse(q, WIRE_BAD_PARAMS);
	if (!query_bounds(q, "plan", &bounds))
		return false;
	if (round < 1 || round > ROUND_COUNT) {
		fault_set(q->why, "round: 1 to %d was expected", ROUND_COUNT);
		return query_refuse(q, WIRE_BAD_PARAMS);
	}
	if (!query_job(q, asked, false, job))
		return false;
	bool good = gather(q, job, &g);
	struct plan_line *line = good ? lines_of(&g) : NULL;
	if (good && !line)
		good = query_no_memory(q);
	good = good && runs_of(q, job, &g, line);
	if (good && policy_read(q, keep, &policy, line, g.rows)) {
		plan_decide(line, g.rows, &policy);
		good = plan_write(q, &bounds, job, line, g.rows, (enum plan_round)(round - 1));
	} else {
		good = false;
	}
	free(line);
	gathered_free(&g);
	return good;
}

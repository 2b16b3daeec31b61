/* SPDX-License-Identifier: MIT */
/*
 * The second value that some meters send with each first one: of a capacitance its
 * dissipation, say.  It settles with the first, in the same readings; the entry has the
 * middle one of them.  The trail has both (SEAL.md, `second` of a trail record), so who looks
 * later sees what it was made from; its uncertainty and verdict are its own.
 */
#include "daemon/bench_inside.h"

#include <stdlib.h>

void second_keep(struct bench_meter *m, uint64_t ordinal, const struct reading *r)
{
	if (!r->has_second || m->config->second == SECOND_NONE)
		return;
	m->second[m->seconds_next].ordinal = ordinal;
	m->second[m->seconds_next].value = r->second;
	m->seconds_next = (m->seconds_next + 1) % SECONDS_MAX;
	m->seconds += m->seconds < SECONDS_MAX;
}

static int by_value(const void *a, const void *b)
{
	return decimal_compare(*(const struct decimal *)a, *(const struct decimal *)b);
}

void second_take(const struct bench_meter *m, const struct settle_result *r, struct entry *e)
{
	struct decimal used[SECONDS_MAX];
	double x[SECONDS_MAX], mean, scatter;
	int n = 0;
	for (int i = 0; i < m->seconds; i++)
		if (m->second[i].ordinal >= r->from && m->second[i].ordinal <= r->to)
			used[n++] = m->second[i].value;
	if (!n || !e->has_value)
		return;
	for (int i = 0; i < n; i++)
		x[i] = decimal_double(used[i]);
	statistics(x, (size_t)n, &mean, &scatter);
	qsort(used, (size_t)n, sizeof *used, by_value);
	e->second = (struct second){.kind = m->config->second, .value = used[(n - 1) / 2]};
	/* Readings of one conversion count once, as for the first value. */
	second_uncertainty(&e->second, &m->config->accuracy, scatter, r->n > 0 && r->n < n ? r->n : n);
}

void second_judge(const struct position *p, struct entry *e)
{
	const struct second *s = &e->second;
	enum quantity q = second_quantity(s->kind);
	struct judgement j = {.has_value = true, .value = s->value, .kind = p->kind,
	                      .function = second_function(s->kind), .settled = e->settled,
	                      .u = s->u, .in_circuit = e->reach == REACH_IN_CIRCUIT};
	e->second_verdict = (struct verdict){.word = VERDICT_NONE};
	if (q == QUANTITY_COUNT ||
	    !limits_from(&p->beside[q], false, (struct decimal){0, 0}, &j.limits))
		return;
	/* Of a record from before records said u: as it was assumed then, without a word of what
	 * the readings did. */
	struct accuracy_line assumed = accuracy_assumed_second(j.function);
	if (!s->basis.known)
		j.u = uncertainty_accuracy(&assumed, decimal_double(s->value),
		                           decimal_double((struct decimal){1, s->value.e}));
	e->second_verdict = judge(&j);
	struct use_doubt doubt;
	if (use_outside(&e->use, p, q, j.function, &doubt))
		verdict_beyond_meter(&e->second_verdict, doubt.why, doubt.next);
}

bool entry_shows(const struct entry *e, enum quantity q)
{
	return e->quantity == q || second_quantity(e->second.kind) == q;
}

/* SPDX-License-Identifier: MIT */
/*
 * The second value that some meters send with each first one: of a capacitance its
 * dissipation, say.  It settles with the first, in the same readings; the entry has the
 * middle one of them.  The trail keeps the first values alone; the frames of the entry have
 * both.
 */
#include "daemon/bench_state.h"

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
	int n = 0;
	for (int i = 0; i < m->seconds; i++)
		if (m->second[i].ordinal >= r->from && m->second[i].ordinal <= r->to)
			used[n++] = m->second[i].value;
	if (!n || !e->has_value)
		return;
	qsort(used, (size_t)n, sizeof *used, by_value);
	e->second = (struct second){m->config->second, used[(n - 1) / 2]};
}

void second_judge(const struct position *p, struct entry *e)
{
	enum quantity q = second_quantity(e->second.kind);
	struct judgement j = {.has_value = true, .value = e->second.value, .kind = p->kind,
	                      .function = second_function(e->second.kind), .settled = e->settled,
	                      .in_circuit = e->reach == REACH_IN_CIRCUIT};
	e->second_verdict = (struct verdict){VERDICT_NONE};
	if (q == QUANTITY_COUNT ||
	    !limits_from(&p->beside[q], false, (struct decimal){0, 0}, &j.limits))
		return;
	/* No statement of accuracy is known for it: its last digit, and the tenth that such
	 * values are good for.  Common practice, no source. */
	double value = decimal_double(e->second.value);
	double digit = decimal_double((struct decimal){1, e->second.value.e});
	struct accuracy_line assumed = {.function = j.function, .percent = 10, .counts = 1};
	j.u = uncertainty_accuracy(&assumed, value, digit);
	e->second_verdict = judge(&j);
}

bool entry_shows(const struct entry *e, enum quantity q)
{
	return e->quantity == q || second_quantity(e->second.kind) == q;
}

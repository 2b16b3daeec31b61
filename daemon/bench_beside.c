/* SPDX-License-Identifier: MIT */
/*
 * What an entry is judged beside.
 *
 * In circuit a resistance that reads high may be a charge that was left behind; with the
 * leads swapped such a charge pulls the other way.  So the person asks for the same
 * position again (`again swapped`), swaps the leads and touches: that entry says
 * `leads: swapped`, and whether it agrees with the newest one before, of the same meter.
 * The meter's own error is in both, so only what they scatter and their digits count;
 * but a circuit is no reference part, and what is below the meter's U is not looked at.
 *
 * A value in circuit that decides nothing by itself is held against its twin's, which
 * has the same paths beside it.  Both findings stand in the entry, so that whoever
 * judges later finds them there.
 */
#include "daemon/bench_inside.h"
#include "protocol/trade/crosscheck.h"

#include <math.h>
#include <string.h>

static void beside_swapped(const struct bench *b, int place, struct entry *e)
{
	for (int i = b->position[place].newest; i >= 0; i = b->made[i].older) {
		const struct entry *f = &b->made[i].entry;
		if (f->struck || f->swapped || f->reach != e->reach || f->quantity != e->quantity ||
		    f->condition != e->condition || f->function != e->function ||
		    strcmp(f->meter, e->meter) != 0)
			continue;
		if (!e->has_value || !f->has_value) {
			/* Two that read open agree; one that does not, disagrees. */
			e->swap = e->has_value == f->has_value ? AGREEMENT_YES : AGREEMENT_NO;
			return;
		}
		e->swap = crosscheck_entries(e, f) <= 1 ? AGREEMENT_YES : AGREEMENT_NO;
		return;
	}
}

void entry_beside(const struct bench *b, int place, struct entry *e)
{
	struct twins twins;
	if (e->reach != REACH_IN_CIRCUIT)
		return;
	e->swapped = b->swapped && place == b->chosen;
	if (e->swapped)
		beside_swapped(b, place, e);
	if (!e->has_value || !way_twin(b, place, e, &twins))
		return;
	memcpy(e->twin, b->position[place].row.position.twin, sizeof e->twin);
	e->twin_agrees = twins.agree;
	e->twin_difference = twins.difference;
}

void beside_judgement(const struct position *p, const struct entry *e, struct judgement *j)
{
	j->swapped = e->swapped ? e->swap : AGREEMENT_UNKNOWN;
	if (e->has_value)
		j->load = use_loading(&e->use, p, e->function, decimal_double(e->value));
}

void beside_verdict(const struct position *p, const struct entry *e, struct verdict *v)
{
	struct use_doubt doubt;
	bool judged = v->word != VERDICT_NONE;
	/* (Beyond the range of half a volt no insulation is good.) */
	bool said = e->has_value || e->quantity == QUANTITY_INSULATION;
	if (judged && said && e->source == SOURCE_METER &&
	    use_outside(&e->use, p, e->quantity, e->function, &doubt))
		verdict_beyond_meter(v, doubt.why, doubt.next);
	else if (e->twin[0] && strcmp(e->twin, p->twin) == 0 &&
	         !(e->swapped && e->swap == AGREEMENT_NO))
		verdict_beside_twin(v, e->twin, e->twin_agrees, e->twin_difference);
}

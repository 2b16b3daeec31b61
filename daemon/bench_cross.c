/* SPDX-License-Identifier: MIT */
/*
 * Do two meters agree about the part that the probes were just at?
 *
 * Who measures a part with one meter after the other does it for this answer, and has to have it
 * while the probes are still there: so it is said as soon as the entry is durable, and only where
 * they disagree (E_n above 1, by the rules of protocol/trade/crosscheck.h).  Nothing is recorded
 * for it: `compare` comes to the same from the entries, at any time.
 */
#include "daemon/bench_inside.h"
#include "protocol/trade/crosscheck.h"

#include <stdio.h>
#include <string.h>

/* Of each other meter its newest entry there counts; the one that is farthest away is named. */
static const struct entry *farthest(const struct bench *b, int place, const struct entry *e,
                                    double *en)
{
	const struct entry *seen[WALK_METERS_MAX], *worst = NULL;
	struct fault ignored;
	int count = 0;
	*en = 1;
	for (int i = b->position[place].newest; i >= 0 && count < WALK_METERS_MAX; i = b->made[i].older) {
		const struct entry *f = &b->made[i].entry;
		bool known = f == e || !crosscheck_allowed(e, f, &ignored);
		for (int k = 0; k < count; k++)
			known = known || strcmp(seen[k]->meter, f->meter) == 0;
		if (known)
			continue;
		seen[count++] = f;
		double apart = crosscheck_entries(e, f);
		if (apart > *en) {
			*en = apart;
			worst = f;
		}
	}
	return worst;
}

void cross_durable(struct bench *b, const struct entry *e)
{
	int place = position_find(b, e->position);
	char text[480], one[64], two[64], number[24];
	struct fault offset;
	double en;
	const struct entry *f = place >= 0 ? farthest(b, place, e, &en) : NULL;
	if (!f)
		return;
	entry_shown(e, one, sizeof one);
	entry_shown(f, two, sizeof two);
	snprintf(number, sizeof number, "%.1f", en < 1e6 ? en : 1e6);
	if (!crosscheck_offset(e, f, &offset))
		fault_set(&offset, "measure it again with both");
	snprintf(text, sizeof text, "%s and %s disagree at %s: %s and %s, E_n %s: %.140s", e->meter,
	         f->meter, e->position, one, two, number, offset.text);
	bench_event(b, "disagree", "position", e->position, "quantity", quantity_name(e->quantity),
	            "meter", e->meter, "other", f->meter, "en", number, "text", text, NULL);
}

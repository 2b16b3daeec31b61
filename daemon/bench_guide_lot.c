/* SPDX-License-Identifier: MIT */
/*
 * See bench_guide.h: what a lot leaves.  Each part that is counted is a record of its own
 * (SEAL.md, `part`), with the readings that it was made from, for nobody measures a loose part a
 * second time once it is soldered in; the fit of the position that it goes to names it.
 */
#include "daemon/bench_guide.h"
#include "protocol/record/kinds.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* As it rested; by `go` as it stands now. */
static bool what_stands(struct bench_meter *m, int64_t t, bool stood, struct settle_result *r)
{
	const struct settle_result *rested = settle_result(&m->settle);
	struct fault ignored;
	if (stood || !rested)
		return settle_take(&m->settle, t, r, &ignored) && !r->overload;
	*r = *rested;
	return true;
}

static void bound(struct text *out, double limit)
{
	if (isfinite(limit))
		text_real(out, limit);
	else
		text_puts(out, "null");
}

static void write_part(const struct bench *b, const struct bench_guide *gd, int number,
                       struct record_ref before, const struct entry *e,
                       const struct entry_beside *beside, struct text *out)
{
	double low, high;
	const char *verdict = guide_lot_verdict(&gd->g, number, &low, &high);
	text_member_string(out, "job", b->job);
	text_member_string(out, "lot", gd->of);
	text_member_int(out, "number", number);
	text_member_ref(out, "replaces", before);
	text_member_string(out, "meter", e->meter);
	text_member_string(out, "function", function_name(e->function));
	entry_value_write(out, e);
	entry_refer_write(out, e);
	text_member_string(out, "verdict", verdict);
	text_member(out, "limits");
	text_puts(out, "[");
	bound(out, low);
	text_puts(out, ",");
	bound(out, high);
	text_puts(out, "]");
	entry_beside_write(out, beside);
}

void guide_lot_part(struct bench *b, struct bench_guide *gd, int64_t t, int number, bool stood)
{
	struct bench_meter *m = &b->meter[gd->meter[0]];
	struct guide_slot *slot = &gd->g.slot[number];
	struct settle_result r;
	struct entry e;
	struct limits_of_use use;
	struct entry_beside beside = {.by = b->by, .guide = gd->begun, .use = &use};
	struct fault why;
	struct text body;
	char shown[80], frames[METER_FRAMES][METER_FRAME_TEXT];
	struct record_ref before = slot->of;
	struct bench_wait named;
	if (!what_stands(m, t, stood, &r))
		r = (struct settle_result){.function = m->last.function, .value = m->last.value,
		                           .prefix = m->last.prefix, .n = 1};
	use_of(&m->config->use, r.function, &use);
	capture_fill(b, m, t, &r, &e);
	beside.accuracy_assumed = entry_uncertainty(m, &r, &e);
	entry_shown(&e, shown, sizeof shown); /* as the meter gave it */
	entry_refer(b, &e);
	*slot = (struct guide_slot){.has = true, .value = decimal_double(e.value), .u = e.u};
	beside.shown = shown;
	beside.frame_count = meter_frames_write(meter_frames(&m->machine), ENTRY_FRAMES_MAX, frames);
	for (int i = 0; i < beside.frame_count; i++)
		beside.frames[i] = frames[i];
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	capture_trail(b, m, &r, &beside);
	write_part(b, gd, number, before, &e, &beside, &body);
	slot->of.ticket = capture_put(b, m, t, "part", &body, &why);
	if (!slot->of.ticket)
		bench_event(b, "not-logged", "why", why.text, NULL);
	else if (hosted_name(b, slot->of.ticket, (struct bench_wait){0}, &named))
		bench_pend(b, bench_pending(slot->of.ticket, named));
}

static void fit_one(struct bench *b, const struct bench_guide *gd, int64_t t, int number,
                    const char *position)
{
	const struct guide_slot *slot = &gd->g.slot[number];
	char note[120], value[48];
	struct fault why;
	struct decimal d = decimal_from_double(slot->value, 5);
	quantity_shown(d, gd->plan.function, quantity_prefix(d, gd->plan.function), value, sizeof value);
	snprintf(note, sizeof note, "part %d of the lot %.40s: %s", number, gd->of, value);
	if (!fit_part(b, t, position, note, slot->of, &why))
		bench_event(b, "refused", "meter", "", "position", position, "why", why.text, NULL);
}

void guide_lot_fit(struct bench *b, const struct bench_guide *gd, int64_t t)
{
	struct guide_pair pair[GUIDE_LOT_MAX / 2];
	int n = guide_lot_pairs(&gd->g, gd->plan.fits / 2, pair);
	b->quiet++; /* on a tape the lot itself does it */
	for (int i = 0; i < n; i++) {
		fit_one(b, gd, t, pair[i].a, gd->plan.fit[2 * i]);
		fit_one(b, gd, t, pair[i].b, gd->plan.fit[2 * i + 1]);
	}
	b->quiet--;
}

/* SPDX-License-Identifier: MIT */
/* See bench_guide.h: runs are read back from their records, and shown as they stand. */
#include "daemon/bench_guide.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- reading back, looking ---- */

bool guide_restore(struct bench *b, int64_t seq, const char *text, size_t len)
{
	struct bench_guide gd, *slot = NULL;
	char kind[16], of[NAME_SIZE], said[GUIDE_SAID_SIZE], event[16], name[NAME_SIZE];
	enum guide_kind k;
	struct fault ignored;
	if (!json_text(json_member(text, len, "guide"), kind, sizeof kind) || !guide_from_name(kind, &k) ||
	    !json_text(json_member(text, len, "event"), event, sizeof event))
		return true; /* of a later version */
	of[0] = said[0] = '\0';
	(void)json_text(json_member(text, len, "of"), of, sizeof of);
	(void)json_text(json_member(text, len, "said"), said, sizeof said);
	hosted_draft(&gd, b, k, of, said);
	for (int i = 0; i < BENCH_GUIDES_MAX; i++) {
		struct bench_guide *one = &b->guide[i];
		if (one->open && one->kind == k && strcmp(one->of, of) == 0)
			slot = one;
	}
	bool over = strcmp(event, "begun") != 0 && strcmp(event, "step") != 0 &&
	            strcmp(event, "resumed") != 0;
	if (over && slot) {
		slot->open = false;
		slot->left = strcmp(event, "left") == 0 && guide_state_read(&slot->g, text, len);
	}
	if (!over && !slot)
		slot = hosted_room(b, k, of);
	if (over || !slot || !guide_plan_make(b, &gd, false, &ignored) ||
	    !guide_state_read(&gd.g, text, len))
		return true;
	struct slice meters = json_member(text, len, "meters");
	for (int i = 0; i < guide_roles(k); i++) {
		struct slice one = json_member(meters.at, meters.len, guide_role(k, i)->name);
		gd.meter[i] = json_text(one, name, sizeof name) ? bench_meter_index(b, name) : -1;
		double ohms = gd.meter[i] < 0 ? 0 : b->meter[gd.meter[i]].config->use.input[guide_role(k, i)->function];
		gd.g.plan.input[i] = ohms > 0 ? ohms : NAN;
		gd.g.plan.there[i] = gd.meter[i] >= 0;
	}
	gd.number = slot->open ? slot->number : ++b->guides;
	/* Records of before they said it: the first one is one itself. */
	if (!json_int(json_member(text, len, "begun"), &gd.begun.seq) && slot->open)
		gd.begun = slot->begun;
	else if (!gd.begun.seq)
		gd.begun.seq = seq;
	gd.open = true;
	if (gd.g.alarm)
		snprintf(gd.alarm, sizeof gd.alarm, "%.40s: a limit was passed before the daemon began anew: SWITCH OFF",
		         gd.of[0] ? gd.of : guide_name(k));
	*slot = gd;
	return true;
}

void bench_guides(const struct bench *b, struct text *out)
{
	bool first = true;
	char say[GUIDE_TEXT];
	text_member(out, "guides");
	text_puts(out, "[");
	for (int i = 0; i < BENCH_GUIDES_MAX; i++) {
		const struct bench_guide *gd = &b->guide[i];
		if (!gd->open)
			continue;
		guide_say(&gd->g, say, sizeof say);
		text_puts(out, first ? "{\"guide\":" : ",{\"guide\":");
		text_string(out, guide_name(gd->kind), strlen(guide_name(gd->kind)));
		text_member_string(out, "of", gd->of);
		text_member_string(out, "text", say);
		text_member_bool(out, "hand", guide_by_hand(&gd->g));
		enum quantity q;
		const char *at;
		int role = guide_takes(&gd->g, &q, &at);
		if (role >= 0 && gd->meter[role] >= 0)
			text_member_string(out, "takes", b->meter[gd->meter[role]].config->name);
		struct guide known = gd->g; /* what is on its way to the disk has no number yet */
		for (int k = 0; k < GUIDE_SLOTS; k++)
			known.slot[k].of.ticket = 0;
		guide_state_write(&known, out);
		guide_look(&gd->g, out);
		text_puts(out, "}");
		first = false;
	}
	text_puts(out, "]");
}

void guides_alarms(const struct bench *b, struct text *out, bool first)
{
	for (int i = 0; i < BENCH_GUIDES_MAX; i++) {
		if (!b->guide[i].open || !b->guide[i].alarm[0])
			continue;
		text_puts(out, first ? "{\"alarm\":\"guide\"" : ",{\"alarm\":\"guide\"");
		text_member_string(out, "text", b->guide[i].alarm);
		text_puts(out, "}");
		first = false;
	}
}

void bench_ear(const struct bench *b, int64_t t, struct text *out)
{
	const struct bench_guide *found = NULL;
	for (int i = 0; i < BENCH_GUIDES_MAX; i++) {
		const struct bench_guide *gd = &b->guide[i];
		if (gd->open && gd->kind == GUIDE_TUNE && (!found || gd->number > found->number))
			found = gd;
	}
	double toward = found ? guide_tune_toward(&found->g) : NAN;
	enum quantity q;
	const char *at;
	int role = isnan(toward) ? -1 : guide_takes(&found->g, &q, &at);
	const struct bench_meter *m = role >= 0 && found->meter[role] >= 0 ? &b->meter[found->meter[role]] : NULL;
	/* A value that says nothing about now is not heard either. */
	if (!m || m->gone || !m->has_last || stale_old(&m->stale, t))
		return;
	struct guide_ear ear = guide_tune_ear(toward);
	text_member(out, "ear");
	text_puts(out, "{\"of\":");
	text_string(out, found->of, strlen(found->of));
	text_member_string(out, "meter", m->config->name);
	text_member_real(out, "toward", toward);
	text_member_bool(out, "inside", ear.inside);
	text_member_real(out, "hertz", ear.hertz);
	text_puts(out, "}");
}

/* SPDX-License-Identifier: MIT */
/*
 * See bench_guide.h: a run begins, goes on and is left.  What a person's `go` does:
 *
 *     the step takes a value   its meter's reading is logged as an entry (bench_take); the
 *                              run goes on when that is durable
 *     the unit is another      live, or cold, by the rules of bench_safe.c; where they refuse,
 *                              the run stays where it is
 *     else                     the next step
 */
#include "daemon/bench_guide.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct bench_wait nobody = {0};

static bool state_suits(const struct bench *b, const struct bench_guide *gd, struct fault *why)
{
	if (guide_needs(gd->kind) == GUIDE_NEEDS_COLD && b->live) {
		fault_set(why, "%s begins with the unit cold: switch off, isolate, discharge, and say so (job cold)",
		          guide_name(gd->kind));
		return false;
	}
	if (guide_needs(gd->kind) == GUIDE_NEEDS_LIVE && !b->live) {
		fault_set(why, "%s is of a unit that is on: say so first (job live)", guide_name(gd->kind));
		return false;
	}
	return true;
}

static bool same_run(struct bench *b, const char *of, enum guide_kind kind)
{
	for (int i = 0; i < BENCH_GUIDES_MAX; i++)
		if (b->guide[i].open && b->guide[i].kind == kind && strcmp(b->guide[i].of, of) == 0)
			return true;
	return false;
}

void hosted_draft(struct bench_guide *gd, struct bench *b, enum guide_kind kind, const char *of,
                  const char *words)
{
	memset(gd, 0, sizeof *gd);
	gd->bench = b;
	gd->kind = kind;
	gd->made = -1;
	snprintf(gd->of, sizeof gd->of, "%s", of ? of : "");
	snprintf(gd->said, sizeof gd->said, "%s", words ? words : "");
}

static bool kind_named(const char *name, enum guide_kind *out, struct fault *why)
{
	if (guide_from_name(name, out))
		return true;
	fault_set(why, "there is no guided run %.40s: leak, reform, rise, tune, lot", name);
	return false;
}

/* Room for one more: of the same that was left, else where nothing is, else of what was left
 * longest ago; NULL where all of them go on. */
struct bench_guide *hosted_room(struct bench *b, enum guide_kind kind, const char *of)
{
	struct bench_guide *best = NULL;
	for (int i = 0; i < BENCH_GUIDES_MAX; i++) {
		struct bench_guide *one = &b->guide[i];
		if (one->open)
			continue;
		if (one->left && one->kind == kind && strcmp(one->of, of) == 0)
			return one;
		if (!best || (best->left && (!one->left || one->number < best->number)))
			best = one;
	}
	return best;
}

/* A run begins; `left`: one that was left goes on, NULL for none. */
static bool begin(struct bench *b, int64_t t, enum guide_kind kind, const char *of,
                  const char *words, const struct bench_guide *left, struct bench_wait w,
                  struct fault *why)
{
	struct bench_guide gd, *slot;
	if (words && strlen(words) >= GUIDE_SAID_SIZE) {
		fault_set(why, "too many words: they have room for %d bytes", GUIDE_SAID_SIZE - 1);
		return false;
	}
	hosted_draft(&gd, b, kind, of, words);
	slot = hosted_room(b, kind, gd.of);
	if (!slot) {
		fault_set(why, "%d guided runs go on already: leave one", BENCH_GUIDES_MAX);
		return false;
	}
	if (same_run(b, gd.of, kind)) {
		fault_set(why, "%s of %.40s goes on already: go on with it, or leave it", guide_name(kind), gd.of);
		return false;
	}
	if (!job_need(b, t, why) || !guide_plan_make(b, &gd, true, why) || !state_suits(b, &gd, why))
		return false;
	if (left)
		guide_again(&gd.g, &left->g);
	struct bench_guide was = *slot;
	gd.number = ++b->guides;
	gd.open = true;
	*slot = gd;
	b->quiet++;
	bool good = hosted_hold(b, slot, t, why) && hosted_put(b, slot, t, left ? "resumed" : "begun", w, why);
	b->quiet--;
	if (!good) {
		*slot = was;
		return false;
	}
	if (left)
		bench_taped(b, t, "resume", "%s", gd.of[0] ? gd.of : guide_name(kind));
	else
		bench_taped(b, t, "guide", "%s %s%s%s", guide_name(kind), gd.of[0] ? gd.of : "-",
		            gd.said[0] ? " " : "", gd.said);
	hosted_say(b, slot);
	return true;
}

bool bench_guide_start(struct bench *b, int64_t t, const char *name, const char *of,
                       const char *words, struct bench_wait w, struct fault *why)
{
	enum guide_kind kind;
	bench_run_until(b, t);
	return kind_named(name, &kind, why) && begin(b, t, kind, of, words, NULL, w, why);
}

static const struct bench_guide *find_left(const struct bench *b, const char *which)
{
	const struct bench_guide *found = NULL;
	for (int i = 0; i < BENCH_GUIDES_MAX; i++) {
		const struct bench_guide *one = &b->guide[i];
		bool meant = !which || strcmp(one->of, which) == 0 || strcmp(guide_name(one->kind), which) == 0;
		if (!one->open && one->left && meant && (!found || one->number > found->number))
			found = one;
	}
	return found;
}

const char *bench_guide_left(const struct bench *b, const char *which, const char **words)
{
	const struct bench_guide *found = find_left(b, which);
	*words = found ? found->said : "";
	return found ? guide_name(found->kind) : "";
}

bool bench_guide_resume(struct bench *b, int64_t t, const char *which, struct bench_wait w,
                        struct fault *why)
{
	bench_run_until(b, t);
	const struct bench_guide *found = find_left(b, which);
	if (!found) {
		fault_set(why, "no guided run%s%.40s was left in this job: begin one", which ? " of " : "",
		          which ? which : "");
		return false;
	}
	struct bench_guide left = *found;
	return begin(b, t, left.kind, left.of, left.said, &left, w, why);
}

bool bench_guide_dry(struct bench *b, const char *name, const char *of, const char *words,
                     struct text *out, struct fault *why)
{
	struct bench_guide gd;
	enum guide_kind kind;
	if (!kind_named(name, &kind, why))
		return false;
	hosted_draft(&gd, b, kind, of, words);
	/* What only the run itself refuses (no resistor named, no rating) still has its road. */
	struct bench_guide begun;
	struct fault no;
	bool good = guide_plan_make(b, &gd, false, why);
	if (!good && !gd.g.kept_at)
		return false;
	hosted_draft(&begun, b, kind, of, words);
	guide_dry_cautions(kind, out);
	if (!good)
		text_printf(out, "refused as it stands: %s\n", why->text);
	else if (!guide_plan_make(b, &begun, true, &no))
		text_printf(out, "refused as it stands: %s\n", no.text);
	if (!state_suits(b, &gd, &no))
		text_printf(out, "refused as it stands: %s\n", no.text);
	guide_dry_road(&gd.g, out);
	return true;
}

/* The entry of a step is durable, or is not. */
static void taken(void *arg, const struct bench_outcome *o)
{
	struct bench_guide *gd = arg;
	struct bench *b = gd->bench;
	struct bench_wait w = gd->wait;
	gd->taking = false;
	if (o->durable && gd->open && gd->made >= 0) {
		const struct entry *e = &b->made[gd->made].entry;
		struct guide_input in = {.act = GUIDE_TAKEN, .t = b->now, .seq = o->seq,
		                         .x = {decimal_double(e->value), e->u}};
		if (e->has_value)
			hosted_input(b, gd, &in, nobody);
		else
			hosted_tell(b, gd, "said", "that is beyond the meter's range, and was logged so: set another range, and "
			                    "go on again");
	}
	if (w.done)
		w.done(w.arg, o);
}

static bool take_value(struct bench *b, struct bench_guide *gd, int64_t t, int role,
                       enum quantity q, const char *at, struct bench_wait w, struct fault *why)
{
	const struct guide_role *r = guide_role(gd->kind, role);
	int place = at[0] ? position_find(b, at) : gd->place;
	if (gd->meter[role] < 0 || place < 0) {
		fault_set(why, gd->meter[role] < 0 ? "no meter has the role %s in this run: begin it anew with %s=NAME"
		                                   : "%s: its position is not in the sheet any more", r->name,
		          r->name);
		return false;
	}
	struct bench_meter *m = &b->meter[gd->meter[role]];
	if ((m->bound.place != place || m->bound.quantity != q) &&
	    !bench_bind(b, t, b->position[place].row.position.name, (int)q, m->config->name, nobody, why))
		return false;
	m->held.waits = false;
	gd->wait = w;
	gd->taking = true;
	char hertz[24];
	snprintf(hertz, sizeof hertz, "%g", guide_hertz(&gd->g));
	/* What is re-formed is free of its circuit, whatever the others do meanwhile. */
	enum reach reach = b->reach;
	if (gd->kind == GUIDE_REFORM)
		b->reach = REACH_LOOSE;
	bool good = bench_take_at(b, t, m->config->name, guide_hertz(&gd->g) > 0 ? hertz : NULL,
	                          (struct bench_wait){taken, gd}, why);
	b->reach = reach;
	gd->made = good ? b->mades - 1 : -1;
	gd->taking = gd->taking && good;
	return good;
}

bool hosted_unit(struct bench *b, int64_t t, enum guide_unit unit, struct fault *why)
{
	/* Also out of the discharging of a step before: what was measured then says nothing now. */
	if (unit == GUIDE_UNIT_LIVE && (!b->live || b->cooling))
		return bench_job_state(b, t, true, "", nobody, why);
	if (unit == GUIDE_UNIT_COLD && b->live && !b->cooling)
		return bench_job_state(b, t, false, "", nobody, why);
	return true;
}

bool bench_guide_go(struct bench *b, int64_t t, const char *which, struct bench_wait w,
                    struct fault *why)
{
	bench_run_until(b, t);
	struct bench_guide *gd = hosted_find(b, which, why);
	enum quantity q;
	const char *at;
	if (!gd)
		return false;
	if (gd->taking) {
		fault_set(why, "the value of this step is on its way to the disk: wait for it");
		return false;
	}
	if (!guide_may_go(&gd->g, why))
		return false;
	int role = guide_takes(&gd->g, &q, &at);
	b->quiet++;
	bool good = role >= 0 ? take_value(b, gd, t, role, q, at, w, why)
	                      : hosted_unit(b, t, guide_unit(&gd->g), why);
	b->quiet--;
	if (!good)
		return false;
	bench_taped(b, t, "go", "%s", gd->of[0] ? gd->of : guide_name(gd->kind));
	if (role < 0)
		hosted_input(b, gd, &(struct guide_input){.act = GUIDE_GO, .t = t}, w);
	return true;
}

bool bench_guide_back(struct bench *b, int64_t t, const char *which, struct bench_wait w,
                      struct fault *why)
{
	bench_run_until(b, t);
	struct bench_guide *gd = hosted_find(b, which, why);
	if (!gd)
		return false;
	bench_taped(b, t, "go", "%s back", gd->of[0] ? gd->of : guide_name(gd->kind));
	hosted_input(b, gd, &(struct guide_input){.act = GUIDE_BACK, .t = t}, w);
	return true;
}

bool bench_guide_leave(struct bench *b, int64_t t, const char *which, const char *because,
                       struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	struct bench_guide *gd = hosted_find(b, which, why);
	if (!gd)
		return false;
	struct guide before = gd->g;
	/* Why it was given up before stays the reason. */
	if (!gd->g.failed || (because && because[0]))
		snprintf(gd->g.because, sizeof gd->g.because, "%s", because && because[0] ? because : "left");
	gd->g.failed = true;
	if (!hosted_put(b, gd, t, "left", w, why)) {
		gd->g = before;
		return false;
	}
	bench_taped(b, t, "leave", "%s", gd->of[0] ? gd->of : guide_name(gd->kind));
	hosted_tell(b, gd, "left", b->live ? "left: the unit is live still; switch off and discharge before you touch it"
	                            : "left");
	hosted_end(b, gd, t);
	gd->left = true;
	return true;
}

void guides_clear(struct bench *b)
{
	for (int i = 0; i < BENCH_GUIDES_MAX; i++)
		b->guide[i].open = b->guide[i].left = false;
}

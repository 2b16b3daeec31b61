/* SPDX-License-Identifier: MIT */
/*
 * See bench_guide.h.  What a person's `go` does:
 *
 *     the step takes a value   its meter's reading is logged as an entry (bench_take); the
 *                              run goes on when that is durable
 *     the unit is another      live, or cold, by the rules of bench_safe.c; where they refuse,
 *                              the run stays where it is
 *     else                     the next step
 *
 * Each step is a record with all that the run knows (SEAL.md, `guide`), so a daemon that is
 * started anew goes on where it was: nothing that the person set changes by that.
 */
#include "daemon/bench_guide.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct bench_wait nobody = {0};

/* ---- finding ---- */

/* By what it is of or by its kind; NULL: the newest one. */
static struct bench_guide *find(struct bench *b, const char *which, struct fault *why)
{
	struct bench_guide *found = NULL;
	for (int i = 0; i < BENCH_GUIDES_MAX; i++) {
		struct bench_guide *gd = &b->guide[i];
		bool meant = !which || strcmp(gd->of, which) == 0 || strcmp(guide_name(gd->kind), which) == 0;
		if (gd->open && meant && (!found || gd->number > found->number))
			found = gd;
	}
	if (!found && which)
		fault_set(why, "no guided run of %.40s goes on", which);
	else if (!found)
		fault_set(why, "no guided run goes on: tally leak, reform, rise, tune or lot begins one");
	return found;
}

static int role_of(const struct bench_guide *gd, const struct bench_meter *m)
{
	for (int i = 0; gd->open && i < GUIDE_ROLES; i++)
		if (gd->meter[i] == m->index)
			return i;
	return -1;
}

struct bench_guide *guide_of_meter(const struct bench *b, const struct bench_meter *m)
{
	for (int i = 0; i < BENCH_GUIDES_MAX; i++)
		if (role_of(&b->guide[i], m) >= 0)
			return &b->guide[i];
	return NULL;
}

bool guide_wants_hand(const struct bench *b)
{
	const struct bench_guide *found = NULL;
	for (int i = 0; i < BENCH_GUIDES_MAX; i++)
		if (b->guide[i].open && (!found || b->guide[i].number > found->number))
			found = &b->guide[i];
	/* A re-forming goes on for hours, away from the hands: while they walk, the pedal is the
	 * walk's. */
	if (found && found->kind == GUIDE_REFORM && b->way.mode != WALK_OFF)
		return false;
	return found && guide_by_hand(&found->g);
}

bool guide_expects_volts(const struct bench *b, const struct bench_meter *m)
{
	const struct bench_guide *gd = guide_of_meter(b, m);
	return gd && gd->kind == GUIDE_REFORM;
}

/* ---- records ---- */

static bool put(struct bench *b, struct bench_guide *gd, int64_t t, const char *event,
                struct bench_wait w, struct fault *why)
{
	struct text out;
	bool first = true;
	text_begin(&out, b->body, BENCH_BODY_SIZE);
	text_member_string(&out, "job", b->job);
	text_member_string(&out, "guide", guide_name(gd->kind));
	text_member_string(&out, "of", gd->of);
	text_member_string(&out, "event", event);
	if (gd->place >= 0)
		text_member_string(&out, "position", b->position[gd->place].row.position.name);
	text_member(&out, "meters");
	text_puts(&out, "{");
	for (int i = 0; i < guide_roles(gd->kind); i++) {
		if (gd->meter[i] < 0)
			continue;
		text_printf(&out, "%s\"%s\":", first ? "" : ",", guide_role(gd->kind, i)->name);
		text_string(&out, b->meter[gd->meter[i]].config->name,
		            strlen(b->meter[gd->meter[i]].config->name));
		first = false;
	}
	text_puts(&out, "}");
	text_member_string(&out, "said", gd->said);
	guide_state_write(&gd->g, &out);
	guide_result_write(&gd->g, &out);
	if (b->by.known)
		text_member_int(&out, "uid", b->by.uid);
	return bench_put(b, "guide", t, &out, w, why);
}

/* What the run itself says on the way; `ear`: whoever plays the pitch hears that already. */
static void say_on_the_way(struct bench *b, const struct bench_guide *gd, const char *text)
{
	bool ear = gd->kind == GUIDE_TUNE && !isnan(guide_tune_toward(&gd->g));
	bench_event(b, "guide", "guide", guide_name(gd->kind), "of", gd->of, "state", "said", "step",
	            guide_step_word(&gd->g), "text", text, "ear", ear ? "yes" : NULL, NULL);
}

static void tell(struct bench *b, const struct bench_guide *gd, const char *event, const char *text)
{
	bench_event(b, "guide", "guide", guide_name(gd->kind), "of", gd->of, "state", event, "step",
	            guide_step_word(&gd->g), "text", text, NULL);
}

/* The meter that this step takes from belongs to its position from now on, and so does its trail. */
static void aim_step(struct bench *b, struct bench_guide *gd, int64_t t)
{
	enum quantity q;
	const char *at;
	struct fault ignored;
	int role = guide_takes(&gd->g, &q, &at), place = at[0] ? position_find(b, at) : gd->place;
	if (role < 0 || gd->meter[role] < 0 || place < 0)
		return;
	struct bench_meter *m = &b->meter[gd->meter[role]];
	if (m->bound.place == place && m->bound.quantity == q)
		return;
	b->quiet++;
	(void)bench_bind(b, t, b->position[place].row.position.name, (int)q, m->config->name, nobody,
	                 &ignored); /* taking says why, if it fails again */
	b->quiet--;
}

static void say_step(struct bench *b, const struct bench_guide *gd)
{
	char text[GUIDE_TEXT], value[32];
	const char *verdict;
	bool valued = guide_value(&gd->g, value, &verdict);
	guide_say(&gd->g, text, sizeof text);
	bench_event(b, "guide", "guide", guide_name(gd->kind), "of", gd->of, "state", "step", "step",
	            guide_step_word(&gd->g), "text", text, "shown", valued ? value : NULL, "verdict",
	            verdict, "why", gd->g.failed ? gd->g.because : NULL, NULL);
}

/* ---- meters ---- */

/* Where the meter of a role is clipped from the beginning; NULL: it wanders, or stands at no
 * position of its own. */
static const char *clipped_at(const struct bench *b, const struct bench_guide *gd, int role)
{
	bool twin = gd->kind == GUIDE_TUNE && role == 1 && position_find(b, gd->plan.twin) >= 0;
	if (twin)
		return gd->plan.twin;
	if (gd->place < 0 || ((gd->kind == GUIDE_TUNE || gd->kind == GUIDE_RISE) && role > 0))
		return NULL;
	return b->position[gd->place].row.position.name;
}

static bool hold_meters(struct bench *b, struct bench_guide *gd, int64_t t, struct fault *why)
{
	for (int i = 0; i < guide_roles(gd->kind); i++) {
		const char *at = clipped_at(b, gd, i);
		if (gd->meter[i] < 0 || !at)
			continue;
		if (!bench_bind(b, t, at, (int)guide_role(gd->kind, i)->quantity, b->meter[gd->meter[i]].config->name,
		                nobody, why))
			return false;
	}
	return true;
}

static void free_meters(struct bench *b, struct bench_guide *gd, int64_t t)
{
	struct fault ignored;
	for (int i = 0; i < guide_roles(gd->kind); i++)
		if (gd->meter[i] >= 0 && b->meter[gd->meter[i]].bound.place >= 0)
			bench_bind(b, t, NULL, -1, b->meter[gd->meter[i]].config->name, nobody, &ignored);
}

/* ---- what follows from an input ---- */

static void end(struct bench *b, struct bench_guide *gd, int64_t t)
{
	if (gd->alarm[0])
		guard_alarm(b, "guide", NULL, gd->of, false, "the guided run is over");
	gd->alarm[0] = '\0';
	gd->open = false;
	b->quiet++;
	free_meters(b, gd, t);
	b->quiet--;
}

/* The record of the step goes with `w`; true where that was used. */
static bool follow(struct bench *b, struct bench_guide *gd, int64_t t, const struct guide_out *out,
                   struct bench_wait w)
{
	struct fault why;
	const char *of = gd->of[0] ? gd->of : NULL;
	bool used = false;
	if (out->alarm) {
		snprintf(gd->alarm, sizeof gd->alarm, "%s", out->text);
		guard_alarm(b, "guide", NULL, of, true, out->text);
	} else if (out->alarm_over) {
		gd->alarm[0] = '\0';
		guard_alarm(b, "guide", NULL, of, false, out->text);
	} else if (out->text[0]) {
		say_on_the_way(b, gd, out->text);
	}
	if (out->keep || out->ended) {
		const char *event = !out->ended ? "step" : gd->g.failed ? "stopped" : "done";
		used = put(b, gd, t, event, w, &why);
		if (!used)
			bench_event(b, "not-logged", "why", why.text, NULL);
	}
	if (out->ended) {
		tell(b, gd, gd->g.failed ? "stopped" : "done",
		     gd->g.failed ? gd->g.because : "the guided run is done");
		if (gd->kind == GUIDE_LOT && !gd->g.failed)
			guide_lot_fit(b, gd, t);
		end(b, gd, t);
	} else if (out->news) {
		aim_step(b, gd, t);
		say_step(b, gd);
	}
	return used;
}

static void input(struct bench *b, struct bench_guide *gd, const struct guide_input *in,
                  struct bench_wait w)
{
	struct guide_out out;
	guide_input(&gd->g, in, &out);
	if (follow(b, gd, in->t, &out, w) || !w.done)
		return;
	struct bench_outcome nothing = {.durable = true};
	w.done(w.arg, &nothing);
}

void guide_reading(struct bench *b, struct bench_meter *m, const struct reading *r, bool settled)
{
	struct bench_guide *gd = guide_of_meter(b, m);
	if (!gd)
		return;
	/* Clipped on: volts move from one value to the next and nothing is lifted.  Parts of a lot are. */
	if (!settled && gd->kind != GUIDE_LOT)
		settle_follow(&m->settle);
	int role = role_of(gd, m);
	enum function f = guide_role(gd->kind, role)->function;
	if (f == FUNCTION_NONE && gd->kind != GUIDE_RISE) /* there it goes by the step */
		f = gd->plan.function;
	struct guide_input in = {.act = settled ? GUIDE_SETTLED : GUIDE_READING, .t = b->now, .role = role,
	                         .function = r->function, .over = !r->has_value && (r->state & READING_OVERLOAD)};
	/* Its dial was turned: what it read before says nothing any more. */
	if (f != FUNCTION_NONE && r->function != f)
		in.act = GUIDE_AWAY;
	if (!r->has_value && !in.over && in.act != GUIDE_AWAY)
		return;
	struct settle_result one = {.function = r->function, .value = r->value, .prefix = r->prefix, .n = 1};
	struct entry e;
	capture_fill(b, m, b->now, &one, &e);
	if (!in.over && r->has_value)
		(void)entry_uncertainty(m, &one, &e);
	in.x = (struct measure){in.over ? 0 : decimal_double(r->value), e.u};
	input(b, gd, &in, nobody);
}

bool guide_settled(struct bench *b, struct bench_meter *m)
{
	struct bench_guide *gd = guide_of_meter(b, m);
	const struct settle_result *s = settle_result(&m->settle);
	if (!gd)
		return false;
	struct reading r = m->last;
	r.has_value = !s->overload;
	r.value = s->value;
	r.function = s->function;
	r.prefix = s->prefix;
	guide_reading(b, m, &r, true);
	return true;
}

void guide_away(struct bench *b, struct bench_meter *m)
{
	struct bench_guide *gd = guide_of_meter(b, m);
	char text[200];
	if (!gd)
		return;
	struct guide_input in = {.act = GUIDE_AWAY, .t = b->now, .role = role_of(gd, m)};
	input(b, gd, &in, nobody);
	snprintf(text, sizeof text, "%s is gone: nobody watches %s now; hands off until it is back",
	         m->config->name, guide_role(gd->kind, in.role)->where);
	tell(b, gd, "said", text);
}

/* ---- the person ---- */

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

static void draft(struct bench_guide *gd, struct bench *b, enum guide_kind kind, const char *of,
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
static struct bench_guide *room(struct bench *b, enum guide_kind kind, const char *of)
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
	draft(&gd, b, kind, of, words);
	slot = room(b, kind, gd.of);
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
	bool good = hold_meters(b, slot, t, why) && put(b, slot, t, left ? "resumed" : "begun", w, why);
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
	say_step(b, slot);
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
	draft(&gd, b, kind, of, words);
	/* What only the run itself refuses (no resistor named, no rating) still has its road. */
	struct bench_guide begun;
	struct fault no;
	bool good = guide_plan_make(b, &gd, false, why);
	if (!good && !gd.g.kept_at)
		return false;
	draft(&begun, b, kind, of, words);
	if (!good)
		text_printf(out, "refused as it stands: %s\n", why->text);
	else if (!guide_plan_make(b, &begun, true, &no))
		text_printf(out, "refused as it stands: %s\n", no.text);
	if (!state_suits(b, &gd, &no))
		text_printf(out, "refused as it stands: %s\n", no.text);
	guide_dry(&gd.g, out);
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
			input(b, gd, &in, nobody);
		else
			tell(b, gd, "said", "that is beyond the meter's range, and was logged so: set another range, and "
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

/* The unit is what going on says that it is. */
static bool set_unit(struct bench *b, int64_t t, enum guide_unit unit, struct fault *why)
{
	if (unit == GUIDE_UNIT_LIVE && !b->live)
		return bench_job_state(b, t, true, "", nobody, why);
	if (unit == GUIDE_UNIT_COLD && b->live && !b->cooling)
		return bench_job_state(b, t, false, "", nobody, why);
	return true;
}

bool bench_guide_go(struct bench *b, int64_t t, const char *which, struct bench_wait w,
                    struct fault *why)
{
	bench_run_until(b, t);
	struct bench_guide *gd = find(b, which, why);
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
	                      : set_unit(b, t, guide_unit(&gd->g), why);
	b->quiet--;
	if (!good)
		return false;
	bench_taped(b, t, "go", "%s", gd->of[0] ? gd->of : guide_name(gd->kind));
	if (role < 0)
		input(b, gd, &(struct guide_input){.act = GUIDE_GO, .t = t}, w);
	return true;
}

bool bench_guide_back(struct bench *b, int64_t t, const char *which, struct bench_wait w,
                      struct fault *why)
{
	bench_run_until(b, t);
	struct bench_guide *gd = find(b, which, why);
	if (!gd)
		return false;
	bench_taped(b, t, "go", "%s back", gd->of[0] ? gd->of : guide_name(gd->kind));
	input(b, gd, &(struct guide_input){.act = GUIDE_BACK, .t = t}, w);
	return true;
}

bool bench_guide_leave(struct bench *b, int64_t t, const char *which, const char *because,
                       struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	struct bench_guide *gd = find(b, which, why);
	if (!gd)
		return false;
	struct guide before = gd->g;
	gd->g.failed = true;
	snprintf(gd->g.because, sizeof gd->g.because, "%s", because && because[0] ? because : "left");
	if (!put(b, gd, t, "left", w, why)) {
		gd->g = before;
		return false;
	}
	bench_taped(b, t, "leave", "%s", gd->of[0] ? gd->of : guide_name(gd->kind));
	tell(b, gd, "left", b->live ? "left: the unit is live still; switch off and discharge before you touch it"
	                            : "left");
	end(b, gd, t);
	gd->left = true;
	return true;
}

void guides_clear(struct bench *b)
{
	for (int i = 0; i < BENCH_GUIDES_MAX; i++)
		b->guide[i].open = b->guide[i].left = false;
}

/* ---- reading back, looking ---- */

bool guide_restore(struct bench *b, const char *text, size_t len)
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
	draft(&gd, b, k, of, said);
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
		slot = room(b, k, of);
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
		guide_state_write(&gd->g, out);
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

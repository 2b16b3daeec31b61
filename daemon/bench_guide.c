/* SPDX-License-Identifier: MIT */
/*
 * See bench_guide.h: the runs that go on, what a reading means to them, and their records.
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
struct bench_guide *hosted_find(struct bench *b, const char *which, struct fault *why)
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

static int hosted_role(const struct bench_guide *gd, const struct bench_meter *m)
{
	for (int i = 0; gd->open && i < GUIDE_ROLES; i++)
		if (gd->meter[i] == m->index)
			return i;
	return -1;
}

struct bench_guide *guide_of_meter(const struct bench *b, const struct bench_meter *m)
{
	for (int i = 0; i < BENCH_GUIDES_MAX; i++)
		if (hosted_role(&b->guide[i], m) >= 0)
			return &b->guide[i];
	return NULL;
}

struct record_ref guide_taking(const struct bench *b, const struct bench_meter *m)
{
	const struct bench_guide *gd = guide_of_meter(b, m);
	return gd && gd->taking ? gd->begun : (struct record_ref){0};
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

bool guide_waits_alone(const struct bench *b, struct fault *why)
{
	if (b->way.mode != WALK_OFF || !guide_wants_hand(b))
		return false;
	fault_set(why, "a guided run waits for the hand: take goes on with it, back is the step before, again "
	          "says it again");
	return true;
}

void guide_say_again(struct bench *b)
{
	struct fault ignored;
	const struct bench_guide *gd = hosted_find(b, NULL, &ignored);
	if (gd)
		hosted_say(b, gd);
}

bool guide_expects_volts(const struct bench *b, const struct bench_meter *m)
{
	const struct bench_guide *gd = guide_of_meter(b, m);
	return gd && gd->kind == GUIDE_REFORM;
}

/* ---- records ---- */

/* A record that later ones name is on its way to the disk: its ticket, and who waits. */
struct named_record {
	struct bench *bench;
	uint64_t ticket;
	struct bench_wait wait;
};

static void know(struct record_ref *ref, uint64_t ticket, int64_t seq)
{
	if (ref->ticket == ticket)
		ref->seq = seq;
}

static void named_durable(void *arg, const struct bench_outcome *o)
{
	struct named_record *named = arg;
	for (int i = 0; o->durable && i < BENCH_GUIDES_MAX; i++) {
		struct bench_guide *gd = &named->bench->guide[i];
		know(&gd->begun, named->ticket, o->seq);
		for (int k = 0; k < GUIDE_SLOTS; k++)
			know(&gd->g.slot[k].of, named->ticket, o->seq);
	}
	if (named->wait.done)
		named->wait.done(named->wait.arg, o);
	free(named);
}

bool hosted_name(struct bench *b, uint64_t ticket, struct bench_wait w, struct bench_wait *out)
{
	struct named_record *named = malloc(sizeof *named);
	if (!named)
		return false;
	*named = (struct named_record){b, ticket, w};
	*out = (struct bench_wait){named_durable, named};
	return true;
}

/* Until it is durable what comes after it names it by its ticket. */
static bool put_first(struct bench *b, struct bench_guide *gd, int64_t t, const struct text *body,
                      struct bench_wait w, struct fault *why)
{
	struct bench_wait named;
	uint64_t ticket = log_next_ticket(b->log);
	if (!hosted_name(b, ticket, w, &named)) {
		fault_set(why, "out of memory");
		return false;
	}
	if (!bench_put(b, "guide", t, body, named, why)) {
		free(named.arg);
		return false;
	}
	gd->begun.ticket = ticket;
	return true;
}

bool hosted_put(struct bench *b, struct bench_guide *gd, int64_t t, const char *event,
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
	text_member_ref(&out, "begun", gd->begun);
	guide_state_write(&gd->g, &out);
	guide_result_write(&gd->g, &out);
	if (b->by.known)
		text_member_int(&out, "uid", b->by.uid);
	if (gd->begun.seq || gd->begun.ticket)
		return bench_put(b, "guide", t, &out, w, why);
	return put_first(b, gd, t, &out, w, why);
}

/* What the run itself says on the way; `ear`: whoever plays the pitch hears that already. */
static void say_on_the_way(struct bench *b, const struct bench_guide *gd, const char *text)
{
	bool ear = gd->kind == GUIDE_TUNE && !isnan(guide_tune_toward(&gd->g));
	bench_event(b, "guide", "guide", guide_name(gd->kind), "of", gd->of, "state", "said", "step",
	            guide_step_word(&gd->g), "text", text, "ear", ear ? "yes" : NULL, NULL);
}

void hosted_tell(struct bench *b, const struct bench_guide *gd, const char *event, const char *text)
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

void hosted_say(struct bench *b, const struct bench_guide *gd)
{
	char text[GUIDE_TEXT], value[32], limit[32];
	const char *verdict;
	bool valued = guide_value(&gd->g, value, &verdict);
	enum quantity q;
	const char *at;
	(void)guide_takes(&gd->g, &q, &at);
	guide_say(&gd->g, text, sizeof text);
	bench_event(b, "guide", "guide", guide_name(gd->kind), "of", gd->of, "state", "step", "step",
	            guide_step_word(&gd->g), "text", text, "at", at[0] ? at : NULL, "shown",
	            valued ? value : NULL, "verdict", verdict, "limit",
	            guide_limit(&gd->g, limit) ? limit : NULL, "why", gd->g.failed ? gd->g.because : NULL, NULL);
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

bool hosted_hold(struct bench *b, struct bench_guide *gd, int64_t t, struct fault *why)
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

void hosted_end(struct bench *b, struct bench_guide *gd, int64_t t)
{
	if (gd->alarm[0])
		guard_alarm(b, "guide", NULL, gd->of, false, "the guided run is over");
	gd->alarm[0] = '\0';
	gd->open = false;
	b->quiet++;
	free_meters(b, gd, t);
	b->quiet--;
}

/* A step at which the person switches it on: from now on it is live, not from when they say it is up. */
static void now_live(struct bench *b, const struct bench_guide *gd, int64_t t)
{
	struct fault why;
	if (guide_unit(&gd->g) != GUIDE_UNIT_LIVE)
		return;
	b->quiet++;
	if (!hosted_unit(b, t, GUIDE_UNIT_LIVE, &why))
		bench_event(b, "not-logged", "why", why.text, NULL);
	b->quiet--;
}

/* The record of the step goes with `w`; true where that was used. */
static bool follow(struct bench *b, struct bench_guide *gd, int64_t t, const struct guide_out *out,
                   struct bench_wait w)
{
	struct fault why;
	const char *of = gd->of[0] ? gd->of : NULL;
	bool used = false;
	if (out->part)
		guide_lot_part(b, gd, t, out->part, out->stood);
	if (out->alarm) {
		snprintf(gd->alarm, sizeof gd->alarm, "%s", out->text);
		guard_alarm(b, "guide", NULL, of, true, out->text);
	} else if (out->alarm_over) {
		gd->alarm[0] = '\0';
		guard_alarm(b, "guide", NULL, of, false, out->text);
	} else if (out->text[0]) {
		say_on_the_way(b, gd, out->text);
	}
	/* Before its last record: who is killed in between is asked for the pairs once more. */
	if (out->ended && gd->kind == GUIDE_LOT && !gd->g.failed)
		guide_lot_fit(b, gd, t);
	if (out->keep || out->ended) {
		const char *event = !out->ended ? "step" : gd->g.failed ? "stopped" : "done";
		used = hosted_put(b, gd, t, event, w, &why);
		if (!used)
			bench_event(b, "not-logged", "why", why.text, NULL);
	}
	if (out->ended) {
		char text[GUIDE_TEXT];
		snprintf(text, sizeof text, "given up: %s", gd->g.because);
		hosted_tell(b, gd, gd->g.failed ? "stopped" : "done",
		            gd->g.failed ? text : "the guided run is done");
		hosted_end(b, gd, t);
	} else if (out->news) {
		now_live(b, gd, t);
		aim_step(b, gd, t);
		hosted_say(b, gd);
	}
	return used;
}

void hosted_input(struct bench *b, struct bench_guide *gd, const struct guide_input *in,
                  struct bench_wait w)
{
	struct guide_out out;
	guide_input(&gd->g, in, &out);
	if (follow(b, gd, in->t, &out, w) || !w.done)
		return;
	struct bench_outcome nothing = {.durable = true};
	w.done(w.arg, &nothing);
}

bool guide_undone(struct bench *b, int64_t t, int64_t seq)
{
	for (int i = 0; i < BENCH_GUIDES_MAX; i++) {
		struct bench_guide *gd = &b->guide[i];
		bool its = false;
		for (int k = 0; k < GUIDE_SLOTS && gd->open && seq; k++) {
			bool rests = gd->g.slot[k].has && gd->g.slot[k].of.seq == seq;
			its = its || rests;
			if (rests)
				gd->g.slot[k] = (struct guide_slot){0};
		}
		if (!its)
			continue;
		hosted_input(b, gd, &(struct guide_input){.act = GUIDE_BACK, .t = t}, nobody);
		return true;
	}
	return false;
}

void guide_reading(struct bench *b, struct bench_meter *m, const struct reading *r, bool settled)
{
	struct bench_guide *gd = guide_of_meter(b, m);
	if (!gd)
		return;
	/* Clipped on: volts move from one value to the next and nothing is lifted.  Parts of a lot are. */
	if (!settled && gd->kind != GUIDE_LOT)
		settle_follow(&m->settle);
	int role = hosted_role(gd, m);
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
	if (!in.over && r->has_value && gd->kind == GUIDE_LOT)
		entry_refer(b, &e); /* small capacitors: the leads have some of it */
	in.x = (struct measure){in.over ? 0 : decimal_double(e.value), e.u};
	hosted_input(b, gd, &in, nobody);
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
	struct guide_input in = {.act = GUIDE_AWAY, .t = b->now, .role = hosted_role(gd, m)};
	hosted_input(b, gd, &in, nobody);
	snprintf(text, sizeof text, "%s is gone: nobody watches %s now; hands off until it is back",
	         m->config->name, guide_role(gd->kind, in.role)->where);
	hosted_tell(b, gd, "said", text);
}

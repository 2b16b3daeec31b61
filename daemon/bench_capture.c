/* SPDX-License-Identifier: MIT */
/*
 * From a settled value to an entry: is it for this position, does it look like
 * another part; judged (bench_judge.c), the entry and the run that it was made from
 * go to the log as one transaction.
 */
#include "daemon/bench_inside.h"
#include "protocol/trade/frequency.h"

#include <stdio.h>
#include <string.h>

/* Farther than this from the nominal, and fitting a neighbour: held, not logged. */
#define FAR_FACTOR 1.5

/* ---- does it belong here ---- */

static bool far_from(double value, double nominal)
{
	if (nominal == 0)
		return false;
	double ratio = value / nominal;
	return !(ratio < FAR_FACTOR && ratio > 1 / FAR_FACTOR);
}

static bool fits_place(const struct bench *b, int place, enum function f, double value, double U)
{
	if (place < 0)
		return false;
	const struct position *p = position_now(b, place);
	struct limits l;
	if (!p->has_nominal || position_function(p, position_first_quantity(p)) != f ||
	    !position_limits(p, &l))
		return false;
	return (!l.has_low || value >= decimal_double(l.low) - U) &&
	       (!l.has_high || value <= decimal_double(l.high) + U);
}

/* What this meter settled on, as an entry without a position. */
static double value_of(const struct bench_meter *m, const struct settle_result *r, double *U)
{
	struct entry e = {.has_value = true, .value = r->value, .function = r->function};
	entry_uncertainty(m, r, &e);
	*U = 2 * e.u;
	return decimal_double(r->value);
}

/* The last, the next or the twin position that this value fits, -1 for none. */
static int looks_like(const struct bench *b, const struct bench_meter *m, struct aim aim,
                      const struct settle_result *r)
{
	const struct position *p = position_now(b, aim.place);
	double U, value = value_of(m, r, &U);
	if (r->overload || !p->has_nominal || aim.quantity != position_first_quantity(p) ||
	    !far_from(value, decimal_double(p->nominal)))
		return -1;
	int sheet_next = b->positions > 1 ? (aim.place + 1) % b->positions : -1;
	int candidate[] = {b->last, walk_next(b, aim.place), sheet_next,
	                   p->twin[0] ? position_find(b, p->twin) : -1};
	for (size_t i = 0; i < sizeof candidate / sizeof *candidate; i++)
		if (candidate[i] != aim.place && fits_place(b, candidate[i], r->function, value, U))
			return candidate[i];
	return -1;
}

/* Has this meter an entry here already, made since the position was last chosen? */
static bool already_made(const struct bench *b, const struct bench_meter *m, struct aim aim)
{
	const struct bench_position *p = &b->position[aim.place];
	for (int i = p->newest; i >= 0; i = b->made[i].older) {
		const struct entry *e = &b->made[i].entry;
		if (!e->struck && b->made[i].choice >= p->choice && e->quantity == aim.quantity &&
		    e->condition == b->condition && e->reach == b->reach &&
		    strcmp(e->meter, m->config->name) == 0)
			return true;
	}
	return false;
}

static const char *name_of(const struct bench *b, int place)
{
	return place >= 0 ? b->position[place].row.position.name : NULL;
}

void capture_refuse(struct bench *b, const struct bench_meter *m, int place, const char *why)
{
	bench_event(b, "refused", "meter", m->config->name, "position", name_of(b, place), "why", why,
	            NULL);
}

/* May what this meter reads be logged there at all? */
bool capture_suits(const struct bench *b, const struct bench_meter *m, struct aim aim,
                   enum function f, struct fault *why)
{
	const struct position *p = &b->position[aim.place].row.position;
	if (!position_takes(p, aim.quantity, f)) {
		enum function wanted = position_function(p, aim.quantity);
		fault_set(why, "%s reads %s, and %s of %s wants %s: turn the dial, or choose another "
		          "position", m->config->name, function_name(f), quantity_name(aim.quantity),
		          p->name, wanted == FUNCTION_NONE ? "something else" : function_name(wanted));
		return false;
	}
	return safe_allows(b, m, f, p->name, why);
}

/* ---- the entry ---- */

void capture_fill(const struct bench *b, const struct bench_meter *m, int64_t t,
                  const struct settle_result *r, struct entry *e)
{
	memset(e, 0, sizeof *e);
	e->t = t;
	snprintf(e->meter, sizeof e->meter, "%s", m->config->name);
	e->condition = b->condition;
	e->reach = b->reach;
	e->source = SOURCE_METER;
	e->function = r->function;
	e->has_value = !r->overload;
	e->state = r->overload ? READING_OVERLOAD : 0;
	e->value = r->value;
	e->prefix = r->prefix;
	e->n = r->n;
	/* Open is at rest: only a value that still moved is not settled. */
	e->settled = r->settled || r->overload;
}

void capture_trail(struct bench *b, const struct bench_meter *m, const struct settle_result *r,
                   struct entry_beside *beside)
{
	beside->trail_count = trail_parts(&m->trail, r->from, r->to, log_next_ticket(b->log),
	                                  beside->trail, ENTRY_TRAIL_MAX);
}

uint64_t capture_put(struct bench *b, struct bench_meter *m, int64_t t, const char *kind,
                     const struct text *body, struct fault *why)
{
	uint64_t ticket = log_next_ticket(b->log);
	bool run = m->trail.n > 0;
	struct text trail;
	text_begin(&trail, b->body2, BENCH_BODY_SIZE);
	if (run)
		trail_write(&m->trail, b->job[0] ? b->job : NULL, m->config->name, &trail);
	if (trail.failed || body->failed) {
		fault_set(why, "the %s record does not fit its buffer", kind);
		return 0;
	}
	struct log_draft draft[2];
	size_t n = 0;
	if (run)
		draft[n++] = (struct log_draft){b->utc + m->trail.t, "trail", trail.bytes, trail.len};
	draft[n++] = (struct log_draft){b->utc + t, kind, body->bytes, body->len};
	b->log_refused = !log_append(b->log, draft, n, run ? m->config->name : NULL, why);
	if (b->log_refused)
		return 0;
	if (run)
		bench_pend_run(b, m, ticket++);
	return ticket;
}

bool capture_entry(struct bench *b, struct bench_meter *m, int64_t t, const struct capture *c,
                   struct bench_wait w, struct fault *why)
{
	if (!job_need(b, t, why) || !made_room(b))
		return false;
	struct aim aim = place_learn(b, t, c->aim, c->r->function);
	struct entry e;
	struct limits_of_use use;
	use_of(&m->config->use, c->r->function, &use);
	struct entry_beside beside = {.job = b->job, .use = &use, .by = b->by,
	                              .valve = valve_at(b, aim.place)};
	char shown[80], frames[METER_FRAMES][METER_FRAME_TEXT];
	capture_fill(b, m, t, c->r, &e);
	beside.guide = guide_taking(b, m);
	snprintf(e.position, sizeof e.position, "%s", name_of(b, aim.place));
	e.quantity = aim.quantity;
	if (e.function == FUNCTION_VOLT_AC || e.function == FUNCTION_AMP_AC)
		e.hertz = use_hertz(&b->position[aim.place].row.position);
	if (c->r->settled && !c->r->overload)
		meter_kind_seen(m, c->r->value);
	second_take(m, c->r, &e);
	struct decimal hertz = c->frequency.n || e.second.kind != SECOND_HERTZ ? c->frequency
	                                                                        : e.second.value;
	frequency_known(&e, hertz);
	beside.accuracy_assumed = entry_uncertainty(m, c->r, &e);
	entry_shown(&e, shown, sizeof shown); /* as the meter gave it */
	entry_refer(b, &e);
	use_understand(&use, e.function, &e.use);
	frequency_known(&e, hertz);
	entry_beside(b, aim.place, &e);
	b->swapped = b->swapped && !e.swapped;
	entry_judge_at(b, aim.place, &e);
	beside.shown = shown;
	beside.frame_count = meter_frames_write(c->frames, ENTRY_FRAMES_MAX, frames);
	for (int i = 0; i < beside.frame_count; i++)
		beside.frames[i] = frames[i];
	struct text body;
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	capture_trail(b, m, c->r, &beside);
	entry_write(&body, &e, &beside);
	uint64_t ticket = capture_put(b, m, t, "entry", &body, why);
	if (!ticket)
		return false;
	struct pending p = bench_pending(ticket, w);
	p.made = made_add(b, &e, ticket, b->choice);
	bench_pend(b, p);
	m->touch_made = c->open ? -1 : p.made;
	m->took = p.made;
	m->held.waits = false;
	m->nowhere = false;
	m->spent = true;
	m->spent_place = c->aim.place;
	m->spent_from = c->open ? t : INT64_MIN;
	return true;
}

void capture_failed(struct bench *b, struct made *made, const char *why)
{
	made->ticket = 0;
	made->entry.struck = true; /* it is not in the log: it does not count */
	bench_event(b, "not-logged", "position", made->entry.position, "meter", made->entry.meter,
	            "why", why, NULL);
	/* The walk may have gone on meanwhile: back to the part that has nothing. */
	if (b->way.mode != WALK_OFF && b->chosen != position_find(b, made->entry.position))
		walk_back(b, &made->entry);
}

/* ---- what settle says ---- */

static void hold(struct bench *b, struct bench_meter *m, struct aim aim, int looks,
                 const struct settle_result *r)
{
	m->held = (struct held){.waits = true, .doubt = looks < 0, .aim = aim, .looks = looks,
	                        .value = *r, .frames = *meter_frames(&m->machine)};
	trail_keep(&m->trail, r->from, r->to);
	char shown[64];
	quantity_shown(r->value, r->function, r->prefix, shown, sizeof shown);
	bench_event(b, looks < 0 ? "doubt" : "held", "meter", m->config->name, "position",
	            name_of(b, aim.place), "shown", shown, "looks", name_of(b, looks), "text",
	            looks < 0 ? "a voltage that could be floating leads: take it, or touch again"
	                      : "far from this nominal: take it here, or there, or measure it again", NULL);
}

/* May a settled value of this meter become an entry there?  If not, that is said. */
static bool is_for(struct bench *b, struct bench_meter *m, struct aim aim, enum function f)
{
	struct fault why;
	if (m->spent) { /* the old part again */
		if (aim.place != m->spent_place && !m->passed)
			capture_refuse(b, m, aim.place, "touched before the leads were open long enough: taken for the "
			       "part before; lift, and touch it again");
		return false;
	}
	if (aim.place < 0) {
		m->nowhere = true;
		capture_refuse(b, m, aim.place, "no position is chosen: choose the one that is touched");
		return false;
	}
	if (!capture_suits(b, m, aim, f, &why)) {
		capture_refuse(b, m, aim.place, why.text);
		return false;
	}
	if (m->early && m->before.place < 0) {
		capture_refuse(b, m, aim.place, "touched before its name was said: lift, and touch it again");
		return false;
	}
	if (already_made(b, m, aim)) {
		capture_refuse(b, m, aim.place, "it has its entry: choose it again to measure it again");
		return false;
	}
	return true;
}

static void capture_or_say(struct bench *b, struct bench_meter *m, int64_t t,
                           const struct capture *c)
{
	struct fault why;
	if (!capture_entry(b, m, t, c, (struct bench_wait){0}, &why))
		bench_event(b, "not-logged", "position", name_of(b, c->aim.place), "meter",
		            m->config->name, "why", why.text, NULL);
}

void capture_settled(struct bench *b, struct bench_meter *m, int64_t t)
{
	if (m->bound.place >= 0)
		return; /* it is clipped there: only `take` logs it (bench_bind.c) */
	struct settle_result r = *settle_result(&m->settle);
	struct capture c = {.aim = walk_aim(b, m), .r = &r, .frames = meter_frames(&m->machine)};
	if (!is_for(b, m, c.aim, r.function))
		return;
	int looks = looks_like(b, m, c.aim, &r);
	if (looks >= 0)
		hold(b, m, c.aim, looks, &r);
	else
		capture_or_say(b, m, t, &c);
}

void capture_doubt(struct bench *b, struct bench_meter *m, int64_t t)
{
	struct settle_result r;
	struct fault why;
	struct aim aim = walk_aim(b, m);
	if (aim.place < 0 || m->bound.place >= 0 || m->spent || m->early || !settle_take(&m->settle, t, &r, &why) ||
	    already_made(b, m, aim))
		return;
	if (capture_suits(b, m, aim, r.function, &why)) {
		hold(b, m, aim, -1, &r);
		return;
	}
	/* Floating leads touch again and again: at one position it is said once. */
	if (m->unsuited_said != b->choice)
		capture_refuse(b, m, aim.place, why.text);
	m->unsuited_said = b->choice;
}

#define MODES (READING_HOLD | READING_RELATIVE | READING_MINMAX)

void capture_mode(struct bench *b, struct bench_meter *m, const struct reading *r)
{
	struct fault why;
	unsigned mode = r->state & MODES;
	int place = walk_aim(b, m).place;
	bool news = (mode & ~m->mode_said) != 0;
	if (!mode || place < 0) {
		m->mode_said = mode ? m->mode_said : 0;
		return;
	}
	m->mode_said = mode;
	if (!news)
		return;
	fault_set(&why, "%s is in its mode %s and does not show what it measures: turn that off",
	          m->config->name, reading_state_word(mode));
	capture_refuse(b, m, place, why.text);
}

/* Is that where a held value belongs, now that the person has chosen it? */
static bool held_fits(const struct bench *b, const struct bench_meter *m, struct aim aim)
{
	struct fault ignored;
	const struct held *h = &m->held;
	double U, value = value_of(m, &h->value, &U);
	return !h->doubt && aim.place != h->aim.place &&
	       aim.quantity == position_first_quantity(&b->position[aim.place].row.position) &&
	       fits_place(b, aim.place, h->value.function, value, U) &&
	       capture_suits(b, m, aim, h->value.function, &ignored);
}

void capture_chosen(struct bench *b, int64_t t, int place, enum quantity q)
{
	struct aim aim = {place, q};
	bool waited[CONFIG_METERS_MAX];
	for (int i = 0; i < b->meters; i++)
		waited[i] = b->meter[i].held.waits;
	walk_choose(b, place, q);
	for (int i = 0; i < b->meters; i++) {
		struct bench_meter *m = &b->meter[i];
		struct capture c = {.aim = aim, .r = &m->held.value, .frames = &m->held.frames};
		if (waited[i] && held_fits(b, m, aim))
			capture_or_say(b, m, t, &c);
		else if (waited[i] && !m->held.doubt && m->held.aim.place != place)
			capture_refuse(b, m, place, "what waited does not fit this position: it was not logged");
		else if (m->nowhere)
			capture_settled(b, m, t);
	}
	for (int i = 0; i < b->meters; i++) {
		walk_on_meter(b, &b->meter[i], t);
		bench_timers(&b->meter[i]);
	}
}

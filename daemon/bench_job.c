/* SPDX-License-Identifier: MIT */
/*
 * The job on the bench: begun and closed, live or cold; notes, strikes, and entries
 * that a person types.
 */
#include "daemon/bench_inside.h"
#include "protocol/record/sheet_plain.h"
#include "protocol/trade/frequency.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

/* Remember where the person was, should the log refuse what follows. */
void job_leave(struct bench *b)
{
	if (!b->job[0])
		return;
	memcpy(b->left_job, b->job, sizeof b->left_job);
	b->left[0] = '\0';
	if (b->chosen >= 0)
		memcpy(b->left, b->position[b->chosen].row.position.name, sizeof b->left);
	b->left_quantity = b->quantity;
	b->left_way = b->way;
}

void job_clear(struct bench *b)
{
	job_leave(b);
	b->job[0] = b->again[0] = '\0';
	b->live = b->cooling = b->measured = false;
	b->safe_at = INT64_MAX;
	b->condition = CONDITION_FOUND;
	b->reach = REACH_IN_CIRCUIT;
	guides_clear(b);
	positions_clear(b);
	b->chosen = b->last = -1;
	b->announced_all = false;
	/* Lifting goes with the reach, which begins anew. */
	if (b->way.mode == WALK_LIFT)
		b->way.mode = WALK_ON;
	b->lift_reach = false;
	way_forget(b);
	for (int i = 0; i < b->meters; i++) {
		b->meter[i].bound.place = b->meter[i].before.place = -1;
		b->meter[i].held.waits = false;
		b->meter[i].nowhere = false;
		b->meter[i].touch_made = b->meter[i].took = -1;
		if (b->meter[i].errand.what == ERRAND_CHECK)
			errand_drop(b, &b->meter[i], "the job with the reference part was left");
		b->meter[i].spent = false;
	}
	/* What is still on its way to the disk belongs to the job before. */
	for (int i = b->heard; i < b->pendings; i++)
		b->pending[i].made = b->pending[i].strikes = b->pending[i].rejudges =
		    b->pending[i].moves = -1;
}

/* ---- jobs ---- */

bool job_put(struct bench *b, int64_t t, enum job_change change, struct bench_wait w,
             struct fault *why)
{
	struct job_body job = {.by = b->by, .change = change, .open = change != JOB_CLOSED, .live = b->live,
	                       .condition = b->condition, .reach = b->reach};
	struct text body;
	snprintf(job.job, sizeof job.job, "%s", b->job);
	snprintf(job.because, sizeof job.because, "%s", b->job_because);
	snprintf(job.position, sizeof job.position, "%s", b->job_position);
	if (change == JOB_STARTED)
		snprintf(job.again, sizeof job.again, "%s", b->job_again);
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	job_body_write(&body, &job);
	return bench_put_job(b, "job", t, &body, w, why);
}

/* A job may be called anything that fits a line: "monitor amplifier, red". */
static bool job_name_valid(const char *name)
{
	size_t n = strlen(name);
	if (n == 0 || n >= JOB_SIZE || name[0] == ' ' || name[0] == '-' || name[n - 1] == ' ')
		return false;
	for (size_t i = 0; i < n; i++)
		if ((unsigned char)name[i] < 0x20 || name[i] == 0x7f)
			return false;
	return true;
}

/* The runs belong to the job in which they were read: end them with it. */
static void end_runs(struct bench *b)
{
	for (int i = 0; i < b->meters; i++)
		bench_end_run(b, &b->meter[i]);
}

bool bench_job_start(struct bench *b, int64_t t, const char *name, struct bench_wait w,
                     struct fault *why)
{
	bench_run_until(b, t);
	if (!job_name_valid(name)) {
		fault_set(why, "\"%.70s\" is no name for a job: 1 to %d bytes of printable text, not "
		          "beginning with a space or -", name, JOB_SIZE - 1);
		return false;
	}
	if (b->job[0] && strcmp(b->job, name) == 0) {
		fault_set(why, "the job %s is open already", name);
		return false;
	}
	end_runs(b);
	if (b->job[0] && !job_put(b, t, JOB_CLOSED, (struct bench_wait){0}, why))
		return false;
	/* What was said before any job was open is meant for this one. */
	enum condition condition = b->job[0] ? CONDITION_FOUND : b->condition;
	enum reach reach = b->job[0] ? REACH_IN_CIRCUIT : b->reach;
	job_clear(b);
	b->condition = condition;
	b->reach = reach;
	snprintf(b->job, sizeof b->job, "%s", name);
	if (!job_put(b, t, JOB_STARTED, w, why)) {
		b->job[0] = '\0';
		return false;
	}
	snprintf(b->again, sizeof b->again, "%s", b->job_again);
	bench_taped(b, t, "job", "%s", name);
	walk_expect(b);
	return true;
}

bool bench_job_again(struct bench *b, int64_t t, const char *name, const char *again,
                     struct bench_wait w, struct fault *why)
{
	if (!job_name_valid(again) || strcmp(again, name) == 0) {
		fault_set(why, "\"%.70s\" is no earlier job than this one", again);
		return false;
	}
	snprintf(b->job_again, sizeof b->job_again, "%s", again);
	bool started = bench_job_start(b, t, name, w, why);
	b->job_again[0] = '\0';
	return started;
}

bool job_need(struct bench *b, int64_t t, struct fault *why)
{
	if (b->job[0])
		return true;
	return bench_job_start(b, t, "job", (struct bench_wait){0}, why);
}

bool bench_job_close(struct bench *b, int64_t t, struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	if (!b->job[0]) {
		fault_set(why, "no job is open");
		return false;
	}
	end_runs(b);
	if (!job_put(b, t, JOB_CLOSED, w, why))
		return false;
	job_clear(b);
	b->way.mode = WALK_OFF;
	desk_changed(b);
	walk_expect(b);
	return true;
}

/* ---- notes and strikes ---- */

bool bench_note(struct bench *b, int64_t t, const char *position, const char *text,
                struct bench_wait w, struct fault *why)
{
	return bench_note_photo(b, t, position, text, NULL, NULL, w, why);
}

bool bench_note_photo(struct bench *b, int64_t t, const char *position, const char *text,
                      const struct photo_kept *photo, const char *name, struct bench_wait w,
                      struct fault *why)
{
	bench_run_until(b, t);
	struct text body;
	if (!text[0]) {
		fault_set(why, "the note for %s is empty", position);
		return false;
	}
	int place = job_place(b, t, position, why);
	if (place < 0)
		return false;
	struct note_body note = {.by = b->by};
	snprintf(note.job, sizeof note.job, "%s", b->job);
	memcpy(note.position, b->position[place].row.position.name, sizeof note.position);
	if (strlen(text) >= sizeof note.note) {
		fault_set(why, "the note for %s is longer than %zu bytes", position, sizeof note.note - 1);
		return false;
	}
	memcpy(note.note, text, strlen(text) + 1);
	if (photo) {
		memcpy(note.photo.hash, photo->hash, sizeof note.photo.hash);
		memcpy(note.photo.type, photo->type, sizeof note.photo.type);
		note.photo.size = photo->size;
		snprintf(note.photo.name, sizeof note.photo.name, "%s", name ? name : "");
	}
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	note_body_write(&body, &note);
	if (!bench_put(b, "note", t, &body, w, why))
		return false;
	bench_taped(b, t, "note", "%s %s", note.position, text);
	return true;
}

uint64_t job_put_strike(struct bench *b, int64_t t, int64_t of, const char *position,
                        const char *because, struct fault *why)
{
	struct strike_body strike = {.of = of, .by = b->by};
	struct text body;
	snprintf(strike.job, sizeof strike.job, "%s", b->job);
	snprintf(strike.position, sizeof strike.position, "%s", position);
	snprintf(strike.because, sizeof strike.because, "%s", because);
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	strike_body_write(&body, &strike);
	return bench_append(b, "strike", t, &body, why);
}

static bool strike(struct bench *b, int64_t t, int made, const char *because,
                   struct bench_wait w, struct fault *why)
{
	struct entry *e = &b->made[made].entry;
	if (!e->seq) {
		fault_set(why, "the entry at %s is still on its way to the disk: try again", e->position);
		return false;
	}
	uint64_t ticket = job_put_strike(b, t, e->seq, e->position, because, why);
	if (!ticket)
		return false;
	struct pending p = bench_pending(ticket, w);
	p.strikes = made;
	bench_pend(b, p);
	e->struck = true;
	int place = position_find(b, e->position);
	if (place >= 0)
		place_unlearn(b, t, place);
	safe_unmade(b, t, e);
	return true;
}

bool bench_strike(struct bench *b, int64_t t, int64_t seq, const char *because,
                  struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	if (!because[0]) {
		fault_set(why, "say why entry %lld does not count (--because TEXT)", (long long)seq);
		return false;
	}
	for (int i = 0; i < b->mades; i++) {
		if (b->made[i].entry.seq != seq)
			continue;
		if (b->made[i].entry.struck) {
			fault_set(why, "entry %lld is struck already", (long long)seq);
			return false;
		}
		return strike(b, t, i, because, w, why);
	}
	int i = backing_find(b, seq);
	if (i >= 0)
		return backing_strike(b, t, i, because, w, why);
	fault_set(why, "the open job has no entry %lld: `tally entries` lists them", (long long)seq);
	return false;
}

/* The last thing done: the newest entry that counts, or a move after it. */
static int last_deed(const struct bench *b, bool *moved)
{
	int newest = -1;
	int64_t deed = 0;
	*moved = false;
	for (int i = 0; i < b->mades; i++) {
		const struct made *m = &b->made[i];
		if (m->entry.struck)
			continue;
		if (m->deed > deed || m->moved > deed) {
			newest = i;
			*moved = m->moved > m->deed;
			deed = *moved ? m->moved : m->deed;
		}
	}
	return newest;
}

bool bench_undo(struct bench *b, int64_t t, struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	bool moved;
	int i = last_deed(b, &moved);
	if (i >= 0) {
		if (moved ? !move_undo(b, t, b->made[i].moved, w, why) : !strike(b, t, i, "undo", w, why))
			return false;
		bench_taped(b, t, "undo", "%s", "");
		/* It lacks its value again: that is where the person goes on. */
		if (!moved && !guide_undone(b, t, b->made[i].entry.seq))
			walk_back(b, &b->made[i].entry);
		return true;
	}
	fault_set(why, "there is no entry to undo");
	return false;
}

/* ---- typed entries ---- */

#define TYPED_MAX 127 /* of a value as it was typed */

/* "overload", "OL", or ">20M" where the end of the range is known. */
static bool read_overload(const char *value, enum function hint, struct entry *e,
                          struct fault *why)
{
	e->state = READING_OVERLOAD;
	e->function = hint;
	if (value[0] != '>')
		return true;
	e->has_above = true;
	return quantity_parse(value + 1, strlen(value + 1), hint, &e->above, &e->function, why);
}

/* Volts of which a frequency is said alternate: "11 V" at 1 kHz needs no AC behind it. */
static bool typed_frequency(const struct position *p, const struct bench_typed *typed,
                            struct entry *e, struct fault *why)
{
	struct decimal hertz;
	if (!typed->frequency)
		return true;
	if (!frequency_parse(typed->frequency, &hertz, why))
		return false;
	if (e->function == FUNCTION_VOLT_DC && position_takes(p, e->quantity, FUNCTION_VOLT_AC))
		e->function = FUNCTION_VOLT_AC;
	else if (e->function == FUNCTION_AMP_DC && position_takes(p, e->quantity, FUNCTION_AMP_AC))
		e->function = FUNCTION_AMP_AC;
	if (!frequency_suits(e->function)) {
		fault_set(why, "%s has no frequency: only volts and amps AC do",
		          function_name(e->function));
		return false;
	}
	frequency_known(e, hertz);
	return true;
}

static bool read_typed(const struct position *p, const struct bench_typed *typed,
                       struct entry *e, struct fault *why)
{
	e->quantity = typed->quantity >= 0 ? (enum quantity)typed->quantity : position_first_quantity(p);
	enum function hint = position_function(p, e->quantity);
	char value[TYPED_MAX + 1];
	if (strlen(typed->value) > TYPED_MAX) {
		fault_set(why, "a value of more than %d characters", TYPED_MAX);
		return false;
	}
	snprintf(value, sizeof value, "%s", typed->value);
	if (!comma_to_point(value, false, why)) /* 4,7k, as on a sheet */
		return false;
	e->has_value = value[0] != '>' && strcasecmp(value, "overload") && strcasecmp(value, "OL");
	bool good = e->has_value
	                ? quantity_parse(value, strlen(value), hint, &e->value, &e->function, why)
	                : read_overload(value, hint, e, why);
	if (!good)
		return false;
	if (e->function == FUNCTION_NONE && e->quantity == QUANTITY_LEAKAGE) {
		fault_set(why, "leakage wants its unit: 0.3uA, or the volts across a resistor");
		return false;
	}
	if (e->function == FUNCTION_NONE)
		e->function = FUNCTION_NUMBER;
	if (!typed_frequency(p, typed, e, why))
		return false;
	if (!e->has_value)
		return true;
	e->prefix = quantity_prefix(e->value, e->function);
	struct decimal u;
	enum function f;
	if (typed->u) {
		snprintf(value, sizeof value, "%s", typed->u);
		if (!comma_to_point(value, false, why) ||
		    !quantity_parse(value, strlen(value), e->function, &u, &f, why))
			return false;
		e->u = decimal_double(u);
		e->basis = (struct basis){.known = true, .stated = true};
		if (!(e->u >= 0)) {
			fault_set(why, "an uncertainty is not negative: %s", typed->u);
			return false;
		}
	} else {
		struct accuracy_line line = accuracy_assumed(e->function);
		e->basis = (struct basis){.known = true, .assumed = true, .percent = line.percent,
		                          .counts = line.counts};
		e->u = uncertainty_accuracy(&line, decimal_double(e->value),
		                            decimal_double((struct decimal){1, e->value.e}));
	}
	return true;
}

bool bench_enter(struct bench *b, int64_t t, const struct bench_typed *typed, struct bench_wait w,
                 struct fault *why)
{
	bench_run_until(b, t);
	if (!name_valid(typed->from, strlen(typed->from))) {
		fault_set(why, "\"%.40s\" is no name for an instrument", typed->from);
		return false;
	}
	struct entry e = {.t = t, .condition = b->condition, .reach = b->reach,
	                  .source = SOURCE_TYPED, .n = 1, .settled = true};
	/* A value that is none must not leave a position behind. */
	struct sheet_row row;
	int place = position_meant(b, typed->position);
	if (place >= 0)
		row = b->position[place].row;
	else if (!sheet_bare(&row, typed->position, why))
		return false;
	if (!read_typed(&row.position, typed, &e, why) || !made_room(b))
		return false;
	place = job_place(b, t, typed->position, why);
	if (place < 0)
		return false;
	struct aim aim = place_learn(b, t, (struct aim){place, e.quantity}, e.function);
	e.quantity = aim.quantity;
	e.condition = b->condition;
	e.reach = b->reach;
	memcpy(e.position, b->position[place].row.position.name, sizeof e.position);
	snprintf(e.meter, sizeof e.meter, "%s", typed->from);
	entry_beside(b, place, &e);
	b->swapped = b->swapped && !e.swapped;
	entry_judge_at(b, place, &e);
	char shown[80];
	entry_shown(&e, shown, sizeof shown);
	struct entry_beside beside = {.by = b->by, .job = b->job, .shown = shown, .accuracy_assumed = !typed->u,
	                              .because = typed->because, .valve = valve_at(b, place)};
	struct text body;
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	entry_write(&body, &e, &beside);
	uint64_t ticket = bench_append(b, "entry", t, &body, why);
	if (!ticket)
		return false;
	struct pending p = bench_pending(ticket, w);
	p.made = made_add(b, &e, ticket, b->choice);
	bench_pend(b, p);
	walk_made(b);
	return true;
}

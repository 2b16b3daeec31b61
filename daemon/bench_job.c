/* SPDX-License-Identifier: MIT */
/*
 * The job on the bench: its sheet, its notes, what was struck; and reading all of
 * that back from the log when the daemon starts.
 */
#include "daemon/bench_state.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* Remember where the person was, should the log refuse what follows. */
static void job_leave(struct bench *b)
{
	if (!b->job[0])
		return;
	memcpy(b->left_job, b->job, sizeof b->left_job);
	b->left[0] = '\0';
	if (b->chosen >= 0)
		memcpy(b->left, b->position[b->chosen].row.position.name, sizeof b->left);
	b->left_quantity = b->quantity;
	b->left_walk = b->walk;
}

void job_clear(struct bench *b)
{
	job_leave(b);
	b->job[0] = '\0';
	b->live = false;
	b->condition = CONDITION_FOUND;
	b->reach = REACH_IN_CIRCUIT;
	positions_clear(b);
	b->chosen = b->last = -1;
	b->announced_all = false;
	for (int i = 0; i < b->meters; i++) {
		b->meter[i].bound.place = b->meter[i].before.place = -1;
		b->meter[i].held.waits = false;
		b->meter[i].nowhere = false;
		b->meter[i].spent = false;
	}
	/* What is still on its way to the disk belongs to the job before. */
	for (int i = b->heard; i < b->pendings; i++)
		b->pending[i].made = b->pending[i].strikes = b->pending[i].rejudges = -1;
}

/* ---- jobs ---- */

bool job_put(struct bench *b, int64_t t, enum job_change change, struct bench_wait w,
             struct fault *why)
{
	struct job_body job = {.change = change, .open = change != JOB_CLOSED, .live = b->live,
	                       .condition = b->condition, .reach = b->reach};
	struct text body;
	snprintf(job.job, sizeof job.job, "%s", b->job);
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
	bench_taped(b, t, "job", "%s", name);
	walk_expect(b);
	return true;
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
	b->walk = false;
	walk_expect(b);
	return true;
}

bool bench_job_state(struct bench *b, int64_t t, bool live, struct bench_wait w,
                     struct fault *why)
{
	bench_run_until(b, t);
	if (!job_need(b, t, why))
		return false;
	bool before = b->live;
	b->live = live;
	if (!job_put(b, t, live ? JOB_LIVE : JOB_COLD, w, why)) {
		b->live = before;
		return false;
	}
	bench_taped(b, t, live ? "live" : "cold", "%s", "");
	return true;
}

/* ---- the sheet ---- */

static void write_position(struct bench *b, const struct sheet_row *row,
                           enum position_change change, struct text *body)
{
	struct position_body position = {.change = change, .row = row};
	snprintf(position.job, sizeof position.job, "%s", b->job);
	position_body_write(body, &position);
}

struct loading {
	struct bench *b;
	struct sheet_row *row;
	int rows, size;
};

static bool load_row(void *arg, const struct sheet_row *row, struct fault *why)
{
	struct loading *l = arg;
	if (!bench_grow((void **)&l->row, l->rows, &l->size, sizeof *l->row)) {
		fault_set(why, "out of memory");
		return false;
	}
	l->row[l->rows++] = *row;
	return true;
}

/* The sheet record and its positions, as one transaction. */
static bool put_sheet(struct bench *b, int64_t t, const char *file, const struct loading *l,
                      struct bench_wait w, struct fault *why)
{
	size_t n = (size_t)l->rows + 1;
	struct log_draft *draft = calloc(n, sizeof *draft);
	char **bodies = calloc(n, sizeof *bodies);
	bool good = draft && bodies;
	for (size_t i = 0; good && i < n; i++) {
		struct text body;
		text_begin(&body, b->body, BENCH_BODY_SIZE);
		if (i < n - 1) {
			write_position(b, &l->row[i], POSITION_LOADED, &body);
		} else {
			struct sheet_body sheet = {.count = l->rows};
			snprintf(sheet.job, sizeof sheet.job, "%s", b->job);
			snprintf(sheet.file, sizeof sheet.file, "%s", file);
			sheet_body_write(&body, &sheet);
		}
		bodies[i] = body.failed ? NULL : strdup(body.bytes);
		good = bodies[i] != NULL;
		draft[i] = (struct log_draft){b->utc + t, i < n - 1 ? "position" : "sheet", bodies[i],
		                              body.len};
	}
	uint64_t ticket = 0;
	if (good)
		ticket = log_append(b->log, draft, n, NULL, why);
	else
		fault_set(why, "out of memory");
	b->log_refused = good && !ticket;
	for (size_t i = 0; bodies && i < n; i++)
		free(bodies[i]);
	free(bodies);
	free(draft);
	/* The sheet record is the last of them: when it is durable, all are. */
	if (!ticket)
		return false;
	struct pending p = bench_pending(ticket + n - 1, w);
	p.job = true;
	return bench_pend(b, p);
}

static bool same_limit(bool has_a, struct decimal a, bool has_b, struct decimal b)
{
	return has_a == has_b && (!has_a || decimal_compare(a, b) == 0);
}

static bool same_verdict(const struct verdict *a, const struct verdict *b)
{
	const struct limits *x = &a->limits, *y = &b->limits;
	return a->word == b->word && a->side == b->side && a->reason == b->reason &&
	       same_limit(x->has_low, x->low, y->has_low, y->low) &&
	       same_limit(x->has_high, x->high, y->has_high, y->high) &&
	       a->has_deviation == b->has_deviation &&
	       (!a->has_deviation || fabs(a->deviation - b->deviation) < 1e-12);
}

/* Verdicts are frozen in their entries; a changed sheet adds a new judgement. */
static void rejudge(struct bench *b, int place)
{
	const struct bench_position *p = &b->position[place];
	for (int i = p->newest; i >= 0; i = b->made[i].older) {
		struct entry *e = &b->made[i].entry, before = *e;
		if (e->struck)
			continue;
		entry_judge(&p->row.position, e);
		if (same_verdict(&before.verdict, &e->verdict) && same_verdict(&before.service, &e->service))
			continue;
		b->owed += !b->made[i].owed;
		b->made[i].owed = true;
	}
}

static bool put_rejudge(struct bench *b, int64_t t, int made)
{
	const struct entry *e = &b->made[made].entry;
	struct rejudge_body rj = {.of = e->seq, .verdict = e->verdict, .service = e->service};
	struct text body;
	struct fault why;
	snprintf(rj.job, sizeof rj.job, "%s", b->job);
	snprintf(rj.position, sizeof rj.position, "%s", e->position);
	snprintf(rj.because, sizeof rj.because, "sheet set");
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	rejudge_body_write(&body, &rj);
	uint64_t ticket = bench_append(b, "rejudge", t, &body, &why);
	if (!ticket)
		return false;
	struct pending p = bench_pending(ticket, (struct bench_wait){0});
	p.rejudges = made;
	return bench_pend(b, p);
}

/* An entry that is itself on its way to the disk gets its record when it is there. */
void job_rejudge_owed(struct bench *b, int64_t t)
{
	for (int i = 0; i < b->mades && b->owed; i++) {
		struct made *made = &b->made[i];
		bool dead = made->entry.struck;
		if (!made->owed || (!dead && (!made->entry.seq || !put_rejudge(b, t, i))))
			continue;
		made->owed = false;
		b->owed--;
	}
}

bool bench_sheet_load(struct bench *b, int64_t t, const char *file, const char *text, size_t len,
                      const char *job, struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	struct loading l = {.b = b};
	bool good = sheet_parse(file, text, len, load_row, &l, why);
	if (good && job && strcmp(job, b->job) != 0)
		good = bench_job_start(b, t, job, (struct bench_wait){0}, why);
	good = good && job_need(b, t, why) && put_sheet(b, t, file, &l, w, why);
	for (int i = 0; good && i < l.rows; i++)
		if (!position_add(b, &l.row[i])) {
			fault_set(why, "out of memory");
			good = false;
		}
	for (int i = 0; good && i < l.rows; i++)
		rejudge(b, position_find(b, l.row[i].position.name));
	free(l.row);
	if (good) {
		job_rejudge_owed(b, t);
		b->announced_all = false;
		walk_expect(b);
		/* A walk that waits for a sheet begins at its first position. */
		if (b->walk && b->chosen < 0)
			walk_first(b);
	}
	return good;
}

/* The place of that name; a position that is in no sheet yet is made as it is
 * named (the kind follows from its letters), for there may be no schematic. */
int job_place(struct bench *b, int64_t t, const char *name, struct fault *why)
{
	int i = position_find(b, name);
	if (i >= 0)
		return i;
	struct sheet_row row;
	struct text body;
	if (!sheet_bare(&row, name, why) || !job_need(b, t, why))
		return -1;
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	write_position(b, &row, POSITION_NAMED, &body);
	if (!bench_put_job(b, "position", t, &body, (struct bench_wait){0}, why))
		return -1;
	if (!position_add(b, &row)) {
		fault_set(why, "out of memory");
		return -1;
	}
	return b->positions - 1;
}

bool bench_sheet_set(struct bench *b, int64_t t, const char *position, const char *const *key,
                     const char *const *value, int fields, struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	int place = position_find(b, position);
	struct sheet_row row;
	if (place >= 0)
		row = b->position[place].row;
	else if (!sheet_bare(&row, position, why) || !job_need(b, t, why))
		return false;
	for (int i = 0; i < fields; i++)
		if (!sheet_set(&row, key[i], value[i], why))
			return false;
	if (strcmp(row.position.name, position) != 0) {
		fault_set(why, "a position is not renamed by setting its name");
		return false;
	}
	if (row.position.twin[0] && position_find(b, row.position.twin) < 0) {
		fault_set(why, "%s is to be the twin of %s, but is not in the sheet", row.position.twin,
		          position);
		return false;
	}
	struct text body;
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	write_position(b, &row, POSITION_SET, &body);
	if (!bench_put_job(b, "position", t, &body, w, why))
		return false;
	if (!position_add(b, &row)) {
		fault_set(why, "out of memory");
		return false;
	}
	rejudge(b, position_find(b, position));
	job_rejudge_owed(b, t);
	walk_expect(b);
	return true;
}

/* ---- notes and strikes ---- */

bool bench_note(struct bench *b, int64_t t, const char *position, const char *text,
                struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	struct text body;
	if (!text[0]) {
		fault_set(why, "the note for %s is empty", position);
		return false;
	}
	if (job_place(b, t, position, why) < 0)
		return false;
	struct note_body note = {0};
	snprintf(note.job, sizeof note.job, "%s", b->job);
	snprintf(note.position, sizeof note.position, "%s", position);
	if (strlen(text) >= sizeof note.note) {
		fault_set(why, "the note for %s is longer than %zu bytes", position, sizeof note.note - 1);
		return false;
	}
	memcpy(note.note, text, strlen(text) + 1);
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	note_body_write(&body, &note);
	if (!bench_put(b, "note", t, &body, w, why))
		return false;
	bench_taped(b, t, "note", "%s %s", position, text);
	return true;
}

static bool strike(struct bench *b, int64_t t, int made, const char *because,
                   struct bench_wait w, struct fault *why)
{
	struct entry *e = &b->made[made].entry;
	struct strike_body sb = {.of = e->seq};
	struct text body;
	if (!e->seq) {
		fault_set(why, "the entry at %s is still on its way to the disk: try again", e->position);
		return false;
	}
	snprintf(sb.job, sizeof sb.job, "%s", b->job);
	snprintf(sb.position, sizeof sb.position, "%s", e->position);
	snprintf(sb.because, sizeof sb.because, "%s", because);
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	strike_body_write(&body, &sb);
	uint64_t ticket = bench_append(b, "strike", t, &body, why);
	if (!ticket)
		return false;
	struct pending p = bench_pending(ticket, w);
	p.strikes = made;
	bench_pend(b, p);
	e->struck = true;
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
	fault_set(why, "the open job has no entry %lld: `tally entries` lists them", (long long)seq);
	return false;
}

bool bench_undo(struct bench *b, int64_t t, struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	for (int i = b->mades - 1; i >= 0; i--) {
		if (b->made[i].entry.struck)
			continue;
		if (!strike(b, t, i, "undo", w, why))
			return false;
		bench_taped(b, t, "undo", "%s", "");
		/* It lacks its value again: that is where the person goes on. */
		walk_back(b, &b->made[i].entry);
		return true;
	}
	fault_set(why, "there is no entry to undo");
	return false;
}

/* ---- typed entries ---- */

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

static bool read_typed(const struct position *p, const struct bench_typed *typed,
                       struct entry *e, struct fault *why)
{
	e->quantity = typed->quantity >= 0 ? (enum quantity)typed->quantity : position_first_quantity(p);
	enum function hint = position_function(p, e->quantity);
	const char *value = typed->value;
	e->has_value = value[0] != '>' && strcasecmp(value, "overload") && strcasecmp(value, "OL");
	bool good = e->has_value
	                ? quantity_parse(value, strlen(value), hint, &e->value, &e->function, why)
	                : read_overload(value, hint, e, why);
	if (!good)
		return false;
	if (e->function == FUNCTION_NONE)
		e->function = FUNCTION_NUMBER;
	if (!e->has_value)
		return true;
	e->prefix = quantity_prefix(e->value, e->function);
	struct decimal u;
	enum function f;
	if (typed->u) {
		if (!quantity_parse(typed->u, strlen(typed->u), e->function, &u, &f, why))
			return false;
		e->u = decimal_double(u);
		if (!(e->u >= 0)) {
			fault_set(why, "an uncertainty is not negative: %s", typed->u);
			return false;
		}
	} else {
		struct accuracy_line line = accuracy_assumed(e->function);
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
	int place = position_find(b, typed->position);
	if (place >= 0)
		row = b->position[place].row;
	else if (!sheet_bare(&row, typed->position, why))
		return false;
	if (!read_typed(&row.position, typed, &e, why) || !made_room(b))
		return false;
	place = job_place(b, t, typed->position, why);
	if (place < 0)
		return false;
	e.condition = b->condition;
	e.reach = b->reach;
	snprintf(e.position, sizeof e.position, "%s", typed->position);
	snprintf(e.meter, sizeof e.meter, "%s", typed->from);
	entry_judge(&b->position[place].row.position, &e);
	char shown[80];
	entry_shown(&e, shown, sizeof shown);
	struct entry_beside beside = {.job = b->job, .shown = shown, .accuracy_assumed = !typed->u,
	                              .because = typed->because};
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

/* ---- reading back ---- */

static void restore_job(struct bench *b, const struct job_body *job)
{
	if (job->change == JOB_STARTED || job->change == JOB_CLOSED)
		job_clear(b);
	if (!job->open)
		return;
	snprintf(b->job, sizeof b->job, "%s", job->job);
	b->live = job->live;
	b->condition = job->condition;
	b->reach = job->reach;
}

/* Index of the entry with that seq, -1 for none.  (Those that are sealed stand in
 * order of seq; those that are not have 0.) */
static int made_find(const struct bench *b, int64_t seq)
{
	for (int i = b->mades - 1; i >= 0; i--)
		if (b->made[i].entry.seq == seq)
			return i;
	return -1;
}

static void restore_strike(struct bench *b, int64_t of)
{
	int i = made_find(b, of);
	if (i >= 0)
		b->made[i].entry.struck = true;
}

static bool restore_record(void *arg, int64_t seq, const char *text, size_t len)
{
	struct bench *b = arg;
	struct record_head head;
	struct position_body position;
	struct sheet_row row;
	struct job_body job;
	struct strike_body strike;
	struct entry e;
	struct fault ignored;
	(void)seq;
	if (!record_head_read(text, len, &head))
		return true;
	if (strcmp(head.kind, "job") == 0 && job_body_read(text, len, &job))
		restore_job(b, &job);
	else if (strcmp(head.kind, "position") == 0 &&
	         position_body_read(text, len, &position, &row, &ignored))
		return position_add(b, &row);
	else if (strcmp(head.kind, "strike") == 0 && strike_body_read(text, len, &strike))
		restore_strike(b, strike.of);
	else if (strcmp(head.kind, "entry") == 0 && entry_read(text, len, &e)) {
		if (!made_room(b))
			return false;
		made_add(b, &e, 0, 0);
	}
	return true;
}

bool bench_restore(struct bench *b, struct log_reader *reader, struct fault *why)
{
	struct log_query query = {.kind = "job,position,entry,strike"};
	if (log_reader_records(reader, &query, restore_record, b, why) < 0)
		return false;
	b->choice = 1; /* later than every entry that was read back */
	/* In memory the verdicts are those of the sheet as it stands now: what was
	 * sealed meanwhile as rejudge records comes out the same. */
	for (int i = 0; i < b->mades; i++) {
		int place = position_find(b, b->made[i].entry.position);
		if (place >= 0)
			entry_judge(&b->position[place].row.position, &b->made[i].entry);
	}
	walk_expect(b);
	return true;
}

void job_read_back(struct bench *b)
{
	struct fault why;
	char job[2][JOB_SIZE], chosen[2][NAME_SIZE];
	enum quantity quantity[2];
	bool walk[2];
	int choice = b->choice;
	/* The job that holds may be the one that is open, or the one that was left. */
	for (int i = 0; i < 2; i++) {
		memcpy(job[i], b->left_job, sizeof job[i]);
		memcpy(chosen[i], b->left, sizeof chosen[i]);
		quantity[i] = b->left_quantity;
		walk[i] = b->left_walk;
		job_leave(b);
	}
	job_clear(b);
	b->job[0] = '\0';
	struct log_reader *reader = log_reader_open(log_path(b->log), &why);
	if (!reader || !bench_restore(b, reader, &why))
		bench_event(b, "refused", "why", why.text, NULL);
	log_reader_close(reader);
	b->choice = choice + 1;
	for (int i = 1; i >= 0; i--) {
		int place = chosen[i][0] ? position_find(b, chosen[i]) : -1;
		if (strcmp(job[i], b->job) != 0)
			continue;
		b->walk = walk[i];
		if (place >= 0)
			walk_choose(b, place, quantity[i]);
		break;
	}
}

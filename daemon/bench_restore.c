/* SPDX-License-Identifier: MIT */
/*
 * Reading the job back from the log: when the daemon starts, and when the log
 * refused a change that was in memory already.
 */
#include "daemon/bench_inside.h"

#include <stdio.h>
#include <string.h>

static void restore_job(struct bench *b, const struct job_body *job)
{
	if (job->change == JOB_STARTED || job->change == JOB_CLOSED)
		job_clear(b);
	if (!job->open)
		return;
	snprintf(b->job, sizeof b->job, "%s", job->job);
	b->live = job->live;
	if (job->again[0])
		memcpy(b->again, job->again, sizeof b->again);
	b->condition = job->condition;
	b->reach = job->reach;
	safe_restore(b, job);
}

/* Index of the entry with that seq, -1 for none.  (Those that are sealed stand in
 * order of seq; those that are not have 0.) */
int made_find(const struct bench *b, int64_t seq)
{
	for (int i = b->mades - 1; i >= 0; i--)
		if (b->made[i].entry.seq == seq)
			return i;
	return -1;
}

static void restore_strike(struct bench *b, int64_t of)
{
	int i = made_find(b, of), k = backing_find(b, of);
	if (i >= 0)
		b->made[i].entry.struck = true;
	else if (k >= 0)
		b->backing[k].struck = true;
}

/* Moves of one moment were one act, and one undo takes all of them back. */
static void restore_move(struct bench *b, const struct move_body *move, int64_t t)
{
	int i = made_find(b, move->of);
	if (i < 0)
		return;
	struct made *m = &b->made[i];
	if (b->moved_at != t)
		b->deeds++;
	b->moved_at = t;
	m->moved = strcmp(move->because, "undo") == 0 ? 0 : b->deeds;
	memcpy(m->from, m->entry.position, sizeof m->from);
	move_apply(b, i, move->position);
}

static bool restore_record(void *arg, int64_t seq, const char *text, size_t len)
{
	struct bench *b = arg;
	struct record_head head;
	struct position_body position;
	struct sheet_row row;
	struct job_body job;
	struct strike_body strike;
	struct move_body move;
	struct entry e;
	struct fault ignored;
	if (!record_head_read(text, len, &head))
		return true;
	if (strcmp(head.kind, "job") == 0 && job_body_read(text, len, &job))
		restore_job(b, &job);
	else if (strcmp(head.kind, "position") == 0 &&
	         position_body_read(text, len, &position, &row, &ignored)) {
		if (position.change == POSITION_NEW)
			new_restore(b, row.position.name);
		b->listed = b->listed || position_is_listed(position.change);
		return position_add(b, &row);
	} else if (strcmp(head.kind, "fit") == 0)
		return fit_restore(b, text, len);
	else if (strcmp(head.kind, "guide") == 0)
		return guide_restore(b, seq, text, len);
	else if (strcmp(head.kind, "clock") == 0)
		b->clock_since = head.t;
	else if (strcmp(head.kind, "alarm") == 0)
		guard_restore(b, text, len);
	else if (strcmp(head.kind, "rename") == 0)
		return rename_restore(b, text, len);
	else if (strcmp(head.kind, "bind") == 0)
		return bind_restore(b, text, len);
	else if (strcmp(head.kind, "strike") == 0 && strike_body_read(text, len, &strike))
		restore_strike(b, strike.of);
	else if (strcmp(head.kind, "move") == 0 && move_body_read(text, len, &move))
		restore_move(b, &move, head.t);
	else if (strcmp(head.kind, "offset") == 0 || strcmp(head.kind, "check") == 0)
		return backing_restore(b, head.kind, text, len);
	else if (strcmp(head.kind, "entry") == 0 && entry_read(text, len, &e)) {
		if (!made_room(b))
			return false;
		int i = e.source == SOURCE_METER && e.has_value && e.settled
		        ? bench_meter_index(b, e.meter) : -1;
		if (i >= 0)
			meter_kind_seen(&b->meter[i], e.has_raw ? e.raw : e.value);
		made_add(b, &e, 0, 0);
	}
	return true;
}

bool bench_restore(struct bench *b, struct log_reader *reader, struct fault *why)
{
	struct log_query query = {.kind = "job,alarm,clock,guide,position,fit,rename,bind,entry,strike,move,offset,check"};
	b->backings = 0;
	if (log_reader_records(reader, &query, restore_record, b, why) < 0)
		return false;
	b->clock_since = b->utc + b->now; /* what was between nobody saw */
	b->choice = 1; /* later than every entry that was read back */
	/* In memory the verdicts are those of the sheet as it stands now: what was
	 * sealed meanwhile as rejudge records comes out the same. */
	for (int i = 0; i < b->mades; i++) {
		int place = position_find(b, b->made[i].entry.position);
		entry_refer_again(b, &b->made[i].entry);
		if (place >= 0)
			entry_judge_at(b, place, &b->made[i].entry);
	}
	way_group(b);
	walk_expect(b);
	return true;
}

void job_read_back(struct bench *b)
{
	struct fault why;
	char job[2][JOB_SIZE], chosen[2][NAME_SIZE];
	enum quantity quantity[2];
	struct bench_way way[2];
	int choice = b->choice;
	/* The job that holds may be the one that is open, or the one that was left. */
	for (int i = 0; i < 2; i++) {
		memcpy(job[i], b->left_job, sizeof job[i]);
		memcpy(chosen[i], b->left, sizeof chosen[i]);
		quantity[i] = b->left_quantity;
		way[i] = b->left_way;
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
		b->way = way[i];
		way_group(b);
		if (place >= 0)
			walk_choose(b, place, quantity[i]);
		break;
	}
}

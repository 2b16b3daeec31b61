/* SPDX-License-Identifier: MIT */
/*
 * A walk goes on after a restart.
 *
 * What is up, how the walk goes and what was skipped is no knowledge about the unit, so it
 * is no record; but a daemon that comes back with nothing up costs the person a look at the
 * sheet.  So the desk is saved as it is left, unsealed, at most a second later and at the end:
 *
 *     {"job":"...","walk":"on","order":"sheet","meters":1,"prefix":"","lift":false,
 *      "position":"R12","quantity":"value","since":SEQ,"skipped":["R3"]}
 *
 * `since` is the last record there was when the position came up: an entry there that is
 * younger means that it was served, and the walk goes on to the next one.
 *
 * Nothing is known of the leads and of who heard the name.  So no touch makes an entry before
 * a client has read what is up (bench_seen), nor before its meter was heard with open leads:
 * what the probes stand on when the first reading comes may be the part before.  Where no walk
 * went, or another job is open, nothing is up, as after the start of a job.
 */
#include "daemon/bench_inside.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void desk_changed(struct bench *b)
{
	b->desk = true;
	if (b->next_save > b->now + BENCH_SAVE_US)
		b->next_save = b->now + BENCH_SAVE_US;
}

const char *desk_left(struct bench *b)
{
	struct text t;
	if (!b->desk)
		return NULL;
	b->desk = false;
	text_begin(&t, b->body2, BENCH_BODY_SIZE);
	text_puts(&t, "{\"job\":");
	text_string(&t, b->job, strlen(b->job));
	text_member_string(&t, "walk", walk_mode_name(b->way.mode));
	text_member_string(&t, "order", walk_order_name(b->way.order));
	text_member_int(&t, "meters", b->way.meters);
	text_member_string(&t, "prefix", b->way.prefix);
	text_member_bool(&t, "lift", b->lift_reach);
	if (b->chosen >= 0) {
		text_member_string(&t, "position", b->position[b->chosen].row.position.name);
		text_member_string(&t, "quantity", quantity_name(b->quantity));
		text_member_int(&t, "since", b->chosen_seq);
	}
	text_member(&t, "skipped");
	text_puts(&t, "[");
	for (int i = 0, n = 0; i < b->positions; i++) {
		const char *name = b->position[i].row.position.name;
		if (!b->position[i].skipped)
			continue;
		text_puts(&t, n++ ? "," : "");
		text_string(&t, name, strlen(name));
	}
	text_puts(&t, "]}");
	/* Where it does not fit, a walk begins anew. */
	return t.failed ? "{}" : t.bytes;
}

/* ---- taken up again ---- */

static bool read_way(struct slice desk, struct bench_way *way)
{
	char word[16];
	int64_t n;
	*way = (struct bench_way){.meters = 1};
	if (!json_text(json_member(desk.at, desk.len, "walk"), word, sizeof word) ||
	    !walk_mode_from_name(word, &way->mode) ||
	    !json_text(json_member(desk.at, desk.len, "order"), word, sizeof word) ||
	    !walk_order_from_name(word, &way->order))
		return false;
	if (json_int(json_member(desk.at, desk.len, "meters"), &n) && n >= 1 && n <= WALK_METERS_MAX)
		way->meters = (int)n;
	json_text(json_member(desk.at, desk.len, "prefix"), way->prefix, sizeof way->prefix);
	return way->mode != WALK_OFF;
}

/* Has it brought what it was for, since it came up? */
static bool served(const struct bench *b, int place, enum quantity q, int64_t since)
{
	bool any = false;
	for (int i = b->position[place].newest; i >= 0 && !any; i = b->made[i].older) {
		const struct entry *e = &b->made[i].entry;
		any = e->seq > since && !e->struck && e->quantity == q && e->condition == b->condition &&
		      (b->way.mode != WALK_LIFT || e->reach != REACH_IN_CIRCUIT);
	}
	return any && (b->way.meters < 2 || way_meters_have(b, place, q) >= b->way.meters);
}

/* Whatever the probes stand on was touched before. */
static void spend_all(struct bench *b)
{
	for (int i = 0; i < b->meters; i++) {
		struct bench_meter *m = &b->meter[i];
		m->spent = m->unheard = true;
		m->spent_place = -1;
		m->spent_from = INT64_MIN;
	}
}

/* What was up, or what comes after it; -1 for nothing. */
static int place_of(struct bench *b, struct slice desk, enum quantity *q)
{
	char name[NAME_SIZE], word[32];
	int64_t since = INT64_MAX;
	struct fault why;
	int place = json_text(json_member(desk.at, desk.len, "position"), name, sizeof name)
	          ? position_find(b, name) : -1;
	if (place < 0) {
		/* Renamed, perhaps, in its last second: from the first gap. */
		place = b->way.mode == WALK_NEW ? -1 : walk_next(b, -1);
		*q = place < 0 ? QUANTITY_VALUE : shows_next(b, place, FUNCTION_NONE);
		return place;
	}
	if (!json_text(json_member(desk.at, desk.len, "quantity"), word, sizeof word) ||
	    !quantity_from_name(word, strlen(word), q))
		*q = shows_next(b, place, FUNCTION_NONE);
	json_int(json_member(desk.at, desk.len, "since"), &since);
	if (!served(b, place, *q, since))
		return place;
	int next = b->way.mode == WALK_NEW ? place_new(b, b->now, NULL, &why) : walk_next(b, place);
	if (next < 0)
		return place;
	*q = shows_next(b, next, FUNCTION_NONE);
	return next;
}

void bench_resume(struct bench *b, struct log_reader *reader)
{
	char *body = malloc(BENCH_BODY_SIZE), job[JOB_SIZE], name[NAME_SIZE];
	struct slice desk = {body, 0}, one;
	struct bench_way way;
	enum quantity q;
	size_t cursor = 0;
	if (!body || !log_reader_desk(reader, body, BENCH_BODY_SIZE) ||
	    !json_valid(body, desk.len = strlen(body), NULL) ||
	    !json_text(json_member(body, desk.len, "job"), job, sizeof job) || !job[0] ||
	    strcmp(job, b->job) != 0 || !read_way(desk, &way)) {
		free(body);
		return;
	}
	b->way = way;
	way_group(b);
	if (way.mode == WALK_NEW && way.prefix[0])
		memcpy(b->prefix, way.prefix, sizeof b->prefix);
	b->lift_reach = b->reach == REACH_LIFTED &&
	                json_bool(json_member(desk.at, desk.len, "lift"), false);
	struct slice skipped = json_member(desk.at, desk.len, "skipped");
	while (skipped.at && *skipped.at == '[' && json_next(skipped, &cursor, &one)) {
		int place = json_text(one, name, sizeof name) ? position_find(b, name) : -1;
		if (place >= 0)
			b->position[place].skipped = true;
	}
	int place = place_of(b, desk, &q);
	if (place >= 0) {
		walk_choose(b, place, q);
		spend_all(b);
		b->unseen = true;
		b->said = b->choice - 1;
		b->say_until = INT64_MAX;
	}
	free(body);
}

/* SPDX-License-Identifier: MIT */
/* See trail.h. */
#include "daemon/trail.h"

#include <string.h>

bool trail_continues(const struct trail *tr, const struct reading *r, const char *position)
{
	if (!tr->n || tr->n >= TRAIL_READINGS_MAX || tr->text >= TRAIL_TEXT_MAX - 256 ||
	    r->function != tr->function)
		return false;
	if (r->t - tr->t >= TRAIL_RUN_US || r->t < tr->t)
		return false;
	if (r->has_value && tr->has_digit && r->value.e != tr->digit)
		return false;
	struct decimal counted;
	if (r->has_second && tr->second && tr->has_second &&
	    (r->second.e < tr->second_digit ||
	     !decimal_rescale(r->second, tr->second_digit, &counted)))
		return false;
	return strcmp(position, tr->position) == 0;
}

uint64_t trail_add(struct trail *tr, const struct reading *r, const char *position)
{
	int i = tr->n;
	if (i == 0) {
		tr->first = tr->count;
		tr->t = r->t;
		if (r->function != tr->function)
			tr->digit = 0;
		tr->function = r->function;
		tr->has_digit = false;
		tr->has_second = false;
		tr->text = 0;
		memset(tr->position, 0, sizeof tr->position);
		memcpy(tr->position, position, strnlen(position, NAME_SIZE - 1));
	}
	if (r->has_value && !tr->has_digit) {
		tr->has_digit = true;
		tr->digit = r->value.e;
	}
	tr->reading[i] = (struct trail_reading){.at = (r->t - tr->t) / TRAIL_TICK_US,
	                                        .v = r->has_value ? r->value.n : 0,
	                                        .has_value = r->has_value, .state = r->state};
	if (r->has_second && tr->second) {
		struct decimal counted = r->second;
		if (!tr->has_second)
			tr->second_digit = r->second.e;
		tr->has_second = true;
		tr->reading[i].has_second = decimal_rescale(r->second, tr->second_digit, &counted);
		tr->reading[i].second = tr->reading[i].has_second ? counted.n : 0;
	}
	tr->text += trail_reading_size(&tr->reading[i]);
	tr->n++;
	tr->changed = true;
	return tr->count++;
}

int64_t trail_end_time(const struct trail *tr)
{
	return tr->t + (tr->n ? tr->reading[tr->n - 1].at * TRAIL_TICK_US : 0);
}

int64_t trail_deadline(const struct trail *tr)
{
	return tr->n ? tr->t + TRAIL_RUN_US : INT64_MAX;
}

void trail_write(const struct trail *tr, const char *job, const char *meter, struct text *out)
{
	struct trail_body body = {.job = job, .meter = meter, .function = tr->function,
	                          .position = tr->position, .digit = {1, tr->digit},
	                          .reading = tr->reading, .n = tr->n};
	struct limits_of_use use;
	if (tr->has_second) {
		body.second = tr->second;
		body.second_digit = (struct decimal){1, tr->second_digit};
	}
	if (tr->use) {
		use_of(tr->use, tr->function, &use);
		body.use = &use;
	}
	trail_body_write(out, &body);
}

static bool overlaps(const struct trail_sealed *run, uint64_t from, uint64_t to)
{
	return run->n > 0 && to >= run->first && from < run->first + (uint64_t)run->n;
}

void trail_keep(struct trail *tr, uint64_t from, uint64_t to)
{
	tr->keep_from = from;
	tr->keep_to = to;
	tr->kept_count = 0;
}

void trail_end(struct trail *tr, uint64_t ticket)
{
	if (ticket) {
		struct trail_sealed *s = &tr->sealed[tr->sealed_next];
		bool full = tr->sealed_count == TRAIL_SEALED_MAX;
		if (full && tr->kept_count < TRAIL_KEPT_MAX && overlaps(s, tr->keep_from, tr->keep_to))
			tr->kept[tr->kept_count++] = *s;
		*s = (struct trail_sealed){.first = tr->first, .n = tr->n, .ticket = ticket};
		tr->sealed_next = (tr->sealed_next + 1) % TRAIL_SEALED_MAX;
		tr->sealed_count += !full;
	}
	tr->n = 0;
	tr->changed = false;
}

/* The i-th oldest of the remembered runs. */
static int ring_index(const struct trail *tr, int i)
{
	return (tr->sealed_next - tr->sealed_count + i + 2 * TRAIL_SEALED_MAX) % TRAIL_SEALED_MAX;
}

static struct trail_sealed *of_ticket(struct trail *tr, uint64_t ticket)
{
	for (int i = tr->sealed_count - 1; i >= 0; i--)
		if (tr->sealed[ring_index(tr, i)].ticket == ticket)
			return &tr->sealed[ring_index(tr, i)];
	for (int i = 0; i < tr->kept_count; i++)
		if (tr->kept[i].ticket == ticket)
			return &tr->kept[i];
	return NULL;
}

void trail_durable(struct trail *tr, uint64_t ticket, int64_t seq)
{
	struct trail_sealed *s = of_ticket(tr, ticket);
	if (!s)
		return;
	s->seq = seq;
	if (!seq)
		s->n = 0; /* refused: there is nothing to name */
}

static int add_part(struct trail_part *out, int at, int max, const struct trail_sealed *run,
                    uint64_t from, uint64_t to)
{
	uint64_t last = run->first + (uint64_t)run->n; /* one past the end */
	if (!overlaps(run, from, to) || at >= max)
		return at;
	out[at].ticket = run->ticket;
	out[at].seq = run->seq;
	out[at].from = (int)(from > run->first ? from - run->first : 0);
	out[at].to = (int)((to < last ? to : last - 1) - run->first);
	return at + 1;
}

int trail_parts(const struct trail *tr, uint64_t from, uint64_t to, uint64_t ticket,
                struct trail_part *out, int max)
{
	int parts = 0;
	for (int i = 0; i < tr->kept_count; i++)
		parts = add_part(out, parts, max, &tr->kept[i], from, to);
	for (int i = 0; i < tr->sealed_count; i++)
		parts = add_part(out, parts, max, &tr->sealed[ring_index(tr, i)], from, to);
	if (tr->n) {
		struct trail_sealed open = {.first = tr->first, .n = tr->n, .ticket = ticket};
		parts = add_part(out, parts, max, &open, from, to);
	}
	return parts;
}

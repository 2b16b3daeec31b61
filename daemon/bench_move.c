/* SPDX-License-Identifier: MIT */
/*
 * Entries that belong elsewhere: `move`, and taking it back.
 *
 * An entry is sealed with the position at which it was taken and stays so; a move record
 * says where it belongs, and the last one said counts.  What the new position's limits
 * make of it is a rejudge record in the same transaction, so that no reader ever sees
 * the one without the other.  The quantity stays: what was measured does not change.
 */
#include "daemon/bench_inside.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MOVES_MAX 256

/* ---- in memory ---- */

/* Entries of a place hang together newest first: take one out, put it in elsewhere. */
void move_apply(struct bench *b, int made, const char *position)
{
	struct made *m = &b->made[made];
	int old = position_find(b, m->entry.position), place = position_find(b, position);
	if (old >= 0) {
		int *at = &b->position[old].newest;
		while (*at >= 0 && *at != made)
			at = &b->made[*at].older;
		if (*at == made)
			*at = m->older;
	}
	snprintf(m->entry.position, sizeof m->entry.position, "%s", position);
	m->older = -1;
	if (place >= 0) {
		int *at = &b->position[place].newest;
		while (*at > made)
			at = &b->made[*at].older;
		m->older = *at;
		*at = made;
	}
}

/* ---- which ---- */

/* The N-th last entry of a meter that counts, as ^N; -1 for none. */
static int move_back_find(const struct bench *b, int64_t n)
{
	for (int i = b->mades - 1; i >= 0 && n > 0; i--)
		if (!b->made[i].entry.struck && b->made[i].entry.source == SOURCE_METER && --n == 0)
			return i;
	return -1;
}

/* As ^N, 0 where it cannot be said so (a typed one). */
static int64_t back_of(const struct bench *b, int made)
{
	int64_t n = 0;
	if (b->made[made].entry.source != SOURCE_METER)
		return 0;
	for (int i = b->mades - 1; i >= made; i--)
		n += !b->made[i].entry.struck && b->made[i].entry.source == SOURCE_METER;
	return n;
}

struct moving {
	int made[MOVES_MAX];
	int count;
};

static bool add(const struct bench *b, struct moving *mv, int made, struct fault *why)
{
	const struct entry *e = &b->made[made].entry;
	for (int i = 0; i < mv->count; i++)
		if (mv->made[i] == made)
			return true;
	if (!e->seq) {
		fault_set(why, "the entry at %s is still on its way to the disk: try again", e->position);
		return false;
	}
	if (mv->count == MOVES_MAX) {
		fault_set(why, "at most %d entries are moved at a time", MOVES_MAX);
		return false;
	}
	mv->made[mv->count++] = made;
	return true;
}

static bool add_one(const struct bench *b, struct moving *mv, int64_t seq, struct fault *why)
{
	int i = seq > 0 ? made_find(b, seq) : -1;
	if (i < 0) {
		fault_set(why, "the open job has no entry %lld: `tally entries` lists them",
		          (long long)seq);
		return false;
	}
	if (b->made[i].entry.struck) {
		fault_set(why, "entry %lld is struck: it belongs nowhere any more", (long long)seq);
		return false;
	}
	return add(b, mv, i, why);
}

static bool add_run(const struct bench *b, struct moving *mv, int64_t from, int64_t to,
                    struct fault *why)
{
	int before = mv->count;
	for (int i = 0; i < b->mades; i++) {
		const struct entry *e = &b->made[i].entry;
		if (e->seq >= from && e->seq <= to && !e->struck && !add(b, mv, i, why))
			return false;
	}
	if (mv->count > before)
		return true;
	fault_set(why, "no entry of the open job that counts lies from %lld to %lld", (long long)from,
	          (long long)to);
	return false;
}

static bool whole(const char *text, size_t len, int64_t *out)
{
	*out = 0;
	for (size_t i = 0; i < len; i++) {
		if (text[i] < '0' || text[i] > '9' || *out > INT64_MAX / 100)
			return false;
		*out = 10 * *out + (text[i] - '0');
	}
	return len > 0 && *out > 0;
}

/* One word: 45, 45-48 or ^1. */
static bool word_read(const char *word, size_t len, int64_t *from, int64_t *to, bool *back)
{
	const char *dash = memchr(word, '-', len);
	if (len == 4 && memcmp(word, "last", 4) == 0)
		return *back = true, *from = 1, true;
	*back = len && word[0] == '^';
	if (*back)
		return whole(word + 1, len - 1, from);
	if (!dash)
		return whole(word, len, from) && (*to = *from) > 0;
	return whole(word, (size_t)(dash - word), from) &&
	       whole(dash + 1, len - (size_t)(dash - word) - 1, to) && *from <= *to;
}

bool move_word_valid(const char *word)
{
	int64_t from, to;
	bool back;
	return word_read(word, strlen(word), &from, &to, &back);
}

static bool add_word(const struct bench *b, struct moving *mv, const char *word, size_t len,
                     struct fault *why)
{
	int64_t from, to;
	bool back;
	if (!word_read(word, len, &from, &to, &back)) {
		fault_set(why, "\"%.*s\" names no entry: its number, a run of them (45-48), or ^1 for the "
		          "last one", (int)(len < 40 ? len : 40), word);
		return false;
	}
	if (!back)
		return from == to ? add_one(b, mv, from, why) : add_run(b, mv, from, to, why);
	int i = move_back_find(b, from);
	if (i >= 0)
		return add(b, mv, i, why);
	fault_set(why, "the open job has no %lld entries of a meter that count", (long long)from);
	return false;
}

static bool suits(const struct position *p, const struct entry *e, struct fault *why)
{
	if (strcmp(e->position, p->name) == 0) {
		fault_set(why, "entry %lld is at %s already", (long long)e->seq, p->name);
		return false;
	}
	if (position_takes(p, e->quantity, e->function))
		return true;
	fault_set(why, "entry %lld was measured in %s, and %s of %s is not", (long long)e->seq,
	          function_name(e->function), quantity_name(e->quantity), p->name);
	return false;
}

/* ---- to the log ---- */

struct drafts {
	struct log_draft draft[2 * MOVES_MAX];
	int made[2 * MOVES_MAX]; /* -1: a rejudge beside the move before it */
	char was_at[2 * MOVES_MAX][NAME_SIZE];
	size_t n;
	bool failed;
};

static void draft(struct bench *b, struct drafts *d, int64_t t, const char *kind, int made,
                  const struct text *body)
{
	char *copy = body->failed ? NULL : strdup(body->bytes);
	d->failed = d->failed || !copy;
	if (d->failed) {
		free(copy);
		return;
	}
	d->made[d->n] = made;
	d->draft[d->n++] = (struct log_draft){b->utc + t, kind, copy, body->len};
}

static void draft_move(struct bench *b, struct drafts *d, int64_t t, int made,
                       const char *position, const char *because)
{
	struct entry *e = &b->made[made].entry;
	struct move_body move = {.of = e->seq, .by = b->by};
	struct entry before = *e;
	struct text body;
	char why[80];
	snprintf(move.job, sizeof move.job, "%s", b->job);
	snprintf(move.position, sizeof move.position, "%s", position);
	snprintf(move.from, sizeof move.from, "%s", e->position);
	snprintf(move.because, sizeof move.because, "%s", because);
	snprintf(d->was_at[d->n], NAME_SIZE, "%s", e->position);
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	move_body_write(&body, &move);
	draft(b, d, t, "move", made, &body);
	move_apply(b, made, position);
	entry_judge_at(b, position_find(b, position), e);
	if (judged_same(&before, e))
		return;
	snprintf(why, sizeof why, "moved from %s", before.position);
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	rejudge_write(b, e, why, &body);
	draft(b, d, t, "rejudge", -1, &body);
}

/* What the log refused is where it was. */
void move_revert(struct bench *b, int made, const char *was_at)
{
	int place = position_find(b, was_at);
	move_apply(b, made, was_at);
	b->made[made].moved = 0;
	if (place >= 0)
		entry_judge_at(b, place, &b->made[made].entry);
}

static bool put(struct bench *b, int64_t t, struct drafts *d, int64_t deed, struct bench_wait w,
                struct fault *why)
{
	uint64_t ticket = 0;
	b->log_refused = false;
	if (d->failed) {
		fault_set(why, "out of memory");
	} else {
		ticket = log_append(b->log, d->draft, d->n, NULL, why);
		b->log_refused = ticket == 0;
	}
	int first = -1;
	for (size_t i = 0; i < d->n; i++)
		if (d->made[i] >= 0 && first < 0)
			first = (int)i;
	for (size_t i = d->n; i-- > 0 && !ticket;)
		if (d->made[i] >= 0)
			move_revert(b, d->made[i], d->was_at[i]);
	for (size_t i = 0; i < d->n && ticket; i++) {
		if (d->made[i] < 0)
			continue;
		struct made *m = &b->made[d->made[i]];
		struct bench_wait nobody = {0};
		struct pending p = bench_pending(ticket + i, (int)i == first ? w : nobody);
		p.moves = d->made[i];
		snprintf(p.was_at, sizeof p.was_at, "%s", d->was_at[i]);
		bench_pend(b, p);
		m->moved = deed;
		snprintf(m->from, sizeof m->from, "%s", d->was_at[i]);
		bench_event(b, "moved", "position", m->entry.position, "from", m->from, "meter",
		            m->entry.meter, NULL);
	}
	(void)t;
	return ticket != 0;
}

static void drafts_free(struct drafts *d)
{
	for (size_t i = 0; d && i < d->n; i++)
		free((void *)(uintptr_t)d->draft[i].body);
	free(d);
}

/* The words for the tape: a replay may have other numbers. */
static bool taped_words(const struct bench *b, const struct moving *mv, char *out, size_t size)
{
	size_t at = 0;
	out[0] = '\0';
	for (int i = 0; i < mv->count; i++) {
		int64_t n = back_of(b, mv->made[i]);
		if (n && at + 24 < size)
			at += (size_t)snprintf(out + at, size - at, "^%lld ", (long long)n);
	}
	return at > 0;
}

bool bench_move(struct bench *b, int64_t t, const char *which, const char *position,
                const char *because, struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	struct moving mv = {.count = 0};
	struct sheet_row row;
	char taped[400];
	for (const char *p = which; *(p += strspn(p, " ,"));) {
		size_t len = strcspn(p, " ,");
		if (!add_word(b, &mv, p, len, why))
			return false;
		p += len;
	}
	if (!mv.count) {
		fault_set(why, "say which entries belong to %.40s", position);
		return false;
	}
	int place = position_meant(b, position);
	if (place >= 0)
		row = b->position[place].row;
	else if (!sheet_bare(&row, position, why))
		return false;
	for (int i = 0; i < mv.count; i++)
		if (!suits(&row.position, &b->made[mv.made[i]].entry, why))
			return false;
	char name[NAME_SIZE];
	place = job_place(b, t, position, why);
	if (place < 0)
		return false;
	/* As the sheet writes it. */
	memcpy(name, b->position[place].row.position.name, sizeof name);
	struct drafts *d = calloc(1, sizeof *d);
	if (!d) {
		fault_set(why, "out of memory");
		return false;
	}
	bool words = taped_words(b, &mv, taped, sizeof taped);
	for (int i = 0; i < mv.count; i++)
		draft_move(b, d, t, mv.made[i], name, because && because[0] ? because : "move");
	bool good = put(b, t, d, ++b->deeds, w, why);
	drafts_free(d);
	if (!good)
		return false;
	if (words)
		bench_taped(b, t, "move", "%s%s", taped, name);
	b->announced_all = false;
	walk_made(b);
	for (int i = 0; i < mv.count; i++)
		safe_unmade(b, t, &b->made[mv.made[i]].entry);
	return true;
}

bool move_undo(struct bench *b, int64_t t, int64_t deed, struct bench_wait w, struct fault *why)
{
	struct drafts *d = calloc(1, sizeof *d);
	if (!d) {
		fault_set(why, "out of memory");
		return false;
	}
	int moved[MOVES_MAX], n = 0;
	for (int i = 0; i < b->mades && n < MOVES_MAX; i++)
		if (b->made[i].moved == deed && !b->made[i].entry.struck)
			moved[n++] = i;
	for (int i = 0; i < n; i++) {
		char from[NAME_SIZE];
		memcpy(from, b->made[moved[i]].from, sizeof from);
		draft_move(b, d, t, moved[i], from, "undo");
	}
	bool good = put(b, t, d, 0, w, why);
	drafts_free(d);
	for (int i = 0; good && i < n; i++)
		safe_unmade(b, t, &b->made[moved[i]].entry);
	return good;
}

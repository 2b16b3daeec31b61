/* SPDX-License-Identifier: MIT */
/*
 * The section [columns] of a dialect file as a whole: every column inside the frame,
 * no bit with two meanings, no byte without one.  See dialect_file.h.
 */
#include "protocol/meter/dialect_draft.h"

#include <string.h>

static unsigned char mirrored(unsigned char mask)
{
	unsigned char out = 0;
	for (int bit = 0; bit < 8; bit++)
		if (mask & 1u << bit)
			out |= (unsigned char)(0x80u >> bit);
	return out;
}

static void mirror_field(struct column_field *f)
{
	for (int k = 0; k < f->bits; k++)
		f->bit[k].mask = mirrored(f->bit[k].mask);
}

/* bits = left: bit 0 is 0x80, everywhere. */
static void mirror(struct draft *t)
{
	struct columns *c = &t->d->columns;
	for (int k = 0; k < c->flag_count; k++)
		c->flags[k].mask = mirrored(c->flags[k].mask);
	for (int k = 0; k < c->digits; k++)
		mirror_field(&c->digit[k]);
	for (int k = 0; k < c->ranges; k++)
		mirror_field(&c->range[k].field);
	mirror_field(&c->function.field);
	for (int k = 0; k < t->columns.claim_count; k++)
		t->columns.claims[k].mask = mirrored(t->columns.claims[k].mask);
}

static bool join_digits(struct draft *t, struct fault *why)
{
	struct columns *c = &t->d->columns;
	struct draft_columns *w = &t->columns;
	if (w->whole_digits && w->digit_given)
		return draft_wrong(t, why, w->digits, "`digits` and `digit N` at once: expected one of "
		                   "them");
	for (int n = 1; w->digit_given && n <= COLUMNS_DIGITS_MAX; n++) {
		if (w->digit_given >> n && !(w->digit_given & 1u << n))
			return draft_wrong(t, why, w->digits, "`digit %d` is missing", n);
		if (w->digit_given & 1u << n)
			c->digit[c->digits++] = w->digit[n - 1];
	}
	if (c->digits == 0)
		return draft_wrong(t, why, w->section, "[columns] says no digits: expected `digits = 1-4` "
		                   "or `digit 1 = ...`");
	if (c->shape_count && !w->digit_given)
		return draft_wrong(t, why, w->shapes, "shapes go with `digit N`, whose bits they are");
	for (int k = 0; k < c->overloads; k++)
		if (strlen(c->overload[k]) != (size_t)c->digits)
			return draft_wrong(t, why, w->overload[k], "an overload of %d characters was expected, "
			                   "as many as there are digits", c->digits);
	for (int k = 0; k < c->code_count; k++)
		if (c->codes[k].before > c->digits)
			return draft_wrong(t, why, w->code[k], "%d digits before the point, and there are %d",
			                   c->codes[k].before, c->digits);
	for (int k = 0; k < c->flag_count; k++)
		if (c->flags[k].means == COLUMN_POINT && c->flags[k].before > c->digits)
			return draft_wrong(t, why, w->flag[k], "%d digits before the point, and there are %d",
			                   c->flags[k].before, c->digits);
	return true;
}

/* Every claim inside the frame, none over another. */
static bool check_claims(struct draft *t, unsigned char used[FRAME_MAX], struct fault *why)
{
	struct draft_columns *w = &t->columns;
	int size = t->d->columns.size;
	for (int k = 0; k < w->claim_count; k++) {
		const struct claim *a = &w->claims[k];
		if (a->byte >= size)
			return draft_wrong(t, why, a->at, "`%s`: column %d lies outside a frame of %d bytes, 0 "
			                   "to %d", a->key, a->byte, size, size - 1);
		for (int j = 0; j < k; j++) {
			const struct claim *b = &w->claims[j];
			if (b->byte == a->byte && b->mask & a->mask && !(a->range && b->range))
				return draft_wrong(t, why, a->at, "`%s`: this has a meaning already: `%s` in line "
				                   "%d", a->key, b->key, b->at.line);
		}
		used[a->byte] |= a->mask;
	}
	return true;
}

/* What the frame's sync says of each byte is checked in the frame, too: a frame from a
 * recording of samples has been through no splitter. */
static bool add_sync(struct draft *t, unsigned char used[FRAME_MAX], struct fault *why)
{
	struct columns *c = &t->d->columns;
	const struct frame_sync *y = &t->d->row.sync;
	c->numbered = y->numbered;
	for (int k = 0; k < c->size && y->numbered; k++)
		used[k] |= 0xf0;
	for (int k = 0; k < y->heads + y->tails; k++) {
		int at = k < y->heads ? k : c->size - y->tails + (k - y->heads);
		if (used[at] == 0xff)
			continue; /* said as `byte N`, or wrong: then no sample fits */
		if (c->fixed_count == COLUMNS_FIXED_MAX)
			return draft_wrong(t, why, t->said[SAID_KEY_SYNC], "at most %d bytes that are always "
			                   "there were expected", COLUMNS_FIXED_MAX);
		c->fixed[c->fixed_count].at = (short)at;
		c->fixed[c->fixed_count++].byte = k < y->heads ? y->head[k] : y->tail[k - y->heads];
		used[at] = 0xff;
	}
	return true;
}

bool draft_join_columns(struct draft *t, struct fault *why)
{
	struct columns *c = &t->d->columns;
	unsigned char used[FRAME_MAX] = {0};
	if (!t->columns.section.line)
		return draft_wrong(t, why, t->said[SAID_KEY_READS], "reads = columns wants a section "
		                   "[columns]");
	if (!join_digits(t, why))
		return false;
	if (t->columns.bits_left)
		mirror(t);
	if (!check_claims(t, used, why) || !add_sync(t, used, why))
		return false;
	struct spot at = t->columns.size.line ? t->columns.size : t->said[SAID_KEY_FRAME];
	for (int k = 0; k < c->size; k++)
		if (!used[k])
			return draft_wrong(t, why, at, "nothing is said of column %d: expected `byte %d = ...` "
			                   "where it never changes, `flag %d = ignore` where it tells nothing",
			                   k, k, k);
	return true;
}

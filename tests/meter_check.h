/* SPDX-License-Identifier: MIT */
/*
 * What the tests of dialects share: bytes through splitter and dialect, as a line
 * brings them, and what a reading must look like whatever it came from.
 */
#ifndef TALLY_TESTS_METER_CHECK_H
#define TALLY_TESTS_METER_CHECK_H

#include "tests/check.h"

#include <stdlib.h>

#include "protocol/meter/dialect.h"

#define HEARD_MAX 64

struct heard {
	const struct dialect *dialect;
	struct dialect_setting setting;
	struct dialect_memory memory;
	struct understood last;               /* of the last good frame */
	struct reading readings[HEARD_MAX];
	int reading_count, good, faults, nothing;
};

/* A value is there or a state says why not; nothing stands where it means nothing. */
static inline void assert_well_formed(const struct reading *r)
{
	assert_true(r->function > FUNCTION_NONE && r->function < FUNCTION_COUNT);
	assert_int_equal(r->has_value, r->state == 0);
	if (r->has_value) {
		assert_true(r->value.n < INT64_C(1000000000000000000));
		assert_true(r->value.n > -INT64_C(1000000000000000000));
		assert_in_range(r->value.e + 100, DECIMAL_EXP_MIN + 100, DECIMAL_EXP_MAX + 100);
		assert_false(r->negative);
	} else {
		assert_true(r->state == READING_OVERLOAD || r->state == READING_INVALID);
		assert_true(r->value.n == 0 && r->value.e == 0);
	}
	assert_true(r->prefix == 0 || prefix_letter(r->prefix) != '\0');
}

static inline void assert_understood_well(const struct understood *u)
{
	assert_true(memchr(u->text, '\0', sizeof u->text) != NULL);
	assert_true(memchr(u->why, '\0', sizeof u->why) != NULL);
	assert_int_equal(u->said == SAID_READINGS, u->count > 0);
	assert_int_equal(u->said == SAID_NOTHING, u->why[0] != '\0');
	assert_true(u->count <= READINGS_IN_FRAME_MAX);
	for (int i = 0; i < u->count; i++)
		assert_well_formed(&u->reading[i]);
}

static inline void heard_frame(void *arg, const struct frame *f)
{
	struct heard *h = arg;
	if (f->fault != FRAME_GOOD) {
		h->faults++;
		return;
	}
	h->good++;
	h->dialect->understand(&h->setting, &h->memory, f, &h->last);
	assert_understood_well(&h->last);
	h->nothing += h->last.said == SAID_NOTHING;
	for (int i = 0; i < h->last.count && h->reading_count < HEARD_MAX; i++) {
		assert_true(h->last.reading[i].t == f->t);
		h->readings[h->reading_count++] = h->last.reading[i];
	}
}

/* Understand one frame, alone. */
static inline struct understood understand(const struct dialect *d,
                                           const struct dialect_setting *setting,
                                           struct dialect_memory *memory, const char *bytes,
                                           size_t len)
{
	/* Its own memory, so that a read past its end is seen. */
	char *exact = malloc(len ? len : 1);
	struct frame f = {.bytes = exact, .len = len, .t = 77, .fault = FRAME_GOOD};
	struct understood out;
	memcpy(exact, bytes, len);
	memset(&out, 0xa5, sizeof out); /* all of it must be filled */
	d->understand(setting, memory, &f, &out);
	free(exact);
	assert_understood_well(&out);
	for (int i = 0; i < out.count; i++)
		assert_true(out.reading[i].t == 77);
	return out;
}

/* Feed a line that was quiet before: in two pieces cut at `cut`, or byte by byte
 * where `cut` is SIZE_MAX. */
static inline void hear(struct heard *h, const char *bytes, size_t len, size_t cut)
{
	struct frame_splitter s;
	frame_begin(&s, h->dialect->end, h->dialect->size, FRAME_LINE_GAP_US, 0);
	if (cut == SIZE_MAX) {
		for (size_t i = 0; i < len; i++)
			frame_feed(&s, 100000, bytes + i, 1, heard_frame, h);
	} else {
		frame_feed(&s, 100000, bytes, cut, heard_frame, h);
		frame_feed(&s, 100000, bytes + cut, len - cut, heard_frame, h);
	}
	frame_finish(&s, heard_frame, h);
}

static inline bool same_reading(const struct reading *a, const struct reading *b)
{
	return a->function == b->function && a->state == b->state &&
	       a->has_value == b->has_value && a->negative == b->negative &&
	       a->value.n == b->value.n && a->value.e == b->value.e && a->prefix == b->prefix;
}

#endif

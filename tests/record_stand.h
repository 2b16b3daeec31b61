/* SPDX-License-Identifier: MIT */
/* Bodies of records as the log would seal them, an entry that has everything, and what is the same. */
#ifndef TALLY_TESTS_RECORD_STAND_H
#define TALLY_TESTS_RECORD_STAND_H

#include "protocol/record/record.h"
#include "protocol/record/recording.h"

#include "tests/check.h"

#include <stdlib.h>

static char record_text[RECORD_BODY_MAX + 256];

/* The record as the log would seal it: head, the body of `t`, and the brace. */
static inline size_t seal(int64_t seq, const char *kind, const char *body, size_t len)
{
	struct text t;
	text_begin(&t, record_text, sizeof record_text);
	text_printf(&t, "{\"seq\":%lld,\"t\":", (long long)seq);
	text_time(&t, 1795600800123456);
	text_printf(&t, ",\"kind\":\"%s\"", kind);
	text_add(&t, body, len);
	text_puts(&t, "}");
	assert_false(t.failed);
	/* Ticket references are the log's to fill in. */
	if (!memchr(record_text, 1, t.len)) {
		struct fault why = {.text = ""};
		if (!record_valid(seq, record_text, t.len, &why))
			fail_msg("%s at %d: %s", why.text, why.column, record_text);
	}
	return t.len;
}

static char body[RECORD_BODY_MAX];
static struct text t;

static inline struct text *begin(void)
{
	text_begin(&t, body, sizeof body);
	return &t;
}

static inline struct entry an_entry(void)
{
	return (struct entry){
	    .seq = 5,
	    .t = 1795600800123456,
	    .position = "C7",
	    .meter = "red",
	    .quantity = QUANTITY_VALUE,
	    .condition = CONDITION_FOUND,
	    .reach = REACH_LIFTED,
	    .source = SOURCE_METER,
	    .function = FUNCTION_FARAD,
	    .has_value = true,
	    .value = {5600, -10},
	    .prefix = -6,
	    .u = 3.5e-9,
	    .n = 7,
	    .settled = true,
	    .verdict = {.word = VERDICT_OUTSIDE,
	                .side = SIDE_HIGH,
	                .reason = REASON_LEAKAGE,
	                .has_probability = true,
	                .probability = 1.25e-60,
	                .has_deviation = true,
	                .deviation = 0.191489,
	                .limits = {true, true, {423, -9}, {517, -9}},
	                .why = "paper, far above: measure leakage"},
	    .service = {.word = VERDICT_UNSURE,
	                .side = SIDE_HIGH,
	                .reason = REASON_METER,
	                .has_deviation = true,
	                .deviation = 0.191489,
	                .limits = {true, false, {376, -9}, {0, 0}},
	                .assumed = true,
	                .has_other = true,
	                .other = {56, -8}},
	};
}

static inline bool same_decimal(struct decimal a, struct decimal b)
{
	return decimal_compare(a, b) == 0;
}

static inline void assert_same_verdict(const struct verdict *a, const struct verdict *b)
{
	assert_int_equal(a->word, b->word);
	assert_int_equal(a->side, b->side);
	assert_int_equal(a->reason, b->reason);
	assert_int_equal(a->has_probability, b->has_probability);
	assert_near(a->probability, b->probability, 0);
	assert_int_equal(a->has_deviation, b->has_deviation);
	assert_near(a->deviation, b->deviation, 0);
	assert_int_equal(a->limits.has_low, b->limits.has_low);
	assert_int_equal(a->limits.has_high, b->limits.has_high);
	assert_true(same_decimal(a->limits.low, b->limits.low));
	assert_true(same_decimal(a->limits.high, b->limits.high));
	assert_int_equal(a->assumed, b->assumed);
	assert_int_equal(a->has_other, b->has_other);
	assert_true(same_decimal(a->other, b->other));
	assert_string_equal(a->why, b->why);
}

static inline void assert_same_entry(const struct entry *a, const struct entry *b)
{
	assert_true(a->seq == b->seq && a->t == b->t);
	assert_string_equal(a->position, b->position);
	assert_string_equal(a->meter, b->meter);
	assert_int_equal(a->quantity, b->quantity);
	assert_int_equal(a->condition, b->condition);
	assert_int_equal(a->reach, b->reach);
	assert_int_equal(a->source, b->source);
	assert_int_equal(a->function, b->function);
	assert_int_equal(a->has_value, b->has_value);
	assert_int_equal(a->state, b->state);
	/* The weight of the digit comes back too. */
	assert_true(a->value.n == b->value.n && a->value.e == b->value.e);
	assert_int_equal(a->prefix, b->prefix);
	assert_int_equal(a->has_above, b->has_above);
	assert_true(same_decimal(a->above, b->above));
	assert_near(a->u, b->u, 0);
	assert_int_equal(a->n, b->n);
	assert_int_equal(a->settled, b->settled);
	assert_same_verdict(&a->verdict, &b->verdict);
	assert_same_verdict(&a->service, &b->service);
	assert_int_equal(a->struck, b->struck);
}

#endif

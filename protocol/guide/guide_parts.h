/* SPDX-License-Identifier: MIT */
/* Inside this room: one kind of guided run, as guide.c plays it. */
#ifndef TALLY_GUIDE_PARTS_H
#define TALLY_GUIDE_PARTS_H

#include "protocol/guide/guide.h"

struct guide_step {
	const char *word;
	int role;             /* whose value `go` takes, -1: none */
	int slot;             /* that keeps it, -1 */
	enum quantity quantity;
	enum guide_unit unit;
	bool waits;           /* ends by itself: `go` is not enough */
	bool by_name;         /* `go` ends it, the pedal's `take` does not mean it */
	const char *what;     /* for the dry road; %s is the position */
};

struct guide_procedure {
	const char *name;
	const struct guide_step *step;
	int steps;
	const struct guide_role *role;
	int roles;
	enum guide_needs needs;
	const char *const *cautions;
	/* Names of its slots, in their order; a slot without a name is kept under its number. */
	const char *const *slot;
	int slots;
	bool (*begin)(struct guide *g, struct fault *why);
	void (*say)(const struct guide *g, char *out, size_t size);
	/* What a reading of a role means; may end a step that waits (guide_to). */
	void (*reading)(struct guide *g, const struct guide_input *in, struct guide_out *out);
	/* After a step: where to go on, or NULL for the next one. */
	int (*next)(struct guide *g);
	bool (*may_go)(const struct guide *g, struct fault *why);
	const char *(*at)(const struct guide *g);
	/* go, back and taken come here first; true: that was all they mean (NULL: never). */
	bool (*input)(struct guide *g, const struct guide_input *in, struct guide_out *out);
	int (*role_now)(const struct guide *g); /* NULL: that of the step */
	double (*hertz)(const struct guide *g); /* NULL: none */
	void (*result)(const struct guide *g, struct text *out);
	void (*look)(const struct guide *g, struct text *out);
	/* What still counts of one that was left; NULL: nothing. */
	void (*again)(struct guide *g, const struct guide *left);
	/* For the dry road: with what it will go on, and what ends it early, a line each. */
	void (*figures)(const struct guide *g, struct text *out);
	/* The one value of this step, as guide_shown writes it; *verdict is on it, or NULL. */
	bool (*value)(const struct guide *g, char out[32], const char **verdict);
	/* Above what it is switched off in this step ("450 V"); false: nothing is watched. */
	bool (*limit)(const struct guide *g, char out[32]);
};
extern const struct guide_procedure guide_leak, guide_reform, guide_rise, guide_tune, guide_lot;

/* On to a step of the kind; its number of steps: the end. */
void guide_to(struct guide *g, int step, struct guide_out *out);
/* It is given up: on to `step`, which leads to the end. */
void guide_give_up(struct guide *g, int step, struct guide_out *out, const char *format, ...)
    __attribute__((format(printf, 4, 5)));
void guide_slot_set(struct guide *g, int slot, double value);
double guide_slot_value(const struct guide *g, int slot); /* 0 where there is none */
struct measure guide_slot_measure(const struct guide *g, int slot);
/* The watch over a role: begins and ends the alarm that its volts passed the plan's ceiling. */
void guide_ceiling(struct guide *g, int role, struct guide_out *out, const char *what);
/* "0.12 uA", three digits. */
const char *guide_shown(double value, const char *unit, char out[32]);
/* value, u, unit of a member, and its verdict against `high` (NaN: none). */
void guide_value_write(struct text *out, const char *key, struct measure x, enum function f);
/* within, outside, unsure against an upper limit with U = 2 u; "none" without one. */
const char *guide_verdict_most(struct measure x, double high);

#endif

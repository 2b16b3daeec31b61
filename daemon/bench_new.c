/* SPDX-License-Identifier: MIT */
/*
 * Where there is no schematic: positions are named as they are touched, one after the
 * other, by a prefix and a number (R1 R2, N1 N2, T3/1 T3/2 of tag strip 3), and what kind
 * of part stands there follows from what the meter was set to.
 *
 * A name is given once in a job, also where the position has another one since: a part
 * that was marked N7 on the drawing may not meet a second N7.
 */
#include "daemon/bench_inside.h"
#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Says nothing of the kind, so that the meter may. */
#define PREFIX_USUAL "N"
#define PREFIX_MAX 24
#define NUMBER_MAX 999999

/* ---- names ---- */

bool prefix_valid(const char *prefix, struct fault *why)
{
	char name[NAME_SIZE + 8];
	size_t len = strlen(prefix);
	snprintf(name, sizeof name, "%.*s1", PREFIX_MAX, prefix);
	if (len > 0 && len <= PREFIX_MAX && name_valid(name, strlen(name)) && !ascii_digit(prefix[len - 1]))
		return true;
	fault_set(why, "\"%.40s\" is no beginning of a name: a letter or digit first, at most %d of "
	          "letters, digits, . _ / - and no digit at the end (R, T3/)", prefix, PREFIX_MAX);
	return false;
}

/* The number behind the prefix, 0 where that is no such name. */
static int number_of(const char *name, const char *prefix)
{
	size_t len = strlen(prefix);
	int n = 0;
	if (strncmp(name, prefix, len) != 0 || !name[len])
		return 0;
	for (const char *p = name + len; *p; p++) {
		if (*p < '0' || *p > '9' || n > NUMBER_MAX)
			return 0;
		n = 10 * n + (*p - '0');
	}
	return n;
}

static int highest(const struct bench *b, const char *prefix)
{
	int most = 0;
	for (int i = 0; i < b->positions + b->formers; i++) {
		int n = number_of(i < b->positions ? b->position[i].row.position.name
		                                   : b->former[i - b->positions], prefix);
		most = n > most ? n : most;
	}
	return most;
}

bool former_add(struct bench *b, const char *name)
{
	if (!bench_grow((void **)&b->former, b->formers, &b->formers_size, sizeof *b->former))
		return false;
	snprintf(b->former[b->formers++], NAME_SIZE, "%s", name);
	return true;
}

void new_restore(struct bench *b, const char *name)
{
	size_t len = strlen(name);
	while (len && ascii_digit(name[len - 1]))
		len--;
	snprintf(b->prefix, sizeof b->prefix, "%.*s", (int)len, name);
}

/* ---- a new one ---- */

int place_new(struct bench *b, int64_t t, const char *prefix, struct fault *why)
{
	struct sheet_row row;
	struct text body;
	char name[NAME_SIZE + 16];
	if (!prefix || !prefix[0])
		prefix = b->prefix[0] ? b->prefix : PREFIX_USUAL;
	if (!prefix_valid(prefix, why) || !job_need(b, t, why))
		return -1;
	int n = highest(b, prefix) + 1;
	if (b->positions >= SHEET_ROWS_MAX || n > NUMBER_MAX) {
		fault_set(why, "no name is left after %.*s%d", PREFIX_MAX, prefix, n - 1);
		return -1;
	}
	snprintf(name, sizeof name, "%.*s%d", PREFIX_MAX, prefix, n);
	if (!sheet_bare(&row, name, why))
		return -1;
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	position_write(b, &row, POSITION_NEW, &body);
	if (!bench_put_job(b, "position", t, &body, (struct bench_wait){0}, why))
		return -1;
	if (!position_add(b, &row)) {
		fault_set(why, "out of memory");
		return -1;
	}
	new_restore(b, name);
	way_group(b);
	return b->positions - 1;
}

bool bench_at_new(struct bench *b, int64_t t, const char *prefix, struct fault *why)
{
	bench_run_until(b, t);
	int place = place_new(b, t, prefix, why);
	if (place < 0)
		return false;
	bench_taped(b, t, "new", "%s", b->prefix);
	capture_chosen(b, t, place, position_first_quantity(&b->position[place].row.position));
	return true;
}

/* ---- what is learnt of it ---- */

static bool put_learnt(struct bench *b, int64_t t, const struct sheet_row *row)
{
	struct text body;
	struct fault why;
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	position_write(b, row, POSITION_LEARNT, &body);
	/* Refused: the entry is, too, and the next one teaches the same. */
	if (!bench_put_job(b, "position", t, &body, (struct bench_wait){0}, &why))
		return false;
	position_add(b, row);
	way_group(b);
	walk_expect(b);
	return true;
}

static bool is_volts(enum function f)
{
	return f == FUNCTION_VOLT_DC || f == FUNCTION_VOLT_AC;
}

struct aim place_learn(struct bench *b, int64_t t, struct aim aim, enum function f)
{
	struct sheet_row row = b->position[aim.place].row;
	if (aim.quantity != QUANTITY_VALUE || !sheet_learn(&row, f) ||
	    !put_learnt(b, t, &row))
		return aim;
	if (is_volts(f)) {
		aim.quantity = QUANTITY_VOLTS;
		if (aim.place == b->chosen)
			b->quantity = QUANTITY_VOLTS;
	}
	return aim;
}

void place_unlearn(struct bench *b, int64_t t, int place)
{
	struct sheet_row row = b->position[place].row;
	for (int i = b->position[place].newest; i >= 0; i = b->made[i].older)
		if (!b->made[i].entry.struck)
			return;
	if (sheet_learn(&row, FUNCTION_NONE))
		put_learnt(b, t, &row);
}

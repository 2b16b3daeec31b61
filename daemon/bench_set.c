/* SPDX-License-Identifier: MIT */
/*
 * `sheet set`: fields of one position, or of many that are alike (R1-R6,R9 tolerance=10%), in
 * one transaction: all of them are set, or none.  A person's slip must not make a position in
 * silence (bench_sheet_known); a recording may set one that is not there yet, which makes it,
 * for there may be no sheet with it.
 */
#include "daemon/bench_inside.h"

#include "protocol/record/sheet_names.h"
#include "protocol/record/sheet_plain.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define SET_TEXT_MAX 320 /* of the names as one text: with the fields it has room on a tape */

struct setting {
	struct sheet_batch batch;
	const char *const *key, *const *value;
	int fields;
	char name[SHEET_ROWS_MAX][NAME_SIZE];
};

/* Values are written 4,7k as often as 4.7k; a note and a price keep their commas. */
static bool set_cell(struct sheet_row *row, const char *name, const char *value, struct fault *why)
{
	static const enum sheet_column values[] = {SHEET_NOMINAL, SHEET_TOLERANCE, SHEET_SERVICE,
	                                           SHEET_RATED,   SHEET_SOURCE,    SHEET_MAX};
	char plain[SHEET_CELL_SIZE];
	bool is_value = false;
	for (size_t i = 0; i < sizeof values / sizeof *values; i++)
		is_value = is_value || strcasecmp(name, sheet_column_name[values[i]]) == 0;
	if (!is_value || strlen(value) >= sizeof plain)
		return sheet_set(row, name, value, why);
	snprintf(plain, sizeof plain, "%s", value);
	struct fault said;
	if (comma_to_point(plain, false, &said))
		return sheet_set(row, name, plain, why);
	fault_set(why, "%s: %s", name, said.text);
	return false;
}

static bool set_fields(struct sheet_row *row, const char *const *key, const char *const *value,
                       int fields, struct fault *why)
{
	for (int i = 0; i < fields; i++) {
		if (strcmp(key[i], VALVE_COLUMN) == 0)
			continue; /* last: the kind may be set with it */
		bool marking = strcmp(key[i], "marking") == 0 && value[i][0];
		const char *name = strcmp(key[i], "marking") == 0 ? "nominal" : key[i];
		if (marking ? !sheet_mark(row, value[i], why) : !set_cell(row, name, value[i], why))
			return false;
	}
	for (int i = 0; i < fields; i++)
		if (strcmp(key[i], VALVE_COLUMN) == 0 && !valve_set(row, value[i], why))
			return false;
	return true;
}

static bool put_row(struct setting *s, const struct sheet_row *row, struct fault *why)
{
	for (int i = 0; i < s->batch.rows; i++)
		if (strcmp(s->batch.row[i].position.name, row->position.name) == 0) {
			fault_set(why, "%s is named twice", row->position.name);
			return false;
		}
	if (s->batch.rows == SHEET_ROWS_MAX) {
		fault_set(why, "more than %d positions", SHEET_ROWS_MAX);
		return false;
	}
	memcpy(s->name[s->batch.rows], row->position.name, NAME_SIZE);
	return batch_add(&s->batch, row, POSITION_SET, why);
}

/* The row with its fields, as the one of many. */
static bool set_one(struct setting *s, struct sheet_row *row, struct fault *why)
{
	struct bench *b = s->batch.b;
	const char *name = row->position.name;
	char before[NAME_SIZE];
	memcpy(before, name, NAME_SIZE);
	if (!set_fields(row, s->key, s->value, s->fields, why))
		return false;
	if (strcmp(name, before) != 0) {
		fault_set(why, "a position is not renamed by setting its name");
		return false;
	}
	if (row->position.twin[0] && position_find(b, row->position.twin) < 0) {
		fault_set(why, "%s is to be the twin of %s, but is not in the sheet", row->position.twin,
		          name);
		return false;
	}
	return put_row(s, row, why);
}

/* What belongs to one place only. */
static bool many_may(const struct setting *s, struct fault *why)
{
	for (int i = 0; i < s->fields; i++)
		if (s->value[i][0] && (strcmp(s->key[i], VALVE_COLUMN) == 0 ||
		                       strcmp(s->key[i], sheet_column_name[SHEET_TWIN]) == 0)) {
			fault_set(why, "%s belongs to one position: set it at each", s->key[i]);
			return false;
		}
	return true;
}

static bool each_name(void *arg, const char *name, struct fault *why)
{
	struct setting *s = arg;
	struct bench *b = s->batch.b;
	struct fault said = {.text = ""};
	int place = position_meant(b, name);
	if (place < 0) {
		fault_set(why, "%s is not in the sheet: nothing was set", name);
		return false;
	}
	struct sheet_row row = b->position[place].row;
	if (set_one(s, &row, &said))
		return true;
	fault_set(why, "%s: %s", row.position.name, said.text);
	return false;
}

static bool set_many(struct setting *s, const char *names, char *text, struct fault *why)
{
	size_t len;
	if (!many_may(s, why) || !names_expand(names, strlen(names), each_name, s, why))
		return false;
	len = names_print(s->name, (size_t)s->batch.rows, text, SET_TEXT_MAX);
	if (!len)
		fault_set(why, "that is too long a list of names for one line: set them in parts");
	return len > 0;
}

static bool set_single(struct setting *s, const char *position, char *text, struct fault *why)
{
	struct bench *b = s->batch.b;
	struct sheet_row row;
	int place = position_meant(b, position);
	if (place >= 0)
		row = b->position[place].row;
	else if (!sheet_bare(&row, position, why))
		return false;
	snprintf(text, SET_TEXT_MAX, "%s", row.position.name);
	if (!set_one(s, &row, why))
		return false;
	for (int i = 0; i < s->fields; i++)
		if (strcmp(s->key[i], VALVE_COLUMN) == 0 && !valve_follow(&s->batch, 0, s->value[i], why))
			return false;
	return true;
}

bool bench_sheet_known(struct bench *b, int64_t t, const char *position, struct fault *why)
{
	struct sheet_row row;
	bench_run_until(b, t);
	if (!job_need(b, t, why))
		return false;
	/* Many are looked up one by one when they are set, and what is no name says so there. */
	if (position_meant(b, position) >= 0 || names_many(position, true) ||
	    !sheet_bare(&row, position, why))
		return true;
	fault_set(why, "%s is not in the sheet: `sheet add` adds it", position);
	return false;
}

bool bench_sheet_may_name(struct bench *b, int64_t t, const char *position, struct fault *why)
{
	struct sheet_row row;
	struct fault ignored;
	bench_run_until(b, t);
	/* What is no name says so where it is used. */
	if (!b->listed || position_meant(b, position) >= 0 || names_many(position, false) ||
	    !sheet_bare(&row, position, &ignored))
		return true;
	fault_set(why, "%s is not in the sheet: `sheet add` adds it, `at` names it as it is touched",
	          position);
	return false;
}

bool bench_sheet_set(struct bench *b, int64_t t, const char *position, const char *const *key,
                     const char *const *value, int fields, struct bench_wait w, struct fault *why)
{
	char text[SET_TEXT_MAX];
	struct setting *s = calloc(1, sizeof *s);
	if (!s) {
		fault_set(why, "out of memory");
		return false;
	}
	bench_run_until(b, t);
	*s = (struct setting){.batch = {.b = b}, .key = key, .value = value, .fields = fields};
	bool many = position_meant(b, position) < 0 && names_many(position, true);
	bool good = job_need(b, t, why) && (many ? set_many(s, position, text, why)
	                                         : set_single(s, position, text, why)) &&
	            batch_put(&s->batch, t, NULL, w, why);
	batch_free(&s->batch);
	free(s);
	if (good)
		sheet_act_taped(b, t, "sheet set", text, key, value, fields);
	return good;
}

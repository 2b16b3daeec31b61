/* SPDX-License-Identifier: MIT */
/*
 * Valves by their own number, as they move between sockets.
 *
 *     sheet set V3 valve=A17        sheet add "V3A,V3B 12 W valve=A17"
 *
 * The number stands in the column `valve` of a valve's row; the positions of one part (both
 * halves of a double valve) have it together.  A valve is in one socket at a time: where its
 * number is set, another socket of the job that had it has none any more, in the same
 * transaction.  Entries at a position say which valve was in it when they were made, so a
 * valve keeps its history wherever it goes (`entries --valve A17`).
 */
#include "daemon/bench_inside.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

static int column_of(const struct sheet_row *row)
{
	for (int i = 0; i < row->extras; i++)
		if (strcasecmp(row->extra_name[i], VALVE_COLUMN) == 0)
			return i;
	return -1;
}

/* Its own number, "" for none. */
static const char *valve_of_row(const struct sheet_row *row)
{
	int i = column_of(row);
	/* A file may have anything in that column: what is no number is none. */
	return i >= 0 && name_valid(row->extra_cell[i], strlen(row->extra_cell[i])) ? row->extra_cell[i]
	                                                                            : "";
}

static bool same_part(const struct sheet_row *a, const struct sheet_row *b)
{
	return a->position.part[0] && strcmp(a->position.part, b->position.part) == 0;
}

const char *valve_at(const struct bench *b, int place)
{
	const struct sheet_row *row = &b->position[place].row;
	const char *valve = valve_of_row(row);
	/* A screen's volts belong to the valve that its part names. */
	for (int i = 0; !valve[0] && i < b->positions; i++)
		if (b->position[i].row.position.kind == KIND_VALVE && same_part(&b->position[i].row, row))
			valve = valve_of_row(&b->position[i].row);
	return valve;
}

bool valve_set(struct sheet_row *row, const char *value, struct fault *why)
{
	int i = column_of(row);
	if (value[0] && !name_valid(value, strlen(value))) {
		fault_set(why, "valve=%.40s is no number of a valve: letters, digits, . _ / -, first a letter or "
		          "digit, at most 32", value);
		return false;
	}
	if (value[0] && row->position.kind != KIND_VALVE) {
		fault_set(why, "%s is a %s: a valve's number goes to a socket, a position of kind valve",
		          row->position.name, kind_name(row->position.kind));
		return false;
	}
	if (i < 0 && !value[0])
		return true;
	if (i < 0 && row->extras == SHEET_EXTRA_MAX) {
		fault_set(why, "%s has %d columns of its own already, and none for the valve's number",
		          row->position.name, SHEET_EXTRA_MAX);
		return false;
	}
	if (i < 0) {
		i = row->extras++;
		snprintf(row->extra_name[i], SHEET_NAME_SIZE, "%s", VALVE_COLUMN);
	}
	snprintf(row->extra_cell[i], SHEET_CELL_SIZE, "%s", value);
	return true;
}

/* Of what is in the batch itself: the other half, or a second socket for the same valve. */
static bool follow_in_batch(struct sheet_batch *batch, int at, const char *value,
                            struct fault *why)
{
	struct sheet_row *here = &batch->row[at];
	for (int i = 0; i < batch->rows; i++) {
		struct sheet_row *row = &batch->row[i];
		bool joined = row->position.kind == KIND_VALVE && same_part(row, here);
		bool had = value[0] && strcmp(valve_of_row(row), value) == 0;
		if (i == at || (!joined && !had))
			continue;
		if (had && !joined && batch->change[i] == POSITION_ADDED) {
			fault_set(why, "valve %s is to be in %s and in %s: it is in one socket at a time", value,
			          row->position.name, here->position.name);
			return false;
		}
		if (joined && batch->change[i] == POSITION_ADDED && valve_of_row(row)[0] &&
		    value[0] && !had) {
			fault_set(why, "%s and %s are one part: valve %s or valve %s?", row->position.name,
			          here->position.name, valve_of_row(row), value);
			return false;
		}
		if (!valve_set(row, joined ? value : "", why))
			return false;
	}
	return true;
}

static bool in_batch(const struct sheet_batch *batch, const char *name)
{
	for (int i = 0; i < batch->rows; i++)
		if (strcmp(batch->row[i].position.name, name) == 0)
			return true;
	return false;
}

bool valve_follow(struct sheet_batch *batch, int at, const char *value, struct fault *why)
{
	const struct bench *b = batch->b;
	const struct sheet_row here = batch->row[at];
	if (!follow_in_batch(batch, at, value, why))
		return false;
	for (int i = 0; i < b->positions; i++) {
		struct sheet_row row = b->position[i].row;
		bool joined = row.position.kind == KIND_VALVE && same_part(&row, &here);
		bool had = value[0] && strcmp(valve_of_row(&row), value) == 0;
		if (in_batch(batch, row.position.name) || (!joined && !had) ||
		    (joined && strcmp(valve_of_row(&row), value) == 0))
			continue;
		if (!valve_set(&row, joined ? value : "", why) ||
		    !batch_add(batch, &row, POSITION_SET, why))
			return false;
	}
	return true;
}

bool valves_typed(struct sheet_batch *batch, struct fault *why)
{
	for (int i = 0, n = batch->rows; i < n; i++) {
		char value[NAME_SIZE];
		snprintf(value, sizeof value, "%s", valve_of_row(&batch->row[i]));
		if (value[0] && batch->change[i] == POSITION_ADDED && !valve_follow(batch, i, value, why))
			return false;
	}
	return true;
}

/* SPDX-License-Identifier: MIT */
/*
 * Another name for a position: the technician has found out which one of the schematic it
 * is.
 *
 * A position is what it is, not what it is called.  One rename record says that from there
 * on the name is another; nothing that was sealed under the old name changes, and all of it
 * belongs to the position under its new one (daemon/query_names.c does the same for
 * readers).  In the same transaction follow its row, the rows of those that name it (twin,
 * with, part), and what another kind, by other letters, makes of its verdicts.
 */
#include "daemon/bench_inside.h"

#include "protocol/record/sheet_names.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- in memory ---- */

/* Entries that were moved away from it would go back to it. */
static void follow_moved(struct bench *b, const char *from, const char *to)
{
	for (int i = 0; i < b->mades; i++)
		if (strcmp(b->made[i].from, from) == 0)
			snprintf(b->made[i].from, NAME_SIZE, "%s", to);
	for (int i = b->heard; i < b->pendings; i++)
		if (strcmp(b->pending[i].was_at, from) == 0)
			snprintf(b->pending[i].was_at, NAME_SIZE, "%s", to);
}

static bool rename_apply(struct bench *b, int place, const char *from, const char *to)
{
	if (!position_rename(b, place, to))
		return false;
	follow_moved(b, from, to);
	return true;
}

bool rename_restore(struct bench *b, const char *text, size_t len)
{
	struct rename_body body;
	if (!rename_body_read(text, len, &body))
		return true; /* of a later version: not understood, not guessed */
	int place = position_find(b, body.from);
	return place < 0 || position_find(b, body.position) >= 0 ||
	       rename_apply(b, place, body.from, body.position);
}

/* ---- by hand ---- */

static int names_right(const struct bench *b, const char *from, const char *to, struct fault *why)
{
	int place = position_meant(b, from);
	if (place < 0)
		fault_set(why, "%.40s is not in the sheet", from);
	else if (!name_valid(to, strlen(to)))
		fault_set(why, "`%.40s` is no name of a position: letters, digits, . _ / -, first a letter "
		          "or digit, at most 32", to);
	else if (names_many(to, false))
		fault_set(why, "%.40s names many positions, and one is wanted here", to);
	else if (strcmp(from, to) == 0)
		fault_set(why, "%s is called so already", from);
	else if (position_find(b, to) >= 0)
		fault_set(why, "%s is in the sheet already, and is another position: entries that "
		          "belong to it are moved (move SEQ... %s)", to, to);
	else
		return place;
	return -1;
}

/* New letters that say no kind: it is what it was measured as, as where nobody had named it
 * otherwise (bench_new.c). */
static void kind_again(const struct bench *b, int place, struct sheet_row *row)
{
	int first = -1;
	for (int i = b->position[place].newest; i >= 0; i = b->made[i].older)
		if (!b->made[i].entry.struck && b->made[i].entry.quantity == QUANTITY_VALUE)
			first = i;
	if (first >= 0)
		sheet_learn(row, b->made[first].entry.function);
}

/* Its row first, then those of the others that name it. */
static bool rows_that_follow(struct sheet_batch *rows, int place, const char *from, const char *to,
                             struct fault *why)
{
	struct bench *b = rows->b;
	struct sheet_row row = b->position[place].row;
	if (!sheet_rename(&row, to, why))
		return false;
	kind_again(b, place, &row);
	sheet_follow(&row, from, to); /* a section of the part that is called as it is */
	if (!fit_check(b, place, &row, why) || !batch_add(rows, &row, POSITION_RENAMED, why))
		return false;
	for (int i = 0; i < b->positions; i++) {
		row = b->position[i].row;
		if (i != place && sheet_follow(&row, from, to) &&
		    !batch_add(rows, &row, POSITION_RENAMED, why))
			return false;
	}
	return true;
}

static void draft(struct bench *b, struct records *r, int64_t t, const struct sheet_batch *rows,
                  int place, const char *from)
{
	struct rename_body rename = {.by = b->by};
	struct sheet_row over;
	struct fault ignored;
	struct text body;
	const struct bench_fit *fit = b->position[place].fit;
	memcpy(rename.job, b->job, sizeof rename.job);
	memcpy(rename.position, rows->row[0].position.name, sizeof rename.position);
	snprintf(rename.from, sizeof rename.from, "%s", from);
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	rename_body_write(&body, &rename);
	records_add(b, r, t, "rename", &body);
	for (int i = 0; i < rows->rows; i++) {
		text_begin(&body, b->body, BENCH_BODY_SIZE);
		position_write(b, &rows->row[i], rows->change[i], &body);
		records_add(b, r, t, "position", &body);
	}
	bool has = fit && fit_over(&rows->row[0], &fit->cells, &over, &ignored);
	records_rejudge(b, r, t, place, &rows->row[0], has ? &over.position : NULL,
	                position_change_because(POSITION_RENAMED));
}

bool bench_sheet_rename(struct bench *b, int64_t t, const char *position, const char *to,
                        struct bench_wait w, struct fault *why)
{
	bench_run_until(b, t);
	struct sheet_batch rows = {.b = b};
	struct records r = {0};
	char from[NAME_SIZE];
	int place = names_right(b, position, to, why);
	if (place < 0)
		return false;
	memcpy(from, b->position[place].row.position.name, sizeof from);
	bool good = rows_that_follow(&rows, place, from, to, why);
	/* Readings of the old name may not be sealed after the record that ends it. */
	for (int i = 0; good && i < b->meters; i++)
		if (strcmp(b->meter[i].trail.position, from) == 0)
			bench_end_run(b, &b->meter[i]);
	if (good) {
		draft(b, &r, t, &rows, place, from);
		good = records_put(b, &r, 0, w, why);
	}
	if (good && !rename_apply(b, place, from, to)) {
		fault_set(why, "out of memory");
		good = false;
	}
	for (int i = 0; good && i < rows.rows; i++)
		good = position_add(b, &rows.row[i]);
	if (good) {
		way_group(b);
		records_judged(b, &r, t);
		walk_expect(b);
		bench_event(b, "renamed", "position", to, "from", from, NULL);
		if (place == b->chosen)
			walk_announce(b);
		bench_taped(b, t, "rename", "%s %s", from, to);
	}
	records_free(&r);
	batch_free(&rows);
	return good;
}

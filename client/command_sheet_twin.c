/* SPDX-License-Identifier: MIT */
/*
 * A value that was given to one place, and its twin that has none.
 *
 * Where there is no schematic the nominal is read off the part, and what stands on one part
 * says nothing of the part in the other channel, which may have been repaired.  So nothing is
 * handed on: it is said that the twin has none, and how it would get the same.
 */
#include "client/array.h"
#include "client/command_calls.h"
#include "protocol/record/sheet_names.h"

#include <stdlib.h>
#include <string.h>

/* A row of the sheet; lacks: it has no nominal. */
struct row {
	char position[NAME_SIZE], twin[NAME_SIZE];
	bool lacks;
};

struct rows {
	struct row *row; /* malloc */
	int count;
	bool no_memory;
};

static void each_row(struct client *c, struct slice row, struct slice result, void *arg)
{
	struct rows *rows = arg;
	(void)c, (void)result;
	if (!row.at || !array_grow(&rows->no_memory, &rows->row, rows->count, sizeof *rows->row))
		return;
	struct row *r = &rows->row[rows->count++];
	struct slice nominal = json_member(row.at, row.len, "nominal");
	words_member(row, "position", r->position, sizeof r->position);
	words_member(row, "twin", r->twin, sizeof r->twin);
	r->lacks = !nominal.at || *nominal.at == 'n';
}

static const struct row *find(const struct rows *rows, const char *name)
{
	for (int i = 0; i < rows->count; i++)
		if (strcmp(rows->row[i].position, name) == 0)
			return &rows->row[i];
	return NULL;
}

/* r12 may have been typed for R12. */
static const struct row *find_typed(const struct rows *rows, const char *typed)
{
	char raised[NAME_SIZE];
	const struct row *own = find(rows, typed);
	name_raise(typed, raised);
	return own ? own : find(rows, raised);
}

void sheet_twin_say(struct client *c, const char *position, const char *field)
{
	struct rows rows = {.row = NULL};
	if (client_has(c, OPTION_JSON) || strlen(position) >= NAME_SIZE ||
	    (strncmp(field, "nominal=", 8) != 0 && strncmp(field, "marking=", 8) != 0) || !field[8])
		return;
	if (client_pages(c, "sheet.show", NULL, "rows", each_row, &rows) == OUTCOME_DONE) {
		const struct row *own = find_typed(&rows, position);
		const struct row *twin = own && own->twin[0] ? find(&rows, own->twin) : NULL;
		if (twin && twin->lacks)
			fprintf(c->out, "its twin %s has no nominal: where the same stands on it, tally sheet "
			        "set %s %.8s\"%s\"\n", twin->position, twin->position, field, field + 8);
	}
	free(rows.row);
}

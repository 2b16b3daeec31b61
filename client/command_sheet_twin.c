/* SPDX-License-Identifier: MIT */
/*
 * A value that was given to one place, and its twin that has none.
 *
 * Where there is no schematic the nominal is read off the part, and what stands on one part
 * says nothing of the part in the other channel, which may have been repaired.  So nothing is
 * handed on: it is said that the twin has none, and how it would get the same.
 */
#include "client/command_calls.h"

#include "protocol/record/sheet_names.h"

#include <string.h>

struct pair {
	char position[NAME_SIZE], twin[NAME_SIZE];
	bool lacks; /* the twin is there and has no nominal */
};

static void each_own(struct client *c, struct slice row, struct slice result, void *arg)
{
	struct pair *p = arg;
	char name[NAME_SIZE], raised[NAME_SIZE];
	(void)c, (void)result;
	if (!row.at)
		return;
	words_member(row, "position", name, sizeof name);
	name_raise(p->position, raised);
	if (strcmp(name, p->position) == 0 || (!p->twin[0] && strcmp(name, raised) == 0))
		words_member(row, "twin", p->twin, sizeof p->twin);
}

static void each_twin(struct client *c, struct slice row, struct slice result, void *arg)
{
	struct pair *p = arg;
	struct slice nominal = row.at ? json_member(row.at, row.len, "nominal") : row;
	(void)c, (void)result;
	if (row.at && words_member_is(row, "position", p->twin))
		p->lacks = !nominal.at || *nominal.at == 'n';
}

void sheet_twin_say(struct client *c, const char *position, const char *field)
{
	struct pair p = {.lacks = false};
	if (client_has(c, OPTION_JSON) || strlen(position) >= sizeof p.position ||
	    (strncmp(field, "nominal=", 8) != 0 && strncmp(field, "marking=", 8) != 0) || !field[8])
		return;
	memcpy(p.position, position, strlen(position) + 1);
	if (client_pages(c, "sheet.show", NULL, "rows", each_own, &p) != OUTCOME_DONE || !p.twin[0] ||
	    client_pages(c, "sheet.show", NULL, "rows", each_twin, &p) != OUTCOME_DONE || !p.lacks)
		return;
	fprintf(c->out, "its twin %s has no nominal: where the same stands on it, tally sheet set %s "
	        "%.8s\"%s\"\n", p.twin, p.twin, field, field + 8);
}

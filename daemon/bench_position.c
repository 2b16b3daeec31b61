/* SPDX-License-Identifier: MIT */
/*
 * The positions of the sheet by name, what was made of each, and what a meter must
 * be set to there.
 *
 * Places are numbered in the order in which they came and never leave before the
 * job does.  The entries of a place hang together from the newest to the oldest, so
 * that what a position lacks costs no look through all of the job.
 */
#include "daemon/bench_inside.h"

#include "protocol/record/sheet_names.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- by name ---- */

static unsigned hash(const char *name)
{
	unsigned h = 2166136261u; /* FNV-1a */
	for (; *name; name++)
		h = (h ^ (unsigned char)*name) * 16777619u;
	return h;
}

/* Where in the table `name` stands, or would. */
static int slot(const struct bench *b, const char *name)
{
	int mask = b->by_name_size - 1, i = (int)(hash(name) & (unsigned)mask);
	while (b->by_name[i] >= 0 &&
	       strcmp(b->position[b->by_name[i]].row.position.name, name) != 0)
		i = (i + 1) & mask;
	return i;
}

int position_find(const struct bench *b, const char *name)
{
	return b->by_name_size ? b->by_name[slot(b, name)] : -1;
}

int position_meant(const struct bench *b, const char *name)
{
	char raised[NAME_SIZE];
	int place = position_find(b, name);
	if (place >= 0 || strlen(name) >= NAME_SIZE)
		return place;
	name_raise(name, raised);
	return position_find(b, raised);
}

/* Room for one more: at most half of the table is taken. */
static bool grow_names(struct bench *b)
{
	if (2 * (b->positions + 1) <= b->by_name_size)
		return true;
	int size = b->by_name_size ? 2 * b->by_name_size : 256;
	int *grown = realloc(b->by_name, (size_t)size * sizeof *grown);
	if (!grown)
		return false;
	b->by_name = grown;
	b->by_name_size = size;
	for (int i = 0; i < size; i++)
		grown[i] = -1;
	for (int i = 0; i < b->positions; i++)
		grown[slot(b, b->position[i].row.position.name)] = i;
	return true;
}

bool position_add(struct bench *b, const struct sheet_row *row)
{
	int i = position_find(b, row->position.name);
	if (i < 0) {
		if (!grow_names(b) || !bench_grow((void **)&b->position, b->positions,
		                                  &b->positions_size, sizeof *b->position))
			return false;
		i = b->positions;
		b->by_name[slot(b, row->position.name)] = i;
		b->position[i].choice = 0;
		b->position[i].newest = -1;
		b->position[i].group = 0;
		b->position[i].skipped = b->position[i].holds = false;
		b->position[i].came_back = 0;
		b->position[i].fit = NULL;
		b->positions++;
	}
	b->position[i].row = *row;
	fit_refresh(&b->position[i]);
	return true;
}

/* All of the table is made anew: with open addressing no name can be taken out of it. */
bool position_rename(struct bench *b, int place, const char *name)
{
	struct sheet_row *row = &b->position[place].row;
	if (!former_add(b, row->position.name))
		return false;
	snprintf(row->position.name, sizeof row->position.name, "%s", name);
	snprintf(row->written[SHEET_POSITION], SHEET_CELL_SIZE, "%s", name);
	for (int i = 0; i < b->by_name_size; i++)
		b->by_name[i] = -1;
	for (int i = 0; i < b->positions; i++)
		b->by_name[slot(b, b->position[i].row.position.name)] = i;
	for (int i = b->position[place].newest; i >= 0; i = b->made[i].older)
		snprintf(b->made[i].entry.position, NAME_SIZE, "%s", name);
	return true;
}

void positions_clear(struct bench *b)
{
	for (int i = 0; i < b->positions; i++)
		fit_free(&b->position[i]);
	b->formers = 0;
	b->listed = false;
	b->prefix[0] = '\0';
	b->positions = 0;
	b->mades = 0;
	b->live_from = 0;
	b->owed = 0;
	for (int i = 0; i < b->by_name_size; i++)
		b->by_name[i] = -1;
}

bool made_room(struct bench *b)
{
	return bench_grow((void **)&b->made, b->mades, &b->mades_size, sizeof *b->made);
}

int made_add(struct bench *b, const struct entry *e, uint64_t ticket, int choice)
{
	int place = position_find(b, e->position), i = b->mades++;
	/* One that was read back has its time from the record. */
	int64_t utc = ticket ? b->utc + e->t : e->t;
	b->made[i] = (struct made){.entry = *e, .ticket = ticket, .utc = utc, .since = b->clock_since, .choice = choice,
	                           .older = -1, .deed = ++b->deeds};
	if (place >= 0) {
		b->made[i].older = b->position[place].newest;
		b->position[place].newest = i;
	}
	return i;
}

/* ---- what is measured there ---- */

static bool is_volt(enum function f)
{
	return f == FUNCTION_VOLT_DC || f == FUNCTION_VOLT_AC;
}

enum quantity position_first_quantity(const struct position *p)
{
	struct part_quantity shows[PART_SHOWS_MAX];
	return part_shows(p, shows) ? shows[0].quantity : QUANTITY_VALUE;
}

/* What the meter must be set to; FUNCTION_NONE where more than one will do. */
enum function position_function(const struct position *p, enum quantity q)
{
	switch (q) {
	case QUANTITY_VALUE:
		return p->function != FUNCTION_NONE ? p->function : kind_function(p->kind);
	case QUANTITY_VOLTS:
		return p->has_nominal && is_volt(p->function) ? p->function : FUNCTION_NONE;
	case QUANTITY_ESR:
	case QUANTITY_INSULATION:
		return FUNCTION_OHM;
	default:
		return FUNCTION_NONE;
	}
}

bool position_nominal_means(const struct position *p, enum quantity q)
{
	return q == position_first_quantity(p) ||
	       (q == QUANTITY_VOLTS && position_function(p, q) != FUNCTION_NONE);
}

bool position_takes(const struct position *p, enum quantity q, enum function f)
{
	enum function wanted = position_function(p, q);
	if (wanted != FUNCTION_NONE)
		return f == wanted;
	switch (q) {
	case QUANTITY_VOLTS:
		return is_volt(f);
	case QUANTITY_LEAKAGE: /* a current, or what it drops across a known resistor */
		return f == FUNCTION_VOLT_DC || f == FUNCTION_AMP_DC;
	case QUANTITY_DISSIPATION:
		return f == FUNCTION_NUMBER || f == FUNCTION_PERCENT;
	default:
		return true;
	}
}

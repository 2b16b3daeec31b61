/* SPDX-License-Identifier: MIT */
/*
 * Every fault of a sheet, and not the first alone: see sheet_map.h.
 *
 * The reader is the same.  Where it would end at a fault the fault is told, the cell counts as
 * empty (or the row as not there), and the reading goes on.  What follows from a fault is not
 * told as one: while some row's name is not known, nobody is said to be missing.
 */
#include "protocol/record/sheet_reader.h"

#include <stdlib.h>
#include <string.h>

static bool told_here(const struct reader *r)
{
	for (int i = 0; i < r->row_told; i++)
		if (r->row_place[i].line == r->why->line && r->row_place[i].column == r->why->column)
			return true;
	return false;
}

bool reader_excuse(struct reader *r)
{
	const int most = (int)(sizeof r->row_place / sizeof r->row_place[0]);
	if (!r->tell || !r->failed || r->told == SHEET_FAULTS_MAX)
		return false;
	if (!told_here(r)) {
		if (r->row_told < most) {
			r->row_place[r->row_told].line = r->why->line;
			r->row_place[r->row_told++].column = r->why->column;
		}
		r->tell(r->tell_arg, r->why);
		r->told++;
	}
	r->failed = false;
	return true;
}

static bool nobody(void *arg, const struct sheet_row *row, struct fault *why)
{
	(void)arg, (void)row, (void)why;
	return true;
}

int sheet_faults(const char *file, const char *text, size_t len, const struct sheet_map *map,
                 void (*tell)(void *arg, const struct fault *why), void *arg)
{
	struct fault why = {.text = ""};
	struct reader *r = calloc(1, sizeof *r);
	if (!r) {
		fault_at(&why, file, 0, 0, "out of memory");
		tell(arg, &why);
		return 1;
	}
	if (len >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0)
		text += 3, len -= 3;
	*r = (struct reader){.file = file, .text = text, .len = len, .why = &why, .each = nobody,
	                     .map = map, .tell = tell, .tell_arg = arg};
	reader_run(r);
	/* What ended the reading. */
	if (r->failed && r->told < SHEET_FAULTS_MAX) {
		tell(arg, &why);
		r->told++;
	}
	int told = r->told;
	free(r->index);
	free(r);
	return told;
}

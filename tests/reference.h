/* SPDX-License-Identifier: MIT */
/*
 * Reading tests/reference/NAME.tsv: columns parted by tabs, comment lines begin
 * with #.  Every row becomes a case; a test says how many it saw, so that a table
 * that was not found or not read cannot pass.
 */
#ifndef TALLY_TESTS_REFERENCE_H
#define TALLY_TESTS_REFERENCE_H

#include "tests/check.h"

#include <stdlib.h>

#define REFERENCE_COLUMNS 12

struct reference {
	char line[1024];
	char *cell[REFERENCE_COLUMNS]; /* "" behind the last */
	int cells;
};

/* Calls each() with every row; returns how many there were. */
static inline int reference_read(const char *name, void (*each)(const struct reference *row))
{
	char path[256];
	struct reference r;
	int rows = 0;
	snprintf(path, sizeof path, "tests/reference/%s.tsv", name);
	FILE *f = fopen(path, "r");
	if (!f)
		fail_msg("%s is not there", path);
	while (fgets(r.line, sizeof r.line, f)) {
		r.line[strcspn(r.line, "\r\n")] = '\0';
		if (r.line[0] == '#' || !r.line[0])
			continue;
		r.cells = 0;
		char *at = r.line;
		for (int i = 0; i < REFERENCE_COLUMNS; i++) {
			r.cell[i] = at;
			size_t n = strcspn(at, "\t");
			r.cells += *at != '\0';
			if (at[n])
				at[n++] = '\0';
			at += n;
		}
		rows++;
		each(&r);
	}
	fclose(f);
	return rows;
}

/* The number after `key=` in "C=2.2e-08 Rg=1e+06"; otherwise where it is not there. */
static inline double reference_input(const char *inputs, const char *key, double otherwise)
{
	size_t n = strlen(key);
	for (const char *at = inputs; *at; at += strcspn(at, " "), at += *at == ' ')
		if (strncmp(at, key, n) == 0 && at[n] == '=')
			return strtod(at + n + 1, NULL);
	return otherwise;
}

/* A value is good to `units` of its last figure as it is written. */
static inline double reference_last(const char *number)
{
	char digits[64];
	size_t n = 0, point = 0;
	const char *e = strpbrk(number, "eE");
	for (const char *c = number; *c && c != e && n < sizeof digits - 1; c++) {
		if (*c == '.')
			point = n + 1;
		else
			digits[n++] = *c;
	}
	int places = point ? (int)(n - point + 1) : 0;
	return pow(10, (e ? atoi(e + 1) : 0) - places);
}

#endif

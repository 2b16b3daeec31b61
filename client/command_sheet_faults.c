/* SPDX-License-Identifier: MIT */
/*
 * The faults of a sheet that is refused, line by line: file, line, column, what is wrong and
 * what to write, with a mark below the byte.  The first SHOWN of them; of the rest the number.
 */
#include "client/command_calls.h"

#include "client/typed.h"
#include "protocol/record/sheet_map.h"

#include <stdlib.h>
#include <string.h>

#define SHOWN 20

struct sheet_faults_kept {
	struct fault fault[SHEET_FAULTS_MAX];
	int count;
};

static void keep(void *arg, const struct fault *why)
{
	struct sheet_faults_kept *k = arg;
	if (k->count < SHEET_FAULTS_MAX)
		k->fault[k->count++] = *why;
}

static struct slice line_at(const char *text, size_t len, int number)
{
	const char *end = text + len;
	if (len >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0)
		text += 3;
	while (number-- > 1 && text < end) {
		const char *feed = memchr(text, '\n', (size_t)(end - text));
		text = feed ? feed + 1 : end;
	}
	size_t n = 0;
	while (text + n < end && text[n] != '\n' && text[n] != '\r')
		n++;
	return (struct slice){text, n};
}

static void say_one(struct client *c, const struct fault *f, const char *text, size_t len)
{
	struct lines out = {0};
	client_fault(c, OUTCOME_WRONG, f);
	if (f->line)
		typed_mark(line_at(text, len, f->line), f->column, "    ", &out);
	fputs(lines_text(&out), c->err);
	lines_free(&out);
}

int sheet_faults_say(struct client *c, const char *name, const char *text, size_t len,
                     const struct sheet_map *map, const struct fault *said)
{
	struct sheet_faults_kept *k = calloc(1, sizeof *k);
	int faults = k ? sheet_faults(name, text, len, map, keep, k) : 0;
	bool same = !said;
	for (int i = 0; k && i < k->count && !same; i++)
		same = k->fault[i].line == said->line && k->fault[i].column == said->column;
	if (!faults || !same) {
		free(k);
		return 0;
	}
	qsort(k->fault, (size_t)k->count, sizeof k->fault[0], fault_by_place);
	for (int i = 0; i < k->count && i < SHOWN; i++)
		say_one(c, &k->fault[i], text, len);
	if (faults > SHOWN)
		fprintf(c->err, "... and %d more%s\n", faults - SHOWN,
		        faults == SHEET_FAULTS_MAX ? " at least" : "");
	fprintf(c->err, "%d fault%s in %s: nothing %s loaded\n", faults, faults == 1 ? "" : "s", name,
	        client_has(c, OPTION_DRY) ? "would be" : "was");
	free(k);
	return faults;
}

/* SPDX-License-Identifier: MIT */
/* Lines of a sheet, said back: see typed.h. */
#include "client/typed.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool alike(const struct sheet_row *a, const struct sheet_row *b)
{
	if (a->position.kind != b->position.kind || a->extras != b->extras)
		return false;
	for (int i = SHEET_KIND; i < SHEET_COLUMNS; i++)
		if (strcmp(a->written[i], b->written[i]) != 0)
			return false;
	for (int i = 0; i < a->extras; i++)
		if (strcmp(a->extra_cell[i], b->extra_cell[i]) != 0)
			return false;
	return true;
}

static void say(struct lines *out, const char *before, const char *text)
{
	char clean[WORDS_SIZE];
	words_clean(text, strlen(text), clean, sizeof clean);
	if (text[0])
		lines_printf(out, ", %s%s", before, clean);
}

static void say_row(struct typed_rows *t)
{
	const struct sheet_row *row = &t->first;
	const struct position *p = &row->position;
	char shown[80], value[WORDS_SIZE];
	if (t->count > 1)
		lines_printf(t->out, "%d x ", t->count);
	lines_puts(t->out, kind_name(p->kind));
	if (p->has_nominal) {
		quantity_shown(p->nominal, p->function, quantity_prefix(p->nominal, p->function), shown,
		               sizeof shown);
		words_value(t->style, shown, value, sizeof value);
		lines_printf(t->out, ", %s", value);
	}
	say(t->out, "", row->written[SHEET_TOLERANCE]);
	say(t->out, "service ", row->written[SHEET_SERVICE]);
	say(t->out, "rated ", row->written[SHEET_RATED]);
	say(t->out, "at most ", row->written[SHEET_MAX]);
	say(t->out, "", row->written[SHEET_ROLE]);
	say(t->out, "with ", row->written[SHEET_WITH]);
	say(t->out, "twin ", p->twin);
	say(t->out, "", row->written[SHEET_CHANNEL]);
	say(t->out, "part ", row->written[SHEET_PART]);
	for (int i = 0; i < row->extras; i++) {
		char before[SHEET_NAME_SIZE + 2];
		snprintf(before, sizeof before, "%s ", row->extra_name[i]);
		say(t->out, before, row->extra_cell[i]);
	}
	say(t->out, "note ", row->written[SHEET_NOTE]);
	lines_puts(t->out, "\n");
}

void typed_rows_end(struct typed_rows *t)
{
	char names[SHEET_CELL_SIZE];
	if (!t->count)
		return;
	if (names_print((const char (*)[NAME_SIZE])t->names, (size_t)t->count, names, sizeof names))
		lines_printf(t->out, "%s: ", names);
	else
		lines_printf(t->out, "%s ... %s: ", t->names[0], t->names[t->count - 1]);
	say_row(t);
	t->count = 0;
}

void typed_row(struct typed_rows *t, const struct sheet_row *row)
{
	if (t->count && !alike(&t->first, row))
		typed_rows_end(t);
	if (!t->count)
		t->first = *row;
	if (t->count == t->size) {
		int size = t->size ? 2 * t->size : 64;
		char (*more)[NAME_SIZE] = realloc(t->names, (size_t)size * sizeof *more);
		if (!more) {
			t->out->failed = true;
			return;
		}
		t->names = more;
		t->size = size;
	}
	memcpy(t->names[t->count++], row->position.name, NAME_SIZE);
	t->rows++;
}

void typed_rows_free(struct typed_rows *t)
{
	free(t->names);
	t->names = NULL;
}

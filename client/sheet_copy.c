/* SPDX-License-Identifier: MIT */
/* See sheet_copy.h. */
#include "client/sheet_copy.h"

#include <string.h>

void sheet_copy_begin(struct sheet_copy *k, bool again)
{
	*k = (struct sheet_copy){.again = again, .rows = json_array(), .columns = json_object()};
	k->failed = !k->rows || !k->columns;
}

void sheet_copy_end(struct sheet_copy *k)
{
	json_decref(k->rows);
	json_decref(k->columns);
	k->rows = k->columns = NULL;
}

size_t sheet_copy_rows(const struct sheet_copy *k)
{
	return json_array_size(k->rows);
}

static void take_cells(struct sheet_copy *k, json_t *row, const json_t *from)
{
	const char *name;
	json_t *cell;
	json_object_foreach ((json_t *)from, name, cell) {
		k->failed |= json_object_set(row, name, cell) != 0;
		k->failed |= json_object_set_new(k->columns, name, json_true()) != 0;
	}
}

/* What is fitted there is what the sheet of the next visit says: the old part is gone, and
 * its tolerance with it where the new one is of another kind. */
static void take_fit(struct sheet_copy *k, json_t *cells, const json_t *fit)
{
	static const char *const cell[] = {"kind", "nominal", "tolerance", "rated", "max", "note"};
	if (!json_is_object(fit))
		return;
	if (json_object_get(fit, "kind"))
		json_object_del(cells, "tolerance");
	for (size_t i = 0; i < sizeof cell / sizeof cell[0]; i++) {
		json_t *value = json_object_get(fit, cell[i]);
		if (!value)
			continue;
		k->failed |= json_object_set(cells, cell[i], value) != 0;
		k->failed |= json_object_set_new(k->columns, cell[i], json_true()) != 0;
	}
}

void sheet_copy_row(struct sheet_copy *k, struct slice row)
{
	json_t *whole = json_loadb(row.at, row.len, 0, NULL), *cells = json_object();
	take_cells(k, cells, json_object_get(whole, "written"));
	take_cells(k, cells, json_object_get(whole, "extra"));
	if (k->again)
		take_fit(k, cells, json_object_get(json_object_get(whole, "fit"), "written"));
	else
		json_object_del(cells, "valve"); /* that one is in another unit */
	/* A kind that was learnt there is known here. */
	json_t *learnt = json_object_get(whole, "learnt");
	if (learnt && !json_object_get(cells, "kind")) {
		k->failed |= json_object_set(cells, "kind", learnt) != 0;
		k->failed |= json_object_set_new(k->columns, "kind", json_true()) != 0;
	}
	k->failed |= json_array_append_new(k->rows, cells) != 0;
	json_decref(whole);
}

static void put_cell(struct lines *out, const char *cell)
{
	lines_csv(out, cell, strpbrk(cell, ",\"\r\n") || cell[0] == ' ', false);
}

/* CSV, as a sheet that somebody saved. */
void sheet_copy_csv(const struct sheet_copy *k, struct lines *out)
{
	const char *name, *between = "";
	json_t *row, *any;
	size_t i;
	json_object_foreach (k->columns, name, any) {
		lines_puts(out, between);
		put_cell(out, name);
		between = ",";
	}
	lines_puts(out, "\n");
	json_array_foreach (k->rows, i, row) {
		between = "";
		json_object_foreach (k->columns, name, any) {
			const char *cell = json_string_value(json_object_get(row, name));
			lines_puts(out, between);
			put_cell(out, cell ? cell : "");
			between = ",";
		}
		lines_puts(out, "\n");
	}
}

json_t *sheet_copy_unit(struct slice job)
{
	static const char *const keys[] = {"maker", "type", "serial", "year", "mains"};
	json_t *whole = job.at ? json_loadb(job.at, job.len, 0, NULL) : NULL;
	const json_t *identity = json_object_get(whole, "identity");
	json_t *fields = json_object(), *params = NULL;
	for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
		json_t *cell = json_object_get(identity, keys[i]);
		if (json_is_string(cell))
			json_object_set(fields, keys[i], cell);
	}
	if (json_object_size(fields))
		params = json_pack("{s:O}", "fields", fields);
	json_decref(fields);
	json_decref(whole);
	return params;
}

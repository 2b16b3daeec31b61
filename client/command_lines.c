/* SPDX-License-Identifier: MIT */
/*
 * What else makes a sheet: the other channel, and the sheet of another job.
 */
#include "client/command_calls.h"

#include "protocol/record/wire.h"

#include <stdlib.h>
#include <string.h>

/* ---- the other channel ---- */

bool raise_read(const char *word, size_t len, int *by)
{
	size_t sign = len && word[0] == '+', digits = strspn(word + sign, "0123456789");
	if (!digits || digits > 9 || sign + digits != len)
		return false;
	*by = atoi(word + sign);
	return true;
}

enum outcome call_sheet_mirror(struct client *c)
{
	const char *word = client_word(c, 1);
	int by;
	if (!raise_read(word, strlen(word), &by))
		return client_wrong(c, "\"%s\" is no +N, by which the numbers are raised: +100, say", word);
	json_t *params = client_params("range", client_word(c, 0), NULL);
	json_object_set_new(params, "by", json_integer(by));
	return client_change(c, "sheet.mirror", params, "mirrored");
}

/* ---- the sheet of another job ---- */

struct copying {
	json_t *rows; /* an array of {column: cell} */
	json_t *columns; /* {column: true} */
	bool again; /* the same unit: what is fitted in it, and its valves, come along */
	bool failed;
};

static void take_cells(struct copying *k, json_t *row, const json_t *from)
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
static void take_fit(struct copying *k, json_t *cells, const json_t *fit)
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

static void each_copied(struct client *c, struct slice row, struct slice result, void *arg)
{
	struct copying *k = arg;
	(void)c;
	(void)result;
	if (!row.at)
		return;
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
	bool quoted = cell[strcspn(cell, ",\"\r\n")] != '\0' || cell[0] == ' ';
	if (!quoted) {
		lines_puts(out, cell);
		return;
	}
	lines_puts(out, "\"");
	for (; *cell; cell++)
		lines_printf(out, *cell == '"' ? "\"\"" : "%c", *cell);
	lines_puts(out, "\"");
}

/* CSV, as a sheet that somebody saved. */
static void write_csv(const struct copying *k, struct lines *out)
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

static enum outcome job_start_quietly(struct client *c, const char *name, const char *again)
{
	struct message m;
	enum outcome outcome = client_ask(c, "job.start", client_params("name", name, "again", again, NULL),
	                                  &m);
	message_free(&m);
	return outcome;
}

/* The job is begun only when its sheet was found and read. */
enum outcome job_start_like(struct client *c, const char *name, const char *like, bool again)
{
	struct copying k = {.again = again, .rows = json_array(), .columns = json_object()};
	struct lines csv = {0};
	char file[WORDS_SIZE];
	enum outcome outcome = client_pages(c, "sheet.show", client_params("job", like, NULL), "rows",
	                                    each_copied, &k);
	if (outcome == OUTCOME_DONE && json_array_size(k.rows) == 0)
		outcome = client_wrong(c, "job %s has no sheet that could be taken over", like);
	/* Its sheet was found: now it begins, and says of which job it is the next. */
	if (outcome == OUTCOME_DONE && again)
		outcome = job_start_quietly(c, name, like);
	if (outcome == OUTCOME_DONE) {
		write_csv(&k, &csv);
		snprintf(file, sizeof file, "like job %s", like);
		json_t *params = client_params("name", file, "job", name, NULL);
		json_object_set_new(params, "text", json_string(lines_text(&csv)));
		snprintf(file, sizeof file, "started job %s with the sheet of %s", name, like);
		outcome = client_change(c, "sheet.load", params, file);
	}
	lines_free(&csv);
	json_decref(k.rows);
	json_decref(k.columns);
	return outcome;
}

/* SPDX-License-Identifier: MIT */
/*
 * What else makes a sheet: the other channel, and the sheet of another job.
 */
#include "client/command_calls.h"
#include "client/sheet_copy.h"

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

static void each_copied(struct client *c, struct slice row, struct slice result, void *arg)
{
	(void)c;
	(void)result;
	if (row.at)
		sheet_copy_row(arg, row);
}

static enum outcome job_start_quietly(struct client *c, const char *name, const char *again)
{
	struct message m;
	enum outcome outcome = client_ask(c, "job.start", client_params("name", name, "again", again, NULL),
	                                  &m);
	message_free(&m);
	return outcome;
}

/* What is known of the unit itself, for the job of its next visit. */
static enum outcome read_unit(struct client *c, const char *job, json_t **unit)
{
	struct message m;
	enum outcome outcome = client_ask(c, "job.show", client_params("job", job, NULL), &m);
	if (outcome == OUTCOME_DONE)
		*unit = sheet_copy_unit(m.result);
	message_free(&m);
	return outcome;
}

static enum outcome unit_quietly(struct client *c, json_t *unit)
{
	struct message m;
	enum outcome outcome = client_ask(c, "job.set", unit, &m);
	message_free(&m);
	return outcome;
}

/* The job is begun only when its sheet was found and read. */
enum outcome job_start_like(struct client *c, const char *name, const char *like, bool again)
{
	struct sheet_copy k;
	struct lines csv = {0};
	char file[WORDS_SIZE];
	json_t *unit = NULL;
	sheet_copy_begin(&k, again);
	enum outcome outcome = client_pages(c, "sheet.show", client_params("job", like, NULL), "rows",
	                                    each_copied, &k);
	if (outcome == OUTCOME_DONE && sheet_copy_rows(&k) == 0)
		outcome = client_wrong(c, "job %s has no sheet that could be taken over", like);
	/* Its sheet was found: now it begins, and says of which job it is the next. */
	if (outcome == OUTCOME_DONE && again)
		outcome = read_unit(c, like, &unit);
	if (outcome == OUTCOME_DONE && again)
		outcome = job_start_quietly(c, name, like);
	if (outcome == OUTCOME_DONE && unit)
		outcome = unit_quietly(c, unit);
	else
		json_decref(unit);
	if (outcome == OUTCOME_DONE) {
		sheet_copy_csv(&k, &csv);
		snprintf(file, sizeof file, "like job %s", like);
		json_t *params = client_params("name", file, "job", name, NULL);
		json_object_set_new(params, "text", json_string(lines_text(&csv)));
		snprintf(file, sizeof file, "started job %s with the sheet of %s", name, like);
		outcome = client_change(c, "sheet.load", params, file);
	}
	lines_free(&csv);
	sheet_copy_end(&k);
	return outcome;
}

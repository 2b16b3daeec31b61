/* SPDX-License-Identifier: MIT */
/* See query_gather.h. */
#include "daemon/query_gather.h"

#include "protocol/record/fit.h"

#include <stdlib.h>
#include <string.h>

static bool entry_seen(void *arg, int64_t seq, const char *text, size_t len)
{
	struct gathered *g = arg;
	struct entry e;
	if (said_of(&g->strikes, seq) || !entry_read(text, len, &e))
		return true; /* of a later version: not understood, not guessed */
	said_position(&g->moves, &g->names, seq, text, len, e.position);
	if (g->entries == g->size) {
		size_t size = g->size ? 2 * g->size : 64;
		struct entry *more = realloc(g->entry, size * sizeof *more);
		if (!more) {
			g->no_memory = true;
			return false;
		}
		g->entry = more;
		g->size = size;
	}
	g->entry[g->entries++] = e;
	return true;
}

struct of_job {
	struct gathered *g;
	const char *job;
};

static bool entry_of_job(void *arg, int64_t seq, const char *text, size_t len)
{
	struct of_job *o = arg;
	return !query_of_job(o->job, text, len) || entry_seen(o->g, seq, text, len);
}

static struct entry *entry_find(const struct gathered *g, int64_t seq)
{
	size_t low = 0, high = g->entries;
	while (low < high) {
		size_t middle = low + (high - low) / 2;
		if (g->entry[middle].seq < seq)
			low = middle + 1;
		else
			high = middle;
	}
	return low < g->entries && g->entry[low].seq == seq ? &g->entry[low] : NULL;
}

static bool gathered_has(void *arg, int64_t of)
{
	return entry_find(arg, of) != NULL;
}

/* The newest judgement of each is the one that counts. */
static void judged_now(struct gathered *g)
{
	for (size_t i = 0; i < g->entries; i++) {
		const struct said *s = said_of(&g->rejudged, g->entry[i].seq);
		struct rejudge_body body;
		if (!s || !s->text || !rejudge_body_read(s->text, s->len, &body))
			continue;
		g->entry[i].verdict = body.verdict;
		g->entry[i].service = body.service;
		if (body.has_second)
			g->entry[i].second_verdict = body.second;
	}
}

/* What replaces it; `row` is what the sheet says, the next two are room. */
static void fit_of(struct gathered_row *r, struct sheet_row *row)
{
	struct fit_body body;
	struct fault ignored;
	struct sheet_row *cells = row + 1, *over = cells + 1;
	r->fitted = r->position;
	if (!r->line->fit || !fit_body_read(r->line->fit, r->line->fit_len, &body, cells) ||
	    body.none || !fit_over(row, cells, over, &ignored))
		return;
	r->has_fit = true;
	r->fitted = over->position;
	r->fit_value = cells->written[SHEET_NOMINAL][0] && over->position.has_nominal;
	r->fit_rated = cells->written[SHEET_RATED][0] && over->position.has_rated;
	snprintf(r->tolerance, sizeof r->tolerance, "%.23s", cells->written[SHEET_TOLERANCE]);
	snprintf(r->number, sizeof r->number, "%.32s", cells->written[SHEET_PART]);
	snprintf(r->price, sizeof r->price, "%.23s", cells->written[SHEET_PRICE]);
}

static bool gather_rows(struct query *q, struct gathered *g)
{
	struct sheet_row *row = malloc(3 * sizeof *row); /* with room for fit_of */
	g->row = calloc(g->lines.n ? g->lines.n : 1, sizeof *g->row);
	for (size_t i = 0; row && g->row && i < g->lines.n; i++) {
		struct position_body body;
		struct fault ignored;
		struct gathered_row *r = &g->row[g->rows];
		/* A row that today's rules understand otherwise is left out, not guessed. */
		if (!position_body_read(g->lines.at[i].text, g->lines.at[i].len, &body, row, &ignored))
			continue;
		r->position = row->position;
		r->line = &g->lines.at[i];
		fit_of(r, row);
		g->rows++;
	}
	bool good = row && g->row;
	free(row);
	return good || query_no_memory(q);
}

/* Every entry with its position. */
static bool chain(struct query *q, struct gathered *g)
{
	g->older = calloc(g->entries ? g->entries : 1, sizeof *g->older);
	if (!g->older)
		return query_no_memory(q);
	for (int i = 0; i < g->rows; i++)
		g->row[i].newest = -1;
	for (size_t k = 0; k < g->entries; k++) {
		int i = gathered_find(g, g->entry[k].position);
		g->older[k] = i >= 0 ? g->row[i].newest : -1;
		if (i >= 0)
			g->row[i].newest = (int)k;
	}
	return true;
}

bool gather(struct query *q, const char *job, struct gathered *g)
{
	struct of_job of = { g, job };
	const struct log_query what = { .kind = "entry" };
	memset(g, 0, sizeof *g);
	if (!sheet_lines_read(q, job, &g->lines) || !names_read(q, &g->names) || !gather_rows(q, g) ||
	    !said_read(q, "strike", 0, false, NULL, NULL, &g->strikes) ||
	    !said_read(q, "move", 0, false, NULL, NULL, &g->moves) ||
	    !query_each(q, &what, entry_of_job, &of))
		return false;
	if (g->no_memory)
		return query_no_memory(q);
	if (!said_read(q, "rejudge", 0, true, gathered_has, g, &g->rejudged))
		return false;
	judged_now(g);
	return chain(q, g);
}

void gathered_free(struct gathered *g)
{
	said_free(&g->strikes);
	said_free(&g->moves);
	said_free(&g->rejudged);
	names_free(&g->names);
	sheet_lines_free(&g->lines);
	free(g->row);
	free(g->entry);
	free(g->older);
	memset(g, 0, sizeof *g);
}

int gathered_find(const struct gathered *g, const char *position)
{
	for (int i = 0; position[0] && i < g->rows; i++)
		if (strcmp(g->row[i].position.name, position) == 0)
			return i;
	return -1;
}

bool gathered_cell(const struct gathered_row *row, const char *column, char *out, size_t size)
{
	struct slice sheet = json_member(row->line->text, row->line->len, "sheet");
	struct slice extra = json_member(sheet.at, sheet.len, "extra"), key, value;
	out[0] = '\0';
	for (size_t cursor = 0; extra.at && json_next_member(extra, &cursor, &key, &value);) {
		bool named = key.len == strlen(column);
		for (size_t i = 0; named && i < key.len; i++)
			named = (key.at[i] | 0x20) == (column[i] | 0x20);
		if (named)
			json_text(value, out, size);
	}
	return out[0] != '\0';
}

/* SPDX-License-Identifier: MIT */
/*
 * What is fitted at a position now, and by whose specification an entry is judged.
 *
 *     condition   against tolerance                         against service
 *     found       the sheet: what was there                 the sheet, always: it is the
 *     new, done   the fit; the sheet while none is known    place that has to live with it
 *
 * An entry of condition new or done says which of the two it was (`against`).
 */
#include "daemon/bench_inside.h"

#include <stdlib.h>
#include <string.h>

#define PART_PLACES_MAX 16 /* of one part that is fitted by its name */

/* ---- judging ---- */

void entry_judge_by(const struct position *sheet, const struct position *fit, struct entry *e)
{
	e->against = e->condition == CONDITION_FOUND ? AGAINST_NOTHING
	             : fit                           ? AGAINST_FIT
	                                             : AGAINST_SHEET;
	entry_judge(sheet, e);
	if (e->against == AGAINST_FIT) {
		struct verdict service = e->service;
		entry_judge(fit, e);
		e->service = service;
	}
	verdicts_advise(&e->verdict, &e->service);
}

static const struct position *fitted(const struct bench *b, int place)
{
	const struct bench_fit *fit = b->position[place].fit;
	return fit ? &fit->position : NULL;
}

void entry_judge_at(const struct bench *b, int place, struct entry *e)
{
	entry_judge_by(&b->position[place].row.position, fitted(b, place), e);
}

/* What is expected there of a part in that condition: by the fit, else by the sheet. */
static const struct position *position_as(const struct bench *b, int place, enum condition condition)
{
	const struct position *fit = condition == CONDITION_FOUND ? NULL : fitted(b, place);
	return fit ? fit : &b->position[place].row.position;
}

const struct position *position_now(const struct bench *b, int place)
{
	return position_as(b, place, b->condition);
}

/* ---- in memory ---- */

void fit_free(struct bench_position *p)
{
	free(p->fit);
	p->fit = NULL;
}

void fit_refresh(struct bench_position *p)
{
	struct sheet_row over;
	struct fault ignored;
	if (p->fit && fit_over(&p->row, &p->fit->cells, &over, &ignored))
		p->fit->position = over.position;
}

bool fit_check(const struct bench *b, int place, const struct sheet_row *row, struct fault *why)
{
	struct sheet_row over;
	struct fault said = {.text = ""};
	if (place < 0 || !b->position[place].fit ||
	    fit_over(row, &b->position[place].fit->cells, &over, &said))
		return true;
	fault_set(why, "%s: that does not go with what is fitted there (%s); take the fit back first "
	          "(sheet fit %s none)", row->position.name, said.text, row->position.name);
	return false;
}

/* `cells` NULL: nothing is fitted there. */
static bool fit_apply(struct bench *b, int place, const struct sheet_row *cells)
{
	struct bench_position *p = &b->position[place];
	if (!cells) {
		fit_free(p);
		return true;
	}
	if (!p->fit && !(p->fit = calloc(1, sizeof *p->fit)))
		return false;
	p->fit->cells = *cells;
	p->fit->position = p->row.position;
	fit_refresh(p);
	return true;
}

bool fit_restore(struct bench *b, const char *text, size_t len)
{
	struct fit_body body;
	struct sheet_row cells;
	if (!fit_body_read(text, len, &body, &cells))
		return true; /* of a later version: not understood, not guessed */
	int place = position_find(b, body.position);
	return place < 0 || fit_apply(b, place, body.none ? NULL : &cells);
}

/* ---- by hand ---- */

static bool read_fields(const struct bench *b, int place, const char *const *key,
                        const char *const *value, int fields, struct sheet_row *cells,
                        struct fault *why)
{
	const struct bench_position *p = &b->position[place];
	*cells = p->fit ? p->fit->cells : (struct sheet_row){0};
	/* The kind first: what the others mean depends on it. */
	for (int pass = 0; pass < 2; pass++)
		for (int i = 0; i < fields; i++) {
			struct fault said = {.text = ""};
			if ((strcmp(key[i], "kind") == 0) != (pass == 0))
				continue;
			if (fit_set(cells, &p->row, key[i], value[i], &said))
				continue;
			if (said.column)
				fault_set(why, "%s %s=%s, byte %d: %s", p->row.position.name, key[i], value[i],
				          said.column, said.text);
			else
				fault_set(why, "%s %s=%s: %s", p->row.position.name, key[i], value[i], said.text);
			return false;
		}
	return true;
}

/* What is fitted at one place, or at each of a part's. */
struct fitting {
	int place;
	bool none;
	struct sheet_row cells, over;
};

static void put_record(struct bench *b, int64_t t, struct fitting *f, struct record_ref lot,
                       struct records *r)
{
	struct bench_position *p = &b->position[f->place];
	struct fit_body fit = {.fit = f->none ? NULL : &f->cells, .before = p->fit ? &p->fit->cells : NULL,
	                       .sheet = &p->row, .over = &f->over, .lot = lot, .by = b->by};
	struct text body;
	memcpy(fit.job, b->job, sizeof fit.job);
	memcpy(fit.position, p->row.position.name, sizeof fit.position);
	text_begin(&body, b->body, BENCH_BODY_SIZE);
	fit_body_write(&body, &fit);
	records_add(b, r, t, "fit", &body);
}

/* One transaction: a part is fitted as a whole or not at all. */
static bool put(struct bench *b, int64_t t, struct fitting *f, int count, struct record_ref lot,
                struct bench_wait w, struct fault *why)
{
	struct records r = {0};
	bool chosen = false;
	for (int i = 0; i < count; i++)
		if (!f[i].none && !fit_over(&b->position[f[i].place].row, &f[i].cells, &f[i].over, why))
			return false;
	for (int i = 0; i < count; i++)
		put_record(b, t, &f[i], lot, &r);
	for (int i = 0; i < count; i++)
		records_rejudge(b, &r, t, f[i].place, &b->position[f[i].place].row,
		                f[i].none ? NULL : &f[i].over.position, "fit");
	bool good = records_put(b, &r, count - 1, w, why);
	for (int i = 0; good && i < count; i++) {
		good = fit_apply(b, f[i].place, f[i].none ? NULL : &f[i].cells);
		if (!good)
			fault_set(why, "out of memory");
		chosen = chosen || f[i].place == b->chosen;
	}
	if (good) {
		records_judged(b, &r, t);
		walk_expect(b);
		if (chosen && b->condition != CONDITION_FOUND)
			walk_announce(b);
	}
	records_free(&r);
	return good;
}

bool fit_part(struct bench *b, int64_t t, const char *position, const char *note,
              struct record_ref lot, struct fault *why)
{
	struct fitting f = {.place = position_find(b, position)};
	const char *key = "note";
	if (f.place >= 0)
		return read_fields(b, f.place, &key, &note, 1, &f.cells, why) &&
		       put(b, t, &f, 1, lot, (struct bench_wait){0}, why);
	fault_set(why, "%.40s is not in the sheet any more", position);
	return false;
}

/* The position of that name, else those of the part of that name (a can, a double valve);
 * how many, 0 for none. */
static int places_meant(const struct bench *b, const char *name, int place[PART_PLACES_MAX],
                        struct fault *why)
{
	int count = 0;
	place[0] = position_meant(b, name);
	if (place[0] >= 0)
		return 1;
	/* What a recording can say: a part whose name is none goes by its positions. */
	for (int i = 0; i < b->positions && name_valid(name, strlen(name)); i++) {
		if (strcmp(b->position[i].row.position.part, name) != 0)
			continue;
		if (count == PART_PLACES_MAX) {
			fault_set(why, "the part %.40s has more than %d positions: fit them one by one", name,
			          PART_PLACES_MAX);
			return 0;
		}
		place[count++] = i;
	}
	if (!count)
		fault_set(why, "%.40s is not in the sheet: a part is fitted at a position that is there, or "
		          "at all of its own by the part's name", name);
	return count;
}

static bool fit_all(struct bench *b, int64_t t, const int *place, int count, const char *const *key,
                    const char *const *value, int fields, struct bench_wait w, struct fault *why)
{
	struct fitting *f = calloc((size_t)count, sizeof *f);
	int n = 0;
	bool good = f != NULL;
	if (!good)
		fault_set(why, "out of memory");
	for (int i = 0; good && i < count; i++) {
		struct fitting *one = &f[n];
		one->place = place[i];
		good = !fields || read_fields(b, place[i], key, value, fields, &one->cells, why);
		one->none = !fields || (good && fit_empty(&one->cells));
		n += !one->none || b->position[place[i]].fit;
	}
	if (good && !n) {
		fault_set(why, "nothing else than the sheet says is fitted at %s: there is no fit to take "
		          "back", b->position[place[0]].row.position.name);
		good = false;
	}
	good = good && put(b, t, f, n, (struct record_ref){0}, w, why);
	free(f);
	return good;
}

bool bench_sheet_fit(struct bench *b, int64_t t, const char *position, const char *const *key,
                     const char *const *value, int fields, struct bench_wait w, struct fault *why)
{
	int place[PART_PLACES_MAX];
	bench_run_until(b, t);
	int count = places_meant(b, position, place, why);
	if (!count || !fit_all(b, t, place, count, key, value, fields, w, why))
		return false;
	/* The part by its own name, which a recording says as well. */
	bool by_part = position_meant(b, position) < 0;
	sheet_act_taped(b, t, "fit", by_part ? position : b->position[place[0]].row.position.name, key,
	                value, fields);
	return true;
}

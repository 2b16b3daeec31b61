/* SPDX-License-Identifier: MIT */
/*
 * Pictures: what the daemon said, as lines for people.
 *
 * Pure: JSON texts and a style go in, lines come out; the tests keep such pictures.
 * The JSON must have been found valid (link.c does that).  A member that is not
 * there leaves its place empty; nothing is made up for it.
 */
#ifndef TALLY_CLIENT_VIEW_H
#define TALLY_CLIENT_VIEW_H

#include "client/table.h"

/* ---- records as they are made (watch, take, enter) ---- */

/* One line a record, in plain words; the kinds that the trade knows by name, others
 * by their members. */
void view_record(const struct style *style, struct slice record, struct lines *out);
/* One line an event; nothing for `logged`, whose record comes anyway. */
void view_event(const struct style *style, struct slice event, struct lines *out);
/* One line a frame of `meters raw`. */
void view_frame(const struct style *style, struct slice frame, struct lines *out);

/* ---- entries ---- */

/* Filled page by page, then printed; counts for the last line. */
struct view_entries {
	struct table table;
	int entries, within, outside, unsure, unjudged, struck;
};
void view_entries_begin(struct view_entries *v);
/* `element`: {"record": ..., "struck": false or {...}}. */
void view_entries_add(struct view_entries *v, const struct style *style, struct slice element);
void view_entries_print(struct view_entries *v, const struct style *style, struct lines *out);
void view_entries_end(struct view_entries *v);

/* ---- budgets of entries (view_budget.c) ---- */

struct entry;
struct text;
/* `shown`: the value as the record shows it. */
void view_budget(const struct style *style, const struct entry *e, const char *shown,
                 struct lines *out);
void view_budget_json(const struct entry *e, const char *shown, struct text *out);

/* Verdict in words with its side and reason: for lines and remarks. */
void view_remark(const struct style *style, struct slice entry, struct slice struck,
                 struct lines *out);
enum table_mark view_mark(struct slice entry);

/* ---- jobs and sheets, page by page too ---- */

struct view_list {
	struct table table;
	char job[64];   /* of a sheet */
	char next[80];  /* of a sheet: the first position without an entry */
	int rows, done;
};
void view_jobs_begin(struct view_list *v);
void view_jobs_add(struct view_list *v, const struct style *style, struct slice job);
void view_jobs_print(struct view_list *v, const struct style *style, struct lines *out);
void view_sheet_begin(struct view_list *v);
void view_sheet_add(struct view_list *v, const struct style *style, struct slice row);
void view_sheet_print(struct view_list *v, const struct style *style, struct lines *out);
/* "leakage, esr or dissipation not measured" of the member `missing`, after `before`; nothing
 * where nothing is, or `before` is NULL. */
void view_missing(struct slice of, const char *before, struct lines *out);
/* The result of sheet.missing: what each position and each part still must show. */
void view_sheet_missing(const struct style *style, struct slice result, struct lines *out);
void view_list_end(struct view_list *v);

/* ---- the others: the result of the method of that name ---- */

void view_meters(const struct style *style, struct slice result, struct lines *out);
/* A bench without meters: what to do next, from the result of `doctor`.  reloads: the daemon
 * takes a new configuration while it runs. */
void view_first_meter(const struct style *style, struct slice doctor, bool reloads,
                      struct lines *out);
/* `meter`: that one alone, NULL for all.  `socket_why`: why no daemon was asked, "" where
 * one was. */
void view_doctor(const struct style *style, struct slice result, const char *meter,
                 const char *socket_why, struct lines *out);
/* The meters that are held to a position (member `bound`), one a line. */
void view_bound(const struct style *style, struct slice result, struct lines *out);
/* Elements of `beside`: then, now, the change. */
void view_beside_begin(struct view_list *v);
void view_beside_add(struct view_list *v, const struct style *style, struct slice element);
void view_beside_print(struct view_list *v, const struct style *style, struct lines *out);
/* One of them in words: "last time 0.101 uF done, lifted; now +12 % +-2 %". */
void view_before(const struct style *style, struct slice element, char *out, size_t size);
/* What `job.ready` says, cautions first, and `how` the person says that it was looked at; true
 * where nothing stands in the way. */
bool view_ready(const struct style *style, struct slice result, const char *how,
                struct lines *out);
/* The cells of its identity, one a line; and the same as a few words. */
void view_unit(const struct style *style, struct slice job, struct lines *out);
void view_unit_line(struct slice job, struct lines *out);
void view_job(const struct style *style, struct slice result, struct lines *out);
/* Twins that are proposed; `how` the person accepts them. */
void view_twins(const struct style *style, struct slice result, struct lines *out);
void view_twins_how(const struct style *style, struct slice result, const char *how,
                    struct lines *out);
/* A note (an element of `notes` or `photos`) as one line. */
void view_note(const struct style *style, struct slice element, struct lines *out);
/* Cold, or which reservoirs are still to be measured dead (of `status`). */
void view_safe(const struct style *style, struct slice status, struct lines *out);
void view_chosen(const struct style *style, struct slice chosen, struct lines *out);
/* The member `service` of `status`: one screen; true where nothing is wrong (view_service.c).
 * danger: an alarm goes on, which stands above already. */
bool view_service(const struct style *style, struct slice service, bool danger, struct lines *out);
/* What came of a reload. */
void view_reload(const struct style *style, struct slice result, struct lines *out);
void view_status(const struct style *style, struct slice result, struct lines *out);
/* *disagree: cross-checks that disagree. */
void view_compare(const struct style *style, struct slice result, int *disagree,
                  struct lines *out);
/* What to replace, to buy, to look at again (view_plan.c). */
enum plan_part { PLAN_ROUNDS, PLAN_ORDER, PLAN_LOOK };
void view_plan(const struct style *style, struct slice result, enum plan_part part, bool csv,
               struct lines *out);
void view_places(const struct style *style, struct slice result, struct lines *out);
/* `what`: "the log of bench north" or a file; anchor "" for none; pinned: the
 * fingerprint of its key was given. */
void view_verify(const struct style *style, struct slice result, const char *what,
                 const char *anchor, bool pinned, struct lines *out);

#endif

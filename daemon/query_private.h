/* SPDX-License-Identifier: MIT */
/*
 * What the files of the questions share.  For query*.c only.
 *
 *     query.c          the table of methods; records and verify
 *     query_export.c   records with their hashes, and the answer about an export
 *     query_said.c     what was said of entries afterwards: strikes, moves, rejudgements
 *     query_entries.c  entries
 *     query_names.c    what a position is called now
 *     query_valves.c   which valve was in a socket
 *     query_job.c      jobs
 *     query_identity.c which unit a job is about
 *     query_ready.c    what stands in the way of the power
 *     query_again.c    an earlier job of the same unit, beside this one
 *     query_parts.c    loose parts of lots
 *     query_notes.c    notes, and the photos that they name
 *     query_sheet.c    sheets
 *     query_compare.c  meter against meter
 *     query_twins.c    twin against twin
 *     query_references.c three meters together, and reference parts
 *     query_gather.c   all that a job knows of its parts
 *     query_plan.c     what to replace, to buy, to measure again
 *     query_places.c   what parts do in their place (query_places_*.c)
 *     query_trail.c    the trail, and pictures of it
 */
#ifndef TALLY_QUERY_PRIVATE_H
#define TALLY_QUERY_PRIVATE_H

#include "daemon/query.h"
#include "daemon/query_answer.h"
#include "daemon/query_params.h"
#include "protocol/record/record.h"
#include "protocol/record/wire.h"
#include "protocol/trade/entry.h"
#include "protocol/trade/part.h"

/* Elements of a list where no `limit` is given, and at most. */
#define QUERY_LIMIT 1000
#define QUERY_LIMIT_MAX 100000

/* The job named so stands for all of them. */
#define QUERY_ALL_JOBS "*"

/* One question on its way. */
struct query {
	struct log_reader *reader;
	const struct log_going *going; /* with an export; a reader has its own */
	const char *export; /* instead of it: the path of an export; only verify looks there */
	struct answer out;
	int code; /* where it fails */
	struct fault *why;
};

/* A refusal: sets the code, returns false. */
bool query_refuse(struct query *q, int code);
bool query_no_memory(struct query *q);
/* Read records; false where the log cannot be read. */
bool query_each(struct query *q, const struct log_query *what,
                bool (*each)(void *arg, int64_t seq, const char *text, size_t len), void *arg);

/* ---- lists: `after`, `limit`, and the end of an answer ---- */

struct page_bounds {
	int64_t after, limit;
};
bool query_bounds(struct query *q, const char *method, const struct page_bounds *bounds);
/* Is there room for so many bytes more and the end of the answer? */
bool query_room(const struct query *q, size_t len);
/* ,"more":true,"next":SEQ or ,"more":false */
void query_more(struct query *q, bool more, int64_t next);

/* An `each` of the log's readers: record texts as they stand into the list that is open in
 * q->out, while there is room and the limit lets them. */
struct record_page {
	struct query *q;
	int64_t left, last; /* records that may still come; seq of the last that did */
	bool more;
};
bool record_page_add(void *page, int64_t seq, const char *text, size_t len);

/* ---- what was said of entries afterwards ---- */

struct said {
	int64_t of, seq;
	char position[NAME_SIZE]; /* of a move: where the entry belongs; else "" */
	char *text;               /* of the record, where it was kept */
	size_t len;
};
struct said_list {
	struct said *at; /* by `of`, then by seq */
	size_t n, size;
};
/* Read the records of a kind (strike, move, rejudge) with a seq above `after`.
 * `wanted` (NULL for all) chooses by the entry; `keep` keeps their texts. */
bool said_read(struct query *q, const char *kind, int64_t after, bool keep,
               bool (*wanted)(void *arg, int64_t of), void *arg, struct said_list *out);
void said_free(struct said_list *list);
/* The newest that was said of this entry, NULL for none. */
const struct said *said_of(const struct said_list *list, int64_t of);
/* ---- what positions are called now ---- */

struct renamed {
	int64_t seq;
	char job[JOB_SIZE];
	char from[NAME_SIZE], to[NAME_SIZE];
	char *text; /* of the record */
	size_t len;
};
/* Which job is open from a record on. */
struct since {
	int64_t seq;
	char job[JOB_SIZE]; /* "" for none */
};
struct names {
	struct renamed *at; /* in order of seq */
	size_t n, size;
	struct since *jobs; /* the same; read with the renames, where there are any */
	size_t job_count, job_size;
};
bool names_read(struct query *q, struct names *out);
void names_free(struct names *names);
/* What the position that record `seq` of that job calls `name` is called now.  The last
 * rename that it took, NULL for none. */
const struct renamed *names_follow(const struct names *names, const char *job, int64_t seq,
                                   char name[NAME_SIZE]);
/* The same of the record `seq`, in the job that was open then. */
void names_at(const struct names *names, int64_t seq, char name[NAME_SIZE]);
/* Where the entry `seq` belongs: where it was moved last, else where it says, by the name
 * that the position has now. */
const struct renamed *said_position(const struct said_list *moves, const struct names *names,
                                    int64_t seq, const char *text, size_t len,
                                    char out[NAME_SIZE]);

/* ---- which valve was in a socket ---- */

struct valve_line {
	int64_t seq; /* of the position record */
	char job[JOB_SIZE], position[NAME_SIZE]; /* by the name that it has now */
	char valve[NAME_SIZE]; /* from there on; "" for none */
};
struct valves {
	struct valve_line *at; /* in order of seq */
	size_t n, size;
};
bool valves_read(struct query *q, const struct names *names, struct valves *out);
void valves_free(struct valves *valves);
/* Was the entry `seq` made of that valve?  As it says; one that was moved, of the valve that
 * was then in the socket where it belongs. */
bool valves_has(const struct valves *valves, const struct said_list *moves,
                const struct names *names, int64_t seq, const char *text, size_t len,
                const char *valve);

/* ---- jobs ---- */

/* The job that a question is about: the one asked for (which must be there), else
 * the one started last.  "" where the log knows no job, or, if `all` may be asked
 * for, for "*": then records of every job count. */
bool query_job(struct query *q, const char *asked, bool all, char out[JOB_SIZE]);
/* Is the record of this job ("" stands for any)? */
bool query_of_job(const char *job, const char *text, size_t len);

/* Every entry of the job ("": of all) that is not struck, where it belongs now. */
bool entries_count(struct query *q, const char *job,
                   void (*count)(void *arg, const char *job, const char *position, const char *text,
                                 size_t len),
                   void *arg);

/* ---- which unit a job is about ---- */

struct identity_body;
struct job_identity;
/* Every identity record of the log, in order; `body` is valid during the call. */
bool identities_read(struct query *q, void (*each)(void *arg, const struct identity_body *body),
                     void *arg);
/* ,"identity": and what is known, null for NULL. */
void identity_answer(struct answer *out, const struct job_identity *id);

/* ---- the methods ---- */

bool query_records(struct query *q, json_t *params);
bool query_verify(struct query *q, json_t *params);
bool query_backup(struct query *q, json_t *params);
bool query_export(struct query *q, json_t *params);
/* What verification found, as the answer of `verify`. */
void query_check(struct query *q, const struct log_check *check);
bool query_entries(struct query *q, json_t *params);
bool query_job_list(struct query *q, json_t *params);
bool query_job_show(struct query *q, json_t *params);
bool query_job_ready(struct query *q, json_t *params);
bool query_sheet_show(struct query *q, json_t *params);
bool query_notes(struct query *q, json_t *params);
bool query_parts(struct query *q, json_t *params);
bool query_photos(struct query *q, json_t *params);
bool query_photo_read(struct query *q, json_t *params);
/* The photos of all notes, beside another log; how many were not good here, or could not be
 * copied. */
bool photos_backup(struct query *q, const char *to, int64_t *copied, int64_t *lost);
bool query_sheet_missing(struct query *q, json_t *params);
bool query_compare(struct query *q, json_t *params);
bool query_beside(struct query *q, json_t *params);
bool query_plan(struct query *q, json_t *params);
bool query_places(struct query *q, json_t *params);
bool query_trail(struct query *q, json_t *params);
bool query_trail_lines(struct query *q, json_t *params);
bool query_trail_envelope(struct query *q, json_t *params);

/* The rows of a job's sheet, in the order in which the positions first came. */
struct sheet_line {
	char position[NAME_SIZE];
	int64_t first, seq; /* of the record that named it first, of the one that counts */
	char *text;         /* of the latter */
	size_t len;
	char *fit;          /* text of the last fit record, NULL where nothing is fitted */
	size_t fit_len;
	int64_t entries;    /* that are not struck; see sheet_lines_count */
	unsigned seen[CONDITION_COUNT]; /* PART_BIT of the quantities that they are of */
	int64_t guided;     /* the guided run that judged its leakage last, 0 for none */
};
struct sheet_lines {
	struct sheet_line *at;
	size_t *by_name; /* indices into at, by position */
	size_t n, size;
};
bool sheet_lines_read(struct query *q, const char *job, struct sheet_lines *out);
struct sheet_line *sheet_lines_find(const struct sheet_lines *lines, const char *position);
void sheet_lines_free(struct sheet_lines *lines);

#endif

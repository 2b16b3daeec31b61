/* SPDX-License-Identifier: MIT */
/*
 * Inside this room only: what the writers and readers of several kinds share.
 */
#ifndef TALLY_RECORD_KINDS_H
#define TALLY_RECORD_KINDS_H

#include "protocol/record/record.h"

bool record_is(const char *text, size_t len, const char *kind);

/* The string at `path`, "" and false where there is none. */
bool member_string(const char *text, size_t len, const char *path, char *out, size_t size);
void member_set(struct text *out, const char *key, const char *value);     /* NULL, "": left out */
void member_or_null(struct text *out, const char *key, const char *value); /* NULL, "": null */

/* Parts of an entry that other kinds have, too (record_entry.c). */
void entry_value_write(struct text *out, const struct entry *e);
void entry_refer_write(struct text *out, const struct entry *e);
void entry_beside_write(struct text *out, const struct entry_beside *beside);

void asked_by_write(struct text *out, const struct asked_by *by);
void asked_by_read(const char *text, size_t len, struct asked_by *by);

void limits_write(struct text *out, const char *key, const struct limits *l);

/* verdict side reason deviation probability limits assumed other why, and the same
 * under `service`. */
void verdicts_write(struct text *out, const struct verdict *tolerance,
                    const struct verdict *service);
/* Those of one verdict alone, each with its leading comma. */
void verdict_write(struct text *out, const struct verdict *v);
bool verdict_read(const char *text, size_t len, struct verdict *v);
bool verdicts_read(const char *text, size_t len, struct verdict *tolerance,
                   struct verdict *service);

/* The member `against`, left out for AGAINST_NOTHING. */
void against_write(struct text *out, enum against against);
enum against against_read(const char *text, size_t len);

#endif

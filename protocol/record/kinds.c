/* SPDX-License-Identifier: MIT */
/*
 * The smaller kinds of records, written and read: see record.h and
 * protocol/SEAL.md.
 */
#include "protocol/record/kinds.h"

#include "protocol/record/seal.h"

#include <string.h>

/* ---- log, clock ---- */

void log_body_write(struct text *out, const struct log_body *b)
{
	char hex[SEAL_HEX_SIZE];
	text_member_string(out, "format", "tally-record-1");
	seal_hex(b->identity, sizeof b->identity, hex);
	text_member_string(out, "identity", hex);
	member_or_null(out, "bench", b->bench);
	member_or_null(out, "version", b->version);
	if (b->key)
		seal_hex(b->key, 32, hex);
	text_member_string(out, "key", b->key ? hex : NULL);
}

void clock_body_write(struct text *out, const struct clock_body *b)
{
	member_or_null(out, "boot", b->boot);
	member_or_null(out, "cause", b->cause);
	member_or_null(out, "version", b->version);
	if (b->step)
		text_member_decimal(out, "step", decimal_strip((struct decimal){b->step, -6}));
}

/* ---- job ---- */

static const char *const job_changes[] = {
#define X(id, name) name,
    JOB_CHANGE_LIST(X)
#undef X
};

static const char *const position_changes[] = {
#define X(id, name) name,
    POSITION_CHANGE_LIST(X)
#undef X
};

/* The index of the word in a list of `count`, -1 where it is none of them. */
static int word_index(struct slice s, const char *const *words, int count)
{
	for (int i = 0; i < count; i++)
		if (json_is(s, words[i]))
			return i;
	return -1;
}

void job_body_write(struct text *out, const struct job_body *b)
{
	text_member_string(out, "job", b->job);
	text_member_string(out, "state", job_changes[b->change]);
	text_member_bool(out, "open", b->open);
	text_member_string(out, "unit", b->live ? "live" : "cold");
	text_member_string(out, "condition", condition_name(b->condition));
	text_member_string(out, "reach", reach_name(b->reach));
	member_set(out, "because", b->because);
	member_set(out, "position", b->position);
	member_set(out, "again", b->again);
	asked_by_write(out, &b->by);
}

bool job_body_read(const char *text, size_t len, struct job_body *b)
{
	char word[32];
	*b = (struct job_body){0};
	int change = word_index(json_member(text, len, "state"), job_changes, JOB_CHANGE_COUNT);
	if (!record_is(text, len, "job") || change < 0 ||
	    !member_string(text, len, "job", b->job, sizeof b->job) ||
	    !member_string(text, len, "condition", word, sizeof word) ||
	    !condition_from_name(word, strlen(word), &b->condition) ||
	    !member_string(text, len, "reach", word, sizeof word) ||
	    !reach_from_name(word, strlen(word), &b->reach))
		return false;
	b->change = (enum job_change)change;
	b->open = json_bool(json_member(text, len, "open"), false);
	b->live = json_is(json_member(text, len, "unit"), "live");
	member_string(text, len, "because", b->because, sizeof b->because);
	member_string(text, len, "position", b->position, sizeof b->position);
	member_string(text, len, "again", b->again, sizeof b->again);
	asked_by_read(text, len, &b->by);
	return true;
}

/* ---- sheet, position ---- */

void sheet_body_write(struct text *out, const struct sheet_body *b)
{
	text_member_string(out, "job", b->job);
	member_or_null(out, "file", b->file);
	text_member_int(out, "count", b->count);
	asked_by_write(out, &b->by);
}

bool sheet_body_read(const char *text, size_t len, struct sheet_body *b)
{
	*b = (struct sheet_body){0};
	member_string(text, len, "file", b->file, sizeof b->file);
	asked_by_read(text, len, &b->by);
	return record_is(text, len, "sheet") &&
	       member_string(text, len, "job", b->job, sizeof b->job) &&
	       json_int(json_member(text, len, "count"), &b->count);
}

void position_body_write(struct text *out, const struct position_body *b)
{
	text_member_string(out, "job", b->job);
	text_member_string(out, "position", b->row->position.name);
	text_member_string(out, "change", position_changes[b->change]);
	text_member(out, "sheet");
	sheet_row_write(out, b->row);
	asked_by_write(out, &b->by);
}

bool position_body_read(const char *text, size_t len, struct position_body *b,
                        struct sheet_row *row, struct fault *why)
{
	*b = (struct position_body){0};
	int change = word_index(json_member(text, len, "change"), position_changes,
	                        POSITION_CHANGE_COUNT);
	if (!record_is(text, len, "position") || change < 0 ||
	    !member_string(text, len, "job", b->job, sizeof b->job)) {
		fault_set(why, "not a position record");
		return false;
	}
	b->change = (enum position_change)change;
	asked_by_read(text, len, &b->by);
	return sheet_row_read(json_member(text, len, "sheet"), row, why);
}

/* ---- rejudge, strike, move: what is said of an entry ---- */

/* `kind`, and a seq under `of`. */
static bool of_read(const char *text, size_t len, const char *kind, int64_t *of)
{
	return record_is(text, len, kind) && json_int(json_member(text, len, "of"), of) && *of >= 1;
}

void rejudge_body_write(struct text *out, const struct rejudge_body *b)
{
	text_member_int(out, "of", b->of);
	member_set(out, "job", b->job);
	text_member_string(out, "position", b->position);
	member_or_null(out, "because", b->because);
	verdicts_write(out, &b->verdict, &b->service);
	if (b->has_second) {
		text_member(out, "second");
		size_t at = out->len;
		verdict_write(out, &b->second);
		/* The first member's comma becomes the brace. */
		if (!out->failed)
			out->bytes[at] = '{';
		text_add(out, "}", 1);
	}
	against_write(out, b->against);
	asked_by_write(out, &b->by);
}

bool rejudge_body_read(const char *text, size_t len, struct rejudge_body *b)
{
	*b = (struct rejudge_body){0};
	member_string(text, len, "job", b->job, sizeof b->job);
	member_string(text, len, "position", b->position, sizeof b->position);
	member_string(text, len, "because", b->because, sizeof b->because);
	b->against = against_read(text, len);
	asked_by_read(text, len, &b->by);
	struct slice second = json_member(text, len, "second");
	b->has_second = second.at && *second.at == '{' &&
	                verdict_read(second.at, second.len, &b->second);
	return of_read(text, len, "rejudge", &b->of) &&
	       verdicts_read(text, len, &b->verdict, &b->service);
}

void strike_body_write(struct text *out, const struct strike_body *b)
{
	text_member_int(out, "of", b->of);
	member_set(out, "job", b->job);
	member_set(out, "position", b->position);
	member_or_null(out, "because", b->because);
	asked_by_write(out, &b->by);
}

bool strike_body_read(const char *text, size_t len, struct strike_body *b)
{
	*b = (struct strike_body){0};
	member_string(text, len, "job", b->job, sizeof b->job);
	member_string(text, len, "position", b->position, sizeof b->position);
	member_string(text, len, "because", b->because, sizeof b->because);
	asked_by_read(text, len, &b->by);
	return of_read(text, len, "strike", &b->of);
}

void move_body_write(struct text *out, const struct move_body *b)
{
	text_member_int(out, "of", b->of);
	member_set(out, "job", b->job);
	text_member_string(out, "position", b->position);
	member_or_null(out, "from", b->from);
	member_or_null(out, "because", b->because);
	asked_by_write(out, &b->by);
}

bool move_body_read(const char *text, size_t len, struct move_body *b)
{
	*b = (struct move_body){0};
	member_string(text, len, "job", b->job, sizeof b->job);
	member_string(text, len, "from", b->from, sizeof b->from);
	member_string(text, len, "because", b->because, sizeof b->because);
	asked_by_read(text, len, &b->by);
	return of_read(text, len, "move", &b->of) &&
	       member_string(text, len, "position", b->position, sizeof b->position);
}

/* ---- note ---- */

void alarm_body_write(struct text *out, const struct alarm_body *b)
{
	member_set(out, "job", b->job);
	text_member_string(out, "alarm", b->alarm);
	member_or_null(out, "meter", b->meter);
	member_or_null(out, "position", b->position);
	text_member_bool(out, "on", b->on);
	text_member_string(out, "text", b->what);
}

void note_body_write(struct text *out, const struct note_body *b)
{
	member_set(out, "job", b->job);
	member_or_null(out, "position", b->position);
	text_member_string(out, "text", b->note);
	if (b->photo.hash[0]) {
		text_member(out, "photo");
		text_printf(out, "{\"hash\":\"%s\"", b->photo.hash);
		text_member_int(out, "size", b->photo.size);
		text_member_string(out, "type", b->photo.type);
		text_member_string(out, "name", b->photo.name);
		text_puts(out, "}");
	}
	asked_by_write(out, &b->by);
}

bool note_body_read(const char *text, size_t len, struct note_body *b)
{
	*b = (struct note_body){0};
	member_string(text, len, "job", b->job, sizeof b->job);
	member_string(text, len, "position", b->position, sizeof b->position);
	member_string(text, len, "photo.hash", b->photo.hash, sizeof b->photo.hash);
	member_string(text, len, "photo.name", b->photo.name, sizeof b->photo.name);
	member_string(text, len, "photo.type", b->photo.type, sizeof b->photo.type);
	json_int(json_member(text, len, "photo.size"), &b->photo.size);
	asked_by_read(text, len, &b->by);
	return record_is(text, len, "note") &&
	       member_string(text, len, "text", b->note, sizeof b->note);
}

/* ---- meter, gap ---- */

void meter_body_write(struct text *out, const struct meter_body *b)
{
	text_member_string(out, "meter", b->meter);
	member_or_null(out, "dialect", b->dialect);
	member_or_null(out, "state", b->state);
	member_or_null(out, "identity", b->identity);
	if (b->identity && b->identity[0]) {
		member_or_null(out, "maker", b->maker);
		member_or_null(out, "model", b->model);
		member_or_null(out, "serial", b->serial);
		member_or_null(out, "firmware", b->firmware);
	}
	member_or_null(out, "accuracy", b->accuracy);
	if (b->stamp_u > 0)
		text_member_real(out, "stamp_u", b->stamp_u);
	use_write(out, b->use);
	member_set(out, "cause", b->cause);
}

void gap_body_write(struct text *out, const struct gap_body *b)
{
	text_member_string(out, "meter", b->meter);
	text_member(out, "from");
	text_time(out, b->from);
	text_member(out, "to");
	text_time(out, b->to);
	member_or_null(out, "cause", b->cause);
	if (b->lost >= 0)
		text_member_int(out, "lost", b->lost);
	else
		text_member_null(out, "lost");
}

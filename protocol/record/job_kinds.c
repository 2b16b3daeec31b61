/* SPDX-License-Identifier: MIT */
/* See job_kinds.h; the members stand in protocol/SEAL.md. */
#include "protocol/record/job_kinds.h"

#include "protocol/record/kinds.h"

#include <stdio.h>
#include <string.h>

/* ---- bind ---- */

void bind_body_write(struct text *out, const struct bind_body *b)
{
	text_member_string(out, "job", b->job);
	text_member_string(out, "meter", b->meter);
	member_or_null(out, "position", b->position);
	if (b->position[0])
		text_member_string(out, "quantity", quantity_name(b->quantity));
	asked_by_write(out, &b->by);
}

bool bind_body_read(const char *text, size_t len, struct bind_body *b)
{
	char word[32];
	*b = (struct bind_body){0};
	asked_by_read(text, len, &b->by);
	if (!record_is(text, len, "bind") || !member_string(text, len, "job", b->job, sizeof b->job) ||
	    !member_string(text, len, "meter", b->meter, sizeof b->meter))
		return false;
	if (!member_string(text, len, "position", b->position, sizeof b->position))
		return json_absent(json_member(text, len, "position"));
	return member_string(text, len, "quantity", word, sizeof word) &&
	       quantity_from_name(word, strlen(word), &b->quantity);
}

/* ---- fitted ---- */

void fitted_body_write(struct text *out, const struct fitted_body *b)
{
	text_member_string(out, "job", b->job);
	text_member_string(out, "position", b->position);
	asked_by_write(out, &b->by);
}

bool fitted_body_read(const char *text, size_t len, struct fitted_body *b)
{
	*b = (struct fitted_body){0};
	asked_by_read(text, len, &b->by);
	return record_is(text, len, "fitted") &&
	       member_string(text, len, "job", b->job, sizeof b->job) &&
	       member_string(text, len, "position", b->position, sizeof b->position);
}

/* ---- identity ---- */

static const char *const keys[] = {
#define X(id, key, what) key,
    IDENTITY_LIST(X)
#undef X
};

/* Two digits, or four: digits all. */
static bool digits(const char *text, int n)
{
	for (int i = 0; i < n; i++)
		if (text[i] < '0' || text[i] > '9')
			return false;
	return true;
}

/* A day that a calendar has; time_parse knows which. */
static bool is_day(const char *text)
{
	char whole[40];
	int64_t us;
	if (strlen(text) != 10 || !digits(text, 4))
		return false;
	int n = snprintf(whole, sizeof whole, "%sT00:00:00.000000Z", text);
	return time_parse(whole, (size_t)n, &us);
}

/* The first byte of what is no printable text, -1 where all is. */
static int not_text(const char *value)
{
	size_t len = strlen(value);
	for (size_t i = 0, n; i < len; i += n) {
		n = utf8_length(value + i, len - i);
		if (!n || (unsigned char)value[i] < 0x20 || value[i] == 0x7f)
			return (int)i;
	}
	return -1;
}

bool identity_set(struct job_identity *id, const char *key, const char *value, struct fault *why)
{
	int k = 0;
	while (k < IDENTITY_COUNT && strcmp(keys[k], key) != 0)
		k++;
	if (k == IDENTITY_COUNT) {
		fault_set(why, "\"%.40s\" is nothing that a job has: maker, type, serial, year, mains, complaint, "
		          "owner, condition, received", key);
		return false;
	}
	size_t len = strlen(value);
	if (len >= IDENTITY_CELL_SIZE) {
		fault_set(why, "%s: %zu bytes, at most %d: put the rest into a note (tally note)", key, len,
		          IDENTITY_CELL_SIZE - 1);
		return false;
	}
	int bad = not_text(value);
	if (bad >= 0) {
		fault_set(why, "%s, byte %d: no printable UTF-8 text on one line", key, bad + 1);
		return false;
	}
	if (k == IDENTITY_RECEIVED && len && !is_day(value)) {
		fault_set(why, "received=%.40s is no day: YYYY-MM-DD", value);
		return false;
	}
	id->said[k] = true;
	memcpy(id->cell[k], value, len + 1);
	return true;
}

void identity_over(struct job_identity *id, const struct job_identity *later)
{
	for (int k = 0; k < IDENTITY_COUNT; k++)
		if (later->said[k])
			memcpy(id->cell[k], later->cell[k], IDENTITY_CELL_SIZE);
}

/* As an object; cells that were taken away as null where `all` that was said is asked for. */
static void write_cells(struct text *out, const struct job_identity *id, bool all)
{
	bool any = false;
	for (int k = 0; k < IDENTITY_COUNT; k++) {
		if (all ? !id->said[k] : !id->cell[k][0])
			continue;
		text_printf(out, "%s\"%s\":", any ? "," : "{", keys[k]);
		if (id->cell[k][0])
			text_string(out, id->cell[k], strlen(id->cell[k]));
		else
			text_puts(out, "null");
		any = true;
	}
	text_puts(out, any ? "}" : "null");
}

void identity_write(struct text *out, const struct job_identity *id)
{
	write_cells(out, id, false);
}

void identity_body_write(struct text *out, const struct identity_body *b)
{
	text_member_string(out, "job", b->job);
	text_member(out, "identity");
	write_cells(out, &b->said, true);
	asked_by_write(out, &b->by);
}

bool identity_body_read(const char *text, size_t len, struct identity_body *b)
{
	memset(b, 0, sizeof *b);
	asked_by_read(text, len, &b->by);
	struct slice cells = json_member(text, len, "identity");
	if (!record_is(text, len, "identity") || !cells.at ||
	    !member_string(text, len, "job", b->job, sizeof b->job))
		return false;
	for (int k = 0; k < IDENTITY_COUNT; k++) {
		struct slice cell = json_member(cells.at, cells.len, keys[k]);
		b->said.said[k] = cell.at != NULL;
		json_text(cell, b->said.cell[k], sizeof b->said.cell[k]);
	}
	return true;
}

/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: any bytes through the checker and the readers of records.
 *
 * What must hold: the checker agrees with the JSON library wherever the rules of
 * both allow it; no reader leaves the text, each comes to an end; what is read of
 * a record, written and read once more is the same.
 */
#include "protocol/record/fit.h"
#include "protocol/record/record.h"
#include "tests/fuzz.h"

#include <jansson.h>

static char first[RECORD_BODY_MAX + 1024], again[RECORD_BODY_MAX + 1024];
static struct trail_reading reading[TRAIL_READINGS_MAX], reread[TRAIL_READINGS_MAX];
static struct sheet_row row, row_back;

/* ---- the checker against the JSON library ---- */

static void against_library(const char *text, size_t len, bool valid, size_t where)
{
	json_error_t error;
	size_t flags = JSON_DECODE_ANY | JSON_REJECT_DUPLICATES | JSON_ALLOW_NUL | JSON_DECODE_INT_AS_REAL;
	json_t *j = json_loadb(text, len, flags, &error);
	enum json_error_code code = j ? json_error_unknown : json_error_code(&error);
	json_decref(j);
	must(valid || where <= len);
	if (valid && !j) /* only what a double or a C string cannot hold */
		must(code == json_error_numeric_overflow || code == json_error_null_byte_in_key);
	/* Ours bounds the depth and the members; whole texts below both are taken.  (The
	 * library passes over a NUL byte between two tokens, which no text may hold.) */
	if (!valid && j && !memchr(text, '\0', len)) {
		size_t open = 0, commas = 0;
		for (size_t i = 0; i < len; i++) {
			open += text[i] == '[' || text[i] == '{';
			commas += text[i] == ',' || text[i] == '{';
		}
		must(open > JSON_DEPTH_MAX || commas > JSON_MEMBERS_MAX);
	}
}

/* ---- written, read, written ---- */

static size_t begin(struct text *t, char *buffer, const struct record_head *h)
{
	text_begin(t, buffer, sizeof first);
	text_puts(t, "{\"seq\":");
	text_int(t, h->seq);
	text_puts(t, ",\"t\":");
	text_time(t, h->t);
	text_printf(t, ",\"kind\":\"%s\"", h->kind);
	return t->len;
}

static bool end(struct text *t, const struct record_head *h)
{
	struct fault why;
	text_puts(t, "}");
	if (t->failed)
		return false;
	must(record_valid(h->seq, t->bytes, t->len, &why));
	return true;
}

static void entry_twice(const struct record_head *h, const char *text, size_t len)
{
	struct entry_beside none = {0};
	struct entry e, back;
	struct text t;
	if (!entry_read(text, len, &e))
		return;
	begin(&t, first, h);
	entry_write(&t, &e, &none);
	if (!end(&t, h))
		return;
	must(entry_read(t.bytes, t.len, &back));
	begin(&t, again, h);
	entry_write(&t, &back, &none);
	must(end(&t, h) && strcmp(first, again) == 0);
}

static void trail_twice(const struct record_head *h, const char *text, size_t len)
{
	struct trail_body b, back;
	struct trail_names names, names_back;
	struct text t;
	if (!trail_body_read(text, len, &b, &names, reading, TRAIL_READINGS_MAX))
		return;
	must(b.n >= 1 && b.n <= TRAIL_READINGS_MAX && b.reading == reading);
	begin(&t, first, h);
	trail_body_write(&t, &b);
	if (!end(&t, h))
		return;
	must(trail_body_read(t.bytes, t.len, &back, &names_back, reread, TRAIL_READINGS_MAX));
	must(back.n == b.n && back.function == b.function && back.digit.n == b.digit.n);
	must(strcmp(names.meter, names_back.meter) == 0);
	must(strcmp(names.position, names_back.position) == 0);
	for (int i = 0; i < b.n; i++)
		must(reading[i].at == reread[i].at && reading[i].has_value == reread[i].has_value &&
		     (!reading[i].has_value || reading[i].v == reread[i].v) &&
		     reading[i].state == reread[i].state && reading[i].has_second == reread[i].has_second &&
		     (!reading[i].has_second || reading[i].second == reread[i].second));
}

static void position_twice(const struct record_head *h, const char *text, size_t len)
{
	struct position_body b, back;
	struct fault why;
	struct text t;
	memset(&why, 0, sizeof why);
	if (!position_body_read(text, len, &b, &row, &why)) {
		must(why.text[0]);
		return;
	}
	must(name_valid(row.position.name, strlen(row.position.name)));
	b.row = &row;
	begin(&t, first, h);
	position_body_write(&t, &b);
	if (!end(&t, h))
		return;
	must(position_body_read(t.bytes, t.len, &back, &row_back, &why));
	back.row = &row_back;
	begin(&t, again, h);
	position_body_write(&t, &back);
	must(end(&t, h) && strcmp(first, again) == 0);
}

/* The kinds whose body is one struct: read, written, read, written. */
#define TWICE(kind)                                                     \
	static void kind##_twice(const struct record_head *h, const char *text, size_t len) \
	{                                                                   \
		struct kind##_body b, back;                                     \
		struct text t;                                                  \
		if (!kind##_body_read(text, len, &b))                           \
			return;                                                     \
		begin(&t, first, h);                                            \
		kind##_body_write(&t, &b);                                      \
		if (!end(&t, h))                                                \
			return;                                                     \
		must(kind##_body_read(t.bytes, t.len, &back));                  \
		begin(&t, again, h);                                            \
		kind##_body_write(&t, &back);                                   \
		must(end(&t, h) && strcmp(first, again) == 0);                  \
	}
TWICE(job)
TWICE(sheet)
TWICE(rejudge)
TWICE(strike)
TWICE(move)
TWICE(note)
TWICE(rename)

static void fit_twice(const struct record_head *h, const char *text, size_t len)
{
	static const struct sheet_row sheet;
	struct fit_body b, back;
	struct text t;
	if (!fit_body_read(text, len, &b, &row))
		return;
	row.position.name[0] = '\0';
	b.fit = b.none ? NULL : &row;
	b.over = &row;
	b.sheet = &sheet;
	begin(&t, first, h);
	fit_body_write(&t, &b);
	if (!end(&t, h))
		return;
	must(fit_body_read(t.bytes, t.len, &back, &row_back) && back.none == b.none);
	must(memcmp(row.written, row_back.written, sizeof row.written) == 0);
}

static void walk(const char *text, size_t len)
{
	struct slice all = {text, len}, key, value;
	char decoded[64];
	int64_t n;
	double x;
	struct decimal d;
	size_t cursor = 0, count = 0;
	while (json_next_member(all, &cursor, &key, &value) && count++ <= len) {
		must(key.at >= text && key.at + key.len <= text + len);
		must(value.at >= text && value.at + value.len <= text + len);
		if (json_text(value, decoded, sizeof decoded))
			must(strlen(decoded) < sizeof decoded);
		if (json_int(value, &n) && json_decimal(value, &d))
			must(json_number(value, &x) && decimal_double(d) == x);
	}
	must(count <= len);
	cursor = count = 0;
	while (json_next(all, &cursor, &value) && count++ <= len)
		must(value.at >= text && value.at + value.len <= text + len);
	must(count <= len);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	/* Texts are not NUL-terminated here, so that a read past the end is seen. */
	const char *text = (const char *)data;
	struct record_head h;
	struct fault why;
	size_t where = 0;
	bool valid = json_valid(text, size, &where);
	against_library(text, size, valid, where);
	walk(text, size);
	bool sealed = record_head_read(text, size, &h) && record_valid(h.seq, text, size, &why);
	must(!sealed || valid);
	static void (*const twice[])(const struct record_head *h, const char *text, size_t len) = {
	    entry_twice, trail_twice, position_twice, job_twice, sheet_twice,
	    rejudge_twice, strike_twice, move_twice, note_twice, rename_twice, fit_twice,
	};
	if (sealed) {
		for (size_t i = 0; i < sizeof twice / sizeof *twice; i++)
			twice[i](&h, text, size);
		return 0;
	}
	/* Of what is no record the readers make nonsense, but in bounds. */
	struct entry e;
	struct trail_body b;
	struct trail_names names;
	struct position_body p;
	struct job_body j;
	struct rejudge_body r;
	entry_read(text, size, &e);
	trail_body_read(text, size, &b, &names, reading, TRAIL_READINGS_MAX);
	position_body_read(text, size, &p, &row, &why);
	job_body_read(text, size, &j);
	rejudge_body_read(text, size, &r);
	return 0;
}

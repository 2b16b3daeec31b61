/* SPDX-License-Identifier: MIT */
/*
 * The exact JSON text of records, written and read without a JSON library.
 *
 * A general JSON writer prints 3.45e-7 as 3.4499999999999998e-7 and is free in
 * its spacing; what is sealed must be exact and must never change.  This writer
 * appends to a bounded buffer of the caller's.  When the buffer is full, `failed`
 * is set and stays so: check it once at the end.
 *
 * The reader walks a JSON text in place: slices point into it, nothing is
 * copied, nothing allocated.
 */
#ifndef TALLY_RECORD_TEXT_H
#define TALLY_RECORD_TEXT_H

#include "protocol/file/utf8.h"
#include "protocol/trade/decimal.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* ---- writing ---- */

struct text {
	char *bytes; /* NUL-terminated whenever size > 0 */
	size_t len, size;
	bool failed; /* something did not fit; the text is not to be used */
};

void text_begin(struct text *t, char *buffer, size_t size);
void text_add(struct text *t, const char *bytes, size_t len);
void text_puts(struct text *t, const char *string);
void text_printf(struct text *t, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* A JSON string with its quotes.  Escapes: \" \\ \b \f \n \r \t, \u00XX for other
 * control characters; everything else as it stands.  Bytes that are not UTF-8
 * become U+FFFD: a record is always valid UTF-8. */
void text_string(struct text *t, const char *string, size_t len);
void text_int(struct text *t, int64_t n);
/* Another record: by its seq, or, as long as that is not known, by the ticket with which it was
 * given to the log, which writes the seq there (daemon/log.h). */
struct record_ref {
	int64_t seq;     /* 0: not known yet */
	uint64_t ticket; /* 0 with seq 0: there is none */
};
void text_ref(struct text *t, struct record_ref ref);
void text_member_ref(struct text *t, const char *key, struct record_ref ref); /* nothing of none */
/* The same as an element of a list, `before` in front of it: [ or a comma. */
void text_int_after(struct text *t, char before, int64_t n);
void text_decimal(struct text *t, struct decimal d); /* exact, see decimal_json */
/* Six significant digits, trailing zeros dropped; null for what is not finite. */
void text_real(struct text *t, double x);
/* 2026-11-25T10:00:00.123456Z, with quotes; us since 1970.  Outside the years 1
 * to 9999 there is no such text: `failed`. */
void text_time(struct text *t, int64_t us);

/* ,"key":value -- the comma stands first, as log drafts want it.  Keys are our own
 * words and are written as they stand. */
void text_member(struct text *t, const char *key); /* ,"key": and nothing more */
void text_member_string(struct text *t, const char *key, const char *value); /* NULL: null */
void text_member_decimal(struct text *t, const char *key, struct decimal d);
void text_member_real(struct text *t, const char *key, double x);
void text_member_int(struct text *t, const char *key, int64_t n);
void text_member_bool(struct text *t, const char *key, bool b);
void text_member_null(struct text *t, const char *key);

/* ---- reading ---- */

struct slice {
	const char *at; /* NULL: not there */
	size_t len;
};

#define JSON_DEPTH_MAX 32
/* Members of all the objects that are open at one place, together; a text with
 * more is refused, so that looking for duplicate keys is bounded. */
#define JSON_MEMBERS_MAX 2048

/* Is this one whole, valid JSON text?  RFC 8259 and stricter: UTF-8, depth at most
 * JSON_DEPTH_MAX, no duplicate keys in any object (compared after their escapes),
 * no escape of half a surrogate pair.  On false, *where (may be NULL) is the byte
 * offset of what does not fit: the byte, or where its character, escape or key begins;
 * len where the text ends too early. */
bool json_valid(const char *text, size_t len, size_t *where);
/* The same; *control is where the first byte below 0x20 stands between its tokens (in
 * strings there are none), len where there is none: JSON allows what would make two
 * lines of one record. */
bool json_valid_line(const char *text, size_t len, size_t *where, size_t *control);

/*
 * None of these names may be one of jansson's: files that include both would not
 * compile, and in the linker one would stand in for the other.
 *
 * The functions below assume valid JSON.  Of anything else they make nonsense,
 * but never read outside the text and always come to an end.
 */

/* The value of a member of an object text, as it stands (a string with its
 * quotes).  `path` may go down: "verdict.side". */
struct slice json_member(const char *text, size_t len, const char *path);
/* Element i of an array text, the first 0. */
struct slice json_element(struct slice array, size_t i);
/* Walk an array without counting again: *cursor starts at 0. */
bool json_next(struct slice array, size_t *cursor, struct slice *element);
/* Walk the members of an object: key is the raw key without quotes. */
bool json_next_member(struct slice object, size_t *cursor, struct slice *key, struct slice *value);

bool json_absent(struct slice s); /* also true where it is not there */
bool json_bool(struct slice s, bool otherwise);
/* Decoded string, cut to size - 1 bytes at a character; \u0000 becomes U+FFFD, so
 * that nothing hides behind the NUL.  Returns false and "" for what is not a
 * string. */
bool json_text(struct slice s, char *out, size_t size);
bool json_is(struct slice s, const char *string); /* is it this very string? */
/* A number that is whole and fits int64_t (1.5e1 is whole). */
bool json_int(struct slice s, int64_t *out);
bool json_number(struct slice s, double *out); /* nearest double; of digits the first 40 */
/* Exact; false where it has more than 18 digits (see decimal.h). */
bool json_decimal(struct slice s, struct decimal *out);

/* us since 1970 of a time exactly as text_time writes it (without quotes); false
 * for any other form and for days that no calendar has. */
bool time_parse(const char *text, size_t len, int64_t *us);
bool json_time(struct slice s, int64_t *us);

#endif

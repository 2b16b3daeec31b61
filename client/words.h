/* SPDX-License-Identifier: MIT */
/*
 * How values, deviations, verdicts and times are put into words for people.
 *
 * Pure: everything that depends on the terminal, the clock's zone or the person's
 * wishes stands in `struct style`.  Nothing here lets a control character through:
 * what a meter or a note sends must not be able to steer the terminal.
 */
#ifndef TALLY_CLIENT_WORDS_H
#define TALLY_CLIENT_WORDS_H

#include "client/lines.h"
#include "protocol/record/text.h"

struct style {
	bool plain;  /* one line an event, rows as sentences: for screen readers and logs */
	bool colour; /* adds, never decides */
	bool utf8;   /* the terminal can show the micro and ohm signs */
	bool few;    /* ... and halves of blocks, but no eighths: its font has 256 letters */
	int width;   /* columns of the terminal; 0: not known, nothing is folded */
	/* Date and time as the person's clock shows them, 19 characters
	 * "2026-11-25 10:00:00"; NULL: UTC. */
	void (*local)(int64_t us, char out[20]);
};

/* A cell of a table or a line: what fits in it is cut at a character. */
#define WORDS_SIZE 512

/* Columns that a UTF-8 text takes on the screen (combining marks 0, wide
 * characters 2, a byte that is no UTF-8 1). */
size_t words_width(const char *text, size_t len);

/* Is all of it UTF-8 without NUL?  Else *where is the first byte that is not. */
bool words_utf8(const char *text, size_t len, size_t *where);

/* At most `most` bytes of a text, cut where a character ends with all its combining
 * marks: how many bytes that is. */
size_t words_cut(const char *text, size_t len, size_t most);

/* A JSON string for people: decoded, control characters as \xHH, cut to size.
 * "" for what is not a string. */
void words_string(struct slice string, char *out, size_t size);
/* The same for bytes that are no JSON. */
void words_clean(const char *text, size_t len, char *out, size_t size);
/* Member `path` of an object as words_string gives it. */
void words_member(struct slice object, const char *path, char *out, size_t size);
/* Is the member there, and is it exactly this string? */
bool words_member_is(struct slice object, const char *path, const char *want);

/* "0.345 uF" as the terminal can show it: micro and ohm signs where style->utf8. */
void words_value(const struct style *style, const char *shown, char *out, size_t size);
/* "12.3 kohm" from an SI number of the same unit as `like` ("0.345 uF"), with
 * `figures` significant figures; the bare number where `like` has no unit. */
void words_like(const struct style *style, double x, int figures, const char *like, char *out,
                size_t size);

/* The nominal of a sheet row as it was written, else (of a marking, `brown black yellow`) what was
 * understood: "100 nF"; "" where there is none. */
void words_nominal(struct slice row, char *out, size_t size);

/* What is compared of one side of a comparison: without the leads, where they were taken off. */
void words_compared(struct slice side, char *out, size_t size);

/* The deviation of an entry record: "30.0 % high", "2.1 % low", "on nominal", "470
 * times nominal"; for a negative nominal "12.0 % more negative"; "above 20 Mohm"
 * for an overload; "" where there is none. */
void words_deviation(const struct style *style, struct slice entry, char *out, size_t size);
/* The limits of an entry record: "423 to 517 kohm", "at least 20 Mohm", "". */
void words_limits(const struct style *style, struct slice entry, char *out, size_t size);
/* ... with limits of another verdict on it ([low, high], a bound may be null). */
void words_limits_of(const struct style *style, struct slice entry, struct slice pair, char *out,
                     size_t size);

/* `text` behind the mark of a verdict ("within", "outside", "unsure"): "✓ within", "! outside" where the
 * terminal has no such signs, and the words alone in plain style and for what has no verdict. */
void words_mark(const struct style *style, const char *verdict, const char *text, char *out,
                size_t size);
/* "1 kHz" of the member `frequency`; "" where there is none. */
void words_hertz(struct slice object, char *out, size_t size);

/* What a reason word of a verdict means, and what to do next; the word itself
 * and "" for one that is not known here. */
const char *words_reason(const char *reason);
const char *words_next(const char *reason);

/* "10:00:00" of a time string of a record, or with the date before it. */
void words_time(const struct style *style, struct slice time, bool date, char *out, size_t size);

/* Append text and fold it at style->width; every line after the first begins with
 * `indent` spaces; `column` is where the first begins. */
void words_fold(struct lines *out, const struct style *style, size_t column, size_t indent,
                const char *text);

#endif

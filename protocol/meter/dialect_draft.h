/* SPDX-License-Identifier: MIT */
/*
 * The inside of the loader of dialect files: a file as it stands, before it is put
 * together.  Keys come in any order, so each is taken down with its place, and what
 * they are together is looked at when all are there.  Only dialect_*.c include this.
 */
#ifndef TALLY_METER_DIALECT_DRAFT_H
#define TALLY_METER_DIALECT_DRAFT_H

#include "protocol/file/ini.h"
#include "protocol/meter/dialect_file.h"

#define CLAIMS_MAX 320

/* Where something stood; line 0: nowhere. */
struct spot {
	int line, column;
};

/* Bits of the frame by which a key says something. */
struct claim {
	int byte;
	unsigned char mask;
	bool range; /* of a range: several functions may read the same field */
	struct spot at;
	char key[24];
};

struct draft_columns {
	struct spot section, size, digits, shapes;
	bool bits_left;
	bool whole_digits;                 /* `digits` was given */
	unsigned digit_given;              /* bit k: `digit k+1` was given */
	struct column_field digit[COLUMNS_DIGITS_MAX]; /* of `digit N`; mixed up with no `digits` */
	struct spot overload[COLUMNS_OVERLOADS_MAX];
	struct spot code[COLUMNS_CODES_MAX];
	struct spot flag[COLUMNS_FLAGS_MAX];
	struct claim claims[CLAIMS_MAX];
	int claim_count;
};

struct draft_text {
	char text[PATTERN_TEXT_MAX + 1];
	size_t len;
	struct spot at;
};

struct draft_pattern {
	struct spot section;
	struct draft_text match, identity, error;
};

struct sample {
	char name[16];
	char bytes[FRAME_MAX];
	size_t len;
	bool has_frame;
	char means[160];
	struct spot frame_at, means_at;
};

/* Keys of [dialect] whose presence counts. */
enum said_key {
	SAID_KEY_SERIAL, SAID_KEY_FLOW, SAID_KEY_DTR, SAID_KEY_RTS, SAID_KEY_QUIET, SAID_KEY_GAP,
	SAID_KEY_FRAME, SAID_KEY_SYNC, SAID_KEY_ASKED, SAID_KEY_LINE_END, SAID_KEY_QUERY,
	SAID_KEY_IDENTIFY, SAID_KEY_ERRORS, SAID_KEY_CLEAR, SAID_KEY_SETUP, SAID_KEY_LEARN,
	SAID_KEY_READS, SAID_KEY_FUNCTION, SAID_KEYS
};

struct draft {
	struct dialect_file *d;
	const char *file;
	const struct dialect *reads; /* the shipped one whose reader it is; NULL: own rules */
	bool own_columns, own_pattern, asked;
	struct spot said[SAID_KEYS]; /* of the values */
	struct line_settings line;
	struct draft_columns columns;
	struct draft_pattern pattern;
	struct sample sample[DIALECT_SAMPLES_MAX];
	int samples;
};

/* Fill *why with the file and the place; returns false. */
bool draft_wrong(const struct draft *t, struct fault *why, struct spot at, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

struct spot draft_value(const struct ini_item *i); /* of the value's first byte */
struct spot draft_key(const struct ini_item *i);

/* The value as it stands, which must be shorter than `size`. */
bool draft_text(struct draft *t, const struct ini_item *i, char *out, size_t size,
                struct fault *why);
/* Bytes of the value from `from` on, escaped; at most `size`. */
bool draft_bytes(struct draft *t, const struct ini_item *i, const char *from, char *out,
                 size_t size, size_t *len, struct fault *why);

/* The same for texts of people: bytes over 7E stand for themselves, too, as a UTF-8
 * editor writes them.  The text is at `at`; *out is NUL-terminated and has no other. */
bool draft_word(struct draft *t, struct spot at, const char *text, char *out, size_t size,
                struct fault *why);

bool draft_one_of(const char *value, const char *const *words, int *out);
/* Digits alone, from low to high. */
bool draft_whole(const char *text, int low, int high, int *out);
/* `pico` ... `giga`: the power of ten. */
bool draft_prefix(const char *word, size_t len, int *out);
/* [DIGITS][PREFIX], as `2`, `1k`, `M`: digits before the point (-1 where none are
 * given) and a power of ten; at least one of them. */
bool draft_scale(const char *text, size_t len, int *before, int *exponent);

/* One key of a section. */
bool draft_take_columns(struct draft *t, const struct ini_item *i, struct fault *why);
bool draft_take_pattern(struct draft *t, const struct ini_item *i, struct fault *why);
bool draft_take_sample(struct draft *t, const struct ini_item *i, struct fault *why);

/* Put together what the section said; the frame's size and sync are settled. */
bool draft_join_columns(struct draft *t, struct fault *why);
bool draft_join_pattern(struct draft *t, struct fault *why);
/* Hold every sample against the dialect, which is whole. */
bool draft_check_samples(struct draft *t, struct fault *why);

#endif

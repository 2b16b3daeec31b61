/* SPDX-License-Identifier: MIT */
/*
 * Configuration and dialect files: sections and `key = value`, with the place of
 * every key and value, so that a fault names file, line and column.
 *
 *   - Leading and trailing space is ignored; inner spaces of a section name or a
 *     key fold to one.  Names and keys are taken with their case.
 *   - A comment is a line that starts with # or ;, or ` ;` (or tab ;) outside
 *     quotes to the end of the line.
 *   - A value may stand in double quotes, then spaces and ; inside are kept;
 *     \" and \\ are the only escapes there, and nothing but a comment follows.
 *     Quotes further on in a value (`SENS:FUNC "RES"`) belong to it, keep a ; too,
 *     and must come in pairs.
 *   - No continuation lines.  Lines up to 4096 bytes, ended by LF or CR LF.
 *     A byte order mark at the start is passed over and counts for no column.
 *   - A section given twice, a key given twice in a section, a key before any
 *     section, a line that is none of these, a control character other than tab,
 *     or invalid UTF-8: a fault.
 */
#ifndef TALLY_FILE_INI_H
#define TALLY_FILE_INI_H

#include "protocol/trade/fault.h"

#include <stdbool.h>

#define INI_LINE_MAX 4096

/* The strings are valid during the call; `section` until ini_parse returns. */
struct ini_item {
	const char *section; /* folded; the same pointer for all items of a section */
	const char *key;     /* folded; NULL for the item that opens the section */
	const char *value;   /* unquoted; "" where it is empty */
	int line;
	/* 1 is the first byte.  key_column: of the key, or of the section's name;
	 * value_column: of the first byte of the value itself, after a quote; where it
	 * is empty and not quoted, the byte after the `=`. */
	int key_column, value_column;
};

/*
 * Calls each() in the order of the file; each may fill *why and return false to
 * refuse.  Where each set no line, the place of the value is added; a column that
 * it set then counts from the start of the value, 1 its first byte, as the faults
 * of quantity_parse and the like do.  Returns false with the fault.  `name` is the
 * file's name for faults.
 *
 * A fault in line 10 is found after each() was called for the lines before it: take
 * nothing into use before ini_parse returned true.
 */
bool ini_parse(const char *name, const char *text, size_t len,
               bool (*each)(void *arg, const struct ini_item *item, struct fault *why), void *arg,
               struct fault *why);

/*
 * Every fault of such a file, and not the first alone: each is told as it is found, and the
 * reading goes on with the next line; keys of a section that was refused are passed over.  The
 * first one told is the one of ini_parse.  Ends at the fault INI_FAULTS_MAX; returns how many
 * were told.
 */
#define INI_FAULTS_MAX 1000
int ini_faults(const char *name, const char *text, size_t len,
               bool (*each)(void *arg, const struct ini_item *item, struct fault *why), void *arg,
               void (*tell)(void *arg, const struct fault *why), void *tell_arg);

#endif

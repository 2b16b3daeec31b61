/* SPDX-License-Identifier: MIT */
/*
 * Configuration and dialect files: sections and `key = value`, with the place of
 * every key and value, so that a fault names file, line and column.
 *
 *   - Leading and trailing space is ignored; inner spaces of a section name or a
 *     key fold to one.
 *   - A comment is a line that starts with # or ;, or ` ;` (or tab ;) outside
 *     quotes to the end of the line.
 *   - A value may stand in double quotes, then spaces and ; inside are kept;
 *     \" and \\ are the only escapes there.
 *   - No continuation lines.  Lines up to 4096 bytes, ended by LF or CR LF.
 *     A byte order mark at the start is passed over.
 *   - A section given twice, a key given twice in a section, a key before any
 *     section, a line that is none of these, NUL or invalid UTF-8: a fault.
 */
#ifndef TALLY_RECORD_INI_H
#define TALLY_RECORD_INI_H

#include "protocol/trade/fault.h"

#include <stdbool.h>

#define INI_LINE_MAX 4096

struct ini_item {
	const char *section; /* folded; the same pointer for all items of a section */
	const char *key;     /* folded; NULL for the item that opens the section */
	const char *value;   /* unquoted; "" where it is empty */
	int line;
	int key_column, value_column; /* 1 is the first byte */
};

/* Calls each() in the order of the file; each may fill *why and return false to
 * refuse, then the place of the value is added where each set none.  Returns
 * false with the fault.  `name` is the file's name for faults. */
bool ini_parse(const char *name, const char *text, size_t len,
               bool (*each)(void *arg, const struct ini_item *item, struct fault *why), void *arg,
               struct fault *why);

#endif

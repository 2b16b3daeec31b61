/* SPDX-License-Identifier: MIT */
/*
 * Any bytes as a sheet: refused at a place that is in them, or taken, and then each
 * row comes back from its JSON as it was.
 */
#include "protocol/record/sheet.h"

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t len);

static char json[65536], again[65536];

static bool each(void *arg, const struct sheet_row *row, struct fault *why)
{
	(void)why;
	struct text t;
	struct fault said;
	struct sheet_row back;
	size_t *rows = arg;
	++*rows;
	text_begin(&t, json, sizeof json);
	sheet_row_write(&t, row);
	if (t.failed || !json_valid(json, t.len, NULL) ||
	    !sheet_row_read((struct slice){json, t.len}, &back, &said))
		abort();
	text_begin(&t, again, sizeof again);
	sheet_row_write(&t, &back);
	if (strcmp(json, again) != 0)
		abort();
	return true;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t len)
{
	struct fault why = {.line = 0};
	size_t rows = 0;
	bool good = sheet_parse("f", (const char *)data, len, each, &rows, &why);
	if (!good && (rows || why.line < 1 || why.column < 1 || !why.text[0]))
		abort();
	return 0;
}

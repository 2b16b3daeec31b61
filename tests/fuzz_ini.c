/* SPDX-License-Identifier: MIT */
/* Any bytes as a configuration: taken, or refused at a place that is in them. */
#include "protocol/file/ini.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t len);

static bool each(void *arg, const struct ini_item *item, struct fault *why)
{
	(void)why;
	size_t *count = arg;
	++*count;
	if (item->line < 1 || item->key_column < 1 || item->value_column < 1 ||
	    strlen(item->value) > INI_LINE_MAX || !item->section[0])
		abort();
	return true;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t len)
{
	struct fault why = {.line = 0};
	size_t count = 0;
	if (!ini_parse("f", (const char *)data, len, each, &count, &why) &&
	    (why.line < 1 || why.column < 1 || (size_t)why.column > len + 1 || !why.text[0]))
		abort();
	return 0;
}

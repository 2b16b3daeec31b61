/* SPDX-License-Identifier: MIT */
/* Any bytes as a configuration: taken, or refused at a place that is in them. */
#include "protocol/file/ini.h"

#include "tests/fuzz.h"

static bool each(void *arg, const struct ini_item *item, struct fault *why)
{
	int *line = arg;
	(void)why;
	must(item->line >= *line && item->key_column >= 1 && item->value_column >= 1);
	must(item->section[0] && strlen(item->value) <= INI_LINE_MAX);
	*line = item->line;
	return true;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct fault why;
	int line = 1;
	memset(&why, 0, sizeof why);
	if (!ini_parse("f", (const char *)data, size, each, &line, &why))
		must_be_placed(&why, data, size);
	return 0;
}

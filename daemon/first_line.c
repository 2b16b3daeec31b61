/* SPDX-License-Identifier: MIT */
/* See first_line.h. */
#include "daemon/first_line.h"

#include <stdio.h>
#include <string.h>

bool first_line(const char *path, char *out, size_t size)
{
	FILE *f = fopen(path, "re");
	out[0] = '\0';
	if (!f)
		return false;
	bool got = fgets(out, (int)size, f) != NULL;
	fclose(f);
	out[strcspn(out, "\n")] = '\0';
	return got;
}

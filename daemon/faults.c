/* SPDX-License-Identifier: MIT */
/* See faults.h. */
#include "daemon/faults.h"

#include "daemon/say.h"

#include <stdlib.h>

#define SHOWN 20

void faults_keep(void *arg, const struct fault *why)
{
	struct faults *f = arg;
	f->all++;
	if (f->count == f->size) {
		int size = f->size ? 2 * f->size : 16;
		struct fault *grown = realloc(f->kept, (size_t)size * sizeof *grown);
		if (!grown)
			return;
		f->kept = grown;
		f->size = size;
	}
	f->kept[f->count++] = *why;
}

int faults_say(struct faults *f)
{
	int all = f->all;
	if (f->count)
		qsort(f->kept, (size_t)f->count, sizeof *f->kept, fault_by_place);
	for (int i = 0; i < f->count && i < SHOWN; i++)
		say_fault(&f->kept[i]);
	if (all > SHOWN)
		say("... and %d more", all - SHOWN);
	if (all > 1 && f->count)
		say("%d faults in %s", all, f->kept[0].file);
	free(f->kept);
	*f = (struct faults){0};
	return all;
}

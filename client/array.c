/* SPDX-License-Identifier: MIT */
/* See array.h. */
#include "client/array.h"

#include <stdlib.h>

bool array_grow(bool *no_memory, void *array, int count, size_t each)
{
	void **at = array;
	if (count & (count - 1))
		return true; /* there is room up to the next power of two */
	void *grown = realloc(*at, (count ? 2 * (size_t)count : 1) * each);
	if (!grown) {
		*no_memory = true;
		return false;
	}
	*at = grown;
	return true;
}

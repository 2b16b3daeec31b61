/* SPDX-License-Identifier: MIT */
/* Arrays that grow by one element at a time, as answers come in. */
#ifndef TALLY_CLIENT_ARRAY_H
#define TALLY_CLIENT_ARRAY_H

#include <stdbool.h>
#include <stddef.h>

/*
 * Room for one more: `array` is the address of a pointer (malloc, NULL at first) to `count`
 * elements of `each` bytes, which was grown by this alone, one by one; the room is doubled at
 * powers of two.  Without memory false, with *no_memory set and the array as it was.
 */
bool array_grow(bool *no_memory, void *array, int count, size_t each);

#endif

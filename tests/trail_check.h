/* SPDX-License-Identifier: MIT */
/*
 * Does every entry name exactly the readings that it came from?
 *
 * A list of sealed texts goes in, in the order of their seq from 1 (what a replay
 * prints, or what a bench handed over).  Of each entry of a meter the parts of
 * `trail` are looked up in the trail records; what they name must be readings of
 * that meter and function, in one digit, as many as the entry says it used, and
 * their median must be the entry's value.
 */
#ifndef TALLY_TESTS_TRAIL_CHECK_H
#define TALLY_TESTS_TRAIL_CHECK_H

#include "protocol/record/record.h"
#include "tests/check.h"

#include <stdbool.h>
#include <stdlib.h>

struct trail_used {
	int64_t v[65536];
	int n, empty; /* readings with a value, and without */
	bool second;  /* one of them had the entry's second value beside it */
};

static inline int trail_compare(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
	return (x > y) - (x < y);
}

/* The readings from..to of the record `text`, if it is a trail of this meter. */
static inline bool trail_gather(const char *text, const struct entry *e, long from, long to,
                                struct trail_used *used)
{
	static struct trail_reading reading[TRAIL_READINGS_MAX];
	struct trail_body body;
	struct trail_names names;
	if (!trail_body_read(text, strlen(text), &body, &names, reading, TRAIL_READINGS_MAX) ||
	    strcmp(names.meter, e->meter) != 0 || body.function != e->function || from > to ||
	    from < 0 || to >= body.n || (e->has_value && decimal_compare(body.digit, (struct decimal){1, e->value.e}) != 0))
		return false;
	for (long i = from; i <= to; i++) {
		struct decimal second = {reading[i].second * body.second_digit.n, body.second_digit.e};
		used->second = used->second || (reading[i].has_second && body.second == e->second.kind &&
		                                decimal_compare(second, e->second.value) == 0);
		if (reading[i].has_value && used->n < 65536)
			used->v[used->n++] = reading[i].v;
		else
			used->empty++;
	}
	return true;
}

/* True where the entry `text` holds; `frames` is how many a conversion has. */
static inline bool trail_names_right(char *const *record, int records, const char *text,
                                     int frames)
{
	static struct trail_used used;
	struct entry e;
	used.n = used.empty = 0;
	used.second = false;
	if (!entry_read(text, strlen(text), &e))
		return false;
	/* With a lead offset taken off, the readings are what it was taken from. */
	if (e.has_raw)
		e.value = e.raw;
	if (e.source != SOURCE_METER)
		return strstr(text, "\"trail\":[]") != NULL;
	const char *p = strstr(text, "\"trail\":[");
	long seq, from, to, last = 0;
	int read, parts = 0;
	for (p = p ? p + 9 : ""; sscanf(p, "[%ld,%ld,%ld]%n", &seq, &from, &to, &read) == 3; parts++) {
		if (seq < 1 || seq > records || seq <= last ||
		    !trail_gather(record[seq - 1], &e, from, to, &used))
			return false;
		last = seq;
		p += read + (p[read] == ',');
	}
	if (*p != ']' || !parts || (e.second.kind != SECOND_NONE && !used.second))
		return false;
	if (!e.has_value)
		return used.n == 0 && used.empty == e.n;
	qsort(used.v, (size_t)used.n, sizeof used.v[0], trail_compare);
	/* The first and the last conversion may lack frames. */
	if (used.empty || used.n > e.n * frames || used.n <= (e.n - 2) * frames || used.n < e.n)
		return false;
	int64_t slack = frames > 1;
	return e.value.n >= used.v[(used.n - 1) / 2] - slack && e.value.n <= used.v[used.n / 2] + slack;
}

#endif

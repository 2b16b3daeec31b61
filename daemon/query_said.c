/* SPDX-License-Identifier: MIT */
/*
 * What was said of entries afterwards.  A sealed entry never changes: that it
 * does not count, belongs elsewhere, or is judged otherwise stands in later
 * records that name its seq in `of`.
 */
#include "daemon/query_private.h"

#include <stdlib.h>
#include <string.h>

struct said_reading {
	struct said_list *list;
	bool keep, no_memory;
	bool (*wanted)(void *arg, int64_t of);
	void *arg;
};

static bool list_room(struct said_list *list)
{
	if (list->n < list->size)
		return true;
	size_t size = list->size ? 2 * list->size : 64;
	struct said *at = realloc(list->at, size * sizeof *at);
	if (!at)
		return false;
	list->at = at;
	list->size = size;
	return true;
}

static bool said_add(void *arg, int64_t seq, const char *text, size_t len)
{
	struct said_reading *r = arg;
	struct said s = { .seq = seq };
	if (!json_int(json_member(text, len, "of"), &s.of) || (r->wanted && !r->wanted(r->arg, s.of)))
		return true;
	if (json_is(json_member(text, len, "kind"), "move"))
		json_text(json_member(text, len, "position"), s.position, sizeof s.position);
	if (r->keep) {
		s.text = malloc(len + 1);
		if (s.text)
			memcpy(s.text, text, len + 1);
		s.len = len;
	}
	r->no_memory = (r->keep && !s.text) || !list_room(r->list);
	if (r->no_memory) {
		free(s.text);
		return false;
	}
	r->list->at[r->list->n++] = s;
	return true;
}

static int said_order(const void *a, const void *b)
{
	const struct said *x = a, *y = b;
	if (x->of != y->of)
		return x->of < y->of ? -1 : 1;
	return x->seq < y->seq ? -1 : x->seq > y->seq;
}

bool said_read(struct query *q, const char *kind, int64_t after, bool keep,
               bool (*wanted)(void *arg, int64_t of), void *arg, struct said_list *out)
{
	memset(out, 0, sizeof *out);
	struct said_reading r = { .list = out, .keep = keep, .wanted = wanted, .arg = arg };
	const struct log_query what = { .after = after, .kind = kind };
	bool good = query_each(q, &what, said_add, &r);
	if (good && r.no_memory)
		good = query_no_memory(q);
	if (!good)
		said_free(out);
	else if (out->n)
		qsort(out->at, out->n, sizeof *out->at, said_order);
	return good;
}

void said_free(struct said_list *list)
{
	for (size_t i = 0; i < list->n; i++)
		free(list->at[i].text);
	free(list->at);
	memset(list, 0, sizeof *list);
}

const struct said *said_of(const struct said_list *list, int64_t of)
{
	size_t low = 0, high = list->n; /* the first above `of` */
	while (low < high) {
		size_t middle = low + (high - low) / 2;
		if (list->at[middle].of <= of)
			low = middle + 1;
		else
			high = middle;
	}
	return low && list->at[low - 1].of == of ? &list->at[low - 1] : NULL;
}

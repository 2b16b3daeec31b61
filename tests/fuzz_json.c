/* SPDX-License-Identifier: MIT */
/*
 * Any bytes through the reader of records: it never leaves the text, always comes
 * to an end, and what it calls an entry or a trail is written again the same.
 */
#include "protocol/record/record.h"

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t len);

static char again[RECORD_BODY_MAX + 256];
static struct trail_reading reading[TRAIL_READINGS_MAX];

static void head(struct text *t, const struct record_head *h)
{
	text_begin(t, again, sizeof again);
	text_puts(t, "{\"seq\":");
	text_int(t, h->seq);
	text_puts(t, ",\"t\":");
	text_time(t, h->t);
	text_printf(t, ",\"kind\":\"%s\"", h->kind);
}

/* Written, read and written once more: the second time nothing may change. */
static void entry_twice(const struct record_head *h, const struct entry *e)
{
	struct entry_beside none = {0};
	struct entry back;
	struct text t;
	head(&t, h);
	entry_write(&t, e, &none);
	text_puts(&t, "}");
	struct fault why;
	if (t.failed)
		return;
	if (!record_valid(h->seq, t.bytes, t.len, &why) || !entry_read(t.bytes, t.len, &back))
		abort();
	char *first = strdup(again);
	head(&t, h);
	entry_write(&t, &back, &none);
	text_puts(&t, "}");
	if (first && strcmp(first, again) != 0)
		abort();
	free(first);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t len)
{
	const char *text = (const char *)data;
	struct record_head h;
	struct entry e;
	struct trail_body b;
	struct trail_names names;
	struct sheet_row row;
	struct position_body p;
	struct fault why;
	size_t where = 0;
	if (!json_valid(text, len, &where) && where > len)
		abort();
	bool sealed = record_head_read(text, len, &h) && record_valid(h.seq, text, len, &why);
	if (entry_read(text, len, &e) && sealed)
		entry_twice(&h, &e);
	trail_body_read(text, len, &b, &names, reading, TRAIL_READINGS_MAX);
	position_body_read(text, len, &p, &row, &why);
	return 0;
}

/* SPDX-License-Identifier: MIT */
/*
 * The text of a record as it is sealed, from a draft: its number, time and kind in
 * front, references by ticket replaced by numbers.
 */
#include "daemon/log_inside.h"

#include "protocol/record/record.h"
#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- tickets ---- */

static void ring_put(struct log_store *s, uint64_t ticket, int64_t seq)
{
	s->ring[ticket % LOG_RING] = seq;
	if (ticket >= s->ring_next)
		s->ring_next = ticket + 1;
}

static int64_t ring_get(const struct log_store *s, uint64_t ticket)
{
	if (ticket == 0 || ticket >= s->ring_next || s->ring_next - ticket > LOG_RING)
		return 0;
	return s->ring[ticket % LOG_RING];
}

void ticket_put(struct log_store *s, const struct log_item *item, int64_t first_seq)
{
	for (size_t i = 0; !item->save && i < item->n; i++)
		ring_put(s, item->ticket + i, first_seq ? first_seq + (int64_t)i : 0);
}

/* ---- texts ---- */

/* Copies body with each 0x01 TICKET 0x01 replaced; false where a mark stands alone. */
static bool add_body(const struct log_store *s, struct text *out, const char *body, size_t len)
{
	const char *end = body + len;
	while (body < end) {
		const char *mark = memchr(body, 1, (size_t)(end - body));
		text_add(out, body, (size_t)((mark ? mark : end) - body));
		if (!mark)
			return true;
		uint64_t ticket = 0;
		const char *p = mark + 1;
		for (; p < end && ascii_digit(*p) && p - mark <= 19; p++)
			ticket = ticket * 10 + (uint64_t)(*p - '0');
		if (p == mark + 1 || p == end || *p != 1)
			return false;
		int64_t seq = ring_get(s, ticket);
		char number[24];
		snprintf(number, sizeof number, "%lld", (long long)seq);
		text_puts(out, seq ? number : "null");
		body = p + 1;
	}
	return true;
}

/* The text of one record as it will be sealed.  False with item->why where it
 * cannot be one. */
bool piece_text(const struct log_store *s, struct log_item *item, struct log_piece *p,
                      int64_t seq, const char *tail)
{
	struct fault what = { .text = "a reference to a record is not one" };
	size_t marks = 0;
	for (const char *at = p->body, *end = at + p->body_len;
	     at < end && (at = memchr(at, 1, (size_t)(end - at))); at++)
		marks++;
	/* A mark pair takes 3 bytes at least and becomes 19 at most. */
	size_t size = p->body_len + marks * 8 + strlen(p->kind) + strlen(tail) + 128;
	char head[32];
	struct text text;
	free(p->text);
	p->text = malloc(size);
	if (!p->text) {
		snprintf(item->why, sizeof item->why, "no memory");
		return false;
	}
	text_begin(&text, p->text, size);
	snprintf(head, sizeof head, "{\"seq\":%lld,\"t\":", (long long)seq);
	text_puts(&text, head);
	text_time(&text, p->t);
	text_puts(&text, ",\"kind\":\"");
	text_puts(&text, p->kind);
	text_puts(&text, "\"");
	bool marked = add_body(s, &text, p->body, p->body_len);
	text_puts(&text, tail);
	text_puts(&text, "}");
	p->len = text.len;
	p->seq = seq;
	if (!marked || text.failed || !record_valid(seq, p->text, p->len, &what)) {
		snprintf(item->why, sizeof item->why, "the %.16s record cannot be sealed (%.80s, byte %d): "
		         "a fault of the program, please report it", p->kind, what.text, what.column);
		return false;
	}
	return true;
}

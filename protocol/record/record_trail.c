/* SPDX-License-Identifier: MIT */
/*
 * Trail runs, written and read: see record.h and protocol/SEAL.md.
 *
 * A run is written as three lists side by side (at, v, state), not as one list of
 * readings: it is half as long, and most runs have no state at all.
 */
#include "protocol/record/kinds.h"
#include "protocol/record/record.h"

#include <string.h>

static size_t int_size(int64_t n)
{
	size_t size = n < 0 ? 2 : 1;
	for (; n > 999 || n < -999; n /= 1000)
		size += 3;
	return size + (n > 9 || n < -9) + (n > 99 || n < -99);
}

size_t trail_reading_size(const struct trail_reading *r)
{
	size_t size = int_size(r->at) + (r->has_value ? int_size(r->v) : sizeof "null" - 1) + 2;
	unsigned state = r->state;
	const char *word;
	size += (r->has_second ? int_size(r->second) : sizeof "null" - 1) + 1;
	while ((word = reading_state_next(&state)))
		size += sizeof "[999,\"\"]," - 1 + strlen(word);
	return size;
}

static void int_or_null(struct text *out, const struct trail_reading *r)
{
	if (r && r->has_value)
		text_int(out, r->v);
	else
		text_add(out, "null", 4);
}

static void list_at(struct text *out, const struct trail_body *b)
{
	text_member(out, "at");
	for (int i = 0; i < b->n; i++)
		text_int_after(out, i ? ',' : '[', b->reading[i].at);
	text_add(out, "]", 1);
}

static void list_v(struct text *out, const struct trail_body *b)
{
	text_member(out, "v");
	for (int i = 0; i < b->n; i++) {
		if (b->reading[i].has_value)
			text_int_after(out, i ? ',' : '[', b->reading[i].v);
		else
			text_add(out, i ? ",null" : "[null", 5);
	}
	text_add(out, "]", 1);
}

static void list_state(struct text *out, const struct trail_body *b)
{
	bool first = true;
	text_member(out, "state");
	text_add(out, "[", 1);
	for (int i = 0; i < b->n; i++) {
		unsigned state = b->reading[i].state;
		const char *word;
		while ((word = reading_state_next(&state))) {
			if (!first)
				text_add(out, ",", 1);
			text_int_after(out, '[', i);
			text_add(out, ",\"", 2);
			text_puts(out, word);
			text_add(out, "\"]", 2);
			first = false;
		}
	}
	text_add(out, "]", 1);
}

/* "second":{"is":"dissipation","function":"number","digit":0.0001,"v":[871,872,null]} */
static void list_second(struct text *out, const struct trail_body *b)
{
	if (b->second == SECOND_NONE)
		return;
	text_member(out, "second");
	text_puts(out, "{\"is\":");
	text_string(out, second_word(b->second), strlen(second_word(b->second)));
	text_member_string(out, "function", function_name(second_function(b->second)));
	text_member_decimal(out, "digit", b->second_digit);
	text_member(out, "v");
	for (int i = 0; i < b->n; i++) {
		text_add(out, i ? "," : "[", 1);
		if (b->reading[i].has_second)
			text_int(out, b->reading[i].second);
		else
			text_add(out, "null", 4);
	}
	text_add(out, "]}", 2);
}

/* low, high, first and last count in `digit`, as v does. */
static void extremes(struct text *out, const struct trail_body *b)
{
	const struct trail_reading *low = NULL, *high = NULL, *first = NULL, *last = NULL;
	for (int i = 0; i < b->n; i++) {
		const struct trail_reading *r = &b->reading[i];
		if (!r->has_value)
			continue;
		if (!first)
			first = r;
		last = r;
		if (!low || r->v < low->v)
			low = r;
		if (!high || r->v > high->v)
			high = r;
	}
	text_member(out, "low"), int_or_null(out, low);
	text_member(out, "high"), int_or_null(out, high);
	text_member(out, "first"), int_or_null(out, first);
	text_member(out, "last"), int_or_null(out, last);
}

void trail_body_write(struct text *out, const struct trail_body *b)
{
	if (b->n < 1 || b->n > TRAIL_READINGS_MAX) {
		out->failed = true;
		return;
	}
	member_set(out, "job", b->job);
	text_member_string(out, "meter", b->meter);
	text_member_string(out, "function", function_name(b->function));
	member_or_null(out, "position", b->position);
	text_member_decimal(out, "digit", b->digit);
	list_at(out, b);
	list_v(out, b);
	list_state(out, b);
	extremes(out, b);
	text_member_int(out, "n", b->n);
	list_second(out, b);
	use_write(out, b->use);
}

static bool read_states(struct slice list, struct trail_reading *reading, int n, int size)
{
	struct slice pair;
	for (size_t cursor = 0; json_next(list, &cursor, &pair);) {
		int64_t i;
		char word[32];
		if (!json_int(json_element(pair, 0), &i) || i < 0 || i >= n ||
		    !json_text(json_element(pair, 1), word, sizeof word))
			return false;
		/* A word of a later version is passed over. */
		if (i < size)
			reading[i].state |= reading_state_bit(word, strlen(word));
	}
	return true;
}

/* One of a later version is passed over; a list of another length is none of ours. */
static bool read_second(const char *text, size_t len, struct trail_body *body,
                        struct trail_reading *reading, int size)
{
	struct slice s = json_member(text, len, "second"), v, one;
	char word[24];
	int i = 0;
	if (!s.at || *s.at != '{' || !json_text(json_member(s.at, s.len, "is"), word, sizeof word) ||
	    !second_from_word(word, strlen(word), &body->second))
		return true;
	if (!json_decimal(json_member(s.at, s.len, "digit"), &body->second_digit))
		return false;
	v = json_member(s.at, s.len, "v");
	for (size_t cursor = 0; json_next(v, &cursor, &one); i++) {
		int64_t count = 0;
		bool has = json_int(one, &count);
		if (i >= body->n || (!has && !json_absent(one)))
			return false;
		if (i < size) {
			reading[i].second = count;
			reading[i].has_second = has;
		}
	}
	return i == body->n;
}

bool trail_body_read(const char *text, size_t len, struct trail_body *body,
                     struct trail_names *names, struct trail_reading *reading, int size)
{
	char function[32];
	int64_t n;
	*body = (struct trail_body){.meter = names->meter, .position = names->position,
	                            .reading = reading};
	if (!record_is(text, len, "trail") ||
	    !member_string(text, len, "meter", names->meter, sizeof names->meter) ||
	    !member_string(text, len, "function", function, sizeof function) ||
	    !function_from_name(function, strlen(function), &body->function) ||
	    !json_decimal(json_member(text, len, "digit"), &body->digit) ||
	    !json_int(json_member(text, len, "n"), &n) || n < 1 || n > TRAIL_READINGS_MAX)
		return false;
	member_string(text, len, "position", names->position, sizeof names->position);
	body->n = (int)n;
	body->recovered = json_bool(json_member(text, len, "recovered"), false);

	struct slice at = json_member(text, len, "at"), v = json_member(text, len, "v"), one, two;
	size_t at_cursor = 0, v_cursor = 0;
	for (int i = 0; i < body->n; i++) {
		struct trail_reading r = {0};
		if (!json_next(at, &at_cursor, &one) || !json_next(v, &v_cursor, &two) ||
		    !json_int(one, &r.at))
			return false;
		r.has_value = json_int(two, &r.v);
		if (!r.has_value && !json_absent(two))
			return false;
		if (i < size)
			reading[i] = r;
	}
	if (json_next(at, &at_cursor, &one) || json_next(v, &v_cursor, &two))
		return false;
	return read_states(json_member(text, len, "state"), reading, body->n, size) &&
	       read_second(text, len, body, reading, size);
}

/* SPDX-License-Identifier: MIT */
/*
 * Trail runs without their readings, and pieces of them: see record.h.
 *
 * A picture of ten million readings looks at two thousand runs that lie across the
 * edge of a column, and must know of each how much lies on either side.  So the lists
 * are searched as text: `at` never falls, hence a place in it is found by halving, and
 * which reading that is, by counting commas, eight bytes at a time.
 */
#include "protocol/record/kinds.h"
#include "protocol/record/record.h"
#include "protocol/trade/ascii.h"

#include <string.h>

/* ---- lists of numbers, as text ---- */

/* The list after `opening`, the first of its kind or, with `here`, right at the beginning.
 * In a valid text an unescaped quote before a key can only be the one that opens it. */
static struct slice number_list(const char *text, size_t len, const char *opening, bool here)
{
	size_t n = strlen(opening);
	const char *at = !here ? memmem(text, len, opening, n)
	                 : len >= n && memcmp(text, opening, n) == 0 ? text : NULL;
	if (!at)
		return (struct slice){NULL, 0};
	at += n;
	const char *end = memchr(at, ']', (size_t)(text + len - at));
	return end ? (struct slice){at, (size_t)(end - at)} : (struct slice){NULL, 0};
}

#define EACH_BYTE UINT64_C(0x0101010101010101)

static size_t commas_in_word(const char *p)
{
	uint64_t x;
	memcpy(&x, p, sizeof x);
	x ^= EACH_BYTE * ',';
	/* The high bit of each byte that is 0 now, and of no other. */
	uint64_t zero = ~(((x & EACH_BYTE * 0x7f) + EACH_BYTE * 0x7f) | x | EACH_BYTE * 0x7f);
	return (size_t)((zero >> 7) * EACH_BYTE >> 56);
}

static size_t commas(const char *p, size_t len)
{
	size_t n = 0;
	for (; len >= 8; p += 8, len -= 8)
		n += commas_in_word(p);
	for (; len; p++, len--)
		n += *p == ',';
	return n;
}

/* Where the item begins that follows `k` others after `at`; the end where there are fewer. */
static size_t item_after(struct slice list, size_t at, size_t k)
{
	if (k == 0)
		return at;
	while (at + 8 <= list.len) {
		size_t n = commas_in_word(list.at + at);
		if (n >= k)
			break;
		k -= n;
		at += 8;
	}
	for (; at < list.len; at++)
		if (list.at[at] == ',' && --k == 0)
			return at + 1;
	return list.len;
}

/* The value of up to seven digits, the first in the lowest byte, at the high end of a word
 * whose other bytes are zero: pairs, then fours, then all (little-endian machines). */
static int64_t digits_value(uint64_t x)
{
	x = (x & EACH_BYTE * 0x0f) * 2561 >> 8;
	x = (x & UINT64_C(0x00ff00ff00ff00ff)) * 6553601 >> 16;
	return (int64_t)((x & UINT64_C(0x0000ffff0000ffff)) * UINT64_C(42949672960001) >> 32);
}

/* A number of one to seven digits that ends with a comma within eight bytes. */
static bool whole_short(const char *p, size_t *len, int64_t *out)
{
#if __BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__
	uint64_t x;
	memcpy(&x, p, sizeof x);
	uint64_t other = x ^ EACH_BYTE * ',';
	uint64_t comma = ~(((other & EACH_BYTE * 0x7f) + EACH_BYTE * 0x7f) | other | EACH_BYTE * 0x7f);
	if (!comma || *p < '0' || *p > '9')
		return false;
	*len = (size_t)__builtin_ctzll(comma) / 8;
	*out = digits_value(x << (64 - 8 * *len));
	return true;
#else
	(void)p, (void)len, (void)out;
	return false;
#endif
}

/* Reads the whole number at *at and goes past it and its comma; false for null. */
static bool whole(struct slice list, size_t *at, int64_t *out)
{
	size_t i = *at, len;
	bool minus = i < list.len && list.at[i] == '-';
	i += minus;
	if (i + 8 <= list.len && whole_short(list.at + i, &len, out)) {
		*out = minus ? -*out : *out;
		*at = i + len + 1;
		return true;
	}
	uint64_t n = 0;
	size_t digits = i;
	for (; i < list.len && ascii_digit(list.at[i]); i++)
		n = n * 10 + (uint64_t)(list.at[i] - '0');
	bool got = i > digits;
	while (i < list.len && list.at[i] != ',')
		i++;
	*at = i + (i < list.len);
	*out = minus ? (int64_t)(0 - n) : (int64_t)n;
	return got;
}

/* Where, from `low` on, the first item begins that is not below `edge`, in a list that
 * never falls. */
static size_t edge_in(struct slice list, size_t low, int64_t edge)
{
	size_t high = list.len; /* an item begins at low; all from high on are not below */
	while (low < high) {
		size_t middle = low + (high - low) / 2;
		while (middle > low && list.at[middle - 1] != ',')
			middle--;
		size_t next = middle;
		int64_t at;
		whole(list, &next, &at);
		if (at < edge)
			low = next;
		else
			high = middle;
	}
	return low;
}

/* ---- a run ---- */

static int64_t last_of(struct slice list)
{
	size_t at = list.len;
	int64_t n = 0;
	while (at > 0 && list.at[at - 1] != ',')
		at--;
	whole(list, &at, &n);
	return n;
}

/* A count of `digit`, SI, correctly rounded (a digit of more than one unit, which we never
 * write, is rounded twice). */
static double real(struct decimal digit, int64_t count)
{
	double one = decimal_double((struct decimal){.n = count, .e = digit.e});
	return digit.n == 1 ? one : one * (double)digit.n;
}

static bool real_of(struct decimal digit, struct slice value, double *out)
{
	int64_t count;
	if (!json_int(value, &count))
		return false;
	*out = real(digit, count);
	return true;
}

static bool keys_are(struct slice key, const char *name)
{
	return key.len == strlen(name) && memcmp(key.at, name, key.len) == 0;
}

/* Past the states that follow the values at `at`, if there are any: of open leads there is one for
 * each, with a quote and a bracket in every few bytes. */
static size_t after_states(const char *text, size_t len, size_t at)
{
	static const char opening[] = ",\"state\":[[";
	if (len - at < sizeof opening || memcmp(text + at, opening, sizeof opening - 1) != 0)
		return at;
	const char *end = memmem(text + at, len - at, "\"]]", 3);
	/* A quote after a letter ends a word: one that begins a word, or is escaped, has another before
	 * it.  Else they are read one by one. */
	return end && ascii_letter(end[-1]) ? (size_t)(end + 3 - text) : at;
}

bool trail_summary_read(const char *text, size_t len, struct trail_summary *s)
{
	struct slice key, value, function = {NULL, 0};
	int64_t n = 0;
	int reals = 0;
	*s = (struct trail_summary){.at = number_list(text, len, ",\"at\":[", false)};
	if (!s->at.at || !s->at.len)
		return false;
	const char *after = s->at.at + s->at.len + 1;
	s->v = number_list(after, (size_t)(text + len - after), ",\"v\":[", true);
	if (!s->v.at || !s->v.len)
		return false;
	struct slice front = {text, (size_t)(s->at.at - text) - strlen(",\"at\":[")};
	bool trail = false, timed = false, weighed = false;
	for (size_t cursor = 0; json_next_member(front, &cursor, &key, &value);) {
		if (keys_are(key, "kind"))
			trail = json_is(value, "trail");
		else if (keys_are(key, "t"))
			timed = json_time(value, &s->t);
		else if (keys_are(key, "meter"))
			json_text(value, s->meter, sizeof s->meter);
		else if (keys_are(key, "position"))
			json_text(value, s->position, sizeof s->position);
		else if (keys_are(key, "function"))
			function = value;
		else if (keys_are(key, "digit"))
			weighed = json_decimal(value, &s->digit);
	}
	char name[32];
	if (!trail || !timed || !weighed || !s->meter[0] || !json_text(function, name, sizeof name) ||
	    !function_from_name(name, strlen(name), &s->function))
		return false;
	size_t cursor = after_states(text, len, (size_t)(s->v.at + s->v.len + 1 - text));
	for (struct slice all = {text, len}; json_next_member(all, &cursor, &key, &value);) {
		if (keys_are(key, "low"))
			reals += real_of(s->digit, value, &s->all.low);
		else if (keys_are(key, "high"))
			reals += real_of(s->digit, value, &s->all.high);
		else if (keys_are(key, "first"))
			reals += real_of(s->digit, value, &s->all.first);
		else if (keys_are(key, "last"))
			reals += real_of(s->digit, value, &s->all.last);
		else if (keys_are(key, "n"))
			json_int(value, &n);
	}
	s->all.n = (int)n;
	s->all.has_value = reals == 4;
	s->span = last_of(s->at) * TRAIL_TICK_US;
	return n >= 1 && n <= TRAIL_READINGS_MAX && s->span >= 0;
}

/* The first tick that is not before `edge`. */
static int64_t tick_at(const struct trail_summary *s, int64_t edge)
{
	return edge <= s->t ? 0 : (edge - s->t - 1) / TRAIL_TICK_US + 1;
}

/* Goes on to `edge` in the list of times; how many readings that are. */
static size_t go_to(struct trail_summary *s, int64_t edge)
{
	size_t to = edge_in(s->at, s->next_at, tick_at(s, edge));
	size_t n = commas(s->at.at + s->next_at, to - s->next_at);
	/* The last one has no comma behind it. */
	n += to == s->at.len && s->next_at < to;
	s->next_at = to;
	return n;
}

void trail_summary_skip(struct trail_summary *s, int64_t to)
{
	s->next_v = item_after(s->v, s->next_v, go_to(s, to));
}

void trail_summary_part(struct trail_summary *s, int64_t to, struct trail_extremes *out)
{
	int64_t low = 0, high = 0, v, first = 0, last = 0;
	*out = (struct trail_extremes){.n = (int)go_to(s, to)};
	for (int i = 0; i < out->n; i++) {
		if (!whole(s->v, &s->next_v, &v))
			continue;
		if (!out->has_value)
			low = high = first = v;
		low = v < low ? v : low;
		high = v > high ? v : high;
		last = v;
		out->has_value = true;
	}
	if (!out->has_value)
		return;
	out->low = real(s->digit, low);
	out->high = real(s->digit, high);
	out->first = real(s->digit, first);
	out->last = real(s->digit, last);
}

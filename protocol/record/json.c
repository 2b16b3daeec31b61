/* SPDX-License-Identifier: MIT */
/*
 * Reading the JSON text of records in place: see text.h.  These functions skip to
 * what is asked for and trust the text, but for its ends.
 */
#include "protocol/record/json_string.h"
#include "protocol/record/text.h"
#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool is_space(char c)
{
	return c == ' ' || c == '\t' || c == '\n' || c == '\r';
}

/* ---- walking ---- */

static size_t skip_space(const char *s, size_t len, size_t at)
{
	while (at < len && is_space(s[at]))
		at++;
	return at;
}

/* Past the closing quote of the string that opens at `at`. */
static size_t skip_string(const char *s, size_t len, size_t at)
{
	for (at++; at < len && s[at] != '"'; at++)
		if (s[at] == '\\')
			at++;
	return at < len ? at + 1 : len;
}

/* Eight bytes none of which opens or closes anything? */
static bool word_is_inside(const char *s)
{
	const uint64_t each = UINT64_C(0x0101010101010101);
	uint64_t w, found = 0;
	memcpy(&w, s, sizeof w);
	w |= each * 0x20; /* { } for [ ], too */
	for (int i = 0; i < 3; i++) {
		uint64_t x = w ^ each * (unsigned char)"\"{}"[i];
		found |= (x - each) & ~x; /* its high bit where the byte is that one */
	}
	return !(found & each * 0x80);
}

static size_t skip_value(const char *s, size_t len, size_t at)
{
	int depth = 0;
	while (at < len) {
		char c = s[at];
		if (c == '"') {
			at = skip_string(s, len, at);
		} else if (c == '{' || c == '[') {
			depth++;
			at++;
		} else if (c == '}' || c == ']') {
			if (depth == 0)
				return at; /* the end of what holds the value */
			depth--;
			at++;
		} else if (depth == 0) {
			while (at < len && !is_space(s[at]) && s[at] != ',' && s[at] != ']' &&
			       s[at] != '}' && s[at] != ':')
				at++;
			return at;
		} else {
			for (at++; at + 8 <= len && word_is_inside(s + at); at += 8)
				;
		}
		if (depth == 0)
			return at;
	}
	return len;
}

/* To the next item after *cursor in an array or object: false at its end. */
static bool next_item(struct slice s, char open, size_t *cursor, size_t *at)
{
	if (!s.at)
		return false;
	size_t i = skip_space(s.at, s.len, *cursor);
	if (i >= s.len || s.at[i] != (*cursor ? ',' : open))
		return false;
	i = skip_space(s.at, s.len, i + 1);
	if (i >= s.len || s.at[i] == ']' || s.at[i] == '}')
		return false;
	*at = i;
	return true;
}

bool json_next(struct slice array, size_t *cursor, struct slice *element)
{
	size_t at;
	if (!next_item(array, '[', cursor, &at))
		return false;
	size_t end = skip_value(array.at, array.len, at);
	*element = (struct slice){array.at + at, end - at};
	*cursor = end;
	return end > at;
}

bool json_next_member(struct slice object, size_t *cursor, struct slice *key, struct slice *value)
{
	size_t at;
	if (!next_item(object, '{', cursor, &at) || object.at[at] != '"')
		return false;
	size_t end = skip_string(object.at, object.len, at);
	*key = (struct slice){object.at + at + 1, end - at >= 2 ? end - at - 2 : 0};
	size_t colon = skip_space(object.at, object.len, end);
	if (colon >= object.len || object.at[colon] != ':')
		return false;
	size_t from = skip_space(object.at, object.len, colon + 1);
	size_t to = skip_value(object.at, object.len, from);
	*value = (struct slice){object.at + from, to - from};
	*cursor = to;
	return to > from;
}

static bool key_is(struct slice key, const char *name, size_t len)
{
	if (key.len == len && memcmp(key.at, name, len) == 0)
		return true;
	/* Our own keys need no escapes; a foreign writer may use them. */
	return memchr(key.at, '\\', key.len) && string_same(key.at, key.len, name, len);
}

static struct slice member_of(struct slice object, const char *name, size_t len)
{
	struct slice key, value;
	for (size_t cursor = 0; json_next_member(object, &cursor, &key, &value);)
		if (key_is(key, name, len))
			return value;
	return (struct slice){NULL, 0};
}

struct slice json_member(const char *text, size_t len, const char *path)
{
	struct slice s = {text, len};
	for (;;) {
		size_t n = strcspn(path, ".");
		s = member_of(s, path, n);
		if (!s.at || !path[n])
			return s;
		path += n + 1;
	}
}

struct slice json_element(struct slice array, size_t i)
{
	struct slice element;
	for (size_t cursor = 0; json_next(array, &cursor, &element); i--)
		if (i == 0)
			return element;
	return (struct slice){NULL, 0};
}

/* ---- what a value says ---- */

static bool is_word(struct slice s, const char *word)
{
	return s.at && s.len == strlen(word) && memcmp(s.at, word, s.len) == 0;
}

bool json_absent(struct slice s)
{
	return !s.at || is_word(s, "null");
}

bool json_bool(struct slice s, bool otherwise)
{
	return is_word(s, "true") ? true : is_word(s, "false") ? false : otherwise;
}

static bool is_string(struct slice s)
{
	return s.at && s.len >= 2 && s.at[0] == '"' && s.at[s.len - 1] == '"';
}

bool json_text(struct slice s, char *out, size_t size)
{
	if (size)
		out[0] = '\0';
	if (!is_string(s))
		return false;
	const char *at = s.at + 1;
	size_t left = s.len - 2, used = 0;
	while (left) {
		char decoded[4] = {0};
		size_t n = 0, step = string_step(at, left, decoded, &n);
		if (!step)
			break;
		if (n == 1 && decoded[0] == '\0')
			n = utf8_put(0xfffd, decoded);
		if (used + n >= size)
			break;
		memcpy(out + used, decoded, n);
		used += n;
		at += step, left -= step;
	}
	if (size)
		out[used] = '\0';
	return true;
}

bool json_is(struct slice s, const char *string)
{
	size_t len = strlen(string);
	if (!is_string(s))
		return false;
	struct slice raw = {s.at + 1, s.len - 2};
	if (!memchr(raw.at, '\\', raw.len))
		return raw.len == len && memcmp(raw.at, string, len) == 0;
	while (raw.len) {
		char decoded[4];
		size_t n = 0, step = string_step(raw.at, raw.len, decoded, &n);
		if (!step || n > len || memcmp(decoded, string, n) != 0)
			return false;
		raw.at += step, raw.len -= step;
		string += n, len -= n;
	}
	return len == 0;
}

static bool is_number(struct slice s)
{
	return s.at && s.len && (s.at[0] == '-' || ascii_digit(s.at[0]));
}

bool json_decimal(struct slice s, struct decimal *out)
{
	return is_number(s) && decimal_parse(s.at, s.len, out);
}

bool json_int(struct slice s, int64_t *out)
{
	if (!is_number(s))
		return false;
	bool minus = s.at[0] == '-';
	uint64_t n = 0, limit = (uint64_t)INT64_MAX + minus;
	size_t i = minus;
	for (; i < s.len && ascii_digit(s.at[i]); i++) {
		uint64_t digit = (uint64_t)(s.at[i] - '0');
		if (n > (limit - digit) / 10)
			return false;
		n = n * 10 + digit;
	}
	if (i == s.len && i > minus) {
		*out = minus ? (int64_t)((uint64_t)0 - n) : (int64_t)n;
		return true;
	}
	struct decimal d;
	if (!json_decimal(s, &d) || !decimal_rescale(d, 0, &d))
		return false;
	*out = d.n;
	return true;
}

/* The exponent part at `at`; false where something else stands there. */
static bool real_exponent(struct slice s, size_t at, long *e)
{
	*e = 0;
	if (at == s.len)
		return true;
	if (s.at[at] != 'e' && s.at[at] != 'E')
		return false;
	at++;
	bool minus = at < s.len && s.at[at] == '-';
	if (at < s.len && (minus || s.at[at] == '+'))
		at++;
	for (; at < s.len && ascii_digit(s.at[at]); at++)
		if (*e < 100000)
			*e = *e * 10 + (s.at[at] - '0');
	if (minus)
		*e = -*e;
	return at == s.len;
}

/* More digits, or a larger exponent, than a decimal holds: the digits without
 * their point, so that strtod cannot meet a locale. */
static bool real_long(struct slice s, double *out)
{
	enum { DIGITS = 40 };
	char number[DIGITS + 32];
	size_t used = 0, i = 0;
	long e = 0, given;
	bool point = false, more = false;
	if (s.at[0] == '-')
		number[used++] = s.at[i++];
	for (; i < s.len && (ascii_digit(s.at[i]) || (s.at[i] == '.' && !point)); i++) {
		if (s.at[i] == '.') {
			point = true;
		} else if (used < DIGITS) {
			/* Zeros in front would use up the room. */
			if (s.at[i] != '0' || (used && ascii_digit(number[used - 1])))
				number[used++] = s.at[i];
			e -= point;
		} else {
			more |= s.at[i] != '0';
			e += !point;
		}
	}
	if (more) {
		number[used++] = '1';
		e--;
	}
	if (!used || !ascii_digit(number[used - 1]))
		number[used++] = '0';
	if (!real_exponent(s, i, &given))
		return false;
	snprintf(number + used, sizeof number - used, "e%ld", e + given);
	*out = strtod(number, NULL);
	return true;
}

bool json_number(struct slice s, double *out)
{
	struct decimal d;
	if (json_decimal(s, &d)) {
		*out = decimal_double(d);
		return true;
	}
	return is_number(s) && real_long(s, out);
}

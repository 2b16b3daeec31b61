/* SPDX-License-Identifier: MIT */
/*
 * Is this text valid JSON?  Looks at every byte; see json_valid in text.h.
 */
#include "protocol/record/json_string.h"
#include "protocol/record/text.h"
#include "protocol/trade/ascii.h"

#include <string.h>

static bool is_space(char c)
{
	return c == ' ' || c == '\t' || c == '\n' || c == '\r';
}

/* A byte of a string that stands for itself. */
static bool is_plain(char c)
{
	return (unsigned char)c >= 0x20 && (unsigned char)c < 0x80 && c != '"' && c != '\\';
}

struct member {
	uint32_t hash;
	size_t at, len; /* the raw key */
};

struct check {
	const char *s;
	size_t len, at;
	size_t control; /* the first byte below 0x20 between tokens; len for none */
	int depth;
	int members; /* of all open objects */
	struct member member[JSON_MEMBERS_MAX];
};

static bool check_value(struct check *c);

static void check_space(struct check *c)
{
	for (; c->at < c->len && is_space(c->s[c->at]); c->at++)
		if (c->s[c->at] != ' ' && c->control == c->len)
			c->control = c->at;
}

static bool check_byte(struct check *c, char want)
{
	if (c->at >= c->len || c->s[c->at] != want)
		return false;
	c->at++;
	return true;
}

static bool check_word(struct check *c, const char *word)
{
	for (; *word; word++)
		if (!check_byte(c, *word))
			return false;
	return true;
}

static bool check_digits(struct check *c)
{
	size_t first = c->at, at = first;
	while (at < c->len && ascii_digit(c->s[at]))
		at++;
	c->at = at;
	return at > first;
}

static bool check_number(struct check *c)
{
	check_byte(c, '-');
	if (!check_byte(c, '0') && !check_digits(c))
		return false;
	if (check_byte(c, '.') && !check_digits(c))
		return false;
	if (check_byte(c, 'e') || check_byte(c, 'E')) {
		if (!check_byte(c, '+'))
			check_byte(c, '-');
		return check_digits(c);
	}
	return true;
}

/* Eight bytes at a time; the words are loaded so that the next byte of the text is the next
 * higher one. */
#define EACH(byte) (0x0101010101010101u * (uint64_t)(byte))
#define HIGH EACH(0x80)

static uint64_t word_at(const char *s)
{
	uint64_t w;
	memcpy(&w, s, sizeof w);
#if __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
	w = __builtin_bswap64(w);
#endif
	return w;
}

static uint64_t bytes_equal(uint64_t w, char byte)
{
	uint64_t x = w ^ EACH((unsigned char)byte);
	return ~(((x & ~HIGH) + ~HIGH) | x) & HIGH;
}

/* Eight bytes of a string that stand for themselves: from 0x20 to 0x7f, no quote, no backslash. */
static bool all_plain(const char *s)
{
	uint64_t w = word_at(s);
	uint64_t low = (w - EACH(0x20)) | w; /* 0x20 to 0x7f, where no byte below borrows */
	return !((low & HIGH) | bytes_equal(w, '"') | bytes_equal(w, '\\'));
}

static bool check_string(struct check *c)
{
	if (!check_byte(c, '"'))
		return false;
	for (;;) {
		size_t at = c->at;
		while (c->len - at >= 8 && all_plain(c->s + at))
			at += 8;
		while (at < c->len && is_plain(c->s[at]))
			at++;
		c->at = at;
		if (check_byte(c, '"'))
			return true;
		char decoded[4];
		size_t n, step = string_step(c->s + c->at, c->len - c->at, decoded, &n);
		if (!step)
			return false;
		c->at += step;
	}
}

/* FNV-1a of what the key says. */
static uint32_t key_hash(const char *s, size_t len)
{
	uint32_t hash = 2166136261u;
	for (; len && is_plain(*s); s++, len--)
		hash = (hash ^ (unsigned char)*s) * 16777619u;
	while (len) {
		char decoded[4];
		size_t n = 0, step = string_step(s, len, decoded, &n);
		if (!step)
			break;
		for (size_t i = 0; i < n; i++)
			hash = (hash ^ (unsigned char)decoded[i]) * 16777619u;
		s += step, len -= step;
	}
	return hash;
}

/* A key that this object (whose members begin at `first`) does not have yet. */
static bool check_key(struct check *c, int first)
{
	size_t open = c->at;
	if (!check_string(c))
		return false;
	struct member m = {.at = open + 1, .len = c->at - open - 2};
	m.hash = key_hash(c->s + m.at, m.len);
	bool fresh = c->members < JSON_MEMBERS_MAX;
	for (int i = first; i < c->members && fresh; i++)
		fresh = c->member[i].hash != m.hash ||
		        !string_same(c->s + m.at, m.len, c->s + c->member[i].at, c->member[i].len);
	if (!fresh) {
		c->at = open;
		return false;
	}
	c->member[c->members++] = m;
	return true;
}

static bool check_object(struct check *c)
{
	int first = c->members;
	c->at++;
	check_space(c);
	if (check_byte(c, '}'))
		return true;
	do {
		check_space(c);
		if (!check_key(c, first))
			return false;
		check_space(c);
		if (!check_byte(c, ':') || !check_value(c))
			return false;
		check_space(c);
	} while (check_byte(c, ','));
	c->members = first;
	return check_byte(c, '}');
}

/*
 * Whole numbers and commas, eight bytes at a time: most of a log is trail records, and
 * most of those is this.  In each word the high bit of a byte says that it is a digit, a
 * comma and so on, and what must hold between neighbours is asked of all eight at once:
 *   a minus stands after a comma and before a digit, a comma not after a comma, and no
 *   digit after a number that begins with 0.
 */
static uint64_t bytes_digits(uint64_t w)
{
	uint64_t x = w ^ EACH('0'); /* digits are 0 to 9 now */
	return ~(((x & ~HIGH) + EACH(0x80 - 10)) | x) & HIGH;
}

/* The same of sixteen bytes, by the vector instructions that every machine has: what stands
 * before a byte is read again, one and two bytes to the left. */
typedef unsigned char bytes16 __attribute__((vector_size(16)));

static bytes16 bytes16_at(const char *s)
{
	bytes16 v;
	memcpy(&v, s, sizeof v);
	return v;
}

#define ALL(c) ((bytes16){c, c, c, c, c, c, c, c, c, c, c, c, c, c, c, c})
#define ARE(v, c) ((bytes16)((v) == ALL(c)))
#define ARE_DIGITS(v) ((bytes16)((v) - ALL('0') < ALL(10)))

static bool sixteen_integers(const char *s)
{
	bytes16 now = bytes16_at(s), before = bytes16_at(s - 1);
	bytes16 digit = ARE_DIGITS(now), comma = ARE(now, ','), minus = ARE(now, '-');
	bytes16 after_comma = ARE(before, ',');
	bytes16 wrong = ~(digit | comma | minus) | (minus & ~after_comma) | (comma & after_comma) |
	                (ARE(before, '-') & ~digit) |
	                (ARE(before, '0') & ~ARE_DIGITS(bytes16_at(s - 2)) & digit);
	uint64_t half[2];
	memcpy(half, &wrong, sizeof half);
	return !(half[0] | half[1]);
}

/* From the beginning of an element to that of another one further on; what follows
 * there has not been looked at.  Stays where it is when it finds nothing to pass over. */
static void pass_integers(struct check *c)
{
	uint64_t comma_before = 0x80, minus_before = 0, digit_before = 0, zero_before = 0;
	size_t last = c->at; /* the element that begins last */
	for (size_t at = c->at; c->len - at >= 8; at += 8) {
		/* With eight bytes behind it that were looked at, sixteen at once. */
		if (at == c->at + 8 && c->len - at >= 16 && sixteen_integers(c->s + at)) {
			size_t from = at;
			while (c->len - at >= 16 && sixteen_integers(c->s + at))
				at += 16;
			for (size_t i = at; i > from; i--)
				if (c->s[i - 1] == ',') {
					last = i;
					break;
				}
			char one = c->s[at - 1], two = c->s[at - 2];
			comma_before = one == ',' ? 0x80 : 0;
			minus_before = one == '-' ? 0x80 : 0;
			digit_before = ascii_digit(one) ? 0x80 : 0;
			zero_before = one == '0' && !ascii_digit(two) ? 0x80 : 0;
			if (c->len - at < 8)
				break;
		}
		uint64_t w = word_at(c->s + at);
		uint64_t digit = bytes_digits(w), comma = bytes_equal(w, ','), minus = bytes_equal(w, '-');
		uint64_t after_comma = comma << 8 | comma_before;
		uint64_t zero = digit & ~(digit << 8 | digit_before) & bytes_equal(w, '0');
		uint64_t wrong = (minus & ~after_comma) | (comma & after_comma) |
		                 ((minus << 8 | minus_before) & ~digit) |
		                 ((zero << 8 | zero_before) & digit);
		if ((digit | comma | minus) != HIGH || wrong)
			break;
		if (comma)
			last = at + 8 - (size_t)__builtin_clzll(comma) / 8;
		comma_before = comma >> 56;
		minus_before = minus >> 56;
		digit_before = digit >> 56;
		zero_before = zero >> 56;
	}
	c->at = last;
}

/* Readings of open leads have no value, null,null, and a state each, [12,"overload"],[13,"overload"],
 * of which a log has as many as of the others: past all of them that are followed by another element. */
static void pass_nulls(struct check *c)
{
	while (c->len - c->at >= 5 && memcmp(c->s + c->at, "null,", 5) == 0)
		c->at += 5;
}

static size_t past_digits(const struct check *c, size_t at)
{
	bool zero = at < c->len && c->s[at] == '0';
	while (at < c->len && ascii_digit(c->s[at])) {
		at++;
		if (zero)
			break;
	}
	return at;
}

static void pass_pairs(struct check *c)
{
	while (c->depth < JSON_DEPTH_MAX && c->len - c->at >= 8 && c->s[c->at] == '[') {
		size_t first = c->at + 1, at = past_digits(c, first);
		if (at == first || c->len - at < 2 || memcmp(c->s + at, ",\"", 2) != 0)
			return;
		at += 2;
		while (c->len - at >= 8 && all_plain(c->s + at))
			at += 8;
		while (at < c->len && is_plain(c->s[at]))
			at++;
		if (c->len - at < 3 || memcmp(c->s + at, "\"],", 3) != 0)
			return;
		c->at = at + 3;
	}
}

static bool check_array(struct check *c)
{
	c->at++;
	check_space(c);
	if (check_byte(c, ']'))
		return true;
	do {
		pass_integers(c);
		pass_nulls(c);
		pass_pairs(c);
		if (!check_value(c))
			return false;
		check_space(c);
	} while (check_byte(c, ','));
	return check_byte(c, ']');
}

static bool check_value(struct check *c)
{
	check_space(c);
	if (c->at >= c->len)
		return false;
	bool good;
	switch (c->s[c->at]) {
	case '{':
	case '[':
		if (c->depth == JSON_DEPTH_MAX)
			return false;
		c->depth++;
		good = c->s[c->at] == '{' ? check_object(c) : check_array(c);
		c->depth--;
		return good;
	case '"':
		return check_string(c);
	case 't':
		return check_word(c, "true");
	case 'f':
		return check_word(c, "false");
	case 'n':
		return check_word(c, "null");
	default:
		return check_number(c);
	}
}

bool json_valid(const char *text, size_t len, size_t *where)
{
	size_t control;
	return json_valid_line(text, len, where, &control);
}

bool json_valid_line(const char *text, size_t len, size_t *where, size_t *control)
{
	struct check c; /* not cleared: 48 KiB, of which little is used */
	c.s = text;
	c.len = len;
	c.at = 0;
	c.control = len;
	c.depth = 0;
	c.members = 0;
	bool good = check_value(&c);
	if (good) {
		check_space(&c);
		good = c.at == len;
	}
	if (!good && where)
		*where = c.at;
	*control = c.control;
	return good;
}

/* SPDX-License-Identifier: MIT */
/*
 * Writing the exact JSON text of records: see text.h.
 *
 * Trail records are written with this at thousands of readings a second, so the
 * paths for plain integers and plain strings copy bytes and call nothing.
 */
#include "protocol/record/text.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

void text_begin(struct text *t, char *buffer, size_t size)
{
	*t = (struct text){.bytes = buffer, .size = size, .failed = size == 0};
	if (size)
		buffer[0] = '\0';
}

/* Room for n more bytes and the NUL; NULL, and failed, where there is none. */
static char *text_room(struct text *t, size_t n)
{
	if (t->failed || t->size - t->len <= n) {
		t->failed = true;
		return NULL;
	}
	return t->bytes + t->len;
}

static void text_taken(struct text *t, size_t n)
{
	t->len += n;
	t->bytes[t->len] = '\0';
}

void text_add(struct text *t, const char *bytes, size_t len)
{
	char *at = text_room(t, len);
	if (!at || !len)
		return;
	memcpy(at, bytes, len);
	text_taken(t, len);
}

void text_puts(struct text *t, const char *string)
{
	text_add(t, string, strlen(string));
}

void text_printf(struct text *t, const char *format, ...)
{
	if (t->failed)
		return;
	size_t room = t->size - t->len;
	va_list args;
	va_start(args, format);
	int n = vsnprintf(t->bytes + t->len, room, format, args);
	va_end(args);
	if (n < 0 || (size_t)n >= room) {
		t->bytes[t->len] = '\0';
		t->failed = true;
		return;
	}
	t->len += (size_t)n;
}

/* One character that does not stand for itself; returns the bytes it took. */
static size_t string_special(struct text *t, const char *at, size_t len)
{
	static const char letter[] = "btnvfr"; /* from 8; there is no \v in JSON */
	unsigned char c = (unsigned char)at[0];
	if (c == '"' || c == '\\') {
		char escaped[2] = {'\\', (char)c};
		text_add(t, escaped, 2);
		return 1;
	}
	if (c >= 8 && c <= 13 && c != 11) {
		char escaped[2] = {'\\', letter[c - 8]};
		text_add(t, escaped, 2);
		return 1;
	}
	if (c < 0x20) {
		text_printf(t, "\\u%04x", c);
		return 1;
	}
	size_t n = utf8_length(at, len);
	if (n) {
		text_add(t, at, n);
		return n;
	}
	text_add(t, "\xef\xbf\xbd", 3);
	return 1;
}

static bool is_plain(char c)
{
	return (unsigned char)c >= 0x20 && (unsigned char)c < 0x80 && c != '"' && c != '\\';
}

void text_string(struct text *t, const char *string, size_t len)
{
	text_add(t, "\"", 1);
	for (size_t i = 0; i < len && !t->failed;) {
		size_t start = i;
		while (i < len && is_plain(string[i]))
			i++;
		text_add(t, string + start, i - start);
		if (i < len)
			i += string_special(t, string + i, len - i);
	}
	text_add(t, "\"", 1);
}

/* Two digits at a time, from the end. */
static const char two_digits[] = "00010203040506070809101112131415161718192021222324"
                                 "25262728293031323334353637383940414243444546474849"
                                 "50515253545556575859606162636465666768697071727374"
                                 "75767778798081828384858687888990919293949596979899";

static size_t digits_of(uint64_t n)
{
	size_t len = 1;
	for (; n > 999; n /= 1000)
		len += 3;
	return len + (n > 9) + (n > 99);
}

static void put_digits(char *at, size_t len, uint64_t n)
{
	for (; len > 1; len -= 2, n /= 100)
		memcpy(at + len - 2, two_digits + 2 * (n % 100), 2);
	if (len)
		*at = (char)('0' + n % 10);
}

/* Up to four digits, as most numbers of a trail are; where they end. */
static char *put_few(char *at, unsigned n)
{
	if (n >= 1000) {
		memcpy(at, two_digits + 2 * (n / 100), 2);
		at += 2;
	} else if (n >= 100) {
		*at++ = (char)('0' + n / 100);
	} else if (n < 10) {
		*at++ = (char)('0' + n);
		return at;
	}
	memcpy(at, two_digits + 2 * (n % 100), 2);
	return at + 2;
}

static void put_int(struct text *t, const char *before, size_t n_before, int64_t n)
{
	if (n >= 0 && n <= 9999 && !t->failed && t->size - t->len > sizeof ",9999") {
		char *from = t->bytes + t->len, *at = from;
		if (n_before)
			*at++ = *before;
		text_taken(t, (size_t)(put_few(at, (unsigned)n) - from));
		return;
	}
	uint64_t rest = n < 0 ? (uint64_t)0 - (uint64_t)n : (uint64_t)n;
	size_t sign = n < 0, digits = digits_of(rest), len = n_before + sign + digits;
	char *at = text_room(t, len);
	if (!at)
		return;
	if (n_before)
		*at++ = *before;
	if (sign)
		*at++ = '-';
	put_digits(at, digits, rest);
	text_taken(t, len);
}

void text_int(struct text *t, int64_t n)
{
	put_int(t, NULL, 0, n);
}

void text_ref(struct text *t, struct record_ref ref)
{
	if (ref.seq)
		text_int(t, ref.seq);
	else
		text_printf(t, "\x01%llu\x01", (unsigned long long)ref.ticket);
}

void text_member_ref(struct text *t, const char *key, struct record_ref ref)
{
	if (!ref.seq && !ref.ticket)
		return;
	text_member(t, key);
	text_ref(t, ref);
}

void text_int_after(struct text *t, char before, int64_t n)
{
	put_int(t, &before, 1, n);
}

void text_decimal(struct text *t, struct decimal d)
{
	char number[DECIMAL_TEXT_SIZE];
	text_add(t, number, decimal_json(d, number, sizeof number));
}

void text_real(struct text *t, double x)
{
	if (!isfinite(x)) {
		text_puts(t, "null");
		return;
	}
	struct decimal d = decimal_from_double(x, 6);
	if (d.n != 0 || x == 0) {
		text_decimal(t, d);
		return;
	}
	/* Smaller or larger than a decimal can hold: a probability of 1e-60.  The
	 * form is that of decimal_json; a locale may have put something else where
	 * the point belongs. */
	char number[32];
	snprintf(number, sizeof number, "%.5e", x);
	char *point = number + (number[0] == '-') + 1, *e = strchr(number, 'e');
	if (!e || e <= point) {
		t->failed = true;
		return;
	}
	const char *end = e;
	while (end[-1] == '0')
		end--;
	if (end == point + 1)
		end = point;
	else
		*point = '.';
	text_add(t, number, (size_t)(end - number));
	text_puts(t, e);
}

void text_member(struct text *t, const char *key)
{
	text_add(t, ",\"", 2);
	text_puts(t, key);
	text_add(t, "\":", 2);
}

void text_member_string(struct text *t, const char *key, const char *value)
{
	text_member(t, key);
	if (value)
		text_string(t, value, strlen(value));
	else
		text_add(t, "null", 4);
}

void text_member_decimal(struct text *t, const char *key, struct decimal d)
{
	text_member(t, key);
	text_decimal(t, d);
}

void text_member_real(struct text *t, const char *key, double x)
{
	text_member(t, key);
	text_real(t, x);
}

void text_member_int(struct text *t, const char *key, int64_t n)
{
	text_member(t, key);
	text_int(t, n);
}

void text_member_bool(struct text *t, const char *key, bool b)
{
	text_member(t, key);
	text_puts(t, b ? "true" : "false");
}

void text_member_null(struct text *t, const char *key)
{
	text_member(t, key);
	text_add(t, "null", 4);
}

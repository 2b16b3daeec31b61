/* SPDX-License-Identifier: MIT */
/* See dialect_draft.h: places, and the small texts that several sections share. */
#include "protocol/meter/dialect_draft.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "protocol/file/escape.h"
#include "protocol/trade/ascii.h"

bool draft_wrong(const struct draft *t, struct fault *why, struct spot at, const char *format, ...)
{
	char text[sizeof why->text];
	va_list args;
	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	fault_at(why, t->file, at.line, at.column, "%s", text);
	return false;
}

struct spot draft_value(const struct ini_item *i)
{
	return (struct spot){i->line, i->value_column};
}

struct spot draft_key(const struct ini_item *i)
{
	return (struct spot){i->line, i->key_column};
}

bool draft_text(struct draft *t, const struct ini_item *i, char *out, size_t size,
                struct fault *why)
{
	if (strlen(i->value) < size) {
		snprintf(out, size, "%s", i->value);
		return true;
	}
	return draft_wrong(t, why, draft_value(i), "`%s`: at most %zu bytes were expected", i->key,
	                   size - 1);
}

bool draft_bytes(struct draft *t, const struct ini_item *i, const char *from, char *out,
                 size_t size, size_t *len, struct fault *why)
{
	size_t at;
	char ignored;
	struct spot spot = draft_value(i);
	if (escape_read_all(from, strlen(from), out, size, len, &at))
		return true;
	spot.column += (int)(from - i->value) + (int)at;
	if (escape_read(from + at, strlen(from + at), &ignored))
		return draft_wrong(t, why, spot, "`%s`: at most %zu bytes were expected", i->key, size);
	return draft_wrong(t, why, spot, "`%s`: expected a character from 20 to 7E or " ESCAPE_EXPECTED,
	                   i->key);
}

bool draft_word(struct draft *t, struct spot at, const char *text, char *out, size_t size,
                struct fault *why)
{
	size_t n = 0, step;
	for (size_t i = 0; text[i]; i += step) {
		char byte = text[i];
		step = (unsigned char)byte > 0x7e ? 1 : escape_read(text + i, strlen(text + i), &byte);
		at.column += (int)step;
		if (!step || !byte)
			return draft_wrong(t, why, at, "expected text or " ESCAPE_EXPECTED ", and no byte 0");
		if (n + 1 >= size) {
			at.column -= (int)step;
			return draft_wrong(t, why, at, "a text of at most %zu bytes was expected", size - 1);
		}
		out[n++] = byte;
	}
	out[n] = '\0';
	return n > 0 || draft_wrong(t, why, at, "a text was expected");
}

bool draft_one_of(const char *value, const char *const *words, int *out)
{
	for (int k = 0; words[k]; k++)
		if (strcmp(words[k], value) == 0) {
			*out = k;
			return true;
		}
	return false;
}

bool draft_whole(const char *text, int low, int high, int *out)
{
	int n = 0;
	size_t len = strlen(text);
	if (len < 1 || len > 6)
		return false;
	for (size_t i = 0; i < len; i++) {
		if (text[i] < '0' || text[i] > '9')
			return false;
		n = n * 10 + (text[i] - '0');
	}
	*out = n;
	return n >= low && n <= high;
}

bool draft_prefix(const char *word, size_t len, int *out)
{
	static const struct { const char *word; int exponent; } words[] = {
	    {"pico", -12}, {"nano", -9}, {"micro", -6}, {"milli", -3}, {"kilo", 3}, {"mega", 6},
	    {"giga", 9}};
	for (size_t k = 0; k < sizeof words / sizeof *words; k++)
		if (strlen(words[k].word) == len && memcmp(words[k].word, word, len) == 0) {
			*out = words[k].exponent;
			return true;
		}
	return false;
}

bool draft_scale(const char *text, size_t len, int *before, int *exponent)
{
	size_t i = 0;
	*before = -1;
	*exponent = 0;
	for (; i < len && i < 2 && ascii_digit(text[i]); i++)
		*before = (*before < 0 ? 0 : *before * 10) + (text[i] - '0');
	if (i < len && prefix_exponent(text[i], exponent) && *exponent != 0)
		i++;
	return len > 0 && i == len;
}

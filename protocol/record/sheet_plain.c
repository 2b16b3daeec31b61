/* SPDX-License-Identifier: MIT */
/* Plain characters: see sheet_plain.h. */
#include "protocol/record/sheet_plain.h"

#include "protocol/file/utf8.h"
#include "protocol/trade/ascii.h"

#include <string.h>

/* Longer ones before their beginnings. */
static const struct {
	const char *written, *plain;
} table[] = {
    {"+/-", "+-"},
    {"\xc2\xa0", " "},      {"\xc2\xad", ""},       {"\xc2\xbc", "1/4"},    {"\xc2\xbd", "1/2"},
    {"\xc3\x97", "x"},      {"\xe2\x80\x82", " "},  {"\xe2\x80\x83", " "},  {"\xe2\x80\x84", " "},
    {"\xe2\x80\x85", " "},  {"\xe2\x80\x86", " "},  {"\xe2\x80\x87", " "},  {"\xe2\x80\x88", " "},
    {"\xe2\x80\x89", " "},  {"\xe2\x80\x8a", " "},  {"\xe2\x80\x8b", ""},   {"\xe2\x80\x90", "-"},
    {"\xe2\x80\x91", "-"},  {"\xe2\x80\x92", "-"},  {"\xe2\x80\x93", "-"},  {"\xe2\x80\x94", "-"},
    {"\xe2\x80\x95", "-"},  {"\xe2\x80\xa6", ".."}, {"\xe2\x80\xaf", " "},  {"\xe2\x81\x9f", " "},
    {"\xe2\x85\x9b", "1/8"}, {"\xe2\x88\x92", "-"}, {"\xe2\x89\xa4", "<="}, {"\xe2\x89\xa5", ">="},
    {"\xe3\x80\x80", " "},  {"\xef\xbb\xbf", ""},
};
static const char *const quotes[] = {"\xe2\x80\x9c", "\xe2\x80\x9d", "\xe2\x80\x9e",
                                     "\xe2\x80\x9f", "\xc2\xab", "\xc2\xbb"};

/* One character: how many bytes it has in `in`, and what stands for it. */
struct step {
	size_t in, out;
	const char *plain;
};

static bool stands(const char *in, size_t len, const char *word, size_t *n)
{
	*n = strlen(word);
	return len >= *n && memcmp(in, word, *n) == 0;
}

static const char ascii[] = "!\"#$%&'()*+,-./0123456789:;<=>?@ABCDEFGHIJKLMNOPQRSTUVWXYZ[\\]^_`"
                            "abcdefghijklmnopqrstuvwxyz{|}~";

static bool wide_letter(const char *in, size_t len, size_t *nth)
{
	const unsigned char *c = (const unsigned char *)in;
	if (len < 3 || c[0] != 0xef || (c[1] != 0xbc && c[1] != 0xbd) || (c[2] & 0xc0) != 0x80)
		return false;
	size_t point = (size_t)(c[1] - 0xbc) * 64 + (c[2] & 0x3f); /* from U+FF00 */
	*nth = point - 1;
	return point >= 1 && point < sizeof ascii;
}

static struct step step_at(const char *in, size_t len, bool *quoted)
{
	size_t n;
	for (size_t i = 0; i < sizeof quotes / sizeof *quotes; i++)
		if (stands(in, len, quotes[i], &n)) {
			*quoted = !*quoted;
			return (struct step){n, 1, "\""};
		}
	if (in[0] == '"')
		*quoted = !*quoted;
	/* Nearly every byte: no table for these. */
	bool common = (unsigned char)in[0] < 0x80 && in[0] != '+';
	for (size_t i = 0; !common && !*quoted && i < sizeof table / sizeof *table; i++)
		if (stands(in, len, table[i].written, &n))
			return (struct step){n, strlen(table[i].plain), table[i].plain};
	/* Letters as wide as an East Asian one: U+FF01 to U+FF5E are those of ASCII. */
	if (!*quoted && !common && wide_letter(in, len, &n))
		return (struct step){3, 1, &ascii[n]};
	n = utf8_length(in, len);
	n = n ? n : 1; /* no UTF-8: somebody else says so */
	return (struct step){n, n, in};
}

size_t plain_text(const char *in, size_t len, char *out, size_t size)
{
	size_t made = 0;
	bool quoted = false;
	for (size_t at = 0; at < len;) {
		struct step s = step_at(in + at, len - at, &quoted);
		if (made + s.out >= size)
			return size;
		memcpy(out + made, s.plain, s.out);
		made += s.out;
		at += s.in;
	}
	if (!size)
		return size;
	out[made] = '\0';
	return made;
}

size_t plain_origin(const char *in, size_t len, size_t at)
{
	size_t made = 0, from = 0;
	bool quoted = false;
	while (from < len) {
		struct step s = step_at(in + from, len - from, &quoted);
		/* A character that stands for itself has its own bytes. */
		if (at < made + s.out)
			return from + (s.plain == in + from ? at - made : 0);
		made += s.out;
		from += s.in;
	}
	return len;
}

/* `sign` parts the decimals in this text, `other` the thousands, if anything does. */
static bool one_sign(char *text, size_t at, char other, bool certain, struct fault *why)
{
	size_t first = at, end = at + 1;
	while (first > 0 && ascii_digit(text[first - 1]))
		first--;
	while (ascii_digit(text[end]))
		end++;
	bool before = first > 0 && (text[first - 1] == '.' || text[first - 1] == ',') && first < at;
	bool behind = (text[end] == '.' || text[end] == ',') && ascii_digit(text[end + 1]);
	if (before || behind) {
		fault_at(why, NULL, 0, (int)at + 1,
		         "a number with a point and a comma: leave out what parts the thousands");
		return false;
	}
	bool thousands = end - at == 4 && at - first >= 1 && at - first <= 3 && text[first] != '0';
	if (thousands && !certain) {
		fault_at(why, NULL, 0, (int)at + 1,
		         "this %s may be a decimal %s or part the thousands: write %.*s or %.*sk",
		         text[at] == ',' ? "comma" : "point", other == '.' ? "comma" : "point",
		         (int)(at - first), text + first, (int)(at - first), text + first);
		return false;
	}
	return true;
}

bool comma_to_point(char *text, bool decimal, struct fault *why)
{
	for (size_t at = 0; text[at]; at++) {
		if (!ascii_digit(text[at + 1]))
			continue;
		if (text[at] == ',' && !one_sign(text, at, '.', decimal, why))
			return false;
		if (text[at] == '.' && decimal && !one_sign(text, at, ',', false, why))
			return false;
	}
	for (size_t at = 0; text[at]; at++)
		if (text[at] == ',' && ascii_digit(text[at + 1]))
			text[at] = '.';
	return true;
}

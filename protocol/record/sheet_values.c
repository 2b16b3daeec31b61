/* SPDX-License-Identifier: MIT */
/*
 * Values as technicians write them, taken apart: sections of a can, a rating behind a
 * slash, units in words.  See sheet_words.h.
 */
#include "protocol/record/sheet_cells.h"
#include "protocol/record/sheet_plain.h"
#include "protocol/record/sheet_words.h"
#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <string.h>

static bool ends(const char *text, size_t len, const char *word)
{
	size_t n = strlen(word);
	return len >= n && column_is(text + len - n, n, word);
}

/* ---- units in words ---- */

bool value_plain(char *value, size_t size, struct fault *why)
{
	static const struct {
		const char *word, *unit;
	} table[] = {{"volts", "V"}, {"volt", "V"}, {"watts", "W"}, {"watt", "W"}, {"VDCW", "V"},
	             {"WVDC", "V"},  {"VW", "V"},   {"WV", "V"},    {"amps", "A"}, {"amp", "A"}};
	size_t len = strlen(value);
	for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
		size_t n = strlen(table[i].word);
		if (!ends(value, len, table[i].word) || len == n || len >= size)
			continue;
		char before = value[len - n - 1];
		if (ascii_digit(before) || before == ' ' || before == 'k' || before == 'm') {
			snprintf(value + len - n, size - len + n, "%s", table[i].unit);
			break;
		}
	}
	return comma_to_point(value, false, why);
}

/* The bytes of a number at the beginning, sign and fraction allowed. */
static size_t number_length(const char *value)
{
	size_t n = value[0] == '-' || value[0] == '+' ? 1 : 0;
	while (ascii_digit(value[n]) || ((value[n] == '.' || value[n] == ',' || value[n] == '/') &&
	                              ascii_digit(value[n + 1])))
		n++;
	return n;
}

/* Nothing but `unit` with a prefix behind the number? */
static bool has_unit(const char *value, char unit, const char *prefixes)
{
	const char *p = value + number_length(value);
	while (*p == ' ')
		p++;
	if (*p && strchr(prefixes, *p) && ascii_lower(p[1]) == ascii_lower(unit))
		p++;
	if (ascii_lower(*p) != ascii_lower(unit))
		return false;
	p++;
	while (*p == ' ')
		p++;
	return !*p || column_is(p, strlen(p), "AC") || column_is(p, strlen(p), "DC");
}

enum sheet_column value_column(const char *value, enum function f)
{
	if (has_unit(value, 'W', "mk"))
		return SHEET_RATED;
	if (has_unit(value, 'V', "mkK") && f != FUNCTION_VOLT_DC && f != FUNCTION_NONE &&
	    f != FUNCTION_DIODE)
		return SHEET_RATED;
	return f == FUNCTION_OHM && has_unit(value, 'A', "mu") ? SHEET_MAX : SHEET_NOMINAL;
}

/* ---- 47u/450V ---- */

size_t value_slash(const char *value, enum function f)
{
	const char *slash = strchr(value, '/');
	if (!slash || slash == value || strchr(slash + 1, '/') || value[0] == '-' || value[0] == '+')
		return 0;
	const char *right = slash + 1 + strspn(slash + 1, " ");
	size_t digits = strspn(right, "0123456789.,");
	/* 1/2 W is a fraction, 1/2W too. */
	if (digits == 1 && strchr("248", right[0]) && slash == value + 1)
		return 0;
	if (!digits || !(ascii_digit(value[0]) || value[0] == '.' || value[0] == ','))
		return 0;
	bool volts = right[digits] == '\0' && digits >= 2 && f == FUNCTION_FARAD;
	return volts || has_unit(right, 'V', "kK") || has_unit(right, 'W', "m")
	           ? (size_t)(slash - value)
	           : 0;
}

/* ---- 8+8u, 2x100k ---- */

static bool put_section(struct line *l, const char *from, size_t len, size_t at, bool *refused)
{
	while (len && from[0] == ' ')
		from++, len--;
	while (len && from[len - 1] == ' ')
		len--;
	if (l->sections == SECTIONS_MAX || len == 0 || len >= SHEET_CELL_SIZE - 8) {
		*refused = !cell_refuse(l->why, at, "at most eight sections, each with a value");
		return false;
	}
	memcpy(l->section[l->sections], from, len);
	l->section[l->sections++][len] = '\0';
	return true;
}

/* 32+32u: the unit of the last belongs to all that have none.  Where none has one they are
 * microfarads, as on every can (common practice, no source). */
static void share_unit(struct line *l)
{
	char *last = l->section[l->sections - 1], *unit = last + number_length(last);
	if (!*unit && l->capacitor)
		memcpy(unit, "u", 2);
	size_t room = strlen(unit);
	for (int i = 0; i < l->sections - 1; i++) {
		size_t len = strlen(l->section[i]);
		if (number_length(l->section[i]) == len && len + room < SHEET_CELL_SIZE)
			memcpy(l->section[i] + len, unit, room + 1);
	}
}

static bool times(struct line *l, const char *value, size_t at, bool *refused)
{
	size_t n = strspn(value, "0123456789"), sign = n + strspn(value + n, " ");
	if (n == 0 || n > 2 || !strchr("xX*", value[sign]) || !value[sign])
		return false;
	const char *one = value + sign + 1;
	one += strspn(one, " ");
	if (!ascii_digit(one[0]) && one[0] != '.')
		return false;
	int count = value[0] - '0';
	if (n == 2)
		count = count * 10 + value[1] - '0';
	for (int i = 0; i < count; i++)
		if (!put_section(l, one, strlen(one), at, refused))
			return false;
	return count > 0;
}

bool value_sections(struct line *l, const char *value, size_t at, bool *refused)
{
	*refused = false;
	if (!ascii_digit(value[0]) && value[0] != '.')
		return false;
	if (times(l, value, at, refused))
		return true;
	const char *plus = strchr(value, '+');
	if (*refused || !plus)
		return false;
	/* 1e+5 is one number. */
	if (ascii_lower(plus[-1]) == 'e' && !strchr(plus + 1, '+'))
		return false;
	for (const char *from = value; from;) {
		const char *next = strchr(from, '+');
		if (!put_section(l, from, next ? (size_t)(next - from) : strlen(from), at, refused))
			return false;
		from = next ? next + 1 : NULL;
	}
	share_unit(l);
	l->one_can = true;
	return true;
}

/* SPDX-License-Identifier: MIT */
/* Headings of parts lists: see sheet_map.h. */
#include "protocol/record/sheet_map.h"

#include "protocol/file/utf8.h"
#include "protocol/record/sheet_cells.h"
#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <string.h>

static const struct {
	const char *heading;
	int use;
} known[] = {
    {"reference", SHEET_POSITION},   {"references", SHEET_POSITION}, {"ref", SHEET_POSITION},
    {"refs", SHEET_POSITION},        {"designator", SHEET_POSITION}, {"refdes", SHEET_POSITION},
    {"designators", SHEET_POSITION}, {"value", SHEET_NOMINAL},       {"val", SHEET_NOMINAL},
    {"qty", SHEET_COUNT},            {"quantity", SHEET_COUNT},      {"count", SHEET_COUNT},
    {"tolerance", SHEET_TOLERANCE},  {"tol", SHEET_TOLERANCE},       {"voltage", SHEET_RATED},
    {"rating", SHEET_RATED},         {"description", SHEET_NOTE},
};

const char *sheet_use_name(int use)
{
	if (use >= 0 && use < SHEET_COLUMNS)
		return sheet_column_name[use];
	return use == SHEET_COUNT ? "count" : use == SHEET_LEFT ? "-" : "kept";
}

int sheet_heading_use(const char *heading, size_t len)
{
	while (len && (heading[len - 1] == '.' || ascii_blank(heading[len - 1])))
		len--;
	for (int i = 0; i < SHEET_COLUMNS; i++)
		if (column_is(heading, len, sheet_column_name[i]))
			return i;
	for (size_t i = 0; i < sizeof known / sizeof *known; i++)
		if (column_is(heading, len, known[i].heading))
			return known[i].use;
	return SHEET_KEPT;
}

bool sheet_map_add(struct sheet_map *map, const char *heading, const char *column,
                   struct fault *why)
{
	int use = -1;
	for (int i = 0; i <= SHEET_LEFT; i++)
		if (column_is(column, strlen(column), sheet_use_name(i)))
			use = i;
	if (use < 0) {
		fault_set(why, "`%.40s` is no column of a sheet: position, kind, nominal, tolerance, "
		          "service, rated, role, with, channel, twin, part, source, max, price, note; or "
		          "count, kept, - (leave it out)", column);
		return false;
	}
	if (strcmp(heading, "*") == 0 && use == SHEET_LEFT) {
		map->rest_left = true;
		return true;
	}
	if (map->pairs == SHEET_MAP_MAX || !heading[0] || strlen(heading) >= SHEET_HEADING_SIZE) {
		fault_set(why, "a map has at most %d headings, each of 1 to %d bytes", SHEET_MAP_MAX,
		          SHEET_HEADING_SIZE - 1);
		return false;
	}
	for (int i = 0; i < map->pairs; i++) {
		bool heading_twice = column_is(heading, strlen(heading), map->heading[i]);
		bool use_twice = use <= SHEET_COUNT && map->use[i] == use;
		if (heading_twice || use_twice) {
			fault_set(why, "`%.60s` is mapped twice", heading_twice ? heading : column);
			return false;
		}
	}
	snprintf(map->heading[map->pairs], SHEET_HEADING_SIZE, "%s", heading);
	map->use[map->pairs++] = use;
	return true;
}

bool sheet_map_parse(struct sheet_map *map, const char *text, struct fault *why)
{
	for (size_t at = 0;;) {
		char heading[SHEET_HEADING_SIZE], column[SHEET_HEADING_SIZE];
		size_t n = strcspn(text + at, ","), key = n;
		struct fault said;
		while (key > 0 && text[at + key - 1] != '=')
			key--;
		if (key < 2 || key - 1 >= sizeof heading || n - key >= sizeof column) {
			fault_at(why, NULL, 0, (int)at + 1,
			         "expected HEADING=COLUMN, such as ref=position,val=nominal");
			return false;
		}
		snprintf(heading, sizeof heading, "%.*s", (int)key - 1, text + at);
		snprintf(column, sizeof column, "%.*s", (int)(n - key), text + at + key);
		if (!sheet_map_add(map, heading, column, &said)) {
			fault_at(why, NULL, 0, (int)at + 1, "%s", said.text);
			return false;
		}
		at += n;
		if (!text[at])
			return true;
		at++;
	}
}

bool sheet_is_header(const char *line, size_t len)
{
	static const char delimiters[] = "\t;,";
	while (len && (line[len - 1] == '\r' || line[len - 1] == '\n'))
		len--;
	for (const char *d = delimiters; *d; d++) {
		int known_cells = 0, cells = 0;
		bool position = false;
		for (size_t at = 0; at <= len;) {
			const char *end = memchr(line + at, *d, len - at);
			size_t n = end ? (size_t)(end - line) - at : len - at, lead = 0, kept = n;
			while (lead < kept && (ascii_blank(line[at + lead]) || line[at + lead] == '"'))
				lead++;
			while (kept > lead && (ascii_blank(line[at + kept - 1]) || line[at + kept - 1] == '"'))
				kept--;
			int use = sheet_heading_use(line + at + lead, kept - lead);
			cells++;
			known_cells += use != SHEET_KEPT;
			position |= use == SHEET_POSITION;
			at += n + 1;
		}
		if (cells > 1 && known_cells > 1 && position)
			return true;
	}
	return false;
}

/* ---- bytes ---- */

static bool bad_byte(const char *file, const char *text, size_t at, struct fault *why,
                     const char *what)
{
	int line = 1, column = 1;
	for (size_t i = 0; i < at; i++) {
		column++;
		if (text[i] == '\n')
			line++, column = 1;
	}
	fault_at(why, file, line, column, "byte 0x%02X: %s", (unsigned char)text[at], what);
	return false;
}

/* What it may be, for who has to save it anew. */
static const char *not_utf8(const char *text, size_t len, size_t at)
{
	unsigned char a = (unsigned char)text[at], b = at + 1 < len ? (unsigned char)text[at + 1] : 0;
	if (at == 0 && ((a == 0xff && b == 0xfe) || (a == 0xfe && b == 0xff)))
		return "a sheet is UTF-8 text, this is UTF-16: save it as CSV in UTF-8";
	if (a == 0xb5)
		return "a sheet is UTF-8 text, this is the micro sign of Latin-1 or Windows: save it as CSV in "
		       "UTF-8";
	if (a == 0x96 || a == 0x97)
		return "a sheet is UTF-8 text, this is a dash of a Windows code page: save it as CSV in UTF-8";
	return "a sheet is UTF-8 text, this is a letter or sign of another encoding: save it as CSV in "
	       "UTF-8";
}

bool sheet_bytes_check(const char *file, const char *text, size_t len, struct fault *why)
{
	if (len >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0)
		text += 3, len -= 3;
	for (size_t i = 0; i < len;) {
		unsigned char c = (unsigned char)text[i];
		size_t n = utf8_length(text + i, len - i);
		if (!n)
			return bad_byte(file, text, i, why, not_utf8(text, len, i));
		if ((c < 0x20 && c != '\t' && c != '\r' && c != '\n') || c == 0x7f)
			return bad_byte(file, text, i, why,
			                c == 0 && i < 4 ? "this may be UTF-16: save the sheet as CSV in UTF-8"
			                                : "a control character: save the sheet as CSV in UTF-8");
		i += n;
	}
	return true;
}

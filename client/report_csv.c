/* SPDX-License-Identifier: MIT */
/*
 * Entries as CSV.
 *
 * RFC 4180: comma, CRLF, cells with comma, quote or line end in quotes, quotes doubled; UTC,
 * SI units, decimal points, the digits as they were sealed.  One header row that explains.
 *
 * For a spreadsheet: the same columns with the separator and decimal sign that its locale
 * expects, a mark of UTF-8 at the beginning, and times that it takes for times.
 *
 * A text that a spreadsheet would run (it begins with = + - @ TAB or CR) gets an apostrophe
 * before it.  Numbers are written by us from sealed numbers and never touched, so -0.020 stays so.
 */
#include "client/report.h"

#include <stdio.h>
#include <string.h>

static const char *const columns[] = {
	"record", "time_utc", "job", "position", "kind", "role", "channel", "nominal_si", "quantity",
	"condition", "reach", "source", "meter", "function", "frequency_hz", "unit", "value_si", "digit_si", "state",
	"above_si", "standard_uncertainty_si", "readings", "verdict", "side", "reason",
	"deviation_ratio", "limit_low_si", "limit_high_si", "service_verdict", "other_value_si",
	"counts", "struck_because", "moved_from", "because", "shown_number", "shown_unit",
	"mode", "second", "second_value_si", "second_digit_si", "second_standard_uncertainty_si",
	"second_verdict", "second_limit_low_si", "second_limit_high_si",
};
#define COLUMNS (sizeof columns / sizeof columns[0])

struct row {
	const struct report_csv *how;
	struct lines *out;
	bool first;
};

static void part(struct row *row)
{
	if (!row->first)
		lines_add(row->out, &row->how->separator, 1);
	row->first = false;
}

static void text_cell(struct row *row, const char *text)
{
	bool quoted = strchr(text, row->how->separator) || strpbrk(text, "\",;\r\n\t");
	part(row);
	lines_csv(row->out, text, quoted, true);
}

/* A number of a record, digit for digit; "" for what is none. */
static void number_cell(struct row *row, struct slice number)
{
	struct decimal d;
	double x;
	part(row);
	if (!json_decimal(number, &d) && !json_number(number, &x))
		return;
	for (size_t i = 0; i < number.len; i++)
		lines_add(row->out, number.at[i] == '.' ? &row->how->decimal : number.at + i, 1);
}

static void member_cell(struct row *row, struct slice object, const char *path)
{
	char text[WORDS_SIZE];
	struct slice s = object.at ? json_member(object.at, object.len, path) : (struct slice){NULL, 0};
	/* As it was sealed, control characters too: here they mean nothing. */
	if (!json_text(s, text, sizeof text))
		text[0] = '\0';
	text_cell(row, text);
}

static void member_number(struct row *row, struct slice object, const char *path)
{
	number_cell(row, object.at ? json_member(object.at, object.len, path)
	            : (struct slice){NULL, 0});
}

static void time_cell(struct row *row, struct slice record)
{
	char text[40], cell[40];
	words_member(record, "t", text, sizeof text);
	/* A spreadsheet takes no T, Z or microseconds for a time. */
	if (row->how->spreadsheet && strlen(text) == 27)
		snprintf(cell, sizeof cell, "%.10s %.8s", text, text + 11);
	else
		snprintf(cell, sizeof cell, "%s", text);
	text_cell(row, cell);
}

static void shown_cells(struct row *row, const char *shown)
{
	char number[64];
	size_t n = strcspn(shown, " ");
	snprintf(number, sizeof number, "%.*s", (int)n, shown);
	if (n && strspn(number, "+-.0123456789") == n) {
		part(row);
		for (size_t i = number[0] == '+'; i < n; i++)
			lines_add(row->out, number[i] == '.' ? &row->how->decimal : number + i, 1);
	} else {
		text_cell(row, number);
	}
	text_cell(row, shown[n] ? shown + n + 1 : "");
}

/* What the meter sent beside the value, and how it measured both. */
static void second_cells(struct row *row, struct slice record, struct slice judged)
{
	struct slice limits = json_member(judged.at, judged.len, "second.limits");
	member_cell(row, record, "mode");
	member_cell(row, record, "second.is");
	member_number(row, record, "second.value");
	member_number(row, record, "second.digit");
	member_number(row, record, "second.u");
	member_cell(row, judged, "second.verdict");
	number_cell(row, json_element(limits, 0));
	number_cell(row, json_element(limits, 1));
}

static void entry_row(const struct report *r, struct row *row, const struct report_entry *e)
{
	const struct report_position *p = report_position(r, e->position);
	struct slice sheet = p ? p->row : (struct slice){NULL, 0}, record = e->record,
	    judged = e->judged;
	struct slice limits = json_member(judged.at, judged.len, "limits");
	row->first = true;
	member_number(row, record, "seq");
	time_cell(row, record);
	member_cell(row, record, "job");
	text_cell(row, e->position);
	member_cell(row, sheet, "kind");
	member_cell(row, sheet, "role");
	member_cell(row, sheet, "channel");
	member_number(row, sheet, "nominal");
	member_cell(row, record, "quantity");
	member_cell(row, record, "condition");
	member_cell(row, record, "reach");
	member_cell(row, record, "source");
	member_cell(row, record, "meter");
	member_cell(row, record, "function");
	member_number(row, record, "frequency");
	text_cell(row, function_unit(e->function));
	member_number(row, record, "value");
	member_number(row, record, "digit");
	member_cell(row, record, "state");
	member_number(row, record, "above");
	member_number(row, record, "u");
	member_number(row, record, "n");
	member_cell(row, judged, "verdict");
	member_cell(row, judged, "side");
	member_cell(row, judged, "reason");
	member_number(row, judged, "deviation");
	number_cell(row, json_element(limits, 0));
	number_cell(row, json_element(limits, 1));
	member_cell(row, judged, "service.verdict");
	member_number(row, judged, "other");
	text_cell(row, e->struck.at ? "no" : "yes");
	member_cell(row, e->struck, "because");
	member_cell(row, e->moved, "from");
	member_cell(row, record, "because");
	shown_cells(row, e->shown);
	second_cells(row, record, judged);
	lines_puts(row->out, "\r\n");
}

void report_csv(const struct report *r, const struct report_csv *how, struct lines *out)
{
	struct row row = {.how = how, .out = out, .first = true};
	if (how->spreadsheet)
		lines_puts(out, "\xef\xbb\xbf");
	for (size_t i = 0; i < COLUMNS; i++)
		text_cell(&row, columns[i]);
	lines_puts(out, "\r\n");
	for (int i = 0; i < r->entries; i++)
		entry_row(r, &row, &r->entry[i]);
}

/* Decimal signs as the languages write them: common practice, no source.  Where it is the comma,
 * spreadsheets part cells with the semicolon. */
static const char comma[][3] = {"de", "fr", "it", "es", "nl", "pl", "cs", "sk", "da", "sv", "nb",
                                "no",
	"fi", "pt", "hu", "sl", "hr", "ro", "bg", "el", "ru", "uk", "et", "lv", "lt", "tr"};
static const char point[][3] = {"en", "ja", "zh", "ko", "he", "th"};

bool report_csv_locale(const char *name, struct report_csv *out)
{
	size_t n = strcspn(name, "_-.@");
	const char *country = name[n] == '_' || name[n] == '-' ? name + n + 1 : "";
	*out = (struct report_csv){';', ',', true};
	if (n != 2)
		return false;
	/* Switzerland and Liechtenstein: a point, and the semicolon all the same. */
	if (!strncmp(country, "CH", 2) || !strncmp(country, "LI", 2))
		out->decimal = '.';
	for (size_t i = 0; i < sizeof comma / sizeof comma[0]; i++)
		if (strncmp(comma[i], name, 2) == 0)
			return true;
	*out = (struct report_csv){',', '.', true};
	for (size_t i = 0; i < sizeof point / sizeof point[0]; i++)
		if (strncmp(point[i], name, 2) == 0)
			return true;
	return false;
}

/* SPDX-License-Identifier: MIT */
/*
 * What the cells of one row of a sheet mean: see sheet.h.
 */
#include "protocol/trade/part.h"
#include "protocol/record/sheet_cells.h"
#include "protocol/trade/ascii.h"

#include "protocol/trade/marking.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

const char *const sheet_column_name[SHEET_COLUMNS] = {
    [SHEET_POSITION] = "position", [SHEET_KIND] = "kind",
    [SHEET_NOMINAL] = "nominal",   [SHEET_TOLERANCE] = "tolerance",
    [SHEET_SERVICE] = "service",   [SHEET_RATED] = "rated",
    [SHEET_ROLE] = "role",         [SHEET_WITH] = "with",
    [SHEET_CHANNEL] = "channel",   [SHEET_TWIN] = "twin",
    [SHEET_PART] = "part",         [SHEET_SOURCE] = "source",
    [SHEET_MAX] = "max",           [SHEET_PRICE] = "price",
    [SHEET_NOTE] = "note",
};

bool column_is(const char *name, size_t len, const char *column)
{
	for (size_t i = 0; i < len; i++)
		if (!column[i] || ascii_lower(name[i]) != ascii_lower(column[i]))
			return false;
	return !column[len];
}

const char *cell_trim(const char *value, size_t *len)
{
	while (ascii_blank(*value))
		value++;
	for (*len = strlen(value); *len && ascii_blank(value[*len - 1]);)
		--*len;
	return value;
}

bool cell_refuse(struct fault *why, size_t at, const char *what)
{
	fault_at(why, NULL, 0, (int)at + 1, "%s", what);
	return false;
}

bool cell_bytes_fit(const char *value, size_t len, bool breaks, struct fault *why)
{
	for (size_t i = 0; i < len;) {
		unsigned char c = (unsigned char)value[i];
		size_t n = utf8_length(value + i, len - i);
		if (!n)
			return cell_refuse(why, i, "not UTF-8");
		if ((c == '\n' || c == '\r') && !breaks)
			return cell_refuse(why, i, "a line break in a cell that is not a note");
		if ((c < 0x20 && c != '\t' && c != '\n' && c != '\r') || c == 0x7f)
			return cell_refuse(why, i, "a control character");
		i += n;
	}
	return true;
}

/* A fault of the whole cell. */
static bool refuse(struct fault *why, const char *what)
{
	fault_set(why, "%s", what);
	return false;
}

static bool name_cell(const struct sheet_row *row, enum sheet_column column, char out[NAME_SIZE],
                      struct fault *why)
{
	const char *cell = row->written[column];
	size_t len = strlen(cell);
	if (!name_valid(cell, len))
		return refuse(why, "expected the name of a position: letters, digits, . _ / -, first a "
		                   "letter or digit, at most 32");
	memcpy(out, cell, len + 1);
	return true;
}

static bool text_cell(const char *cell, char *out, size_t size, struct fault *why)
{
	size_t len = strlen(cell);
	if (len >= size) {
		fault_at(why, NULL, 0, (int)size, "too long: at most %zu bytes here", size - 1);
		return false;
	}
	memcpy(out, cell, len + 1);
	return true;
}

/* ---- values ---- */

/* What a kind may be given in, beside what it is measured with by itself. */
static bool kind_takes(enum kind k, enum function f)
{
	switch (k) {
	case KIND_REFERENCE:
	case KIND_OTHER:
		return true;
	case KIND_RAIL:
		return f == FUNCTION_VOLT_DC || f == FUNCTION_VOLT_AC;
	case KIND_VALVE:
		return f == FUNCTION_VOLT_DC || f == FUNCTION_VOLT_AC || f == FUNCTION_AMP_DC;
	case KIND_HEATER:
		return f == FUNCTION_VOLT_DC || f == FUNCTION_VOLT_AC || f == FUNCTION_AMP_DC ||
		       f == FUNCTION_AMP_AC;
	case KIND_WINDING:
		return f == FUNCTION_HENRY || f == FUNCTION_VOLT_AC;
	default:
		return false;
	}
}

/* As a value with its unit or prefix. */
static bool nominal_written(struct position *p, const char *cell, struct fault *why)
{
	size_t len = strlen(cell);
	enum function f, own = kind_function(p->kind);
	if (!quantity_parse(cell, len, FUNCTION_NONE, &p->nominal, &f, why))
		return false;
	if (f == FUNCTION_NONE && own == FUNCTION_NONE) {
		fault_at(why, NULL, 0, (int)len + 1,
		         "kind %s needs the unit with its nominal, such as 10 kohm or 285 V (R and C have "
		         "theirs)",
		         kind_name(p->kind));
		return false;
	}
	/* With its kind's unit, or refused for having another. */
	if ((f == FUNCTION_NONE || !kind_takes(p->kind, f)) &&
	    !quantity_parse(cell, len, own, &p->nominal, &f, why))
		return false;
	p->has_nominal = true;
	p->function = f;
	return true;
}

/* A capacitor's number without a unit: nobody writes farads so.  With an exponent
 * it is a number of farads, as programs write them. */
static bool is_bare_capacitor(const struct position *p, const char *cell)
{
	return kind_function(p->kind) == FUNCTION_FARAD && cell[strspn(cell, "0123456789.")] == '\0';
}

/* As it stands on the part (104K, .047/400, brown black yellow), where that can
 * mean one value only; a tolerance that is marked counts where none is written. */
static bool nominal_marked(struct position *p, const char *cell, struct fault *why)
{
	enum function own = kind_function(p->kind);
	if (own != FUNCTION_OHM && own != FUNCTION_FARAD) {
		fault_set(why, "no marking is known for a %s", kind_name(p->kind));
		return false;
	}
	/* A comma is a point on parts and a slip in sheets. */
	for (const char *c = strchr(cell, ','); c; c = strchr(c + 1, ','))
		if (ascii_digit(c[1])) {
			fault_at(why, NULL, 0, (int)(c - cell) + 1, "a comma is not a point: write 4.7");
			return false;
		}
	p->has_nominal = marking_value(cell, strlen(cell), own, &p->nominal, &p->tolerance, why);
	p->function = own;
	return p->has_nominal;
}

/* `8 mf` of old print is microfarads; a program writes mF and means thousandths. */
static bool is_old_print(const struct position *p, const char *cell)
{
	size_t len = strlen(cell);
	return kind_function(p->kind) == FUNCTION_FARAD && len > 2 &&
	       memcmp(cell + len - 2, "mf", 2) == 0;
}

/* `8` on an electrolytic has always meant microfarads (common practice, no source). */
static bool is_bare_electrolytic(const struct position *p, const char *cell)
{
	return p->kind == KIND_ELECTROLYTIC && ascii_digit(cell[0]) &&
	       cell[strspn(cell, "0123456789.")] == '\0';
}

static bool nominal_cell(struct position *p, const char *cell, struct fault *why)
{
	struct fault marked;
	if (is_bare_electrolytic(p, cell)) {
		if (!nominal_written(p, cell, why))
			return false;
		p->nominal.e -= 6;
		return true;
	}
	if (is_bare_capacitor(p, cell) || is_old_print(p, cell))
		return nominal_marked(p, cell, why);
	if (!nominal_written(p, cell, why))
		/* What is wrong with it as a value says more than that it is no marking; but a value
		 * with a slash can only be one. */
		return nominal_marked(p, cell, strchr(cell, '/') ? why : &marked);
	return true;
}

static bool above_zero(struct decimal d, struct fault *why)
{
	return d.n > 0 || refuse(why, "expected a value above zero");
}

/* `12 W`, `500 mW`, `1/2 W`: the number in front of the W, exactly. */
static bool watts_parse(const char *cell, size_t len, struct decimal *out, struct fault *why)
{
	enum function f;
	len--;
	while (len && (cell[len - 1] == ' ' || cell[len - 1] == '\t'))
		len--;
	if (len == 3 && cell[0] >= '1' && cell[0] <= '9' && cell[1] == '/' &&
	    (cell[2] == '2' || cell[2] == '4' || cell[2] == '8')) {
		*out = decimal_strip((struct decimal){(cell[0] - '0') * 1000 / (cell[2] - '0'), -3});
		return true;
	}
	/* Prefixes as with ohms; there is no function for power. */
	if (!quantity_parse(cell, len, FUNCTION_OHM, out, &f, why))
		return false;
	return above_zero(*out, why);
}

static bool is_watts(const char *cell)
{
	size_t len = strlen(cell);
	return len && (cell[len - 1] == 'W' || cell[len - 1] == 'w');
}

static bool rated_cell(struct position *p, const char *cell, struct fault *why)
{
	enum function f;
	if (is_watts(cell)) {
		p->has_max = watts_parse(cell, strlen(cell), &p->max, why);
		return p->has_max;
	}
	if (!quantity_parse(cell, strlen(cell), FUNCTION_VOLT_DC, &p->rated, &f, why))
		return false;
	p->has_rated = above_zero(p->rated, why);
	return p->has_rated;
}

static bool max_cell(struct position *p, const char *cell, struct fault *why)
{
	enum function f;
	if (is_watts(cell)) {
		p->has_max = watts_parse(cell, strlen(cell), &p->max, why);
		return p->has_max;
	}
	if (!quantity_parse(cell, strlen(cell), FUNCTION_AMP_DC, &p->max, &f, why))
		return false;
	p->has_max = above_zero(p->max, why);
	return p->has_max;
}

static bool source_cell(struct position *p, const char *cell, struct fault *why)
{
	enum function f;
	if (!quantity_parse(cell, strlen(cell), FUNCTION_OHM, &p->source, &f, why))
		return false;
	if (p->source.n < 0)
		return refuse(why, "a source cannot be below zero ohms");
	p->has_source = true;
	return true;
}

static bool tolerance_cell(const struct position *p, const char *cell, struct tolerance *out,
                           struct fault *why)
{
	struct limits l;
	if (!tolerance_parse_for(cell, strlen(cell), p->function, p->has_nominal, p->nominal, out, why))
		return false;
	if (p->has_nominal && p->nominal.n != 0 && !limits_from(out, true, p->nominal, &l))
		return refuse(why, "the limits have too many digits to be exact");
	return true;
}

static bool other_position(const struct sheet_row *row, enum sheet_column column,
                           char out[NAME_SIZE], struct fault *why)
{
	if (!name_cell(row, column, out, why))
		return false;
	return strcmp(out, row->position.name) != 0 ||
	       refuse(why, "a position cannot name itself here");
}

static bool cell_understand(struct sheet_row *row, enum sheet_column column, struct fault *why)
{
	struct position *p = &row->position;
	const char *cell = row->written[column];
	switch (column) {
	case SHEET_POSITION:
		return name_cell(row, column, p->name, why);
	case SHEET_KIND:
		return kind_from_name(cell, strlen(cell), &p->kind) ||
		       refuse(why, "expected a kind: resistor, carbon-composition, carbon-film, "
		                   "metal-film, wirewound, pot, electrolytic, paper, film, ceramic, mica, "
		                   "capacitor, winding, rectifier, valve, heater, switch, fuse, rail, "
		                   "reference, other");
	case SHEET_NOMINAL:
		return nominal_cell(p, cell, why);
	case SHEET_TOLERANCE:
		return tolerance_cell(p, cell, &p->tolerance, why);
	case SHEET_SERVICE:
		return tolerance_cell(p, cell, &p->service, why);
	case SHEET_RATED:
		return rated_cell(p, cell, why);
	case SHEET_ROLE:
		return text_cell(cell, p->role, sizeof p->role, why);
	case SHEET_WITH:
		return other_position(row, column, p->with, why);
	case SHEET_CHANNEL:
		return text_cell(cell, p->channel, sizeof p->channel, why);
	case SHEET_TWIN:
		return other_position(row, column, p->twin, why);
	case SHEET_PART:
		return text_cell(cell, p->part, sizeof p->part, why);
	case SHEET_SOURCE:
		return source_cell(p, cell, why);
	case SHEET_MAX:
		return max_cell(p, cell, why);
	case SHEET_PRICE:
		return text_cell(cell, p->price, sizeof p->price, why);
	case SHEET_NOTE:
		return text_cell(cell, p->note, sizeof p->note, why);
	case SHEET_COLUMNS:
		break;
	}
	return true;
}

/* Where no cell says it: by the letters of the name, else by what was measured there. */
static enum kind kind_of(const struct sheet_row *row)
{
	enum kind kind = kind_from_position(row->position.name);
	if (kind == KIND_OTHER)
		kind_from_name(row->learnt, strlen(row->learnt), &kind);
	return kind;
}

/* A column `marking` counts where no nominal is written and it can mean one value only;
 * else it is a column like any that nobody knows. */
static void marking_counts(struct sheet_row *row)
{
	struct position marked = row->position;
	struct fault ignored;
	for (int i = 0; i < row->extras; i++)
		if (strcasecmp(row->extra_name[i], "marking") == 0 && row->extra_cell[i][0] &&
		    nominal_marked(&marked, row->extra_cell[i], &ignored))
			row->position = marked;
}

/* A column named as a quantity has its limits (`esr` `<=3`); what is no one-sided limit there
 * (in the list of another program it may be a measured value) is a cell like any that nobody
 * knows. */
static void limits_beside(struct sheet_row *row)
{
	for (int i = 0; i < row->extras; i++) {
		enum quantity q;
		struct tolerance t;
		struct fault ignored;
		const char *cell = row->extra_cell[i];
		char name[SHEET_NAME_SIZE];
		snprintf(name, sizeof name, "%s", row->extra_name[i]);
		for (char *c = name; *c; c++)
			*c = *c >= 'A' && *c <= 'Z' ? (char)(*c - 'A' + 'a') : *c;
		if (!cell[0] || !quantity_from_name(name, strlen(name), &q) ||
		    part_limit_function(q) == FUNCTION_NONE)
			continue;
		if (tolerance_parse(cell, strlen(cell), part_limit_function(q), &t, &ignored) &&
		    (t.form == TOLERANCE_AT_LEAST || t.form == TOLERANCE_AT_MOST))
			row->position.beside[q] = t;
	}
}

bool row_understand(struct sheet_row *row, enum sheet_column *bad, struct fault *why)
{
	memset(&row->position, 0, sizeof row->position);
	*bad = SHEET_POSITION;
	if (!row->written[SHEET_POSITION][0])
		return refuse(why, "the row has no position");
	/* In the order of the enumeration: what a later column needs (the kind, the
	 * function of the nominal) is known then. */
	for (int c = 0; c < SHEET_COLUMNS; c++) {
		*bad = (enum sheet_column)c;
		if (row->written[c][0]) {
			struct fault said = {0};
			if (!cell_understand(row, *bad, &said)) {
				fault_at(why, NULL, 0, said.column, "%s: %s", sheet_column_name[c], said.text);
				return false;
			}
		}
		if (c == SHEET_KIND && !row->written[c][0])
			row->position.kind = kind_of(row);
		if (c == SHEET_KIND)
			row->position.function = kind_function(row->position.kind);
		if (c == SHEET_NOMINAL && !row->written[c][0])
			marking_counts(row);
	}
	limits_beside(row);
	return true;
}

/* SPDX-License-Identifier: MIT */
/*
 * Lines of a sheet: see sheet_entry.h.
 */
#include "protocol/record/sheet_entry.h"

#include "protocol/record/sheet_cells.h"
#include "protocol/record/sheet_plain.h"
#include "protocol/record/sheet_words.h"
#include "protocol/trade/ascii.h"
#include "protocol/trade/part.h"

#include <stdio.h>
#include <string.h>

/* ---- words into cells ---- */

static const struct {
	const char *word;
	const char *kind;
} kind_words[] = {
    {"cc", "carbon-composition"}, {"cf", "carbon-film"}, {"mf", "metal-film"},
    {"ww", "wirewound"},          {"el", "electrolytic"}, {"pp", "film"},
    {"cer", "ceramic"},
};

static bool is_quantity(enum sheet_column c)
{
	return c == SHEET_NOMINAL || c == SHEET_TOLERANCE || c == SHEET_SERVICE ||
	       c == SHEET_RATED || c == SHEET_SOURCE || c == SHEET_MAX;
}

static bool put_text(struct line *l, enum sheet_column column, size_t at, const char *value)
{
	struct fault said;
	char *cell = l->row.written[column];
	if (cell[0])
		return cell_refuse(l->why, at, column == SHEET_NOMINAL
		                                 ? "a second value: the nominal was given already "
		                                   "(5% is a tolerance, 400 V a rating)"
		                                 : "this was given already, further to the left");
	snprintf(cell, SHEET_CELL_SIZE, "%s", value);
	l->cell_at[column] = at;
	if (!is_quantity(column) || value_plain(cell, SHEET_CELL_SIZE, &said))
		return true;
	fault_at(l->why, NULL, 0, (int)at + said.column, "%s", said.text);
	return false;
}

/* A cell from part of the line, without its quotes. */
static bool put_cell(struct line *l, enum sheet_column column, size_t at, size_t len)
{
	char value[SHEET_CELL_SIZE], raised[NAME_SIZE];
	const char *from = l->text + at;
	if (len >= 2 && from[0] == '"' && from[len - 1] == '"')
		from++, at++, len -= 2;
	if (len == 0)
		return cell_refuse(l->why, at, "nothing stands here");
	if (len >= sizeof value)
		return cell_refuse(l->why, at, "too long: at most 159 bytes");
	memcpy(value, from, len);
	value[len] = '\0';
	if ((column == SHEET_WITH || column == SHEET_TWIN) && len < NAME_SIZE) {
		name_raise(value, raised);
		memcpy(value, raised, sizeof raised);
	}
	return put_text(l, column, at, value);
}

/* esr=<=3: a limit of another quantity, which has no column of its own. */
static bool put_limit(struct line *l, const struct word *w, size_t key)
{
	struct sheet_row *row = &l->row;
	size_t at = w->at + key + 1, len = w->len - key - 1;
	for (int i = 0; i < row->extras; i++)
		if (column_is(l->text + w->at, key, row->extra_name[i]))
			return cell_refuse(l->why, w->at, "this was given already, further to the left");
	if (row->extras == SHEET_EXTRA_MAX || key >= SHEET_NAME_SIZE || len >= SHEET_CELL_SIZE || !len)
		return cell_refuse(l->why, at, "a limit is wanted here, such as <=3");
	for (size_t i = 0; i < key; i++) {
		char c = l->text[w->at + i];
		row->extra_name[row->extras][i] = c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
	}
	row->extra_name[row->extras][key] = '\0';
	memcpy(row->extra_cell[row->extras], l->text + at, len);
	row->extra_cell[row->extras][len] = '\0';
	l->limit_at[row->extras++] = at;
	return true;
}

/* valve=A17: the own number of the valve in that socket, a column of its own (bench_valve.c).
 * Whether the row is a socket is seen when it is understood. */
static bool put_valve(struct line *l, const struct word *w, size_t key)
{
	size_t at = w->at + key + 1, len = w->len - key - 1;
	if (!name_valid(l->text + at, len))
		return cell_refuse(l->why, at, "a valve's own number is wanted here: letters, digits, . _ / -, "
		                   "first a letter or digit, at most 32");
	l->valve_at = at;
	return put_limit(l, w, key);
}

static bool is_limit_key(const char *key, size_t len)
{
	for (int q = 0; q < QUANTITY_COUNT; q++)
		if (part_limit_function((enum quantity)q) != FUNCTION_NONE &&
		    column_is(key, len, quantity_name((enum quantity)q)))
			return true;
	return false;
}

static bool put_pair(struct line *l, const struct word *w, const char *equals)
{
	size_t key = (size_t)(equals - (l->text + w->at));
	if (is_limit_key(l->text + w->at, key))
		return put_limit(l, w, key);
	if (column_is(l->text + w->at, key, "valve"))
		return put_valve(l, w, key);
	for (int i = 0; i < SHEET_COLUMNS; i++)
		if (i != SHEET_POSITION && column_is(l->text + w->at, key, sheet_column_name[i]))
			return put_cell(l, (enum sheet_column)i, w->at + key + 1, w->len - key - 1);
	return cell_refuse(l->why, w->at, "no column of a sheet: expected kind, nominal, tolerance, "
	                                "service, rated, role, with, channel, twin, part, source, max, "
	                                "price, note, valve, or a limit: leakage, esr, dissipation, "
	                                "insulation");
}

/* cc, mf ...: the kind, NULL for any other word. */
static const char *short_kind(const struct line *l, int i)
{
	for (size_t k = 0; k < sizeof kind_words / sizeof *kind_words; k++)
		if (word_is(l, i, kind_words[k].word))
			return kind_words[k].kind;
	return NULL;
}

static bool put_kind(struct line *l, int i)
{
	const struct word *w = &l->word[i];
	enum kind kind;
	const char *name = short_kind(l, i);
	if (!name && kind_from_name(l->text + w->at, w->len, &kind))
		name = kind_name(kind);
	/* `heater V3` may be a role: a second kind is a word like any other.  The short ones are
	 * not (read_words). */
	if (!name || l->row.written[SHEET_KIND][0])
		return false;
	/* 8 mf is microfarads of old print, no metal film. */
	if (word_is(l, i, "mf") && i > l->first && word_is_value(l, &l->word[i - 1], FUNCTION_NONE) &&
	    l->capacitor)
		return false;
	snprintf(l->row.written[SHEET_KIND], SHEET_CELL_SIZE, "%s", name);
	l->cell_at[SHEET_KIND] = w->at;
	return true;
}

/* A value with all that it says: sections, and a rating behind a slash. */
static bool put_value(struct line *l, size_t at, size_t len, enum function f)
{
	char value[SHEET_CELL_SIZE];
	struct fault said;
	bool refused;
	if (len >= sizeof value)
		return cell_refuse(l->why, at, "too long: at most 159 bytes");
	memcpy(value, l->text + at, len);
	value[len] = '\0';
	if (!value_plain(value, sizeof value, &said)) {
		fault_at(l->why, NULL, 0, (int)at + said.column, "%s", said.text);
		return false;
	}
	size_t slash = value_slash(value, f);
	if (slash) {
		if (!put_text(l, SHEET_RATED, at + slash + 1, value + slash + 1))
			return false;
		/* 8/450 means microfarads only as a whole: see marking.h. */
		bool whole = f == FUNCTION_FARAD && strspn(value, "0123456789.,") == slash;
		if (!whole)
			value[slash] = '\0';
	}
	/* Sections are looked for in a nominal that was not given otherwise. */
	if (!l->row.written[SHEET_NOMINAL][0] && !l->sections &&
	    value_sections(l, value, at, &refused)) {
		l->cell_at[SHEET_NOMINAL] = at;
		return true;
	}
	if (l->sections && refused)
		return false;
	enum sheet_column column = value_column(value, f);
	char *rated = l->row.written[SHEET_RATED];
	bool watts = column == SHEET_RATED && value_column(value, FUNCTION_VOLT_DC) == SHEET_RATED;
	bool before = rated[0] && value_column(rated, FUNCTION_VOLT_DC) == SHEET_RATED;
	/* 1/2W 350V: what it may dissipate, and what it stands. */
	if (column == SHEET_RATED && rated[0] && watts != before && !l->row.written[SHEET_MAX][0]) {
		if (watts)
			return put_text(l, SHEET_MAX, at, value);
		memcpy(l->row.written[SHEET_MAX], rated, SHEET_CELL_SIZE);
		l->cell_at[SHEET_MAX] = l->cell_at[SHEET_RATED];
		rated[0] = '\0';
	}
	return put_text(l, column, at, value);
}

static bool put_role(struct line *l, int i)
{
	struct word bare = l->word[i];
	const struct word *w = &bare;
	char *role = l->row.written[SHEET_ROLE];
	size_t len = strlen(role);
	if (w->len >= 2 && l->text[w->at] == '"' && l->text[w->at + w->len - 1] == '"')
		bare.at++, bare.len -= 2;
	if (!w->len)
		return cell_refuse(l->why, w->at, "nothing stands here");
	if (strchr("<>", l->text[w->at]))
		return cell_refuse(l->why, w->at, "a limit is written <=3 or >=20M");
	if (word_is_scale(l, i))
		return cell_refuse(l->why, w->at, "no unit that is known: write the value as 47u, 4k7 or 0.1 uF");
	if (short_kind(l, i) && !(l->capacitor && column_is(l->text + w->at, w->len, "mf")))
		return cell_refuse(l->why, w->at, "a second kind: the kind was given already");
	if (w->len == 1 && strchr("+-", l->text[w->at]))
		return cell_refuse(l->why, w->at, "a sign stands alone here: write it close to its number, "
		                                  "such as -35");
	if (word_is_micro(l, w))
		return cell_refuse(l->why, w->at, "the value of a capacitor, and this is none: set its kind, or "
		                                  "quote it where it belongs to the role");
	if (!len)
		l->cell_at[SHEET_ROLE] = w->at;
	if (len + w->len + 2 > SHEET_CELL_SIZE)
		return cell_refuse(l->why, w->at, "the role is too long");
	if (len)
		role[len++] = ' ';
	memcpy(role + len, l->text + w->at, w->len);
	role[len + w->len] = '\0';
	return true;
}

/* Kinds first: what a value means depends on them. */
static bool read_words(struct line *l, enum function f)
{
	bool bands = f == FUNCTION_OHM || f == FUNCTION_FARAD;
	size_t end;
	for (int i = l->first; i < l->words; i++) {
		struct word *w = &l->word[i];
		const char *equals = memchr(l->text + w->at, '=', w->len);
		if (w->taken)
			continue;
		if (equals && !word_is_limit(l, w)) {
			if (!put_pair(l, w, equals))
				return false;
		} else if (word_is_tolerance(l, i)) {
			end = words_join(l, i, true);
			if (!put_cell(l, SHEET_TOLERANCE, w->at, end - w->at))
				return false;
		} else if (word_is_value(l, w, f)) {
			end = words_join(l, i, false);
			if (!put_value(l, w->at, end - w->at, f))
				return false;
		} else if (bands && (end = words_bands(l, i)) > 0) {
			if (!put_cell(l, SHEET_NOMINAL, w->at, end - w->at))
				return false;
		} else if (!put_role(l, i)) {
			return false;
		}
	}
	return true;
}

/* What the kind, which the words or the letters of the name say, is measured in. */
static enum function find_function(struct line *l, const char *name)
{
	enum kind kind = kind_from_position(name);
	l->capacitor = kind_function(kind) == FUNCTION_FARAD;
	for (int i = l->first; i < l->words; i++)
		l->word[i].taken = put_kind(l, i);
	const char *written = l->row.written[SHEET_KIND];
	if (written[0])
		kind_from_name(written, strlen(written), &kind);
	/* A heater is given in volts or amps as often as in ohms. */
	return kind == KIND_HEATER ? FUNCTION_NONE : kind_function(kind);
}

/* ---- names ---- */

struct names {
	char first[NAME_SIZE], last[NAME_SIZE];
	int count;
	bool sections_of_one; /* C9A, C9B: the same but for a last letter */
};

static size_t without_letter(const char *name)
{
	size_t len = strlen(name);
	return len > 1 && !ascii_digit(name[len - 1]) ? len - 1 : 0;
}

static bool count_name(void *arg, const char *name, size_t at, struct fault *why)
{
	struct names *n = arg;
	size_t stem = without_letter(name);
	(void)at;
	(void)why;
	if (!n->count++) {
		name_raise(name, n->first);
		n->sections_of_one = stem > 0;
	}
	n->sections_of_one = n->sections_of_one && without_letter(n->first) == stem &&
	                     memcmp(n->first + 1, name + 1, stem - 1) == 0;
	name_raise(name, n->last);
	return true;
}

/* R12 R47: one more name, or 0.47 ohm? */
static bool soft_names_clear(struct line *l)
{
	const struct word *w = &l->word[l->first - 1];
	bool code = w->len <= 4 && l->text[w->at] == 'R' && !l->row.written[SHEET_NOMINAL][0] &&
	            !l->sections;
	for (size_t i = 1; i < w->len; i++)
		code = code && ascii_digit(l->text[w->at + i]);
	if (!l->soft || !code)
		return true;
	fault_at(l->why, NULL, 0, (int)w->at + 1, "%.*s may be one more position, or ohms: write two "
	         "positions with a comma, R1,R2, and the value 0%.*s", (int)w->len, l->text + w->at,
	         (int)w->len, l->text + w->at);
	return false;
}

/* 8+8u: as many names as values, and the can that holds them. */
static bool sections_fit(struct line *l, const struct names *n)
{
	size_t stem = without_letter(n->first);
	if (!l->sections)
		return true;
	if (l->sections != n->count) {
		fault_at(l->why, NULL, 0, (int)l->cell_at[SHEET_NOMINAL] + 1,
		         "%d values for %d position%s: give each section a name, such as %.20sA,%.20sB",
		         l->sections, n->count, n->count == 1 ? "" : "s", n->first, n->first);
		return false;
	}
	char *part = l->row.written[SHEET_PART];
	if (!part[0] && n->count > 1 && (l->one_can || n->sections_of_one))
		snprintf(part, SHEET_CELL_SIZE, "%.*s", n->sections_of_one ? (int)stem : NAME_SIZE - 1,
		         n->first);
	return true;
}

/* One valve is in one socket: many names with its number are the halves of it. */
static bool valve_fits(struct line *l, const struct names *n)
{
	char *part = l->row.written[SHEET_PART];
	if (!l->valve_at || n->count < 2 || part[0])
		return true;
	if (!n->sections_of_one)
		return cell_refuse(l->why, l->valve_at, "one valve is in one socket: a line for each, or part= "
		                   "where they are halves of one valve");
	snprintf(part, SHEET_CELL_SIZE, "%.*s", (int)without_letter(n->first), n->first);
	return true;
}

/* ---- rows ---- */

struct giving {
	struct line *line;
	int given;
	const char *typed; /* the line as it came, for places */
	size_t typed_len;
	bool (*each)(void *arg, const struct sheet_row *row, size_t at, struct fault *why);
	void *arg;
};

/* By hand it is a limit or a mistake; in a list it may be what somebody measured. */
static int limit_not_understood(const struct sheet_row *row)
{
	enum quantity q;
	for (int i = 0; i < row->extras; i++)
		if (quantity_from_name(row->extra_name[i], strlen(row->extra_name[i]), &q) &&
		    row->position.beside[q].form == TOLERANCE_NONE)
			return i;
	return -1;
}

static bool give_row(void *arg, const char *name, size_t at, struct fault *why)
{
	struct giving *g = arg;
	struct line *l = g->line;
	struct sheet_row row = l->row;
	enum sheet_column bad = SHEET_POSITION;
	struct fault said = {.text = ""};
	char raised[NAME_SIZE];
	name_raise(name, raised);
	snprintf(row.written[SHEET_POSITION], SHEET_CELL_SIZE, "%s", raised);
	if (g->given < l->sections)
		snprintf(row.written[SHEET_NOMINAL], SHEET_CELL_SIZE, "%s", l->section[g->given]);
	g->given++;
	if (slip_of_range(raised, why))
		return false;
	bool good = row_understand(&row, &bad, &said) && !slip_of_value(&row, &bad, &said);
	int loose = good ? limit_not_understood(&row) : -1;
	if (loose >= 0) {
		fault_at(why, NULL, 0, (int)l->limit_at[loose] + 1 - (int)l->word[0].at,
		         "%s: %s wants a limit on one side, such as <=3 or >=20M", raised,
		         row.extra_name[loose]);
		return false;
	}
	if (good && l->valve_at && row.position.kind != KIND_VALVE) {
		fault_at(why, NULL, 0, (int)l->valve_at + 1 - (int)l->word[0].at,
		         "%s is a %s: a valve's number goes to a socket, a position of kind valve", raised,
		         kind_name(row.position.kind));
		return false;
	}
	if (good)
		return g->each(g->arg, &row, plain_origin(g->typed, g->typed_len, l->word[0].at + at), why);
	if (l->sections && bad == SHEET_NOMINAL)
		said.column = 0;
	size_t cell = bad == SHEET_POSITION ? l->word[0].at + at : l->cell_at[bad];
	/* Placed in the line; names_each takes its own beginning off. */
	fault_at(why, NULL, 0, (int)cell + (said.column ? said.column : 1) - (int)l->word[0].at,
	         "%s: %s", raised, said.text);
	return false;
}

/* Everything but the rows. */
static bool read_line(struct line *l, struct names *names, size_t *end)
{
	if (!words_split(l))
		return false;
	if (l->words == 0)
		return true;
	size_t begin = l->word[0].at;
	*end = words_names(l);
	if (words_swapped(l))
		return cell_refuse(l->why, begin, "a value stands where the position is expected, and a name "
		                                  "behind it: the position comes first, such as R1 1k");
	if (!names_each(l->text + begin, *end - begin, count_name, names, l->why)) {
		l->why->column += (int)begin;
		return false;
	}
	return read_words(l, find_function(l, names->first)) && soft_names_clear(l) &&
	       sections_fit(l, names) && valve_fits(l, names);
}

bool sheet_entry_read(const char *text, size_t len,
                      bool (*each)(void *arg, const struct sheet_row *row, size_t at,
                                   struct fault *why),
                      void *arg, struct fault *why)
{
	char plain[ENTRY_LINE_MAX + 1];
	struct line l = {.text = plain, .why = why};
	struct giving g = {.line = &l, .typed = text, .typed_len = len, .each = each, .arg = arg};
	struct names names = {.count = 0};
	size_t end = 0;
	if (!cell_bytes_fit(text, len, false, why))
		return false;
	l.len = plain_text(text, len, plain, sizeof plain);
	if (l.len == sizeof plain)
		return cell_refuse(why, ENTRY_LINE_MAX, "a line of more than 4096 bytes");
	bool good = read_line(&l, &names, &end);
	if (good && l.words) {
		size_t begin = l.word[0].at;
		good = names_each(plain + begin, end - begin, give_row, &g, why);
		why->column += good ? 0 : (int)begin;
	}
	if (!good && why->column)
		why->column = (int)plain_origin(text, len, (size_t)why->column - 1) + 1;
	return good;
}

struct without_place {
	bool (*each)(void *arg, const struct sheet_row *row, struct fault *why);
	void *arg;
};

static bool pass_on(void *arg, const struct sheet_row *row, size_t at, struct fault *why)
{
	struct without_place *w = arg;
	(void)at;
	return w->each(w->arg, row, why);
}

bool sheet_entry_parse(const char *line, size_t len,
                       bool (*each)(void *arg, const struct sheet_row *row, struct fault *why),
                       void *arg, struct fault *why)
{
	struct without_place w = {each, arg};
	return sheet_entry_read(line, len, pass_on, &w, why);
}

/* ---- a cell of a parts list ---- */

bool sheet_entry_spread(struct sheet_row *row, const char *value, struct fault *why)
{
	static const enum sheet_column may[] = {SHEET_KIND, SHEET_NOMINAL, SHEET_TOLERANCE,
	                                        SHEET_RATED, SHEET_MAX};
	char plain[SHEET_CELL_SIZE];
	struct line l = {.text = plain, .why = why};
	const char *kind = row->written[SHEET_KIND];
	l.len = plain_text(value, strlen(value), plain, sizeof plain);
	if (l.len == sizeof plain || !words_split(&l))
		return false;
	memcpy(l.row.written[SHEET_KIND], kind, SHEET_CELL_SIZE);
	if (!read_words(&l, find_function(&l, row->written[SHEET_POSITION])) ||
	    l.row.written[SHEET_ROLE][0] || l.sections)
		return cell_refuse(why, l.cell_at[l.sections ? SHEET_NOMINAL : SHEET_ROLE],
		                   l.sections ? "a value for each of several sections: a row for each"
		                              : "no value, rating, tolerance or kind");
	for (size_t i = 0; i < sizeof may / sizeof *may; i++) {
		const char *cell = l.row.written[may[i]];
		if (!cell[0] || strcmp(cell, row->written[may[i]]) == 0)
			continue;
		if (row->written[may[i]][0])
			return cell_refuse(why, l.cell_at[may[i]], "this has a column of its own");
		memcpy(row->written[may[i]], cell, SHEET_CELL_SIZE);
	}
	return true;
}

/* SPDX-License-Identifier: MIT */
/*
 * Lines of a sheet: see sheet_entry.h.
 */
#include "protocol/record/sheet_entry.h"

#include "protocol/record/sheet_cells.h"

#include <stdio.h>
#include <string.h>

static bool is_digit(char c)
{
	return c >= '0' && c <= '9';
}

/* ---- names ---- */

/* The last run of digits of a name: where it begins; its length is the result. */
static size_t last_number(const char *name, size_t len, size_t *at)
{
	size_t end = len;
	while (end > 0 && !is_digit(name[end - 1]))
		end--;
	size_t begin = end;
	while (begin > 0 && is_digit(name[begin - 1]))
		begin--;
	*at = begin;
	return end - begin;
}

/* At most nine digits: it fits an int. */
static int number_of(const char *digits, size_t len)
{
	int n = 0;
	for (size_t i = 0; i < len; i++)
		n = n * 10 + (digits[i] - '0');
	return n;
}

struct range {
	const char *prefix;
	size_t prefix_len;
	int first, last, digits;
};

/* R1-R6 or R1-6: on both sides a number ends it, and the letters are the same. */
static bool range_parse(const char *text, size_t len, struct range *r)
{
	const char *dash = memchr(text, '-', len);
	for (; dash; dash = memchr(dash + 1, '-', (size_t)(text + len - dash - 1))) {
		size_t left = (size_t)(dash - text), right = len - left - 1, a, b;
		size_t an = last_number(text, left, &a), bn = last_number(dash + 1, right, &b);
		if (!an || !bn || an > 9 || bn > 9 || a + an != left || b + bn != right)
			continue;
		if (b != 0 && (b != a || memcmp(dash + 1, text, a) != 0))
			continue;
		if (a == 0)
			continue; /* 1-6 alone is no range of names that anyone has */
		*r = (struct range){text, a, number_of(text + a, an), number_of(dash + 1 + b, bn), (int)an};
		return true;
	}
	return false;
}

static bool give_range(const struct range *r, size_t at,
                       bool (*each)(void *arg, const char *name, struct fault *why), void *arg,
                       struct fault *why)
{
	char name[2 * NAME_SIZE];
	if (r->last < r->first)
		return cell_refuse(why, at, "the range runs backwards");
	if (r->last - r->first >= ENTRY_RANGE_MAX)
		return cell_refuse(why, at, "a range of more than 500 positions");
	for (int i = r->first; i <= r->last; i++) {
		int n = r->prefix_len < NAME_SIZE
		            ? snprintf(name, sizeof name, "%.*s%0*d", (int)r->prefix_len, r->prefix,
		                       r->digits, i)
		            : NAME_SIZE;
		if (n >= NAME_SIZE || !name_valid(name, (size_t)n))
			return cell_refuse(why, at, "no name of a position: letters, digits, . _ / -, first a "
			                          "letter or digit, at most 32");
		if (!each(arg, name, why))
			return false;
	}
	return true;
}

bool names_expand(const char *text, size_t len,
                  bool (*each)(void *arg, const char *name, struct fault *why), void *arg,
                  struct fault *why)
{
	for (size_t at = 0; at <= len;) {
		const char *comma = memchr(text + at, ',', len - at);
		size_t n = comma ? (size_t)(comma - text) - at : len - at;
		char name[NAME_SIZE];
		struct range r;
		if (n == 0)
			return cell_refuse(why, at, "a name of a position is missing here");
		if (range_parse(text + at, n, &r)) {
			if (!give_range(&r, at, each, arg, why))
				return false;
		} else if (!name_valid(text + at, n)) {
			return cell_refuse(why, at, "no name of a position: letters, digits, . _ / -, first a "
			                          "letter or digit, at most 32");
		} else {
			memcpy(name, text + at, n);
			name[n] = '\0';
			if (!each(arg, name, why))
				return false;
		}
		at += n + 1;
	}
	return true;
}

bool name_shift(const char *name, int by, char out[NAME_SIZE])
{
	size_t at, len = strlen(name), n = last_number(name, len, &at);
	char text[2 * NAME_SIZE];
	if (n == 0 || n > 9 || len >= NAME_SIZE)
		return false;
	long long to = (long long)number_of(name + at, n) + by;
	if (to < 0 || to > 999999999)
		return false;
	int made = snprintf(text, sizeof text, "%.*s%0*lld%s", (int)at, name, (int)n, to, name + at + n);
	if (made < 0 || made >= NAME_SIZE)
		return false;
	memcpy(out, text, (size_t)made + 1);
	return true;
}

/* ---- the words of a line ---- */

#define WORDS_MAX 64

struct word {
	size_t at, len;     /* in the line */
	bool taken;         /* it belongs to the word before it */
};

struct line {
	const char *text;
	size_t len;
	struct word word[WORDS_MAX];
	int words;
	struct sheet_row row; /* without a name yet */
	struct fault *why;
	/* Where each cell begins in the line, to place the faults of sheet_set. */
	size_t cell_at[SHEET_COLUMNS];
};

static const struct {
	const char *word;
	const char *kind;
} kind_words[] = {
    {"cc", "carbon-composition"}, {"cf", "carbon-film"}, {"mf", "metal-film"},
    {"ww", "wirewound"},          {"el", "electrolytic"}, {"pp", "film"},
    {"cer", "ceramic"},
};

static bool word_is(const struct line *l, int i, const char *text)
{
	const struct word *w = &l->word[i];
	return column_is(l->text + w->at, w->len, text);
}

/* Splits at blanks; a quote that opens after `=` keeps them. */
static bool split(struct line *l)
{
	for (size_t at = 0; at < l->len;) {
		if (cell_blank(l->text[at])) {
			at++;
			continue;
		}
		if (l->text[at] == '#')
			return true;
		if (l->words == WORDS_MAX)
			return cell_refuse(l->why, at, "more than 64 words in one line");
		struct word *w = &l->word[l->words++];
		*w = (struct word){.at = at};
		bool quoted = false;
		for (; at < l->len && (quoted || !cell_blank(l->text[at])); at++)
			if (l->text[at] == '"')
				quoted = !quoted;
		if (quoted)
			return cell_refuse(l->why, w->at, "the quote is not closed");
		w->len = at - w->at;
	}
	return true;
}

/* A cell from part of the line, without its quotes. */
static bool put_cell(struct line *l, enum sheet_column column, size_t at, size_t len)
{
	char value[SHEET_CELL_SIZE];
	const char *from = l->text + at;
	if (l->row.written[column][0])
		return cell_refuse(l->why, at, column == SHEET_NOMINAL
		                                 ? "a second value: the nominal was given already"
		                                 : "this was given already, further to the left");
	if (len >= 2 && from[0] == '"' && from[len - 1] == '"')
		from++, at++, len -= 2;
	if (len == 0)
		return cell_refuse(l->why, at, "nothing stands here");
	if (len >= sizeof value)
		return cell_refuse(l->why, at, "too long: at most 159 bytes");
	memcpy(l->row.written[column], from, len);
	l->row.written[column][len] = '\0';
	l->cell_at[column] = at;
	return true;
}

static bool put_pair(struct line *l, const struct word *w, const char *equals)
{
	size_t key = (size_t)(equals - (l->text + w->at));
	for (int i = 0; i < SHEET_COLUMNS; i++)
		if (i != SHEET_POSITION && column_is(l->text + w->at, key, sheet_column_name[i]))
			return put_cell(l, (enum sheet_column)i, w->at + key + 1, w->len - key - 1);
	return cell_refuse(l->why, w->at, "no column of a sheet: expected kind, nominal, tolerance, "
	                                "service, rated, role, with, channel, twin, part, source, max, "
	                                "price or note");
}

static bool put_kind(struct line *l, int i, bool *was)
{
	const struct word *w = &l->word[i];
	enum kind kind;
	const char *name = NULL;
	for (size_t k = 0; k < sizeof kind_words / sizeof *kind_words; k++)
		if (word_is(l, i, kind_words[k].word))
			name = kind_words[k].kind;
	if (!name && kind_from_name(l->text + w->at, w->len, &kind))
		name = kind_name(kind);
	/* `heater V3` may be a role: a second kind is a word like any other. */
	*was = name && !l->row.written[SHEET_KIND][0];
	if (!*was)
		return true;
	snprintf(l->row.written[SHEET_KIND], SHEET_CELL_SIZE, "%s", name);
	l->cell_at[SHEET_KIND] = w->at;
	return true;
}

static bool has(const struct line *l, const struct word *w, char c)
{
	return memchr(l->text + w->at, c, w->len) != NULL;
}

static bool begins(const struct line *l, const struct word *w, const char *with)
{
	size_t n = strlen(with);
	return w->len >= n && memcmp(l->text + w->at, with, n) == 0;
}

/* +- >= <= and the sign for plus or minus: two bytes each. */
static bool is_limit(const struct line *l, const struct word *w)
{
	return begins(l, w, "+-") || begins(l, w, "\xc2\xb1") || begins(l, w, ">=") ||
	       begins(l, w, "<=");
}

/* A number alone, sign and point allowed, and what a tolerance begins with. */
static bool bare_number(const struct line *l, const struct word *w)
{
	bool digit = false;
	size_t i = 0;
	if (is_limit(l, w))
		i = 2;
	else if (l->text[w->at] == '-' || l->text[w->at] == '+')
		i = 1;
	for (; i < w->len; i++) {
		char c = l->text[w->at + i];
		digit |= is_digit(c);
		if (!is_digit(c) && c != '.')
			return false;
	}
	return digit;
}

/* Words that may stand after a number as its unit. */
static bool is_unit(const struct line *l, const struct word *w)
{
	static const char *const units[] = {
	    "k", "M", "m", "u", "n", "p", "V", "mV", "kV", "A", "mA", "uA", "W", "mW", "F", "uF", "nF",
	    "pF", "mF", "ohm", "ohms", "kohm", "Mohm", "H", "mH", "Hz", "kHz", "meg", "mfd", "mmf",
	    "\xc2\xb5" "F", "\xce\xbc" "F", "\xce\xa9", "k\xce\xa9", "M\xce\xa9", "C", "%"};
	for (size_t i = 0; i < sizeof units / sizeof *units; i++)
		if (strlen(units[i]) == w->len && memcmp(l->text + w->at, units[i], w->len) == 0)
			return true;
	return false;
}

/* Takes the words after `i` that belong to it; returns the end in the line. */
static size_t join(struct line *l, int i, bool tolerance)
{
	size_t end = l->word[i].at + l->word[i].len;
	for (int k = i + 1; k < l->words; k++) {
		const struct word *w = &l->word[k];
		bool more = is_unit(l, w) && bare_number(l, &l->word[k - 1]);
		/* -10 +10 %, and AC or DC after volts */
		if (!more && tolerance)
			more = k == i + 1 && l->text[w->at] == '+' && l->text[l->word[i].at] == '-';
		if (!more && !tolerance && (word_is(l, k, "AC") || word_is(l, k, "DC")))
			more = l->text[end - 1] == 'V';
		if (!more)
			break;
		l->word[k].taken = true;
		end = w->at + w->len;
	}
	return end;
}

static bool is_value(const struct line *l, const struct word *w)
{
	char c = l->text[w->at];
	return is_digit(c) || c == '.' || ((c == '-' || c == '+') && w->len > 1);
}

static bool is_tolerance(const struct line *l, int i)
{
	const struct word *w = &l->word[i];
	if (has(l, w, '%') || is_limit(l, w))
		return true;
	/* A letter of IEC 60062 right after the value: 100n K */
	if (w->len == 1 && memchr("BCDFGJKMZ", l->text[w->at], 9) && i > 1)
		return is_value(l, &l->word[i - 1]);
	if (!bare_number(l, w) || i + 1 >= l->words)
		return false;
	const struct word *next = &l->word[i + 1];
	bool percent = next->len == 1 && l->text[next->at] == '%';
	/* -10 +10 % */
	bool pair = l->text[w->at] == '-' && l->text[next->at] == '+';
	return percent || pair;
}

/* Volts on what is not measured in volts: what it is rated for; watts always. */
static enum sheet_column column_of_value(const struct line *l, size_t end, enum function f)
{
	char last = l->text[end - 1];
	if (last == 'W')
		return SHEET_RATED;
	bool volts = last == 'V' && f != FUNCTION_VOLT_DC && f != FUNCTION_NONE && f != FUNCTION_DIODE;
	return volts ? SHEET_RATED : SHEET_NOMINAL;
}

static bool put_role(struct line *l, const struct word *w)
{
	char *role = l->row.written[SHEET_ROLE];
	size_t len = strlen(role);
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
	for (int i = 1; i < l->words; i++) {
		struct word *w = &l->word[i];
		const char *equals = memchr(l->text + w->at, '=', w->len);
		if (w->taken)
			continue;
		if (equals && !is_limit(l, w)) {
			if (!put_pair(l, w, equals))
				return false;
		} else if (is_tolerance(l, i)) {
			size_t end = join(l, i, true);
			if (!put_cell(l, SHEET_TOLERANCE, w->at, end - w->at))
				return false;
		} else if (is_value(l, w)) {
			size_t end = join(l, i, false);
			if (!put_cell(l, column_of_value(l, end, f), w->at, end - w->at))
				return false;
		} else if (!put_role(l, w)) {
			return false;
		}
	}
	return true;
}

/* ---- rows ---- */

struct giving {
	struct line *line;
	bool (*each)(void *arg, const struct sheet_row *row, struct fault *why);
	void *arg;
};

static bool give_row(void *arg, const char *name, struct fault *why)
{
	struct giving *g = arg;
	struct sheet_row row = g->line->row;
	enum sheet_column bad = SHEET_POSITION;
	struct fault said = {0};
	snprintf(row.written[SHEET_POSITION], SHEET_CELL_SIZE, "%s", name);
	if (row_understand(&row, &bad, &said))
		return g->each(g->arg, &row, why);
	size_t at = bad == SHEET_POSITION ? g->line->word[0].at : g->line->cell_at[bad];
	fault_at(why, NULL, 0, (int)at + (said.column ? said.column : 1), "%s: %s", name, said.text);
	return false;
}

struct first_name {
	char name[NAME_SIZE];
};

static bool keep_first(void *arg, const char *name, struct fault *why)
{
	struct first_name *f = arg;
	(void)why;
	if (!f->name[0])
		snprintf(f->name, sizeof f->name, "%s", name);
	return true;
}

bool sheet_entry_parse(const char *text, size_t len,
                       bool (*each)(void *arg, const struct sheet_row *row, struct fault *why),
                       void *arg, struct fault *why)
{
	struct line l = {.text = text, .len = len, .why = why};
	struct giving g = {&l, each, arg};
	struct first_name first = {""};
	if (!cell_bytes_fit(text, len, false, why) || !split(&l))
		return false;
	if (l.words == 0)
		return true;
	const struct word *names = &l.word[0];
	if (!names_expand(text + names->at, names->len, keep_first, &first, why)) {
		why->column += (int)names->at;
		return false;
	}
	for (int i = 1; i < l.words; i++) {
		bool kind = false;
		if (!put_kind(&l, i, &kind))
			return false;
		l.word[i].taken = kind;
	}
	enum kind kind = kind_from_position(first.name);
	if (l.row.written[SHEET_KIND][0])
		kind_from_name(l.row.written[SHEET_KIND], strlen(l.row.written[SHEET_KIND]), &kind);
	if (!read_words(&l, kind_function(kind)))
		return false;
	return names_expand(text + names->at, names->len, give_row, &g, why);
}

/* ---- the other channel ---- */

void channel_other(const char *channel, char out[16])
{
	static const char *const pairs[][2] = {
	    {"left", "right"}, {"l", "r"}, {"a", "b"}, {"1", "2"}, {"one", "two"},
	};
	out[0] = '\0';
	for (size_t i = 0; i < 2 * (sizeof pairs / sizeof *pairs); i++) {
		const char *from = pairs[i / 2][i % 2], *to = pairs[i / 2][1 - i % 2];
		if (!column_is(channel, strlen(channel), from))
			continue;
		snprintf(out, 16, "%s", to);
		for (size_t k = 0; out[k]; k++) {
			bool upper = channel[k ? 1 : 0] >= 'A' && channel[k ? 1 : 0] <= 'Z';
			if (upper && out[k] >= 'a' && out[k] <= 'z' && (k == 0 || channel[1]))
				out[k] = (char)(out[k] - 'a' + 'A');
		}
		return;
	}
}

bool sheet_mirror_row(const struct sheet_row *row, int by,
                      bool (*mirrored)(void *arg, const char *name), void *arg,
                      struct sheet_row *out, struct fault *why)
{
	static const enum sheet_column dropped[] = {SHEET_PRICE, SHEET_NOTE, SHEET_WITH, SHEET_PART,
	                                            SHEET_CHANNEL};
	const char *name = row->position.name;
	struct sheet_row made = *row;
	enum sheet_column bad;
	char shifted[NAME_SIZE];
	if (!name_shift(name, by, shifted)) {
		fault_set(why, "%s: its number cannot be raised by %d", name, by);
		return false;
	}
	for (size_t i = 0; i < sizeof dropped / sizeof *dropped; i++)
		made.written[dropped[i]][0] = '\0';
	snprintf(made.written[SHEET_POSITION], SHEET_CELL_SIZE, "%s", shifted);
	snprintf(made.written[SHEET_TWIN], SHEET_CELL_SIZE, "%s", name);
	const char *with = row->written[SHEET_WITH];
	if (with[0] && mirrored(arg, with) && name_shift(with, by, shifted))
		snprintf(made.written[SHEET_WITH], SHEET_CELL_SIZE, "%s", shifted);
	else if (with[0])
		snprintf(made.written[SHEET_WITH], SHEET_CELL_SIZE, "%s", with);
	/* A can or a double valve of the other channel is another one. */
	if (row->written[SHEET_PART][0] && name_shift(row->written[SHEET_PART], by, shifted))
		snprintf(made.written[SHEET_PART], SHEET_CELL_SIZE, "%s", shifted);
	channel_other(row->written[SHEET_CHANNEL], made.written[SHEET_CHANNEL]);
	memset(&made.position, 0, sizeof made.position);
	if (!row_understand(&made, &bad, why))
		return false;
	*out = made;
	return true;
}

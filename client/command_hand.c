/* SPDX-License-Identifier: MIT */
/*
 * Small calculators that ask no daemon: markings, preferred values, corners.
 */
#include "client/command_calls.h"

#include "protocol/trade/marking.h"
#include "protocol/trade/places.h"
#include "protocol/trade/preferred.h"

#include <string.h>

/* "4.7 kohm" in the best prefix, for people. */
static void shown(const struct style *style, struct decimal value, enum function f, char *out,
                  size_t size)
{
	char text[2 * DECIMAL_TEXT_SIZE];
	value = decimal_strip(value);
	int prefix = quantity_prefix(value, f);
	if (value.e > prefix) /* 20 kohm is {2, 4}: written with its zero */
		decimal_rescale(value, prefix, &value);
	quantity_shown(value, f, prefix, text, sizeof text);
	words_value(style, text, out, size);
}

/* ---- marking ---- */

static void marking_json(struct client *c, const struct marking *m)
{
	char buffer[1024], tolerance[160];
	struct text t;
	text_begin(&t, buffer, sizeof buffer);
	text_puts(&t, "{\"value\":");
	text_decimal(&t, m->value);
	text_member_string(&t, "unit", function_name(m->function));
	tolerance_shown(&m->tolerance, m->function, tolerance, sizeof tolerance);
	text_member_string(&t, "tolerance", tolerance[0] ? tolerance : NULL);
	if (m->has_rated)
		text_member_decimal(&t, "rated", m->rated);
	if (m->has_watts)
		text_member_decimal(&t, "watts", m->watts);
	if (m->has_drift)
		text_member_int(&t, "ppm", m->drift);
	if (m->reversed)
		text_member_bool(&t, "reversed", true);
	text_member_string(&t, "scheme", m->scheme);
	if (m->note[0])
		text_member_string(&t, "note", m->note);
	text_puts(&t, "}");
	client_json(c, (struct slice){t.bytes, t.len});
}

static void marking_row(const struct style *style, const struct marking *m, struct table *table)
{
	char text[WORDS_SIZE], number[DECIMAL_TEXT_SIZE], rated[160] = "";
	table_row(table, m->reversed ? TABLE_FAINT : TABLE_ORDINARY);
	shown(style, m->value, m->function, text, sizeof text);
	table_cell(table, text);
	tolerance_shown(&m->tolerance, m->function, text, sizeof text);
	table_cell(table, text);
	if (m->has_rated) {
		decimal_plain(decimal_strip(m->rated), number, sizeof number);
		snprintf(rated, sizeof rated, "%s V?", number);
	} else if (m->has_watts) {
		decimal_plain(decimal_strip(m->watts), number, sizeof number);
		snprintf(rated, sizeof rated, "%s W", number);
	}
	table_cell(table, rated);
	table_cell(table, m->scheme);
	snprintf(text, sizeof text, "%s", m->note);
	if (m->has_drift)
		snprintf(text, sizeof text, "%d ppm/K%s%s", m->drift, m->note[0] ? "; " : "", m->note);
	table_cell(table, text);
}

enum outcome call_marking(struct client *c)
{
	static const struct table_column columns[] = {
		{"value", true, true}, {"tolerance", false, false}, {"rated", true, false},
		{"scheme", false, true}, {"note", false, true},
	};
	struct marking_list list;
	struct fault why;
	struct table table;
	struct lines out = {0};
	const char *word = client_word(c, 0);
	if (!marking_read(word, strlen(word), &list, &why))
		return client_wrong_word(c, "TEXT", word, &why);
	if (client_has(c, OPTION_JSON)) {
		for (int i = 0; i < list.n; i++)
			marking_json(c, &list.at[i]);
		return OUTCOME_DONE;
	}
	bool rated = false;
	table_begin(&table, columns, sizeof columns / sizeof columns[0]);
	for (int i = 0; i < list.n; i++) {
		marking_row(&c->style, &list.at[i], &table);
		rated = rated || list.at[i].has_rated;
	}
	table_print(&table, &c->style, &out);
	table_end(&table);
	if (list.n > 1)
		lines_puts(&out, "More than one reading is possible: the part and a meter tell.\n");
	if (rated)
		lines_puts(&out, "A rating is proposed by the marking: makers differed, confirm it.\n");
	client_lines(c, &out);
	return OUTCOME_DONE;
}

/* ---- preferred ---- */

static void preferred_json(struct client *c, struct decimal value)
{
	char buffer[4096];
	struct text t;
	text_begin(&t, buffer, sizeof buffer);
	for (int s = 0; s < SERIES_COUNT; s++) {
		struct neighbours n;
		preferred_find((enum series)s, value, &n);
		text_printf(&t, "%s\"%s\":{\"nearest\":", s ? "," : "{", series_name((enum series)s));
		text_decimal(&t, n.nearest);
		text_member_decimal(&t, "below", n.below);
		text_member_decimal(&t, "above", n.above);
		text_member_bool(&t, "member", series_contains((enum series)s, value));
		text_puts(&t, "}");
	}
	text_puts(&t, "}");
	client_json(c, (struct slice){t.bytes, t.len});
}

static void preferred_words(struct client *c, struct decimal value, enum function f)
{
	static const struct table_column columns[] = {
		{"series", false, true}, {"below", true, false}, {"nearest", true, false},
		{"off", true, false}, {"above", true, false},
	};
	struct table table;
	struct lines out = {0};
	char text[WORDS_SIZE];
	const char *before = "of ";
	shown(&c->style, value, f, text, sizeof text);
	lines_printf(&out, "%s is ", text);
	for (int s = 0; s < SERIES_COUNT; s++)
		if (series_contains((enum series)s, value)) {
			lines_printf(&out, "%s%s", before, series_name((enum series)s));
			before = ", ";
		}
	lines_puts(&out, before[0] == 'o' ? "of no series, as old nominals often are\n" : "\n");
	table_begin(&table, columns, sizeof columns / sizeof columns[0]);
	for (int s = 0; s < SERIES_COUNT; s++) {
		struct neighbours n;
		preferred_find((enum series)s, value, &n);
		table_row(&table, TABLE_ORDINARY);
		table_cell(&table, series_name((enum series)s));
		shown(&c->style, n.below, f, text, sizeof text);
		table_cell(&table, text);
		shown(&c->style, n.nearest, f, text, sizeof text);
		table_cell(&table, text);
		double off = (decimal_double(n.nearest) / decimal_double(value) - 1) * 100;
		table_printf(&table, "%+.1f %%", off);
		shown(&c->style, n.above, f, text, sizeof text);
		table_cell(&table, text);
	}
	table_print(&table, &c->style, &out);
	table_end(&table);
	client_lines(c, &out);
}

enum outcome call_preferred(struct client *c)
{
	struct decimal value;
	enum function f;
	struct fault why;
	struct neighbours n;
	const char *word = client_word(c, 0);
	if (!quantity_parse(word, strlen(word), FUNCTION_NONE, &value, &f, &why))
		return client_wrong_word(c, "VALUE", word, &why);
	if (!preferred_find(SERIES_E3, value, &n))
		return client_wrong(c, "VALUE \"%s\": preferred values lie above zero, within what parts "
		                    "are made for", word);
	if (f == FUNCTION_NONE)
		f = function_by_prefix(word);
	if (client_has(c, OPTION_JSON))
		preferred_json(c, value);
	else
		preferred_words(c, value, f);
	return OUTCOME_DONE;
}

/* ---- corner ---- */

bool part_parse(const char *word, enum function f, struct decimal *out, struct fault *why)
{
	enum function g;
	struct tolerance tolerance;
	struct fault marked;
	/* A bare .047 counts microfarads, as on the part; 4.7e-8 is farads. */
	bool bare = f == FUNCTION_FARAD && word[strspn(word, "0123456789.")] == '\0';
	if (!bare && quantity_parse(word, strlen(word), f, out, &g, why))
		return true;
	if (marking_value(word, strlen(word), f, out, &tolerance, &marked))
		return true;
	if (bare)
		*why = marked;
	return false;
}

/* Is this a capacitor, by its unit or prefix? */
static bool is_farads(const char *word)
{
	struct decimal d;
	enum function f;
	struct fault why;
	const char *letter = word + strspn(word, "0123456789. ");
	if (quantity_parse(word, strlen(word), FUNCTION_NONE, &d, &f, &why) && f != FUNCTION_NONE)
		return f == FUNCTION_FARAD;
	return *letter && strchr("pnu", *letter) != NULL;
}

/* "104K", "473J": three figures and a letter that say a capacitor by their code; what would be
 * written so for a resistor (470K) is none. */
static bool is_code(const char *word)
{
	struct decimal value;
	struct tolerance tolerance;
	struct fault why;
	return strlen(word) == 4 && strspn(word, "0123456789") == 3 &&
	       marking_value(word, 4, FUNCTION_FARAD, &value, &tolerance, &why) &&
	       !marking_value(word, 4, FUNCTION_OHM, &value, &tolerance, &why);
}

enum outcome call_corner(struct client *c)
{
	struct decimal R, C;
	struct fault why;
	const char *first = client_word(c, 0), *second = client_word(c, 1);
	if ((is_farads(first) && !is_farads(second)) || (is_code(first) && !is_code(second) &&
	                                                 !is_farads(second))) {
		const char *swap = first; /* the order does not matter where it can be told */
		first = second;
		second = swap;
	}
	if (!part_parse(first, FUNCTION_OHM, &R, &why))
		return client_wrong_word(c, "R", first, &why);
	if (!part_parse(second, FUNCTION_FARAD, &C, &why))
		return client_wrong_word(c, "C", second, &why);
	if (R.n <= 0 || C.n <= 0)
		return client_wrong(c, "a corner needs a resistance and a capacitance above zero");
	struct measure hertz = place_corner((struct measure){decimal_double(R), 0},
	                                    (struct measure){decimal_double(C), 0});
	if (client_has(c, OPTION_JSON)) {
		char buffer[128];
		struct text t;
		text_begin(&t, buffer, sizeof buffer);
		text_puts(&t, "{\"hertz\":");
		text_real(&t, hertz.value);
		text_puts(&t, "}");
		client_json(c, (struct slice){t.bytes, t.len});
		return OUTCOME_DONE;
	}
	char ohms[WORDS_SIZE], farads[WORDS_SIZE], corner[WORDS_SIZE];
	struct lines out = {0};
	shown(&c->style, R, FUNCTION_OHM, ohms, sizeof ohms);
	shown(&c->style, C, FUNCTION_FARAD, farads, sizeof farads);
	shown(&c->style, decimal_from_double(hertz.value, 4), FUNCTION_HERTZ, corner, sizeof corner);
	lines_printf(&out, "%s with %s: -3 dB at %s\n", ohms, farads, corner);
	client_lines(c, &out);
	return OUTCOME_DONE;
}

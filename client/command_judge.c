/* SPDX-License-Identifier: MIT */
/*
 * One verdict by hand: a nominal, a tolerance and a value; no daemon is asked.
 *
 * The value counts as one settled reading of a part out of circuit, with the lead
 * offset seen to: u joins the meter's accuracy statement with the step of its last
 * digit, as for an entry of one reading.
 */
#include "client/command_calls.h"

#include "protocol/trade/uncertainty.h"
#include "protocol/trade/verdict.h"

#include <string.h>
#include <strings.h>

struct by_hand {
	struct judgement j;
	struct accuracy_line accuracy;
	bool accuracy_assumed;
	double digit;
	enum function function;
};

static bool is_any(const char *word, const char *const *names, size_t count)
{
	for (size_t i = 0; i < count; i++)
		if (strcasecmp(word, names[i]) == 0)
			return true;
	return false;
}

/* "OL", "overload", "open", or ">20M": beyond the end of the range. */
static bool overload_word(const char *word, const char **above)
{
	static const char *const names[] = {"OL", "overload", "open"};
	*above = NULL;
	if (is_any(word, names, sizeof names / sizeof names[0]))
		return true;
	if (word[0] != '>')
		return false;
	*above = word + 1 + (word[1] == '=');
	while (**above == ' ')
		(*above)++;
	return true;
}

static bool parse(const char *text, enum function hint, struct decimal *value, enum function *f,
                  struct fault *why)
{
	return quantity_parse(text, strlen(text), hint, value, f, why);
}

enum function function_by_prefix(const char *nominal)
{
	const char *letter = nominal + strspn(nominal, "+-.0123456789 ");
	if (*letter && strchr("kKMGR", *letter))
		return FUNCTION_OHM;
	if ((*letter && strchr("pnu", *letter)) || strncmp(letter, "\u00b5", 2) == 0 ||
	    strncmp(letter, "\u03bc", 2) == 0)
		return FUNCTION_FARAD;
	return FUNCTION_NONE;
}

/* The function where the nominal is a marking rather than a value: 104K beside 0.105u is the
 * code on a capacitor, 473J is nothing else, and of brown black red the value tells. */
static enum function marked_function(const char *nominal, const char *value, enum function f)
{
	struct decimal d;
	struct fault why;
	enum function g, by_value = value ? function_by_prefix(value) : FUNCTION_NONE;
	if (by_value != FUNCTION_NONE && (by_value == FUNCTION_FARAD || f == FUNCTION_NONE) &&
	    by_value != f && part_parse(nominal, by_value, &d, &why))
		return by_value;
	if (parse(nominal, f, &d, &g, &why))
		return f;
	bool farad = part_parse(nominal, FUNCTION_FARAD, &d, &why);
	if (farad != part_parse(nominal, FUNCTION_OHM, &d, &why))
		return farad ? FUNCTION_FARAD : FUNCTION_OHM;
	return f;
}

/* The function that any of the words names by its unit: `judge 100k 5% "103 kohm"`
 * is about ohms throughout.  A fault is found later, with its word. */
static enum function find_function(const char *nominal, const char *tolerance, const char *value)
{
	struct decimal d;
	struct fault why;
	enum function f = FUNCTION_NONE;
	const char *above;
	const char *words[] = {nominal, overload_word(value, &above) ? above : value,
	                       tolerance + strspn(tolerance, "<>=+- ")};
	for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
		if (words[i] && parse(words[i], FUNCTION_NONE, &d, &f, &why) && f != FUNCTION_NONE &&
		    f != FUNCTION_PERCENT)
			return f;
	bool bound = tolerance[0] == '<' || tolerance[0] == '>';
	f = function_by_prefix(nominal);
	f = marked_function(nominal, words[1], f);
	return f == FUNCTION_NONE && bound ? function_by_prefix(tolerance + strspn(tolerance, "<>="))
	                                   : f;
}

static enum outcome read_value(struct client *c, struct by_hand *h, const char *word)
{
	struct fault why;
	enum function f;
	const char *above;
	if (!overload_word(word, &above)) {
		h->j.has_value = true;
		if (!parse(word, h->function, &h->j.value, &f, &why))
			return client_wrong_word(c, "VALUE", word, &why);
		return OUTCOME_DONE;
	}
	h->j.has_above = above != NULL;
	if (above && !parse(above, h->function, &h->j.above, &f, &why))
		return client_wrong_word(c, "VALUE", word, &why);
	return OUTCOME_DONE;
}

static enum outcome read_limits(struct client *c, struct by_hand *h, const char *nominal,
                                const char *tolerance)
{
	struct fault why;
	struct tolerance t;
	enum function f;
	h->j.has_nominal = strcmp(nominal, "-") != 0;
	bool part = h->function == FUNCTION_FARAD || h->function == FUNCTION_OHM;
	if (h->j.has_nominal && !(part ? part_parse(nominal, h->function, &h->j.nominal, &why)
	                               : parse(nominal, h->function, &h->j.nominal, &f, &why)))
		return client_wrong_word(c, "NOMINAL", nominal, &why);
	if (!tolerance_parse_for(tolerance, strlen(tolerance), h->function, h->j.has_nominal,
	                         h->j.nominal, &t, &why))
		return client_wrong_word(c, "TOLERANCE", tolerance, &why);
	if (!limits_from(&t, h->j.has_nominal, h->j.nominal, &h->j.limits))
		return client_wrong(c, "TOLERANCE \"%s\" gives no limits%s", tolerance,
		                    h->j.has_nominal ? " with this nominal" : " without a nominal");
	return OUTCOME_DONE;
}

/* With an accuracy in counts, VALUE is written as the meter shows it.  Without one,
 * people write 0.02 for what was shown as 0.0200: the last digit written is the
 * meter's last only where it is finer than that of 2000 counts, the coarsest
 * display in use (common practice, no source). */
static int written_digit(struct decimal value)
{
	struct decimal d = decimal_strip(value);
	int decade = d.e - 1;
	for (int64_t n = d.n; n != 0; n /= 10)
		decade++;
	return d.n && decade - 3 < value.e ? decade - 3 : value.e;
}

static enum outcome read_meter(struct client *c, struct by_hand *h)
{
	struct fault why;
	struct decimal d = {0, 0};
	enum function f;
	const char *spec = client_option(c, OPTION_ACCURACY), *digit = client_option(c, OPTION_DIGIT);
	h->accuracy = accuracy_assumed(h->function);
	h->accuracy_assumed = spec == NULL;
	if (spec && !accuracy_parse(spec, strlen(spec), &h->accuracy.percent, &h->accuracy.counts,
	                            &why))
		return client_wrong_word(c, "--accuracy", spec, &why);
	if (digit && !parse(digit, h->function, &d, &f, &why))
		return client_wrong_word(c, "--digit", digit, &why);
	if (digit && d.n <= 0)
		return client_wrong(c, "--digit \"%s\": the weight of a digit is more than 0", digit);
	if (!digit && h->j.has_value)
		d = (struct decimal){1, spec ? h->j.value.e : written_digit(h->j.value)};
	h->digit = decimal_double(d);
	if (h->j.has_value)
		h->j.u = uncertainty_combine(
			uncertainty_accuracy(&h->accuracy, decimal_double(h->j.value), h->digit),
			uncertainty_repeatability(0, 1, h->digit), 0);
	return OUTCOME_DONE;
}

/* ---- the answer ---- */

static void limit(struct text *t, bool there, struct decimal d)
{
	if (there)
		text_decimal(t, d);
	else
		text_puts(t, "null");
}

/* "verdict" to "limits", without a comma before. */
static void verdict_text(struct text *t, const struct verdict *v)
{
	text_puts(t, "\"verdict\":");
	text_string(t, verdict_word_name(v->word), strlen(verdict_word_name(v->word)));
	text_member_string(t, "side", v->side == SIDE_NONE ? NULL : verdict_side_name(v->side));
	text_member_string(t, "reason",
	                   v->reason == REASON_NONE ? NULL : verdict_reason_name(v->reason));
	if (v->has_deviation)
		text_member_real(t, "deviation", v->deviation);
	else
		text_member_null(t, "deviation");
	if (v->has_probability)
		text_member_real(t, "probability", v->probability);
	else
		text_member_null(t, "probability");
	text_puts(t, ",\"limits\":[");
	limit(t, v->limits.has_low, v->limits.low);
	text_puts(t, ",");
	limit(t, v->limits.has_high, v->limits.high);
	text_puts(t, "]");
}

static void judge_json(struct client *c, const struct by_hand *h, const struct verdict *v)
{
	char buffer[1024];
	struct text t;
	text_begin(&t, buffer, sizeof buffer);
	text_puts(&t, "{");
	verdict_text(&t, v);
	if (h->j.has_value)
		text_member_real(&t, "u", h->j.u);
	else
		text_member_null(&t, "u");
	if (h->accuracy_assumed)
		text_member_string(&t, "accuracy", "assumed");
	if (v->why[0])
		text_member_string(&t, "why", v->why);
	if (v->next[0])
		text_member_string(&t, "next", v->next);
	text_puts(&t, "}");
	client_json(c, (struct slice){t.bytes, t.len});
}

/* The entry that this would be, as far as the words need one. */
static void as_entry(const struct by_hand *h, const struct verdict *v, const char *shown,
                     struct text *t)
{
	text_puts(t, "{");
	verdict_text(t, v);
	text_member_string(t, "function", function_name(h->function));
	text_member_string(t, "shown", shown);
	if (h->j.has_value)
		text_member_decimal(t, "value", h->j.value);
	if (h->j.has_above)
		text_member_decimal(t, "above", h->j.above);
	if (v->why[0])
		text_member_string(t, "why", v->why);
	if (v->next[0])
		text_member_string(t, "next", v->next);
	text_puts(t, "}");
}

static void accuracy_line(const struct by_hand *h, const struct style *style, const char *spec,
                          struct lines *out)
{
	if (h->accuracy_assumed)
		fact_printf(out, style, "accuracy", "assumed: %g%% + %g, a pessimistic class for %s; "
		            "--accuracy SPEC gives the meter's", h->accuracy.percent, h->accuracy.counts,
		            h->function == FUNCTION_NONE ? "any meter" : function_name(h->function));
	else
		fact(out, style, "accuracy", spec);
}

static void judge_words(struct client *c, const struct by_hand *h, const struct verdict *v)
{
	char buffer[2048], shown[WORDS_SIZE], text[WORDS_SIZE], U[WORDS_SIZE];
	struct text t;
	struct lines out = {0}, remark = {0};
	const struct style *style = &c->style;
	int prefix = quantity_prefix(h->j.value, h->function);
	if (h->j.has_value)
		quantity_shown(h->j.value, h->function, prefix, shown, sizeof shown);
	else
		snprintf(shown, sizeof shown, "overload");
	text_begin(&t, buffer, sizeof buffer);
	as_entry(h, v, shown, &t);
	struct slice entry = {t.bytes, t.len};
	words_deviation(style, entry, text, sizeof text);
	view_remark(style, entry, (struct slice){NULL, 0}, &remark);
	enum table_mark mark = view_mark(entry);
	lines_printf(&out, "%s%s%s%s%s%s%s\n", table_colour(style, mark), verdict_word_name(v->word),
	             text[0] ? ", " : "", text, remark.len ? "; " : "", lines_text(&remark),
	             table_colour_end(style, mark));
	words_value(style, shown, text, sizeof text);
	words_like(style, 2 * h->j.u, 2, shown, U, sizeof U);
	if (h->j.has_value)
		fact_printf(&out, style, "value", "%s +- %s (U = 2 u)", text, U);
	else
		fact(&out, style, "value", text);
	words_limits(style, entry, text, sizeof text);
	fact(&out, style, "limits", text);
	if (v->has_probability)
		fact_printf(&out, style, "probability", "%.1f %% that it lies within",
		            v->probability * 100);
	accuracy_line(h, style, client_option(c, OPTION_ACCURACY), &out);
	lines_free(&remark);
	client_lines(c, &out);
}

enum outcome call_judge(struct client *c)
{
	struct by_hand h = {.j = {.kind = KIND_OTHER, .settled = true}};
	const char *nominal = client_word(c, 0), *tolerance = client_word(c, 1);
	const char *value = client_word(c, 2);
	const char *above;
	h.function = find_function(nominal, tolerance, value);
	/* Without any unit an overload is that of an ohmmeter: 470 10% OL (common practice). */
	if (h.function == FUNCTION_NONE && overload_word(value, &above))
		h.function = FUNCTION_OHM;
	h.j.function = h.function;
	enum outcome outcome = read_limits(c, &h, nominal, tolerance);
	if (outcome == OUTCOME_DONE)
		outcome = read_value(c, &h, value);
	if (outcome == OUTCOME_DONE)
		outcome = read_meter(c, &h);
	if (outcome != OUTCOME_DONE)
		return outcome;
	struct verdict v = judge(&h.j);
	if (client_has(c, OPTION_JSON))
		judge_json(c, &h, &v);
	else
		judge_words(c, &h, &v);
	return v.word == VERDICT_OUTSIDE ? OUTCOME_NO : OUTCOME_DONE;
}

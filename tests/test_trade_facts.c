/* SPDX-License-Identifier: MIT */
/*
 * What every restorer knows (common practice, no source, all of it), a row a fact: kind and
 * role, what the schematic says, what was read, and what a careful colleague would say
 * against tolerance, against what the place can live with, and of what happened to the part.
 */
#include "protocol/trade/drift.h"
#include "protocol/trade/marking.h"
#include "protocol/trade/verdict.h"
#include "tests/check.h"

static struct decimal parsed(const char *text, enum function f)
{
	struct decimal d = {0, 0};
	struct fault why;
	enum function g;
	if (!quantity_parse(text, strlen(text), f, &d, &g, &why))
		fail_msg("%s: %s", text, why.text);
	return d;
}

enum found { MINE, DRIFT, OTHER, LEAKY, OPEN, NEGATIVE };

static struct judgement judgement_of(enum kind k, const char *nominal, const char *value, double u)
{
	struct judgement j = {.kind = k, .function = kind_function(k), .settled = true, .u = u,
	                      .has_nominal = true};
	j.nominal = parsed(nominal, j.function);
	j.has_value = strcmp(value, "OL") != 0;
	if (j.has_value)
		j.value = parsed(value, j.function);
	return j;
}

static enum found found(const struct verdict *v)
{
	return v->has_other                            ? OTHER
	       : v->reason == REASON_LEAKAGE           ? LEAKY
	       : v->reason == REASON_OPEN              ? OPEN
	       : strstr(v->why, "negative")            ? NEGATIVE
	       : v->word == VERDICT_OUTSIDE            ? DRIFT
	                                               : MINE;
}

static void facts(void **state)
{
	(void)state;
	static const struct {
		const char *fact;
		enum kind kind;
		const char *role, *nominal, *tolerance, *value;
		double percent; /* standard uncertainty */
		enum verdict_word tolerance_word, service_word;
		enum found found;
	} rows[] = {
	    {"330 uF where 100 belongs is another value, not drift", KIND_ELECTROLYTIC, "bypass", "100u",
	     "-20/+50%", "330u", 1, VERDICT_OUTSIDE, VERDICT_OUTSIDE, OTHER},
	    {"paper at fifteen times its nominal is leaky", KIND_PAPER, "coupling", "0.1u", "20%", "1.5u",
	     1, VERDICT_OUTSIDE, VERDICT_OUTSIDE, LEAKY},
	    {"carbon goes up: 680 k where 470 belongs is drift", KIND_CARBON_COMPOSITION, "anode load",
	     "470k", "10%", "680k", 0.5, VERDICT_OUTSIDE, VERDICT_OUTSIDE, DRIFT},
	    {"0.56 for 0.47 is as it was sold, and too much for coupling", KIND_FILM, "coupling", "0.47u",
	     "20%", "0.56u", 0.2, VERDICT_WITHIN, VERDICT_OUTSIDE, MINE},
	    {"and where it only decouples, it may stay", KIND_FILM, "decoupling", "0.47u", "20%", "0.56u",
	     0.2, VERDICT_WITHIN, VERDICT_WITHIN, MINE},
	    {"a stopper may be half of what it was", KIND_CARBON_COMPOSITION, "grid stopper", "1k", "10%",
	     "1.4k", 0.5, VERDICT_OUTSIDE, VERDICT_WITHIN, DRIFT},
	    {"a cathode resistor may not", KIND_CARBON_COMPOSITION, "cathode", "1k", "10%", "1.4k", 0.5,
	     VERDICT_OUTSIDE, VERDICT_OUTSIDE, DRIFT},
	    {"4.7 k lifted at 4.1 k is unusual for carbon, not another value", KIND_CARBON_COMPOSITION, "",
	     "4.7k", "10%", "4.1k", 0.3, VERDICT_OUTSIDE, VERDICT_WITHIN, DRIFT},
	    {"a dried out electrolytic has lost half", KIND_ELECTROLYTIC, "reservoir", "32u", "-20/+50%",
	     "16u", 1, VERDICT_OUTSIDE, VERDICT_OUTSIDE, DRIFT},
	    {"an electrolytic is sold up to half more", KIND_ELECTROLYTIC, "reservoir", "32u", "-20/+50%",
	     "46u", 1, VERDICT_WITHIN, VERDICT_WITHIN, MINE},
	    {"a lifted resistor that reads overload is open", KIND_CARBON_COMPOSITION, "anode load", "100k",
	     "10%", "OL", 0, VERDICT_OUTSIDE, VERDICT_OUTSIDE, OPEN},
	    {"47 k fitted where 4.7 belongs: one band was misread", KIND_CARBON_FILM, "", "4.7k", "5%",
	     "47.2k", 0.3, VERDICT_OUTSIDE, VERDICT_OUTSIDE, OTHER},
	    {"a bias of -44 V where -35 belongs is more negative", KIND_RAIL, "bias", "-35 V", "10%",
	     "-44 V", 0.3, VERDICT_OUTSIDE, VERDICT_OUTSIDE, NEGATIVE},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct tolerance t;
		struct fault why;
		struct judgement j = judgement_of(rows[i].kind, rows[i].nominal, rows[i].value, 0);
		j.u = rows[i].percent / 100 * fabs(decimal_double(j.value));
		assert_true(tolerance_parse(rows[i].tolerance, strlen(rows[i].tolerance), j.function, &t, &why));
		assert_true(limits_from(&t, true, j.nominal, &j.limits));
		struct verdict sold = judge(&j);
		assert_true(service_default(rows[i].kind, rows[i].role, &t));
		assert_true(limits_from(&t, true, j.nominal, &j.limits));
		struct verdict lives = judge(&j);
		verdicts_advise(&sold, &lives);
		if (sold.word != rows[i].tolerance_word || lives.word != rows[i].service_word ||
		    found(&sold) != rows[i].found)
			note_row("%s: %s, %s, \"%s\" (%d)", rows[i].fact, verdict_word_name(sold.word),
			         verdict_word_name(lives.word), sold.why, (int)found(&sold));
		assert_int_equal(sold.word, rows[i].tolerance_word);
		assert_int_equal(lives.word, rows[i].service_word);
		assert_int_equal(found(&sold), rows[i].found);
		/* Whatever is not within says what to do. */
		assert_int_equal(sold.word == VERDICT_WITHIN && lives.word == VERDICT_WITHIN,
		                 sold.next[0] == '\0');
	}
}

/* Brown, black, yellow on a tubular part are 100 nF. */
static void bands(void **state)
{
	(void)state;
	struct decimal value;
	struct tolerance t;
	struct fault why;
	const char *text = "brown black yellow";
	assert_true(marking_value(text, strlen(text), FUNCTION_FARAD, &value, &t, &why));
	assert_int_equal(decimal_compare(value, (struct decimal){100, -9}), 0);
}

/* A neighbour value that drift reaches is never named; what no drift reaches is. */
static void neighbours(void **state)
{
	(void)state;
	static const struct {
		enum kind kind;
		const char *nominal, *value;
		const char *other; /* NULL: not named */
	} rows[] = {
	    {KIND_CARBON_COMPOSITION, "470k", "560k", NULL}, {KIND_CARBON_COMPOSITION, "100k", "150k", NULL},
	    {KIND_CARBON_COMPOSITION, "100k", "220k", NULL}, {KIND_CARBON_COMPOSITION, "1k", "10k", "10k"},
	    {KIND_ELECTROLYTIC, "100u", "47u", NULL},        {KIND_ELECTROLYTIC, "47u", "100u", NULL},
	    {KIND_ELECTROLYTIC, "100u", "330u", "330u"},     {KIND_PAPER, "0.1u", "1u", NULL},
	    {KIND_PAPER, "0.1u", "0.047u", "47n"},           {KIND_FILM, "0.1u", "0.22u", "220n"},
	    {KIND_MICA, "100p", "220p", "220p"},             {KIND_METAL_FILM, "1k", "2.2k", "2.2k"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		enum function f = kind_function(rows[i].kind);
		struct decimal nominal = parsed(rows[i].nominal, f), value = parsed(rows[i].value, f), other;
		bool named = drift_other_value(drift_of(rows[i].kind, nominal), nominal, value,
		                               decimal_double(value) * 0.01, &other);
		if (named != (rows[i].other != NULL))
			note_row("%s at %s", rows[i].nominal, rows[i].value);
		assert_int_equal(named, rows[i].other != NULL);
		if (named)
			assert_int_equal(decimal_compare(other, parsed(rows[i].other, f)), 0);
	}
}

/* ---- in circuit ---- */

static struct verdict in_circuit(const char *value, enum agreement swapped)
{
	struct judgement j = judgement_of(KIND_CARBON_COMPOSITION, "100k", value, 300);
	j.limits = (struct limits){true, true, {90, 3}, {110, 3}};
	j.in_circuit = true;
	j.swapped = swapped;
	return judge(&j);
}

static void swapped_leads(void **state)
{
	(void)state;
	struct verdict v = in_circuit("130k", AGREEMENT_UNKNOWN);
	assert_int_equal(v.word, VERDICT_OUTSIDE);
	assert_non_null(strstr(v.next, "swap the leads"));
	v = in_circuit("130k", AGREEMENT_YES);
	assert_int_equal(v.word, VERDICT_OUTSIDE);
	assert_null(strstr(v.next, "swap"));
	/* 50 mV that were left behind are 15 % of a meter's test voltage. */
	v = in_circuit("130k", AGREEMENT_NO);
	assert_int_equal(v.word, VERDICT_UNSURE);
	assert_int_equal(v.reason, REASON_CIRCUIT);
	assert_non_null(strstr(v.next, "discharge"));
	/* below or inside, swapping settles nothing */
	assert_int_equal(in_circuit("100k", AGREEMENT_YES).word, VERDICT_UNSURE);
	assert_int_equal(in_circuit("60k", AGREEMENT_YES).word, VERDICT_UNSURE);
	/* the same for a part that reads open */
	assert_int_equal(in_circuit("OL", AGREEMENT_YES).word, VERDICT_OUTSIDE);
	assert_null(strstr(in_circuit("OL", AGREEMENT_YES).why, "confirm"));
	assert_non_null(strstr(in_circuit("OL", AGREEMENT_UNKNOWN).why, "confirm"));
	assert_int_equal(in_circuit("OL", AGREEMENT_NO).word, VERDICT_UNSURE);
}

static void beside_a_twin(void **state)
{
	(void)state;
	struct verdict v = in_circuit("82k", AGREEMENT_UNKNOWN);
	verdict_beside_twin(&v, "R112", true, 0.01);
	assert_int_equal(v.word, VERDICT_UNSURE);
	assert_non_null(strstr(v.why, "nothing against it"));
	v = in_circuit("60k", AGREEMENT_UNKNOWN);
	verdict_beside_twin(&v, "R112", false, -0.31);
	assert_string_equal(v.why, "31.0 % lower than its twin R112: lift both");
	/* what decided by itself needs no twin */
	struct verdict high = in_circuit("130k", AGREEMENT_YES), before = high;
	verdict_beside_twin(&high, "R112", true, 0);
	assert_memory_equal(&high, &before, sizeof high);
}

/* Capacitors in circuit are never within, whatever they read. */
static void capacitors_in_circuit(void **state)
{
	(void)state;
	static const char *const values[] = {"1n", "80n", "100n", "120n", "10u", "OL"};
	for (size_t i = 0; i < sizeof values / sizeof *values; i++) {
		struct judgement j = judgement_of(KIND_PAPER, "100n", values[i], 1e-10);
		j.limits = (struct limits){true, true, {80, -9}, {120, -9}};
		j.in_circuit = true;
		struct verdict v = judge(&j);
		assert_int_equal(v.word, VERDICT_UNSURE);
		assert_int_equal(v.reason, REASON_CIRCUIT);
		assert_string_equal(v.next, "lift one leg and measure again");
	}
}

/* What the meter's input takes away at a place of high impedance. */
static void loaded_places(void **state)
{
	(void)state;
	static const struct {
		const char *value;
		double load;
		enum verdict_word word;
	} rows[] = {
	    {"100 V", 0, VERDICT_WITHIN},  {"100 V", 5, VERDICT_WITHIN},
	    {"100 V", 15, VERDICT_NONE},  /* 115 V would be too high */
	    {"80 V", 5, VERDICT_OUTSIDE},  {"80 V", 12, VERDICT_NONE},
	    {"150 V", 50, VERDICT_OUTSIDE},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
		for (int sign = 1; sign >= -1; sign -= 2) { /* and the same below chassis */
			struct judgement j = judgement_of(KIND_VALVE, "100 V", rows[i].value, 0.1);
			j.limits = (struct limits){true, true, {sign > 0 ? 90 : -110, 0}, {sign > 0 ? 110 : -90, 0}};
			j.nominal.n *= sign;
			j.value.n *= sign;
			j.load = rows[i].load;
			struct verdict v = judge(&j);
			if (v.word != rows[i].word)
				note_row("%s, load %g, sign %d: %s", rows[i].value, rows[i].load, sign,
				         verdict_word_name(v.word));
			assert_int_equal(v.word, rows[i].word);
			assert_int_equal(v.word == VERDICT_NONE, v.reason == REASON_LIMITS_OF_METER);
		}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(facts),         cmocka_unit_test(bands),
	    cmocka_unit_test(neighbours),    cmocka_unit_test(swapped_leads),
	    cmocka_unit_test(beside_a_twin), cmocka_unit_test(capacitors_in_circuit),
	    cmocka_unit_test(loaded_places),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

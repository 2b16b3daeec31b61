/* SPDX-License-Identifier: MIT */
/*
 * Colour bands and dots (see marking.h).
 *
 * Resistors: IEC 60062:2016 and EN 60062:2005 clause 3, where they differ (grey)
 * both; the first band is the one nearest an end.
 *     3  digit digit multiplier                      20 %
 *     4  digit digit multiplier tolerance
 *     5  digit digit digit multiplier tolerance
 *     6  ... and temperature coefficient
 * Parts for high voltage have no metallic bands: yellow stands for gold, grey for
 * silver.  Gold or silver in the fourth place of five is an old part with four
 * bands and a fifth for reliability.
 *
 * Capacitors, in picofarads: trade practice, makers differed.
 *     polyester      digit digit multiplier tolerance volts
 *     moulded paper  digit digit multiplier tolerance hundreds of volts, in one or
 *                    (from 1000 V) two digits
 *     ceramic        [temperature coefficient] digit digit multiplier tolerance
 *     dots           kind digit digit multiplier [tolerance characteristic]
 */
#include "protocol/trade/marking_parts.h"

#include "protocol/trade/ascii.h"
#include "protocol/trade/preferred.h"

#include <stdio.h>
#include <string.h>

enum colour {
	PINK, SILVER, GOLD, BLACK, BROWN, RED, ORANGE, YELLOW, GREEN, BLUE, VIOLET, GREY, WHITE,
	COLOURS
};

#define NO (-99)    /* the colour has no meaning in this place */
#define BANDS_MAX 6

/* Tolerances in thousandths of a percent; the temperature coefficients in 1e-6/K. */
static const struct {
	int digit, multiplier;
	int tolerance, tolerance_2005; /* NO in the second: as in the first */
	int drift;                     /* sixth band of a resistor */
	int ceramic_drift;             /* first of five on a ceramic tube */
	int polyester, moulded, ceramic, mica; /* percent */
	int small;                     /* ceramic to 10 pF: hundredths of a picofarad */
	int polyester_volts;
} meaning[COLOURS] = {
    /*            digit mult  tol     2005 drift cdrift poly mould cer mica small volts */
    [PINK]   = {NO, -3, NO,    NO, NO,  NO,   NO, NO, NO, NO, NO,  NO},
    [SILVER] = {NO, -2, 10000, NO, NO,  NO,   NO, 10, NO, 10, NO,  NO},
    [GOLD]   = {NO, -1, 5000,  NO, NO,  NO,   NO, 5,  NO, 5,  NO,  NO},
    [BLACK]  = {0,  0,  NO,    NO, 250, 0,    20, 20, 20, 20, 200, NO},
    [BROWN]  = {1,  1,  1000,  NO, 100, -30,  NO, NO, 1,  1,  10,  100},
    [RED]    = {2,  2,  2000,  NO, 50,  -80,  NO, NO, 2,  2,  NO,  250},
    [ORANGE] = {3,  3,  50,    NO, 15,  -150, NO, NO, NO, NO, NO,  NO},
    [YELLOW] = {4,  4,  20,    NO, 25,  -220, NO, 5,  NO, NO, NO,  400},
    [GREEN]  = {5,  5,  500,   NO, 20,  -330, 5,  NO, 5,  5,  50,  NO},
    [BLUE]   = {6,  6,  250,   NO, 10,  -470, NO, NO, NO, NO, NO,  630},
    [VIOLET] = {7,  7,  100,   NO, 5,   -750, NO, NO, NO, NO, NO,  NO},
    [GREY]   = {8,  8,  10,    50, 1,   NO,   NO, NO, NO, NO, 25,  NO},
    [WHITE]  = {9,  9,  NO,    NO, NO,  NO,   10, 10, 10, NO, 100, NO},
};

static const struct {
	const char *name;
	enum colour colour;
} names[] = {
    {"pink", PINK},     {"silver", SILVER}, {"gold", GOLD},     {"black", BLACK},
    {"brown", BROWN},   {"red", RED},       {"orange", ORANGE}, {"yellow", YELLOW},
    {"green", GREEN},   {"blue", BLUE},     {"violet", VIOLET}, {"purple", VIOLET},
    {"grey", GREY},     {"gray", GREY},     {"white", WHITE},
    /* IEC 60757 */
    {"pk", PINK},       {"sr", SILVER},     {"gd", GOLD},       {"bk", BLACK},
    {"bn", BROWN},      {"rd", RED},        {"og", ORANGE},     {"ye", YELLOW},
    {"gn", GREEN},      {"bu", BLUE},       {"vt", VIOLET},     {"gy", GREY},
    {"wh", WHITE},
    /* As they are noted in haste. */
    {"pnk", PINK},      {"slv", SILVER},    {"sil", SILVER},    {"gld", GOLD},
    {"blk", BLACK},     {"brn", BROWN},     {"orn", ORANGE},    {"org", ORANGE},
    {"yel", YELLOW},    {"grn", GREEN},     {"blu", BLUE},      {"vio", VIOLET},
    {"vlt", VIOLET},    {"pur", VIOLET},    {"gry", GREY},      {"wht", WHITE},
    /* German */
    {"rosa", PINK},     {"silber", SILVER}, {"schwarz", BLACK}, {"braun", BROWN},
    {"rot", RED},       {"gelb", YELLOW},   {"gruen", GREEN},   {"blau", BLUE},
    {"violett", VIOLET}, {"lila", VIOLET},  {"grau", GREY},     {"weiss", WHITE},
};

/* Words that say what kind of part it is, or where a colour stands. */
enum word {
	WORD_RESISTOR = 1, WORD_CAPACITOR = 2, WORD_POLYESTER = 4, WORD_MOULDED = 8,
	WORD_CERAMIC = 16, WORD_DOTS = 32, WORD_WIDE = 64, WORD_NONE = 128, WORD_PASSED = 256,
	WORD_BODY = 512, WORD_END = 1024, WORD_DOT = 2048,
};

static const struct {
	const char *name;
	unsigned word;
} words[] = {
    {"resistor", WORD_RESISTOR},   {"capacitor", WORD_CAPACITOR}, {"condenser", WORD_CAPACITOR},
    {"cap", WORD_CAPACITOR},       {"tubular", WORD_CAPACITOR},   {"tube", WORD_CAPACITOR},
    {"polyester", WORD_CAPACITOR | WORD_POLYESTER}, {"film", WORD_CAPACITOR | WORD_POLYESTER},
    {"moulded", WORD_CAPACITOR | WORD_MOULDED}, {"molded", WORD_CAPACITOR | WORD_MOULDED},
    {"paper", WORD_CAPACITOR | WORD_MOULDED},   {"ceramic", WORD_CAPACITOR | WORD_CERAMIC},
    {"mica", WORD_CAPACITOR | WORD_DOTS},       {"dots", WORD_CAPACITOR | WORD_DOTS},
    {"wide", WORD_WIDE},           {"broad", WORD_WIDE},          {"double", WORD_WIDE},
    {"none", WORD_NONE},           {"no", WORD_NONE},             {"and", WORD_PASSED},          {"band", WORD_PASSED},
    {"bands", WORD_PASSED},        {"then", WORD_PASSED},         {"body", WORD_BODY},
    {"end", WORD_END},             {"tip", WORD_END},             {"dot", WORD_DOT},
};

#define WORDS_OF_CAPACITORS (WORD_POLYESTER | WORD_MOULDED | WORD_CERAMIC | WORD_DOTS)
#define WORDS_OF_PLACES (WORD_BODY | WORD_END | WORD_DOT)

struct bands {
	enum colour at[BANDS_MAX];
	unsigned place[BANDS_MAX]; /* body, end or dot, where it was said */
	int n;
	unsigned words;
};

static bool word_is(const char *text, size_t len, const char *name)
{
	for (size_t i = 0; i < len; i++) {
		char c = text[i] >= 'A' && text[i] <= 'Z' ? (char)(text[i] - 'A' + 'a') : text[i];
		if (!name[i] || c != name[i])
			return false;
	}
	return !name[len];
}

static int colour_find(const char *text, size_t len)
{
	for (size_t i = 0; i < sizeof names / sizeof *names; i++)
		if (word_is(text, len, names[i].name))
			return (int)names[i].colour;
	return -1;
}

bool band_is_colour(const struct plain *word)
{
	return colour_find(word->text, word->len) >= 0;
}

static unsigned word_find(const char *text, size_t len)
{
	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (word_is(text, len, words[i].name))
			return words[i].word;
	return 0;
}

enum function bands_word(const char *text, size_t len)
{
	unsigned word = word_find(text, len);
	return word & WORD_RESISTOR ? FUNCTION_OHM : word & WORD_CAPACITOR ? FUNCTION_FARAD : FUNCTION_NONE;
}

/* The next word at or behind *at, its length; 0 where only separators are left. */
static size_t next_word(const struct plain *p, size_t *at)
{
	while (*at < p->len && strchr(" ,-/+;:()", p->text[*at]))
		(*at)++;
	size_t end = *at;
	while (end < p->len && ascii_letter(p->text[end]))
		end++;
	return end - *at;
}

bool bands_are(const struct plain *p)
{
	size_t at = 0, n;
	while ((n = next_word(p, &at)) > 0) {
		if (colour_find(p->text + at, n) >= 0)
			return true;
		if (!word_find(p->text + at, n))
			return false;
		at += n;
	}
	return false;
}

static bool split(const struct plain *p, struct bands *b, struct fault *why)
{
	size_t at = 0, n;
	bool wide = false, none = false;
	unsigned place = 0;
	while ((n = next_word(p, &at)) > 0) {
		int colour = colour_find(p->text + at, n);
		unsigned word = colour < 0 ? word_find(p->text + at, n) : 0;
		if (colour < 0 && !word)
			return plain_fail(why, p, at, "a colour was expected here: black brown red orange "
			                              "yellow green blue violet grey white gold silver pink");
		if (none && colour >= 0)
			return plain_fail(why, p, at, "no colour can follow where none is");
		for (int twice = wide && colour >= 0 ? 2 : colour >= 0; twice > 0; twice--) {
			if (b->n == BANDS_MAX)
				return plain_fail(why, p, at, "more than six bands: no scheme has so many");
			b->place[b->n] = place;
			b->at[b->n++] = (enum colour)colour;
		}
		wide = word & WORD_WIDE;
		none = none || (word & WORD_NONE);
		place = word & WORDS_OF_PLACES;
		b->words |= word;
		at += n;
	}
	if (at < p->len)
		return plain_fail(why, p, at, "the name of a colour was expected here");
	return true;
}

/* ---- resistors ---- */

static void tolerance_set(struct marking *m, int thousandths)
{
	m->tolerance.form = TOLERANCE_PERCENT;
	m->tolerance.low = decimal_strip((struct decimal){-thousandths, -3});
	m->tolerance.high = decimal_strip((struct decimal){thousandths, -3});
}

static void scheme_set(struct marking *m, const char *scheme)
{
	snprintf(m->scheme, sizeof m->scheme, "%s", scheme);
}

/* `digits` digits and a multiplier; false where a colour means nothing there, or
 * the value would begin with a zero. */
static bool number_of(const enum colour *at, int digits, int unit, struct decimal *out)
{
	struct decimal d = {0, 0};
	for (int i = 0; i < digits; i++) {
		int digit = meaning[at[i]].digit;
		if (digit == NO || (i == 0 && digit == 0))
			return false;
		d.n = d.n * 10 + digit;
	}
	d.e = meaning[at[digits]].multiplier + unit;
	*out = d;
	return true;
}

static void resistor_add(struct marking *m, int thousandths, const char *note,
                         struct marking_list *out)
{
	struct marking one = *m;
	if (thousandths == NO)
		return;
	tolerance_set(&one, thousandths);
	if (note)
		snprintf(one.note, sizeof one.note, "%s", note);
	marking_add(out, &one);
}

static void resistor_tolerances(struct marking *m, enum colour c, int n, struct marking_list *out)
{
	if (n == 4 && c == YELLOW)
		resistor_add(m, 5000, "yellow for gold, as on parts for high voltage", out);
	if (n == 4 && c == GREY)
		resistor_add(m, 10000, "grey for silver, as on parts for high voltage", out);
	resistor_add(m, meaning[c].tolerance, c == GREY ? "grey as since 2016" : NULL, out);
	resistor_add(m, meaning[c].tolerance_2005, "grey as before 2016", out);
}

static void resistor(const enum colour *at, int n, bool reversed, struct marking_list *out)
{
	static const char *const schemes[] = {
	    [3] = "resistor, 3 bands", [4] = "resistor, 4 bands", [5] = "resistor, 5 bands",
	    [6] = "resistor, 6 bands",
	};
	struct marking m = {.function = FUNCTION_OHM, .reversed = reversed};
	int digits = n >= 5 ? 3 : 2;
	scheme_set(&m, schemes[n]);
	if (number_of(at, digits, 0, &m.value)) {
		if (n == 3)
			resistor_add(&m, 20000, NULL, out);
		m.has_drift = n == 6;
		m.drift = n == 6 ? meaning[at[5]].drift : 0;
		if (n > 3 && m.drift != NO)
			resistor_tolerances(&m, at[digits + 1], n, out);
	}
	if (n == 5 && (at[3] == GOLD || at[3] == SILVER) && number_of(at, 2, 0, &m.value)) {
		scheme_set(&m, "resistor, 4 bands and one for reliability");
		resistor_add(&m, meaning[at[3]].tolerance, NULL, out);
	}
}

/* ---- capacitors ---- */

static void capacitor_add(struct marking *m, int percent, const char *scheme,
                          struct marking_list *out)
{
	if (percent == NO)
		return;
	struct marking one = *m;
	tolerance_set(&one, percent * 1000);
	scheme_set(&one, scheme);
	marking_add(out, &one);
}

/* To 10 pF ceramic tolerances are absolute. */
static void ceramic(struct marking *m, enum colour tolerance, struct marking_list *out)
{
	static const struct decimal ten = {10, -12};
	if (decimal_compare(m->value, ten) > 0) {
		capacitor_add(m, meaning[tolerance].ceramic, "ceramic tubular", out);
		return;
	}
	if (meaning[tolerance].small == NO)
		return;
	struct marking one = *m;
	struct decimal half = decimal_strip((struct decimal){meaning[tolerance].small, -14});
	one.tolerance.form = TOLERANCE_ABSOLUTE;
	one.tolerance.high = one.tolerance.low = half;
	one.tolerance.low.n = -half.n;
	scheme_set(&one, "ceramic tubular");
	marking_add(out, &one);
}

static void volts_set(struct marking *m, int volts)
{
	m->has_rated = true;
	m->rated = decimal_strip((struct decimal){volts, 0});
}

static void capacitor_plain(const enum colour *at, int n, unsigned kinds, struct marking *m,
                            struct marking_list *out)
{
	/* Whoever wound more than 99 uF with bands on it is not known. */
	if (!number_of(at, 2, -12, &m->value) || meaning[at[2]].multiplier == 7 || at[2] == PINK)
		return;
	/* Grey and white multiply by 0.01 and 0.1 where they are used at all. */
	if (at[2] == GREY || at[2] == WHITE)
		m->value.e -= 10;
	if (n == 3) {
		scheme_set(m, "capacitor, 3 bands, in pF");
		marking_add(out, m);
		return;
	}
	enum colour tolerance = at[3];
	if (n == 4) {
		if (kinds & WORD_POLYESTER)
			capacitor_add(m, meaning[tolerance].polyester, "polyester", out);
		if (kinds & WORD_MOULDED)
			capacitor_add(m, meaning[tolerance].moulded, "moulded tubular", out);
		if (kinds & WORD_CERAMIC)
			ceramic(m, tolerance, out);
		return;
	}
	struct marking rated = *m;
	if (n == 5 && (kinds & WORD_POLYESTER) && meaning[at[4]].polyester_volts != NO) {
		volts_set(&rated, meaning[at[4]].polyester_volts);
		capacitor_add(&rated, meaning[tolerance].polyester, "polyester", out);
	}
	int one = meaning[at[4]].digit, two = n == 6 ? meaning[at[5]].digit : 0;
	if ((kinds & WORD_MOULDED) && one > 0 && two != NO) {
		volts_set(&rated, n == 5 ? one * 100 : (one * 10 + two) * 100);
		capacitor_add(&rated, meaning[tolerance].moulded, "moulded tubular", out);
	}
}

static void dots(const enum colour *at, int n, struct marking *m, struct marking_list *out)
{
	bool mica = at[0] == WHITE || at[0] == BLACK;
	if ((!mica && at[0] != SILVER) || (n != 4 && n != 6) || !number_of(at + 1, 2, -12, &m->value))
		return;
	const char *scheme = mica ? "mica, dots" : "paper, dots";
	if (n == 6) {
		capacitor_add(m, meaning[at[4]].mica, scheme, out);
		return;
	}
	scheme_set(m, scheme);
	marking_add(out, m);
}

static void capacitor(const struct bands *b, const enum colour *at, bool reversed,
                      struct marking_list *out)
{
	unsigned kinds = b->words & WORDS_OF_CAPACITORS;
	if (!kinds)
		kinds = WORDS_OF_CAPACITORS;
	struct marking m = {.function = FUNCTION_FARAD, .reversed = reversed};
	struct marking plain = m, drifting = m, dotted = m;
	capacitor_plain(at, b->n, kinds, &plain, out);
	if (b->n == 5 && (kinds & WORD_CERAMIC) && meaning[at[0]].ceramic_drift != NO &&
	    number_of(at + 1, 2, -12, &drifting.value)) {
		if (at[3] == GREY || at[3] == WHITE)
			drifting.value.e -= 10;
		drifting.has_drift = true;
		drifting.drift = meaning[at[0]].ceramic_drift;
		ceramic(&drifting, at[4], out);
	}
	if (kinds & WORD_DOTS)
		dots(at, b->n, &dotted, out);
}

/* ---- from which end ---- */

static bool is_preferred(const struct marking *m, int n)
{
	return series_contains(SERIES_E24, m->value) ||
	       (n >= 5 && series_contains(SERIES_E192, m->value));
}

static bool any_preferred(const struct marking_list *list, int n)
{
	for (int i = 0; i < list->n; i++)
		if (is_preferred(&list->at[i], n))
			return true;
	return false;
}

/* Both ends of one kind of part.  The other end is given where this one makes no
 * sense, or where it gives a value of a series, too, and could be meant: with three
 * bands only where this end gives none. */
static void both_ends(const struct bands *b, bool is_resistor, struct marking_list *out)
{
	struct marking_list there = {.n = 0}, back = {.n = 0};
	enum colour turned[BANDS_MAX];
	for (int i = 0; i < b->n; i++)
		turned[i] = b->at[b->n - 1 - i];
	if (is_resistor) {
		resistor(b->at, b->n, false, &there);
		resistor(turned, b->n, true, &back);
	} else {
		capacitor(b, b->at, false, &there);
		capacitor(b, turned, true, &back);
	}
	bool good = any_preferred(&there, b->n);
	for (int i = 0; i < there.n; i++) {
		if (!good && !there.at[i].note[0] && any_preferred(&back, b->n))
			snprintf(there.at[i].note, sizeof there.at[i].note,
			         "of no series, but from the other end it is");
		marking_add(out, &there.at[i]);
	}
	bool turn = there.n == 0 || (is_resistor && (b->n > 3 || !good));
	for (int i = 0; i < out->n && !is_resistor; i++)
		turn = turn && out->at[i].reversed; /* a resistor from this end explains it */
	for (int i = 0; i < back.n && turn; i++) {
		struct marking *m = &back.at[i];
		if (there.n && !is_preferred(m, b->n))
			continue;
		snprintf(m->note, sizeof m->note, "read from the other end");
		marking_add(out, m);
	}
}

/* Beyond a gigaohm no resistor has colours (common practice, no source): 104 Gohm of five bands
 * is a capacitor of 100 nF. */
static bool too_large(const struct marking *m)
{
	static const struct decimal most = {1, 9};
	return m->function == FUNCTION_OHM && decimal_compare(m->value, most) > 0;
}

/* A value of a series is likelier than one of none, and this end than the other. */
static void likeliest_first(struct marking_list *list, int n)
{
	struct marking_list sorted = {.cut = list->cut};
	for (int likely = 1; likely >= 0; likely--)
		for (int i = 0; i < list->n; i++)
			if ((is_preferred(&list->at[i], n) && !list->at[i].reversed &&
			     !too_large(&list->at[i])) == likely)
				sorted.at[sorted.n++] = list->at[i];
	*list = sorted;
}

/* Body, end and dot of resistors before the war, in whatever order they are told;
 * a second end is the tolerance. */
static bool body_end_dot(const struct plain *p, const struct bands *b, struct marking_list *out,
                         struct fault *why)
{
	int body = -1, end = -1, dot = -1, last = -1;
	for (int i = 0; i < b->n; i++) {
		int *slot = b->place[i] == WORD_BODY ? &body : b->place[i] == WORD_DOT ? &dot
		            : b->place[i] == WORD_END && end < 0 ? &end : &last;
		if (*slot >= 0)
			return plain_fail(why, p, 0, "body, end and dot have one colour each");
		*slot = i;
	}
	/* Where no dot is seen it has the colour of the body. */
	if (body < 0 || end < 0)
		return plain_fail(why, p, 0, "expected: body COLOUR end COLOUR dot COLOUR");
	enum colour at[] = {b->at[body], b->at[end], b->at[dot < 0 ? body : dot]};
	struct marking m = {.function = FUNCTION_OHM};
	scheme_set(&m, "resistor, body, end and dot");
	if (!number_of(at, 2, 0, &m.value))
		return plain_fail(why, p, 0, "body and end are digits, the body not black");
	resistor_add(&m, last < 0 ? 20000 : meaning[b->at[last]].tolerance, NULL, out);
	return out->n > 0 ||
	       plain_fail(why, p, 0, "the other end is the tolerance: gold or silver");
}

bool bands_read(const struct plain *p, struct marking_list *out, struct fault *why)
{
	struct bands b = {.n = 0};
	if (!split(p, &b, why))
		return false;
	if (b.words & WORDS_OF_PLACES)
		return body_end_dot(p, &b, out, why);
	if (b.n == 1 && b.at[0] == BLACK && !(b.words & WORD_CAPACITOR)) {
		struct marking m = {.function = FUNCTION_OHM};
		scheme_set(&m, "a link, one black band");
		marking_add(out, &m);
		return true;
	}
	if (b.n < 3)
		return plain_fail(why, p, p->len, "three to six bands were expected");
	if (!(b.words & WORD_CAPACITOR) || (b.words & WORD_RESISTOR))
		both_ends(&b, true, out);
	if (!(b.words & WORD_RESISTOR))
		both_ends(&b, false, out);
	if (out->n) {
		likeliest_first(out, b.n);
		return true;
	}
	return plain_fail(why, p, 0, "no scheme reads these colours from either end: digits (not black "
	                             "first), then the multiplier, then the tolerance");
}

/* SPDX-License-Identifier: MIT */
/*
 * Reading values as technicians write them (see quantity.h).
 *
 *     [sign] digits[.digits][e[sign]digits] [prefix] [unit]
 *     [sign] [digits] LETTER digits [unit]         4k7  R47  4n7  5V6
 *
 * where LETTER stands in the place of the point (IEC 60062): R, V and the ohm sign are
 * units, the others SI prefixes.  Prefixes and units may be words: 47 microfarads.
 */
#include "protocol/trade/quantity.h"

#include "protocol/trade/ascii.h"

#include <string.h>

/* A place in the text that moves on; everything here keeps at <= len. */
struct scan {
	const char *text;
	size_t at, len;
};

static bool take(struct scan *s, const char *word)
{
	size_t n = strlen(word);
	if (s->len - s->at < n || memcmp(s->text + s->at, word, n) != 0)
		return false;
	s->at += n;
	return true;
}

/* As take, but for letters of either case. */
static bool take_any_case(struct scan *s, const char *word)
{
	size_t n = strlen(word);
	if (s->len - s->at < n)
		return false;
	for (size_t i = 0; i < n; i++) {
		char c = s->text[s->at + i];
		if (c >= 'A' && c <= 'Z')
			c = (char)(c - 'A' + 'a');
		if (c != word[i])
			return false;
	}
	s->at += n;
	return true;
}

static void skip_spaces(struct scan *s)
{
	while (s->at < s->len && (s->text[s->at] == ' ' || s->text[s->at] == '\t'))
		s->at++;
}

/* A prefix at the place: its exponent, and the place moved behind it. */
static bool take_prefix(struct scan *s, int *exponent)
{
	/* The longer before what begins it; `kilohm` has one o for two. */
	static const struct {
		const char *word;
		int exponent;
	} words[] = {{"pico", -12}, {"nano", -9}, {"micro", -6}, {"mikro", -6}, {"milli", -3},
	             {"kilo", 3},   {"mega", 6},  {"meg", 6}};
	if (take(s, "\xC2\xB5") || take(s, "\xCE\xBC")) {
		*exponent = -6;
		return true;
	}
	struct scan mark = *s;
	if (take_any_case(s, "kilohm")) {
		s->at = mark.at + 3;
		*exponent = 3;
		return true;
	}
	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (take_any_case(s, words[i].word)) {
			*exponent = words[i].exponent;
			return true;
		}
	if (s->at < s->len && s->text[s->at] && prefix_exponent(s->text[s->at], exponent)) {
		s->at++;
		return true;
	}
	return false;
}

/* DC or AC behind V or A, close up or after a space. */
static enum function take_coupling(struct scan *s, enum function dc, enum function ac)
{
	struct scan mark = *s;
	skip_spaces(s);
	if (take_any_case(s, "dc"))
		return dc;
	if (take_any_case(s, "ac"))
		return ac;
	*s = mark;
	return FUNCTION_NONE;
}

struct unit {
	enum function function; /* FUNCTION_NONE: no unit stands here */
	bool coupling;          /* DC or AC was written */
};

/* A unit at the place.  Letters that have one meaning only may be of either
 * case; R stands for ohm behind a number. */
static struct unit take_unit(struct scan *s)
{
	struct unit u = {FUNCTION_NONE, false};
	if (take(s, "\xCE\xA9") || take(s, "\xE2\x84\xA6") || take_any_case(s, "ohms") ||
	    take_any_case(s, "ohm") || take(s, "R")) {
		u.function = FUNCTION_OHM;
	} else if (take_any_case(s, "hz")) {
		u.function = FUNCTION_HERTZ;
	} else if (take_any_case(s, "farads") || take_any_case(s, "farad") || take_any_case(s, "f")) {
		u.function = FUNCTION_FARAD;
	} else if (take_any_case(s, "henries") || take_any_case(s, "henrys") ||
	           take_any_case(s, "henry") || take_any_case(s, "h")) {
		u.function = FUNCTION_HENRY;
	} else if (take(s, "%")) {
		u.function = FUNCTION_PERCENT;
	} else if (take(s, "\xC2\xB0" "C") || take(s, "C")) {
		u.function = FUNCTION_CELSIUS;
	} else if (take_any_case(s, "volts") || take_any_case(s, "volt") || take_any_case(s, "v")) {
		u.function = take_coupling(s, FUNCTION_VOLT_DC, FUNCTION_VOLT_AC);
		u.coupling = u.function != FUNCTION_NONE;
		if (!u.coupling)
			u.function = FUNCTION_VOLT_DC;
	} else if (take_any_case(s, "amperes") || take_any_case(s, "ampere") ||
	           take_any_case(s, "amps") || take_any_case(s, "amp") || take_any_case(s, "a")) {
		u.function = take_coupling(s, FUNCTION_AMP_DC, FUNCTION_AMP_AC);
		u.coupling = u.function != FUNCTION_NONE;
		if (!u.coupling)
			u.function = FUNCTION_AMP_DC;
	}
	return u;
}

/* Does a unit as written go with the function that is expected? */
static bool unit_fits(struct unit u, enum function hint)
{
	if (hint == FUNCTION_NONE || u.function == FUNCTION_NONE || u.function == hint)
		return true;
	if (u.coupling)
		return false;
	if (u.function == FUNCTION_VOLT_DC)
		return hint == FUNCTION_VOLT_AC || hint == FUNCTION_DIODE;
	return u.function == FUNCTION_AMP_DC && hint == FUNCTION_AMP_AC;
}

/* The digits behind a letter that stands in the place of the point. */
static bool take_fraction(struct scan *s, struct decimal *value)
{
	for (; s->at < s->len && ascii_digit(s->text[s->at]); s->at++) {
		if (value->n > INT64_C(99999999999999999))
			return false;
		value->n = value->n * 10 + (s->text[s->at] - '0');
		value->e--;
	}
	return true;
}

/* What a number is made of, before it is checked. */
struct parts {
	struct decimal value;
	int prefix;
	bool has_prefix;
	struct unit unit;
};

/* LETTER digits at the place, where the letter stands for the point.  Nothing
 * is taken where it is something else ("4k", "4 V"). */
static bool take_letter_code(struct scan *s, struct parts *p)
{
	struct scan mark = *s;
	int exponent = 0;
	enum function unit = FUNCTION_NONE;
	if (take(s, "R") || take(s, "\xCE\xA9") || take(s, "\xE2\x84\xA6"))
		unit = FUNCTION_OHM;
	else if (take(s, "V"))
		unit = FUNCTION_VOLT_DC;
	else if (!take_prefix(s, &exponent))
		return false;
	struct decimal value = p->value;
	size_t first = s->at;
	if (!take_fraction(s, &value) || s->at == first) {
		*s = mark;
		return false;
	}
	p->value = value;
	p->prefix = exponent;
	p->has_prefix = exponent != 0;
	p->unit.function = unit;
	return true;
}

static bool fail(struct fault *why, const struct scan *s, const char *text)
{
	fault_at(why, NULL, 0, (int)s->at + 1, "%s", text);
	return false;
}

/* "4E7": some makers print E where others print R, and spreadsheets mean ten to
 * the seventh.  Between 4.7 ohm and 40 Mohm nobody may guess. */
static bool is_ambiguous(const struct scan *s)
{
	size_t i = s->at;
	while (i < s->len && ascii_digit(s->text[i]))
		i++;
	return i > s->at && i + 1 < s->len && s->text[i] == 'E' && ascii_digit(s->text[i + 1]);
}

/* The number itself, up to where a prefix or unit may stand. */
static bool scan_number(struct scan *s, struct parts *p, struct fault *why)
{
	bool minus = false;
	if (take(s, "-") || take(s, "\xE2\x88\x92"))
		minus = true;
	else
		take(s, "+");
	if (is_ambiguous(s))
		return fail(why, s, "E may mean ohms or a power of ten here: write 4R7, or 4e7");
	if (s->at < s->len && (ascii_digit(s->text[s->at]) || s->text[s->at] == '.')) {
		size_t n = decimal_read(s->text + s->at, s->len - s->at, &p->value);
		if (n == 0)
			return fail(why, s, "this number has too many digits or no digit at all");
		bool whole = memchr(s->text + s->at, '.', n) == NULL && p->value.e == 0;
		s->at += n;
		if (s->at < s->len && s->text[s->at] == ',')
			return fail(why, s, "a comma is not a point: write 4.7");
		if (whole)
			take_letter_code(s, p);
	} else if (!take_letter_code(s, p)) {
		return fail(why, s, "a value was expected, such as 4k7, 470n, 0.47 uF or 285 V");
	}
	if (minus)
		p->value.n = -p->value.n;
	return true;
}

/* Prefix and unit behind the number, and nothing else behind them. */
static bool scan_unit(struct scan *s, struct parts *p, struct fault *why)
{
	skip_spaces(s);
	size_t first = s->at;
	if (!p->has_prefix && p->unit.function == FUNCTION_NONE) {
		p->has_prefix = take_prefix(s, &p->prefix);
		if (p->has_prefix)
			skip_spaces(s);
	}
	if (p->unit.function == FUNCTION_NONE) {
		p->unit = take_unit(s);
	} else {
		struct unit again = take_unit(s); /* "4R7 ohm" says it twice */
		if (again.function != FUNCTION_NONE && !unit_fits(p->unit, again.function)) {
			s->at = first;
			return fail(why, s, "two units that contradict each other");
		}
		if (again.coupling)
			p->unit = again;
	}
	skip_spaces(s);
	if (s->at < s->len && s->text[s->at] == ',')
		return fail(why, s, "a comma is not a point: write 4.7");
	if (s->at < s->len) {
		return fail(why, s, "a unit was expected here (V A ohm F H Hz C %), with one of the "
		                    "prefixes p n u m k M G before it");
	}
	return true;
}

/* Prefixes that make no sense are slips of the hand; a farad with M is what
 * old print means by microfarad. */
static const char *prefix_fault(const struct parts *p, enum function f)
{
	if (!p->has_prefix)
		return NULL;
	if (f == FUNCTION_FARAD && p->prefix > 0)
		return "no capacitor has kilo- or megafarads: write u for micro, as in 0.1 uF";
	if (f == FUNCTION_PERCENT || f == FUNCTION_CELSIUS)
		return "percent and degrees take no prefix";
	return NULL;
}

bool quantity_parse(const char *text, size_t len, enum function hint, struct decimal *value,
                    enum function *f, struct fault *why)
{
	struct scan s = {text, 0, len};
	struct parts p = {{0, 0}, 0, false, {FUNCTION_NONE, false}};
	skip_spaces(&s);
	if (!scan_number(&s, &p, why))
		return false;
	struct scan behind = s;
	if (!scan_unit(&s, &p, why))
		return false;
	if (!unit_fits(p.unit, hint)) {
		fault_at(why, NULL, 0, (int)behind.at + 1, "%s was expected here, not %s",
		         function_words(hint), function_words(p.unit.function));
		return false;
	}
	enum function result = hint != FUNCTION_NONE ? hint : p.unit.function;
	const char *wrong = prefix_fault(&p, result);
	if (wrong)
		return fail(why, &behind, wrong);
	p.value.e += p.prefix;
	if (p.value.n == 0) /* a zero weighs what it is written to weigh, within range */
		p.value.e = p.value.e > DECIMAL_EXP_MAX   ? DECIMAL_EXP_MAX
		            : p.value.e < DECIMAL_EXP_MIN ? DECIMAL_EXP_MIN
		                                          : p.value.e;
	if (p.value.e > DECIMAL_EXP_MAX || p.value.e < DECIMAL_EXP_MIN)
		return fail(why, &behind, "this value is out of range");
	*value = p.value;
	*f = result;
	return true;
}

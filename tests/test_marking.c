/* SPDX-License-Identifier: MIT */
/*
 * Markings: every row of the tables of IEC 60062 and of the trade, what is more than
 * one thing, what is none, and that no text whatever does harm.
 */
#include "tests/reference.h"

#include "protocol/trade/marking.h"

static struct marking_list read_it(const char *text)
{
	struct marking_list list;
	struct fault why;
	if (!marking_read(text, strlen(text), &list, &why))
		fail_msg("\"%s\": %d: %s", text, why.column, why.text);
	return list;
}

/* A reading of this function and value (to what doubles hold), -1 for none. */
static int find(const struct marking_list *list, enum function f, double value)
{
	for (int i = 0; i < list->n; i++)
		if (list->at[i].function == f &&
		    near_enough(decimal_double(list->at[i].value), value, 1e-9 * value))
			return i;
	return -1;
}

static const char *tolerance_of(const struct marking *m)
{
	static char text[160];
	tolerance_shown(&m->tolerance, m->function, text, sizeof text);
	return text;
}

static void must_find(const char *text, enum function f, double value, const char *tolerance)
{
	struct marking_list list = read_it(text);
	for (int i = 0; i < list.n; i++)
		if (list.at[i].function == f &&
		    near_enough(decimal_double(list.at[i].value), value, 1e-9 * value) &&
		    (!tolerance || strcmp(tolerance_of(&list.at[i]), tolerance) == 0))
			return;
	for (int i = 0; i < list.n; i++)
		print_error("  %s %g %s (%s)\n", function_name(list.at[i].function),
		            decimal_double(list.at[i].value), tolerance_of(&list.at[i]),
		            list.at[i].scheme);
	fail_msg("\"%s\" has no reading %g %s %s", text, value, function_name(f),
	         tolerance ? tolerance : "");
}

/* ---- the tables ---- */

/* IEC 60062:2016 and EN 60062:2005, worked examples (S36, S44; see SOURCES.md). */
static void colour_case(const struct reference *r)
{
	char want[32];
	note_row("%s", r->cell[0]);
	snprintf(want, sizeof want, "%s%%", r->cell[2]);
	must_find(r->cell[0], FUNCTION_OHM, strtod(r->cell[1], NULL), want);
}

/* The colours one by one: as digit, as multiplier, as tolerance, as coefficient. */
static void colour_row(const struct reference *r)
{
	char text[128], want[32];
	const char *colour = r->cell[0];
	struct marking_list list;
	note_row("%s", colour);
	if (strcmp(r->cell[1], "-") != 0) {
		double digit = strtod(r->cell[1], NULL);
		snprintf(text, sizeof text, "brown %s black gold", colour);
		must_find(text, FUNCTION_OHM, 10 + digit, "5%");
	}
	if (strcmp(r->cell[2], "-") != 0) {
		snprintf(text, sizeof text, "brown black %s gold", colour);
		must_find(text, FUNCTION_OHM, 10 * pow(10, strtod(r->cell[2], NULL)), "5%");
	}
	for (int edition = 3; edition <= 4; edition++) {
		if (strcmp(r->cell[edition], "-") == 0)
			continue;
		snprintf(want, sizeof want, "%s%%", r->cell[edition]);
		if (strcmp(colour, "none") == 0) {
			must_find("yellow violet red none", FUNCTION_OHM, 4700, want);
			continue;
		}
		snprintf(text, sizeof text, "brown green blue red %s", colour);
		must_find(text, FUNCTION_OHM, 15600, want);
	}
	if (strcmp(r->cell[6], "-") != 0) {
		snprintf(text, sizeof text, "brown green blue red green %s", colour);
		list = read_it(text);
		int i = find(&list, FUNCTION_OHM, 15600);
		assert_true(i >= 0 && list.at[i].has_drift);
		assert_int_equal(list.at[i].drift, atoi(r->cell[6]));
	}
}

/* Capacitor bands: trade practice (S42 to S45b). */
static void capacitor_case(const struct reference *r)
{
	note_row("%s", r->cell[0]);
	must_find(r->cell[0], FUNCTION_FARAD, strtod(r->cell[1], NULL), NULL);
}

static void rated_is_proposed(const char *text, double value, const char *tolerance, double volts)
{
	struct marking_list list = read_it(text);
	for (int i = 0; i < list.n; i++)
		if (list.at[i].function == FUNCTION_FARAD && list.at[i].has_rated &&
		    near_enough(decimal_double(list.at[i].value), value, 1e-9 * value) &&
		    decimal_double(list.at[i].rated) == volts &&
		    strcmp(tolerance_of(&list.at[i]), tolerance) == 0)
			return;
	fail_msg("%s: no reading of %g F, %s, %g V", text, value, tolerance, volts);
}

/* The rows of capacitor-bands.tsv name a scheme, a band and its meaning. */
static int scheme_rows;
static void capacitor_scheme(const struct reference *r)
{
	char text[128], tolerance[16];
	int percent, volts;
	const char *scheme = r->cell[0], *colour = r->cell[1], *means = r->cell[2];
	note_row("%s: %s", scheme, colour);
	if (sscanf(means, "band 4 tolerance %d", &percent) == 1) {
		snprintf(text, sizeof text, "polyester brown black orange %s red", colour);
		snprintf(tolerance, sizeof tolerance, "%d%%", percent);
		rated_is_proposed(text, 1e-8, tolerance, 250);
	} else if (sscanf(means, "band 5 rated %d", &volts) == 1) {
		snprintf(text, sizeof text, "polyester brown black orange white %s", colour);
		rated_is_proposed(text, 1e-8, "10%", volts);
	} else if (strcmp(colour, "(band D)") == 0) {
		rated_is_proposed("moulded brown black orange black red", 1e-8, "20%", 200);
		rated_is_proposed("moulded brown black orange white red", 1e-8, "10%", 200);
		rated_is_proposed("moulded brown black orange yellow red", 1e-8, "5%", 200);
		rated_is_proposed("moulded brown black orange silver red", 1e-8, "10%", 200);
		rated_is_proposed("moulded brown black orange gold red", 1e-8, "5%", 200);
	} else if (strcmp(colour, "(band E)") == 0) {
		rated_is_proposed("moulded brown black orange black yellow", 1e-8, "20%", 400);
		rated_is_proposed("moulded brown black orange black blue", 1e-8, "20%", 600);
	} else if (strcmp(colour, "(bands E,F)") == 0) {
		rated_is_proposed("moulded brown black orange black brown black", 1e-8, "20%", 1000);
		rated_is_proposed("moulded brown black orange black brown blue", 1e-8, "20%", 1600);
	} else if (strncmp(colour, "(bands", 6) == 0) {
		must_find("tubular brown black orange", FUNCTION_FARAD, 1e-8, NULL);
	} else if (strcmp(colour, "dot 1") == 0) {
		must_find("dots white brown red red", FUNCTION_FARAD, 1.2e-9, NULL);
		must_find("dots black brown red red", FUNCTION_FARAD, 1.2e-9, NULL);
		must_find("dots silver brown red red", FUNCTION_FARAD, 1.2e-9, NULL);
	} else if (strcmp(scheme, "ceramic tubular <10 pF tolerance") == 0) {
		must_find("ceramic green blue white black", FUNCTION_FARAD, 5.6e-12, "+-2 pF");
		must_find("ceramic green blue white grey", FUNCTION_FARAD, 5.6e-12, "+-0.25 pF");
		must_find("ceramic green blue white green", FUNCTION_FARAD, 5.6e-12, "+-0.5 pF");
		must_find("ceramic green blue white white", FUNCTION_FARAD, 5.6e-12, "+-1 pF");
		must_find("ceramic green blue white brown", FUNCTION_FARAD, 5.6e-12, "+-0.1 pF");
	} else if (strcmp(scheme, "ceramic tubular >10 pF tolerance") == 0) {
		must_find("ceramic green blue black black", FUNCTION_FARAD, 56e-12, "20%");
		must_find("ceramic green blue black brown", FUNCTION_FARAD, 56e-12, "1%");
		must_find("ceramic green blue black red", FUNCTION_FARAD, 56e-12, "2%");
		must_find("ceramic green blue black green", FUNCTION_FARAD, 56e-12, "5%");
		must_find("ceramic green blue black white", FUNCTION_FARAD, 56e-12, "10%");
	} else if (strcmp(scheme, "ceramic tubular tempco ppm") == 0) {
		static const char *const colours[] = {"black", "brown", "red", "orange", "yellow",
		                                      "green", "blue", "violet"};
		static const int drift[] = {0, -30, -80, -150, -220, -330, -470, -750};
		for (int i = 0; i < 8; i++) {
			snprintf(text, sizeof text, "ceramic %s green blue black green", colours[i]);
			struct marking_list list = read_it(text);
			int at = find(&list, FUNCTION_FARAD, 56e-12);
			assert_true(at >= 0 && list.at[at].has_drift);
			assert_int_equal(list.at[at].drift, drift[i]);
		}
	} else {
		fail_msg("%s, %s: a row that no case reads", scheme, colour);
	}
	scheme_rows++;
}

/* IEC 60062 letter codes (S38, S38b, S64, S65; M). */
static void letter_case(const struct reference *r)
{
	note_row("%s", r->cell[0]);
	must_find(r->cell[0], strcmp(r->cell[2], "ohm") == 0 ? FUNCTION_OHM : FUNCTION_FARAD,
	          strtod(r->cell[1], NULL), NULL);
	/* And with the micro sign. */
	if (strchr(r->cell[0], 'u')) {
		char text[32];
		size_t n = strcspn(r->cell[0], "u");
		snprintf(text, sizeof text, "%.*s\xC2\xB5%s", (int)n, r->cell[0], r->cell[0] + n + 1);
		must_find(text, FUNCTION_FARAD, strtod(r->cell[1], NULL), NULL);
	}
}

/* IEC 60062 digit codes (S63, S64, S66). */
static void digit_case(const struct reference *r)
{
	note_row("%s", r->cell[0]);
	must_find(r->cell[0], r->cell[1][0] == 'R' ? FUNCTION_OHM : FUNCTION_FARAD,
	          strtod(r->cell[2], NULL), strcmp(r->cell[0], "104K") == 0 ? "10%" : NULL);
}

/* IEC 60062 tolerance letters (S35, S61, S62, S63; M). */
static void tolerance_letter(const struct reference *r)
{
	char text[16], want[32];
	struct tolerance t;
	struct fault why;
	double minus = strtod(r->cell[1], NULL), plus = strtod(r->cell[2], NULL);
	note_row("%s %s", r->cell[0], r->cell[3]);
	if (strcmp(r->cell[3], "pF") == 0) {
		snprintf(text, sizeof text, "5p6%s", r->cell[0]);
		snprintf(want, sizeof want, "+-%s pF", r->cell[1]);
		must_find(text, FUNCTION_FARAD, 5.6e-12, want);
		return;
	}
	if (strcmp(r->cell[0], "V") == 0) {
		/* Makers meant two things by it: nobody may guess. */
		assert_false(tolerance_parse("V", 1, FUNCTION_FARAD, &t, &why));
		return;
	}
	assert_true(tolerance_parse(r->cell[0], 1, FUNCTION_FARAD, &t, &why));
	assert_int_equal(t.form, TOLERANCE_PERCENT);
	assert_near_relative(decimal_double(t.low), -minus, 1e-12);
	assert_near_relative(decimal_double(t.high), plus, 1e-12);
	/* Letters that stand behind codes on parts. */
	if (strchr("BCDFGHJKMNQTSZ", r->cell[0][0])) {
		tolerance_shown(&t, FUNCTION_FARAD, want, sizeof want);
		snprintf(text, sizeof text, "104%s", r->cell[0]);
		must_find(text, FUNCTION_FARAD, 1e-7, want);
		snprintf(text, sizeof text, "4n7%s", r->cell[0]);
		must_find(text, FUNCTION_FARAD, 4.7e-9, want);
	}
}

static void tables(void **state)
{
	(void)state;
	assert_int_equal(reference_read("colour-code-cases", colour_case), 8);
	assert_int_equal(reference_read("colour-code", colour_row), 14);
	assert_int_equal(reference_read("capacitor-band-cases", capacitor_case), 4);
	assert_int_equal(reference_read("capacitor-bands", capacitor_scheme), 16);
	assert_int_equal(scheme_rows, 16);
	assert_int_equal(reference_read("rkm-cases", letter_case), 18);
	assert_int_equal(reference_read("digit-codes", digit_case), 10);
	assert_int_equal(reference_read("letter-codes", tolerance_letter), 25);
}

/* ---- exactly these readings, in this order ---- */

/* Common practice, no source, where no table says it. */
static void readings(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		/* "value unit tolerance [rated V]" each */
		const char *want[6];
	} rows[] = {
	    {"brown black yellow", {"100000 ohm 20%", "1e-07 farad "}},
	    {"tubular brown black yellow", {"1e-07 farad "}},
	    {"resistor: brown, black, yellow", {"100000 ohm 20%"}},
	    {"Brown-Black-Yellow", {"100000 ohm 20%", "1e-07 farad "}},
	    {"BN BK YE GD", {"100000 ohm 5%", "1e-07 farad 5%"}},
	    {"braun schwarz gelb gold", {"100000 ohm 5%", "1e-07 farad 5%"}},
	    {"Gr\xC3\xBC""n-Blau-Rot", {"5600 ohm 20%", "5.6e-09 farad "}},
	    /* on a resistor it would be of no series: that comes last */
	    {"yellow violet yellow white red",
	     {"4.7e-07 farad 10% 250", "4.7e-07 farad 10% 200", "474000000000 ohm 2%",
	      "2940000000 ohm 0.02%"}},
	    {"wide red, yellow", {"220000 ohm 20%", "2.2e-07 farad "}},
	    {"4K7", {"4700 ohm "}},
	    {"4k7J", {"4700 ohm 5%", "4.7e-09 farad 5%"}}, /* on ceramics of the continent */
	    {"4k7", {"4700 ohm ", "4.7e-09 farad "}},
	    {"4E7", {"4.7 ohm "}},
	    /* a zero before the letter, as many people write it */
	    {"0R47", {"0.47 ohm "}},
	    {"0R22J", {"0.22 ohm 5%"}},
	    {"0n47K", {"4.7e-10 farad 10%"}},
	    {"0u1", {"1e-07 farad "}},
	    {"0M22", {"220000 ohm "}},
	    /* words beside a code, and colours in haste */
	    {"150 mica", {"1.5e-11 farad ", "1.5e-10 farad "}},
	    {"paper .05 400V", {"5e-08 farad  400"}},
	    {"104 resistor", {"100000 ohm "}},
	    {"4k7 ceramic", {"4.7e-09 farad "}},
	    {"ceramic resistor 4k7", {"4700 ohm "}},
	    {"Z5U 103M", {"1e-08 farad 20%"}},
	    {"103 X7R K 50V", {"1e-08 farad 10% 50"}},
	    {"brn blk yel", {"100000 ohm 20%", "1e-07 farad "}},
	    {"brown black yellow no band", {"100000 ohm 20%", "1e-07 farad "}},
	    {"ceramic resistor brown black yellow gold", {"100000 ohm 5%"}},
	    /* of a series, but no resistor of so many gigaohms was made with bands */
	    {"brown black yellow white red",
	     {"1e-07 farad 10% 250", "1e-07 farad 10% 200", "104000000000 ohm 2%", "294 ohm 1%"}},
	    {"2x16/450", {"1.6e-05 farad  450"}},
	    {"2x16 450", {"1.6e-05 farad  450"}},
	    {"104", {"1e-07 farad ", "100000 ohm "}},
	    {"104K", {"1e-07 farad 10%"}},
	    {"114KJ", {"114000 ohm 5%"}},
	    {"104M", {"1e-07 farad 20%"}},
	    {"470K", {"470000 ohm ", "4.7e-11 farad 10%", "4.7e-10 farad 10%"}},
	    {"47K", {"47000 ohm ", "4.7e-11 farad 10%"}},
	    {"22k", {"22000 ohm ", "2.2e-08 farad "}},
	    {"330", {"3.3e-11 farad ", "3.3e-10 farad ", "33 ohm ", "330 ohm "}},
	    {".047", {"4.7e-08 farad "}},
	    {".047/400", {"4.7e-08 farad  400"}},
	    {"0.1/350", {"1e-07 farad  350"}},
	    {"0.1 mfd 600 V.D.C.", {"1e-07 farad  600"}},
	    {"0.1 MF", {"1e-07 farad "}},
	    {"0.1 mF", {"1e-07 farad ", "0.0001 farad "}},
	    {"250 mmf", {"2.5e-10 farad "}},
	    {"100 \xC2\xB5\xC2\xB5""F", {"1e-10 farad "}},
	    {"0,22 \xC2\xB5""F 400-", {"2.2e-07 farad  400"}},
	    {"8/450", {"8e-06 farad  450"}},
	    {"32+32/450", {"3.2e-05 farad  450"}},
	    {"50+8 uF 350V", {"5e-05 farad  350", "8e-06 farad  350"}},
	    {"0.1 uF -20+80% 500V", {"1e-07 farad -20/+80% 500"}},
	    {"2A104J", {"1e-07 farad 5% 100"}},
	    {"2G473K", {"4.7e-08 farad 10% 400"}},
	    {"104K100", {"1e-07 farad 10% 100"}},
	    {"1/2 meg", {"500000 ohm "}},
	    /* two numbers, and the unit first: old print, from memory */
	    {"25 25", {"2.5e-05 farad  25"}},
	    {"8 450", {"8e-06 farad  450"}},
	    {"100 25", {"0.0001 farad  25"}},
	    {"3-30pF", {"3e-11 farad -27/+0 pF"}},
	    {"3pF - 30pF", {"3e-11 farad -27/+0 pF"}},
	    {"2,5 to 6 pF", {"6e-12 farad -3.5/+0 pF"}},
	    {"4/20 mmf 500V", {"2e-11 farad -16/+0 pF 500"}},
	    {"7...35 p", {"3.5e-11 farad -28/+0 pF"}},
	    {"MMF 47", {"4.7e-11 farad "}},
	    {"MFD. .05 400V", {"5e-08 farad  400"}},
	    {"ohms 500", {"500 ohm "}},
	    /* cans: dashes and slashes where a unit or a rating follows, or three in a row */
	    {"8-8-16 mfd", {"8e-06 farad ", "1.6e-05 farad "}},
	    {"8-8-16 mF", {"8e-06 farad ", "0.008 farad ", "1.6e-05 farad ", "0.016 farad "}},
	    {"8-8-16", {"8e-06 farad ", "1.6e-05 farad "}},
	    {"16-16 450V", {"1.6e-05 farad  450"}},
	    {"20-20-20/450", {"2e-05 farad  450"}},
	    {"40/20/20 mfd 450V", {"4e-05 farad  450", "2e-05 farad  450"}},
	    {"8-16-450", {"8e-06 farad  450", "1.6e-05 farad  450"}},
	    {"2x50 uF 350V", {"5e-05 farad  350"}},
	    {"100uF+200uF 350V", {"0.0001 farad  350", "0.0002 farad  350"}},
	    {"32+32", {"3.2e-05 farad "}},
	    /* ... and where none does they set the volts apart */
	    {"8-450", {"8e-06 farad  450"}},
	    {"8x16", {"8e-06 farad  16"}},
	    {".05-400V", {"5e-08 farad  400"}},
	    {".1-400-20%", {"1e-07 farad 20% 400"}},
	    {"0.25-400 K", {"2.5e-07 farad 10% 400"}},
	    {"0.1-400 20%", {"1e-07 farad 20% 400"}},
	    /* volts without their letter */
	    {"10nJ400", {"1e-08 farad 5% 400"}},
	    {".33K250", {"3.3e-07 farad 10% 250"}},
	    {"33nK250V-", {"3.3e-08 farad 10% 250"}},
	    {".0022 K 400", {"2.2e-09 farad 10% 400"}},
	    {"0.05 400", {"5e-08 farad  400"}},
	    {"33K250", {"33250 ohm "}},
	    /* the rating first */
	    {"600V .05", {"5e-08 farad  600"}},
	    {"400 V 0.1 uF 10%", {"1e-07 farad 10% 400"}},
	    {"1/2W 100K", {"100000 ohm "}},
	    {"2J 104K", {"1e-07 farad 10% 630"}},
	    {"0R", {"0 ohm "}},
	    {"000", {"0 ohm "}},
	    {"0 ohm", {"0 ohm "}},
	    {"4L7", {"0.0047 ohm "}},
	    {"4K7W", {"4700 ohm 0.05%"}},
	    {"500k log", {"500000 ohm "}},
	    {"250K", {"250000 ohm ", "2.5e-11 farad 10%", "2.5e-10 farad 10%"}},
	    {"10 \xCE\xA9 5%", {"10 ohm 5%"}},
	    {"body green end grey dot red", {"5800 ohm 20%"}},
	    {"body green end grey dot red end silver", {"5800 ohm 10%"}},
	    {"black", {"0 ohm "}},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct marking_list list = read_it(rows[i].text);
		int n = 0;
		while (n < 6 && rows[i].want[n])
			n++;
		note_row("%s", rows[i].text);
		for (int k = 0; k < list.n; k++) {
			char got[400], value[DECIMAL_TEXT_SIZE], rated[DECIMAL_TEXT_SIZE + 1] = "";
			decimal_json(list.at[k].value, value, sizeof value);
			if (list.at[k].has_rated) {
				rated[0] = ' ';
				decimal_json(list.at[k].rated, rated + 1, sizeof rated - 1);
			}
			snprintf(got, sizeof got, "%s %s %s%s", value, function_name(list.at[k].function),
			         tolerance_of(&list.at[k]), rated);
			if (k >= n)
				fail_msg("one reading too many: %s", got);
			assert_string_equal(got, rows[i].want[k]);
		}
		assert_int_equal(list.n, n);
	}
}

/* ---- from the other end ---- */

static void other_end(void **state)
{
	(void)state;
	/* Gold or silver never comes first (IEC 60062:2004 3.2). */
	struct marking_list list = read_it("gold red black brown");
	int i = find(&list, FUNCTION_OHM, 1000);
	assert_true(i >= 0 && list.at[i].reversed);
	for (int k = 0; k < list.n; k++)
		assert_true(list.at[k].reversed);
	/* Five bands of 1 % may be read from both ends. */
	list = read_it("brown black black red brown");
	assert_int_equal(find(&list, FUNCTION_OHM, 10000), 0);
	assert_false(list.at[0].reversed);
	i = find(&list, FUNCTION_OHM, 120);
	assert_true(i > 0 && list.at[i].reversed);
	/* Of no series from this end, of one from the other: both are given, and said. */
	list = read_it("red yellow yellow brown brown");
	i = find(&list, FUNCTION_OHM, 2440);
	assert_true(i >= 0 && strstr(list.at[i].note, "no series"));
	i = find(&list, FUNCTION_OHM, 1140000);
	assert_true(i > 0 && list.at[i].reversed);
	/* A value that only makes sense one way is not turned round. */
	list = read_it("yellow violet red gold");
	for (int k = 0; k < list.n; k++)
		assert_false(list.at[k].reversed);
}

/* Every resistor of E24 in four bands is found, from either end. */
static const char *const digits[] = {"black", "brown", "red", "orange", "yellow",
                                     "green", "blue", "violet", "grey", "white"};
static void either_end(void **state)
{
	(void)state;
	static const int e24[] = {10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47,
	                          51, 56, 62, 68, 75, 82, 91};
	for (int decade = 0; decade < 7; decade++)
		for (size_t i = 0; i < 24; i++)
			for (int metal = 0; metal < 2; metal++) {
				char there[96], back[96];
				const char *a = digits[e24[i] / 10], *b = digits[e24[i] % 10];
				const char *m = digits[decade], *t = metal ? "silver" : "gold";
				double value = e24[i] * pow(10, decade);
				snprintf(there, sizeof there, "%s %s %s %s", a, b, m, t);
				snprintf(back, sizeof back, "%s %s %s %s", t, m, b, a);
				struct marking_list x = read_it(there), y = read_it(back);
				int k = find(&x, FUNCTION_OHM, value), l = find(&y, FUNCTION_OHM, value);
				assert_true(k >= 0 && !x.at[k].reversed);
				assert_true(l >= 0 && y.at[l].reversed);
				assert_string_equal(tolerance_of(&x.at[k]), metal ? "10%" : "5%");
			}
}

/* ---- what is none ---- */

static void refused(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		int column;
		const char *why;
	} rows[] = {
	    {"", 1, "marking was expected"},
	    {"purple haze", 8, "colour was expected"},
	    {"brown black", 12, "three to six"},
	    {"brown black red gold red red red", 30, "more than six"},
	    {"brown none red", 12, "no colour can follow"},
	    {"gold gold gold", 1, "no scheme"},
	    {"4K7 400V", 9, "no resistor"},
	    {"0.0", 1, "zero"},
	    {"0 uF", 1, "zero"},
	    {"104 105", 5, "no tolerance"}, /* a slip is no rating */
	    {"30-3pF", 5, "no tolerance"}, /* least comes first */
	    {"3-30pF 5%", 5, "no tolerance"},
	    {"10 20", 4, "no tolerance"}, /* no electrolytic is rated so */
	    {"104 25", 5, "no tolerance"},
	    {"MMF", 1, ""},
	    {"0n0", 1, ""},
	    {"0K", 1, "zero"},
	    {"mica", 1, "value was expected"},
	    {"4R7 mica", 1, "of a resistor"},
	    {"104K resistor", 1, "of a capacitor"},
	    {"MMF 47X", 7, "no tolerance"},
	    {"4K7K7", 5, "no tolerance"},
	    {"hello", 1, ""},
	    {"0.1 uF 5W", 10, "no capacitor"},
	    {"\x01", 1, "character"},
	    {"0.1 \xE2\x82\xAC", 5, "character"},
	    {"999999999999999999999999", 1, ""},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct marking_list list;
		struct fault why = {.text = ""};
		note_row("%s", rows[i].text);
		assert_false(marking_read(rows[i].text, strlen(rows[i].text), &list, &why));
		if (!strstr(why.text, rows[i].why))
			fail_msg("%d: %s", why.column, why.text);
		assert_int_equal(why.column, rows[i].column);
	}
	char text[MARKING_TEXT_MAX + 2];
	struct marking_list list;
	struct fault why;
	memset(text, '1', sizeof text);
	assert_false(marking_read(text, MARKING_TEXT_MAX + 1, &list, &why));
}

/* ---- one value for a sheet ---- */

static void one_value(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		enum function f;
		double value; /* 0: refused */
		const char *tolerance;
	} rows[] = {
	    {"104K", FUNCTION_FARAD, 1e-7, "10%"},        {"104", FUNCTION_FARAD, 1e-7, ""},
	    {".047", FUNCTION_FARAD, 4.7e-8, ""},         {"0.1/350", FUNCTION_FARAD, 1e-7, ""},
	    {"3-30pF", FUNCTION_FARAD, 3e-11, "-27/+0 pF"}, {"25 25", FUNCTION_FARAD, 2.5e-5, ""},
	    {"MMF 47", FUNCTION_FARAD, 4.7e-11, ""},      {"25 25", FUNCTION_OHM, 0, ""},
	    {"8/450", FUNCTION_FARAD, 8e-6, ""},          {"100", FUNCTION_FARAD, 0, ""},
	    {"330", FUNCTION_FARAD, 0, ""},               {"47", FUNCTION_FARAD, 4.7e-11, ""},
	    {"brown black yellow", FUNCTION_FARAD, 1e-7, ""},
	    {"brown black yellow", FUNCTION_OHM, 1e5, "20%"},
	    {"brown black yellow gold", FUNCTION_OHM, 1e5, "5%"},
	    {"4E7", FUNCTION_OHM, 0, ""},                 {"0.1 mF", FUNCTION_FARAD, 0, ""},
	    {"4K7", FUNCTION_FARAD, 0, ""},               {"32+32/450", FUNCTION_FARAD, 3.2e-5, ""},
	    {"50+8/350", FUNCTION_FARAD, 0, ""},
	    /* read from the other end it would be 120 ohm: the way it was given counts */
	    {"brown black black red brown", FUNCTION_OHM, 1e4, "1%"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct decimal value;
		struct tolerance t;
		struct fault why;
		char shown[80];
		note_row("%s", rows[i].text);
		bool good = marking_value(rows[i].text, strlen(rows[i].text), rows[i].f, &value, &t, &why);
		assert_int_equal(good, rows[i].value > 0);
		if (!good)
			continue;
		assert_near_relative(decimal_double(value), rows[i].value, 1e-12);
		tolerance_shown(&t, rows[i].f, shown, sizeof shown);
		assert_string_equal(shown, rows[i].tolerance);
	}
}

/* ---- any text ---- */

static uint64_t seed = 0x6d61726b;
static uint64_t draw(void)
{
	seed ^= seed << 13;
	seed ^= seed >> 7;
	seed ^= seed << 17;
	return seed;
}

/* Texts put together from pieces that mean something, and every beginning of them:
 * no reading is empty, none is twice there, faults point into the text. */
static void any_text(void **state)
{
	(void)state;
	static const char *const pieces[] = {
	    "4", "7", "0", ".", ",", "K", "M", "R", "n", "u", "p", "m", "F", "k", " ", "/", "-", "+",
	    "%", "V", "W", "brown ", "black ", "gold ", "red ", "wide ", "end ", "104", "2A", "mfd", "uF",
	    "meg", "cm", "ohm", "E", "J", "Z", "~", "=", "450", "\xC2\xB5", "\xCE\xA9", "grey ", "none",
	};
	int found = 0;
	for (int round = 0; round < 60000; round++) {
		char text[MARKING_TEXT_MAX + 1];
		size_t len = 0;
		int n = 1 + (int)(draw() % 8);
		while (n-- > 0) {
			const char *piece = pieces[draw() % (sizeof pieces / sizeof *pieces)];
			memcpy(text + len, piece, strlen(piece));
			len += strlen(piece);
		}
		struct marking_list list;
		struct fault why = {.text = ""};
		if (!marking_read(text, len, &list, &why)) {
			assert_true(why.text[0] && why.column >= 1 && why.column <= (int)len + 1);
			continue;
		}
		found++;
		assert_true(list.n > 0);
		for (int i = 0; i < list.n; i++) {
			const struct marking *m = &list.at[i];
			struct limits l;
			assert_true(m->function == FUNCTION_OHM || m->function == FUNCTION_FARAD);
			assert_true(m->value.n > 0 || strstr(m->scheme, "link"));
			/* What it says can be used: limits exist and enclose the value. */
			if (m->tolerance.form != TOLERANCE_NONE && m->value.n > 0) {
				assert_true(limits_from(&m->tolerance, true, m->value, &l));
				assert_true(decimal_compare(l.low, m->value) <= 0);
				assert_true(decimal_compare(l.high, m->value) >= 0);
			}
		}
	}
	print_message("%d of 60000 texts are markings\n", found);
	assert_true(found > 1000);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(tables),    cmocka_unit_test(readings),  cmocka_unit_test(other_end),
	    cmocka_unit_test(either_end), cmocka_unit_test(refused),  cmocka_unit_test(one_value),
	    cmocka_unit_test(any_text),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

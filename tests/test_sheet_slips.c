/* SPDX-License-Identifier: MIT */
/*
 * What a technician's hand, an old print and a spreadsheet make of a line: each is either
 * understood as it was meant, or refused at its byte with a sentence that names the cure.
 */
#include "protocol/record/sheet_entry.h"
#include "protocol/record/sheet_plain.h"
#include "tests/check.h"

struct got {
	char text[8192];
	int rows;
};

/* Each row as "R12 4.7k" or "C9A 8u rated=450V part=C9", parted by "; ". */
static bool keep(void *arg, const struct sheet_row *row, struct fault *why)
{
	struct got *g = arg;
	size_t len = strlen(g->text);
	(void)why;
	len += (size_t)snprintf(g->text + len, sizeof g->text - len, "%s%s", len ? "; " : "",
	                        row->position.name);
	for (int i = SHEET_KIND; i < SHEET_COLUMNS && len < sizeof g->text; i++)
		if (row->written[i][0])
			len += (size_t)snprintf(g->text + len, sizeof g->text - len,
			                        i == SHEET_NOMINAL ? " %.0s%s" : " %s=%s", sheet_column_name[i],
			                        row->written[i]);
	g->rows++;
	return true;
}

#define MICRO "\xc2\xb5"
#define MU "\xce\xbc"
#define OMEGA "\xce\xa9"
#define NBSP "\xc2\xa0"
#define EN "\xe2\x80\x93"
#define SIX "R1 1k; R2 1k; R3 1k; R4 1k; R5 1k; R6 1k"

static void understood(void **state)
{
	(void)state;
	static const struct {
		const char *line, *want;
	} rows[] = {
	    /* decimal commas */
	    {"R12 4,7k", "R12 4.7k"},
	    {"R12 4,7 k", "R12 4.7 k"},
	    {"C3 0,047", "C3 0.047"},
	    {"C3 ,047", "C3 .047"},
	    {"R12 1k 2,5% 0,5W", "R12 1k tolerance=2.5% rated=0.5W"},
	    {"H1 heater 6,3 V AC", "H1 kind=heater 6.3 V AC"},
	    {"R12 nominal=4,7k", "R12 4.7k"},
	    /* old print */
	    {"C3 .047", "C3 .047"},
	    {"C3 .047 mfd", "C3 .047 mfd"},
	    {"C3 250 mmf mica", "C3 kind=mica 250 mmf"},
	    {"C3 100 mmfd", "C3 100 mmfd"},
	    {"C3 8 mf el", "C3 kind=electrolytic 8 mf"},
	    {"C3 0.1 MF", "C3 0.1 MF"},
	    {"C3 .047/400", "C3 .047/400 rated=400"},
	    {"C9 8/450 el", "C9 kind=electrolytic 8/450 rated=450"},
	    {"R5 1/2 meg", "R5 1/2 meg"},
	    {"R5 2.2 MEG", "R5 2.2 MEG"},
	    /* a value with its rating */
	    {"C9 47u/450V", "C9 47u rated=450V"},
	    {"C9 47u/450", "C9 47u rated=450"},
	    {"C3 0.1uF 400V", "C3 0.1uF rated=400V"},
	    {"C3 0.1 uf 400 volts", "C3 0.1 uf rated=400 V"},
	    {"C3 0.1u 600 VDC", "C3 0.1u rated=600 VDC"},
	    {"C3 0.1u 600VW", "C3 0.1u rated=600V"},
	    {"R3 100k/2W", "R3 100k rated=2W"},
	    {"R3 1k 1/2 W", "R3 1k rated=1/2 W"},
	    {"R3 1k \xc2\xbdW", "R3 1k rated=1/2W"},
	    {"R3 1k 0.5 watts", "R3 1k rated=0.5 W"},
	    {"F1 500 mA", "F1 max=500 mA"},
	    {"H1 6.3V", "H1 6.3V"},
	    /* sections */
	    {"C9A,C9B 8+8u can", "C9A 8u role=can part=C9; C9B 8u role=can part=C9"},
	    {"C9A,C9B,C9C 32+16+8/450V",
	     "C9A 32u rated=450V part=C9; C9B 16u rated=450V part=C9; C9C 8u rated=450V part=C9"},
	    {"C9,C10 16 + 16 u part=can2", "C9 16 u part=can2; C10 16 u part=can2"},
	    {"C9,C10 8+8u", "C9 8u part=C9; C10 8u part=C9"},
	    {"P1A,P1B 2x100k", "P1A 100k part=P1; P1B 100k part=P1"},
	    {"R1,R2 2 x 100k", "R1 100k; R2 100k"},
	    {"R1,R2 2\xc3\x97" "100k", "R1 100k; R2 100k"},
	    /* codes and signs */
	    {"R5 1M5", "R5 1M5"},
	    {"L5 500m", "L5 500m"}, /* half an ohm of a winding */
	    {"R5 0R47 ww", "R5 kind=wirewound 0R47"},
	    {"C5 n47 cer", "C5 kind=ceramic n47"},
	    {"C5 p47", "C5 p47"},
	    {"C1 0.47" MICRO, "C1 0.47" MICRO},
	    {"C1 0.47" MU "F", "C1 0.47" MU "F"},
	    {"C1 0.47 " MU "F", "C1 0.47 " MU "F"},
	    {"R1 470k" OMEGA, "R1 470k" OMEGA},
	    {"R1 470 k" OMEGA, "R1 470 k" OMEGA},
	    {"R1 470 Kohm", "R1 470 Kohm"},
	    {"R1 100 OHMS", "R1 100 OHMS"},
	    {"C1 100 pf", "C1 100 pf"},
	    {"C1 100 PF", "C1 100 PF"},
	    {"R3 1k +/-5%", "R3 1k tolerance=+-5%"},
	    {"R3 1k +/- 5 %", "R3 1k tolerance=+- 5 %"},
	    {"R3 1k \xc2\xb1 5%", "R3 1k tolerance=\xc2\xb1 5%"},
	    {"B1 rail \xe2\x88\x92" "35 V", "B1 kind=rail -35 V"},
	    {"W1 winding \xe2\x89\xa5" "20M", "W1 kind=winding tolerance=>=20M"},
	    /* names */
	    {"r12 100k", "R12 100k"},
	    {"c7a .1u with=r14 twin=c17a", "C7a .1u with=R14 twin=C17a"},
	    {"r1-r3 1k", "R1 1k; R2 1k; R3 1k"},
	    {"rail1 rail 285V", "rail1 kind=rail 285V"},
	    {"R1..R6 1k", SIX},
	    {"R1...R6 1k", SIX},
	    {"R1\xe2\x80\xa6R6 1k", SIX},
	    {"R1 - R6 1k", SIX},
	    {"R1 -R6 1k", SIX},
	    {"R1- R6 1k", SIX},
	    {"R1" EN "R6 1k", SIX},
	    {"R1 " EN " R6 1k", SIX},
	    {"R1" NBSP EN NBSP "R6" NBSP "1k", SIX},
	    {"R1 to R6 1k", SIX},
	    {"R1-6 1k", SIX},
	    {"R1,2,3-6 1k", SIX},
	    {"R1,R2, R3-R6 1k", SIX},
	    {"R1 ,R2 , R3-R6 1k", SIX},
	    {"R1 R2 R3-R6 1k", SIX},
	    {"R1;R2;R3-R6 1k", SIX},
	    {"R1 and R2, R3 through R5 & R6 1k", SIX},
	    {"R1-R5 und R6 1k", SIX},
	    {"R1 + R2 + R3-R6 1k", SIX},
	    /* ... and a role that has such a word */
	    {"R1 1k grid and cathode", "R1 1k role=grid and cathode"},
	    /* letters as wide as an East Asian one */
	    {"\xef\xbc\xb2\xef\xbc\x91 \xef\xbc\x91\xef\xbd\x8b \xef\xbc\x95\xef\xbc\x85", "R1 1k tolerance=5%"},
	    {"6V6 valve", "6V6 kind=valve"}, {"12AX7 valve V1", "12AX7 kind=valve role=V1"},
	    {"R1\t1k\t5%\tanode load", "R1 1k tolerance=5% role=anode load"},
	    {"R1" NBSP "470" NBSP "k", "R1 470 k"},
	    {"R1\xe2\x80\xaf" "470\xe2\x80\xaf" "k", "R1 470 k"},
	    {"R1\xe2\x80\x8b 470k", "R1 470k"},
	    {"\xef\xbb\xbfR1 470k", "R1 470k"},
	    {"R1 1k note=\xe2\x80\x9c" "burnt" NBSP "black\xe2\x80\x9d", "R1 1k note=burnt" NBSP "black"},
	    /* a further name of the same letters, but the valve of another's role */
	    {"R12 470k anode V3", "R12 470k role=anode V3"},
	    {"R12 V3 anode 470k", "R12 470k role=V3 anode"},
	    /* units in words, letters in the place of the point */
	    {"C1 47 microfarads 450 WVDC", "C1 47 microfarads rated=450 V"},
	    {"C1 47mikrofarad", "C1 47mikrofarad"},
	    {"R1 4.7 kilohms", "R1 4.7 kilohms"},
	    {"R1 2" OMEGA "2", "R1 2" OMEGA "2"},
	    {"R1 M47", "R1 M47"},
	    {"R1 K47", "R1 K47"},
	    {"C1 " MICRO "47", "C1 " MICRO "47"},
	    /* a tolerance close up, commas between words, quotes around a role */
	    {"R1 100k+-5%", "R1 100k tolerance=+-5%"},
	    {"R1 1k\xc2\xb1" "10%", "R1 1k tolerance=\xc2\xb1" "10%"},
	    {"B1 rail -35V+-2V", "B1 kind=rail -35V tolerance=+-2V"},
	    {"R12 470k, cc, 10%, anode V3", "R12 kind=carbon-composition 470k tolerance=10% role=anode V3"},
	    {"R1 1k \"anode load of V3\"", "R1 1k role=anode load of V3"},
	    /* bands; two colours may be those of a wire */
	    {"R1 yellow violet yellow gold anode", "R1 yellow violet yellow gold role=anode"},
	    {"R1 yel vio yel gld anode", "R1 yel vio yel gld role=anode"},
	    {"R1 ye vt ye gd anode", "R1 ye vt ye gd role=anode"},
	    /* ... by the same names as the marking has them: German, and IEC 60757 */
	    {"R1 Gelb Violett Gelb gold anode", "R1 Gelb Violett Gelb gold role=anode"},
	    {"R1 braun schwarz gr\xc3\xbcn 10%", "R1 braun schwarz gr\xc3\xbcn tolerance=10%"},
	    {"R1 wei\xc3\x9f bn ye", "R1 wei\xc3\x9f bn ye"},
	    {"T1 winding 350 red white", "T1 kind=winding 350 role=red white"},
	    /* what it stands and what it dissipates, either first */
	    {"R1 1k 1/2W 350V", "R1 1k rated=350V max=1/2W"},
	    {"R1 1k 350V 0.5 W", "R1 1k rated=350V max=0.5 W"},
	    /* a range of last letters */
	    {"C9A-C9C 32+16+8u 450V", "C9A 32u rated=450V part=C9; C9B 16u rated=450V part=C9; "
	                              "C9C 8u rated=450V part=C9"},
	    {"V1-A 250V", "V1-A 250V"},
	    {"B-R12 1k", "B-R12 1k"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct got g = {.rows = 0};
		struct fault why = {.text = ""};
		bool good = sheet_entry_parse(rows[i].line, strlen(rows[i].line), keep, &g, &why);
		if (!good || strcmp(g.text, rows[i].want) != 0) {
			note_row("%s\n  %s\n  column %d: %s", rows[i].line, g.text, why.column, why.text);
			fail();
		}
	}
}

struct first {
	bool have;
	struct position p;
};

static bool keep_first(void *arg, const struct sheet_row *row, struct fault *why)
{
	struct first *f = arg;
	(void)why;
	if (!f->have)
		*f = (struct first){true, row->position};
	return true;
}

/* What they mean, where the cell alone does not say it. */
static void the_value_that_is_meant(void **state)
{
	(void)state;
	static const struct {
		const char *line;
		int64_t n;
		int e;
	} rows[] = {
	    {"R12 4,7k", 4700, 0},     {"C3 .047", 47, -9},        {"C3 0,047", 47, -9},
	    {"C3 .047 mfd", 47, -9},   {"C3 250 mmf", 250, -12},   {"C3 8 mf el", 8, -6},      {"C9 8/450", 8, -6},
	    {"C9 8 el 450V", 8, -6},   {"C9 electrolytic 100", 1, -4},                          {"C3 .047/400", 47, -9},
	    {"C3 0.1 MF", 1, -7},      {"C9 47u/450V", 47, -6},    {"R5 1M5", 15, 5},
	    {"R5 1/2 meg", 5, 5},      {"C5 n47", 47, -11},        {"C1 100 pf", 1, -10},
	    {"C9A,C9B 8+8", 8, -6},    {"R1,R2 2x100k", 1, 5},     {"C1 0.47 " MU "F", 47, -8},
	    {"R1 470 k" OMEGA, 47, 4}, {"R1 470 Kohm", 47, 4},     {"R5 0R47", 47, -2},
	    {"C1 47 microfarads", 47, -6}, {"C1 470 picofarad", 47, -11}, {"R1 4.7 kilohms", 4700, 0},
	    {"R1 2" OMEGA "2", 22, -1}, {"R1 M47", 47, 4},         {"R1 K47", 470, 0},
	    {"C1 " MICRO "47", 47, -8}, {"R1 yellow violet yellow", 47, 4}, {"R1 yel vio yel", 47, 4}, {"R1 0R47", 47, -2}, {"L1 2 henries", 2, 0},
	    {"R1 1 megaohm", 1, 6},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct first f = {.have = false};
		struct fault why = {.text = ""};
		bool good = sheet_entry_parse(rows[i].line, strlen(rows[i].line), keep_first, &f, &why);
		if (!good || !f.p.has_nominal ||
		    decimal_compare(f.p.nominal, (struct decimal){rows[i].n, rows[i].e}) != 0) {
			note_row("%s: %s", rows[i].line, why.text);
			fail();
		}
	}
}

static void refused(void **state)
{
	(void)state;
	static const struct {
		const char *line;
		int column; /* in bytes of the line as it was typed */
		const char *cure;
	} rows[] = {
	    {"R12 10,000", 7, "write 10 or 10k"},
	    {"1k R1", 1, "the position comes first"},
	    {"4k7 R1-R6 5%", 1, "the position comes first"},
	    {"R1 " MICRO "10", 4, "the value of a capacitor"},
	    {"R12 1.234,5k", 10, "leave out what parts the thousands"},
	    {"R12 1,234.5k", 6, "leave out what parts the thousands"},
	    {"C9 8+8u can", 4, "give each section a name, such as C9A,C9B"},
	    {"C9,C10 8+8+8u", 8, "3 values for 2 positions"},
	    {"P1 2x100k", 4, "give each section a name, such as P1A,P1B"},
	    {"R1 1m 10%", 4, "write M for megohms"},
	    {"R1 2m2", 4, "write M for megohms"},
	    {"R12 R47", 5, "the value 0R47"},
	    {"R12 R47 5%", 5, "R1,R2"},
	    {"B1 rail - 35 V", 9, "such as -35"},
	    {"C1 100", 4, "may mean 10 pF or 100 pF"},
	    {"C1 100/450", 4, "may mean"},
	    {"R1-R6 4E7", 7, "write 4R7, or 4e7"},
	    {"R1" EN "R6" NBSP "1kk", 12, "a unit was expected here"},
	    {"R6" EN "R1 1k", 1, "backwards"},
	    {"R1,2,$ 1k", 6, "no name of a position"},
	    {"R1 2 x 100k", 4, "2 values for 1 position"},
	    {"C1 1,5u/6,3,0V", 10, "leave out what parts the thousands"},
	    {"R1 1k 470k", 7, "5% is a tolerance"},
	    {"C9A,C9B 9x1u", 9, "eight sections"},
	    {"C9A,C9B 8+8q", 9, "nominal"},
	    {"R1-R6-R9 1k", 1, "two ends"},
	    {"R2,R1-C5 1k", 4, "same letters"},
	    {"R1..C5 1k", 1, "same letters"},
	    {"C9C-C9A 1u", 1, "backwards"},
	    {"R1 -5", 4, "only volts and amps"},
	    {"C1 -5u", 4, "only volts and amps"},
	    {"R1 1k <2k", 7, "<=3"},
	    {"C1 47 micro farad", 7, "47u"},
	    {"R1 1k cc mf", 10, "second kind"},
	    {"R1 1k \"\" x", 8, "nothing"},
	};
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		struct got g = {.rows = 0};
		struct fault why = {.text = ""};
		bool good = sheet_entry_parse(rows[i].line, strlen(rows[i].line), keep, &g, &why);
		if (good || why.column != rows[i].column || !strstr(why.text, rows[i].cure)) {
			note_row("%s\n  %s\n  column %d: %s", rows[i].line, g.text, why.column, why.text);
			fail();
		}
	}
}

/* A place in the plain text is a place in what was typed. */
static void places_of_plain_text(void **state)
{
	(void)state;
	static const char *const texts[] = {
	    "R1" EN "R6" NBSP "1k", "a\xe2\x80\xa6" "b", "\xef\xbb\xbf" "ab", "+/-5%", "\xc2\xbdW",
	    "\"a" EN "b\"" EN, "\xff" EN, "", "a" NBSP, "\xe2\x80\x8b",
	};
	for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
		char out[64];
		size_t len = strlen(texts[i]), n = plain_text(texts[i], len, out, sizeof out);
		size_t last = 0;
		assert_true(n < sizeof out && out[n] == '\0');
		for (size_t k = 0; k <= n; k++) {
			size_t from = plain_origin(texts[i], len, k);
			assert_true(from >= last && from <= len);
			/* What was not changed stands where it stood. */
			if (k < n && (unsigned char)out[k] < 0x80 && strchr("Rabk156W%", out[k]))
				assert_true(texts[i][from] == out[k] || (unsigned char)texts[i][from] >= 0x80);
			last = from;
		}
		assert_int_equal(plain_origin(texts[i], len, n), len);
		/* Plain text is plain already. */
		char again[64];
		assert_int_equal(plain_text(out, n, again, sizeof again), n);
		assert_string_equal(out, again);
		/* Never more than there is room for. */
		for (size_t size = 0; size <= n; size++)
			assert_int_equal(plain_text(texts[i], len, out, size), size);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(understood), cmocka_unit_test(the_value_that_is_meant),
	    cmocka_unit_test(refused), cmocka_unit_test(places_of_plain_text),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/*
 * What is spoken, in both languages: numbers, values, positions, happenings.
 *
 * The words of numbers are the two languages' own; none of these rows has a published
 * source.
 */
#include "tests/check.h"

#include "client/speech_words.h"
#include "client/words.h"
#include "protocol/trade/position.h"
#include "protocol/trade/quantity.h"

#include <stdlib.h>

static void expect(const char *got, const char *want, const char *of)
{
	if (strcmp(got, want) != 0)
		print_error("%s\n  said     %s\n  expected %s\n", of, got, want);
	assert_string_equal(got, want);
}

/* ---- values ---- */

/* as it is shown, English, German */
static const char *const value_rows[][3] = {
	{"0.0471 uF", "zero point zero four seven one microfarads",
	 "null Komma null vier sieben eins Mikrofarad"},
	{"-35.0 V", "minus thirty-five point zero volts", "minus fünfunddreißig Komma null Volt"},
	{"4.70 kOhm", "four point seven zero kilo-ohms", "vier Komma sieben null Kiloohm"},
	{"4.70 kohm", "four point seven zero kilo-ohms", "vier Komma sieben null Kiloohm"},
	{"-0.470 kohm", "minus zero point four seven zero kilo-ohms",
	 "minus null Komma vier sieben null Kiloohm"},
	{"1.2 V", "one point two volts", "eins Komma zwei Volt"},
	{"1 V", "one volt", "ein Volt"},
	{"-1 V", "minus one volt", "minus ein Volt"},
	{"1.0 V", "one point zero volts", "eins Komma null Volt"},
	{"1", "one", "eins"},
	{"0 V", "zero volts", "null Volt"},
	{"-0.000 V", "minus zero point zero zero zero volts", "minus null Komma null null null Volt"},
	{"+0.4811 kOhm", "zero point four eight one one kilo-ohms",
	 "null Komma vier acht eins eins Kiloohm"},
	{"\u221235.0 V", "minus thirty-five point zero volts",
	 "minus fünfunddreißig Komma null Volt"},
	/* every prefix */
	{"47 pF", "forty-seven picofarads", "siebenundvierzig Pikofarad"},
	{"1.00 nF", "one point zero zero nanofarads", "eins Komma null null Nanofarad"},
	{"8.0 uF", "eight point zero microfarads", "acht Komma null Mikrofarad"},
	{"8.0 \u00b5F", "eight point zero microfarads", "acht Komma null Mikrofarad"},
	{"8.0 \u03bcF", "eight point zero microfarads", "acht Komma null Mikrofarad"},
	{"12.5 mV", "twelve point five millivolts", "zwölf Komma fünf Millivolt"},
	{"12.5 kV", "twelve point five kilovolts", "zwölf Komma fünf Kilovolt"},
	{"20 Mohm", "twenty mega-ohms", "zwanzig Megaohm"},
	{"20 M\u03a9", "twenty mega-ohms", "zwanzig Megaohm"},
	{"20 M\u2126", "twenty mega-ohms", "zwanzig Megaohm"},
	{"1.5 Gohm", "one point five giga-ohms", "eins Komma fünf Gigaohm"},
	{"2 Tohm", "two tera-ohms", "zwei Teraohm"},
	{"0.8 mohm", "zero point eight milli-ohms", "null Komma acht Milliohm"},
	/* every unit, alone and with a prefix */
	{"3 A", "three amps", "drei Ampere"},
	{"1 A", "one amp", "ein Ampere"},
	{"3.0 mA", "three point zero milliamps", "drei Komma null Milliampere"},
	{"3 uA", "three microamps", "drei Mikroampere"},
	{"5 ohm", "five ohms", "fünf Ohm"},
	{"1 ohm", "one ohm", "ein Ohm"},
	{"2 F", "two farads", "zwei Farad"},
	{"1.00 H", "one point zero zero henries", "eins Komma null null Henry"},
	{"3 mH", "three millihenries", "drei Millihenry"},
	{"50.00 Hz", "fifty point zero zero hertz", "fünfzig Komma null null Hertz"},
	{"1 kHz", "one kilohertz", "ein Kilohertz"},
	{"23.4 C", "twenty-three point four degrees Celsius",
	 "dreiundzwanzig Komma vier Grad Celsius"},
	{"-1 C", "minus one degree Celsius", "minus ein Grad Celsius"},
	{"23.4 \u00b0C", "twenty-three point four degrees Celsius",
	 "dreiundzwanzig Komma vier Grad Celsius"},
	{"12.0 %", "twelve point zero percent", "zwölf Komma null Prozent"},
	{"11 W", "eleven watts", "elf Watt"},
	{"231.4 V AC", "two hundred thirty-one point four volts A C",
	 "zweihunderteinunddreißig Komma vier Volt A C"},
	{"0.034", "zero point zero three four", "null Komma null drei vier"},
	/* whole numbers: tens, hundreds, thousands, millions, more */
	{"10 V", "ten volts", "zehn Volt"},
	{"11 V", "eleven volts", "elf Volt"},
	{"13 V", "thirteen volts", "dreizehn Volt"},
	{"16 V", "sixteen volts", "sechzehn Volt"},
	{"17 V", "seventeen volts", "siebzehn Volt"},
	{"21 V", "twenty-one volts", "einundzwanzig Volt"},
	{"30 V", "thirty volts", "dreißig Volt"},
	{"66 V", "sixty-six volts", "sechsundsechzig Volt"},
	{"77 V", "seventy-seven volts", "siebenundsiebzig Volt"},
	{"100 V", "one hundred volts", "einhundert Volt"},
	{"101 V", "one hundred one volts", "einhunderteins Volt"},
	{"285 V", "two hundred eighty-five volts", "zweihundertfünfundachtzig Volt"},
	{"999.9 V", "nine hundred ninety-nine point nine volts",
	 "neunhundertneunundneunzig Komma neun Volt"},
	{"1000 ohm", "one thousand ohms", "eintausend Ohm"},
	{"1001 ohm", "one thousand one ohms", "eintausendeins Ohm"},
	{"21000 ohm", "twenty-one thousand ohms", "einundzwanzigtausend Ohm"},
	{"47120 ohm", "forty-seven thousand one hundred twenty ohms",
	 "siebenundvierzigtausendeinhundertzwanzig Ohm"},
	{"101000 ohm", "one hundred one thousand ohms", "einhunderteintausend Ohm"},
	{"1000000 ohm", "one million ohms", "eine Million Ohm"},
	{"1000001 ohm", "one million one ohms", "eine Million eins Ohm"},
	{"1234567.8 ohm",
	 "one million two hundred thirty-four thousand five hundred sixty-seven point eight ohms",
	 "eine Million zweihundertvierunddreißigtausendfünfhundertsiebenundsechzig Komma acht Ohm"},
	{"21000000 ohm", "twenty-one million ohms", "einundzwanzig Millionen Ohm"},
	{"101000000 ohm", "one hundred one million ohms", "einhunderteins Millionen Ohm"},
	{"1234567890 ohm", "one two three four five six seven eight nine zero ohms",
	 "eins zwei drei vier fünf sechs sieben acht neun null Ohm"},
	{"007.10 V", "zero zero seven point one zero volts", "null null sieben Komma eins null Volt"},
	{"470k", "470k", "470k"}, /* a marking, no value with a unit: passed on */
	{"4.7", "four point seven", "vier Komma sieben"},
	{".47 uF", "zero point four seven microfarads", "null Komma vier sieben Mikrofarad"},
	{"47uF", "forty-seven microfarads", "siebenundvierzig Mikrofarad"},
	/* no values */
	{"overload", "overload", "Überlauf"},
	{"negative overload", "negative overload", "negativer Überlauf"},
	{"OL", "overload", "Überlauf"},
	{"hold", "on hold", "angehalten"},
	{"no value", "no value", "kein Wert"},
	{">20 Mohm", "above twenty mega-ohms", "über zwanzig Megaohm"},
	{"> 20 Mohm", "above twenty mega-ohms", "über zwanzig Megaohm"},
	{"above 20 Mohm", "above twenty mega-ohms", "über zwanzig Megaohm"},
	/* what nobody knows is passed on, harmless */
	{"", "", ""},
	{"-", "-", "-"},
	{"12 parsec", "12 parsec", "12 parsec"},
	{"1.2.3 V", "1.2.3 V", "1.2.3 V"},
	{"1,5 V", "1,5 V", "1,5 V"},
	{"5 V or so", "5 V or so", "5 V or so"},
	{"\x1b[2J", "\\x1B[2J", "\\x1B[2J"},
	{"\xff\xfe", "\\xFF\\xFE", "\\xFF\\xFE"},
};

static void values_in_words(void **state)
{
	char out[256];
	(void)state;
	for (size_t i = 0; i < sizeof value_rows / sizeof *value_rows; i++)
		for (int l = 0; l < LANGUAGE_COUNT; l++) {
			speech_value((enum language)l, value_rows[i][0], out, sizeof out);
			expect(out, value_rows[i][1 + l], value_rows[i][0]);
		}
}

/* Every function with every prefix that quantity_shown may write has words: no unit is
 * left to the voice, and every digit is said. */
static void all_that_is_shown_is_known(void **state)
{
	(void)state;
	for (int f = FUNCTION_NONE + 1; f < FUNCTION_COUNT; f++)
		for (int prefix = -12; prefix <= 12; prefix += 3)
			for (int l = 0; l < LANGUAGE_COUNT; l++) {
				char shown[64], out[256];
				struct decimal d = {-4070, prefix - 3};
				quantity_shown(d, (enum function)f, prefix, shown, sizeof shown);
				speech_value((enum language)l, shown, out, sizeof out);
				if (strpbrk(out, "0123456789.%"))
					print_error("%s is said as %s\n", shown, out);
				assert_null(strpbrk(out, "0123456789.%"));
				assert_int_equal(strncmp(out, "minus ", 6), 0);
				bool number = f == FUNCTION_NUMBER;
				assert_int_equal(strchr(shown, ' ') == NULL, number);
			}
}

/* Every number up to 999 999 999: said in words, no two alike (sampled), within the room. */
static void numbers_differ(void **state)
{
	char before[256] = "", out[256], text[32];
	(void)state;
	for (int l = 0; l < LANGUAGE_COUNT; l++)
		for (unsigned n = 0; n < 1000000000; n += n < 2000 ? 1 : n / 7 + 1) {
			snprintf(text, sizeof text, "%u", n);
			speech_value((enum language)l, text, out, sizeof out);
			assert_true(strlen(out) > 2 && strlen(out) < 150);
			assert_null(strpbrk(out, "0123456789"));
			assert_null(strstr(out, "  "));
			assert_string_not_equal(out, before);
			assert_true(out[strlen(out) - 1] != ' ');
			snprintf(before, sizeof before, "%s", out);
		}
}

/* ---- positions ---- */

static const char *const position_rows[][3] = {
	{"R12", "R twelve", "R zwölf"},
	{"C7", "C seven", "C sieben"},
	{"V3", "V three", "V drei"},
	{"R112", "R one hundred twelve", "R einhundertzwölf"},
	{"R1012", "R one zero one two", "R eins null eins zwei"},
	{"R01", "R zero one", "R null eins"},
	{"VR2", "V R two", "V R zwei"},
	{"SW1", "S W one", "S W eins"},
	{"LED1", "L E D one", "L E D eins"},
	{"BIAS", "Bias", "Bias"},
	{"heater", "heater", "heater"},
	{"L/C7", "L slash C seven", "L Schrägstrich C sieben"},
	{"B-R4", "B dash R four", "B Strich R vier"},
	{"C1B", "C one B", "C eins B"},
	{"C1a", "C one eigh", "C eins A"},
	{"A12", "eigh twelve", "A zwölf"},
	{"R1.5", "R one point five", "R eins Punkt fünf"},
	{"R_1", "R underscore one", "R Unterstrich eins"},
	{"12", "twelve", "zwölf"},
	{"", "", ""},
	{"R\x1b[31m", "R thirty-one M", "R einunddreißig M"}, /* no name: nothing that steers */
};

static void positions_in_words(void **state)
{
	char out[256];
	(void)state;
	for (size_t i = 0; i < sizeof position_rows / sizeof *position_rows; i++)
		for (int l = 0; l < LANGUAGE_COUNT; l++) {
			speech_position((enum language)l, position_rows[i][0], out, sizeof out);
			expect(out, position_rows[i][1 + l], position_rows[i][0]);
		}
}

/* ---- happenings ---- */

static const struct told_row {
	struct happening_told told;
	bool whole;
	const char *said[LANGUAGE_COUNT];
} told_rows[] = {
	{{.what = HAPPENED_UP, .position = "C8", .quantity = "value", .place = "left",
	  .role = "coupling to V3"}, false,
	 {"C eight, left, coupling to V3", "C acht, left, coupling to V3"}},
	{{.what = HAPPENED_UP, .position = "C8", .quantity = "leakage"}, false,
	 {"C eight, leakage", "C acht, Leckstrom"}},
	{{.what = HAPPENED_UP, .position = "R1"}, true, {"R one", "R eins"}},
	/* A note in the sheet may be long: the name must be said in time. */
	{{.what = HAPPENED_UP, .position = "R1", .place = "left, under the brown one that leaks, behind the "
	  "transformer and not easy to reach"}, false,
	 {"R one, left, under the brown one that leaks, behind", "R eins, left, under the brown one that leaks, behind"}},
	/* a position without a role has its kind there */
	{{.what = HAPPENED_UP, .position = "R1", .role = "carbon-composition"}, false,
	 {"R one, carbon composition", "R eins, Kohlemassewiderstand"}},
	{{.what = HAPPENED_UP, .position = "X1", .role = "other"}, false, {"X one", "X eins"}},
	{{.what = HAPPENED_UP, .position = "R1", .quantity = "esr"}, true,
	 {"R one, E S R", "R eins, E S R"}},
	/* within: the tone is enough, unless it is asked for again */
	{{.what = HAPPENED_LOGGED, .position = "C5", .quantity = "value", .shown = "0.0471 uF",
	  .verdict = "within", .side = "high"}, false, {"", ""}},
	{{.what = HAPPENED_LOGGED, .position = "C5", .quantity = "value", .shown = "0.0471 uF",
	  .verdict = "within", .side = "high"}, true,
	 {"C five, zero point zero four seven one microfarads, within",
	  "C fünf, null Komma null vier sieben eins Mikrofarad, innerhalb"}},
	/* ... but no tone says that it was no number. */
	{{.what = HAPPENED_LOGGED, .position = "INS", .shown = "overload", .verdict = "within"}, false,
	 {"I N S, overload", "I N S, Überlauf"}},
	{{.what = HAPPENED_LOGGED, .position = "R4", .shown = "overload"}, false,
	 {"R four, overload", "R vier, Überlauf"}},
	{{.what = HAPPENED_REFUSED, .why = "R2 came up only just now: touch it, then take it"}, false,
	 {"refused, it came up only just now, touch it first", "abgelehnt, eben erst dran, erst berühren"}},
	{{.what = HAPPENED_LOGGED, .position = "C5", .shown = "47 nF"}, true,
	 {"C five, forty-seven nanofarads", "C fünf, siebenundvierzig Nanofarad"}},
	/* the verdict where it is not within */
	{{.what = HAPPENED_OUTSIDE, .position = "R12", .quantity = "value", .shown = "612 kohm",
	  .verdict = "outside", .side = "high", .why = "carbon, drifted up; twin R112 is within"},
	 false,
	 {"R twelve, six hundred twelve kilo-ohms, outside, high, carbon, drifted up",
	  "R zwölf, sechshundertzwölf Kiloohm, außerhalb, hoch, Kohle, nach oben gedriftet"}},
	/* a deviation before the reason takes the place of the side */
	{{.what = HAPPENED_OUTSIDE, .position = "R12", .shown = "612 kohm", .verdict = "outside",
	  .side = "high", .why = "30.2 % high; carbon, drifted up"}, false,
	 {"R twelve, six hundred twelve kilo-ohms, outside, thirty point two percent high, carbon, "
	  "drifted up",
	  "R zwölf, sechshundertzwölf Kiloohm, außerhalb, dreißig Komma zwei Prozent zu hoch, Kohle, "
	  "nach oben gedriftet"}},
	{{.what = HAPPENED_OUTSIDE, .position = "B1", .shown = "-40 V", .verdict = "outside",
	  .side = "low", .why = "14.3 % more negative; more negative"}, false,
	 {"B one, minus forty volts, outside, fourteen point three percent more negative",
	  "B eins, minus vierzig Volt, außerhalb, vierzehn Komma drei Prozent stärker negativ"}},
	{{.what = HAPPENED_OUTSIDE, .position = "B1", .shown = "40 V", .verdict = "outside",
	  .side = "high", .why = "214 % off, of the wrong sign"}, false,
	 {"B one, forty volts, outside, two hundred fourteen percent off, of the wrong sign",
	  "B eins, vierzig Volt, außerhalb, zweihundertvierzehn Prozent daneben, falsches "
	  "Vorzeichen"}},
	{{.what = HAPPENED_OUTSIDE, .position = "R5", .shown = "22.06 kohm", .verdict = "outside",
	  .side = "low", .why = "53.1 % low; another value seems to be fitted: 22 kohm"}, false,
	 {"R five, twenty-two point zero six kilo-ohms, outside, fifty-three point one percent low, "
	  "another value seems to be fitted, twenty-two kilo-ohms",
	  "R fünf, zweiundzwanzig Komma null sechs Kiloohm, außerhalb, dreiundfünfzig Komma eins "
	  "Prozent zu niedrig, ein anderer Wert scheint eingebaut, zweiundzwanzig Kiloohm"}},
	{{.what = HAPPENED_OUTSIDE, .position = "C5", .shown = "47 uF", .verdict = "outside",
	  .side = "high", .why = "1000 times nominal"}, false,
	 {"C five, forty-seven microfarads, outside, one thousand times nominal",
	  "C fünf, siebenundvierzig Mikrofarad, außerhalb, eintausend mal Nennwert"}},
	{{.what = HAPPENED_OUTSIDE, .position = "R7", .shown = "overload", .verdict = "outside",
	  .side = "high", .why = "above 20 Mohm; open: look at its joints, then replace it"}, false,
	 {"R seven, overload, outside, above twenty mega-ohms, reads open",
	  "R sieben, Überlauf, außerhalb, über zwanzig Megaohm, scheint unterbrochen"}},
	{{.what = HAPPENED_UNSURE, .position = "R8", .shown = "99.0 kohm", .verdict = "unsure",
	  .side = "low", .why = "on nominal; other paths lower it: lift one leg"}, false,
	 {"R eight, ninety-nine point zero kilo-ohms, unsure, on nominal, other paths in the circuit, "
	  "lift one leg",
	  "R acht, neunundneunzig Komma null Kiloohm, unsicher, auf Nennwert, andere Wege in der "
	  "Schaltung, ein Bein ablöten"}},
	{{.what = HAPPENED_UNSURE, .position = "R8", .shown = "82.0 kohm", .verdict = "unsure",
	  .side = "low", .why = "on nominal; as its twin R108: nothing against it"}, false,
	 {"R eight, eighty-two point zero kilo-ohms, unsure, on nominal, as its twin, nothing against it",
	  "R acht, zweiundachtzig Komma null Kiloohm, unsicher, auf Nennwert, wie sein Zwilling, "
	  "nichts dagegen"}},
	{{.what = HAPPENED_UNSURE, .position = "R8", .shown = "82.0 kohm", .verdict = "unsure",
	  .side = "low", .why = "on nominal; differs with the leads swapped: something is charged"}, false,
	 {"R eight, eighty-two point zero kilo-ohms, unsure, on nominal, something is charged, "
	  "discharge it and measure again",
	  "R acht, zweiundachtzig Komma null Kiloohm, unsicher, auf Nennwert, etwas ist geladen, "
	  "entladen und neu messen"}},
	{{.what = HAPPENED_OUTSIDE, .position = "R9", .shown = "5 ohm", .verdict = "outside",
	  .side = "low", .why = "low"}, false,
	 {"R nine, five ohms, outside, low", "R neun, fünf Ohm, außerhalb, niedrig"}},
	{{.what = HAPPENED_OUTSIDE, .position = "R12", .quantity = "value", .shown = "overload",
	  .verdict = "outside", .side = "high", .why = "open"}, false,
	 {"R twelve, overload, outside, high, reads open",
	  "R zwölf, Überlauf, außerhalb, hoch, scheint unterbrochen"}},
	{{.what = HAPPENED_OUTSIDE, .position = "R12", .quantity = "value", .shown = "overload",
	  .verdict = "outside", .side = "high", .why = "high; open: look at its joints, then replace it"},
	 false,
	 {"R twelve, overload, outside, high, reads open",
	  "R zwölf, Überlauf, außerhalb, hoch, scheint unterbrochen"}},
	{{.what = HAPPENED_OUTSIDE, .position = "B1", .quantity = "volts", .shown = "-40.0 V",
	  .verdict = "outside", .side = "low"}, false,
	 {"B one, volts, minus forty point zero volts, outside, more negative",
	  "B eins, Spannung, minus vierzig Komma null Volt, außerhalb, stärker negativ"}},
	{{.what = HAPPENED_OUTSIDE, .position = "B1", .quantity = "volts", .shown = "-30.0 V",
	  .verdict = "outside", .side = "high"}, false,
	 {"B one, volts, minus thirty point zero volts, outside, less negative",
	  "B eins, Spannung, minus dreißig Komma null Volt, außerhalb, schwächer negativ"}},
	{{.what = HAPPENED_UNSURE, .position = "C6", .quantity = "value", .shown = "0.0512 uF",
	  .verdict = "unsure", .side = "high", .why = "too near the limit for this meter"}, false,
	 {"C six, zero point zero five one two microfarads, unsure, high, too near the limit for "
	  "this meter",
	  "C sechs, null Komma null fünf eins zwei Mikrofarad, unsicher, hoch, zu nah an der Grenze "
	  "für dieses Messgerät"}},
	{{.what = HAPPENED_UNSURE, .position = "R4", .shown = "4.70 kohm", .verdict = "unsure",
	  .why = "circuit"}, false,
	 {"R four, four point seven zero kilo-ohms, unsure, other paths in the circuit, lift one leg",
	  "R vier, vier Komma sieben null Kiloohm, unsicher, andere Wege in der Schaltung, ein Bein "
	  "ablöten"}},
	{{.what = HAPPENED_GUIDE, .position = "C5", .guide = "reform.half", .shown = "225 V"}, false,
	 {"C five, half: set the supply to two hundred twenty-five volts",
	  "C fünf, die Hälfte: Netzteil auf zweihundertfünfundzwanzig Volt stellen"}},
	{{.what = HAPPENED_GUIDE, .position = "C5", .guide = "reform.off", .shown = "41.2 uA",
	  .verdict = "within"}, false,
	 {"C five, forty-one point two microamps, within, supply down and off, discharge it through a "
	  "resistor, then go on",
	  "C fünf, einundvierzig Komma zwei Mikroampere, innerhalb, Netzteil herunterdrehen und aus, über einen "
	  "Widerstand entladen, dann weiter"}},
	{{.what = HAPPENED_GUIDE, .position = "C5", .guide = "reform.off",
	  .why = "2 hours without progress at 1.2 mA, where 144 uA are allowed"}, false,
	 {"C five, given up, hours without progress, supply down and off, discharge it through a resistor, "
	  "then go on",
	  "C fünf, aufgegeben, Stunden ohne Fortschritt, Netzteil herunterdrehen und aus, über einen Widerstand "
	  "entladen, dann weiter"}},
	{{.what = HAPPENED_GUIDE, .position = "C1", .guide = "leak.zero"}, false,
	 {"C one, high tension off: go on takes the zero",
	  "C eins, Hochspannung aus: weiter übernimmt den Nullwert"}},
	{{.what = HAPPENED_HELD, .position = "R12", .shown = "4.70 kohm", .looks = "R13"}, false,
	 {"R twelve, four point seven zero kilo-ohms, looks like R thirteen",
	  "R zwölf, vier Komma sieben null Kiloohm, sieht aus wie R dreizehn"}},
	{{.what = HAPPENED_REFUSED, .position = "C7", .why = "red reads ohm, and value of C7 wants "
	  "farad: turn the dial, or choose another position"}, false,
	 {"refused, C seven, turn the dial to farads",
	  "abgelehnt, C sieben, Messgerät auf Farad stellen"}},
	/* what a meter was asked for, and did not give */
	{{.what = HAPPENED_REFUSED, .why = "called off: the next touch is for what is up"}, false,
	 {"refused, called off, the next touch is for what is up",
	  "abgelehnt, abgebrochen, die nächste Berührung gilt wieder der Position"}},
	{{.what = HAPPENED_REFUSED, .meter = "blue", .why = "blue settled on nothing for 30 s: touch the "
	  "reference part, and ask again"}, false,
	 {"refused, nothing settled, touch the reference part and ask again",
	  "abgelehnt, nichts kam zur Ruhe, Referenzteil berühren und neu anfordern"}},
	{{.what = HAPPENED_REFUSED, .meter = "red", .why = "red settled on no shorted leads for 30 s: hold "
	  "the tips together, and ask again"}, false,
	 {"refused, nothing settled, hold the tips together and ask again",
	  "abgelehnt, nichts kam zur Ruhe, Spitzen zusammenhalten und neu anfordern"}},
	{{.what = HAPPENED_REFUSED, .meter = "red", .why = "red shows 7.31 ohm: a lead offset lies from -0.5 "
	  "to 2 ohm; short the leads, clean the plugs, or take other leads"}, false,
	 {"refused, too much for leads, clean the tips and hold them together",
	  "abgelehnt, zu viel für Leitungen, Spitzen reinigen und zusammenhalten"}},
	{{.what = HAPPENED_REFUSED, .meter = "red", .why = "red shows 0.712 nF with open leads: more than 500 "
	  "pF is no lead; what is still touched?"}, false,
	 {"refused, too much for open leads, something is still touched",
	  "abgelehnt, zu viel für offene Leitungen, etwas wird noch berührt"}},
	{{.what = HAPPENED_REFUSED, .meter = "red", .why = "red reads farad: the offset of shorted leads is "
	  "taken on ohm"}, false,
	 {"refused, turn the dial to ohms", "abgelehnt, Messgerät auf Ohm stellen"}},
	{{.what = HAPPENED_REFUSED, .why = "no position is chosen: choose the one that is touched"},
	 false, {"refused, no position is chosen", "abgelehnt, keine Position gewählt"}},
	{{.what = HAPPENED_REFUSED, .position = "R2", .why = "touched before the leads were open long "
	  "enough: taken for the part before; lift, and touch it again"}, false,
	 {"refused, R two, touched too early, lift and touch again",
	  "abgelehnt, R zwei, zu früh berührt, abheben und neu ansetzen"}},
	{{.what = HAPPENED_REFUSED, .position = "R2", .why = "the moon is full tonight: wait"}, false,
	 {"refused, R two, the moon is full tonight", "abgelehnt, R zwei, Grund am Bildschirm"}},
	{{.what = HAPPENED_REFUSED, .position = "R2", .why = "red is on hold: press its key"}, false,
	 {"refused, R two, the meter is on hold", "abgelehnt, R zwei, das Messgerät ist angehalten"}},
	{{.what = HAPPENED_REFUSED}, false, {"refused", "abgelehnt"}},
	{{.what = HAPPENED_MOVING, .position = "C9"}, false,
	 {"C nine, keeps moving", "C neun, bewegt sich noch"}},
	{{.what = HAPPENED_DISAGREE, .position = "R1", .quantity = "value", .meter = "red", .other = "blue",
	  .why = "red and blue disagree at R1: 101.2 kohm and 95.7 kohm, E_n 6.8"}, false,
	 {"R one, meters disagree, red, blue", "R eins, die Messgeräte widersprechen sich, red, blue"}},
	{{.what = HAPPENED_DOUBT, .position = "V3", .shown = "-0.012 V"}, false,
	 {"V three, minus zero point zero one two volts, could be floating",
	  "V drei, minus null Komma null eins zwei Volt, könnten offene Spitzen sein"}},
	{{.what = HAPPENED_GONE, .meter = "red"}, false,
	 {"meter red is gone", "Messgerät red ist weg"}},
	{{.what = HAPPENED_GONE}, false,
	 {"the daemon is gone, nothing is logged", "der Dienst ist weg, nichts wird aufgezeichnet"}},
	{{.what = HAPPENED_BACK, .meter = "red"}, false,
	 {"meter red is back", "Messgerät red ist wieder da"}},
	{{.what = HAPPENED_BACK}, false, {"the daemon is back", "der Dienst ist wieder da"}},
	{{.what = HAPPENED_STALE, .meter = "bench"}, false,
	 {"meter bench is silent", "Messgerät bench ist stumm"}},
	{{.what = HAPPENED_NOT_LOGGED, .position = "R12", .why = "the disk of the log is full; make "
	  "room on it"}, false,
	 {"not logged, R twelve, the disk is full",
	  "nicht aufgezeichnet, R zwölf, der Datenträger ist voll"}},
	{{.what = HAPPENED_NOT_LOGGED}, false, {"not logged", "nicht aufgezeichnet"}},
	{{.what = HAPPENED_ALARM, .alarm = "live", .meter = "red", .why = "red reads 287 V"}, false,
	 {"caution, live: there are volts that kill on this unit. Hands off",
	  "Achtung, unter Spannung: an diesem Gerät besteht Lebensgefahr. Hände weg"}},
	{{.what = HAPPENED_ALARM, .alarm = "held"}, false,
	 {"caution: the reservoirs still hold volts. Hands off",
	  "Achtung: die Ladeelkos sind noch geladen. Hände weg"}},
	{{.what = HAPPENED_ALARM, .alarm = "mains"}, false,
	 {"caution, mains: this meter is not isolated. Hands off",
	  "Achtung, Netz: dieses Messgerät ist nicht getrennt. Hände weg"}},
	{{.what = HAPPENED_LOGGED, .quantity = "lead offset", .shown = "0.12 ohm"}, true,
	 {"lead offset, zero point one two ohms", "Leitungsabgleich, null Komma eins zwei Ohm"}},
	{{.what = HAPPENED_LIVE}, false,
	 {"caution, live: these volts kill. One hand, rated probes, never alone",
	  "Achtung, unter Spannung: Lebensgefahr. Eine Hand, geprüfte Spitzen, nie allein"}},
	{{.what = HAPPENED_COLD}, false,
	 {"caution: the reservoirs may be charged, measure them dead before touching. Cold",
	  "Achtung: die Ladeelkos können geladen sein, vor dem Berühren messen. Kalt"}},
};

static void happenings_in_words(void **state)
{
	char out[512];
	(void)state;
	for (size_t i = 0; i < sizeof told_rows / sizeof *told_rows; i++)
		for (int l = 0; l < LANGUAGE_COUNT; l++) {
			const struct told_row *r = &told_rows[i];
			speech_happening((enum language)l, &r->told, r->whole, out, sizeof out);
			expect(out, r->said[l], speech_name(LANGUAGE_EN, r->told.what));
		}
}

/* Every reason that a verdict may have is known in both languages: the German of it has
 * no English in it, and no two are alike. */
/* What a position without a role is called, in both: none is left in English. */
static void every_kind_has_words(void **state)
{
	char said[LANGUAGE_COUNT][200], raw[200];
	(void)state;
	for (int k = 0; k < KIND_COUNT; k++) {
		const struct happening_told told = {.what = HAPPENED_UP, .position = "R1",
		                                    .role = kind_name((enum kind)k)};
		for (int l = 0; l < LANGUAGE_COUNT; l++)
			speech_happening((enum language)l, &told, false, said[l], sizeof said[l]);
		snprintf(raw, sizeof raw, "R eins, %s", told.role);
		assert_string_not_equal(said[LANGUAGE_DE], raw);
		assert_null(strchr(said[LANGUAGE_EN], '-'));
	}
}

static void every_reason_has_words(void **state)
{
	static const char *const reason[] = {"meter", "circuit", "moving", "offset", "other-value",
	                                     "leakage", "open", "limits-of-meter"};
	char word[512], sentence[512], before[512] = "";
	(void)state;
	for (size_t i = 0; i < sizeof reason / sizeof *reason; i++) {
		struct happening_told told = {.what = HAPPENED_UNSURE, .why = reason[i]};
		speech_happening(LANGUAGE_DE, &told, false, word, sizeof word);
		told.why = words_reason(reason[i]);
		speech_happening(LANGUAGE_DE, &told, false, sentence, sizeof sentence);
		expect(sentence, word, reason[i]);
		assert_true(strlen(word) > 10);
		assert_string_not_equal(word, before);
		assert_null(strstr(word, "Bildschirm"));
		snprintf(before, sizeof before, "%s", word);
	}
}

static void names_and_languages(void **state)
{
	static const struct {
		const char *name;
		bool known;
		enum language language;
	} row[] = {{"en", true, LANGUAGE_EN},       {"de", true, LANGUAGE_DE},
	           {"de_AT.UTF-8", true, LANGUAGE_DE}, {"de-CH", true, LANGUAGE_DE},
	           {"en_GB", true, LANGUAGE_EN},    {"C", false, LANGUAGE_EN},
	           {"", false, LANGUAGE_EN},        {"den", false, LANGUAGE_EN},
	           {NULL, false, LANGUAGE_EN}};
	(void)state;
	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		enum language l = LANGUAGE_EN;
		assert_int_equal(language_from_name(row[i].name, &l), row[i].known);
		assert_int_equal(l, row[i].language);
	}
	for (int l = 0; l < LANGUAGE_COUNT; l++)
		for (int a = 0; a < HAPPENING_COUNT; a++) {
			assert_true(speech_name((enum language)l, (enum happening)a)[0]);
			for (int b = 0; b < a; b++)
				assert_string_not_equal(speech_name((enum language)l, (enum happening)a),
				                        speech_name((enum language)l, (enum happening)b));
		}
	assert_string_equal(speech_name(LANGUAGE_EN, (enum happening)99), "");
}

/* In any room: nothing beyond it, always ended, and cut at a character. */
static void room_is_kept(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof told_rows / sizeof *told_rows; i++)
		for (int l = 0; l < LANGUAGE_COUNT; l++) {
			char all[512];
			speech_happening((enum language)l, &told_rows[i].told, true, all, sizeof all);
			for (size_t size = 0; size < 220; size++) {
				char *out = malloc(size ? size : 1); /* a byte too far is seen by ASan */
				size_t bad;
				assert_non_null(out);
				speech_happening((enum language)l, &told_rows[i].told, true, out, size);
				if (size) {
					assert_true(strlen(out) < size);
					assert_true(words_utf8(out, strlen(out), &bad));
					assert_int_equal(strncmp(out, all, strlen(out)), 0);
					assert_true(strlen(out) + 4 > size || strlen(out) == strlen(all));
				}
				free(out);
			}
		}
	/* Long free texts are cut, and control characters do not get out. */
	char text[2000];
	memset(text, 'x', sizeof text - 1);
	text[sizeof text - 1] = '\0';
	memcpy(text, "\n.\n", 3);
	struct happening_told told = {.what = HAPPENED_UP, .position = text, .place = text,
	                              .role = text, .quantity = text};
	char out[512];
	speech_happening(LANGUAGE_EN, &told, true, out, sizeof out);
	assert_null(strchr(out, '\n'));
	assert_true(strlen(out) < sizeof out);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(values_in_words),
	    cmocka_unit_test(all_that_is_shown_is_known),
	    cmocka_unit_test(numbers_differ),
	    cmocka_unit_test(positions_in_words),
	    cmocka_unit_test(happenings_in_words),
	    cmocka_unit_test(every_kind_has_words),
	    cmocka_unit_test(every_reason_has_words),
	    cmocka_unit_test(names_and_languages),
	    cmocka_unit_test(room_is_kept),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

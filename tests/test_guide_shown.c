/* SPDX-License-Identifier: MIT */
/*
 * What a person reads of a run's values: the uncertainty in the prefix of its value, also of a
 * leakage of nothing, in the report of either language and at the terminal; and hum and ripple,
 * volts of kind other, judged by their own limits.  Through the whole programs, by replay.
 */
#include "tests/check.h"

#include "client/words.h"
#include "protocol/trade/part.h"

#include <stdlib.h>
#include <sys/wait.h>
#include <unistd.h>

#define GUIDED "tests/recordings/guided"

static char folder[] = "/tmp/tally-shown-XXXXXX";

static const char *build(void)
{
	const char *b = getenv("TALLY_BUILD");
	return b && b[0] ? b : "build";
}

static char *run(const char *format, ...) __attribute__((format(printf, 1, 2)));
static char *run(const char *format, ...)
{
	static char out[4u << 20];
	char command[1200];
	va_list args;
	va_start(args, format);
	vsnprintf(command, sizeof command, format, args);
	va_end(args);
	FILE *f = popen(command, "r");
	assert_non_null(f);
	size_t n = fread(out, 1, sizeof out - 1, f);
	out[n] = '\0';
	int status = pclose(f);
	if (!WIFEXITED(status) || WEXITSTATUS(status) > 1)
		fail_msg("%s: %.400s", command, out);
	return out;
}

static void write_file(const char *name, const char *text)
{
	char path[120];
	snprintf(path, sizeof path, "%s/%s", folder, name);
	FILE *f = fopen(path, "w");
	assert_non_null(f);
	fputs(text, f);
	fclose(f);
}

static void has(const char *text, const char *wanted)
{
	if (!strstr(text, wanted))
		fail_msg("no \"%s\" in %.2000s", wanted, text);
}

/* ---- in the prefix of the value ---- */

static void test_like(void **state)
{
	static const struct {
		double x;
		const char *like, *shown;
	} rows[] = {
	    {1.4e-10, "4.39 uA", "0.00014 uA"}, {2.4e-8, "453.2 nA", "24 nA"},
	    {0.68, "9.999 W", "0.68 W"},        {1.1e-7, "0.000 nW", "110 nW"},
	    {0.0021, "12.5 mW", "2.1 mW"},      {2.5, "72.59 dB", "2.5 dB"},
	    {0.0074, "0.420 %", "0.0074 %"},    {0.12, "0.0871", "0.12"},
	};
	struct style plain = {.plain = true};
	(void)state;
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char text[WORDS_SIZE];
		note_row("%s", rows[i].like);
		words_like(&plain, rows[i].x, 2, rows[i].like, text, sizeof text);
		assert_string_equal(text, rows[i].shown);
	}
}

/* The kept run of a leakage, with nothing coming through: 0.0122 V before and after. */
static void leak_of_nothing(const char *name)
{
	char line[400], path[120];
	FILE *in = fopen(GUIDED "/leak-within.rec", "r");
	snprintf(path, sizeof path, "%s/%s.rec", folder, name);
	FILE *out = fopen(path, "w");
	assert_true(in && out);
	while (fgets(line, sizeof line, in)) {
		char *at = strstr(line, "red \"+0.41");
		if (at)
			memcpy(at + 5, "+0.0122", 7);
		fputs(line, out);
	}
	fclose(in);
	fclose(out);
	run("%s/tallyd --replay %s --sheet " GUIDED "/sheet.csv --config " GUIDED
	    "/bench.conf --log %s/%s.db 2>/dev/null", build(), path, folder, name);
}

static void test_nothing_leaks(void **state)
{
	static const char *const languages[] = {"en", "de"};
	(void)state;
	leak_of_nothing("nothing");
	for (int i = 0; i < 2; i++) {
		note_row("%s", languages[i]);
		run("%s/tally --file %s/nothing.db report --out %s/%s --language %s --incomplete trial", build(),
		    folder, folder, languages[i], languages[i]);
		const char *html = run("cat %s/%s/report.html", folder, languages[i]);
		/* Ohm's law on what was not seen: sqrt 2 of 0.31 mV over 1 Mohm beside 10 Mohm. */
		has(html, "0 \u00b1 480\u00a0pA");
		has(html, "0 \u00b1 480\u00a0\u00b5V");
		assert_null(strstr(html, "0.0000000"));
		assert_null(strstr(html, "0,0000000"));
	}
}

/* ---- volts of kind other ---- */

static void test_volts_judged(void **state)
{
	static const struct {
		const char *at, *says, *wanted; /* in the entry's record */
	} rows[] = {
	    {"HUM1 volts", "2.10 mV AC", "\"verdict\":\"within\""},
	    {"HUM1 volts", "9.00 mV AC", "\"verdict\":\"outside\",\"side\":\"high\""},
	    {"HUM1 volts", "5.00 mV AC", "\"verdict\":\"unsure\""},
	    {"HUM1 value", "2.10 mV AC", "\"verdict\":\"within\""},
	    {"RIP1 volts", "3.600 V AC", "\"verdict\":\"outside\",\"side\":\"high\""},
	    {"TP1 volts", "0.420 V DC", "\"verdict\":\"within\""},
	    {"TP1 volts", "0.520 V DC", "\"verdict\":\"outside\""},
	    {"T1 volts", "6.300 V AC", "\"verdict\":\"within\""},
	    /* volts over what is given in ohms, and of the other sort: nobody said what they may be */
	    {"R21 volts", "0.420 V DC", "\"verdict\":\"none\""},
	    {"X1 volts", "0.420 V DC", "\"verdict\":\"none\""},
	};
	(void)state;
	write_file("s.csv", "position,kind,nominal,tolerance,role\nHUM1,other,0 V AC,<=5 mV AC,hum\n"
	                    "RIP1,other,1 V AC,<=3 V AC,ripple\nTP1,other,0.42 V,5%,test point\n"
	                    "T1,winding,6.3 V AC,10%,heaters\nR21,metal-film,10,1%,sense\nX1,other,10 kohm,5%,\n");
	write_file("b.conf", "[meter red]\nport = /dev/null\ndialect = ascii-unit\naccuracy volt-ac = 1% + 2\n"
	                     "accuracy volt-dc = 0.5% + 1\nac = rms\nisolated = yes\n");
	for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
		char tape[6000];
		size_t n = (size_t)snprintf(tape, sizeof tape,
		                            "# tally recording 1\n0.0 @job t\n0.1 @live\n0.2 @at %s\n", rows[i].at);
		note_row("%s reads %s", rows[i].at, rows[i].says);
		for (int k = 0; k < 40; k++)
			n += (size_t)snprintf(tape + n, sizeof tape - n, "%.2f red \"%s\\r\\n\"\n", 0.3 + 0.25 * k,
			                      k < 8 ? "0.000 V DC" : rows[i].says);
		snprintf(tape + n, sizeof tape - n, "10.4 @take\n"); /* where it was not believed by itself */
		write_file("v.rec", tape);
		const char *out = run("%s/tallyd --replay %s/v.rec --sheet %s/s.csv --config %s/b.conf --log :memory: "
		                      "2>/dev/null | grep '\"kind\":\"entry\"' | head -1", build(), folder, folder, folder);
		has(out, rows[i].wanted);
	}
}

/* Their volts are what they must show, by either name: nothing is missing behind a rise. */
static void test_nothing_missing(void **state)
{
	struct position hum = {.kind = KIND_OTHER, .has_nominal = true, .function = FUNCTION_VOLT_AC},
	                ohms = {.kind = KIND_OTHER, .has_nominal = true, .function = FUNCTION_OHM};
	struct part_quantity missing[PART_SHOWS_MAX];
	(void)state;
	assert_int_equal(part_missing(&hum, 0, missing), 1);
	assert_int_equal(part_missing(&hum, PART_BIT(QUANTITY_VALUE), missing), 0);
	assert_int_equal(part_missing(&hum, PART_BIT(QUANTITY_VOLTS), missing), 0);
	assert_int_equal(part_missing(&ohms, PART_BIT(QUANTITY_VOLTS), missing), 1);
}

static int end(void **state)
{
	char command[80];
	(void)state;
	snprintf(command, sizeof command, "rm -rf %s", folder);
	return system(command);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_like),
	    cmocka_unit_test(test_nothing_leaks),
	    cmocka_unit_test(test_volts_judged),
	    cmocka_unit_test(test_nothing_missing),
	};
	if (!mkdtemp(folder))
		return 1;
	return cmocka_run_group_tests(tests, NULL, end);
}

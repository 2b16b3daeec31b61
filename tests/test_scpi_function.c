/* SPDX-License-Identifier: MIT */
/*
 * The headers of SCPI: short and long forms, and the function that a command sets
 * up.  SCPI-99 was not at hand itself:
 *   [guide] the rule for short forms and its examples, as programming guides of
 *           instruments give them
 *   [rule]  the same rule, worked out by hand
 * The commands are from memory of SCPI-99 volume 2, chapters 3 and 18.
 */
#include "tests/check.h"

#include <stdlib.h>

#include "protocol/meter/scpi.h"

/* Legend: mnemonic, its short form.  Rule [guide]: of up to four letters none; else the
 * first four, or three if the fourth is a vowel; only short and long form are legal. */
static const struct {
	const char *mnemonic, *brief;
} mnemonics[] = {
    /* [guide] */
    {"IMMediate", "IMM"},
    {"AUTO", "AUTO"},
    {"DELay", "DEL"},
    {"OUTPut", "OUTP"},
    {"ASYNchronous", "ASYN"},
    {"LINE", "LINE"},
    {"FREQuency", "FREQ"},
    {"POWer", "POW"},
    {"ATTenuation", "ATT"},
    {"TCouple", "TC"}, /* an exception to the rule */
    /* [rule] */
    {"CONFigure", "CONF"},
    {"FETCh", "FETC"},
    {"RESistance", "RES"},
    {"FRESistance", "FRES"},
    {"CURRent", "CURR"},
    {"SYSTem", "SYST"},
    {"TRIGger", "TRIG"},
    {"SAMPle", "SAMP"},
    {"FUNCtion", "FUNC"},
    {"STATus", "STAT"},
    {"OPERation", "OPER"},
    {"READ", "READ"},
    {"DIODe", "DIOD"},
    {"MINimum", "MIN"},
    {"INFinity", "INF"},
};

static void test_short_forms(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof mnemonics / sizeof *mnemonics; i++) {
		const char *mnemonic = mnemonics[i].mnemonic;
		size_t whole = strlen(mnemonic), brief = strlen(mnemonics[i].brief);
		for (size_t len = 0; len <= whole; len++) {
			char lower[32], higher[32];
			for (size_t k = 0; k < len; k++) {
				lower[k] = (char)(mnemonic[k] | 0x20);
				higher[k] = (char)(mnemonic[k] & ~0x20);
			}
			bool legal = len == brief || len == whole;
			assert_int_equal(scpi_mnemonic(mnemonic, mnemonic, len), legal);
			assert_int_equal(scpi_mnemonic(mnemonic, lower, len), legal);
			assert_int_equal(scpi_mnemonic(mnemonic, higher, len), legal);
		}
		assert_true(scpi_mnemonic(mnemonic, mnemonics[i].brief, brief));
		char longer[40];
		snprintf(longer, sizeof longer, "%sX", mnemonic);
		assert_false(scpi_mnemonic(mnemonic, longer, whole + 1));
	}
}

/* Legend: a command, the function that it sets up or asks for. */
static const struct {
	const char *command;
	enum function function;
} commands[] = {
    {"MEAS:RES?", FUNCTION_OHM},
    {"CONF:VOLT:AC", FUNCTION_VOLT_AC},
    {"SENS:FUNC \"RES\"", FUNCTION_OHM},
    {"meas:res?", FUNCTION_OHM},
    {":MEASure:RESistance?", FUNCTION_OHM},
    {"MEASURE:FRESISTANCE? 1000,0.1", FUNCTION_OHM},
    {"MEAS:FRES? AUTO", FUNCTION_OHM},
    {"MEAS:SCAL:VOLT:DC? 10,0.001,(@101)", FUNCTION_VOLT_DC},
    {"MEAS:ARR:VOLT? (20)", FUNCTION_VOLT_DC},
    {"MEAS:VOLT?", FUNCTION_VOLT_DC},
    {"MEAS:VOLT:DC?", FUNCTION_VOLT_DC},
    {"MEAS:VOLT:AC?", FUNCTION_VOLT_AC},
    {"MEAS:CURR?", FUNCTION_AMP_DC},
    {"MEAS:CURRENT:AC?", FUNCTION_AMP_AC},
    {"MEAS:CAP?", FUNCTION_FARAD},
    {"MEAS:CAPacitance?", FUNCTION_FARAD},
    {"MEAS:FREQ?", FUNCTION_HERTZ},
    {"MEAS:DIOD?", FUNCTION_DIODE},
    {"MEAS:DIODE?", FUNCTION_DIODE},
    {"MEAS:CONT?", FUNCTION_OHM},
    {"MEAS:TEMP? TC,K", FUNCTION_CELSIUS},
    {"MEAS:PER?", FUNCTION_NUMBER},
    {"MEAS:VOLT:DC:RAT?", FUNCTION_NUMBER},
    {"FETC:VOLT?", FUNCTION_VOLT_DC},
    {"READ:RES?", FUNCTION_OHM},
    {"CONF:RES 1000;:SENS:RES:NPLC 10", FUNCTION_OHM},
    {"*RST;*CLS;CONF:CURR:AC MIN,MAX", FUNCTION_AMP_AC},
    {"CONF:VOLT;CONF:RES", FUNCTION_OHM},
    {"FUNC 'VOLT:AC'", FUNCTION_VOLT_AC},
    {"FUNCtion \"FRESistance\"", FUNCTION_OHM},
    {":SENSe1:FUNCtion:ON \"CURRent:DC\"", FUNCTION_AMP_DC},
    {"SENS:FUNC \"XNON:CAP\"", FUNCTION_FARAD},
    {"SENS:FUNC \"VOLT:DC 1\"", FUNCTION_VOLT_DC},
    {"SENS:FUNC RES", FUNCTION_OHM},
    {"  conf:res  ", FUNCTION_OHM},
    {"READ?", FUNCTION_NONE},
    {"FETC?", FUNCTION_NONE},
    {"FETCh?", FUNCTION_NONE},
    {"MEAS?", FUNCTION_NONE},
    {"CONF?", FUNCTION_NONE},
    {"FUNC?", FUNCTION_NONE},
    {"SENS:FUNC?", FUNCTION_NONE},
    {"*IDN?", FUNCTION_NONE},
    {"", FUNCTION_NONE},
    {":", FUNCTION_NONE},
    {";", FUNCTION_NONE},
    {"SENS:RES:RANG 1000", FUNCTION_NONE}, /* a range, and not the function */
    {"VOLT:RANG 10", FUNCTION_NONE},
    {"MEAS:RESI?", FUNCTION_NONE}, /* neither short nor long */
    {"MEAS:RE?", FUNCTION_NONE},
    {"MEASU:RES?", FUNCTION_NONE},
    {"MEAS:VOLT:XX?", FUNCTION_NONE},
    {"MEAS:POW?", FUNCTION_NONE},
    {"SENS:FUNC \"RES", FUNCTION_NONE},
    {"SENS:FUNC \"\"", FUNCTION_NONE},
    {"SENS:FUNC", FUNCTION_NONE},
    {"DISP:TEXT \"CONF:RES;MEAS:RES?\"", FUNCTION_NONE}, /* in a string */
    {"DISP:TEXT \";CONF:RES", FUNCTION_NONE},
};

static void test_scpi_function(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof commands / sizeof *commands; i++) {
		size_t len = strlen(commands[i].command);
		char *exact = malloc(len ? len : 1);
		memcpy(exact, commands[i].command, len);
		enum function f = scpi_function(exact, len);
		if (f != commands[i].function)
			note_row("%s: %s", commands[i].command, function_name(f));
		assert_int_equal(f, commands[i].function);
		/* Every beginning and every end of it harms nobody. */
		for (size_t cut = 0; cut <= len; cut++) {
			(void)scpi_function(exact, cut);
			(void)scpi_function(exact + cut, len - cut);
		}
		free(exact);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_short_forms),
	    cmocka_unit_test(test_scpi_function),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

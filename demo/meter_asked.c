/* SPDX-License-Identifier: MIT */
/* A bench meter that is asked: its commands and answers in SCPI.  See meter.h. */
#include "meter.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#define CONVERSION 0.08 /* seconds that it takes */

/* A command word in its short or long form: "CONF" of "CONFigure". */
static bool word_is(const char *word, size_t len, const char *form)
{
	size_t brief = 0, whole = strlen(form);
	while (isupper((unsigned char)form[brief]))
		brief++;
	return (len == brief || len == whole) && strncasecmp(word, form, len) == 0;
}

/* Do the words of `command` (with : between) fit the forms (with : between)? */
static bool command_is(const char *command, const char *forms)
{
	size_t len = strcspn(command, " ?");
	if (*command == ':') {
		command++;
		len--;
	}
	for (;;) {
		size_t word = strcspn(command, ": ?"), form = strcspn(forms, ":");
		char one[32];
		snprintf(one, sizeof one, "%.*s", (int)form, forms);
		if (!word_is(command, word, one))
			return false;
		len -= word;
		command += word;
		forms += form;
		if (len == 0 || !*forms)
			return len == 0 && !*forms;
		command++;
		forms++;
		len--;
	}
}

static void error_add(struct meter *m, int number, const char *text)
{
	if (m->error_count < 8)
		snprintf(m->errors[m->error_count++], sizeof m->errors[0], "%d,\"%s\"\r\n", number, text);
}

/* NR3 with just the digits of the range: +1.0234E+05. */
void meter_answer(struct meter *m, double t)
{
	struct display d = meter_display(m, t);
	char line[64];
	if (d.overload) {
		meter_say(m, "+9.90000000E+37\r\n");
		return;
	}
	double size = fabs(d.value) > 0 ? fabs(d.value) : pow(10, d.digit);
	int decimals = (int)floor(log10(size) + 1e-9) - d.digit;
	snprintf(line, sizeof line, "%+.*E\r\n", decimals > 0 ? decimals : 0, d.value);
	meter_say(m, line);
}

void meter_obey(struct meter *m, const char *command, double t)
{
	static const struct {
		const char *forms;
		enum function dial;
	} set[] = {
		{ "CONFigure:RESistance", OHM },
		{ "CONFigure:CAPacitance", FARAD },
		{ "CONFigure:VOLTage:DC", VOLT },
		{ "MEASure:RESistance", OHM },
		{ "MEASure:CAPacitance", FARAD },
		{ "MEASure:VOLTage:DC", VOLT },
	};
	bool asks = strchr(command, '?') != NULL;
	if (strcasecmp(command, "*IDN?") == 0) {
		meter_say(m, "QUILLMARSH,TABLE NINE,000417,1.07\r\n");
	} else if (strcasecmp(command, "*CLS") == 0) {
		m->error_count = 0;
	} else if (strcasecmp(command, "*RST") == 0) {
		m->dial = VOLT;
	} else if (strcasecmp(command, "*OPC?") == 0) {
		meter_say(m, "1\r\n");
	} else if (asks && (command_is(command, "SYSTem:ERRor") ||
	                    command_is(command, "SYSTem:ERRor:NEXT"))) {
		meter_say(m, m->error_count ? m->errors[0] : "0,\"No error\"\r\n");
		if (m->error_count)
			memmove(m->errors, m->errors + 1, sizeof m->errors[0] * (size_t)--m->error_count);
	} else if (asks && (command_is(command, "READ") || command_is(command, "FETCh"))) {
		m->answer_at = t + CONVERSION;
	} else {
		for (size_t i = 0; i < sizeof set / sizeof set[0]; i++)
			if (command_is(command, set[i].forms) && asks == (set[i].forms[0] == 'M')) {
				m->dial = set[i].dial;
				if (asks)
					m->answer_at = t + CONVERSION;
				return;
			}
		/* no reply to what it does not know, as the standard has it */
		error_add(m, -113, "Undefined header");
	}
}

/* SPDX-License-Identifier: MIT */
/*
 * Which function a SCPI command sets up or asks for.
 *
 *     command  = unit { ; unit }
 *     unit     = [:] node { : node } [?] [parameters]
 *
 * A node is a mnemonic in short or long form, with an optional number behind it
 * (SENS1).  Optional nodes ([:SCALar], [:DC], [SENSe:]) may stand or not.
 *
 * Sources: SCPI-99 volume 2, chapters 3 (CONFigure, FETCh, READ, MEASure) and 18
 * (SENSe:FUNCtion, its names of functions); the short forms, volume 1, 6.2.1.
 */
#include <string.h>

#include "protocol/meter/scpi.h"

#include "protocol/trade/ascii.h"

struct rest {
	const char *at, *end;
};

bool scpi_mnemonic(const char *mnemonic, const char *word, size_t len)
{
	size_t whole = strlen(mnemonic), brief = 0;
	while (brief < whole && !(mnemonic[brief] >= 'a' && mnemonic[brief] <= 'z'))
		brief++;
	if (len == 0 || (len != whole && len != brief))
		return false;
	for (size_t i = 0; i < len; i++)
		if (ascii_upper(word[i]) != ascii_upper(mnemonic[i]))
			return false;
	return true;
}

static void skip_spaces(struct rest *r)
{
	while (r->at < r->end && ascii_blank(*r->at))
		r->at++;
}

/* Take the node that stands here, if it is this one; a `:` before it goes too. */
static bool take_node(struct rest *r, const char *mnemonic)
{
	const char *p = r->at;
	if (p < r->end && *p == ':')
		p++;
	const char *first = p;
	while (p < r->end && ascii_letter(*p))
		p++;
	if (!scpi_mnemonic(mnemonic, first, (size_t)(p - first)))
		return false;
	while (p < r->end && ascii_digit(*p))
		p++;
	if (p < r->end && *p != ':' && *p != '?' && !ascii_blank(*p))
		return false;
	r->at = p;
	return true;
}

/* No more nodes: the header ends here, with or without a question mark. */
static bool header_ends(struct rest *r)
{
	if (r->at < r->end && *r->at == '?')
		r->at++;
	return r->at == r->end || ascii_blank(*r->at);
}

/* VOLT[:DC], VOLT:AC and the same of CURR. */
static enum function electric(struct rest r, enum function dc, enum function ac)
{
	if (take_node(&r, "AC"))
		return header_ends(&r) ? ac : FUNCTION_NONE;
	(void)take_node(&r, "DC");
	if (take_node(&r, "RATio"))
		return header_ends(&r) ? FUNCTION_NUMBER : FUNCTION_NONE;
	return header_ends(&r) ? dc : FUNCTION_NONE;
}

/* The path that names a function: `VOLT:AC`, `FRES`. */
static enum function function_path(struct rest r)
{
	static const struct {
		const char *mnemonic;
		enum function function;
	} names[] = {
	    {"RESistance", FUNCTION_OHM},       {"FRESistance", FUNCTION_OHM},
	    {"CONTinuity", FUNCTION_OHM},       {"CAPacitance", FUNCTION_FARAD},
	    {"INDuctance", FUNCTION_HENRY},     {"FREQuency", FUNCTION_HERTZ},
	    {"PERiod", FUNCTION_NUMBER},        {"DIODe", FUNCTION_DIODE},
	    {"TEMPerature", FUNCTION_CELSIUS},  {"DCYCle", FUNCTION_PERCENT},
	};
	if (take_node(&r, "VOLTage"))
		return electric(r, FUNCTION_VOLT_DC, FUNCTION_VOLT_AC);
	if (take_node(&r, "CURRent"))
		return electric(r, FUNCTION_AMP_DC, FUNCTION_AMP_AC);
	for (size_t i = 0; i < sizeof names / sizeof *names; i++)
		if (take_node(&r, names[i].mnemonic))
			return header_ends(&r) ? names[i].function : FUNCTION_NONE;
	return FUNCTION_NONE;
}

/* The parameter of SENS:FUNC: a string, or the bare word that some meters take.
 * In the string the name may have XNON: before it and its input after it. */
static enum function function_parameter(struct rest r)
{
	skip_spaces(&r);
	if (r.at < r.end && (*r.at == '"' || *r.at == '\'')) {
		const char *close = memchr(r.at + 1, *r.at, (size_t)(r.end - r.at) - 1);
		if (!close)
			return FUNCTION_NONE;
		r = (struct rest){r.at + 1, close};
		skip_spaces(&r);
	}
	(void)take_node(&r, "XNONe");
	(void)take_node(&r, "SENSe");
	return function_path(r);
}

static enum function one_command(struct rest r)
{
	static const char *const verbs[] = {"CONFigure", "MEASure", "READ", "FETCh"};
	skip_spaces(&r);
	for (size_t i = 0; i < sizeof verbs / sizeof *verbs; i++) {
		if (!take_node(&r, verbs[i]))
			continue;
		if (!take_node(&r, "SCALar"))
			(void)take_node(&r, "ARRay");
		return r.at < r.end && *r.at == ':' ? function_path(r) : FUNCTION_NONE;
	}
	(void)take_node(&r, "SENSe");
	if (!take_node(&r, "FUNCtion"))
		return FUNCTION_NONE; /* SENS:VOLT:RANG sets a range, and not the function */
	(void)take_node(&r, "ON");
	if (r.at == r.end || !ascii_blank(*r.at))
		return FUNCTION_NONE; /* FUNC? asks what it is */
	return function_parameter(r);
}

enum function scpi_function(const char *command, size_t len)
{
	const char *end = command + len, *first = command;
	enum function found = FUNCTION_NONE;
	char quote = '\0';
	for (const char *p = command; p <= end; p++) {
		if (p < end && quote) {
			if (*p == quote)
				quote = '\0';
			continue;
		}
		if (p < end && (*p == '"' || *p == '\'')) {
			quote = *p;
			continue;
		}
		if (p < end && *p != ';' && *p != '\n' && *p != '\r')
			continue;
		enum function f = one_command((struct rest){first, p});
		if (f != FUNCTION_NONE)
			found = f;
		first = p + 1;
	}
	return found;
}

/* What may stand behind the name: a range, a resolution, channels. */
static bool is_setting(struct rest r)
{
	static const char *const words[] = {"DEFault", "MINimum", "MAXimum", "AUTO"};
	struct scpi_value value;
	char why[120];
	skip_spaces(&r);
	while (r.end > r.at && ascii_blank(r.end[-1]))
		r.end--;
	size_t len = (size_t)(r.end - r.at);
	if (len > 3 && r.at[0] == '(' && r.at[1] == '@' && r.end[-1] == ')')
		return true;
	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		if (scpi_mnemonic(words[i], r.at, len))
			return true;
	return scpi_value_parse(r.at, len, &value, why, sizeof why);
}

enum function scpi_function_answer(const char *text, size_t len)
{
	struct rest r = {text, text + len};
	skip_spaces(&r);
	while (r.end > r.at && ascii_blank(r.end[-1]))
		r.end--;
	if (r.end - r.at >= 2 && (*r.at == '"' || *r.at == '\'') && r.end[-1] == *r.at) {
		r = (struct rest){r.at + 1, r.end - 1};
		skip_spaces(&r);
	}
	struct rest name = {r.at, r.at};
	while (name.end < r.end && !ascii_blank(*name.end))
		name.end++;
	struct rest path = name;
	(void)take_node(&path, "XNONe");
	(void)take_node(&path, "SENSe");
	enum function f = memchr(name.at, '?', (size_t)(name.end - name.at)) ? FUNCTION_NONE
	                                                                    : function_path(path);
	for (const char *p = name.end; p < r.end && f != FUNCTION_NONE;) {
		const char *comma = memchr(p, ',', (size_t)(r.end - p));
		const char *stop = comma && *p != '(' ? comma : r.end;
		if (!is_setting((struct rest){p, stop}))
			return FUNCTION_NONE;
		p = stop < r.end ? stop + 1 : r.end;
	}
	return f;
}

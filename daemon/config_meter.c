/* SPDX-License-Identifier: MIT */
/* See config_meter.h; what the keys mean stands in config.h. */
#include "daemon/config_meter.h"
#include "daemon/config_value.h"

#include <stdio.h>
#include <string.h>

#define SECOND INT64_C(1000000)

static const char *const yes_no[] = { "yes", "no", NULL };

/* ---- one function a key ---- */

static bool take_port(struct meter_draft *d, const char *value, struct fault *why)
{
	struct config_meter *m = d->meter;
	if (!place_parse(value, strlen(value), &m->place, why))
		return false;
	m->has_place = true;
	snprintf(m->port, sizeof m->port, "%s", value);
	return true;
}

static bool take_dialect(struct meter_draft *d, const char *value, struct fault *why)
{
	d->meter->dialect = dialects_find(d->dialects, value);
	if (d->meter->dialect)
		return true;
	char list[240];
	dialects_names(d->dialects, list, sizeof list);
	fault_set(why, "`%.40s` is no dialect: expected one of %s", value, list);
	return false;
}

static bool take_serial(struct meter_draft *d, const char *value, struct fault *why)
{
	return line_settings_parse(value, strlen(value), &d->serial, why);
}

static bool take_flow(struct meter_draft *d, const char *value, struct fault *why)
{
	static const char *const words[] = { "none", "hardware", "software", NULL };
	static const enum flow flows[] = { FLOW_NONE, FLOW_HARDWARE, FLOW_SOFTWARE };
	int i;
	if (!value_word(value, words, &i, why))
		return false;
	d->serial.flow = flows[i];
	return true;
}

static bool take_wire(const char *value, enum wire_state *out, struct fault *why)
{
	static const char *const words[] = { "on", "off", "leave", NULL };
	static const enum wire_state states[] = { WIRE_ON, WIRE_OFF, WIRE_LEAVE };
	int i;
	if (!value_word(value, words, &i, why))
		return false;
	*out = states[i];
	return true;
}

static bool take_dtr(struct meter_draft *d, const char *value, struct fault *why)
{
	return take_wire(value, &d->serial.dtr, why);
}

static bool take_rts(struct meter_draft *d, const char *value, struct fault *why)
{
	return take_wire(value, &d->serial.rts, why);
}

static bool take_quiet(struct meter_draft *d, const char *value, struct fault *why)
{
	return value_whole(value, 0, 60000, &d->serial.quiet_ms, why);
}

static bool function_of(const char *word, size_t len, enum function *out, struct fault *why)
{
	if (function_from_name(word, len, out) && *out != FUNCTION_NONE)
		return true;
	char list[160] = "";
	for (int f = FUNCTION_NONE + 1; f < FUNCTION_COUNT; f++) {
		size_t end = strlen(list);
		snprintf(list + end, sizeof list - end, " %s", function_name((enum function)f));
	}
	fault_set(why, "`%.*s` is no function: expected one of%s", (int)(len < 40 ? len : 40), word,
	          list);
	return false;
}

static bool take_function(struct meter_draft *d, const char *value, struct fault *why)
{
	return function_of(value, strlen(value), &d->meter->function, why);
}

/* What is sent: printable ASCII, for everything else is a mistake of the keyboard. */
static bool command(const char *text, size_t len, char out[CONFIG_COMMAND_SIZE], int column,
                    struct fault *why)
{
	if (len == 0 || len >= CONFIG_COMMAND_SIZE) {
		fault_at(why, NULL, 0, column, "expected a command of 1 to %d bytes",
		         CONFIG_COMMAND_SIZE - 1);
		return false;
	}
	for (size_t i = 0; i < len; i++)
		if (text[i] < 0x20 || text[i] > 0x7e) {
			fault_at(why, NULL, 0, column + (int)i, "a command is printable ASCII");
			return false;
		}
	if (text[0] == '|' || text[len - 1] == '|') {
		fault_at(why, NULL, 0, column, "` | ` stands between two commands, with its spaces");
		return false;
	}
	memcpy(out, text, len);
	out[len] = '\0';
	return true;
}

static bool take_query(struct meter_draft *d, const char *value, struct fault *why)
{
	return command(value, strlen(value), d->meter->query, 1, why);
}

/* Commands with ` | ` between them. */
static bool take_setup(struct meter_draft *d, const char *value, struct fault *why)
{
	struct config_meter *m = d->meter;
	const char *from = value;
	for (;;) {
		const char *bar = strstr(from, " | ");
		size_t len = bar ? (size_t)(bar - from) : strlen(from);
		if (m->setups == CONFIG_SETUP_MAX) {
			fault_at(why, NULL, 0, (int)(from - value) + 1, "more than %d commands in a set-up",
			         CONFIG_SETUP_MAX);
			return false;
		}
		if (!command(from, len, m->setup[m->setups], (int)(from - value) + 1, why))
			return false;
		m->setups++;
		if (!bar)
			return true;
		from = bar + 3;
	}
}

static bool take_pace(struct meter_draft *d, const char *value, struct fault *why)
{
	/* 5/s: five a second */
	size_t len = strlen(value);
	if (len > 2 && strcmp(value + len - 2, "/s") == 0) {
		struct decimal rate;
		if (!decimal_parse(value, len - 2, &rate) || decimal_double(rate) < 1.0 / 60 ||
		    decimal_double(rate) > 10000) {
			fault_set(why, "`%.60s`: expected up to 10000/s, or seconds between two queries",
			          value);
			return false;
		}
		d->meter->pace_us = (int64_t)(1e6 / decimal_double(rate) + 0.5);
		return true;
	}
	return value_seconds(value, 0, 60 * SECOND, &d->meter->pace_us, why);
}

static bool take_timeout(struct meter_draft *d, const char *value, struct fault *why)
{
	return value_seconds(value, SECOND / 20, 60 * SECOND, &d->meter->timeout_us, why);
}

static bool take_identify(struct meter_draft *d, const char *value, struct fault *why)
{
	int i;
	if (!value_word(value, yes_no, &i, why))
		return false;
	d->identify = i == 0;
	return true;
}

static bool take_conversion(struct meter_draft *d, const char *value, struct fault *why)
{
	return value_whole(value, 1, 100, &d->meter->conversion, why);
}

static bool take_second(struct meter_draft *d, const char *value, struct fault *why)
{
	if (second_from_word(value, strlen(value), &d->meter->second) && d->meter->second != SECOND_NONE)
		return true;
	fault_set(why, "`%.40s` is no second value: expected dissipation, esr, q or hertz", value);
	return false;
}

static bool take_class(struct meter_draft *d, const char *value, struct fault *why)
{
	char list[160] = "";
	if (meter_class_from_word(value, strlen(value), &d->meter->kind))
		return true;
	for (int c = METER_CLASS_UNKNOWN + 1; c < METER_CLASS_COUNT; c++) {
		size_t len = strlen(list);
		snprintf(list + len, sizeof list - len, "%s%s", len ? ", " : "",
		         meter_class_word((enum meter_class)c));
	}
	fault_set(why, "`%.40s` is no class of meters: expected %s", value, list);
	return false;
}

static bool take_isolated(struct meter_draft *d, const char *value, struct fault *why)
{
	int i;
	if (!value_word(value, yes_no, &i, why))
		return false;
	d->meter->use.isolated = i == 0 ? ANSWER_YES : ANSWER_NO;
	return true;
}

static bool take_ac(struct meter_draft *d, const char *value, struct fault *why)
{
	static const char *const words[] = { "rms", "average", NULL };
	int i;
	if (!value_word(value, words, &i, why))
		return false;
	d->meter->use.ac = i == 0 ? AC_RMS : AC_AVERAGE;
	return true;
}

static bool take_bandwidth(struct meter_draft *d, const char *value, struct fault *why)
{
	struct decimal hertz;
	if (!value_quantity(value, FUNCTION_HERTZ, 10, 1e9, &hertz, why))
		return false;
	d->meter->use.bandwidth = decimal_double(hertz);
	return true;
}

static bool take_crest(struct meter_draft *d, const char *value, struct fault *why)
{
	struct decimal crest;
	if (!value_quantity(value, FUNCTION_NUMBER, 1, 100, &crest, why))
		return false;
	d->meter->use.crest = decimal_double(crest);
	return true;
}

static bool take_rated(struct meter_draft *d, const char *value, struct fault *why)
{
	struct decimal volts;
	if (!value_quantity(value, FUNCTION_VOLT_DC, 1, 100000, &volts, why))
		return false;
	d->meter->rated = decimal_double(volts);
	return true;
}

/* ---- keys that name a function ---- */

static bool take_digit(struct meter_draft *d, enum function f, const char *value,
                       struct fault *why)
{
	struct config_meter *m = d->meter;
	/* Without a function, and for those without a unit, it is a bare number. */
	enum function unit = f == FUNCTION_NONE ? FUNCTION_NUMBER : f;
	if (!value_quantity(value, unit, 1e-15, 1e9, &m->digit[f], why))
		return false;
	m->has_digit[f] = true;
	return true;
}

static bool take_input(struct meter_draft *d, enum function f, const char *value,
                       struct fault *why)
{
	struct decimal ohms;
	if (!value_quantity(value, FUNCTION_OHM, 1e-3, 1e15, &ohms, why))
		return false;
	d->meter->use.input[f] = decimal_double(ohms);
	return true;
}

static bool take_test(struct meter_draft *d, enum function f, const char *value,
                      struct fault *why)
{
	return value_text(value, "how the meter measures", d->meter->use.test[f], CONFIG_TEST_SIZE,
	                  why);
}

/* One bound: a value of the function, or a frequency, which says its Hz. */
static bool accuracy_bound(struct accuracy_line *line, struct decimal *frequency,
                           const char *bound, struct fault *why)
{
	size_t n = strlen(bound);
	bool hertz = line->function != FUNCTION_HERTZ && n > 2 && strcmp(bound + n - 2, "Hz") == 0;
	if (hertz && !frequency->n)
		return value_quantity(bound, FUNCTION_HERTZ, 1e-3, 1e12, frequency, why);
	if (!hertz && !line->has_below)
		return line->has_below =
		           value_quantity(bound, line->function, 1e-15, 1e15, &line->below, why);
	fault_set(why, "a second bound of the same sort");
	return false;
}

/* [below VALUE] [below FREQUENCY] */
static bool accuracy_bounds(struct meter_draft *d, struct accuracy_line *line,
                            struct decimal *frequency, const char *rest, int at,
                            const struct ini_item *item, struct fault *why)
{
	char bound[64];
	while (*rest) {
		if (strncmp(rest, "below ", 6) != 0) {
			fault_at(why, d->file, item->line, at,
			         "expected `accuracy %s` or `accuracy %s below VALUE`",
			         function_name(line->function), function_name(line->function));
			return false;
		}
		const char *next = strstr(rest + 6, " below ");
		size_t n = next ? (size_t)(next - rest - 6) : strlen(rest + 6);
		n = n < sizeof bound ? n : sizeof bound - 1;
		snprintf(bound, sizeof bound, "%.*s", (int)n, rest + 6);
		if (!accuracy_bound(line, frequency, bound, why)) {
			at += 6 + (why->column ? why->column - 1 : 0);
			fault_at(why, d->file, item->line, at, "%s", why->text);
			return false;
		}
		if (!next)
			break;
		at += (int)(next + 1 - rest);
		rest = next + 1;
	}
	return true;
}

/* accuracy FUNCTION [below VALUE]; `rest` is what follows the function, at column
 * `at` of the line. */
static bool take_accuracy(struct meter_draft *d, enum function f, const char *rest, int at,
                          const struct ini_item *item, struct fault *why)
{
	struct accuracy *a = &d->meter->accuracy;
	struct accuracy_line line = { .function = f };
	struct decimal frequency = { 0, 0 };
	if (!accuracy_bounds(d, &line, &frequency, rest, at, item, why))
		return false;
	for (int i = 0; i < a->count; i++)
		if (a->line[i].function == f && a->line[i].has_below == line.has_below &&
		    (!line.has_below || decimal_compare(a->line[i].below, line.below) == 0) &&
		    decimal_compare(a->hertz[i], frequency) == 0) {
			fault_at(why, d->file, item->line, item->key_column,
			         "this accuracy was given already, written another way");
			return false;
		}
	if (a->count == ACCURACY_LINES_MAX) {
		fault_at(why, d->file, item->line, item->key_column, "more than %d accuracies",
		         ACCURACY_LINES_MAX);
		return false;
	}
	if (!accuracy_parse(item->value, strlen(item->value), &line.percent, &line.counts, why))
		return false;
	a->hertz[a->count] = frequency;
	a->line[a->count++] = line;
	return true;
}

/* ---- the table ---- */

static const struct {
	const char *name;
	enum meter_key key;
	bool (*take)(struct meter_draft *d, const char *value, struct fault *why);
	bool asked; /* goes only with a dialect that asks */
} plain_key[] = {
	{ "port", KEY_PORT, take_port, false },
	{ "dialect", KEY_DIALECT, take_dialect, false },
	{ "serial", KEY_SERIAL, take_serial, false },
	{ "flow", KEY_FLOW, take_flow, false },
	{ "dtr", KEY_DTR, take_dtr, false },
	{ "rts", KEY_RTS, take_rts, false },
	{ "quiet", KEY_QUIET, take_quiet, false },
	{ "function", KEY_FUNCTION, take_function, false },
	{ "conversion", KEY_CONVERSION, take_conversion, false },
	{ "second", KEY_SECOND, take_second, false },
	{ "class", KEY_CLASS, take_class, false },
	{ "isolated", KEY_ISOLATED, take_isolated, false },
	{ "ac", KEY_AC, take_ac, false },
	{ "bandwidth", KEY_BANDWIDTH, take_bandwidth, false },
	{ "crest", KEY_CREST, take_crest, false },
	{ "rated", KEY_RATED, take_rated, false },
	{ "query", KEY_QUERY, take_query, true },
	{ "setup", KEY_SETUP, take_setup, true },
	{ "pace", KEY_PACE, take_pace, true },
	{ "timeout", KEY_TIMEOUT, take_timeout, true },
	{ "identify", KEY_IDENTIFY, take_identify, true },
};
#define PLAIN_KEYS (sizeof plain_key / sizeof plain_key[0])

static const struct {
	const char *name;
	enum meter_key key;
	bool (*take)(struct meter_draft *d, enum function f, const char *value, struct fault *why);
	bool alone; /* may stand without a function */
} function_key[] = {
	{ "digit", KEY_DIGIT, take_digit, true },
	{ "accuracy", KEY_ACCURACY, NULL, false },
	{ "input", KEY_INPUT, take_input, false },
	{ "test", KEY_TEST, take_test, false },
};
#define FUNCTION_KEYS (sizeof function_key / sizeof function_key[0])

static void remember(struct meter_draft *d, enum meter_key key, const struct ini_item *item)
{
	if (!d->given[key].line)
		d->given[key] = (struct key_place){ item->line, item->key_column, item->value_column };
}

static bool unknown_key(struct meter_draft *d, const struct ini_item *item, struct fault *why)
{
	char list[240] = "";
	for (size_t i = 0; i < PLAIN_KEYS; i++) {
		size_t len = strlen(list);
		snprintf(list + len, sizeof list - len, "%s, ", plain_key[i].name);
	}
	fault_at(why, d->file, item->line, item->key_column,
	         "unknown key `%.40s` of a meter: expected %sdigit, accuracy, input or test", item->key,
	         list);
	return false;
}

static bool take_function_key(struct meter_draft *d, size_t k, const struct ini_item *item,
                              struct fault *why)
{
	size_t head = strlen(function_key[k].name);
	const char *word = item->key + head;
	enum function f = FUNCTION_NONE;
	if (*word == ' ') {
		int column = item->key_column + (int)head + 1;
		size_t len = strcspn(++word, " ");
		if (!function_of(word, len, &f, why)) {
			fault_at(why, d->file, item->line, column, "%s", why->text);
			return false;
		}
		word += len;
		const char *rest = *word == ' ' ? word + 1 : word;
		column += (int)(rest - word) + (int)len;
		if (function_key[k].key == KEY_ACCURACY)
			return take_accuracy(d, f, rest, column, item, why);
		if (*rest) {
			fault_at(why, d->file, item->line, column, "expected `%s %s` and no more",
			         function_key[k].name, function_name(f));
			return false;
		}
	} else if (!function_key[k].alone) {
		fault_at(why, d->file, item->line, item->key_column,
		         "expected a function after `%s`, as in `%s ohm`", function_key[k].name,
		         function_key[k].name);
		return false;
	}
	return function_key[k].take(d, f, item->value, why);
}

bool meter_take(struct meter_draft *d, const struct ini_item *item, struct fault *why)
{
	for (size_t i = 0; i < PLAIN_KEYS; i++)
		if (strcmp(plain_key[i].name, item->key) == 0) {
			remember(d, plain_key[i].key, item);
			return plain_key[i].take(d, item->value, why);
		}
	size_t head = strcspn(item->key, " ");
	for (size_t i = 0; i < FUNCTION_KEYS; i++)
		if (strlen(function_key[i].name) == head &&
		    strncmp(function_key[i].name, item->key, head) == 0) {
			remember(d, function_key[i].key, item);
			return take_function_key(d, i, item, why);
		}
	return unknown_key(d, item, why);
}

bool config_meter_begin(struct meter_draft *d, struct config_meter *meter, const char *file,
                 const char *name, const struct ini_item *item, struct fault *why)
{
	memset(d, 0, sizeof *d);
	memset(meter, 0, sizeof *meter);
	d->meter = meter;
	d->file = file;
	d->line = item->line;
	d->column = item->key_column;
	d->identify = true;
	meter->line = item->line;
	meter->conversion = 1;
	meter->timeout_us = 2 * SECOND;
	if (!name_valid(name, strlen(name))) {
		fault_at(why, file, item->line, item->key_column + (int)strlen("meter "),
		         "`%.40s` is no name for a meter: expected up to 32 letters, digits and . _ / -, "
		         "a letter or digit first",
		         name);
		return false;
	}
	snprintf(meter->name, sizeof meter->name, "%s", name);
	return true;
}

const char *meter_asking_key(const struct meter_draft *d, const struct key_place **at)
{
	for (size_t i = 0; i < PLAIN_KEYS; i++) {
		*at = &d->given[plain_key[i].key];
		if (plain_key[i].asked && (*at)->line && (plain_key[i].key != KEY_IDENTIFY || d->identify))
			return plain_key[i].name;
	}
	return NULL;
}

/* SPDX-License-Identifier: MIT */
/*
 * One section [meter NAME] while it is read.  Keys come in any order, so what one
 * key means beside another (a dialect that is not asked, and a query) is judged when
 * the section is whole; until then the place of every key is remembered.
 */
#ifndef TALLY_CONFIG_METER_H
#define TALLY_CONFIG_METER_H

#include "daemon/config.h"
#include "protocol/file/ini.h"

/* Keys whose place is wanted again at the end of the section. */
enum meter_key {
	KEY_PORT, KEY_DIALECT, KEY_SERIAL, KEY_FLOW, KEY_DTR, KEY_RTS, KEY_QUIET,
	KEY_FUNCTION, KEY_QUERY, KEY_SETUP, KEY_DIGIT, KEY_PACE, KEY_TIMEOUT, KEY_IDENTIFY,
	KEY_CONVERSION, KEY_SECOND, KEY_CLASS, KEY_ISOLATED, KEY_AC, KEY_BANDWIDTH,
	KEY_CREST, KEY_RATED, KEY_ACCURACY, KEY_INPUT, KEY_TEST,
	KEY_COUNT
};

struct key_place {
	int line, column, value_column; /* line 0: not given */
};

struct meter_draft {
	struct config_meter *meter;
	const struct dialects *dialects; /* from files */
	const char *file;
	int line, column; /* of the section */
	struct key_place given[KEY_COUNT];
	struct line_settings serial; /* as far as the file says */
	bool identify;
};

/* Begin with the section's item: takes the name. `meter` is cleared. */
bool config_meter_begin(struct meter_draft *d, struct config_meter *meter, const char *file,
                        const char *name, const struct ini_item *item, struct fault *why);
/* Take one key. */
bool meter_take(struct meter_draft *d, const struct ini_item *item, struct fault *why);
/* The first key that was given and goes only with a dialect that asks, with its place; NULL: none. */
const char *meter_asking_key(const struct meter_draft *d, const struct key_place **at);

/* ---- config_meter_whole.c ---- */

/* The section is whole: fill in what the dialect says, refuse what does not go
 * together. */
bool meter_finish(struct meter_draft *d, bool replay, struct fault *why);

#endif

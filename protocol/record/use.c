/* SPDX-License-Identifier: MIT */
/* A meter's limits of use in records: see record.h and protocol/SEAL.md. */
#include "protocol/record/kinds.h"

#include <string.h>

static const char *const ac_words[] = {[AC_RMS] = "rms", [AC_AVERAGE] = "average"};

/* A member of an object, whose first has no comma before it. */
static void member(struct text *out, const char *key, bool *first)
{
	text_puts(out, *first ? "\"" : ",\"");
	text_puts(out, key);
	text_puts(out, "\":");
	*first = false;
}

static void inputs(struct text *out, const struct limits_of_use *use, bool *first)
{
	bool begin = true;
	for (int f = 0; f < FUNCTION_COUNT; f++) {
		if (!(use->input[f] > 0))
			continue;
		if (begin) {
			member(out, "input", first);
			text_puts(out, "{");
		}
		member(out, function_name((enum function)f), &begin);
		text_real(out, use->input[f]);
	}
	text_puts(out, begin ? "" : "}");
}

static void tests(struct text *out, const struct limits_of_use *use, bool *first)
{
	bool begin = true;
	for (int f = 0; f < FUNCTION_COUNT; f++) {
		if (!use->test[f][0])
			continue;
		if (begin) {
			member(out, "test", first);
			text_puts(out, "{");
		}
		member(out, function_name((enum function)f), &begin);
		text_string(out, use->test[f], strlen(use->test[f]));
	}
	text_puts(out, begin ? "" : "}");
}

void use_write(struct text *out, const struct limits_of_use *use)
{
	bool first = true;
	if (!use || !use_known(use))
		return;
	text_member(out, "use");
	text_puts(out, "{");
	if (use->isolated != ANSWER_UNKNOWN) {
		member(out, "isolated", &first);
		text_puts(out, use->isolated == ANSWER_YES ? "true" : "false");
	}
	if (use->ac != AC_UNKNOWN) {
		member(out, "ac", &first);
		text_string(out, ac_words[use->ac], strlen(ac_words[use->ac]));
	}
	if (use->bandwidth > 0) {
		member(out, "bandwidth", &first);
		text_real(out, use->bandwidth);
	}
	if (use->crest > 0) {
		member(out, "crest", &first);
		text_real(out, use->crest);
	}
	inputs(out, use, &first);
	tests(out, use, &first);
	text_puts(out, "}");
}

bool use_read(const char *text, size_t len, struct limits_of_use *use)
{
	struct slice all = json_member(text, len, "use"), key, value;
	memset(use, 0, sizeof *use);
	if (json_absent(all))
		return false;
	struct slice isolated = json_member(all.at, all.len, "isolated");
	if (!json_absent(isolated))
		use->isolated = json_bool(isolated, false) ? ANSWER_YES : ANSWER_NO;
	struct slice ac = json_member(all.at, all.len, "ac");
	use->ac = json_is(ac, "rms") ? AC_RMS : json_is(ac, "average") ? AC_AVERAGE : AC_UNKNOWN;
	(void)json_number(json_member(all.at, all.len, "bandwidth"), &use->bandwidth);
	(void)json_number(json_member(all.at, all.len, "crest"), &use->crest);
	struct slice input = json_member(all.at, all.len, "input");
	enum function f;
	for (size_t cursor = 0; input.at && json_next_member(input, &cursor, &key, &value);)
		if (function_from_name(key.at, key.len, &f))
			(void)json_number(value, &use->input[f]);
	struct slice test = json_member(all.at, all.len, "test");
	for (size_t cursor = 0; test.at && json_next_member(test, &cursor, &key, &value);)
		if (function_from_name(key.at, key.len, &f))
			(void)json_text(value, use->test[f], sizeof use->test[f]);
	return true;
}

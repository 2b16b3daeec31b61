/* SPDX-License-Identifier: MIT */
/*
 * The sheet: loaded as a file, changed a position at a time, shown with what is
 * finished.  The daemon understands the file; this side only carries it there.
 */
#include "client/command_calls.h"

#include "protocol/record/wire.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

char *sheet_text_read(const char *name, size_t *len, struct fault *why)
{
	bool standard = strcmp(name, "-") == 0;
	FILE *f = standard ? stdin : fopen(name, "rb");
	char *text = f ? malloc(WIRE_LINE_MAX + 1) : NULL;
	if (!f || !text) {
		fault_at(why, name, 0, 0, "%s", f ? "out of memory" : strerror(errno));
		if (f && !standard)
			fclose(f);
		return NULL;
	}
	errno = 0;
	*len = fread(text, 1, WIRE_LINE_MAX + 1, f);
	bool failed = ferror(f) != 0, longer = *len > WIRE_LINE_MAX;
	int error = errno;
	if (!standard)
		fclose(f);
	if (failed)
		fault_at(why, name, 0, 0, "cannot be read: %s", strerror(error));
	else if (longer)
		fault_at(why, name, 0, 0, "is longer than %u bytes, which a sheet never is",
		         WIRE_LINE_MAX);
	if (!failed && !longer)
		return text;
	free(text);
	return NULL;
}

/* Is this text that JSON can carry: UTF-8 without NUL?  Else the place. */
static bool carriable(const char *name, const char *text, size_t len, struct fault *why)
{
	size_t where;
	if (words_utf8(text, len, &where))
		return true;
	int line = 1, column = 1;
	for (size_t i = 0; i < where; i++) {
		column = text[i] == '\n' ? 1 : column + 1;
		line += text[i] == '\n';
	}
	fault_at(why, name, line, column, "byte 0x%02X: a sheet is UTF-8 text",
	         (unsigned char)text[where]);
	return false;
}

enum outcome call_sheet_load(struct client *c)
{
	struct fault why;
	struct message m;
	size_t len;
	const char *word = client_word(c, 0);
	const char *name = strcmp(word, "-") == 0 ? "(standard input)" : word;
	char *text = sheet_text_read(word, &len, &why);
	if (!text)
		return client_fault(c, OUTCOME_WRONG, &why);
	if (!carriable(name, text, len, &why)) {
		free(text);
		return client_fault(c, OUTCOME_WRONG, &why);
	}
	json_t *params = client_params("name", name, "job", client_option(c, OPTION_JOB), NULL);
	json_object_set_new(params, "text", json_stringn(text, len));
	free(text);
	enum outcome outcome = client_ask(c, "sheet.load", params, &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		client_json(c, m.result);
	} else if (outcome == OUTCOME_DONE) {
		int64_t seq = 0, positions = 0;
		json_int(json_member(m.result.at, m.result.len, "seq"), &seq);
		json_int(json_member(m.result.at, m.result.len, "positions"), &positions);
		fprintf(c->out, "loaded %s: %lld position%s, record %lld\n", name, (long long)positions,
		        positions == 1 ? "" : "s", (long long)seq);
	}
	message_free(&m);
	return outcome;
}

json_t *sheet_fields_read(struct client *c, int first)
{
	json_t *fields = json_object();
	for (int i = first; i < c->args.count; i++) {
		const char *word = client_word(c, i), *equals = strchr(word, '=');
		if (!equals || equals == word) {
			json_decref(fields);
			client_wrong(c, "\"%s\" is no key=value, such as nominal=470k", word);
			return NULL;
		}
		json_t *value = json_string(equals + 1);
		char *key = strndup(word, (size_t)(equals - word));
		bool twice = key && json_object_get(fields, key);
		/* json_object_set_new takes the value over, whatever becomes of it. */
		bool good = key && value && !twice && json_object_set_new(fields, key, value) == 0;
		if (twice)
			json_decref(value);
		free(key);
		if (!good) {
			json_decref(fields);
			client_wrong(c, twice ? "\"%s\": the key is given twice" : "\"%s\" is not UTF-8", word);
			return NULL;
		}
	}
	return fields;
}

enum outcome call_sheet_set(struct client *c)
{
	char done[80];
	json_t *fields = sheet_fields_read(c, 1);
	if (!fields)
		return OUTCOME_WRONG;
	json_t *params = client_params("position", client_word(c, 0), NULL);
	json_object_set_new(params, "fields", fields);
	snprintf(done, sizeof done, "set %s", client_word(c, 0));
	return client_change(c, "sheet.set", params, done);
}

static void each_row(struct client *c, struct slice row, struct slice result, void *arg)
{
	struct view_list *v = arg;
	if (!row.at)
		words_member(result, "job", v->job, sizeof v->job);
	else if (client_has(c, OPTION_JSON))
		client_json(c, row);
	else
		view_sheet_add(v, &c->style, row);
}

static enum outcome show_missing(struct client *c)
{
	struct message m;
	struct lines out = {0};
	enum outcome outcome = client_ask(c, "sheet.missing",
	                                  client_params("job", client_option(c, OPTION_JOB), NULL), &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		client_json(c, m.result);
	} else if (outcome == OUTCOME_DONE) {
		view_sheet_missing(&c->style, m.result, &out);
		client_lines(c, &out);
	}
	message_free(&m);
	return outcome;
}

enum outcome call_sheet_show(struct client *c)
{
	if (client_has(c, OPTION_MISSING))
		return show_missing(c);
	struct view_list v;
	struct lines out = {0};
	json_t *params = client_params("job", client_option(c, OPTION_JOB), NULL);
	view_sheet_begin(&v);
	enum outcome outcome = client_pages(c, "sheet.show", params, "rows", each_row, &v);
	if (outcome == OUTCOME_DONE && !client_has(c, OPTION_JSON)) {
		view_sheet_print(&v, &c->style, &out);
		client_lines(c, &out);
	}
	view_list_end(&v);
	return outcome;
}

/* SPDX-License-Identifier: MIT */
/*
 * What is fitted, what a position is called, and sheets without a schematic: the next new
 * position, twins by equal value.
 */
#include "client/command_calls.h"

#include <stdlib.h>
#include <string.h>

enum outcome call_sheet_fit(struct client *c)
{
	char done[120];
	const char *position = client_word(c, 0);
	bool none = c->args.count == 2 && strcmp(client_word(c, 1), "none") == 0;
	json_t *params = client_params("position", position, NULL), *fields = NULL;
	if (none) {
		json_object_set_new(params, "none", json_true());
	} else if ((fields = sheet_fields_read(c, 1)) != NULL) {
		json_object_set_new(params, "fields", fields);
	} else {
		json_decref(params);
		return OUTCOME_WRONG;
	}
	snprintf(done, sizeof done, none ? "the fit of %.60s is taken back" : "fitted at %.60s",
	         position);
	return client_change(c, "sheet.fit", params, done);
}

enum outcome call_sheet_rename(struct client *c)
{
	char done[120];
	json_t *params = client_params("position", client_word(c, 0), "to", client_word(c, 1), NULL);
	snprintf(done, sizeof done, "%.40s is now %.40s", client_word(c, 0), client_word(c, 1));
	return client_change(c, "sheet.rename", params, done);
}

/* The names after `accept`, parted by spaces. */
static json_t *names_from(const struct client *c, int first)
{
	size_t size = 1;
	for (int i = first; i < c->args.count; i++)
		size += strlen(client_word(c, i)) + 1;
	char *text = malloc(size);
	json_t *params = json_object();
	if (!text)
		return params;
	text[0] = '\0';
	for (int i = first; i < c->args.count; i++) {
		strcat(text, i > first ? " " : "");
		strcat(text, client_word(c, i));
	}
	json_object_set_new(params, "accept", json_true());
	if (text[0])
		json_object_set_new(params, "positions", json_string_nocheck(text));
	free(text);
	return params;
}

enum outcome call_sheet_twins(struct client *c)
{
	const char *word = client_word(c, 0);
	if (word && strcmp(word, "accept") != 0)
		return client_wrong(c, "\"%s\": say accept, and the positions that you mean", word);
	if (word)
		return client_change(c, "sheet.twins", names_from(c, 1), "twins accepted");
	return client_show(c, "sheet.twins", NULL, view_twins);
}

enum outcome call_at_new(struct client *c)
{
	const char *word = client_word(c, 0), *option = client_option(c, OPTION_PREFIX);
	if (word && option)
		return client_wrong(c, "the beginning of the name is given twice: \"%s\" and \"%s\"", word,
		                    option);
	json_t *params = client_params("prefix", word ? word : option, NULL);
	return client_show(c, "at.new", params, view_chosen);
}

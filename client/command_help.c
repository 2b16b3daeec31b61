/* SPDX-License-Identifier: MIT */
/* `tally help [VERB...]`: the same texts as --help. */
#include "client/command_calls.h"

enum outcome call_help(struct client *c)
{
	struct lines text = {0};
	int used;
	const struct command *command = command_find(c->args.words, c->args.count, &used);
	if (!c->args.count) {
		command_overview(&text);
	} else if (command) {
		command_help(command, &text);
	} else {
		command_unknown(c->args.words, c->args.count, &text);
		enum outcome outcome = client_wrong(c, "%s", lines_text(&text));
		lines_free(&text);
		return outcome;
	}
	client_lines(c, &text);
	return OUTCOME_DONE;
}

/* SPDX-License-Identifier: MIT */
/*
 * A log from a backup or an export.  The client opens no log: a tallyd of our own does it
 * (`tallyd --restore`), which takes the log's lock, so that no daemon runs on it meanwhile.
 */
#include "client/command_calls.h"

#include "client/spawn.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Everything that it prints; what is wrong it says itself, on our standard error. */
static size_t read_all(int fd, char *text, size_t size)
{
	size_t len = 0;
	ssize_t n;
	while (len < size - 1 && (n = read(fd, text + len, size - 1 - len)) != 0) {
		if (n > 0)
			len += (size_t)n;
		else if (errno != EINTR)
			break;
	}
	while (len && text[len - 1] == '\n')
		len--;
	text[len] = '\0';
	return len;
}

static void say_key(struct client *c, struct slice result)
{
	char key[WORDS_SIZE];
	words_member(result, "key", key, sizeof key);
	if (!strcmp(key, "there"))
		fprintf(c->out, "its key is there: what is logged from here on is signed as before\n");
	else if (!strcmp(key, "missing"))
		fprintf(c->out, "its key is NOT there: the log goes on, but nothing is signed any more until "
		        "its LOG.key is put back beside it\n");
	else if (!strcmp(key, "other"))
		fprintf(c->out, "the LOG.key that is there is of another log: nothing is signed until the "
		        "right one is put in its place\n");
	else
		fprintf(c->out, "it has no key: nobody signs for this log\n");
}

static enum outcome show(struct client *c, char *text, size_t len)
{
	struct slice result = {text, len};
	char log[WORDS_SIZE], head[WORDS_SIZE], aside[WORDS_SIZE];
	int64_t records = 0;
	if (!json_valid(text, len, NULL) || text[0] != '{')
		return client_wrong(c, "tallyd --restore gave no answer: are tally and tallyd of one version?");
	if (client_has(c, OPTION_JSON)) {
		client_json(c, result);
		return OUTCOME_DONE;
	}
	words_member(result, "log", log, sizeof log);
	words_member(result, "head", head, sizeof head);
	words_member(result, "aside", aside, sizeof aside);
	json_int(json_member(text, len, "records"), &records);
	fprintf(c->out, "%s: %lld records, verified; its head is %s\n", log, (long long)records, head);
	say_key(c, result);
	if (aside[0])
		fprintf(c->out, "the log that was there is now %s\n", aside);
	return OUTCOME_DONE;
}

enum outcome call_restore(struct client *c)
{
	static const struct {
		enum option_id id;
		const char *name;
	} passed[] = {{OPTION_LOG, "--log="}, {OPTION_ANCHOR, "--anchor="}, {OPTION_KEY, "--key="},
	              {OPTION_CONFIG, "--config="}};
	const char *arguments[8];
	char *made[5] = {NULL};
	char answer[16384];
	struct spawn s;
	struct fault why = {.text = ""};
	int n = 0;
	bool good = asprintf(&made[4], "--restore=%s", client_word(c, 0)) > 0;
	arguments[n++] = made[4];
	if (client_has(c, OPTION_OVER))
		arguments[n++] = "--over";
	for (size_t i = 0; good && i < 4; i++)
		if (client_has(c, passed[i].id)) {
			good = asprintf(&made[i], "%s%s", passed[i].name, client_option(c, passed[i].id)) > 0;
			arguments[n++] = made[i];
		}
	arguments[n] = NULL;
	enum outcome outcome = OUTCOME_UNREACHABLE;
	if (!good || !spawn_run(c->program, arguments, &s, &why)) {
		client_fault(c, outcome, &why);
	} else {
		size_t len = read_all(s.fd, answer, sizeof answer);
		int status = spawn_close(&s);
		outcome = status == 0 ? show(c, answer, len) : status == 1 ? OUTCOME_NO : OUTCOME_WRONG;
	}
	for (size_t i = 0; i < 5; i++)
		free(made[i]);
	return outcome;
}

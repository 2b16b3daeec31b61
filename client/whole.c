/* SPDX-License-Identifier: MIT */
/*
 * Answers that come in pages, as one: the lists that go on from page to page whole, and what
 * else the last page says beside them.  See client_whole.
 */
#include "client/command_calls.h"

#include <string.h>

enum { LISTS_MAX = 4 };

static int list_of(const char *const *lists, struct slice key)
{
	for (int i = 0; i < LISTS_MAX && lists[i]; i++)
		if (strlen(lists[i]) == key.len && memcmp(lists[i], key.at, key.len) == 0)
			return i;
	return -1;
}

static void list_add(struct lines *out, struct slice list)
{
	struct slice one;
	for (size_t cursor = 0; list.at && json_next(list, &cursor, &one);) {
		lines_puts(out, out->len ? "," : "");
		lines_add(out, one.at, one.len);
	}
}

static void join(const char *const *lists, struct lines *list, struct slice last, struct lines *out)
{
	struct slice key, value;
	lines_puts(out, "{");
	for (size_t cursor = 0; json_next_member(last, &cursor, &key, &value);) {
		int i = list_of(lists, key);
		lines_printf(out, "%s\"%.*s\":", out->len > 1 ? "," : "", (int)key.len, key.at);
		if (i >= 0)
			lines_printf(out, "[%s]", lines_text(&list[i]));
		else
			lines_add(out, value.at, value.len);
	}
	lines_puts(out, "}");
}

enum outcome client_whole(struct client *c, const char *method, json_t *params,
                          const char *const *lists, struct lines *whole)
{
	struct lines list[LISTS_MAX] = {{0}};
	struct message m;
	enum outcome outcome;
	int64_t after = 0;
	bool more;
	do {
		int64_t next = 0;
		more = false;
		if (after)
			json_object_set_new(params, "after", json_integer(after));
		outcome = client_ask(c, method, json_copy(params), &m);
		if (outcome == OUTCOME_DONE) {
			for (int i = 0; i < LISTS_MAX && lists[i]; i++)
				list_add(&list[i], json_member(m.result.at, m.result.len, lists[i]));
			more = json_bool(json_member(m.result.at, m.result.len, "more"), false);
			json_int(json_member(m.result.at, m.result.len, "next"), &next);
			if (more && next <= after) /* a page that does not move on would come for ever */
				outcome = client_wrong(c, "the daemon says there is more and does not give it");
			else if (!more && !after)
				lines_add(whole, m.result.at, m.result.len); /* all of it: as it stands */
			else if (!more)
				join(lists, list, m.result, whole);
			after = next;
		}
		message_free(&m);
	} while (outcome == OUTCOME_DONE && more);
	json_decref(params);
	bool failed = whole->failed;
	for (int i = 0; i < LISTS_MAX; i++) {
		failed = failed || list[i].failed;
		lines_free(&list[i]);
	}
	return outcome == OUTCOME_DONE && failed ? client_wrong(c, "no memory for the answer") : outcome;
}

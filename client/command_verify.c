/* SPDX-License-Identifier: MIT */
/*
 * Checking the seal, of the running log or of a file.
 */
#include "client/command_calls.h"

#include "protocol/record/checkpoint.h"

#include <string.h>

/* "the log of bench north at /run/..." or the file. */
static void name_log(const struct client *c, const char *file, char *out, size_t size)
{
	const struct link_hello *hello = link_hello(c->link);
	if (file)
		snprintf(out, size, "%s", file);
	else
		snprintf(out, size, "the running log%s%s", hello->bench[0] ? " of bench " : "",
		         hello->bench);
}

enum outcome call_verify(struct client *c)
{
	struct message m;
	struct lines out = {0};
	char what[WORDS_SIZE];
	enum outcome outcome;
	int64_t seq;
	uint8_t hash[SEAL_SIZE], fingerprint[FINGERPRINT_SIZE];
	const char *key = client_option(c, OPTION_KEY);
	const char *anchor = client_option(c, OPTION_ANCHOR);
	const char *file = client_word(c, 0);
	if (file && (client_has(c, OPTION_FILE) || client_has(c, OPTION_SOCKET)))
		return client_wrong(c, "FILE, --file and --socket exclude each other");
	file = file ? file : client_option(c, OPTION_FILE);
	if (anchor && !anchor_parse(anchor, strlen(anchor), &seq, hash))
		return client_wrong(c, "--anchor is SEQ:HASH, the number of a record, a colon and 64 hex "
		                    "digits, as verify prints for head");
	if (key && !fingerprint_parse(key, strlen(key), fingerprint))
		return client_wrong(c, "--key is the fingerprint of a key, 32 hex digits, as verify prints "
		                    "them for key");
	if (!client_open(c, file, &outcome))
		return outcome;
	outcome = client_ask_for(c, "verify", client_params("anchor", anchor, "key", key, NULL), LINK_FOREVER, &m);
	if (outcome == OUTCOME_DONE) {
		bool ok = json_bool(json_member(m.result.at, m.result.len, "ok"), false);
		name_log(c, file, what, sizeof what);
		if (client_has(c, OPTION_JSON)) {
			client_json(c, m.result);
		} else {
			view_verify(&c->style, m.result, what, anchor ? anchor : "",
			            key != NULL, &out);
			client_lines(c, &out);
		}
		outcome = ok ? OUTCOME_DONE : OUTCOME_NO;
	}
	message_free(&m);
	return outcome;
}

/* SPDX-License-Identifier: MIT */
/*
 * Checking the seal, of the running log or of a file.
 */
#include "client/command_calls.h"

#include "protocol/record/checkpoint.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

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

/* One line of the terminal, written over. */
static void show_progress(void *arg, int64_t done, int64_t all)
{
	struct client *c = arg;
	fprintf(c->err, "\r%lld", (long long)done);
	if (all > 0)
		fprintf(c->err, " of %lld", (long long)all);
	fprintf(c->err, " records read ");
	fflush(c->err);
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
	json_t *params = client_params("anchor", anchor, "key", key, NULL);
	if (c->err_terminal && params)
		json_object_set_new(params, "progress", json_true());
	link_patience(c->link, c->stop, c->err_terminal ? show_progress : NULL, c);
	outcome = client_ask_for(c, "verify", params, LINK_FOREVER, &m);
	link_patience(c->link, NULL, NULL, NULL);
	if (c->err_terminal)
		fprintf(c->err, "\r\x1b[K");
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

/* The daemon writes it, so it needs the whole path. */
static char *whole_path(const char *file)
{
	char here[PATH_MAX];
	char *path = NULL;
	if (file[0] == '/')
		return strdup(file);
	if (!getcwd(here, sizeof here) || asprintf(&path, "%s/%s", here, file) < 0)
		return NULL;
	return path;
}

enum outcome call_backup(struct client *c)
{
	struct message m;
	int64_t records = 0;
	char head[WORDS_SIZE];
	char *path = whole_path(client_word(c, 0));
	if (!path)
		return client_wrong(c, "the current folder has no path: name the file from / on");
	json_t *params = client_params("file", path, NULL);
	enum outcome outcome = client_ask_for(c, "backup", params, LINK_FOREVER, &m);
	if (outcome == OUTCOME_DONE && client_has(c, OPTION_JSON)) {
		client_json(c, m.result);
	} else if (outcome == OUTCOME_DONE) {
		json_int(json_member(m.result.at, m.result.len, "records"), &records);
		words_member(m.result, "head", head, sizeof head);
		fprintf(c->out, "copied to %s: %lld records, verified; its head is %s\n", path,
		        (long long)records, head);
		int64_t photos = 0, lost = 0;
		json_int(json_member(m.result.at, m.result.len, "photos"), &photos);
		json_int(json_member(m.result.at, m.result.len, "photos_lost"), &lost);
		if (photos || lost)
			fprintf(c->out, "photos of notes copied to %s.photos: %lld; missing, altered or not copied: "
			        "%lld%s\n", path, (long long)photos, (long long)lost,
			        lost ? " (tally photos names those that are not good)" : "");
	}
	message_free(&m);
	free(path);
	return outcome;
}

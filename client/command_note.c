/* SPDX-License-Identifier: MIT */
/*
 * Notes and photos.  The daemon keeps the photo; this side reads the file and sends it in
 * pieces (protocol/WIRE.md, "Photos").
 */
#include "client/command_calls.h"

#include "protocol/file/base64.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

/* Bytes of one piece: as text it fits a line of the wire. */
#define PIECE 491520

static json_t *whole_number(const char *key, int64_t n)
{
	json_t *params = json_object();
	json_object_set_new(params, key, json_integer(n));
	return params;
}

static enum outcome ask_begin(struct client *c, int64_t size, int64_t *photo)
{
	struct message m;
	enum outcome outcome = client_ask(c, "photo.begin", whole_number("size", size), &m);
	if (outcome == OUTCOME_DONE && !json_int(json_member(m.result.at, m.result.len, "photo"), photo))
		outcome = client_wrong(c, "the daemon takes no photos");
	message_free(&m);
	return outcome;
}

static enum outcome send_pieces(struct client *c, FILE *f, const char *file, int64_t photo)
{
	char *bytes = malloc(PIECE), *text = malloc(BASE64_SIZE(PIECE));
	enum outcome outcome = bytes && text ? OUTCOME_DONE : client_wrong(c, "out of memory");
	int64_t at = 0;
	size_t n;
	while (outcome == OUTCOME_DONE && (n = fread(bytes, 1, PIECE, f)) > 0) {
		struct message m;
		json_t *params = whole_number("photo", photo);
		base64_write(bytes, n, text);
		json_object_set_new(params, "at", json_integer(at));
		json_object_set_new(params, "data", json_string(text));
		outcome = client_ask(c, "photo.data", params, &m);
		message_free(&m);
		at += (int64_t)n;
	}
	if (outcome == OUTCOME_DONE && ferror(f))
		outcome = client_wrong(c, "%s: %s", file, strerror(errno));
	free(bytes);
	free(text);
	return outcome;
}

/* The hash of the photo that the daemon has then. */
static enum outcome send_photo(struct client *c, const char *file, char *hash, size_t size)
{
	struct message m;
	int64_t photo = 0;
	FILE *f = fopen(file, "rb");
	if (!f || fseek(f, 0, SEEK_END) != 0) {
		int error = errno;
		if (f)
			fclose(f);
		return client_wrong(c, "%s: %s", file, strerror(error));
	}
	int64_t length = ftell(f);
	rewind(f);
	enum outcome outcome = ask_begin(c, length, &photo);
	if (outcome == OUTCOME_DONE)
		outcome = send_pieces(c, f, file, photo);
	fclose(f);
	if (outcome != OUTCOME_DONE)
		return outcome;
	outcome = client_ask(c, "photo.end", whole_number("photo", photo), &m);
	if (outcome == OUTCOME_DONE)
		json_text(json_member(m.result.at, m.result.len, "hash"), hash, size);
	message_free(&m);
	return outcome;
}

enum outcome call_note(struct client *c)
{
	char hash[80];
	const char *file = client_option(c, OPTION_PHOTO), *slash = file ? strrchr(file, '/') : NULL;
	if (file) {
		enum outcome outcome = send_photo(c, file, hash, sizeof hash);
		if (outcome != OUTCOME_DONE)
			return outcome;
	}
	json_t *params = client_params("position", client_word(c, 0), "text", client_word(c, 1), "photo",
	                               file ? hash : NULL, "name", slash ? slash + 1 : file, NULL);
	return client_change(c, "note", params, file ? "noted, with the photo" : "noted");
}

/* ---- listing ---- */

static void each_note(struct client *c, struct slice element, struct slice result, void *arg)
{
	struct lines *out = arg;
	(void)result;
	if (!element.at)
		return;
	if (client_has(c, OPTION_JSON)) {
		client_json(c, element);
		return;
	}
	view_note(&c->style, element, out);
}

enum outcome call_notes(struct client *c)
{
	struct lines out = {0};
	json_t *params = client_params("position", client_word(c, 0), "job",
	                               client_option(c, OPTION_JOB), NULL);
	enum outcome outcome = client_pages(c, "notes", params, "notes", each_note, &out);
	client_lines(c, &out);
	return outcome;
}

struct checking {
	struct lines out;
	bool bad;
};

static void each_photo(struct client *c, struct slice element, struct slice result, void *arg)
{
	struct checking *k = arg;
	k->bad = k->bad || (element.at && !words_member_is(element, "state", "good"));
	each_note(c, element, result, &k->out);
}

enum outcome call_photos(struct client *c)
{
	struct checking k = {.bad = false};
	json_t *params = client_params("position", client_word(c, 0), "job",
	                               client_option(c, OPTION_JOB), NULL);
	enum outcome outcome = client_pages(c, "photos", params, "photos", each_photo, &k);
	client_lines(c, &k.out);
	return outcome == OUTCOME_DONE && k.bad ? OUTCOME_NO : outcome;
}

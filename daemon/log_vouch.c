/* SPDX-License-Identifier: MIT */
/*
 * What the key says, while the chain is read: checkpoints and keys, in order.  The
 * rules are those of protocol/SEAL.md section 8.
 *
 * A signature that does not fit breaks no rule of the chain, so reading goes on: a
 * record that was altered further down is the graver finding.
 */
#include "daemon/log_inside.h"

#include "protocol/record/checkpoint.h"
#include "protocol/trade/ascii.h"

#include <sqlite3.h>
#include <stdio.h>
#include <string.h>

bool text_is_of_kind(const char *text, size_t len, const char *kind)
{
	/* Rule 3 has fixed where it stands. */
	size_t at = strlen("{\"seq\":"), n = strlen(kind);
	while (at < len && ascii_digit(text[at]))
		at++;
	at += strlen(",\"t\":\"2026-11-25T10:00:00.000000Z\",\"kind\":\"");
	return at + n < len && memcmp(text + at, kind, n) == 0 && text[at + n] == '"';
}

/* The first finding counts. */
static void misfit(struct vouch *v, struct log_check *c, bool rewritten, const char *what)
{
	if (c->bad_signature)
		return;
	c->bad_signature = c->records;
	v->rewritten = rewritten;
	snprintf(v->what, sizeof v->what, "record %lld %.120s", (long long)c->records, what);
}

static void take_key(struct vouch *v, struct log_check *c, const uint8_t key[KEY_SIZE])
{
	uint8_t fingerprint[FINGERPRINT_SIZE];
	c->has_key = true;
	c->keys++;
	memcpy(c->key, key, KEY_SIZE);
	key_fingerprint(key, fingerprint);
	if (v->pin && v->pin->has_key &&
	    memcmp(fingerprint, v->pin->fingerprint, FINGERPRINT_SIZE) == 0)
		v->pinned = true;
}

static void see_first(struct vouch *v, struct log_check *c, const char *text, size_t len)
{
	uint8_t key[KEY_SIZE];
	struct slice s = json_member(text, len, "key");
	if (s.at && s.len == 2 * KEY_SIZE + 2 && seal_unhex(s.at + 1, s.len - 2, key, KEY_SIZE))
		take_key(v, c, key);
	else
		v->keyless = true;
}

static void see_key(struct vouch *v, struct log_check *c, const char *text, size_t len)
{
	struct key_body b;
	char message[SIGNED_MESSAGE_MAX];
	if (!key_body_read(text, len, &b)) {
		misfit(v, c, false, "is no key record that can be read");
		return;
	}
	size_t n = key_message(c->identity, c->records, v->before, b.key, message);
	if (!c->has_key || !signature_fits(c->key, message, n, b.signature))
		misfit(v, c, false, "names a new key that the key of the log did not sign");
	else if (!signature_fits(b.key, message, n, b.proof))
		misfit(v, c, false, "names a new key that did not sign for itself");
	else
		take_key(v, c, b.key);
}


static int see_checkpoint(struct vouch *v, struct log_check *c, const char *text, size_t len)
{
	struct checkpoint_body b;
	char message[SIGNED_MESSAGE_MAX], what[160];
	uint8_t hash[SEAL_SIZE];
	if (!checkpoint_body_read(text, len, &b) || b.of < 1 || b.of >= c->records) {
		misfit(v, c, false, "is no checkpoint of a record above it");
		return SQLITE_OK;
	}
	bool nobody = !b.has_signature && c->keys == 0 && v->keyless;
	size_t n = checkpoint_message(c->identity, b.of, b.hash, message);
	if (!nobody && (!c->has_key || !b.has_signature ||
	                !signature_fits(c->key, message, n, b.signature))) {
		misfit(v, c, false, "is a checkpoint that the key of the log did not sign");
		return SQLITE_OK;
	}
	if (b.of < c->after) /* of a part: what it vouches for is not here */
		return SQLITE_OK;
	memcpy(hash, v->before, SEAL_SIZE);
	int code = b.of == c->records - 1 ? SQLITE_OK : v->above(v->arg, b.of, hash);
	if (code != SQLITE_OK)
		return code;
	if (memcmp(hash, b.hash, SEAL_SIZE) != 0) {
		snprintf(what, sizeof what, "vouches for another record %lld than the one that is there",
		         (long long)b.of);
		misfit(v, c, true, what);
		return SQLITE_OK;
	}
	c->entries_after = 0;
	if (nobody)
		return SQLITE_OK;
	c->checkpoints++;
	if (b.of > c->signed_to)
		c->signed_to = b.of;
	return SQLITE_OK;
}

int vouch_record(struct vouch *v, struct log_check *c, const char *text, size_t len)
{
	int code = SQLITE_OK;
	if (c->records == 1)
		see_first(v, c, text, len);
	else if (text_is_of_kind(text, len, "entry"))
		c->entries_after++;
	else if (text_is_of_kind(text, len, "checkpoint"))
		code = see_checkpoint(v, c, text, len);
	else if (text_is_of_kind(text, len, "key"))
		see_key(v, c, text, len);
	memcpy(v->before, c->head, SEAL_SIZE);
	return code;
}

/* After the chain and the anchor were looked at: does the key change the answer? */
void vouch_conclude(const struct vouch *v, struct log_check *c)
{
	if (c->verdict == LOG_ALTERED || c->verdict == LOG_REWRITTEN || c->verdict == LOG_EMPTY)
		return;
	if (c->bad_signature) {
		c->verdict = v->rewritten ? LOG_REWRITTEN : LOG_WRONG_KEY;
		snprintf(c->what, sizeof c->what, "%s", v->what);
	} else if (v->pin && v->pin->has_key && !v->pinned && c->verdict != LOG_TRUNCATED) {
		c->verdict = LOG_WRONG_KEY;
		snprintf(c->what, sizeof c->what, "%s", c->has_key ?
		         "the key of the log is not the one that was asked for" :
		         "the log has no key, and one was asked for");
	}
}

void vouch_part(struct vouch *v, struct log_check *c, const uint8_t *key)
{
	if (key)
		take_key(v, c, key);
	else
		v->keyless = true;
	memcpy(v->before, c->head, SEAL_SIZE);
}

/* SPDX-License-Identifier: MIT */
/*
 * Checkpoints and keys, made.  When one is due is said in log.h; what is signed, in
 * protocol/record/checkpoint.h.  A checkpoint that cannot be signed is left out: it
 * must never cost the record before it.
 */
#include "daemon/log_inside.h"

#include "protocol/record/checkpoint.h"
#include "protocol/record/record.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* At the start and, for whoever asks how the log stands, as long as it is open. */
static void say_trouble(struct log_store *s, const char *what)
{
	size_t len = strlen(s->opening);
	snprintf(s->opening + len, sizeof s->opening - len, "; %s%.300s", s->signer ? "" :
	         "no checkpoints are signed: ", what);
	snprintf(s->key_trouble, sizeof s->key_trouble, "%.300s", what);
}

static bool is_key(const struct signer *signer, const uint8_t key[KEY_SIZE])
{
	uint8_t own[KEY_SIZE];
	if (!signer)
		return false;
	signer_key(signer, own);
	return memcmp(own, key, KEY_SIZE) == 0;
}

/* A new key may have been sealed a moment before a kill, and not yet be in place.  NULL with `why`:
 * what is wrong with LOG.key. */
static struct signer *key_of_log(const char *path, const uint8_t key[KEY_SIZE], struct fault *why)
{
	struct fault what;
	struct signer *old = beside_key_read(path, ".key", why), *new = NULL;
	if (old)
		fault_at(why, path, 0, 0, "%.200s.key is the key of another log", path);
	if (!is_key(old, key))
		new = beside_key_read(path, ".key.new", &what);
	if (is_key(new, key) && beside_key_replace(path, &what)) {
		signer_free(old);
		return new;
	}
	signer_free(new);
	if (is_key(old, key)) {
		beside_key_drop(path);
		return old;
	}
	signer_free(old);
	return NULL;
}

void sign_begin(struct log_store *s, const struct log_check *c)
{
	struct fault why;
	char text[400];
	unsigned mode = 0;
	sign_end(s); /* of an opening that failed later on, and is tried again */
	s->key_trouble[0] = '\0';
	s->signed_seq = c->signed_to;
	s->entries_after = c->entries_after;
	s->keyless = !c->has_key;
	if (s->memory || s->keyless)
		return;
	s->signer = key_of_log(s->path, c->key, &why);
	if (!s->signer) {
		say_trouble(s, why.text);
	} else if (beside_key_mode(s->path, &mode) && (mode & 077)) {
		snprintf(text, sizeof text, "%.200s.key may be used by others (mode %04o), and whoever has read "
		         "it can sign", s->path, mode);
		say_trouble(s, text);
	}
}

void sign_end(struct log_store *s)
{
	signer_free(s->signer);
	s->signer = NULL;
}

void sign_see(struct sign_count *count, const char *text, size_t len)
{
	if (text_is_of_kind(text, len, "entry"))
		count->entries++;
	if (count->entries >= LOG_CHECKPOINT_ENTRIES ||
	    (text_is_of_kind(text, len, "job") && json_is(json_member(text, len, "state"), "closed")))
		count->due = true;
}

bool sign_text(const struct log_store *s, int64_t seq, const uint8_t hash[32], int64_t t,
               struct text *out)
{
	struct checkpoint_body b = { .of = seq };
	char message[SIGNED_MESSAGE_MAX];
	memcpy(b.hash, hash, sizeof b.hash);
	size_t n = checkpoint_message(s->identity, seq, hash, message);
	b.has_signature = !s->keyless;
	if (b.has_signature && (!s->signer || !signer_sign(s->signer, message, n, b.signature)))
		return false;
	text_printf(out, "{\"seq\":%lld,\"t\":", (long long)seq + 1);
	text_time(out, t);
	text_puts(out, ",\"kind\":\"checkpoint\"");
	checkpoint_body_write(out, &b);
	text_puts(out, "}");
	return !out->failed;
}

/* ---- a new key ---- */

static bool key_text(const struct log_store *s, const struct signer *new, int64_t now,
                     const char *because, struct text *out)
{
	struct key_body b;
	char message[SIGNED_MESSAGE_MAX];
	memset(&b, 0, sizeof b);
	signer_key(new, b.key);
	snprintf(b.because, sizeof b.because, "%s", because ? because : "");
	size_t n = key_message(s->identity, s->seq + 1, s->hash, b.key, message);
	if (!signer_sign(s->signer, message, n, b.signature) || !signer_sign(new, message, n, b.proof))
		return false;
	text_printf(out, "{\"seq\":%lld,\"t\":", (long long)s->seq + 1);
	text_time(out, now);
	text_puts(out, ",\"kind\":\"key\"");
	key_body_write(out, &b);
	text_puts(out, "}");
	return !out->failed;
}

/* LOG.key.new is durable before the record is, and takes its place after it. */
static bool renew(struct log_store *s, int64_t now, const char *because, struct fault *why)
{
	uint8_t public[KEY_SIZE];
	char buffer[2048];
	struct text text;
	if (!s->signer) {
		fault_at(why, s->path, 0, 0, "a new key must be signed by the old one, and %s.key is not "
		         "the key of this log: put it back", s->path);
		return false;
	}
	beside_key_drop(s->path);
	if (!beside_key_make(s->path, public, why))
		return false;
	struct signer *new = beside_key_read(s->path, ".key.new", why);
	text_begin(&text, buffer, sizeof buffer);
	bool done = new && key_text(s, new, now, because, &text) &&
	            store_append_text(s, text.bytes, text.len, why);
	signer_free(new);
	if (!done) {
		beside_key_drop(s->path);
		return false;
	}
	return beside_key_replace(s->path, why);
}

bool log_renew_key(const char *path, int64_t now, const char *because, char fingerprint[40],
                   struct fault *why)
{
	struct log_options o = { .path = path, .bench = "", .version = "", .now = now };
	struct log_store s;
	uint8_t mark[FINGERPRINT_SIZE], public[KEY_SIZE];
	if (!beside_exists(path, "", NULL)) {
		fault_at(why, path, 0, 0, "there is no log");
		return false;
	}
	if (!store_open(&s, &o, why))
		return false;
	bool done = renew(&s, now, because, why);
	struct signer *now_there = done ? beside_key_read(s.path, ".key", why) : NULL;
	done = now_there != NULL;
	if (done) {
		signer_key(now_there, public);
		key_fingerprint(public, mark);
		fingerprint_text(mark, fingerprint);
	}
	signer_free(now_there);
	store_close(&s);
	return done;
}

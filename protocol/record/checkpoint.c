/* SPDX-License-Identifier: MIT */
/*
 * Signatures for the log: see checkpoint.h and protocol/SEAL.md section 8.
 */
#include "protocol/record/checkpoint.h"

#include "protocol/record/kinds.h"

#include <openssl/evp.h>
#include <openssl/pem.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- the private half ---- */

struct signer {
	EVP_PKEY *key;
	uint8_t public[KEY_SIZE];
};

/* Takes the key over, whatever comes of it. */
static struct signer *signer_of(EVP_PKEY *key)
{
	struct signer *s = calloc(1, sizeof *s);
	size_t size = KEY_SIZE;
	if (s && key && EVP_PKEY_is_a(key, "ED25519") &&
	    EVP_PKEY_get_raw_public_key(key, s->public, &size) == 1 && size == KEY_SIZE) {
		s->key = key;
		return s;
	}
	EVP_PKEY_free(key);
	free(s);
	return NULL;
}

struct signer *signer_new(void)
{
	return signer_of(EVP_PKEY_Q_keygen(NULL, NULL, "ED25519"));
}

/* No pass phrase is asked for on anybody's terminal. */
static int no_phrase(char *buffer, int size, int writing, void *arg)
{
	(void)buffer, (void)size, (void)writing, (void)arg;
	return -1;
}

struct signer *signer_read(const char *pem, size_t len)
{
	BIO *memory = len <= 65536 ? BIO_new_mem_buf(pem, (int)len) : NULL;
	EVP_PKEY *key = memory ? PEM_read_bio_PrivateKey(memory, NULL, no_phrase, NULL) : NULL;
	BIO_free(memory);
	return signer_of(key);
}

void signer_free(struct signer *s)
{
	if (!s)
		return;
	EVP_PKEY_free(s->key);
	free(s);
}

void signer_key(const struct signer *s, uint8_t key[KEY_SIZE])
{
	memcpy(key, s->public, KEY_SIZE);
}

size_t signer_pem(const struct signer *s, char *out, size_t size)
{
	char *pem = NULL;
	size_t len = 0;
	BIO *memory = BIO_new(BIO_s_mem());
	if (memory && PEM_write_bio_PrivateKey(memory, s->key, NULL, NULL, 0, NULL, NULL) == 1) {
		long n = BIO_get_mem_data(memory, &pem);
		if (n > 0 && (size_t)n < size) {
			len = (size_t)n;
			memcpy(out, pem, len);
			out[len] = '\0';
		}
	}
	BIO_free(memory);
	return len;
}

bool signer_sign(const struct signer *s, const void *message, size_t len,
                 uint8_t signature[SIGNATURE_SIZE])
{
	size_t size = SIGNATURE_SIZE;
	EVP_MD_CTX *work = EVP_MD_CTX_new();
	bool done = work && EVP_DigestSignInit(work, NULL, NULL, NULL, s->key) == 1 &&
	            EVP_DigestSign(work, signature, &size, message, len) == 1 &&
	            size == SIGNATURE_SIZE;
	EVP_MD_CTX_free(work);
	return done;
}

/* ---- checking ---- */

bool signature_fits(const uint8_t key[KEY_SIZE], const void *message, size_t len,
                    const uint8_t signature[SIGNATURE_SIZE])
{
	EVP_PKEY *public = EVP_PKEY_new_raw_public_key(EVP_PKEY_ED25519, NULL, key, KEY_SIZE);
	EVP_MD_CTX *work = EVP_MD_CTX_new();
	bool fits = public && work && EVP_DigestVerifyInit(work, NULL, NULL, NULL, public) == 1 &&
	            EVP_DigestVerify(work, signature, SIGNATURE_SIZE, message, len) == 1;
	EVP_MD_CTX_free(work);
	EVP_PKEY_free(public);
	return fits;
}

void key_fingerprint(const uint8_t key[KEY_SIZE], uint8_t out[FINGERPRINT_SIZE])
{
	uint8_t hash[SEAL_SIZE];
	seal_sha256(key, KEY_SIZE, hash);
	memcpy(out, hash, FINGERPRINT_SIZE);
}

void fingerprint_text(const uint8_t fingerprint[FINGERPRINT_SIZE],
                      char out[FINGERPRINT_TEXT_SIZE])
{
	for (size_t i = 0; i < FINGERPRINT_SIZE; i += 2) {
		seal_hex(fingerprint + i, 2, out);
		out[4] = i + 2 < FINGERPRINT_SIZE ? '-' : '\0';
		out += 5;
	}
}

bool fingerprint_parse(const char *text, size_t len, uint8_t out[FINGERPRINT_SIZE])
{
	char digits[2 * FINGERPRINT_SIZE];
	size_t n = 0;
	for (size_t i = 0; i < len; i++) {
		if (strchr(" -:", text[i]) && text[i])
			continue;
		if (n == sizeof digits)
			return false;
		digits[n++] = text[i];
	}
	return seal_unhex(digits, n, out, FINGERPRINT_SIZE);
}

/* ---- what is signed ---- */

static size_t message_begin(const char *what, const char *identity, int64_t seq,
                            const uint8_t hash[SEAL_SIZE], char out[SIGNED_MESSAGE_MAX])
{
	int n = snprintf(out, SIGNED_MESSAGE_MAX, "%s\n%.32s\n%lld\n", what, identity,
	                 (long long)seq);
	size_t len = n > 0 ? (size_t)n : 0;
	memcpy(out + len, hash, SEAL_SIZE);
	return len + SEAL_SIZE;
}

size_t checkpoint_message(const char *identity, int64_t seq, const uint8_t hash[SEAL_SIZE],
                          char out[SIGNED_MESSAGE_MAX])
{
	return message_begin("tally-checkpoint-1", identity, seq, hash, out);
}

size_t key_message(const char *identity, int64_t seq, const uint8_t before[SEAL_SIZE],
                   const uint8_t key[KEY_SIZE], char out[SIGNED_MESSAGE_MAX])
{
	size_t len = message_begin("tally-key-1", identity, seq, before, out);
	memcpy(out + len, key, KEY_SIZE);
	return len + KEY_SIZE;
}

/* ---- the records ---- */

static void member_hex(struct text *out, const char *key, const uint8_t *bytes, size_t n)
{
	char hex[2 * SIGNATURE_SIZE + 1];
	seal_hex(bytes, n, hex);
	text_member_string(out, key, hex);
}

static bool hex_member(const char *text, size_t len, const char *key, uint8_t *out, size_t n)
{
	char hex[2 * SIGNATURE_SIZE + 2];
	return member_string(text, len, key, hex, sizeof hex) &&
	       seal_unhex(hex, strlen(hex), out, n);
}

void checkpoint_body_write(struct text *out, const struct checkpoint_body *b)
{
	text_member_int(out, "of", b->of);
	member_hex(out, "hash", b->hash, sizeof b->hash);
	if (b->has_signature)
		member_hex(out, "signature", b->signature, sizeof b->signature);
	else
		text_member_null(out, "signature");
}

bool checkpoint_body_read(const char *text, size_t len, struct checkpoint_body *b)
{
	memset(b, 0, sizeof *b);
	struct slice signature = json_member(text, len, "signature");
	b->has_signature = !signature.at || !json_absent(signature);
	return record_is(text, len, "checkpoint") &&
	       json_int(json_member(text, len, "of"), &b->of) &&
	       hex_member(text, len, "hash", b->hash, sizeof b->hash) &&
	       (!b->has_signature ||
	        hex_member(text, len, "signature", b->signature, sizeof b->signature));
}

void key_body_write(struct text *out, const struct key_body *b)
{
	member_hex(out, "key", b->key, sizeof b->key);
	member_hex(out, "signature", b->signature, sizeof b->signature);
	member_hex(out, "proof", b->proof, sizeof b->proof);
	member_set(out, "because", b->because);
}

bool key_body_read(const char *text, size_t len, struct key_body *b)
{
	memset(b, 0, sizeof *b);
	member_string(text, len, "because", b->because, sizeof b->because);
	return record_is(text, len, "key") &&
	       hex_member(text, len, "key", b->key, sizeof b->key) &&
	       hex_member(text, len, "signature", b->signature, sizeof b->signature) &&
	       hex_member(text, len, "proof", b->proof, sizeof b->proof);
}

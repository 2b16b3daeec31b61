/* SPDX-License-Identifier: MIT */
/*
 * Checkpoints: the holder of the log's key vouches for the log up to a record.
 *
 * The chain of hashes (seal.h) needs no secret, so anyone who can write the file can
 * make it anew.  Whoever signs needs the key.  What is signed (Ed25519, RFC 8032;
 * protocol/SEAL.md section 8):
 *
 *   checkpoint   "tally-checkpoint-1" LF identity LF seq LF hash(seq)
 *   new key      "tally-key-1" LF identity LF seq LF hash(seq - 1) key
 *
 * identity: 32 lower-case hex digits; seq in decimal; hash and key: their 32 bytes.
 * `seq` of a new key is that of the key record itself, so that it cannot be moved.
 * A new key is signed by the old one, so that nobody else can name it, and by itself,
 * so that nobody can name a key that is not his.
 */
#ifndef TALLY_RECORD_CHECKPOINT_H
#define TALLY_RECORD_CHECKPOINT_H

#include "protocol/record/record.h"
#include "protocol/record/seal.h"

#define KEY_SIZE 32
#define SIGNATURE_SIZE 64
#define IDENTITY_SIZE 33 /* 32 hex digits and a NUL */
#define SIGNED_MESSAGE_MAX 160

/* ---- the private half ---- */

struct signer;
/* A new key; NULL where libcrypto gives none. */
struct signer *signer_new(void);
/* From a PEM text (PKCS #8, RFC 8410); NULL for anything else. */
struct signer *signer_read(const char *pem, size_t len);
void signer_free(struct signer *s); /* takes NULL */
void signer_key(const struct signer *s, uint8_t key[KEY_SIZE]); /* the public half */
/* The PEM text; its length, 0 where it does not fit or cannot be made. */
size_t signer_pem(const struct signer *s, char *out, size_t size);
bool signer_sign(const struct signer *s, const void *message, size_t len,
                 uint8_t signature[SIGNATURE_SIZE]);

/* ---- checking ---- */

bool signature_fits(const uint8_t key[KEY_SIZE], const void *message, size_t len,
                    const uint8_t signature[SIGNATURE_SIZE]);

/* The first 16 bytes of SHA-256 over the 32 bytes of a public key. */
#define FINGERPRINT_SIZE 16
void key_fingerprint(const uint8_t key[KEY_SIZE], uint8_t out[FINGERPRINT_SIZE]);
/* As people read it out: eight groups of four hex digits with `-` between. */
#define FINGERPRINT_TEXT_SIZE 40
void fingerprint_text(const uint8_t fingerprint[FINGERPRINT_SIZE],
                      char out[FINGERPRINT_TEXT_SIZE]);
/* 32 hex digits of either case; spaces, `-` and `:` between digits do not count. */
bool fingerprint_parse(const char *text, size_t len, uint8_t out[FINGERPRINT_SIZE]);

/* ---- what is signed; both return the length ---- */

size_t checkpoint_message(const char *identity, int64_t seq, const uint8_t hash[SEAL_SIZE],
                          char out[SIGNED_MESSAGE_MAX]);
size_t key_message(const char *identity, int64_t seq, const uint8_t before[SEAL_SIZE],
                   const uint8_t key[KEY_SIZE], char out[SIGNED_MESSAGE_MAX]);

/* ---- the records ---- */

struct checkpoint_body {
	int64_t of; /* the record that is vouched for; above the checkpoint */
	uint8_t hash[SEAL_SIZE];
	bool has_signature; /* false (null): the log has no key, and nobody vouches */
	uint8_t signature[SIGNATURE_SIZE];
};
void checkpoint_body_write(struct text *out, const struct checkpoint_body *b);
bool checkpoint_body_read(const char *text, size_t len, struct checkpoint_body *b);

struct key_body {
	uint8_t key[KEY_SIZE]; /* the new one, from this record on */
	uint8_t signature[SIGNATURE_SIZE]; /* by the key before it */
	uint8_t proof[SIGNATURE_SIZE];     /* by the new key */
	char because[320];
};
void key_body_write(struct text *out, const struct key_body *b);
bool key_body_read(const char *text, size_t len, struct key_body *b);

#endif

/* SPDX-License-Identifier: MIT */
/*
 * The seal: a chain of SHA-256 hashes over the texts of the records.
 *
 *   hash(1) = SHA-256( "tally-record-1" LF  |  32 zero bytes  |  text(1) )
 *   hash(N) = SHA-256( "tally-record-1" LF  |  hash(N - 1)    |  text(N) )
 *
 * The full rules, enough for a verifier in another language, stand in
 * protocol/SEAL.md.  SHA-256 is FIPS 180-4, by libcrypto.
 */
#ifndef TALLY_RECORD_SEAL_H
#define TALLY_RECORD_SEAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define SEAL_SIZE 32
#define SEAL_HEX_SIZE 65

/*
 * Looking up the algorithm costs libcrypto more than hashing a record; a sealer
 * keeps it.  One belongs to one thread at a time.  sealer_open returns NULL where
 * libcrypto refuses (no memory, no SHA-256); sealer_close takes NULL.
 */
struct sealer;
struct sealer *sealer_open(void);
void sealer_close(struct sealer *s);

/* The hash of a record from the one before it (zeros for seq 1) and its text.
 * False where libcrypto failed; `out` is then zeros and no hash. */
bool sealer_next(struct sealer *s, const uint8_t before[SEAL_SIZE], const char *text, size_t len,
                 uint8_t out[SEAL_SIZE]);

/* The same for once in a while, without a sealer.  These end the program where
 * libcrypto fails: going on with a wrong hash would be worse. */
void seal_sha256(const void *bytes, size_t len, uint8_t out[SEAL_SIZE]);
void seal_next(const uint8_t before[SEAL_SIZE], const char *text, size_t len,
               uint8_t out[SEAL_SIZE]);

/* Does the text begin with {"seq":N,"t":" as record N must, so that no later record
 * can be passed off as an earlier one?  N is at least 1. */
bool seal_place_fits(int64_t seq, const char *text, size_t len);
/* Of a text that does not: the first byte that is another one, from 0; len where it ends first. */
size_t seal_place_misfit(int64_t seq, const char *text, size_t len);

void seal_hex(const uint8_t *bytes, size_t n, char *out); /* 2 n + 1 bytes, lower case */
/* Exactly 2 n hex digits, of either case; `out` is untouched on false. */
bool seal_unhex(const char *text, size_t len, uint8_t *out, size_t n);

/* An anchor, SEQ:HASH, as printed on reports: SEQ in decimal from 1 without zeros
 * in front, HASH 64 hex digits.  Nothing before or after it. */
bool anchor_parse(const char *text, size_t len, int64_t *seq, uint8_t hash[SEAL_SIZE]);
#define ANCHOR_SIZE 88 /* room for any, with its NUL */
size_t anchor_text(int64_t seq, const uint8_t hash[SEAL_SIZE], char out[ANCHOR_SIZE]);

#endif

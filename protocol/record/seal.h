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

void seal_sha256(const void *bytes, size_t len, uint8_t out[SEAL_SIZE]);

/* The hash of a record from the one before it (zeros for seq 1) and its text. */
void seal_next(const uint8_t before[SEAL_SIZE], const char *text, size_t len,
               uint8_t out[SEAL_SIZE]);

/* Begins a text with {"seq":N,"t":" as record N must: true where it does, that
 * no later record can be passed off as an earlier one. */
bool seal_place_fits(int64_t seq, const char *text, size_t len);

void seal_hex(const uint8_t *bytes, size_t n, char *out); /* 2 n + 1 bytes */
bool seal_unhex(const char *text, size_t len, uint8_t *out, size_t n);

/* An anchor, SEQ:HASH, as printed on reports. */
bool anchor_parse(const char *text, size_t len, int64_t *seq, uint8_t hash[SEAL_SIZE]);

#endif

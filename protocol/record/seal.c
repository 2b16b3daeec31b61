/* SPDX-License-Identifier: MIT */
/*
 * The chain of hashes: see seal.h and protocol/SEAL.md.
 */
#include "protocol/record/seal.h"

#include "protocol/file/escape.h"
#include "protocol/trade/ascii.h"

#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char record_prefix[] = "tally-record-1\n";
#define PREFIX_SIZE (sizeof record_prefix - 1)

struct sealer {
	EVP_MD *sha256;
	EVP_MD_CTX *begun; /* the prefix is in it */
	EVP_MD_CTX *work;
};

struct sealer *sealer_open(void)
{
	struct sealer *s = calloc(1, sizeof *s);
	if (!s)
		return NULL;
	s->sha256 = EVP_MD_fetch(NULL, "SHA256", NULL);
	s->begun = EVP_MD_CTX_new();
	s->work = EVP_MD_CTX_new();
	if (!s->sha256 || !s->begun || !s->work ||
	    EVP_DigestInit_ex(s->begun, s->sha256, NULL) != 1 ||
	    EVP_DigestUpdate(s->begun, record_prefix, PREFIX_SIZE) != 1) {
		sealer_close(s);
		return NULL;
	}
	return s;
}

void sealer_close(struct sealer *s)
{
	if (!s)
		return;
	EVP_MD_CTX_free(s->work);
	EVP_MD_CTX_free(s->begun);
	EVP_MD_free(s->sha256);
	free(s);
}

bool sealer_next(struct sealer *s, const uint8_t before[SEAL_SIZE], const char *text, size_t len,
                 uint8_t out[SEAL_SIZE])
{
	uint8_t hash[EVP_MAX_MD_SIZE];
	unsigned size = 0;
	/* `before` and `out` may be the same bytes. */
	bool good = EVP_MD_CTX_copy_ex(s->work, s->begun) == 1 &&
	            EVP_DigestUpdate(s->work, before, SEAL_SIZE) == 1 &&
	            EVP_DigestUpdate(s->work, text, len) == 1 &&
	            EVP_DigestFinal_ex(s->work, hash, &size) == 1 && size == SEAL_SIZE;
	if (good)
		memcpy(out, hash, SEAL_SIZE);
	else
		memset(out, 0, SEAL_SIZE);
	return good;
}

static void give_up(void)
{
	fputs("libcrypto cannot compute SHA-256 (no memory?): ending before a wrong seal is made\n",
	      stderr);
	abort();
}

void seal_sha256(const void *bytes, size_t len, uint8_t out[SEAL_SIZE])
{
	unsigned size = 0;
	if (EVP_Digest(bytes, len, out, &size, EVP_sha256(), NULL) != 1 || size != SEAL_SIZE)
		give_up();
}

void seal_next(const uint8_t before[SEAL_SIZE], const char *text, size_t len,
               uint8_t out[SEAL_SIZE])
{
	struct sealer *s = sealer_open();
	if (!s || !sealer_next(s, before, text, len, out))
		give_up();
	sealer_close(s);
}

static size_t place_text(int64_t seq, char want[48])
{
	return (size_t)snprintf(want, 48, "{\"seq\":%lld,\"t\":\"", (long long)seq);
}

bool seal_place_fits(int64_t seq, const char *text, size_t len)
{
	char want[48];
	size_t n = place_text(seq, want);
	return seq >= 1 && len >= n && memcmp(text, want, n) == 0;
}

size_t seal_place_misfit(int64_t seq, const char *text, size_t len)
{
	char want[48];
	size_t n = place_text(seq, want), at = 0;
	while (at < len && at < n && text[at] == want[at])
		at++;
	return at;
}

void seal_hex(const uint8_t *bytes, size_t n, char *out)
{
	static const char digit[] = "0123456789abcdef";
	for (size_t i = 0; i < n; i++) {
		out[2 * i] = digit[bytes[i] >> 4];
		out[2 * i + 1] = digit[bytes[i] & 15];
	}
	out[2 * n] = '\0';
}

bool seal_unhex(const char *text, size_t len, uint8_t *out, size_t n)
{
	if (len != 2 * n)
		return false;
	for (size_t i = 0; i < len; i++)
		if (hex_value(text[i]) < 0)
			return false;
	for (size_t i = 0; i < n; i++)
		out[i] = (uint8_t)(hex_value(text[2 * i]) << 4 | hex_value(text[2 * i + 1]));
	return true;
}

bool anchor_parse(const char *text, size_t len, int64_t *seq, uint8_t hash[SEAL_SIZE])
{
	int64_t n = 0;
	size_t i = 0;
	for (; i < len && ascii_digit(text[i]); i++) {
		int digit = text[i] - '0';
		if (n > (INT64_MAX - digit) / 10)
			return false;
		n = n * 10 + digit;
	}
	if (i == 0 || text[0] == '0' || i >= len || text[i] != ':' ||
	    !seal_unhex(text + i + 1, len - i - 1, hash, SEAL_SIZE))
		return false;
	*seq = n;
	return true;
}

size_t anchor_text(int64_t seq, const uint8_t hash[SEAL_SIZE], char out[ANCHOR_SIZE])
{
	char hex[SEAL_HEX_SIZE];
	seal_hex(hash, SEAL_SIZE, hex);
	int n = snprintf(out, ANCHOR_SIZE, "%lld:%s", (long long)seq, hex);
	return n < 0 ? 0 : (size_t)n;
}

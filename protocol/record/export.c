/* SPDX-License-Identifier: MIT */
/* See export.h. */
#include "protocol/record/export.h"

#include <string.h>

#define FORMAT "tally-export-1"

void export_begin_write(struct text *out, const struct export_begin *b)
{
	char hash[SEAL_HEX_SIZE], key[2 * KEY_SIZE + 1];
	seal_hex(b->hash, SEAL_SIZE, hash);
	seal_hex(b->key, KEY_SIZE, key);
	text_puts(out, "{\"seal\":\"" FORMAT "\"");
	text_member_string(out, "identity", b->identity);
	text_member_int(out, "after", b->after);
	text_member_string(out, "hash", hash);
	text_member_string(out, "key", b->has_key ? key : NULL);
	text_puts(out, "}");
}

void export_hashes_write(struct text *out, const uint8_t (*hash)[SEAL_SIZE], int n, int64_t end)
{
	char hex[SEAL_HEX_SIZE];
	text_puts(out, "{\"seal\":\"" FORMAT "\",\"hashes\":[");
	for (int i = 0; i < n; i++) {
		seal_hex(hash[i], SEAL_SIZE, hex);
		text_puts(out, i ? ",\"" : "\"");
		text_puts(out, hex);
		text_puts(out, "\"");
	}
	text_puts(out, "]");
	if (end)
		text_member_int(out, "end", end);
	text_puts(out, "}");
}

static bool begins(const char *line, size_t len, const char *with)
{
	size_t n = strlen(with);
	return len >= n && memcmp(line, with, n) == 0;
}

bool export_is_seal(const char *line, size_t len)
{
	return begins(line, len, "{\"seal\":");
}

bool export_is_record(const char *line, size_t len)
{
	return begins(line, len, "{\"seq\":");
}

/* A string of exactly 2 n hexadecimal digits. */
static bool hex_member(struct slice s, uint8_t *out, size_t n)
{
	return s.at && s.len == 2 * n + 2 && s.at[0] == '"' && seal_unhex(s.at + 1, 2 * n, out, n);
}

static bool read_begin(const char *line, size_t len, struct export_begin *b)
{
	uint8_t identity[16];
	struct slice key = json_member(line, len, "key");
	b->has_key = !json_absent(key);
	if (!hex_member(json_member(line, len, "identity"), identity, sizeof identity) ||
	    !json_int(json_member(line, len, "after"), &b->after) || b->after < 0 ||
	    !hex_member(json_member(line, len, "hash"), b->hash, SEAL_SIZE) ||
	    (b->has_key && !hex_member(key, b->key, KEY_SIZE)))
		return false;
	seal_hex(identity, sizeof identity, b->identity);
	return true;
}

static bool read_hashes(struct slice list, struct export_seal *out)
{
	struct slice one;
	size_t cursor = 0;
	if (!list.at || list.at[0] != '[')
		return false;
	while (json_next(list, &cursor, &one))
		if (out->n == EXPORT_HASHES_MAX || !hex_member(one, out->hash[out->n++], SEAL_SIZE))
			return false;
	return true;
}

int export_misfit(const char *line, size_t len)
{
	static const char *const with[] = {"{\"seal\":", "{\"seq\":"};
	size_t where = 0, control;
	if (export_is_record(line, len) || export_is_seal(line, len)) {
		bool valid = json_valid_line(line, len, &where, &control);
		where = valid ? control : where;
		return valid && control == len ? 0 : (int)where + 1;
	}
	for (int i = 0; i < 2; i++) {
		size_t at = 0;
		while (at < len && with[i][at] && line[at] == with[i][at])
			at++;
		where = at > where ? at : where;
	}
	return (int)where + 1;
}

enum export_seal_kind export_seal_read(const char *line, size_t len, struct export_seal *out)
{
	size_t where, control;
	memset(out, 0, sizeof *out);
	if (!json_valid_line(line, len, &where, &control) || control != len ||
	    !json_is(json_member(line, len, "seal"), FORMAT))
		return EXPORT_NO_SEAL;
	struct slice end = json_member(line, len, "end");
	if (json_member(line, len, "after").at)
		return read_begin(line, len, &out->begin) ? EXPORT_BEGIN : EXPORT_NO_SEAL;
	if (end.at && (!json_int(end, &out->end) || out->end < 1))
		return EXPORT_NO_SEAL;
	return read_hashes(json_member(line, len, "hashes"), out) ? EXPORT_HASHES : EXPORT_NO_SEAL;
}

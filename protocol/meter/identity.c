/* SPDX-License-Identifier: MIT */
/* See identity.h. */
#include "protocol/meter/identity.h"

#include "protocol/trade/ascii.h"

#include <string.h>

struct rest {
	const char *at, *end;
};

static struct rest trimmed(struct rest r)
{
	while (r.at < r.end && ascii_blank(*r.at))
		r.at++;
	while (r.end > r.at && ascii_blank(r.end[-1]))
		r.end--;
	return r;
}

/* Without the quotes that stand around the whole of it. */
static struct rest unquoted(struct rest r)
{
	bool quoted = r.end - r.at >= 2 && (*r.at == '"' || *r.at == '\'') && r.end[-1] == *r.at;
	return quoted ? (struct rest){r.at + 1, r.end - 1} : r;
}

static void keep(struct rest r, char out[IDENTITY_FIELD], bool zero_is_none)
{
	r = trimmed(unquoted(trimmed(r)));
	size_t n = (size_t)(r.end - r.at);
	if (n >= IDENTITY_FIELD)
		n = IDENTITY_FIELD - 1;
	memcpy(out, r.at, n);
	out[n] = '\0';
	if (zero_is_none && strcmp(out, "0") == 0)
		out[0] = '\0';
}

bool identity_parse(const char *text, struct identity *out)
{
	struct rest whole = trimmed((struct rest){text, text + strlen(text)});
	/* Quotes around each field are not quotes around the whole. */
	size_t len = (size_t)(whole.end - whole.at);
	if (len > 2 && !memchr(whole.at + 1, *whole.at, len - 2))
		whole = unquoted(whole);
	struct rest field[4];
	memset(out, 0, sizeof *out);
	for (int i = 0; i < 4; i++) {
		const char *comma = memchr(whole.at, ',', (size_t)(whole.end - whole.at));
		if (i < 3 && !comma)
			return false;
		field[i] = (struct rest){whole.at, i < 3 ? comma : whole.end};
		whole.at = i < 3 ? comma + 1 : whole.end;
	}
	keep(field[0], out->maker, false);
	keep(field[1], out->model, false);
	keep(field[2], out->serial, true);
	keep(field[3], out->firmware, true);
	return true;
}

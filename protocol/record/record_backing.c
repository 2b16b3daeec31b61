/* SPDX-License-Identifier: MIT */
/*
 * The records that entries refer to: lead offsets and meter checks.  See record.h and
 * protocol/SEAL.md.
 */
#include "protocol/record/kinds.h"

#include <math.h>
#include <string.h>

static void measured(struct text *out, const struct entry *e)
{
	text_member_string(out, "function", function_name(e->function));
	entry_value_write(out, e);
}

void offset_body_write(struct text *out, const char *leads, const struct entry *e,
                       const struct entry_beside *beside)
{
	member_set(out, "job", beside->job);
	text_member_string(out, "meter", e->meter);
	text_member_string(out, "leads", leads);
	measured(out, e);
	entry_beside_write(out, beside);
}

void check_body_write(struct text *out, const struct entry *e, const struct entry_beside *beside,
                      const struct check_result *r)
{
	member_set(out, "job", beside->job);
	text_member_string(out, "meter", e->meter);
	text_member_string(out, "position", e->position);
	measured(out, e);
	entry_refer_write(out, e);
	text_member_decimal(out, "nominal", r->nominal);
	text_member_real(out, "nominal-u", r->u);
	text_member_real(out, "en", r->en);
	text_member_bool(out, "agree", r->agree);
	entry_beside_write(out, beside);
}

bool backing_body_read(const char *text, size_t len, const char *kind, struct backing_body *b)
{
	struct record_head head;
	char word[32];
	memset(b, 0, sizeof *b);
	b->check = strcmp(kind, "check") == 0;
	if (!record_is(text, len, kind) || !record_head_read(text, len, &head) ||
	    !member_string(text, len, "meter", b->meter, sizeof b->meter) ||
	    !member_string(text, len, "function", word, sizeof word) ||
	    !function_from_name(word, strlen(word), &b->function) ||
	    !json_decimal(json_member(text, len, "value"), &b->value))
		return false;
	b->seq = head.seq;
	b->t = head.t;
	struct decimal digit;
	if (json_decimal(json_member(text, len, "digit"), &digit))
		decimal_rescale(b->value, decimal_strip(digit).e, &b->value);
	if (!json_number(json_member(text, len, "u"), &b->u))
		b->u = INFINITY;
	if (!b->check)
		return true;
	member_string(text, len, "position", b->position, sizeof b->position);
	b->agree = json_bool(json_member(text, len, "agree"), false);
	return json_number(json_member(text, len, "en"), &b->en);
}

/* SPDX-License-Identifier: MIT */
/*
 * What every record has, and what several kinds share: see record.h, kinds.h and
 * protocol/SEAL.md.
 */
#include "protocol/record/record.h"

#include "protocol/record/kinds.h"
#include "protocol/record/seal.h"

#include <string.h>

/* ---- every record ---- */

bool record_head_read(const char *text, size_t len, struct record_head *out)
{
	return json_int(json_member(text, len, "seq"), &out->seq) &&
	       json_time(json_member(text, len, "t"), &out->t) &&
	       json_text(json_member(text, len, "kind"), out->kind, sizeof out->kind);
}

static bool kind_word(const char *text, size_t len)
{
	if (len == 0 || len >= RECORD_KIND_SIZE)
		return false;
	for (size_t i = 0; i < len; i++)
		if (!((text[i] >= 'a' && text[i] <= 'z') || (text[i] == '-' && i)))
			return false;
	return true;
}

static bool invalid(struct fault *why, size_t at, const char *what)
{
	fault_at(why, NULL, 0, (int)(at < INT32_MAX ? at + 1 : INT32_MAX), "%s", what);
	return false;
}

bool record_valid(int64_t seq, const char *text, size_t len, struct fault *why)
{
	static const char kind[] = "\",\"kind\":\"";
	enum { TIME = 27, KIND = sizeof kind - 1 };
	if (!seal_place_fits(seq, text, len))
		return invalid(why, 0, "the text does not begin with its own number");
	size_t at = (size_t)((const char *)memchr(text + 1, 't', len - 1) - text) + 4;
	int64_t t;
	if (len - at < TIME || !time_parse(text + at, TIME, &t))
		return invalid(why, at, "not a time");
	at += TIME;
	if (len - at < KIND || memcmp(text + at, kind, KIND) != 0)
		return invalid(why, at, "no kind follows the time");
	at += KIND;
	const char *quote = memchr(text + at, '"', len - at);
	if (!quote || !kind_word(text + at, (size_t)(quote - text) - at))
		return invalid(why, at, "not the word of a kind");
	bool is_log = quote - (text + at) == 3 && memcmp(text + at, "log", 3) == 0;
	if (is_log != (seq == 1))
		return invalid(why, at, "record 1, and no other, is of kind log");
	size_t where, control;
	if (!json_valid_line(text, len, &where, &control))
		return invalid(why, where, "not valid JSON, or a key given twice");
	if (text[len - 1] != '}')
		return invalid(why, len - 1, "the text does not end with its object");
	return control == len || invalid(why, control, "a control character");
}

void record_job(const char *text, size_t len, char out[JOB_SIZE])
{
	json_text(json_member(text, len, "job"), out, JOB_SIZE);
}

/* ---- shared by the kinds: kinds.h ---- */

bool record_is(const char *text, size_t len, const char *kind)
{
	return json_is(json_member(text, len, "kind"), kind);
}

bool member_string(const char *text, size_t len, const char *path, char *out, size_t size)
{
	return json_text(json_member(text, len, path), out, size);
}

void member_set(struct text *out, const char *key, const char *value)
{
	if (value && value[0])
		text_member_string(out, key, value);
}

void member_or_null(struct text *out, const char *key, const char *value)
{
	text_member_string(out, key, value && value[0] ? value : NULL);
}

void asked_by_write(struct text *out, const struct asked_by *by)
{
	if (by->known)
		text_member_int(out, "uid", by->uid);
}

void asked_by_read(const char *text, size_t len, struct asked_by *by)
{
	int64_t uid;
	*by = (struct asked_by){0};
	if (json_int(json_member(text, len, "uid"), &uid) && uid >= 0 && uid <= UINT32_MAX)
		*by = (struct asked_by){true, (unsigned)uid};
}

void limits_write(struct text *out, const char *key, const struct limits *l)
{
	text_member(out, key);
	text_add(out, "[", 1);
	if (l->has_low)
		text_decimal(out, l->low);
	else
		text_puts(out, "null");
	text_add(out, ",", 1);
	if (l->has_high)
		text_decimal(out, l->high);
	else
		text_puts(out, "null");
	text_add(out, "]", 1);
}

static bool limits_read(struct slice s, struct limits *l)
{
	struct slice low = json_element(s, 0), high = json_element(s, 1);
	*l = (struct limits){0};
	l->has_low = json_decimal(low, &l->low);
	l->has_high = json_decimal(high, &l->high);
	return (l->has_low || json_absent(low)) && (l->has_high || json_absent(high));
}

/* ---- verdicts ---- */

static void word_or_null(struct text *out, const char *key, bool there, const char *word)
{
	text_member_string(out, key, there ? word : NULL);
}

/* The members of a verdict, each with its leading comma. */
void verdict_write(struct text *out, const struct verdict *v)
{
	text_member_string(out, "verdict", verdict_word_name(v->word));
	word_or_null(out, "side", v->side != SIDE_NONE, verdict_side_name(v->side));
	word_or_null(out, "reason", v->reason != REASON_NONE, verdict_reason_name(v->reason));
	if (v->has_deviation)
		text_member_real(out, "deviation", v->deviation);
	else
		text_member_null(out, "deviation");
	if (v->has_probability)
		text_member_real(out, "probability", v->probability);
	limits_write(out, "limits", &v->limits);
	if (v->assumed)
		text_member_bool(out, "assumed", true);
	if (v->has_other)
		text_member_decimal(out, "other", v->other);
	member_set(out, "why", v->why);
	member_set(out, "next", v->next);
}

void verdicts_write(struct text *out, const struct verdict *tolerance,
                    const struct verdict *service)
{
	verdict_write(out, tolerance);
	if (service->word == VERDICT_NONE) {
		text_member_null(out, "service");
		return;
	}
	text_member(out, "service");
	size_t at = out->len;
	verdict_write(out, service);
	/* The first member's comma becomes the brace. */
	if (!out->failed)
		out->bytes[at] = '{';
	text_add(out, "}", 1);
}

/* The enumerator whose name stands in `s`: 0 for null, -1 for no name of ours. */
static int word_find(struct slice s, int count, const char *(*name)(int))
{
	if (json_absent(s))
		return 0;
	for (int i = 0; i < count; i++)
		if (json_is(s, name(i)))
			return i;
	return -1;
}

static const char *word_name(int i)
{
	return verdict_word_name((enum verdict_word)i);
}

static const char *side_name(int i)
{
	return verdict_side_name((enum verdict_side)i);
}

static const char *reason_name(int i)
{
	return verdict_reason_name((enum verdict_reason)i);
}

bool verdict_read(const char *text, size_t len, struct verdict *v)
{
	*v = (struct verdict){0};
	int word = word_find(json_member(text, len, "verdict"), VERDICT_UNSURE + 1, word_name);
	int side = word_find(json_member(text, len, "side"), SIDE_HIGH + 1, side_name);
	int reason = word_find(json_member(text, len, "reason"), REASON_LIMITS_OF_METER + 1,
	                       reason_name);
	if (word < 0 || side < 0)
		return false;
	v->word = (enum verdict_word)word;
	v->side = (enum verdict_side)side;
	/* A reason that a later version gives does not make the verdict unreadable. */
	v->reason = reason < 0 ? REASON_NONE : (enum verdict_reason)reason;
	v->has_deviation = json_number(json_member(text, len, "deviation"), &v->deviation);
	v->has_probability = json_number(json_member(text, len, "probability"), &v->probability);
	v->assumed = json_bool(json_member(text, len, "assumed"), false);
	v->has_other = json_decimal(json_member(text, len, "other"), &v->other);
	member_string(text, len, "why", v->why, sizeof v->why);
	member_string(text, len, "next", v->next, sizeof v->next);
	return limits_read(json_member(text, len, "limits"), &v->limits);
}

bool verdicts_read(const char *text, size_t len, struct verdict *tolerance,
                   struct verdict *service)
{
	struct slice s = json_member(text, len, "service");
	*service = (struct verdict){0};
	return verdict_read(text, len, tolerance) &&
	       (json_absent(s) || verdict_read(s.at, s.len, service));
}

void against_write(struct text *out, enum against against)
{
	if (against != AGAINST_NOTHING)
		text_member_string(out, "against", against_name(against));
}

enum against against_read(const char *text, size_t len)
{
	struct slice s = json_member(text, len, "against");
	return json_is(s, "fit") ? AGAINST_FIT : json_is(s, "sheet") ? AGAINST_SHEET : AGAINST_NOTHING;
}

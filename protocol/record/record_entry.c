/* SPDX-License-Identifier: MIT */
/*
 * The record of an entry, written and read: see record.h and protocol/SEAL.md.
 */
#include "protocol/record/kinds.h"
#include "protocol/record/record.h"
#include "protocol/trade/frequency.h"

#include <math.h>
#include <string.h>

/* Several words, parted by a space: a low battery may come with an overload. */
static void state_write(struct text *out, unsigned state)
{
	const char *before = "", *word;
	text_member(out, "state");
	text_add(out, "\"", 1);
	while ((word = reading_state_next(&state))) {
		text_puts(out, before);
		text_puts(out, word);
		before = " ";
	}
	text_add(out, "\"", 1);
}

static unsigned state_read(struct slice s)
{
	char words[128];
	unsigned state = 0;
	json_text(s, words, sizeof words);
	for (const char *at = words; *at;) {
		size_t n = strcspn(at, " ");
		state |= reading_state_bit(at, n);
		at += n + (at[n] == ' ');
	}
	return state;
}

/* What u was made of (budget.h): "basis":{"percent":0.5,"counts":2,"s":0.0003}. */
static void basis_write(struct text *out, const struct basis *b, bool scatter)
{
	if (!b->known)
		return;
	text_member(out, "basis");
	if (b->stated) {
		text_puts(out, "{\"stated\":true}");
		return;
	}
	text_puts(out, "{\"percent\":");
	text_real(out, b->percent);
	text_member_real(out, "counts", b->counts);
	if (b->assumed && b->kind)
		text_member_string(out, "class", meter_class_word(b->kind));
	if (b->has_below)
		text_member_decimal(out, "below", b->below);
	if (b->has_hertz)
		text_member_decimal(out, "hertz", b->hertz);
	if (scatter)
		text_member_real(out, "s", b->s);
	if (b->offset_u > 0)
		text_member_real(out, "offset", b->offset_u);
	text_puts(out, "}");
}

void entry_value_write(struct text *out, const struct entry *e)
{
	if (e->has_value) {
		text_member_decimal(out, "value", e->value);
		text_member_decimal(out, "digit", (struct decimal){1, e->value.e});
	} else {
		text_member_null(out, "value");
		text_member_null(out, "digit");
	}
	/* A value that is not there always has a state that says why. */
	if (e->state || !e->has_value)
		state_write(out, e->state ? e->state : READING_INVALID);
	if (e->has_above)
		text_member_decimal(out, "above", e->above);
	else if (e->state & READING_OVERLOAD)
		text_member_null(out, "above"); /* the end of the range is not known */
	text_member_int(out, "prefix", e->prefix);
	text_member_real(out, "u", e->u);
	text_member_int(out, "n", e->n);
	if (e->has_value)
		basis_write(out, &e->basis, e->source == SOURCE_METER);
	text_member_bool(out, "settled", e->settled);
}

static void basis_read(const char *text, size_t len, struct basis *b)
{
	struct slice s = json_member(text, len, "basis");
	memset(b, 0, sizeof *b);
	if (json_absent(s))
		return;
	b->stated = json_bool(json_member(s.at, s.len, "stated"), false);
	b->known = b->stated ||
	           (json_number(json_member(s.at, s.len, "percent"), &b->percent) &&
	            json_number(json_member(s.at, s.len, "counts"), &b->counts) && b->percent >= 0 &&
	            b->counts >= 0);
	char kind[32];
	if (json_text(json_member(s.at, s.len, "class"), kind, sizeof kind))
		(void)meter_class_from_word(kind, strlen(kind), &b->kind);
	b->has_below = json_decimal(json_member(s.at, s.len, "below"), &b->below);
	b->has_hertz = json_decimal(json_member(s.at, s.len, "hertz"), &b->hertz);
	if (!json_number(json_member(s.at, s.len, "s"), &b->s) || !(b->s >= 0))
		b->s = 0;
	if (!json_number(json_member(s.at, s.len, "offset"), &b->offset_u) || !(b->offset_u >= 0))
		b->offset_u = 0;
	b->assumed = json_is(json_member(text, len, "accuracy"), "assumed");
}

/* The same part with the leads swapped, and the same part of the other channel. */
static void company_write(struct text *out, const struct entry *e)
{
	if (e->swapped)
		text_member_string(out, "leads", "swapped");
	if (e->swapped && e->swap != AGREEMENT_UNKNOWN)
		text_member_bool(out, "leads-agree", e->swap == AGREEMENT_YES);
	if (!e->twin[0])
		return;
	text_member(out, "twin");
	text_puts(out, "{\"position\":");
	text_string(out, e->twin, strlen(e->twin));
	text_member_bool(out, "agree", e->twin_agrees);
	text_member_real(out, "difference", e->twin_difference);
	text_puts(out, "}");
}

static void company_read(const char *text, size_t len, struct entry *e)
{
	struct slice twin = json_member(text, len, "twin");
	struct slice agree = json_member(text, len, "leads-agree");
	e->swapped = json_is(json_member(text, len, "leads"), "swapped");
	e->swap = !e->swapped || json_absent(agree) ? AGREEMENT_UNKNOWN
	          : json_bool(agree, false)         ? AGREEMENT_YES
	                                            : AGREEMENT_NO;
	if (json_absent(twin) ||
	    !member_string(twin.at, twin.len, "position", e->twin, sizeof e->twin))
		return;
	e->twin_agrees = json_bool(json_member(twin.at, twin.len, "agree"), false);
	(void)json_number(json_member(twin.at, twin.len, "difference"), &e->twin_difference);
}

static void trail_parts(struct text *out, const struct entry_beside *beside)
{
	text_member(out, "trail");
	text_add(out, "[", 1);
	for (int i = 0; i < beside->trail_count && i < ENTRY_TRAIL_MAX; i++) {
		const struct trail_part *p = &beside->trail[i];
		text_puts(out, i ? ",[" : "[");
		text_ref(out, (struct record_ref){p->seq, p->ticket});
		text_add(out, ",", 1);
		text_int(out, p->from);
		text_add(out, ",", 1);
		text_int(out, p->to);
		text_add(out, "]", 1);
	}
	text_add(out, "]", 1);
}

/* The lead offset that was taken off, what the meter gave before that, and its check. */
void entry_refer_write(struct text *out, const struct entry *e)
{
	if (e->offset)
		text_member_int(out, "offset", e->offset);
	if (e->has_raw) {
		text_member_decimal(out, "raw", e->raw);
		text_member_decimal(out, "raw-digit", (struct decimal){1, e->raw.e});
	}
	if (e->check)
		text_member_int(out, "check", e->check);
}

void entry_beside_write(struct text *out, const struct entry_beside *beside)
{
	if (beside->accuracy_assumed)
		text_member_string(out, "accuracy", "assumed");
	use_write(out, beside->use);
	text_member_ref(out, "guide", beside->guide);
	member_set(out, "because", beside->because);
	asked_by_write(out, &beside->by);
	member_or_null(out, "shown", beside->shown);
	text_member(out, "frames");
	text_add(out, "[", 1);
	for (int i = 0; i < beside->frame_count && i < ENTRY_FRAMES_MAX; i++) {
		if (i)
			text_add(out, ",", 1);
		text_string(out, beside->frames[i], strlen(beside->frames[i]));
	}
	text_add(out, "]", 1);
	trail_parts(out, beside);
}

/* ,"second":{...}, and at which frequency and in which way both were measured, as far as
 * its owner said. */
static void second_write(struct text *out, const struct entry *e, const struct entry_beside *beside)
{
	const struct second *s = &e->second;
	enum quantity q = second_quantity(s->kind);
	struct decimal hertz = e->frequency;
	char mode[12];
	if (s->kind == SECOND_NONE) {
		if (hertz.n)
			text_member_decimal(out, "frequency", hertz);
		return;
	}
	text_member(out, "second");
	text_puts(out, "{\"is\":");
	text_string(out, second_word(s->kind), strlen(second_word(s->kind)));
	if (q == QUANTITY_COUNT)
		text_member_null(out, "quantity");
	else
		text_member_string(out, "quantity", quantity_name(q));
	text_member_string(out, "function", function_name(second_function(s->kind)));
	text_member_decimal(out, "value", s->value);
	text_member_decimal(out, "digit", (struct decimal){1, s->value.e});
	if (s->basis.known) {
		text_member_real(out, "u", s->u);
		text_member_int(out, "n", s->n);
		basis_write(out, &s->basis, true);
		if (s->basis.assumed)
			text_member_string(out, "accuracy", "assumed");
	}
	verdict_write(out, &e->second_verdict);
	text_puts(out, "}");
	struct decimal test;
	if (!beside->use || !test_frequency(beside->use->test[e->function], &test, mode))
		test = (struct decimal){0, 0};
	if (!hertz.n)
		hertz = test;
	if (hertz.n)
		text_member_decimal(out, "frequency", hertz);
	if (beside->use && mode[0])
		text_member_string(out, "mode", mode);
}

static void second_read(const char *text, size_t len, struct entry *e)
{
	struct slice s = json_member(text, len, "second");
	char word[24];
	if (!s.at || *s.at != '{' || !json_text(json_member(s.at, s.len, "is"), word, sizeof word) ||
	    !second_from_word(word, strlen(word), &e->second.kind))
		return; /* one of a later version */
	struct decimal digit;
	if (!json_decimal(json_member(s.at, s.len, "value"), &e->second.value))
		e->second.kind = SECOND_NONE;
	else if (json_decimal(json_member(s.at, s.len, "digit"), &digit))
		decimal_rescale(e->second.value, decimal_strip(digit).e, &e->second.value);
	int64_t n;
	basis_read(s.at, s.len, &e->second.basis);
	if (!json_number(json_member(s.at, s.len, "u"), &e->second.u) || !(e->second.u >= 0) ||
	    !json_int(json_member(s.at, s.len, "n"), &n) || n < 1 || n > INT32_MAX)
		e->second.basis.known = false;
	else
		e->second.n = (int)n;
	if (!verdict_read(s.at, s.len, &e->second_verdict))
		e->second_verdict = (struct verdict){.word = VERDICT_NONE};
}

void entry_write(struct text *out, const struct entry *e, const struct entry_beside *beside)
{
	member_or_null(out, "job", beside->job);
	text_member_string(out, "position", e->position);
	member_set(out, "valve", beside->valve);
	text_member_string(out, "quantity", quantity_name(e->quantity));
	text_member_string(out, "condition", condition_name(e->condition));
	text_member_string(out, "reach", reach_name(e->reach));
	text_member_string(out, "meter", e->meter);
	text_member_string(out, "function", function_name(e->function));
	entry_value_write(out, e);
	entry_refer_write(out, e);
	company_write(out, e);
	second_write(out, e, beside);
	text_member_string(out, "source", source_name(e->source));
	verdicts_write(out, &e->verdict, &e->service);
	against_write(out, e->against);
	entry_beside_write(out, beside);
}

static bool entry_words(const char *text, size_t len, struct entry *e)
{
	char word[32];
#define READ(key, from_name, out) \
	(member_string(text, len, key, word, sizeof word) && from_name(word, strlen(word), out))
	if (!READ("quantity", quantity_from_name, &e->quantity) ||
	    !READ("condition", condition_from_name, &e->condition) ||
	    !READ("reach", reach_from_name, &e->reach) ||
	    !READ("function", function_from_name, &e->function))
		return false;
#undef READ
	struct slice source = json_member(text, len, "source");
	if (json_is(source, source_name(SOURCE_TYPED)))
		e->source = SOURCE_TYPED;
	else if (json_is(source, source_name(SOURCE_METER)))
		e->source = SOURCE_METER;
	else
		return false;
	return member_string(text, len, "position", e->position, sizeof e->position) &&
	       member_string(text, len, "meter", e->meter, sizeof e->meter);
}

static bool entry_read_value(const char *text, size_t len, struct entry *e)
{
	struct slice value = json_member(text, len, "value");
	struct decimal digit;
	int64_t n, prefix;
	if (!json_absent(value)) {
		if (!json_decimal(value, &e->value) ||
		    !json_decimal(json_member(text, len, "digit"), &digit))
			return false;
		digit = decimal_strip(digit);
		if (digit.n != 1 || !decimal_rescale(e->value, digit.e, &e->value))
			return false;
		e->has_value = true;
	}
	e->state = state_read(json_member(text, len, "state"));
	if (!e->has_value && !e->state)
		return false;
	e->has_above = json_decimal(json_member(text, len, "above"), &e->above);
	if (json_int(json_member(text, len, "prefix"), &prefix) && prefix >= -30 && prefix <= 30)
		e->prefix = (int)prefix;
	/* u is null where it was not finite: nothing is known of the value then. */
	if (!json_number(json_member(text, len, "u"), &e->u))
		e->u = INFINITY;
	if (!json_int(json_member(text, len, "n"), &n) || n < 0 || n > INT32_MAX)
		return false;
	e->n = (int)n;
	json_int(json_member(text, len, "offset"), &e->offset);
	json_int(json_member(text, len, "check"), &e->check);
	e->has_raw = e->has_value && json_decimal(json_member(text, len, "raw"), &e->raw);
	if (e->has_raw && json_decimal(json_member(text, len, "raw-digit"), &digit))
		decimal_rescale(e->raw, decimal_strip(digit).e, &e->raw);
	e->settled = json_bool(json_member(text, len, "settled"), false);
	basis_read(text, len, &e->basis);
	company_read(text, len, e);
	struct limits_of_use use;
	if (use_read(text, len, &use))
		use_understand(&use, e->function, &e->use);
	/* What the meter said of this measurement counts before what is said of the meter. */
	struct decimal hertz;
	if (json_decimal(json_member(text, len, "frequency"), &hertz) && hertz.n > 0) {
		if (frequency_suits(e->function))
			frequency_known(e, hertz);
		else
			e->use.frequency = decimal_double(hertz);
	}
	return true;
}

bool entry_read(const char *text, size_t len, struct entry *e)
{
	struct record_head head;
	*e = (struct entry){0};
	if (!record_head_read(text, len, &head) || strcmp(head.kind, "entry") != 0)
		return false;
	e->seq = head.seq;
	e->t = head.t;
	e->against = against_read(text, len);
	second_read(text, len, e);
	return entry_words(text, len, e) && entry_read_value(text, len, e) &&
	       verdicts_read(text, len, &e->verdict, &e->service);
}

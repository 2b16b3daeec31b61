/* SPDX-License-Identifier: MIT */
/*
 * The section [samples] of a dialect file: frames, and what each must be understood
 * as.  See dialect_file.h.
 */
#include "protocol/meter/dialect_draft.h"

#include <stdio.h>
#include <string.h>

static struct sample *sample_of(struct draft *t, const char *name)
{
	for (int k = 0; k < t->samples; k++)
		if (strcmp(t->sample[k].name, name) == 0)
			return &t->sample[k];
	if (t->samples == DIALECT_SAMPLES_MAX || strlen(name) >= sizeof t->sample[0].name || !*name)
		return NULL;
	struct sample *s = &t->sample[t->samples++];
	snprintf(s->name, sizeof s->name, "%s", name);
	return s;
}

bool draft_take_sample(struct draft *t, const struct ini_item *i, struct fault *why)
{
	bool frame = strncmp(i->key, "frame ", 6) == 0;
	if (!frame && strncmp(i->key, "means ", 6) != 0)
		return draft_wrong(t, why, draft_key(i), "`frame N` and `means N` were expected in "
		                   "[samples]");
	struct sample *s = sample_of(t, i->key + 6);
	if (!s)
		return draft_wrong(t, why, draft_key(i), "at most %d samples, with names of 1 to 15 bytes, "
		                   "were expected", DIALECT_SAMPLES_MAX);
	if (frame) {
		s->frame_at = draft_value(i);
		s->has_frame = true;
		return draft_bytes(t, i, i->value, s->bytes, sizeof s->bytes, &s->len, why);
	}
	s->means_at = draft_value(i);
	if (!*i->value)
		return draft_wrong(t, why, draft_value(i), "`%s`: expected what the frame means, such as "
		                   "`ohm 481.2`, or nothing, other", i->key);
	return draft_text(t, i, s->means, sizeof s->means, why);
}

/* ---- what was understood, in the words of `means` ---- */

static size_t say_reading(const struct reading *r, char *out, size_t size)
{
	static const struct { unsigned bit; const char *word; } states[] = {
	    {READING_HOLD, "hold"}, {READING_LOW_BATTERY, "low-battery"},
	    {READING_RELATIVE, "relative"}, {READING_MINMAX, "min-max"}};
	char value[DECIMAL_TEXT_SIZE];
	if (r->has_value)
		decimal_json(r->value, value, sizeof value);
	else
		snprintf(value, sizeof value, "%s%s",
		         r->negative && r->state & READING_OVERLOAD ? "negative " : "",
		         reading_state_word(r->state & (READING_OVERLOAD | READING_UNDER |
		                                        READING_INVALID)));
	size_t n = (size_t)snprintf(out, size, "%s %s", function_name(r->function), value);
	for (size_t i = 0; i < sizeof states / sizeof *states && n < size; i++)
		if (r->state & states[i].bit)
			n += (size_t)snprintf(out + n, size - n, " %s", states[i].word);
	return n < size ? n : size - 1;
}

static void say_understood(const struct understood *u, char *out, size_t size)
{
	size_t n = 0;
	out[0] = '\0';
	switch (u->said) {
	case SAID_READINGS:
		for (int i = 0; i < u->count && n + 2 < size; i++) {
			if (i)
				n += (size_t)snprintf(out + n, size - n, ", ");
			n += say_reading(&u->reading[i], out + n, size - n);
		}
		break;
	case SAID_IDENTITY:
		snprintf(out, size, "identity");
		break;
	case SAID_ERROR:
		snprintf(out, size, "error %d", u->error_number);
		break;
	case SAID_OTHER:
		snprintf(out, size, "other");
		break;
	case SAID_NOTHING:
		snprintf(out, size, "nothing");
		break;
	}
}

/* The next word of *p, up to a blank or a comma; a comma is a word of its own. */
static size_t next_word(const char **p, const char **word)
{
	*p += strspn(*p, " ");
	*word = *p;
	size_t n = **p == ',' ? 1 : strcspn(*p, " ,");
	*p += n;
	return n;
}

/* Word by word; a number may be written in other digits: 481.20 is 481.2. */
static bool means_same(const char *said, const char *means)
{
	for (;;) {
		const char *a, *b;
		struct decimal x, y;
		size_t n = next_word(&said, &a), m = next_word(&means, &b);
		if (!n || !m)
			return n == m;
		bool same = n == m && memcmp(a, b, n) == 0;
		if (!same && !(decimal_parse(a, n, &x) && decimal_parse(b, m, &y) &&
		               decimal_compare(x, y) == 0))
			return false;
	}
}

/* ---- one sample ---- */

struct split {
	int good, all;
	size_t len;
};

static void on_frame(void *arg, const struct frame *f)
{
	struct split *s = arg;
	s->all++;
	s->good += f->fault == FRAME_GOOD;
	s->len = f->len;
}

/* Would the line give it as one frame?  Behind a silence, with its end. */
static bool is_one_frame(const struct dialect *d, const struct sample *s)
{
	struct frame_splitter splitter;
	struct split got = {0};
	dialect_split(d, &splitter, -1000000000);
	frame_feed(&splitter, 0, s->bytes, s->len, on_frame, &got);
	if (d->end == FRAME_LINE)
		frame_feed(&splitter, 0, d->sync.tails ? d->sync.tail : "\n", 1, on_frame, &got);
	frame_finish(&splitter, on_frame, &got);
	return got.all == 1 && got.good == 1 && got.len == s->len;
}

static bool check_sample(const struct draft *t, const struct sample *s, struct fault *why)
{
	struct dialect_setting setting = {.function = t->d->function, .rules = t->d->row.rules};
	struct dialect_memory memory = {0};
	struct frame f = {.bytes = s->bytes, .len = s->len, .fault = FRAME_GOOD};
	struct understood u;
	char said[512];
	if (!s->has_frame || !s->means[0])
		return draft_wrong(t, why, s->has_frame ? s->frame_at : s->means_at,
		                   "sample %s wants both `frame %s` and `means %s`", s->name, s->name,
		                   s->name);
	understood_clear(&u, SAID_NOTHING);
	if (is_one_frame(&t->d->row, s)) {
		t->d->row.understand(&setting, &memory, &f, &u);
	} else if (t->d->row.end == FRAME_LINE) {
		return draft_wrong(t, why, s->frame_at, "sample %s is no one frame: expected a line "
		                   "without its end", s->name);
	} else { /* a damaged one may well stand among the samples */
		u.said = SAID_NOTHING;
		snprintf(u.why, sizeof u.why, "by its length, head, tail or numbers it is no frame");
	}
	say_understood(&u, said, sizeof said);
	if (means_same(said, s->means))
		return true;
	return draft_wrong(t, why, s->means_at, "sample %s is understood as `%.120s`, not as `%.80s`%s%s",
	                   s->name, said, s->means, u.said == SAID_NOTHING ? ": " : "",
	                   u.said == SAID_NOTHING ? u.why : "");
}

bool draft_check_samples(struct draft *t, struct fault *why)
{
	for (int k = 0; k < t->samples; k++)
		if (!check_sample(t, &t->sample[k], why))
			return false;
	t->d->samples = t->samples;
	return true;
}

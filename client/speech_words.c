/* SPDX-License-Identifier: MIT */
/* See speech_words.h. */
#include "client/speech_words.h"

#include "client/guide_words.h"
#include "client/sentence.h"
#include "client/speech_inside.h"
#include "client/words.h"
#include "protocol/guide/guide.h"

#include <stdio.h>
#include <string.h>

/* A place or a role is said with each name: the bench waits 5 s for all of it
 * (daemon/bench_speech.c), and a note in the sheet may be a whole story. */
#define BRIEF_MAX 44

static const struct speech_table *const language[LANGUAGE_COUNT] = {
	[LANGUAGE_EN] = &speech_table_en,
	[LANGUAGE_DE] = &speech_table_de,
};

const struct speech_table *speech_table_of(enum language l)
{
	return (int)l >= 0 && l < LANGUAGE_COUNT ? language[l] : &speech_table_en;
}

bool language_from_name(const char *name, enum language *out)
{
	size_t n = name ? strcspn(name, "-_.@") : 0;
	for (int i = 0; i < LANGUAGE_COUNT; i++)
		if (n && strlen(language[i]->name) == n && strncmp(language[i]->name, name, n) == 0) {
			*out = (enum language)i;
			return true;
		}
	return false;
}

const char *language_name(enum language l)
{
	return speech_table_of(l)->name;
}

const char *speech_name(enum language l, enum happening what)
{
	return (int)what >= 0 && (int)what < HAPPENING_COUNT ? speech_table_of(l)->happening[what] : "";
}

const char *speech_ear_name(enum language l, int sample)
{
	return sample >= 0 && sample < EAR_SAMPLES ? speech_table_of(l)->ear[sample] : "";
}

const char *speech_pair_said(const struct speech_pair *p, const char *written, size_t len)
{
	for (; written && p->written; p++)
		if (strlen(p->written) == len && memcmp(p->written, written, len) == 0)
			return p->said;
	return NULL;
}

const char *speech_word_said(const struct speech_pair *p, const char *written)
{
	const char *said = written ? speech_pair_said(p, written, strlen(written)) : NULL;
	return said ? said : "";
}

/* ---- happenings ---- */

/* Its beginning, to the end of a word. */
static void say_brief(struct sentence *s, const char *text)
{
	char clean[SPEECH_FREE * 2];
	if (!text)
		return;
	words_clean(text, strlen(text), clean, sizeof clean);
	size_t len = strlen(clean), n = words_cut(clean, len, BRIEF_MAX);
	if (n < len) {
		size_t blank = n;
		while (blank && clean[blank] != ' ')
			blank--;
		n = blank ? blank : n;
		while (n && (clean[n - 1] == ',' || clean[n - 1] == ' '))
			n--;
	}
	clean[n] = '\0';
	sentence_part(s, clean);
}

static void say_position(struct sentence *s, enum language l, const char *name)
{
	char words[256];
	if (!name)
		return;
	speech_position(l, name, words, sizeof words);
	sentence_part(s, words);
}

static void say_value(struct sentence *s, enum language l, const char *shown)
{
	char words[256];
	if (!shown)
		return;
	speech_value(l, shown, words, sizeof words);
	sentence_part(s, words);
}

static void say_entry(struct sentence *s, enum language l, const struct happening_told *told)
{
	const struct speech_table *t = speech_table_of(l);
	bool negative = told->shown &&
	                (told->shown[0] == '-' || strncmp(told->shown, "\u2212", 3) == 0);
	say_position(s, l, told->position);
	sentence_part(s, speech_word_said(t->quantities, told->quantity));
	say_value(s, l, told->shown);
	sentence_part(s, speech_word_said(t->verdicts, told->verdict));
	/* The side of what is within says nothing. */
	if (told->what == HAPPENED_LOGGED)
		return;
	const char *why = told->why ? told->why : "", *rest = speech_say_deviation(s, l, why);
	if (rest == why)
		sentence_part(s, speech_word_said(negative ? t->negative_sides : t->sides, told->side));
	speech_say_why(s, l, rest, false);
}

/* Why a run was given up, with the step that follows from it; without a step what it says in
 * between, or at its end.  Of a later daemon: as it stands. */
static void say_guide_why(struct sentence *s, enum language l, const struct happening_told *told)
{
	char text[GUIDE_WORDS_SIZE], words[GUIDE_WORDS_SIZE];
	if (!told->why)
		return;
	const char *known = told->guide ? speech_known_reason(speech_table_of(l), told->why) : NULL;
	snprintf(text, sizeof text, "%s%s", told->guide ? "given up: " : "", told->why);
	if (known)
		sentence_part(s, known);
	else if (guide_words(l, GUIDE_SPOKEN, text, words, sizeof words))
		sentence_part(s, words);
	else
		speech_say_free(s, told->why);
}

/* All of them, before the yes: who works by foot and ear reads no screen. */
static void say_cautions(struct sentence *s, enum language l, const char *step)
{
	char kind[24], words[GUIDE_WORDS_SIZE];
	enum guide_kind k;
	size_t n = strcspn(step, ".");
	snprintf(kind, sizeof kind, "%.*s", (int)n, step);
	if (strcmp(step + n, ".caution") != 0 || !guide_from_name(kind, &k))
		return;
	for (const char *const *c = guide_cautions(k); *c; c++) {
		if (!guide_words(l, GUIDE_SPOKEN, *c, words, sizeof words))
			continue;
		sentence_text(s, s->len ? ". " : "");
		sentence_text(s, words);
	}
	sentence_text(s, ". ");
}

/* A step of a guided run: what it is of, why it was given up, what to do, the value of it. */
static void say_guide(struct sentence *s, enum language l, const struct happening_told *told)
{
	const struct speech_table *t = speech_table_of(l);
	const char *phrase = told->guide ? speech_word_said(t->guides, told->guide) : "";
	char value[256] = "";
	say_position(s, l, told->position);
	say_guide_why(s, l, told);
	if (told->guide)
		say_cautions(s, l, told->guide);
	if (told->shown)
		speech_value(l, told->shown, value, sizeof value);
	if (strchr(phrase, '$') && value[0]) {
		sentence_phrase(s, phrase, value);
	} else {
		sentence_part(s, value);
		sentence_part(s, speech_word_said(t->verdicts, told->verdict));
		if (s->len > 1 && s->out[s->len - 1] == ' ') /* behind the cautions */
			sentence_text(s, phrase);
		else
			sentence_part(s, phrase);
	}
	if (told->limit) {
		speech_value(l, told->limit, value, sizeof value);
		sentence_phrase(s, t->limit, value);
	}
}

/* Its role, which is the person's own words; where it has none what comes is its kind. */
static void say_role(struct sentence *s, enum language l, const char *role)
{
	const struct speech_table *t = speech_table_of(l);
	const char *kind = role ? speech_pair_said(t->kinds, role, strlen(role)) : NULL;
	if (kind)
		sentence_part(s, kind);
	else
		say_brief(s, role);
}

static void say_meter(struct sentence *s, const char *phrase,
                      const char *daemon, const char *meter)
{
	char clean[SPEECH_FREE];
	if (!meter) {
		sentence_part(s, daemon);
		return;
	}
	words_clean(meter, strlen(meter), clean, sizeof clean);
	sentence_phrase(s, phrase, clean);
}

void speech_happening(enum language l, const struct happening_told *told, bool whole, char *out,
                      size_t size)
{
	const struct speech_table *t = speech_table_of(l);
	struct sentence s = sentence_begin(out, size);
	char looks[256], guided[GUIDE_WORDS_SIZE];
	const char *alarm;
	switch (told->what) {
	case HAPPENED_LOGGED:
		if (whole) {
			say_entry(&s, l, told);
		} else if (speech_word_said(t->states, told->shown)[0]) { /* the tone would pass for a value */
			say_position(&s, l, told->position);
			sentence_part(&s, speech_word_said(t->quantities, told->quantity));
			say_value(&s, l, told->shown);
		}
		break;
	case HAPPENED_OUTSIDE:
	case HAPPENED_UNSURE:
		say_entry(&s, l, told);
		break;
	case HAPPENED_HELD:
		say_position(&s, l, told->position);
		say_value(&s, l, told->shown);
		if (told->looks) {
			speech_position(l, told->looks, looks, sizeof looks);
			sentence_phrase(&s, t->held, looks);
		}
		break;
	case HAPPENED_REFUSED:
		sentence_part(&s, t->refused);
		say_position(&s, l, told->position);
		speech_say_why(&s, l, told->why, true);
		break;
	case HAPPENED_MOVING:
		say_position(&s, l, told->position);
		sentence_part(&s, t->moving);
		break;
	case HAPPENED_DOUBT:
		say_position(&s, l, told->position);
		say_value(&s, l, told->shown);
		sentence_part(&s, t->doubt);
		break;
	case HAPPENED_DISAGREE:
		say_position(&s, l, told->position);
		sentence_part(&s, speech_word_said(t->quantities, told->quantity));
		sentence_part(&s, t->disagree);
		speech_say_free(&s, told->meter);
		speech_say_free(&s, told->other);
		break;
	case HAPPENED_GONE:
		say_meter(&s, t->gone, t->daemon_gone, told->meter);
		break;
	case HAPPENED_BACK:
		say_meter(&s, t->back, t->daemon_back, told->meter);
		break;
	case HAPPENED_STALE:
		say_meter(&s, t->stale, t->happening[HAPPENED_STALE], told->meter);
		break;
	case HAPPENED_NOT_LOGGED:
		sentence_part(&s, t->not_logged);
		say_position(&s, l, told->position);
		speech_say_why(&s, l, told->why, true);
		break;
	case HAPPENED_UP:
		say_position(&s, l, told->position);
		sentence_part(&s, speech_word_said(t->quantities, told->quantity));
		say_brief(&s, told->place);
		say_role(&s, l, told->role);
		break;
	case HAPPENED_LIVE:
		sentence_part(&s, t->live);
		break;
	case HAPPENED_COLD:
		sentence_part(&s, t->cold);
		break;
	case HAPPENED_GUIDE:
		say_guide(&s, l, told);
		break;
	case HAPPENED_ALARM:
		alarm = told->alarm ? speech_word_said(t->alarms, told->alarm) : "";
		sentence_part(&s, alarm[0] ? alarm : t->happening[HAPPENED_ALARM]);
		/* Which limit comes behind what is to be done. */
		if (!alarm[0])
			speech_say_why(&s, l, told->why, true);
		else if (told->why && strcmp(told->alarm, "guide") == 0 &&
		         guide_words(l, GUIDE_SPOKEN, told->why, guided, sizeof guided))
			sentence_part(&s, guided);
		break;
	}
}

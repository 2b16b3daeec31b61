/* SPDX-License-Identifier: MIT */
/* See speech_words.h. */
#include "client/speech_words.h"

#include "client/guide_words.h"
#include "client/speech_table.h"
#include "client/words.h"
#include "protocol/guide/guide.h"

#include <stdint.h>
#include <stdio.h>
#include <string.h>

/* A free text (a reason) is spoken up to here. */
#define FREE_MAX 120
/* ... and a place or a role, which are said with each name: the bench waits 5 s for all of it
 * (daemon/bench_speech.c), and a note in the sheet may be a whole story. */
#define BRIEF_MAX 44

static const struct speech_table *const language[LANGUAGE_COUNT] = {
	[LANGUAGE_EN] = &speech_table_en,
	[LANGUAGE_DE] = &speech_table_de,
};

static const struct speech_table *table_of(enum language l)
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
	return table_of(l)->name;
}

const char *speech_name(enum language l, enum happening what)
{
	return (int)what >= 0 && (int)what < HAPPENING_COUNT ? table_of(l)->happening[what] : "";
}

const char *speech_ear_name(enum language l, int sample)
{
	return sample >= 0 && sample < EAR_SAMPLES ? table_of(l)->ear[sample] : "";
}

/* ---- a bounded text ---- */

struct say {
	char *out;
	size_t size, len;
	bool full; /* something was cut: nothing comes behind it */
};

static struct say say_begin(char *out, size_t size)
{
	if (size)
		out[0] = '\0';
	return (struct say){out, size, 0, false};
}

/* What does not fit is cut at a character. */
static void say_bytes(struct say *s, const char *text, size_t n)
{
	size_t room = s->size ? s->size - 1 - s->len : 0;
	if (s->full)
		return;
	if (n > room) {
		s->full = true;
		n = room;
		while (n && ((unsigned char)text[n] & 0xC0) == 0x80)
			n--;
	}
	if (!n)
		return;
	memcpy(s->out + s->len, text, n);
	s->len += n;
	s->out[s->len] = '\0';
}

static void say_text(struct say *s, const char *text)
{
	say_bytes(s, text, strlen(text));
}

/* The next word, after a blank where one stands before it. */
static void say_word(struct say *s, const char *word)
{
	if (s->len && word[0])
		say_text(s, " ");
	say_text(s, word);
}

/* The next part of a sentence, after a comma; nothing for an empty one. */
static void say_part(struct say *s, const char *part)
{
	if (!part || !part[0])
		return;
	if (s->len)
		say_text(s, ", ");
	say_text(s, part);
}

/* A phrase with what stands for its $. */
static void say_phrase(struct say *s, const char *phrase, const char *what)
{
	char part[256];
	struct say p = say_begin(part, sizeof part);
	const char *mark = strchr(phrase, '$');
	if (mark) {
		say_bytes(&p, phrase, (size_t)(mark - phrase));
		say_text(&p, what);
	}
	say_text(&p, mark ? mark + 1 : phrase);
	say_part(s, part);
}

static const char *pair_of(const struct speech_pair *p, const char *written, size_t len)
{
	for (; written && p->written; p++)
		if (strlen(p->written) == len && memcmp(p->written, written, len) == 0)
			return p->said;
	return NULL;
}

static const char *pair_text(const struct speech_pair *p, const char *written)
{
	const char *said = written ? pair_of(p, written, strlen(written)) : NULL;
	return said ? said : "";
}

/* ---- numbers ---- */

static bool digit(char c)
{
	return c >= '0' && c <= '9';
}

static size_t digits_at(const char *text)
{
	size_t n = 0;
	while (digit(text[n]))
		n++;
	return n;
}

static void say_digits(struct say *s, const struct speech_table *t, const char *digits, size_t n)
{
	for (size_t i = 0; i < n; i++)
		say_word(s, t->digit[digits[i] - '0']);
}

/* Digits as one number, up to `most` of them; else one by one. */
static void say_whole(struct say *s, const struct speech_table *t, const char *digits, size_t n,
                      size_t most)
{
	char words[SPEECH_NUMBER];
	unsigned value = 0;
	if (n > most || (n > 1 && digits[0] == '0')) {
		say_digits(s, t, digits, n);
		return;
	}
	for (size_t i = 0; i < n; i++)
		value = value * 10 + (unsigned)(digits[i] - '0');
	t->number(value, words);
	say_word(s, words);
}

/* ---- positions ---- */

static bool letter(char c)
{
	return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

/* Is this run of letters a word rather than a row of letters? */
static bool is_word(const char *run, size_t n)
{
	bool vowel = false, capital = false;
	for (size_t i = 0; i < n; i++) {
		vowel = vowel || strchr("aeiouyAEIOUY", run[i]);
		capital = capital || (i && run[i] >= 'A' && run[i] <= 'Z');
	}
	return vowel && (n > 3 || (n == 3 && !capital));
}

static void say_letters(struct say *s, const struct speech_table *t, const char *run, size_t n)
{
	char word[64];
	if (is_word(run, n) && n < sizeof word) {
		/* In small letters: a voice spells capitals. */
		for (size_t i = 0; i < n; i++)
			word[i] = (char)(i && run[i] <= 'Z' ? run[i] + 'a' - 'A' : run[i]);
		word[n] = '\0';
		say_word(s, word);
		return;
	}
	for (size_t i = 0; i < n; i++) {
		char one[2] = {(char)(run[i] >= 'a' ? run[i] + 'A' - 'a' : run[i]), '\0'};
		say_word(s, one[0] == 'A' ? t->letter_a : one);
	}
}

void speech_position(enum language l, const char *name, char *out, size_t size)
{
	const struct speech_table *t = table_of(l);
	struct say s = say_begin(out, size);
	while (*name) {
		size_t n = 0;
		if (digit(*name)) {
			n = digits_at(name);
			say_whole(&s, t, name, n, 3);
		} else if (letter(*name)) {
			while (letter(name[n]))
				n++;
			say_letters(&s, t, name, n);
		} else {
			n = 1;
			const char *said = pair_of(t->separators, name, 1);
			if (said)
				say_word(&s, said);
		}
		name += n;
	}
}

/* ---- values ---- */

/* What may be written before or after a number, in one form: the micro and ohm signs
 * and the true minus become ASCII. */
static void ascii(const char *shown, char *out, size_t size)
{
	static const struct speech_pair sign[] = {
		{"\u00b5", "u"}, {"\u03bc", "u"}, {"\u03a9", "ohm"}, {"\u2126", "ohm"}, {"\u2212", "-"},
		{"\u00b0", ""},  {"\u00a0", " "}, {"\u202f", " "}, {NULL, NULL}};
	struct say s = say_begin(out, size);
	while (*shown) {
		const struct speech_pair *p = sign;
		while (p->written && strncmp(shown, p->written, strlen(p->written)) != 0)
			p++;
		say_bytes(&s, p->written ? p->said : shown, p->written ? strlen(p->said) : 1);
		shown += p->written ? strlen(p->written) : 1;
	}
}

static const struct speech_unit *unit_of(const struct speech_table *t, const char *text, size_t n)
{
	char lower[8] = "";
	/* Ohm is written with a capital, too. */
	bool ohm = n == 3 && memcmp(text + 1, "hm", 2) == 0 && (*text == 'o' || *text == 'O');
	snprintf(lower, sizeof lower, "%.*s", ohm ? 3 : 0, "ohm");
	for (const struct speech_unit *u = t->units; u->written; u++)
		if (strlen(u->written) == n && memcmp(u->written, ohm ? lower : text, n) == 0)
			return u;
	return NULL;
}

/* Prefix and unit as one word, "" for none; false for what is no unit. */
static bool unit_words(const struct speech_table *t, const char *text, size_t n, bool one,
                       char *out, size_t size)
{
	const struct speech_unit *u = unit_of(t, text, n);
	const char *prefix = "";
	out[0] = '\0';
	if (n == 0)
		return true;
	if (!u && n > 1 && (prefix = pair_of(t->prefixes, text, 1)))
		u = unit_of(t, text + 1, n - 1);
	if (!u || !prefix)
		return false;
	const char *word = one ? u->one : u->many;
	snprintf(out, size, "%s%s%s", prefix, prefix[0] ? u->joint : "", word);
	/* "MikroFarad" is no word: within it the capital goes. */
	char *within = out + strlen(prefix);
	if (prefix[0] && *within >= 'A' && *within <= 'Z')
		*within = (char)(*within + 'a' - 'A');
	return true;
}

/* A number and its unit; false, and nothing said, where it is none. */
static bool say_number(struct say *s, const struct speech_table *t, const char *text)
{
	char unit[64];
	bool minus = *text == '-', above = *text == '>';
	text += minus || above || *text == '+';
	while (above && *text == ' ')
		text++;
	size_t whole = digits_at(text);
	const char *fraction = text[whole] == '.' ? text + whole + 1 : text + whole;
	size_t after = fraction > text + whole ? digits_at(fraction) : 0;
	const char *rest = fraction + after;
	if (!whole && !after)
		return false;
	rest += *rest == ' ';
	size_t n = strcspn(rest, " ");
	bool one = whole == 1 && text[0] == '1' && !after;
	if (!unit_words(t, rest, n, one, unit, sizeof unit))
		return false;
	/* " AC" and " DC" may stand behind; anything else is no value. */
	const char *kind = rest + n + (rest[n] == ' ');
	bool ac = strcmp(kind, "AC") == 0, dc = strcmp(kind, "DC") == 0;
	if (kind[0] && !ac && !dc)
		return false;
	say_word(s, above ? t->above : minus ? t->minus : "");
	if (one && n)
		say_word(s, t->one);
	else if (whole)
		say_whole(s, t, text, whole, 9);
	else
		say_word(s, t->digit[0]);
	say_word(s, after ? t->point : "");
	say_digits(s, t, fraction, after);
	say_word(s, unit);
	say_word(s, ac ? "A C" : dc ? "D C" : "");
	return true;
}

void speech_value(enum language l, const char *shown, char *out, size_t size)
{
	const struct speech_table *t = table_of(l);
	struct say s = say_begin(out, size);
	char text[128];
	ascii(shown, text, sizeof text);
	const char *state = pair_of(t->states, text, strlen(text));
	if (state)
		say_text(&s, state);
	else if (strncmp(text, "above ", 6) == 0 && digit(text[6])) {
		text[5] = '>';
		if (!say_number(&s, t, text + 5))
			say_text(&s, shown);
	} else if (!say_number(&s, t, text)) {
		words_clean(shown, strlen(shown), text, sizeof text);
		say_text(&s, text);
	}
}

/* ---- reasons ---- */

static bool in_word(char c)
{
	return letter(c) || digit(c);
}

/* Do the words stand in the text, whole? */
static bool has_words(const char *text, const char *words)
{
	size_t n = strlen(words);
	for (const char *at = text; (at = strstr(at, words)); at++)
		if ((at == text || !in_word(at[-1])) && !in_word(at[n]))
			return true;
	return false;
}

static const char *known_reason(const struct speech_table *t, const char *why)
{
	/* The word itself, or what the word means for people, first: `meter` stands in
	 * many sentences. */
	for (const struct speech_reason *r = t->reasons; r->written; r++)
		if (strcmp(why, r->written) == 0 || strcmp(why, words_reason(r->written)) == 0)
			return r->said;
	for (const struct speech_reason *r = t->reasons; r->written; r++)
		if (strchr(r->written, ' ') && has_words(why, r->written))
			return r->said;
	for (const struct speech_reason *r = t->reasons; r->written; r++)
		if (!strchr(r->written, ' ') && words_reason(r->written) == r->written &&
		    has_words(why, r->written))
			return r->said;
	return NULL;
}

static void say_free(struct say *s, const char *text)
{
	char clean[FREE_MAX];
	if (!text)
		return;
	words_clean(text, strlen(text), clean, sizeof clean);
	say_part(s, clean);
}

/* Its beginning, to the end of a word. */
static void say_brief(struct say *s, const char *text)
{
	char clean[FREE_MAX * 2];
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
	say_part(s, clean);
}

/* The words of one deviation as words.h writes it; false for what is none. */
static bool deviation_words(enum language l, const char *text, char *out, size_t size)
{
	const struct speech_table *t = table_of(l);
	char value[256], number[FREE_MAX];
	const char *percent = strstr(text, " % ");
	const char *side = percent ? pair_text(t->deviations, percent + 3) : "";
	size_t times = strspn(text, "0123456789");
	out[0] = '\0';
	if (side[0]) {
		snprintf(number, sizeof number, "%.*s %%", (int)(percent - text), text);
		speech_value(l, number, value, sizeof value);
		snprintf(out, size, "%s %s", value, side);
	} else if (times && strcmp(text + times, " times nominal") == 0) {
		snprintf(number, sizeof number, "%.*s", (int)times, text);
		speech_value(l, number, value, sizeof value);
		snprintf(out, size, "%s %s", value, t->times);
	} else if (strcmp(text, "on nominal") == 0) {
		snprintf(out, size, "%s", t->on_nominal);
	} else if (strncmp(text, "above ", 6) == 0) {
		speech_value(l, text, out, size);
	} else {
		snprintf(out, size, "%s", pair_text(t->sides, text));
	}
	return out[0] != '\0';
}

/* A deviation may stand before the reason, parted by a semicolon or a comma: "30.0 % high;
 * carbon, drifted up".  It says the side, too.  Returns what follows it; `why` where there
 * is none. */
static const char *say_deviation(struct say *s, enum language l, const char *why)
{
	static const char sign[] = ", of the wrong sign";
	char clause[FREE_MAX], words[WORDS_SIZE];
	size_t n = strcspn(why, ",;");
	snprintf(clause, sizeof clause, "%.*s", (int)n, why);
	if (!deviation_words(l, clause, words, sizeof words))
		return why;
	say_part(s, words);
	why += n;
	if (strncmp(why, sign, sizeof sign - 1) == 0)
		why += sizeof sign - 1;
	return why + strspn(why, ",; ");
}

static void say_why(struct say *s, enum language l, const char *why, bool must)
{
	const struct speech_table *t = table_of(l);
	char first[FREE_MAX], value[WORDS_SIZE];
	if (!why || !why[0])
		return;
	size_t n = strcspn(why, ":;");
	struct say clause = say_begin(first, sizeof first);
	say_bytes(&clause, why, n);
	char guided[GUIDE_WORDS_SIZE];
	bool whole = t->other_reason && guide_words(l, GUIDE_SPOKEN, why, guided, sizeof guided);
	const char *known = whole ? guided : known_reason(t, why);
	if (!known)
		known = known_reason(t, first);
	if (known)
		say_part(s, known);
	else if (!t->other_reason)
		say_free(s, first);
	else if (must)
		say_part(s, t->other_reason);
	/* "another value seems to be fitted: 22 kohm" */
	if (why[n] == ':' && digit(why[n + 1 + (why[n + 1] == ' ')])) {
		speech_value(l, why + n + 1 + (why[n + 1] == ' '), value, sizeof value);
		say_part(s, value);
	}
}

/* ---- happenings ---- */

static void say_position(struct say *s, enum language l, const char *name)
{
	char words[256];
	if (!name)
		return;
	speech_position(l, name, words, sizeof words);
	say_part(s, words);
}

static void say_value(struct say *s, enum language l, const char *shown)
{
	char words[256];
	if (!shown)
		return;
	speech_value(l, shown, words, sizeof words);
	say_part(s, words);
}

static void say_entry(struct say *s, enum language l, const struct happening_told *told)
{
	const struct speech_table *t = table_of(l);
	bool negative = told->shown &&
	                (told->shown[0] == '-' || strncmp(told->shown, "\u2212", 3) == 0);
	say_position(s, l, told->position);
	say_part(s, pair_text(t->quantities, told->quantity));
	say_value(s, l, told->shown);
	say_part(s, pair_text(t->verdicts, told->verdict));
	/* The side of what is within says nothing. */
	if (told->what == HAPPENED_LOGGED)
		return;
	const char *why = told->why ? told->why : "", *rest = say_deviation(s, l, why);
	if (rest == why)
		say_part(s, pair_text(negative ? t->negative_sides : t->sides, told->side));
	say_why(s, l, rest, false);
}

/* Why a run was given up, with the step that follows from it; without a step what it says in
 * between, or at its end.  Of a later daemon: as it stands. */
static void say_guide_why(struct say *s, enum language l, const struct happening_told *told)
{
	char text[GUIDE_WORDS_SIZE], words[GUIDE_WORDS_SIZE];
	if (!told->why)
		return;
	const char *known = told->guide ? known_reason(table_of(l), told->why) : NULL;
	snprintf(text, sizeof text, "%s%s", told->guide ? "given up: " : "", told->why);
	if (known)
		say_part(s, known);
	else if (guide_words(l, GUIDE_SPOKEN, text, words, sizeof words))
		say_part(s, words);
	else
		say_free(s, told->why);
}

/* All of them, before the yes: who works by foot and ear reads no screen. */
static void say_cautions(struct say *s, enum language l, const char *step)
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
		say_text(s, s->len ? ". " : "");
		say_text(s, words);
	}
	say_text(s, ". ");
}

/* A step of a guided run: what it is of, why it was given up, what to do, the value of it. */
static void say_guide(struct say *s, enum language l, const struct happening_told *told)
{
	const struct speech_table *t = table_of(l);
	const char *phrase = told->guide ? pair_text(t->guides, told->guide) : "";
	char value[256] = "";
	say_position(s, l, told->position);
	say_guide_why(s, l, told);
	if (told->guide)
		say_cautions(s, l, told->guide);
	if (told->shown)
		speech_value(l, told->shown, value, sizeof value);
	if (strchr(phrase, '$') && value[0]) {
		say_phrase(s, phrase, value);
	} else {
		say_part(s, value);
		say_part(s, pair_text(t->verdicts, told->verdict));
		if (s->len > 1 && s->out[s->len - 1] == ' ') /* behind the cautions */
			say_text(s, phrase);
		else
			say_part(s, phrase);
	}
	if (told->limit) {
		speech_value(l, told->limit, value, sizeof value);
		say_phrase(s, t->limit, value);
	}
}

/* Its role, which is the person's own words; where it has none what comes is its kind. */
static void say_role(struct say *s, enum language l, const char *role)
{
	const struct speech_table *t = table_of(l);
	const char *kind = role ? pair_of(t->kinds, role, strlen(role)) : NULL;
	if (kind)
		say_part(s, kind);
	else
		say_brief(s, role);
}

static void say_meter(struct say *s, const char *phrase,
                      const char *daemon, const char *meter)
{
	char clean[FREE_MAX];
	if (!meter) {
		say_part(s, daemon);
		return;
	}
	words_clean(meter, strlen(meter), clean, sizeof clean);
	say_phrase(s, phrase, clean);
}

void speech_happening(enum language l, const struct happening_told *told, bool whole, char *out,
                      size_t size)
{
	const struct speech_table *t = table_of(l);
	struct say s = say_begin(out, size);
	char looks[256], guided[GUIDE_WORDS_SIZE];
	const char *alarm;
	switch (told->what) {
	case HAPPENED_LOGGED:
		if (whole) {
			say_entry(&s, l, told);
		} else if (pair_text(t->states, told->shown)[0]) { /* the tone would pass for a value */
			say_position(&s, l, told->position);
			say_part(&s, pair_text(t->quantities, told->quantity));
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
			say_phrase(&s, t->held, looks);
		}
		break;
	case HAPPENED_REFUSED:
		say_part(&s, t->refused);
		say_position(&s, l, told->position);
		say_why(&s, l, told->why, true);
		break;
	case HAPPENED_MOVING:
		say_position(&s, l, told->position);
		say_part(&s, t->moving);
		break;
	case HAPPENED_DOUBT:
		say_position(&s, l, told->position);
		say_value(&s, l, told->shown);
		say_part(&s, t->doubt);
		break;
	case HAPPENED_DISAGREE:
		say_position(&s, l, told->position);
		say_part(&s, pair_text(t->quantities, told->quantity));
		say_part(&s, t->disagree);
		say_free(&s, told->meter);
		say_free(&s, told->other);
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
		say_part(&s, t->not_logged);
		say_position(&s, l, told->position);
		say_why(&s, l, told->why, true);
		break;
	case HAPPENED_UP:
		say_position(&s, l, told->position);
		say_part(&s, pair_text(t->quantities, told->quantity));
		say_brief(&s, told->place);
		say_role(&s, l, told->role);
		break;
	case HAPPENED_LIVE:
		say_part(&s, t->live);
		break;
	case HAPPENED_COLD:
		say_part(&s, t->cold);
		break;
	case HAPPENED_GUIDE:
		say_guide(&s, l, told);
		break;
	case HAPPENED_ALARM:
		alarm = told->alarm ? pair_text(t->alarms, told->alarm) : "";
		say_part(&s, alarm[0] ? alarm : t->happening[HAPPENED_ALARM]);
		/* Which limit comes behind what is to be done. */
		if (!alarm[0])
			say_why(&s, l, told->why, true);
		else if (told->why && strcmp(told->alarm, "guide") == 0 &&
		         guide_words(l, GUIDE_SPOKEN, told->why, guided, sizeof guided))
			say_part(&s, guided);
		break;
	}
}

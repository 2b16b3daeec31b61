/* SPDX-License-Identifier: MIT */
/*
 * Help for what is typed: what is likely stands there already, Tab completes names that
 * the bench has, Enter looks first whether it can be understood.
 */
#include "client/sitting_inside.h"

#include "client/known.h"
#include "client/phrase_line.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

/* ---- names ---- */

static const char *typed_from(const struct scene *s, int nth)
{
	for (int i = 0; i < s->entry_count; i++) {
		const struct scene_entry *e = scene_entry(s, i);
		bool before = false;
		for (int k = 0; e->typed && k < i && !before; k++)
			before = scene_entry(s, k)->typed && strcmp(scene_entry(s, k)->meter, e->meter) == 0;
		if (e->typed && !before && nth-- == 0)
			return e->meter;
	}
	return NULL;
}

static const char *reference(const struct scene *s, int nth)
{
	for (int i = 0; i < s->sheet_count; i++)
		if (strcmp(s->sheet[i].kind, "reference") == 0 && nth-- == 0)
			return s->sheet[i].name;
	return NULL;
}

/* The nth name of a sort, NULL behind the last. */
static const char *name_of(const struct scene *s, enum phrase_word sort, int nth)
{
	static const char *const leads[] = {"short", "open"};
	switch (sort) {
	case PHRASE_POSITION:
		return nth < s->sheet_count ? s->sheet[nth].name : NULL;
	case PHRASE_REFERENCE:
		return reference(s, nth);
	case PHRASE_QUANTITY:
		return nth < QUANTITY_COUNT ? quantity_name((enum quantity)nth) : NULL;
	case PHRASE_METER:
		return nth < s->meters ? s->meter[nth].name : NULL;
	case PHRASE_INSTRUMENT:
		return typed_from(s, nth);
	case PHRASE_LEADS:
		return nth < 2 ? leads[nth] : NULL;
	case PHRASE_WAITING: /* until it was asked, any */
		if (s->waiting_count)
			return nth < s->waiting_count ? s->waiting[nth] : NULL;
		return nth < s->sheet_count ? s->sheet[nth].name : NULL;
	case PHRASE_LINE:
	case PHRASE_ANYTHING:
		break;
	}
	return NULL;
}

/* ---- Tab ---- */

struct found {
	char common[SCENE_NAME]; /* as far as they agree */
	int count;
	char list[KEYS_HINT];
};

static void found_add(struct found *f, const char *name)
{
	size_t len = strlen(f->list), same = 0;
	if (!f->count++)
		snprintf(f->common, sizeof f->common, "%s", name);
	while (f->common[same] && f->common[same] == name[same])
		same++;
	f->common[same] = '\0';
	if (len + strlen(name) + 6 < sizeof f->list)
		snprintf(f->list + len, sizeof f->list - len, "%s%s", len ? "  " : "", name);
	else if (len && f->list[len - 1] != '.')
		snprintf(f->list + len, sizeof f->list - len, " ...");
}

/* A line of the sheet: as `sheet add` completes it, and the words that it may begin with. */
static bool complete_line(const struct scene *s, struct keys *k)
{
	struct prompt *p = &k->line;
	struct known known = {0};
	struct lines list = {0};
	size_t from = p->at, begin = 0;
	static const struct sheet_row blank;
	for (int i = 0; i < s->sheet_count; i++) {
		struct sheet_row row = blank;
		memcpy(row.position.name, s->sheet[i].name, NAME_SIZE);
		snprintf(row.written[SHEET_ROLE], SHEET_CELL_SIZE, "%s", s->sheet[i].role);
		snprintf(row.written[SHEET_CHANNEL], SHEET_CELL_SIZE, "%s", s->sheet[i].channel);
		known_add(&known, &row);
	}
	/* Behind set, fit and add stands what stands in a line of its own. */
	const char *word;
	for (int i = 0; (word = phrase_line_word(i)); i++)
		if (strncmp(p->text, word, strlen(word)) == 0 && p->text[strlen(word)] == ' ')
			begin = strlen(word) + 1;
	int count = begin > p->at ? 0
	          : known_complete(&known, p->text + begin, p->at - begin, &from, &list);
	from = begin > p->at ? p->at : begin + from;
	for (int i = 0; !begin && from == 0 && (word = phrase_line_word(i)); i++)
		if (strncmp(word, p->text, p->at) == 0) {
			lines_printf(&list, "%s \n", word);
			count++;
		}
	char text[KEYS_TEXT_MAX];
	size_t common = known_common(lines_text(&list)), hint = 0;
	snprintf(text, sizeof text, "%.*s", (int)common, lines_text(&list));
	if (count && strlen(text) >= p->at - from)
		prompt_replace(p, from, text);
	for (const char *at = lines_text(&list); count > 1 && *at; at += strcspn(at, "\n") + 1)
		hint += (size_t)snprintf(k->hint + hint, hint < sizeof k->hint ? sizeof k->hint - hint : 0,
		                         "%s%.*s", hint ? "  " : "", (int)strcspn(at, "\n"), at);
	known_free(&known);
	lines_free(&list);
	return count > 0;
}

static void complete(void *arg, struct keys *k)
{
	const struct scene *s = ((struct sitting *)arg)->scene;
	struct found f = {.count = 0};
	struct prompt *p = &k->line;
	size_t from = p->at;
	while (from && p->text[from - 1] != ' ')
		from--;
	enum phrase_word sort = phrase_expects(k->asked, p->text, from);
	const char *name;
	if (sort == PHRASE_LINE) {
		if (!complete_line(s, k))
			snprintf(k->hint, sizeof k->hint, "no word of the sheet begins so");
		return;
	}
	for (int i = 0; (name = name_of(s, sort, i)); i++)
		if (strncasecmp(name, p->text + from, p->at - from) == 0)
			found_add(&f, name);
	if (!f.count) {
		snprintf(k->hint, sizeof k->hint, sort == PHRASE_ANYTHING || p->at == from
		         ? "there are no names for this: type it" : "no name begins so");
		return;
	}
	/* Names that differ in their first letter, or in capitals: what is typed stays. */
	if (strlen(f.common) >= p->at - from)
		prompt_replace(p, from, f.common);
	if (f.count == 1 && p->at == p->len)
		prompt_replace(p, p->at, " ");
	else if (f.count > 1)
		snprintf(k->hint, sizeof k->hint, "%s", f.list);
}

/* ---- as typing begins ---- */

static const char *only_reference(const struct scene *s)
{
	return reference(s, 1) ? NULL : reference(s, 0);
}

static int reading(const struct scene *s, const char *function)
{
	int count = 0;
	for (int i = 0; i < s->meters; i++)
		count += strcmp(s->meter[i].function, function) == 0;
	return count;
}

static void likely(const struct sitting *g, struct keys *k)
{
	const struct scene *s = g->scene;
	const struct scene_meter *m = scene_front(s);
	const char *from = g->instrument[0] ? g->instrument : typed_from(s, 0), *ref = only_reference(s);
	char text[KEYS_TEXT_MAX] = "";
	size_t at = KEYS_TEXT_MAX;
	bool farad = m && strcmp(m->function, "farad") == 0;
	bool several = reading(s, farad ? "farad" : "ohm") > 1;
	switch (k->asked) {
	case ACTION_ENTER:
		if (s->position[0]) /* the cursor where the value goes */
			at = (size_t)snprintf(text, sizeof text, "%s %s%s", s->position,
			                      strcmp(s->quantity, "value") == 0 ? "" : s->quantity,
			                      strcmp(s->quantity, "value") == 0 || !s->quantity[0] ? "" : " ");
		if (s->position[0] && from)
			snprintf(text + at, sizeof text - at, " from %s", from);
		break;
	case ACTION_MOVE:
		snprintf(text, sizeof text, "last ");
		break;
	case ACTION_OFFSET:
		snprintf(text, sizeof text, "%s%s%s", farad ? "open" : "short", m && several ? " " : "",
		         m && several ? m->name : "");
		break;
	case ACTION_CHECK:
		snprintf(text, sizeof text, "%s%s%s", m ? m->name : "", m ? " " : "", m && ref ? ref : "");
		break;
	case ACTION_BIND:
		snprintf(text, sizeof text, "%s%s", m ? m->name : "", m ? " " : "");
		break;
	default:
		break;
	}
	prompt_set(&k->line, text, at);
}

static void begin(void *arg, struct keys *k)
{
	struct sitting *s = arg;
	const struct scene_entry *newest = scene_entry(s->scene, 0);
	scene_copy(k->about, sizeof k->about, s->scene->position);
	k->seq = newest ? newest->seq : 0;
	if (s->refused.action != k->asked) {
		likely(s, k);
		return;
	}
	/* About what it was about. */
	prompt_set(&k->line, s->refused.text, KEYS_TEXT_MAX);
	if (s->refused.about[0])
		memcpy(k->about, s->refused.about, sizeof k->about);
	k->seq = s->refused.seq ? s->refused.seq : k->seq;
	snprintf(k->hint, sizeof k->hint, "this was not done; put it right, or Ctrl-U clears it");
	s->refused.action = ACTION_NONE;
}

static bool good(void *arg, struct keys *k)
{
	struct sitting *s = arg;
	if (!phrase_good(k->asked, k->line.text, k->hint, sizeof k->hint))
		return false;
	if ((k->asked == ACTION_NOTE || k->asked == ACTION_PHOTO) && !k->about[0]) {
		snprintf(k->hint, sizeof k->hint, "no position was up: Esc, then choose one");
		return false;
	}
	if (s->scene->connected)
		return true;
	snprintf(k->hint, sizeof k->hint, "there is no daemon: this stays here, Enter once it is back");
	return false;
}

struct keys_guide sitting_guide(struct sitting *s)
{
	return (struct keys_guide){begin, complete, good, s};
}

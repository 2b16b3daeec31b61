/* SPDX-License-Identifier: MIT */
/* A line about the sheet or the unit, taken apart: see phrase_line.h. */
#include "client/phrase_line.h"

#include "protocol/trade/position.h"

#include <stdio.h>
#include <string.h>

static const char *const words[] = {
	[LINE_ADD] = "add", [LINE_MIRROR] = "mirror", [LINE_SET] = "set", [LINE_FIT] = "fit",
	[LINE_RENAME] = "rename", [LINE_TWINS] = "twins", [LINE_UNIT] = "unit", [LINE_START] = "start",
	[LINE_WALK] = "walk",
};
#define WORDS (int)(sizeof words / sizeof words[0])

const char *phrase_line_word(int nth)
{
	return nth >= 0 && nth < WORDS ? words[nth] : NULL;
}

static const char *skip(const char *text)
{
	return text + strspn(text, " \t");
}

static bool no(char *why, size_t size, const char *said)
{
	snprintf(why, size, "%s", said);
	return false;
}

/* One word, or several in quotes; false where it is empty, open or too long. */
static bool text_take(const char **text, char *out, size_t size)
{
	const char *at = skip(*text);
	bool quoted = *at == '"';
	at += quoted;
	size_t n = quoted ? strcspn(at, "\"") : strcspn(at, " \t");
	if (!n || n >= size || (quoted && !at[n]))
		return false;
	memcpy(out, at, n);
	out[n] = '\0';
	*text = at + n + quoted;
	return true;
}

static bool name_take(const char **text, char out[SCENE_NAME])
{
	return text_take(text, out, SCENE_NAME) && name_valid(out, strlen(out));
}

bool phrase_pair(const char **pairs, char key[32], char value[KEYS_TEXT_MAX])
{
	const char *at = skip(*pairs);
	size_t n = strcspn(at, "= \t");
	if (!n || n >= 32 || at[n] != '=')
		return false;
	memcpy(key, at, n);
	key[n] = '\0';
	at += n + 1;
	value[0] = '\0'; /* an empty value takes the cell away */
	if (*at && *at != ' ' && *at != '\t') {
		bool empty = at[0] == '"' && at[1] == '"';
		if (empty)
			at += 2;
		else if (!text_take(&at, value, KEYS_TEXT_MAX))
			return false;
		if (*at && *at != ' ' && *at != '\t')
			return false;
	}
	*pairs = at;
	return true;
}

static bool pairs_good(const char *text, char *why, size_t size)
{
	char key[32], value[KEYS_TEXT_MAX];
	const char *at = text;
	if (!*skip(at))
		return no(why, size, "what of it? key=value, as tolerance=5% or valve=A17");
	while (*skip(at))
		if (!phrase_pair(&at, key, value)) {
			snprintf(why, size, "\"%.60s\" is no key=value (in quotes where it has blanks)", skip(at));
			return false;
		}
	return true;
}

/* "R1-R40 +100": the last word is by how much. */
static bool mirror(const char *text, struct phrase_line *out, char *why, size_t size)
{
	size_t n = strlen(text);
	while (n && (text[n - 1] == ' ' || text[n - 1] == '\t'))
		n--;
	size_t begin = n;
	while (begin && text[begin - 1] != ' ' && text[begin - 1] != '\t')
		begin--;
	const char *by = text + begin;
	size_t digits = strspn(by + (*by == '+'), "0123456789");
	if (!digits || digits > 4 || by + (*by == '+') + digits != text + n || !*skip(text) ||
	    skip(text) >= by)
		return no(why, size, "which, and by how much: mirror R1-R40 +100, or mirror all +100");
	for (const char *c = by + (*by == '+'); c < text + n; c++)
		out->by = 10 * out->by + (*c - '0');
	text = skip(text);
	size_t range = (size_t)(by - text);
	while (text[range - 1] == ' ' || text[range - 1] == '\t')
		range--;
	snprintf(out->range, sizeof out->range, "%.*s", (int)range, text);
	return true;
}

static bool start(const char *text, struct phrase_line *out, char *why, size_t size)
{
	char word[16];
	if (!text_take(&text, out->range, sizeof out->range))
		return no(why, size, "the name of the job is missing (in quotes where it has blanks)");
	if (!*skip(text))
		return true;
	bool named = text_take(&text, word, sizeof word);
	out->like = named && strcmp(word, "like") == 0;
	if (!named || (!out->like && strcmp(word, "again") != 0) ||
	    !text_take(&text, out->again, sizeof out->again) || *skip(text))
		return no(why, size, "behind the name: again and the earlier job of this unit (like: of one "
		          "like it), both in quotes where they have blanks");
	return true;
}

static bool walk(const char *text, struct phrase_line *out, char *why, size_t size)
{
	static const char *const words_of[] = {"new", "on", "off", "lift"};
	bool known = text_take(&text, out->range, sizeof out->range), is_new = known &&
	             strcmp(out->range, "new") == 0;
	for (size_t i = 0; known && i < sizeof words_of / sizeof words_of[0]; i++)
		if (strcmp(out->range, words_of[i]) == 0 && (!*skip(text) || is_new))
			return !*skip(text) || (text_take(&text, out->again, sizeof out->again) && !*skip(text)) ||
			       no(why, size, "behind new: one beginning of names, such as T3/");
	return no(why, size, "walk new T3/ names each position as it is touched; walk on, off, lift");
}

static bool twins(const char *text, struct phrase_line *out, char *why, size_t size)
{
	char word[16];
	if (!text_take(&text, word, sizeof word) || strcmp(word, "accept") != 0)
		return no(why, size, "twins accept, and the positions that you mean");
	snprintf(out->range, sizeof out->range, "%s", skip(text));
	return true;
}

/* set, fit */
static bool fields(const char *text, struct phrase_line *out, char *why, size_t size)
{
	char word[16];
	if (!name_take(&text, out->position))
		return no(why, size, "the position is missing");
	const char *behind = text;
	out->rest = text;
	out->none = out->what == LINE_FIT && text_take(&behind, word, sizeof word) &&
	            strcmp(word, "none") == 0 && !*skip(behind);
	return out->none || pairs_good(text, why, size);
}

bool phrase_line(const char *text, struct phrase_line *out, char *why, size_t size)
{
	*out = (struct phrase_line){.what = LINE_ADD};
	text = skip(text);
	size_t n = strcspn(text, " \t");
	int what = LINE_ADD;
	out->rest = text;
	for (int i = 0; i < WORDS; i++)
		if (strlen(words[i]) == n && strncmp(words[i], text, n) == 0) {
			what = i;
			out->rest = skip(text + n);
		}
	out->what = (enum line_what)what;
	switch (out->what) {
	case LINE_MIRROR:
		return mirror(out->rest, out, why, size);
	case LINE_SET:
	case LINE_FIT:
		return fields(out->rest, out, why, size);
	case LINE_RENAME:
		text = out->rest;
		if (name_take(&text, out->position) && name_take(&text, out->to) && !*skip(text))
			return true;
		return no(why, size, "rename, the old name and the new one");
	case LINE_TWINS:
		return twins(out->rest, out, why, size);
	case LINE_UNIT:
		return pairs_good(out->rest, why, size);
	case LINE_START:
		return start(out->rest, out, why, size);
	case LINE_WALK:
		return walk(out->rest, out, why, size);
	case LINE_ADD:
		break;
	}
	return *out->rest || no(why, size, "a line of the sheet: R1-R6 100k");
}

enum phrase_word phrase_line_expects(const char *before)
{
	const char *at = skip(before);
	size_t n = strcspn(at, " \t");
	int words_before = 0;
	for (const char *c = at; *c; c = skip(c + strcspn(c, " \t")))
		words_before++;
	bool named = n && (strncmp(at, "set ", 4) == 0 || strncmp(at, "fit ", 4) == 0 ||
	                   strncmp(at, "rename ", 7) == 0);
	bool twins = strncmp(at, "twins ", 6) == 0;
	return (words_before == 1 && named) || (words_before > 1 && twins) ? PHRASE_POSITION : PHRASE_LINE;
}

/* SPDX-License-Identifier: MIT */
/* What was typed, taken apart: see phrase.h. */
#include "client/phrase.h"

#include "client/phrase_line.h"

#include "protocol/record/sheet_plain.h"
#include "protocol/trade/position.h"
#include "protocol/trade/quantity.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

/* ---- words ---- */

struct word {
	const char *at;
	size_t len;
};

/* The next word of a text; the text goes on behind it.  len 0 at its end. */
static struct word next_word(const char **text)
{
	struct word w = {*text + strspn(*text, " \t"), 0};
	w.len = strcspn(w.at, " \t");
	*text = w.at + w.len;
	return w;
}

static bool is(struct word w, const char *text)
{
	return w.len == strlen(text) && strncasecmp(w.at, text, w.len) == 0;
}

/* The verbs have options with dashes: whoever is used to them may write so here. */
static bool is_key(struct word w, const char *key)
{
	if (w.len > 2 && w.at[0] == '-' && w.at[1] == '-')
		w = (struct word){w.at + 2, w.len - 2};
	return is(w, key);
}

static bool no(char *why, size_t size, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
static bool no(char *why, size_t size, const char *format, ...)
{
	va_list args;
	va_start(args, format);
	vsnprintf(why, size, format, args);
	va_end(args);
	return false;
}

static bool take(struct word w, char *out, size_t size)
{
	if (!w.len || w.len >= size)
		return false;
	memcpy(out, w.at, w.len);
	out[w.len] = '\0';
	return true;
}

/* A name of a position, a meter, an instrument. */
static bool take_name(struct word w, const char *what, char out[SCENE_NAME], char *why, size_t size)
{
	if (!w.len)
		return no(why, size, "%s is missing", what);
	if (take(w, out, SCENE_NAME) && name_valid(out, w.len))
		return true;
	return no(why, size, "\"%.*s\" is no name: letters, digits and . _ / -, at most 32 of them",
	          (int)(w.len < 40 ? w.len : 40), w.at);
}

static bool number(struct word w, int64_t *out)
{
	*out = 0;
	for (size_t i = 0; i < w.len; i++) {
		if (w.at[i] < '0' || w.at[i] > '9' || *out > INT64_MAX / 100)
			return false;
		*out = 10 * *out + (w.at[i] - '0');
	}
	return w.len > 0;
}

/* ---- enter ---- */

static bool quantity_word(struct word w, char out[16])
{
	enum quantity q;
	return w.len < 16 && quantity_from_name(w.at, w.len, &q) && take(w, out, 16);
}

/* Words up to `from`, `u` or `because`, with single blanks; the first such word comes
 * back, len 0 at the end. */
static struct word value_words(const char **text, char *out, size_t size, bool u, bool *fits)
{
	size_t n = 0;
	*fits = true;
	out[0] = '\0';
	for (;;) {
		struct word w = next_word(text);
		if (!w.len || is_key(w, "from") || is_key(w, "because") || (u && is_key(w, "u")))
			return w;
		if (n + w.len + 2 > size) {
			*fits = false;
			return w;
		}
		n += (size_t)snprintf(out + n, size - n, "%s%.*s", n ? " " : "", (int)w.len, w.at);
	}
}

/* As the daemon reads it, where the unit is not known here. */
static bool is_value(const char *text, char *why, size_t size)
{
	struct decimal value;
	enum function f;
	struct fault fault;
	bool above = text[0] == '>';
	char plain[128]; /* 4,7k, as on a sheet */
	snprintf(plain, sizeof plain, "%s", text + above);
	if (strcasecmp(text, "overload") == 0 || strcasecmp(text, "OL") == 0)
		return true;
	if (comma_to_point(plain, false, &fault) &&
	    quantity_parse(plain, strlen(plain), FUNCTION_NONE, &value, &f, &fault))
		return true;
	return no(why, size, "\"%.40s\": %.140s", text, fault.text);
}

bool phrase_enter(const char *text, struct phrase_enter *out, char *why, size_t size)
{
	bool fits;
	*out = (struct phrase_enter){.position = ""};
	if (!take_name(next_word(&text), "the position", out->position, why, size))
		return false;
	const char *ahead = text;
	struct word w = next_word(&ahead);
	if (quantity_word(w, out->quantity))
		text = ahead;
	w = value_words(&text, out->value, sizeof out->value, false, &fits);
	if (!fits)
		return no(why, size, "a value has at most %d characters", PHRASE_VALUE - 1);
	if (!out->value[0])
		return no(why, size, "the value is missing: 47k, 0.3 uA, -35 V, overload, >20M");
	if (!is_value(out->value, why, size))
		return false;
	while (w.len) {
		if (is_key(w, "because")) {
			text += strspn(text, " \t");
			snprintf(out->because, sizeof out->because, "%s", text);
			break;
		}
		if (is_key(w, "from")) {
			if (!take_name(next_word(&text), "the name of the instrument", out->from, why, size))
				return false;
			const char *behind = text;
			w = next_word(&behind);
			if (is_key(w, "from"))
				return no(why, size, "from stands there twice: Ctrl-K clears what is behind the "
				          "cursor");
			if (w.len && !is_key(w, "u") && !is_key(w, "because"))
				return no(why, size, "after the instrument come u and because, not \"%.*s\"",
				          (int)(w.len < 30 ? w.len : 30), w.at);
			text = behind;
			continue;
		}
		w = value_words(&text, out->u, sizeof out->u, false, &fits);
		if (!fits || !out->u[0])
			return no(why, size, "u is followed by the uncertainty, as a value");
		if (!is_value(out->u, why, size))
			return false;
	}
	if (!out->from[0])
		return no(why, size, "by what instrument? from NAME");
	return true;
}

/* ---- move and strike ---- */

/* "45", "45-48", "#45". */
static bool run_read(struct word w, struct phrase_move *out)
{
	if (w.len && w.at[0] == '#')
		w = (struct word){w.at + 1, w.len - 1};
	const char *dash = memchr(w.at, '-', w.len);
	struct word first = {w.at, dash ? (size_t)(dash - w.at) : w.len};
	struct word second = dash ? (struct word){dash + 1, w.len - first.len - 1} : first;
	int64_t from, to;
	if (!number(first, &from) || !number(second, &to) || from < 1 || to < from ||
	    out->runs == PHRASE_RUNS)
		return false;
	out->run[out->runs].from = from;
	out->run[out->runs++].to = to;
	return true;
}

/* Which, as far as it is typed; the last word may be the position. */
static bool move_which(const char **text, struct phrase_move *out, struct word *rest, char *why,
                       size_t size)
{
	struct word w = next_word(text);
	*out = (struct phrase_move){.last = 0};
	while (w.len) {
		const char *ahead = *text;
		struct word following = next_word(&ahead);
		int64_t n;
		if (is(w, "last")) {
			out->last = 1;
			/* "last 3 R13"; "last 7": to the position 7. */
			const char *further = ahead;
			if (number(following, &n) && next_word(&further).len) {
				if (n < 1 || n > PHRASE_LAST_MAX)
					return no(why, size, "last 1 to last %d can be said", PHRASE_LAST_MAX);
				out->last = (int)n;
				*text = ahead;
			}
		} else if (!following.len) {
			break; /* the last word is the position */
		} else if (!run_read(w, out)) {
			return no(why, size, "which? last, last 3, or numbers of entries: 45, 45-48; not "
			          "\"%.*s\"", (int)(w.len < 30 ? w.len : 30), w.at);
		}
		w = next_word(text);
	}
	if (!out->last && !out->runs)
		out->last = 1;
	*rest = w;
	return true;
}

bool phrase_move(const char *text, struct phrase_move *out, char *why, size_t size)
{
	struct word w;
	return move_which(&text, out, &w, why, size) &&
	       take_name(w, "the position where it belongs", out->position, why, size);
}

bool phrase_strike(const char *text, struct phrase_strike *out, char *why, size_t size)
{
	const char *ahead = text;
	struct word w = next_word(&ahead);
	*out = (struct phrase_strike){.because = w.at};
	if (w.len > 1 && w.at[0] == '#') {
		if (!number((struct word){w.at + 1, w.len - 1}, &out->seq) || !out->seq)
			return no(why, size, "#45 is the number of an entry, not \"%.*s\"",
			          (int)(w.len < 30 ? w.len : 30), w.at);
		out->because = ahead + strspn(ahead, " \t");
	}
	if (!out->because[0])
		return no(why, size, "why does it not count? It is kept with the strike");
	return true;
}

/* ---- two or three names ---- */

bool phrase_names(enum action action, const char *text, struct phrase_names *out, char *why,
                  size_t size)
{
	struct word a = next_word(&text), b = next_word(&text), c = next_word(&text);
	*out = (struct phrase_names){.first = ""};
	if (action == ACTION_OFFSET) {
		if (!is(a, "short") && !is(a, "open"))
			return no(why, size, "hold the tips together: short; or the leads apart: open");
		snprintf(out->first, sizeof out->first, is(a, "open") ? "open" : "short");
		if (c.len)
			return no(why, size, "short or open, and one meter");
		return !b.len || take_name(b, "the meter", out->second, why, size);
	}
	if (!take_name(a, "the meter", out->first, why, size) ||
	    !take_name(b, action == ACTION_CHECK ? "the reference position" : "the position, or free",
	               out->second, why, size))
		return false;
	if (c.len && (action == ACTION_CHECK || !quantity_word(c, out->third)))
		return no(why, size, "\"%.*s\" is too much", (int)(c.len < 30 ? c.len : 30), c.at);
	if (next_word(&text).len)
		return no(why, size, "that is a word too many");
	if (action == ACTION_BIND && is(b, "free"))
		out->second[0] = '\0';
	return true;
}

/* ---- photo ---- */

bool phrase_photo(const char *text, char file[KEYS_TEXT_MAX], const char **said, char *why,
                  size_t size)
{
	text += strspn(text, " \t");
	bool quoted = text[0] == '"';
	text += quoted;
	size_t n = quoted ? strcspn(text, "\"") : strcspn(text, " \t");
	if (quoted && !text[n])
		return no(why, size, "the name of the file has no closing quote");
	if (!n)
		return no(why, size, "the file of the photo is missing");
	if (n >= KEYS_TEXT_MAX)
		return no(why, size, "the name of the file is too long");
	memcpy(file, text, n);
	file[n] = '\0';
	*said = text + n + quoted;
	*said += strspn(*said, " \t");
	return true;
}

bool phrase_good(enum action action, const char *text, char *why, size_t size)
{
	struct phrase_enter enter;
	struct phrase_move move;
	struct phrase_strike strike;
	struct phrase_names names;
	struct phrase_line line;
	char name[SCENE_NAME], file[KEYS_TEXT_MAX];
	const char *said;
	switch (action) {
	case ACTION_PHOTO:
		return phrase_photo(text, file, &said, why, size);
	case ACTION_LINE:
		return phrase_line(text, &line, why, size);
	case ACTION_AT:
		return take_name(next_word(&text), "the position", name, why, size);
	case ACTION_ENTER:
		return phrase_enter(text, &enter, why, size);
	case ACTION_MOVE:
		return phrase_move(text, &move, why, size);
	case ACTION_STRIKE:
		return phrase_strike(text, &strike, why, size);
	case ACTION_OFFSET:
	case ACTION_CHECK:
	case ACTION_BIND:
		return phrase_names(action, text, &names, why, size);
	default:
		return true;
	}
}

/* ---- which entries ---- */

static bool in_runs(const struct phrase_move *m, int64_t seq)
{
	for (int i = 0; i < m->runs; i++)
		if (seq >= m->run[i].from && seq <= m->run[i].to)
			return true;
	return false;
}

int phrase_picks(const struct scene *s, enum action action, const char *text, int64_t newest,
                 int64_t seqs[PHRASE_LAST_MAX])
{
	struct phrase_move move = {.last = 0};
	struct phrase_strike strike;
	struct word rest;
	char why[KEYS_HINT];
	int count = 0, last;
	if (action == ACTION_STRIKE) {
		phrase_strike(text, &strike, why, sizeof why);
		move.last = !strike.seq;
		if (strike.seq) {
			move.run[0].from = move.run[0].to = strike.seq;
			move.runs = 1;
		}
	} else if (action != ACTION_MOVE || !move_which(&text, &move, &rest, why, sizeof why)) {
		return 0;
	}
	last = move.last;
	for (int i = 0; i < s->entry_count && count < PHRASE_LAST_MAX; i++) {
		const struct scene_entry *e = scene_entry(s, i);
		bool counts = !e->struck && (!newest || e->seq <= newest);
		if (counts && (last > 0 || in_runs(&move, e->seq)))
			seqs[count++] = e->seq;
		last -= counts;
	}
	return count;
}

/* ---- what may follow ---- */

enum phrase_word phrase_expects(enum action action, const char *before, size_t len)
{
	char text[KEYS_TEXT_MAX];
	snprintf(text, sizeof text, "%.*s", (int)(len < sizeof text ? len : sizeof text - 1), before);
	const char *at = text;
	struct word w = next_word(&at), latest = w;
	int words = 0;
	while (w.len) {
		words++;
		latest = w;
		w = next_word(&at);
	}
	switch (action) {
	case ACTION_AT:
		return words == 0 ? PHRASE_POSITION : words == 1 ? PHRASE_QUANTITY : PHRASE_ANYTHING;
	case ACTION_ENTER:
		return words == 0 ? PHRASE_POSITION : words == 1 ? PHRASE_QUANTITY
		     : is_key(latest, "from") ? PHRASE_INSTRUMENT : PHRASE_ANYTHING;
	case ACTION_MOVE:
		return PHRASE_POSITION;
	case ACTION_FITTED:
		return PHRASE_WAITING;
	case ACTION_LINE:
		return phrase_line_expects(text);
	case ACTION_OFFSET:
		return words == 0 ? PHRASE_LEADS : words == 1 ? PHRASE_METER : PHRASE_ANYTHING;
	case ACTION_CHECK:
		return words == 0 ? PHRASE_METER : words == 1 ? PHRASE_REFERENCE : PHRASE_ANYTHING;
	case ACTION_BIND:
		return words == 0 ? PHRASE_METER : words == 1 ? PHRASE_POSITION
		     : words == 2 ? PHRASE_QUANTITY : PHRASE_ANYTHING;
	default:
		return PHRASE_ANYTHING;
	}
}

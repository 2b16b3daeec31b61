/* SPDX-License-Identifier: MIT */
/* Keys and words to deeds: see keys.h. */
#include "client/keys.h"

#include "client/words.h"

#include <stdio.h>
#include <string.h>

const struct action_row action_table[ACTION_COUNT] = {
	[ACTION_NONE] = {0, "", "", NULL, "", ""},
#define X(id, key, shown, word, typed, label, help) \
	[ACTION_##id] = {key, shown, word, typed, label, help},
	ACTION_LIST(X)
#undef X
};

const char *keys_asks(enum action action)
{
	switch (action) {
	case ACTION_AT:
		return "the name of a position, and what is measured there: C8 or C8 leakage";
	case ACTION_NOTE:
		return "what you see, smell or hear there";
	case ACTION_PHOTO:
		return "the file of a jpeg, png or webp, then what it shows: c7.jpg leaks at one end";
	case ACTION_LINE:
		return "R1-R6 100k; mirror all +100; set, fit R12 key=value; rename N5 R12; twins accept; "
		       "walk new T3/; unit serial=12; start NAME again OLD";
	case ACTION_FITTED:
		return "positions, ranges, parts: looked at, no leg is up, what is new is in";
	case ACTION_ENTER:
		return "POSITION [quantity] VALUE from INSTRUMENT [u U] [because WHY]";
	case ACTION_MOVE:
		return "where it belongs: R13, or: last 3 R13, or by number: 45-48 R13";
	case ACTION_STRIKE:
		return "why it does not count; for another than the last: #45 WHY";
	case ACTION_OFFSET:
		return "short (ohm) or open (farad), and the meter where several read that";
	case ACTION_CHECK:
		return "METER POSITION: one of kind reference, with nominal and tolerance";
	case ACTION_BIND:
		return "METER POSITION: it stays there while the others go on; or METER free";
	default:
		return "";
	}
}

static bool done(struct deed *out, enum action action, const char *text)
{
	*out = (struct deed){.action = action};
	snprintf(out->text, sizeof out->text, "%s", text);
	return true;
}

static void begin(struct keys *k, enum keys_mode mode, enum action asked,
                  const struct keys_guide *guide)
{
	*k = (struct keys){.mode = mode, .asked = asked};
	if (mode == KEYS_TYPE && guide && guide->begin)
		guide->begin(guide->arg, k);
}

/* ---- typing ---- */

static void end(struct keys *k)
{
	k->mode = KEYS_ACT;
	k->hint[0] = '\0';
}

static bool entered(struct keys *k, const struct keys_guide *guide, struct deed *out)
{
	char text[KEYS_TEXT_MAX];
	size_t where;
	char *start = k->line.text + strspn(k->line.text, " ");
	size_t len = strlen(start);
	while (len && start[len - 1] == ' ')
		len--;
	/* A strike needs a reason, a note a text, a position its name. */
	if (!len) {
		end(k);
		return false;
	}
	k->hint[0] = '\0';
	if (!words_utf8(start, len, &where)) {
		snprintf(k->hint, sizeof k->hint, "there are bytes in it that are no UTF-8: is the "
		         "terminal set to it?");
		return false;
	}
	if (guide && guide->good && !guide->good(guide->arg, k))
		return false;
	snprintf(text, sizeof text, "%.*s", (int)len, start);
	end(k);
	done(out, k->asked, text);
	memcpy(out->about, k->about, sizeof out->about);
	out->seq = k->seq;
	return true;
}

static bool typing(struct keys *k, int key, const struct keys_guide *guide, struct deed *out)
{
	bool empty = k->line.len == 0;
	if (key == KEY_IS_ENTER || key == '\n')
		return entered(k, guide, out);
	if (key == KEY_IS_ESCAPE) {
		end(k);
	} else if (key == KEY_IS_TAB) {
		k->hint[0] = '\0';
		if (guide && guide->complete)
			guide->complete(guide->arg, k);
	} else if (empty && (key == KEY_IS_RUBOUT || key == '\b')) {
		/* A name is over where its first letter is taken back.  Elsewhere what stood there was
		 * wiped out, by a key that was held too long, and the words that follow are no keys. */
		if (k->asked == ACTION_AT)
			end(k);
	} else if (prompt_key(&k->line, key)) {
		k->hint[0] = '\0';
	}
	return false;
}

/* ---- acting ---- */

/* A list that the daemon answers. */
static bool is_asked(enum action action)
{
	return action == ACTION_RISE || action == ACTION_NOTES || action == ACTION_TWINS;
}

static bool act(struct keys *k, int key, const struct keys_guide *guide, struct deed *out)
{
	if ((key >= 'A' && key <= 'Z') || (key >= '0' && key <= '9')) {
		begin(k, KEYS_TYPE, ACTION_AT, guide);
		prompt_set(&k->line, (const char[]){(char)key, '\0'}, 1);
		return false;
	}
	key = key == KEY_IS_DOWN ? 'n' : key == KEY_IS_UP ? 'b' : key;
	for (int i = 1; i < ACTION_COUNT; i++) {
		enum action action = (enum action)i;
		if (action_table[i].key != key)
			continue;
		if (action_table[i].typed)
			begin(k, KEYS_TYPE, action, guide);
		else if (action == ACTION_LIVE || action == ACTION_COLD || action == ACTION_LEAVE)
			begin(k, KEYS_CONFIRM, action, guide);
		else if (action == ACTION_HELP || action == ACTION_SHEET || is_asked(action))
			begin(k, KEYS_LOOK, action, guide);
		else
			return done(out, action, "");
		/* These are asked for, and shown when they are answered. */
		return is_asked(action) && done(out, action, "");
	}
	return false;
}

bool keys_press(struct keys *k, int key, const struct keys_guide *guide, struct deed *out)
{
	switch (k->mode) {
	case KEYS_TYPE:
		return typing(k, key, guide, out);
	case KEYS_CONFIRM:
		k->mode = KEYS_ACT;
		return key == 'y' || key == 'Y' ? done(out, k->asked, "") : false;
	case KEYS_LOOK:
		k->mode = KEYS_ACT;
		return false;
	case KEYS_ACT:
		break;
	}
	return act(k, key, guide, out);
}

/* ---- lines ---- */

bool keys_line(const char *line, struct deed *out, char *why, size_t size)
{
	line += strspn(line, " \t");
	size_t n = strcspn(line, " \t\r\n");
	const char *rest = line + n + strspn(line + n, " \t");
	size_t rest_len = strcspn(rest, "\r\n");
	char text[KEYS_TEXT_MAX];
	snprintf(text, sizeof text, "%.*s", (int)(rest_len < sizeof text ? rest_len : sizeof text - 1),
	         rest);
	if (!n)
		return done(out, ACTION_NONE, "");
	for (int i = 1; i < ACTION_COUNT; i++) {
		const struct action_row *row = &action_table[i];
		if (strlen(row->word) != n || strncmp(line, row->word, n) != 0)
			continue;
		if (row->typed && !text[0]) {
			snprintf(why, size, "%s is followed by %s", row->word, row->typed);
			return false;
		}
		/* "go back C1" */
		if (i == ACTION_GO && strncmp(text, "back", 4) == 0 && (!text[4] || text[4] == ' '))
			return done(out, ACTION_GO_BACK, text + 4 + strspn(text + 4, " "));
		return done(out, (enum action)i, text);
	}
	/* A key of the screen, where nothing is typed behind it; and how the verb calls it. */
	for (int i = 1; i < ACTION_COUNT && !text[0]; i++)
		if (n == 1 && line[0] >= 'a' && line[0] <= 'z' && line[0] == action_table[i].key &&
		    !action_table[i].typed)
			return done(out, (enum action)i, "");
	if (n == 5 && strncmp(line, "there", n) == 0 && !text[0])
		return done(out, ACTION_OTHER, "");
	/* A position by its name alone. */
	if (((line[0] >= 'A' && line[0] <= 'Z') || (line[0] >= '0' && line[0] <= '9')) && !text[0]) {
		snprintf(text, sizeof text, "%.*s", (int)(n < 64 ? n : 64), line);
		return done(out, ACTION_AT, text);
	}
	/* What steers a terminal or a Braille line is not sent back to it. */
	char clean[64];
	words_clean(line, words_cut(line, n, 40), clean, sizeof clean);
	snprintf(why, size, "\"%s\" is no word here; `help` says all", clean);
	return false;
}

/* SPDX-License-Identifier: MIT */
/* Keys and words to deeds: see keys.h. */
#include "client/keys.h"

#include <stdio.h>
#include <string.h>

const struct action_row action_table[ACTION_COUNT] = {
	[ACTION_NONE] = {0, "", "", NULL, "", ""},
#define X(id, key, shown, word, typed, label, help) \
	[ACTION_##id] = {key, shown, word, typed, label, help},
	ACTION_LIST(X)
#undef X
};

static bool done(struct deed *out, enum action action, const char *text)
{
	*out = (struct deed){.action = action};
	snprintf(out->text, sizeof out->text, "%s", text);
	return true;
}

static void begin(struct keys *k, enum keys_mode mode, enum action asked)
{
	k->mode = mode;
	k->asked = asked;
	k->len = 0;
	k->text[0] = '\0';
}

/* ---- typing ---- */

static void type(struct keys *k, int key)
{
	if (key < ' ' || key > 255 || key == KEY_IS_RUBOUT || k->len + 1 >= sizeof k->text)
		return;
	k->text[k->len++] = (char)key;
	k->text[k->len] = '\0';
}

/* The last character, all its bytes; with nothing left typing ends. */
static void rub_out(struct keys *k)
{
	if (!k->len)
		k->mode = KEYS_ACT;
	while (k->len) {
		unsigned char c = (unsigned char)k->text[--k->len];
		k->text[k->len] = '\0';
		if ((c & 0xC0) != 0x80)
			break;
	}
}

static bool entered(struct keys *k, struct deed *out)
{
	char text[KEYS_TEXT_MAX];
	char *start = k->text + strspn(k->text, " ");
	size_t len = strlen(start);
	while (len && start[len - 1] == ' ')
		len--;
	snprintf(text, sizeof text, "%.*s", (int)len, start);
	k->mode = KEYS_ACT;
	/* A strike needs a reason, a note a text, a position its name. */
	return text[0] ? done(out, k->asked, text) : false;
}

static bool typing(struct keys *k, int key,
                   void (*complete)(void *arg, char *text, size_t size), void *arg,
                   struct deed *out)
{
	if (key == KEY_IS_ESCAPE) {
		k->mode = KEYS_ACT;
	} else if (key == KEY_IS_RUBOUT || key == '\b') {
		rub_out(k);
	} else if (key == KEY_IS_TAB && k->asked == ACTION_AT && complete) {
		complete(arg, k->text, sizeof k->text);
		k->len = strlen(k->text);
	} else if (key == KEY_IS_ENTER || key == '\n') {
		return entered(k, out);
	} else {
		type(k, key);
	}
	return false;
}

/* ---- acting ---- */

static bool act(struct keys *k, int key, struct deed *out)
{
	if ((key >= 'A' && key <= 'Z') || (key >= '0' && key <= '9')) {
		begin(k, KEYS_TYPE, ACTION_AT);
		type(k, key);
		return false;
	}
	for (int i = 1; i < ACTION_COUNT; i++) {
		enum action action = (enum action)i;
		if (action_table[i].key != key)
			continue;
		if (action_table[i].typed)
			begin(k, KEYS_TYPE, action);
		else if (action == ACTION_LIVE || action == ACTION_COLD)
			begin(k, KEYS_CONFIRM, action);
		else if (action == ACTION_HELP)
			begin(k, KEYS_LOOK, action);
		else
			return done(out, action, "");
		return false;
	}
	return false;
}

bool keys_press(struct keys *k, int key, void (*complete)(void *arg, char *text, size_t size),
                void *arg, struct deed *out)
{
	switch (k->mode) {
	case KEYS_TYPE:
		return typing(k, key, complete, arg, out);
	case KEYS_CONFIRM:
		k->mode = KEYS_ACT;
		return key == KEY_IS_ENTER || key == '\n' ? done(out, k->asked, "") : false;
	case KEYS_LOOK:
		k->mode = KEYS_ACT;
		return false;
	case KEYS_ACT:
		break;
	}
	return act(k, key, out);
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
		return done(out, (enum action)i, text);
	}
	/* A position by its name alone. */
	if (((line[0] >= 'A' && line[0] <= 'Z') || (line[0] >= '0' && line[0] <= '9')) && !text[0]) {
		snprintf(text, sizeof text, "%.*s", (int)(n < 64 ? n : 64), line);
		return done(out, ACTION_AT, text);
	}
	snprintf(why, size, "\"%.*s\" is no word here; `help` says all", (int)(n < 40 ? n : 40), line);
	return false;
}

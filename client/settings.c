/* SPDX-License-Identifier: MIT */
/* Which settings there are, and reading them: see settings.h. */
#include "client/settings.h"

#include "client/pedal_identity.h"
#include "client/pedal_press.h"
#include "client/settings_file.h"
#include "protocol/file/ini.h"
#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define YES_NO "yes|no"
#define TEXT_OF_(number) #number
#define TEXT_OF(number) TEXT_OF_(number)

static bool pedal_device_good(const char *value, struct fault *why)
{
	struct pedal_identity id;
	return !value[0] || pedal_identity_parse(value, &id, why);
}

static bool pedal_buttons_good(const char *value, struct fault *why)
{
	struct pedal_buttons buttons;
	return pedal_buttons_parse(value, &buttons, why);
}

const struct setting settings_table[] = {
	{"sound", "volume", "70", NULL, 0, 100, NULL, "loudness of the tones, in percent"},
	{"sound", "mute", "no", YES_NO, 0, 0, NULL, "no tones"},
	{"sound", "device", "default", NULL, 0, 0, NULL, "the audio device, by its ALSA name"},
	{"speech", "use", "auto", "auto|none|speech-dispatcher|espeak-ng", 0, 0, NULL,
	 "who speaks; auto: speech-dispatcher, else espeak-ng"},
	{"speech", "language", "en", "en|de", 0, 0, NULL, "the language that is spoken"},
	{"speech", "rate", "0", NULL, -100, 100, NULL, "how fast: -100 to 100, 0 as the voice has it"},
	{"speech", "volume", "100", NULL, 0, 100, NULL, "loudness of the voice, in percent"},
	{"speech", "mute", "no", YES_NO, 0, 0, NULL, "nothing is spoken"},
	{"pedal", "device", "", NULL, 0, 0, pedal_device_good,
	 "the foot switch, as `tally pedal choose` writes it"},
	{"pedal", "buttons", "", NULL, 0, 0, pedal_buttons_good,
	 "what each button does: KEY_B take long undo, KEY_C next double back"},
	{"pedal", "debounce", TEXT_OF(PEDAL_DEBOUNCE_MS), NULL, 0, 200, NULL,
	 "ms for which a contact must be open until it is let go"},
	{"pedal", "long", TEXT_OF(PEDAL_LONG_MS), NULL, 300, 3000, NULL,
	 "ms for which a button is held for its `long` action"},
	{"pedal", "double", TEXT_OF(PEDAL_DOUBLE_MS), NULL, 150, 1000, NULL,
	 "ms within which it is pressed twice for its `double` action"},
	{"screen", "colour", "auto", "auto|" YES_NO, 0, 0, NULL,
	 "colour; auto: where the terminal has it and NO_COLOR is not set"},
};
const int settings_count = sizeof settings_table / sizeof settings_table[0];
_Static_assert(sizeof settings_table / sizeof settings_table[0] <= SETTINGS_KEYS_MAX,
               "SETTINGS_KEYS_MAX is too small");

/* The row of a key; -1 where there is none.  `key` NULL: the section's first. */
static int setting_row(const char *section, const char *key)
{
	for (int i = 0; i < settings_count; i++)
		if (strcmp(settings_table[i].section, section) == 0 &&
		    (!key || strcmp(settings_table[i].key, key) == 0))
			return i;
	return -1;
}

/* ---- what may stand there ---- */

/* A whole number as people write it: an optional minus and at most five digits. */
static bool whole_number(const char *text, int *n)
{
	bool minus = *text == '-';
	size_t i = minus, digits = 0;
	*n = 0;
	for (; ascii_digit(text[i]) && digits < 6; i++, digits++)
		*n = *n * 10 + (text[i] - '0');
	if (minus)
		*n = -*n;
	return digits > 0 && digits < 6 && !text[i];
}

static bool one_of(const char *words, const char *value)
{
	size_t len = strlen(value);
	for (const char *at = words; *at;) {
		size_t n = strcspn(at, "|");
		if (n == len && memcmp(at, value, n) == 0)
			return true;
		at += n + (at[n] == '|');
	}
	return false;
}

/* "yes|no" as "yes, no". */
static void words_list(const char *words, char *out, size_t size)
{
	size_t n = 0;
	for (; *words && n + 3 < size; words++) {
		if (*words == '|')
			out[n++] = ',';
		out[n++] = *words == '|' ? ' ' : *words;
	}
	out[n] = '\0';
}

static bool value_good(const struct setting *row, const char *value, struct fault *why)
{
	int n;
	char list[128];
	if (strlen(value) > SETTINGS_VALUE_MAX) {
		fault_set(why, "`%s` is longer than %d bytes", row->key, SETTINGS_VALUE_MAX);
		return false;
	}
	if (row->words && !one_of(row->words, value)) {
		words_list(row->words, list, sizeof list);
		fault_set(why, "`%s` is one of %s, not \"%.60s\"", row->key, list, value);
		return false;
	}
	if ((row->low || row->high) &&
	    (!whole_number(value, &n) || n < row->low || n > row->high)) {
		fault_set(why, "`%s` is a whole number from %d to %d, not \"%.60s\"", row->key, row->low,
		          row->high, value);
		return false;
	}
	return !row->check || row->check(value, why);
}

/* ---- reading ---- */

/* "known: [pedal], [screen]", or the keys of a section. */
static void known(const char *section, char *out, size_t size)
{
	size_t n = 0;
	out[0] = '\0';
	for (int i = 0; i < settings_count && n < size; i++) {
		const struct setting *row = &settings_table[i];
		bool first = setting_row(row->section, NULL) == i;
		if (section ? strcmp(section, row->section) == 0 : first)
			n += (size_t)snprintf(out + n, size - n, section ? "%s%s" : "%s[%s]",
			                      n ? ", " : "", section ? row->key : row->section);
	}
}

static bool each_item(void *arg, const struct ini_item *item, struct fault *why)
{
	struct settings *s = arg;
	char list[200];
	if (!item->key) {
		if (setting_row(item->section, NULL) >= 0)
			return true;
		known(NULL, list, sizeof list);
		fault_set(why, "there is no section [%.60s]: known are %s", item->section, list);
		return false;
	}
	int i = setting_row(item->section, item->key);
	if (i < 0) {
		known(item->section, list, sizeof list);
		fault_at(why, NULL, item->line, item->key_column,
		         "[%s] has no key `%.60s`: known are %s", item->section, item->key, list);
		return false;
	}
	if (!value_good(&settings_table[i], item->value, why))
		return false;
	struct settings_value *v = &s->value[i];
	v->given = true;
	v->line = item->line;
	v->column = item->value_column;
	memcpy(v->text, item->value, strlen(item->value) + 1);
	return true;
}

static void settings_clear(struct settings *s)
{
	memset(s->value, 0, sizeof s->value);
}

bool settings_parse(struct settings *s, const char *name, const char *text, size_t len,
                    struct fault *why)
{
	settings_clear(s);
	if (ini_parse(name, text, len, each_item, s, why))
		return true;
	settings_clear(s);
	return false;
}

bool settings_load(struct settings *s, struct fault *why)
{
	char *text;
	size_t len;
	settings_clear(s);
	settings_path(s->path, sizeof s->path);
	if (!s->path[0])
		return true;
	if (!settings_read(s->path, &text, &len, why))
		return false;
	bool good = settings_parse(s, s->path, text, len, why);
	free(text);
	return good;
}

const char *settings_get(const struct settings *s, const char *section, const char *key)
{
	int i = setting_row(section, key);
	if (i < 0)
		return NULL;
	return s->value[i].given ? s->value[i].text : settings_table[i].without;
}

int settings_number(const struct settings *s, const char *section, const char *key)
{
	int n;
	const char *text = settings_get(s, section, key);
	return text && whole_number(text, &n) ? n : 0;
}

bool settings_yes(const struct settings *s, const char *section, const char *key)
{
	const char *text = settings_get(s, section, key);
	return text && strcmp(text, "yes") == 0;
}

/* ---- setting ---- */

static bool change_good(const struct setting_change *change, struct fault *why)
{
	int i = setting_row(change->section, change->key);
	if (i < 0) {
		fault_set(why, "there is no setting `%s` in [%s]", change->key, change->section);
		return false;
	}
	return !change->value || value_good(&settings_table[i], change->value, why);
}

/* The text of the file with the change made; *text is replaced.  `now` is read from it
 * again: nothing goes to the disk that could not be read. */
static bool change_make(struct settings *now, char **text, size_t *len,
                        const struct setting_change *change, struct fault *why)
{
	char *changed;
	size_t changed_len;
	if (!settings_edit(now->path, *text, *len, change->section, change->key, change->value,
	                   &changed, &changed_len, why))
		return false;
	free(*text);
	*text = changed;
	*len = changed_len;
	if (!settings_parse(now, now->path, *text, *len, why))
		return false;
	if (!change->value ||
	    strcmp(settings_get(now, change->section, change->key), change->value) == 0)
		return true;
	fault_set(why, "`%s` cannot be kept in a file: \"%.100s\"", change->key, change->value);
	return false;
}

bool settings_set_all(struct settings *s, const struct setting_change *change, int count,
                      struct fault *why)
{
	struct settings_lock lock;
	struct settings now = {0};
	char *text = NULL;
	size_t len = 0;
	for (int i = 0; i < count; i++)
		if (!change_good(&change[i], why))
			return false;
	settings_path(now.path, sizeof now.path);
	if (!settings_lock(&lock, now.path, why))
		return false;
	bool good = settings_read(lock.file, &text, &len, why) &&
	            settings_parse(&now, now.path, text, len, why);
	for (int i = 0; good && i < count; i++)
		good = change_make(&now, &text, &len, &change[i], why);
	good = good && settings_write(&lock, text, len, why);
	if (good)
		*s = now;
	settings_unlock(&lock);
	free(text);
	return good;
}

bool settings_set(struct settings *s, const char *section, const char *key, const char *value,
                  struct fault *why)
{
	struct setting_change one = {section, key, value};
	return settings_set_all(s, &one, 1, why);
}

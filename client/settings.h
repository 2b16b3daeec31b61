/* SPDX-License-Identifier: MIT */
/*
 * The person's own settings: sound, speech, pedal, screen.
 *
 * They belong to the client alone and to one person; what the bench is made of stands
 * in the daemon's configuration.  An INI file (protocol/file/ini.h says what one may
 * look like), found at
 *
 *     $TALLY_SETTINGS                       where that is set (for trials and tests)
 *     $XDG_CONFIG_HOME/tally/tally.ini      where that is an absolute path
 *     ~/.config/tally/tally.ini             else
 *
 * for example
 *
 *     [sound]
 *     volume = 70                  ; 0 to 100 percent
 *     [pedal]
 *     device  = usb:1209:0002 phys=usb-0000:00:14.0-2/input0 name=Foot Switch
 *     buttons = KEY_B take long undo, KEY_C next
 *
 * settings_table (settings.c) has every section, key, what may stand there and what
 * holds where nothing does.  An unknown section or key and a value that is out of range
 * are refused with file, line and column, for a word that was mistyped and passed over
 * is worse than none.
 */
#ifndef TALLY_CLIENT_SETTINGS_H
#define TALLY_CLIENT_SETTINGS_H

#include "protocol/trade/fault.h"

#include <stdbool.h>
#include <stddef.h>

/* A longer value is refused; so is a file beyond SETTINGS_FILE_MAX. */
#define SETTINGS_VALUE_MAX 1000
#define SETTINGS_FILE_MAX (256u << 10)
#define SETTINGS_PATH_MAX 4096
/* At least the rows of settings_table; settings.c checks it. */
#define SETTINGS_KEYS_MAX 32

/* All settings as they were read.  No memory of its own: copy it, drop it. */
struct settings {
	char path[SETTINGS_PATH_MAX]; /* "" where there is no home to keep one in */
	struct settings_value {
		bool given;
		int line, column; /* where it stands in the file */
		char text[SETTINGS_VALUE_MAX + 1];
	} value[SETTINGS_KEYS_MAX];
};

/* One row of the table. */
struct setting {
	const char *section, *key;
	const char *without; /* what holds where the file says nothing */
	const char *words;   /* "yes|no": one of these; NULL: see below */
	int low, high;       /* a whole number in this range; both 0: any text */
	/* A text that has a form of its own; a column that it sets counts from the start
	 * of the value.  NULL for none. */
	bool (*check)(const char *value, struct fault *why);
	const char *help;
};
extern const struct setting settings_table[];
extern const int settings_count;

/* Read the file.  A file that is not there is no fault: everything is as it is without
 * one.  False with the fault where it cannot be read or something in it is wrong; then
 * all of *s is as without a file (path alone is set), so that a client may say what is
 * wrong and still go on. */
bool settings_load(struct settings *s, struct fault *why);

/* The value, what holds without one where it was not given, NULL for a key that is not
 * in the table.  Valid until *s changes. */
const char *settings_get(const struct settings *s, const char *section, const char *key);
/* The same of a whole number, and of yes or no. */
int settings_number(const struct settings *s, const char *section, const char *key);
bool settings_yes(const struct settings *s, const char *section, const char *key);

/*
 * Put one value into the file and into *s; NULL takes the key out again.  Every other
 * line stays as it is, byte for byte, with comments, order and line ends; the line of
 * the key keeps its comment.  The file is read anew first, under a lock of its folder, so
 * that two programs which set different keys lose neither; *s then has what the file has.
 * Atomic: a temporary file in the same folder, synced, renamed over the old one, the
 * folder synced; mode (and owner, where that is allowed) are kept; a link stays a link and
 * its file is changed.  A missing folder is made, for this person alone.
 *
 * False with the fault, and nothing changed, where the value is refused, the file as it
 * is has a fault, or it cannot be written.
 */
bool settings_set(struct settings *s, const char *section, const char *key, const char *value,
                  struct fault *why);

/* Several at once: all of them or none. */
struct setting_change {
	const char *section, *key, *value;
};
bool settings_set_all(struct settings *s, const struct setting_change *change, int count,
                      struct fault *why);

/* The same text with one value changed, for the tests and for settings_set: `text` of
 * `len` bytes in, a new one into *out (free it).  `name` is the file's name in faults. */
bool settings_edit(const char *name, const char *text, size_t len, const char *section,
                   const char *key, const char *value, char **out, size_t *out_len,
                   struct fault *why);

/* Read a text as settings_load does its file; `name` for faults. */
bool settings_parse(struct settings *s, const char *name, const char *text, size_t len,
                    struct fault *why);

#endif

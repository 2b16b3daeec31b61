/* SPDX-License-Identifier: MIT */
/*
 * The settings file on the disk: where it is, reading it, and a new one in its place.
 * Inside settings.c alone; settings.h says what holds.
 */
#ifndef TALLY_CLIENT_SETTINGS_FILE_H
#define TALLY_CLIENT_SETTINGS_FILE_H

#include "client/settings.h"

/* Where the file is, whether it is there or not; "" without any home. */
void settings_path(char *out, size_t size);

/* The whole file; "" of length 0 for one that is not there.  Free *text. */
bool settings_read(const char *path, char **text, size_t *len, struct fault *why);

/* A lock of the folder of the file, which is made where it is missing; `file` is the
 * file itself, links followed. */
struct settings_lock {
	int folder;
	char file[SETTINGS_PATH_MAX];
};
bool settings_lock(struct settings_lock *lock, const char *path, struct fault *why);
void settings_unlock(struct settings_lock *lock);
/* A new file in the place of the old one. */
bool settings_write(struct settings_lock *lock, const char *text, size_t len, struct fault *why);

#endif

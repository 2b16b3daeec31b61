/* SPDX-License-Identifier: MIT */
/* See dialects.h. */
#include "daemon/dialects.h"
#include "daemon/config_compare.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FILE_SIZE_MAX (256 * 1024)

static char *slurp(const char *path, size_t *len, struct fault *why)
{
	FILE *f = fopen(path, "re");
	char *text = f ? malloc(FILE_SIZE_MAX + 1) : NULL;
	if (text)
		*len = fread(text, 1, FILE_SIZE_MAX + 1, f);
	if (!f || !text || ferror(f))
		fault_at(why, path, 0, 0, "cannot be read: %s", strerror(errno));
	else if (*len > FILE_SIZE_MAX)
		fault_at(why, path, 0, 0, "a dialect file of at most %d bytes was expected", FILE_SIZE_MAX);
	else {
		fclose(f);
		return text;
	}
	if (f)
		fclose(f);
	free(text);
	return NULL;
}

static bool load_one(struct dialects *d, const char *path, struct fault *why)
{
	size_t len;
	if (d->count == DIALECTS_MAX) {
		fault_at(why, path, 0, 0, "more than %d dialect files", DIALECTS_MAX);
		return false;
	}
	char *text = slurp(path, &len, why);
	struct dialect_file *file = text ? malloc(sizeof *file) : NULL;
	bool good = file && dialect_file_load(file, path, text, len, why);
	if (text && !file)
		fault_at(why, path, 0, 0, "out of memory");
	for (int i = 0; good && i < d->count; i++)
		if (strcmp(d->file[i]->name, file->name) == 0) {
			fault_at(why, path, 1, 1, "another file here has a dialect %s already", file->name);
			dialect_file_free(file);
			good = false;
		}
	if (good) {
		d->said[d->count] = config_hash(text, len, 0) | 1;
		d->file[d->count++] = file;
	} else {
		free(file);
	}
	free(text);
	return good;
}

static int is_ini(const struct dirent *e)
{
	size_t n = strlen(e->d_name);
	return e->d_name[0] != '.' && n > 4 && strcmp(e->d_name + n - 4, ".ini") == 0;
}

bool dialects_load(struct dialects *d, const char *folder, bool must, struct fault *why)
{
	struct dirent **found;
	memset(d, 0, sizeof *d);
	int n = scandir(folder, &found, is_ini, alphasort);
	if (n < 0) {
		if (!must && errno == ENOENT)
			return true;
		fault_at(why, folder, 0, 0, "the folder of dialects cannot be read: %s", strerror(errno));
		return false;
	}
	bool good = true;
	for (int i = 0; i < n; i++) {
		char path[1024];
		snprintf(path, sizeof path, "%s/%s", folder, found[i]->d_name);
		good = good && load_one(d, path, why);
		free(found[i]);
	}
	free(found);
	if (!good)
		dialects_free(d);
	return good;
}

void dialects_free(struct dialects *d)
{
	for (int i = 0; i < d->count; i++) {
		dialect_file_free(d->file[i]);
		free(d->file[i]);
	}
	d->count = 0;
}

const struct dialect *dialects_find(const struct dialects *d, const char *name)
{
	for (int i = 0; i < d->count; i++)
		if (strcmp(d->file[i]->name, name) == 0)
			return &d->file[i]->row;
	return dialect_find(name, strlen(name));
}

enum function dialects_function(const struct dialects *d, const struct dialect *row)
{
	for (int i = 0; i < d->count; i++)
		if (row == &d->file[i]->row)
			return d->file[i]->function;
	return FUNCTION_NONE;
}

uint64_t dialects_said(const struct dialects *d, const struct dialect *row)
{
	for (int i = 0; i < d->count; i++)
		if (row == &d->file[i]->row)
			return d->said[i];
	return 0;
}

/* One more name; where it does not fit the list ends with an ellipsis. */
static bool add_name(char *out, size_t size, const char *name)
{
	size_t n = strlen(out);
	if (n + strlen(name) + sizeof ", , ..." > size) {
		snprintf(out + n, size - n, ", ...");
		return false;
	}
	snprintf(out + n, size - n, "%s%s", n ? ", " : "", name);
	return true;
}

void dialects_names(const struct dialects *d, char *out, size_t size)
{
	out[0] = '\0';
	/* Those of files first: of them the reader has most to do with. */
	for (int i = 0; i < d->count; i++)
		if (!add_name(out, size, d->file[i]->name))
			return;
	for (int i = 0; dialects[i]; i++) {
		bool stands_in = dialects_find(d, dialects[i]->name) != dialects[i];
		if (!stands_in && !add_name(out, size, dialects[i]->name))
			return;
	}
}

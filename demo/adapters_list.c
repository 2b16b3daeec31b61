/* SPDX-License-Identifier: MIT */
/* Listing /dev and /sys/class/tty: see adapters_shim.c. */
#include "demo/adapters_inside.h"

#include <dirent.h>
#include <stdio.h>
#include <string.h>

/* Directory streams of /sys/class/tty and /dev, to which our nodes are added at the
 * end. */
static struct listing {
	DIR *dir;
	int next;
	unsigned char mark; /* of our entries: DT_LNK or DT_CHR */
	bool hollow; /* nothing of the directory's own is to come any more */
	struct dirent entry;
	struct dirent64 entry64;
} listings[16];

static struct listing *listing_of(DIR *dir)
{
	for (size_t i = 0; dir && i < sizeof listings / sizeof listings[0]; i++)
		if (listings[i].dir == dir)
			return &listings[i];
	return NULL;
}

static bool is_folder(const char *path, const char *folder)
{
	size_t len = strlen(folder);
	return strncmp(path, folder, len) == 0 && path[len + strspn(path + len, "/")] == '\0';
}

DIR *opendir(const char *path)
{
	adapters_ready();
	DIR *dir = REAL(opendir)(path);
	bool class = is_folder(path, ADAPTERS_CLASS);
	if (adapter_count == 0 || (!class && !is_folder(path, "/dev")))
		return dir;
	/* Where there is no /sys at all, only our nodes are listed. */
	bool hollow = !dir;
	if (hollow && !(dir = REAL(opendir)("/")))
		return NULL;
	unsigned char mark = class ? DT_LNK : DT_CHR;
	pthread_mutex_lock(&adapter_lock);
	for (size_t i = 0; i < sizeof listings / sizeof listings[0]; i++)
		if (!listings[i].dir) {
			listings[i] = (struct listing){ .dir = dir, .mark = mark, .hollow = hollow };
			break;
		}
	pthread_mutex_unlock(&adapter_lock);
	return dir;
}

int closedir(DIR *dir)
{
	pthread_mutex_lock(&adapter_lock);
	struct listing *l = listing_of(dir);
	if (l)
		l->dir = NULL;
	pthread_mutex_unlock(&adapter_lock);
	return REAL(closedir)(dir);
}

static bool is_node(const char *name)
{
	for (int i = 0; i < adapter_count; i++)
		if (strcmp(adapter_nodes[i].name, name) == 0)
			return true;
	return false;
}

/* The next of our nodes that is there; NULL at the end. */
static const char *listing_next(struct listing *l)
{
	while (l->next < adapter_count) {
		const struct node *n = &adapter_nodes[l->next++];
		if (adapter_present(n) && !strchr(n->name, '/'))
			return n->name;
	}
	return NULL;
}

#define READDIR(name, type, slot)                                      \
	struct type *name(DIR *dir)                                        \
	{                                                                  \
		struct listing *l = adapter_count ? listing_of(dir) : NULL;       \
		struct type *e = NULL;                                         \
		if (!l)                                                        \
			return REAL(name)(dir);                                    \
		while (!l->hollow && (e = REAL(name)(dir)))                    \
			if (!is_node(e->d_name))                                   \
				return e;                                              \
		l->hollow = true;                                              \
		const char *next = listing_next(l);                            \
		if (!next)                                                     \
			return NULL;                                               \
		memset(&l->slot, 0, sizeof l->slot);                           \
		l->slot.d_ino = (ino_t)l->next;                                \
		l->slot.d_reclen = sizeof l->slot;                             \
		l->slot.d_type = l->mark;                                      \
		snprintf(l->slot.d_name, sizeof l->slot.d_name, "%s", next);   \
		return &l->slot;                                               \
	}
READDIR(readdir, dirent, entry)
READDIR(readdir64, dirent64, entry64)

int readdir_r(DIR *dir, struct dirent *entry, struct dirent **result)
{
	errno = 0;
	struct dirent *e = readdir(dir);
	*result = NULL;
	if (!e)
		return errno;
	memcpy(entry, e, e->d_reclen < sizeof *entry ? e->d_reclen : sizeof *entry);
	*result = entry;
	return 0;
}

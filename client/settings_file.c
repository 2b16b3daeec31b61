/* SPDX-License-Identifier: MIT */
/* See settings_file.h. */
#include "client/settings_file.h"

#include <errno.h>
#include <fcntl.h>
#include <pwd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

/* How long another program that sets something may hold the folder: it writes a few
 * hundred bytes and syncs them. */
#define LOCK_TRIES 200
#define LOCK_WAIT_US 10000

static bool fail(struct fault *why, const char *path, const char *doing)
{
	fault_at(why, path, 0, 0, "%s: %s", doing, strerror(errno));
	return false;
}

void settings_path(char *out, size_t size)
{
	const char *given = getenv("TALLY_SETTINGS"), *xdg = getenv("XDG_CONFIG_HOME"),
	           *home = getenv("HOME");
	int n = 0;
	if (given && given[0]) {
		n = snprintf(out, size, "%s", given);
	} else if (xdg && xdg[0] == '/') {
		n = snprintf(out, size, "%s/tally/tally.ini", xdg);
	} else {
		const struct passwd *person = home && home[0] ? NULL : getpwuid(getuid());
		if (person)
			home = person->pw_dir;
		if (home && home[0] == '/')
			n = snprintf(out, size, "%s/.config/tally/tally.ini", home);
	}
	/* A path that does not fit is none: half of it would be somebody else's. */
	if (n <= 0 || (size_t)n >= size)
		out[0] = '\0';
}

/* ---- reading ---- */

static bool read_all(int fd, const char *path, char **text, size_t *len, struct fault *why)
{
	size_t size = SETTINGS_FILE_MAX + 1;
	char *bytes = malloc(size);
	ssize_t n = 0;
	*len = 0;
	if (!bytes)
		return fail(why, path, "cannot be read");
	while (*len < size && (n = read(fd, bytes + *len, size - *len)) != 0) {
		if (n > 0)
			*len += (size_t)n;
		else if (errno != EINTR)
			break;
	}
	if (n < 0) {
		free(bytes);
		return fail(why, path, "cannot be read");
	}
	if (*len == size) {
		free(bytes);
		fault_at(why, path, 0, 0, "is larger than %u KiB: no settings file",
		         SETTINGS_FILE_MAX >> 10);
		return false;
	}
	*text = bytes;
	return true;
}

bool settings_read(const char *path, char **text, size_t *len, struct fault *why)
{
	struct stat st;
	/* Not blocking, for a pipe in its place would wait for ever. */
	int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);
	if (fd < 0 && (errno == ENOENT || errno == ENOTDIR)) {
		*len = 0;
		*text = calloc(1, 1);
		return *text || fail(why, path, "cannot be read");
	}
	if (fd < 0)
		return fail(why, path, "cannot be read");
	bool good = fstat(fd, &st) == 0 && S_ISREG(st.st_mode);
	if (!good)
		fault_at(why, path, 0, 0, "is no ordinary file: settings are kept in one");
	good = good && read_all(fd, path, text, len, why);
	close(fd);
	return good;
}

/* ---- the folder ---- */

/* Make every folder above the file. */
static bool folders_make(const char *file, struct fault *why)
{
	char path[SETTINGS_PATH_MAX];
	snprintf(path, sizeof path, "%s", file);
	for (char *slash = strchr(path + 1, '/'); slash; slash = strchr(slash + 1, '/')) {
		*slash = '\0';
		if (mkdir(path, 0700) != 0 && errno != EEXIST) {
			/* A folder above that may not be written to, and is there: EROFS and EACCES
			 * come before EEXIST. */
			struct stat st;
			int cause = errno;
			if (stat(path, &st) != 0 || !S_ISDIR(st.st_mode)) {
				errno = cause;
				return fail(why, path, "cannot be made");
			}
		}
		*slash = '/';
	}
	return true;
}

/* The file itself where the path is a link; the path where nothing is there yet. */
static bool link_follow(const char *path, char *file, struct fault *why)
{
	struct stat st;
	char *real = realpath(path, NULL);
	if (real && strlen(real) < SETTINGS_PATH_MAX) {
		strcpy(file, real);
		free(real);
		return true;
	}
	free(real);
	if (lstat(path, &st) == 0 && S_ISLNK(st.st_mode)) {
		fault_at(why, path, 0, 0, "is a link to nothing: make its file, or take the link away");
		return false;
	}
	snprintf(file, SETTINGS_PATH_MAX, "%s", path);
	return true;
}

static void folder_of(const char *file, char *out)
{
	const char *slash = strrchr(file, '/');
	size_t n = slash ? (size_t)(slash - file) : 0;
	snprintf(out, SETTINGS_PATH_MAX, "%.*s", (int)(n ? n : 1), n ? file : slash ? "/" : ".");
}

bool settings_lock(struct settings_lock *lock, const char *path, struct fault *why)
{
	char folder[SETTINGS_PATH_MAX];
	lock->folder = -1;
	if (!path[0]) {
		fault_set(why, "there is no place for settings: neither HOME nor TALLY_SETTINGS is set");
		return false;
	}
	if (!folders_make(path, why) || !link_follow(path, lock->file, why))
		return false;
	folder_of(lock->file, folder);
	lock->folder = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	if (lock->folder < 0)
		return fail(why, folder, "cannot be opened");
	for (int i = 0; flock(lock->folder, LOCK_EX | LOCK_NB) != 0; i++) {
		/* A file system without locks: then without one. */
		if (errno != EWOULDBLOCK && errno != EINTR)
			break;
		if (i == LOCK_TRIES) {
			fault_at(why, path, 0, 0, "another program is setting something: try again");
			settings_unlock(lock);
			return false;
		}
		usleep(LOCK_WAIT_US);
	}
	return true;
}

void settings_unlock(struct settings_lock *lock)
{
	if (lock->folder >= 0)
		close(lock->folder);
	lock->folder = -1;
}

/* ---- writing ---- */

static bool write_all(int fd, const char *text, size_t len)
{
	while (len) {
		ssize_t n = write(fd, text, len);
		if (n < 0 && errno != EINTR)
			return false;
		if (n > 0) {
			text += n;
			len -= (size_t)n;
		}
	}
	return fsync(fd) == 0;
}

/* Mode and owner of the old file, where there is one.  One that nobody may write to was
 * made so on purpose, though a rename would not ask. */
static bool likeness(int fd, const char *file)
{
	struct stat old, new;
	if (stat(file, &old) != 0)
		return errno == ENOENT;
	if (!(old.st_mode & 0222)) {
		errno = EACCES;
		return false;
	}
	if (fstat(fd, &new) != 0)
		return false;
	/* Owner first, for it clears bits of the mode.  Not allowed is no fault: then the
	 * file is this person's. */
	if ((old.st_uid != new.st_uid || old.st_gid != new.st_gid) &&
	    fchown(fd, old.st_uid, old.st_gid) != 0 && errno != EPERM)
		return false;
	return fchmod(fd, old.st_mode & 07777) == 0;
}

bool settings_write(struct settings_lock *lock, const char *text, size_t len, struct fault *why)
{
	static const char name[] = ".tally-settings.new";
	const char *slash = strrchr(lock->file, '/'), *base = slash ? slash + 1 : lock->file;
	/* Under the lock nobody else writes this name; one left by a program that was ended
	 * is taken away. */
	unlinkat(lock->folder, name, 0);
	int fd = openat(lock->folder, name, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
	if (fd < 0)
		return fail(why, lock->file, "cannot be written: a new file beside it cannot be made");
	bool good = likeness(fd, lock->file) && write_all(fd, text, len);
	int cause = errno;
	if (close(fd) != 0 && good) {
		good = false;
		cause = errno;
	}
	if (good && renameat(lock->folder, name, lock->folder, base) != 0) {
		good = false;
		cause = errno;
	}
	if (!good) {
		unlinkat(lock->folder, name, 0);
		errno = cause;
		return fail(why, lock->file, "was not changed: it cannot be written");
	}
	/* Not every file system can; the file is in its place either way. */
	fsync(lock->folder);
	return true;
}

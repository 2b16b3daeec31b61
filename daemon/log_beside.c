/* SPDX-License-Identifier: MIT */
/*
 * The files beside the log: who holds it (LOG.lock), room for the last words on a
 * full disk (LOG.reserve), and the reminder that something went wrong (LOG.suspect).
 * None of this opens the log itself.  The key: log_new.c.
 */
#include "daemon/log_inside.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <sys/sysmacros.h>
#include <sys/vfs.h>
#include <time.h>
#include <unistd.h>

char *beside_name(const char *path, const char *suffix)
{
	size_t size = strlen(path) + strlen(suffix) + 1;
	char *name = malloc(size);
	if (name)
		snprintf(name, size, "%s%s", path, suffix);
	return name;
}

bool beside_exists(const char *path, const char *suffix, int64_t *size)
{
	char *name = beside_name(path, suffix);
	struct stat st;
	bool there = name && stat(name, &st) == 0;
	if (there && size)
		*size = st.st_size;
	free(name);
	return there;
}

void beside_remove(const char *path, const char *suffix)
{
	char *name = beside_name(path, suffix);
	if (name)
		unlink(name);
	free(name);
}

bool beside_is_file(const char *path, struct fault *why)
{
	struct stat st;
	const char *what = NULL;
	if (stat(path, &st) != 0 || S_ISREG(st.st_mode))
		return true;
	if (S_ISDIR(st.st_mode))
		what = "a folder; a log is a file in one";
	else if (S_ISFIFO(st.st_mode))
		what = "a pipe; a log is a file";
	else if (S_ISSOCK(st.st_mode))
		what = "a socket; a log is a file (a running daemon is asked with --socket)";
	else
		what = "a device; a log is a file";
	fault_at(why, path, 0, 0, "this is %s", what);
	return false;
}

/* The folder of a path, "." where none is named. */
static char *folder_of(const char *path)
{
	const char *slash = strrchr(path, '/');
	if (!slash)
		return strdup(".");
	return slash == path ? strdup("/") : strndup(path, (size_t)(slash - path));
}

/* Two names of one file must meet at one lock: links are followed. */
bool beside_path(const char *given, char **absolute, struct fault *why)
{
	if (!given || !*given || strlen(given) > PATH_MAX - 32) {
		fault_set(why, "the log needs a path of up to %d bytes", PATH_MAX - 32);
		return false;
	}
	*absolute = realpath(given, NULL);
	if (*absolute)
		return true;
	char *folder = folder_of(given);
	char *real = folder ? realpath(folder, NULL) : NULL;
	if (!real) {
		fault_at(why, given, 0, 0, "the folder %s of the log: %s; make it, or name another",
		         folder ? folder : "", strerror(errno));
		free(folder);
		return false;
	}
	const char *slash = strrchr(given, '/');
	const char *base = slash ? slash + 1 : given;
	size_t size = strlen(real) + strlen(base) + 2;
	char *out = *base ? malloc(size) : NULL;
	if (out)
		snprintf(out, size, "%s/%s", strcmp(real, "/") == 0 ? "" : real, base);
	else
		fault_at(why, given, 0, 0, "the log must be a file, this is a folder");
	free(real);
	free(folder);
	*absolute = out;
	return out != NULL;
}

/* ---- where a log may lie ---- */

/* SQLite's write-ahead log shares memory between processes, which no network
 * file system does; numbers from statfs(2) and linux/magic.h. */
static const struct {
	unsigned long magic;
	const char *name;
} network[] = {
	{ 0x6969, "NFS" },        { 0x517b, "SMB" },     { 0xff534d42, "CIFS" },
	{ 0xfe534d42, "SMB2" },   { 0x00c36400, "Ceph" }, { 0x01021997, "9P" },
	{ 0x5346414f, "AFS" },    { 0x73757245, "Coda" }, { 0x0bd00bd0, "Lustre" },
	{ 0x01161970, "GFS2" },   { 0x7461636f, "OCFS2" },
};
#define MAGIC_FUSE 0x65735546
static const char *const remote_fuse[] = {
	"fuse.sshfs", "fuse.rclone", "fuse.s3fs", "fuse.davfs", "fuse.glusterfs",
	"fuse.curlftpfs", "fuse.ceph-fuse", "fuse.gvfsd-fuse", "fuse.goofys",
};

/* All FUSE file systems share one magic number; the mount table names the kind. */
static bool fuse_is_remote(const char *folder, char *name, size_t size)
{
	struct stat st;
	FILE *mounts = fopen("/proc/self/mountinfo", "re");
	if (!mounts)
		return false;
	bool remote = false;
	char *line = NULL;
	size_t room = 0;
	unsigned major_no, minor_no;
	bool known = stat(folder, &st) == 0;
	while (known && !remote && getline(&line, &room, mounts) > 0) {
		char *kind = strstr(line, " - ");
		if (!kind || sscanf(line, "%*u %*u %u:%u ", &major_no, &minor_no) != 2 ||
		    makedev(major_no, minor_no) != st.st_dev)
			continue;
		kind += 3;
		kind[strcspn(kind, " \n")] = '\0';
		for (size_t i = 0; i < sizeof remote_fuse / sizeof *remote_fuse; i++)
			if (strcmp(kind, remote_fuse[i]) == 0) {
				snprintf(name, size, "%s", kind);
				remote = true;
			}
	}
	free(line);
	fclose(mounts);
	return remote;
}

bool beside_place_fits(const char *path, struct fault *why)
{
	char *folder = folder_of(path);
	struct statfs fs;
	char name[64] = "";
	if (folder && statfs(folder, &fs) == 0) {
		unsigned long magic = (unsigned long)fs.f_type & 0xffffffff;
		for (size_t i = 0; i < sizeof network / sizeof *network; i++)
			if (network[i].magic == magic)
				snprintf(name, sizeof name, "%s", network[i].name);
		if (magic == MAGIC_FUSE && !fuse_is_remote(folder, name, sizeof name))
			name[0] = '\0';
	}
	free(folder);
	if (!name[0])
		return true;
	fault_at(why, path, 0, 0, "the log would lie on a network file system (%s), where it cannot "
	         "be kept whole; put it on a disk of this machine", name);
	return false;
}

/* ---- the lock ---- */

static void name_holder(int fd, const char *path, struct fault *why)
{
	char text[32] = "", comm[64] = "", file[64];
	ssize_t n = pread(fd, text, sizeof text - 1, 0);
	long pid = n > 0 ? strtol(text, NULL, 10) : 0;
	if (pid <= 0) {
		fault_at(why, path, 0, 0, "another process holds the log; stop it first");
		return;
	}
	snprintf(file, sizeof file, "/proc/%ld/comm", pid);
	FILE *f = fopen(file, "re");
	if (f) {
		if (fgets(comm, sizeof comm, f))
			comm[strcspn(comm, "\n")] = '\0';
		fclose(f);
	}
	fault_at(why, path, 0, 0, "process %ld%s%s%s holds the log; stop it first", pid,
	         comm[0] ? " (" : "", comm, comm[0] ? ")" : "");
}

/* Closing this descriptor drops nobody's lock: flock goes by the opening, not by the process. */
bool beside_held(const char *path)
{
	char *name = beside_name(path, ".lock");
	int fd = name ? open(name, O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK) : -1;
	bool held = fd >= 0 ? flock(fd, LOCK_SH | LOCK_NB) != 0 : errno != ENOENT;
	if (fd >= 0)
		close(fd);
	free(name);
	return held;
}

/* Onlookers ask for a moment whether it is held: that is no holder. */
static bool lock_now(int fd)
{
	for (int tries = 0; tries < 10; tries++) {
		if (flock(fd, LOCK_EX | LOCK_NB) == 0)
			return true;
		if (errno != EWOULDBLOCK)
			return false;
		usleep(5000);
	}
	errno = EWOULDBLOCK;
	return false;
}

int beside_lock(const char *path, struct fault *why)
{
	char *name = beside_name(path, ".lock");
	int fd = name ? open(name, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0644) : -1;
	if (fd < 0) {
		fault_at(why, name, 0, 0, "cannot make the lock of the log: %s; the folder of the log "
		         "must be writable", strerror(errno));
		free(name);
		return -1;
	}
	free(name);
	if (!lock_now(fd)) {
		if (errno == EWOULDBLOCK)
			name_holder(fd, path, why);
		else
			fault_at(why, path, 0, 0, "cannot lock the log: %s", strerror(errno));
		close(fd);
		return -1;
	}
	/* The pid is for people; on a full disk it may be missing. */
	char pid[LOG_PID_SIZE + 1];
	snprintf(pid, sizeof pid, "%-31ld\n", (long)getpid());
	if (pwrite(fd, pid, LOG_PID_SIZE, 0) != LOG_PID_SIZE)
		(void)!ftruncate(fd, 0);
	return fd;
}

void beside_unlock(int lock)
{
	if (lock < 0)
		return;
	/* The file stays: removing it would let two others hold two locks.  And the note in it. */
	char nobody[LOG_PID_SIZE + 1];
	snprintf(nobody, sizeof nobody, "%31s\n", "");
	if (pwrite(lock, nobody, LOG_PID_SIZE, 0) != LOG_PID_SIZE)
		(void)!ftruncate(lock, 0);
	close(lock);
}

/* ---- the reserve ---- */

double beside_room(const char *path)
{
	struct statvfs fs;
	char *folder = folder_of(path);
	bool known = folder && statvfs(folder, &fs) == 0;
	free(folder);
	return known ? (double)fs.f_bavail * (double)fs.f_frsize : 0;
}

bool beside_reserve_make(const char *path)
{
	int64_t size = 0;
	if (beside_exists(path, ".reserve", &size) && size >= LOG_RESERVE_SIZE)
		return true;
	/* Twice its size, or making it would itself fill the disk. */
	bool room = beside_room(path) >= 2.0 * LOG_RESERVE_SIZE;
	char *name = room ? beside_name(path, ".reserve") : NULL;
	int fd = name ? open(name, O_WRONLY | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0644) : -1;
	bool made = fd >= 0 && posix_fallocate(fd, 0, LOG_RESERVE_SIZE) == 0;
	if (fd >= 0)
		close(fd);
	if (fd >= 0 && !made)
		unlink(name);
	free(name);
	return made;
}

bool beside_reserve_drop(const char *path)
{
	char *name = beside_name(path, ".reserve");
	bool dropped = name && unlink(name) == 0;
	free(name);
	return dropped;
}

/* ---- the marker ---- */

void beside_suspect_mark(const char *path, int64_t seq, const char *what)
{
	char *name = beside_name(path, ".suspect");
	int fd = name ? open(name, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0644) : -1;
	free(name);
	if (fd < 0)
		return;
	char text[256];
	int n = snprintf(text, sizeof text, "after record %lld: %s\n", (long long)seq, what);
	if (n > 0 && write(fd, text, strlen(text)) > 0)
		(void)fsync(fd);
	close(fd);
}

bool beside_suspect_read(const char *path, char *what, size_t size)
{
	char *name = beside_name(path, ".suspect");
	FILE *f = name ? fopen(name, "re") : NULL;
	free(name);
	if (!f)
		return false;
	if (!fgets(what, (int)size, f))
		snprintf(what, size, "unknown");
	what[strcspn(what, "\n")] = '\0';
	fclose(f);
	return true;
}

void beside_suspect_clear(const char *path)
{
	beside_remove(path, ".suspect");
}

bool beside_folder_sync(const char *path)
{
	char *folder = folder_of(path);
	int fd = folder ? open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC) : -1;
	free(folder);
	bool done = fd >= 0 && (fsync(fd) == 0 || errno == EINVAL);
	if (fd >= 0)
		close(fd);
	return done;
}

/* ---- set aside ---- */

/* The name that nothing has yet: LOG.aside-20261125T100000Z, then with -2 and so on behind. */
char *beside_aside_name(const char *path, int64_t now)
{
	char suffix[64], day[32];
	time_t t = (time_t)(now / 1000000);
	struct tm tm;
	if (!gmtime_r(&t, &tm) || !strftime(day, sizeof day, "%Y%m%dT%H%M%SZ", &tm))
		strcpy(day, "then");
	for (int i = 1; i < 1000; i++) {
		snprintf(suffix, sizeof suffix, i > 1 ? ".aside-%s-%d" : ".aside-%s", day, i);
		if (!beside_exists(path, suffix, NULL))
			return beside_name(path, suffix);
	}
	return NULL;
}

static bool part_move(const char *path, const char *to_path, const char *part)
{
	char *from = beside_name(path, part), *to = beside_name(to_path, part);
	bool done = from && to && (renameat2(AT_FDCWD, from, AT_FDCWD, to, RENAME_NOREPLACE) == 0 ||
	                           errno == ENOENT || ((errno == EINVAL || errno == ENOSYS) &&
	                           !beside_exists(to_path, part, NULL) && rename(from, to) == 0));
	int error = errno;
	free(from);
	free(to);
	errno = error;
	return done;
}

/* LOG-wal stands first: without it nobody takes LOG for whole as long as LOG-shm is there. */
static const char *const aside_parts[] = { "-wal", "", "-shm", "-journal", ".suspect", ".key" };
#define ASIDE_PARTS (sizeof aside_parts / sizeof *aside_parts)

/* Which of them there are, under another name as well. */
static bool parts_link(const char *path, const char *aside, size_t n, bool linked[ASIDE_PARTS])
{
	for (size_t i = 0; i < n; i++) {
		char *from = beside_name(path, aside_parts[i]), *to = beside_name(aside, aside_parts[i]);
		linked[i] = from && to && link(from, to) == 0;
		bool absent = !linked[i] && (errno == ENOENT || errno == EEXIST);
		int error = errno;
		free(from);
		free(to);
		errno = error;
		if (!linked[i] && !absent)
			return false;
	}
	return true;
}

static void parts_remove(const char *path, const bool linked[ASIDE_PARTS])
{
	int error = errno;
	for (size_t i = 0; i < ASIDE_PARTS; i++)
		if (linked[i])
			beside_remove(path, aside_parts[i]);
	errno = error;
}

/* A file system without hard links: one after the other, back again where that fails. */
static bool parts_rename(const char *path, const char *aside, size_t n)
{
	size_t i = 0;
	bool done = true;
	for (; done && i < n; i++)
		done = part_move(path, aside, aside_parts[i]);
	int error = errno;
	while (!done && i > 0)
		part_move(aside, path, aside_parts[--i]);
	errno = error;
	return done;
}

/* What belongs to a log goes with it, under names that fit again: the set can be read,
 * and put back, as it was.  First everything gets its second name, so that what is broken off
 * has changed nothing, and the set is whole before the first of the old names goes. */
bool beside_set_aside(const char *path, bool key, int64_t now, char *out, size_t size,
                      struct fault *why)
{
	bool linked[ASIDE_PARTS] = { false }, again[ASIDE_PARTS];
	size_t n = ASIDE_PARTS - !key;
	char *aside = beside_aside_name(path, now);
	bool done = aside && parts_link(path, aside, n, linked) && beside_folder_sync(path);
	if (done) {
		parts_remove(path, linked);
		done = !beside_exists(path, "", NULL) && !beside_exists(path, "-wal", NULL);
		if (!done) {
			fault_at(why, path, 0, 0, "the log cannot be set aside: its old name cannot be taken "
			         "away; is the folder writable?");
			parts_link(aside, path, n, again);
			if (beside_exists(path, "", NULL))
				parts_remove(aside, linked);
		}
	} else if (aside) {
		parts_remove(aside, linked);
		if (errno == EPERM || errno == EOPNOTSUPP || errno == ENOSYS)
			done = parts_rename(path, aside, n);
		if (!done)
			fault_at(why, path, 0, 0, "the log cannot be set aside: %s", strerror(errno));
	}
	if (done) {
		(void)beside_folder_sync(path); /* where it is not durable, both names are there */
		snprintf(out, size, "%s", aside);
	}
	free(aside);
	return done;
}

/* SPDX-License-Identifier: MIT */
/*
 * A pseudo-terminal that looks like a USB-serial adapter, to one process.
 *
 * libserialport refuses a pty for two reasons: it has no entry under
 * /sys/class/tty, and it has no modem lines (TIOCMGET gives ENOTTY).  This shim
 * stands between the program and the C library and answers for both, so that the
 * program has one serial path and trials run that very path.  It is preloaded by
 * demo/adapters, or linked into a test.
 *
 * For every adapter NODE=PTY[,VID:PID[:SERIAL]] of the environment variable
 * TALLY_ADAPTERS (one a line):
 *
 *   /dev/NODE                  opens PTY, and is no symbolic link
 *   /sys/class/tty/NODE        a link into the place usb9/9-K/9-K:1.0 on the bus
 *   .../device/../../idVendor  and idProduct, serial, product, manufacturer,
 *                              busnum, devnum: as the kernel has them
 *   TIOCMGET, TIOCMSET,        modem lines, remembered; CTS, DSR and CD are on
 *   TIOCMBIS, TIOCMBIC
 *   TIOCGICOUNT                no errors
 *   TIOCEXCL, TIOCNXCL,        held until the holder closes or dies, as with an
 *   TIOCGEXCL                  adapter; a pty's own would live as long as the
 *                              simulator keeps its end open
 *   tcsetattr, tcgetattr       word length and parity are remembered, which a pty
 *                              drops without a word
 *
 * The adapter is there exactly while PTY leads to a terminal: a socat that ends,
 * or a link that is taken away, is an unplugged adapter.  PTY may be a link, and
 * need not be there at the start.  Everything else on the machine, real adapters
 * included, stays as it is.  Threads may use it; statically linked programs and
 * those that call the kernel past the C library do not see it.
 */
#undef _FORTIFY_SOURCE
#undef _FILE_OFFSET_BITS
#include "demo/adapters_shim.h"

#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/xattr.h>
#include <termios.h>
#include <unistd.h>

#define NODES_MAX 64
#define CLASS "/sys/class/tty"
#define FRAMING (CSIZE | PARENB | PARODD | CMSPAR)
/* From linux/serial.h and asm/termbits.h, which do not go with termios.h. */
#define GET_TERMIOS2 0x802C542AuL
#define SET_TERMIOS2 0x402C542BuL
#define SET_TERMIOS2_W 0x402C542CuL
#define SET_TERMIOS2_F 0x402C542DuL

struct node {
	char name[64];       /* below /dev */
	char pty[PATH_MAX];
	char vid[5], pid[5]; /* hex */
	char serial[64];     /* "" for none */
	bool opened;         /* by this process, as the device `rdev` */
	dev_t rdev;
	bool exclusive;      /* TIOCEXCL by this process */
	bool framed;         /* `framing` holds what tcsetattr set */
	tcflag_t framing;
	int lines;           /* TIOCM_* */
};

static struct node nodes[NODES_MAX];
static int node_count;
static int line_changes;
static pthread_once_t once = PTHREAD_ONCE_INIT;
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;

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

/* The C library's own, each looked up where it is first needed. */
#define REAL(name)                                            \
	__extension__({                                           \
		static __typeof__(name) *found;                       \
		if (!found)                                           \
			*(void **)&found = dlsym(RTLD_NEXT, #name);       \
		found;                                                \
	})

/* ---- which adapters there are ---- */

static bool hex4(const char *s)
{
	for (int i = 0; i < 4; i++)
		if (!s[i] || !strchr("0123456789abcdefABCDEF", s[i]))
			return false;
	return true;
}

/* VID:PID[:SERIAL] up to `end` */
static bool ids_read(const char *s, const char *end, struct node *n)
{
	if (end - s < 9 || !hex4(s) || s[4] != ':' || !hex4(s + 5) || (s + 9 < end && s[9] != ':'))
		return false;
	snprintf(n->vid, sizeof n->vid, "%.4s", s);
	snprintf(n->pid, sizeof n->pid, "%.4s", s + 5);
	if (s + 10 < end)
		snprintf(n->serial, sizeof n->serial, "%.*s", (int)(end - s - 10), s + 10);
	return true;
}

static bool node_read(const char *s, const char *end, struct node *n)
{
	const char *equals = memchr(s, '=', (size_t)(end - s));
	if (!equals || equals == s || (size_t)(equals - s) >= sizeof n->name)
		return false;
	memset(n, 0, sizeof *n);
	snprintf(n->name, sizeof n->name, "%.*s", (int)(equals - s), s);
	strcpy(n->vid, "ffff");
	strcpy(n->pid, "0001");
	n->lines = TIOCM_DTR | TIOCM_RTS | TIOCM_CTS | TIOCM_DSR | TIOCM_CD;

	const char *path = equals + 1, *path_end = end;
	for (const char *c = path; c < end; c++)
		if (*c == ',' && ids_read(c + 1, end, n)) {
			path_end = c;
			break;
		}
	size_t len = (size_t)(path_end - path);
	if (len == 0 || len >= sizeof n->pty)
		return false;
	memcpy(n->pty, path, len);
	n->pty[len] = '\0';
	return true;
}

static int nodes_read(const char *spec)
{
	node_count = 0;
	line_changes = 0;
	while (*spec) {
		const char *end = strchrnul(spec, '\n');
		if (end > spec) {
			if (node_count == NODES_MAX || !node_read(spec, end, &nodes[node_count])) {
				node_count = 0;
				return -1;
			}
			node_count++;
		}
		spec = *end ? end + 1 : end;
	}
	return node_count;
}

static void nodes_from_environment(void)
{
	const char *spec = getenv("TALLY_ADAPTERS");
	if (spec && nodes_read(spec) < 0)
		fprintf(stderr, "adapters: TALLY_ADAPTERS is not lines of NODE=PTY[,VID:PID[:SERIAL]]; "
		                "nothing stands in\n");
}

int adapters_setup(const char *spec)
{
	pthread_once(&once, nodes_from_environment);
	return nodes_read(spec);
}

int adapters_line_changes(void)
{
	return line_changes;
}

static bool node_present(const struct node *n)
{
	struct stat st;
	return REAL(stat)(n->pty, &st) == 0 && S_ISCHR(st.st_mode);
}

/* The node that `path` names as PREFIX/NAME[/REST]; *rest begins after the name. */
static struct node *node_below(const char *prefix, const char *path, const char **rest)
{
	size_t len = strlen(prefix);
	pthread_once(&once, nodes_from_environment);
	if (node_count == 0 || strncmp(path, prefix, len) != 0 || path[len] != '/')
		return NULL;
	path += len + 1;
	for (int i = 0; i < node_count; i++) {
		size_t n = strlen(nodes[i].name);
		if (strncmp(path, nodes[i].name, n) == 0 && (path[n] == '\0' || path[n] == '/')) {
			*rest = path + n;
			return &nodes[i];
		}
	}
	return NULL;
}

static struct node *node_dev(const char *path)
{
	const char *rest;
	struct node *n = node_below("/dev", path, &rest);
	return n && !*rest ? n : NULL;
}

static struct node *node_fd(int fd)
{
	struct stat st;
	if (node_count == 0 || REAL(fstat)(fd, &st) < 0 || !S_ISCHR(st.st_mode))
		return NULL;
	for (int i = 0; i < node_count; i++)
		if (nodes[i].opened && nodes[i].rdev == st.st_rdev)
			return &nodes[i];
	return NULL;
}

/* ---- what stands under /sys/class/tty ---- */

enum what { NOTHING, LINK, FOLDER, FILE_TEXT };

static int node_place(const struct node *n)
{
	return (int)(n - nodes) + 1;
}

static void class_link(const struct node *n, char *out, size_t size)
{
	int k = node_place(n);
	snprintf(out, size, "../../devices/pci0000:00/0000:00:14.0/usb9/9-%d/9-%d:1.0/%s/tty/%s", k, k,
	         n->name, n->name);
}

/* `path` lies below a node's entry: what is it, and what text does it hold? */
static enum what class_what(const struct node *n, const char *rest, char *text, size_t size)
{
	if (!*rest)
		return LINK;
	if (strncmp(rest, "/device", 7) != 0)
		return NOTHING;
	rest += 7;
	int up = 0;
	while (strncmp(rest, "/..", 3) == 0) {
		rest += 3;
		up++;
	}
	if (!*rest)
		return FOLDER;
	/* device is the port of the adapter, above it the interface, then the adapter */
	if (*rest != '/' || up != 2)
		return NOTHING;
	rest++;
	text[0] = '\0';
	if (strcmp(rest, "busnum") == 0)
		snprintf(text, size, "9\n");
	else if (strcmp(rest, "devnum") == 0)
		snprintf(text, size, "%d\n", node_place(n) + 1);
	else if (strcmp(rest, "idVendor") == 0)
		snprintf(text, size, "%s\n", n->vid);
	else if (strcmp(rest, "idProduct") == 0)
		snprintf(text, size, "%s\n", n->pid);
	else if (strcmp(rest, "serial") == 0 && n->serial[0])
		snprintf(text, size, "%s\n", n->serial);
	else if (strcmp(rest, "product") == 0)
		snprintf(text, size, "stand-in adapter\n");
	else if (strcmp(rest, "manufacturer") == 0)
		snprintf(text, size, "pseudo-terminal\n");
	return text[0] ? FILE_TEXT : NOTHING;
}

/* True where `path` is ours to answer; *what is NOTHING where it is not there. */
static bool class_find(const char *path, enum what *what, struct node **node, char *text,
                       size_t size)
{
	const char *rest;
	*node = node_below(CLASS, path, &rest);
	if (!*node)
		return false;
	*what = node_present(*node) ? class_what(*node, rest, text, size) : NOTHING;
	return true;
}

/* A descriptor from which `text` can be read. */
static int text_open(const char *text)
{
	int fd = memfd_create("adapter", MFD_CLOEXEC);
	if (fd < 0)
		return -1;
	size_t len = strlen(text);
	if (write(fd, text, len) != (ssize_t)len || lseek(fd, 0, SEEK_SET) != 0) {
		close(fd);
		errno = EIO;
		return -1;
	}
	return fd;
}

static int class_mode(enum what what, bool follow, mode_t *mode)
{
	switch (what) {
	case LINK:
		*mode = follow ? S_IFDIR | 0755 : S_IFLNK | 0777;
		return 0;
	case FOLDER:
		*mode = S_IFDIR | 0755;
		return 0;
	case FILE_TEXT:
		*mode = S_IFREG | 0444;
		return 0;
	case NOTHING:
		break;
	}
	errno = ENOENT;
	return -1;
}

/* ---- opening ---- */

/* Someone else's TIOCEXCL on the node behind `fd`? */
static bool held_elsewhere(int fd)
{
	struct flock f = { .l_type = F_WRLCK, .l_whence = SEEK_SET };
	return fcntl(fd, F_OFD_GETLK, &f) == 0 && f.l_type != F_UNLCK;
}

static int node_opened(struct node *n, int fd)
{
	struct stat st;
	if (fd < 0 || REAL(fstat)(fd, &st) < 0)
		return fd;
	if (geteuid() != 0 && held_elsewhere(fd)) {
		close(fd);
		errno = EBUSY;
		return -1;
	}
	pthread_mutex_lock(&lock);
	if (!n->opened || n->rdev != st.st_rdev) {
		n->framed = false;
		n->exclusive = false;
	}
	n->opened = true;
	n->rdev = st.st_rdev;
	pthread_mutex_unlock(&lock);
	return fd;
}

/* True where the path is ours; *fd is then the answer. */
static bool open_ours(const char *path, int flags, int *fd)
{
	char text[128];
	enum what what;
	struct node *n = node_dev(path);
	if (n) {
		*fd = node_opened(n, REAL(open)(n->pty, flags & ~(O_CREAT | O_EXCL)));
		return true;
	}
	if (!class_find(path, &what, &n, text, sizeof text))
		return false;
	if (what == FILE_TEXT) {
		*fd = text_open(text);
	} else {
		errno = what == NOTHING ? ENOENT : EISDIR;
		*fd = -1;
	}
	return true;
}

static mode_t mode_of(int flags, va_list args)
{
	bool creates = flags & O_CREAT || (flags & O_TMPFILE) == O_TMPFILE;
	return creates ? va_arg(args, mode_t) : 0;
}

#define OPEN(name)                                     \
	int name(const char *path, int flags, ...)         \
	{                                                  \
		int fd;                                        \
		if (open_ours(path, flags, &fd))               \
			return fd;                                 \
		va_list args;                                  \
		va_start(args, flags);                         \
		mode_t mode = mode_of(flags, args);            \
		va_end(args);                                  \
		return REAL(name)(path, flags, mode);          \
	}
OPEN(open)
OPEN(open64)

#define OPENAT(name)                                             \
	int name(int dir, const char *path, int flags, ...)          \
	{                                                            \
		int fd;                                                  \
		if (path[0] == '/' && open_ours(path, flags, &fd))       \
			return fd;                                           \
		va_list args;                                            \
		va_start(args, flags);                                   \
		mode_t mode = mode_of(flags, args);                      \
		va_end(args);                                            \
		return REAL(name)(dir, path, flags, mode);               \
	}
OPENAT(openat)
OPENAT(openat64)

/* What programs call that were built with fortified headers, or before the C
 * library had stat as a function. */
int __open_2(const char *path, int flags);
int __open64_2(const char *path, int flags);
int __xstat(int version, const char *path, struct stat *st);
int __lxstat(int version, const char *path, struct stat *st);
int __xstat64(int version, const char *path, struct stat64 *st);
int __lxstat64(int version, const char *path, struct stat64 *st);
ssize_t __readlink_chk(const char *path, char *out, size_t size, size_t room);
char *__realpath_chk(const char *path, char *out, size_t room);

int __open_2(const char *path, int flags)
{
	int fd;
	return open_ours(path, flags, &fd) ? fd : REAL(__open_2)(path, flags);
}

int __open64_2(const char *path, int flags)
{
	int fd;
	return open_ours(path, flags, &fd) ? fd : REAL(__open64_2)(path, flags);
}

#define FOPEN(name)                                                                     \
	FILE *name(const char *path, const char *mode)                                      \
	{                                                                                   \
		int fd, flags = strchr(mode, '+') ? O_RDWR : *mode == 'r' ? O_RDONLY : O_WRONLY; \
		if (open_ours(path, flags | O_NOCTTY, &fd))                                     \
			return fd < 0 ? NULL : fdopen(fd, mode);                                    \
		return REAL(name)(path, mode);                                                  \
	}
FOPEN(fopen)
FOPEN(fopen64)

/* ---- looking ---- */

/* Is `path` ours, and what is there?  *target is the file to look at instead, or
 * NULL where *mode says it all; *result is not 0 where nothing is there. */
static bool look_ours(const char *path, bool follow, const char **target, mode_t *mode,
                      int *result)
{
	char text[128];
	enum what what;
	struct node *n = node_dev(path);
	*target = NULL;
	*result = 0;
	if (n) {
		*target = n->pty;
		return true;
	}
	if (!class_find(path, &what, &n, text, sizeof text))
		return false;
	*result = class_mode(what, follow, mode);
	return true;
}

#define LOOK(name, type, real, follow)                              \
	int name(const char *path, struct type *st)                     \
	{                                                               \
		const char *target;                                         \
		mode_t mode;                                                \
		int result;                                                 \
		if (!look_ours(path, follow, &target, &mode, &result))      \
			return REAL(name)(path, st);                            \
		if (target)                                                 \
			return REAL(real)(target, st);                          \
		if (result == 0) {                                          \
			memset(st, 0, sizeof *st);                              \
			st->st_mode = mode;                                     \
			st->st_nlink = 1;                                       \
		}                                                           \
		return result;                                              \
	}
LOOK(stat, stat, stat, true)
LOOK(lstat, stat, stat, false)
LOOK(stat64, stat64, stat64, true)
LOOK(lstat64, stat64, stat64, false)

#define LOOK_OLD(name, type, now)                                             \
	int name(int version, const char *path, struct type *st)                  \
	{                                                                         \
		const char *target;                                                   \
		mode_t mode;                                                          \
		int result;                                                           \
		if (!look_ours(path, true, &target, &mode, &result))                  \
			return REAL(name)(version, path, st);                             \
		return now(path, st);                                                 \
	}
LOOK_OLD(__xstat, stat, stat)
LOOK_OLD(__lxstat, stat, lstat)
LOOK_OLD(__xstat64, stat64, stat64)
LOOK_OLD(__lxstat64, stat64, lstat64)

#define LOOK_AT(name, type, now, now_link)                                     \
	int name(int dir, const char *path, struct type *st, int flags)            \
	{                                                                          \
		const char *target;                                                    \
		mode_t mode;                                                           \
		int result;                                                            \
		if (path[0] != '/' || !look_ours(path, true, &target, &mode, &result)) \
			return REAL(name)(dir, path, st, flags);                           \
		return flags & AT_SYMLINK_NOFOLLOW ? now_link(path, st) : now(path, st); \
	}
LOOK_AT(fstatat, stat, stat, lstat)
LOOK_AT(fstatat64, stat64, stat64, lstat64)

int statx(int dir, const char *path, int flags, unsigned mask, struct statx *out)
{
	const char *target;
	mode_t mode;
	int result;
	bool follow = !(flags & AT_SYMLINK_NOFOLLOW);
	if (path[0] != '/' || !look_ours(path, follow, &target, &mode, &result))
		return REAL(statx)(dir, path, flags, mask, out);
	if (target)
		return REAL(statx)(AT_FDCWD, target, flags & ~AT_SYMLINK_NOFOLLOW, mask, out);
	if (result == 0) {
		memset(out, 0, sizeof *out);
		out->stx_mask = STATX_TYPE | STATX_MODE | STATX_NLINK;
		out->stx_mode = (uint16_t)mode;
		out->stx_nlink = 1;
	}
	return result;
}

int access(const char *path, int how)
{
	const char *target;
	mode_t mode;
	int result;
	if (!look_ours(path, true, &target, &mode, &result))
		return REAL(access)(path, how);
	return target ? REAL(access)(target, how) : result;
}

int faccessat(int dir, const char *path, int how, int flags)
{
	const char *target;
	mode_t mode;
	int result;
	if (path[0] != '/' || !look_ours(path, true, &target, &mode, &result))
		return REAL(faccessat)(dir, path, how, flags);
	return target ? REAL(faccessat)(AT_FDCWD, target, how, flags & ~AT_SYMLINK_NOFOLLOW) : result;
}

/* ls -l asks for these. */
#define NO_XATTR(name)                                                              \
	ssize_t name(const char *path, const char *key, void *value, size_t size)       \
	{                                                                               \
		const char *target;                                                         \
		mode_t mode;                                                                \
		int result;                                                                 \
		if (!look_ours(path, true, &target, &mode, &result))                        \
			return REAL(name)(path, key, value, size);                              \
		errno = ENOTSUP;                                                            \
		return -1;                                                                  \
	}
NO_XATTR(getxattr)
NO_XATTR(lgetxattr)

/* True where the path is ours; *len is then the answer. */
static bool readlink_ours(const char *path, char *out, size_t size, ssize_t *len)
{
	char text[PATH_MAX];
	enum what what;
	struct node *n = node_dev(path);
	*len = -1;
	if (n) {
		errno = node_present(n) ? EINVAL : ENOENT;
		return true;
	}
	if (!class_find(path, &what, &n, text, sizeof text))
		return false;
	if (what != LINK) {
		errno = what == NOTHING ? ENOENT : EINVAL;
		return true;
	}
	class_link(n, text, sizeof text);
	size_t room = strlen(text) < size ? strlen(text) : size;
	memcpy(out, text, room);
	*len = (ssize_t)room;
	return true;
}

ssize_t readlink(const char *path, char *out, size_t size)
{
	ssize_t len;
	return readlink_ours(path, out, size, &len) ? len : REAL(readlink)(path, out, size);
}

ssize_t __readlink_chk(const char *path, char *out, size_t size, size_t room)
{
	(void)room;
	return readlink(path, out, size);
}

ssize_t readlinkat(int dir, const char *path, char *out, size_t size)
{
	ssize_t len;
	if (path[0] == '/' && readlink_ours(path, out, size, &len))
		return len;
	return REAL(readlinkat)(dir, path, out, size);
}

/* A link may lead to /dev/NODE, which the file system does not know: follow links
 * one by one until a node stands there, else leave it to the library. */
static struct node *node_through_links(const char *path)
{
	char here[PATH_MAX], link[PATH_MAX];
	if (node_count == 0)
		return NULL;
	snprintf(here, sizeof here, "%s", path);
	for (int i = 0; i < 40; i++) {
		struct node *n = node_dev(here);
		if (n)
			return n;
		ssize_t len = REAL(readlink)(here, link, sizeof link - 1);
		if (len <= 0)
			return NULL;
		link[len] = '\0';
		char *slash = strrchr(here, '/');
		size_t folder = link[0] == '/' || !slash ? 0 : (size_t)(slash - here) + 1;
		if (folder + (size_t)len >= sizeof here)
			return NULL;
		memcpy(here + folder, link, (size_t)len + 1);
	}
	return NULL;
}

char *realpath(const char *path, char *out)
{
	pthread_once(&once, nodes_from_environment);
	struct node *n = node_through_links(path);
	if (!n)
		return REAL(realpath)(path, out);
	if (!node_present(n)) {
		errno = ENOENT;
		return NULL;
	}
	if (!out && !(out = malloc(PATH_MAX)))
		return NULL;
	snprintf(out, PATH_MAX, "/dev/%s", n->name);
	return out;
}

char *__realpath_chk(const char *path, char *out, size_t room)
{
	(void)room;
	return realpath(path, out);
}

/* ---- listing ---- */

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
	pthread_once(&once, nodes_from_environment);
	DIR *dir = REAL(opendir)(path);
	bool class = is_folder(path, CLASS);
	if (node_count == 0 || (!class && !is_folder(path, "/dev")))
		return dir;
	/* Where there is no /sys at all, only our nodes are listed. */
	bool hollow = !dir;
	if (hollow && !(dir = REAL(opendir)("/")))
		return NULL;
	unsigned char mark = class ? DT_LNK : DT_CHR;
	pthread_mutex_lock(&lock);
	for (size_t i = 0; i < sizeof listings / sizeof listings[0]; i++)
		if (!listings[i].dir) {
			listings[i] = (struct listing){ .dir = dir, .mark = mark, .hollow = hollow };
			break;
		}
	pthread_mutex_unlock(&lock);
	return dir;
}

int closedir(DIR *dir)
{
	pthread_mutex_lock(&lock);
	struct listing *l = listing_of(dir);
	if (l)
		l->dir = NULL;
	pthread_mutex_unlock(&lock);
	return REAL(closedir)(dir);
}

static bool is_node(const char *name)
{
	for (int i = 0; i < node_count; i++)
		if (strcmp(nodes[i].name, name) == 0)
			return true;
	return false;
}

/* The next of our nodes that is there; NULL at the end. */
static const char *listing_next(struct listing *l)
{
	while (l->next < node_count) {
		const struct node *n = &nodes[l->next++];
		if (node_present(n) && !strchr(n->name, '/'))
			return n->name;
	}
	return NULL;
}

#define READDIR(name, type, slot)                                      \
	struct type *name(DIR *dir)                                        \
	{                                                                  \
		struct listing *l = node_count ? listing_of(dir) : NULL;       \
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

/* ---- the line ---- */

static void lines_become(struct node *n, int lines)
{
	int settable = TIOCM_DTR | TIOCM_RTS;
	lines = (lines & settable) | (n->lines & ~settable);
	if (lines != n->lines)
		line_changes++;
	n->lines = lines;
}

static int exclusive(struct node *n, int fd, bool on)
{
	struct flock f = { .l_type = on ? F_WRLCK : F_UNLCK, .l_whence = SEEK_SET };
	n->exclusive = on;
	/* Where somebody else has it: an adapter lets both say so. */
	if (fcntl(fd, F_OFD_SETLK, &f) < 0 && errno != EAGAIN && errno != EACCES && errno != EBADF)
		return -1;
	return 0;
}

/* The framing that a pty cannot hold, kept beside it. */
static tcflag_t framing_in(struct node *n, tcflag_t cflag)
{
	n->framing = cflag & FRAMING;
	n->framed = true;
	return (cflag & ~(tcflag_t)FRAMING) | CS8;
}

static tcflag_t framing_out(const struct node *n, tcflag_t cflag)
{
	return n->framed ? (cflag & ~(tcflag_t)FRAMING) | n->framing : cflag;
}

static int ioctl_ours(struct node *n, int fd, unsigned long request, void *arg)
{
	int *value = arg, lines = 0, result;
	uint32_t *flags = arg, copy[16]; /* struct termios2 of the kernel: c_cflag is [2] */

	switch (request) {
	case TIOCMGET:
	case TIOCMSET:
	case TIOCMBIS:
	case TIOCMBIC:
	case TIOCGICOUNT:
		/* A line that hung up says EIO here. */
		if (REAL(ioctl)(fd, TIOCMGET, &lines) < 0 && errno != ENOTTY && errno != EINVAL)
			return -1;
		break;
	}
	switch (request) {
	case TIOCMGET:
		*value = n->lines;
		return 0;
	case TIOCMSET:
		lines_become(n, *value);
		return 0;
	case TIOCMBIS:
		lines_become(n, n->lines | *value);
		return 0;
	case TIOCMBIC:
		lines_become(n, n->lines & ~*value);
		return 0;
	case TIOCGICOUNT:
		memset(arg, 0, 20 * sizeof(int)); /* struct serial_icounter_struct */
		return 0;
	case TIOCEXCL:
	case TIOCNXCL:
		return exclusive(n, fd, request == TIOCEXCL);
	case TIOCGEXCL:
		result = REAL(ioctl)(fd, request, arg);
		if (result == 0 && (n->exclusive || held_elsewhere(fd)))
			*value = 1;
		return result;
	case TCGETS:
	case GET_TERMIOS2:
		result = REAL(ioctl)(fd, request, arg);
		if (result == 0)
			flags[2] = framing_out(n, flags[2]);
		return result;
	case TCSETS:
	case TCSETSW:
	case TCSETSF:
	case SET_TERMIOS2:
	case SET_TERMIOS2_W:
	case SET_TERMIOS2_F:
		/* 36 bytes, and 44 with the speeds */
		memcpy(copy, arg, request < 0x10000 ? 36 : 44);
		copy[2] = framing_in(n, copy[2]);
		return REAL(ioctl)(fd, request, copy);
	}
	return REAL(ioctl)(fd, request, arg);
}

int ioctl(int fd, unsigned long request, ...)
{
	va_list args;
	va_start(args, request);
	void *arg = va_arg(args, void *);
	va_end(args);
	struct node *n = node_fd(fd);
	if (!n)
		return REAL(ioctl)(fd, request, arg);
	pthread_mutex_lock(&lock);
	int result = ioctl_ours(n, fd, request, arg);
	pthread_mutex_unlock(&lock);
	return result;
}

int tcgetattr(int fd, struct termios *t)
{
	int result = REAL(tcgetattr)(fd, t);
	struct node *n = result == 0 ? node_fd(fd) : NULL;
	if (n) {
		pthread_mutex_lock(&lock);
		t->c_cflag = framing_out(n, t->c_cflag);
		pthread_mutex_unlock(&lock);
	}
	return result;
}

int tcsetattr(int fd, int when, const struct termios *t)
{
	struct node *n = node_fd(fd);
	if (!n)
		return REAL(tcsetattr)(fd, when, t);
	struct termios copy = *t;
	pthread_mutex_lock(&lock);
	copy.c_cflag = framing_in(n, copy.c_cflag);
	pthread_mutex_unlock(&lock);
	return REAL(tcsetattr)(fd, when, &copy);
}

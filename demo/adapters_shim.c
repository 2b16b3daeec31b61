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
 *
 *     adapters_shim.c   which adapters there are, and what stands of them under /sys
 *     adapters_files.c  opening and looking at paths
 *     adapters_list.c   listing /dev and /sys/class/tty
 *     adapters_line.c   modem lines, framing, exclusive use
 */
#include "demo/adapters_inside.h"

#include "demo/adapters_shim.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>

struct node adapter_nodes[ADAPTERS_MAX];
int adapter_count;
int adapter_line_changes;
static pthread_once_t once = PTHREAD_ONCE_INIT;
pthread_mutex_t adapter_lock = PTHREAD_MUTEX_INITIALIZER;

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
	adapter_count = 0;
	adapter_line_changes = 0;
	while (*spec) {
		const char *end = strchrnul(spec, '\n');
		if (end > spec) {
			if (adapter_count == ADAPTERS_MAX || !node_read(spec, end, &adapter_nodes[adapter_count])) {
				adapter_count = 0;
				return -1;
			}
			adapter_count++;
		}
		spec = *end ? end + 1 : end;
	}
	return adapter_count;
}

static void nodes_from_environment(void)
{
	const char *spec = getenv("TALLY_ADAPTERS");
	if (spec && nodes_read(spec) < 0)
		fprintf(stderr, "adapters: TALLY_ADAPTERS is not lines of NODE=PTY[,VID:PID[:SERIAL]]; "
		                "nothing stands in\n");
}

void adapters_ready(void)
{
	pthread_once(&once, nodes_from_environment);
}

int adapters_setup(const char *spec)
{
	adapters_ready();
	return nodes_read(spec);
}

int adapters_line_changes(void)
{
	return adapter_line_changes;
}

bool adapter_present(const struct node *n)
{
	struct stat st;
	return REAL(stat)(n->pty, &st) == 0 && S_ISCHR(st.st_mode);
}

/* The node that `path` names as PREFIX/NAME[/REST]; *rest begins after the name. */
static struct node *node_below(const char *prefix, const char *path, const char **rest)
{
	size_t len = strlen(prefix);
	adapters_ready();
	if (adapter_count == 0 || strncmp(path, prefix, len) != 0 || path[len] != '/')
		return NULL;
	path += len + 1;
	for (int i = 0; i < adapter_count; i++) {
		size_t n = strlen(adapter_nodes[i].name);
		if (strncmp(path, adapter_nodes[i].name, n) == 0 && (path[n] == '\0' || path[n] == '/')) {
			*rest = path + n;
			return &adapter_nodes[i];
		}
	}
	return NULL;
}

struct node *adapter_dev(const char *path)
{
	const char *rest;
	struct node *n = node_below("/dev", path, &rest);
	return n && !*rest ? n : NULL;
}

struct node *adapter_fd(int fd)
{
	struct stat st;
	if (adapter_count == 0 || REAL(fstat)(fd, &st) < 0 || !S_ISCHR(st.st_mode))
		return NULL;
	for (int i = 0; i < adapter_count; i++)
		if (adapter_nodes[i].opened && adapter_nodes[i].rdev == st.st_rdev)
			return &adapter_nodes[i];
	return NULL;
}

/* ---- what stands under /sys/class/tty ---- */

static int node_place(const struct node *n)
{
	return (int)(n - adapter_nodes) + 1;
}

void adapter_link(const struct node *n, char *out, size_t size)
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

bool adapter_class(const char *path, enum what *what, struct node **node, char *text,
                   size_t size)
{
	const char *rest;
	*node = node_below(ADAPTERS_CLASS, path, &rest);
	if (!*node)
		return false;
	*what = adapter_present(*node) ? class_what(*node, rest, text, size) : NOTHING;
	return true;
}

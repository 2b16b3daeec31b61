/* SPDX-License-Identifier: MIT */
/*
 * Runs inside the virtual machine of `make check-plug` and says, with the time of one
 * clock (CLOCK_MONOTONIC, seconds), what happens there:
 *
 *     12.345678 kernel usb 1-1: USB disconnect, device number 2
 *     12.345678 node ttyUSB0 660 20         its mode (octal) and group; "-": not there
 *     12.345678 link red ttyUSB0            /dev/tally/red; "-": not there
 *     12.345678 lines ttyUSB0 ttyUSB0       descriptors of serial lines that tallyd has
 *     12.345678 opened ttyUSB0              by any program; and "closed"
 *     12.345678 said red: line open at ...  a line of tallyd's standard error
 *
 *     witness FIFO PIDFILE
 *
 * FIFO is where tallyd's standard error goes, PIDFILE holds its process number.  The
 * kernel says by inotify when a node comes, goes, is opened or closed; then everything
 * is looked at, and what has changed is said.  Nothing is looked at in a loop: the
 * machine is slow, and the daemon should have it.
 */
#include <ctype.h>
#include <dirent.h>
#include <fcntl.h>
#include <poll.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/inotify.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define NODES 12

static void say(const char *what, const char *text)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	printf("%lld.%06ld %s %s\n", (long long)t.tv_sec, t.tv_nsec / 1000, what, text);
	fflush(stdout);
}

static void say_if_new(char *last, size_t size, const char *what, const char *text)
{
	if (strcmp(last, text) == 0)
		return;
	snprintf(last, size, "%s", text);
	say(what, text);
}

/* ---- what is looked at ---- */

static void look_at_nodes(void)
{
	static char last[NODES][64];
	for (int i = 0; i < NODES; i++) {
		char path[32], text[64];
		struct stat st;
		snprintf(path, sizeof path, "/dev/ttyUSB%d", i);
		if (stat(path, &st) == 0)
			snprintf(text, sizeof text, "ttyUSB%d %o %u", i, st.st_mode & 07777U,
			         (unsigned)st.st_gid);
		else
			snprintf(text, sizeof text, "ttyUSB%d -", i);
		if (last[i][0] || text[strlen(text) - 1] != '-')
			say_if_new(last[i], sizeof last[i], "node", text);
	}
}

static void look_at_links(void)
{
	static const char *const name[] = {"red", "blue", "green", "twin"};
	static char last[4][300];
	for (int i = 0; i < 4; i++) {
		char path[32], to[200], text[300];
		snprintf(path, sizeof path, "/dev/tally/%s", name[i]);
		ssize_t n = readlink(path, to, sizeof to - 1);
		to[n > 0 ? n : 0] = '\0';
		const char *node = strrchr(to, '/');
		snprintf(text, sizeof text, "%s %s", name[i], n <= 0 ? "-" : node ? node + 1 : to);
		if (last[i][0] || n > 0)
			say_if_new(last[i], sizeof last[i], "link", text);
	}
}

static int by_name(const void *a, const void *b)
{
	return strcmp(a, b);
}

/* The daemon's descriptors of serial lines, in the order of their names. */
static void look_at_lines(const char *pidfile)
{
	static char last[400];
	char pid[16] = "", folder[64], open[32][16], text[400] = "";
	int count = 0;
	FILE *f = fopen(pidfile, "r");
	if (!f || !fgets(pid, sizeof pid, f) || !isdigit((unsigned char)pid[0]))
		pid[0] = '\0';
	if (f)
		fclose(f);
	pid[strcspn(pid, "\n")] = '\0';
	snprintf(folder, sizeof folder, "/proc/%s/fd", pid);
	DIR *d = pid[0] ? opendir(folder) : NULL;
	for (struct dirent *e; d && (e = readdir(d)) && count < 32;) {
		char to[64];
		ssize_t n = readlinkat(dirfd(d), e->d_name, to, sizeof to - 1);
		to[n > 0 ? n : 0] = '\0';
		if (strncmp(to, "/dev/ttyUSB", 11) == 0)
			snprintf(open[count++], sizeof open[0], "%.15s", to + 5);
	}
	if (d)
		closedir(d);
	qsort(open, (size_t)count, sizeof open[0], by_name);
	for (int i = 0; i < count; i++) {
		size_t len = strlen(text);
		snprintf(text + len, sizeof text - len, "%s%s", i ? " " : "", open[i]);
	}
	say_if_new(last, sizeof last, "lines", count ? text : "-");
}

/* ---- what is waited for ---- */

static void read_kernel(int fd)
{
	char record[1024];
	ssize_t n;
	/* "6,1234,5678901,-;text\n KEY=value\n" */
	while ((n = read(fd, record, sizeof record - 1)) > 0) {
		record[n] = '\0';
		char *text = strchr(record, ';');
		if (!text || (!strstr(text, "usb") && !strstr(text, "tty")))
			continue;
		text[strcspn(text, "\n")] = '\0';
		say("kernel", text + 1);
	}
}

static void read_said(int fd)
{
	static char line[4096];
	static size_t len;
	char bytes[1024];
	ssize_t n = read(fd, bytes, sizeof bytes);
	for (ssize_t i = 0; i < n; i++) {
		if (bytes[i] != '\n') {
			if (len < sizeof line - 1)
				line[len++] = bytes[i];
			continue;
		}
		line[len] = '\0';
		len = 0;
		say("said", strncmp(line, "tallyd: ", 8) == 0 ? line + 8 : line);
	}
}

/* True where something happened to a serial line or a name of one. */
static bool read_events(int fd)
{
	_Alignas(struct inotify_event) char bytes[4096];
	ssize_t n;
	bool ours = false;
	while ((n = read(fd, bytes, sizeof bytes)) > 0)
		for (ssize_t at = 0; at < n;) {
			const struct inotify_event *e = (const void *)(bytes + at);
			if (e->len && strncmp(e->name, "ttyUSB", 6) == 0 && e->mask & (IN_OPEN | IN_CLOSE))
				say(e->mask & IN_OPEN ? "opened" : "closed", e->name);
			ours = ours || (e->len && (!strncmp(e->name, "ttyUSB", 6) || !strcmp(e->name, "tally")));
			/* In /dev/tally there is nothing else. */
			ours = ours || (e->len && e->wd != 1);
			at += (ssize_t)(sizeof *e + e->len);
		}
	/* The folder comes with the first name in it, and goes with the last. */
	inotify_add_watch(fd, "/dev/tally", IN_CREATE | IN_DELETE | IN_MOVED_TO | IN_ONLYDIR);
	return ours;
}

static int begin_events(void)
{
	int fd = inotify_init1(IN_NONBLOCK);
	if (fd < 0 || inotify_add_watch(fd, "/dev", IN_CREATE | IN_DELETE | IN_ATTRIB | IN_OPEN |
	                                            IN_CLOSE | IN_MOVED_TO) != 1)
		return -1;
	return fd;
}

int main(int argc, char **argv)
{
	if (argc != 3) {
		fputs("witness FIFO PIDFILE\n", stderr);
		return 2;
	}
	/* Both ends, so that it does not end with the daemon. */
	struct pollfd fds[] = {{.fd = open(argv[1], O_RDWR | O_NONBLOCK), .events = POLLIN},
	                       {.fd = open("/dev/kmsg", O_RDONLY | O_NONBLOCK), .events = POLLIN},
	                       {.fd = begin_events(), .events = POLLIN}};
	if (fds[0].fd < 0 || fds[1].fd < 0 || fds[2].fd < 0) {
		perror("witness");
		return 2;
	}
	lseek(fds[1].fd, 0, SEEK_END);
	say("witness", "looks");
	for (;;) {
		if (poll(fds, 3, -1) <= 0)
			continue;
		if (fds[1].revents & POLLIN)
			read_kernel(fds[1].fd);
		bool said = fds[0].revents & POLLIN;
		if (read_events(fds[2].fd) || said) {
			look_at_lines(argv[2]);
			look_at_nodes();
			look_at_links();
		}
		if (said)
			read_said(fds[0].fd);
	}
}

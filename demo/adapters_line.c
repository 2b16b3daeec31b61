/* SPDX-License-Identifier: MIT */
/* The line of an adapter, which a pseudo-terminal has not: see adapters_shim.c. */
#include "demo/adapters_inside.h"

#include <fcntl.h>
#include <stdarg.h>
#include <stdint.h>
#include <string.h>
#include <sys/ioctl.h>

#define FRAMING (CSIZE | PARENB | PARODD | CMSPAR)
/* From linux/serial.h and asm/termbits.h, which do not go with termios.h. */
#define GET_TERMIOS2 0x802C542AuL
#define SET_TERMIOS2 0x402C542BuL
#define SET_TERMIOS2_W 0x402C542CuL
#define SET_TERMIOS2_F 0x402C542DuL

bool adapter_held(int fd)
{
	struct flock f = { .l_type = F_WRLCK, .l_whence = SEEK_SET };
	return fcntl(fd, F_OFD_GETLK, &f) == 0 && f.l_type != F_UNLCK;
}

static void lines_become(struct node *n, int lines)
{
	int settable = TIOCM_DTR | TIOCM_RTS;
	lines = (lines & settable) | (n->lines & ~settable);
	if (lines != n->lines)
		adapter_line_changes++;
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
		if (result == 0 && (n->exclusive || adapter_held(fd)))
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
	struct node *n = adapter_fd(fd);
	if (!n)
		return REAL(ioctl)(fd, request, arg);
	pthread_mutex_lock(&adapter_lock);
	int result = ioctl_ours(n, fd, request, arg);
	pthread_mutex_unlock(&adapter_lock);
	return result;
}

int tcgetattr(int fd, struct termios *t)
{
	int result = REAL(tcgetattr)(fd, t);
	struct node *n = result == 0 ? adapter_fd(fd) : NULL;
	if (n) {
		pthread_mutex_lock(&adapter_lock);
		t->c_cflag = framing_out(n, t->c_cflag);
		pthread_mutex_unlock(&adapter_lock);
	}
	return result;
}

int tcsetattr(int fd, int when, const struct termios *t)
{
	struct node *n = adapter_fd(fd);
	if (!n)
		return REAL(tcsetattr)(fd, when, t);
	struct termios copy = *t;
	pthread_mutex_lock(&adapter_lock);
	copy.c_cflag = framing_in(n, copy.c_cflag);
	pthread_mutex_unlock(&adapter_lock);
	return REAL(tcsetattr)(fd, when, &copy);
}

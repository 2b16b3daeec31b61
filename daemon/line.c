/* SPDX-License-Identifier: MIT */
/*
 * See line.h; the order of the steps and the reasons stand in port.h.
 *
 * What libserialport 0.1 gets wrong is put right here: it locks nothing, leaves its
 * descriptor open across exec, and says that it sets hardware flow control without
 * doing so.
 */
#include "daemon/line.h"
#include "daemon/holder.h"

#include <errno.h>
#include <fcntl.h>
#include <grp.h>
#include <libserialport.h>
#include <pwd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

static bool is_gone(int error)
{
	return error == ENOENT || error == ENODEV || error == ENXIO || error == EIO;
}

/* "root" and "dialout", or the numbers where they have no names. */
static void owner_of(const struct stat *st, char *user, char *group, size_t size)
{
	struct passwd pw, *pwp = NULL;
	struct group gr, *grp = NULL;
	char buffer[4096];
	snprintf(user, size, "%u", (unsigned)st->st_uid);
	snprintf(group, size, "%u", (unsigned)st->st_gid);
	if (getpwuid_r(st->st_uid, &pw, buffer, sizeof buffer, &pwp) == 0 && pwp)
		snprintf(user, size, "%s", pwp->pw_name);
	if (getgrgid_r(st->st_gid, &gr, buffer, sizeof buffer, &grp) == 0 && grp)
		snprintf(group, size, "%s", grp->gr_name);
}

static enum trouble denied(const char *node, struct fault *why)
{
	struct stat st;
	char user[64] = "?", group[64] = "?";
	unsigned mode = 0;
	if (stat(node, &st) == 0) {
		owner_of(&st, user, group, sizeof user);
		mode = st.st_mode & 07777;
	}
	fault_set(why,
	          "%s: permission denied: it belongs to %s:%s, mode %04o; let the user of this "
	          "program into the group %s, or install the udev rules",
	          node, user, group, mode, group);
	return TROUBLE_DENIED;
}

/* `pid`: the holder where it is known, else 0. */
static enum trouble busy(const char *node, pid_t pid, const char *how, bool name_holder,
                         struct fault *why)
{
	char who[4 * HOLDER_TEXT_SIZE];
	fault_set(why, "%s", "");
	if (!pid && !name_holder)
		return TROUBLE_BUSY;
	if (pid)
		holder_name(pid, who, HOLDER_TEXT_SIZE);
	else if (holders_of_file(node, who, sizeof who) == 0)
		holder_name(0, who, HOLDER_TEXT_SIZE);
	fault_set(why, "%s is held by %s (%s): it is left alone until that ends", node, who, how);
	return TROUBLE_BUSY;
}

static void wire_put(int fd, int wire, enum wire_state s)
{
	/* An adapter without that wire refuses; there is nothing to be done about it. */
	if (s != WIRE_LEAVE)
		(void)ioctl(fd, s == WIRE_ON ? TIOCMBIS : TIOCMBIC, &wire);
}

/* Open the node and make sure that nobody else has it, before anything is set. */
static enum trouble open_node(struct line *l, const char *node, bool name_holder,
                              struct termios *t, struct fault *why)
{
	int exclusive = 0;
	l->fd = open(node, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
	if (l->fd < 0) {
		if (errno == EACCES || errno == EPERM)
			return denied(node, why);
		if (errno == EBUSY)
			return busy(node, 0, "TIOCEXCL", name_holder, why);
		if (is_gone(errno)) {
			fault_set(why, "%s is not there: it is waited for", node);
			return TROUBLE_ABSENT;
		}
		fault_set(why, "%s: cannot be opened: %s", node, strerror(errno));
		return TROUBLE_OTHER;
	}
	if (tcgetattr(l->fd, t) < 0) {
		fault_set(why, "%s is not a serial line (%s)", node, strerror(errno));
		return errno == EIO ? TROUBLE_ABSENT : TROUBLE_OTHER;
	}
	if (flock(l->fd, LOCK_EX | LOCK_NB) < 0)
		return busy(node, holder_of_lock(l->fd), "flock", name_holder, why);
	/* Root gets in all the same. */
	if (ioctl(l->fd, TIOCGEXCL, &exclusive) == 0 && exclusive)
		return busy(node, 0, "TIOCEXCL", name_holder, why);
	pid_t pid = holder_of_lock_file(node);
	if (pid)
		return busy(node, pid, "lock file in /var/lock", name_holder, why);
	return TROUBLE_NONE;
}

static enum trouble serial_failed(const char *node, const char *what, enum sp_return r,
                                  struct fault *why)
{
	int error = r == SP_ERR_FAIL ? errno : 0;
	bool pty = strncmp(node, "/dev/pts/", 9) == 0;
	fault_set(why, "%s: %s: %s%s", node, what,
	          error              ? strerror(error)
	          : r == SP_ERR_ARG  ? "it is not known as a serial line"
	          : r == SP_ERR_SUPP ? "not supported by this line"
	          : r == SP_ERR_MEM  ? "out of memory"
	                             : "failed",
	          pty ? "; a pseudo-terminal must stand in for an adapter: see demo/adapters" : "");
	return error && is_gone(error) ? TROUBLE_ABSENT : TROUBLE_OTHER;
}

static tcflag_t framing_of(const struct line_settings *s)
{
	return (s->bits == 7 ? CS7 : CS8) | (s->parity == PARITY_NONE ? 0 : PARENB) |
	       (s->parity == PARITY_ODD ? PARODD : 0) | (s->stop == 2 ? CSTOPB : 0) |
	       (s->flow == FLOW_HARDWARE ? CRTSCTS : 0);
}

static int baud_now(struct line *l)
{
	struct sp_port_config *config = NULL;
	int baud = 0;
	if (sp_new_config(&config) != SP_OK)
		return 0;
	if (sp_get_config(l->serial, config) == SP_OK)
		sp_get_config_baudrate(config, &baud);
	sp_free_config(config);
	return baud;
}

/* What libserialport does not set, then everything read back. */
static enum trouble set_and_check(struct line *l, const char *node,
                                  const struct line_settings *s, struct fault *why)
{
	const tcflag_t framing = CSIZE | PARENB | PARODD | CSTOPB | CRTSCTS;
	const tcflag_t soft = s->flow == FLOW_SOFTWARE ? IXON | IXOFF : 0;
	tcflag_t wanted = framing_of(s);
	struct termios t;

	if (tcgetattr(l->serial_fd, &t) == 0) {
		t.c_cflag = (t.c_cflag & ~(framing | HUPCL)) | wanted | CLOCAL | CREAD;
		/* Bytes with a parity or framing error are marked (\377 \0 X), none is dropped
		 * in silence; port.c undoes the marks (daemon/marks.h). */
		t.c_iflag = (t.c_iflag & ~(tcflag_t)(IXON | IXOFF | IXANY | IGNPAR | IGNBRK | BRKINT |
		                                     ISTRIP)) | INPCK | PARMRK | soft;
		tcsetattr(l->serial_fd, TCSANOW, &t);
	}
	if (tcgetattr(l->serial_fd, &t) < 0) {
		fault_set(why, "%s: the settings cannot be read back: %s", node, strerror(errno));
		return is_gone(errno) ? TROUBLE_ABSENT : TROUBLE_OTHER;
	}
	tcflag_t off = t.c_cflag ^ wanted;
	const char *not = off & CSIZE                          ? "the number of bits"
	                  : off & (PARENB | PARODD)            ? "the parity"
	                  : off & CSTOPB                       ? "the number of stop bits"
	                  : off & CRTSCTS                      ? "hardware flow control"
	                  : (t.c_iflag & (IXON | IXOFF)) ^ soft ? "software flow control"
	                                                       : NULL;
	/* An adapter may round the speed; beyond 3 % the bytes would be wrong. */
	if (!not && abs(baud_now(l) - s->baud) * 100L > s->baud * 3L)
		not = "the speed";
	if (!not)
		return TROUBLE_NONE;
	fault_set(why, "%s: the adapter does not take %s of %d %d%c%d", node, not, s->baud, s->bits,
	          "NEO"[s->parity], s->stop);
	return TROUBLE_OTHER;
}

static enum trouble open_serial(struct line *l, const char *node, const struct line_settings *s,
                                struct fault *why)
{
	static const enum sp_parity parity[] = { SP_PARITY_NONE, SP_PARITY_EVEN, SP_PARITY_ODD };
	static const enum sp_flowcontrol flow[] = { SP_FLOWCONTROL_NONE, SP_FLOWCONTROL_RTSCTS,
		                                        SP_FLOWCONTROL_XONXOFF };
	enum sp_return r;
	/* It asks the environment at every read and write whether it is to say something. */
	if (!getenv("LIBSERIALPORT_DEBUG"))
		sp_set_debug_handler(NULL);
	if ((r = sp_get_port_by_name(node, &l->serial)) != SP_OK)
		return serial_failed(node, "cannot be used", r, why);
	if ((r = sp_open(l->serial, SP_MODE_READ_WRITE)) != SP_OK)
		return serial_failed(node, "cannot be opened", r, why);
	if ((r = sp_get_port_handle(l->serial, &l->serial_fd)) != SP_OK)
		return serial_failed(node, "has no handle", r, why);
	(void)ioctl(l->fd, TIOCEXCL);
	(void)fcntl(l->serial_fd, F_SETFD, FD_CLOEXEC);
	if ((r = sp_set_baudrate(l->serial, s->baud)) != SP_OK ||
	    (r = sp_set_bits(l->serial, s->bits)) != SP_OK ||
	    (r = sp_set_parity(l->serial, parity[s->parity])) != SP_OK ||
	    (r = sp_set_stopbits(l->serial, s->stop)) != SP_OK ||
	    (r = sp_set_flowcontrol(l->serial, flow[s->flow])) != SP_OK)
		return serial_failed(node, "does not take the line settings", r, why);
	return set_and_check(l, node, s, why);
}

enum trouble line_open(struct line *l, const char *node, const struct line_settings *settings,
                       bool name_holder, struct fault *why)
{
	struct termios t;
	struct stat st;
	*l = (struct line){ .fd = -1, .serial_fd = -1 };
	enum trouble trouble = open_node(l, node, name_holder, &t, why);
	if (trouble == TROUBLE_NONE) {
		wire_put(l->fd, TIOCM_DTR, settings->dtr);
		wire_put(l->fd, TIOCM_RTS, settings->rts);
		/* From the open until here the kernel echoes a talking meter's own bytes back
		 * to it; libserialport would stop that too, but later. */
		cfmakeraw(&t);
		t.c_cflag = (t.c_cflag | CLOCAL | CREAD) & ~(tcflag_t)HUPCL;
		tcsetattr(l->fd, TCSANOW, &t);
		trouble = open_serial(l, node, settings, why);
	}
	if (trouble != TROUBLE_NONE) {
		line_close(l);
		return trouble;
	}
	/* Once more: setting the flow may have moved them. */
	wire_put(l->fd, TIOCM_DTR, settings->dtr);
	wire_put(l->fd, TIOCM_RTS, settings->rts);
	sp_flush(l->serial, SP_BUF_BOTH);
	l->counts = ioctl(l->fd, TIOCGICOUNT, &l->counted) == 0;
	if (fstat(l->fd, &st) == 0)
		l->rdev = st.st_rdev;
	(void)tcgetattr(l->serial_fd, &l->set);
	return TROUBLE_NONE;
}

bool line_as_set(const struct line *l)
{
	struct termios t;
	if (tcgetattr(l->serial_fd, &t) < 0)
		return true;
	return t.c_iflag == l->set.c_iflag && t.c_oflag == l->set.c_oflag &&
	       t.c_cflag == l->set.c_cflag && t.c_lflag == l->set.c_lflag &&
	       t.c_ispeed == l->set.c_ispeed && t.c_ospeed == l->set.c_ospeed;
}

void line_close(struct line *l)
{
	if (l->serial_fd >= 0) {
		/* What is unsent would hold up close(2) for up to 30 s. */
		sp_flush(l->serial, SP_BUF_OUTPUT);
		(void)ioctl(l->fd, TIOCNXCL);
		sp_close(l->serial);
	}
	if (l->serial)
		sp_free_port(l->serial);
	if (l->fd >= 0)
		close(l->fd);
	*l = (struct line){ .fd = -1, .serial_fd = -1 };
}

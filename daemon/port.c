/* SPDX-License-Identifier: MIT */
/*
 * See port.h.  libserialport 0.1 reads 0 both where nothing has come and where the
 * line is gone, and its blocking calls spin at full load on a line that is gone: only
 * the non-blocking ones are used, and the loop says when.
 */
#include "daemon/port.h"

#include "daemon/marks.h"
#include "daemon/line.h"

#include <errno.h>
#include <libserialport.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>

#define READ_SIZE 4096
/* One line may not keep the loop from the others. */
#define READS_AT_A_TIME 8
/* A line that is readable so often in a row and gives nothing is broken. */
#define EMPTY_READS_MAX 16
/* A new adapter's node appears before its group is set: up to 70 ms were seen. */
#define DENIED_PATIENCE_MS 1000
/* Finding a holder may walk all of /proc: while a line stays busy only so often. */
#define HOLDER_EVERY 8

struct port {
	uv_loop_t *loop;
	struct port_options o;
	uv_timer_t timer; /* the next look; while open: is the node still there? */
	uv_poll_t poll;
	bool poll_live;   /* the handle is not yet given back by the loop */
	bool timer_live;
	bool closing;     /* port_close was called */
	void (*closed)(void *arg);
	void *closed_arg;

	enum port_state state;
	char node[PLACE_PATH_SIZE];
	struct line line;
	struct marks marks;
	uint64_t opened_at; /* ms of the loop */
	int empty_reads;
	bool doomed; /* a write failed: closed at the next turn of the loop */
	char doomed_text[96];

	enum trouble told;    /* the last one that was told; NONE since it was open */
	uint64_t denied_since; /* ms of the loop, 0: not denied */
	int busy_looks;
	struct fault why; /* the last trouble */

	/* The node as it was opened, and until when it is not opened again. */
	struct plugging {
		ino_t inode;
		struct timespec changed;
	} plugging;
	uint64_t hold_until;
	int hold_ms;

	size_t queued;
	char queue[PORT_QUEUE_MAX];
};

static void look(uv_timer_t *timer);
static void on_poll(uv_poll_t *poll, int status, int events);

/* ---- given back ---- */

static void freed_when_closed(struct port *p)
{
	if (!p->closing || p->poll_live || p->timer_live)
		return;
	void (*closed)(void *arg) = p->closed;
	void *arg = p->closed_arg;
	free(p);
	if (closed)
		closed(arg);
}

static void on_poll_closed(uv_handle_t *handle)
{
	struct port *p = handle->data;
	p->poll_live = false;
	freed_when_closed(p);
}

static void on_timer_closed(uv_handle_t *handle)
{
	struct port *p = handle->data;
	p->timer_live = false;
	freed_when_closed(p);
}

/* Give back whatever of the line there is. */
static void release(struct port *p)
{
	if (p->poll_live && !uv_is_closing((uv_handle_t *)&p->poll)) {
		uv_poll_stop(&p->poll);
		uv_close((uv_handle_t *)&p->poll, on_poll_closed);
	}
	line_close(&p->line);
	p->queued = 0;
	p->empty_reads = 0;
	p->doomed = false;
}

/* ---- while it is open ---- */

static void poll_for(struct port *p)
{
	int events = UV_READABLE | UV_DISCONNECT | (p->queued ? UV_WRITABLE : 0);
	uv_poll_start(&p->poll, events, on_poll);
}

static int look_every(const struct port *p)
{
	return p->o.look_ms ? p->o.look_ms : PORT_LOOK_MS;
}

static void next_look(struct port *p, int ms)
{
	uv_timer_start(&p->timer, look, (uint64_t)ms, (uint64_t)look_every(p));
}

/* The looks at open lines fall together, so that all of them share one wake-up and one look
 * at the bus. */
static void look_in_step(struct port *p)
{
	uint64_t every = (uint64_t)look_every(p);
	uv_timer_start(&p->timer, look, every - uv_now(p->loop) % every, every);
}

/* A line that fails as soon as it is opened is not opened without pause. */
static void hold_back(struct port *p)
{
	bool brief = uv_now(p->loop) - p->opened_at < 1000;
	p->hold_ms = !brief ? 0 : p->hold_ms ? p->hold_ms * 2 : 2 * PORT_LOOK_MS;
	if (p->hold_ms > PORT_HOLD_MAX_MS)
		p->hold_ms = PORT_HOLD_MAX_MS;
	p->hold_until = uv_now(p->loop) + (uint64_t)p->hold_ms;
}

static void line_gone(struct port *p, const char *cause)
{
	char text[160];
	snprintf(text, sizeof text, "%s", cause);
	release(p);
	p->state = PORT_ABSENT;
	fault_set(&p->why, "%s: %s", p->node, text);
	p->told = TROUBLE_ABSENT; /* gone() says it */
	hold_back(p);
	next_look(p, look_every(p));
	p->o.gone(p->o.arg, text);
}

/* An error of the line itself, in the words that people know. */
static const char *cause_of(int error)
{
	return error == EIO || error == ENXIO || error == ENODEV ? "unplugged" : strerror(error);
}

/* Has the callback closed the line? */
static int is_over(const struct port *p)
{
	return p->closing || p->state != PORT_OPEN;
}

static int on_good(void *arg, const char *bytes, size_t len)
{
	struct port *p = arg;
	p->o.bytes(p->o.arg, bytes, len);
	return is_over(p);
}

static int on_bad(void *arg)
{
	struct port *p = arg;
	if (p->o.bad_byte)
		p->o.bad_byte(p->o.arg);
	return is_over(p);
}

static void on_readable(struct port *p)
{
	char bytes[READ_SIZE];
	for (int i = 0; i < READS_AT_A_TIME; i++) {
		enum sp_return n = sp_nonblocking_read(p->line.serial, bytes, sizeof bytes);
		if (n < 0) {
			line_gone(p, cause_of(errno));
			return;
		}
		if (n == 0) {
			/* Nothing has come, or the line hung up: only this tells. */
			if (i == 0 && sp_input_waiting(p->line.serial) < 0)
				line_gone(p, cause_of(errno));
			else if (i == 0 && ++p->empty_reads > EMPTY_READS_MAX)
				line_gone(p, "the line says that it has bytes and gives none");
			return;
		}
		p->empty_reads = 0;
		marks_undo(&p->marks, bytes, (size_t)n, on_good, on_bad, p);
		if (is_over(p) || (size_t)n < sizeof bytes)
			return;
	}
}

/* Write what waits.  False where the line failed: doomed says why. */
static bool write_queue(struct port *p)
{
	size_t sent = 0;
	while (sent < p->queued) {
		/* Where the line takes nothing now, this is an error with EAGAIN. */
		enum sp_return n = sp_nonblocking_write(p->line.serial, p->queue + sent, p->queued - sent);
		if (n < 0 && errno == EINTR)
			continue;
		if (n < 0 && errno != EAGAIN) {
			p->doomed = true;
			snprintf(p->doomed_text, sizeof p->doomed_text, "%s", cause_of(errno));
			return false;
		}
		if (n <= 0)
			break;
		sent += (size_t)n;
	}
	p->queued -= sent;
	memmove(p->queue, p->queue + sent, p->queued);
	return true;
}

static void on_poll(uv_poll_t *poll, int status, int events)
{
	struct port *p = poll->data;
	if (status < 0) {
		/* libuv gives EBADF for a line that hung up, and stops by itself. */
		line_gone(p, status == UV_EBADF ? "unplugged" : uv_strerror(status));
		return;
	}
	if (events & UV_WRITABLE) {
		if (!write_queue(p)) {
			line_gone(p, p->doomed_text);
			return;
		}
		if (p->queued == 0)
			poll_for(p);
	}
	if (events & UV_READABLE)
		on_readable(p);
	else if (events & UV_DISCONNECT)
		line_gone(p, "unplugged");
}

/* ---- looking for it ---- */

/* A new adapter's node may be denied for a moment: that is no reason yet. */
static bool is_patient(struct port *p, enum trouble what)
{
	uint64_t now = uv_now(p->loop);
	if (what != TROUBLE_DENIED) {
		p->denied_since = 0;
		return false;
	}
	if (!p->denied_since)
		p->denied_since = now ? now : 1;
	return now - p->denied_since < DENIED_PATIENCE_MS;
}

static bool is_told(const struct port *p, enum trouble what, const struct fault *why)
{
	if (p->told != what)
		return false;
	/* Another holder, another error: a reason of its own. */
	return what == TROUBLE_ABSENT || what == TROUBLE_DENIED || !why->text[0] ||
	       strcmp(p->why.text, why->text) == 0;
}

static void in_trouble(struct port *p, enum trouble what, const struct fault *why)
{
	bool told = is_patient(p, what) || is_told(p, what, why);
	p->state = what == TROUBLE_ABSENT ? PORT_ABSENT : PORT_REFUSED;
	p->busy_looks = what == TROUBLE_BUSY ? p->busy_looks + 1 : 0;
	if (why->text[0])
		p->why = *why;
	if (!told) {
		p->told = what;
		p->o.failed(p->o.arg, &p->why);
	}
}

static enum trouble open_poll(struct port *p, struct fault *why)
{
	int r = uv_poll_init(p->loop, &p->poll, p->line.serial_fd);
	if (r < 0) {
		fault_set(why, "%s: cannot be waited for: %s", p->node, uv_strerror(r));
		line_close(&p->line);
		return TROUBLE_OTHER;
	}
	p->poll.data = p;
	p->poll_live = true;
	return TROUBLE_NONE;
}

static enum place_found find(struct port *p, char *node, size_t size, struct fault *why)
{
	if (!p->o.bus)
		return place_find(&p->o.place, node, size, why);
	if (p->o.place.form != PLACE_PATH && p->state == PORT_OPEN)
		bus_look_idly(p->o.bus, uv_now(p->loop));
	else if (p->o.place.form != PLACE_PATH)
		bus_look(p->o.bus, uv_now(p->loop));
	return place_find_on(&p->o.place, p->o.bus, node, size, why);
}

static struct plugging plugging_of(const char *node)
{
	struct stat st;
	if (stat(node, &st) < 0)
		return (struct plugging){0};
	return (struct plugging){st.st_ino, st.st_ctim};
}

/* The very node that failed a moment ago?  Plugged anew it would be another one. */
static bool is_held_back(const struct port *p)
{
	if (uv_now(p->loop) >= p->hold_until)
		return false;
	struct plugging now = plugging_of(p->node), then = p->plugging;
	return now.inode == then.inode && now.changed.tv_sec == then.changed.tv_sec &&
	       now.changed.tv_nsec == then.changed.tv_nsec;
}

static enum trouble find_and_open(struct port *p, struct fault *why)
{
	char node[PLACE_PATH_SIZE];
	switch (find(p, node, sizeof node, why)) {
	case PLACE_THERE:
		memcpy(p->node, node, sizeof p->node);
		break;
	case PLACE_ABSENT:
		return TROUBLE_ABSENT;
	case PLACE_AMBIGUOUS:
		return TROUBLE_AMBIGUOUS;
	case PLACE_UNCLEAR:
		return TROUBLE_OTHER;
	}
	if (is_held_back(p)) {
		*why = p->why;
		return TROUBLE_ABSENT;
	}
	p->plugging = plugging_of(p->node);
	bool name_holder = p->busy_looks % HOLDER_EVERY == 0;
	enum trouble trouble = line_open(&p->line, p->node, &p->o.line, name_holder, why);
	return trouble == TROUBLE_NONE ? open_poll(p, why) : trouble;
}

/* While it is open: is it still the one line that was meant? */
static void still_there(struct port *p)
{
	struct stat st;
	char node[PLACE_PATH_SIZE];
	struct fault why;
	if (p->doomed) {
		line_gone(p, p->doomed_text);
		return;
	}
	/* It hung up, and this look came before the loop said so. */
	if (sp_input_waiting(p->line.serial) < 0) {
		line_gone(p, cause_of(errno));
		return;
	}
	/* A node that was taken away without a hang-up (a link to a pseudo-terminal,
	 * say) is an unplugged adapter too. */
	if (stat(p->node, &st) < 0 || st.st_rdev != p->line.rdev) {
		line_gone(p, "its device node went away");
		return;
	}
	enum place_found found = find(p, node, sizeof node, &why);
	if (found == PLACE_AMBIGUOUS) {
		/* Which of them was meant cannot be known, even of the one that came first. */
		line_gone(p, "ambiguous: another adapter fits as well");
		if (!p->closing)
			next_look(p, 1); /* says both places */
	} else if (found == PLACE_THERE && strcmp(node, p->node) != 0) {
		line_gone(p, "its name leads to another line now");
	} else if (!line_as_set(&p->line)) {
		line_gone(p, "another program changed its settings");
	}
}

static void look(uv_timer_t *timer)
{
	struct port *p = timer->data;
	if (p->state == PORT_OPEN) {
		still_there(p);
		return;
	}
	if (p->poll_live) {
		next_look(p, 1); /* the loop gives the old handle back first */
		return;
	}
	struct fault why;
	enum trouble trouble = find_and_open(p, &why);
	if (trouble != TROUBLE_NONE) {
		in_trouble(p, trouble, &why);
		return;
	}
	p->state = PORT_OPEN;
	p->told = TROUBLE_NONE;
	p->denied_since = 0;
	p->busy_looks = 0;
	p->opened_at = uv_now(p->loop);
	p->marks = (struct marks){0};
	poll_for(p);
	look_in_step(p);
	p->o.opened(p->o.arg);
}

/* ---- for the caller ---- */

struct port *port_open(uv_loop_t *loop, const struct port_options *options, struct fault *why)
{
	struct port *p = calloc(1, sizeof *p);
	if (!p) {
		fault_set(why, "out of memory");
		return NULL;
	}
	p->loop = loop;
	p->o = *options;
	p->line = (struct line){ .fd = -1, .serial_fd = -1 };
	fault_set(&p->why, "not looked for yet");
	uv_timer_init(loop, &p->timer);
	p->timer.data = p;
	p->timer_live = true;
	next_look(p, 0);
	return p;
}

void port_close(struct port *p, void (*closed)(void *arg), void *arg)
{
	if (!p || p->closing)
		return;
	p->closing = true;
	p->closed = closed;
	p->closed_arg = arg;
	release(p);
	p->state = PORT_ABSENT;
	uv_timer_stop(&p->timer);
	uv_close((uv_handle_t *)&p->timer, on_timer_closed);
}

void port_nudge(struct port *p)
{
	if (!p->closing)
		next_look(p, 0);
}

bool port_send(struct port *p, const char *bytes, size_t len)
{
	if (p->state != PORT_OPEN || p->doomed || len > PORT_QUEUE_MAX - p->queued)
		return false;
	bool first = p->queued == 0;
	memcpy(p->queue + p->queued, bytes, len);
	p->queued += len;
	if (!first)
		return true;
	if (!write_queue(p))
		next_look(p, 0); /* gone() does not come from inside port_send */
	else if (p->queued)
		poll_for(p);
	return !p->doomed;
}

enum port_state port_state(const struct port *p)
{
	return p->state;
}

const char *port_node(const struct port *p)
{
	return p->node;
}

const struct fault *port_why(const struct port *p)
{
	return p->state == PORT_OPEN ? NULL : &p->why;
}

bool port_errors(const struct port *p, struct port_errors *out)
{
	struct serial_icounter_struct now;
	if (p->state != PORT_OPEN || !p->line.counts || ioctl(p->line.fd, TIOCGICOUNT, &now) < 0)
		return false;
	*out = (struct port_errors){
		.framing = now.frame - p->line.counted.frame,
		.parity = now.parity - p->line.counted.parity,
		.overrun = now.overrun - p->line.counted.overrun,
		.breaks = now.brk - p->line.counted.brk,
		.lost = now.buf_overrun - p->line.counted.buf_overrun,
	};
	return true;
}

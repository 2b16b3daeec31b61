/* SPDX-License-Identifier: MIT */
/*
 * The socket: whose it is, listening on it, and the end.
 *
 * A socket file outlives its daemon, so a file alone says nothing: whoever
 * answers on it holds it.  Look, remove and bind are one step under a lock on
 * the directory, so that two daemons that start together cannot remove each
 * other's.  The file has mode 0660 from the first moment (umask around bind, no
 * chmod behind it).  A file that is no socket is never removed.
 *
 * Where a service manager hands over a listening socket (LISTEN_FDS), that is
 * used, so that clients who connect while the daemon restarts wait in its queue
 * and are not refused.
 */
#include "daemon/inherit.h"
#include "daemon/server_private.h"

#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#define BACKLOG 128

void server_say(struct server *s, const char *format, ...)
{
	if (!s->hooks.say)
		return;
	char text[400];
	va_list args;
	va_start(args, format);
	vsnprintf(text, sizeof text, format, args);
	va_end(args);
	s->hooks.say(s->hooks.arg, text);
}

/* ---- whose socket it is ---- */

static void name_holder(int fd, const char *path, struct fault *why)
{
	struct ucred peer;
	socklen_t size = sizeof peer;
	if (getsockopt(fd, SOL_SOCKET, SO_PEERCRED, &peer, &size) || peer.pid <= 0) {
		fault_set(why, "somebody answers on the socket %s already; end it, or choose another "
		          "with --socket", path);
		return;
	}
	char file[64], name[64] = "";
	snprintf(file, sizeof file, "/proc/%ld/comm", (long)peer.pid);
	int comm = open(file, O_RDONLY | O_CLOEXEC);
	ssize_t n = comm < 0 ? 0 : read(comm, name, sizeof name - 1);
	if (comm >= 0)
		close(comm);
	name[n > 0 ? n : 0] = '\0';
	name[strcspn(name, "\n")] = '\0';
	fault_set(why, "the socket %s is held by process %ld%s%s%s; end it, or choose another with "
	          "--socket", path, (long)peer.pid, name[0] ? " (" : "", name, name[0] ? ")" : "");
}

/* Is the path free?  Removes a socket that nobody answers on. */
static bool path_free(const struct sockaddr_un *address, struct fault *why)
{
	const char *path = address->sun_path;
	struct stat st;
	if (lstat(path, &st)) {
		if (errno == ENOENT)
			return true;
		fault_set(why, "cannot look at %s: %s", path, strerror(errno));
		return false;
	}
	if (!S_ISSOCK(st.st_mode)) {
		fault_set(why, "%s is there and is no socket; move it away, or choose another with "
		          "--socket", path);
		return false;
	}
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
	if (fd < 0) {
		fault_set(why, "cannot make a socket: %s", strerror(errno));
		return false;
	}
	int error = connect(fd, (const struct sockaddr *)address, sizeof *address) ? errno : 0;
	if (!error)
		name_holder(fd, path, why);
	close(fd);
	if (error == ECONNREFUSED) {
		if (!unlink(path) || errno == ENOENT)
			return true;
		fault_set(why, "cannot remove the stale socket %s: %s", path, strerror(errno));
	} else if (error == ENOENT) {
		return true;
	} else if (error) {
		/* Full of callers, or not ours to ask: somebody's in any case. */
		fault_set(why, "the socket %s is in use or not accessible (%s); choose another with "
		          "--socket", path, strerror(error));
	}
	return false;
}

static bool address_fill(struct sockaddr_un *address, const char *path, struct fault *why)
{
	memset(address, 0, sizeof *address);
	address->sun_family = AF_UNIX;
	size_t len = strlen(path);
	if (len == 0 || len >= sizeof address->sun_path) {
		fault_set(why, "the path of a socket has 1 to %zu bytes, this one %zu: %.100s",
		          sizeof address->sun_path - 1, len, path);
		return false;
	}
	memcpy(address->sun_path, path, len);
	return true;
}

/* Lock the directory of `path` for a moment; the descriptor, or -1. */
static int directory_lock(const char *path, struct fault *why)
{
	char copy[sizeof((struct sockaddr_un *)0)->sun_path];
	snprintf(copy, sizeof copy, "%s", path);
	const char *directory = dirname(copy);
	int fd = open(directory, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	if (fd < 0) {
		fault_set(why, "cannot open the directory %s of the socket: %s", directory,
		          strerror(errno));
		return -1;
	}
	/* Another daemon holds it for milliseconds; somebody else's lock is not ours to
	 * wait for. */
	for (int i = 0; i < 100; i++) {
		if (!flock(fd, LOCK_EX | LOCK_NB))
			return fd;
		usleep(10000);
	}
	fault_set(why, "somebody keeps the directory %s locked", directory);
	close(fd);
	return -1;
}

static int bind_and_listen(struct door *d, const struct sockaddr_un *address, struct fault *why)
{
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
	/* To connect is to write: the group's, or for those who only look, anybody's. */
	mode_t before = umask(d->viewers ? 0111 : 0117);
	int failed = fd < 0 || bind(fd, (const struct sockaddr *)address, sizeof *address);
	int error = errno;
	umask(before);
	struct stat st;
	if (!failed && !lstat(address->sun_path, &st)) {
		d->owns_path = true;
		d->path_dev = st.st_dev;
		d->path_ino = st.st_ino;
	}
	if (!failed && listen(fd, BACKLOG)) {
		failed = 1;
		error = errno;
	}
	if (!failed)
		return fd;
	fault_set(why, "cannot listen on %s: %s; name a place where the daemon may write (--socket, or `socket` "
	          "in [bench])", address->sun_path, strerror(error));
	if (fd >= 0)
		close(fd);
	return -1;
}

static int socket_open(struct door *d, struct fault *why)
{
	int fd = -1;
	struct sockaddr_un address;
	if (!address_fill(&address, d->path, why))
		return -1;
	int lock = directory_lock(d->path, why);
	if (lock < 0)
		return -1;
	if (path_free(&address, why))
		fd = bind_and_listen(d, &address, why);
	close(lock);
	return fd;
}

/* Remove the file, if it is still the one that was made here. */
static void path_remove(struct door *d)
{
	struct stat st;
	if (d->owns_path && !lstat(d->path, &st) && st.st_dev == d->path_dev &&
	    st.st_ino == d->path_ino)
		unlink(d->path);
	d->owns_path = false;
}

/* ---- open and close ---- */

static void server_free(struct server *s)
{
	for (int i = 0; i < DOORS; i++)
		free(s->door[i].path);
	free(s->log_path);
	free(s->bench);
	free(s->version);
	free(s->live);
	free(s);
}

static void connection(uv_stream_t *listener, int status)
{
	struct door *d = (struct door *)listener;
	if (status == 0 && !d->server->closing)
		caller_accept(d);
}

static struct server *server_new(uv_loop_t *loop, const struct server_options *o)
{
	struct server *s = calloc(1, sizeof *s);
	if (!s)
		return NULL;
	s->loop = loop;
	s->hooks = o->hooks;
	s->door[DOOR_BENCH].path = strdup(o->path);
	s->door[DOOR_VIEWERS].viewers = true;
	if (o->viewers_path && o->viewers_path[0])
		s->door[DOOR_VIEWERS].path = strdup(o->viewers_path);
	s->log_path = strdup(o->log_path);
	s->bench = strdup(o->bench);
	s->version = strdup(o->version);
	if (s->door[DOOR_BENCH].path && s->log_path && s->bench && s->version)
		return s;
	server_free(s);
	return NULL;
}

/* The listener of a door belongs to the loop from here on, whatever comes of it. */
static bool door_open(struct server *s, struct door *d, int fd, struct fault *why)
{
	d->server = s;
	uv_pipe_init(s->loop, &d->listener, 0);
	d->listener.data = s;
	s->handles++;
	if (fd < 0)
		fd = socket_open(d, why);
	if (fd < 0)
		return false;
	int error = uv_pipe_open(&d->listener, fd);
	if (error)
		close(fd);
	else
		error = uv_listen((uv_stream_t *)&d->listener, BACKLOG, connection);
	if (error)
		fault_set(why, "cannot listen on %s: %s", d->path ? d->path : "the viewers' socket",
		          uv_strerror(error));
	return error == 0;
}

struct server *server_open(uv_loop_t *loop, const struct server_options *options,
                           struct fault *why)
{
	struct server *s = server_new(loop, options);
	struct inherited in;
	if (!s) {
		fault_set(why, "no memory for the server");
		return NULL;
	}
	/* A client that goes away while it is written to is not worth a signal. */
	signal(SIGPIPE, SIG_IGN);
	for (int i = 0; i < LANES; i++)
		lane_init(&s->lane[i], s);
	uv_timer_init(loop, &s->live_timer);
	uv_timer_init(loop, &s->sweep_timer);
	uv_timer_init(loop, &s->close_timer);
	s->live_timer.data = s->sweep_timer.data = s->close_timer.data = s;
	s->handles = 3;
	bool good = inherit_sockets(&in, why);
	const int fd[DOORS] = {[DOOR_BENCH] = in.bench, [DOOR_VIEWERS] = in.viewers};
	for (int i = 0; i < DOORS && good; i++)
		if (s->door[i].path || fd[i] >= 0)
			good = door_open(s, &s->door[i], fd[i], why);
	if (good)
		return s;
	server_close(s, NULL, NULL);
	return NULL;
}

int server_callers(const struct server *s, bool viewers)
{
	return s ? s->door[viewers ? DOOR_VIEWERS : DOOR_BENCH].callers : 0;
}

void server_need_sweep(struct server *s)
{
	if (!s->closing && !uv_is_active((uv_handle_t *)&s->sweep_timer))
		uv_timer_start(&s->sweep_timer, server_sweep, SWEEP_MS, 0);
}

void server_sweep(uv_timer_t *timer)
{
	struct server *s = timer->data;
	uint64_t now = uv_now(s->loop);
	bool again = false;
	for (int i = 0; i < DOORS; i++)
		if (s->door[i].accept_later)
			caller_accept(&s->door[i]);
	for (struct caller *c = s->callers, *next; c; c = next) {
		next = c->next;
		bool going = c->state == CALLER_LINGER || (c->state == CALLER_ENDING && c->linger);
		if (going && now - c->since >= LINGER_MS) {
			caller_drop(c);
		} else if (c->watch.stuck && now - c->watch.stuck >= RETRY_MS) {
			c->watch.stuck = 0;
			watch_pump(c);
		}
		again = again || going || c->watch.stuck;
	}
	lane_look(&s->lane[LANE_LONG]);
	again = again || s->lane[LANE_LONG].now;
	if (again)
		server_need_sweep(s);
}

static void handle_closed(uv_handle_t *handle)
{
	struct server *s = handle->data;
	s->handles--;
	server_check_closed(s);
}

void server_check_closed(struct server *s)
{
	if (!s->closing || s->callers)
		return;
	for (int i = 0; i < LANES; i++)
		if (s->lane[i].now)
			return;
	if (!uv_is_closing((uv_handle_t *)&s->close_timer))
		uv_close((uv_handle_t *)&s->close_timer, handle_closed);
	if (s->handles)
		return;
	void (*closed)(void *arg) = s->closed;
	void *arg = s->closed_arg;
	server_free(s);
	if (closed)
		closed(arg);
}

static void close_due(uv_timer_t *timer)
{
	struct server *s = timer->data;
	for (struct caller *c = s->callers; c; c = c->next)
		caller_drop(c);
}

void server_close(struct server *s, void (*closed)(void *arg), void *arg)
{
	if (s->closing)
		return;
	s->closing = true;
	s->closed = closed;
	s->closed_arg = arg;
	for (int i = 0; i < DOORS; i++) {
		if (!s->door[i].server)
			continue; /* never opened */
		path_remove(&s->door[i]);
		uv_close((uv_handle_t *)&s->door[i].listener, handle_closed);
	}
	uv_close((uv_handle_t *)&s->live_timer, handle_closed);
	uv_close((uv_handle_t *)&s->sweep_timer, handle_closed);
	uv_timer_start(&s->close_timer, close_due, CLOSE_MS, 0);
	for (struct caller *c = s->callers; c; c = c->next) {
		if (c->state == CALLER_LINGER)
			caller_drop(c);
		else
			caller_end(c, false);
	}
	for (int i = 0; i < LANES; i++)
		lane_close(&s->lane[i]);
	server_check_closed(s);
}

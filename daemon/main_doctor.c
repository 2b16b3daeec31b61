/* SPDX-License-Identifier: MIT */
/* See main_doctor.h. */
#include "daemon/main_doctor.h"

#include "daemon/holder.h"
#include "protocol/record/wire.h"

#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

/* A line of the wire has at most 1 MiB, with id and the like. */
#define ANSWER_SIZE ((1 << 20) - 8192)

/* ---- what the daemon knows ---- */

static void take_config(struct doctor *d, const struct config *config)
{
	struct doctor_bench *b = &d->bench;
	b->config = config->file;
	snprintf(b->log, sizeof b->log, "%s", config->log);
	snprintf(b->socket, sizeof b->socket, "%s", config->socket);
	d->meters = config->meters;
	for (int i = 0; i < d->meters; i++) {
		struct doctor_meter *m = &d->meter[i];
		m->config = &config->meter[i];
		m->adapter = -1;
		m->framing = m->parity = m->overrun = -1;
		m->quiet_us = -1;
		m->counters = (struct doctor_counters){-1, -1, -1, -1, -1, -1, -1, -1, -1};
	}
}

struct doctor *doctor_new(const struct config *config, const char *health)
{
	struct doctor *d = calloc(1, sizeof *d);
	if (!d)
		return NULL;
	take_config(d, config);
	d->bench.daemon = true;
	snprintf(d->bench.log_health, sizeof d->bench.log_health, "%s", health);
	return d;
}

static void look_at_bytes(struct doctor_meter *m)
{
	const struct dialect *dialect = m->config->dialect;
	const struct look *l = &m->heard;
	m->bytes = l->bytes;
	look_judge(l, &m->config->serial, m->framing, m->parity, &m->look);
	m->fits = look_fits(l, dialect);
	m->other = m->fits ? NULL : look_dialect(l);
	if (!dialect->asked)
		return;
	const char *identify = dialect->identify && m->config->identify ? dialect->identify : NULL;
	/* One character may stand anywhere. */
	m->echoed = (identify && look_contains(l, identify)) ||
	            (strlen(m->config->query) > 2 && look_contains(l, m->config->query));
}

/* The same words and counters as in `meters`; one that it does not have stays -1. */
static void take_meter(struct doctor_meter *m, struct slice s)
{
	struct doctor_counters *c = &m->counters;
	const struct { const char *name; int64_t *to; } counters[] = {
	    {"good", &c->good}, {"bad", &c->bad}, {"readings", &c->readings},
	    {"timeouts", &c->timeouts}, {"late", &c->late}, {"parity", &c->parity},
	    {"resync", &c->resync}, {"stale", &c->stale}, {"reconnects", &c->reconnects}};
	struct slice list = json_member(s.at, s.len, "counters");
	for (size_t i = 0; list.at && i < sizeof counters / sizeof *counters; i++)
		json_int(json_member(list.at, list.len, counters[i].name), counters[i].to);
	json_text(json_member(s.at, s.len, "state"), m->state, sizeof m->state);
	json_text(json_member(s.at, s.len, "why"), m->why, sizeof m->why);
	json_text(json_member(s.at, s.len, "identity"), m->identity, sizeof m->identity);
}

static void take_meters(struct doctor *d, const struct bench *bench, int64_t t, char *buffer)
{
	struct text text;
	struct slice meter;
	size_t cursor = 0;
	text_begin(&text, buffer, ANSWER_SIZE);
	bench_meters(bench, t, &text);
	if (text.failed)
		return;
	struct slice meters = json_member(text.bytes, text.len, "meters");
	for (int i = 0; i < d->meters && json_next(meters, &cursor, &meter); i++)
		take_meter(&d->meter[i], meter);
}

/* ---- what the machine knows ---- */

static void look_for_meter(struct doctor *d, struct doctor_meter *m)
{
	struct fault why = {.text = ""};
	struct stat st;
	if (!m->config->has_place)
		return;
	m->found = place_find(&m->config->place, m->node, sizeof m->node, &why);
	snprintf(m->place_why, sizeof m->place_why, "%s", why.text);
	if (m->found != PLACE_THERE) {
		m->node[0] = '\0';
		const char *path = m->config->place.path;
		if (m->config->place.form == PLACE_PATH && lstat(path, &st) == 0 && S_ISLNK(st.st_mode)) {
			ssize_t n = readlink(path, m->link_to, sizeof m->link_to - 1);
			m->link_to[n > 0 ? n : 0] = '\0';
		}
		return;
	}
	node_look(m->node, &m->rights);
	for (int i = 0; i < d->adapters; i++)
		if (strcmp(d->adapter[i].node, m->node) == 0)
			m->adapter = i;
}

/* The folder of a path; "." for a bare name. */
static void folder_of(const char *path, char *out, size_t size)
{
	const char *slash = strrchr(path, '/');
	if (!slash)
		snprintf(out, size, ".");
	else
		snprintf(out, size, "%.*s", slash == path ? 1 : (int)(slash - path), path);
}

/* Can a file be made, or an old one written, at this path?  "" where it can. */
static void look_at_path(const char *path, char *folder, size_t folder_size, char *trouble,
                         size_t size)
{
	struct stat st;
	folder_of(path, folder, folder_size);
	if (stat(folder, &st) != 0)
		snprintf(trouble, size, "its folder %.300s: %s", folder, strerror(errno));
	else if (!S_ISDIR(st.st_mode))
		snprintf(trouble, size, "%.300s is no folder", folder);
	else if (access(folder, W_OK | X_OK) != 0)
		snprintf(trouble, size, "its folder %.300s: %s (mode %04o)", folder, strerror(errno),
		         (unsigned)st.st_mode & 07777);
	else if (stat(path, &st) == 0 && !S_ISSOCK(st.st_mode) && access(path, R_OK | W_OK) != 0)
		snprintf(trouble, size, "%s (mode %04o)", strerror(errno), (unsigned)st.st_mode & 07777);
}

static void look_at_files(struct doctor_bench *b)
{
	char folder[CONFIG_PATH_SIZE], lock[CONFIG_PATH_SIZE + 8];
	struct statvfs fs;
	b->disk_free = -1;
	if (b->log[0] && strcmp(b->log, ":memory:") != 0) {
		look_at_path(b->log, b->log_folder, sizeof b->log_folder, b->log_trouble,
		             sizeof b->log_trouble);
		if (statvfs(b->log_folder, &fs) == 0)
			b->disk_free = (int64_t)(fs.f_bavail * fs.f_frsize);
		snprintf(lock, sizeof lock, "%s.lock", b->log);
		pid_t pid = holder_of_path_lock(lock);
		if (pid && pid != getpid())
			holder_name(pid, b->log_holder, sizeof b->log_holder);
	}
	/* A daemon that runs has made its own; what answers is the client's to say. */
	if (b->socket[0] && !b->daemon)
		node_look(b->socket, &b->socket_rights);
	if (b->socket[0] && !b->daemon && !b->log_holder[0])
		look_at_path(b->socket, folder, sizeof folder, b->socket_trouble, sizeof b->socket_trouble);
}

static void look_around(struct doctor *d)
{
	static const char *const others[] = {"--serve", "--replay", "--doctor", "--check-config", NULL};
	struct doctor_bench *b = &d->bench;
	self_look(&b->self);
	b->udev = udev_runs("");
	process_named("modem", NULL, b->modems, sizeof b->modems);
	if (!b->daemon)
		process_named("tallyd", others, b->elsewhere, sizeof b->elsewhere);
	d->adapters = adapters_list("", d->adapter, ADAPTERS_MAX);
	d->strays = strays_list("", d->stray, STRAYS_MAX);
	for (int i = 0; i < d->meters; i++)
		look_for_meter(d, &d->meter[i]);
	for (int i = 0; i < d->meters; i++)
		if (d->meter[i].line == DOCTOR_OPEN)
			look_at_bytes(&d->meter[i]);
	look_at_files(b);
}

/* ---- with a daemon ---- */

struct asking {
	uv_work_t work;
	struct doctor *doctor;
	struct findings *findings;
	char *buffer;
	struct server_call *call;
	void (*done)(void *arg);
	void *arg;
};

static void asking_free(struct asking *a)
{
	if (!a)
		return;
	free(a->doctor);
	free(a->findings);
	free(a->buffer);
	free(a);
}

static void work_look(uv_work_t *work)
{
	struct asking *a = work->data;
	look_around(a->doctor);
}

static void work_done(uv_work_t *work, int status)
{
	struct asking *a = work->data;
	struct text text;
	struct fault why;
	(void)status;
	doctor_find(a->doctor, a->findings);
	text_begin(&text, a->buffer, ANSWER_SIZE);
	doctor_write(a->doctor, a->findings, &text);
	if (text.failed) {
		fault_set(&why, "the answer does not fit a line");
		server_refuse(a->call, WIRE_UNREADABLE, &why);
	} else {
		server_answer(a->call, a->buffer);
	}
	a->done(a->arg);
	asking_free(a);
}

static struct asking *asking_new(struct doctor *d)
{
	struct asking *a = calloc(1, sizeof *a);
	if (!d || !a) {
		free(a);
		free(d);
		return NULL;
	}
	a->doctor = d;
	a->findings = malloc(sizeof *a->findings);
	a->buffer = malloc(ANSWER_SIZE);
	a->work.data = a;
	if (a->findings && a->buffer)
		return a;
	asking_free(a);
	return NULL;
}

void doctor_answer(uv_loop_t *loop, struct doctor *d, const struct bench *bench, int64_t t,
                   struct server_call *call, void (*done)(void *arg), void *arg)
{
	struct asking *a = asking_new(d);
	struct fault why;
	if (a) {
		a->call = call;
		a->done = done;
		a->arg = arg;
		take_meters(a->doctor, bench, t, a->buffer);
		if (uv_queue_work(loop, &a->work, work_look, work_done) == 0)
			return;
	}
	asking_free(a);
	fault_set(&why, "out of memory: ask again");
	server_refuse(call, WIRE_REFUSED, &why);
	done(arg);
}

/* ---- without one ---- */

int doctor_alone(const char *file, const char *log, const char *socket)
{
	struct fault why;
	struct text text;
	int status = 2;
	struct config *config = calloc(1, sizeof *config);
	struct asking *a = asking_new(calloc(1, sizeof(struct doctor)));
	if (!config || !a) {
		fprintf(stderr, "tallyd: out of memory\n");
		asking_free(a);
		free(config);
		return status;
	}
	if (!config_load(file, false, config, &why)) {
		fault_text(&why, a->doctor->bench.config_fault, sizeof a->doctor->bench.config_fault);
		config_free(config);
		memset(config, 0, sizeof *config);
		config_standard(config);
		/* Where they would be is not known either. */
		config->log[0] = config->socket[0] = '\0';
	}
	if (log)
		snprintf(config->log, sizeof config->log, "%s", log);
	if (socket)
		snprintf(config->socket, sizeof config->socket, "%s", socket);
	take_config(a->doctor, config);
	look_around(a->doctor);
	doctor_find(a->doctor, a->findings);
	text_begin(&text, a->buffer, ANSWER_SIZE);
	doctor_write(a->doctor, a->findings, &text);
	if (!text.failed) {
		puts(a->buffer);
		status = fflush(stdout) == 0 ? findings_fault(a->findings) : 2;
	}
	asking_free(a);
	config_free(config);
	free(config);
	return status;
}

/* SPDX-License-Identifier: MIT */
/*
 * Jobs that read the log, off the loop.
 *
 * A disk may stall for a second; the loop that reads the meters may not.  So
 * every question goes to the thread pool, with one connection to the log a
 * lane, used by one job at a time.  Jobs are bounded by the connections: each
 * has at most one call and one page on their way.
 */
#include "daemon/server_private.h"

#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void lane_init(struct lane *lane, struct server *s)
{
	memset(lane, 0, sizeof *lane);
	lane->server = s;
	lane->tail = &lane->head;
}

struct job *job_new(struct server *s)
{
	struct job *job = calloc(1, sizeof *job);
	if (job)
		job->server = s;
	return job;
}

static void job_free(struct job *job)
{
	json_decref(job->params);
	free(job->method);
	free(job->text);
	free(job);
}

static bool lane_goes_on(void *arg, int64_t done, int64_t all)
{
	struct lane *lane = arg;
	atomic_store(&lane->all, all);
	atomic_store(&lane->records, done);
	return !atomic_load(&lane->stop);
}

void lane_forget(struct lane *lane, const struct caller *c)
{
	if (lane->now && lane->now->call && lane->now->call->caller == c)
		atomic_store(&lane->stop, true);
}

/* A peer that ended its side may only have said all that it has to say; one that closed the
 * line is gone, and only the kernel knows. */
static bool peer_closed(struct caller *c)
{
	uv_os_fd_t fd;
	if (uv_fileno((uv_handle_t *)&c->pipe, &fd))
		return true;
	struct pollfd p = { .fd = fd };
	return poll(&p, 1, 0) > 0 && (p.revents & (POLLHUP | POLLERR));
}

void lane_look(struct lane *lane)
{
	struct job *job = lane->now;
	struct caller *c = job && job->call ? job->call->caller : NULL;
	char line[160];
	if (!c)
		return;
	if (c->ended && peer_closed(c)) {
		caller_drop(c);
		return;
	}
	int64_t done = atomic_load(&lane->records), all = atomic_load(&lane->all);
	if (!job->progress || done <= lane->told)
		return;
	lane->told = done;
	int n = snprintf(line, sizeof line, "{\"jsonrpc\":\"2.0\",\"method\":\"progress\",\"params\":{"
	                 "\"done\":%lld,\"all\":%lld}}\n", (long long)done, (long long)all);
	caller_send(c, CHUNK_LOSSY, line, (size_t)n, (size_t)(strstr(line, "\"done\"") - line));
}

static void lane_work(uv_work_t *work)
{
	struct lane *lane = (struct lane *)work;
	struct job *job = lane->now;
	log_reader_stand_back();
	/* Opened at the first job, and again where that failed: nothing else waits. */
	if (!lane->reader)
		lane->reader = log_reader_open(lane->server->log_path, &job->why);
	if (lane->reader)
		log_reader_going(lane->reader, &(struct log_going){ lane_goes_on, lane });
	job->run(job, lane->reader);
}

static void lane_done(uv_work_t *work, int status);

static struct job *lane_take(struct lane *lane)
{
	struct job *job = lane->head;
	if (job)
		lane->head = job->next;
	if (!lane->head)
		lane->tail = &lane->head;
	return job;
}

static void lane_next(struct lane *lane)
{
	struct job *job;
	if (lane->now)
		return;
	/* Whoever went away while it waited is not worked for. */
	while ((job = lane_take(lane)) && job->call && !job->call->caller) {
		job->done(job);
		job_free(job);
	}
	if (!job)
		return;
	lane->now = job;
	lane->told = 0;
	atomic_store(&lane->stop, false);
	atomic_store(&lane->records, 0);
	atomic_store(&lane->all, 0);
	server_need_sweep(lane->server);
	/* It fails only for want of a callback. */
	uv_queue_work(lane->server->loop, &lane->work, lane_work, lane_done);
}

static void lane_done(uv_work_t *work, int status)
{
	(void)status;
	struct lane *lane = (struct lane *)work;
	struct server *s = lane->server;
	struct job *job = lane->now;
	lane->now = NULL;
	job->done(job);
	job_free(job);
	if (s->closing)
		lane_close(lane);
	else
		lane_next(lane);
	server_check_closed(s);
}

void lane_add(struct lane *lane, struct job *job)
{
	job->next = NULL;
	*lane->tail = job;
	lane->tail = &job->next;
	lane_next(lane);
}

void lane_close(struct lane *lane)
{
	while (lane->head) {
		struct job *job = lane->head;
		lane->head = job->next;
		if (job->call) {
			fault_set(&job->why, "the daemon is ending; ask again when it is back");
			server_refuse(job->call, WIRE_REFUSED, &job->why);
		}
		if (job->caller)
			job->caller->watch.page = NULL;
		job_free(job);
	}
	lane->tail = &lane->head;
	if (lane->now)
		atomic_store(&lane->stop, true);
	if (lane->now)
		return; /* once it is done, this is called again */
	if (lane->reader)
		log_reader_close(lane->reader);
	lane->reader = NULL;
}

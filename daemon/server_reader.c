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

static void lane_work(uv_work_t *work)
{
	struct lane *lane = (struct lane *)work;
	struct job *job = lane->now;
	/* Opened at the first job, and again where that failed: nothing else waits. */
	if (!lane->reader)
		lane->reader = log_reader_open(lane->server->log_path, &job->why);
	job->run(job, lane->reader);
}

static void lane_done(uv_work_t *work, int status);

static void lane_next(struct lane *lane)
{
	if (lane->now || !lane->head)
		return;
	struct job *job = lane->head;
	lane->head = job->next;
	if (!lane->head)
		lane->tail = &lane->head;
	lane->now = job;
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
		return; /* once it is done, this is called again */
	if (lane->reader)
		log_reader_close(lane->reader);
	lane->reader = NULL;
}

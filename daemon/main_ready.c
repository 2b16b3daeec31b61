/* SPDX-License-Identifier: MIT */
/* See main_ready.h. */
#include "daemon/main_ready.h"

#include "daemon/query.h"
#include "protocol/record/text.h"
#include "protocol/record/wire.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* So many positions are named; `job ready` lists all of them. */
#define NAMED_MAX 6

struct asking {
	uv_work_t work;
	const char *log;
	bool good;
	struct fault why;
	void (*done)(void *arg, bool good, const struct fault *why);
	void *arg;
};

bool ready_wanted(const char *kind, const char *words)
{
	static const char key[] = "because=";
	if (strcmp(kind, "rise") != 0)
		return false;
	for (const char *at = words; at && (at = strstr(at, key)); at++) {
		char after = at[sizeof key - 1];
		if ((at == words || at[-1] == ' ') && after && after != ' ')
			return false;
	}
	return true;
}

/* "C7, R12", of a list in the answer; *n counts them all. */
static void names(struct slice list, char *out, size_t size, int *n)
{
	struct slice one;
	size_t cursor = 0, len = 0;
	char name[64];
	out[0] = '\0';
	*n = 0;
	while (json_next(list, &cursor, &one)) {
		if (!json_text(json_member(one.at, one.len, "position"), name, sizeof name))
			continue;
		if (++*n <= NAMED_MAX && len < size)
			len += (size_t)snprintf(out + len, size - len, "%s%s", *n > 1 ? ", " : "", name);
		else if (*n == NAMED_MAX + 1 && len < size)
			len += (size_t)snprintf(out + len, size - len, " and more");
	}
}

static void judge(struct asking *a, struct slice answer)
{
	char up[80], fresh[80]; /* so that the sentence has room for its end */
	int ups, news;
	if (json_bool(json_member(answer.at, answer.len, "ready"), false)) {
		a->good = true;
		return;
	}
	names(json_member(answer.at, answer.len, "lifted"), up, sizeof up, &ups);
	names(json_member(answer.at, answer.len, "new"), fresh, sizeof fresh, &news);
	fault_set(&a->why, "the unit is not ready for the power:%s%s%s%s%s; look, put it right and say so (job "
	          "fitted POSITION...), or say why it may be all the same (because=TEXT)",
	          ups ? " a leg may be up at " : "", up, ups && news ? ";" : "",
	          news ? " new and not said to be in its place: " : "", fresh);
}

static void work_ask(uv_work_t *work)
{
	struct asking *a = work->data;
	int code = 0;
	json_t *params = json_object();
	struct log_reader *reader = log_reader_open(a->log, &a->why);
	char *text = reader && params ? query_run(reader, "job.ready", params, &code, &a->why) : NULL;
	if (text)
		judge(a, (struct slice){text, strlen(text)});
	else if (reader && code == WIRE_REFUSED)
		a->good = true; /* no job: nothing is listed */
	free(text);
	json_decref(params);
	log_reader_close(reader);
}

static void work_done(uv_work_t *work, int status)
{
	struct asking *a = work->data;
	if (status != 0) {
		a->good = false;
		fault_set(&a->why, "the daemon ends");
	}
	a->done(a->arg, a->good, &a->why);
	free(a);
}

bool ready_ask(uv_loop_t *loop, const char *log,
               void (*done)(void *arg, bool good, const struct fault *why), void *arg,
               struct fault *why)
{
	struct asking *a = calloc(1, sizeof *a);
	if (a) {
		*a = (struct asking){.log = log, .done = done, .arg = arg};
		a->work.data = a;
		fault_set(&a->why, "out of memory: ask again");
		if (uv_queue_work(loop, &a->work, work_ask, work_done) == 0)
			return true;
	}
	free(a);
	fault_set(why, "out of memory: ask again");
	return false;
}

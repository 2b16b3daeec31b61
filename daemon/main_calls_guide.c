/* SPDX-License-Identifier: MIT */
/* See main_calls_inside.h: guided runs. */
#include "daemon/main_calls_inside.h"

#include "daemon/main_ready.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A run that goes on once the log has said that nothing stands in its way. */
struct rising {
	struct answering a;
	bool resume;
	char text[3][512]; /* name, position, words: the parameters are gone by then */
};

static bool guide_begin(struct answering *a, bool resume, struct fault *why)
{
	const struct asked *k = &a->asked;
	if (resume)
		LATER(SHAPE_SEQ, WIRE_REFUSED, bench_guide_resume(a->calls->bench, a->t, k->name, w, why));
	LATER(SHAPE_SEQ, WIRE_REFUSED,
	      bench_guide_start(a->calls->bench, a->t, k->name, k->position, k->text, w, why));
}

static void rise_may_begin(void *arg, bool good, const struct fault *what)
{
	struct rising *r = arg;
	struct fault why;
	r->a.t = r->a.calls->now(r->a.calls->arg);
	if (good) {
		bench_by(r->a.calls->bench, r->a.t, r->a.uid);
		if (!guide_begin(&r->a, r->resume, &why))
			server_refuse(r->a.call, WIRE_REFUSED, &why);
		bench_by_nobody(r->a.calls->bench);
	} else {
		server_refuse(r->a.call, WIRE_REFUSED, what);
	}
	free(r);
}

static const char *kept(char *out, const char *text, bool *fits)
{
	*fits = *fits && (!text || strlen(text) < sizeof ((struct rising *)0)->text[0]);
	snprintf(out, sizeof ((struct rising *)0)->text[0], "%s", text ? text : "");
	return text ? out : NULL;
}

/* `rise` begins, or goes on, only where job.ready lists nothing or its words say why. */
static bool guide_begin_ready(struct answering *a, bool resume, const char *kind, const char *words,
                              struct fault *why)
{
	const struct asked *k = &a->asked;
	bool fits = true;
	if (!a->calls->loop || !ready_wanted(kind, words))
		return guide_begin(a, resume, why);
	struct rising *r = calloc(1, sizeof *r);
	if (!r) {
		fault_set(why, "out of memory");
		return false;
	}
	*r = (struct rising){.a = {.calls = a->calls, .call = a->call, .uid = a->uid}, .resume = resume};
	r->a.asked.name = kept(r->text[0], k->name, &fits);
	r->a.asked.position = kept(r->text[1], k->position, &fits);
	r->a.asked.text = kept(r->text[2], k->text, &fits);
	if (fits && ready_ask(a->calls->loop, a->calls->log, rise_may_begin, r, why))
		return true;
	if (!fits)
		fault_set(why, "the words of a run are longer than %zu bytes", sizeof r->text[0] - 1);
	free(r);
	return false;
}

bool call_guide_start(struct answering *a, struct fault *why)
{
	return guide_begin_ready(a, false, a->asked.name, a->asked.text, why);
}

bool call_guide_go(struct answering *a, struct fault *why)
{
	LATER(SHAPE_RECORD, WIRE_REFUSED, bench_guide_go(a->calls->bench, a->t, a->asked.name, w, why));
}

bool call_guide_back(struct answering *a, struct fault *why)
{
	LATER(SHAPE_SEQ, WIRE_REFUSED, bench_guide_back(a->calls->bench, a->t, a->asked.name, w, why));
}

bool call_guide_leave(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	LATER(SHAPE_SEQ, WIRE_REFUSED,
	      bench_guide_leave(a->calls->bench, a->t, k->name, k->because, w, why));
}

bool call_guide_resume(struct answering *a, struct fault *why)
{
	const char *words = "", *kind = bench_guide_left(a->calls->bench, a->asked.name, &words);
	return guide_begin_ready(a, true, kind, words, why);
}

bool call_guide_dry(struct answering *a, struct fault *why)
{
	const struct asked *k = &a->asked;
	enum { SIZE = 16384 };
	char *text = malloc(SIZE);
	struct text steps;
	if (!text) {
		fault_set(why, "out of memory");
		return false;
	}
	text_begin(&steps, text, SIZE);
	bool good = bench_guide_dry(a->calls->bench, k->name, k->position, k->text, &steps, why);
	if (good) {
		text_puts(&a->out, "{\"steps\":");
		text_string(&a->out, text, steps.len);
		text_puts(&a->out, "}");
		server_answer(a->call, a->out.bytes);
	}
	free(text);
	return good;
}

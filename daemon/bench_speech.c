/* SPDX-License-Identifier: MIT */
/*
 * Was the name of the position that is up said?
 *
 * The next position arms only when its name was announced and the leads were open long
 * enough.  The leads the bench sees for itself; the saying is done by a client.  One
 * that speaks says so once (`speaks`), and after each name that it has said `announced`.
 * From then on a touch that begins before that makes nothing: whoever heard no name
 * cannot mean the part.
 *
 *     nobody speaks     the event `up` is the announcement
 *     somebody does     the event is `armed: no`; `announced` brings the event `armed`
 *     it hangs          after SPEECH_SECONDS the name counts as said, the client as one
 *                       that speaks no more, and people are told (`mute`)
 *
 * All of it is on the tape, so that a replay arms at the same moments.
 */
#include "daemon/bench_inside.h"

#include <stdio.h>
#include <string.h>

/* A name, its place and its nominal are said in 3 s; one that takes longer hangs. */
#define SPEECH_SECONDS 5

void name_to_say(struct bench *b)
{
	b->say_until = INT64_MAX;
	b->unseen = false;
	if (b->speaks)
		b->say_until = b->now + SPEECH_SECONDS * INT64_C(1000000);
	else
		b->said = b->choice;
}

bool name_was_said(const struct bench *b)
{
	return b->chosen < 0 || b->said == b->choice;
}

int64_t name_deadline(const struct bench *b)
{
	return b->say_until;
}

static void said(struct bench *b)
{
	b->say_until = INT64_MAX;
	if (name_was_said(b))
		return;
	b->said = b->choice;
	bench_event(b, "armed", "position", b->position[b->chosen].row.position.name, "armed",
	            walk_armed(b) ? "yes" : "no", NULL);
}

void name_is_late(struct bench *b)
{
	b->speaks = false;
	bench_event(b, "mute", "text", "the client that says names did not say this one in time: "
	            "positions arm without it", NULL);
	said(b);
}

void bench_seen(struct bench *b, int64_t t)
{
	if (!b->unseen)
		return;
	bench_run_until(b, t);
	b->unseen = false;
	said(b);
}

bool bench_speaks(struct bench *b, int64_t t, bool speaks, struct fault *why)
{
	(void)why;
	bench_run_until(b, t);
	bench_taped(b, t, "speaks", "%s", speaks ? "on" : "off");
	b->speaks = speaks;
	/* What is up was up before: it stays as it is, or is said by nobody any more. */
	if (!speaks)
		said(b);
	return true;
}

bool bench_announced(struct bench *b, int64_t t, int64_t up, struct fault *why)
{
	bench_run_until(b, t);
	if (b->chosen < 0) {
		fault_set(why, "no position is up that could be announced");
		return false;
	}
	if (up && up != b->choice) /* the walk went on meanwhile: that name is the past */
		return true;
	bench_taped(b, t, "announced", "%s", "");
	said(b);
	return true;
}

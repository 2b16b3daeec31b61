/* SPDX-License-Identifier: MIT */
/* See spoilt.h. */
#include "daemon/spoilt.h"

#include "protocol/record/recording.h"

#include <stdio.h>

void spoilt_add(struct spoilt *s, int64_t t, const struct frame *f, const char *why)
{
	if (s->count == 0)
		s->since = t;
	if (s->count < BAD_FRAMES_MAX) {
		s->frame[s->count].t = t;
		recording_escape(f->bytes, f->len, s->frame[s->count].bytes,
		                 sizeof s->frame[s->count].bytes);
		snprintf(s->frame[s->count].why, sizeof s->frame[s->count].why, "%s", why);
	}
	s->count++;
}

int64_t spoilt_deadline(const struct spoilt *s)
{
	return s->count ? s->since + SPOILT_US : INT64_MAX;
}

void spoilt_write(const struct spoilt *s, const char *meter, int64_t utc, struct text *out)
{
	struct bad_frame frame[BAD_FRAMES_MAX];
	int n = s->count < BAD_FRAMES_MAX ? (int)s->count : BAD_FRAMES_MAX;
	for (int i = 0; i < n; i++)
		frame[i] = (struct bad_frame){utc + s->frame[i].t, s->frame[i].bytes, s->frame[i].why};
	struct bad_body body = {.meter = meter, .frame = frame, .frames = n, .count = s->count};
	bad_body_write(out, &body);
}

void spoilt_clear(struct spoilt *s)
{
	s->count = 0;
}

/* SPDX-License-Identifier: MIT */
/*
 * The body of a `bad` record: frames of a meter that were no reading, as they came,
 * with the reason.  See record.h, and SEAL.md for the members.
 */
#include "protocol/record/record.h"

#include <string.h>

void bad_body_write(struct text *out, const struct bad_body *b)
{
	text_member_string(out, "meter", b->meter);
	text_member_int(out, "count", b->count);
	text_member(out, "frames");
	text_puts(out, "[");
	for (int i = 0; i < b->frames && i < BAD_FRAMES_MAX; i++) {
		const struct bad_frame *f = &b->frame[i];
		text_puts(out, i ? ",{\"t\":" : "{\"t\":");
		text_time(out, f->t);
		text_member_string(out, "bytes", f->bytes);
		text_member_string(out, "why", f->why);
		text_puts(out, "}");
	}
	text_puts(out, "]");
}

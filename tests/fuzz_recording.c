/* SPDX-License-Identifier: MIT */
/*
 * Any bytes as a recording: refused at a place that is in them, or taken, and then
 * each line that is written again reads as it was.
 */
#include "protocol/record/recording.h"

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t len);

static char again[RECORDING_LINE_MAX + 2];
static struct recording_line back;

static bool each(void *arg, const struct recording_line *line, struct fault *why)
{
	(void)arg;
	struct recording_reader r;
	size_t n;
	if (line->what == RECORDING_NOTHING)
		return true;
	if (line->what == RECORDING_BYTES)
		n = recording_write_bytes(line->t, line->meter, line->bytes, line->len, again, sizeof again);
	else
		n = recording_write_act(line->t, line->act, line->rest, again, sizeof again);
	recording_begin(&r, "again");
	r.line = 1;
	if (!n || !recording_read(&r, again, n - 1, &back, why) || back.what != line->what ||
	    back.t != line->t || back.len != line->len ||
	    memcmp(back.bytes, line->bytes, line->len) != 0 || strcmp(back.meter, line->meter) != 0 ||
	    strcmp(back.act, line->act) != 0 || strcmp(back.rest, line->rest) != 0)
		abort();
	return true;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t len)
{
	struct fault why = {.line = 0};
	if (!recording_check("f", (const char *)data, len, each, NULL, &why) &&
	    (why.line < 1 || why.column < 1 || (size_t)why.column > len + 1 || !why.text[0]))
		abort();
	return 0;
}

/* SPDX-License-Identifier: MIT */
/*
 * Any bytes as a recording: refused at a place that is in them, or taken, and then
 * each line that is written again reads as it was.
 */
#include "protocol/record/recording.h"
#include "tests/fuzz.h"

static char again[RECORDING_LINE_MAX + 2];
static struct recording_line back;

static bool each(void *arg, const struct recording_line *line, struct fault *why)
{
	int64_t *last = arg;
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
	must(n && recording_read(&r, again, n - 1, &back, why));
	must(back.what == line->what && back.t == line->t && back.len == line->len);
	must(memcmp(back.bytes, line->bytes, line->len) == 0);
	must(!strcmp(back.meter, line->meter) && !strcmp(back.act, line->act));
	must(!strcmp(back.rest, line->rest));
	must(line->column >= 1 && line->len <= RECORDING_BYTES_MAX);
	must(line->t >= *last);
	*last = line->t;
	return true;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct fault why;
	int64_t last = 0;
	memset(&why, 0, sizeof why);
	if (!recording_check("f", (const char *)data, size, each, &last, &why))
		must_be_placed(&why, data, size);
	return 0;
}

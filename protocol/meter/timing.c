/* SPDX-License-Identifier: MIT */
/* See timing.h. */
#include "protocol/meter/timing.h"

#include <math.h>

int timing_bits(const struct line_settings *line)
{
	return 1 + line->bits + (line->parity != PARITY_NONE) + line->stop;
}

double timing_seconds(const struct line_settings *line, size_t chars)
{
	return line->baud > 0 ? (double)chars * timing_bits(line) / line->baud : 0;
}

size_t timing_frame(const struct dialect *d)
{
	return d->end == FRAME_FIXED ? d->size : TIMING_LINE_CHARS;
}

double timing_stamp(const struct line_settings *line, size_t chars, double answer_s)
{
	double frame = timing_seconds(line, chars);
	double widths = frame * frame + TIMING_LATENCY_S * TIMING_LATENCY_S +
	                TIMING_POLL_S * TIMING_POLL_S;
	double half = answer_s > 0 ? answer_s / 2 : 0;
	return sqrt(widths / 12 + half * half / 3);
}

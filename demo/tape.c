/* SPDX-License-Identifier: MIT */
/* See tape.h. */
#include "tape.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static FILE *tape;
static double tape_time;

_Noreturn void stop(const char *format, ...)
{
	va_list args;
	va_start(args, format);
	fputs("meters: ", stderr);
	vfprintf(stderr, format, args);
	fputc('\n', stderr);
	va_end(args);
	exit(2);
}

double now(void)
{
	struct timespec t;
	if (tape)
		return tape_time;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

void tape_open(const char *path)
{
	tape = fopen(path, "we");
	if (!tape)
		stop("%s: %s", path, strerror(errno));
	fprintf(tape, "# tally recording 1\n");
}

bool tape_on(void)
{
	return tape != NULL;
}

void tape_wait(double until)
{
	tape_time = until;
}

void tape_line(const char *meter, const char *line)
{
	fprintf(tape, "%.6f %s \"", tape_time, meter);
	for (const unsigned char *c = (const unsigned char *)line; *c; c++) {
		if (*c == '\r' || *c == '\n')
			fprintf(tape, "\\%c", *c == '\r' ? 'r' : 'n');
		else
			fprintf(tape, *c < 0x20 || *c > 0x7e ? "\\x%02x" : "%c", *c);
	}
	fputs("\"\n", tape);
}

void tape_act(const char *format, ...)
{
	va_list args;
	va_start(args, format);
	fprintf(tape, "%.6f @", tape_time);
	vfprintf(tape, format, args);
	fputc('\n', tape);
	va_end(args);
}

void tape_close(void)
{
	if (tape && fclose(tape) != 0)
		stop("the recording could not be written: %s", strerror(errno));
	tape = NULL;
}

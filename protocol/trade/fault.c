/* SPDX-License-Identifier: MIT */
/* See fault.h. */
#include "protocol/trade/fault.h"

#include <stdio.h>
#include <string.h>

static void fill(struct fault *f, const char *file, int line, int column, const char *format,
                 va_list args)
{
	char text[sizeof f->text];
	vsnprintf(text, sizeof text, format, args);
	/* Copied last: the arguments may point into the fault itself. */
	memcpy(f->text, text, sizeof text);
	snprintf(f->file, sizeof f->file, "%s", file ? file : "");
	f->line = line;
	f->column = column;
}

void fault_set(struct fault *f, const char *format, ...)
{
	va_list args;
	va_start(args, format);
	fill(f, NULL, 0, 0, format, args);
	va_end(args);
}

void fault_at(struct fault *f, const char *file, int line, int column, const char *format, ...)
{
	va_list args;
	va_start(args, format);
	fill(f, file, line, column, format, args);
	va_end(args);
}

size_t fault_text(const struct fault *f, char *out, size_t size)
{
	int n;
	if (f->file[0] && f->line && f->column)
		n = snprintf(out, size, "%s:%d:%d: %s", f->file, f->line, f->column, f->text);
	else if (f->file[0] && f->line)
		n = snprintf(out, size, "%s:%d: %s", f->file, f->line, f->text);
	else if (f->file[0])
		n = snprintf(out, size, "%s: %s", f->file, f->text);
	else
		n = snprintf(out, size, "%s", f->text);
	if (n < 0)
		return 0;
	return (size_t)n < size ? (size_t)n : (size ? size - 1 : 0);
}

int fault_by_place(const void *a, const void *b)
{
	const struct fault *x = a, *y = b;
	if (x->line != y->line)
		return x->line < y->line ? -1 : 1;
	return (x->column > y->column) - (x->column < y->column);
}

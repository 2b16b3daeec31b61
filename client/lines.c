/* SPDX-License-Identifier: MIT */
/* See lines.h. */
#include "client/lines.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Room for `more` bytes and the NUL. */
static bool reserve(struct lines *l, size_t more)
{
	if (l->failed)
		return false;
	if (more >= LINES_MAX || l->len + more + 1 > LINES_MAX) {
		l->failed = true;
		return false;
	}
	if (l->len + more + 1 <= l->size)
		return true;
	size_t size = l->size ? l->size : 256;
	while (size < l->len + more + 1)
		size *= 2;
	char *bytes = realloc(l->bytes, size);
	if (!bytes) {
		l->failed = true;
		return false;
	}
	l->bytes = bytes;
	l->size = size;
	return true;
}

void lines_free(struct lines *l)
{
	free(l->bytes);
	*l = (struct lines){0};
}

void lines_add(struct lines *l, const char *bytes, size_t len)
{
	if (!len || !reserve(l, len))
		return;
	memcpy(l->bytes + l->len, bytes, len);
	l->len += len;
	l->bytes[l->len] = '\0';
}

void lines_puts(struct lines *l, const char *string)
{
	lines_add(l, string, strlen(string));
}

void lines_csv(struct lines *l, const char *text, bool quoted, bool guarded)
{
	lines_puts(l, quoted ? "\"" : "");
	if (guarded && text[0] && strchr("=+-@\t\r", text[0]))
		lines_puts(l, "'");
	for (; *text; text++)
		lines_add(l, *text == '"' ? "\"\"" : text, *text == '"' ? 2 : 1);
	lines_puts(l, quoted ? "\"" : "");
}

void lines_fill(struct lines *l, char byte, size_t count)
{
	if (!count || !reserve(l, count))
		return;
	memset(l->bytes + l->len, byte, count);
	l->len += count;
	l->bytes[l->len] = '\0';
}

void lines_printf(struct lines *l, const char *format, ...)
{
	va_list args, again;
	va_start(args, format);
	va_copy(again, args);
	int n = vsnprintf(NULL, 0, format, args);
	va_end(args);
	if (n >= 0 && reserve(l, (size_t)n)) {
		vsnprintf(l->bytes + l->len, (size_t)n + 1, format, again);
		l->len += (size_t)n;
	} else {
		l->failed = true;
	}
	va_end(again);
}

const char *lines_text(const struct lines *l)
{
	return l->bytes ? l->bytes : "";
}

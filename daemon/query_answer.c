/* SPDX-License-Identifier: MIT */
/* See query_answer.h. */
#include "daemon/query_answer.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void answer_begin(struct answer *a, size_t max)
{
	memset(a, 0, sizeof *a);
	a->max = max;
}

void answer_free(struct answer *a)
{
	free(a->bytes);
	memset(a, 0, sizeof *a);
}

char *answer_take(struct answer *a)
{
	char *bytes = a->failed ? NULL : a->bytes;
	if (a->failed)
		free(a->bytes);
	memset(a, 0, sizeof *a);
	return bytes;
}

/* Room for `more` bytes and the NUL behind them. */
static bool answer_room(struct answer *a, size_t more)
{
	if (a->failed || more > a->max || a->len > a->max - more) {
		a->failed = true;
		return false;
	}
	size_t need = a->len + more + 1;
	if (need <= a->size)
		return true;
	size_t size = a->size ? a->size : 256;
	while (size < need)
		size *= 2;
	char *bytes = realloc(a->bytes, size);
	if (!bytes) {
		a->failed = true;
		return false;
	}
	a->bytes = bytes;
	a->size = size;
	return true;
}

void answer_add(struct answer *a, const char *bytes, size_t len)
{
	if (!answer_room(a, len))
		return;
	if (len)
		memcpy(a->bytes + a->len, bytes, len);
	a->len += len;
	a->bytes[a->len] = '\0';
}

void answer_puts(struct answer *a, const char *string)
{
	answer_add(a, string, strlen(string));
}

void answer_printf(struct answer *a, const char *format, ...)
{
	va_list args;
	va_start(args, format);
	int n = vsnprintf(NULL, 0, format, args);
	va_end(args);
	if (n < 0 || !answer_room(a, (size_t)n)) {
		a->failed = true;
		return;
	}
	va_start(args, format);
	vsnprintf(a->bytes + a->len, (size_t)n + 1, format, args);
	va_end(args);
	a->len += (size_t)n;
}

void answer_json(struct answer *a, const char *json, size_t len)
{
	size_t from = a->len;
	answer_add(a, json, len);
	if (a->failed)
		return;
	for (char *p = a->bytes + from; *p; p++)
		if (*p == '\n' || *p == '\r')
			*p = ' ';
}

void answer_string(struct answer *a, const char *string)
{
	answer_text(a, string, strlen(string));
}

void answer_text(struct answer *a, const char *string, size_t len)
{
	/* Six bytes for a control character are the most that one byte becomes. */
	size_t most = 6 * len + 2;
	char small[512], *buffer = most < sizeof small ? small : malloc(most + 1);
	if (!buffer) {
		a->failed = true;
		return;
	}
	struct text t;
	text_begin(&t, buffer, most + 1);
	text_string(&t, string, len);
	answer_add(a, buffer, t.len);
	if (buffer != small)
		free(buffer);
}

void answer_name(struct answer *a, const char *name)
{
	if (name[0])
		answer_string(a, name);
	else
		answer_puts(a, "null");
}

void answer_real(struct answer *a, double x)
{
	char buffer[48];
	struct text t;
	text_begin(&t, buffer, sizeof buffer);
	text_real(&t, x);
	answer_add(a, buffer, t.len);
}

/* SPDX-License-Identifier: MIT */
/* See marks.h. */
#include "daemon/marks.h"

#include <string.h>

#define MARK '\377'

void marks_undo(struct marks *m, char *bytes, size_t len,
                int (*good)(void *arg, const char *bytes, size_t len), int (*bad)(void *arg),
                void *arg)
{
	/* On a good line there is never a mark. */
	const char *mark = m->seen || !len ? bytes : memchr(bytes, MARK, len);
	/* Good bytes so far, moved to the front: never past the one that is read. */
	size_t n = mark ? (size_t)(mark - bytes) : len;
	for (size_t i = n; i < len; i++) {
		char c = bytes[i];
		if (m->seen == 0 && c != MARK) {
			bytes[n++] = c;
		} else if (m->seen == 0) {
			m->seen = 1;
		} else if (m->seen == 1 && c == '\0') {
			m->seen = 2;
		} else if (m->seen == 1) {
			m->seen = 0; /* FF FF: one that came well */
			bytes[n++] = MARK;
		} else {
			m->seen = 0;
			if ((n && good(arg, bytes, n)) || bad(arg))
				return;
			n = 0;
		}
	}
	if (n)
		good(arg, bytes, n);
}

/* SPDX-License-Identifier: MIT */
/* See marks.h. */
#include "daemon/marks.h"

#define MARK '\377'

void marks_undo(struct marks *m, char *bytes, size_t len,
                int (*good)(void *arg, const char *bytes, size_t len), int (*bad)(void *arg),
                void *arg)
{
	size_t n = 0; /* good bytes so far, moved to the front: never past the one that is read */
	for (size_t i = 0; i < len; i++) {
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

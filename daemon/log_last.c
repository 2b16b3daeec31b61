/* SPDX-License-Identifier: MIT */
/*
 * How far the log went: a note in LOG.lock, behind the pid.
 *
 * Where LOG-wal is cut off or emptied while no daemon runs, what is left is a log that is whole
 * and ends earlier, and nothing in it tells.  So after each commit the number of the last record
 * is written beside it; a start that finds less says so.
 *
 * The note is not synced, and need not be: it is written after the sync of what it speaks of.
 * Whatever a power cut leaves of it, this one, an older one or none, names a record that was on
 * the disk before it was written.  So it may know too little and never too much.  It is no
 * part of the seal: whoever writes the log can write this as well, and a copy has none.  So
 * `tally verify` does not go by it: a log is not less whole for what lies beside it.
 *
 * Format: the pid and blanks, 31 characters, LF; the identity of the log, a blank, the number
 * in 19 digits, a blank, the number again, LF.  Twice, and of fixed width: half of one note over
 * another one is none.
 */
#include "daemon/log_inside.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define NOTE_SIZE (32 + 1 + 19 + 1 + 19 + 1)

static int64_t number_at(const char *digits)
{
	int64_t n = 0;
	for (int i = 0; i < 19; i++) {
		int digit = digits[i] - '0';
		if (digit < 0 || digit > 9 || n > (INT64_MAX - digit) / 10)
			return 0;
		n = n * 10 + digit;
	}
	return n;
}

void last_note(struct log_store *s)
{
	char note[NOTE_SIZE + 1];
	if (s->lock < 0 || s->noted == s->seq || strlen(s->identity) != 32)
		return;
	int n = snprintf(note, sizeof note, "%s %019lld %019lld\n", s->identity, (long long)s->seq,
	                 (long long)s->seq);
	/* On a full disk the older one stays: too little, not too much. */
	if (n == NOTE_SIZE && pwrite(s->lock, note, NOTE_SIZE, LOG_PID_SIZE) == NOTE_SIZE)
		s->noted = s->seq;
}

void last_read(const char *path, struct log_last *out)
{
	char note[NOTE_SIZE];
	char *name = beside_name(path, ".lock");
	int fd = name ? open(name, O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK) : -1;
	*out = (struct log_last){ 0 };
	if (fd >= 0 && pread(fd, note, NOTE_SIZE, LOG_PID_SIZE) == NOTE_SIZE && note[32] == ' ' &&
	    note[52] == ' ' && note[NOTE_SIZE - 1] == '\n' && memcmp(note + 33, note + 53, 19) == 0) {
		memcpy(out->identity, note, 32);
		out->seq = number_at(note + 33);
	}
	if (fd >= 0)
		close(fd); /* flock goes by the opening: nobody's lock is dropped */
	free(name);
}

bool last_beyond(const struct log_last *last, const char *identity, int64_t seq)
{
	return last->seq > seq && strcmp(last->identity, identity) == 0;
}

bool last_forget(int lock)
{
	return ftruncate(lock, LOG_PID_SIZE) == 0 && fsync(lock) == 0;
}

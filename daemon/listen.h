/* SPDX-License-Identifier: MIT */
/*
 * `tallyd --listen PORT --line SETTINGS`: a line listened to for some seconds, as a
 * recording on standard output, for `tally meters try`.  Nothing is sent.
 *
 * The line is opened as a running daemon opens it (port.h), so one that is held is left
 * as it is, and its holder is named.  A byte that came with a parity or framing error
 * stands there as FF.  The meter of the recording is called `line`.
 */
#ifndef TALLY_LISTEN_H
#define TALLY_LISTEN_H

#define LISTEN_SECONDS 10

/* PORT as in a meter's section; SETTINGS: `9600 8N1`, then, where they are not the usual
 * ones, flow (hardware, software), dtr=on, dtr=off, rts=on, rts=off.  Ends after
 * LISTEN_SECONDS, at SIGTERM or SIGINT, when the line goes, or when nobody reads.
 * Returns the exit status: 0, or 2 with a word on standard error where the line cannot
 * be had. */
int listen_run(const char *port, const char *settings);

#endif

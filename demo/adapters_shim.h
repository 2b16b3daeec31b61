/* SPDX-License-Identifier: MIT */
/*
 * The shim of demo/adapters, for a test that links it in instead of preloading it
 * (see adapters_shim.c).
 */
#ifndef TALLY_DEMO_ADAPTERS_SHIM_H
#define TALLY_DEMO_ADAPTERS_SHIM_H

/*
 * Say which pseudo-terminals stand in for which adapters, in place of what was
 * said before: lines of NODE=PTY[,VID:PID[:SERIAL]].  "" takes all away.  Returns
 * the number understood, -1 where a line is wrong (then nothing stands in).
 * Not while another thread opens files.
 */
int adapters_setup(const char *spec);

/* How often a modem line (TIOCMSET, TIOCMBIS, TIOCMBIC) of any node really
 * changed since adapters_setup. */
int adapters_line_changes(void);

#endif

/* SPDX-License-Identifier: MIT */
/*
 * Between the files of a meter: meter.c (its states and what comes in), meter_setup.c (to its
 * first query) and meter_ask.c (query and answer, out of step and back).  Nobody else reads it.
 */
#ifndef TALLY_METER_PARTS_H
#define TALLY_METER_PARTS_H

#include "daemon/meter.h"

/* An error queue that never empties is cut here: it is a meter out of order. */
#define ERRORS_READ_MAX 20

/* A cell of the table in meter.c; `u` is what came, NULL where only time passed. */
typedef void action(struct meter *m, const struct understood *u);

/* ---- meter.c ---- */

void meter_changed(struct meter *m);
void meter_go(struct meter *m, enum meter_state state, int64_t deadline);
void meter_send_line(struct meter *m, const char *command);
void meter_send_identify(struct meter *m);
void meter_set_why(struct meter *m, const char *why);
void meter_say_silence(struct meter *m, bool silent);
const char *meter_query_of(const struct meter *m);
void meter_set_function(struct meter *m, enum function f);
void meter_shaken(struct meter *m);
void meter_take_readings(struct meter *m, const struct understood *u);
action meter_deliver, meter_keep_identity;

/* ---- meter_setup.c ---- */

void meter_begin_setup(struct meter *m);
void meter_ask_function(struct meter *m);
void meter_learnt(struct meter *m, enum function f);
action meter_quiet_over, meter_identify_again, meter_identified, meter_keep_words;
action meter_setup_error, meter_setup_silent, meter_setup_garbled;
action meter_learn_other, meter_learn_refused, meter_learn_garbled, meter_learn_silent;

/* ---- meter_ask.c ---- */

void meter_ask_soon(struct meter *m);
void meter_out_of_step(struct meter *m, const char *asked);
action meter_ask, meter_answer, meter_answer_garbled, meter_check_error, meter_check_over;
action meter_overdue, meter_resync_again, meter_in_step_again, meter_drain_more, meter_drain_over;

#endif

/* SPDX-License-Identifier: MIT */
/*
 * The functions behind the verbs, one each; the table in command_table.c names them.
 */
#ifndef TALLY_CLIENT_COMMAND_CALLS_H
#define TALLY_CLIENT_COMMAND_CALLS_H

#include "client/client.h"

/* command_meter.c */
enum outcome call_meters(struct client *c);
enum outcome call_meters_raw(struct client *c);
enum outcome call_meters_tape(struct client *c);
/* command_refer.c */
enum outcome call_meters_check(struct client *c);
enum outcome call_offset(struct client *c);
/* command_job.c */
enum outcome call_job_start(struct client *c);
enum outcome call_job_list(struct client *c);
enum outcome call_job_show(struct client *c);
enum outcome call_job_close(struct client *c);
enum outcome call_job_live(struct client *c);
enum outcome call_job_cold(struct client *c);
/* command_note.c */
enum outcome call_note(struct client *c);
enum outcome call_notes(struct client *c);
enum outcome call_photos(struct client *c);
/* command_again.c */
/* What was measured in an earlier job, beside this one: of all positions or one. */
enum outcome call_beside(struct client *c, const char *position, const char *beside);
/* The same where the job that is meant was begun again; else nothing. */
void say_beside(struct client *c, const char *position);
/* The same of one position in a line or two, where its job was begun again; else nothing. */
void say_before(struct client *c, struct slice chosen);
/* command_unit.c */
enum outcome call_job_set(struct client *c);
enum outcome call_job_ready(struct client *c);
enum outcome call_job_fitted(struct client *c);
/* command_try.c */
enum outcome call_meters_try(struct client *c);
/* command_doctor.c */
enum outcome call_doctor(struct client *c);
/* command_sheet.c */
enum outcome call_sheet_load(struct client *c);
enum outcome call_sheet_set(struct client *c);
/* After a field such as nominal=4k7 or marking=... was set: does the twin lack its own?  Said. */
void sheet_twin_say(struct client *c, const char *position, const char *field);
enum outcome call_sheet_show(struct client *c);
/* command_screen.c */
enum outcome call_bench(struct client *c);
/* Read all of a file, "-" for standard input; at most what one line of the wire
 * takes.  NULL with the fault. */
char *sheet_text_read(const char *name, size_t *len, struct fault *why);

/* "+100" or "100", by which the numbers of the other channel are raised; false for what is none. */
bool raise_read(const char *word, size_t len, int *by);

struct sheet_map;
/* Every fault of a sheet that is refused, on standard error, the first twenty; how many there
 * are, 0 where the sheet alone is good, or has no fault at the place of `said` (which the
 * daemon said, or NULL): then nothing was written. */
int sheet_faults_say(struct client *c, const char *name, const char *text, size_t len,
                     const struct sheet_map *map, const struct fault *said);

/* The words key=value from `first` on, as an object; NULL where one is wrong, which was
 * said. */
json_t *sheet_fields_read(struct client *c, int first);

/* command_fit.c */
enum outcome call_sheet_fit(struct client *c);
enum outcome call_sheet_rename(struct client *c);
enum outcome call_sheet_twins(struct client *c);
enum outcome call_at_new(struct client *c);
/* command_add.c */
enum outcome call_sheet_add(struct client *c);
/* command_typed.c: at a terminal, line by line. */
enum outcome sheet_add_typed(struct client *c);
/* command_lines.c */
enum outcome call_sheet_mirror(struct client *c);
/* Begin a job with the sheet of another one. */
enum outcome job_start_like(struct client *c, const char *name, const char *like, bool again);
/* command_service.c */
enum outcome call_status(struct client *c);
enum outcome call_reload(struct client *c);
/* command_bench.c */
enum outcome call_at(struct client *c);
enum outcome call_reach(struct client *c);
enum outcome call_condition(struct client *c);
enum outcome call_walk(struct client *c);
enum outcome call_next(struct client *c);
enum outcome call_back(struct client *c);
enum outcome call_again(struct client *c);
/* command_pedal.c, command_choose.c */
enum outcome call_pedal(struct client *c);
enum outcome call_pedal_choose(struct client *c);
enum outcome call_pedal_forget(struct client *c);
enum outcome call_pedal_test(struct client *c);
/* command_entry.c */
enum outcome call_take(struct client *c);
enum outcome call_there(struct client *c);
enum outcome call_move(struct client *c);
enum outcome call_undo(struct client *c);
enum outcome call_enter(struct client *c);
enum outcome call_entries(struct client *c);
enum outcome call_strike(struct client *c);
enum outcome call_compare(struct client *c);
/* command_plan.c */
/* The plan with all its pages as one object; the caller frees `whole`.  `params` is taken. */
enum outcome plan_ask(struct client *c, json_t *params, struct lines *whole);
enum outcome call_plan(struct client *c);
enum outcome call_plan_order(struct client *c);
enum outcome call_plan_recheck(struct client *c);
enum outcome call_places(struct client *c);
/* command_watch.c */
enum outcome call_watch(struct client *c);
/* command_trail.c */
enum outcome call_trail(struct client *c);
/* command_report.c */
enum outcome call_report(struct client *c);
/* command_sound.c */
enum outcome call_sound_check(struct client *c);
/* command_guide.c */
enum outcome call_leak(struct client *c);
enum outcome call_reform(struct client *c);
enum outcome call_rise(struct client *c);
enum outcome call_tune(struct client *c);
enum outcome call_lot(struct client *c);
enum outcome call_go(struct client *c);
enum outcome call_leave(struct client *c);
/* command_verify.c */
enum outcome call_verify(struct client *c);
enum outcome call_backup(struct client *c);
/* command_export.c */
enum outcome call_export(struct client *c);
/* command_restore.c */
enum outcome call_restore(struct client *c);
/* command_judge.c */
enum outcome call_judge(struct client *c);
/* Without any unit the prefix tells, as on a schematic: 470k and 4R7 are resistors, 470n and 22u
 * capacitors; FUNCTION_NONE where it does not. */
enum function function_by_prefix(const char *nominal);
/* command_hand.c */
/* A resistor or capacitor as it is written or marked: 100k, 0.1u, 104K, brown black yellow. */
bool part_parse(const char *word, enum function f, struct decimal *out, struct fault *why);
enum outcome call_marking(struct client *c);
enum outcome call_preferred(struct client *c);
enum outcome call_corner(struct client *c);
/* command_help.c */
enum outcome call_help(struct client *c);
enum outcome call_complete(struct client *c);

#endif

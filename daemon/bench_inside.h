/* SPDX-License-Identifier: MIT */
/*
 * What the files of the bench do for each other, and for nobody else:
 *
 *   bench.c         inputs in, timers, the way of a reading
 *   bench_log.c     events, drafts to the log and what comes back
 *   bench_walk.c    which position is up, and when the next one is
 *   bench_position.c the positions by name, and what was made of each
 *   bench_capture.c from a settled value to an entry
 *   bench_judge.c   uncertainty and verdicts of one
 *   bench_take.c    the same by key
 *   bench_second.c  the second value of a pair
 *   bench_shows.c   which quantities of a part the walk asks for
 *   bench_way.c     the order of the walk
 *   bench_go.c      walking, skipping and coming back
 *   bench_choose.c  choosing position, quantity, condition, reach
 *   bench_desk.c    the walk is taken up again after a restart
 *   bench_bind.c    meters that are held to a position
 *   bench_valve.c   valves by their own number, as they move between sockets
 *   bench_unit.c    which unit it is, what is fitted again, photos of it
 *   bench_safe.c    cold and live
 *   bench_guard.c   the watch over a unit that is cold, or about to be
 *   bench_guide*.c  guided runs (bench_guide.h); bench_guide_plan.c what they need to know
 *   bench_speech.c  whether the name of what is up was said
 *   bench_job.c     jobs, notes, strikes, typed entries
 *   bench_move.c    entries that belong elsewhere
 *   bench_errand.c  a touch that is no entry: lead offset, meter check
 *   bench_beside.c  what an entry is judged beside: its twin, swapped leads, limits of use
 *   bench_refer.c   which offset and check an entry refers to
 *   bench_cross.c   two meters that disagree about a part
 *   bench_sheet.c   the sheet, and judging anew where it changes
 *   bench_lines.c   the sheet as it is typed
 *   bench_set.c     fields of one position, or of many that are alike
 *   bench_records.c records that belong together, and what they make of verdicts
 *   bench_fit.c     what is fitted now, and by whose specification it is judged
 *   bench_rename.c  another name for a position
 *   bench_new.c     positions without a schematic: the next name, kinds that are learnt
 *   bench_twins.c   twins proposed by equal value
 *   bench_act_sheet.c  all that as a recording says it
 *   bench_restore.c reading all of that back from the log
 *   bench_act.c     what a recording says the person did
 *   bench_reload.c  another configuration while it works
 *   bench_look.c    status, meters and live values as JSON
 *   trail.c         runs of readings
 */
#ifndef TALLY_BENCH_INSIDE_H
#define TALLY_BENCH_INSIDE_H

#include "daemon/bench_state.h"

/* bench_desk.c */
#define BENCH_SAVE_US INT64_C(1000000) /* open runs and desk are saved so long after a change */
void desk_changed(struct bench *b);
/* The desk as a JSON text where it changed since the last call, else NULL; in b->body2. */
const char *desk_left(struct bench *b);

/* bench_log.c */
/* Tell people: pairs of key and value (strings; seq is written as a number; a
 * NULL value is left out), then NULL. */
void bench_event(struct bench *b, const char *event, ...) __attribute__((sentinel));
/* Draft one record; run_of and runs as in log_append.  Returns the ticket, 0 with
 * *why where the log refused at once. */
uint64_t bench_append(struct bench *b, const char *kind, int64_t t, const struct text *body,
                      struct fault *why);
/* What is on its way to the disk; fields that do not matter are -1 and 0. */
struct pending bench_pending(uint64_t ticket, struct bench_wait w);
bool bench_pend(struct bench *b, struct pending p);
/* The same as bench_put, of a record that says how job or sheet stand. */
bool bench_put_job(struct bench *b, const char *kind, int64_t t, const struct text *body,
                   struct bench_wait w, struct fault *why);
/* One record, one waiter: the common case. */
bool bench_put(struct bench *b, const char *kind, int64_t t, const struct text *body,
               struct bench_wait w, struct fault *why);
void bench_end_run(struct bench *b, struct bench_meter *m);
/* The open run went to the log under this ticket. */
void bench_pend_run(struct bench *b, struct bench_meter *m, uint64_t ticket);
/* A gap record; `lost` readings are known to be missing, -1: nobody knows. */
void bench_gap(struct bench *b, struct bench_meter *m, int64_t from, int64_t to,
               const char *cause, int64_t lost);
void bench_seal_spoilt(struct bench *b, struct bench_meter *m); /* bad frames, if any wait */
void bench_save_open_runs(struct bench *b);
/* bench_act.c: an act, for tapes. */
void bench_taped(struct bench *b, int64_t t, const char *act, const char *format, ...)
    __attribute__((format(printf, 4, 5)));
bool bench_reach_set(struct bench *b, int64_t t, enum reach reach, struct fault *why);
/* bench.c: when this meter has to be looked at next. */
void bench_timers(struct bench_meter *m);
/* The meter at index i of the configuration begins; `again`: its place in the bench is another
 * one's with the same name, which went away (bench_reload.c). */
void bench_meter_begin(struct bench *b, int i, bool again);
/* Its line or itself is away: what was touched counts as lifted. */
void bench_away(struct bench *b, struct bench_meter *m, int64_t t, const char *cause);
/* A record of what it is now. */
void bench_meter_said(struct bench *b, struct bench_meter *m);
bool bench_grow(void **array, int count, int *size, size_t each);

/* bench_position.c */
int position_find(const struct bench *b, const char *name);
/* The same, and R12 where r12 was typed and is not there. */
int position_meant(const struct bench *b, const char *name);
bool position_add(struct bench *b, const struct sheet_row *row); /* or another row for it */
void positions_clear(struct bench *b);
/* Another name, which no position has yet; its row is to follow. */
bool position_rename(struct bench *b, int place, const char *name);
/* Remember an entry; the caller has grown `made`.  Returns its index. */
int made_add(struct bench *b, const struct entry *e, uint64_t ticket, int choice);
bool made_room(struct bench *b);
enum quantity position_first_quantity(const struct position *p);
enum function position_function(const struct position *p, enum quantity q);
/* Are nominal and limits of the sheet about this quantity?  The first of its kind; and volts where
 * they are in volts, whatever its kind is asked for (`other,150 V`; a winding of 6.3 V AC). */
bool position_nominal_means(const struct position *p, enum quantity q);
/* Does a meter set to `f` measure quantity `q` here? */
bool position_takes(const struct position *p, enum quantity q, enum function f);

/* bench_sheet.c */
/* Rows that come into the sheet together, and how. */
struct sheet_batch {
	struct bench *b;
	struct sheet_row *row;
	enum position_change *change;
	int rows, size, changes;
};
bool batch_add(struct sheet_batch *batch, const struct sheet_row *row,
               enum position_change change, struct fault *why);
void batch_free(struct sheet_batch *batch);
/* One transaction; `file`: the sheet record of a file follows (NULL for none).  Then
 * they are the rows of their positions, and entries are judged anew. */
bool batch_put(struct sheet_batch *batch, int64_t t, const char *file, struct bench_wait w,
               struct fault *why);

const char *position_change_because(enum position_change change);
void position_write(struct bench *b, const struct sheet_row *row, enum position_change change,
                    struct text *body);

/* bench_records.c */
/* Records that go to the log together, as one transaction, and the entries that they judge
 * anew: so no reader, and no restart, ever sees the one without the other. */
struct records {
	struct log_draft *draft;
	int n, size;
	struct anew *anew;
	int anews, anew_size;
	bool failed;
};
void records_add(struct bench *b, struct records *r, int64_t t, const char *kind,
                 const struct text *body);
/* What the position at `place`, with that row and that fit (NULL for none), makes of its
 * entries: a rejudge for each that comes out otherwise.  `because` is kept. */
void records_rejudge(struct bench *b, struct records *r, int64_t t, int place,
                     const struct sheet_row *row, const struct position *fit, const char *because);
/* Hand them over; the record with index `answer` answers `w`.  Memory is the caller's to
 * change after that, but for the verdicts: records_judged. */
bool records_put(struct bench *b, struct records *r, int answer, struct bench_wait w,
                 struct fault *why);
void records_judged(struct bench *b, struct records *r, int64_t t);
void records_free(struct records *r);

/* bench_fit.c */
/* As it is now, in the condition that is chosen. */
const struct position *position_now(const struct bench *b, int place);
/* Judge it: `new` and `done` by what is fitted, all by the service limit of the place. */
void entry_judge_by(const struct position *sheet, const struct position *fit, struct entry *e);
void entry_judge_at(const struct bench *b, int place, struct entry *e);
void fit_free(struct bench_position *p);
/* The row is another: what its fit is with it. */
void fit_refresh(struct bench_position *p);
bool fit_check(const struct bench *b, int place, const struct sheet_row *row, struct fault *why);
bool fit_restore(struct bench *b, const char *text, size_t len);
/* A loose part of a lot comes there, with a note: the fit names its record. */
bool fit_part(struct bench *b, int64_t t, const char *position, const char *note,
              struct record_ref lot, struct fault *why);

/* bench_rename.c */
bool rename_restore(struct bench *b, const char *text, size_t len);

/* bench_new.c */
/* A position with the next name of that prefix (NULL or "": the one before); -1 refused. */
int place_new(struct bench *b, int64_t t, const char *prefix, struct fault *why);
/* A value of function `f` comes to that position: what it teaches of its kind.  The aim
 * with the quantity that it then is. */
struct aim place_learn(struct bench *b, int64_t t, struct aim aim, enum function f);
/* What was learnt from entries that do not count any more is forgotten. */
void place_unlearn(struct bench *b, int64_t t, int place);
bool prefix_valid(const char *prefix, struct fault *why);
bool former_add(struct bench *b, const char *name);
void new_restore(struct bench *b, const char *name); /* `at new` named it */

/* bench_act_sheet.c */
bool sheet_act_known(const char *act);
/* With t < 0 only looked at. */
bool sheet_act_run(struct bench *b, int64_t t, const char *act, const char *rest,
                   struct fault *why);
void sheet_act_taped(struct bench *b, int64_t t, const char *act, const char *position,
                     const char *const *key, const char *const *value, int fields);
void sheet_fits_taped(struct bench *b, int64_t t); /* what is fitted now, for a tape that begins */

/* bench_walk.c */
void walk_announce(struct bench *b); /* what is up, once more */
/* What a reading of this meter is for. */
struct aim walk_aim(const struct bench *b, const struct bench_meter *m);
void walk_expect(struct bench *b);           /* tell settle what is up */
void walk_on_meter(struct bench *b, struct bench_meter *m, int64_t t); /* arm, advance */
int64_t walk_deadline(const struct bench_meter *m);
void walk_go(struct bench *b, int next); /* the walk goes on to that place */
void walk_go_for(struct bench *b, int next, enum quantity q); /* ... for that quantity */
/* Has this choice brought what it was for? */
bool walk_served(const struct bench *b);
/* Nobody's next touch would be taken for the part before. */
bool walk_armed(const struct bench *b);
/* The person chose it. */
void walk_choose(struct bench *b, int place, enum quantity q);
void walk_first(struct bench *b); /* the first position that lacks something */
/* An entry came to nothing: its position is up again, if it was the walk's. */
void walk_back(struct bench *b, const struct entry *e);
void walk_made(struct bench *b); /* an entry came by hand: go on? */
/* It has lifted from the part that the walk had left before. */
void walk_lifted(struct bench *b, struct bench_meter *m);

/* bench_shows.c */
/* The quantities that a walk asks for at a place, in order; at least one. */
int shows_asked(const struct bench *b, int place, enum quantity out[PART_SHOWS_MAX]);
/* Is it not there yet, in the condition that is chosen, from as many meters as the walk wants? */
bool shows_lacks(const struct bench *b, int place, enum quantity q);
/* The first of them that lacks (and that a meter on `dial` gives, unless that is none);
 * else the first. */
enum quantity shows_next(const struct bench *b, int place, enum function dial);

/* The first that lacks and that some meter reads as its dial stands; else what is up. */
enum quantity shows_here(const struct bench *b, int place);
/* Said as the walk leaves a part: what it lacks that no walk asks for, and what to use
 * instead (event `missing`).  And how many of the sheet are so, for its end; "" for none. */
void shows_say_missing(struct bench *b, int place);
void shows_missing_text(const struct bench *b, char *out, size_t size);

/* bench_second.c */
void second_keep(struct bench_meter *m, uint64_t ordinal, const struct reading *r);
/* The middle one of those that belong to a settled stretch, into the entry. */
void second_take(const struct bench_meter *m, const struct settle_result *r, struct entry *e);
/* Judge it by the limit that the sheet has for it. */
void second_judge(const struct position *p, struct entry *e);
/* Does the entry show that quantity, as its first value or its second? */
bool entry_shows(const struct entry *e, enum quantity q);

/* bench_way.c */
int walk_next(const struct bench *b, int from); /* -1: nothing more */
bool walk_lacks(const struct bench *b, int place);
bool walk_needs_lift(const struct bench *b, int place);
bool walk_wants(const struct bench *b, int place); /* lacks what this walk is for */
int way_meters_have(const struct bench *b, int place, enum quantity q);
void way_group(struct bench *b); /* the sheet or the order is another */
/* The next row after `from`, whatever it has; -1: there is no other. */
int way_next_row(const struct bench *b, int from);
void way_remember(struct bench *b, int place);
void way_taped(struct bench *b, int64_t t, const struct bench_way *way);
void way_forget(struct bench *b); /* another job: nothing skipped, nowhere to go back */
struct twins;
/* An entry in circuit against its twin's newest one there; false where none compares. */
bool way_twin(const struct bench *b, int place, const struct entry *e, struct twins *out);
/* Was the dial turned?  Before m->last is another. */
void way_dial(struct bench *b, struct bench_meter *m, const struct reading *r);

/* bench_safe.c */
/* May it measure that, as the unit is now? */
bool safe_allows(const struct bench *b, const struct bench_meter *m, enum function f,
                 const char *position, struct fault *why);
void safe_lead(struct bench *b); /* to the next reservoir that is to be measured dead */
int64_t safe_deadline(const struct bench *b);
void safe_due(struct bench *b);
void safe_made(struct bench *b, int place); /* an entry there is durable */
void safe_restore(struct bench *b, const struct job_body *job);
/* An entry was struck or moved to another position. */
void safe_unmade(struct bench *b, int64_t t, const struct entry *e);
bool position_is_listed(enum position_change change); /* by a sheet, and not as it is touched */
bool safe_was_dead(const struct bench *b, int place);
/* Its volts are what is wanted there now, whatever else it is measured for: job cold asks. */
bool safe_asks_volts(const struct bench *b, int place);
void safe_look(const struct bench *b, struct text *out); /* members of `status` */

/* bench_guard.c */
/* A reservoir is dead below this, with the meter's U.  Common practice, no source. */
#define DEAD_VOLTS 1.0
void guard_reading(struct bench *b, struct bench_meter *m, const struct reading *r);
void guard_away(struct bench *b, struct bench_meter *m);
void guard_holds(struct bench *b, int place, bool holds); /* volts that should be gone */
void guard_end(struct bench *b);
void guard_restore(struct bench *b, const char *text, size_t len);
void guard_look(const struct bench *b, struct text *out); /* the member `alarms` of status */

/* bench_valve.c */
#define VALVE_COLUMN "valve"
/* The valve that is in that socket, or of the part to which the position belongs; "". */
const char *valve_at(const struct bench *b, int place);
bool valve_set(struct sheet_row *row, const char *value, struct fault *why);
/* The first row of the batch was given that number: what the others have then. */
bool valve_follow(struct sheet_batch *batch, int at, const char *value, struct fault *why);
/* ... and of all rows that were typed. */
bool valves_typed(struct sheet_batch *batch, struct fault *why);

void guard_alarm(struct bench *b, const char *alarm, const char *meter, const char *position,
                 bool on, const char *text);

/* bench_guide*.c */
/* The guided run that holds this meter, NULL for none. */
struct bench_guide *guide_of_meter(const struct bench *b, const struct bench_meter *m);
/* Does the newest one wait for the person, so that `take` means it? */
bool guide_wants_hand(const struct bench *b);
/* The entry of that seq was struck: a run that rests on it lacks it again, and goes a step back.
 * False: it is no run's. */
bool guide_undone(struct bench *b, int64_t t, int64_t seq);
/* The same, and no walk goes on whose `next` and `again` the hand could mean: *why says so. */
bool guide_waits_alone(const struct bench *b, struct fault *why);
void guide_say_again(struct bench *b); /* what the newest one asks for */
/* Volts at this meter are no surprise on a cold unit: its part is out of the circuit. */
bool guide_expects_volts(const struct bench *b, const struct bench_meter *m);
/* The beginning of the run whose step takes this meter's value right now. */
struct record_ref guide_taking(const struct bench *b, const struct bench_meter *m);
void guide_reading(struct bench *b, struct bench_meter *m, const struct reading *r, bool settled);
bool guide_settled(struct bench *b, struct bench_meter *m); /* it is a guided run's */
void guide_away(struct bench *b, struct bench_meter *m);
void guides_clear(struct bench *b);
bool guide_restore(struct bench *b, int64_t seq, const char *text, size_t len);
void guides_alarms(const struct bench *b, struct text *out, bool first);

/* bench_bind.c */
bool bind_restore(struct bench *b, const char *text, size_t len);

/* bench_speech.c */
void name_to_say(struct bench *b); /* another position is up */
bool name_was_said(const struct bench *b);
int64_t name_deadline(const struct bench *b);
void name_is_late(struct bench *b); /* the deadline has passed */

/* bench_errand.c */
/* The touch that settled is for an errand of this meter: true where that took it. */
bool errand_settled(struct bench *b, struct bench_meter *m, int64_t t);
/* One more reading came. */
void errand_reading(struct bench *b, struct bench_meter *m, int64_t t);
/* Time has passed. */
void errand_late(struct bench *b, struct bench_meter *m, int64_t t);
int64_t errand_deadline(const struct bench_meter *m);
void errand_drop(struct bench *b, struct bench_meter *m, const char *why);

/* bench_refer.c */
bool backing_room(struct bench *b);
enum errand backing_offset(enum function f);
bool backing_restore(struct bench *b, const char *kind, const char *text, size_t len);
/* The log has it as `seq`, or (0) refused it. */
void backing_heard(struct bench *b, struct backing *k, int64_t seq);
bool backing_strike(struct bench *b, int64_t t, int backing, const char *because,
                    struct bench_wait w, struct fault *why);
void backing_unstrike(struct bench *b, int backing);
int backing_find(const struct bench *b, int64_t seq); /* -1: none */
/* The newest that counts for what this meter reads, NULL for none. */
const struct backing *backing_for(const struct bench *b, enum errand what, const char *meter,
                                  enum function f, int64_t utc);
/* Take the lead offset off the value, and say which offset and check stand behind it. */
void entry_refer(const struct bench *b, struct entry *e);
/* The same for an entry that has its references: do they still count? */
void entry_refer_again(const struct bench *b, struct entry *e);

/* bench_beside.c */
/* What the entry is judged beside, in circuit: the value before the leads were swapped,
 * and its twin's. */
void entry_beside(const struct bench *b, int place, struct entry *e);
/* bench_cross.c: an entry is durable; where another meter's of the same part disagrees, say so. */
void cross_durable(struct bench *b, const struct entry *e);
/* What of it bears on a verdict; before and after judge(). */
void beside_judgement(const struct position *p, const struct entry *e, struct judgement *j);
void beside_verdict(const struct position *p, const struct entry *e, struct verdict *v);

/* bench_move.c */
void move_revert(struct bench *b, int made, const char *was_at);
bool move_word_valid(const char *word);
void move_apply(struct bench *b, int made, const char *position);
bool move_undo(struct bench *b, int64_t t, int64_t deed, struct bench_wait w, struct fault *why);

/* bench_capture.c */
/* A value on its way to become an entry. */
struct capture {
	struct aim aim;
	const struct settle_result *r;
	const struct meter_frames *frames;
	bool open; /* taken by key while the leads read open, so nothing showed a lift */
	struct decimal frequency; /* of the signal, as the person said; n 0: not */
};
/* May what this meter reads be logged there at all? */
bool capture_suits(const struct bench *b, const struct bench_meter *m, struct aim aim,
                   enum function f, struct fault *why);
bool capture_entry(struct bench *b, struct bench_meter *m, int64_t t, const struct capture *c,
                   struct bench_wait w, struct fault *why);
/* What a settled value is, whatever it is for. */
void capture_fill(const struct bench *b, const struct bench_meter *m, int64_t t,
                  const struct settle_result *r, struct entry *e);
/* Where its readings stand, for a record that capture_put hands over next. */
void capture_trail(struct bench *b, const struct bench_meter *m, const struct settle_result *r,
                   struct entry_beside *beside);
/* The open run and the record, as one transaction.  The record's ticket, 0: refused. */
uint64_t capture_put(struct bench *b, struct bench_meter *m, int64_t t, const char *kind,
                     const struct text *body, struct fault *why);
/* A meter in a mode in which it does not show what it measures: said, once. */
void capture_mode(struct bench *b, struct bench_meter *m, const struct reading *r);
void capture_refuse(struct bench *b, const struct bench_meter *m, int place, const char *why);
void capture_settled(struct bench *b, struct bench_meter *m, int64_t t);
void capture_doubt(struct bench *b, struct bench_meter *m, int64_t t);
/* The person chose a position: what waits and fits it goes there, and so does what
 * settled while none was chosen. */
void capture_chosen(struct bench *b, int64_t t, int place, enum quantity q);
void capture_failed(struct bench *b, struct made *made, const char *why);

/* bench_judge.c */
void entry_shown(const struct entry *e, char *out, size_t size);
/* The kind of meter by which an accuracy is assumed where none is configured: by the counts that were
 * seen of its display. */
enum meter_class meter_kind(const struct bench_meter *m);
void meter_kind_seen(struct bench_meter *m, struct decimal value);
/* The uncertainty without an offset; true: the accuracy had to be assumed. */
bool entry_uncertainty(const struct bench_meter *m, const struct settle_result *r,
                       struct entry *e);
/* Both verdicts, by the position that the entry is judged by. */
void entry_judge(const struct position *p, struct entry *e);
/* As the sheet says, else as practice does; false where neither does. */
bool position_limits(const struct position *p, struct limits *out);

/* bench_look.c */
/* "ohm 0.5% + 2; farad below 10 nF 2% + 10"; "" where none is given. */
void accuracy_text(const struct accuracy *a, char *out, size_t size);

/* bench_job.c */
bool job_need(struct bench *b, int64_t t, struct fault *why); /* start one if none is open */
void job_clear(struct bench *b);
int job_place(struct bench *b, int64_t t, const char *name, struct fault *why);
void job_leave(struct bench *b);
int made_find(const struct bench *b, int64_t seq);
/* Seal the rejudge records that are owed, as far as the log takes them. */
void job_rejudge_owed(struct bench *b, int64_t t);
/* Judge an entry anew; where the verdict is another, a record of that is owed. */
void job_judge_anew(struct bench *b, int made, const char *because);
void rejudge_write(struct bench *b, const struct entry *e, const char *because, struct text *body);
bool judged_same(const struct entry *a, const struct entry *b); /* all of its verdicts */
/* What is in memory may not be what the log has: the log is right. */
void job_read_back(struct bench *b);
/* The record that `of` does not count, and of which position it was; its ticket, 0 with
 * *why where the log refused. */
uint64_t job_put_strike(struct bench *b, int64_t t, int64_t of, const char *position,
                        const char *because, struct fault *why);
/* A job record of the state as it stands (nothing where no job is open). */
bool job_put(struct bench *b, int64_t t, enum job_change change, struct bench_wait w,
             struct fault *why);

#endif

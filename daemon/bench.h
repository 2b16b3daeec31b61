/* SPDX-License-Identifier: MIT */
/*
 * The bench: meters, the job on it, and what the person does.  The heart.
 *
 *     bytes --> meter --> reading --> settle --> judge --> log
 *                                       ^
 *                     what the person chose (at, walk, take ...)
 *
 * Everything that happens comes in as a call with a time, in order of time;
 * what comes out are records (to the log), events for people, and bytes for the
 * lines of asked meters.  The bench has no clock and opens nothing: live and
 * replay are the same code, driven by a uv loop or by a recording.
 *
 * Time is stream time: microseconds since the run began, never falling.  Before
 * each input the caller runs the timers that are due (bench_run_until does it).
 *
 * Threads: all calls from one thread.  The log has its own; its results come
 * back through bench_collect.
 */
#ifndef TALLY_BENCH_H
#define TALLY_BENCH_H

#include "daemon/config.h"
#include "daemon/log.h"
#include "daemon/meter.h"
#include "daemon/photo.h"
#include "protocol/record/sheet_map.h"
#include "protocol/record/text.h"
#include "protocol/trade/entry.h"

struct bench;

struct bench_hooks {
	/* Bytes for the line of a meter; NULL in a replay. */
	void (*send)(void *arg, const char *meter, const char *bytes, size_t len);
	/* For people: a JSON object text (protocol/WIRE.md, events).  May be NULL. */
	void (*event)(void *arg, const char *json);
	/* A frame and what was understood of it, for `meters raw`.  May be NULL. */
	void (*frame)(void *arg, const char *meter, const struct frame *f,
	              const struct understood *u);
	/* What belongs on a tape and did not come from a line: an act.  May be NULL. */
	void (*act)(void *arg, const char *meter, int64_t t, const char *act, const char *rest);
	/* Every record as it becomes durable.  May be NULL. */
	void (*record)(void *arg, int64_t seq, const char *text, size_t len);
	void *arg;
};

struct bench_options {
	const struct config *config; /* kept; must outlive the bench */
	struct log *log;             /* kept */
	struct bench_hooks hooks;
	bool replay;
	int64_t utc;        /* us since 1970 at stream time 0 */
	const char *boot;   /* boot id, for the clock record */
	const char *version;
};

/* How a call that waits for the disk ends.  Exactly one call of done() follows
 * each bench function that was given one and returned true. */
struct bench_outcome {
	bool durable;
	int64_t seq;        /* of the record that answers the call */
	const char *record; /* its text; valid during the call */
	size_t len;
	const char *why;    /* not durable: for people */
	bool refused;       /* by the bench, later: nothing was given to the log */
};
struct bench_wait {
	void (*done)(void *arg, const struct bench_outcome *o); /* NULL: nobody waits */
	void *arg;
};

struct bench *bench_open(const struct bench_options *options, struct fault *why);
/* Read the newest open job back from the log.  Before any other input. */
bool bench_restore(struct bench *b, struct log_reader *reader, struct fault *why);
/* After bench_restore: the walk that went when the daemon ended goes on, at its position, if
 * its job is open still.  It arms when a client has read what is up (bench_seen), a
 * meter when its leads were open.  Without it nothing is up (a replay). */
void bench_resume(struct bench *b, struct log_reader *reader);
/* Seal what is open; the log still has to be closed by its owner. */
void bench_finish(struct bench *b, int64_t t);
void bench_free(struct bench *b);

/* Was the last refusal of a call the log's (NOT LOGGED), not the bench's? */
bool bench_log_refused(const struct bench *b);

/* ---- time ---- */
int64_t bench_deadline(const struct bench *b); /* INT64_MAX for none */
void bench_run_until(struct bench *b, int64_t t);
/* UTC at stream time 0 was found to be another: a clock record follows. */
void bench_clock(struct bench *b, int64_t t, int64_t utc);
/* The machine slept for so long (us), while stream time stood still: a gap for every meter that
 * was read, and a clock record. */
void bench_slept(struct bench *b, int64_t t, int64_t slept);

/* ---- lines ---- */
int bench_meter_index(const struct bench *b, const char *name); /* -1: none */
void bench_line_opened(struct bench *b, int64_t t, int meter);
void bench_line_bytes(struct bench *b, int64_t t, int meter, const char *bytes, size_t len);
/* A byte with a parity or framing error: its frame is void. */
void bench_line_bad_byte(struct bench *b, int64_t t, int meter);
void bench_line_gone(struct bench *b, int64_t t, int meter, const char *cause);
/* Why the line cannot be opened.  refused: it is there and cannot be had (busy, no
 * right, two that fit), which is said to everyone; else it is only absent. */
void bench_line_trouble(struct bench *b, int64_t t, int meter, bool refused, const char *why);

/* The configuration is another from here on, and the old one is not looked at any more.  Meters
 * whose section is the same (config_compare.h) go on in the middle of a frame; the lines of
 * the others must be closed before.  Indices are those of the new one.  False (no memory):
 * nothing changed. */
bool bench_reload(struct bench *b, int64_t t, const struct config *now, struct fault *why);
/* Asked before any line is closed: false where a meter that would begin anew watches in a
 * guided run. */
bool bench_may_reload(const struct bench *b, const struct config *now, struct fault *why);

/* ---- the person ---- */
/* Whose process asks: the records that calls make say so, until bench_by_nobody.  What
 * is due at `t` is done before, for nobody asked for that. */
void bench_by(struct bench *b, int64_t t, unsigned uid);
void bench_by_nobody(struct bench *b);
/* All return false with *why where the call is refused; nothing changed then. */
bool bench_job_start(struct bench *b, int64_t t, const char *name, struct bench_wait w,
                     struct fault *why);
/* The same unit came back: `again` is the job of then. */
bool bench_job_again(struct bench *b, int64_t t, const char *name, const char *again,
                     struct bench_wait w, struct fault *why);
/* Which unit it is, as cells: protocol/record/job_kinds.h.  An empty value takes one away. */
bool bench_identity(struct bench *b, int64_t t, const char *const *key, const char *const *value,
                    int cells, struct bench_wait w, struct fault *why);
/* Legs that were up are back, and a part that was new is in its place: the person has looked.
 * `positions`: names, ranges (R1-R6) and parts, parted by spaces or commas. */
bool bench_fitted(struct bench *b, int64_t t, const char *positions, struct bench_wait w,
                  struct fault *why);
bool bench_job_close(struct bench *b, int64_t t, struct bench_wait w, struct fault *why);
/* Live, or to be cold: at once where every reservoir of the sheet was measured dead twice
 * since it was live (or there is none, or `because` says why it is: that is kept); else the
 * reservoirs are asked for, and it is cold when they are (bench_safe.c). */
bool bench_job_state(struct bench *b, int64_t t, bool live, const char *because,
                     struct bench_wait w, struct fault *why);
bool bench_sheet_load(struct bench *b, int64_t t, const char *file, const char *text, size_t len,
                      const char *job, struct bench_wait w, struct fault *why);
/* The same for a sheet or a parts list with a map of its headings (NULL for none);
 * `taken`: what became of the columns (NULL: nobody asks), set before anything is done. */
bool bench_sheet_load_mapped(struct bench *b, int64_t t, const char *file, const char *text,
                             size_t len, const char *job, const struct sheet_map *map,
                             struct sheet_taken *taken, struct bench_wait w, struct fault *why);
/* `position`: a name, or many (R1-R6,R9) of which each is in the sheet (bench_set.c). */
bool bench_sheet_set(struct bench *b, int64_t t, const char *position, const char *const *key,
                     const char *const *value, int fields, struct bench_wait w, struct fault *why);

/* Is there such a position to set?  Asked for a person, whose slip would make a new one; many
 * names (R1-R6) and no names at all are left to bench_sheet_set. */
bool bench_sheet_known(struct bench *b, int64_t t, const char *position, struct fault *why);
/* May a note or a moved entry make a position of that name?  Not in a job with a written sheet
 * (loaded, typed or mirrored): there it is a slip.  Asked for a person, like the above. */
bool bench_sheet_may_name(struct bench *b, int64_t t, const char *position, struct fault *why);
/* Lines as a technician types them (protocol/record/sheet_entry.h), parted by LF, or rows
 * below their headings as a spreadsheet copies them (sheet_is_header): all of them or none.
 * A position that is there is refused, unless it was only named. */
bool bench_sheet_add(struct bench *b, int64_t t, const char *text, size_t len,
                     struct bench_wait w, struct fault *why);
/* What would become of them: the number of positions, and each() for every fault, in the
 * order of the lines, each with line and column.  Nothing is changed. */
int bench_sheet_try(struct bench *b, int64_t t, const char *text, size_t len,
                    void (*each)(void *arg, const struct fault *why), void *arg);
/* The positions of `range` (names and ranges, or `all`; `all except R5,C7`) once more in the other channel,
 * their numbers raised by `by`; each is then the twin of the one that it came from. */
bool bench_sheet_mirror(struct bench *b, int64_t t, const char *range, int by,
                        struct bench_wait w, struct fault *why);
/* What is fitted there, where it is another part than the sheet says (protocol/record/fit.h);
 * cells that are not named stay as they are.  No fields, or none left: it is taken back.
 * Entries of condition new and done are judged anew. */
bool bench_sheet_fit(struct bench *b, int64_t t, const char *position, const char *const *key,
                     const char *const *value, int fields, struct bench_wait w, struct fault *why);
/* Another name: entries and notes belong to it from then on, and positions that name the
 * old one name it. */
bool bench_sheet_rename(struct bench *b, int64_t t, const char *from, const char *to,
                        struct bench_wait w, struct fault *why);
/* The next position of a strip, named and chosen: prefix and the number after the highest
 * that the job ever had with it.  prefix NULL or "": as last time, "N" at first. */
bool bench_at_new(struct bench *b, int64_t t, const char *prefix, struct fault *why);
/* Twins by equal value, where the sheet names none (bench_twins.c).  accept: those of the
 * proposals that are the only ones of their value are made twins; with `positions` (names
 * parted by spaces or commas) the ones in which these stand, sure or not. */
void bench_twins(const struct bench *b, struct text *out);
bool bench_twins_accept(struct bench *b, int64_t t, const char *positions, struct bench_wait w,
                        struct fault *why);
/* quantity: -1 for what the kind asks first.  meter: NULL chooses for all that
 * are not bound; a name binds that meter; position NULL with a meter frees it. */
bool bench_at(struct bench *b, int64_t t, const char *position, int quantity, const char *meter,
              struct fault *why);
/* The same for one meter; position NULL frees it.  A bind record. */
bool bench_bind(struct bench *b, int64_t t, const char *position, int quantity, const char *meter,
                struct bench_wait w, struct fault *why);
bool bench_quantity(struct bench *b, int64_t t, enum quantity q, struct fault *why);
/* What is up once more; where a meter waits for an offset or a check, that is called off
 * instead, and nothing else.  swapped: with the leads changed over (in circuit; see
 * bench_beside.c). */
bool bench_again(struct bench *b, int64_t t, bool swapped, struct fault *why);
/* These wait for a record only where a job is open and it changes; else done() is
 * called at once, with seq 0. */
bool bench_reach(struct bench *b, int64_t t, enum reach reach, struct bench_wait w,
                 struct fault *why);
const char *bench_reach_word(const struct bench *b); /* as it stands */
bool bench_condition(struct bench *b, int64_t t, enum condition condition, struct bench_wait w,
                     struct fault *why);

/* How the walk goes from position to position. */
enum walk_mode {
	WALK_OFF,
	WALK_ON,   /* to what lacks its first quantity in this condition */
	WALK_LIFT, /* to what needs a leg up, and lacks it (bench_way.c) */
	WALK_NEW,  /* to a new position each time, where there is no schematic */
};
enum walk_order { WALK_SHEET, WALK_KIND, WALK_CHANNEL };
struct bench_way {
	enum walk_mode mode;
	enum walk_order order;
	int meters; /* so many, one after the other, at each position (cross-check); at least 1 */
	char prefix[NAME_SIZE]; /* WALK_NEW: of its names; "": as last time */
};
#define WALK_METERS_MAX 8
const char *walk_mode_name(enum walk_mode m);
bool walk_mode_from_name(const char *name, enum walk_mode *out);
const char *walk_order_name(enum walk_order o);
bool walk_order_from_name(const char *name, enum walk_order *out);
/* `lift` takes the reach from in-circuit to lifted (a job record); leaving it takes it
 * back.  Beginning a walk takes back what was skipped. */
bool bench_walk(struct bench *b, int64_t t, const struct bench_way *way, struct fault *why);
/* Skip what is up: in a walk it comes up again at the end, and the touch that still
 * lasts makes nothing.  back: to what was up before. */
bool bench_next(struct bench *b, int64_t t, struct fault *why);
bool bench_back(struct bench *b, int64_t t, struct fault *why);
/* A held value goes to the position that it looks like; the one that was up stays. */
bool bench_there(struct bench *b, int64_t t, struct bench_wait w, struct fault *why);
/* A client that says names aloud is there, or no more. */
bool bench_speaks(struct bench *b, int64_t t, bool speaks, struct fault *why);
/* The name of the position that is up was said (up: its number in the event `up`, 0:
 * the one that is up now). */
bool bench_announced(struct bench *b, int64_t t, int64_t up, struct fault *why);
/* A client has read what is up: see bench_resume. */
void bench_seen(struct bench *b, int64_t t);
bool bench_take(struct bench *b, int64_t t, const char *meter, struct bench_wait w,
                struct fault *why);
/* The same with the frequency of the signal ("1 kHz"; NULL: not said): alternating volts or amps. */
bool bench_take_at(struct bench *b, int64_t t, const char *meter, const char *frequency,
                   struct bench_wait w, struct fault *why);
/* The same by a hand that names nobody, with the meter whose value it sees: it goes to the guided
 * run that waits for the hand, where there is one, else to that meter. */
bool bench_take_seen(struct bench *b, int64_t t, const char *seen, const char *frequency,
                     struct bench_wait w, struct fault *why);
bool bench_undo(struct bench *b, int64_t t, struct bench_wait w, struct fault *why);
bool bench_strike(struct bench *b, int64_t t, int64_t seq, const char *because,
                  struct bench_wait w, struct fault *why);
/* Entries of the open job belong to `position`.  `which`: words parted by spaces, each a
 * seq, a run of them (45-48: all entries in it that count), or ^N, the N-th last
 * entry of a meter (^1: the last one).  All of them or none; judged anew. */
bool bench_move(struct bench *b, int64_t t, const char *which, const char *position,
                const char *because, struct bench_wait w, struct fault *why);
/* The lead offset: the settled value of shorted leads (ohm) or open ones (farad), now
 * where it stands, else of the next touch within BENCH_ERRAND_SECONDS. */
#define BENCH_ERRAND_SECONDS 30
bool bench_offset(struct bench *b, int64_t t, bool open, const char *meter, struct bench_wait w,
                  struct fault *why);
/* The same against a reference part of the sheet. */
bool bench_check(struct bench *b, int64_t t, const char *meter, const char *position,
                 struct bench_wait w, struct fault *why);
bool bench_note(struct bench *b, int64_t t, const char *position, const char *text,
                struct bench_wait w, struct fault *why);
/* With a photo that is kept beside the log (daemon/photo.h), and what its file was called. */
bool bench_note_photo(struct bench *b, int64_t t, const char *position, const char *text,
                      const struct photo_kept *photo, const char *name, struct bench_wait w,
                      struct fault *why);

struct bench_typed {
	const char *position, *value, *from;
	int quantity;        /* -1: what the kind asks first */
	const char *u;       /* standard uncertainty as people write it, or NULL */
	const char *because; /* or NULL */
	const char *frequency; /* of alternating volts or amps, "1 kHz", or NULL */
};
bool bench_enter(struct bench *b, int64_t t, const struct bench_typed *typed, struct bench_wait w,
                 struct fault *why);

/* An act as a recording has it (without the @): the same calls by their words.
 * The fault's column counts from the start of `rest`. */
bool bench_act(struct bench *b, int64_t t, const char *act, const char *rest, struct fault *why);
/* Can it be one at all?  For checking a whole recording before it runs. */
bool bench_act_check(const struct bench *b, const char *act, const char *rest, struct fault *why);

/* A tape begins here: the acts that bring a bench to where this one is (job, fits, condition,
 * reach, what is up, walk, bindings) go to hooks.act.  The sheet does not, nor do the
 * entries that are there. */
void bench_tape_begins(struct bench *b, int64_t t);

/* ---- guided runs (protocol/guide/guide.h) ---- */
/* words: key=value, parted by spaces (bench_guide_words.c).  `which`: what it is of, or its
 * kind; NULL: the newest. */
bool bench_guide_start(struct bench *b, int64_t t, const char *kind, const char *of,
                       const char *words, struct bench_wait w, struct fault *why);
/* What the person was told to do is done: logs the value of the step, where it has one. */
bool bench_guide_go(struct bench *b, int64_t t, const char *which, struct bench_wait w,
                    struct fault *why);
bool bench_guide_back(struct bench *b, int64_t t, const char *which, struct bench_wait w,
                      struct fault *why);
bool bench_guide_leave(struct bench *b, int64_t t, const char *which, const char *because,
                       struct bench_wait w, struct fault *why);
/* One that was left goes on: from its cautions, for nobody knows how the unit stands now, with
 * what of it still counts (protocol/guide/guide.h, guide_again). */
bool bench_guide_resume(struct bench *b, int64_t t, const char *which, struct bench_wait w,
                        struct fault *why);
/* The kind of the one that resume would take up, "" for none; *words: what it was begun with. */
const char *bench_guide_left(const struct bench *b, const char *which, const char **words);
/* The steps as text, a line each; nothing is begun. */
bool bench_guide_dry(struct bench *b, const char *kind, const char *of, const char *words,
                     struct text *out, struct fault *why);
/* ,"guides":[...]: those that go on. */
void bench_guides(const struct bench *b, struct text *out);
/* ,"ear":{...}: what is heard of the newest `tune` now; nothing where there is nothing to hear
 * (no reading, an old one, overload, another step). */
void bench_ear(const struct bench *b, int64_t t, struct text *out);

/* ---- looking ---- */
/* JSON object texts as in protocol/WIRE.md (status, meters, live). */
void bench_status(const struct bench *b, struct text *out);
void bench_chosen(const struct bench *b, struct text *out);
/* ,"bound":[...]: which meters are held where. */
void bench_bindings(const struct bench *b, struct text *out);
void bench_meters(const struct bench *b, int64_t t, struct text *out);
void bench_live(const struct bench *b, int64_t t, struct text *out);

/* Results of the log: call when it said that some wait. */
void bench_collect(struct bench *b);

#endif

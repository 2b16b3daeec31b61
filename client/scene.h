/* SPDX-License-Identifier: MIT */
/*
 * What the screen knows of the bench: a plain state that messages change.
 *
 *     answers and notifications (JSON texts) --> scene --> view_bench.h --> picture
 *                                                  |
 *                                                  +--> happenings (sound, speech)
 *
 * Pure: every call is given the time (ms of any clock that never falls); nothing here
 * asks for it, and the same messages give the same scene.  The JSON must be valid.
 * Members that are missing leave things as unknown; nothing is made up.
 *
 * A value is shown only while it is known to stand: without a daemon, without a
 * fresh `live`, or where the daemon calls the meter stale, it is taken away.
 *
 * Bounds: what is beyond them is counted, not kept; an old message gives way.
 */
#ifndef TALLY_CLIENT_SCENE_H
#define TALLY_CLIENT_SCENE_H

#include "client/happening.h"
#include "client/words.h"
#include "protocol/trade/entry.h"
#include "protocol/trade/quantity.h"

#define SCENE_NAME 40
#define SCENE_TEXT 200
#define SCENE_METERS_MAX 16
#define SCENE_POSITIONS_MAX 1024
#define SCENE_ENTRIES_MAX 64
#define SCENE_TRAIL_MAX 128
#define SCENE_NOTES_MAX 16
#define SCENE_TOLD_MAX 32
#define SCENE_ALARMS_MAX 8
#define SCENE_READY_MAX 6000 /* bytes of what stands before the power; more is cut and said */
#define SCENE_WAITING_MAX 128

/* A `live` that is older is no longer now (it comes 20 times a second). */
#define SCENE_LIVE_MS 2000
/* A pitch without news for so long is silent: it would say that nothing moves. */
#define SCENE_EAR_MS 500
/* How long a refusal stands in block letters. */
#define SCENE_REFUSED_MS 6000
/* Danger that goes on is told again so often. */
#define SCENE_REMIND_MS 8000
/* "Still moves" looks back so far. */
#define SCENE_MOVES_MS 1000

struct scene_meter {
	char name[SCENE_NAME], state[SCENE_NAME], function[SCENE_NAME];
	char shown[SCENE_NAME * 2]; /* "" where there is no value that stands */
	char identity[SCENE_NAME * 2], why[SCENE_TEXT];
	double progress; /* of settling, 0 to 1 */
	bool touching, moving, stale;
	bool entered;  /* this touch has its entry */
	int64_t entry; /* ... of this number */
	char made[16]; /* ... or was for none, or has it no more: "OFFSET", "PASSED", "FAILED", "STRUCK" */
	char made_at[SCENE_NAME]; /* ... of which reference part */
	char bound[SCENE_NAME]; /* the position that it is bound to, "" */
	/* This touch: numeric displays as they changed, with their digit. */
	struct { int64_t at; struct decimal value; } trail[SCENE_TRAIL_MAX];
	int trail_count, trail_next;
};

struct scene_position {
	char name[SCENE_NAME], kind[SCENE_NAME], nominal[SCENE_NAME], tolerance[SCENE_NAME];
	char rated[SCENE_NAME], role[SCENE_TEXT / 2], twin[SCENE_NAME], channel[SCENE_NAME];
	char with[SCENE_NAME], note[SCENE_TEXT], function[SCENE_NAME];
	bool has_nominal, has_low, has_high;
	struct decimal low, high, nominal_value; /* of its value */
	int entries;      /* that are not struck */
	char verdict[12]; /* of the last one that counts, "" where there is none */
	bool lacks;       /* the walk wants something of it yet, as the daemon says */
	/* The last one that counts of each quantity, by condition: scene_last. */
	struct scene_last {
		int64_t seq; /* 0: none */
		char shown[SCENE_NAME], verdict[12];
		bool typed;
	} last[CONDITION_COUNT][QUANTITY_COUNT];
};

struct scene_entry {
	int64_t seq;
	char position[SCENE_NAME], quantity[16], shown[SCENE_NAME * 2], verdict[12], side[12];
	char meter[SCENE_NAME], deviation[SCENE_NAME * 2], remark[SCENE_TEXT];
	enum condition condition;
	bool struck;
	bool typed; /* from an instrument without a data line, whose name is `meter` */
};

enum scene_weight { SCENE_SAID, SCENE_GOOD, SCENE_WARNING, SCENE_BAD };
struct scene_note {
	int64_t at;     /* of the caller's clock */
	char time[12];  /* "10:00:03", "" where the daemon gave none */
	char text[SCENE_TEXT];
	enum scene_weight weight;
	bool told; /* a happening said the same */
	bool touch; /* asks for something about a touch: over with its entry */
	bool away; /* the daemon went away; bad until it is back */
};

/* Danger that goes on: it stands over everything until the daemon says that it is over. */
enum scene_danger {
	SCENE_DANGER_NONE,
	SCENE_DANGER_OTHER, /* one that a later daemon knows */
	SCENE_DANGER_HELD,  /* reservoirs that still hold volts */
	SCENE_DANGER_MAINS, /* a meter that is not isolated where that kills */
	SCENE_DANGER_LIVE,  /* volts that can kill, on a unit that is said to be cold */
};
struct scene_alarm {
	enum scene_danger danger;
	char word[SCENE_NAME]; /* as the daemon has it: "live" */
	char meter[SCENE_NAME], text[SCENE_TEXT];
};

/* What stands in block letters about the touch. */
enum scene_state {
	SCENE_NO_DAEMON, SCENE_NO_POSITION, SCENE_ERRAND, /* a meter waits for an offset or a check */
	SCENE_READY, SCENE_DIAL, /* ready, but every meter is on another function */
	SCENE_FORBIDDEN,         /* ohm or farad is up, and the unit is LIVE */
	SCENE_WAIT, SCENE_SETTLING, SCENE_MOVING,
	SCENE_SETTLED, /* and the record is on its way */
	SCENE_LOGGED, SCENE_HELD, SCENE_DOUBT, SCENE_REFUSED, SCENE_NOT_LOGGED, SCENE_GONE,
	SCENE_STALE, SCENE_DONE,
};

struct scene_told { /* a happening with its own words; for scene.c */
	struct happening_told told;
	char text[15][SCENE_TEXT];
};

struct scene {
	bool connected, known; /* known: there was a daemon before */
	char bench[64], identity[64], away[SCENE_TEXT];
	int64_t last; /* seq of the last record seen, -1: none yet */
	int64_t fresh; /* records after this one are news, not what was missed */
	int64_t awaited; /* an entry that is durable and whose record has not come yet */
	bool up_waits;   /* ... and what came up after it, told after it */

	char job[64], condition[16], reach[16], walk[16], order[16], health[64];
	char log_aside[SCENE_TEXT]; /* a damaged log was set aside: what the daemon says of it */
	char next[SCENE_NAME]; /* what the walk would bring up, as the daemon says; "" */
	bool next_known;       /* ... and it does say */
	int walk_meters;       /* so many at each position, one after the other */
	bool live; /* the unit has volts on it */
	bool unit_known;
	struct { double hertz; bool inside; } ear; /* of `tune`, as of live_at; 0: nothing is heard */
	struct scene_note guide; /* what the newest guided run asks for; text "" for none */
	char guide_meter[SCENE_NAME]; /* whose value its step takes, "" */
	bool discharging; /* its reservoirs are being measured dead: still live */
	int done, positions;
	/* Which of them are not done; without a word of the daemon what has a value is. */
	bool lacks_known;
	int lacks_count;
	char lacks[SCENE_POSITIONS_MAX][SCENE_NAME];

	/* What is up. */
	char position[SCENE_NAME], quantity[16];
	char chosen_kind[SCENE_NAME], nominal[SCENE_NAME], tolerance[SCENE_NAME];
	char role[SCENE_TEXT / 2], twin[SCENE_NAME];
	/* The earlier job of this unit, "" for none; what was measured then of what is up. */
	char again[SCENE_NAME * 2], before[SCENE_TEXT];
	/* What it is judged by in the quantity that is up, as the daemon says; without a
	 * word of it the sheet's limits hold for the sheet's own quantity. */
	bool limits_known, has_low, has_high, limits_assumed;
	struct decimal low, high;
	char function[SCENE_NAME];
	bool fit; /* nominal, tolerance and limits are of what is fitted there now */
	char have[SCENE_NAME]; /* "1 of 2": meters that have measured it, where several are wanted */
	bool armed, all_done;
	bool tell_chosen; /* a connection began: what is up is told once */
	int64_t up, up_told; /* the number of this choice, 0: not known; the one last told */

	struct scene_meter meter[SCENE_METERS_MAX];
	int meters, front; /* front: whose value stands large, -1 */
	int64_t live_at;   /* of the last `live`, INT64_MIN */

	struct scene_position *sheet; /* SCENE_POSITIONS_MAX; the caller's memory */
	int sheet_count, sheet_more;  /* more: rows that were not kept */

	struct scene_entry entry[SCENE_ENTRIES_MAX]; /* the newest, a ring */
	int entry_count, entry_next;

	/* Of the touch that was logged last, until another one or another position. */
	struct { bool is, typed; int64_t seq; char position[SCENE_NAME], verdict[12],
	         function[SCENE_NAME], shown[SCENE_NAME * 2]; } logged;
	/* What waits for a word. */
	struct { bool is, doubt; char position[SCENE_NAME], looks[SCENE_NAME], meter[SCENE_NAME],
	         shown[SCENE_NAME * 2]; } held;
	struct { bool is; int64_t at; } refused;
	/* A touch that is for no entry: lead offset, meter check. */
	struct { bool is; char what[SCENE_NAME], meter[SCENE_NAME], position[SCENE_NAME]; } errand;
	struct scene_alarm alarm[SCENE_ALARMS_MAX]; /* each once, of one word and meter */
	int alarms;
	int64_t alarm_told; /* ... is told again while it goes on */
	bool not_logged;
	bool caution; /* the unit went live: the cautions stand until somebody saw them */

	/* What was asked for last as a list (what stands before the power, notes, twins): lines,
	 * "" until it is answered; a number that rises with each answer.  waiting: the positions that
	 * wait for a look before the power. */
	char ready[SCENE_READY_MAX];
	char waiting[SCENE_WAITING_MAX][SCENE_NAME];
	int waiting_count, ready_asked;

	struct scene_note note[SCENE_NOTES_MAX]; /* a ring */
	int note_count, note_next;
	int64_t noted; /* how many there ever were */

	struct scene_told told[SCENE_TOLD_MAX]; /* a ring: what waits to be told */
	int told_count, told_first, told_lost;
	struct style style; /* for deviations and times in words */
};

/* `sheet` has room for SCENE_POSITIONS_MAX; it stays the caller's. */
void scene_begin(struct scene *s, struct scene_position *sheet, const struct style *style);

/* ---- the daemon ---- */

/* The result of hello.  With another log than before what was known is forgotten. */
void scene_connected(struct scene *s, int64_t now, struct slice hello);
void scene_away(struct scene *s, int64_t now, const char *why);

/* ---- answers ---- */

void scene_status(struct scene *s, int64_t now, struct slice result);
void scene_meters(struct scene *s, int64_t now, struct slice result);
/* Pages of sheet.show and entries; *_begin before the first page. */
void scene_sheet_begin(struct scene *s);
void scene_sheet(struct scene *s, struct slice result);
void scene_entries_begin(struct scene *s);
void scene_entries(struct scene *s, struct slice result);

/* ---- notifications: their params ---- */

/* What has to be asked again after a record. */
#define SCENE_ASK_STATUS 1u
#define SCENE_ASK_SHEET 2u
#define SCENE_ASK_ENTRIES 4u
#define SCENE_ASK_METERS 8u
unsigned scene_record(struct scene *s, int64_t now, struct slice params);
unsigned scene_event(struct scene *s, int64_t now, struct slice params);
void scene_live(struct scene *s, int64_t now, struct slice params);

/* ---- the person ---- */

/* Said on the screen: the outcome of a call, a hint. */
void scene_say(struct scene *s, int64_t now, enum scene_weight weight, const char *format, ...)
    __attribute__((format(printf, 4, 5)));
/* The answer of job.ready and the same as lines; "" while it is asked. */
void scene_ready_set(struct scene *s, struct slice result, const char *lines);
/* Another list in its place: notes, twins; `more` is its last line where it was cut. */
void scene_list_set(struct scene *s, const char *lines, const char *more);
/* A call was refused (code 5) or not logged (code 4): seen and heard. */
void scene_refusal(struct scene *s, int64_t now, int code, const char *why);
/* Tell again what is up and what was logged last. */
void scene_say_again(struct scene *s);

/* ---- looking ---- */

/* Tell the worst danger again, where it goes on and it is time; called now and then. */
void scene_remind(struct scene *s, int64_t now);

enum scene_state scene_state(const struct scene *s, int64_t now);
/* The meter whose value stands large; NULL where none does. */
const struct scene_meter *scene_front(const struct scene *s);
/* Is it bound to another position than the one that is up?  Then its value is never that of what
 * is up, and it is not the front meter, but where the hand waits for it in a guided run and no
 * other is touched. */
bool scene_elsewhere(const struct scene *s, const struct scene_meter *m);
/* The function that what is up wants ("ohm"), where every meter that is free reads, and none of
 * them reads it: a dial has to be turned.  Else "". */
const char *scene_dial(const struct scene *s, int64_t now);
/* The position that the value which stands large is of: what is up, but in a guided run, and where
 * a meter is checked. */
const char *scene_at(const struct scene *s);
/* It wants ohm or farad, which nothing takes of a unit that is LIVE: which; else "". */
const char *scene_forbidden(const struct scene *s);
/* What stands large: the display of the front meter while it stands; beside the word LOGGED
 * what was logged, until something else is up or touched, and not what the leads read
 * as they lift.  NULL: nothing does.  *function is that of the meter. */
const char *scene_large(const struct scene *s, int64_t now, const char **function);
/* The pitch of a `tune`, and whether it is inside its limits; 0 where nothing is to be heard. */
double scene_ear(const struct scene *s, int64_t now, bool *inside);
/* Does its value stand? */
bool scene_stands(const struct scene *s, const struct scene_meter *m, int64_t now);
/* Digits that the display moved within the last second of this touch; -1: not known. */
int scene_moves(const struct scene_meter *m, int64_t now);
/* Entry i, the newest 0; NULL beyond. */
const struct scene_entry *scene_entry(const struct scene *s, int i);
const struct scene_note *scene_note(const struct scene *s, int i);
int scene_place(const struct scene *s, const char *position); /* in the sheet, -1 */
/* The worst danger that goes on; NULL for none. */
const struct scene_alarm *scene_alarm(const struct scene *s);
/* The quantity that is up as a number, -1 where it is none that is known here. */
int scene_quantity(const struct scene *s);
/* The answer of `beside` about what is up. */
void scene_last_time(struct scene *s, struct slice result);
/* The last entry of a position in this quantity, in the condition that is chosen; its shown
 * is "" where there is none. */
const struct scene_last *scene_last(const struct scene *s, const struct scene_position *p,
                                    enum quantity q);
/* The twin's last value in the quantity that is up; "" where there is none. */
const char *scene_twin_shown(const struct scene *s, const char **verdict);
/* Is what the meter shows a value of what is up, or was it asked for something else? */
bool scene_is_for_part(const struct scene *s, const struct scene_meter *m);
/* The limits of what is up.  False where there are none. */
struct scene_limits {
	bool has_low, has_high, has_nominal, assumed;
	struct decimal low, high, nominal;
	char function[SCENE_NAME];
};
bool scene_limits(const struct scene *s, struct scene_limits *out);
/* The next position of the sheet that lacks an entry, after the one that is up (from the
 * top again behind the last); the next at all where none lacks one.  -1: no sheet, or the
 * daemon says that nothing comes next.
 * scene_before: the one before it in the sheet. */
int scene_next(const struct scene *s);
int scene_before(const struct scene *s);

/* ---- between the files of the scene ---- */

/* Tell; strings may be "" for what is not known.  Where nobody collects, the oldest is lost. */
void scene_tell(struct scene *s, const struct happening_told *told);
void scene_tell_up(struct scene *s);
void scene_note_add(struct scene *s, int64_t now, enum scene_weight weight, struct slice time,
                    const char *text);
void scene_note_told(struct scene *s); /* ... the newest is told besides */
struct scene_entry *scene_entry_add(struct scene *s, struct slice record);
/* What the sheet shows of a position after this entry. */
void scene_place_entry(struct scene *s, const struct scene_entry *e);
/* Danger came or went; true where that is news. */
bool scene_alarm_set(struct scene *s, const struct scene_alarm *alarm, bool on);
void scene_guides_read(struct scene *s, struct slice guides);
void scene_alarm_read(struct slice object, struct scene_alarm *out);
/* Events of danger, errands and lines (scene_beside.c).  False for another one. */
bool scene_other_event(struct scene *s, int64_t now, struct slice event, const char *name);
/* A record that entries refer to: lead offset, meter check. */
void scene_backing(struct scene *s, int64_t now, struct slice record, const char *kind);
/* Copy, cut at a character. */
void scene_copy(char *out, size_t size, const char *text);
void scene_entry_rejudge(struct scene *s, struct scene_entry *e, struct slice rejudged);
/* A member into an array of that size. */
#define scene_member(object, path, array) words_member(object, path, array, sizeof array)

/* The oldest happening that was not told yet, NULL for none; valid until the next
 * call of any function that is given the scene to change. */
const struct happening_told *scene_happening(struct scene *s);

#endif

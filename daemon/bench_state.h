/* SPDX-License-Identifier: MIT */
/*
 * What the bench is: the positions of the sheet, what was made of them, its meters, what is on its way
 * to the disk.  Inside this room only; bench_inside.h says which file does what with it.
 */
#ifndef TALLY_BENCH_STATE_H
#define TALLY_BENCH_STATE_H

#include "daemon/bench.h"
#include "daemon/meter_stale.h"
#include "daemon/settle.h"
#include "daemon/spoilt.h"
#include "daemon/trail.h"
#include "protocol/record/fit.h"
#include "protocol/record/sheet.h"
#include "protocol/trade/part.h"

#define BENCH_BODY_SIZE RECORD_BODY_MAX
/* Second values of so many readings are remembered: a settled stretch is shorter. */
#define SECONDS_MAX 64
/* So many positions `back` goes. */
#define WALK_HISTORY 32

/* What is fitted at a position, where it is another part than the sheet says. */
struct bench_fit {
	struct sheet_row cells;   /* that the fit says: protocol/record/fit.h */
	struct position position; /* with those of the sheet, as it is judged */
};

/* One position of the sheet, and what was made of it. */
struct bench_position {
	struct sheet_row row;
	struct bench_fit *fit; /* malloc, NULL for none */
	int choice;    /* the choice (see below) at which it was last chosen */
	int newest;    /* index of its newest entry, -1 for none */
	int group;     /* in the order of the walk (bench_way.c) */
	bool skipped;  /* passed over in this walk: comes up again at its end */
	bool holds;    /* a reservoir that was measured, and is not dead */
	int came_back;     /* entries (made) before volts were seen that should be gone; 0 for never */
};

/* An entry of this job as the bench remembers it. */
struct made {
	struct entry entry;
	uint64_t ticket; /* while it is on its way to the disk, else 0 */
	int64_t utc;     /* when it was made, us since 1970 */
	int64_t since;   /* ... and since when that clock went on without a step, a sleep, a restart */
	int choice;      /* at which it was made: a later choice allows another */
	int older;       /* index of the entry before it at its position, -1 for none */
	const char *owed; /* why a rejudge record is owed that is not sealed yet, or NULL */
	/* The last thing that was done to it, for undo (deeds are numbered as they come). */
	int64_t deed;    /* that it was made by */
	int64_t moved;   /* that moved it last, 0 for none or where that was undone */
	char from[NAME_SIZE]; /* ... and where it was before */
};

/* What a touch is for that makes no entry (bench_errand.c). */
enum errand {
	ERRAND_NONE,
	ERRAND_SHORT, /* lead offset, ohm */
	ERRAND_OPEN,  /* lead offset, farad */
	ERRAND_CHECK, /* against a reference part */
};

/* An offset or a check that was sealed, as entries refer to it. */
struct backing {
	enum errand what;
	int64_t seq;           /* 0 while it is on its way to the disk */
	int64_t utc;           /* when */
	char meter[NAME_SIZE];
	char position[NAME_SIZE]; /* of the reference part */
	enum function function;
	struct decimal value;  /* of the offset */
	double u;              /* of the offset, standard */
	double en;
	bool failed;           /* the meter does not agree with the reference */
	bool struck;
};

/* What a value is for: a place (index into the sheet, -1 for none) and quantity. */
struct aim {
	int place;
	enum quantity quantity;
};

/* A settled value that waits for a word of the person, and what it was made from. */
struct held {
	bool waits;
	bool doubt;       /* ... because it may be a floating voltage */
	struct aim aim;   /* where it would go */
	int looks;        /* the place it looks like, -1 where it is only in doubt */
	struct settle_result value;
	struct meter_frames frames;
};

/* One meter as the bench sees it; the line's own machine is inside. */
struct bench_meter {
	struct bench *bench; /* for the machine's hooks */
	int index;
	const struct config_meter *config;
	struct meter machine;
	struct settle settle;
	struct trail trail;
	struct spoilt spoilt;
	struct stale stale;
	/* What it is bound to; place -1: it follows what is chosen. */
	struct aim bound;
	/* The walk went on while it still touched the part before: this touch is for
	 * that part.  place -1: for what is chosen. */
	struct aim before;
	bool lifted;        /* the leads are open, as settle says */
	bool nowhere;       /* this touch settled while no position was chosen */
	/* It has made an entry and was not open for arm_seconds since: what it
	 * touches now is the old part again. */
	bool spent;
	int spent_place;    /* of that entry */
	int64_t spent_from; /* openness before this does not count */
	struct held held;
	/* This touch began before the name of what is up was said. */
	bool early;
	bool passed;        /* this touch was going on when its position was skipped */
	int took;           /* index of its last entry, until it touches or lifts anew or is bound, -1 */
	int touch_made;     /* index of the entry that this touch made, -1 */
	int charged;        /* readings in a row of a reservoir that should be dead */
	int over, under;    /* readings in a row above, or well below, what may be touched */
	char alarm[200];    /* LIVE, and that was said; "" for none */
	bool isolation_said;
	unsigned mode_said; /* READING_* modes that the person was told of */
	int unsuited_said;  /* the choice at which a doubt of the wrong function was said */
	int64_t turned_at;  /* the dial was turned to another function; -1: it rests */
	/* What its next touch is for, until when, and who waits. */
	struct {
		enum errand what;
		int place;
		int64_t until;
		struct bench_wait wait;
		struct asked_by by; /* who asked; the touch comes by itself */
	} errand;
	/* Second values of the last readings, by their ordinals in the trail. */
	struct {
		uint64_t ordinal;
		struct decimal value;
	} second[SECONDS_MAX];
	int seconds_next, seconds;
	struct decimal open[7]; /* readings of open leads, for its offset */
	int opens;
	/* A line or log that was away. */
	enum meter_class kind_seen; /* by the counts of its display, as far as they were seen */
	bool gone;
	bool unheard;       /* no reading came since: nothing is known of the leads */
	int64_t gone_at;
	char gone_cause[96];
	int64_t unlogged;   /* readings that the log had no room for, from ... to */
	int64_t unlogged_from, unlogged_to;
	char trouble[320];  /* why the line cannot be opened, "" while it is open */
	bool refused;       /* ... though it is there */
	struct reading last;
	bool has_last;
	char identity[200]; /* that the last meter record had */
	int64_t next;       /* earliest deadline of this meter */
};

/* A draft on its way to the disk, and who waits for it. */
struct pending {
	uint64_t ticket; /* of the record that answers */
	int made;        /* index of the entry, -1 */
	int strikes;     /* index of the entry that it strikes, -1 */
	int rejudges;    /* index of the entry that it judges anew, -1 */
	const char *because; /* ... and why */
	int moves;       /* index of the entry that it moves, -1 */
	int backing;     /* index of the offset or check that it is, -1 */
	int unbacks;     /* ... that it strikes, -1 */
	char was_at[NAME_SIZE]; /* where the moved one was */
	int meter;       /* whose trail run it is, or whose gap, -1 */
	int64_t readings; /* of that run or lost in that gap: counted where it is refused */
	int64_t from, to; /* ... and when they were read (stream time) */
	bool job;        /* the job or its sheet is another by it, in memory already */
	struct bench_wait wait;
};

struct bench {
	const struct config *config;
	struct log *log;
	struct bench_hooks hooks;
	bool replay;
	int64_t utc;
	char boot[64], version[32];
	int64_t now; /* stream time of the last input or timer */

	struct bench_meter *meter;
	int meters;

	char job[JOB_SIZE]; /* "" where none is open */
	char again[JOB_SIZE]; /* the earlier job of its unit, "" for none */
	bool live;
	bool cooling;       /* live, and the reservoirs are being measured dead */
	bool measured;      /* cold, because every reservoir was measured dead */
	int64_t clock_since; /* UTC from which the clock is known to have gone on evenly */
	int live_from;      /* entries (made) before it was said to be live: by order, no clock is asked */
	int64_t safe_at;    /* stream time at which a reservoir may be measured again */
	char job_because[200]; /* for the job record that is being made, as the next two */
	char job_position[NAME_SIZE], job_again[JOB_SIZE];
	enum condition condition;
	enum reach reach;
	bool swapped;      /* what is up is measured again with the leads swapped */
	struct bench_way way; /* how the walk goes */
	bool lift_reach;    /* walk lift set the reach: it goes back with it */
	enum function dial; /* what a dial was turned to during the walk, else none */
	int dial_left;      /* what was up then and lacks its value, -1 */
	int chosen;         /* place, -1 */
	enum quantity quantity;
	int choice;         /* counts what was chosen; 0: nothing yet */
	bool announced_all; /* the person was told that nothing is lacking any more */
	int last;           /* the place that was up before this one, -1 */
	int history[WALK_HISTORY]; /* what was up, the newest last, for `back` */
	int histories;
	bool speaks;        /* a client says names aloud, and tells when it has */
	int said;           /* the choice whose name was said */
	int64_t say_until;  /* so long it is waited for; INT64_MAX: nothing is */

	/* The sheet.  A `place` is an index into it, -1 for none. */
	struct bench_position *position;
	int positions, positions_size;
	int *by_name;     /* hash table of places, -1 where it is free */
	int by_name_size; /* a power of two, 0 at first */
	char prefix[NAME_SIZE]; /* of the last position that `at new` named, "" for none */
	/* Names that this job's positions had before: `at new` gives none of them again. */
	char (*former)[NAME_SIZE];
	int formers, formers_size;
	bool listed; /* the job has a sheet that was written: not each position as it was touched */
	struct made *made;
	int mades, mades_size;
	bool log_refused; /* the last call failed because the log took nothing */
	bool unsure;      /* a change of job or sheet was refused: read it back */
	/* Where the person was in the job that was left last, should leaving it be refused. */
	char left_job[JOB_SIZE], left[NAME_SIZE];
	enum quantity left_quantity;
	struct bench_way left_way;
	/* On their way to the disk, in order of ticket; those before `heard` came back. */
	struct pending *pending;
	int heard, pendings, pendings_size;
	int owed;         /* rejudge records that are not sealed yet */
	int64_t deeds;    /* entries and moves so far */
	int64_t moved_at; /* UTC of the last move that was read back */
	struct backing *backing; /* offsets and checks, oldest first */
	int backings, backings_size;

	struct bench_guide *guide; /* BENCH_GUIDES_MAX of them */
	int64_t guides;   /* begun so far */
	int quiet;        /* an act is a part of another: it is on no tape */
	struct asked_by by; /* whose call this is; nobody's outside of one */
	bool desk;        /* what is up changed since the desk was saved */
	bool unseen;      /* it was taken up again from there, and nobody looked yet */
	int64_t came_up;    /* when the walk brought it up by itself; INT64_MIN where it was chosen */
	int64_t chosen_seq; /* the last record there was when it was chosen */
	int64_t next_save; /* of the open runs; INT64_MAX while there is nothing new */
	int64_t next_checkpoint;
	char *body;        /* scratch for one record body */
	char *body2;       /* for the trail run beside an entry */
};

#endif

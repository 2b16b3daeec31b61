/* SPDX-License-Identifier: MIT */
/*
 * What to replace, in rounds; what to buy; what to lift or measure again before anybody
 * decides.
 *
 * Decided by the verdict against the service limit (what the place can live with), by that
 * against tolerance where the place has none, and by a policy: old electrolytics and paper
 * always, unless told otherwise.  `unsure` never replaces anything: it is on the recheck
 * list, with what would settle it.  A part goes whole (a can with three sections, a ganged
 * pot), and a twin goes with its twin, so that both channels stay alike.
 *
 * Nothing is replaced for its volts: a rail, valve or heater that is outside is looked
 * into, and that is on the recheck list too.  A resistor that reads high in circuit is
 * replaced only once it did so with the leads swapped.
 *
 * The newest entry of each quantity counts, of condition `done` before `found`; a
 * position with an entry of condition `done` that is not outside is done, and is in no
 * round.  Entries of condition `new` are of parts that are not fitted yet: they are still in the
 * plan, but what was measured new and is not outside lies on the bench, and is not ordered.
 *
 * Leakage that a guided run found (`leak`, `reform`) decides beside the entries: outside its
 * limit, as a re-forming that was given up is, the part is replaced, for that reason; unsure, or
 * given up before there was a current to judge (a meter the wrong way round), it is to be
 * looked at again.  A newer entry of leakage, or of condition `done`, takes its place.
 *
 * Everything here is common practice, no source.
 */
#ifndef TALLY_TRADE_PLAN_H
#define TALLY_TRADE_PLAN_H

#include "protocol/trade/entry.h"

enum plan_action {
	PLAN_KEEP,
	PLAN_REPLACE,
	PLAN_RECHECK,    /* measure, lift or look before deciding */
	PLAN_UNMEASURED, /* nothing was measured: on the recheck list too */
	PLAN_DONE,       /* replaced, or proved, already */
};

/* The order in which a restorer works, and an owner can afford it. */
enum plan_round {
	ROUND_SUPPLY,   /* supply and electrolytics */
	ROUND_COUPLING, /* coupling, and paper wherever it stands */
	ROUND_REST,
	ROUND_COUNT,
};
const char *plan_round_name(enum plan_round r);

/* What replaces it, where the technician said (sheet fit). */
struct plan_fit {
	bool has_value, has_rated, has_kind;
	struct decimal value, rated;
	enum kind kind;
	char tolerance[24];
	char number[NAME_SIZE], price[24]; /* of the part that is bought */
};

/* The end of a guided run that measures leakage; seq 0: none. */
struct plan_run {
	int64_t seq;
	bool reform, stopped; /* else `leak`; given up, not done */
	enum verdict_word word; /* against its own limit; none: no current was found */
	char said[96];          /* "4.4 uA, at most 500 nA", or why it was given up */
};

#define PLAN_ENTRIES_MAX (QUANTITY_COUNT)
#define PLAN_BECAUSE_MAX 4

/* One position, and what becomes of it. */
struct plan_line {
	struct position position;
	bool keep;                     /* told: not by policy */
	struct plan_fit fit;
	/* By quantity: the newest that counts; seq 0: none. */
	struct entry entry[QUANTITY_COUNT];
	struct plan_run run;
	int64_t new_seq, here;         /* the newest entry of condition new; where it is not outside */
	/* ---- decided ---- */
	enum plan_action action;
	enum plan_round round;
	bool policy;                   /* replaced whatever was measured */
	bool seen;                     /* inside plan_decide */
	int with;                      /* line of its twin or of its part that takes it along, -1 */
	bool by_twin;
	enum quantity quantity;        /* that decided it */
	bool by_run;                   /* ... or the guided run */
	char because[160];             /* "30 % high: carbon, drifted up" */
	char next[100];                /* what would settle it */
};

struct plan_policy {
	bool keep[KIND_COUNT]; /* of kinds that the policy would replace */
};

/* Does an entry count before another of its position and quantity? */
bool plan_newer(const struct entry *a, const struct entry *b);

/* Decide all lines; those of one sheet. */
void plan_decide(struct plan_line *line, int n, const struct plan_policy *policy);

/* ---- what to buy ---- */

#define ORDER_POSITIONS_MAX 64

/* Equal parts, whatever their positions. */
struct order_item {
	enum kind kind;          /* of the replacement */
	char value[96];          /* "100 nF"; of a part with sections "33 uF + 33 uF" */
	char tolerance[24];
	bool has_rated;          /* V; at least the old one's */
	double rated;
	bool has_watts;
	double watts;            /* at least */
	bool fit;                /* as the technician said */
	bool changed;            /* another value than the old part's: the next that is sold */
	char number[NAME_SIZE], price[24]; /* as the technician said, else "" */
	char note[120];
	int count;               /* parts */
	int lines;
	int line[ORDER_POSITIONS_MAX]; /* their positions; further ones are counted only */
};

/* Is a replacement of this line's part on the bench already? */
bool plan_here(const struct plan_line *line, int n, int i);

/* The order of what plan_decide put into rounds up to `round`, but for what is here.  A price is
 * that of the fit, else that of the sheet's row.  At most `max` items;
 * returns how many there are. */
int plan_order(const struct plan_line *line, int n, enum plan_round round, struct order_item *item,
               int max);

#endif

/* SPDX-License-Identifier: MIT */
/*
 * The hand-back report: what is gathered, what follows from it, and who writes it down.
 *
 *     command_report.c   asks for everything over the client protocol, writes the files
 *     report_gather.c    answers into `struct report`
 *     report_facts.c     what counts: one entry for each position, quantity and condition;
 *                        the safety tests; what was never measured
 *     report_owner.c     the first page, in plain words
 *     report_tables.c, report_history.c   everything behind it; of it
 *     report_compare.c   twins and cross-checks
 *     report_places.c    what was calculated
 *     report_response.c, report_response_picture.c   the measured response of an output
 *     report_guide.c     guided runs, report_guide_picture.c their trails
 *     report_photo.c     photos of the notes
 *     report_picture.c   scales and bars, as SVG
 *     report_paper.c, report_paper_table.c   HTML and pages for print, both at once
 *     report_csv.c, report_json.c         for machines
 *     report_words.c     English and German, numbers by locale; report_why.c drift
 *     report_sentence.c  what is put together of them: a part, an entry
 *
 * Texts of the log stand as they were sealed, in whatever language they were written.
 */
#ifndef TALLY_CLIENT_REPORT_H
#define TALLY_CLIENT_REPORT_H

#include "client/report_paper.h"
#include "client/words.h"
#include "protocol/trade/position.h"

struct client;
struct report_guide;
struct report_photo;

enum report_condition { REPORT_FOUND, REPORT_NEW, REPORT_DONE, REPORT_CONDITIONS };
enum report_word { REPORT_NONE, REPORT_WITHIN, REPORT_UNSURE, REPORT_OUTSIDE, REPORT_WORDS };

struct report_entry {
	char *text;           /* the element of the answer to `entries`; the slices point into it */
	struct slice record;  /* as sealed */
	struct slice judged;  /* the last rejudge record, else the record itself */
	struct slice struck;  /* absent where it counts */
	struct slice moved;
	int64_t seq, t;       /* t: us since 1970 */
	char position[NAME_SIZE]; /* where it belongs now, by its present name */
	enum quantity quantity;
	enum function function;
	enum report_condition condition;
	bool in_circuit, typed, overload;
	bool has_value;
	double value, u;      /* SI; u the standard uncertainty, 0: not known */
	double hertz;         /* of alternating volts or amps, as the entry says; 0: it does not */
	bool aside;           /* ... another one than its place is meant for: a point of a response */
	enum report_word word, service, second; /* REPORT_NONE: not judged; second: of what came beside it */
	char shown[64];
};

struct report_position {
	char *text;          /* the element of the answer to `sheet.show` */
	struct slice row;
	char name[NAME_SIZE], channel[16], role[48], twin[NAME_SIZE];
	enum kind kind;
	enum function function;
	struct slice fit;    /* absent where the sheet's part is in */
	bool outputs;        /* entries there carry a frequency */
};

/* One line of the table of before and after: a quantity of a position. */
struct report_line {
	const struct report_position *position;
	enum quantity quantity;
	const struct report_entry *at[REPORT_CONDITIONS]; /* NULL: not measured */
	/* What stands there as it is handed back: what was measured as done, else the new part that was
	 * fitted, else, of a part that stayed in, what was found; volts and currents follow the work on
	 * others, so found says nothing of now.  NULL: not known. */
	const struct report_entry *now;
	bool kept; /* as found: the part stayed in, and was not measured again */
};

/* How many positions stand where, each by the first of its quantities that was measured. */
struct report_counts {
	int positions; /* all but reference parts */
	int of[REPORT_CONDITIONS][REPORT_WORDS];
	int kept[REPORT_WORDS]; /* of the parts that stayed in and were not measured again: as found */
	int measured[REPORT_CONDITIONS], left; /* the sums of these */
};

struct report_record { /* any other record of the job, as sealed */
	char *text;
	struct slice record;
	char kind[16];
	char position[NAME_SIZE]; /* by its present name; "" */
	int64_t seq, t;
};

enum report_test { REPORT_EARTH, REPORT_INSULATION, REPORT_TOUCH, REPORT_TESTS };

struct report {
	/* What was asked for. */
	const char *job_asked, *incomplete, *by, *item;
	bool german, letter;
	const struct style *style;  /* for the clock */
	int64_t made;               /* us since 1970 */

	/* What was answered. */
	char job[128], bench[64], identity[64], version[64];
	char *job_text, *seal_text, *compare_text, *plan_text, *places_text;
	struct slice job_show, seal, compare, plan, places;
	int64_t head;               /* records after it are left out */
	struct report_entry *entry;
	struct report_position *position;
	struct report_record *record;
	int entries, positions, records;
	struct report_guide *guide; /* runs, in the order in which they began */
	int guides;
	struct report_photo *photo; /* of its notes, in their order */
	int photos;

	/* What follows. */
	struct report_line *line;
	int lines;
	struct report_counts counts;
	const struct report_entry *test[REPORT_TESTS]; /* NULL: not measured */
	bool no_memory;
};

/* ---- report_gather.c ---- */

/* Everything but the seal; false where a question failed, which was said. */
enum outcome report_gather(struct client *c, struct report *r);
void report_free(struct report *r);

/* ---- report_facts.c ---- */

/*
 * Of the entries of a position, quantity and condition that are not struck the newest counts;
 * but what was measured lifted or loose comes before what was measured in circuit, where
 * other paths count.  In volts reach says nothing.  What was measured at another frequency than
 * its place is meant for (1 kHz, where its role says none) counts only where nothing else is there.
 */
void report_facts(struct report *r);
const struct report_position *report_position(const struct report *r, const char *name);
/* The entry of that record; NULL where the report has none. */
const struct report_entry *report_entry(const struct report *r, int64_t seq);
/* Limits that an entry was judged by; false where there are none. */
bool report_limits(const struct report_entry *e, bool *has_low, double *low, bool *has_high,
                   double *high);
/* Where a value lies: -1 at the low limit, 0 at nominal, 1 at the high one.  With one limit
 * alone: at most L: 0 is -1 and L is 1; at least L: L is -1, ten times L is 1 (by logarithm).  False
 * where there are no limits.  An overload lies beyond everything. */
bool report_place(const struct report *r, const struct report_entry *e, double value, double *out);

/*
 * The safety tests, by the sheet and the entries of condition `done` that are not struck:
 *   earth bond      role says "earth bond", "protective earth" or "bonding"; ohm
 *   insulation      role says "insulation", and ohm; or quantity `insulation` where the role
 *                   says "mains" or "primary"
 *   touch current   role says "touch current"; amps
 * A test stands against completeness where it is not there, where it is outside, and where
 * it is unsure for another reason than other paths.
 */
bool report_test_passed(const struct report_entry *e);
bool report_complete(const struct report *r);

/* Quantities that a part of that kind must show and has not (sheet.missing of protocol/WIRE.md), as
 * a list of texts; absent where nothing is missing. */
struct slice report_lacks(const struct report_position *p);
/* Was another part fitted, or one measured as new? */
bool report_replaced(const struct report *r, const struct report_position *p);

/* ---- report_words.c ---- */

/* The English or the German text. */
#define SAY(r, en, de) ((r)->german ? (de) : (en))

/* "131.2 kohm" as people read it: decimal comma, ohm and micro signs, no break in it. */
void report_value(const struct report *r, const char *shown, char *out, size_t size);
/* An SI number in the unit of `like`, with so many figures. */
void report_like(const struct report *r, double x, int figures, const char *like, char *out,
                 size_t size);
/* "1 uA", as `like` of a number that nobody showed: the SI prefix that suits it. */
void report_si(double x, const char *unit, char *out, size_t size);
/* A plain number, "%.*f" by the locale. */
void report_number(const struct report *r, double x, int decimals, char *out, size_t size);
/* "+31.2 %", "3.4 times nominal", "overload: above 20 Mohm", "" */
void report_deviation(const struct report *r, const struct report_entry *e, char *out, size_t size);
/* The mark alone. */
const char *report_mark(enum report_word word);
/* "anode load, left": in the report's language where it is a word of the trade, else as it was written. */
void report_role(const struct report *r, const struct report_position *p, char *out, size_t size);
/* "left, LOAD-L": which channel a place belongs to stands first. */
void report_where(const struct report *r, const char *name, char *out, size_t size);
/* "outside": mark and word. */
const char *report_verdict(const struct report *r, enum report_word word);
const char *report_condition_word(const struct report *r, enum report_condition c);
const char *report_quantity_word(const struct report *r, enum quantity q);
/* "esr or dissipation", and what else the list of what is missing says. */
void report_quantities(const struct report *r, const char *text, char *out, size_t size);
const char *report_kind_word(const struct report *r, enum kind k);
const char *report_test_word(const struct report *r, enum report_test t);
const char *report_test_lacks(const struct report *r, enum report_test t);
/* Why it is unsure or outside, in a few words; "" */
const char *report_reason(const struct report *r, const struct report_entry *e);
/* What the trade calls a value that is outside ("carbon, drifted up"); "" where it has no name.
 * In report_why.c. */
const char *report_why(const struct report *r, const struct report_entry *e);
/* "2026-11-25 10:00" on the bench's clock; with the day alone. */
void report_time(const struct report *r, int64_t t, bool day, char *out, size_t size);
/* "90.0 to 110.0 kohm", "at most 0.2 ohm" */
void report_limits_text(const struct report *r, const struct report_entry *e, char *out,
                        size_t size);
/* An entry in three lines: value and uncertainty; deviation and verdict; what is odd. */
void report_entry_text(const struct report *r, const struct report_entry *e, char *out,
                       size_t size);
/* "carbon composition, 100 kohm 10 %, anode load, left" */
void report_what(const struct report *r, const struct report_position *p, char *out, size_t size);
/* What was said of the part that is in now: "metal film resistor, 100 kohm 1 %, 500 V". */
void report_fit_text(const struct report *r, const struct report_position *p, char *out, size_t size);
/* The uncertainty of a value shown so, to two figures; rounded up to the places of the value where that
 * makes it larger by no more than a quarter (JCGM 100:2008, 7.2.6). */
void report_spread(const struct report *r, double U, const char *shown, char *out, size_t size);
/* "calculated" names of places. */
const char *report_place_word(const struct report *r, const char *what);

/* ---- report_response.c ---- */

/* The frequency that an entry carries; 0 for none. */
double report_hertz(const struct report_entry *e);
/* "31.5 Hz", "1 kHz" */
void report_hertz_text(const struct report *r, double hertz, char *out, size_t size);
void report_response(const struct report *r, struct paper *p);
/* Rows of the owner's table: how far each output reaches, as found and now; false where none does. */
bool report_response_owner(const struct report *r, struct paper *p);
void report_response_json(const struct report *r, struct lines *out);

/* ---- report_picture.c ---- */

#define REPORT_SCALE_WIDTH 168
#define REPORT_SCALE_HEIGHT 30
#define REPORT_BARS_WIDTH 360
#define REPORT_BARS_HEIGHT 120
void report_scale(const struct report *r, const struct report_line *l, int number,
                  struct lines *out);
void report_scale_legend(const struct report *r, struct lines *out);
/* The counts, found and done. */
void report_bars(const struct report *r, struct lines *out);

/* ---- what is written ---- */

void report_owner(const struct report *r, struct paper *p);
void report_tables(const struct report *r, struct paper *p);
/* Two headings with their tables: twins, and meters against each other. */
void report_comparisons(const struct report *r, struct paper *p);
/* Headings: what follows from the volts of the unit, with its response; what parts do in their place. */
void report_power(const struct report *r, struct paper *p);
void report_calculated(const struct report *r, struct paper *p);
void report_history(const struct report *r, struct paper *p);
void report_closing(const struct report *r, struct paper *p);
void report_json(const struct report *r, struct lines *out);

/* A locale's spreadsheet: what parts cells, what the decimal sign is, and a mark of UTF-8 at the
 * beginning.  RFC 4180 is comma, point, none. */
struct report_csv {
	char separator, decimal;
	bool spreadsheet;
};
/* "de", "de_AT", "en-US" ...; false where it is not known. */
bool report_csv_locale(const char *name, struct report_csv *out);
void report_csv(const struct report *r, const struct report_csv *how, struct lines *out);

#endif

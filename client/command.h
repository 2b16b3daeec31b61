/* SPDX-License-Identifier: MIT */
/*
 * Every verb of `tally`, once: what it is called, which words and options it takes,
 * what it does, and the function that does it.
 *
 * Dispatch, --help, the usage lines and (later) completion and the manual page all
 * read this one table, so that they cannot differ.
 */
#ifndef TALLY_CLIENT_COMMAND_H
#define TALLY_CLIENT_COMMAND_H

#include "client/lines.h"
#include "client/outcome.h"

#include <stdbool.h>
#include <stdint.h>

struct client;

/* id, long name, what its value is (NULL for none), what it does */
#define OPTION_LIST(X)                                                                        \
	X(JSON, "json", NULL, "JSON on standard output, one text a line for lists")               \
	X(PLAIN, "plain", NULL, "no columns, no colour: one line an event, every state a word")   \
	X(HELP, "help", NULL, "what the verb does, and its words and options")                    \
	X(VERSION, "version", NULL, "the version of tally")                                       \
	X(SOCKET, "socket", "PATH", "the daemon's socket (else TALLY_SOCKET, else the usual one)") \
	X(FILE, "file", "FILE", "read a log file instead of asking the running daemon")           \
	X(METER, "meter", "NAME", "the meter meant, by its name in the configuration")            \
	X(JOB, "job", "NAME", "the job meant (else the newest; * for all of them)")                                  \
	X(LIKE, "like", "JOB", "take over the sheet of that job")                                \
	X(FROM, "from", "NAME", "the instrument that was read; of trail: the time; of export: the record") \
	X(TO, "to", "TIME", "up to this time (of the trail), or this record (of export)")           \
	X(AGAIN, "again", "JOB", "the same unit came back: its earlier job, shown beside this one") \
	X(BESIDE, "beside", "JOB", "an earlier job, with what was measured then and the change since") \
	X(PHOTO, "photo", "PICTURE", "a jpeg, png or webp file, kept beside the log by its SHA-256") \
	X(VALVE, "valve", "NUMBER", "a valve by its own number, whatever socket it was in")       \
	X(AT, "at", "POSITION", "of this position")                                                \
	X(MISSING, "missing", NULL, "what is still to be measured")                                \
	X(CHART, "chart", "FILE", "a picture: FILE.svg, .png or .pdf")                             \
	X(QUANTITY, "quantity", "Q", "value, leakage, esr, dissipation, insulation or volts")     \
	X(U, "u", "U", "standard uncertainty of the value, in its unit")                          \
	X(FREQUENCY, "frequency", "F", "of the signal: alternating volts or amps at 1 kHz, 31.5 Hz") \
	X(BECAUSE, "because", "TEXT", "the reason, kept in the log")                              \
	X(AFTER, "after", "SEQ", "begin after this record")                                       \
	X(LOG, "log", "FILE", "where the log is to be (else as the daemon's configuration says)") \
	X(OVER, "over", NULL, "the log that is there is set aside, not deleted")                  \
	X(ANCHOR, "anchor", "SEQ:HASH", "a record that was written down elsewhere")               \
	X(CONFIG, "config", "FILE", "the daemon's configuration, where none runs")               \
	X(KEY, "key", "FINGERPRINT", "the key that was written down elsewhere, by its fingerprint")   \
	X(ACCURACY, "accuracy", "SPEC", "the meter's accuracy: \"0.5% + 2\" (percent, counts)")   \
	X(PREFIX, "prefix", "TEXT", "what new names begin with, such as R or T3/ (else as last time)") \
	X(ORDER, "order", "ORDER", "sheet (as its rows stand), kind (few turns of the dial) or channel") \
	X(METERS, "meters", "N", "so many meters, one after the other, at each position (1 to 8)") \
	X(BUDGET, "budget", NULL, "what the uncertainty of each entry is made of")               \
	X(KEEP, "keep", "LIST", "not to be replaced by age alone: paper,C12")   \
	X(ROUND, "round", "N", "up to that round: 1 supply, 2 coupling, 3 all")               \
	X(CSV, "csv", NULL, "comma-separated values on standard output")                          \
	X(OUT, "out", "DIR", "the folder for what is written; made where it is not there")        \
	X(LANGUAGE, "language", "en|de", "English or German (else English)")                      \
	X(INCOMPLETE, "incomplete", "TEXT", "why safety tests are not there: stands in the report") \
	X(ITEM, "item", "TEXT", "what the thing is called, for its owner")                        \
	X(BY, "by", "TEXT", "who answers for the report")                                         \
	X(PAPER, "paper", "a4|letter", "the size of the pages of the PDF (else a4)")              \
	X(CSV_FOR, "csv-for", "LOCALE", "also a CSV for spreadsheets of that locale (de, en, de_CH ...)") \
	X(DIGIT, "digit", "D", "weight of the meter's last digit (else that of VALUE as written)") \
	X(MAP, "map", "HEADING=COLUMN,...", "which column of a parts list is which of a sheet")   \
	X(YES, "yes", NULL, "the cautions were read and hold")                                     \
	X(DRY, "dry", NULL, "say what would be done, and do nothing") \
	X(RESUME, "resume", NULL, "take up the one that was left")

enum option_id {
#define X(id, name, value, help) OPTION_##id,
	OPTION_LIST(X)
#undef X
	    OPTION_COUNT
};

_Static_assert(OPTION_COUNT <= 64, "a set of options is a word of 64 bits");
#define OPTION_BIT(id) (UINT64_C(1) << OPTION_##id)
/* What every verb takes. */
#define OPTIONS_COMMON                                                                 \
	(OPTION_BIT(JSON) | OPTION_BIT(PLAIN) | OPTION_BIT(HELP) | OPTION_BIT(VERSION) |   \
	 OPTION_BIT(SOCKET) | OPTION_BIT(FILE))

struct verb_option {
	const char *name;  /* without the dashes */
	const char *value; /* NULL: a switch */
	const char *help;
};
extern const struct verb_option option_table[OPTION_COUNT];

/* Whom a verb asks. */
enum need {
	NEED_NOTHING, /* works by itself */
	NEED_LOG,     /* a running daemon, or a log file (--file) */
	NEED_BENCH,   /* a running daemon */
};

struct command {
	const char *group; /* heading in the list of verbs */
	const char *verb;  /* one or two words */
	/* The words that follow: NAME, [NAME], NAME..., [NAME...], or the words
	 * that may stand there, with bars: on|off, [on|off]. */
	const char *words;
	const char *brief; /* one line, no full stop */
	const char *help;  /* paragraphs, each one line, parted by LF */
	uint64_t options;  /* OPTION_BIT of those beside the common ones */
	uint64_t required; /* those of them that must be given */
	enum need need;
	bool changes; /* it makes a record: a lost answer leaves a doubt */
	enum outcome (*call)(struct client *c);
};

extern const struct command command_table[];
extern const int command_count;

/* The verb at the start of the words, the longest that fits; *used says how many
 * words it took.  NULL where there is none. */
const struct command *command_find(const char *const *words, int count, int *used);

/* Least and most words that `words` allows; most is INT32_MAX for "...". */
void command_word_range(const char *words, int *least, int *most);
/* Does the word fit the place (0 the first) -- true for free words, else only for
 * one of those between the bars. */
bool command_word_fits(const char *words, int place, const char *word);

/* "tally enter POSITION VALUE --from NAME [--quantity Q] ..." */
void command_usage(const struct command *c, struct lines *out);
/* Everything about one verb. */
void command_help(const struct command *c, struct lines *out);
/* Everything about tally: `tally --help`. */
void command_overview(struct lines *out);
/* What to say about words that name no verb. */
void command_unknown(const char *const *words, int count, struct lines *out);

#endif

/* SPDX-License-Identifier: MIT */
/*
 * What stands in the way of a meter, in plain words, and the narrow cure.
 *
 *     facts (struct doctor) --> doctor_find --> findings --> doctor_write (JSON)
 *
 * Pure: main_doctor.c gathers the facts, from the running daemon or without one;
 * nothing here looks at the machine.  A finding says only what follows from the
 * facts; where several causes fit, it names them in the order in which they are met at
 * benches (common practice, no source).
 *
 * What no cure ever says: to open a node to everybody, to run as root, to take away a
 * program that others need (a modem manager, a braille display, a login terminal): only
 * to keep it off this one adapter.
 */
#ifndef TALLY_DOCTOR_H
#define TALLY_DOCTOR_H

#include "daemon/adapters.h"
#include "daemon/config.h"
#include "protocol/meter/look.h"
#include "protocol/record/text.h"

/* How long a line may be silent (us) before anything is made of it: an instrument
 * with a slow range sends once in 3 s. */
#define DOCTOR_PATIENCE_US INT64_C(5000000)
/* Free space for the log, in bytes, under which it is said. */
#define DOCTOR_DISK_LOW (INT64_C(64) << 20)
/* From this latency on (ms) the stamp of a frame is late enough to say so. */
#define DOCTOR_LATENCY_MS 4

enum doctor_line {
	DOCTOR_UNREAD,  /* no daemon has it: nobody has read this line */
	DOCTOR_ABSENT,
	DOCTOR_REFUSED, /* there, but the daemon could not have it */
	DOCTOR_OPEN,
};

/* As the daemon counts them; -1 where it does not. */
struct doctor_counters {
	int64_t good, bad, readings, timeouts, late, parity, resync, stale, reconnects;
};

struct doctor_meter {
	const struct config_meter *config;
	enum doctor_line line;
	char refused[320];    /* by the daemon, in its words */

	enum place_found found;
	char place_why[320];  /* where it was not found, or several were */
	char node[PLACE_PATH_SIZE];
	char link_to[PLACE_PATH_SIZE]; /* PLACE_PATH is a link that leads to nothing: where to */
	int adapter;          /* its index among the adapters, -1: not one of them */
	struct node_rights rights;

	/* of an open line */
	int64_t open_us;      /* for how long */
	int64_t quiet_us;     /* since the last byte; -1: none ever came */
	struct look heard;    /* its bytes since it was opened; the next members come from it */
	uint64_t bytes;
	long framing, parity, overrun; /* errors that the driver counted; -1: it does not */
	struct look_said look;
	bool fits;            /* its own dialect understands the last bytes */
	const struct dialect *other; /* else a shipped one that does; or NULL */
	bool echoed;          /* what was sent came back */
	char state[32], why[240], identity[200]; /* of the meter's machine */
	struct doctor_counters counters;
};

struct doctor_bench {
	bool daemon;          /* the facts are those of a running daemon */
	const char *config;   /* its file; "" for none */
	char config_fault[600]; /* the configuration is refused: why, with its place */
	char log[CONFIG_PATH_SIZE], socket[CONFIG_SOCKET_SIZE];
	char log_health[16];  /* the daemon's word; "" without one */
	char log_trouble[400];    /* it cannot be written: why; "" where it can */
	char log_folder[CONFIG_PATH_SIZE]; /* an existing folder on its disk */
	int64_t disk_free;    /* bytes for this user there; -1: not known */
	char log_holder[256]; /* another program has its lock */
	char socket_trouble[400]; /* it cannot be made there: why */
	struct node_rights socket_rights; /* of the socket that is there */
	char elsewhere[256];  /* a tallyd that runs, though none answers at the socket */
	bool udev;
	char modems[160];     /* a modem manager that runs: "name (process 12)" */
	struct self self;
};

/* Hundreds of kilobytes: not for the stack. */
struct doctor {
	struct doctor_bench bench;
	int adapters, strays, meters;
	struct adapter adapter[ADAPTERS_MAX];
	struct stray stray[STRAYS_MAX];
	struct doctor_meter meter[CONFIG_METERS_MAX];
};

enum finding_word {
	/* of the bench */
	FINDING_CONFIG, FINDING_NO_METERS, FINDING_NO_DAEMON, FINDING_LOG, FINDING_DISK,
	FINDING_SOCKET, FINDING_ROOT, FINDING_UDEV,
	/* of a meter */
	FINDING_ABSENT, FINDING_NO_DRIVER, FINDING_AMBIGUOUS, FINDING_HELD, FINDING_DENIED,
	FINDING_SETTINGS, FINDING_REFUSED, FINDING_NO_RULE, FINDING_MODEM, FINDING_LATENCY,
	FINDING_SILENT, FINDING_SPEED, FINDING_BITS, FINDING_GARBLED, FINDING_DIALECT, FINDING_ECHO,
	FINDING_NO_ANSWER, FINDING_SETUP, FINDING_SPOILT, FINDING_SLOW, FINDING_UNSTEADY,
	FINDING_WORDS
};
/* "held", "no-rule" ...: for machines, and for people to look up. */
const char *finding_word(enum finding_word w);

struct finding {
	int meter;  /* index; -1: of the bench */
	enum finding_word word;
	bool fault; /* it stands in the way; else it is worth knowing */
	char text[600], cure[900];
};

#define FINDINGS_MAX 320
struct findings {
	struct finding list[FINDINGS_MAX];
	int count;
	int dropped; /* there was no room for these */
};

/* Everything that can be said; the bench first, then meter by meter, faults before
 * what is only worth knowing. */
void doctor_find(const struct doctor *d, struct findings *out);
/* Does anything stand in the way? */
bool findings_fault(const struct findings *f);

/* The result of the method `doctor` (protocol/WIRE.md). */
void doctor_write(const struct doctor *d, const struct findings *f, struct text *out);

/* ---- between its files ---- */

void finding_add(struct findings *f, int meter, enum finding_word word, bool fault,
                 const char *cure, const char *format, ...) __attribute__((format(printf, 6, 7)));
/* doctor_place.c: is the line there, and may it be had?  True where something was
 * found that explains everything after it. */
bool doctor_place(const struct doctor *d, int meter, struct findings *out);
/* doctor_line.c: what came over it. */
void doctor_line(const struct doctor *d, int meter, struct findings *out);

#endif

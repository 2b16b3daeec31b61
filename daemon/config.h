/* SPDX-License-Identifier: MIT */
/*
 * The configuration: an INI file (protocol/file/ini.h says how it is written) with
 * one section [bench] and one [meter NAME] for each meter.  It is loaded whole or
 * refused with file, line, column and what was expected.
 *
 *     [bench]
 *     name   = north                  ; default: the host's name
 *     log    = /var/lib/tally/north.db ; default: /var/lib/tally/NAME.db
 *     socket = /run/tally/tally.sock  ; the default
 *     viewers = /run/tally/view.sock  ; a second one, through which anybody on this machine
 *                                     ; may look and nobody can change anything; none
 *     dialects = /etc/tally/dialects  ; the default: a folder of dialect files
 *     arm seconds = 1.5               ; every threshold of daemon/settle.h by its name
 *
 *     [meter red]
 *     port    = /dev/tally/red        ; a path, usb:VID:PID[:SERIAL], usb-place:PLACE
 *     dialect = ascii-unit
 *     serial  = 9600 8N1              ; these four stand above the dialect's own
 *     flow    = none                  ; none, hardware, software
 *     dtr     = on                    ; on, off, leave
 *     rts     = off
 *     quiet   = 500                   ; ms: nothing is sent so long after opening
 *     conversion = 2                  ; frames that the meter sends of one conversion
 *     second  = dissipation           ; what the second value of each pair is that it sends:
 *                                     ; dissipation, esr, q, hertz
 *     function = ohm                  ; what bare numbers are
 *     accuracy ohm = 0.5% + 2         ; percent of reading + counts of the last digit
 *     accuracy farad below 10n = 2.0% + 10
 *     accuracy volt-ac below 1 kHz = 1.0% + 5   ; also: below 10 V below 1 kHz
 *     input volt-dc = 10M             ; input resistance, ohm
 *     isolated = yes                  ; its input floats against earth
 *     ac = rms                        ; true rms, or average
 *     bandwidth = 1k                  ; Hz, of the ac functions
 *     crest     = 3                   ; crest factor, of a true rms meter
 *     rated     = 600 V               ; volts that it and its probes may be clipped to
 *     test farad = 1 kHz, bridge      ; how it measures: test frequency, method, volts
 *
 * and only where the dialect asks (nothing is ever sent to the others):
 *
 *     setup    = *CLS | CONF:RES      ; sent in this order after opening
 *     query    = READ?                ; default: the dialect's
 *     function = ohm                  ; where set-up and query do not say it; else the meter
 *                                     ; is asked (FUNC?, CONF?), if its dialect knows how
 *     digit    = 0.01                 ; weight of the last digit, in ohm here
 *     digit farad = 1p                ; the same for one function
 *     pace     = 0.2                  ; seconds from query to query at least, or 5/s.  The
 *                                     ; usual one is 0: as fast as it answers, for an answer
 *                                     ; to READ? is a measurement.  FETC? repeats the last
 *                                     ; one as often as it is asked: there it is 0.1
 *     timeout  = 2                    ; seconds to wait for an answer
 *     identify = no                   ; whether to send *IDN? (default: yes)
 *
 * Relative paths count from the directory in which the daemon was started.
 */
#ifndef TALLY_CONFIG_H
#define TALLY_CONFIG_H

#include "daemon/dialects.h"
#include "daemon/place.h"
#include "daemon/settle.h"
#include "protocol/meter/dialect.h"
#include "protocol/trade/second.h"
#include "protocol/trade/uncertainty.h"
#include "protocol/trade/use.h"

#define CONFIG_FILE "/etc/tally.ini"
#define CONFIG_FILE_BEFORE "/etc/tally/tallyd.conf" /* read where there is no CONFIG_FILE */
#define CONFIG_SOCKET "/run/tally/tally.sock"
#define CONFIG_LOG_FOLDER "/var/lib/tally"
#define CONFIG_DIALECTS "/etc/tally/dialects"

#define CONFIG_METERS_MAX 64
#define CONFIG_SETUP_MAX 16
#define CONFIG_COMMAND_SIZE 128
#define CONFIG_TEST_SIZE USE_TEST_SIZE
#define CONFIG_PATH_SIZE 1024
#define CONFIG_SOCKET_SIZE 108 /* sun_path of a Unix socket, with its NUL */
#define CONFIG_FILE_MAX (1 << 20)

struct config_meter {
	char name[NAME_SIZE];
	int line; /* of the file */
	bool has_place;
	char port[PLACE_PATH_SIZE]; /* as written */
	struct place place;
	const struct dialect *dialect;
	struct line_settings serial; /* the dialect's, with what the file says above it */
	enum function function;      /* FUNCTION_NONE: every frame says its own */
	int conversion;              /* 1 or more */
	enum second_kind second;     /* of the pairs that it sends; SECOND_NONE for none */

	/* for a dialect that asks */
	bool identify;
	int setups;
	char setup[CONFIG_SETUP_MAX][CONFIG_COMMAND_SIZE];
	char query[CONFIG_COMMAND_SIZE]; /* the dialect's where the file says nothing */
	/* Weight of the last digit by function; [FUNCTION_NONE] holds for the others. */
	bool has_digit[FUNCTION_COUNT];
	struct decimal digit[FUNCTION_COUNT];
	int64_t pace_us, timeout_us;

	struct accuracy accuracy;
	enum meter_class kind; /* what is assumed where no accuracy is given; unknown: derived */
	struct limits_of_use use;
	double rated; /* volts that it and its probes are made for; 0: nobody said */

	/* What the section says, as sums (config_compare.h): of the line and what is asked, of
	 * what is made of the readings, and of the file of the dialect (0: a shipped one). */
	uint64_t line_said, judged_said, dialect_said;
};

/* Keys of the bench that cannot change while the daemon runs. */
enum config_key {
	CONFIG_KEY_NAME, CONFIG_KEY_LOG, CONFIG_KEY_SOCKET, CONFIG_KEY_VIEWERS, CONFIG_KEYS
};
struct config_place {
	int line, column; /* of the value; 0: the file does not say it */
};

/* Some hundred kilobytes: not for the stack. */
struct config {
	char file[256]; /* "" where there is none */
	char name[NAME_SIZE];
	char log[CONFIG_PATH_SIZE];
	char socket[CONFIG_SOCKET_SIZE];
	char viewers[CONFIG_SOCKET_SIZE]; /* "" for none */
	struct settle_limits limits;
	struct dialects dialects; /* from files */
	struct config_place at[CONFIG_KEYS];
	int meters;
	struct config_meter meter[CONFIG_METERS_MAX];
};

/* What holds without a file: no meters, and a bench named as the host is. */
void config_standard(struct config *out);

/*
 * Load `file`.  NULL is CONFIG_FILE where there is such a file, else CONFIG_FILE_BEFORE, else
 * the standard.
 * For a replay a meter needs no port.  On a fault *out is not to be used.
 */
bool config_load(const char *file, bool replay, struct config *out, struct fault *why);

/*
 * Every fault of a configuration that config_load refuses, as it is found: of the keys, line by
 * line, and of each section when it ends.  What may follow from a fault is not told as one: keys
 * of a section that was refused, and what a meter lacks where one of its keys was refused.
 * `scratch` is where it is read into, and not to be used.  Returns how many were told; 0 where
 * the fault is none of the file's lines (it cannot be read; a dialect file is bad).
 */
int config_faults(const char *file, bool replay, struct config *scratch,
                  void (*tell)(void *arg, const struct fault *why), void *arg);

/* The same of a text, with the shipped dialects alone, as config_parse reads it. */
int config_faults_in(const char *file, const char *text, size_t len, bool replay,
                     struct config *scratch, void (*tell)(void *arg, const struct fault *why),
                     void *arg);

/* Lets go of the dialects; no meter may use them any more. */
void config_free(struct config *c);

/* The same of a text that was read already; `file` is its name.  The folder of
 * dialects is not looked at. */
bool config_parse(const char *file, const char *text, size_t len, bool replay, struct config *out,
                  struct fault *why);

/* NULL where there is none of that name. */
const struct config_meter *config_meter(const struct config *c, const char *name);

/* The weight of the last digit that the file gives for function `f`; false where it
 * says nothing. */
bool config_digit(const struct config_meter *m, enum function f, struct decimal *digit);

#endif

/* SPDX-License-Identifier: MIT */
/*
 * How one family of meters speaks on the line.
 *
 * A dialect is one row of the table in dialect.c: how its frames end, whether it
 * is asked or listened to, what to send, and one function that says what a frame
 * means.  A dialect file (dialect_file.h) makes such a row from text: a new meter
 * needs a file, not code.
 *
 * A dialect's function is pure.  It understands a frame exactly or says why not;
 * it never guesses: a frame that is not wholly understood is no reading.
 */
#ifndef TALLY_METER_DIALECT_H
#define TALLY_METER_DIALECT_H

#include "protocol/meter/frame.h"
#include "protocol/trade/reading.h"

enum parity { PARITY_NONE, PARITY_EVEN, PARITY_ODD };
enum flow { FLOW_NONE, FLOW_HARDWARE, FLOW_SOFTWARE };
enum wire_state { WIRE_LEAVE, WIRE_ON, WIRE_OFF }; /* of dtr and rts */

/* `serial = 9600 8N1` and its companions. */
struct line_settings {
	int baud;
	int bits; /* 7 or 8 */
	enum parity parity;
	int stop; /* 1 or 2 */
	enum flow flow;
	enum wire_state dtr, rts;
	int quiet_ms; /* nothing is sent for so long after opening; of asked meters more
	               * than the 50 ms in which frame.h takes bytes for a partial frame */
};

/* What a frame turned out to be. */
enum said {
	SAID_READINGS, /* one or more readings */
	SAID_IDENTITY, /* answer to *IDN? */
	SAID_ERROR,    /* an entry of the error queue: <number>,"text" */
	SAID_OTHER,    /* understood, and nothing to do with values (a banner, an empty line) */
	SAID_NOTHING,  /* not understood: a bad frame */
};

#define READINGS_IN_FRAME_MAX 16

struct understood {
	enum said said;
	struct reading reading[READINGS_IN_FRAME_MAX]; /* the first `count` hold something */
	int count;
	int error_number;  /* SAID_ERROR: 0 is "no error" */
	enum function function; /* SAID_OTHER: what it says it is set to (answer to FUNC?),
	                    * else FUNCTION_NONE */
	char text[200];    /* SAID_IDENTITY, SAID_ERROR, SAID_OTHER: as it stood, cut to fit;
	                    * bytes outside ASCII as ? */
	char why[120];     /* SAID_NOTHING: what was expected, for people */
};

/* Nothing said, no readings, no texts.  What a frame means is 1.7 KiB, nearly all of it
 * readings that it does not have, so only what counts is cleared. */
static inline void understood_clear(struct understood *u, enum said said)
{
	u->said = said;
	u->count = 0;
	u->error_number = 0;
	u->function = FUNCTION_NONE;
	u->text[0] = u->why[0] = '\0';
}

/* What the configuration says where a frame does not. */
struct dialect_setting {
	enum function function; /* of bare numbers; FUNCTION_NONE where unknown: then they
	                         * are FUNCTION_NUMBER */
	/* The weight of the last digit for asked meters (its power of ten counts); a
	 * value that has finer digits keeps them.  has_digit false: the finest exponent
	 * seen since function or range changed (see scpi.h). */
	bool has_digit;
	struct decimal digit;
	/* Values come in pairs, first and second (second.h): its function; else FUNCTION_NONE. */
	enum function second;
	const void *rules; /* of the dialect (struct dialect), for readers that go by rules */
};

/* What a dialect remembers between frames of one meter; zeroed at opening. */
struct dialect_memory {
	bool second_has_finest; /* the next two, of second values */
	int second_finest, second_decade;
	enum function function;
	bool has_finest; /* then finest and decade hold */
	int finest;      /* finest exponent seen since function or range changed */
	int decade;      /* highest power of ten of a first digit seen with it, to notice a
	                  * change of range */
};

struct dialect {
	const char *name;
	const char *summary; /* one line, for people */
	bool asked;          /* false: listened to, nothing is ever sent */
	bool bare;           /* its numbers have no unit: the configuration must say the function */
	struct line_settings line;
	enum frame_end end;
	size_t size;    /* of FRAME_FIXED */
	int64_t gap_us; /* ... and the silence before one; of lines 0 takes FRAME_LINE_GAP_US */
	struct frame_sync sync; /* what else tells where one begins */

	/* Asked meters: NULL where there is no such thing.  A line end is added. */
	const char *identify;    /* "*IDN?" */
	const char *query;       /* default; the configuration's `query` stands above it */
	const char *error_query; /* "SYST:ERR?" */
	const char *clear;       /* "*CLS" */
	const char *setup;       /* with ` | ` between commands; the configuration's stands above it */
	const char *learn;       /* what its function is asked with, in turn: "FUNC? | CONF?" */
	const char *line_end;    /* "\n" */

	/* What the reader goes by, where it is not all in the code: struct columns,
	 * struct pattern ...; NULL for most. */
	const void *rules;

	/* Say what the frame means.  Only good frames come here.  *out is filled whole;
	 * `reading[i].t` is the frame's. */
	void (*understand)(const struct dialect_setting *setting, struct dialect_memory *memory,
	                   const struct frame *f, struct understood *out);
};

/* A splitter for the frames of the dialect, from `t` on as in frame_begin. */
void dialect_split(const struct dialect *d, struct frame_splitter *s, int64_t t);

/* NULL where there is none of that name. */
const struct dialect *dialect_find(const char *name, size_t len);
/* The table, NULL-terminated. */
extern const struct dialect *const dialects[];

/* `9600 8N1`, `2400 7E1`: fills baud, bits, parity and stop and leaves the rest of
 * *out; spaces around are ignored, the letter's case too.  On a fault *out is
 * untouched and the column counts from the start of `text`, 1 the first byte. */
bool line_settings_parse(const char *text, size_t len, struct line_settings *out,
                         struct fault *why);
/* The same as text: "9600 8N1". */
void line_settings_text(const struct line_settings *s, char *out, size_t size);

/* The function that a SCPI header sets up or asks for: `MEAS:RES?`,
 * `CONF:VOLT:AC`, `SENS:FUNC "RES"`, short and long form, any case;
 * FUNCTION_NONE where it does not say (`READ?`, `FETC?`).  Of several commands
 * with `;` between them the last that says so counts. */
enum function scpi_function(const char *command, size_t len);

/*
 * The function that an answer to FUNC? or CONF? names, in quotes or without:
 *
 *     "RES"    "VOLT:AC"    "VOLT +1.0E+01,+1.0E-05"    FRES 1000,0.001
 *
 * a name of a function in short or long form, and behind it nothing but what CONF?
 * gives of its range and resolution: numbers, DEF, MIN, MAX, AUTO, or a list of
 * channels.  FUNCTION_NONE where the text is no such answer, or names a function
 * that is not known here, or more than one.
 */
enum function scpi_function_answer(const char *text, size_t len);

#endif

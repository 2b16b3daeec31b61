/* SPDX-License-Identifier: MIT */
/*
 * Dialects from files: a new meter needs a file, not code.
 *
 * An INI file (protocol/file/ini.h says how one is written), one dialect each:
 *
 *     [dialect]
 *     name     = bench-old           ; as `dialect = bench-old` in the configuration
 *     summary  = talks by itself: sign, number, unit
 *     reads    = pattern             ; ascii-unit ascii-number ask-comma scpi columns pattern
 *     serial   = 2400 7E1            ; these six as in [meter] (which stands above them)
 *     flow     = none
 *     dtr      = on
 *     rts      = off
 *     quiet    = 100
 *     function = ohm                 ; what bare numbers are
 *     frame    = line                ; or `fixed 14`, with reads = columns or pattern
 *     gap      = 30                  ; ms of silence before a fixed frame
 *     asked    = no                  ; yes: query, and where there are such things:
 *     query    = D
 *     line end = none                ; none, lf, cr, crlf: what is sent after each
 *     identify = *IDN?
 *     errors   = SYST:ERR?
 *     clear    = *CLS
 *
 *     [pattern]                      ; with reads = pattern; see pattern.h
 *     match    = (?<sign>[-+ ])(?<value>\d+\.\d+|O\.L) (?<prefix>[kM]?)(?<unit>R|V)
 *     unit R   = ohm                 ; a text of the part `unit`: a function, with a prefix
 *     unit mR  = milli ohm
 *     prefix x = kilo
 *     function 2 = ohm
 *     overload = O.L                 ; texts of the part `value`; overload 2 = ... and so on
 *
 *     [columns]                      ; with reads = columns; see columns.h
 *     size     = 14
 *     sign     = 0
 *     digits   = 1-4
 *     point    = 6: 0=4 1=1 2=2 4=3  ; column: code=digits before the point
 *     overload = ?0:?                ; what the digits read then
 *     byte 12  = \r                  ; a byte that is always there, escaped as in recordings
 *     bits     = right               ; bit 0 is 0x01; left: bit 0 is 0x80
 *     flag 7.3 = ac                  ; byte.bit = meaning (columns.h has the words)
 *     flag 11  = ignore              ; all eight bits
 *
 *     [samples]                      ; at least one; each is checked when the file is loaded
 *     frame 1  = +0.4812 k\x20R      ; escaped as in recordings, without the line end
 *     means 1  = ohm 481.2           ; function and value in SI units, then states;
 *     means 2  = ohm overload        ; a value of `overload`; or `nothing`, for a frame
 *                                    ; that must not be understood; or `other`
 */
#ifndef TALLY_METER_DIALECT_FILE_H
#define TALLY_METER_DIALECT_FILE_H

#include "protocol/meter/columns.h"
#include "protocol/meter/pattern.h"

#define DIALECT_NAME_SIZE 33
#define DIALECT_COMMAND_SIZE 128
#define DIALECT_SAMPLES_MAX 64

/* A dialect that was loaded.  `row` points into the struct itself: it may not be
 * copied or moved while the row is in use. */
struct dialect_file {
	struct dialect row;
	char name[DIALECT_NAME_SIZE];
	char summary[160];
	char query[DIALECT_COMMAND_SIZE], identify[DIALECT_COMMAND_SIZE];
	char errors[DIALECT_COMMAND_SIZE], clear[DIALECT_COMMAND_SIZE];
	char line_end[3];
	enum function function; /* of bare numbers; FUNCTION_NONE where it says nothing */
	struct columns columns;
	struct pattern pattern;
	int samples; /* that were checked */
};

/* Load it whole or refuse it, with file, line, column and what was expected.  On
 * true free with dialect_file_free; on false nothing is to be freed. */
bool dialect_file_load(struct dialect_file *d, const char *file, const char *text, size_t len,
                       struct fault *why);
void dialect_file_free(struct dialect_file *d);

#endif

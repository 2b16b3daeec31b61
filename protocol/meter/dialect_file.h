/* SPDX-License-Identifier: MIT */
/*
 * Dialects from files: a new meter needs a file, not code.
 *
 * An INI file (protocol/file/ini.h says how one is written), one dialect each.  Keys
 * come in any order; bytes are escaped as in recordings (\r \n \t \\ \" \xHH).
 *
 *     [dialect]
 *     name     = bench-old           ; as `dialect = bench-old` in the configuration
 *     summary  = talks by itself: sign, number, unit
 *     reads    = pattern             ; pattern, columns, or a shipped dialect whose reader
 *                                    ; and settings it takes, but for what is said here
 *     serial   = 2400 7E1            ; these five as in [meter] (which stands above them)
 *     flow     = none
 *     dtr      = on
 *     rts      = off
 *     quiet    = 100
 *     function = ohm                 ; what bare numbers are
 *     frame    = line                ; ends with LF, CR or both;
 *     frame    = until \x03          ; ... with this byte;
 *     frame    = fixed 14            ; so many bytes (the usual one of columns)
 *     gap      = 30                  ; ms of silence before a fixed frame (30)
 *     sync     = numbered            ; the high nibble of each byte is its number from 1;
 *     sync     = head \x02 tail \r\n ; bytes that each fixed frame begins and ends with.
 *                                    ; numbered or with a tail frames need no silence
 *     asked    = no                  ; yes: query, and where there are such things the rest
 *     query    = D                   ; may be any bytes but 0: \x05
 *     line end = none                ; none, lf (the usual one), cr, crlf: sent after each
 *     setup    = *CLS | CONF:RES     ; sent after opening
 *     identify = *IDN?               ; reads = scpi, or a pattern with `identity`
 *     errors   = SYST:ERR?           ; reads = scpi, or a pattern with `error`
 *     clear    = *CLS
 *     learn    = FUNC? | CONF?       ; what it is asked, in turn, where nothing says what
 *                                    ; its bare numbers are; reads = scpi
 *
 *     [pattern]                      ; with reads = pattern; pattern.h has the named parts
 *     match    = (?<sign>[-+ ])(?<value>\d+\.\d+|O\.L) (?<prefix>[kM]?)(?<unit>R|V)
 *     identity = MY METER .*
 *     error    = E(?<number>\d+)
 *     point    = ,                   ; of the number, where it is no full stop
 *     unit R   = ohm                 ; a text of the part `unit` (\xF4 and the like, too,
 *                                    ; and \x20 for a blank at its end): a function,
 *     unit mR  = milli ohm           ; with a prefix
 *     prefix x = kilo                ; of the part `prefix`
 *     function 2 = ohm               ; of the part `function`
 *     range 3  = 2k                  ; of the part `range`: 2 digits before the point, and
 *     range ohm 3 = 1M               ; kilo; for one function only; either may be left out
 *     overload = O.L                 ; texts of the part `value`; overload 2 = ... and so on
 *
 *     [columns]                      ; with reads = columns; columns.h says how it is read
 *     size     = 14                  ; without the line end where there is one
 *     sign     = 0
 *     digits   = 1-4                 ; whole bytes; 4,3,2,1 where the last comes first
 *     digit 1  = 2.3-0 3.3-0         ; or a field each (byte.bit, the highest first),
 *     shape 7D = 0                   ; whose bits, in hex, look like 0; \x20 is a blank;
 *                                    ; without shapes they are the number itself
 *     blanks   = leading             ; digits in front may be blanks; none is the usual
 *     point    = 6: 0=4 1=1 2=2 4=3  ; field: code=digits before the point
 *     range    = 6: 0=1 1=2k 2=M     ; the same with prefixes;
 *     range ohm = 6.3-0: 0=3 A=1k    ; for one function; codes of bits are in hex
 *     function = 7: 1=volt-dc 2=ohm
 *     overload = ?0:?                ; what the digits read then; overload 2 = ...
 *     byte 12  = \r                  ; a byte that is always there
 *     bits     = right               ; bit 0 is 0x01; left: bit 0 is 0x80
 *     flag 7.3 = ac                  ; byte.bit = meaning (columns.h has the words)
 *     flag 3.0 = point 1             ; a point after the first digit
 *     flag 11  = ignore              ; all eight bits
 *
 * Every byte of the frame must be spoken of, none of its bits twice.
 *
 *     [samples]                      ; at least one; each is checked when the file is loaded
 *     frame 1  = +0.4812 k\x20R      ; without the line end
 *     means 1  = ohm 481.2           ; function and value in SI units, then states
 *     means 2  = ohm overload        ; (hold, low-battery, relative, min-max); or overload,
 *                                    ; under, negative overload; several readings with
 *                                    ; commas; `identity`; `error -113`; `other`; or
 *                                    ; `nothing`, for a frame that must not be understood
 */
#ifndef TALLY_METER_DIALECT_FILE_H
#define TALLY_METER_DIALECT_FILE_H

#include "protocol/meter/columns.h"
#include "protocol/meter/pattern.h"

#define DIALECT_NAME_SIZE 33
#define DIALECT_COMMAND_SIZE 128
#define DIALECT_SETUP_SIZE 512
#define DIALECT_SETUPS_MAX 16
#define DIALECT_SAMPLES_MAX 64

/* A dialect that was loaded.  `row` points into the struct itself: it may not be
 * copied or moved while the row is in use. */
struct dialect_file {
	struct dialect row;
	char name[DIALECT_NAME_SIZE];
	char summary[160];
	char query[DIALECT_COMMAND_SIZE], identify[DIALECT_COMMAND_SIZE];
	char errors[DIALECT_COMMAND_SIZE], clear[DIALECT_COMMAND_SIZE];
	char setup[DIALECT_SETUP_SIZE], learn[DIALECT_COMMAND_SIZE];
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

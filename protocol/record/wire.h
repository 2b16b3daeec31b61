/* SPDX-License-Identifier: MIT */
/*
 * What both ends of the wire must agree on, as constants.  The protocol itself
 * (JSON-RPC 2.0, one message a line) stands in protocol/WIRE.md.
 */
#ifndef TALLY_RECORD_WIRE_H
#define TALLY_RECORD_WIRE_H

/* The major version: within it changes only add.  `hello` must name it. */
#define WIRE_PROTOCOL 1

/* Bytes of one line with its LF, either way. */
#define WIRE_LINE_MAX (1u << 20)

/* Bytes of the id of a request, as it was written; longer ones are refused. */
#define WIRE_ID_MAX 1024

/* A meter of which so many frames came and not one was understood is a stranger: its dialect or
 * speed is wrong (some meters begin with half a line, which is no chance to say so). */
#define WIRE_STRANGER_FRAMES 4

/* error.code; the exit status of `tally` for each stands in WIRE.md. */
enum wire_error {
	WIRE_NOT_JSON = -32700,    /* or a line too long; the connection is closed */
	WIRE_NOT_REQUEST = -32600, /* JSON, but not a JSON-RPC 2.0 request */
	WIRE_NO_METHOD = -32601,   /* no such method here */
	WIRE_BAD_PARAMS = -32602,  /* missing, of the wrong type, or unknown */
	WIRE_UNREADABLE = -32603,  /* the log could not be read */
	WIRE_HELLO_FIRST = -32002,
	WIRE_VERSION = -32003,     /* data.protocol says what is spoken here */
	WIRE_BAD_INPUT = 2,
	WIRE_NOT_LOGGED = 4,
	WIRE_REFUSED = 5,          /* cannot be done now */
};

#endif

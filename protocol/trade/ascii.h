/* SPDX-License-Identifier: MIT */
/*
 * What a byte is, in ASCII, whatever the locale: the functions of <ctype.h> ask it, and do not
 * take every char.
 */
#ifndef TALLY_TRADE_ASCII_H
#define TALLY_TRADE_ASCII_H

#include <stdbool.h>

static inline bool ascii_digit(char c)
{
	return c >= '0' && c <= '9';
}

static inline bool ascii_letter(char c)
{
	return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

static inline char ascii_lower(char c)
{
	return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
}

static inline char ascii_upper(char c)
{
	return c >= 'a' && c <= 'z' ? (char)(c - 'a' + 'A') : c;
}

/* Between words of one line. */
static inline bool ascii_blank(char c)
{
	return c == ' ' || c == '\t';
}

#endif

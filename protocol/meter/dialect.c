/* SPDX-License-Identifier: MIT */
/* The table of dialects, and the text of line settings.  See dialect.h. */
#include "protocol/meter/dialect.h"

#include <stdio.h>
#include <string.h>

#include "protocol/meter/columns.h"
#include "protocol/meter/number.h"
#include "protocol/meter/scpi.h"
#include "protocol/meter/stream.h"
#include "protocol/trade/ascii.h"

/* What most adapters and meters are set to when they leave the works. */
#define LINE_COMMON                                                                      \
	.baud = 9600, .bits = 8, .parity = PARITY_NONE, .stop = 1, .flow = FLOW_NONE,        \
	.dtr = WIRE_LEAVE, .rts = WIRE_LEAVE

static const struct dialect ascii_unit = {
    .name = "ascii-unit",
    .summary = "talks by itself: a line with number and unit, such as +0.4812 kOhm",
    .asked = false,
    .line = {LINE_COMMON, .quiet_ms = 0},
    .end = FRAME_LINE,
    .understand = ascii_unit_understand,
};

static const struct dialect scpi = {
    .name = "scpi",
    .summary = "asked in SCPI: READ? and the like, answered with numbers such as +4.7E+03",
    .asked = true,
    .bare = true,
    .line = {LINE_COMMON, .quiet_ms = 100}, /* twice what frame_begin waits */
    .end = FRAME_LINE,
    .identify = "*IDN?",
    .query = "READ?",
    .error_query = "SYST:ERR?",
    .clear = "*CLS",
    .learn = "FUNC? | CONF?",
    .line_end = "\n",
    .sync = {.blocks = true},
    .understand = scpi_understand,
};

static const struct dialect ascii_number = {
    .name = "ascii-number",
    .summary = "talks by itself: a bare number a line; `function` says what it is",
    .asked = false,
    .bare = true,
    .line = {LINE_COMMON, .quiet_ms = 0},
    .end = FRAME_LINE,
    .understand = ascii_number_understand,
};

static const struct dialect ask_comma = {
    .name = "ask-comma",
    .summary = "asked by the character D, answers value,unit,state such as +0.4812,kOhm,OK",
    .asked = true,
    .line = {LINE_COMMON, .quiet_ms = 100},
    .end = FRAME_LINE,
    .query = "D",
    .line_end = "",
    .understand = ask_comma_understand,
};

/* The silence between frames is what tells where one begins; inside one, adapters
 * hand bytes on every 16 ms at the latest. */
static const struct dialect columns_fourteen = {
    .name = "columns-14",
    .summary = "talks by itself: 14 bytes with sign, digits, point code and flag bits",
    .asked = false,
    .line = {.baud = 2400, .bits = 8, .parity = PARITY_NONE, .stop = 1, .flow = FLOW_NONE,
             .dtr = WIRE_ON, .rts = WIRE_OFF, .quiet_ms = 0},
    .end = FRAME_FIXED,
    .size = 14,
    .gap_us = 30000,
    .sync = {.tails = 2, .tail = "\r\n"},
    .rules = &columns_14,
    .understand = columns_understand,
};

const struct dialect *const dialects[] = {&ascii_unit, &ascii_number, &ask_comma,
                                          &columns_fourteen, &scpi, NULL};

void dialect_split(const struct dialect *d, struct frame_splitter *s, int64_t t)
{
	int64_t gap = d->end == FRAME_LINE && !d->gap_us ? FRAME_LINE_GAP_US : d->gap_us;
	frame_begin(s, d->end, d->size, gap, t);
	frame_sync(s, &d->sync);
}

const struct dialect *dialect_find(const char *name, size_t len)
{
	for (const struct dialect *const *d = dialects; *d; d++)
		if (strlen((*d)->name) == len && memcmp((*d)->name, name, len) == 0)
			return *d;
	return NULL;
}

/* Slower or faster lines exist nowhere on a bench. */
#define BAUD_MIN 50
#define BAUD_MAX 4000000

/* Where the text goes wrong: the place of `at` and what belongs there. */
static bool wrong(struct fault *why, size_t at, const char *expected)
{
	fault_at(why, NULL, 0, (int)at + 1, "line settings: %s expected, as in 9600 8N1", expected);
	return false;
}

static bool read_baud(const char *text, size_t len, size_t *at, int *out, struct fault *why)
{
	size_t first = *at;
	int baud = 0;
	for (; *at < len && ascii_digit(text[*at]); ++*at)
		if (baud <= BAUD_MAX)
			baud = baud * 10 + (text[*at] - '0');
	if (baud < BAUD_MIN || baud > BAUD_MAX)
		return wrong(why, first, "a speed from 50 to 4000000");
	*out = baud;
	return true;
}

static bool read_parity(char letter, enum parity *out)
{
	switch (letter) {
	case 'N':
	case 'n':
		*out = PARITY_NONE;
		return true;
	case 'E':
	case 'e':
		*out = PARITY_EVEN;
		return true;
	case 'O':
	case 'o':
		*out = PARITY_ODD;
		return true;
	default:
		return false;
	}
}

bool line_settings_parse(const char *text, size_t len, struct line_settings *out,
                         struct fault *why)
{
	struct line_settings got = *out;
	size_t at = 0;
	while (len && ascii_blank(text[len - 1]))
		len--;
	while (at < len && ascii_blank(text[at]))
		at++;
	if (!read_baud(text, len, &at, &got.baud, why))
		return false;
	if (at == len || !ascii_blank(text[at]))
		return wrong(why, at, "a space and the frame after the speed");
	while (at < len && ascii_blank(text[at]))
		at++;
	if (at == len || (text[at] != '7' && text[at] != '8'))
		return wrong(why, at, "7 or 8 bits");
	got.bits = text[at++] - '0';
	if (at == len || !read_parity(text[at], &got.parity))
		return wrong(why, at, "parity N, E or O");
	at++;
	if (at == len || (text[at] != '1' && text[at] != '2'))
		return wrong(why, at, "1 or 2 stop bits");
	got.stop = text[at++] - '0';
	if (at != len)
		return wrong(why, at, "nothing more");
	*out = got;
	return true;
}

void line_settings_text(const struct line_settings *s, char *out, size_t size)
{
	snprintf(out, size, "%d %d%c%d", s->baud, s->bits, "NEO"[s->parity], s->stop);
}

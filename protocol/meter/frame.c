/* SPDX-License-Identifier: MIT */
/*
 * See frame.h.
 *
 * All rules look at one byte and the time since the byte before it, so that it
 * makes no difference in what pieces the bytes come.
 */
#include "protocol/meter/frame.h"

#include "protocol/trade/ascii.h"

#include <string.h>

/* Where a void byte was, so that fixed frames keep their count. */
#define VOID_BYTE '\xff'

/* How far the head of a block has come: nothing of one; it may begin here; # was
 * there; HEAD_DIGITS + n: n digits of the length are still to come. */
enum { HEAD_NONE, HEAD_BEGIN, HEAD_HASH, HEAD_DIGITS };

typedef void each_frame(void *arg, const struct frame *f);

static const char *const fault_words[] = {
    [FRAME_GOOD] = "good",         [FRAME_OVERLONG] = "over-long", [FRAME_CUT] = "cut",
    [FRAME_BAD_BYTE] = "bad byte", [FRAME_PARTIAL] = "partial",
};

const char *frame_fault_word(enum frame_fault f)
{
	if ((unsigned)f >= sizeof fault_words / sizeof *fault_words)
		return "unknown";
	return fault_words[f];
}

void frame_begin(struct frame_splitter *s, enum frame_end end, size_t size, int64_t gap_us,
                 int64_t t)
{
	memset(s, 0, sizeof *s);
	s->end = end;
	s->size = size < 1 ? 1 : size > FRAME_MAX ? FRAME_MAX : size;
	s->gap_us = gap_us > 0 ? gap_us : 0;
	s->first = s->last = t;
	s->joining = true;
	s->head = HEAD_BEGIN;
}

void frame_sync(struct frame_splitter *s, const struct frame_sync *sync)
{
	bool fits = sync->heads <= FRAME_SYNC_MAX && sync->tails <= FRAME_SYNC_MAX;
	if (s->end == FRAME_FIXED)
		fits = fits && (size_t)sync->heads + sync->tails <= s->size &&
		       (!sync->numbered || s->size <= FRAME_NUMBERED_MAX) &&
		       (!sync->heads || sync->numbered || sync->tails || s->gap_us > 0);
	if (!fits)
		return;
	s->sync = *sync;
	s->sync.blocks = sync->blocks && s->end == FRAME_LINE;
}

/* What the frame is that ends here; the worst of what happened to it. */
static enum frame_fault judge(const struct frame_splitter *s)
{
	if (s->joining)
		return FRAME_PARTIAL;
	if (s->dropping || s->spent)
		return FRAME_OVERLONG;
	if (s->bad)
		return FRAME_BAD_BYTE;
	return s->cut || s->lost ? FRAME_CUT : FRAME_GOOD;
}

/* Hand the frame on.  The splitter is ready for the next before each() runs. */
static void give(struct frame_splitter *s, enum frame_fault fault, each_frame *each, void *arg)
{
	struct frame f = {.bytes = s->buffer, .len = s->len, .t = s->first, .fault = fault};
	s->len = 0;
	s->started = s->dropping = s->bad = s->cut = s->blocked = false;
	s->head = HEAD_BEGIN;
	s->quote = '\0';
	s->block = 0;
	each(arg, &f);
}

static void append(struct frame_splitter *s, int64_t t, char c)
{
	if (!s->started) {
		s->started = true;
		s->first = t;
	}
	if (s->len < FRAME_MAX)
		s->buffer[s->len++] = c;
	else if (!s->blocked)
		s->dropping = true; /* bounded: the rest up to the end is dropped */
}

/* Has the line been silent for `us` (more than 0)?  A clock that steps back is no
 * silence. */
static bool silent(const struct frame_splitter *s, int64_t t, int64_t us)
{
	return t - s->last >= us;
}

static int64_t join_us(const struct frame_splitter *s)
{
	bool longer = s->end == FRAME_FIXED && s->gap_us > FRAME_JOIN_US;
	return longer ? s->gap_us : FRAME_JOIN_US;
}

/* ---- blocks in lines ---- */

/* An ordinary byte of a line: does a block begin with it, or with the next? */
static void watch_head(struct frame_splitter *s, char c)
{
	bool digit = ascii_digit(c);
	if (s->quote) {
		s->quote = c == s->quote ? '\0' : s->quote;
		return;
	}
	if (s->head > HEAD_DIGITS) {
		s->block = digit ? s->block * 10 + (c - '0') : 0;
		s->head = digit ? (unsigned char)(s->head - 1) : HEAD_NONE;
		if (s->head != HEAD_DIGITS)
			return;
		s->head = HEAD_NONE; /* what is left in `block` are the data */
		s->blocked = true;
	} else if (s->head == HEAD_HASH) {
		s->head = digit && c != '0' ? (unsigned char)(HEAD_DIGITS + (c - '0')) : HEAD_NONE;
	} else if (s->head == HEAD_BEGIN && c == '#') {
		s->head = HEAD_HASH;
	} else if (c == ',' || c == ';') {
		s->head = HEAD_BEGIN;
	} else if (c == '"' || c == '\'') {
		s->quote = c;
		s->head = HEAD_NONE;
	} else if (c != ' ' && c != '\t') {
		s->head = HEAD_NONE;
	}
}

static void no_block(struct frame_splitter *s)
{
	s->block = 0;
	s->head = HEAD_NONE;
}

/* A byte of the data of a block.  False where there is none. */
static bool block_byte(struct frame_splitter *s, int64_t t, char c)
{
	if (s->head > HEAD_DIGITS || s->block == 0)
		return false;
	if (s->gap_us && silent(s, t, s->gap_us)) {
		no_block(s); /* nobody says that much and stops in the middle */
		s->cut = true;
		return false;
	}
	append(s, t, c);
	s->block--;
	return true;
}

/* Ordinary bytes of a line that has begun, up to one at which something may happen: they
 * came together, so there is no silence between them. */
static size_t plain_run(struct frame_splitter *s, const char *bytes, size_t len)
{
	bool own = s->sync.tails == 1, quiet = !s->sync.blocks;
	/* Of their own: a char that is written might be any field of the splitter. */
	char *to = s->buffer + s->len, cr = own ? s->sync.tail[0] : '\r',
	     lf = own ? s->sync.tail[0] : '\n';
	size_t n = 0;
	/* In a head, a block or a string, or where one may begin, each byte counts. */
	if (!s->started || s->joining || s->head > HEAD_BEGIN || s->block || s->quote)
		return 0;
	if (s->head == HEAD_BEGIN && !quiet)
		return 0;
	len = len < FRAME_MAX - s->len ? len : FRAME_MAX - s->len;
	for (; n < len; n++) {
		char c = bytes[n];
		if (c == lf || c == cr)
			break;
		if (!quiet && (c == ',' || c == ';' || c == '"' || c == '\''))
			break;
		to[n] = c;
	}
	s->len += n;
	return n;
}

static void line_byte(struct frame_splitter *s, int64_t t, char c, each_frame *each, void *arg)
{
	if (s->sync.blocks && block_byte(s, t, c))
		return;
	bool own = s->sync.tails == 1;
	bool ends = own ? c == s->sync.tail[0] : c == '\n' || c == '\r';
	bool second = c == '\n' && s->cr; /* the LF of CR LF: that line has ended already */
	s->cr = c == '\r' && !own;
	if (second)
		return;
	if (s->joining && silent(s, t, join_us(s)) && !(s->started && ends)) {
		if (s->started)
			give(s, FRAME_PARTIAL, each, arg);
		s->joining = false;
	} else if (s->started && s->gap_us && silent(s, t, s->gap_us)) {
		s->cut = true;
	}
	if (!ends) {
		append(s, t, c);
		if (s->sync.blocks && !s->joining)
			watch_head(s, c);
		return;
	}
	if (!s->started)
		s->first = t;
	give(s, judge(s), each, arg);
	s->joining = false;
}

/* A whole line at the beginning of `bytes`, where nothing has begun: as its bytes would be taken
 * one by one, for they came together.  Its size with its end, or 0 where it is none. */
static size_t whole_line(struct frame_splitter *s, int64_t t, const char *bytes, size_t len,
                         each_frame *each, void *arg)
{
	if (s->started || s->joining || s->cr || s->sync.blocks || s->sync.tails)
		return 0;
	const char *lf = memchr(bytes, '\n', len < FRAME_MAX ? len : FRAME_MAX);
	if (!lf)
		return 0;
	size_t size = (size_t)(lf - bytes), n = size;
	if (n && bytes[n - 1] == '\r')
		n--;
	if (!n || memchr(bytes, '\r', n))
		return 0; /* an empty line, or several */
	memcpy(s->buffer, bytes, n);
	s->len = n;
	s->started = true;
	s->first = s->last = t;
	give(s, judge(s), each, arg);
	return size + 1;
}

/* ---- fixed frames ---- */

/* Can frames follow each other without silence? */
static bool self_timed(const struct frame_splitter *s)
{
	return s->sync.numbered || s->sync.tails;
}

/* Is `c` what stands at place `at` of every frame? */
static bool fits(const struct frame_splitter *s, size_t at, char c)
{
	const struct frame_sync *y = &s->sync;
	if (y->numbered && (unsigned char)c >> 4 != at + 1)
		return false;
	if (at < y->heads && c != y->head[at])
		return false;
	size_t tail = s->size - y->tails;
	return at < tail || c == y->tail[at - tail];
}

static void begin_afresh(struct frame_splitter *s)
{
	s->joining = s->spent = s->lost = false;
	s->tail_seen = 0;
}

/* A frame of fixed size is whole: where only silence parts them, what follows at once
 * belongs to nothing known. */
static void give_whole(struct frame_splitter *s, each_frame *each, void *arg)
{
	give(s, judge(s), each, arg);
	begin_afresh(s);
	s->spent = s->gap_us > 0 && !self_timed(s);
}

/* How much of the tail stands at the end, now that `c` does. */
static void watch_tail(struct frame_splitter *s, char c)
{
	const struct frame_sync *y = &s->sync;
	while (s->tail_seen && c != y->tail[s->tail_seen]) {
		/* Shorter beginnings of the tail that end here: of 4 bytes, by trial. */
		size_t n = s->tail_seen - 1u;
		while (n && memcmp(y->tail, y->tail + s->tail_seen - n, n) != 0)
			n--;
		s->tail_seen = (unsigned char)n;
	}
	if (c == y->tail[s->tail_seen])
		s->tail_seen++;
}

/* A byte of what is no frame.  True where it is the first of the next one. */
static bool lost_byte(struct frame_splitter *s, int64_t t, char c, each_frame *each, void *arg)
{
	if (s->sync.numbered && fits(s, 0, c)) {
		if (s->started)
			give(s, judge(s), each, arg);
		begin_afresh(s);
		return true;
	}
	append(s, t, c);
	if (s->sync.numbered || !s->sync.tails)
		return false;
	watch_tail(s, c);
	if (s->tail_seen == s->sync.tails) {
		give(s, judge(s), each, arg);
		begin_afresh(s);
	}
	return false;
}

/* The bytes at hand are no frame: so is all up to the next beginning.  The tail may
 * have begun in them. */
static void lose(struct frame_splitter *s)
{
	s->lost = true;
	s->tail_seen = 0;
	for (size_t i = 0; s->sync.tails && i < s->len; i++) {
		watch_tail(s, s->buffer[i]);
		if (s->tail_seen == s->sync.tails)
			s->tail_seen = 0;
	}
}

static void fixed_byte(struct frame_splitter *s, int64_t t, char c, each_frame *each, void *arg)
{
	if (s->started && !s->joining && !s->spent && !s->lost && s->len >= s->size)
		give_whole(s, each, arg); /* a void byte was its last */
	int64_t gap = s->joining ? join_us(s) : s->gap_us;
	if (gap && silent(s, t, gap) && (s->started || s->joining || s->spent)) {
		bool cut = !s->joining && !s->spent && !s->lost;
		if (s->started)
			give(s, cut && !s->bad ? FRAME_CUT : judge(s), each, arg);
		begin_afresh(s);
	}
	if ((s->joining || s->spent || s->lost) && !lost_byte(s, t, c, each, arg))
		return;
	if (!fits(s, s->len, c)) {
		lose(s);
		if (!lost_byte(s, t, c, each, arg))
			return;
	}
	append(s, t, c);
	if (s->len >= s->size)
		give_whole(s, each, arg);
}

/* A whole frame of fixed size at the beginning of `bytes`, where nothing has begun: as its
 * bytes would be taken one by one, for they came together.  Its size, or 0 where it is none. */
static size_t whole_frame(struct frame_splitter *s, int64_t t, const char *bytes, size_t len,
                        each_frame *each, void *arg)
{
	const struct frame_sync *y = &s->sync;
	size_t size = s->size;
	if (s->started || s->joining || s->spent || s->lost || s->len || len < size)
		return 0;
	if (memcmp(bytes, y->head, y->heads) != 0 ||
	    memcmp(bytes + size - y->tails, y->tail, y->tails) != 0)
		return 0;
	for (size_t i = 0; y->numbered && i < size; i++)
		if ((unsigned char)bytes[i] >> 4 != i + 1)
			return 0;
	memcpy(s->buffer, bytes, size);
	s->len = size;
	s->started = true;
	s->first = s->last = t;
	give_whole(s, each, arg);
	return size;
}

void frame_feed(struct frame_splitter *s, int64_t t, const char *bytes, size_t len,
                void (*each)(void *arg, const struct frame *f), void *arg)
{
	for (size_t i = 0; i < len;) {
		size_t whole = s->end == FRAME_FIXED ? whole_frame(s, t, bytes + i, len - i, each, arg)
		                                     : whole_line(s, t, bytes + i, len - i, each, arg);
		if (whole) {
			i += whole;
			continue;
		}
		if (s->end == FRAME_LINE)
			line_byte(s, t, bytes[i++], each, arg);
		else
			fixed_byte(s, t, bytes[i++], each, arg);
		s->last = t;
		if (s->end == FRAME_LINE)
			i += plain_run(s, bytes + i, len - i);
	}
}

void frame_bad_byte(struct frame_splitter *s, int64_t t)
{
	/* No frame can be handed on from here.  What stands in the buffer and the void
	 * byte become one bad frame, even across a silence: bad they are both. */
	if (!s->started) {
		if (s->joining && silent(s, t, join_us(s)))
			s->joining = false;
		if (s->spent && silent(s, t, s->gap_us))
			s->spent = false;
		if (s->lost && s->gap_us && silent(s, t, s->gap_us))
			s->lost = false;
	}
	if (s->head > HEAD_DIGITS || s->block == 0 || (s->gap_us && silent(s, t, s->gap_us)))
		no_block(s); /* a head with a void byte says nothing */
	else
		s->block--;
	append(s, t, VOID_BYTE);
	s->bad = true;
	s->cr = false;
	s->last = t;
}

void frame_finish(struct frame_splitter *s, void (*each)(void *arg, const struct frame *f),
                  void *arg)
{
	if (s->started)
		give(s, FRAME_CUT, each, arg);
	s->cr = s->spent = s->lost = false;
	s->tail_seen = 0;
}

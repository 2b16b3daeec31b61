/* SPDX-License-Identifier: MIT */
/*
 * Fixed frames that tell by themselves where they begin: by numbers, by a tail, by a
 * head and silence; and lines with an end of their own.  Each stream is damaged at
 * every byte, and may lose frames by it, but never gives one that was not sent.
 */
#include "tests/check.h"

#include <stdbool.h>

#include "protocol/meter/frame.h"

#define SIZE 14
#define FRAMES 8

struct heard {
	int good, bad, wrong, partial;
	const char (*truth)[SIZE];
	int64_t last_t;
};

static void hear(void *arg, const struct frame *f)
{
	struct heard *h = arg;
	if (f->fault != FRAME_GOOD) {
		h->bad++;
		h->partial += f->fault == FRAME_PARTIAL;
		return;
	}
	bool sent = false;
	for (int k = 0; k < FRAMES && f->len == SIZE; k++)
		sent = sent || memcmp(f->bytes, h->truth[k], SIZE) == 0;
	h->good += sent;
	h->wrong += !sent;
	h->last_t = f->t;
}

enum sort { NUMBERED, TAIL, HEAD_TAIL, HEAD, SORTS };
static const char *const sort_name[] = {"numbered", "tail", "head and tail", "head alone"};

static struct frame_sync sync_of(enum sort sort)
{
	struct frame_sync y = {.numbered = sort == NUMBERED};
	if (sort == TAIL || sort == HEAD_TAIL)
		y.tails = 2, memcpy(y.tail, "\r\n", 2);
	if (sort == HEAD_TAIL || sort == HEAD)
		y.heads = 1, y.head[0] = '\x02';
	return y;
}

/* Frames that hold bytes of head and tail as data, too. */
static void make(enum sort sort, char truth[FRAMES][SIZE])
{
	for (int k = 0; k < FRAMES; k++)
		for (int i = 0; i < SIZE; i++) {
			int data = (k * 7 + i * 5) & 15;
			truth[k][i] = sort == NUMBERED ? (char)((i + 1) << 4 | data)
			              : i == 6         ? '\n'
			              : i == 9         ? '\x02'
			                               : (char)('0' + data % 10);
			if ((sort == HEAD || sort == HEAD_TAIL) && i == 0)
				truth[k][i] = '\x02';
			if ((sort == TAIL || sort == HEAD_TAIL) && i >= 12)
				truth[k][i] = i == 12 ? '\r' : '\n';
		}
}

enum damage { NONE, CUT, DOUBLED, INSERTED, VOID, DAMAGES };

/* All frames in one run, one byte of frame 3 damaged; `gap` us between frames. */
static void run(enum sort sort, enum damage damage, int at, int64_t gap, bool piecewise,
                struct heard *h)
{
	static char truth[FRAMES][SIZE];
	struct frame_splitter s;
	struct frame_sync y = sync_of(sort);
	int64_t t = 1000000;
	make(sort, truth);
	*h = (struct heard){.truth = (const char (*)[SIZE])truth};
	frame_begin(&s, FRAME_FIXED, SIZE, 30000, 0);
	frame_sync(&s, &y);
	for (int k = 0; k < FRAMES; k++, t += gap) {
		char bytes[SIZE + 1];
		size_t n = 0;
		for (int i = 0; i < SIZE; i++) {
			bool here = k == 3 && i == at;
			if (here && damage == VOID) {
				frame_feed(&s, t, bytes, n, hear, h);
				frame_bad_byte(&s, t);
				n = 0;
				continue;
			}
			if (here && damage == INSERTED)
				bytes[n++] = '\x55';
			if (!here || damage != CUT)
				bytes[n++] = truth[k][i];
			if (here && damage == DOUBLED)
				bytes[n++] = truth[k][i];
		}
		for (size_t i = 0; i < n && piecewise; i++)
			frame_feed(&s, t, bytes + i, 1, hear, h);
		if (!piecewise)
			frame_feed(&s, t, bytes, n, hear, h);
	}
	frame_finish(&s, hear, h);
}

static void no_frame_that_was_not_sent(void **state)
{
	(void)state;
	for (enum sort sort = 0; sort < SORTS; sort++)
		for (enum damage damage = 0; damage < DAMAGES; damage++)
			for (int at = 0; at < SIZE; at++)
				for (int variant = 0; variant < 4; variant++) {
					struct heard h;
					int64_t gap = variant & 1 ? 250000 : 0;
					run(sort, damage, at, gap, variant & 2, &h);
					/* Behind a silence nothing but the damaged one is lost.  Without one a
					 * head alone tells nothing, and a tail in the middle costs one more. */
					int least = gap ? FRAMES - 1 : sort == HEAD ? 1 : FRAMES - 2;
					if (damage == NONE)
						least = gap || sort != HEAD ? FRAMES : 1;
					/* With one byte too many the first fourteen look whole, where nothing but
					 * silence and a head tells: what stands in them must say so. */
					bool blind = sort == HEAD && (damage == DOUBLED || damage == INSERTED);
					if (blind) {
						assert_true(h.wrong <= 1 && h.bad > 0);
						continue;
					}
					if (h.wrong || h.good < least || (damage != NONE && !h.bad))
						note_row("%s, damage %d at %d, gap %d: %d good, %d bad, %d wrong",
						         sort_name[sort], (int)damage, at, (int)gap, h.good, h.bad, h.wrong);
					assert_int_equal(h.wrong, 0);
					assert_true(h.good >= least);
					assert_true(damage == NONE || h.bad > 0 ||
					            (sort == HEAD && !gap));
				}
}

/* Opened in the middle of a frame: the rest of it is partial, the next one is good. */
static void joined_in_the_middle(void **state)
{
	(void)state;
	for (enum sort sort = 0; sort < HEAD; sort++)
		for (int from = 1; from < SIZE; from++) {
			char truth[FRAMES][SIZE];
			struct frame_splitter s;
			struct frame_sync y = sync_of(sort);
			struct heard h = {.truth = (const char (*)[SIZE])truth};
			make(sort, truth);
			frame_begin(&s, FRAME_FIXED, SIZE, 30000, 0);
			frame_sync(&s, &y);
			frame_feed(&s, 1000, truth[0] + from, (size_t)(SIZE - from), hear, &h);
			assert_int_equal(h.good, 0);
			frame_feed(&s, 2000, truth[1], SIZE, hear, &h);
			frame_feed(&s, 3000, truth[2], SIZE, hear, &h);
			/* Half a tail is none: then the next frame is lost with it. */
			bool half = sort != NUMBERED && from == SIZE - 1;
			assert_int_equal(h.good, half ? 1 : 2);
			assert_int_equal(h.partial, 1);
			assert_int_equal(h.bad, 1);
			assert_int_equal(h.wrong, 0);
			assert_int_equal(h.last_t, 3000);
		}
}

/* A tail that begins anew inside itself: "aab" in "aaab". */
static void a_tail_with_a_border(void **state)
{
	struct frame_splitter s;
	struct frame_sync y = {.tails = 3, .tail = "aab"};
	char truth[FRAMES][SIZE];
	struct heard h = {.truth = (const char (*)[SIZE])truth};
	(void)state;
	for (int k = 0; k < FRAMES; k++)
		memcpy(truth[k], "12345678901aab", SIZE);
	frame_begin(&s, FRAME_FIXED, SIZE, 30000, 0);
	frame_sync(&s, &y);
	frame_feed(&s, 1000000, "123456789012aaab", 16, hear, &h);
	frame_feed(&s, 1000000, truth[0], SIZE, hear, &h);
	assert_int_equal(h.bad, 1);
	assert_int_equal(h.good, 1);
	assert_int_equal(h.wrong, 0);
}

static void what_does_not_fit_is_not_taken(void **state)
{
	static const struct frame_sync bad[] = {{.numbered = true},
	                                        {.heads = FRAME_SYNC_MAX + 1},
	                                        {.heads = 1, .head = "\x02"}};
	(void)state;
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		struct frame_splitter s;
		frame_begin(&s, FRAME_FIXED, 16, 0, 0);
		frame_sync(&s, &bad[i]);
		assert_false(s.sync.numbered);
		assert_int_equal(s.sync.heads, 0);
	}
}

static void count(void *arg, const struct frame *f)
{
	int *n = arg;
	assert_int_equal(f->fault, FRAME_GOOD);
	assert_int_equal(f->len, 5);
	++*n;
}

static void lines_with_their_own_end(void **state)
{
	struct frame_splitter s;
	struct frame_sync y = {.tails = 1, .tail = "\x03"};
	int n = 0;
	(void)state;
	frame_begin(&s, FRAME_LINE, 0, 0, -1000000);
	frame_sync(&s, &y);
	frame_feed(&s, 0, "1\r\n V\x03" "2\n\r V\x03" "3", 13, count, &n);
	assert_int_equal(n, 2);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(no_frame_that_was_not_sent),
	    cmocka_unit_test(joined_in_the_middle),
	    cmocka_unit_test(a_tail_with_a_border),
	    cmocka_unit_test(what_does_not_fit_is_not_taken),
	    cmocka_unit_test(lines_with_their_own_end),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

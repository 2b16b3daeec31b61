/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: the frame splitter.
 *
 * Input: byte 0 chooses line or fixed, the silence before a frame and what else
 * tells where one begins (numbers, head, tail, blocks), byte 1 the size of a fixed frame; then pieces, each a byte of length (255: one bad byte,
 * 254: the line goes away and comes back), a byte of time (10 ms each) and that
 * many bytes.
 *
 * What must hold: whole, byte by byte or in halves the same bytes give the same
 * frames; no frame holds more than came, nor an end of its own; times do not fall.
 */
#include "protocol/meter/frame.h"
#include "tests/fuzz.h"

#define FRAMES_MAX 1024

struct heard {
	size_t frames, bytes;
	int64_t last;
	enum frame_end end;
	size_t size;
	const struct frame_sync *sync; /* as it was taken */
	struct {
		int64_t t;
		enum frame_fault fault;
		size_t len;
		uint32_t sum;
	} frame[FRAMES_MAX];
};

/* A good frame is what the rules say, byte for byte. */
static void good_fixed(const struct heard *h, const struct frame *f)
{
	const struct frame_sync *y = h->sync;
	must(f->len == h->size);
	must(!y->heads || memcmp(f->bytes, y->head, y->heads) == 0);
	must(!y->tails || memcmp(f->bytes + f->len - y->tails, y->tail, y->tails) == 0);
	for (size_t i = 0; i < f->len && y->numbered; i++)
		must((size_t)((uint8_t)f->bytes[i] >> 4) == i + 1);
}

static void begin(struct frame_splitter *s, const uint8_t *data, struct heard *h, int64_t gap,
                  int64_t t)
{
	static const struct frame_sync syncs[] = {
	    {0},
	    {.numbered = true},
	    {.tails = 2, .tail = "\r\n"},
	    {.heads = 1, .head = "\x02"},
	    {.heads = 1, .tails = 1, .head = "\x02", .tail = "\x03"},
	    {.tails = 3, .tail = "aab"},
	    {.numbered = true, .heads = 1, .head = "\x12"},
	    {.tails = 1, .tail = "\x03"}};
	frame_begin(s, h->end, data[1], gap, t);
	struct frame_sync sync = syncs[data[0] >> 3 & 7];
	sync.blocks = data[0] & 0x40;
	frame_sync(s, &sync);
	h->sync = &s->sync;
}

static void on_frame(void *arg, const struct frame *f)
{
	struct heard *h = arg;
	uint32_t sum = 2166136261u;
	must(f->len <= FRAME_MAX && f->t >= h->last);
	must(frame_fault_word(f->fault)[0]);
	h->last = f->t;
	h->bytes += f->len;
	for (size_t i = 0; i < f->len; i++)
		sum = (sum ^ (uint8_t)f->bytes[i]) * 16777619u;
	if (h->end == FRAME_LINE)
		must(!f->len || h->sync->blocks || /* whose data may be line ends */
		     !memchr(f->bytes, h->sync->tails == 1 ? h->sync->tail[0] : '\n', f->len));
	else if (f->fault == FRAME_GOOD)
		good_fixed(h, f);
	if (h->frames < FRAMES_MAX) {
		h->frame[h->frames].t = f->t;
		h->frame[h->frames].fault = f->fault;
		h->frame[h->frames].len = f->len;
		h->frame[h->frames].sum = sum;
	}
	h->frames++;
}

/* `piece`: bytes fed at once, 0 for all that came together. */
static void drive(const uint8_t *data, size_t size, size_t piece, struct heard *h)
{
	static const int64_t gaps[] = {0, 5000, 100000, FRAME_LINE_GAP_US};
	struct frame_splitter s;
	int64_t t = 0, gap = gaps[data[0] >> 1 & 3];
	size_t fixed = data[1], came = 0;
	h->frames = h->bytes = 0;
	h->last = 0;
	h->end = data[0] & 1 ? FRAME_FIXED : FRAME_LINE;
	h->size = fixed < 1 ? 1 : fixed;
	begin(&s, data, h, gap, t);
	for (size_t i = 2; i + 2 <= size;) {
		size_t len = data[i];
		t += data[i + 1] * INT64_C(10000);
		i += 2;
		if (len == 255) {
			frame_bad_byte(&s, t);
			came++;
			continue;
		}
		if (len == 254) {
			frame_finish(&s, on_frame, h);
			begin(&s, data, h, gap, t);
			continue;
		}
		if (len > size - i)
			len = size - i;
		came += len;
		for (size_t at = 0, n; at < len; at += n) {
			n = piece && piece < len - at ? piece : len - at;
			/* A copy of its own, so that a look behind the piece is seen. */
			char *bytes = malloc(n);
			must(bytes);
			memcpy(bytes, data + i + at, n);
			frame_feed(&s, t, bytes, n, on_frame, h);
			free(bytes);
		}
		i += len;
	}
	frame_finish(&s, on_frame, h);
	frame_finish(&s, on_frame, h); /* nothing is there any more */
	must(h->bytes <= came);
}

static void same(const struct heard *a, const struct heard *b)
{
	must(a->frames == b->frames);
	for (size_t i = 0; i < a->frames && i < FRAMES_MAX; i++)
		must(a->frame[i].t == b->frame[i].t && a->frame[i].fault == b->frame[i].fault &&
		     a->frame[i].len == b->frame[i].len && a->frame[i].sum == b->frame[i].sum);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static struct heard whole, single, pieces;
	if (size < 2 || size > 4096)
		return 0;
	drive(data, size, 0, &whole);
	drive(data, size, 1, &single);
	drive(data, size, 7, &pieces);
	same(&whole, &single);
	same(&whole, &pieces);
	return 0;
}

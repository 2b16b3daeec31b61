/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: the look of a line's bytes.
 *
 * Input: byte 0 chooses bits, parity and whether the driver counts errors; then what
 * came over the line, where FF stands for a byte with an error.
 *
 * What must hold: in whatever pieces, the same bytes look the same; what is proposed
 * differs from what is set; nothing is said where nothing is seen; a dialect that is
 * named fits.
 */
#include "protocol/meter/look.h"
#include "tests/fuzz.h"

static void take(struct look *l, const uint8_t *data, size_t size, size_t piece)
{
	for (size_t i = 0; i < size;) {
		size_t n = 0;
		while (n < piece && i + n < size && data[i + n] != 0xff)
			n++;
		look_bytes(l, (const char *)data + i, n);
		i += n;
		if (i < size && data[i] == 0xff) {
			look_bad(l);
			i++;
		}
	}
}

static void judged(const struct look *l, const struct line_settings *line, long framing,
                   long parity)
{
	struct look_said s;
	char text[500];
	look_judge(l, line, framing, parity, &s);
	look_text(&s, text, sizeof text);
	must(s.word < LOOK_WORDS && look_word(s.word)[0]);
	must(s.count >= 0 && s.count <= LOOK_SIZE);
	must(s.bad >= 0 && s.bad <= 1 && s.high >= 0 && s.high <= 1);
	must(s.odd_ones >= 0 && s.odd_ones <= 1);
	must((s.word == LOOK_LITTLE) == (s.count < LOOK_LEAST));
	must((text[0] == '\0') == (s.word == LOOK_LITTLE || s.word == LOOK_PLAIN));
	must(strlen(text) < sizeof text - 1);
	must((s.word == LOOK_SLOWER) == (s.ratio > 1));
	must(s.ratio >= 1 && s.ratio <= 8 && !(s.ratio > 1 && s.not_slower));
	if (s.has_likely)
		must(s.likely.baud != line->baud || s.likely.bits != line->bits ||
		     s.likely.parity != line->parity);
	must(line->parity != PARITY_NONE || (s.word != LOOK_OTHER_PARITY && s.word != LOOK_NO_PARITY));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static struct look whole, single;
	if (size < 1 || size > 4096)
		return 0;
	struct line_settings line = {.baud = 9600, .bits = data[0] & 1 ? 7 : 8, .stop = 1,
	                             .parity = (enum parity)(data[0] >> 1 & 3) % 3};
	memset(&whole, 0, sizeof whole);
	memset(&single, 0, sizeof single);
	take(&whole, data + 1, size - 1, size);
	take(&single, data + 1, size - 1, 1);
	must(whole.bytes == size - 1 && single.bytes == whole.bytes);
	must(whole.bad == single.bad && whole.bad <= whole.bytes);
	for (size_t i = 0; i < LOOK_SIZE; i++) /* the ring may begin elsewhere */
		must(whole.seen[(whole.next + i) % LOOK_SIZE] == single.seen[(single.next + i) % LOOK_SIZE]);
	long counted = data[0] & 8 ? (long)(data[0] >> 4) * 20 : -1;
	judged(&whole, &line, data[0] & 16 ? 0 : counted, counted);
	const struct dialect *d = look_dialect(&whole);
	must(!d || (!d->asked && look_fits(&whole, d)));
	look_contains(&whole, "*IDN?");
	return 0;
}

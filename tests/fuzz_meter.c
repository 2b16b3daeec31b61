/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: bytes of a line, in pieces and at times of the input's choice,
 * through one meter's machine (splitter, dialect, states).
 *
 * Input: byte 0 chooses dialect, replay, identify and whether the function is learnt; then pieces, each a length
 * byte (255: a byte with a parity error; 254: unplugged and back), a byte of time (0
 * to 2.55 s in ten milliseconds) and that many bytes.
 *
 * What must hold: every reading is well formed; a listened line is never sent a
 * byte; counters add up; the same bytes of a listened meter one by one give the
 * same readings.
 */
#include "daemon/meter.h"
#include "tests/fuzz.h"

struct heard {
	struct reading reading[512];
	int readings;
	long frames;
	size_t sent;
};

static void on_send(void *arg, const char *bytes, size_t len)
{
	struct heard *h = arg;
	must(bytes != NULL && len > 0 && len <= METER_COMMAND_MAX + 2);
	h->sent += len;
}

static void on_frame(void *arg, const struct frame *f, const struct understood *u)
{
	struct heard *h = arg;
	must(f->len <= FRAME_MAX);
	must(u->said != SAID_NOTHING || u->why[0]);
	h->frames++;
}

static void on_reading(void *arg, const struct reading *r)
{
	struct heard *h = arg;
	must(r->function > FUNCTION_NONE && r->function < FUNCTION_COUNT);
	must(!(r->has_value && (r->state & READING_OVERLOAD)));
	must(r->has_value || r->state != 0);
	must(r->value.e >= DECIMAL_EXP_MIN && r->value.e <= DECIMAL_EXP_MAX);
	char shown[80];
	must(reading_shown(r, shown, sizeof shown) > 0);
	if (h->readings < 512)
		h->reading[h->readings++] = *r;
}

static void pass(struct meter *m, int64_t until)
{
	for (int i = 0; i < 1000 && meter_deadline(m) <= until; i++)
		meter_tick(m, meter_deadline(m));
}

static void drive(const struct meter_config *c, const uint8_t *data, size_t size, int one_by_one,
                  struct heard *h)
{
	static struct meter m;
	struct meter_hooks hooks = {on_send, on_frame, on_reading, NULL, NULL, h};
	int64_t t = 0;
	memset(h, 0, sizeof *h);
	meter_begin(&m, c, &hooks);
	if (!c->replay)
		meter_opened(&m, 0);
	while (size >= 2) {
		size_t data_len = data[0], len = data_len;
		t += data[1] * INT64_C(10000);
		data += 2;
		size -= 2;
		if (len > size)
			len = size;
		pass(&m, t);
		if (data_len == 255) {
			meter_bad_byte(&m, t);
			continue;
		}
		if (data_len == 254) {
			meter_gone(&m, t, "unplugged");
			meter_opened(&m, t);
			continue;
		}
		if (one_by_one)
			for (size_t i = 0; i < len; i++)
				meter_bytes(&m, t, (const char *)data + i, 1);
		else if (len)
			meter_bytes(&m, t, (const char *)data, len);
		data += len;
		size -= len;
	}
	meter_gone(&m, t, "the end");
	const struct meter_counters *n = meter_counters(&m);
	must((long)(n->good + n->bad) == h->frames);
	/* (What waited for the function was a good frame.) */
	must(n->late <= n->bad || m.learn.on);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static struct heard whole, single;
	struct meter_config c;
	if (size < 1 || size > 4096)
		return 0;
	static const char *const others[] = {NULL, "ascii-number", "ask-comma", "columns-14"};
	const char *name = others[data[0] >> 5 & 3];
	if (!name)
		name = data[0] & 1 ? "scpi" : "ascii-unit";
	meter_config_standard(&c, dialect_find(name, strlen(name)));
	c.replay = data[0] & 2;
	c.identify = data[0] & 4;
	c.function = data[0] & 8 ? FUNCTION_FARAD : FUNCTION_OHM;
	if (data[0] & 128)
		c.function = FUNCTION_NONE; /* learnt, where it can be */
	if (data[0] & 16) {
		strcpy(c.setup[0], "CONF:RES");
		c.setups = 1;
	}
	drive(&c, data + 1, size - 1, 0, &whole);
	if (c.dialect->asked && !c.replay)
		return 0;
	must(whole.sent == 0);
	drive(&c, data + 1, size - 1, 1, &single);
	must(single.readings == whole.readings && single.frames == whole.frames);
	for (int i = 0; i < whole.readings; i++) {
		const struct reading *a = &whole.reading[i], *b = &single.reading[i];
		must(a->t == b->t && a->function == b->function && a->state == b->state);
		must(a->value.n == b->value.n && a->value.e == b->value.e);
	}
	return 0;
}

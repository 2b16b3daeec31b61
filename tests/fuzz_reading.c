/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: one frame of an `ascii-unit` or `scpi` meter, understood.
 *
 * Input: byte 0 chooses the dialect, the configured function and digit; the rest
 * is the frame, or up to four of them with LF between (a meter remembers digits).
 *
 * What must hold: a reading is well formed; its value is the one that strtod finds
 * in the text; shown and read again it is the same; a plain number of IEEE 488.2
 * (NR1, NR2, NR3) that fits is always a reading.
 */
#include "protocol/meter/dialect.h"
#include "tests/fuzz.h"

#include <math.h>

static void well_formed(const struct reading *r)
{
	must(r->function > FUNCTION_NONE && r->function < FUNCTION_COUNT);
	must(r->has_value || r->state);
	must(!(r->has_value && (r->state & (READING_OVERLOAD | READING_INVALID))));
	must(r->value.e >= DECIMAL_EXP_MIN && r->value.e <= DECIMAL_EXP_MAX);
	must(r->prefix % 3 == 0 && r->prefix >= -12 && r->prefix <= 12);
	char shown[128];
	must(reading_shown(r, shown, sizeof shown) == strlen(shown) && shown[0]);
}

static bool near(double a, double b)
{
	return fabs(a - b) <= 4e-15 * (fabs(a) + fabs(b));
}

/* ---- ascii-unit ---- */

static void unit_number(const char *text, const struct reading *r)
{
	const char *digit = text + strcspn(text, ".0123456789");
	double sign = memchr(text, '-', (size_t)(digit - text)) ? -1 : 1;
	must(near(sign * strtod(digit, NULL) * pow(10, r->prefix), decimal_double(r->value)));
}

static void unit_again(const struct dialect *d, const struct reading *r)
{
	char shown[160];
	struct dialect_setting setting = {0};
	struct dialect_memory memory = {0};
	struct understood u;
	size_t n = reading_shown(r, shown, sizeof shown);
	if (r->function == FUNCTION_VOLT_AC || r->function == FUNCTION_AMP_AC)
		n += (size_t)snprintf(shown + n, sizeof shown - n, " AC");
	struct frame f = {.bytes = shown, .len = n, .t = r->t};
	d->understand(&setting, &memory, &f, &u);
	must(u.said == SAID_READINGS && u.count == 1 && u.reading[0].has_value);
	must(u.reading[0].function == r->function && u.reading[0].prefix == r->prefix);
	must(decimal_compare(u.reading[0].value, r->value) == 0);
}

/* ---- scpi ---- */

/* A number of IEEE 488.2 as strictly as it is sent: [sign] digits [. digits]
 * [E [sign] digits], with at most 15 digits and a small exponent. */
static bool plain_number(const char *text, size_t len)
{
	size_t i = 0, digits = 0, exponent = 0;
	if (i < len && (text[i] == '+' || text[i] == '-'))
		i++;
	for (; i < len && text[i] >= '0' && text[i] <= '9'; i++)
		digits++;
	if (!digits)
		return false;
	if (i < len && text[i] == '.') {
		size_t before = digits;
		for (i++; i < len && text[i] >= '0' && text[i] <= '9'; i++)
			digits++;
		if (digits == before)
			return false;
	}
	if (i < len && text[i] == 'E') {
		i++;
		if (i < len && (text[i] == '+' || text[i] == '-'))
			i++;
		for (; i < len && text[i] >= '0' && text[i] <= '9'; i++)
			exponent++;
		if (exponent != 1 && exponent != 2)
			return false;
		if (exponent == 2 && text[i - 2] > '1')
			return false;
	}
	return i == len && digits <= 15;
}

static void scpi_number(const char *text, size_t len, const struct understood *u)
{
	if (!plain_number(text, len))
		return;
	must(u->said == SAID_READINGS && u->count == 1 && u->reading[0].has_value);
	must(decimal_double(u->reading[0].value) == strtod(text, NULL));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static const enum function functions[] = {FUNCTION_NONE, FUNCTION_OHM, FUNCTION_FARAD,
	                                          FUNCTION_VOLT_AC};
	if (size < 1)
		return 0;
	bool scpi = data[0] & 1;
	const char *name = scpi ? "scpi" : "ascii-unit";
	const struct dialect *d = dialect_find(name, strlen(name));
	struct dialect_setting setting = {.function = functions[data[0] >> 1 & 3],
	                                  .has_digit = data[0] & 8, .digit = {1, -(data[0] >> 4)}};
	struct dialect_memory memory = {0};
	size_t at = 1;
	for (int k = 0; k < 4 && at <= size; k++) {
		const uint8_t *lf = memchr(data + at, '\n', size - at);
		size_t n = lf ? (size_t)(lf - (data + at)) : size - at;
		if (n > FRAME_MAX)
			return 0;
		char text[FRAME_MAX + 1]; /* with a NUL, for strtod alone */
		memcpy(text, data + at, n);
		text[n] = '\0';
		char *bytes = malloc(n ? n : 1);
		must(bytes);
		memcpy(bytes, data + at, n);
		struct frame f = {.bytes = bytes, .len = n, .t = 7};
		struct understood u;
		memset(&u, 0xa5, sizeof u); /* *out is filled whole */
		d->understand(&setting, &memory, &f, &u);
		free(bytes);
		must(u.said <= SAID_NOTHING && u.count >= 0 && u.count <= READINGS_IN_FRAME_MAX);
		must((u.said == SAID_READINGS) == (u.count > 0));
		must(u.said != SAID_NOTHING || (u.why[0] && strlen(u.why) < sizeof u.why));
		for (int i = 0; i < u.count; i++) {
			well_formed(&u.reading[i]);
			must(u.reading[i].t == 7);
			if (!scpi && u.reading[i].has_value) {
				unit_number(text, &u.reading[i]);
				unit_again(d, &u.reading[i]);
			}
		}
		if (scpi)
			scpi_number(text, n, &u);
		at += n + 1;
	}
	return 0;
}

/* SPDX-License-Identifier: MIT */
/* The dialects `ascii-number` and `ask-comma`; their grammar stands in number.h. */
#include "protocol/meter/number.h"

#include "protocol/meter/stream.h"
#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <string.h>

struct part {
	const char *at;
	size_t len;
};

static struct part trimmed(const char *at, size_t len)
{
	while (len && (*at == ' ' || *at == '\t')) {
		at++;
		len--;
	}
	while (len && (at[len - 1] == ' ' || at[len - 1] == '\t'))
		len--;
	return (struct part){at, len};
}

static bool is_word(struct part p, const char *word)
{
	if (p.len != strlen(word))
		return false;
	for (size_t i = 0; i < p.len; i++) {
		char c = ascii_upper(p.at[i]);
		if (c != word[i])
			return false;
	}
	return true;
}

static bool nothing(struct understood *out, const char *why)
{
	out->said = SAID_NOTHING;
	out->count = 0;
	snprintf(out->why, sizeof out->why, "%s", why);
	return false;
}

/* A number, or OL with a sign. */
static bool read_value(struct part p, struct reading *r)
{
	if (decimal_parse(p.at, p.len, &r->value)) {
		r->has_value = true;
		return true;
	}
	bool minus = p.len && *p.at == '-';
	if (p.len && (*p.at == '-' || *p.at == '+'))
		p = (struct part){p.at + 1, p.len - 1};
	if (!is_word(p, "OL") && !is_word(p, "O.L"))
		return false;
	r->state |= READING_OVERLOAD;
	r->negative = minus;
	return true;
}

static void one_reading(const struct reading *r, struct understood *out)
{
	out->said = SAID_READINGS;
	out->reading[0] = *r;
	out->count = 1;
}

void ascii_number_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                             const struct frame *f, struct understood *out)
{
	(void)memory;
	understood_clear(out, SAID_NOTHING);
	struct part line = trimmed(f->bytes, f->len);
	struct reading r = {.t = f->t};
	if (!line.len) {
		out->said = SAID_OTHER;
		return;
	}
	if (!read_value(line, &r)) {
		nothing(out, "a bare number of up to 18 digits, or OL, was expected");
		return;
	}
	r.function = setting->function != FUNCTION_NONE ? setting->function : FUNCTION_NUMBER;
	if (r.has_value)
		r.prefix = quantity_prefix(r.value, r.function);
	one_reading(&r, out);
}

/* ---- value,unit,state ---- */

/* "V AC", "mV DC", "kOhm": the coupling stands last. */
static bool read_unit(struct part p, struct reading *r)
{
	bool ac = p.len > 3 && is_word((struct part){p.at + p.len - 2, 2}, "AC");
	bool dc = p.len > 3 && is_word((struct part){p.at + p.len - 2, 2}, "DC");
	if (ac || dc)
		p = trimmed(p.at, p.len - 2);
	if (!unit_read(p.at, p.len, &r->function, &r->prefix))
		return false;
	bool electric = r->function == FUNCTION_VOLT_DC || r->function == FUNCTION_AMP_DC;
	if ((ac || dc) && !electric)
		return false;
	if (ac)
		r->function = r->function == FUNCTION_VOLT_DC ? FUNCTION_VOLT_AC : FUNCTION_AMP_AC;
	return true;
}

static bool read_states(struct part p, unsigned *state)
{
	static const struct {
		const char *word;
		unsigned state;
	} words[] = {{"OK", 0}, {"HOLD", READING_HOLD}, {"BATT", READING_LOW_BATTERY},
	             {"OL", READING_OVERLOAD}, {"REL", READING_RELATIVE}};
	while (p.len) {
		size_t n = 0, i = 0;
		while (n < p.len && p.at[n] != ' ')
			n++;
		while (i < sizeof words / sizeof *words && !is_word((struct part){p.at, n}, words[i].word))
			i++;
		if (i == sizeof words / sizeof *words)
			return false;
		*state |= words[i].state;
		p = trimmed(p.at + n, p.len - n);
	}
	return true;
}

static bool read_three(const struct frame *f, struct reading *r, struct understood *out)
{
	struct part part[3];
	const char *at = f->bytes, *end = f->bytes + f->len;
	for (int i = 0; i < 3; i++) {
		const char *comma = memchr(at, ',', (size_t)(end - at));
		if ((i < 2) != (comma != NULL))
			return nothing(out, "three parts were expected: value,unit,state");
		const char *stop = comma ? comma : end;
		part[i] = trimmed(at, (size_t)(stop - at));
		at = comma ? comma + 1 : end;
	}
	if (!read_value(part[0], r))
		return nothing(out, "a number of up to 18 digits, or OL, was expected first");
	if (!read_unit(part[1], r))
		return nothing(out, "a unit was expected second: V A Ohm F H Hz C %, with p n u m k M G");
	unsigned state = 0;
	if (!read_states(part[2], &state))
		return nothing(out, "a state was expected third: OK, HOLD, BATT, REL, OL, or nothing");
	if (r->has_value && (state & READING_OVERLOAD))
		return nothing(out, "a number and an overload in one answer");
	r->state |= state;
	if (r->has_value) {
		r->value.e += r->prefix;
		if (r->value.e < DECIMAL_EXP_MIN || r->value.e > DECIMAL_EXP_MAX)
			return nothing(out, "a number within 1e-40 and 1e40 was expected");
	}
	return true;
}

void ask_comma_understand(const struct dialect_setting *setting, struct dialect_memory *memory,
                          const struct frame *f, struct understood *out)
{
	(void)setting;
	(void)memory;
	understood_clear(out, SAID_NOTHING);
	struct reading r = {.t = f->t};
	if (trimmed(f->bytes, f->len).len == 0)
		out->said = SAID_OTHER;
	else if (read_three(f, &r, out))
		one_reading(&r, out);
}

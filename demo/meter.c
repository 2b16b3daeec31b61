/* SPDX-License-Identifier: MIT */
/* See meter.h. */
#include "meter.h"

#include "tape.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

/* In [0, 1); the same run of numbers every time, a run of its own for each meter. */
static double chance(struct meter *m)
{
	m->random ^= m->random << 13;
	m->random ^= m->random >> 7;
	m->random ^= m->random << 17;
	return (double)(m->random >> 11) / 9007199254740992.0;
}

/* Normal enough: the sum of twelve. */
static double normal(struct meter *m)
{
	double sum = -6;
	for (int i = 0; i < 12; i++)
		sum += chance(m);
	return sum;
}

/* ---- its line ---- */

void meter_plug(struct meter *m)
{
	struct termios t;
	if (tape_on()) {
		if (now() > 0)
			tape_act("meter %s back", m->name);
		m->fd = INT_MAX; /* never read from */
		return;
	}
	m->fd = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
	if (m->fd < 0 || grantpt(m->fd) < 0 || unlockpt(m->fd) < 0)
		stop("no pseudo-terminal for %s: %s", m->name, strerror(errno));
	/* Raw before the first byte: else our own lines would be echoed back to us. */
	if (tcgetattr(m->fd, &t) == 0) {
		cfmakeraw(&t);
		tcsetattr(m->fd, TCSANOW, &t);
	}
	m->keep = open(ptsname(m->fd), O_RDWR | O_NOCTTY | O_CLOEXEC);
	fcntl(m->fd, F_SETFL, O_NONBLOCK);
	unlink(m->link);
	if (symlink(ptsname(m->fd), m->link) < 0)
		stop("%s: %s", m->link, strerror(errno));
	m->in_len = 0;
	m->answer_at = 0;
}

void meter_unplug(struct meter *m)
{
	if (tape_on()) {
		tape_act("meter %s gone", m->name);
		m->fd = -1;
		return;
	}
	if (m->fd >= 0) {
		/* Its number is another's only once nothing leads to it. */
		close(m->fd);
		unlink(m->link);
		close(m->keep);
	}
	m->fd = m->keep = -1;
}

void meter_say(struct meter *m, const char *line)
{
	if (tape_on() && m->fd >= 0) {
		tape_line(m->name, line);
		return;
	}
	if (m->fd >= 0 && write(m->fd, line, strlen(line)) < 0 && errno != EAGAIN)
		meter_unplug(m);
}

/* ---- what it displays ---- */

/* Is there contact now?  Chatter: gaps of 0.12 s, one each 0.28 s after the touch. */
static bool contact(const struct meter *m, double t)
{
	double after = t - m->since;
	if (!m->touching || t < m->off_until)
		return false;
	int gap = (int)floor(after / 0.28);
	return gap >= m->chatter || after - gap * 0.28 < 0.16;
}

/* The digit of the smallest range (decades from `lowest`) that holds `value`; a range
 * has `counts` digits. */
static int digit_for(double value, double counts, int lowest)
{
	int digit = lowest;
	while (fabs(value) > counts * pow(10, digit) * 0.9999)
		digit++;
	return digit;
}

struct display meter_display(struct meter *m, double t)
{
	/* weight of the last digit in the most sensitive range, for 10,000 counts; and
	 * the end of the last range */
	static const int finest[] = { -1, -12, -5, -5 };
	static const double end[] = { 60e6, 10e-3, 1000, 750 };
	int lowest = finest[m->dial] - (m->counts > 50000 ? 1 : 0);
	double v = 0, noise = m->noise;

	if (m->part && m->dial == VOLT) {
		v = part_volts(m->part - 1, m->where, t);
	} else if (m->amplifier && (m->dial == VOLT || m->dial == VOLT_AC)) {
		v = amplifier_volts(m->amplifier - 1, m->place, m->dial == VOLT_AC, t);
	} else if (contact(m, t) && !m->is_open) {
		v = m->value * (1 + m->error / 100);
		if (m->tau > 0)
			v += (m->from - m->value) * exp(-(t - m->since) / m->tau);
	} else if (m->dial == OHM) {
		return (struct display){ .overload = true, .range = 6 };
	} else {
		/* leads in the air: some pF, some mV, wandering */
		v = m->dial == FARAD ? 15e-12 + 6e-12 * sin(t * 1.7) : 2e-3 * sin(t * 2.3);
		noise = 1;
	}
	if (m->dial == VOLT_AC) /* it shows no sign */
		v = fabs(v);
	if (fabs(v) > end[m->dial])
		return (struct display){ .overload = true, .range = 6 };
	int digit = digit_for(v, m->counts, lowest);
	if (contact(m, t) && m->hunt > 0) {
		/* too small a range first, then one too large */
		if (m->hunt-- > 1)
			return (struct display){ .overload = true, .range = digit + 3 };
		digit += 1;
	}
	double weight = pow(10, digit);
	v = round(v / weight + noise * normal(m)) * weight;
	return (struct display){ .value = v, .digit = digit, .range = digit + 4 };
}

/* ---- the handheld's lines ---- */

static void talk(struct meter *m, double t)
{
	static const char *const unit[] = { "Ohm", "F", "V", "V" };
	static const char letters[] = "pnum kMG"; /* from -12 in steps of three */
	struct display d = meter_display(m, t);
	/* The prefix goes with the range: 600.0 ohm, then 6.000 kohm. */
	int prefix = (int)floor((d.digit + 3) / 3.0) * 3;
	char line[64], letter[8] = "";
	if (d.overload)
		prefix = m->dial == OHM ? 6 : m->dial == FARAD ? -3 : 0;
	if (prefix < -12)
		prefix = -12;
	if (m->dial >= VOLT && prefix > 0)
		prefix = 0;
	if (prefix)
		snprintf(letter, sizeof letter, "%c", letters[prefix / 3 + 4]);
	/* the tight one has a micro sign */
	if (prefix == -6 && m->tight)
		strcpy(letter, "\xc2\xb5");
	int decimals = prefix > d.digit ? prefix - d.digit : 0;
	const char *kind = m->dial == VOLT ? " DC" : m->dial == VOLT_AC ? " AC" : "";
	if (d.overload)
		snprintf(line, sizeof line, "OL %s%s%s\r\n", letter, unit[m->dial], kind);
	else
		snprintf(line, sizeof line, m->tight ? "%.*f%s%s%s\r\n" : "%+.*f %s%s%s\r\n", decimals,
		         d.value / pow(10, prefix), letter, unit[m->dial], kind);
	meter_say(m, line);
}

/* ---- the whole of it ---- */

void meter_listen(struct meter *m, double t)
{
	char bytes[256];
	ssize_t n = read(m->fd, bytes, sizeof bytes);
	for (ssize_t i = 0; i < n; i++) {
		char c = bytes[i];
		if (!m->asked)
			continue; /* a handheld does not listen; its line must be drained all the same */
		if (c == '\n' || c == '\r' || c == ';') {
			m->in[m->in_len] = '\0';
			char *command = m->in + strspn(m->in, " \t");
			if (*command)
				meter_obey(m, command, t);
			m->in_len = 0;
		} else if (m->in_len < sizeof m->in - 1) {
			m->in[m->in_len++] = c;
		}
	}
}

double meter_tick(struct meter *m, double t)
{
	if (m->fd < 0)
		return t + 1;
	if (m->asked) {
		if (m->answer_at > 0 && t >= m->answer_at) {
			m->answer_at = 0;
			meter_answer(m, t);
		}
		return m->answer_at > 0 ? m->answer_at : t + 1;
	}
	if (t >= m->next) {
		talk(m, t);
		m->next = m->next + m->period > t ? m->next + m->period : t + m->period;
	}
	return m->next;
}

/* SPDX-License-Identifier: MIT */
/*
 * The demo's bench: meters on pseudo-terminals, and the hands that hold their probes.
 *
 *     meters --lines FOLDER [--socket PATH] [--tally COMMAND] [--stay] [--seed N] SCENE
 *     meters --tape FILE.rec [--seed N] SCENE
 *
 * makes one pseudo-terminal for each meter of the scene, with a link FOLDER/NAME to
 * it, and plays the scene in real time.  With --socket the hands listen to the
 * daemon, as a person would: they touch a part when its name is called and lift
 * when its value is logged; without it they go by the clock.  --tally is the client
 * with its options, for what is done by key.  When the scene has ended the line
 * "end" is printed; with --stay the meters go on talking until a signal comes.  --seed:
 * other noise, and hands that wait a little more or less before they touch.
 *
 * --tape: nobody listens; the scene is played as fast as it can be, on a clock of its own, and
 * what the lines would have carried, and what would have been done by key, is written as a
 * recording (`tallyd --replay`).  Only meters that talk can be taped.
 *
 * This program shares no code with the daemon, so that each checks the other.
 *
 * A scene is text, one step a line, # begins a comment:
 *
 *     meter NAME asked COUNTS      a bench meter that is asked in SCPI
 *     meter NAME talks COUNTS RATE [tight]
 *                                  a handheld that sends RATE lines a second, such as
 *                                  "+0.4812 kOhm"; tight: without sign and space
 *     dial NAME ohm|farad|volt-dc|volt-ac  turn its switch
 *     error NAME PERCENT           it reads so much too high
 *     up POSITION                  wait until that name is called (after 5 s: choose it)
 *     await POSITION               wait until that name is called, however long it takes
 *     touch NAME VALUE [noise D] [hunt N] [chatter N] [from VALUE tau S]
 *                                  its probes meet a part of VALUE (ohm, farad or volt,
 *                                  with p n u m k M; or `open`).  noise: sigma of one
 *                                  display in digits; hunt: so many displays go by
 *                                  before its range is found; chatter: contact is lost so
 *                                  often at first; from, tau: it begins there and
 *                                  approaches the value with this time constant
 *     hold logged|S                keep them there until it is logged (at most 12 s)
 *     slip S                       the probe leaves for S seconds and comes back
 *     lift                         take them away
 *     pause S
 *     unplug NAME, plug NAME       the adapter's cable
 *     tally WORDS...               what is done by key: run the client
 *     say TEXT                     print it
 *     clip NAME at|over PART       it stays on volts of a part of parts.h, which says how
 *                                  there is one: electrolytic, supply, discharge
 *     clip NAME PLACE AMPLIFIER    ... of an amplifier of amplifier.h: rail, heater, bias, sense,
 *                                  sense-other, out; amplifier, mains, put, out, signal, load
 *
 * hold, slip and lift are about the meter that touched last.
 */
#include "amplifier.h"
#include "parts.h"

#include <ctype.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <math.h>
#include <poll.h>
#include <signal.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#define METERS_MAX 8
#define STEPS_MAX 1000
#define WORDS_MAX 16
#define CALL_SECONDS 5     /* a name that is not called: choose it */
#define LOGGED_SECONDS 12  /* a value that is not logged: go on */
#define CLOCK_CALL 1.7     /* without a daemon to listen to */
#define CLOCK_LOGGED 1.6
#define CONVERSION 0.08    /* seconds that the asked meter takes */

enum function { OHM, FARAD, VOLT, VOLT_AC };

/* ---- a meter ---- */

struct meter {
	char name[24];
	bool asked, tight;
	double counts, period, next; /* seconds */
	enum function dial;
	double error; /* reads so much too high */
	int fd, keep; /* the pty, and its other end so that it never hangs up by itself */
	char link[300];

	/* what its probes touch */
	bool touching, is_open;
	double value, from, tau, noise;
	double since;       /* when they met */
	int hunt, chatter;
	double off_until;   /* a slip */
	int part;           /* it is clipped there, from 1; 0: nowhere */
	enum part_where where;
	int amplifier;      /* ... or there, from 1 */
	enum amplifier_place place;

	/* of the asked one */
	char in[256];
	size_t in_len;
	double answer_at; /* a conversion is on its way; 0: none */
	char errors[8][64];
	int error_count;
	uint64_t random;
};

static struct meter meters[METERS_MAX];
static int meter_count;

static FILE *tape;       /* a recording is written, on a clock of its own */
static double tape_time;

static double now(void)
{
	struct timespec t;
	if (tape)
		return tape_time;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static _Noreturn void stop(const char *format, ...) __attribute__((format(printf, 1, 2)));
static _Noreturn void stop(const char *format, ...)
{
	va_list args;
	va_start(args, format);
	fputs("meters: ", stderr);
	vfprintf(stderr, format, args);
	fputc('\n', stderr);
	va_end(args);
	exit(2);
}

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

static void plug(struct meter *m)
{
	struct termios t;
	if (tape) {
		if (tape_time > 0)
			fprintf(tape, "%.6f @meter %s back\n", tape_time, m->name);
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

static void unplug(struct meter *m)
{
	if (tape) {
		fprintf(tape, "%.6f @meter %s gone\n", tape_time, m->name);
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

/* The line as a recording has it. */
static void tape_line(const struct meter *m, const char *line)
{
	fprintf(tape, "%.6f %s \"", tape_time, m->name);
	for (const unsigned char *c = (const unsigned char *)line; *c; c++) {
		if (*c == '\r' || *c == '\n')
			fprintf(tape, "\\%c", *c == '\r' ? 'r' : 'n');
		else
			fprintf(tape, *c < 0x20 || *c > 0x7e ? "\\x%02x" : "%c", *c);
	}
	fputs("\"\n", tape);
}

static void send_line(struct meter *m, const char *line)
{
	if (tape && m->fd >= 0) {
		tape_line(m, line);
		return;
	}
	/* A full line loses what is said, as a cable with nobody at its end does. */
	if (m->fd >= 0 && write(m->fd, line, strlen(line)) < 0 && errno != EAGAIN)
		unplug(m);
}

/* ---- what it displays ---- */

struct display {
	bool overload;
	double value;
	int digit; /* power of ten that the last digit weighs */
	int range; /* power of ten of the range's end */
};

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

static struct display display(struct meter *m, double t)
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
	struct display d = display(m, t);
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
	send_line(m, line);
}

/* ---- the bench meter's answers ---- */

/* A command word in its short or long form: "CONF" of "CONFigure". */
static bool word_is(const char *word, size_t len, const char *form)
{
	size_t brief = 0, whole = strlen(form);
	while (isupper((unsigned char)form[brief]))
		brief++;
	return (len == brief || len == whole) && strncasecmp(word, form, len) == 0;
}

/* Do the words of `command` (with : between) fit the forms (with : between)? */
static bool command_is(const char *command, const char *forms)
{
	size_t len = strcspn(command, " ?");
	if (*command == ':') {
		command++;
		len--;
	}
	for (;;) {
		size_t word = strcspn(command, ": ?"), form = strcspn(forms, ":");
		char one[32];
		snprintf(one, sizeof one, "%.*s", (int)form, forms);
		if (!word_is(command, word, one))
			return false;
		len -= word;
		command += word;
		forms += form;
		if (len == 0 || !*forms)
			return len == 0 && !*forms;
		command++;
		forms++;
		len--;
	}
}

static void error_add(struct meter *m, int number, const char *text)
{
	if (m->error_count < 8)
		snprintf(m->errors[m->error_count++], sizeof m->errors[0], "%d,\"%s\"\r\n", number, text);
}

/* NR3 with just the digits of the range: +1.0234E+05. */
static void answer_reading(struct meter *m, double t)
{
	struct display d = display(m, t);
	char line[64];
	if (d.overload) {
		send_line(m, "+9.90000000E+37\r\n");
		return;
	}
	double size = fabs(d.value) > 0 ? fabs(d.value) : pow(10, d.digit);
	int decimals = (int)floor(log10(size) + 1e-9) - d.digit;
	snprintf(line, sizeof line, "%+.*E\r\n", decimals > 0 ? decimals : 0, d.value);
	send_line(m, line);
}

static void obey(struct meter *m, const char *command, double t)
{
	static const struct {
		const char *forms;
		enum function dial;
	} set[] = {
		{ "CONFigure:RESistance", OHM },
		{ "CONFigure:CAPacitance", FARAD },
		{ "CONFigure:VOLTage:DC", VOLT },
		{ "MEASure:RESistance", OHM },
		{ "MEASure:CAPacitance", FARAD },
		{ "MEASure:VOLTage:DC", VOLT },
	};
	bool asks = strchr(command, '?') != NULL;
	if (strcasecmp(command, "*IDN?") == 0) {
		send_line(m, "QUILLMARSH,TABLE NINE,000417,1.07\r\n");
	} else if (strcasecmp(command, "*CLS") == 0) {
		m->error_count = 0;
	} else if (strcasecmp(command, "*RST") == 0) {
		m->dial = VOLT;
	} else if (strcasecmp(command, "*OPC?") == 0) {
		send_line(m, "1\r\n");
	} else if (asks && (command_is(command, "SYSTem:ERRor") ||
	                    command_is(command, "SYSTem:ERRor:NEXT"))) {
		send_line(m, m->error_count ? m->errors[0] : "0,\"No error\"\r\n");
		if (m->error_count)
			memmove(m->errors, m->errors + 1, sizeof m->errors[0] * (size_t)--m->error_count);
	} else if (asks && (command_is(command, "READ") || command_is(command, "FETCh"))) {
		m->answer_at = t + CONVERSION;
	} else {
		for (size_t i = 0; i < sizeof set / sizeof set[0]; i++)
			if (command_is(command, set[i].forms) && asks == (set[i].forms[0] == 'M')) {
				m->dial = set[i].dial;
				if (asks)
					m->answer_at = t + CONVERSION;
				return;
			}
		/* no reply to what it does not know, as the standard has it */
		error_add(m, -113, "Undefined header");
	}
}

static void listen_to_line(struct meter *m, double t)
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
				obey(m, command, t);
			m->in_len = 0;
		} else if (m->in_len < sizeof m->in - 1) {
			m->in[m->in_len++] = c;
		}
	}
}

/* Whatever is due; returns when the next thing is. */
static double meter_tick(struct meter *m, double t)
{
	if (m->fd < 0)
		return t + 1;
	if (m->asked) {
		if (m->answer_at > 0 && t >= m->answer_at) {
			m->answer_at = 0;
			answer_reading(m, t);
		}
		return m->answer_at > 0 ? m->answer_at : t + 1;
	}
	if (t >= m->next) {
		talk(m, t);
		m->next = m->next + m->period > t ? m->next + m->period : t + m->period;
	}
	return m->next;
}

/* ---- what the hands hear ---- */

static const char *socket_path;
static const char *tally = "";
static int ear = -1;
static double ear_retry;
static char heard[1 << 16];
static size_t heard_len;
static char called[40];        /* the name that was called last */
static char logged_name[40];   /* the position of the last value logged */
static unsigned logged_count;

/* The text after "KEY":" in a line without spaces, up to the next quote. */
static bool text_of(const char *line, const char *key, char *out, size_t size)
{
	char mark[40];
	snprintf(mark, sizeof mark, "\"%s\":\"", key);
	const char *at = strstr(line, mark);
	if (!at)
		return false;
	at += strlen(mark);
	snprintf(out, size, "%.*s", (int)strcspn(at, "\""), at);
	return true;
}

static void hear_line(char *line)
{
	char event[32], position[40];
	char *to = line;
	for (char *from = line; *from; from++)
		if (*from != ' ')
			*to++ = *from;
	*to = '\0';
	if (!strstr(line, "\"method\":\"event\"") || !text_of(line, "event", event, sizeof event) ||
	    !text_of(line, "position", position, sizeof position))
		return;
	if (strcmp(event, "up") == 0)
		memcpy(called, position, sizeof called);
	if (strcmp(event, "logged") == 0) {
		memcpy(logged_name, position, sizeof logged_name);
		logged_count++;
	}
}

static void ear_open(double t)
{
	static const char hello[] =
	    "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"hello\",\"params\":{\"protocol\":1,"
	    "\"client\":\"demo-hands\"}}\n"
	    "{\"jsonrpc\":\"2.0\",\"id\":2,\"method\":\"watch\",\"params\":{}}\n";
	struct sockaddr_un to = { .sun_family = AF_UNIX };
	ear_retry = t + 0.1;
	if (strlen(socket_path) >= sizeof to.sun_path)
		stop("the path of the socket is too long: %s", socket_path);
	strcpy(to.sun_path, socket_path);
	ear = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
	if (ear >= 0 && (connect(ear, (struct sockaddr *)&to, sizeof to) < 0 ||
	                 write(ear, hello, sizeof hello - 1) != (ssize_t)sizeof hello - 1)) {
		close(ear);
		ear = -1;
	}
	if (ear >= 0)
		fcntl(ear, F_SETFL, O_NONBLOCK);
}

static void hear(void)
{
	ssize_t n = read(ear, heard + heard_len, sizeof heard - 1 - heard_len);
	if (n == 0 || (n < 0 && errno != EAGAIN)) {
		close(ear);
		ear = -1;
		return;
	}
	heard_len += n > 0 ? (size_t)n : 0;
	heard[heard_len] = '\0';
	char *line = heard, *end;
	while ((end = strchr(line, '\n'))) {
		*end = '\0';
		hear_line(line);
		line = end + 1;
	}
	heard_len = strlen(line);
	memmove(heard, line, heard_len + 1);
	if (heard_len == sizeof heard - 1) /* no line that the hands care for is so long */
		heard_len = 0;
}

/* ---- the scene ---- */

struct step {
	int line;
	int words;
	char *word[WORDS_MAX];
	char *rest; /* all after the first word */
};

static struct step steps[STEPS_MAX];
static int step_count, step_at;
static const char *scene;
static const char *folder;
static uint64_t seed;
static double touch_at; /* the hands are there; 0: the name was not called yet */

static bool begun;          /* the step at hand has begun and is waited for */
static double step_since;
static struct meter *in_hand;
static char position[40];   /* called last by the scene */
static unsigned logged_before;
static pid_t client;
static int chosen_line;        /* the `up` that chose its position by itself */

static _Noreturn void wrong(const struct step *s, const char *expected)
{
	fprintf(stderr, "%s:%d: `%s`: expected %s\n", scene, s->line, s->word[0], expected);
	exit(2);
}

static struct meter *meter_of(const struct step *s, int i)
{
	for (int k = 0; i < s->words && k < meter_count; k++)
		if (strcmp(meters[k].name, s->word[i]) == 0)
			return &meters[k];
	wrong(s, "the name of a meter");
}

/* A number with a prefix; the C locale is never changed, so strtod has a point. */
static double number(const struct step *s, int i)
{
	static const struct {
		char letter;
		double factor;
	} prefix[] = { { 'p', 1e-12 }, { 'n', 1e-9 }, { 'u', 1e-6 }, { 'm', 1e-3 },
		           { 'k', 1e3 },   { 'M', 1e6 },  { '\0', 1 } };
	char *end;
	if (i >= s->words)
		wrong(s, "a number");
	double v = strtod(s->word[i], &end);
	for (size_t k = 0; end > s->word[i] && k < sizeof prefix / sizeof prefix[0]; k++)
		if (*end == prefix[k].letter && (!*end || !end[1]))
			return v * prefix[k].factor;
	wrong(s, "a number, with p n u m k M if need be");
}

static void step_meter(const struct step *s)
{
	if (s->words < 4 || meter_count == METERS_MAX || strlen(s->word[1]) >= 24)
		wrong(s, "meter NAME asked COUNTS, or meter NAME talks COUNTS RATE [tight]");
	struct meter *m = &meters[meter_count++];
	snprintf(m->name, sizeof m->name, "%s", s->word[1]);
	m->asked = strcmp(s->word[2], "asked") == 0;
	m->counts = number(s, 3);
	if (m->asked && tape)
		wrong(s, "a meter that talks: what is asked cannot be taped");
	if (!m->asked && (strcmp(s->word[2], "talks") != 0 || s->words < 5 || number(s, 4) <= 0))
		wrong(s, "meter NAME talks COUNTS RATE [tight]");
	m->period = m->asked ? 0 : 1 / number(s, 4);
	m->tight = s->words > 5 && strcmp(s->word[5], "tight") == 0;
	m->random = 0x9e3779b97f4a7c15u * ((uint64_t)meter_count + METERS_MAX * seed);
	m->next = now();
	snprintf(m->link, sizeof m->link, "%s/%s", folder, s->word[1]);
	plug(m);
}

static void step_dial(const struct step *s)
{
	static const char *const names[] = { "ohm", "farad", "volt-dc", "volt-ac" };
	struct meter *m = meter_of(s, 1);
	for (int i = 0; s->words > 2 && i < 4; i++)
		if (strcmp(s->word[2], names[i]) == 0) {
			m->dial = (enum function)i;
			return;
		}
	wrong(s, "dial NAME ohm, farad, volt-dc or volt-ac");
}

static void step_touch(const struct step *s, double t)
{
	struct meter *m = meter_of(s, 1);
	if (s->words < 3)
		wrong(s, "touch NAME VALUE ...");
	m->is_open = strcmp(s->word[2], "open") == 0;
	m->value = m->is_open ? 0 : number(s, 2);
	m->noise = m->asked ? 0.5 : 0.3;
	m->hunt = m->chatter = 0;
	m->tau = 0;
	for (int i = 3; i < s->words; i += 2) {
		double v = number(s, i + 1);
		if (strcmp(s->word[i], "noise") == 0)
			m->noise = v;
		else if (strcmp(s->word[i], "hunt") == 0)
			m->hunt = (int)v;
		else if (strcmp(s->word[i], "chatter") == 0)
			m->chatter = (int)v;
		else if (strcmp(s->word[i], "from") == 0)
			m->from = v;
		else if (strcmp(s->word[i], "tau") == 0)
			m->tau = v;
		else
			wrong(s, "noise, hunt, chatter, from or tau, each with a number");
	}
	m->part = m->amplifier = 0;
	m->touching = true;
	m->since = t;
	m->off_until = 0;
	in_hand = m;
	logged_before = logged_count;
}

static bool step_hold(const struct step *s, double t)
{
	if (s->words != 2)
		wrong(s, "hold logged, or hold S");
	if (strcmp(s->word[1], "logged") != 0)
		return t - step_since >= number(s, 1);
	if (!socket_path)
		return t - step_since >= CLOCK_LOGGED;
	if (t - step_since >= LOGGED_SECONDS) {
		fprintf(stderr, "%s:%d: %s was not logged within %d s\n", scene, s->line, position,
		        LOGGED_SECONDS);
		return true;
	}
	/* a hand is not faster than this after the tone */
	return logged_count != logged_before && strcmp(logged_name, position) == 0 &&
	       t - step_since >= 0.3;
}

/* Run the client with these words; it is waited for without standing still. */
static void client_start(const char *words)
{
	char command[1200];
	snprintf(command, sizeof command, "exec %s %s", tally, words);
	fflush(NULL);
	client = fork();
	if (client == 0) {
		execl("/bin/sh", "sh", "-c", command, (char *)NULL);
		_exit(127);
	}
}

static bool client_ended(void)
{
	if (client > 0 && waitpid(client, NULL, WNOHANG) == 0)
		return false;
	client = 0;
	return true;
}

/* How long the hands take to the next part, beside what the bench asks for: nothing with
 * seed 0, else up to 0.4 s. */
static double hand_time(const struct step *s)
{
	uint64_t x = (seed + 1) * 0x9e3779b97f4a7c15u + (uint64_t)s->line * 0xd1b54a32d192ed03u;
	x ^= x >> 31;
	x *= 0x9e3779b97f4a7c15u;
	return seed ? 0.4 * (double)(x >> 11) / 9007199254740992.0 : 0;
}

/* Wait for the name; where it is not called for a while choose it, as a person would. */
static bool step_up(const struct step *s, double t)
{
	double waited = t - step_since;
	if (s->words != 2)
		wrong(s, "up POSITION, or await POSITION");
	snprintf(position, sizeof position, "%s", s->word[1]);
	if (!socket_path)
		return waited >= CLOCK_CALL;
	if (strcmp(called, position) == 0) {
		called[0] = '\0'; /* it is called anew for a second touch */
		touch_at = t + hand_time(s);
	}
	if (touch_at > 0) {
		bool there = t >= touch_at && client_ended();
		touch_at = there ? 0 : touch_at;
		return there;
	}
	if (strcmp(s->word[0], "await") == 0)
		return false;
	if (*tally && waited >= CALL_SECONDS && chosen_line != s->line && client_ended()) {
		char words[60];
		chosen_line = s->line;
		snprintf(words, sizeof words, "at %s >/dev/null", position);
		client_start(words);
	}
	return client_ended() && waited >= 2 * CALL_SECONDS;
}

/* What is done by key, as the act that a recording has for it.  A guided run that begins has
 * its yes with it, as the verb does with --yes. */
static void tape_act(const struct step *s)
{
	static const char *const guided[] = {"leak", "reform", "rise", "tune", "lot"};
	const char *verb = s->word[1];
	bool job = strcmp(verb, "job") == 0, begins = false;
	for (size_t i = 0; i < sizeof guided / sizeof *guided; i++)
		begins = begins || strcmp(guided[i], verb) == 0;
	fprintf(tape, "%.6f @%s", tape_time, begins ? "guide" : "");
	bool of_all = begins && s->words > 2 && strchr(s->word[2], '=');
	for (int i = job ? 2 : 1; i < s->words; i++) {
		if (s->word[i][0] != '-' && s->word[i][0] != '>')
			fprintf(tape, "%s%s", i > 1 + job || begins ? " " : "", s->word[i]);
		if (i == 1 && of_all)
			fputs(" -", tape);
	}
	if (begins)
		fprintf(tape, "\n%.6f @go %s", tape_time, strchr(s->word[2], '=') ? verb : s->word[2]);
	fputs("\n", tape);
}

static void step_clip(const struct step *s)
{
	struct meter *m = meter_of(s, 1);
	bool over = s->words == 4 && strcmp(s->word[2], "over") == 0;
	m->noise = 0.3;
	m->part = m->amplifier = 0;
	m->touching = false;
	if (s->words == 4 && amplifier_place_named(s->word[2], &m->place) &&
	    (m->amplifier = amplifier_find(s->word[3]) + 1) > 0)
		return;
	if (s->words != 4 || (!over && strcmp(s->word[2], "at") != 0) || part_find(s->word[3]) < 0)
		wrong(s, "clip NAME at or over PART, or clip NAME PLACE AMPLIFIER, which the scene has");
	m->where = over ? PART_OVER : PART_AT;
	m->part = part_find(s->word[3]) + 1;
	m->dial = VOLT;
}

static double number_of_step(const void *step, int i)
{
	return number(step, i);
}

static bool step_tally(const struct step *s)
{
	if (tape && s->words > 1)
		tape_act(s);
	if (!*tally)
		return true;
	if (!begun)
		client_start(s->rest);
	return client_ended();
}

/* Do one step, or go on waiting in it; true when it is done. */
static bool step_do(const struct step *s, double t)
{
	const char *w = s->word[0];
	const char *expected;
	struct part_step of_part = {s->words, s->word, number_of_step, s};
	if (!begun)
		step_since = t;
	if (amplifier_do(&of_part, t, &expected) || part_do(&of_part, t, &expected)) {
		if (expected)
			wrong(s, expected);
	} else if (strcmp(w, "clip") == 0)
		step_clip(s);
	else if (strcmp(w, "meter") == 0)
		step_meter(s);
	else if (strcmp(w, "dial") == 0)
		step_dial(s);
	else if (strcmp(w, "error") == 0)
		meter_of(s, 1)->error = number(s, 2);
	else if (strcmp(w, "touch") == 0)
		step_touch(s, t);
	else if (strcmp(w, "unplug") == 0)
		unplug(meter_of(s, 1));
	else if (strcmp(w, "plug") == 0)
		plug(meter_of(s, 1));
	else if (strcmp(w, "say") == 0)
		printf("%s\n", s->rest);
	else if (strcmp(w, "pause") == 0)
		return t - step_since >= number(s, 1);
	else if (strcmp(w, "tally") == 0)
		return step_tally(s);
	else if (strcmp(w, "up") == 0 || strcmp(w, "await") == 0)
		return step_up(s, t);
	else if (!in_hand)
		wrong(s, "a step (and a touch before hold, slip and lift)");
	else if (strcmp(w, "hold") == 0)
		return step_hold(s, t);
	else if (strcmp(w, "slip") == 0) {
		in_hand->off_until = step_since + number(s, 1);
		return t >= in_hand->off_until;
	} else if (strcmp(w, "lift") == 0)
		in_hand->touching = false;
	else
		wrong(s, "one of the steps that meters.c lists");
	return true;
}

static void scene_tick(double t)
{
	while (step_at < step_count && step_do(&steps[step_at], t)) {
		step_at++;
		begun = false;
	}
	begun = step_at < step_count;
	fflush(stdout);
}

static void scene_read(void)
{
	char line[1024];
	int number_of = 0;
	FILE *f = fopen(scene, "re");
	if (!f)
		stop("%s: %s", scene, strerror(errno));
	while (fgets(line, sizeof line, f)) {
		number_of++;
		line[strcspn(line, "#\r\n")] = '\0';
		char *text = strdup(line + strspn(line, " \t"));
		if (!text || step_count == STEPS_MAX)
			stop("%s:%d: the scene is too long", scene, number_of);
		if (!*text) {
			free(text);
			continue;
		}
		struct step *s = &steps[step_count++];
		s->line = number_of;
		char *after = text + strcspn(text, " \t");
		s->rest = strdup(after + strspn(after, " \t"));
		for (char *save = NULL, *w = strtok_r(text, " \t", &save);
		     w && s->words < WORDS_MAX; w = strtok_r(NULL, " \t", &save))
			s->word[s->words++] = w;
	}
	fclose(f);
}

/* ---- the whole ---- */

static volatile sig_atomic_t ended;

static void on_signal(int number_of)
{
	(void)number_of;
	ended = 1;
}

/* Until something happens or `until`. */
static void wait_until(double until, double t)
{
	struct pollfd fds[METERS_MAX + 1];
	struct meter *of[METERS_MAX];
	nfds_t n = 0;
	if (tape) {
		tape_time = until;
		return;
	}
	for (int i = 0; i < meter_count; i++)
		if (meters[i].fd >= 0) {
			of[n] = &meters[i];
			fds[n++] = (struct pollfd){ .fd = meters[i].fd, .events = POLLIN };
		}
	nfds_t lines = n;
	if (ear >= 0)
		fds[n++] = (struct pollfd){ .fd = ear, .events = POLLIN };
	int ms = until > t ? (int)((until - t) * 1000) + 1 : 0;
	if (poll(fds, n, ms) <= 0)
		return;
	for (nfds_t i = 0; i < lines; i++)
		if (fds[i].revents & POLLIN)
			listen_to_line(of[i], now());
	if (n > lines && fds[lines].revents)
		hear();
}

static void options(int argc, char **argv, bool *stay)
{
	const char *tape_path = NULL;
	for (int i = 1; i < argc; i++) {
		bool more = i + 1 < argc;
		if (strcmp(argv[i], "--lines") == 0 && more)
			folder = argv[++i];
		else if (strcmp(argv[i], "--socket") == 0 && more)
			socket_path = argv[++i];
		else if (strcmp(argv[i], "--tally") == 0 && more)
			tally = argv[++i];
		else if (strcmp(argv[i], "--tape") == 0 && more)
			tape_path = argv[++i];
		else if (strcmp(argv[i], "--seed") == 0 && more)
			seed = strtoull(argv[++i], NULL, 10);
		else if (strcmp(argv[i], "--stay") == 0)
			*stay = true;
		else if (argv[i][0] != '-' && !scene)
			scene = argv[i];
		else
			scene = folder = tape_path = NULL, i = argc;
	}
	if (!scene || !(folder || tape_path) || (tape_path && (folder || socket_path || *stay)))
		stop("usage: meters --lines FOLDER [--socket PATH] [--tally COMMAND] [--stay] [--seed N] SCENE\n"
		     "        meters --tape FILE.rec [--seed N] SCENE");
	if (!tape_path)
		return;
	tape = fopen(tape_path, "we");
	if (!tape)
		stop("%s: %s", tape_path, strerror(errno));
	fprintf(tape, "# tally recording 1\n");
}

int main(int argc, char **argv)
{
	bool stay = false, said_end = false;
	double end_at = 0;
	options(argc, argv, &stay);
	scene_read();
	signal(SIGTERM, on_signal);
	signal(SIGINT, on_signal);
	signal(SIGPIPE, SIG_IGN);
	while (!ended) {
		double t = now(), until = t + 0.05;
		if (socket_path && ear < 0 && t >= ear_retry)
			ear_open(t);
		scene_tick(t);
		for (int i = 0; i < meter_count; i++) {
			double due = meter_tick(&meters[i], t);
			until = due < until ? due : until;
		}
		if (step_at == step_count && !said_end) {
			said_end = true;
			end_at = t + 1; /* what was said last must be read before the lines go */
			puts("end");
			fflush(stdout);
		}
		if (said_end && !stay && t >= end_at)
			break;
		wait_until(until, t);
	}
	for (int i = 0; !tape && i < meter_count; i++)
		unplug(&meters[i]);
	if (tape && fclose(tape) != 0)
		stop("the recording could not be written: %s", strerror(errno));
	return 0;
}

/* SPDX-License-Identifier: MIT */
/*
 * See doctor.h: what came over an open line, and what that says.
 *
 * The causes that are named for silence stand in the order in which they are met
 * (common practice, no source): the key at the meter, the supply of the isolated
 * cable, the wires, and only then the settings.
 */
#include "daemon/doctor.h"

#include <stdio.h>
#include <string.h>

/* Of all frames: from here on bad ones are worth a word, and stand in the way. */
#define SPOILT_SHARE 0.01
#define SPOILT_FAULT 0.10
#define SPOILT_LEAST 5
/* More bad ones than one in so many good ones: the frames are not understood. */
#define MISFIT 2
#define RECONNECTS 3

static double bad_share(const struct doctor_counters *c)
{
	int64_t all = c->good + c->bad;
	return all > 0 ? (double)c->bad / (double)all : 0;
}

static bool not_understood(const struct doctor_counters *c)
{
	return c->bad > 0 && c->bad * MISFIT > c->good;
}

/* ---- silence ---- */

/* What dtr and rts do now, and what to try: an isolated cable lives on them. */
static void wires_advice(const struct line_settings *s, char *out, size_t size)
{
	static const char *const word[] = {"leave", "on", "off"};
	const char *next = s->dtr == WIRE_ON && s->rts == WIRE_OFF ? "`dtr = off` and `rts = on`"
	                   : s->dtr == WIRE_OFF && s->rts == WIRE_ON ? "`dtr = on` and `rts = on`"
	                                                             : "`dtr = on` and `rts = off`";
	snprintf(out, size, "an isolated cable takes its supply from dtr and rts, one on and one off "
	         "with most of them: here they are dtr = %s, rts = %s; try %s in the meter's section",
	         word[s->dtr], word[s->rts], next);
}

static void find_never_spoke(const struct doctor_meter *m, int meter, struct findings *out)
{
	char wires[300], cure[900];
	const struct line_settings *s = &m->config->serial;
	wires_advice(s, wires, sizeof wires);
	snprintf(cure, sizeof cure, "in this order: is the meter on, and its data output too (often a "
	         "key held or pressed; many switch it off again with themselves)? Does the head of an "
	         "optical cable sit right? Then the supply: %s. Then the wires: a cable may need its "
	         "two data wires crossed. Speed comes last: at a wrong one bytes would come, only "
	         "wrong ones", wires);
	finding_add(out, meter, FINDING_SILENT, true, cure,
	            "the line is open for %.0f s and not one byte has come, right or wrong",
	            (double)m->open_us / 1e6);
}

static void find_fell_silent(const struct doctor_meter *m, int meter, struct findings *out)
{
	finding_add(out, meter, FINDING_SILENT, true,
	            "look at the meter: it has switched itself off, its data output is off, or the "
	            "head of the cable slipped. A meter that sends nothing while its leads are open is "
	            "in order",
	            "it has sent nothing for %.0f s; before that it did", (double)m->quiet_us / 1e6);
}

/* ---- the look of the bytes ---- */

/* What to do about it, the settings that the bytes speak of first. */
static const char *look_cure(const struct look_said *l)
{
	switch (l->word) {
	case LOOK_SLOWER:
		return "set `serial =` to the speed that stands in the meter's manual";
	case LOOK_HELD:
		return "try a much lower speed in `serial =` (the meter's manual has it); where that "
		       "changes nothing, the line is held or upside down: a cable for 3.3 or 5 V signals "
		       "on an adapter for RS-232, or the other way round";
	case LOOK_NOT_TEXT:
		return "set speed, bits and parity in `serial =` as the meter's manual has them. Where "
		       "they are right it speaks a dialect of bytes, not of lines: `tally meters tape "
		       "NAME` records it, and a dialect file describes it";
	default:
		break;
	}
	return l->not_slower
	           ? "try the next higher speeds in `serial =`, then 7 bits and parity; the meter's "
	             "manual has the right ones. Where single frames come out well, it is the cable or "
	             "a disturbance: another cable, away from mains leads"
	           : "set speed, bits and parity in `serial =` as the meter's manual has them";
}

static enum finding_word look_finding(enum look_word w)
{
	return w == LOOK_SLOWER || w == LOOK_HELD             ? FINDING_SPEED
	       : w == LOOK_GARBLED || w == LOOK_NOT_TEXT ? FINDING_GARBLED
	                                                 : FINDING_BITS;
}

/* True where the bytes themselves are wrong: then nothing is to be said of frames. */
static bool find_look(const struct doctor_meter *m, int meter, struct findings *out)
{
	char text[500], cure[900], now[40], likely[40];
	look_text(&m->look, text, sizeof text);
	if (m->fits || !text[0])
		return false;
	/* A dialect of bytes looks so, too. */
	if (m->look.word == LOOK_NOT_TEXT && (!not_understood(&m->counters) || m->other))
		return false;
	line_settings_text(&m->config->serial, now, sizeof now);
	line_settings_text(&m->look.likely, likely, sizeof likely);
	if (m->look.has_likely)
		snprintf(cure, sizeof cure, "write `serial = %s` under [meter %s], or set the meter to "
		         "what stands there now", likely, m->config->name);
	else
		snprintf(cure, sizeof cure, "%s", look_cure(&m->look));
	finding_add(out, meter, look_finding(m->look.word), true, cure, "%s (the line is read as "
	                                                                "%s)", text,
	            now);
	return true;
}

static void find_dialect(const struct doctor_meter *m, int meter, struct findings *out)
{
	char cure[900];
	const char *name = m->config->name;
	if (m->other) {
		snprintf(cure, sizeof cure, "write `dialect = %s` under [meter "
		                            "%s]%s%s", m->other->name, name,
		         m->other->bare ? ", with `function =`: its numbers have no unit" : "",
		         m->config->dialect->asked ? "; it talks by itself and need not be asked" : "");
		finding_add(out, meter, FINDING_DIALECT, true, cure,
		            "the bytes are in order, but it does not speak %s: %s understands them",
		            m->config->dialect->name, m->other->name);
		return;
	}
	snprintf(cure, sizeof cure, "`tally meters raw %s` shows each frame and why it is none; `tally "
	         "meters try DIALECT %s` holds another dialect against it. A dialect file describes a "
	         "new one", name, name);
	finding_add(out, meter, FINDING_DIALECT, true, cure,
	            "the bytes are in order, but %s does not understand them: %lld frames bad, %lld "
	            "good",
	            m->config->dialect->name, (long long)m->counters.bad, (long long)m->counters.good);
}

/* ---- meters that are asked ---- */

/* What it is asked first. */
static const char *question(const struct doctor_meter *m)
{
	const struct dialect *d = m->config->dialect;
	return d->identify && m->config->identify ? d->identify : m->config->query;
}

static void find_no_answer(const struct doctor_meter *m, int meter, struct findings *out)
{
	char wires[300], cure[900];
	const struct dialect *d = m->config->dialect;
	const char *asked = question(m);
	bool lines = d->line_end && d->line_end[0];
	wires_advice(&m->config->serial, wires, sizeof wires);
	snprintf(cure, sizeof cure, "in this order: is the meter on, and set to answer over this "
	         "socket (many have a menu: RS-232 or USB, remote)? Its speed and bits against `serial "
	         "=`; its two data wires, crossed or not; %s. %s%s", wires,
	         d->identify && m->config->identify
	             ? "A meter that knows no *IDN? wants `identify = no`. " : "",
	         lines ? "One that waits for another line end than ours wants a dialect file with its "
	                 "`line end`" : "");
	finding_add(out, meter, FINDING_NO_ANSWER, true, cure,
	            "it was asked %.60s%s and answered nothing: not one byte in %.0f s", asked,
	            !lines                        ? " (without a line end)"
	            : strcmp(d->line_end, "\n") == 0 ? " (ended by LF)"
	            : strcmp(d->line_end, "\r") == 0 ? " (ended by CR)" : "",
	            (double)m->open_us / 1e6);
}

static void find_stopped(const struct doctor_meter *m, int meter, struct findings *out)
{
	finding_add(out, meter, FINDING_NO_ANSWER, true,
	            "look at the meter: off, set to local, or busy longer than `timeout`. The daemon "
	            "goes on asking and takes it back by itself",
	            "it has stopped answering%s%s", m->why[0] ? ": " : "", m->why);
}

/* True where that explains the rest. */
static bool find_asked(const struct doctor_meter *m, int meter, struct findings *out)
{
	bool waiting = strcmp(m->state, "identifying") == 0 || strcmp(m->state, "silent") == 0;
	bool patient = m->open_us >= DOCTOR_PATIENCE_US || m->counters.timeouts > 0;
	if (strcmp(m->state, "set-up refused") == 0) {
		finding_add(out, meter, FINDING_SETUP, true,
		            "put that command right in `setup =` (the meter's manual has its words), or "
		            "leave it out; after a change start tallyd again",
		            "it refused its set-up: %s", m->why[0] ? m->why : "it did not say why");
		return true;
	}
	if (m->echoed && m->counters.readings <= 0) {
		finding_add(out, meter, FINDING_ECHO, true,
		            "switch the meter's echo off; a loop in the plug (pins 2 and 3 joined) or a cable "
		            "with a single data wire does the same",
		            "what is sent comes back: `%s` stands among the bytes that came", question(m));
		return true;
	}
	if (!waiting || !patient)
		return false;
	if (m->bytes == 0)
		find_no_answer(m, meter, out);
	else if (m->counters.readings > 0)
		find_stopped(m, meter, out);
	else if (!find_look(m, meter, out))
		find_dialect(m, meter, out);
	return true;
}

/* ---- counters ---- */

static void find_counters(const struct doctor_meter *m, int meter, struct findings *out)
{
	const struct doctor_counters *c = &m->counters;
	double share = bad_share(c);
	if (c->bad >= SPOILT_LEAST && share >= SPOILT_SHARE)
		/* Counted since the start: what was mended meanwhile is past. */
		finding_add(out, meter, FINDING_SPOILT, share >= SPOILT_FAULT && !m->fits,
		            "a shorter or screened cable, away from mains leads and the transformer; "
		            "`tally meters raw` shows which frames, and why",
		            "%.1f %% of its frames since the start were spoilt (%lld of "
		            "%lld)%s%s", share * 100,
		            (long long)c->bad, (long long)(c->bad + c->good),
		            c->parity > 0 ? ", some by bytes with parity or framing errors" : "",
		            m->fits ? "; of the last ones hardly any" : "");
	else if (c->parity >= SPOILT_LEAST)
		finding_add(out, meter, FINDING_SPOILT, false,
		            "a shorter or screened cable, away from mains leads and the transformer",
		            "%lld bytes came with parity or framing errors; their frames were not taken",
		            (long long)c->parity);
	if (m->overrun > 0)
		finding_add(out, meter, FINDING_SPOILT, false,
		            "hardware flow control (`flow = hardware`) where meter and cable know it, else "
		            "a lower "
		            "speed", "the adapter lost %ld bytes that were not fetched in "
		                     "time", m->overrun);
	if (c->timeouts + c->late > 0 && c->readings > 0 && (c->timeouts + c->late) * 100 > c->readings)
		finding_add(out, meter, FINDING_SLOW, false,
		            "give it more time (`timeout = SECONDS`), or ask less often (`pace = SECONDS`)",
		            "it answers late: %lld time-outs, %lld late answers beside %lld readings",
		            (long long)c->timeouts, (long long)c->late, (long long)c->readings);
	if (c->stale > 0)
		finding_add(out, meter, FINDING_UNSTEADY, false,
		            "its automatic power-off, a cable whose head slips, or a meter that sends "
		            "nothing while its leads are open",
		            "it fell silent for three periods and more %lld times", (long long)c->stale);
	if (c->resync > 0 && c->resync * 100 > c->good)
		finding_add(out, meter, FINDING_UNSTEADY, false,
		            "the cable, or a speed at the edge: `tally meters raw` shows what comes in "
		            "between",
		            "the beginning of a frame had to be looked for %lld "
		            "times", (long long)c->resync);
	if (c->reconnects >= RECONNECTS)
		finding_add(out, meter, FINDING_UNSTEADY, false,
		            "another USB socket, without a hub; a ferrite on the cable. Switching mains "
		            "nearby can throw an adapter off the "
		            "bus", "its line went away and came back %lld times",
		            (long long)c->reconnects);
}

void doctor_line(const struct doctor *d, int meter, struct findings *out)
{
	const struct doctor_meter *m = &d->meter[meter];
	if (m->line != DOCTOR_OPEN)
		return;
	if (m->config->dialect->asked) {
		if (find_asked(m, meter, out))
			return;
	} else if (m->bytes == 0) {
		if (m->open_us >= DOCTOR_PATIENCE_US)
			find_never_spoke(m, meter, out);
		return;
	}
	if (find_look(m, meter, out))
		return;
	if (not_understood(&m->counters) && !m->fits && m->look.word != LOOK_LITTLE) {
		find_dialect(m, meter, out);
		return;
	}
	if (!m->config->dialect->asked && m->quiet_us > DOCTOR_PATIENCE_US &&
	    (strcmp(m->state, "stale") == 0 || m->quiet_us > 4 * DOCTOR_PATIENCE_US))
		find_fell_silent(m, meter, out);
	find_counters(m, meter, out);
}

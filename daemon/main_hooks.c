/* SPDX-License-Identifier: MIT */
/*
 * What bench and log say, to clients and to the journal: a part of main (main_stand.h).
 */
#include "daemon/main_stand.h"

#include "daemon/main_doctor.h"
#include "protocol/record/recording.h"
#include "protocol/record/text.h"

#include <stdio.h>
#include <string.h>

/* ---- bench to server ---- */

static void bench_send(void *arg, const char *meter, const char *bytes, size_t len)
{
	struct stand *s = arg;
	int i = bench_meter_index(s->bench, meter);
	struct line *l = i >= 0 ? s->line[i] : NULL;
	if (!l)
		return;
	bool clogged = !port_send(l->port, bytes, len);
	if (clogged && !l->clogged)
		say_of(&(struct say_about){.level = SAY_WARNING, .event = "line-trouble", .meter = meter},
		       "%s: the line does not take what it is asked", meter);
	l->clogged = clogged;
}

/* A member of an event, "" where it has none. */
static void member(const char *json, const char *name, char *out, size_t size)
{
	struct slice s = json_member(json, strlen(json), name);
	if (!s.at || !json_text(s, out, size))
		out[0] = '\0';
}

static bool line_is_open(const struct stand *s, const char *meter)
{
	int i = bench_meter_index(s->bench, meter);
	return i >= 0 && s->line[i] && port_state(s->line[i]->port) == PORT_OPEN;
}

/* Events that whoever looks after the machine wants to hear of.  What the line itself did was
 * said by main_lines.c: gone and back are of interest while it is open. */
static void say_event(const struct stand *s, const char *json)
{
	char event[32], meter[NAME_SIZE], why[400], position[NAME_SIZE];
	member(json, "event", event, sizeof event);
	member(json, "meter", meter, sizeof meter);
	member(json, "why", why, sizeof why);
	member(json, "position", position, sizeof position);
	struct say_about about = {.level = SAY_WARNING, .event = event,
	                          .meter = meter[0] ? meter : NULL};
	if (strcmp(event, "not-logged") == 0) {
		about.level = SAY_ERROR;
		about.source = "log";
		say_of(&about, "NOT LOGGED: %s%s%s%s%s%s", position, position[0] ? ", " : "",
		       meter[0] ? "meter " : "", meter, meter[0] ? ": " : "", why);
	} else if (strcmp(event, "stale") == 0) {
		say_of(&about, "%s: %s", meter, why);
	} else if (strcmp(event, "fresh") == 0) {
		about.level = SAY_INFO;
		say_of(&about, "%s: reads again", meter);
	} else if (strcmp(event, "gone") == 0 && strcmp(why, "time-out") == 0 && line_is_open(s, meter)) {
		about.event = "silent";
		say_of(&about, "%s: does not answer in time", meter);
	}
}

static void bench_said(void *arg, const char *json)
{
	struct stand *s = arg;
	if (s->bench)
		say_event(s, json);
	if (s->server)
		server_event(s->server, json);
}

static void bench_framed(void *arg, const char *meter, const struct frame *f,
                         const struct understood *u)
{
	struct stand *s = arg;
	char json[4096], escaped[FRAME_MAX * 4 + 1], shown[80];
	struct text t;
	static const char *const said[] = {"readings", "identity", "error", "other", "nothing"};
	if (!s->server || !server_wants_frames(s->server, meter))
		return;
	recording_escape(f->bytes, f->len, escaped, sizeof escaped);
	text_begin(&t, json, sizeof json);
	text_puts(&t, "{\"meter\":");
	text_string(&t, meter, strlen(meter));
	text_member(&t, "t");
	text_time(&t, s->utc + f->t);
	text_member_string(&t, "bytes", escaped);
	text_member_string(&t, "fault", frame_fault_word(f->fault));
	text_member_string(&t, "said", said[u->said]);
	text_member(&t, "shown");
	text_puts(&t, "[");
	for (int i = 0; i < u->count; i++) {
		reading_shown(&u->reading[i], shown, sizeof shown);
		text_puts(&t, i ? "," : "");
		text_string(&t, shown, strlen(shown));
	}
	text_puts(&t, "]");
	text_member_string(&t, "why", u->said == SAID_NOTHING ? u->why : u->text);
	text_puts(&t, "}");
	if (!t.failed)
		server_frame(s->server, meter, json);
}

static void bench_acted(void *arg, const char *meter, int64_t t, const char *act,
                        const char *rest)
{
	struct stand *s = arg;
	if (s->server)
		tape_act(s, meter, t, act, rest);
}

static void bench_recorded(void *arg, int64_t seq, const char *text, size_t len)
{
	struct stand *s = arg;
	if (s->server)
		server_record(s->server, seq, text, len);
}

void on_live(uv_timer_t *timer)
{
	struct stand *s = timer->data;
	char json[65536];
	struct text t;
	if (!server_wants_live(s->server))
		return;
	text_begin(&t, json, sizeof json);
	bench_live(s->bench, stream_now(s), &t);
	if (!t.failed)
		server_live(s->server, json);
}

/* ---- the doctor ---- */

static void line_facts(const struct line *l, int64_t t, struct doctor_meter *m)
{
	struct port_errors errors;
	enum port_state state = port_state(l->port);
	m->line = state == PORT_OPEN ? DOCTOR_OPEN : state == PORT_REFUSED ? DOCTOR_REFUSED
	                                                                   : DOCTOR_ABSENT;
	if (port_why(l->port))
		snprintf(m->refused, sizeof m->refused, "%s", port_why(l->port)->text);
	m->open_us = t - l->opened;
	m->quiet_us = l->look.bytes ? t - l->last : -1;
	m->framing = m->parity = m->overrun = -1;
	if (port_errors(l->port, &errors)) {
		m->framing = errors.framing;
		m->parity = errors.parity;
		m->overrun = errors.overrun + errors.lost;
	}
	m->heard = l->look;
}

static void doctor_done(void *arg)
{
	struct stand *s = arg;
	s->doctors--;
	stand_forget(s);
}

void call_doctor(void *arg, struct server_call *call)
{
	struct stand *s = arg;
	struct doctor *d = doctor_new(s->config, log_health_word(log_health(s->log)));
	int64_t t = stream_now(s);
	for (int i = 0; d && i < d->meters; i++)
		if (s->line[i])
			line_facts(s->line[i], t, &d->meter[i]);
	s->doctors++;
	doctor_answer(&s->loop, d, s->bench, t, call, doctor_done, s);
}

static bool has_meter(void *arg, const char *name)
{
	const struct calls *calls = arg;
	return bench_meter_index(calls->bench, name) >= 0;
}

static void tape_begins(void *arg)
{
	const struct calls *calls = arg;
	bench_tape_begins(calls->bench, calls->now(calls->arg));
}

/* Nobody is left who says names: nothing waits for one. */
static void voiceless(void *arg)
{
	const struct calls *calls = arg;
	struct fault why;
	bench_speaks(calls->bench, calls->now(calls->arg), false, &why);
}

static void server_said(void *arg, const char *text)
{
	(void)arg;
	say_of(&(struct say_about){.level = SAY_NOTICE, .event = "client", .source = "clients"}, "%s",
	       text);
}

/* ---- results of the log ---- */

void log_notify(void *arg)
{
	struct stand *s = arg;
	uv_async_send(&s->results);
}

/* Good, low, full, suspect: said when it changes, to everyone. */
static void tell_health(struct stand *s)
{
	enum log_health health = log_health(s->log);
	char json[128];
	if (health == s->health)
		return;
	s->health = health;
	say_of(&(struct say_about){.level = health == LOG_GOOD ? SAY_NOTICE : SAY_ERROR, .event = "log",
	                           .source = "log"},
	       "the log is %s", log_health_word(health));
	snprintf(json, sizeof json, "{\"event\":\"health\",\"health\":\"%s\"}",
	         log_health_word(health));
	if (s->server)
		server_event(s->server, json);
}

void on_results(uv_async_t *async)
{
	struct stand *s = async->data;
	bench_collect(s->bench);
	tell_health(s);
}


/* ---- handed over ---- */

struct bench_hooks stand_bench_hooks(struct stand *s)
{
	return (struct bench_hooks){.send = bench_send, .event = bench_said, .frame = bench_framed,
	                            .act = bench_acted, .record = bench_recorded, .arg = s};
}

struct server_hooks stand_server_hooks(struct stand *s)
{
	return (struct server_hooks){.call = calls_call, .has_meter = has_meter, .say = server_said,
	                             .tape_begins = tape_begins, .voiceless = voiceless,
	                             .arg = &s->calls};
}

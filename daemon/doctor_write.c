/* SPDX-License-Identifier: MIT */
/* See doctor.h: the findings, and what they were found from, as JSON. */
#include "daemon/doctor.h"

#include <stdio.h>
#include <string.h>

static void member_text(struct text *t, const char *key, const char *value)
{
	text_member_string(t, key, value[0] ? value : NULL);
}

static void write_finding(const struct finding *n, struct text *t)
{
	text_puts(t, "{\"word\":");
	text_string(t, finding_word(n->word), strlen(finding_word(n->word)));
	text_member_bool(t, "fault", n->fault);
	text_member_string(t, "text", n->text);
	text_member_string(t, "cure", n->cure);
	text_puts(t, "}");
}

static void write_findings(const struct findings *f, int meter, struct text *t)
{
	int n = 0;
	text_member(t, "findings");
	text_puts(t, "[");
	for (int i = 0; i < f->count; i++)
		if (f->list[i].meter == meter) {
			text_puts(t, n++ ? "," : "");
			write_finding(&f->list[i], t);
		}
	text_puts(t, "]");
}

static void write_rights(const struct node_rights *r, struct text *t)
{
	text_member_string(t, "user", r->user);
	text_member_string(t, "group", r->group);
	char mode[16];
	snprintf(mode, sizeof mode, "%04o", r->mode);
	text_member_string(t, "mode", mode);
	text_member_bool(t, "may", r->may);
	member_text(t, "holder", r->holder);
}

static void member_ids(struct text *t, int vid, int pid)
{
	char ids[16];
	snprintf(ids, sizeof ids, "%04x:%04x", (unsigned)vid & 0xffffu, (unsigned)pid & 0xffffu);
	text_member_string(t, "ids", ids);
}

static void write_adapter(const struct doctor *d, int i, struct text *t)
{
	const struct adapter *a = &d->adapter[i];
	const char *meter = NULL;
	for (int k = 0; k < d->meters && !meter; k++)
		if (d->meter[k].adapter == i)
			meter = d->meter[k].config->name;
	text_puts(t, i ? ",{\"node\":" : "{\"node\":");
	text_string(t, a->node, strlen(a->node));
	member_ids(t, a->vid, a->pid);
	member_text(t, "serial", a->serial);
	member_text(t, "place", a->bus);
	member_text(t, "driver", a->driver);
	member_text(t, "product", a->product);
	member_text(t, "link", a->link);
	write_rights(&a->rights, t);
	text_member_string(t, "meter", meter);
	text_puts(t, "}");
}

static void write_stray(const struct stray *s, bool first, struct text *t)
{
	text_puts(t, first ? "{\"place\":" : ",{\"place\":");
	text_string(t, s->place, strlen(s->place));
	member_ids(t, s->vid, s->pid);
	member_text(t, "serial", s->serial);
	member_text(t, "product", s->product);
	text_member_bool(t, "claimed", s->claimed);
	member_text(t, "holder", s->holder);
	text_puts(t, "}");
}

static void write_meter(const struct doctor *d, const struct findings *f, int i, struct text *t)
{
	static const char *const word[] = {"unread", "absent", "refused", "open"};
	const struct doctor_meter *m = &d->meter[i];
	char settings[40];
	bool fault = false;
	for (int k = 0; k < f->count; k++)
		fault |= f->list[k].meter == i && f->list[k].fault;
	text_puts(t, i ? ",{\"name\":" : "{\"name\":");
	text_string(t, m->config->name, strlen(m->config->name));
	text_member_bool(t, "ok", !fault);
	text_member_string(t, "port", m->config->port);
	member_text(t, "node", m->node);
	text_member_string(t, "line", word[m->line]);
	text_member_string(t, "dialect", m->config->dialect->name);
	line_settings_text(&m->config->serial, settings, sizeof settings);
	text_member_string(t, "serial", settings);
	if (m->line == DOCTOR_OPEN) {
		member_text(t, "state", m->state);
		member_text(t, "identity", m->identity);
		text_member_int(t, "bytes", (int64_t)m->bytes);
		text_member_int(t, "good", m->counters.good);
		text_member_int(t, "bad", m->counters.bad);
		text_member_string(t, "look", look_word(m->look.word));
	}
	write_findings(f, i, t);
	text_puts(t, "}");
}

void doctor_write(const struct doctor *d, const struct findings *f, struct text *t)
{
	const struct doctor_bench *b = &d->bench;
	text_puts(t, "{\"ok\":");
	text_puts(t, findings_fault(f) ? "false" : "true");
	text_member_bool(t, "daemon", b->daemon);
	member_text(t, "config", b->config);
	text_member_string(t, "socket", b->socket);
	text_member_string(t, "log", b->log);
	text_member_string(t, "user", b->self.user);
	text_member_string(t, "groups", b->self.groups);
	write_findings(f, -1, t);
	text_member(t, "meters");
	text_puts(t, "[");
	for (int i = 0; i < d->meters; i++)
		write_meter(d, f, i, t);
	text_puts(t, "]");
	text_member(t, "adapters");
	text_puts(t, "[");
	for (int i = 0; i < d->adapters; i++)
		write_adapter(d, i, t);
	text_puts(t, "]");
	text_member(t, "strays");
	text_puts(t, "[");
	for (int i = 0; i < d->strays; i++)
		write_stray(&d->stray[i], i == 0, t);
	text_puts(t, "]");
	text_member_int(t, "dropped", f->dropped);
	text_puts(t, "}");
}

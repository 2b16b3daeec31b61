/* SPDX-License-Identifier: MIT */
/*
 * See doctor.h: is the line of a meter there, and may the daemon have it?
 *
 * The first thing that stands in the way is said, for it explains what comes after.
 */
#include "daemon/doctor.h"

#include <stdio.h>
#include <string.h>

/* ---- words about adapters ---- */

static void adapter_text(const struct adapter *a, char *out, size_t size)
{
	snprintf(out, size, "%s (%04x:%04x, %s%s, place %s)", a->node, (unsigned)a->vid,
	         (unsigned)a->pid, a->serial[0] ? "serial " : "without serial", a->serial,
	         a->bus[0] ? a->bus : "unknown");
}

/* How the configuration names this adapter and no other one that is there. */
static void port_text(const struct doctor *d, const struct adapter *a, char *out, size_t size)
{
	int alike = 0;
	for (int i = 0; i < d->adapters; i++)
		alike += d->adapter[i].vid == a->vid && d->adapter[i].pid == a->pid &&
		         strcmp(d->adapter[i].serial, a->serial) == 0;
	if (a->serial[0] && alike == 1)
		snprintf(out, size, "usb:%04x:%04x:%s", (unsigned)a->vid, (unsigned)a->pid, a->serial);
	else
		snprintf(out, size, "usb-place:%s", a->bus);
}

/* Is it the line of one of the configured meters? */
static bool is_taken(const struct doctor *d, int adapter)
{
	for (int i = 0; i < d->meters; i++)
		if (d->meter[i].adapter == adapter)
			return true;
	return false;
}

/* A rule that names this adapter: "ATTRS{idVendor}==..., ". */
static void rule_match(const struct adapter *a, char *out, size_t size)
{
	snprintf(out, size, "ATTRS{idVendor}==\"%04x\", ATTRS{idProduct}==\"%04x\"", (unsigned)a->vid,
	         (unsigned)a->pid);
}

/* Those that no meter has, three at most; returns how many there are. */
static int free_adapters(const struct doctor *d, char *out, size_t size, int *first)
{
	int n = 0;
	size_t len = 0;
	out[0] = '\0';
	*first = -1;
	for (int i = 0; i < d->adapters; i++) {
		char text[300];
		if (is_taken(d, i))
			continue;
		if (n++ == 0)
			*first = i;
		adapter_text(&d->adapter[i], text, sizeof text);
		if (n <= 3 && len < size)
			len += (size_t)snprintf(out + len, size - len, "%s%s", n > 1 ? ", " : "", text);
	}
	if (n > 3 && len < size)
		snprintf(out + len, size - len, " and %d more", n - 3);
	return n;
}

/* ---- not there ---- */

/* A device with these ids that has no line: no driver, or a program has it. */
static bool find_stray(const struct doctor *d, int meter, struct findings *out)
{
	const struct place *p = &d->meter[meter].config->place;
	for (int i = 0; i < d->strays; i++) {
		const struct stray *s = &d->stray[i];
		char what[200];
		bool ids = p->form == PLACE_USB && s->vid == p->vid && s->pid == p->pid &&
		           (!p->serial[0] || !s->serial[0] || strcmp(p->serial, s->serial) == 0);
		size_t n = strlen(s->place);
		bool place = p->form == PLACE_BUS && strncmp(p->bus, s->place, n) == 0 && p->bus[n] == ':';
		if (!ids && !place)
			continue;
		snprintf(what, sizeof what, "%04x:%04x in place %s%s%.60s", (unsigned)s->vid,
		         (unsigned)s->pid, s->place, s->product[0] ? ", " : "", s->product);
		if (s->claimed)
			finding_add(out, meter, FINDING_HELD, true,
			            "keep that program off this one adapter: its own settings or udev rules "
			            "name the ids that it takes; write a rule that excludes this one, then "
			            "plug it in anew. Leave the program itself be: a braille display or "
			            "terminal that somebody needs is such a one",
			            "the adapter is plugged in (%s), but %s has taken it over past the kernel, "
			            "so it has no node", what, s->holder[0] ? s->holder : "a program");
		else
			finding_add(out, meter, FINDING_NO_DRIVER, true,
			            "install the kernel's modules for USB serial lines (a kernel for virtual "
			            "machines lacks them) and plug it in anew; `dmesg` says whether one took "
			            "it. Where it never did, the adapter may need another kernel, or is no "
			            "serial adapter",
			            "the adapter is plugged in (%s), but no driver of the kernel took it, so "
			            "it has no node", what);
		return true;
	}
	return false;
}

/* The ids are there under another serial number, or the place is empty. */
static bool find_other(const struct doctor *d, int meter, struct findings *out)
{
	const struct place *p = &d->meter[meter].config->place;
	for (int i = 0; i < d->adapters; i++) {
		const struct adapter *a = &d->adapter[i];
		char text[300], port[160], cure[900];
		if (p->form != PLACE_USB || a->vid != p->vid || a->pid != p->pid || is_taken(d, i))
			continue;
		adapter_text(a, text, sizeof text);
		port_text(d, a, port, sizeof port);
		snprintf(cure, sizeof cure, "if that is this meter's adapter now, write `port = %s` under "
		         "[meter %s]; else plug in the one with serial %s", port,
		         d->meter[meter].config->name, p->serial);
		finding_add(out, meter, FINDING_ABSENT, true, cure,
		            "its adapter is not there: one of the same kind is, with another serial "
		            "number: %s", text);
		return true;
	}
	return false;
}

static void find_absent(const struct doctor *d, int meter, struct findings *out)
{
	const struct doctor_meter *m = &d->meter[meter];
	char list[800], port[160], cure[900];
	int first;
	if (find_stray(d, meter, out) || find_other(d, meter, out))
		return;
	int n = free_adapters(d, list, sizeof list, &first);
	if (n > 0) {
		port_text(d, &d->adapter[first], port, sizeof port);
		snprintf(cure, sizeof cure, "plug it in; or, if %s is this meter, write `port = %s` under "
		         "[meter %s]", n == 1 ? "that" : "one of them", port, m->config->name);
	} else {
		snprintf(cure, sizeof cure, "plug it in: the daemon takes it within two seconds. If it is "
		         "plugged in, try another socket and cable: a cable made for charging has no wires "
		         "for data");
	}
	const char *others = n            ? ". There without a meter: "
	                     : d->adapters ? "; every adapter that is there has its meter"
	                                   : "; there is no USB adapter at all";
	if (m->link_to[0])
		finding_add(out, meter, FINDING_ABSENT, true, cure, "%s leads to %s, which is not there%s%s",
		            m->config->port, m->link_to, others, list);
	else
		finding_add(out, meter, FINDING_ABSENT, true, cure, "%s is not there%s%s",
		            m->config->port, others, list);
}

static void find_ambiguous(const struct doctor *d, int meter, struct findings *out)
{
	const struct doctor_meter *m = &d->meter[meter];
	const struct place *p = &m->config->place;
	char cure[900];
	size_t len = (size_t)snprintf(cure, sizeof cure, "write where it is plugged in, and keep it "
	                              "there: under [meter %s]", m->config->name);
	for (int i = 0, n = 0; i < d->adapters && len < sizeof cure; i++)
		if (p->form == PLACE_USB && d->adapter[i].vid == p->vid && d->adapter[i].pid == p->pid)
			len += (size_t)snprintf(cure + len, sizeof cure - len, "%s `port = usb-place:%s`",
			                        n++ ? " or" : "", d->adapter[i].bus);
	if (len < sizeof cure)
		snprintf(cure + len, sizeof cure - len, "; unplug one of them to see which is which");
	finding_add(out, meter, FINDING_AMBIGUOUS, true, cure, "%s", m->place_why);
}

/* ---- there, but not to be had ---- */

static bool has(const char *text, const char *part)
{
	size_t n = strlen(part);
	for (; *text; text++) {
		size_t i = 0;
		while (i < n && (text[i] | 0x20) == part[i])
			i++;
		if (i == n)
			return true;
	}
	return false;
}

static void modem_cure(const struct doctor *d, const struct doctor_meter *m, char *cure,
                       size_t size)
{
	char match[100] = "ATTRS{idVendor}==\"VID\", ATTRS{idProduct}==\"PID\"";
	if (m->adapter >= 0)
		rule_match(&d->adapter[m->adapter], match, sizeof match);
	snprintf(cure, size, "keep it off this adapter, not off the machine: install "
	         "udev/60-tally.rules, or the one line `%s, ENV{ID_MM_DEVICE_IGNORE}=\"1\"` in "
	         "/etc/udev/rules.d/, then `udevadm control --reload` and plug the meter in "
	         "anew", match);
}

static void find_held(const struct doctor *d, int meter, struct findings *out)
{
	const struct doctor_meter *m = &d->meter[meter];
	const char *who = m->rights.holder;
	const char *name = strrchr(m->node, '/') ? strrchr(m->node, '/') + 1 : m->node;
	char cure[900];
	if (has(who, "modem"))
		modem_cure(d, m, cure, sizeof cure);
	else if (has(who, "brl") || has(who, "braille"))
		snprintf(cure, sizeof cure, "leave it running: somebody may have no other screen. Tell it "
		         "in its own settings which line its display is on, so that it tries no others, "
		         "then plug the meter in anew");
	else if (has(who, "getty"))
		snprintf(cure, sizeof cure, "a login terminal waits on this line alone: `systemctl disable "
		         "--now serial-getty@%s.service` ends it there and nowhere else", name);
	else if (has(who, "tallyd"))
		snprintf(cure, sizeof cure, "another daemon reads this line: end that one, or take the "
		         "meter out of one of the two configurations");
	else if (who[0])
		snprintf(cure, sizeof cure, "close the line in that program, or end it: two readers would "
		         "each get half of the bytes. The daemon takes the line by itself as soon as it is "
		         "free");
	else
		snprintf(cure, sizeof cure, "`fuser -v %s`, with the rights of the machine's keeper, shows "
		         "the process; close the line there. The daemon takes it as soon as it is free",
		         m->node);
	if (who[0])
		finding_add(out, meter, FINDING_HELD, true, cure, "%s is held by %s", m->node, who);
	else
		finding_add(out, meter, FINDING_HELD, true, cure, "%s",
		            m->refused[0] ? m->refused : "the line is held by another program");
}

static void find_denied(const struct doctor *d, int meter, struct findings *out)
{
	const struct doctor_meter *m = &d->meter[meter];
	const struct node_rights *r = &m->rights;
	const struct self *self = &d->bench.self;
	const char *us = d->bench.daemon ? "the daemon" : "you";
	char cure[900];
	bool group_may = (r->mode & 060) == 060 && strcmp(r->group, "root") != 0;
	if (!group_may)
		snprintf(cure, sizeof cure, "install udev/60-tally.rules, which give USB adapters to a "
		         "group with mode 0660, then `udevadm control --reload` and plug the meter in "
		         "anew");
	else if (r->member)
		snprintf(cure, sizeof cure, "group and mode are right, so a fence of the service keeps it "
		         "out: its DeviceAllow knew no such driver when it started. Restart the daemon "
		         "once with the meter plugged in, and let the unit load the driver's module "
		         "before");
	else if (r->listed)
		snprintf(cure, sizeof cure, "%s is in the group %s since it was started: %s", self->user,
		         r->group, d->bench.daemon ? "restart the daemon" : "log out and in again");
	else
		snprintf(cure, sizeof cure, "`adduser %s %s`, then %s", self->user, r->group,
		         d->bench.daemon ? "restart the daemon" : "log out and in again");
	finding_add(out, meter, FINDING_DENIED, true, cure,
	            "%s may not be used: it belongs to %s:%s, mode %04o, and %s (user %s) %s in the "
	            "groups %s", m->node, r->user, r->group, r->mode, us, self->user,
	            d->bench.daemon ? "is" : "are", self->groups[0] ? self->groups : "(none)");
}

/* The port tells what it could not do; who holds it is seen in /proc as well. */
static void find_refused(const struct doctor *d, int meter, struct findings *out)
{
	const struct doctor_meter *m = &d->meter[meter];
	bool settings = strstr(m->refused, "does not take") != NULL;
	finding_add(out, meter, settings ? FINDING_SETTINGS : FINDING_REFUSED, true,
	            settings ? "not every adapter can do every speed, 7 bits or parity: give `serial "
	                       "=` what meter and adapter both know, or use another adapter"
	                     : "plug the adapter out and in; where that does not help, `dmesg` says "
	                       "what its driver thinks",
	            "%s", m->refused);
}

/* ---- worth knowing of a line that can be had ---- */

static void find_rules(const struct doctor *d, int meter, struct findings *out)
{
	const struct doctor_meter *m = &d->meter[meter];
	char cure[900];
	if (m->adapter < 0 || !d->bench.udev)
		return;
	const struct adapter *a = &d->adapter[m->adapter];
	if (a->known && !a->modem_ignored) {
		modem_cure(d, m, cure, sizeof cure);
		if (d->bench.modems[0])
			finding_add(out, meter, FINDING_MODEM, false, cure,
			            "%s looks at every new line, this one too: it holds it for seconds after "
			            "it is plugged in and sends commands for modems into the "
			            "meter", d->bench.modems);
		else if (!a->link[0])
			finding_add(out, meter, FINDING_NO_RULE, false, cure,
			            "no rule of ours has been at %s: its group is the system's choice, and a "
			            "modem manager would try it", a->node);
	}
	if (a->latency_ms >= DOCTOR_LATENCY_MS)
		finding_add(out, meter, FINDING_LATENCY, false,
		            "udev/60-tally.rules sets it to 1 ms when the adapter is plugged in",
		            "%s hands bytes on after up to %d ms, so a frame is stamped so much too late",
		            a->node, a->latency_ms);
}

bool doctor_place(const struct doctor *d, int meter, struct findings *out)
{
	const struct doctor_meter *m = &d->meter[meter];
	bool open = m->line == DOCTOR_OPEN;
	if (!open && m->found == PLACE_AMBIGUOUS)
		find_ambiguous(d, meter, out);
	else if (!open && m->found == PLACE_UNCLEAR)
		finding_add(out, meter, FINDING_REFUSED, true,
		            "see that the path is right and that its folders may be read",
		            "it cannot be looked for: %s", m->place_why);
	else if (!open && (m->found == PLACE_ABSENT || !m->rights.there))
		find_absent(d, meter, out);
	else if (!open && (m->rights.holder[0] || strstr(m->refused, " is held by ")))
		find_held(d, meter, out);
	else if (!open && !m->rights.may)
		find_denied(d, meter, out);
	else if (m->line == DOCTOR_REFUSED && m->refused[0])
		find_refused(d, meter, out);
	else {
		find_rules(d, meter, out);
		return false;
	}
	return true;
}

/* SPDX-License-Identifier: MIT */
/* See doctor.h: the bench itself, and the order of what is said. */
#include "daemon/doctor.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *finding_word(enum finding_word w)
{
	static const char *const word[FINDING_WORDS] = {
	    [FINDING_CONFIG] = "configuration", [FINDING_NO_METERS] = "no-meters",
	    [FINDING_NO_DAEMON] = "no-daemon", [FINDING_LOG] = "log", [FINDING_DISK] = "disk",
	    [FINDING_SOCKET] = "socket", [FINDING_ROOT] = "root", [FINDING_UDEV] = "udev",
	    [FINDING_ABSENT] = "absent", [FINDING_NO_DRIVER] = "no-driver",
	    [FINDING_AMBIGUOUS] = "ambiguous", [FINDING_HELD] = "held", [FINDING_DENIED] = "denied",
	    [FINDING_SETTINGS] = "settings", [FINDING_REFUSED] = "refused",
	    [FINDING_NO_RULE] = "no-rule", [FINDING_MODEM] = "modem-manager",
	    [FINDING_LATENCY] = "latency", [FINDING_SILENT] = "silent", [FINDING_SPEED] = "speed",
	    [FINDING_BITS] = "bits", [FINDING_GARBLED] = "garbled", [FINDING_DIALECT] = "dialect",
	    [FINDING_ECHO] = "echo", [FINDING_NO_ANSWER] = "no-answer", [FINDING_SETUP] = "set-up",
	    [FINDING_SPOILT] = "spoilt", [FINDING_SLOW] = "slow", [FINDING_UNSTEADY] = "unsteady"};
	return word[w];
}

void finding_add(struct findings *f, int meter, enum finding_word word, bool fault,
                 const char *cure, const char *format, ...)
{
	if (f->count == FINDINGS_MAX) {
		f->dropped++;
		return;
	}
	struct finding *n = &f->list[f->count++];
	*n = (struct finding){.meter = meter, .word = word, .fault = fault};
	snprintf(n->cure, sizeof n->cure, "%s", cure);
	va_list args;
	va_start(args, format);
	vsnprintf(n->text, sizeof n->text, format, args);
	va_end(args);
}

bool findings_fault(const struct findings *f)
{
	for (int i = 0; i < f->count; i++)
		if (f->list[i].fault)
			return true;
	return f->dropped > 0;
}

/* ---- the bench ---- */

static void find_log(const struct doctor_bench *b, struct findings *out)
{
	char cure[900];
	if (b->log_trouble[0]) {
		snprintf(cure, sizeof cure, "make the folder for the user %s (`install -d -o %s FOLDER` as "
		         "root), or name another file: `log = FILE` in "
		         "[bench]", b->self.user, b->self.user);
		finding_add(out, -1, FINDING_LOG, true, cure, "the log %s cannot be written: %s", b->log,
		            b->log_trouble);
	} else if (b->log_holder[0]) {
		finding_add(out, -1, FINDING_LOG, true,
		            "one daemon a log: use that one (its socket stands in its configuration), or "
		            "end it before you start another",
		            "the log %s is in use by %s", b->log, b->log_holder);
	}
	if (b->log_health[0] && strcmp(b->log_health, "good") != 0) {
		bool suspect = strcmp(b->log_health, "suspect") == 0;
		finding_add(out, -1, FINDING_LOG, true,
		            suspect ? "copy the log's files elsewhere first, then end tallyd and start it "
		                      "again: it verifies the whole log"
		                    : "make room on its disk, or make it writable: the daemon tries again "
		                      "every second by itself",
		            "the log %s is %s: %s", b->log, b->log_health,
		            suspect ? "nothing more is logged" : "what is measured may not be kept");
	}
	if (b->disk_free >= 0 && b->disk_free < DOCTOR_DISK_LOW)
		finding_add(out, -1, FINDING_DISK, b->disk_free < DOCTOR_DISK_LOW / 8,
		            "make room there; a day at the bench takes some megabytes",
		            "the disk of the log (%s) has only %.1f MB left", b->log_folder,
		            (double)b->disk_free / 1e6);
}

static void find_daemon(const struct doctor_bench *b, struct findings *out)
{
	char cure[900];
	if (b->daemon)
		return;
	const struct node_rights *r = &b->socket_rights;
	if (r->there && !r->may) {
		if (r->listed && !r->member)
			snprintf(cure, sizeof cure, "%s was let into the group %s since: log out and in again",
			         b->self.user, r->group);
		else
			snprintf(cure, sizeof cure, "`adduser %s %s`, then log out and in again", b->self.user,
			         r->group);
		finding_add(out, -1, FINDING_SOCKET, true, cure,
		            "a daemon's socket is at %s, but it is for %s:%s (mode %04o), and you (user "
		            "%s) are in the groups %s", b->socket, r->user, r->group, r->mode, b->self.user,
		            b->self.groups[0] ? b->self.groups : "(none)");
		return;
	}
	if (b->elsewhere[0]) {
		snprintf(cure, sizeof cure, "name its socket: `tally --socket PATH doctor`; the line "
		         "`bench ...` that it printed at its start has it (`journalctl -u tallyd` where it "
		         "is a service)");
		finding_add(out, -1, FINDING_NO_DAEMON, true, cure,
		            "no daemon answers at %s, but %s runs", b->socket, b->elsewhere);
	} else if (!b->config_fault[0]) {
		finding_add(out, -1, FINDING_NO_DAEMON, true,
		            "start it: `systemctl start tallyd` where it is a service, else `tallyd "
		            "--config FILE`; then ask again, for only it reads the lines",
		            "no daemon runs at %s: nobody reads the meters", b->socket);
	}
	if (b->socket_trouble[0])
		finding_add(out, -1, FINDING_SOCKET, true,
		            "let the service manager make the folder (its RuntimeDirectory), or name a "
		            "place of your own: `socket = PATH` in [bench], and TALLY_SOCKET for tally",
		            "the socket %s cannot be made: %s", b->socket, b->socket_trouble);
}

static void find_bench(const struct doctor *d, struct findings *out)
{
	const struct doctor_bench *b = &d->bench;
	if (b->config_fault[0])
		finding_add(out, -1, FINDING_CONFIG, true,
		            "mend that place; `tallyd --check-config` says whether it is good",
		            "the configuration is refused, and the daemon does not start with it: %s",
		            b->config_fault);
	else if (d->meters == 0)
		finding_add(out, -1, FINDING_NO_METERS, true,
		            "add a section [meter NAME] with port and dialect; the adapters that are there "
		            "stand below",
		            "%s%s no meter", b->config[0] ? b->config : "there is no configuration:",
		            b->config[0] ? " names" : "");
	find_daemon(b, out);
	find_log(b, out);
	if (b->self.root && b->daemon)
		finding_add(out, -1, FINDING_ROOT, false,
		            "run it as a user of its own in the group of the adapters: no right of root is "
		            "needed, and root gets past the lock that keeps a second reader off a line",
		            "the daemon runs as root");
	else if (b->self.root)
		finding_add(out, -1, FINDING_ROOT, false, "ask as the user that tallyd runs as",
		            "root asked, and root may use everything: a missing right is not seen so");
	if (!b->udev && d->adapters)
		finding_add(out, -1, FINDING_UDEV, false,
		            "in a container pass the nodes in with their group, or run the daemon outside",
		            "no udev runs here: no rule can give an adapter its group and a stable name");
}

/* ---- all of it ---- */

static int before(const void *a, const void *b)
{
	const struct finding *x = a, *y = b;
	if (x->meter != y->meter)
		return x->meter < y->meter ? -1 : 1;
	if (x->fault != y->fault)
		return x->fault ? -1 : 1;
	return (x->word > y->word) - (x->word < y->word);
}

void doctor_find(const struct doctor *d, struct findings *out)
{
	out->count = out->dropped = 0;
	find_bench(d, out);
	for (int i = 0; i < d->meters; i++)
		if (!doctor_place(d, i, out))
			doctor_line(d, i, out);
	qsort(out->list, (size_t)out->count, sizeof *out->list, before);
}

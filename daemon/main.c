/* SPDX-License-Identifier: MIT */
/*
 * tallyd: where the rooms meet.
 *
 *     tallyd [--config FILE] [--log FILE] [--socket PATH] [--say-all]
 *     tallyd --replay FILE.rec [--sheet FILE.csv] [--config FILE] [--log FILE]
 *     tallyd --check-config [--config FILE]
 *     tallyd --serve FILE
 *     tallyd --doctor [--config FILE] [--log FILE] [--socket PATH]
 *     tallyd --new-key [--config FILE] [--log FILE]
 *     tallyd --restore FILE [--over] [--anchor SEQ:HASH] [--key FINGERPRINT] [--log FILE]
 *     tallyd --listen PORT [--line "9600 8N1"]
 *
 * What a running daemon is stands in main_live.c.
 */
#include "daemon/config.h"
#include "daemon/faults.h"
#include "daemon/listen.h"
#include "daemon/log.h"
#include "daemon/main_doctor.h"
#include "daemon/main_restore.h"
#include "daemon/main_stand.h"
#include "daemon/replay.h"

#include <getopt.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char usage[] =
    "tallyd reads the bench's meters and keeps the sealed log.\n"
    "\n"
    "  tallyd [--config FILE] [--log FILE] [--socket PATH] [--say-all]\n"
    "  tallyd --replay FILE.rec [--sheet FILE.csv] [--config FILE] [--log FILE]\n"
    "  tallyd --check-config [--config FILE]\n"
    "  tallyd --serve FILE\n"
    "  tallyd --doctor [--config FILE] [--log FILE] [--socket PATH]\n"
    "  tallyd --new-key [--config FILE] [--log FILE]\n"
    "  tallyd --restore FILE [--over] [--anchor SEQ:HASH] [--key FINGERPRINT]\n"
    "         [--config FILE] [--log FILE]\n"
    "  tallyd --listen PORT [--line \"9600 8N1\"]\n"
    "\n"
    "It stays in the foreground and ends on SIGTERM or SIGINT with everything logged.\n"
    "The configuration is " CONFIG_FILE " where --config names no other.\n"
    "A meter that comes and goes says ten lines a minute at most, with --say-all each of them.\n"
    "--replay runs a recording and prints every record; --log keeps them too.\n"
    "--serve answers queries over a log file on standard input and output.\n"
    "--listen makes a recording of a line that no daemon has, for 10 s; nothing is sent.\n"
    "--new-key gives the log a new key, which the old one signs; no daemon may run on it.\n"
    "--restore makes the log from a copy or an export of one, which is verified first; a log\n"
    "that is there is refused, with --over it is set aside; `tally restore` runs this.\n"
    "--doctor prints what stands in the way of a daemon and its meters, as JSON, and opens\n"
    "no line; `tally doctor` shows it for people.\n"
    "Exit status: 0 done, 1 something stands in the way (--doctor), 2 wrong use or bad input,\n"
    "4 not logged.\n"
    "\n"
    "Valve equipment kills: mains isolated, reservoirs discharged and measured before\n"
    "touching, one hand, never alone; local codes and licensed practice come first.\n";

struct command_line {
	const char *config, *log, *socket, *replay, *sheet, *serve, *listen, *line;
	bool check, doctor, new_key, say_all;
	struct restore_order restore;
};

static int read_command_line(int argc, char **argv, struct command_line *c)
{
	static const struct option options[] = {
	    {"config", required_argument, NULL, 'c'}, {"log", required_argument, NULL, 'l'},
	    {"socket", required_argument, NULL, 's'}, {"replay", required_argument, NULL, 'r'},
	    {"sheet", required_argument, NULL, 'S'},  {"serve", required_argument, NULL, 'f'},
	    {"check-config", no_argument, NULL, 'k'}, {"doctor", no_argument, NULL, 'd'},
	    {"new-key", no_argument, NULL, 'n'},      {"listen", required_argument, NULL, 'p'},
	    {"line", required_argument, NULL, 'L'},   {"restore", required_argument, NULL, 'R'},
	    {"over", no_argument, NULL, 'o'},         {"anchor", required_argument, NULL, 'a'},
	    {"key", required_argument, NULL, 'K'},
	    {"say-all", no_argument, NULL, 'A'},     {"help", no_argument, NULL, 'h'},
	    {"version", no_argument, NULL, 'v'},      {NULL, 0, NULL, 0}};
	for (int o; (o = getopt_long(argc, argv, "", options, NULL)) != -1;) {
		switch (o) {
		case 'c': c->config = optarg; break;
		case 'l': c->log = optarg; break;
		case 's': c->socket = optarg; break;
		case 'r': c->replay = optarg; break;
		case 'S': c->sheet = optarg; break;
		case 'f': c->serve = optarg; break;
		case 'k': c->check = true; break;
		case 'd': c->doctor = true; break;
		case 'n': c->new_key = true; break;
		case 'p': c->listen = optarg; break;
		case 'L': c->line = optarg; break;
		case 'R': c->restore.from = optarg; break;
		case 'o': c->restore.over = true; break;
		case 'a': c->restore.anchor = optarg; break;
		case 'K': c->restore.key = optarg; break;
		case 'A': c->say_all = true; break;
		case 'h': fputs(usage, stdout); return 0;
		case 'v': puts("tallyd " TALLY_VERSION); return 0;
		default: fputs(usage, stderr); return 2;
		}
	}
	if (optind < argc) {
		say("what is \"%s\"? Every argument belongs to an option (tallyd --help)", argv[optind]);
		return 2;
	}
	if (c->sheet && !c->replay) {
		say("--sheet goes with --replay; a running bench takes its sheet by `tally sheet load`");
		return 2;
	}
	if ((c->restore.over || c->restore.anchor || c->restore.key) && !c->restore.from) {
		say("--over, --anchor and --key go with --restore");
		return 2;
	}
	if (c->restore.from && (c->replay || c->serve || c->check || c->new_key || c->doctor)) {
		say("--restore goes with --over, --anchor, --key, --config and --log alone");
		return 2;
	}
	if (c->doctor && (c->replay || c->serve || c->check || c->new_key)) {
		say("--doctor goes with --config, --log and --socket alone");
		return 2;
	}
	if (c->say_all && (c->replay || c->serve || c->listen || c->check || c->doctor || c->new_key ||
	                   c->restore.from)) {
		say("--say-all goes with a running daemon alone");
		return 2;
	}
	if (c->socket && (c->replay || c->serve)) {
		say("--socket goes with neither --replay nor --serve: they open none");
		return 2;
	}
	return -1;
}

static int renew_key(const struct config *config)
{
	struct fault why = {.text = ""};
	char fingerprint[40];
	if (!config->log[0]) {
		say("--new-key needs a log: --log FILE, or `log` in the configuration");
		return 2;
	}
	if (!log_renew_key(config->log, utc_now(), NULL, fingerprint, &why))
		return say_fault(&why);
	say("%s has a new key, signed by the old one; its fingerprint is %s", config->log, fingerprint);
	say("write the fingerprint down where the log is not kept; the old key is gone");
	return 0;
}

static int restore(const struct restore_order *asked, const struct config *config)
{
	struct restore_order order = *asked;
	order.log = config->log;
	if (!order.log[0]) {
		say("--restore needs a log: --log FILE, or `log` in the configuration");
		return 2;
	}
	return restore_run(&order, utc_now());
}

/* Every fault of it; `why` is the one that refused it. */
static int refuse_config(const char *file, bool replay, struct config *scratch,
                         const struct fault *why)
{
	struct faults faults = {0};
	config_faults(file, replay, scratch, faults_keep, &faults);
	return faults_say(&faults) ? 2 : say_fault(why);
}

int main(int argc, char **argv)
{
	struct command_line c = {0};
	struct fault why;
	int status = read_command_line(argc, argv, &c);
	if (status >= 0)
		return status;
	if (c.doctor)
		return doctor_alone(c.config, c.log, c.socket);
	if (c.listen)
		return listen_run(c.listen, c.line);
	if (c.serve)
		return server_serve(c.serve, TALLY_VERSION);
	struct config *config = calloc(1, sizeof *config);
	if (!config)
		return 2;
	bool any_meter = c.replay && !c.config;
	if (any_meter)
		config_standard(config);
	else if (!config_load(c.config, c.replay != NULL, config, &why))
		status = refuse_config(c.config, c.replay != NULL, config, &why);
	if (status < 0 && c.log)
		snprintf(config->log, sizeof config->log, "%s", c.log);
	if (status < 0 && c.socket)
		snprintf(config->socket, sizeof config->socket, "%s", c.socket);
	if (status < 0 && c.check) {
		if (config->file[0])
			say("%s is good: %d meters", config->file, config->meters);
		else
			say("there is no " CONFIG_FILE ": a bench without meters (--config names another)");
		status = 0;
	} else if (status < 0 && c.new_key) {
		status = renew_key(config);
	} else if (status < 0 && c.restore.from) {
		status = restore(&c.restore, config);
	} else if (status < 0 && c.replay) {
		struct replay_options options = {.recording = c.replay, .sheet = c.sheet,
		                                 .log = c.log ? c.log : ":memory:",
		                                 .version = TALLY_VERSION, .any_meter = any_meter};
		status = replay_run(&options, config);
	} else if (status < 0) {
		if (c.say_all)
			say_all();
		const struct orders orders = {c.config, c.log, c.socket};
		return live_run(config, &orders);
	}
	config_free(config);
	free(config);
	return status;
}


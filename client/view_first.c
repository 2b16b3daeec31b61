/* SPDX-License-Identifier: MIT */
/*
 * A bench without meters: what to do next.
 *
 * From what the doctor saw: the adapters that are plugged in, who may open them, and for
 * the first that no meter has the section to be written, ready to be copied.
 */
#include "client/view.h"

#include <stdio.h>
#include <string.h>

static void say(struct lines *out, const struct style *style, const char *text)
{
	words_fold(out, style, 0, 3, text);
	lines_puts(out, "\n");
}

static int count_of(struct slice result, const char *list)
{
	struct slice all = json_member(result.at, result.len, list), element;
	size_t cursor = 0;
	int n = 0;
	while (json_next(all, &cursor, &element))
		n++;
	return n;
}

/* Who may open it: the daemon, or what it lacks. */
static void rights(struct lines *out, const struct style *style, struct slice adapter, const char *user)
{
	char node[WORDS_SIZE], group[WORDS_SIZE], holder[WORDS_SIZE], line[WORDS_SIZE * 6];
	words_member(adapter, "node", node, sizeof node);
	words_member(adapter, "group", group, sizeof group);
	words_member(adapter, "holder", holder, sizeof holder);
	bool may = json_bool(json_member(adapter.at, adapter.len, "may"), false);
	if (holder[0])
		snprintf(line, sizeof line, "   %.80s is held by %.120s: end that first", node, holder);
	else if (may)
		snprintf(line, sizeof line, "   %.80s may be opened by the daemon (user %.60s)", node, user);
	else
		snprintf(line, sizeof line, "   %.80s may not be opened by the daemon (user %.60s): it belongs to the "
		         "group %.60s. Do: sudo usermod -aG %.60s %.60s, and start it again; the package's "
		         "udev rule does it for known adapters", node, user, group, group, user);
	say(out, style, line);
}

/* What stands in `port` for it: by its serial number where it has one, else its place. */
static void port_of(struct slice adapter, char *port, size_t size)
{
	char ids[WORDS_SIZE], serial[WORDS_SIZE], place[WORDS_SIZE], node[WORDS_SIZE];
	words_member(adapter, "ids", ids, sizeof ids);
	words_member(adapter, "serial", serial, sizeof serial);
	words_member(adapter, "place", place, sizeof place);
	words_member(adapter, "node", node, sizeof node);
	if (ids[0] && serial[0])
		snprintf(port, size, "usb:%.20s:%.80s", ids, serial);
	else if (place[0])
		snprintf(port, size, "usb-place:%.80s", place);
	else
		snprintf(port, size, "%.100s", node);
}

static void snippet(struct lines *out, struct slice adapter)
{
	char port[160], product[WORDS_SIZE];
	port_of(adapter, port, sizeof port);
	words_member(adapter, "product", product, sizeof product);
	lines_puts(out, "\n       [meter red]               ; the name that you give it\n");
	lines_printf(out, "       port     = %s%s%.80s\n", port, product[0] ? "   ; " : "", product);
	lines_puts(out, "       dialect  = ascii-unit     ; how it speaks: `man tally-dialect` lists them\n"
	                "       accuracy ohm = 0.5% + 2   ; from its manual: percent + counts\n\n");
}

void view_first_meter(const struct style *style, struct slice doctor, bool reloads, struct lines *out)
{
	char config[WORDS_SIZE], user[WORDS_SIZE], line[WORDS_SIZE * 3];
	struct slice list = json_member(doctor.at, doctor.len, "adapters"), adapter, first = {NULL, 0};
	size_t cursor = 0;
	words_member(doctor, "config", config, sizeof config);
	words_member(doctor, "user", user, sizeof user);
	if (config[0])
		snprintf(line, sizeof line, "no meters: %.200s names none. What to do next:", config);
	else
		snprintf(line, sizeof line, "no meters: there is no configuration yet. What to do next:");
	say(out, style, line);
	int ports = count_of(doctor, "adapters"), strays = count_of(doctor, "strays");
	if (!ports) {
		say(out, style, "1. No serial adapter is plugged in: plug in the meter's cable, and ask again.");
		if (strays)
			say(out, style, "   USB devices without a serial line are there, perhaps the cable is one of them: "
			                "`tally doctor` lists them, with what is missing.");
	} else {
		snprintf(line, sizeof line, "1. %d serial adapter%s plugged in:", ports, ports == 1 ? " is" : "s are");
		say(out, style, line);
	}
	while (json_next(list, &cursor, &adapter)) {
		if (!first.at)
			first = adapter;
		rights(out, style, adapter, user);
	}
	snprintf(line, sizeof line, "2. Describe the meter in %.200s:", config[0] ? config : "a configuration (see `man tally.ini`)");
	say(out, style, line);
	if (first.at)
		snippet(out, first);
	else
		lines_puts(out, "\n       [meter red]               ; the name that you give it\n"
		                "       port     = usb:VID:PID:SERIAL\n"
		                "       dialect  = ascii-unit     ; how it speaks: `man tally-dialect` lists them\n\n");
	snprintf(line, sizeof line, "3. Is it right, and take it: tallyd --check-config%s%.200s, then %s.",
	         config[0] ? " --config " : "", config, reloads ? "tally reload" : "start tallyd again");
	say(out, style, line);
	say(out, style, "4. Does it speak: tally meters raw red. If nothing comes: tally doctor red.");
	say(out, style, "No meter at hand: doc/tutorial.md begins with two that are programs.");
}

/* SPDX-License-Identifier: MIT */
/*
 * The unit of a job: which one it is, and what stands in the way of its power.
 */
#include "client/view.h"

#include <stdio.h>
#include <string.h>

void view_unit(const struct style *style, struct slice job, struct lines *out)
{
	struct slice identity = json_member(job.at, job.len, "identity"), key, value;
	char name[40], text[WORDS_SIZE];
	words_member(job, "again", text, sizeof text);
	if (text[0])
		fact_printf(out, style, "again", "it was here before: job %s", text);
	for (size_t cursor = 0; json_next_member(identity, &cursor, &key, &value);) {
		words_clean(key.at, key.len, name, sizeof name);
		words_string(value, text, sizeof text);
		fact(out, style, name, text);
	}
}

void view_unit_line(struct slice job, struct lines *out)
{
	static const char *const cells[] = {"identity.maker", "identity.type", "identity.serial"};
	char text[WORDS_SIZE];
	for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++) {
		words_member(job, cells[i], text, sizeof text);
		if (text[0])
			lines_printf(out, "%s%s%s", out->len ? ", " : "", i == 2 ? "no. " : "", text);
	}
}

static void say_lifted(struct slice result, struct lines *out)
{
	struct slice list = json_member(result.at, result.len, "lifted"), element;
	char position[WORDS_SIZE], reach[WORDS_SIZE];
	for (size_t cursor = 0; json_next(list, &cursor, &element);) {
		words_member(element, "position", position, sizeof position);
		words_member(element, "reach", reach, sizeof reach);
		bool by_reach = words_member_is(element, "by", "reach");
		bool struck = json_bool(json_member(element.at, element.len, "struck"), false);
		lines_printf(out, "%s: %s, and nobody has measured it in circuit since%s\n", position,
		             strcmp(reach, "loose") == 0 ? "out of the unit" : "a leg is up",
		             by_reach ? " (as it was said)" : struck ? " (its entry was struck)" : "");
	}
}

static void say_new(struct slice result, struct lines *out)
{
	struct slice list = json_member(result.at, result.len, "new"), element;
	char position[WORDS_SIZE];
	for (size_t cursor = 0; json_next(list, &cursor, &element);) {
		words_member(element, "position", position, sizeof position);
		lines_printf(out, "%s: a new part %s, not confirmed to be in its place\n", position,
		             words_member_is(element, "by", "fit") ? "is to be fitted" : "was measured");
	}
}

bool view_ready(const struct style *style, struct slice result, const char *how,
                struct lines *out)
{
	struct slice list = json_member(result.at, result.len, "cautions"), element;
	bool ready = json_bool(json_member(result.at, result.len, "ready"), false);
	char text[WORDS_SIZE];
	for (size_t cursor = 0; json_next(list, &cursor, &element);) {
		words_string(element, text, sizeof text);
		lines_printf(out, "CAUTION: %s\n", text);
	}
	words_member(result, "job", text, sizeof text);
	fact(out, style, "job", text);
	say_lifted(result, out);
	say_new(result, out);
	if (ready)
		lines_puts(out, "no leg is known to be up, and no new part waits to be fitted; what was never "
		           "logged nobody knows: look\n");
	else
		lines_printf(out, "look at each, %s\n", how);
	return ready;
}

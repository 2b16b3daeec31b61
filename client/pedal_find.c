/* SPDX-License-Identifier: MIT */
/* See pedal_find.h. */
#include "client/pedal_find.h"

#include "client/pedal_device.h"

#include <dirent.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char *input_given(void)
{
	const char *given = getenv("TALLY_INPUT");
	return given && given[0] ? given : NULL;
}

const char *pedal_folder(void)
{
	return input_given() ? input_given() : "/dev/input";
}

/* The first line of an attribute; false where there is no such file. */
static bool attribute(const char *event, const char *name, char *out, size_t size)
{
	char path[2 * PEDAL_NODE_MAX];
	const char *given = input_given();
	snprintf(path, sizeof path, "%s%s/%s/device/%s", given ? given : "",
	         given ? "/sys" : "/sys/class/input", event, name);
	int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
	if (fd < 0)
		return false;
	ssize_t n = read(fd, out, size - 1);
	close(fd);
	out[n > 0 ? n : 0] = '\0';
	out[strcspn(out, "\n")] = '\0';
	return n >= 0;
}

static unsigned hex_attribute(const char *event, const char *name)
{
	char text[32];
	return attribute(event, name, text, sizeof text) ? (unsigned)strtoul(text, NULL, 16) : 0;
}

/* From sysfs; false where it has nothing. */
static bool look_sys(const char *event, struct pedal_identity *id, bool *keys)
{
	char name[300], phys[300] = "", uniq[300] = "", bits[1024] = "";
	if (!attribute(event, "name", name, sizeof name) ||
	    !attribute(event, "capabilities/key", bits, sizeof bits))
		return false;
	attribute(event, "phys", phys, sizeof phys);
	attribute(event, "uniq", uniq, sizeof uniq);
	pedal_identity_make(id, hex_attribute(event, "id/bustype"), hex_attribute(event, "id/vendor"),
	                    hex_attribute(event, "id/product"), uniq, phys, name);
	*keys = bits[strspn(bits, "0 ")] != '\0';
	return true;
}

/* Without sysfs: by opening it for a moment. */
static bool look_node(const char *node, struct pedal_identity *id, bool *keys)
{
	struct fault why;
	struct pedal_device *d = pedal_device_open(node, &why);
	if (!d)
		return false;
	pedal_device_identity(d, id);
	*keys = pedal_device_has_keys(d);
	pedal_device_close(d);
	return true;
}

static int event_number(const char *node)
{
	const char *slash = strrchr(node, '/');
	return atoi(slash + strlen("/event"));
}

static int by_number(const void *a, const void *b)
{
	return event_number(((const struct pedal_found *)a)->node) -
	       event_number(((const struct pedal_found *)b)->node);
}

void pedal_find(struct pedal_list *list)
{
	DIR *folder = opendir(pedal_folder());
	list->count = 0;
	list->more = false;
	if (!folder)
		return;
	for (struct dirent *e; (e = readdir(folder));) {
		struct pedal_found found = {0};
		bool keys = false;
		const char *digits = e->d_name + strlen("event");
		if (strncmp(e->d_name, "event", 5) != 0 || !digits[0] ||
		    digits[strspn(digits, "0123456789")] || strlen(digits) > 6)
			continue;
		int n = snprintf(found.node, sizeof found.node, "%s/%s", pedal_folder(), e->d_name);
		if (n < 0 || (size_t)n >= sizeof found.node)
			continue;
		found.readable = access(found.node, R_OK) == 0;
		if ((!look_sys(e->d_name, &found.id, &keys) && !look_node(found.node, &found.id, &keys)) ||
		    !keys)
			continue;
		if (list->count < PEDAL_FOUND_MAX)
			list->at[list->count++] = found;
		else
			list->more = true;
	}
	closedir(folder);
	qsort(list->at, (size_t)list->count, sizeof list->at[0], by_number);
}

int pedal_find_wanted(const struct pedal_list *list, const struct pedal_identity *wanted,
                      int *which, int *like)
{
	int fits = 0;
	*which = -1;
	*like = 0;
	for (int i = 0; i < list->count; i++) {
		if (pedal_identity_fits(wanted, &list->at[i].id)) {
			if (!fits++)
				*which = i;
		} else if (pedal_identity_like(wanted, &list->at[i].id)) {
			(*like)++;
		}
	}
	return fits;
}

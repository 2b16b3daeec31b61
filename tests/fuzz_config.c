/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: configuration files.  A refused one has a sentence and a place;
 * an accepted one holds what the daemon relies on.
 */
#include "daemon/config.h"
#include "tests/fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static struct config c;
	struct fault why;
	memset(&why, 0, sizeof why);
	if (!config_parse("f", (const char *)data, size, size & 1, &c, &why)) {
		must_be_placed(&why, data, size);
		return 0;
	}
	must(c.meters >= 0 && c.meters <= CONFIG_METERS_MAX && name_valid(c.name, strlen(c.name)));
	for (int i = 0; i < c.meters; i++) {
		const struct config_meter *m = &c.meter[i];
		must(name_valid(m->name, strlen(m->name)) && m->dialect && m->conversion >= 1);
		must(!m->dialect->asked || m->timeout_us > 0);
		must(m->serial.baud > 0 && config_meter(&c, m->name) == m);
		must(m->accuracy.count >= 0 && m->accuracy.count <= ACCURACY_LINES_MAX);
	}
	return 0;
}

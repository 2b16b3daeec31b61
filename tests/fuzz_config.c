/* SPDX-License-Identifier: MIT */
/*
 * Fuzz entry point: configuration files.  A refused one has a sentence and a place;
 * an accepted one holds what the daemon relies on.  All its faults are told where there is
 * one, each in the text, and the first of them is the one that refuses it.
 */
#include "daemon/config.h"
#include "daemon/faults.h"
#include "tests/fuzz.h"

struct told {
	const uint8_t *data;
	size_t size;
	struct faults all;
};

static void tell(void *arg, const struct fault *why)
{
	struct told *t = arg;
	must_be_placed(why, t->data, t->size);
	faults_keep(&t->all, why);
}

static void all_faults(const uint8_t *data, size_t size, bool good, const struct fault *why)
{
	static struct config scratch;
	struct told t = {data, size, {0}};
	int n = config_faults_in("f", (const char *)data, size, size & 1, &scratch, tell, &t);
	must(n == t.all.all && n == t.all.count);
	must(good == (n == 0));
	must(good || (t.all.kept[0].line == why->line && t.all.kept[0].column == why->column &&
	              strcmp(t.all.kept[0].text, why->text) == 0));
	free(t.all.kept);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static struct config c;
	struct fault why;
	memset(&why, 0, sizeof why);
	bool good = config_parse("f", (const char *)data, size, size & 1, &c, &why);
	all_faults(data, size, good, &why);
	if (!good) {
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

/* SPDX-License-Identifier: MIT */
/* See config_compare.h. */
#include "daemon/config_compare.h"

#include <string.h>

/* FNV-1a, 64 bits: nobody gains anything by making two sections look the same. */
uint64_t config_hash(const char *bytes, size_t len, uint64_t from)
{
	uint64_t hash = from ? from : UINT64_C(14695981039346656037);
	for (size_t i = 0; i < len; i++)
		hash = (hash ^ (unsigned char)bytes[i]) * UINT64_C(1099511628211);
	return hash;
}

/* Keys that change nothing before a reading is judged. */
static bool is_judged(const char *key)
{
	static const char *const begins[] = {"accuracy", "input", "isolated", "ac", "bandwidth",
	                                     "crest", "rated", "test"};
	size_t len = strcspn(key, " ");
	for (size_t i = 0; i < sizeof begins / sizeof *begins; i++)
		if (strlen(begins[i]) == len && strncmp(key, begins[i], len) == 0)
			return true;
	return false;
}

/* A sum, so that the order of the keys does not matter. */
void config_meter_remember(struct config_meter *m, const char *key, const char *value)
{
	uint64_t hash = config_hash(value, strlen(value), config_hash(key, strlen(key) + 1, 0));
	if (is_judged(key))
		m->judged_said += hash;
	else
		m->line_said += hash;
}

enum config_change config_meter_change(const struct config_meter *was,
                                       const struct config_meter *is)
{
	bool file = was->dialect_said || is->dialect_said;
	if (was->line_said != is->line_said || was->dialect_said != is->dialect_said ||
	    (!file && was->dialect != is->dialect))
		return CONFIG_OTHER;
	return was->judged_said == is->judged_said ? CONFIG_SAME : CONFIG_JUDGED;
}

bool config_limits_differ(const struct config *was, const struct config *is)
{
	return memcmp(&was->limits, &is->limits, sizeof was->limits) != 0;
}

bool config_can_follow(const struct config *was, const struct config *is, struct fault *why)
{
	const struct { const char *key, *was, *is; enum config_key at; } keys[] = {
	    {"name", was->name, is->name, CONFIG_KEY_NAME},
	    {"log", was->log, is->log, CONFIG_KEY_LOG},
	    {"socket", was->socket, is->socket, CONFIG_KEY_SOCKET},
	    {"viewers", was->viewers, is->viewers, CONFIG_KEY_VIEWERS},
	};
	for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
		const struct config_place *at = &is->at[keys[i].at];
		if (strcmp(keys[i].was, keys[i].is) == 0)
			continue;
		fault_at(why, is->file, at->line, at->column,
		         "`%s` is %.200s now, and %.200s where the daemon runs: that needs a restart "
		         "(systemctl restart tallyd); nothing was changed",
		         keys[i].key, keys[i].is[0] ? keys[i].is : "not there",
		         keys[i].was[0] ? keys[i].was : "not there");
		return false;
	}
	return true;
}

/* SPDX-License-Identifier: MIT */
/* See config.h. */
#include "daemon/config.h"
#include "daemon/config_compare.h"
#include "daemon/config_meter.h"
#include "daemon/config_value.h"

#include "protocol/file/ini.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct loader {
	const char *file;
	bool replay;
	struct config *config;
	bool in_meter;
	struct meter_draft draft;
	bool has_log;
	/* Where every fault is told (config_faults), and not the first alone; else NULL. */
	void (*tell)(void *arg, const struct fault *why);
	void *tell_arg;
	bool spoilt; /* a key of the open meter was refused: what it lacks may be that */
};

/* ---- [bench] ---- */

enum taken { TAKEN, REFUSED, UNKNOWN };

static enum taken limit_take(struct config *c, const struct ini_item *item, struct fault *why)
{
	static const struct {
		const char *name;
		size_t offset;
		double low, high;
	} limit[] = {
#define X(field, name, standard, low, high) \
	{ name, offsetof(struct settle_limits, field), low, high },
		SETTLE_LIMIT_LIST(X)
#undef X
	};
	const size_t count = sizeof limit / sizeof limit[0];
	size_t i = 0;
	while (i < count && strcmp(limit[i].name, item->key) != 0)
		i++;
	if (i == count)
		return UNKNOWN;
	double *out = (double *)(void *)((char *)&c->limits + limit[i].offset);
	size_t len = strlen(item->key);
	if (len > 8 && strcmp(item->key + len - 8, " seconds") == 0) {
		int64_t us, low = llround(limit[i].low * 1e6), high = llround(limit[i].high * 1e6);
		if (!value_seconds(item->value, low, high, &us, why))
			return REFUSED;
		*out = (double)us / 1e6;
		return TAKEN;
	}
	if (!value_number(item->value, limit[i].low, limit[i].high, out, why))
		return REFUSED;
	if (strstr(item->key, "conversions") && floor(*out) < *out) {
		fault_set(why, "`%.60s`: expected a whole number", item->value);
		return REFUSED;
	}
	return TAKEN;
}

/* Where it stands, for what is said when it differs at a reload. */
static void bench_place(struct config *c, const struct ini_item *item)
{
	static const char *const keys[CONFIG_KEYS] = {"name", "log", "socket", "viewers"};
	for (int i = 0; i < CONFIG_KEYS; i++)
		if (strcmp(item->key, keys[i]) == 0)
			c->at[i] = (struct config_place){item->line, item->value_column};
}

static bool bench_take(struct loader *l, const struct ini_item *item, struct fault *why)
{
	struct config *c = l->config;
	bench_place(c, item);
	if (strcmp(item->key, "name") == 0) {
		if (name_valid(item->value, strlen(item->value))) {
			snprintf(c->name, sizeof c->name, "%s", item->value);
			return true;
		}
		fault_set(why, "`%.60s` is no name: expected up to 32 letters, digits and . _ / -, a "
		               "letter or digit first", item->value);
		return false;
	}
	if (strcmp(item->key, "log") == 0) {
		l->has_log = true;
		return value_text(item->value, "the path of the log", c->log, sizeof c->log, why);
	}
	if (strcmp(item->key, "socket") == 0)
		return value_text(item->value, "the path of the socket", c->socket, sizeof c->socket,
		                  why);
	if (strcmp(item->key, "viewers") == 0)
		return value_text(item->value, "the path of the socket for viewers", c->viewers,
		                  sizeof c->viewers, why);
	if (strcmp(item->key, "dialects") == 0) /* loaded already, see config_load */
		return value_text(item->value, "the folder of dialect files", (char[CONFIG_PATH_SIZE]){0},
		                  CONFIG_PATH_SIZE, why);
	enum taken taken = limit_take(c, item, why);
	if (taken == UNKNOWN)
		fault_at(why, l->file, item->line, item->key_column,
		         "unknown key `%.40s` of the bench: expected name, log, socket, viewers, dialects, or one of the "
		         "thresholds of settling, such as `arm seconds`",
		         item->key);
	return taken == TAKEN;
}

/* ---- sections ---- */

static bool section_end(struct loader *l, struct fault *why)
{
	bool spoilt = l->spoilt;
	l->spoilt = false;
	if (!l->in_meter || spoilt) {
		l->in_meter = false;
		return true;
	}
	l->in_meter = false;
	if (!meter_finish(&l->draft, l->replay, why))
		return false;
	struct config *c = l->config;
	struct config_meter *m = l->draft.meter;
	m->dialect_said = dialects_said(&c->dialects, m->dialect);
	for (int i = 0; i < c->meters && m->has_place && !l->replay; i++)
		if (c->meter[i].has_place && strcmp(c->meter[i].port, m->port) == 0) {
			const struct key_place *at = &l->draft.given[KEY_PORT];
			fault_at(why, l->file, at->line, at->value_column,
			         "this port was given already to meter %s in line %d", c->meter[i].name,
			         c->meter[i].line);
			return false;
		}
	c->meters++;
	return true;
}

static bool section_begin(struct loader *l, const struct ini_item *item, struct fault *why)
{
	struct config *c = l->config;
	if (strcmp(item->section, "bench") == 0)
		return true;
	if (strncmp(item->section, "meter ", 6) != 0) {
		fault_at(why, l->file, item->line, item->key_column,
		         "unknown section [%.60s]: expected [bench] or [meter NAME]", item->section);
		return false;
	}
	if (c->meters == CONFIG_METERS_MAX) {
		fault_at(why, l->file, item->line, item->key_column, "more than %d meters",
		         CONFIG_METERS_MAX);
		return false;
	}
	l->in_meter = true;
	if (!config_meter_begin(&l->draft, &c->meter[c->meters], l->file, item->section + 6, item, why))
		return false;
	l->draft.dialects = &c->dialects;
	return true;
}

static bool take(void *arg, const struct ini_item *item, struct fault *why)
{
	struct loader *l = arg;
	why->text[0] = '\0';
	why->line = why->column = 0;
	if (!item->key) {
		if (!section_end(l, why)) {
			if (!l->tell)
				return false;
			/* Of the section before: this one is read all the same. */
			l->tell(l->tell_arg, why);
		}
		bool begun = section_begin(l, item, why);
		l->spoilt = !begun;
		return begun;
	}
	bool good = l->in_meter ? meter_take(&l->draft, item, why) : bench_take(l, item, why);
	l->spoilt |= !good;
	if (good && l->in_meter)
		config_meter_remember(l->draft.meter, item->key, item->value);
	if (!good && !why->line) {
		/* A column that counts from the start of the value. */
		int column = item->value_column + (why->column ? why->column - 1 : 0);
		fault_at(why, l->file, item->line, column, "`%.60s`: %s", item->key, why->text);
	}
	return good;
}

/* ---- the whole ---- */

void config_standard(struct config *out)
{
	char host[256] = "";
	memset(out, 0, sizeof *out);
#define X(field, name, standard, low, high) out->limits.field = (standard);
	SETTLE_LIMIT_LIST(X)
#undef X
	gethostname(host, sizeof host - 1);
	host[strcspn(host, ".")] = '\0';
	bool good = name_valid(host, strlen(host));
	snprintf(out->name, sizeof out->name, "%.32s", good ? host : "bench");
	snprintf(out->log, sizeof out->log, "%s/%s.db", CONFIG_LOG_FOLDER, out->name);
	snprintf(out->socket, sizeof out->socket, "%s", CONFIG_SOCKET);
}

static bool parse_with(const struct dialects *loaded, const char *file, const char *text,
                       size_t len, bool replay, struct config *out, struct fault *why)
{
	struct loader l = { .file = file, .replay = replay, .config = out };
	config_standard(out);
	out->dialects = *loaded;
	snprintf(out->file, sizeof out->file, "%s", file);
	if (!ini_parse(file, text, len, take, &l, why) || !section_end(&l, why))
		return false;
	if (!l.has_log)
		snprintf(out->log, sizeof out->log, "%s/%s.db", CONFIG_LOG_FOLDER, out->name);
	return true;
}

bool config_parse(const char *file, const char *text, size_t len, bool replay, struct config *out,
                  struct fault *why)
{
	struct dialects none = {.count = 0};
	return parse_with(&none, file, text, len, replay, out, why);
}

static char *file_read(const char *file, size_t *len, struct fault *why)
{
	FILE *f = fopen(file, "re");
	if (!f) {
		fault_at(why, file, 0, 0, "the configuration cannot be read: %s; name one with --config FILE, "
		         "or leave that out for " CONFIG_FILE, strerror(errno));
		return NULL;
	}
	char *text = malloc(CONFIG_FILE_MAX + 1);
	*len = text ? fread(text, 1, CONFIG_FILE_MAX + 1, f) : 0;
	int error = ferror(f) ? errno : 0;
	fclose(f);
	if (text && !error && *len <= CONFIG_FILE_MAX)
		return text;
	if (!text)
		fault_at(why, file, 0, 0, "out of memory");
	else if (error)
		fault_at(why, file, 0, 0, "the configuration cannot be read: %s", strerror(error));
	else
		fault_at(why, file, 0, 0, "longer than %d bytes: this is no configuration",
		         CONFIG_FILE_MAX);
	free(text);
	return NULL;
}

struct dialects_key {
	char folder[CONFIG_PATH_SIZE];
	bool said;
};

static bool find_dialects(void *arg, const struct ini_item *item, struct fault *why)
{
	struct dialects_key *key = arg;
	(void)why;
	bool here = item->key && strcmp(item->section, "bench") == 0;
	/* An empty one is refused by the reading proper, with its place. */
	if (here && strcmp(item->key, "dialects") == 0 && *item->value) {
		snprintf(key->folder, sizeof key->folder, "%s", item->value);
		key->said = true;
	}
	return true;
}

void config_free(struct config *c)
{
	dialects_free(&c->dialects);
}

static bool is_missing(const char *file)
{
	return access(file, F_OK) < 0 && errno == ENOENT;
}

struct telling {
	void (*tell)(void *arg, const struct fault *why);
	void *arg;
	int count;
};

static void tell_counted(void *arg, const struct fault *why)
{
	struct telling *t = arg;
	t->count++;
	t->tell(t->arg, why);
}

/* Of a line: what it would have said is lacking in its section. */
static void tell_line(void *arg, const struct fault *why)
{
	struct loader *l = arg;
	l->spoilt = true;
	tell_counted(l->tell_arg, why);
}

/* The file that is meant where none is named; NULL: there is none. */
static const char *file_meant(const char *file)
{
	if (file)
		return file;
	file = is_missing(CONFIG_FILE) ? CONFIG_FILE_BEFORE : CONFIG_FILE;
	return is_missing(file) ? NULL : file;
}

/* Dialects first: a [meter] may stand before [bench].  What is wrong with the file itself is
 * said by the reading proper. */
static bool load_dialects(const char *file, const char *text, size_t len, struct dialects *out,
                          struct fault *why)
{
	struct dialects_key key = {CONFIG_DIALECTS, false};
	struct fault ignored;
	ini_parse(file, text, len, find_dialects, &key, &ignored);
	return dialects_load(out, key.folder, key.said, why);
}

bool config_load(const char *file, bool replay, struct config *out, struct fault *why)
{
	size_t len;
	file = file_meant(file);
	if (!file) {
		config_standard(out);
		return true;
	}
	char *text = file_read(file, &len, why);
	if (!text)
		return false;
	struct dialects loaded;
	bool good = load_dialects(file, text, len, &loaded, why);
	if (good && !parse_with(&loaded, file, text, len, replay, out, why)) {
		dialects_free(&loaded);
		good = false;
	}
	free(text);
	return good;
}

static int faults_with(const struct dialects *loaded, const char *file, const char *text, size_t len,
                       bool replay, struct config *scratch,
                       void (*tell)(void *arg, const struct fault *why), void *arg)
{
	struct fault why = {.text = ""};
	struct telling t = {tell, arg, 0};
	struct loader l = {.file = file, .replay = replay, .config = scratch,
	                   .tell = tell_counted, .tell_arg = &t};
	config_standard(scratch);
	scratch->dialects = *loaded;
	ini_faults(file, text, len, take, &l, tell_line, &l);
	if (!section_end(&l, &why))
		tell_counted(&t, &why);
	return t.count;
}

int config_faults_in(const char *file, const char *text, size_t len, bool replay,
                     struct config *scratch, void (*tell)(void *arg, const struct fault *why),
                     void *arg)
{
	struct dialects none = {.count = 0};
	return faults_with(&none, file, text, len, replay, scratch, tell, arg);
}

int config_faults(const char *file, bool replay, struct config *scratch,
                  void (*tell)(void *arg, const struct fault *why), void *arg)
{
	struct fault why = {.text = ""};
	struct dialects loaded;
	size_t len;
	int told = 0;
	file = file_meant(file);
	char *text = file ? file_read(file, &len, &why) : NULL;
	if (text && load_dialects(file, text, len, &loaded, &why)) {
		told = faults_with(&loaded, file, text, len, replay, scratch, tell, arg);
		dialects_free(&scratch->dialects);
	}
	free(text);
	return told;
}

const struct config_meter *config_meter(const struct config *c, const char *name)
{
	for (int i = 0; i < c->meters; i++)
		if (strcmp(c->meter[i].name, name) == 0)
			return &c->meter[i];
	return NULL;
}

bool config_digit(const struct config_meter *m, enum function f, struct decimal *digit)
{
	enum function from = m->has_digit[f] ? f : FUNCTION_NONE;
	if (!m->has_digit[from])
		return false;
	*digit = m->digit[from];
	return true;
}

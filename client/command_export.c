/* SPDX-License-Identifier: MIT */
/*
 * Exports: the sealed texts as lines, with the hashes that seal them between them
 * (protocol/record/export.h).  The daemon gives texts and hashes as they stand in the log;
 * on their way out they are held against each other, so that whoever exports an altered log
 * hears of it at once.
 */
#include "client/command_calls.h"

#include "protocol/record/export.h"

#include <stdlib.h>
#include <string.h>

struct exporting {
	struct client *c;
	struct sealer *sealer;
	uint8_t head[SEAL_SIZE];                    /* of the record before, as the log says */
	uint8_t hash[EXPORT_HASHES_MAX][SEAL_SIZE]; /* since the last seal line */
	int n;
	int64_t seq, after, until, misfit; /* misfit: the first record that does not fit, or 0 */
	bool begun;
};

static void write_line(struct exporting *e, struct text *t)
{
	if (t->failed)
		return;
	fwrite(t->bytes, 1, t->len, e->c->out);
	fputc('\n', e->c->out);
}

static void write_hashes(struct exporting *e, bool end)
{
	char buffer[EXPORT_SEAL_MAX];
	struct text t;
	text_begin(&t, buffer, sizeof buffer);
	export_hashes_write(&t, (const uint8_t (*)[SEAL_SIZE])e->hash, e->n, end ? e->seq : 0);
	write_line(e, &t);
	e->n = 0;
}

/* What the first page says of the place. */
static bool begin(struct exporting *e, struct slice result)
{
	struct export_begin b = {.after = e->after};
	char buffer[EXPORT_SEAL_MAX];
	struct text t;
	struct slice before = json_member(result.at, result.len, "before");
	struct slice key = json_member(result.at, result.len, "key");
	b.has_key = !json_absent(key);
	if (!json_text(json_member(result.at, result.len, "identity"), b.identity, sizeof b.identity) ||
	    before.len != 2 * SEAL_SIZE + 2 ||
	    !seal_unhex(before.at + 1, 2 * SEAL_SIZE, b.hash, SEAL_SIZE) ||
	    (b.has_key && (key.len != 2 * KEY_SIZE + 2 ||
	                   !seal_unhex(key.at + 1, 2 * KEY_SIZE, b.key, KEY_SIZE))) ||
	    !json_int(json_member(result.at, result.len, "until"), &e->until))
		return false;
	memcpy(e->head, b.hash, SEAL_SIZE);
	text_begin(&t, buffer, sizeof buffer);
	export_begin_write(&t, &b);
	write_line(e, &t);
	e->begun = true;
	return true;
}

static bool write_record(struct exporting *e, struct slice record, struct slice hex)
{
	uint8_t *hash = e->hash[e->n], own[SEAL_SIZE];
	if (hex.len != 2 * SEAL_SIZE + 2 || !seal_unhex(hex.at + 1, 2 * SEAL_SIZE, hash, SEAL_SIZE) ||
	    !json_int(json_member(record.at, record.len, "seq"), &e->seq))
		return false;
	if (!e->misfit && (!sealer_next(e->sealer, e->head, record.at, record.len, own) ||
	                   memcmp(own, hash, SEAL_SIZE) != 0))
		e->misfit = e->seq;
	memcpy(e->head, hash, SEAL_SIZE);
	client_json(e->c, record);
	if (++e->n == EXPORT_HASHES_MAX && e->seq < e->until)
		write_hashes(e, false);
	return true;
}

static bool write_page(struct exporting *e, struct slice result)
{
	struct slice records = json_member(result.at, result.len, "records"), record;
	struct slice hashes = json_member(result.at, result.len, "hashes"), hash;
	size_t at = 0, at_hash = 0;
	if (!e->begun && !begin(e, result))
		return false;
	while (json_next(records, &at, &record))
		if (!json_next(hashes, &at_hash, &hash) || !write_record(e, record, hash))
			return false;
	return true;
}

static enum outcome pages(struct exporting *e, int64_t until)
{
	enum outcome outcome = OUTCOME_DONE;
	bool more = true, gone = false;
	int64_t after = e->after;
	while (outcome == OUTCOME_DONE && more && !gone) {
		struct message m;
		json_t *params = json_pack("{s:I}", "after", (json_int_t)after);
		if (until || e->begun)
			json_object_set_new(params, "until", json_integer(e->begun ? e->until : until));
		outcome = client_ask_for(e->c, "export", params, LINK_FOREVER, &m);
		if (outcome == OUTCOME_DONE && !write_page(e, m.result)) {
			fprintf(e->c->err, "tally export: the answer cannot be read: are tally and tallyd of one "
			        "version? What was written is not whole\n");
			outcome = OUTCOME_UNREACHABLE;
		}
		more = json_bool(json_member(m.result.at, m.result.len, "more"), false);
		if (outcome == OUTCOME_DONE && more && e->seq <= after)
			outcome = OUTCOME_UNREACHABLE; /* a page that does not move on */
		after = e->seq;
		message_free(&m);
		if (outcome == OUTCOME_DONE && !client_flush(e->c, &gone))
			outcome = gone ? OUTCOME_DONE : OUTCOME_NOT_LOGGED;
	}
	return outcome;
}

enum outcome call_export(struct client *c)
{
	struct exporting e = {.c = c};
	const char *from = client_option(c, OPTION_FROM), *to = client_option(c, OPTION_TO);
	int64_t first = 1, until = 0;
	if ((from && !client_seq(c, from, "--from", &first)) || (to && !client_seq(c, to, "--to", &until)))
		return OUTCOME_WRONG;
	if (first < 1 || (to && until < first))
		return client_wrong(c, "records are numbered from 1, and --to is not before --from");
	e.after = first - 1;
	e.sealer = sealer_open();
	if (!e.sealer)
		return client_wrong(c, "no memory, or no SHA-256 in libcrypto");
	enum outcome outcome = pages(&e, until);
	if (outcome == OUTCOME_DONE)
		write_hashes(&e, true);
	sealer_close(e.sealer);
	if (outcome == OUTCOME_DONE && e.misfit) {
		fprintf(c->err, "tally export: record %lld does not fit its hash: the log was altered, and is "
		        "exported as it stands; `tally verify` says more\n", (long long)e.misfit);
		return OUTCOME_NO;
	}
	return outcome;
}

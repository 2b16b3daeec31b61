/* SPDX-License-Identifier: MIT */
/* See main_restore.h. */
#include "daemon/main_restore.h"

#include "daemon/log.h"
#include "protocol/record/checkpoint.h"
#include "protocol/record/text.h"

#include <stdio.h>
#include <string.h>

static int say_fault(const struct fault *why, int status)
{
	char line[700];
	fault_text(why, line, sizeof line);
	fprintf(stderr, "tallyd: %s\n", line);
	return status;
}

static bool read_pin(const struct restore_order *o, struct log_pin *pin, struct fault *why)
{
	pin->has_key = o->key != NULL;
	if (o->anchor && !anchor_parse(o->anchor, strlen(o->anchor), &pin->seq, pin->hash)) {
		fault_set(why, "--anchor is SEQ:HASH, HASH being 64 hex digits");
		return false;
	}
	if (o->key && !fingerprint_parse(o->key, strlen(o->key), pin->fingerprint)) {
		fault_set(why, "--key is the fingerprint of a key, 32 hex digits");
		return false;
	}
	return true;
}

/* What the log can do from here on. */
static const char *const key_words[] = {
	[LOG_KEY_NONE_NEEDED] = "none",
	[LOG_KEY_THERE] = "there",
	[LOG_KEY_MISSING] = "missing",
	[LOG_KEY_OTHER] = "other",
};

static void print(const struct restore_order *o, const struct log_restored *r)
{
	char buffer[16384], anchor[ANCHOR_SIZE];
	struct text t;
	anchor_text(r->check.records, r->check.head, anchor);
	text_begin(&t, buffer, sizeof buffer);
	text_puts(&t, "{\"log\":");
	text_string(&t, o->log, strlen(o->log));
	text_member_int(&t, "records", r->check.records);
	text_member_string(&t, "head", anchor);
	text_member_string(&t, "identity", r->check.identity);
	text_member_string(&t, "verdict", log_verdict_name(r->check.verdict));
	text_member_string(&t, "key", key_words[r->key]);
	text_member_string(&t, "aside", r->aside[0] ? r->aside : NULL);
	text_puts(&t, "}\n");
	fputs(t.failed ? "{}\n" : t.bytes, stdout);
	fflush(stdout);
}

int restore_run(const struct restore_order *order, int64_t now)
{
	struct log_pin pin = { 0 };
	struct log_restored done;
	struct fault why = { .text = "" };
	if (!read_pin(order, &pin, &why))
		return say_fault(&why, 2);
	if (!log_restore(order->from, order->log, order->over, now, &pin, &done, &why)) {
		enum log_verdict v = done.check.verdict;
		return say_fault(&why, v == LOG_INTACT_NO_ANCHOR || v == LOG_INTACT_TO_ANCHOR ||
		                 v == LOG_NEWER_THAN_ANCHOR ? 2 : 1);
	}
	print(order, &done);
	return 0;
}

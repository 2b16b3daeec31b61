/* SPDX-License-Identifier: MIT */
/*
 * What checking the seal found, and what it cannot find.
 */
#include "client/view.h"

#include <stdio.h>
#include <string.h>

/* What an intact chain leaves open: the person must know before trusting it. */
static const char *unproven(const char *anchor, bool pinned)
{
	if (!anchor[0] && pinned)
		return "Whoever has the key could have written all of it anew, or cut off its end: an "
		       "anchor that was written down earlier shows that, with --anchor SEQ:HASH.";
	if (!anchor[0])
		return "Without an anchor from outside nothing shows whether the end was cut off, or "
		       "whether somebody wrote all of it anew: give one that was written down earlier, "
		       "with --anchor SEQ:HASH.";
	return "What was logged after the anchor could have been written anew by someone who can "
	       "write the file; up to the anchor it could not.";
}

/* How far the key vouches for it, and for how much it does not yet. */
static void signatures(const struct style *style, struct slice result, struct lines *out)
{
	char key[WORDS_SIZE];
	int64_t n = 0, after = 0;
	if (json_absent(json_member(result.at, result.len, "keys")))
		return; /* a daemon of before */
	words_member(result, "key", key, sizeof key);
	fact(out, style, "key", key[0] ? key : "none: nobody signs for this log");
	json_int(json_member(result.at, result.len, "entries_after"), &after);
	if (json_int(json_member(result.at, result.len, "signed"), &n) && n > 0)
		fact_printf(out, style, "signed", "to record %lld; %lld entr%s after it", (long long)n,
		            (long long)after, after == 1 ? "y" : "ies");
	else if (key[0])
		fact(out, style, "signed", "nothing yet");
	if (json_int(json_member(result.at, result.len, "misfit"), &n) && n > 0)
		fact_printf(out, style, "not signed", "record %lld is not signed by the key of the log",
		            (long long)n);
}

void view_verify(const struct style *style, struct slice result, const char *what,
                 const char *anchor, bool pinned, struct lines *out)
{
	char text[WORDS_SIZE];
	int64_t n = 0;
	bool ok = json_bool(json_member(result.at, result.len, "ok"), false);
	enum table_mark mark = ok ? TABLE_ORDINARY : TABLE_BAD;
	fact(out, style, "checked", what);
	words_member(result, "identity", text, sizeof text);
	fact(out, style, "identity", text);
	if (json_int(json_member(result.at, result.len, "records"), &n))
		fact_printf(out, style, "records", "%lld: the place, the text and the hash of each fit",
		            (long long)n);
	if (json_int(json_member(result.at, result.len, "first"), &n) && n > 1)
		fact_printf(out, style, "a part", "from record %lld on; it shows nothing about those before it",
		            (long long)n);
	words_member(result, "verdict", text, sizeof text);
	lines_puts(out, table_colour(style, mark));
	fact_printf(out, style, "verdict", "%s%s", text, ok ? "" : ": NOT GOOD");
	lines_puts(out, table_colour_end(style, mark));
	if (json_int(json_member(result.at, result.len, "bad"), &n) && n > 0) {
		int64_t line = 0, column = 0;
		json_int(json_member(result.at, result.len, "column"), &column);
		if (json_int(json_member(result.at, result.len, "line"), &line) && line > 0)
			fact_printf(out, style, "first bad", "record %lld, line %lld%s%.0lld", (long long)n,
			            (long long)line, column > 0 ? ", column " : "", (long long)column);
		else
			fact_printf(out, style, "first bad", "record %lld", (long long)n);
	}
	words_member(result, "what", text, sizeof text);
	fact(out, style, "what", text);
	fact(out, style, "anchor", anchor);
	signatures(style, result, out);
	words_member(result, "head", text, sizeof text);
	fact(out, style, ok ? "head" : "good up to", text);
	if (!ok)
		return;
	/* Sentences are folded wherever they go. */
	struct style prose = *style;
	if (!prose.width)
		prose.width = 79;
	if (text[0])
		fact(out, &prose, "", "Write the head down where nobody who can write the log can reach it: "
		     "it is the anchor of the next check.");
	fact(out, &prose, "not proven", unproven(anchor, pinned));
	fact(out, &prose, "", "No seal shows that the probes were on the right part.");
}

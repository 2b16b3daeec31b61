/* SPDX-License-Identifier: MIT */
/* Rows of command_table.c: the log.  Included there and nowhere else; command.h says what each
 * member of a row is. */
	{LOG, "watch", "", "every record as it is made",
	 "On a terminal and with --plain: a line in words for each record, and what is heard at the "
	 "bench. With --json, and where standard output is no terminal: the sealed text of each "
	 "record, byte for byte, one a line. --after SEQ begins after that record (0: with the first), "
	 "else only new ones are shown. Ends with Ctrl-C.",
	 OPTION_BIT(AFTER), 0, NEED_BENCH, false, call_watch},
	{LOG, "backup", "FILE", "a whole, verified copy of the log, while the bench works",
	 "FILE may not be there yet. The copy is made with the right of the daemon, of the records of one "
	 "moment; it is read through before it gets its name, and needs nothing beside it: `tally --file "
	 "FILE ...` and `tally verify FILE` read it. After a loss `tally restore` puts it in the log's "
	 "place. The key is not in it: keep LOG.key elsewhere as well, or nothing can be signed then.",
	 0, 0, NEED_LOG, false, call_backup},
	{LOG, "restore", "FILE", "put a backup in the log's place, while no daemon runs",
	 "FILE is a copy that `tally backup` made, or an export. It is verified first (--anchor and --key "
	 "as with verify), and nothing is changed where its seal does not hold, with exit status 1. Where "
	 "there is a log already it is refused; with --over the old one gets another name beside it, with "
	 "all that belongs to it, and can be put back. The log goes on with its old key only if that is "
	 "there (LOG.key); without it everything is logged, but nothing is signed any more.",
	 OPTION_BIT(LOG) | OPTION_BIT(OVER) | OPTION_BIT(ANCHOR) | OPTION_BIT(KEY) | OPTION_BIT(CONFIG), 0,
	 NEED_NOTHING, false, call_restore},
	{LOG, "export", "", "the records as lines of JSON, byte for byte",
	 "tally export > FILE.jsonl: every record as it was sealed, a line each, and between them lines that begin with {\"seal\": and "
	 "hold the hashes, so that the file can be verified by itself (`tally verify FILE.jsonl`, or by "
	 "protocol/SEAL.md without this program). --from and --to, both numbers of records, make a part; "
	 "parts that follow each other may be joined with cat. Exit status 1 where a record does not fit "
	 "its hash: it is exported as it stands.",
	 OPTION_BIT(FROM) | OPTION_BIT(TO), 0, NEED_LOG, false, call_export},
	{LOG, "import", "FILE", "a log from an export, while no daemon runs",
	 "tally import FILE.jsonl --log FILE. The same as restore: verified first, refused over a log that "
	 "is there unless --over is given, and the hashes are those of the export. Texts without seal "
	 "lines (the records that a replay prints) need --anchor, for nothing else shows that they are "
	 "whole.",
	 OPTION_BIT(LOG) | OPTION_BIT(OVER) | OPTION_BIT(ANCHOR) | OPTION_BIT(KEY) | OPTION_BIT(CONFIG), 0,
	 NEED_NOTHING, false, call_restore},
	{LOG, "verify", "[FILE]", "check the seal of the running log, or of a file",
	 "Every record's place, text and hash, and every signature. --anchor is a head that was written "
	 "down earlier: only that shows a log that was cut off or written anew by whoever has its key. "
	 "--key is the fingerprint of its key that was written down: only that shows a log that somebody "
	 "else wrote and signed. Prints the head, the anchor of next time. Exit status 1 where anything "
	 "is not as it was sealed. A file needs no running daemon; it may be an export. Ctrl-C ends it, "
	 "the daemon's part as well.",
	 OPTION_BIT(ANCHOR) | OPTION_BIT(KEY), 0, NEED_LOG, false, call_verify},

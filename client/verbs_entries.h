/* SPDX-License-Identifier: MIT */
/* Rows of command_table.c: entries.  Included there and nowhere else; command.h says what each
 * member of a row is. */
	{ENTRIES, "enter", "POSITION VALUE", "an entry from an instrument without a data line",
	 "The value as people write it: 470k, 4k7, 0.47 uF, -35 V, overload. It is marked as typed "
	 "for ever. --from names the instrument; --quantity where it is not the value; --u its "
	 "standard uncertainty. --frequency says at which frequency volts or amps AC were measured; of "
	 "three and more at one position the report draws a response.",
	 OPTION_BIT(FROM) | OPTION_BIT(QUANTITY) | OPTION_BIT(U) | OPTION_BIT(BECAUSE) |
	     OPTION_BIT(FREQUENCY),
	 OPTION_BIT(FROM), NEED_BENCH, true, call_enter},
	{ENTRIES, "entries", "[POSITION]", "entries with their verdicts",
	 "With --json each line is the sealed record, byte for byte; one that was struck has a member "
	 "`struck` added before its closing brace. --budget: of each, what its uncertainty is made of "
	 "(component, statement, distribution, divisor, share), worked out again from the record alone. "
	 "--valve: those of one valve, by its own number, in whatever socket and job it was. --beside: "
	 "what was measured in an earlier job of the unit, what is measured now, and the change.",
	 OPTION_BIT(JOB) | OPTION_BIT(BUDGET) | OPTION_BIT(VALVE) | OPTION_BIT(BESIDE), 0, NEED_LOG, false, call_entries},
	{ENTRIES, "strike", "SEQ", "say that an entry does not count, and why",
	 "SEQ is the number of the entry's record. Nothing is deleted: the entry stays, marked.",
	 OPTION_BIT(BECAUSE), OPTION_BIT(BECAUSE), NEED_BENCH, true, call_strike},
	{ENTRIES, "move", "SEQ... POSITION", "entries belong to another position",
	 "SEQ is the number of an entry's record, a run of them (45-48: all entries in it), or last. "
	 "Nothing is changed in the entry: a record says where it belongs, and it is judged anew by "
	 "the limits there. All are moved or none. `undo`, or another move, takes it back. Where there is a "
	 "sheet the position must be in it: `sheet add` adds one.",
	 OPTION_BIT(BECAUSE), 0, NEED_BENCH, true, call_move},
	{ENTRIES, "note", "POSITION TEXT", "a note on a position",
	 "All that follows the position is the text. --photo PICTURE: a jpeg, png or webp file of up to 64 MiB "
	 "is kept beside the log, by its SHA-256 (LOG.photos/), and the note names it. Where there is a sheet "
	 "the position must be in it: `sheet add` adds one.",
	 OPTION_BIT(PHOTO), 0, NEED_BENCH, true, call_note},
	{ENTRIES, "notes", "[POSITION]", "what was noted, by the names of today",
	 "One line a note, the oldest first.",
	 OPTION_BIT(JOB), 0, NEED_LOG, false, call_notes},
	{ENTRIES, "photos", "[POSITION]", "are the photos of notes still what their hashes say?",
	 "Of all jobs, or one. Each is read through: good, missing or altered. Exit status 1 where one is "
	 "not good. With --file those beside that log.",
	 OPTION_BIT(JOB), 0, NEED_LOG, false, call_photos},
	{ENTRIES, "compare", "[POSITION]", "meters against each other, twin against twin",
	 "Entries of one part by two meters agree where E_n is at most 1. Exit status 1 where meters "
	 "disagree; twins that differ are said and are no such answer.",
	 OPTION_BIT(JOB), 0, NEED_LOG, false, call_compare},
	{ENTRIES, "trail", "", "what the meters read: a quick look, a picture, CSV",
	 "Without more all of the trail, least and greatest of each column. --at POSITION shows the last touch "
	 "there, with what was seen before and after it. --entry SEQ (or first, last) shows the touch of that entry "
	 "and its readings: before, during, after; at a terminal one goes on to the next and back from there. --from and --to take 10:00, 10:00:05, 2026-11-25, "
	 "2026-11-25 10:00, 2026-11-25T10:00:00Z, or -10m (before the end). --chart writes a picture: trail "
	 "with the meter's uncertainty, limits, touches and entries; gaps stay open. --csv gives every reading "
	 "in UTC and SI units, --json the sealed records. Readings of the last seconds that are not sealed yet "
	 "are counted as such; in --csv they name no record, in --json they have \"sealed\":false.",
	 OPTION_BIT(AT) | OPTION_BIT(METER) | OPTION_BIT(FROM) | OPTION_BIT(TO) | OPTION_BIT(CHART) |
	     OPTION_BIT(CSV) | OPTION_BIT(ENTRY), 0, NEED_LOG, false, call_trail},
	{ENTRIES, "plan", "", "what to replace, in rounds",
	 "Round 1 is supply and electrolytics, 2 coupling, 3 the rest. "
	 "By what the place of each part can live with (service), and by age: electrolytics and paper "
	 "capacitors always; --keep leaves kinds (paper) and positions (C12) to what was measured. A part "
	 "goes whole, and a twin with its twin. What is unsure is not in it: see `plan recheck`. What has "
	 "an entry of condition done that is not outside is done. --csv for a spreadsheet.",
	 OPTION_BIT(JOB) | OPTION_BIT(KEEP) | OPTION_BIT(ROUND) | OPTION_BIT(CSV), 0, NEED_LOG, false,
	 call_plan},
	{ENTRIES, "plan order", "", "what to buy for the plan, equal parts together",
	 "Value, tolerance, rating (at least the old one's) and count. Values are kept in the signal path "
	 "and at cathodes; in the supply the nearest that is sold will do. --round 1 is for the first "
	 "round alone.",
	 OPTION_BIT(JOB) | OPTION_BIT(KEEP) | OPTION_BIT(ROUND) | OPTION_BIT(CSV), 0, NEED_LOG, false,
	 call_plan_order},
	{ENTRIES, "plan recheck", "", "what to lift or measure again before deciding",
	 "Each with the reason, and with what would settle it.",
	 OPTION_BIT(JOB) | OPTION_BIT(KEEP) | OPTION_BIT(ROUND) | OPTION_BIT(CSV), 0, NEED_LOG, false,
	 call_plan_recheck},
	{ENTRIES, "places", "[POSITION]", "what parts do in their place, calculated",
	 "Calculated from the entries of the job, by the sheet's columns role, with, source and max: "
	 "coupling and cathode corners (nominal, found, done), grid shift, loading, cathode current, "
	 "dissipation, ripple, power, balance, output impedance, bias drift, discharge. Each says from "
	 "what, with its own uncertainty." CAUTION,
	 OPTION_BIT(JOB), 0, NEED_LOG, false, call_places},
	{ENTRIES, "report", "", "the hand-back report: HTML, PDF, CSV and JSON",
	 "Checks the seal, then writes into DIR report.html (one file that asks nothing of a network), report.pdf, "
	 "entries.csv (RFC 4180, UTC, SI) and report.json. First a page for the owner; then every position before "
	 "and after, what was replaced, what is open or was never measured, comparisons, what was calculated, "
	 "notes and strikes, and the anchor of the seal. --csv-for de adds entries-de.csv for a spreadsheet.\n"
	 "It says complete only with three passed tests in condition done: earth bond (a position whose role "
	 "says earth bond, protective earth or bonding; ohm), insulation (role insulation; ohm; or quantity "
	 "insulation where the role says mains or primary), touch current (role touch current; amps). Else it "
	 "says NOT COMPLETE, and the exit status is 1 unless --incomplete states a reason. Local codes and "
	 "licensed practice come first." CAUTION,
	 OPTION_BIT(OUT) | OPTION_BIT(JOB) | OPTION_BIT(LANGUAGE) | OPTION_BIT(INCOMPLETE) | OPTION_BIT(ITEM) |
	     OPTION_BIT(BY) | OPTION_BIT(PAPER) | OPTION_BIT(CSV_FOR), OPTION_BIT(OUT), NEED_LOG, false, call_report},

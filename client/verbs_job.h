/* SPDX-License-Identifier: MIT */
/* Rows of command_table.c: the job and its sheet.  Included there and nowhere else; command.h says what each
 * member of a row is. */
	{JOB, "job start", "NAME", "begin a job: one unit on the bench",
	 "From here on entries belong to this job. The job that was open is closed. --like JOB takes "
	 "over the sheet of an earlier one. --again JOB: the same unit came back. It takes the sheet with what "
	 "was fitted and the valves, and shows what was measured then beside what is measured now (at, "
	 "compare, entries --beside).",
	 OPTION_BIT(LIKE) | OPTION_BIT(AGAIN), 0, NEED_BENCH, true, call_job_start},
	{JOB, "job list", "", "all jobs of the log",
	 "One line a job: open or closed, when it began, positions and entries.",
	 0, 0, NEED_LOG, false, call_job_list},
	{JOB, "job show", "[NAME]", "one job, the newest without a name",
	 "State, time, positions and entries of the job.",
	 OPTION_BIT(JOB), 0, NEED_LOG, false, call_job_show},
	{JOB, "job set", "KEY=VALUE...", "which unit it is: maker, type, serial, complaint and more",
	 "Keys: maker, type, serial, year, mains (the tap that it is set to), complaint, owner (the owner's "
	 "word: what is wished, and agreed), condition (what the eye sees), received (the day, YYYY-MM-DD). Up "
	 "to 511 bytes each; an empty value takes one away: tally job set type=\"monitor amplifier\" "
	 "serial=1204 received=2026-11-25. `job show` and `job list` show it.",
	 0, 0, NEED_BENCH, true, call_job_set},
	{JOB, "job ready", "[NAME]", "before power: legs that are still up, new parts not yet fitted",
	 "A leg is up where the last entry was lifted or loose, or that reach was said while it was chosen; "
	 "an entry in circuit says that it is back. A part is new from its fit, or an entry in condition new, "
	 "on; a done entry in circuit says that it is in. Else say it yourself when you have looked: tally job "
	 "fitted. Exit status 1 while anything is on the list. With --file it reads a log." CAUTION,
	 OPTION_BIT(JOB), 0, NEED_LOG, false, call_job_ready},
	{JOB, "job fitted", "POSITION...", "you have looked: the leg is back, the new part is in",
	 "Positions, ranges such as R1-R6, and parts (a can with all its sections). They are off the list of "
	 "`job ready` until another leg is lifted or another part is fitted there." CAUTION,
	 0, 0, NEED_BENCH, true, call_job_fitted},
	{JOB, "job close", "", "close the job that is open",
	 "Nothing is measured for it after that; what was measured stays.",
	 0, 0, NEED_BENCH, true, call_job_close},
	{JOB, "job live", "", "the unit has volts on it: ohm and farad are refused",
	 "While the unit is live nothing is logged from a meter that drives the part (ohm, farad, henry, "
	 "diode), nor from one that is not isolated from earth." CAUTION,
	 0, 0, NEED_BENCH, true, call_job_live},
	{JOB, "job cold", "", "the unit is isolated and discharged: measure it dead",
	 "Asks for volts dc at every reservoir (a capacitor whose role says reservoir, smoothing, filter, "
	 "supply, HT or B+; where no role does, every electrolytic rated above 50 V or not at all): under 1 V, "
	 "and again after a minute, for the volts come back. Only then the unit is cold. What it reads near "
	 "zero waits for `take`: leads in the air read the same. Where the sheet names none, your word is "
	 "taken. --because says why it is safe without these measurements; that stays in the log." CAUTION,
	 OPTION_BIT(BECAUSE), 0, NEED_BENCH, true, call_job_cold},
	{JOB, "sheet load", "FILE", "load the positions from a CSV file",
	 "The first row names the columns, in any order: position, kind, nominal, tolerance, service, "
	 "rated, role, with, channel, twin, part, source, max, price, note; only position must be "
	 "there. `-` reads standard input. A sheet with a fault is refused whole, with "
	 "FILE:LINE:COLUMN and exit status 2. --job names the job, which is begun where there is none "
	 "of that name.\n"
	 "A parts list of another program is read, too: Reference or Designator, Value, Qty, Tolerance, "
	 "Voltage or Rating, Description are known where only one column can be meant, and --map says it "
	 "of any: --map \"Teil=position,Wert=nominal,Anzahl=count,Preis=-\" (count: how many positions the "
	 "row has, compared; -: left out; *=-: all others, too). One cell may have many: R1,R2,R5-R7. "
	 "Cells may be parted by semicolons or tabs, with decimal commas then. --dry shows what would "
	 "be loaded.",
	 OPTION_BIT(JOB) | OPTION_BIT(MAP) | OPTION_BIT(DRY), 0, NEED_BENCH, true, call_sheet_load},
	{JOB, "sheet add", "[LINE...]", "type positions: tally sheet add \"R1-R6,R9 100k\"",
	 "A line: names and ranges (R1-R6,R9), then in any order the nominal (470k, 0.1u, 285 V), a "
	 "kind (cc cf mf ww pot el paper pp cer mica rail ...), a tolerance (10%, -20/+80%, >=20M), what "
	 "it is rated for (400V, 1W), key=value for any column, and words for its role. One line may "
	 "stand without quotes: tally sheet add R12 470k cc 10% anode V3. The sections of a can: C9A,C9B "
	 "8+8u.\n"
	 "Without LINE at a terminal each line is confirmed or refused as it is entered, Tab completes, "
	 "`mirror all +100` makes the other channel, and an empty line ends; what is pasted goes in line "
	 "by line. From a pipe (`-` where there is none) come all lines at once: with a fault in any, "
	 "each is shown with LINE:COLUMN and a mark below it, and nothing is added. Rows that a "
	 "spreadsheet copied may be pasted, with their headings or without. --dry shows what would be "
	 "added.",
	 OPTION_BIT(DRY), 0, NEED_BENCH, true, call_sheet_add},
	{JOB, "sheet mirror", "RANGE +N", "the other channel: tally sheet mirror R1-R40,C1-C20 +100",
	 "Every position of RANGE (`all`: each that has no twin) once more, its number raised by N and "
	 "twin of the one it came from; `with` and `part` follow, a channel changes sides. What of RANGE "
	 "is not in the sheet is passed over. What has no other side is left out so: \"all except "
	 "C20-C23,V7\".",
	 0, 0, NEED_BENCH, true, call_sheet_mirror},
	{JOB, "sheet set", "POSITION KEY=VALUE...", "change fields of a position, or of many",
	 "POSITION may be many that are in the sheet (R1-R6,R9 tolerance=10%): all are set, or none. Keys are the columns of `sheet load`; an empty value clears the field. marking= takes what "
	 "stands on the part (104K, .047/400, \"brown black yellow\") as its nominal; leakage=, esr=, "
	 "dissipation= and insulation= take a limit (<=0.1 uA, >=20M). valve= takes a valve's own number: its "
	 "entries are found by it wherever it goes (entries --valve), and the socket that had it before has "
	 "none. Entries that the "
	 "change touches are judged anew, each with a record that says so.",
	 0, 0, NEED_BENCH, true, call_sheet_set},
	{JOB, "sheet fit", "POSITION KEY=VALUE...", "what is fitted there now, where it is another part",
	 "tally sheet fit C7 kind=film tolerance=5% rated=630V part=\"polyester 630\". Keys: kind, nominal, "
	 "marking, tolerance, rated, max, part (its number, for the order), price, note; what is not "
	 "said stays as the sheet has it, but a tolerance does not outlive its kind. Entries in condition "
	 "new and done are judged by it, found ones by what was there, and all by the service limit of "
	 "the place. An empty value takes a key away; `tally sheet fit C7 none` takes all of it back. "
	 "The name of a part (a can, a double valve) stands for all of its positions.",
	 0, 0, NEED_BENCH, true, call_sheet_fit},
	{JOB, "sheet rename", "OLD NEW", "a position has another name",
	 "Its entries, notes and readings belong to it under the new name, and positions that name it "
	 "(twin, with, part) follow; nothing that was sealed is changed. Its kind follows from the new "
	 "letters where nobody set it, and then its entries are judged anew. Refused where NEW is in "
	 "the sheet already.",
	 0, 0, NEED_BENCH, true, call_sheet_rename},
	{JOB, "sheet twins", "[accept] [POSITION...]", "twins proposed by equal value; accept them",
	 "For a sheet without a schematic: positions of two channels (by the column channel, else by "
	 "what stands before a slash in the name, else any two) that were measured alike. `accept` makes "
	 "twins of those that are the only ones of their value; with positions, of the proposals in "
	 "which they stand.",
	 0, 0, NEED_BENCH, true, call_sheet_twins},
	{JOB, "sheet show", "", "the positions, with how many entries each has",
	 "One line a position; at the end how many were measured and the first that was not.",
	 OPTION_BIT(JOB) | OPTION_BIT(MISSING), 0, NEED_LOG, false, call_sheet_show},

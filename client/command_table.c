/* SPDX-License-Identifier: MIT */
/* The verbs of `tally`: see command.h.  The order is that of the work. */
#include "client/command_calls.h"

const struct verb_option option_table[OPTION_COUNT] = {
#define X(id, name, value, help) {name, value, help},
	OPTION_LIST(X)
#undef X
};

#define METERS "the meters"
#define JOB "the job and its sheet"
#define BENCH "at the bench"
#define ENTRIES "entries"
#define GUIDED "guided runs"
#define LOG "the log"
#define HAND "by hand, without a daemon"

/* What must be read before anyone measures where volts may be. */
#define CAUTION \
	"\nCaution: valve equipment kills. Mains isolated, reservoirs discharged and measured, one " \
	"hand; local codes and licensed practice come first."

/* Of every guided run. */
#define GUIDE \
	" Its cautions come first and want a yes; at a terminal the verb stays, and Enter says that a " \
	"step is done; so do `tally go` and the pedal. --dry prints the steps and touches nothing. --resume takes " \
	"up the one that was left (`tally leave`): from its cautions, with what of it still counts." CAUTION, \
	OPTION_BIT(DRY) | OPTION_BIT(YES) | OPTION_BIT(RESUME)

const struct command command_table[] = {
	{METERS, "meters", "", "the meters, what they say they are, and the state of their lines",
	 "For each meter of the configuration: is it there, what it reads now, how it speaks, and "
	 "how many frames were good or bad. A meter without an accuracy in the configuration is "
	 "judged by a pessimistic class, and this says so.",
	 0, 0, NEED_BENCH, false, call_meters},
	{METERS, "meters raw", "NAME", "the frames of a meter as they come, with what was understood",
	 "One line a frame: time, bytes (escaped as in recordings), and the reading, or why it is "
	 "none. Ends with Ctrl-C.",
	 0, 0, NEED_BENCH, false, call_meters_raw},
	{METERS, "meters tape", "[NAME...]", "make a recording: tally meters tape red > red.rec",
	 "Writes the bytes of the meters named (all without names) and what is done at the bench, "
	 "until Ctrl-C. `tallyd --replay FILE.rec` runs it again. A recording that is not whole says "
	 "so, with exit status 1.",
	 0, 0, NEED_BENCH, false, call_meters_tape},

	{METERS, "meters try", "DIALECT PORT-or-FILE", "hold a dialect against a recording or a line",
	 "DIALECT is a shipped one (ascii-unit, ascii-number, ask-comma, columns-14, scpi) or the path "
	 "of a dialect file, whose samples are checked first. A FILE is a recording (no daemon is needed "
	 "then); a PORT is a meter of the running daemon, by its name, or a line that no daemon has "
	 "(/dev/ttyUSB0, usb:VID:PID). A line is listened to for 10 s, nothing is sent. Every "
	 "frame is printed with what was understood of it, at the end the counts. --meter takes the "
	 "frames of one meter alone. Exit status 1 where a frame was not understood.",
	 OPTION_BIT(METER), 0, NEED_NOTHING, false, call_meters_try},
	{METERS, "doctor", "[METER]", "why a meter is not there, or says nothing, and the narrow cure",
	 "Looks at the configuration, the adapters that are plugged in, who holds a line, rights, rules, "
	 "and at what came over each line, and says what stands in the way and what to do about it. "
	 "Works without a running daemon, too, but only that one reads the lines. Nothing is opened, "
	 "sent or changed. METER: that one alone. --config names the configuration where no daemon "
	 "runs. Exit status 1 where something stands in the way.",
	 OPTION_BIT(CONFIG), 0, NEED_NOTHING, false, call_doctor},

	{METERS, "meters check", "NAME POSITION", "compare a meter with a reference part of known value",
	 "POSITION is of kind reference in the sheet, with its nominal and a tolerance that says how "
	 "well it is known. What the meter stands at now counts, else its next touch within 30 s. The "
	 "two agree where E_n is at most 1; entries name the newest check of their meter and function, "
	 "and while that one failed every verdict is unsure. Exit status 1 where they do not agree.",
	 0, 0, NEED_BENCH, true, call_meters_check},
	{METERS, "offset", "short|open", "take the lead offset: shorted leads (ohm), open ones (farad)",
	 "short: hold the tips together, with the meter on ohm; open: hold them apart, on farad. What "
	 "the meter stands at now counts, else what it settles on within 30 s. It is taken off every "
	 "value of that meter for 12 hours, and the entry says so (offset, raw). Refused: more than 2 "
	 "ohm, below -0.5 ohm, more than 500 pF. A wrong one is struck: tally strike SEQ.",
	 OPTION_BIT(METER), 0, NEED_BENCH, true, call_offset},

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
	 "is not in the sheet is passed over.",
	 0, 0, NEED_BENCH, true, call_sheet_mirror},
	{JOB, "sheet set", "POSITION KEY=VALUE...", "change fields of one position",
	 "Keys are the columns of `sheet load`; an empty value clears the field. marking= takes what "
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
	 "the place. An empty value takes a key away; `tally sheet fit C7 none` takes all of it back.",
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

	{BENCH, "bench", "", "the full screen: what is up, what is read, what was logged",
	 "Read from two metres, while both hands hold probes: value and position in block letters, "
	 "how far settling has come, the verdict, the sheet, COLD or LIVE. ? shows all keys; a name "
	 "that is typed (C8, Enter) is chosen. With --plain, and where TERM is dumb: one line an event "
	 "for screen readers, and words (take, undo, next, help ...) are read from standard input; "
	 "`tally --plain` alone is the same. Without a terminal only --plain works." CAUTION,
	 0, 0, NEED_BENCH, false, call_bench},
	{BENCH, "status", "", "what is chosen, and how everything stands: one screen",
	 "Job, condition, reach, walk, the chosen position, meters bound elsewhere; then the daemon, its "
	 "meters, the log and its disk, what waits for it, the clock, the last checkpoint, who is "
	 "connected. What is wrong is said with its cure, and the exit status is 1.",
	 0, 0, NEED_BENCH, false, call_status},
	{BENCH, "reload", "", "the daemon reads its configuration anew",
	 "Everything is read first, dialect files too; with a fault anywhere nothing changes, and "
	 "FILE:LINE:COLUMN is said with exit status 2. A meter whose section says the same goes on without "
	 "losing a frame. Name, log and sockets change with a restart alone.",
	 0, 0, NEED_BENCH, true, call_reload},
	{BENCH, "at", "[POSITION] [QUANTITY]", "choose the position (and quantity); say what is chosen",
	 "What the probes touch next is logged to this position. --meter binds one meter to it while "
	 "the others go on where they are. Without words: what is chosen." CAUTION,
	 OPTION_BIT(METER), 0, NEED_BENCH, false, call_at},
	{BENCH, "at new", "[PREFIX]", "name the next position, and choose it: no schematic is needed",
	 "tally at new R names R1, R2 ...; tally at new T3/ names T3/1, T3/2 ... of a tag strip; without a "
	 "word as last time (N1, N2 ... at first). The kind follows from what the meter is set to when "
	 "the entry comes, where the letters do not say it; the nominal later from `sheet set N1 "
	 "marking=...`, the right name from `sheet rename`. `tally walk new` goes on to the next one by "
	 "itself." CAUTION,
	 OPTION_BIT(PREFIX), 0, NEED_BENCH, false, call_at_new},
	{BENCH, "reach", "[in-circuit|lifted|loose]", "how the part is reached; say how",
	 "in-circuit: as it is soldered; lifted: one leg is up; loose: out of the unit. In circuit "
	 "other paths count, so most verdicts are unsure there.",
	 0, 0, NEED_BENCH, true, call_reach},
	{BENCH, "condition", "[found|new|done]", "found, new or done; say which",
	 "found: as it came in; new: a replacement before fitting; done: as it is handed back.",
	 0, 0, NEED_BENCH, true, call_condition},
	{BENCH, "walk", "[on|off|lift|new]", "go on by itself through the sheet; say whether it does",
	 "With walk on the next position that lacks something is up when the probes have lifted. lift: "
	 "only what needs a leg up, which is every capacitor, and resistors whose value in circuit "
	 "could not decide and does not agree with the twin's; the reach is lifted meanwhile. new: the "
	 "next position is one that is not there yet, named by --prefix (see `at new`). --order "
	 "says which comes next; --meters 2 stays at each position until two meters have measured it. "
	 "Turning the dial to farad goes on with capacitors, back to ohm with resistors." CAUTION,
	 OPTION_BIT(ORDER) | OPTION_BIT(METERS) | OPTION_BIT(PREFIX), 0, NEED_BENCH, false, call_walk},
	{BENCH, "next", "", "skip what is up: the next position",
	 "In a walk what was skipped comes up again at the end. A touch that still lasts makes "
	 "nothing, here or there." CAUTION,
	 0, 0, NEED_BENCH, false, call_next},
	{BENCH, "back", "", "back to the position that was up before",
	 "Again and again, up to 32 positions." CAUTION,
	 0, 0, NEED_BENCH, false, call_back},
	{BENCH, "again", "[swapped]", "measure the position that is up again",
	 "Its next touch makes another entry; the old one stays. A value that was held, or in doubt, is "
	 "dropped. swapped: the leads change places for it. A resistor that reads high in circuit is "
	 "high only when it does so both ways round; a charge that was left behind is not." CAUTION,
	 0, 0, NEED_BENCH, false, call_again},
	{BENCH, "take", "", "log the reading as it stands now, overload included",
	 "For a part that reads open, a value that keeps moving, a voltage in doubt. --meter says "
	 "which meter where several are live. --frequency says at which frequency volts or amps AC "
	 "were measured.",
	 OPTION_BIT(METER) | OPTION_BIT(FREQUENCY), 0, NEED_BENCH, true, call_take},
	{BENCH, "there", "", "a held value goes to the part that it looks like",
	 "A value that is far from the nominal of what is up, and fits the last, the next or the twin "
	 "position, is held: `take` logs it here, `there` logs it to the other, `again` drops it. What "
	 "is up stays up.",
	 0, 0, NEED_BENCH, true, call_there},
	{BENCH, "undo", "", "strike the last entry, or take the last move back",
	 "Nothing is deleted: a record says that the entry does not count, or where it belongs again.",
	 0, 0, NEED_BENCH, true, call_undo},
	{BENCH, "sound check", "", "every sound once, with its name printed and spoken",
	 "To hear before the work begins whether it can be heard, and which is which. Volume, mute, "
	 "language and who speaks stand in the person's settings (~/.config/tally/tally.ini, sections "
	 "[sound] and [speech]). No audio device and no speaker are notes, not failures. With --json "
	 "one text a sound: sound, pattern, name, played, spoken.",
	 0, 0, NEED_NOTHING, false, call_sound_check},
	{BENCH, "pedal", "", "the foot switch: which is chosen, and whether it is there",
	 "Exit status 1 where none is chosen, or it cannot be used now. What is chosen stands in the "
	 "person's own settings (tally.ini), in [pedal]: device, buttons, and in milliseconds "
	 "debounce, long and double.",
	 0, 0, NEED_NOTHING, false, call_pedal},
	{BENCH, "pedal choose", "", "choose the foot switch by pressing it",
	 "Shows everything with keys, waits for a press on any of it, and asks what each button shall "
	 "do: take, next, back, again (measure again), say (say again), undo, new (at new) or none. A lone button "
	 "may have a second action, held long or pressed twice. It is known again by what it is, "
	 "never by its number; where it has no serial number, by its place: plug it in there.\n"
	 "Some switches send down and up at once, however long the foot stays: they know no long "
	 "press, but two presses.\n"
	 "In `tally bench` and `tally pedal test` it is had alone, so that it types no letter. It "
	 "belongs to the machine on which tally runs.\n"
	 "Where the right to it is missing, a udev rule for this one switch is shown. Not the group "
	 "input: who is in it can read every keyboard.",
	 0, 0, NEED_NOTHING, false, call_pedal_choose},
	{BENCH, "pedal forget", "", "let the foot switch be what it was",
	 "Takes device and buttons out of the person's settings; nothing is had alone any more.",
	 0, 0, NEED_NOTHING, false, call_pedal_forget},
	{BENCH, "pedal test", "", "show each press of the foot switch, and its action",
	 "Nothing is done at the bench. Ends with Ctrl-C. With --json one text a line: key and is "
	 "(down, up, repeats), action and words, state and words.",
	 0, 0, NEED_NOTHING, false, call_pedal_test},

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
	 "the limits there. All are moved or none. `undo`, or another move, takes it back.",
	 OPTION_BIT(BECAUSE), 0, NEED_BENCH, true, call_move},
	{ENTRIES, "note", "POSITION TEXT", "a note on a position",
	 "All that follows the position is the text. --photo PICTURE: a jpeg, png or webp file of up to 64 MiB "
	 "is kept beside the log, by its SHA-256 (LOG.photos/), and the note names it.",
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
	 "there, with what was seen before and after it. --from and --to take 10:00, 10:00:05, 2026-11-25, "
	 "2026-11-25 10:00, 2026-11-25T10:00:00Z, or -10m (before the end). --chart writes a picture: trail "
	 "with the meter's uncertainty, limits, touches and entries; gaps stay open. --csv gives every reading "
	 "in UTC and SI units, --json the sealed records.",
	 OPTION_BIT(AT) | OPTION_BIT(METER) | OPTION_BIT(FROM) | OPTION_BIT(TO) | OPTION_BIT(CHART) |
	     OPTION_BIT(CSV), 0, NEED_LOG, false, call_trail},
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

	{GUIDED, "leak", "POSITION [WORD...]", "leakage of a coupling capacitor in its place, step by step",
	 "The valve comes out, the grid's volts are taken with the high tension off and on; what the "
	 "capacitor lets through follows from the grid leak and the meter's input. Words: grid=METER, "
	 "rail=METER (watched), leak=1M, ceiling=450V." GUIDE, 0, NEED_BENCH, true, call_leak},
	{GUIDED, "reform", "NAME [WORD...]", "re-form an electrolytic, for as long as it takes",
	 "NAME is a position or a part. Two meters: volts over the resistor in series, volts at the part. It "
	 "goes on for hours while other meters work, ends at the limit of leakage held steady, and gives "
	 "up where it cannot. Words: drop=METER, part=METER, resistor=100k (or the position where it was "
	 "measured), to=350V, heat=1W, "
	 "era=modern|period." GUIDE, 0, NEED_BENCH, true, call_reform},
	{GUIDED, "rise", "[WORD...]", "bring up the power, in the safe order",
	 "Lamp and variable transformer, heaters, rectifier, valves; then rails, bias and output." GUIDE,
	 0, NEED_BENCH, true, call_rise},
	{GUIDED, "tune", "POSITION [WORD...]", "set bias, balance or hum by ear: the value against its target",
	 "Nothing is logged but on `go`." GUIDE, 0, NEED_BENCH, true, call_tune},
	{GUIDED, "lot", "NOMINAL [WORD...]", "touch loose parts one after the other; pairs are proposed",
	 "Each settled touch is a part with a number; `tally go` ends the touching. Words: part=METER, "
	 "for=R1,R2." GUIDE, 0, NEED_BENCH, true, call_lot},
	{GUIDED, "go", "[NAME] [back]", "what the guided run asked for is done: go on",
	 "Logs the value of the step, where it has one. NAME is what the run is of, or its kind; the newest "
	 "one is meant without. `back`: the step before once more." CAUTION, 0, 0, NEED_BENCH, true, call_go},
	{GUIDED, "leave", "[NAME]", "leave a guided run as it stands",
	 "What was logged stays. Switch off and discharge before you touch anything." CAUTION,
	 OPTION_BIT(BECAUSE), 0, NEED_BENCH, true, call_leave},

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

	{HAND, "judge", "NOMINAL TOLERANCE VALUE", "one verdict",
	 "tally judge 470k 10% 512k --accuracy \"0.5% + 2\". NOMINAL may be - where the tolerance is "
	 "a bound (>=20M); VALUE may be OL, or >20M for an overload and its range. Without "
	 "--accuracy a pessimistic class is assumed; without --digit the last digit of VALUE counts "
	 "as the meter's last (and, with no accuracy given, at least that of 2000 counts). Exit status 1 for outside; within and unsure end with 0. With --json: "
	 "verdict, side, reason, deviation, probability, limits, u.",
	 OPTION_BIT(ACCURACY) | OPTION_BIT(DIGIT), 0, NEED_NOTHING, false, call_judge},
	{HAND, "marking", "TEXT", "what a marking on a part means, every reading that is possible",
	 "tally marking brown black yellow; tally marking 104K; tally marking .047/400. Colour bands (3 "
	 "to 6 on resistors; in picofarads on capacitors), letter and digit codes, old print. A word "
	 "such as resistor, tubular, ceramic or mica narrows it. The likeliest reading is first. A "
	 "rating is proposed, for the schemes contradict each other: confirm it. With --json one "
	 "text a reading: value, unit (ohm or farad), tolerance as in sheets or null, and rated (V) "
	 "where one is proposed; scheme, and where they apply watts, ppm, reversed and note.",
	 0, 0, NEED_NOTHING, false, call_marking},
	{HAND, "preferred", "VALUE", "the nearest preferred values, and the series of a value",
	 "For E3 to E192 (IEC 60063) the nearest value by ratio, and those next below and above. With "
	 "--json one object with a member a series, each with nearest, below, above, and member "
	 "(whether the value is of that series).",
	 0, 0, NEED_NOTHING, false, call_preferred},
	{HAND, "corner", "R C", "the corner frequency of a resistor and a capacitor",
	 "tally corner 470k 22n: where a coupling capacitor and its grid leak have lost 3 dB, 1 / (2 pi "
	 "R C). A capacitor may be written as it is marked (.047, 104). With --json: hertz.",
	 0, 0, NEED_NOTHING, false, call_corner},
	{HAND, "help", "[VERB...]", "everything about a verb",
	 "The same as --help after the verb.",
	 0, 0, NEED_NOTHING, false, call_help},
};
const int command_count = sizeof command_table / sizeof command_table[0];

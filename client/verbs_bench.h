/* SPDX-License-Identifier: MIT */
/* Rows of command_table.c: at the bench.  Included there and nowhere else; command.h says what each
 * member of a row is. */
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
	 "the others go on where they are; `tally at --meter NAME` alone frees it again. Without words: "
	 "what is chosen." CAUTION,
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
	 "do: take, next, back, again (measure again), say (say again), undo, other (a held value goes to the part "
	 "that it looks like), new (at new) or none. A lone button "
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

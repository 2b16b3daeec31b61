/* SPDX-License-Identifier: MIT */
/* Rows of command_table.c: the meters.  Included there and nowhere else; command.h says what each
 * member of a row is. */
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

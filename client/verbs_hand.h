/* SPDX-License-Identifier: MIT */
/* Rows of command_table.c: by hand, without a daemon.  Included there and nowhere else; command.h says what each
 * member of a row is. */
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
	{HAND, "complete", "WORD...", "what may stand at the cursor: for the completion of shells",
	 "tally complete -- WORD...: the words that were typed after `tally`, the last one as far as it goes "
	 "(\"\" where nothing of it is there yet). One line a candidate, with a tab and what it is; :files and "
	 ":folders where paths are wanted. The daemon is asked for meters, positions and jobs, for a fraction "
	 "of a second; where it cannot be reached nothing is said.",
	 0, 0, NEED_NOTHING, false, call_complete},

/* SPDX-License-Identifier: MIT */
/* Rows of command_table.c: guided runs.  Included there and nowhere else; command.h says what each
 * member of a row is. */
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
	 "Lamp and variable transformer, heaters, rectifier, valves; then rails, bias and output. "
	 "Refused while `job ready` lists something, unless because=TEXT says why. Words: rail=METER, "
	 "probe=METER, out=METER, mains=230V, tap=230V, soak=30, load2=10, ceiling=450V." GUIDE,
	 0, NEED_BENCH, true, call_rise},
	{GUIDED, "tune", "POSITION [WORD...]", "set bias, balance or hum by ear: the value against its target",
	 "Nothing is logged but on `go`. Words: here=METER, twin=METER, anode=METER, to=0.42V, most=25W." GUIDE,
	 0, NEED_BENCH, true, call_tune},
	{GUIDED, "lot", "NOMINAL [WORD...]", "touch loose parts one after the other; pairs are proposed",
	 "Each settled touch is a part with a number; `tally go` ends the touching. Words: part=METER, "
	 "for=R1,R2, tolerance=5%. On the yes each gets a fit with number and value of its part." GUIDE, 0, NEED_BENCH, true, call_lot},
	{GUIDED, "go", "[NAME] [back]", "what the guided run asked for is done: go on",
	 "Logs the value of the step, where it has one. NAME is what the run is of, or its kind; the newest "
	 "one is meant without. `back`: the step before once more." CAUTION, 0, 0, NEED_BENCH, true, call_go},
	{GUIDED, "leave", "[NAME]", "leave a guided run as it stands",
	 "What was logged stays. Switch off and discharge before you touch anything." CAUTION,
	 OPTION_BIT(BECAUSE), 0, NEED_BENCH, true, call_leave},

/* SPDX-License-Identifier: MIT */
/*
 * What is printed or painted on a part: colour bands, letter and digit codes, and
 * the print of the years before there were codes.
 *
 * A marking often means more than one thing: `brown black yellow` is a resistor of
 * 100 kohm and a tubular capacitor of 100 nF; `470K` is 470 kohm, and 47 pF of
 * 10 %; `330` is 33 or 330 picofarads.  Every reading that is possible is given,
 * the likeliest first, and none is chosen.  Makers differed, above all in what
 * the last bands of a capacitor say of its volts: a rating is proposed, and it is
 * for the person to confirm it.
 *
 * Read are:
 *   bands   3 to 6 on resistors (IEC 60062:2016, EN 60062:2005), also as body, end
 *           and dot; 3 to 6 on capacitors, in picofarads (polyester, moulded paper,
 *           ceramic, dots on mica: trade practice).  Full names (German as well) and the two
 *           letters of IEC 60757 (BK BN RD ...), or three in haste (blk brn yel), parted by
 *           spaces, commas, slashes or hyphens; `wide red` stands for two that touch
 *   letters 4K7 R47 0R47 4R7 470R 4n7 n33 3p3 (IEC 60062), also 4E7, and 4L7 for milliohms,
 *           with a tolerance letter behind: 4K7J 4n7K 104K; 0R and 000 are a link
 *   digits  104 (10 and four zeros; on capacitors 8 and 9 mean x 0.01 and x 0.1),
 *           1002 (100 and two), 2A104J (with a code for the volts before it)
 *   print   .047, 0.1/350, .05 400, .33K250, 8/450, 0,1 uF, 0.05 mfd 600 V, 600 V .05,
 *           250 mmf, 22k for 22 nF, 4k7 for 4.7 nF, 5000 pF, 500 cm, 1/2 meg, 1/2 W 100K, 500k log,
 *           32+32/450, 8-8-16 mF, 2x50 uF (a reading for each section that differs),
 *           MMF 47, MFD .05 (unit first), 25 25 (uF and volts), 3-30pF (a trimmer: its most, with
 *           what lies down to its least as tolerance)
 *   words   resistor, tubular, ceramic, mica, paper ..., or the code of a dielectric (X7R), beside
 *           any of these: they say what kind of part it is on, and leave only its readings
 */
#ifndef TALLY_TRADE_MARKING_H
#define TALLY_TRADE_MARKING_H

#include "protocol/trade/position.h"

#define MARKING_READINGS_MAX 24
#define MARKING_TEXT_MAX 160 /* bytes; a longer text is refused */

/* One way to read a marking. */
struct marking {
	enum function function;     /* FUNCTION_OHM or FUNCTION_FARAD */
	struct decimal value;       /* SI, exact */
	struct tolerance tolerance; /* TOLERANCE_NONE where the marking says none */
	bool has_rated;
	struct decimal rated;       /* V, proposed by the scheme, never certain */
	bool has_watts;
	struct decimal watts;       /* printed on resistors */
	bool has_drift;
	int drift;                  /* temperature coefficient, 1e-6 per kelvin */
	bool reversed;              /* read from the other end than it was given */
	char scheme[96];            /* for people: "resistor, 4 bands" */
	char note[96];              /* for people, often "" */
};

struct marking_list {
	struct marking at[MARKING_READINGS_MAX];
	int n;
	bool cut; /* there were more */
};

/* Every reading of the text; false, with the fault's column counted from 1, where
 * there is none. */
bool marking_read(const char *text, size_t len, struct marking_list *out, struct fault *why);

/*
 * The one value that the text can have on a part of this function, for sheets: false
 * where there is none, where two readings differ in value, or where an E could be
 * a power of ten.  `tolerance` is that of the readings where they agree about it, else
 * TOLERANCE_NONE; ratings and readings from the other end are passed over.
 */
bool marking_value(const char *text, size_t len, enum function function, struct decimal *value,
                   struct tolerance *tolerance, struct fault *why);

/* Is this one word the name of a colour of bands, in any case: English, the letters of
 * IEC 60757, German (gruen or with its umlaut). */
bool marking_is_colour(const char *text, size_t len);

#endif

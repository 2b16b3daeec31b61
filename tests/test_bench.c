/* SPDX-License-Identifier: MIT */
/*
 * The bench against its rules: what the probes do goes in as bytes, what was made
 * of it comes out.  Virtual time, a log in memory; tests/bench_stand.h says how a
 * scene is written.  What each rule is, is told in daemon/bench_walk.c.
 */
#include "tests/bench_stand.h"

/* A walk begins, leads open. */
#define WALK "@0 walk on\nred OL MOhm *6\n"
#define OPEN "red OL MOhm *6\n"
#define R1_TOUCHED "red ~100.2 kOhm *8\n"
#define R2_TOUCHED "red ~98.4 kOhm *8\n"
#define R3_TOUCHED "red ~46.9 kOhm *8\n"

/* ---- one touch, one entry; the walk ---- */

static const struct scene walk_rows[] = {
    {"equal neighbours are two entries: the lift parts them",
     WALK R1_TOUCHED OPEN R1_TOUCHED OPEN,
     "R1 red 100.2 kohm; R2 red 100.2 kohm", "", "R1; R2; R3", ""},
    {"a second touch without walk makes nothing",
     "@0 at R1\n" OPEN R1_TOUCHED OPEN R1_TOUCHED OPEN, "R1 red 100.2 kohm",
     "refused R1", "R1", ""},
    {"... but one after it was chosen again",
     "@0 at R1\n" OPEN R1_TOUCHED OPEN "@5 again\n" R1_TOUCHED OPEN,
     "R1 red 100.2 kohm; R1 red 100.2 kohm", "", "R1; R1", ""},
    {"... or chosen by name",
     "@0 at R1\n" OPEN R1_TOUCHED OPEN "@5 at R1\n" R1_TOUCHED OPEN,
     "R1 red 100.2 kohm; R1 red 100.2 kohm", "", "R1; R1", ""},
    {"the next part before 1 s of open leads: the old one again",
     WALK R1_TOUCHED "red OL MOhm *3\n" R2_TOUCHED OPEN R2_TOUCHED OPEN,
     "R1 red 100.2 kohm; R2 red 98.4 kohm", "", "R1; R2; R3", ""},
    {"a slip of just under a second shows four open readings and is no lift to move on",
     WALK R1_TOUCHED "red OL MOhm *4\n" "red ~100.2 kOhm *8\n" OPEN,
     "R1 red 100.2 kohm", "", "R1; R2", ""},
    {"a slip of half a second",
     WALK R1_TOUCHED "red OL MOhm *2\n" R1_TOUCHED OPEN, "R1 red 100.2 kohm", "", "R1; R2", ""},
    {"a slow meter: one open reading in a second is no lift",
     "@0 walk on\nred every 1\nred OL MOhm *4\nred ~100.2 kOhm *7\nred OL MOhm *1\n"
     "red ~100.2 kOhm *7\nred OL MOhm *3\n",
     "R1 red 100.2 kohm", "", "R1; R2", ""},
    {"a fast meter: 0.95 s is a slip, 1.1 s is the next part",
     "@0 walk on\nred every 0.01\nred OL MOhm *150\nred ~100.2 kOhm *150\nred OL MOhm *95\n"
     "red ~100.2 kOhm *150\nred OL MOhm *110\nred ~98.4 kOhm *150\nred OL MOhm *150\n",
     "R1 red 100.2 kohm; R2 red 98.4 kohm", "", "R1; R2; R3", ""},
    {"touched, then named: it is that part", OPEN "red ~100.2 kOhm *12\n" "@4 at R1\n" OPEN,
     "R1 red 100.2 kohm", "refused", "R1", ""},
    {"nothing chosen, nothing logged; named after the lift: too late", OPEN R1_TOUCHED OPEN "@4.5 at R1\n",
     "", "refused", NULL, ""},
    {"nothing chosen, nothing logged", OPEN R1_TOUCHED OPEN, "", NULL, "", ""},
    {"the next position chosen by hand while the old part is touched",
     "@0 at R1\n" OPEN R1_TOUCHED OPEN R2_TOUCHED OPEN "@3 at R2\n",
     "R1 red 100.2 kohm; R2 red 98.4 kohm", "", "R1; R2-; R2", ""},
    {"... and touched too soon: said, not logged",
     "@0 at R1\n" OPEN R1_TOUCHED "red OL MOhm *3\n" R2_TOUCHED OPEN "@3 at R2\n",
     "R1 red 100.2 kohm", "refused R2", "R1; R2-; R2", ""},
    {"chosen again while another part is still touched: a slip makes nothing",
     "@0 at R1\n" OPEN R1_TOUCHED "red OL MOhm *3\n" R1_TOUCHED OPEN
     "@3 at R2\n@3.2 again\n",
     "R1 red 100.2 kohm", NULL, NULL, ""},
    {"walk ends: said once",
     "@0 at HT1\n@0 walk on\n" OPEN "@1 at R4\nred ~1.001 kOhm *8\nred OL MOhm *8\n",
     "R4 red 1.001 kohm", "", "HT1; R4; C1", ""},
    {"undo: back to the part, whose next touch is an entry",
     WALK R1_TOUCHED OPEN "@6 undo\n" "red OL MOhm *6\n" R1_TOUCHED OPEN,
     "R1 red 100.2 kohm; strike R1; R1 red 100.2 kohm", "", "R1; R2; R1; R2", ""},
    {"undo while the part is touched: the lift does not move on",
     WALK R1_TOUCHED "@3.4 undo\n" OPEN R1_TOUCHED OPEN,
     "R1 red 100.2 kohm; strike R1; R1 red 100.2 kohm", "", "R1; R1-; R2", ""},
    {"another condition: the same position lacks its value again",
     "@0 at R1\n" OPEN R1_TOUCHED OPEN "@4.5 condition done\n" R1_TOUCHED OPEN,
     "R1 red 100.2 kohm; R1 red 100.2 kohm done", "", NULL, ""},
    {"another reach: another entry",
     "@0 at R1\n" OPEN R1_TOUCHED OPEN "@4.5 reach lifted\n" R1_TOUCHED OPEN,
     "R1 red 100.2 kohm; R1 red 100.2 kohm lifted", "", NULL, ""},
    {"a meter that is silent when open, ohm",
     "@0 walk on\nred wait 2\n" R1_TOUCHED "red wait 2\n" R2_TOUCHED "red wait 2\n",
     "R1 red 100.2 kohm; R2 red 98.4 kohm", "", "R1; R2; R3", ""},
    {"... whose probes slip for just under a second, and it says nothing for 1.2 s",
     "@0 walk on\nred every 0.2\nred wait 2\n" R1_TOUCHED "red wait 1\n" R1_TOUCHED "red wait 2\n",
     "R1 red 100.2 kohm", "", "R1; R2", ""},
    {"a meter that is silent when open, farad",
     "@0 at C1\n@0 walk on\nred every 0.5\nred wait 2\nred ~101.3 nF *12\nred wait 7\n"
     "red ~0.329 uF *12\nred wait 7\n",
     "C1 red 101.3 nF; C2 red 0.329 uF", "", "C1; C2; HT1", ""},
    {"farad, open leads wander",
     "@0 at C1\n@0 walk on\nred every 0.5\nred ~0.021 nF *5\nred ~101.3 nF *10\n"
     "red ~0.022 nF *5\nred ~0.329 uF *10\nred ~0.022 nF *5\n",
     "C1 red 101.3 nF; C2 red 0.329 uF", "", "C1; C2; HT1", ""},
    {"each conversion twice", "@0 walk on\ndup every 0.12\ndup twice\ndup OL MOhm *6\ndup ~100.2 kOhm *8\ndup OL MOhm *6\n"
     "dup ~98.4 kOhm *8\ndup OL MOhm *6\n",
     "R1 dup 100.2 kohm; R2 dup 98.4 kohm", "", "R1; R2; R3", ""},
    {"thousands a second",
     "@0 walk on\nred every 0.0005\nred OL MOhm *3000\nred ~100.2 kOhm *4000\nred OL MOhm *3000\n"
     "red ~98.4 kOhm *4000\nred OL MOhm *3000\n",
     "R1 red 100.2 kohm; R2 red 98.4 kohm", "", "R1; R2; R3", ""},
    {"away and back on the same part: nothing is known of the leads meanwhile",
     WALK "red ~100.2 kOhm *9\nred wait 4\n" R1_TOUCHED OPEN R2_TOUCHED OPEN
     "@3.8 meter red gone\n@7.7 meter red back\n",
     "R1 red 100.2 kohm; gap red; R2 red 98.4 kohm", "gone; back", "R1; R2; R3", ""},
};

static void walk_and_touches(void **state)
{
	(void)state;
	stand_run_scenes(walk_rows, sizeof walk_rows / sizeof *walk_rows);
}

/* ---- several meters ---- */

static const struct scene meters_rows[] = {
    {"two on one part: an entry each, on when both have lifted; red's next touch is a second one",
     WALK R1_TOUCHED OPEN R2_TOUCHED OPEN
     "blue OL MOhm *6\nblue ~100.4 kOhm *20\nblue OL MOhm *8\n",
     "R1 red 100.2 kohm; R1 blue 100.4 kohm", "refused R1", "R1; R2", ""},
    {"two on one part, together",
     WALK R1_TOUCHED OPEN R2_TOUCHED OPEN
     "blue OL MOhm *6\nblue ~100.4 kOhm *9\nblue OL MOhm *6\nblue ~98.6 kOhm *9\nblue OL MOhm *6\n",
     "R1 red 100.2 kohm; R1 blue 100.4 kohm; R2 red 98.4 kohm; R2 blue 98.6 kohm", "",
     "R1; R2; R3", ""},
    {"two on one part that do not agree: said as soon as the second is durable",
     "@0 at R1\n" OPEN R1_TOUCHED "red OL MOhm *40\nblue OL MOhm *24\nblue ~94.4 kOhm *9\nblue OL MOhm *6\n",
     "R1 red 100.2 kohm; R1 blue 94.4 kohm", "disagree R1", NULL, ""},
    {"... not at another reach, and not with one that was struck",
     "@0 reach in-circuit\n@0 at R1\n@4 undo\n" OPEN "red ~100.2 kOhm *8\nred OL MOhm *90\n"
     "blue OL MOhm *24\nblue ~94.4 kOhm *9\nblue OL MOhm *12\n@12 reach lifted\n@12 at R1\n"
     "blue OL MOhm *12\nblue ~90.1 kOhm *9\nblue OL MOhm *12\n",
     "R1 red 100.2 kohm; strike R1; R1 blue 94.4 kohm; R1 blue 90.1 kohm lifted", "", NULL, ""},
    {"one settles when the other has left: what it touches is the old part",
     WALK R1_TOUCHED "red OL MOhm *46\n"
     "blue OL MOhm *6\nblue glide 60.0 100.4 1.2 kOhm *60\nblue OL MOhm *6\n",
     "R1 red 100.2 kohm; R1 blue 100.3 kohm", "", NULL, ""},
    {"one bound elsewhere: the walk goes on without it, and it makes nothing by itself",
     "@0 at C1 value blue\n" WALK R1_TOUCHED OPEN R2_TOUCHED OPEN
     "blue every 0.5\nblue ~0.021 nF *8\nblue ~101.3 nF *10\nblue ~0.021 nF *4\n",
     "R1 red 100.2 kohm; R2 red 98.4 kohm", "", "R1; R2; R3", ""},
    {"taken by its name: an entry where it is bound, and the walk stays where it is",
     "@0 at C1 value blue\n@5.6 take blue\n" WALK R1_TOUCHED OPEN R2_TOUCHED OPEN
     "blue every 0.5\nblue ~0.021 nF *8\nblue ~101.3 nF *10\nblue ~0.021 nF *4\n",
     "R1 red 100.2 kohm; C1 blue 101.3 nF; R2 red 98.4 kohm", "", "R1; R2; R3", ""},
    {"bound while the other's entry is made: the walk goes on all the same",
     WALK R1_TOUCHED "@3.4 at C1 value blue\n" OPEN R2_TOUCHED OPEN,
     "R1 red 100.2 kohm; R2 red 98.4 kohm", "", "R1; R2; R3", ""},
    {"bound with a quantity of its own",
     "@0 at C1 esr blue\n@3.2 take blue\n" WALK R1_TOUCHED OPEN "blue OL MOhm *6\nblue ~1.31 Ohm *9\nblue OL MOhm *5\n",
     "R1 red 100.2 kohm; C1 blue 1.31 ohm esr", "", "R1; R2", ""},
    {"undo of a bound meter's entry leaves the walk where it is",
     "@0 at C1 value blue\n" WALK R1_TOUCHED OPEN R2_TOUCHED OPEN
     "blue every 0.5\nblue ~0.021 nF *9\nblue ~101.3 nF *8\nblue ~0.021 nF *3\n@8.2 take blue\n@9.4 undo\n",
     "R1 red 100.2 kohm; R2 red 98.4 kohm; C1 blue 101.3 nF; strike C1", "", "R1; R2; R3", ""},
    {"freed again it follows what is chosen",
     "@0 at R3 value blue\n@3 take blue\n@4 at R1\n@4.1 meter blue free\nblue OL MOhm *6\nblue ~46.9 kOhm *8\n"
     "blue OL MOhm *6\nblue ~100.4 kOhm *8\nblue OL MOhm *6\n",
     "R3 blue 46.9 kohm; R1 blue 100.4 kohm", "", NULL, ""},
    {"bound, its volts are neither held nor in doubt",
     "@0 at R3 volts blue\n@0.1 at R1\nblue ~0.512 V DC *40\n", "", "", "R1", ""},
    {"the wrong function logs nothing, and does not hold up the walk",
     WALK R1_TOUCHED OPEN R2_TOUCHED OPEN "blue ~5.02 V DC *60\n",
     "R1 red 100.2 kohm; R2 red 98.4 kohm", NULL, "R1; R2; R3", ""},
    {"one unplugged for good after its entry does not hold up the other",
     WALK R1_TOUCHED OPEN R2_TOUCHED OPEN
     "blue OL MOhm *6\nblue ~100.4 kOhm *7\n@3.2 meter blue gone\n",
     "R1 red 100.2 kohm; R1 blue 100.4 kohm; R2 red 98.4 kohm", "gone", "R1; R2; R3", ""},
};

static void several_meters(void **state)
{
	(void)state;
	stand_run_scenes(meters_rows, sizeof meters_rows / sizeof *meters_rows);
}

/* ---- held values and doubt ---- */

static const struct scene held_rows[] = {
    {"like the next: held; the leads lift; taken where it was up",
     "@0 at R2\n" OPEN R3_TOUCHED OPEN "@4.5 take\n", "R2 red 46.9 kohm", "held R2 like R3",
     NULL, ""},
    {"... or the other chosen",
     "@0 at R2\n" OPEN R3_TOUCHED OPEN "@4.5 at R3\n", "R3 red 46.9 kohm", "held R2 like R3",
     NULL, ""},
    {"... while it is touched; lift and next",
     "@0 walk on\n@0 at R2\n" OPEN "red ~46.9 kOhm *10\n" OPEN "@3.6 at R3\n"
     "red ~1.001 kOhm *8\n" OPEN,
     "R3 red 46.9 kohm; R4 red 1.001 kohm", "held R2 like R3", "R1; R2; R3; R4; C1", ""},
    {"... or lifted and the right part touched",
     "@0 at R2\n" OPEN R3_TOUCHED OPEN R2_TOUCHED OPEN, "R2 red 98.4 kohm", "held R2 like R3",
     NULL, ""},
    {"like the last",
     "@0 at R3\n@0.1 at R2\n@0.2 at R4\n" OPEN R2_TOUCHED OPEN, "", "held R4 like R2", NULL, ""},
    {"like the twin",
     "@0 at R4\n" OPEN "red ~2.201 kOhm *8\n" OPEN "@4.5 at R5\n",
     "R5 red 2.201 kohm", "held R4 like R5", NULL, ""},
    {"fits two: the one that is chosen gets it",
     "@0 at R2\n@0.1 at R3\n" OPEN "red ~100.2 kOhm *8\n" OPEN "@4.5 at R1\n",
     "R1 red 100.2 kohm", "held R3 like R2", NULL, ""},
    {"a third part chosen that it does not fit: it goes nowhere",
     "@0 at R2\n" OPEN R3_TOUCHED OPEN "@4.5 at R4\n", "", "held R2 like R3; refused R4", NULL, ""},
    {"far from everything: logged, for it may be another value fitted",
     "@0 at R1\n" OPEN "red ~220.4 kOhm *12\n" OPEN, "R1 red 220.4 kohm", "", NULL, ""},
    {"two hold: both go where the person says",
     "@0 at R2\n" OPEN R3_TOUCHED OPEN "blue OL MOhm *6\nblue ~47.1 kOhm *8\nblue OL MOhm *6\n"
     "@4.8 at R3\n",
     "R3 red 46.9 kohm; R3 blue 47.1 kohm", "held R2 like R3; held R2 like R3", NULL, ""},
    {"held, taken when the leads were open long since: the next may be touched at once",
     "@0 walk on\n@0 at R2\n" OPEN R3_TOUCHED "red OL MOhm *8\n" "@5.4 take\n" R3_TOUCHED OPEN,
     "R2 red 46.9 kohm; R3 red 46.9 kohm", NULL, NULL, ""},
    {"a rail as it should be, positive and negative, from floating leads",
     "@0 at HT1\nred ~-17.9 mV *6\nred ~284.6 V *8\nred glide 284.6 0 0.8 V *16\n"
     "@6 at BIAS\nred ~-18.3 mV *3\nred ~-35.21 V *8\nred ~-20.3 mV *6\n",
     "HT1 red 284.6 V volts; BIAS red -35.21 V volts", "alarm; alarm", NULL, ""},
    {"the bias with its probes swapped is in doubt",
     "@0 at BIAS\nred ~-17.9 mV *6\nred ~35.21 V *10\n@4 take\n", "BIAS red 35.21 V volts", "doubt BIAS",
     NULL, ""},
    {"volts that nobody expects: in doubt, taken by key",
     "@0 at TP1 volts\nred ~-17.9 mV *6\nred ~3.214 V *10\n@4 take\n", "TP1 red 3.214 V volts",
     "doubt TP1", NULL, ""},
    {"... and what is taken is what stands there now",
     "@0 at TP1 volts\nred ~-17.9 mV *6\nred ~3.214 V *10\nred ~4.502 V *12\n@6.5 take\n",
     "TP1 red 4.502 V volts", "doubt TP1", NULL, ""},
    {"volts that the sheet expects, whatever the kind is asked for: logged",
     "@0 at HT1 volts\n@0.1 sheet set HT1 kind=other\nred ~-17.9 mV *6\nred ~284.6 V *8\n",
     "HT1 red 284.6 V volts", "alarm", NULL, ""},
    {"... and those that it does not: in doubt",
     "@0 at HT1 volts\n@0.1 sheet set HT1 kind=other\nred ~-17.9 mV *6\nred ~140.3 V *10\n", "",
     "alarm; doubt HT1", NULL, ""},
    {"floating leads alone make nothing",
     "@0 at HT1\nred ~-17.9 mV *40\nred ~60.3 mV *20\nred ~112.4 mV *20\n", "", "", NULL, ""},
    {"a glide after the lift is not the next rail",
     "@0 walk on\n@0 at HT1\nred ~-17.9 mV *6\nred ~284.6 V *8\nred glide 284.6 0 2.5 V *60\n",
     "HT1 red 284.6 V volts", NULL, NULL, ""},
};

static void held_and_doubted(void **state)
{
	(void)state;
	stand_run_scenes(held_rows, sizeof held_rows / sizeof *held_rows);
}

/* ---- take; live; quantities; no sheet ---- */

static const struct scene take_rows[] = {
    {"overload: a part that reads open", "@0 at R1\nred OL MOhm *10\n@2.1 take\n",
     "R1 red overload", "", NULL, ""},
    {"... in a walk: on to the next after a second",
     "@0 walk on\nred OL MOhm *16\n@2.1 take\n" R2_TOUCHED OPEN,
     "R1 red overload; R2 red 98.4 kohm", "", "R1; R2; R3", ""},
    {"... pressed twice in a walk, after it went on: the next one is not there yet",
     "@0 walk on\nred OL MOhm *30\n@2.1 take\n@3.6 take\n", "R1 red overload", "", "R1; R2", "take"},
    {"... pressed when it may be there: the next one reads open, too",
     "@0 walk on\nred OL MOhm *30\n@2.1 take\n@4.8 take\n",
     "R1 red overload; R2 red overload", "", NULL, ""},
    {"... a capacitor that reads open: the residual of the leads, once",
     "@0 walk on\n@0 at C1\nred every 0.5\nred ~0.021 nF *24\n@4.1 take\n@6.1 take\n@9.9 take\n",
     "C1 red 0.021 nF; C2 red 0.021 nF", NULL, "R1; C1; C2; HT1", "take"},
    {"... what the person chose is there at once",
     "@0 walk on\nred OL MOhm *30\n@2.1 take\n@3.4 at R3\n@3.5 take\n",
     "R1 red overload; R3 red overload", "", "R1; R2; R3; R4", ""},
    {"... after a touch it may be at once: nobody pressed twice",
     "@0 walk on\n" OPEN R1_TOUCHED "red OL MOhm *7\n@5 take\n", "R1 red 100.2 kohm; R2 red overload", "",
     "R1; R2", ""},
    {"... pressed twice: refused", "@0 at R1\nred OL MOhm *20\n@2.1 take\n@3.6 take\n",
     "R1 red overload", "", NULL, "take"},
    {"... pressed twice, chosen anew between: two",
     "@0 at R1\nred OL MOhm *20\n@2.1 take\n@3 again\n@3.6 take\n", "R1 red overload; R1 red overload", "",
     NULL, ""},
    {"... something was touched between: two",
     "@0 at R1\nred OL MOhm *10\n@2.1 take\nred ~100.2 kOhm *8\nred OL MOhm *8\n@6.4 take\n",
     "R1 red overload; R1 red overload", NULL, NULL, ""},
    {"... struck between: one that counts",
     "@0 at R1\nred OL MOhm *20\n@2.1 take\n@3 undo\n@3.6 take\n", NULL, "", NULL, ""},
    {"the entry of a touch, then take: refused",
     "@0 at R1\n" OPEN R1_TOUCHED "@3.2 take\n", "R1 red 100.2 kohm", "", NULL, "take"},
    {"... with its noise", "@0 at R1\n" OPEN "red 100.2 kOhm *6\nred 100.3 kOhm *6\n@4.2 take\n",
     "R1 red 100.2 kohm", "", NULL, "take"},
    {"... another reach: two", "@0 at R1\n" OPEN R1_TOUCHED "@3.1 reach lifted\n@3.2 take\n",
     "R1 red 100.2 kohm; R1 red 100.2 kohm lifted", "", NULL, ""},
    {"... measured again: two", "@0 at R1\n" OPEN R1_TOUCHED "@3.1 again\n@3.2 take\n",
     "R1 red 100.2 kohm; R1 red 100.2 kohm", "", NULL, ""},
    {"... taken while it moved, then at rest: two",
     "@0 at R1\n" OPEN "red glide 99.0 90.0 3 kOhm *12\nred ~90.1 kOhm *16\n@4 take\n@7.9 take\n" OPEN,
     "R1 red 93.9 kohm moving; R1 red 90.1 kohm", "", NULL, ""},
    {"volts of a live unit: twice at once is once, later is another",
     "@0 live\n@0 at TP1 volts\nred ~3.214 V *60\n@4 take\n@4.5 take\n@11 take\n",
     "TP1 red 3.214 V volts; TP1 red 3.214 V volts", NULL, NULL, "take"},
    {"stale", "@0 at R1\nred ~100.2 kOhm *2\nred wait 4\n@3.9 take\n", "", "", NULL, "take"},
    {"nothing at all", "@0 at R1\n@1 take\n", "", "", NULL, "take"},
    {"no position", "red ~100.2 kOhm *3\n@0.6 take\n", "", NULL, NULL, "take"},
    {"what does not suit", "@0 at R1\nred ~5.012 V DC *6\n@1.3 take\n", "", NULL, NULL, "take"},
    {"moving: as it stands, and marked",
     "@0 at R1\n" OPEN "red glide 99.0 10.0 60 kOhm *40\n@9 take\n", "R1 red 88.5 kohm moving",
     NULL, NULL, ""},
    {"... then it settles: still one",
     "@0 at R1\n" OPEN "red glide 99.0 90.0 3 kOhm *12\nred ~90.1 kOhm *12\n@4 take\n" OPEN,
     "R1 red 93.9 kohm moving", "", NULL, ""},
    {"two have a reading: which one",
     "@0 at R1\n" OPEN R1_TOUCHED "blue OL MOhm *6\nblue ~100.4 kOhm *8\n@1.8 take\n@1.9 take blue\n",
     NULL, NULL, NULL, "take"},
    {"live: no ohm, no farad",
     "@0 live\n@0 at R1\n" OPEN R1_TOUCHED "@3.3 take\n", "", "refused R1", NULL, "take"},
    {"live: volts",
     "@0 live\n@0 at HT1\nred ~-17.9 mV *6\nred ~284.6 V *8\nred ~-17.9 mV *6\n",
     "HT1 red 284.6 V volts", "", NULL, ""},
    {"cold again: ohm",
     "@0 live\n@0.5 cold\n@0.6 at R1\n" OPEN R1_TOUCHED OPEN, "R1 red 100.2 kohm", "", NULL, ""},
    {"leakage as volts across a resistor: by key, for nothing says what to expect",
     "@0 at C1 leakage\nred ~-17.9 mV *6\nred ~0.412 V *10\n@4 take\n",
     "C1 red 0.412 V leakage", "doubt C1", NULL, ""},
    {"leakage in microamps", "@0 at C1 leakage\nred ~0.0 uA DC *6\nred ~12.4 uA DC *10\nred ~0.0 uA DC *6\n",
     "C1 red 12.4 uA leakage", "", NULL, ""},
    {"leakage is no ohm", "@0 at C1 leakage\n" OPEN R1_TOUCHED OPEN, "", "refused C1", NULL, ""},
    {"esr in ohm", "@0 at C1 esr\n" OPEN "red ~1.31 Ohm *8\n" OPEN, "C1 red 1.31 ohm esr", "", NULL, ""},
    {"value and esr of one part, one after the other",
     "@0 at C1\n@5.5 quantity esr\nred every 0.5\nred ~0.021 nF *3\nred ~101.3 nF *7\n"
     "red OL MOhm *5\nred ~1.31 Ohm *8\nred OL MOhm *5\n",
     "C1 red 101.3 nF; C1 red 1.31 ohm esr", "", NULL, ""},
    {"a quantity beside the value does not end the walk's search",
     "@0 at C1 esr\n@0 walk on\n" OPEN "red ~1.31 Ohm *8\nred OL MOhm *8\n",
     "C1 red 1.31 ohm esr", "", "C1; C2", ""},
};

static void take_and_quantities(void **state)
{
	(void)state;
	stand_run_scenes(take_rows, sizeof take_rows / sizeof *take_rows);
}

/* ---- a held display ---- */

/* Nothing suits: what has to be turned is said, not only that there is nothing. */
static void take_says_why(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	assert_non_null(s);
	stand_begin(s);
	stand_play(s, "@0 at R1\nred ~0.013 V DC *10\n");
	assert_false(bench_take(s->bench, s->t, NULL, (struct bench_wait){0}, &s->why));
	assert_string_equal(s->why.text, "nothing to take: red reads volt-dc, and value of R1 wants ohm: turn "
	                    "the dial, or choose another position");
	stand_free(s);
	free(s);
}

static bool live_has(struct stand *s, const char *words)
{
	char bytes[4096];
	struct text out;
	text_begin(&out, bytes, sizeof bytes);
	bench_live(s->bench, s->t, &out);
	assert_true(out.len < sizeof bytes);
	bytes[out.len] = '\0';
	return strstr(bytes, words) != NULL;
}

/* A touch that is over with its entry, or taken for the part that has it, says so. */
static void live_says_whose(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	assert_non_null(s);
	stand_begin(s);
	stand_play(s, "@0 walk on\n" OPEN "red ~100.2 kOhm *2\n");
	assert_false(live_has(s, "\"has\""));
	stand_play(s, "red ~100.2 kOhm *6\n");
	assert_true(live_has(s, "\"touching\":true,\"has\":\"R1\""));
	stand_play(s, "red OL MOhm *3\n");
	assert_false(live_has(s, "\"has\""));
	stand_play(s, "red ~100.2 kOhm *4\n");
	assert_true(live_has(s, "\"has\":\"R1\""));
	stand_free(s);
	free(s);
}

static void frames_at(struct stand *s, int meter, const char *frame, size_t len, int times)
{
	for (int i = 0; i < times; i++) {
		bench_line_bytes(s->bench, s->t, meter, frame, len);
		bench_collect(s->bench);
		s->t += 250000;
	}
}

/* What a meter holds on its display is not what it measures: no entry by itself, none
 * by key; when the hold is off, the touch counts. */
static void held_display_is_no_reading(void **state)
{
	(void)state;
	static const char held[] = "+1002 4\x22\x00\x20\x20\x00\r\n";
	static const char live[] = "+1002 4\x20\x00\x20\x20\x00\r\n";
	struct stand *s = calloc(1, sizeof *s);
	stand_open(s, "[bench]\nname = tests\n[meter cols]\ndialect = columns-14\n", ":memory:", NULL);
	stand_load(s, stand_sheet);
	stand_act(s, s->t, "at R1");
	frames_at(s, 0, held, sizeof held - 1, 12);
	stand_act(s, s->t, "take");
	bench_collect(s->bench);
	assert_string_equal(s->made, "");
	assert_string_equal(s->refused, "take");
	frames_at(s, 0, live, sizeof live - 1, 8);
	assert_string_equal(s->refused, "take");
	assert_non_null(strstr(s->made, "R1 cols 100.2 kohm"));
	bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	assert_true(stand_check_trail(s));
	stand_free(s);
	free(s);
}

/* ---- a whole bench full ---- */

/* 64 meters, each bound to its own part; all touch at once, twice; each is taken once. */
static void sixty_four_meters(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	char config[8192] = "[bench]\nname = tests\n", line[256];
	for (int i = 0; i < STAND_METERS; i++) {
		snprintf(line, sizeof line, "[meter m%d]\ndialect = ascii-unit\n", i);
		strcat(config, line);
	}
	stand_open(s, config, ":memory:", NULL);
	char *scene = calloc(1, 65536);
	for (int i = 0; i < STAND_METERS; i++) {
		snprintf(line, sizeof line, "@0 at R%d value m%d\n@3 take m%d\nm%d OL MOhm *6\nm%d ~%d.%d kOhm *8\n"
		         "m%d OL MOhm *6\nm%d ~99.1 kOhm *8\n", i, i, i, i, i, 100 + i, i % 8, i, i);
		strcat(scene, line);
	}
	stand_play(s, scene);
	for (int i = 0; i < STAND_METERS; i++) {
		snprintf(line, sizeof line, "R%d m%d %d.%d kohm;", i, i, 100 + i, i % 8);
		if (!strstr(s->made, line) && i < STAND_METERS - 1)
			fail_msg("no %s in %s", line, s->made);
	}
	assert_null(strstr(s->made, "99.1"));
	bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	assert_true(stand_check_trail(s));
	free(scene);
	stand_free(s);
	free(s);
}

/* ---- an asked meter ---- */

/* What was sent to it, and what it will answer when. */
static struct asked {
	char line[256];
	struct { int64_t t; char text[64]; } answer[64];
	int first, count, queries, others;
	int64_t now;
	const char *value;
} asked;

static void on_asked(void *arg, const char *meter, const char *bytes, size_t len)
{
	(void)arg;
	(void)meter;
	strncat(asked.line, bytes, len);
	for (char *lf; (lf = strchr(asked.line, '\n')); memmove(asked.line, lf + 1, strlen(lf + 1) + 1)) {
		*lf = '\0';
		const char *says = strncmp(asked.line, "READ?", 5) == 0    ? asked.value
		                   : strncmp(asked.line, "*IDN?", 5) == 0    ? "NOBODY,BENCH,0,1"
		                   : strncmp(asked.line, "SYST:ERR?", 9) == 0 ? "0,\"No error\""
		                                                             : NULL;
		asked.queries += says == asked.value;
		asked.others += says == NULL;
		if (!says)
			continue;
		assert_true(asked.count < 64);
		int i = (asked.first + asked.count++) % 64;
		asked.answer[i].t = asked.now + 120000;
		snprintf(asked.answer[i].text, sizeof asked.answer[i].text, "%s\n", says);
	}
}

/* Let time pass: answers and timers in their order. */
static void pass(struct stand *s, double seconds, const char *value)
{
	int64_t end = s->t + (int64_t)(seconds * 1e6);
	asked.value = value;
	for (;;) {
		int64_t due = bench_deadline(s->bench);
		bool talks = asked.count && asked.answer[asked.first].t < due;
		asked.now = talks ? asked.answer[asked.first].t : due;
		if (asked.now > end)
			break;
		bench_run_until(s->bench, asked.now);
		if (talks) {
			const char *text = asked.answer[asked.first].text;
			int meter = bench_meter_index(s->bench, "bench");
			asked.first = (asked.first + 1) % 64;
			asked.count--;
			bench_line_bytes(s->bench, asked.now, meter, text, strlen(text));
		}
		bench_collect(s->bench);
	}
	s->t = end;
}

static void asked_meter_in_a_walk(void **state)
{
	(void)state;
	struct stand *s = calloc(1, sizeof *s);
	stand_begin(s);
	memset(&asked, 0, sizeof asked);
	bench_finish(s->bench, 0);
	bench_collect(s->bench);
	stand_bench(s, on_asked);
	stand_load(s, stand_sheet);
	bench_line_opened(s->bench, 0, bench_meter_index(s->bench, "bench"));
	stand_act(s, 0, "walk on");
	pass(s, 4, "+9.9E37");
	pass(s, 2, "+1.002312E+05");
	pass(s, 1.8, "+9.9E37");
	pass(s, 2, "+9.84123E+04");
	pass(s, 0.6, "+9.9E37"); /* a slip */
	pass(s, 2, "+9.84123E+04");
	pass(s, 2, "+9.9E37");
	assert_string_equal(s->made, "R1 bench 100.2312 kohm; R2 bench 98.4123 kohm");
	assert_string_equal(s->up, "R1; R2; R3");
	assert_true(asked.queries > 50 && asked.others >= 1); /* the set-up was sent */
	bench_finish(s->bench, s->t);
	bench_collect(s->bench);
	assert_true(stand_check_trail(s));
	stand_free(s);
	free(s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(walk_and_touches),
	    cmocka_unit_test(several_meters),
	    cmocka_unit_test(held_and_doubted),
	    cmocka_unit_test(take_and_quantities),
	    cmocka_unit_test(take_says_why),
	    cmocka_unit_test(live_says_whose),
	    cmocka_unit_test(held_display_is_no_reading),
	    cmocka_unit_test(sixty_four_meters),
	    cmocka_unit_test(asked_meter_in_a_walk),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}

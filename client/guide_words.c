/* SPDX-License-Identifier: MIT */
/*
 * See guide_words.h.  A row: the daemon's sentence, with $ for what it leaves open and # for a number
 * with or without its unit; the same as it is said in English (NULL: as it stands) and in German,
 * with $1, $2 ... for what stood there.  That may be a sentence of the table itself: "given up: $".
 *
 * The first row that fits is taken, so the narrower one stands before the wider one.
 */
#include "client/guide_words.h"

#include "client/words.h"
#include "protocol/trade/ascii.h"
#include "protocol/trade/position.h"

#include <stdio.h>
#include <string.h>

#define OPEN_MAX 6      /* places that a pattern leaves open */
#define DEPTH_MAX 4     /* sentences in sentences */
#define STEPS_MAX 20000 /* of looking for a fit: a text that wants more fits nothing */

struct row {
	const char *is, *en, *de;
};

static const struct row rows[] = {
    /* of all kinds */
    {"the guided run is done", NULL, "der geführte Lauf ist beendet"},
    {"left", NULL, "der geführte Lauf ist verlassen"},
    {"left: the unit is live still; switch off and discharge before you touch it", NULL,
     "der geführte Lauf ist verlassen, das Gerät steht noch unter Spannung: ausschalten und entladen, bevor "
     "jemand es berührt"},
    {"given up: $", NULL, "aufgegeben: $1"},
    {"this step ends by itself: there is nothing to do but to wait, or to leave it", NULL,
     "dieser Schritt endet von selbst: warten, oder den Lauf verlassen"},
    {"the value of this step is on its way to the disk: wait for it", NULL,
     "der Wert wird noch gespeichert: einen Augenblick warten"},
    {"no meter has the role $ in this run: begin it anew with $", NULL,
     "in diesem Lauf hat kein Messgerät die Aufgabe $1: mit $2 neu beginnen"},
    {"$: its position is not in the sheet any more", NULL, "$1 steht nicht mehr im Blatt"},
    {"that is beyond the meter's range, and was logged so: set another range, and go on again", NULL,
     "jenseits des Messbereichs, und so verzeichnet: anderen Messbereich einstellen, und noch einmal weiter"},
    {"a guided run waits for the hand: take goes on with it, back is the step before, again says it again",
     NULL, "ein geführter Lauf wartet auf die Hand: übernehmen führt ihn weiter, zurück geht einen Schritt "
     "zurück, noch einmal sagt den Schritt wieder an"},
    {"no guided run of $ goes on", NULL, "kein geführter Lauf von $1 ist offen"},
    {"no guided run goes on: $", "no guided run goes on", "kein geführter Lauf ist offen"},

    /* cautions */
    {"valve equipment kills: local codes and licensed practice come before anything said here", NULL,
     "Röhrengeräte können töten: örtliche Vorschriften und die Arbeit der dazu Befugten gehen allem vor, was "
     "hier gesagt wird"},
    {"local codes and licensed practice come before anything said here", NULL,
     "örtliche Vorschriften und die Arbeit der dazu Befugten gehen allem vor, was hier gesagt wird"},
    {"mains isolated, and the reservoir capacitors discharged and measured, before anything is touched", NULL,
     "vom Netz getrennt, die Ladeelkos entladen und nachgemessen, bevor etwas berührt wird"},
    {"one valve at a time: with heaters in series the others go out with it; with heaters in parallel those "
     "that stay get more volts", NULL,
     "immer nur eine Röhre ziehen: bei Serienheizung gehen die anderen mit aus, bei Parallelheizung bekommen "
     "die übrigen mehr Spannung"},
    {"with valves out the rails rise: above the rating of a reservoir, switch off", NULL,
     "ohne Röhren steigt die Versorgungsspannung: über der Nennspannung eines Ladeelkos ausschalten"},
    {"probes are clipped on while it is off; hands off while it is on; never alone", NULL,
     "Messleitungen nur am ausgeschalteten Gerät anklemmen; Hände weg, solange es ein ist; nie allein"},
    {"a charged capacitor kills, and one that bursts throws hot paste: cover it, and keep your face away", NULL,
     "ein geladener Kondensator kann töten, und einer, der platzt, schleudert heiße Paste: abdecken, Gesicht "
     "weg"},
    {"the part is free of its circuit, discharged through a resistor, and measured dead", NULL,
     "das Teil ist aus der Schaltung, über einen Widerstand entladen und spannungsfrei gemessen"},
    {"never the wrong way round; a can that bulges, leaks or is warm is not re-formed but replaced", NULL,
     "nie verpolt; ein Becher, der sich wölbt, ausläuft oder warm ist, wird nicht formiert, sondern ersetzt"},
    {"the supply is isolated and has a limit of its own; the meter over the resistor stands at high volts "
     "against ground: isolated, rated, and not touched while it is on", NULL,
     "das Netzteil ist vom Netz getrennt und hat eine eigene Strombegrenzung; das Messgerät am Widerstand "
     "liegt auf hoher Spannung gegen Masse: isoliert, dafür zugelassen, und nicht berühren, solange es ein ist"},
    {"never alone; what is switched off still holds its charge: discharge, measure, wait a minute, measure "
     "again", NULL,
     "nie allein; auch ausgeschaltet bleibt die Ladung: entladen, messen, eine Minute warten, noch einmal "
     "messen"},
    {"power comes up through a variable transformer and a series lamp, or another limit in series", NULL,
     "hochgefahren wird über Stelltrafo und Vorschaltlampe, oder mit einer anderen Begrenzung in Reihe"},
    {"one hand; meters and probes rated for the volts that will be there, clipped on while it is off", NULL,
     "eine Hand; Messgeräte und Leitungen für die Spannung zugelassen, und ausgeschaltet angeklemmt"},
    {"never alone: somebody is near who knows how to switch it off", NULL,
     "nie allein: jemand ist in der Nähe, der weiß, wo man ausschaltet"},
    {"the unit is on: meters are clipped on while it is off, mains isolated, reservoirs measured dead", NULL,
     "das Gerät ist ein: angeklemmt wird, solange es aus ist, vom Netz getrennt, die Ladeelkos spannungsfrei "
     "gemessen"},
    {"one hand, an insulated screwdriver, nothing else in the amplifier; never alone", NULL,
     "eine Hand, ein isolierter Schraubendreher, sonst nichts im Verstärker; nie allein"},
    {"a load on every output; before the valves are warm a bias says nothing", NULL,
     "an jedem Ausgang eine Last; bevor die Röhren warm sind, sagt ein Ruhestrom nichts"},
    {"turn the bias to its most negative before the first time; a valve that glows red: switch off", NULL,
     "vor dem ersten Mal die Gittervorspannung ganz negativ drehen; eine Anode, die rot glüht: ausschalten"},
    {"loose parts only: a part in a unit is measured in its place", NULL,
     "nur lose Teile: was eingebaut ist, wird an seinem Platz gemessen"},
    {"capacitors are discharged before they come to a meter, large ones through a resistor", NULL,
     "Kondensatoren sind entladen, bevor sie an ein Messgerät kommen, große über einen Widerstand"},

    /* dangers: that it has to be switched off was said before (alarms) */
    {"SWITCH OFF: $. Hands off, transformer to zero, mains off, discharge, measure dead",
     "$1; transformer to zero, mains off, discharge, measure dead",
     "$1; Stelltrafo auf null, Netz aus, entladen, Spannungsfreiheit nachmessen"},
    {"SWITCH OFF. $", "$1", "$1"},
    {"$: turn it down, or SWITCH OFF", "$1: turn it down, or switch off", "$1: zurückdrehen oder ausschalten"},
    {"$: a limit was passed before the daemon began anew: SWITCH OFF",
     "$1: a limit was passed before the daemon began anew",
     "$1: eine Grenze war überschritten, bevor der Dienst neu begann"},
    {"$: SWITCH OFF", "$1", "$1"},
    {"the guided run is over", NULL, "der geführte Lauf ist zu Ende"},
    {"the rail", NULL, "die Versorgungsspannung"},
    {"$ is at #, above # with the rectifier out", NULL,
     "$1 liegt bei $2, über $3, obwohl der Gleichrichter gezogen ist"},
    {"# at the anode, above #", NULL, "$1 an der Anode, erlaubt sind $2"},
    {"$ is at #, above #", NULL, "$1 liegt bei $2, die Grenze ist $3"},
    {"$ is beyond the meter's range", NULL, "$1 ist jenseits des Messbereichs"},
    {"$ is below # again", NULL, "$1 liegt wieder unter $2"},
    {"below # again", NULL, "wieder unter $1"},
    {"$ is above #: switch off, then leave this run", NULL,
     "$1 liegt über $2: ausschalten, dann den Lauf verlassen"},
    {"$ is above #: switch off", NULL, "$1 liegt über $2: ausschalten"},

    {"$ is gone: nobody watches $ now; hands off until it is back", NULL,
     "Messgerät $1 ist weg: $2 überwacht jetzt niemand; Hände weg, bis es wieder da ist"},
    {"from the grid's pin to chassis", NULL, "vom Gitter zum Chassis"},
    {"from the rail to chassis", NULL, "von der Versorgungsspannung zum Chassis"},
    {"from the main rail to chassis", NULL, "von der Hauptversorgung zum Chassis"},
    {"where each step says", NULL, "wo der Schritt es sagt"},
    {"across the load", NULL, "an der Last"},
    {"where it is set", NULL, "wo eingestellt wird"},
    {"at its twin", NULL, "am Zwilling"},
    {"from the anode to chassis", NULL, "von der Anode zum Chassis"},
    {"across the loose part", NULL, "am losen Teil"},

    /* leak */
    {"the rail is at #: the zero is taken with the high tension off", NULL,
     "die Versorgungsspannung liegt bei $1: der Nullwert gilt nur bei abgeschalteter Hochspannung"},
    {"the rail is at #: without high tension nothing leaks; switch it on, hands off", NULL,
     "die Versorgungsspannung liegt bei $1: ohne Hochspannung fließt kein Leckstrom; einschalten, Hände weg"},

    /* reform */
    {"the meter `$` ($) shows nothing yet", "the meter $2 shows nothing yet",
     "das Messgerät $2 zeigt noch nichts an"},
    {"over the resistor in series, red lead to the supply", NULL,
     "am Vorwiderstand, rote Leitung zum Netzteil"},
    {"at the part itself, red lead to its positive end", NULL, "am Elko selbst, rote Leitung zum Pluspol"},
    {"$ still holds $: discharge it through a resistor", NULL,
     "$1 hat noch $2: über einen Widerstand entladen"},
    {"more than the meter can show", NULL, "mehr, als das Messgerät anzeigen kann"},
    {"in # s: the volts of a discharged capacitor come back", "in $1 seconds: the volts of a discharged "
     "capacitor come back", "in $1 Sekunden: die Spannung eines entladenen Kondensators kommt zurück"},
    {"the current rises at constant volts, from # to #", NULL,
     "der Strom steigt bei konstanter Spannung, von $1 auf $2"},
    {"it gets only # of #: it is shorted, or the meters are changed over", NULL,
     "am Elko kommen nur $1 von $2 an: Kurzschluss, oder die Messgeräte sind vertauscht"},
    {"# hours without progress at #, where # are allowed", NULL,
     "$1 Stunden ohne Fortschritt bei $2, erlaubt sind $3"},
    {"$ at # are #, which warms the can", NULL, "$1 bei $2 sind $3, das erwärmt den Becher"},
    {"the volts over the resistor are beyond the meter's range", NULL,
     "die Spannung am Vorwiderstand ist jenseits des Messbereichs"},
    {"$ reads #: it or its meter is the wrong way round", NULL,
     "$1 zeigt $2: der Elko oder sein Messgerät ist verpolt"},

    /* rise */
    {"the bias at $ rose by # over the soak: it runs away", NULL,
     "der Ruhestrom an $1 ist im Warmlauf um $2 gestiegen: die Röhre geht durch"},
    {"the valve at $ has #, above its #", NULL, "die Röhre an $1 hat $2, erlaubt sind $3"},
    {"the rail is at # where # of mains give # at most: wrong tap, or another transformer", NULL,
     "die Versorgungsspannung liegt bei $1, wo $2 Netz höchstens $3 geben: Spannungswähler falsch, oder ein "
     "anderer Trafo"},
    {"the rail is at # where # of mains give # to #: something pulls it down (rectifier, reservoir)",
     "the rail is at $1 where $2 of mains give $3 to $4: something pulls it down, rectifier or reservoir",
     "die Versorgungsspannung liegt bei $1, wo $2 Netz $3 bis $4 geben: etwas zieht sie herunter, "
     "Gleichrichter oder Ladeelko"},
    {"the bias rail $ is at # instead of #: without it the output valves run away", NULL,
     "die Gittervorspannung $1 liegt bei $2 statt $3: ohne sie gehen die Endröhren durch"},
    {"the rail is at # with the lamp in: something is short", NULL,
     "die Versorgungsspannung kommt mit Lampe nur auf $1: ein Kurzschluss"},
    {"the rail is at # instead of #: too much is drawn from it", NULL,
     "die Versorgungsspannung liegt bei $1 statt $2: sie wird zu stark belastet"},
    {"there is no way back from here: switch off, leave the run, and begin it anew", NULL,
     "von hier führt kein Schritt zurück: ausschalten, den Lauf verlassen und neu beginnen"},
    {"the soak is over: # minutes", NULL, "der Warmlauf ist zu Ende: $1 Minuten"},
    {"soak: # minutes left, the rail at #", NULL, "Warmlauf: noch $1 Minuten, Versorgungsspannung $2"},
    {"nothing is read on $: nobody goes on blind; switch off and look to the meter", NULL,
     "an $1 wird nichts gemessen: blind geht niemand weiter; ausschalten und nach dem Messgerät sehen"},
    {"the meter of role $ reads $, and $ are wanted at $: turn its dial",
     "the meter reads $2, and $3 are wanted at $4: turn its dial",
     "das Messgerät misst $2, an $4 wird $3 gebraucht: umschalten"},
    {"nothing is read on the bias rail $: without it no output valve goes in", NULL,
     "an der Gittervorspannung $1 wird nichts gemessen: ohne sie kommt keine Endröhre hinein"},
    {"volts", NULL, "Gleichspannung"},
    {"volts ac", NULL, "Wechselspannung"},
    {"amps", NULL, "Gleichstrom"},
    {"amps ac", NULL, "Wechselstrom"},
    {"ohms", NULL, "Ohm"},
    {"farads", NULL, "Farad"},
    {"henries", NULL, "Henry"},
    {"hertz", NULL, "Hertz"},
    {"degrees celsius", NULL, "Grad Celsius"},
    {"volts, diode test", NULL, "Diodentest"},
    {"percent", NULL, "Prozent"},

    /* tune: a word every two seconds, so few of them */
    {"nothing is read at $: look to the meter's leads", NULL,
     "an $1 wird nichts gemessen: nach den Messleitungen sehen"},
    {"$, inside", NULL, "$1, in den Grenzen"},
    {"#, # above the other", NULL, "$1, $2 über dem anderen"},
    {"#, # below the other", NULL, "$1, $2 unter dem anderen"},
    {"#, # more negative", NULL, "$1, $2 zu negativ"},
    {"#, # less negative", NULL, "$1, $2 zu wenig negativ"},
    {"#, # above", NULL, "$1, $2 darüber"},
    {"#, # below", NULL, "$1, $2 darunter"},

    /* lot */
    {"$, as it stood", NULL, "$1, wie es gerade stand"},
    {"$, outside: # high", NULL, "$1, außerhalb, $2 zu hoch"},
    {"$, outside: # low", NULL, "$1, außerhalb, $2 zu niedrig"},
    {"not counted: # is no part of a lot of $", NULL, "nicht gezählt: $1 gehört zu keinem Posten von $2"},
    {"not counted: a lot has at most # parts", NULL, "nicht gezählt: ein Posten hat höchstens $1 Teile"},
    {"not counted: # reads as part # did, and the probes were not lifted since; lift, and touch the next",
     NULL, "nicht gezählt: $1 wie Teil $2, und die Spitzen waren seither nicht abgehoben; abheben und das "
     "nächste berühren"},
    {"# stays as it is: touch #", NULL, "Teil $1 bleibt, wie es ist: Teil $2 berühren"},
    {"part 1 is the first one: touch it once more", NULL, "Teil eins ist das erste: noch einmal berühren"},
    {"there is no part #: # were touched", NULL, "Teil $1 gibt es nicht: $2 wurden berührt"},
    {"# once more: touch it", NULL, "Teil $1 noch einmal berühren"},
    {"# parts are wanted for pairs, and # of the # touched so far are within their limits: touch more", NULL,
     "für die Paare sind $1 Teile nötig, von $3 berührten liegen $2 in den Grenzen: weiter berühren"},
    {"# and # for $ and $; $", NULL, "$1 und $2 für $3 und $4; $5"},
    {"# and # for $ and $", NULL, "$1 und $2 für $3 und $4"},
    {"# and #; $", NULL, "$1 und $2; $3"},
    {"# and #", NULL, "$1 und $2"},
    {"#: #", "$1: $2", "Teil $1: $2"},
};

/* ---- what fits ---- */

static bool is_number(const char *text)
{
	const char *at = text + (*text == '-' || *text == '+');
	return ascii_digit(*at);
}

/* A number, and one word behind it at most: its unit. */
static bool is_value(const char *text, size_t n)
{
	const char *blank = memchr(text, ' ', n);
	return is_number(text) && !memchr(text, ',', n) && !memchr(text, ';', n) && !memchr(text, ':', n) &&
	       (!blank || !memchr(blank + 1, ' ', n - 1 - (size_t)(blank - text)));
}

struct open {
	struct slice part[OPEN_MAX];
	int n;
};

/* The shortest first; false where nothing fits, or the steps are used up. */
static bool fits(const char *is, const char *text, struct open *o, int *steps)
{
	for (; *is && *is != '$' && *is != '#'; is++, text++)
		if (*is != *text)
			return false;
	if (!*is)
		return !*text;
	int at = o->n;
	if (at == OPEN_MAX || (*is == '#' && !is_number(text)))
		return false;
	for (size_t n = 1; text[n - 1] && (*steps)-- > 0; n++) {
		if (is[1] != text[n])
			continue;
		if (*is == '#' && !is_value(text, n))
			continue;
		o->part[at] = (struct slice){text, n};
		o->n = at + 1;
		if (fits(is + 1, text + n, o, steps))
			return true;
		o->n = at;
	}
	return false;
}

/* ---- what is said ---- */

static bool sentence(enum language l, enum guide_manner m, const char *text, int depth, char *out,
                     size_t size);

/* A name of a position has its number. */
static bool is_name(const char *text)
{
	return name_valid(text, strlen(text)) && strpbrk(text, "0123456789") != NULL;
}

static void open_words(enum language l, enum guide_manner m, struct slice part, int depth, char *out,
                       size_t size)
{
	char text[GUIDE_WORDS_SIZE];
	snprintf(text, sizeof text, "%.*s", (int)part.len, part.at);
	if (sentence(l, m, text, depth + 1, out, size))
		return;
	if (m == GUIDE_SPOKEN && is_number(text)) {
		speech_value(l, text, out, size);
	} else if (m == GUIDE_SPOKEN && is_name(text)) {
		speech_position(l, text, out, size);
	} else {
		snprintf(out, size, "%s", text);
		for (char *c = out; l == LANGUAGE_DE && is_number(text) && *c; c++)
			if (*c == '.')
				*c = ',';
	}
}

static void put(char *out, size_t size, const char *text, size_t n)
{
	size_t len = strlen(out), room = size - 1 - len;
	n = n > room ? words_cut(text, n, room) : n;
	memcpy(out + len, text, n);
	out[len + n] = '\0';
}

static void say_row(enum language l, enum guide_manner m, const struct row *r, const struct open *o,
                    int depth, char *out, size_t size)
{
	const char *said = l == LANGUAGE_DE ? r->de : r->en ? r->en : r->is;
	int next = 0;
	out[0] = '\0';
	while (*said) {
		size_t n = strcspn(said, "$#");
		put(out, size, said, n);
		said += n;
		if (!*said)
			break;
		bool numbered = said[1] >= '1' && said[1] <= '0' + OPEN_MAX;
		int i = numbered ? said[1] - '1' : next++;
		said += numbered ? 2 : 1;
		if (i >= o->n)
			continue;
		char part[GUIDE_WORDS_SIZE];
		open_words(l, m, o->part[i], depth, part, sizeof part);
		put(out, size, part, strlen(part));
	}
}

static bool sentence(enum language l, enum guide_manner m, const char *text, int depth, char *out,
                     size_t size)
{
	out[0] = '\0';
	for (size_t i = 0; depth < DEPTH_MAX && i < sizeof rows / sizeof *rows; i++) {
		struct open o = {.n = 0};
		int steps = STEPS_MAX;
		if (!fits(rows[i].is, text, &o, &steps))
			continue;
		say_row(l, m, &rows[i], &o, depth, out, size);
		return true;
	}
	return false;
}

bool guide_words(enum language l, enum guide_manner m, const char *text, char *out, size_t size)
{
	if (is_value(text, strlen(text))) { /* alone: hum, every two seconds */
		open_words(l, m, (struct slice){text, strlen(text)}, DEPTH_MAX, out, size);
		return true;
	}
	return sentence(l, m, text, 0, out, size);
}

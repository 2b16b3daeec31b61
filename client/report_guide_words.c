/* SPDX-License-Identifier: MIT */
/*
 * Guided runs in English and German: kinds, steps, how they end, and what their results are called.
 *
 * A step is looked for as "kind/step" first, for some words mean something else in another
 * kind.  What is not in a table stands by its own word.
 */
#include "client/report_guide.h"

#include <stdio.h>
#include <string.h>

struct named {
	const char *name, *en, *de;
};

static const struct named kinds[] = {
	{"leak", "leakage", "Leckstrom"},
	{"reform", "re-forming", "Nachformieren"},
	{"rise", "bringing up the power", "Hochfahren am Stelltrafo"},
	{"tune", "setting by ear", "Einstellen nach Gehör"},
	{"lot", "sorting of loose parts", "Ausmessen und Paaren loser Teile"},
};
static const struct named ends[] = {
	{"done", "done", "beendet"},
	{"stopped", "given up", "abgebrochen"},
	{"left", "left", "vorzeitig verlassen"},
};
static const struct named steps[] = {
	{"caution", "the cautions", "die Vorsichtsregeln"},
	{"clip", "meters clipped on", "Messgeräte angeklemmt"},
	{"leak/valve", "valve taken out", "Röhre gezogen"},
	{"leak/zero", "grid with the volts off", "Gitter ohne Spannung"},
	{"leak/power", "volts switched on", "Spannung eingeschaltet"},
	{"leak/volts", "grid with the volts on", "Gitter mit Spannung"},
	{"off", "switched off, discharged", "ausgeschaltet, entladen"},
	{"reform/part", "part out of the circuit", "Teil aus der Schaltung"},
	{"supply", "supply and resistor connected", "Netzgerät und Widerstand angeschlossen"},
	{"quarter", "a quarter of the volts", "ein Viertel der Spannung"},
	{"half", "half of the volts", "die halbe Spannung"},
	{"three-quarters", "three quarters of the volts", "drei Viertel der Spannung"},
	{"full", "all of the volts", "die ganze Spannung"},
	{"hold", "held there", "dort gehalten"},
	{"reform/volts", "volts at the part", "Spannung am Teil"},
	{"reform/leakage", "volts across the resistor", "Spannung am Widerstand"},
	{"dead", "measured dead", "spannungsfrei gemessen"},
	{"dead-again", "measured dead once more", "noch einmal spannungsfrei gemessen"},
	{"ready", "legs, new parts and fuse seen to", "Anschlüsse, neue Teile und Sicherung geprüft"},
	{"rise/load", "load at the output", "Lastwiderstand am Ausgang"},
	{"bare", "valves and rectifier out", "Röhren und Gleichrichter gezogen"},
	{"transformer", "transformer alone", "Netztransformator allein"},
	{"heaters", "heaters", "Heizung"},
	{"rectifier", "rectifier put in", "Gleichrichter eingesetzt"},
	{"raise", "mains raised slowly", "Netzspannung langsam erhöht"},
	{"bias", "bias at the sockets", "Gittervorspannung an den Fassungen"},
	{"valves", "valves put in", "Röhren eingesetzt"},
	{"glow", "on, through the lamp", "eingeschaltet, über die Vorschaltlampe"},
	{"lamp", "lamp taken out", "Vorschaltlampe entfernt"},
	{"on", "on, without the lamp", "eingeschaltet, ohne Lampe"},
	{"rails", "each rail", "jede Versorgungsspannung"},
	{"heated", "heaters under load", "Heizung unter Last"},
	{"ripple", "ripple of each rail", "Brummspannung jeder Versorgung"},
	{"sense", "current of each output valve", "Strom jeder Endröhre"},
	{"soak", "left to warm through", "Warmlauf"},
	{"sense-after", "the currents once more", "die Ströme noch einmal"},
	{"rails-after", "the rails once more", "die Versorgungsspannungen noch einmal"},
	{"signal", "signal at the input", "Signal am Eingang"},
	{"response", "response", "Frequenzgang"},
	{"second-load", "a second load", "eine zweite Last"},
	{"hum", "hum, input shorted", "Brumm, Eingang kurzgeschlossen"},
	{"rise/power", "output power", "Ausgangsleistung"},
	{"set", "set", "eingestellt"},
	{"twin", "its twin", "der Zwilling"},
	{"touch", "each part touched", "jedes Teil berührt"},
	{"pairs", "pairs", "Paare"},
};
static const struct named members[] = {
	{"leakage", "leakage", "Leckstrom"},
	{"shift", "shift of the grid", "Verschiebung am Gitter"},
	{"volts", "volts", "Spannung"},
	{"volts-after", "after the soak", "nach dem Warmlauf"},
	{"volts-1kHz", "at 1 kHz", "bei 1 kHz"},
	{"current", "current", "Strom"},
	{"current-after", "current after the soak", "Strom nach dem Warmlauf"},
	{"at", "volts at the part", "Spannung am Teil"},
	{"verdict", "verdict", "Urteil"},
	{"most", "allowed, at most", "erlaubt, höchstens"},
	{"by", "that limit by", "diese Grenze nach"},
	{"watts", "heat in the part", "Wärme im Teil"},
	{"formed", "time under volts", "Zeit unter Spannung"},
	{"held", "held at all of the volts", "bei der ganzen Spannung gehalten"},
	{"away", "not seen, s", "nicht gesehen, s"},
	{"highest", "highest", "höchster Wert"},
	{"highest-current", "highest current", "höchster Strom"},
	{"breaks", "times a meter was away", "wie oft ein Messgerät fehlte"},
	{"quarter", "current at a quarter of the volts", "Strom bei einem Viertel der Spannung"},
	{"half", "at half of them", "bei der Hälfte"},
	{"three-quarters", "at three quarters", "bei drei Vierteln"},
	{"full", "at all of them", "bei der ganzen"},
	{"zero", "with the volts off", "ohne Spannung"},
	{"drop", "across the resistor", "am Widerstand"},
	{"sets", "set", "eingestellt"},
	{"here", "here", "hier"},
	{"twin", "at its twin", "am Zwilling"},
	{"target", "target", "Sollwert"},
	{"low", "lower limit", "untere Grenze"},
	{"high", "upper limit", "obere Grenze"},
	{"difference", "difference", "Unterschied"},
	{"current-here", "current here", "Strom hier"},
	{"current-twin", "current at its twin", "Strom am Zwilling"},
	{"pair-difference", "against its partner", "gegen den Partner"},
	{"mains", "mains", "Netzspannung"},
	{"tap", "mains tap", "Spannungswähler"},
	{"soaked", "left to warm for", "Warmlauf"},
	{"drift", "drift", "Drift"},
	{"ripple", "ripple", "Brummspannung"},
	{"dissipation", "dissipation", "Verlustleistung"},
	{"dissipation-percent", "of its maximum", "vom Höchstwert"},
	{"power", "power", "Leistung"},
	{"output-impedance", "output impedance", "Ausgangswiderstand"},
	{"damping", "damping factor", "Dämpfungsfaktor"},
	{"balance-dB", "balance", "Balance"},
	{"hum-dB", "hum, against the output", "Brumm, gegen den Ausgang"},
	{"parts", "parts", "Teile"},
	{"pairs", "pairs", "Paare"},
	{"outside", "outside", "außerhalb"},
	{"nominal", "nominal", "Nennwert"},
	{"percent", "apart by", "Abstand"},
	{"for", "for", "für"},
	{"a", "part", "Teil"},
	{"b", "with part", "mit Teil"},
};
/* Words that stand as values. */
static const struct named values[] = {
	{"heater", "heater", "Heizung"},
	{"bias", "bias", "Gittervorspannung"},
	{"rail", "rail", "Versorgungsspannung"},
	{"ripple", "ripple", "Brummspannung"},
	{"sense", "cathode current", "Kathodenstrom"},
	{"load", "load", "Last"},
	{"hum", "hum", "Brumm"},
	{"target", "to its target", "auf den Sollwert"},
	{"balance", "in balance with its twin", "gleich mit dem Zwilling"},
	{"least", "to the least", "auf den kleinsten Wert"},
	{"period (JAN-C-62)", "its period (JAN-C-62)", "seiner Zeit (JAN-C-62)"},
	{"0.01 C V, at least 3 uA", "0.01 C V, at least 3 µA", "0,01 C V, mindestens 3 µA"},
};
/* Roles of the meters, in pictures. */
static const struct named roles[] = {
	{"drop", "across the resistor", "am Widerstand"},
	{"part", "at the part", "am Teil"},
	{"grid", "at the grid", "am Gitter"},
	{"rail", "at the rail", "an der Versorgung"},
	{"probe", "where each step says", "wo der Schritt es sagt"},
	{"out", "at the load", "an der Last"},
	{"here", "where it is set", "wo eingestellt wird"},
	{"twin", "at its twin", "am Zwilling"},
	{"anode", "at the anode", "an der Anode"},
};

static const char *named(const struct report *r, const struct named *table, size_t n,
                         const char *name)
{
	for (size_t i = 0; i < n; i++)
		if (strcmp(table[i].name, name) == 0)
			return SAY(r, table[i].en, table[i].de);
	return NULL;
}
#define NAMED(r, table, name) named(r, table, sizeof table / sizeof *table, name)

const char *report_guide_word(const struct report *r, enum report_guide_words of, const char *name)
{
	const char *word = of == REPORT_GUIDE_KIND ? NAMED(r, kinds, name)
	    : of == REPORT_GUIDE_END               ? NAMED(r, ends, name)
	    : of == REPORT_GUIDE_MEMBER            ? NAMED(r, members, name)
	    : of == REPORT_GUIDE_ROLE              ? NAMED(r, roles, name)
	                                           : NAMED(r, values, name);
	return word ? word : name;
}

const char *report_guide_step(const struct report *r, const char *kind, const char *step)
{
	char both[120];
	snprintf(both, sizeof both, "%.50s/%.60s", kind, step);
	const char *word = NAMED(r, steps, both);
	word = word ? word : NAMED(r, steps, step);
	return word ? word : step;
}

/* SPDX-License-Identifier: MIT */
/* German, as it is spoken at the bench.  See speech_table.h. */
#include "client/speech_table.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

static const char *const small[] = {
	"null", "eins", "zwei", "drei", "vier", "fünf", "sechs", "sieben", "acht", "neun", "zehn",
	"elf", "zwölf", "dreizehn", "vierzehn", "fünfzehn", "sechzehn", "siebzehn", "achtzehn",
	"neunzehn"};
static const char *const tens[] = {"", "", "zwanzig", "dreißig", "vierzig", "fünfzig", "sechzig",
                                   "siebzig", "achtzig", "neunzig"};

static void add(char *out, const char *word)
{
	size_t n = strlen(out);
	snprintf(out + n, SPEECH_NUMBER - n, "%s", word);
}

/* Inside a word one is "ein", at its end "eins". */
static const char *inside(unsigned n)
{
	return n == 1 ? "ein" : small[n];
}

/* 1 to 999 as one word, put behind what stands there; `end` where nothing follows. */
static void hundreds(unsigned n, bool end, char *out)
{
	if (n >= 100) {
		add(out, inside(n / 100));
		add(out, "hundert");
		n %= 100;
	}
	if (n >= 20) {
		if (n % 10) {
			add(out, inside(n % 10));
			add(out, "und");
		}
		add(out, tens[n / 10]);
	} else if (n) {
		add(out, end ? small[n] : inside(n));
	}
}

static void number(unsigned n, char *out)
{
	out[0] = '\0';
	if (n >= 2000000) {
		hundreds(n / 1000000, true, out);
		add(out, " Millionen");
	} else if (n >= 1000000) {
		add(out, "eine Million");
	}
	if (n >= 1000000 && n % 1000000)
		add(out, " ");
	if (n / 1000 % 1000) {
		hundreds(n / 1000 % 1000, false, out);
		add(out, "tausend");
	}
	hundreds(n % 1000, true, out);
	if (n == 0)
		add(out, small[0]);
}

static const struct speech_pair prefixes[] = {
	{"p", "Piko"}, {"n", "Nano"}, {"u", "Mikro"}, {"m", "Milli"}, {"k", "Kilo"},
	{"M", "Mega"}, {"G", "Giga"}, {"T", "Tera"},  {NULL, NULL}};

/* Prefix and unit are one word: the unit's capital is taken only where it stands
 * alone. */
static const struct speech_unit units[] = {
	{"V", "Volt", "Volt", ""},
	{"A", "Ampere", "Ampere", ""},
	{"ohm", "Ohm", "Ohm", ""},
	{"F", "Farad", "Farad", ""},
	{"H", "Henry", "Henry", ""},
	{"Hz", "Hertz", "Hertz", ""},
	{"C", "Grad Celsius", "Grad Celsius", ""},
	{"%", "Prozent", "Prozent", ""},
	{"W", "Watt", "Watt", ""},
	{NULL, NULL, NULL, NULL}};

static const struct speech_pair states[] = {
	{"overload", "Überlauf"}, {"negative overload", "negativer Überlauf"}, {"OL", "Überlauf"},
	{"under", "unter dem Bereich"}, {"hold", "angehalten"}, {"stale", "kein Wert"},
	{"low-battery", "Batterie schwach"}, {"no value", "kein Wert"}, {NULL, NULL}};

static const struct speech_pair separators[] = {
	{"/", "Schrägstrich"}, {"-", "Strich"}, {".", "Punkt"}, {"_", "Unterstrich"}, {NULL, NULL}};

static const struct speech_pair quantities[] = {
	{"leakage", "Leckstrom"}, {"esr", "E S R"}, {"dissipation", "Verlustfaktor"},
	{"insulation", "Isolation"}, {"volts", "Spannung"}, {"lead offset", "Leitungsabgleich"},
	{"meter check", "Messgerätprüfung"}, {NULL, NULL}};

static const struct speech_pair kinds[] = {
	{"resistor", "Widerstand"}, {"carbon-composition", "Kohlemassewiderstand"},
	{"carbon-film", "Kohleschichtwiderstand"}, {"metal-film", "Metallschichtwiderstand"},
	{"wirewound", "Drahtwiderstand"}, {"pot", "Potentiometer"}, {"electrolytic", "Elko"},
	{"paper", "Papierkondensator"}, {"film", "Folienkondensator"},
	{"ceramic", "Keramikkondensator"}, {"mica", "Glimmerkondensator"},
	{"capacitor", "Kondensator"}, {"winding", "Wicklung"}, {"rectifier", "Gleichrichter"},
	{"valve", "Röhre"}, {"heater", "Heizfaden"}, {"switch", "Schalter"}, {"fuse", "Sicherung"},
	{"rail", "Versorgungsspannung"}, {"reference", "Referenzteil"}, {"other", ""},
	{NULL, NULL}};

/* What a guided run says at each step: guide.step.  Values stand on the screen. */
static const struct speech_pair guides[] = {
	{"leak.caution", "das sind die Vorsichtsregeln: weiter, wenn sie eingehalten sind"},
	{"leak.valve", "die Röhre hinter diesem Kondensator ziehen, nur diese eine; in Reihe geheizte gehen mit aus"},
	{"leak.clip", "Messgerät zwischen Gitter und Chassis anklemmen"},
	{"leak.zero", "Hochspannung aus: weiter übernimmt den Nullwert"},
	{"leak.power", "Hände weg. Hochspannung ein. Weiter, wenn sie steht"},
	{"leak.volts", "warten, bis die Anzeige steht: weiter übernimmt sie"},
	{"leak.off", "ausschalten und entladen, dann weiter"},
	{"reform.caution", "das sind die Vorsichtsregeln: weiter, wenn sie eingehalten sind"},
	{"reform.part", "aus der Schaltung nehmen, entladen, Widerstand in Reihe zum Pluspol"},
	{"reform.clip", "Messgeräte anklemmen, eins am Widerstand, eins am Elko: beide müssen null zeigen"},
	{"reform.supply", "abdecken, Hände weg, Netzteil bei kleinster Spannung einschalten, dann weiter"},
	{"reform.quarter", "ein Viertel: Netzteil auf $ stellen"},
	{"reform.half", "die Hälfte: Netzteil auf $ stellen"},
	{"reform.three-quarters", "drei Viertel: Netzteil auf $ stellen"},
	{"reform.full", "volle Spannung: Netzteil auf $ stellen"},
	{"reform.hold", "der Leckstrom ist unter der Grenze: Netzteil so lassen, das muss eine halbe Stunde halten"},
	{"reform.volts", "die Grenze ist gehalten: weiter übernimmt die Spannung"},
	{"reform.leakage", "weiter übernimmt den Leckstrom"},
	{"reform.off", "Netzteil herunterdrehen und aus, über einen Widerstand entladen, dann weiter"},
	{"reform.dead", "nicht berühren: weiter, wenn weniger als ein Volt ansteht"},
	{"reform.dead-again", "die Spannung kommt zurück: eine Minute warten, dann weiter"},
	{"rise.caution", "das sind die Vorsichtsregeln: weiter, wenn sie eingehalten sind"},
	{"rise.ready", "alle Anschlüsse wieder verlötet, alle neuen Teile eingebaut, die richtige Sicherung drin"},
	{"rise.load", "ein Lastwiderstand an jedem Ausgang, nichts an den Eingängen"},
	{"rise.bare", "Röhren und Gleichrichter heraus, Vorschaltlampe in Reihe, Stelltrafo auf null"},
	{"rise.transformer", "Hände weg, Stelltrafo langsam auf volle Netzspannung; Lampe hell: ausschalten"},
	{"rise.heaters", "Heizspannung; mit der Lampe noch kein Urteil"},
	{"rise.rectifier", "ausschalten, entladen; Gleichrichter einsetzen, sonst keine Röhre"},
	{"rise.raise", "Netz auf $, Versorgungsspannung beobachten; Lampe hell: ausschalten"},
	{"rise.bias", "die negative Gittervorspannung, bevor eine Endröhre steckt"},
	{"rise.valves", "ausschalten, entladen; Röhren einsetzen, die Lampe bleibt"},
	{"rise.glow", "Hände weg, einschalten: bleibt die Lampe hell oder glüht eine Anode, ausschalten"},
	{"rise.lamp", "ausschalten, entladen; Lampe heraus"},
	{"rise.on", "Hände weg, einschalten mit voller Netzspannung, warten, bis es warm ist"},
	{"rise.rails", "diese Versorgungsspannung"},
	{"rise.heated", "Heizspannung unter Last"},
	{"rise.ripple", "Brummspannung der Versorgung, Messgerät auf Wechselspannung"},
	{"rise.sense", "eine Hand: Spannung an diesem Widerstand"},
	{"rise.soak", "Warmlauf: in der Nähe bleiben"},
	{"rise.sense-after", "noch einmal: Spannung an diesem Widerstand"},
	{"rise.rails-after", "noch einmal: diese Versorgungsspannung"},
	{"rise.signal", "ein Kilohertz am Eingang, etwa ein Watt an der Last"},
	{"rise.response", "$, Eingang unverändert"},
	{"rise.second-load", "die andere Last, Eingang unverändert"},
	{"rise.hum", "Eingang kurzgeschlossen: Brummspannung am Ausgang"},
	{"rise.power", "aufdrehen, bis der Sinus gerade noch sauber ist: Leistung"},
	{"rise.off", "ausschalten, entladen, Spannungsfreiheit nachmessen"},
	{"tune.caution", "das sind die Vorsichtsregeln: weiter, wenn sie eingehalten sind"},
	{"tune.clip", "ausgeschaltet angeklemmt, jetzt eingeschaltet und warm"},
	{"tune.set", "nach Gehör einstellen: höherer Ton ist darüber, tieferer darunter"},
	{"tune.twin", "jetzt der Zwilling"},
	{"lot.caution", "das sind die Vorsichtsregeln: weiter, wenn sie eingehalten sind"},
	{"lot.touch", "das nächste Teil berühren"},
	{"lot.pairs", "die Paare: weiter übernimmt sie"},
	{NULL, NULL}};

static const struct speech_pair alarms[] = {
	{"live", "Achtung, unter Spannung: an diesem Gerät besteht Lebensgefahr. Hände weg"},
	{"mains", "Achtung, Netz: dieses Messgerät ist nicht getrennt. Hände weg"},
	{"held", "Achtung: die Ladeelkos sind noch geladen. Hände weg"},
	{"guide", "eine Grenze ist überschritten: ausschalten. Hände weg"}, {NULL, NULL}};

static const struct speech_pair verdicts[] = {
	{"within", "innerhalb"}, {"outside", "außerhalb"}, {"unsure", "unsicher"}, {NULL, NULL}};
static const struct speech_pair sides[] = {{"low", "niedrig"}, {"high", "hoch"}, {NULL, NULL}};
static const struct speech_pair negative_sides[] = {
	{"low", "stärker negativ"}, {"high", "schwächer negativ"}, {NULL, NULL}};

static const struct speech_pair deviations[] = {
	{"high", "zu hoch"}, {"low", "zu niedrig"}, {"more negative", "stärker negativ"},
	{"less negative", "schwächer negativ"}, {"off", "daneben, falsches Vorzeichen"}, {NULL, NULL}};

static const struct speech_reason reasons[] = {
	{"meter", "zu nah an der Grenze für dieses Messgerät"},
	{"circuit", "andere Wege in der Schaltung, ein Bein ablöten"},
	{"moving", "noch nicht zur Ruhe gekommen"},
	{"offset", "Abgleich der Leitungen fehlt"},
	{"other-value", "ein anderer Wert scheint eingebaut"},
	{"leakage", "zeigt zu viel wie ein undichtes Teil, Leckstrom messen"},
	{"open", "scheint unterbrochen"},
	{"limits-of-meter", "außerhalb der Einsatzgrenzen dieses Messgeräts"},
	{"called off", "abgebrochen, die nächste Berührung gilt wieder der Position"},
	{"settled on nothing", "nichts kam zur Ruhe, Referenzteil berühren und neu anfordern"},
	{"settled on no shorted leads", "nichts kam zur Ruhe, Spitzen zusammenhalten und neu anfordern"},
	{"settled on no open leads", "nichts kam zur Ruhe, Spitzen auseinanderhalten und neu anfordern"},
	{"lead offset lies", "zu viel für Leitungen, Spitzen reinigen und zusammenhalten"},
	{"with open leads", "zu viel für offene Leitungen, etwas wird noch berührt"},
	{"leads is taken on ohm", "Messgerät auf Ohm stellen"},
	{"leads is taken on farad", "Messgerät auf Farad stellen"},
	{"rises at constant volts", "aufgegeben, der Strom steigt"},
	{"without progress", "aufgegeben, Stunden ohne Fortschritt"},
	{"shorted, or the meters are changed", "aufgegeben, Kurzschluss, oder die Messgeräte sind vertauscht"},
	{"warms the can", "aufgegeben, die Leistung erwärmt den Becher"},
	{"wrong way round", "aufgegeben, falsch herum gepolt"},
	{"over the resistor are beyond", "aufgegeben, mehr Strom als das Messgerät zeigen kann"},
	{"carbon, drifted up", "Kohle, nach oben gedriftet"},
	{"track worn", "Bahn abgenutzt oder nach oben gedriftet"},
	{"drifted up", "nach oben gedriftet"},
	{"unusual for carbon", "für Kohle ungewöhnlich, neu messen"},
	{"low: unusual", "ungewöhnlich, neu messen"},
	{"shorted turns", "Windungsschluss"},
	{"bad joint", "schlechte Verbindung oder Korrosion"},
	{"track low", "Bahn zu niedrig"},
	{"dried out", "ausgetrocknet, Kapazität verloren"},
	{"leaky paper", "zeigt zu viel wie undichtes Papier, Leckstrom messen"},
	{"shorted or heavily leaky", "kurzgeschlossen oder stark undicht, Leckstrom messen"},
	{"measure leakage", "Leckstrom messen"},
	{"aged down", "Keramik, gealtert"},
	{"broken plate", "Belag oder Anschluss gebrochen"},
	{"capacitance lost", "Kapazität verloren"},
	{"something is charged", "etwas ist geladen, entladen und neu messen"},
	{"and with the leads swapped", "in beiden Richtungen zu hoch"},
	{"nothing against it", "wie sein Zwilling, nichts dagegen"},
	{"lift both", "anders als sein Zwilling, von beiden ein Bein ablöten"},
	{"loads this place", "das Messgerät belastet diese Stelle"},
	{"meter's bandwidth", "jenseits der Bandbreite des Messgeräts"},
	{"responds to the average", "kein Sinus, mit echtem Effektivwert messen"},
	{"crest factor", "Spitzen jenseits des Scheitelfaktors"},
	{"is another part at", "falsche Messfrequenz für einen Elko"},
	{"ESR is meant", "Messfrequenz zu niedrig für E S R"},
	{"does not see losses", "dieses Messgerät sieht keine Verluste"},
	{"insulation shows at", "Isolation mit Betriebsspannung messen"},
	{"tied to earth", "der Eingang des Messgeräts liegt an Erde"},
	{"leads swapped", "mit vertauschten Spitzen bestätigen"},
	{"lift one leg", "andere Wege in der Schaltung, ein Bein ablöten"},
	{"negative than the meter's range", "jenseits des Messbereichs"},
	{"beyond the meter's range", "jenseits des Messbereichs"},
	{"range ends before the limit", "der Messbereich endet vor der Grenze"},
	{"another value seems to be fitted", "ein anderer Wert scheint eingebaut"},
	{"far from nominal", "weit vom Nennwert, Aufdruck ansehen"},
	{"uncertainty is not known", "die Unsicherheit des Messgeräts ist unbekannt"},
	{"not settled", "nicht zur Ruhe gekommen, neu messen"},
	{"lead offset missing", "Abgleich der Leitungen fehlt"},
	{"measure it again", "neu messen"},
	{"reads open", "scheint unterbrochen"},
	{"more negative", ""},
	{"less negative", ""},
	{"came up only just now", "eben erst dran, erst berühren"},
	{"leads were open", "zu früh berührt, abheben und neu ansetzen"},
	{"has its entry", "hat schon seinen Eintrag, neu wählen"},
	{"no position is chosen", "keine Position gewählt"},
	{"does not fit this position", "was wartete, passt hier nicht"},
	{"nothing to take", "nichts zu übernehmen"},
	{"no job is open", "kein Auftrag offen"},
	{"unit is live", "das Gerät steht unter Spannung, kein Ohm und kein Farad"},
	{"wants farad", "Messgerät auf Farad stellen"},
	{"wants ohm", "Messgerät auf Ohm stellen"},
	{"wants volt-dc", "Messgerät auf Gleichspannung stellen"},
	{"wants volt-ac", "Messgerät auf Wechselspannung stellen"},
	{"wants amp-dc", "Messgerät auf Gleichstrom stellen"},
	{"wants amp-ac", "Messgerät auf Wechselstrom stellen"},
	{"wants diode", "Messgerät auf Diode stellen"},
	{"wants henry", "Messgerät auf Henry stellen"},
	{"wants hertz", "Messgerät auf Hertz stellen"},
	{"wants something else", "Messgerät umstellen"},
	{"log is full", "der Datenträger ist voll"},
	{"disk is full", "der Datenträger ist voll"},
	{"disk full", "der Datenträger ist voll"},
	{"cannot be written", "das Protokoll ist nicht beschreibbar"},
	{"could not be written", "das Protokoll ist nicht beschreibbar"},
	{"does not keep up", "der Datenträger ist zu langsam"},
	{"is suspect", "das Protokoll ist verdächtig, anhalten und prüfen"},
	{"disk of the log fails", "der Datenträger versagt, anhalten und prüfen"},
	{"another program", "ein fremdes Programm schrieb ins Protokoll, anhalten und prüfen"},
	{"read-only", "das Protokoll ist schreibgeschützt"},
	{"min-max", "das Messgerät zeigt Minimum und Maximum"},
	{"relative", "das Messgerät zeigt Relativwerte"},
	{"hold", "das Messgerät ist angehalten"},
	{NULL, NULL}};

const struct speech_table speech_table_de = {
	.name = "de",
	.digit = {"null", "eins", "zwei", "drei", "vier", "fünf", "sechs", "sieben", "acht", "neun"},
	.point = "Komma",
	.minus = "minus",
	.above = "über",
	.number = number,
	.one = "ein",
	.letter_a = "A",
	.prefixes = prefixes,
	.units = units,
	.states = states,
	.separators = separators,
	.quantities = quantities,
	.kinds = kinds,
	.guides = guides,
	.limit = "über $ ausschalten",
	.alarms = alarms,
	.verdicts = verdicts,
	.sides = sides,
	.negative_sides = negative_sides,
	.deviations = deviations,
	.times = "mal Nennwert",
	.on_nominal = "auf Nennwert",
	.reasons = reasons,
	.other_reason = "Grund am Bildschirm",
	.happening = {
		[HAPPENED_LOGGED] = "aufgezeichnet",
		[HAPPENED_OUTSIDE] = "aufgezeichnet, außerhalb",
		[HAPPENED_UNSURE] = "aufgezeichnet, unsicher",
		[HAPPENED_HELD] = "zurückgehalten, sieht aus wie ein anderes Teil",
		[HAPPENED_REFUSED] = "abgelehnt",
		[HAPPENED_MOVING] = "bewegt sich noch",
		[HAPPENED_DOUBT] = "im Zweifel, könnte offen sein",
		[HAPPENED_GONE] = "Messgerät weg",
		[HAPPENED_BACK] = "Messgerät wieder da",
		[HAPPENED_STALE] = "Messgerät stumm",
		[HAPPENED_NOT_LOGGED] = "nicht aufgezeichnet",
		[HAPPENED_UP] = "nächste Position ist dran",
		[HAPPENED_LIVE] = "Gerät unter Spannung",
		[HAPPENED_COLD] = "Gerät kalt",
		[HAPPENED_GUIDE] = "nächster Schritt",
		[HAPPENED_ALARM] = "Alarm",
		[HAPPENED_DISAGREE] = "zwei Messgeräte widersprechen sich",
	},
	.ear = {"Abgleich nach Gehör, unter dem Ziel", "Abgleich nach Gehör, in den Grenzen",
	        "Abgleich nach Gehör, über dem Ziel"},
	.held = "sieht aus wie $",
	.refused = "abgelehnt",
	.moving = "bewegt sich noch",
	.doubt = "könnten offene Spitzen sein",
	.disagree = "die Messgeräte widersprechen sich",
	.gone = "Messgerät $ ist weg",
	.back = "Messgerät $ ist wieder da",
	.stale = "Messgerät $ ist stumm",
	.daemon_gone = "der Dienst ist weg, nichts wird aufgezeichnet",
	.daemon_back = "der Dienst ist wieder da",
	.not_logged = "nicht aufgezeichnet",
	.live = "Achtung, unter Spannung: Lebensgefahr. Eine Hand, geprüfte Spitzen, nie allein",
	.cold = "Achtung: die Ladeelkos können geladen sein, vor dem Berühren messen. Kalt",
};

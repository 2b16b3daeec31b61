/* SPDX-License-Identifier: MIT */
/*
 * What the trade calls a value that is outside, in the report: the `why` of an entry where
 * its reason has no word of its own (see report.h; the texts are those of
 * protocol/trade/drift.c and verdict.c as they stand in the records).  What was to be done
 * at the bench (measure it again, lift one leg) is not said to the owner.
 */
#include "client/report.h"

#include <string.h>

static const struct {
	const char *why, *en, *de;
} whys[] = {
	{"carbon, drifted up", "carbon, drifted up", "Kohle, nach oben gedriftet"},
	{"drifted up", "drifted up", "nach oben gedriftet"},
	{"low: unusual for carbon", "low, unusual for carbon", "zu niedrig, für Kohle ungewöhnlich"},
	{"low: unusual", "low, unusual for this kind", "zu niedrig, für diese Art ungewöhnlich"},
	{"low: shorted turns", "shorted turns", "Windungsschluss"},
	{"high: a bad joint", "a bad joint or corrosion", "schlechte Verbindung oder Korrosion"},
	{"track low", "track low", "Bahn zu niedrig"},
	{"track worn", "track worn or drifted up", "Bahn abgenutzt oder nach oben gedriftet"},
	{"dried out", "dried out, capacitance lost", "ausgetrocknet, Kapazität verloren"},
	{"high for an electrolytic", "high for an electrolytic", "zu hoch für einen Elko"},
	{"low for paper", "low for paper", "zu niedrig für Papier"},
	{"low for film", "low for film", "zu niedrig für Folie"},
	{"high for film", "high for film", "zu hoch für Folie"},
	{"ceramic, aged down", "ceramic, aged down", "Keramik, gealtert"},
	{"high for ceramic", "high for ceramic", "zu hoch für Keramik"},
	{"low for mica", "low for mica: a broken plate or lead",
	 "zu niedrig für Glimmer: Belag oder Anschluss gebrochen"},
	{"high for mica", "high for mica", "zu hoch für Glimmer"},
	{"capacitance lost", "capacitance lost", "Kapazität verloren"},
	{"far from nominal", "far from nominal", "weit vom Nennwert"},
	{"high even in circuit", "high even in circuit", "selbst in der Schaltung zu hoch"},
	{"more negative than the meter's range", "beyond the meter's range",
	 "jenseits des Messbereichs"},
	{"beyond the meter's range", "beyond the meter's range", "jenseits des Messbereichs"},
};

const char *report_why(const struct report *r, const struct report_entry *e)
{
	char text[160];
	if (!json_text(json_member(e->judged.at, e->judged.len, "why"), text, sizeof text))
		return "";
	for (size_t i = 0; i < sizeof whys / sizeof whys[0]; i++)
		if (strncmp(text, whys[i].why, strlen(whys[i].why)) == 0)
			return SAY(r, whys[i].en, whys[i].de);
	return "";
}

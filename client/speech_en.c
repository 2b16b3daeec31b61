/* SPDX-License-Identifier: MIT */
/* English, as it is spoken at the bench.  See speech_table.h. */
#include "client/speech_table.h"

#include <stdio.h>
#include <string.h>

static const char *const small[] = {
	"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
	"eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen",
	"nineteen"};
static const char *const tens[] = {"", "", "twenty", "thirty", "forty", "fifty", "sixty",
                                   "seventy", "eighty", "ninety"};

static void add(char *out, const char *word)
{
	size_t n = strlen(out);
	snprintf(out + n, SPEECH_NUMBER - n, "%s%s", n ? " " : "", word);
}

/* 1 to 999; the words are put behind what stands there. */
static void hundreds(unsigned n, char *out)
{
	if (n >= 100) {
		add(out, small[n / 100]);
		add(out, "hundred");
		n %= 100;
	}
	if (n >= 20) {
		char word[32];
		snprintf(word, sizeof word, "%s%s%s", tens[n / 10], n % 10 ? "-" : "",
		         n % 10 ? small[n % 10] : "");
		add(out, word);
	} else if (n) {
		add(out, small[n]);
	}
}

static void number(unsigned n, char *out)
{
	out[0] = '\0';
	if (n >= 1000000) {
		hundreds(n / 1000000, out);
		add(out, "million");
	}
	if (n / 1000 % 1000) {
		hundreds(n / 1000 % 1000, out);
		add(out, "thousand");
	}
	hundreds(n % 1000, out);
	if (n == 0)
		add(out, small[0]);
}

static const struct speech_pair prefixes[] = {
	{"p", "pico"}, {"n", "nano"}, {"u", "micro"}, {"m", "milli"}, {"k", "kilo"},
	{"M", "mega"}, {"G", "giga"}, {"T", "tera"},  {NULL, NULL}};

/* "kilo-ohms" with its dash: run together, voices stress it beyond knowing. */
static const struct speech_unit units[] = {
	{"V", "volt", "volts", ""},
	{"A", "amp", "amps", ""},
	{"ohm", "ohm", "ohms", "-"},
	{"F", "farad", "farads", ""},
	{"H", "henry", "henries", ""},
	{"Hz", "hertz", "hertz", ""},
	{"C", "degree Celsius", "degrees Celsius", ""},
	{"%", "percent", "percent", ""},
	{"W", "watt", "watts", ""},
	{NULL, NULL, NULL, NULL}};

static const struct speech_pair states[] = {
	{"overload", "overload"}, {"negative overload", "negative overload"}, {"OL", "overload"},
	{"under", "below its range"}, {"hold", "on hold"}, {"stale", "no value"},
	{"low-battery", "battery low"}, {"no value", "no value"}, {NULL, NULL}};

static const struct speech_pair separators[] = {
	{"/", "slash"}, {"-", "dash"}, {".", "point"}, {"_", "underscore"}, {NULL, NULL}};

static const struct speech_pair quantities[] = {
	{"leakage", "leakage"}, {"esr", "E S R"}, {"dissipation", "dissipation"},
	{"insulation", "insulation"}, {"volts", "volts"}, {"lead offset", "lead offset"},
	{"meter check", "meter check"}, {NULL, NULL}};

static const struct speech_pair kinds[] = {
	{"resistor", "resistor"}, {"carbon-composition", "carbon composition"},
	{"carbon-film", "carbon film"}, {"metal-film", "metal film"}, {"wirewound", "wirewound"},
	{"pot", "pot"}, {"electrolytic", "electrolytic"}, {"paper", "paper"}, {"film", "film"},
	{"ceramic", "ceramic"}, {"mica", "mica"}, {"capacitor", "capacitor"},
	{"winding", "winding"}, {"rectifier", "rectifier"}, {"valve", "valve"},
	{"heater", "heater"}, {"switch", "switch"}, {"fuse", "fuse"}, {"rail", "rail"},
	{"reference", "reference part"}, {"other", ""}, {NULL, NULL}};

/* What a guided run says at each step: guide.step.  Values stand on the screen. */
static const struct speech_pair guides[] = {
	{"leak.caution", "these are the cautions: go on when they hold"},
	{"leak.valve", "take the valve out, only the one behind this capacitor; heaters in series go out with it"},
	{"leak.clip", "clip the meter from the grid to chassis"},
	{"leak.zero", "high tension off: go on takes the zero"},
	{"leak.power", "hands off. High tension on. Go on when it is up"},
	{"leak.volts", "wait until the volts rest: go on takes them"},
	{"leak.off", "switch off and discharge, then go on"},
	{"reform.caution", "these are the cautions: go on when they hold"},
	{"reform.part", "free it of its circuit, discharge it, resistor in series with its positive end"},
	{"reform.clip", "clip the meters on, one over the resistor, one at the part: both must show nothing"},
	{"reform.supply", "cover it, hands off, supply on at its lowest volts, then go on"},
	{"reform.quarter", "a quarter: set the supply to $"},
	{"reform.half", "half: set the supply to $"},
	{"reform.three-quarters", "three quarters: set the supply to $"},
	{"reform.full", "all of its volts: set the supply to $"},
	{"reform.hold", "the limit is met: leave the supply, it has to hold half an hour"},
	{"reform.volts", "it holds its limit: go on takes its volts"},
	{"reform.leakage", "go on takes its leakage"},
	{"reform.off", "supply down and off, discharge it through a resistor, then go on"},
	{"reform.dead", "do not touch: go on when it reads below one volt"},
	{"reform.dead-again", "the volts come back: wait a minute, then go on"},
	{"rise.caution", "these are the cautions: go on when they hold"},
	{"rise.ready", "every leg down, every new part in, the right fuse"},
	{"rise.load", "a load on every output, nothing at the inputs"},
	{"rise.bare", "valves and rectifier out, lamp in series, transformer at zero"},
	{"rise.transformer", "hands off, slowly up to full mains; lamp bright: switch off"},
	{"rise.heaters", "heater volts; no verdict with the lamp in"},
	{"rise.rectifier", "switch off, discharge; the rectifier in"},
	{"rise.raise", "mains to $, and watch the rail; lamp bright: switch off"},
	{"rise.bias", "the bias rail, before any output valve goes in"},
	{"rise.valves", "switch off, discharge; valves in, the lamp stays"},
	{"rise.glow", "hands off, on: lamp stays bright, or an anode glows: switch off"},
	{"rise.lamp", "switch off, discharge; the lamp out"},
	{"rise.on", "hands off, on at full mains, until it is warm"},
	{"rise.rails", "volts of this rail"},
	{"rise.heated", "heater volts, loaded"},
	{"rise.ripple", "ripple, volts ac"},
	{"rise.sense", "one hand: volts over this resistor"},
	{"rise.soak", "the soak: stay near"},
	{"rise.sense-after", "once more: volts over this resistor"},
	{"rise.rails-after", "once more: volts of this rail"},
	{"rise.signal", "one kilohertz at the input, about one watt in the load"},
	{"rise.response", "$, the input as it was"},
	{"rise.second-load", "the other load, the input as it was"},
	{"rise.hum", "input shorted: hum"},
	{"rise.power", "up to where it just stays clean: power"},
	{"rise.off", "switch off, discharge, measure dead"},
	{"tune.caution", "these are the cautions: go on when they hold"},
	{"tune.clip", "clipped on while it was off, now on and warm"},
	{"tune.set", "set it by ear: higher is above, lower is below"},
	{"tune.twin", "now its twin"},
	{"lot.caution", "these are the cautions: go on when they hold"},
	{"lot.touch", "touch the next part"},
	{"lot.pairs", "the pairs: go on takes them"},
	{NULL, NULL}};

static const struct speech_pair alarms[] = {
	{"live", "caution, live: there are volts that kill on this unit. Hands off"},
	{"mains", "caution, mains: this meter is not isolated. Hands off"},
	{"held", "caution: the reservoirs still hold volts. Hands off"},
	{"guide", "a limit is passed: switch off. Hands off"}, {NULL, NULL}};

static const struct speech_pair verdicts[] = {
	{"within", "within"}, {"outside", "outside"}, {"unsure", "unsure"}, {NULL, NULL}};
static const struct speech_pair sides[] = {{"low", "low"}, {"high", "high"}, {NULL, NULL}};
static const struct speech_pair negative_sides[] = {
	{"low", "more negative"}, {"high", "less negative"}, {NULL, NULL}};

static const struct speech_pair deviations[] = {
	{"high", "high"}, {"low", "low"}, {"more negative", "more negative"},
	{"less negative", "less negative"}, {"off", "off, of the wrong sign"}, {NULL, NULL}};

static const struct speech_reason reasons[] = {
	{"meter", "too near the limit for this meter"},
	{"circuit", "other paths in the circuit, lift one leg"},
	{"moving", "it had not settled"},
	{"offset", "lead offset missing"},
	{"other-value", "another value seems to be fitted"},
	{"leakage", "reads high as a leaky part does, measure leakage"},
	{"open", "reads open"},
	{"limits-of-meter", "outside this meter's limits of use"},
	{"called off", "called off, the next touch is for what is up"},
	{"settled on nothing", "nothing settled, touch the reference part and ask again"},
	{"settled on no shorted leads", "nothing settled, hold the tips together and ask again"},
	{"settled on no open leads", "nothing settled, hold the tips apart and ask again"},
	{"lead offset lies", "too much for leads, clean the tips and hold them together"},
	{"with open leads", "too much for open leads, something is still touched"},
	{"leads is taken on ohm", "turn the dial to ohms"},
	{"leads is taken on farad", "turn the dial to farads"},
	{"rises at constant volts", "given up, its current rises"},
	{"without progress", "given up, hours without progress"},
	{"shorted, or the meters are changed", "given up, it is shorted, or the meters are changed over"},
	{"warms the can", "given up, the power warms the can"},
	{"wrong way round", "given up, it is the wrong way round"},
	{"over the resistor are beyond", "given up, more current than the meter can show"},
	{"carbon, drifted up", "carbon, drifted up"},
	{"track worn", "track worn or drifted up"},
	{"drifted up", "drifted up"},
	{"unusual for carbon", "unusual for carbon, measure again"},
	{"low: unusual", "unusual, measure again"},
	{"shorted turns", "shorted turns"},
	{"bad joint", "a bad joint or corrosion"},
	{"track low", "track low"},
	{"dried out", "dried out, capacitance lost"},
	{"leaky paper", "reads high as leaky paper does, measure leakage"},
	{"shorted or heavily leaky", "shorted or heavily leaky, measure leakage"},
	{"measure leakage", "measure leakage"},
	{"aged down", "ceramic, aged down"},
	{"broken plate", "a broken plate or lead"},
	{"capacitance lost", "capacitance lost"},
	{"something is charged", "something is charged, discharge it and measure again"},
	{"and with the leads swapped", "high both ways round"},
	{"nothing against it", "as its twin, nothing against it"},
	{"lift both", "unlike its twin, lift one leg of both"},
	{"loads this place", "the meter loads this place"},
	{"meter's bandwidth", "beyond the meter's bandwidth"},
	{"responds to the average", "no sine wave, measure with true R M S"},
	{"crest factor", "peaks beyond the meter's crest factor"},
	{"is another part at", "wrong test frequency for an electrolytic"},
	{"ESR is meant", "test frequency too low for E S R"},
	{"does not see losses", "this meter does not see losses"},
	{"insulation shows at", "insulation wants working volts"},
	{"tied to earth", "the meter's input is tied to earth"},
	{"leads swapped", "confirm with the leads swapped"},
	{"lift one leg", "other paths in the circuit, lift one leg"},
	{"negative than the meter's range", "beyond the meter's range"},
	{"beyond the meter's range", "beyond the meter's range"},
	{"range ends before the limit", "the range ends before the limit"},
	{"another value seems to be fitted", "another value seems to be fitted"},
	{"far from nominal", "far from nominal, look at its marking"},
	{"uncertainty is not known", "the meter's uncertainty is not known"},
	{"not settled", "not settled, measure again"},
	{"lead offset missing", "lead offset missing"},
	{"measure it again", "measure again"},
	{"reads open", "reads open"},
	{"more negative", ""},
	{"less negative", ""},
	{"came up only just now", "it came up only just now, touch it first"},
	{"leads were open", "touched too early, lift and touch again"},
	{"has its entry", "it has its entry, choose it again"},
	{"no position is chosen", "no position is chosen"},
	{"does not fit this position", "what waited does not fit here"},
	{"nothing to take", "nothing to take"},
	{"no job is open", "no job is open"},
	{"unit is live", "the unit is live, no ohms and no farads"},
	{"wants farad", "turn the dial to farads"},
	{"wants ohm", "turn the dial to ohms"},
	{"wants volt-dc", "turn the dial to D C volts"},
	{"wants volt-ac", "turn the dial to A C volts"},
	{"wants amp-dc", "turn the dial to D C amps"},
	{"wants amp-ac", "turn the dial to A C amps"},
	{"wants diode", "turn the dial to diode"},
	{"wants henry", "turn the dial to henries"},
	{"wants hertz", "turn the dial to hertz"},
	{"wants something else", "turn the dial"},
	{"log is full", "the disk is full"},
	{"disk is full", "the disk is full"},
	{"disk full", "the disk is full"},
	{"cannot be written", "the log cannot be written"},
	{"could not be written", "the log cannot be written"},
	{"does not keep up", "the disk is too slow"},
	{"is suspect", "the log is suspect, stop and verify it"},
	{"disk of the log fails", "the disk fails, stop and verify the log"},
	{"another program", "another program wrote to the log, stop and verify it"},
	{"read-only", "the log is read-only"},
	{"min-max", "the meter shows min and max"},
	{"relative", "the meter shows relative values"},
	{"hold", "the meter is on hold"},
	{NULL, NULL}};

const struct speech_table speech_table_en = {
	.name = "en",
	.digit = {"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"},
	.point = "point",
	.minus = "minus",
	.above = "above",
	.number = number,
	.one = "one",
	.letter_a = "eigh", /* "A twelve" is read as the article */
	.prefixes = prefixes,
	.units = units,
	.states = states,
	.separators = separators,
	.quantities = quantities,
	.kinds = kinds,
	.guides = guides,
	.limit = "above $ switch off",
	.alarms = alarms,
	.verdicts = verdicts,
	.sides = sides,
	.negative_sides = negative_sides,
	.deviations = deviations,
	.times = "times nominal",
	.on_nominal = "on nominal",
	.reasons = reasons,
	.other_reason = NULL,
	.happening = {
		[HAPPENED_LOGGED] = "logged",
		[HAPPENED_OUTSIDE] = "logged, outside",
		[HAPPENED_UNSURE] = "logged, unsure",
		[HAPPENED_HELD] = "held, looks like another part",
		[HAPPENED_REFUSED] = "refused",
		[HAPPENED_MOVING] = "keeps moving",
		[HAPPENED_DOUBT] = "in doubt, could be floating",
		[HAPPENED_GONE] = "meter gone",
		[HAPPENED_BACK] = "meter back",
		[HAPPENED_STALE] = "meter silent",
		[HAPPENED_NOT_LOGGED] = "not logged",
		[HAPPENED_UP] = "next position is up",
		[HAPPENED_LIVE] = "unit live",
		[HAPPENED_COLD] = "unit cold",
		[HAPPENED_GUIDE] = "next step",
		[HAPPENED_ALARM] = "alarm",
		[HAPPENED_DISAGREE] = "two meters disagree",
	},
	.ear = {"tune, below its target", "tune, within its limits", "tune, above its target"},
	.held = "looks like $",
	.refused = "refused",
	.moving = "keeps moving",
	.doubt = "could be floating",
	.disagree = "meters disagree",
	.gone = "meter $ is gone",
	.back = "meter $ is back",
	.stale = "meter $ is silent",
	.daemon_gone = "the daemon is gone, nothing is logged",
	.daemon_back = "the daemon is back",
	.not_logged = "not logged",
	.live = "caution, live: these volts kill. One hand, rated probes, never alone",
	.cold = "caution: the reservoirs may be charged, measure them dead before touching. Cold",
};

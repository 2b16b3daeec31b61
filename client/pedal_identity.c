/* SPDX-License-Identifier: MIT */
/* See pedal_identity.h. */
#include "client/pedal_identity.h"

#include "protocol/file/utf8.h"
#include "protocol/trade/ascii.h"

#include <linux/input.h>
#include <stdio.h>
#include <string.h>

static const struct bus {
	const char *name;
	unsigned number;
} buses[] = {{"usb", BUS_USB}, {"bluetooth", BUS_BLUETOOTH}};

/* Text of a device, made harmless; cut at a character. */
static void clean(char *out, size_t size, const char *text, bool spaces)
{
	size_t n = 0, len = text ? strlen(text) : 0;
	for (size_t i = 0; i < len;) {
		unsigned char c = (unsigned char)text[i];
		size_t k = utf8_length(text + i, len - i);
		if (n + (k ? k : 1) >= size)
			break;
		if (!k || c < 0x20 || c == 0x7f)
			out[n++] = '?';
		else if (c == ' ' && !spaces)
			out[n++] = '_';
		else
			for (size_t b = 0; b < k; b++)
				out[n++] = text[i + b];
		i += k ? k : 1;
	}
	/* Outer spaces would not live through a file. */
	while (n && out[n - 1] == ' ')
		n--;
	out[n] = '\0';
	size_t lead = strspn(out, " ");
	memmove(out, out + lead, n - lead + 1);
}

void pedal_identity_make(struct pedal_identity *id, unsigned bus, unsigned vendor,
                         unsigned product, const char *uniq, const char *phys, const char *name)
{
	*id = (struct pedal_identity){bus & 0xffff, vendor & 0xffff, product & 0xffff, "", "", ""};
	clean(id->uniq, sizeof id->uniq, uniq, false);
	clean(id->phys, sizeof id->phys, phys, false);
	clean(id->name, sizeof id->name, name, true);
}

static const char *last_part(const char *phys)
{
	const char *slash = strrchr(phys, '/');
	return slash ? slash + 1 : phys;
}

void pedal_identity_text(const struct pedal_identity *id, char out[PEDAL_IDENTITY_TEXT])
{
	char bus[16];
	const char *phys = id->uniq[0] ? last_part(id->phys) : id->phys;
	snprintf(bus, sizeof bus, "%04x", id->bus);
	for (size_t i = 0; i < sizeof buses / sizeof buses[0]; i++)
		if (buses[i].number == id->bus)
			snprintf(bus, sizeof bus, "%s", buses[i].name);
	snprintf(out, PEDAL_IDENTITY_TEXT, "%s:%04x:%04x%s%s%s%s%s%s", bus, id->vendor, id->product,
	         id->uniq[0] ? " uniq=" : "", id->uniq, phys[0] ? " phys=" : "", phys,
	         id->name[0] ? " name=" : "", id->name);
}

/* ---- reading ---- */

/* Four hex figures at *at; moves behind them. */
static bool hex4(const char **at, unsigned *n)
{
	*n = 0;
	for (int i = 0; i < 4; i++) {
		char c = (*at)[i];
		unsigned digit = ascii_digit(c)         ? (unsigned)(c - '0')
		                 : c >= 'a' && c <= 'f' ? (unsigned)(c - 'a') + 10
		                 : c >= 'A' && c <= 'F' ? (unsigned)(c - 'A') + 10
		                                        : 16;
		if (digit == 16)
			return false;
		*n = *n * 16 + digit;
	}
	*at += 4;
	return true;
}

static bool colon(const char **at)
{
	bool good = **at == ':';
	*at += good;
	return good;
}

static bool bus_parse(const char **at, unsigned *bus)
{
	for (size_t i = 0; i < sizeof buses / sizeof buses[0]; i++) {
		size_t n = strlen(buses[i].name);
		if (strncmp(*at, buses[i].name, n) == 0 && (*at)[n] == ':') {
			*at += n;
			*bus = buses[i].number;
			return true;
		}
	}
	return hex4(at, bus);
}

/* " WORD=value" with the value up to a space, or up to the end; left alone where the text
 * goes on otherwise.  False where the value is empty or too long. */
static bool part_parse(const char **at, const char *word, char *out, size_t size, bool to_end)
{
	size_t blank = strspn(*at, " "), n = strlen(word);
	const char *value = *at + blank + n;
	if (!blank || strncmp(*at + blank, word, n) != 0)
		return true;
	size_t len = to_end ? strlen(value) : strcspn(value, " ");
	*at = value;
	if (!len || len >= size)
		return false;
	memcpy(out, value, len);
	out[len] = '\0';
	*at = value + len;
	return true;
}

bool pedal_identity_parse(const char *text, struct pedal_identity *id, struct fault *why)
{
	struct pedal_identity got = {0};
	const char *at = text;
	bool good = bus_parse(&at, &got.bus) && colon(&at) && hex4(&at, &got.vendor) &&
	            colon(&at) && hex4(&at, &got.product) &&
	            part_parse(&at, "uniq=", got.uniq, sizeof got.uniq, false) &&
	            part_parse(&at, "phys=", got.phys, sizeof got.phys, false) &&
	            part_parse(&at, "name=", got.name, sizeof got.name, true) && !at[strspn(at, " ")];
	if (good) {
		*id = got;
		return true;
	}
	fault_set(why, "\"%.80s\" is no foot switch: expected bus:vendor:product, uniq=, phys= and "
	          "name=; `tally pedal choose` writes this line", text);
	why->column = (int)(at - text) + 1;
	return false;
}

/* ---- comparing ---- */

static bool as_wanted(const char *wanted, const char *found)
{
	return !wanted[0] || strcmp(wanted, found) == 0;
}

bool pedal_identity_like(const struct pedal_identity *wanted, const struct pedal_identity *found)
{
	return wanted->bus == found->bus && wanted->vendor == found->vendor &&
	       wanted->product == found->product && as_wanted(wanted->name, found->name);
}

bool pedal_identity_fits(const struct pedal_identity *wanted, const struct pedal_identity *found)
{
	return pedal_identity_like(wanted, found) && as_wanted(wanted->uniq, found->uniq) &&
	       (wanted->uniq[0] ? as_wanted(last_part(wanted->phys), last_part(found->phys))
	                        : as_wanted(wanted->phys, found->phys));
}

void pedal_identity_rule(const struct pedal_identity *id, char *out, size_t size)
{
	const char *attribute = id->uniq[0] ? "uniq" : "phys", *is = id->uniq[0] ? id->uniq : id->phys;
	/* A pattern's characters, or a quote, in what the device says: then vendor and product
	 * must do. */
	bool exact = is[0] && !strpbrk(is, "\"*?[]|\\_");
	snprintf(out, size,
	         "SUBSYSTEM==\"input\", KERNEL==\"event*\", ATTRS{id/vendor}==\"%04x\", "
	         "ATTRS{id/product}==\"%04x\"%s%s%s%s%s, TAG+=\"uaccess\"",
	         id->vendor, id->product, exact ? ", ATTRS{" : "", exact ? attribute : "",
	         exact ? "}==\"" : "", exact ? is : "", exact ? "\"" : "");
}

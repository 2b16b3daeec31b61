/* SPDX-License-Identifier: MIT */
/*
 * Which foot switch: what makes it this one, as a line of the settings.
 *
 *     usb:1209:0002 uniq=A1 phys=input0 name=Foot Switch
 *     usb:1209:0002 phys=usb-0000:00:14.0-2/input0 name=Foot Switch
 *
 * The bus (usb, bluetooth, or the kernel's number in four hex figures), vendor and product
 * in four hex figures, and as much as is known of: the serial number (uniq), the place on
 * the bus (phys), the name.  With a serial number the place may change: only the last part
 * of phys counts, which tells the parts of one device apart.  Without one the place is all
 * that tells two switches of a kind apart.  Never an event number: they are dealt anew at
 * each plugging.
 *
 * Pure.  What a device says of itself comes from outside: control characters and bytes that
 * are no UTF-8 become `?`, spaces in uniq and phys `_`, and what is too long is cut, here and
 * in what is compared.
 */
#ifndef TALLY_CLIENT_PEDAL_IDENTITY_H
#define TALLY_CLIENT_PEDAL_IDENTITY_H

#include "protocol/trade/fault.h"

#include <stdbool.h>

struct pedal_identity {
	unsigned bus, vendor, product; /* 16 bits each */
	char uniq[80], phys[112], name[144]; /* "" where there is none */
};

#define PEDAL_IDENTITY_TEXT 400

/* From what the device says; NULL counts as "". */
void pedal_identity_make(struct pedal_identity *id, unsigned bus, unsigned vendor,
                         unsigned product, const char *uniq, const char *phys, const char *name);
/* The line for the settings. */
void pedal_identity_text(const struct pedal_identity *id, char out[PEDAL_IDENTITY_TEXT]);
/* A line of the settings; what is left out there is not compared.  False with the fault. */
bool pedal_identity_parse(const char *text, struct pedal_identity *id, struct fault *why);
/* Is what was found (pedal_identity_make) the one that is wanted (.._parse)? */
bool pedal_identity_fits(const struct pedal_identity *wanted, const struct pedal_identity *found);
/* The same kind at another place: bus, vendor, product and name are as wanted. */
bool pedal_identity_like(const struct pedal_identity *wanted, const struct pedal_identity *found);

/* The udev rule that gives the person at the screen this one device and no other. */
void pedal_identity_rule(const struct pedal_identity *id, char *out, size_t size);

#endif

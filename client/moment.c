/* SPDX-License-Identifier: MIT */
/* See moment.h. */
#include "client/moment.h"

#include "client/chart.h"
#include "protocol/trade/ascii.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool digits(const char *p, int n, int *out)
{
	*out = 0;
	for (int i = 0; i < n; i++) {
		if (p[i] < '0' || p[i] > '9')
			return false;
		*out = *out * 10 + (p[i] - '0');
	}
	return true;
}

/* A day and a time of day as if they were UTC; false where no calendar has them. */
static bool whole(int year, int month, int day, int hour, int minute, int second, int64_t *us)
{
	char text[40];
	int n = snprintf(text, sizeof text, "%04d-%02d-%02dT%02d:%02d:%02d.000000Z", year, month, day, hour,
	                 minute, second);
	return time_parse(text, (size_t)n, us);
}

/* "-10m" */
static bool read_before(const char *text, int64_t about, int64_t *us)
{
	static const struct {
		char letter;
		int64_t seconds;
	} units[] = {{'s', 1}, {'m', 60}, {'h', 3600}, {'d', 86400}};
	char *end;
	if (text[0] != '-' || text[1] < '0' || text[1] > '9')
		return false;
	long n = strtol(text + 1, &end, 10);
	for (size_t i = 0; i < sizeof units / sizeof *units; i++)
		if (end[0] == units[i].letter && !end[1] && n < 1000000) {
			*us = about - n * units[i].seconds * 1000000;
			return true;
		}
	return false;
}

/* Behind the seconds: a fraction, then Z, an offset, or nothing (the person's clock). */
static bool read_rest(const char *p, int64_t *fraction, bool *zoned, int64_t *offset)
{
	int hour, minute;
	*fraction = *offset = 0;
	*zoned = false;
	if (*p == '.') {
		int64_t weight = 100000;
		if (p[1] < '0' || p[1] > '9')
			return false;
		for (p++; ascii_digit(*p); p++, weight /= 10)
			*fraction += weight * (*p - '0');
	}
	if (!*p)
		return true;
	*zoned = true;
	if ((p[0] == 'Z' || p[0] == 'z') && !p[1])
		return true;
	if ((p[0] != '+' && p[0] != '-') || strlen(p) != 6 || p[3] != ':' || !digits(p + 1, 2, &hour) ||
	    !digits(p + 4, 2, &minute) || hour > 14 || minute > 59)
		return false;
	*offset = (hour * 60 + minute) * INT64_C(60000000) * (p[0] == '+' ? 1 : -1);
	return true;
}

static bool read_clock(const char *p, int64_t about, const struct style *style, int64_t *us)
{
	int year, month, day, hour = 0, minute = 0, second = 0;
	int64_t fraction = 0, offset = 0, there;
	bool zoned = false;
	char today[40];
	struct text text;
	text_begin(&text, today, sizeof today);
	text_time(&text, about + chart_zone(style, about));
	const char *date = today + 1;
	bool dated = strlen(p) >= 10 && p[4] == '-' && p[7] == '-';
	if (dated)
		date = p;
	if (!digits(date, 4, &year) || !digits(date + 5, 2, &month) || !digits(date + 8, 2, &day))
		return false;
	if (dated) {
		p += 10;
		if (*p && *p != ' ' && *p != 'T' && *p != 't')
			return false;
		p += *p != '\0';
	}
	if (*p) {
		if (strlen(p) < 5 || p[2] != ':' || !digits(p, 2, &hour) || !digits(p + 3, 2, &minute))
			return false;
		p += 5;
		if (*p == ':') {
			if (strlen(p) < 3 || !digits(p + 1, 2, &second))
				return false;
			p += 3;
		}
		if (!read_rest(p, &fraction, &zoned, &offset))
			return false;
	} else if (!dated) {
		return false;
	}
	if (!whole(year, month, day, hour, minute, second, &there))
		return false;
	there += fraction - offset;
	/* The clock's offset may be another one there than now. */
	if (!zoned) {
		int64_t zone = chart_zone(style, there - chart_zone(style, there));
		there -= zone;
	}
	*us = there;
	return true;
}

bool moment_parse(const char *text, int64_t about, const struct style *style, int64_t *us,
                  struct fault *why)
{
	if (read_before(text, about, us) || read_clock(text, about, style, us))
		return true;
	fault_set(why, "\"%.60s\" is no time: expected 10:00, 10:00:05, 2026-11-25, 2026-11-25 10:00, "
	          "2026-11-25T10:00:00Z, or -10m before the end", text);
	return false;
}

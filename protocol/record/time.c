/* SPDX-License-Identifier: MIT */
/*
 * The times of records, 2026-11-25T10:00:00.123456Z: UTC in microseconds since
 * 1970, in the Gregorian calendar throughout, without leap seconds.  See text.h.
 */
#include "protocol/record/text.h"

#include "protocol/trade/ascii.h"

/* The Gregorian calendar in whole days since 1970-01-01, counted in years that
 * begin in March, so that the leap day is the last; 719468 days lie between
 * 0000-03-01 and 1970-01-01. */
static void date_of_day(int64_t day, int *year, int *month, int *mday)
{
	int64_t z = day + 719468;
	int64_t era = (z >= 0 ? z : z - 146096) / 146097; /* 400 years */
	int64_t doe = z - era * 146097;
	int64_t yoe = (doe - doe / 1460 + doe / 36524 - doe / 146096) / 365;
	int64_t doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
	int64_t shifted = (5 * doy + 2) / 153; /* 0 is March */
	*mday = (int)(doy - (153 * shifted + 2) / 5 + 1);
	*month = (int)(shifted < 10 ? shifted + 3 : shifted - 9);
	*year = (int)(yoe + era * 400 + (*month <= 2));
}

static void put_digits(char *at, int64_t n, int digits)
{
	while (digits--) {
		at[digits] = (char)('0' + n % 10);
		n /= 10;
	}
}

#define DAY_US INT64_C(86400000000)

void text_time(struct text *t, int64_t us)
{
	int64_t day = us / DAY_US - (us % DAY_US < 0), rest = us - day * DAY_US;
	/* 0001-01-01 and 9999-12-31; also keeps the int below from overflowing. */
	if (day < -719162 || day > 2932896) {
		t->failed = true;
		return;
	}
	int year, month, mday;
	date_of_day(day, &year, &month, &mday);
	char out[] = "\"0000-00-00T00:00:00.000000Z\"";
	put_digits(out + 1, year, 4);
	put_digits(out + 6, month, 2);
	put_digits(out + 9, mday, 2);
	put_digits(out + 12, rest / 3600000000, 2);
	put_digits(out + 15, rest / 60000000 % 60, 2);
	put_digits(out + 18, rest / 1000000 % 60, 2);
	put_digits(out + 21, rest % 1000000, 6);
	text_add(t, out, sizeof out - 1);
}

static bool fixed_int(const char *text, int digits, int *out)
{
	*out = 0;
	for (int i = 0; i < digits; i++) {
		if (!ascii_digit(text[i]))
			return false;
		*out = *out * 10 + (text[i] - '0');
	}
	return true;
}

bool time_parse(const char *text, size_t len, int64_t *us)
{
	static const char form[] = "0000-00-00T00:00:00.000000Z";
	static const int month_days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
	if (len != sizeof form - 1)
		return false;
	for (size_t i = 0; i < len; i++)
		if (form[i] != '0' && text[i] != form[i])
			return false;
	int year, month, day, hour, minute, second, fraction;
	if (!fixed_int(text, 4, &year) || !fixed_int(text + 5, 2, &month) ||
	    !fixed_int(text + 8, 2, &day) || !fixed_int(text + 11, 2, &hour) ||
	    !fixed_int(text + 14, 2, &minute) || !fixed_int(text + 17, 2, &second) ||
	    !fixed_int(text + 20, 6, &fraction))
		return false;
	bool leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
	if (year < 1 || month < 1 || month > 12 || day < 1 ||
	    day > month_days[month - 1] + (leap && month == 2) || hour > 23 || minute > 59 ||
	    second > 59)
		return false;
	/* Days before 1 March of this shifted year, since 0000-03-01: see text_time. */
	int64_t y = year - (month <= 2), shifted = month > 2 ? month - 3 : month + 9;
	int64_t days = y * 365 + y / 4 - y / 100 + y / 400 + (153 * shifted + 2) / 5 + day - 1 - 719468;
	*us = ((days * 24 + hour) * 60 + minute) * INT64_C(60000000) + second * INT64_C(1000000) +
	      fraction;
	return true;
}

bool json_time(struct slice s, int64_t *us)
{
	return s.at && s.len > 2 && s.at[0] == '"' && time_parse(s.at + 1, s.len - 2, us);
}

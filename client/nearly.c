/* SPDX-License-Identifier: MIT */
/* Slips of the hand: see nearly.h. */
#include "client/nearly.h"

#include <string.h>
#include <strings.h>

int nearly(const char *a, const char *b)
{
	int row[3][24];
	size_t n = strlen(a), m = strlen(b);
	if (n >= 23 || m >= 23)
		return NEARLY_FAR;
	for (size_t i = 0; i <= n; i++)
		for (size_t j = 0; j <= m; j++) {
			int *here = &row[i % 3][j];
			if (i == 0 || j == 0) {
				*here = (int)(i + j);
				continue;
			}
			int cost = row[(i - 1) % 3][j - 1] + (a[i - 1] != b[j - 1]);
			int drop = row[(i - 1) % 3][j] + 1, add = row[i % 3][j - 1] + 1;
			*here = cost < drop ? cost : drop;
			*here = *here < add ? *here : add;
			if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] &&
			    row[(i - 2) % 3][j - 2] + 1 < *here)
				*here = row[(i - 2) % 3][j - 2] + 1;
		}
	return row[n % 3][m] < NEARLY_FAR ? row[n % 3][m] : NEARLY_FAR;
}

bool nearly_same(const char *typed, const char *meant)
{
	return nearly(typed, meant) <= (strlen(typed) > 3 ? 2 : 1);
}

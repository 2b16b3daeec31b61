/* SPDX-License-Identifier: MIT */
/* See query_params.h. */
#include "daemon/query_params.h"

#include <stdio.h>
#include <string.h>

static void unknown(const char *method, const char *key, const struct param *list, size_t n,
                    struct fault *why)
{
	char known[200] = "";
	size_t len = 0;
	for (size_t i = 0; i < n && len < sizeof known; i++)
		len += (size_t)snprintf(known + len, sizeof known - len, "%s%s", i ? ", " : "",
		                        list[i].name);
	fault_set(why, "%s: unknown parameter \"%.60s\"; it takes %s", method, key,
	          n ? known : "none");
}

static bool names_only(json_t *array)
{
	size_t i;
	json_t *element;
	json_array_foreach(array, i, element)
		if (!json_is_string(element))
			return false;
	return true;
}

static bool read_one(const char *method, const struct param *p, json_t *value, struct fault *why)
{
	const char *expected = NULL;
	switch (p->type) {
	case PARAM_TEXT:
		if (json_is_string(value))
			*(const char **)p->out = json_string_value(value);
		else
			expected = "a string";
		break;
	case PARAM_WHOLE:
		if (json_is_integer(value) && json_integer_value(value) >= 0)
			*(int64_t *)p->out = json_integer_value(value);
		else
			expected = "a whole number, 0 or above";
		break;
	case PARAM_FLAG:
		if (json_is_boolean(value))
			*(bool *)p->out = json_is_true(value);
		else
			expected = "true or false";
		break;
	case PARAM_NAMES:
		if (json_is_array(value) && names_only(value))
			*(json_t **)p->out = value;
		else
			expected = "a list of names";
		break;
	}
	if (expected)
		fault_set(why, "%s: parameter \"%s\" must be %s", method, p->name, expected);
	return !expected;
}

bool params_read(const char *method, json_t *params, const struct param *list, size_t n,
                 struct fault *why)
{
	const char *key;
	json_t *value;
	json_object_foreach(params, key, value) {
		size_t i = 0;
		while (i < n && strcmp(list[i].name, key))
			i++;
		if (i == n) {
			unknown(method, key, list, n, why);
			return false;
		}
	}
	for (size_t i = 0; i < n; i++) {
		value = json_object_get(params, list[i].name);
		if (!value || json_is_null(value)) {
			if (!list[i].compulsory)
				continue;
			fault_set(why, "%s: parameter \"%s\" is missing", method, list[i].name);
			return false;
		}
		if (!read_one(method, &list[i], value, why))
			return false;
	}
	return true;
}

#!/bin/sh
# SPDX-License-Identifier: MIT
#
# Install the Debian packages that are missing, or name them.
#
#     tests/deps.sh PACKAGE...
#
# Quiet and quick where nothing is missing (no network is asked).  Without apt-get
# (another distribution) it names what is needed and stops with status 1.

missing=
if command -v dpkg-query >/dev/null 2>&1; then
	for package in "$@"; do
		status=$(dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null)
		[ "$status" = installed ] || missing="$missing $package"
	done
else
	missing=" $*"
fi
[ -n "$missing" ] || exit 0

if ! command -v apt-get >/dev/null 2>&1 || ! command -v dpkg-query >/dev/null 2>&1; then
	# Perhaps everything is there under other names: the compiler will say.
	if command -v pkg-config >/dev/null 2>&1 &&
	   pkg-config --exists libuv libserialport sqlite3 jansson libcrypto cmocka gsl; then
		exit 0
	fi
	echo "This is no Debian: install what these packages hold there, then run make again:" >&2
	echo " $missing" >&2
	exit 1
fi

if [ "$(id -u)" -eq 0 ]; then
	root=
elif command -v sudo >/dev/null 2>&1; then
	root=sudo
else
	echo "These packages are missing, and neither root nor sudo is at hand:" >&2
	echo "  apt-get install$missing" >&2
	exit 1
fi

echo "installing$missing"
if ! { $root apt-get -qq update && $root env DEBIAN_FRONTEND=noninteractive \
       apt-get -qq -y --no-install-recommends install $missing >/dev/null; }; then
	echo "apt-get could not install$missing: look above, then run make again" >&2
	exit 1
fi

# SPDX-License-Identifier: MIT
# What both checks of a container share; to be read by them (.).

passed=0 failed=0
says() { # what must hold, status
	if [ "$2" -eq 0 ]; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "FAILED: $1"; fi
}
until_true() { # seconds, command...
	left=$(($1 * 10))
	shift
	until "$@" >/dev/null 2>&1; do
		left=$((left - 1))
		[ $left -gt 0 ] || return 1
		sleep 0.1
	done
}
configuration() { # one meter, known by what its adapter is
	cat <<'INI'
[bench]
name   = container
arm seconds = 0.7
[meter red]
port     = usb:f0f0:0002:R22
dialect  = ascii-unit
accuracy ohm = 0.8% + 3
INI
}
# Of the client, whose command is in $tally.
reads() { $tally --json meters | grep -q '"function":"ohm"'; }
entry() { $tally --json entries | grep -q "\"position\":\"$1\".*\"verdict\":\"within\""; }

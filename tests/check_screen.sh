#!/bin/sh
# SPDX-License-Identifier: MIT
#
# `tally bench` as a person has it: the real client in a terminal (tmux), the real daemon,
# the demo's meters and hands; keys go in, and what stands on the screen is read back.
# Then --plain.  Under 20 s; without tmux it is skipped, with a note.

build=${TALLY_BUILD:-build}
command -v tmux >/dev/null 2>&1 || { echo "note: no tmux: the screen was not tried"; exit 0; }
place=$(mktemp -d) || exit 2
socket=$place/tally.sock
tally="$build/tally --socket $socket"
mux="tmux -S $place/tmux -f /dev/null"
meters=
daemon=
LC_ALL=C.UTF-8
PS1='$ '
export LC_ALL PS1
# The person's settings: no sound here, and none waited for.
TALLY_SETTINGS=$place/tally.ini
printf '[sound]\nmute = yes\n[speech]\nuse = none\n' >"$TALLY_SETTINGS"
export TALLY_SETTINGS
unset TMUX NO_COLOR TALLY_SOCKET

tidy() {
	$mux kill-server 2>/dev/null
	for pid in $daemon $meters; do
		kill "$pid" 2>/dev/null && wait "$pid" 2>/dev/null
	done
	rm -rf "$place"
}
trap tidy EXIT
trap 'exit 130' INT TERM HUP

picture() { $mux capture-pane -p; }
fail() {
	echo "FAILED: $1"
	picture
	tail -n 3 "$place/tallyd.txt"
	exit 1
}
# The screen shows this within 6 s; sees PATTERN WHAT
sees() {
	n=0
	until picture | grep -q -e "$1"; do
		n=$((n + 1))
		[ $n -lt 60 ] || fail "$2: \"$1\" does not come"
		sleep 0.1
	done
}
keys() { $mux send-keys "$@"; }

cat >"$place/scene" <<'SCENE'
meter bench asked 120000
meter red   talks 6000  5
meter blue  talks 20000 4 tight
dial bench ohm
dial red   farad
dial blue  farad
up R1
touch bench 1.062M
hold logged
lift
up R2
touch bench 1.541k
hold logged
lift
up R3
touch bench 131.2k
hold logged
lift
SCENE
sed "s|build/demo/|$place/|" demo/bench.conf >"$place/bench.conf"
mkdir "$place/lines"
start_daemon() {
	TALLY_BUILD=$build demo/adapters \
		"ttyDEMO0=$place/lines/bench,f0f0:0001:TN417" \
		"ttyDEMO1=$place/lines/red,f0f0:0002:R22" \
		"ttyDEMO2=$place/lines/blue,f0f0:0003:B31" \
		-- "$build/tallyd" --config "$place/bench.conf" 2>>"$place/tallyd.txt" &
	daemon=$!
	n=0
	until $tally status >/dev/null 2>&1 || [ $? -eq 1 ]; do # 1: a meter is not there yet
		n=$((n + 1))
		[ $n -lt 50 ] || fail "no daemon"
		sleep 0.1
	done
}

# No daemon: status 3 and a sentence, and the terminal untouched.
$tally bench >"$place/out" 2>&1
[ $? -eq 3 ] && grep -q "no daemon" "$place/out" || { cat "$place/out"; exit 1; }

start_daemon
{ $tally job start lantern-monitor && $tally sheet load demo/amplifier.csv; } >/dev/null || exit 1
$mux new-session -d -x 100 -y 30 /bin/sh || { echo "note: tmux does not start here"; exit 0; }
keys "stty -g >$place/before; $tally bench; echo ended \$?; stty -g >$place/after" Enter
sees "lantern-monitor" "the job"
sees "CHOOSE\|no position is up" "nothing is up yet"
sees "blue gone" "the meters are not there yet"

"$build/demo/meters" --lines "$place/lines" --socket "$socket" --tally "$tally" --stay \
	"$place/scene" >"$place/meters.txt" 2>&1 &
meters=$!
# Settings by key, the position by its name; the hands touch when they hear it.
keys r
sees "reach lifted" "r"
keys R1 Tab Enter # R1, R101 ... : Tab completes no further
sees "nominal 1 M" "the position by its name"
keys w
sees "walk on" "w"
sees "R1 .*1\.062[0-9]* M.* + within" "the first entry"
sees "R2 .*1.54.* + within" "the walk goes on"
# What is typed keeps nobody from working: R3 is touched and logged meanwhile.
keys t
sees "^note at R[23]:" "a line to type"
sees "Esc leaves" "how it ends"
keys -l 'smells of 漢字 and café'
sees "R3 .*131.* X outside .*drifted up" "verdict in word and mark"
sees "漢字 and café" "what is typed stands"
keys Enter
sees "noted at R[23]: smells of 漢字 and café" "the note, where typing began"
sees "walk on  3 of 24" "what is finished"

# A typed entry: completed, refused in its line, put right, and marked for ever.
keys g R7 Tab
sees "^position: R7" "the position"
keys Escape e C-u
keys -l 'R107 9,800'
keys Enter
sees "may be a decimal comma" "what is wrong, in its place"
keys BSpace BSpace BSpace BSpace
keys -l '.8k from old-bridge'
sees "Enter logs, as typed: R107 9.8k from old-bridge" "what is understood"
keys Enter
sees "R107 .*9.8 .* ? unsure *typed from old-bridge" "a typed entry"
keys e
sees "from old-bridge" "the instrument is known the next time"
keys Escape p
sees "moves #" "which entry would move"
keys -l R7
keys Enter
sees "moved: an entry of R107 belongs to R7" "move"
keys u
sees "moved: an entry of R7 belongs to R107" "moved back"
sees "R107 .*9.8 " "in its place again"
keys x
keys -l 'read off the wrong scale'
keys Enter
sees "struck: R107" "struck with a reason"
keys Escape d
sees "by kind" "the order of the walk"
keys d
sees "by channel" "the order of the walk"
keys d
sees "walk on  3 of 24  next" "back to that of the sheet"
keys a
sees "R3 .*131.* X outside .*R103" "twins beside each other"
keys Escape +
sees "the tones have 80 %" "louder"
keys f
sees "^offset: short" "what is likely"
keys Enter
sees "bench waits: hold the tips together" "the lead offset"
keys m
sees "called off" "and not, after all"
# Ctrl-C leaves the line, not the bench.
keys t abc
sees "^note at .*abc" "a line"
keys C-c
sees "all keys" "Ctrl-C"

keys '?'
sees "any key ends it" "the list of keys"
sees "log it as it stands" "the list of keys"
keys Escape
sees "walk on  3 of 24" "the list goes"
keys t "smells burnt" Enter
sees "noted at .*smells burnt" "a note"
keys u
sees "struck: R3" "undo"
sees "131.* struck" "the entry is marked"
keys l
sees "LIVE VALVE EQUIPMENT KILLS" "the cautions first"
keys x
$tally status | grep -q "cold" || fail "another key made it live"
keys l
sees "y: yes, the unit is LIVE" "the cautions again"
keys y
sees "the unit is LIVE" "it is live"
sees "Local codes" "the cautions after"
keys Escape k y
sees "then take volts dc of" "the reservoirs are to be measured dead first"
$tally status | grep -q "LIVE still" || fail "it is cold without a measurement"
said=$($tally job cold --because "its volts are made up") || fail "$said"
sees "the unit is cold" "it is cold"

# Every size, down to one that is too small.
$mux resize-window -x 80 -y 24 && sees "all keys" "80x24"
$mux resize-window -x 40 -y 10 && sees "not all is here" "40x10"
$mux resize-window -x 132 -y 43 && sees "R103 .*100k" "the sheet beside it"
$mux resize-window -x 100 -y 30

# The daemon goes and comes back: said, and no value stands meanwhile; what is typed stays.
keys e C-u C-k
keys -l 'R106 270 from old-'
kill "$daemon"
wait "$daemon"
sees "the daemon went away" "the daemon is gone"
picture | grep -q "overload\|nF" && fail "a value stands without a daemon"
keys -l bridge
keys Enter
sees "there is no daemon: this stays here" "nothing is lost"
start_daemon
sees "bench overload" "it is there again"
keys Enter
sees "R106 .*270 .* typed from old-bridge" "typed through a restart"
keys u
sees "struck: R106" "undo"
sees "bench overload" "values come again"
sees "walk on  2 of 24" "the sheet is there again"

# Further and back.
keys R3 Enter
sees "nominal 100 k" "R3"
keys n
sees "nominal 470 k" "n"
keys b
sees "nominal 100 k" "b"

# Left: the terminal as it was.
same() {
	n=0
	until cmp -s "$place/before" "$place/after"; do
		n=$((n + 1))
		[ $n -lt 20 ] || fail "the terminal is not as it was: $1"
		sleep 0.1
	done
	rm "$place/after"
}
keys q
sees "ended 0" "q"
same q
grep -q "^volume *= *80" "$TALLY_SETTINGS" || fail "the volume is not kept"
# Stopped, gone on, and ended by a signal.
keys "clear; $tally bench" Enter
sees "walk on  2 of 24" "once more"
# Whenever it is pressed, also while something is drawn.
for n in 1 2 3 4 5 6; do
	keys C-z
	sees "Stopped" "Ctrl-Z"
	keys "clear; fg" Enter
	sees "walk on  2 of 24" "fg"
done
keys C-z
sees "Stopped" "Ctrl-Z"
picture | grep -q "NDELAY" && fail "the terminal is left non-blocking"
keys "clear; jobs -p >$place/pid; stty -g >$place/after" Enter
same Ctrl-Z
keys "fg; stty -g >$place/after; echo over" Enter
sees "walk on  2 of 24" "fg"
kill -TERM "$(cat "$place/pid")"
sees "^over" "SIGTERM"
same SIGTERM
# Hung up, and broken down: the same.
for signal in HUP SEGV USR1; do
	keys "clear; $tally bench & echo \$! >$place/pid; fg; stty -g >$place/after; echo over" Enter
	sees "walk on  2 of 24" "once more"
	kill -$signal "$(cat "$place/pid")"
	sees "^over" "SIG$signal"
	same "SIG$signal"
done
# Where the terminal shows bytes alone: what it cannot show is one mark a character, and kept whole.
keys "clear; LC_ALL=C $tally bench" Enter
sees "walk on  2 of 24" "without UTF-8"
keys t
keys -l 'grün µΩ'
sees "note at R[0-9]*: gr?n ??" "typed without UTF-8"
keys Enter
sees "noted at R[0-9]*: gr?n ??" "noted without UTF-8"
keys q
$tally notes | grep -q "grün µΩ" || fail "the note lost letters"
# A window that runs this alone has nobody to say "go on": there it does not stop.
keys "clear; script -qc '$tally bench' /dev/null; echo over" Enter
sees "walk on  2 of 24" "alone"
keys C-z '?'
sees "any key ends it" "Ctrl-Z where no shell is"
keys q q
sees "^over" "q"

# Plain: lines in, lines out, no cursor movement.
{ sleep 0.5; printf 'R1\nstatus\nnonsense\nreach loose\nlive\nno\n'
	printf 'enter R107 9.8k from old-bridge\nsheet\nenter R107 9.8k\norder kind\nhelp\n'; sleep 0.5; printf 'quit\n'; } |
	$tally --plain >"$place/plain" 2>&1 || fail "plain ends with $?"
for want in '^up R1, grid leak, left, input stage, nominal 1 Mohm$' '^state ' \
	'^"nonsense" is no word here' '^reach loose$' '^live valve equipment kills' \
	'^logged R107, typed from old-bridge, 9.8 kohm, unsure, ' '^R104, nominal 470k, nothing yet$' \
	'by what instrument' '^the walk goes by kind$' '^move WHICH POSITION: ' ; do
	grep -q "$want" "$place/plain" || { cat "$place/plain"; fail "plain: $want"; }
done
grep -q "$(printf '\033')" "$place/plain" && fail "plain moves the cursor"
grep -q "LIVE$" "$place/plain" && ! grep -q "yes makes it LIVE" "$place/plain" && fail "live without yes"
$tally verify >/dev/null || fail "the seal"
exit 0

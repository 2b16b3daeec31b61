#!/bin/sh
# SPDX-License-Identifier: MIT
#
# doc/container/Containerfile built by podman, and run as doc/machines.md says: a meter is read,
# the client works from outside over the shared socket, the cable goes and comes back, the
# container is restarted and made anew, and the log goes on through all of it.
#
#     tests/container/podman.sh BUILD
#
# Images are kept in BUILD/container (a store of its own, nothing of the machine's).  Where no
# registry answers, the base is made with debootstrap.  Root, podman and a Debian mirror are
# needed; without them this is left out with a note, status 0.  No adapter is at hand: a
# pseudo-terminal stands in for one, by the shim of demo/adapters, which is mounted into
# the container and preloaded there.

set -u
build=$(realpath "$1") || exit 2
[ "$(id -u)" -eq 0 ] && command -v podman >/dev/null 2>&1 || { echo "no podman, or no root: left out"; exit 0; }
store=$build/container
mkdir -p "$store" || exit 2
work=$(mktemp -d) || exit 2
pod() { podman --root "$store/storage" --runroot "$store/run" "$@"; }
name=tally-check-$$
pids=
tidy() {
	for pid in $pids; do kill "$pid" 2>/dev/null && wait "$pid" 2>/dev/null; done
	pod rm -f "$name" >/dev/null 2>&1
	pod volume rm -f "$name" >/dev/null 2>&1
	pod image prune -f >/dev/null 2>&1
	umount "$store/storage/overlay" 2>/dev/null
	rm -rf "$work"
}
trap tidy EXIT
. "$(dirname "$0")/stand.sh"

# ---- the image ----

base=debian:12-slim
if ! pod image exists localhost/base 2>/dev/null; then
	if timeout 120 podman --root "$store/storage" --runroot "$store/run" pull -q docker.io/library/debian:12-slim \
		>/dev/null 2>&1; then
		pod tag docker.io/library/debian:12-slim localhost/base
	else
		command -v debootstrap >/dev/null 2>&1 || { echo "no registry and no debootstrap: left out"; exit 0; }
		echo "no registry answers: the base is made with debootstrap"
		debootstrap --variant=minbase bookworm "$work/base" >"$work/said" 2>&1 ||
			{ tail -n 3 "$work/said"; echo "no mirror: left out"; exit 0; }
		# It reaches the mirror as this machine does.
		for file in /etc/apt/apt.conf.d/*; do
			case $file in *docker*) ;; *) cp "$file" "$work/base/etc/apt/apt.conf.d/" ;; esac
		done
		tar -C "$work/base" -c . | pod import - localhost/base >"$work/said" 2>&1 ||
			{ tail -n 3 "$work/said"; exit 1; }
		rm -rf "$work/base"
	fi
fi
base=localhost/base
# The host's network, and no limits that this machine may not set: for the build and a narrow host.
limits="--ulimit nofile=1024:1024 --ulimit nproc=1000:1000"
runtime=
for one in "" "--runtime runc" "--runtime crun"; do
	# shellcheck disable=SC2086
	if pod $one run --rm --network none $limits "$base" true >"$work/said" 2>&1; then
		runtime=$one
		break
	fi
	runtime=none
done
[ "$runtime" != none ] || { cat "$work/said"; echo "no container runs on this machine: left out"; exit 0; }
begin=$(date +%s)
# shellcheck disable=SC2086
pod $runtime build --network host $limits --build-arg BASE=$base -f doc/container/Containerfile -t splittally . \
	>"$work/build.log" 2>&1 || { tail -n 30 "$work/build.log"; echo "0 passed, 1 failed: the Containerfile"; exit 1; }
echo "  the image was built in $(($(date +%s) - begin)) s: $(pod image ls --format '{{.Size}}' localhost/splittally)"
says "the Containerfile builds" 0

# ---- outside: a meter that is a program, and the hands ----

lines=$work/lines shared=$work/shared
mkdir -p "$lines" "$shared" "$work/etc"
chmod 755 "$work" "$lines"
chown 990:990 "$shared"
configuration >"$work/etc/tally.ini"
cat >"$work/scene" <<'SCENE'
meter red talks 6000 5
dial red ohm
await R1
touch red 4.7k
hold logged
lift
await R2
touch red 10k
hold logged
lift
SCENE
socket=$shared/tally.sock
tally="$build/tally --socket $socket"
"$build/demo/meters" --lines "$lines" --socket "$socket" --stay "$work/scene" >"$work/meters.txt" 2>&1 &
pids="$! $pids"
until_true 10 test -e "$lines/red"
# The line belongs to the group of the lines, and the container's user to that group.
line=$(realpath "$lines/red")
chgrp 20 "$line" && chmod 660 "$line"
cp "$build/demo/libadapters.so" "$work/adapters.so" && chmod 755 "$work/adapters.so"
printf 'ttyRED=/lines/red,f0f0:0002:R22\n' >"$work/adapters"

# As in doc/machines.md, with the shim besides.  /dev whole, so that a cable may come back.
begin_container() {
	# shellcheck disable=SC2086
	pod $runtime run -d --name "$name" --network none --cap-drop all --security-opt no-new-privileges --read-only \
		$limits -v /dev:/dev --device-cgroup-rule "c 188:* rmw" --device-cgroup-rule "c 166:* rmw" \
		-v "$work/etc:/etc/tally:ro" -v "$name:/var/lib/tally" -v "$shared:/run/tally" \
		-v "$work/adapters.so:/opt/adapters.so:ro" -v "$lines:/lines:ro" \
		-e LD_PRELOAD=/opt/adapters.so -e TALLY_ADAPTERS="$(cat "$work/adapters")" \
		splittally --config /etc/tally/tally.ini --log /var/lib/tally/north.db --socket /run/tally/tally.sock
}
answers() { $tally --json meters; }
records() { $tally --json status | sed -n 's/.*"last":\([0-9]*\).*/\1/p' | head -n 1; }

begin_container >"$work/said" 2>&1 || { cat "$work/said"; says "the container begins" 1; }
until_true 20 answers
says "the host's client reaches it over the shared socket" $?
[ $failed -eq 0 ] || pod logs "$name"
inner=$(pod inspect -f '{{.State.Pid}}' "$name")
grep -q '^CapEff:[[:space:]]*0*$' "/proc/$inner/status" && grep -q '^NoNewPrivs:[[:space:]]*1$' "/proc/$inner/status" &&
	grep -q '^Uid:[[:space:]]*990[[:space:]]*990' "/proc/$inner/status"
says "a user of its own, no capability, and none to be had" $?
test "$(sed -n '3,$p' "/proc/$inner/net/dev" | grep -vc 'lo:')" -eq 0
says "no network" $?
until_true 20 reads
says "the meter is read" $?
$tally job start container >/dev/null && $tally sheet add "R1 4k7 5%" "R2 10k 5%" >/dev/null &&
	$tally reach lifted >/dev/null && $tally at R1 >/dev/null
says "a job, from outside" $?
until_true 20 entry R1
says "a touch is an entry" $?

# The cable: away and back, and it is read again.
mv "$lines/red" "$work/away"
until_true 10 sh -c "$tally meters | grep -q absent"
says "an unplugged line is absent" $?
mv "$work/away" "$lines/red"
until_true 20 sh -c "$tally meters | grep -q 'listened to'"
says "it comes back without a restart of the container" $?

# A reload, of a file that an editor replaced as editors do.
{ cat "$work/etc/tally.ini"; printf '[meter blue]\nport = usb:f0f0:0003\ndialect = ascii-unix\n'; } >"$work/etc/new"
mv "$work/etc/new" "$work/etc/tally.ini"
$tally reload >"$work/said" 2>&1
[ $? -eq 2 ] && grep -q '/etc/tally/tally.ini:10:11: ' "$work/said"
says "a faulty configuration is refused with its place: $(head -n 1 "$work/said")" $?
sed 's/ascii-unix/ascii-unit/' "$work/etc/tally.ini" >"$work/etc/new" && mv "$work/etc/new" "$work/etc/tally.ini"
$tally reload 2>&1 | grep -q 'blue.*is new'
says "a good one is taken" $?

# A restart, as `podman restart` does it; then a new container on the same volume.
before=$(records)
pod restart -t 10 "$name" >"$work/said" 2>&1
says "it is restarted" $?
until_true 20 answers
says "it answers after the restart" $?
entry R1 && [ "$(records)" -ge "$before" ]
says "its log goes on: $before records before, $(records) after" $?
$tally job show 2>/dev/null | grep -q container
says "and the job" $?
until_true 20 reads && $tally at R2 >/dev/null
until_true 20 entry R2
says "and a touch is an entry again" $?
before=$(records)
pod stop -t 10 "$name" >/dev/null
[ "$(pod inspect -f '{{.State.ExitCode}}' "$name")" = 0 ]
says "podman stop: SIGTERM, and status 0" $?
pod logs "$name" >"$work/logs" 2>&1
pod rm "$name" >/dev/null
begin_container >"$work/said" 2>&1 && until_true 20 answers && entry R1 && entry R2 && [ "$(records)" -ge "$before" ]
says "a new container goes on with the volume's log" $?
pod stop -t 10 "$name" >/dev/null
kept=$(pod volume inspect -f '{{.Mountpoint}}' "$name")
"$build/tally" verify "$kept/north.db" >"$work/said"
says "which is whole, seen from the host: $(head -n 1 "$work/said")" $?
[ $failed -eq 0 ] || cat "$work/logs"

printf '%s passed, %s failed\n' "$passed" "$failed"
[ "$failed" -eq 0 ]

#!/bin/bash
# pipewire.sh BUILD: a daemon that is started as usual finds PipeWire, without pw-jack, where PipeWire's JACK library is
# installed beside the one of the JACK server.
# Exit: 0 good, 1 not, 77 where PipeWire or its parts are missing (Debian: pipewire pipewire-jack wireplumber dbus).
set -u
build=$1
for program in pipewire wireplumber dbus-run-session; do
  command -v "$program" >/dev/null || { echo "pipewire: skipped: there is no $program"; exit 77; }
done
compgen -G '/usr/lib/*/pipewire-0.3/jack/libjack.so.0' >/dev/null || { echo "pipewire: skipped: there is no pipewire-jack"; exit 77; }
[ ! -w /dev/snd/seq ] || { echo "pipewire: skipped: ALSA's sequencer is here and comes first"; exit 77; }
if [ -z "${UNDERSONG_IN_SESSION:-}" ]; then
  UNDERSONG_IN_SESSION=1 exec dbus-run-session -- "$0" "$@" 2>&1
fi
place=$(mktemp -d)
export XDG_RUNTIME_DIR=$place HOME=$place JACK_DEFAULT_SERVER=undersong-no-such-server JACK_NO_START_SERVER=1
started=()
end() {
  for process in "${started[@]}"; do kill "$process" 2>/dev/null && wait "$process"; done
  rm -rf "$place"
}
trap end EXIT
until_says() { # until_says WHAT
  for _ in $(seq 300); do
    "$build/clients/undersong" doctor </dev/null >"$place/said" 2>&1
    grep -q -- "$1" "$place/said" && return 0
    sleep 0.1
  done
  echo "pipewire: FAILED: doctor never says \"$1\":"
  cat "$place/said" "$place"/*.log
  exit 1
}
daemon() {
  "$build/undersongd" --web-port 0 --takes "$place/takes.sqlite" 2>"$place/daemon.log" &
  started=("$!" "${started[@]}")
}
daemon
until_says "Neither ALSA's sequencer nor a JACK server is there"
pipewire >"$place/pipewire.log" 2>&1 &
started+=("$!")
until_says "PipeWire runs, but came after Undersong: start undersongd again"
wireplumber >"$place/wireplumber.log" 2>&1 &
started+=("$!")
kill "${started[0]}"
wait "${started[0]}"
started=("${started[@]:1}")
daemon
until_says "Input 1: Undersong in"
echo "pipewire: good; found without pw-jack"

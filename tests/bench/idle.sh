#!/usr/bin/env bash
# Measures how often an idle daemon wakes up and how much memory it uses, over a JACK server without any events.
#
# usage: tests/bench/idle.sh [SECONDS]
set -euo pipefail
cd "$(dirname "$0")/../.."
seconds=${1:-20}
if [ "${2:-}" != inside ]; then
  exec tests/transport/with_jack.sh "$0" "$seconds" inside
fi
home=$(mktemp -d)
build/undersongd --socket "$home/run/socket" --takes "$home/takes.sqlite" --web-port 0 2>"$home/log" &
daemon=$!
trap 'kill -TERM $daemon 2>/dev/null; wait $daemon 2>/dev/null || true; rm -rf "$home"' EXIT
until [ -S "$home/run/socket" ]; do sleep 0.05; done
sleep 3
switches() { # name, voluntary switches and CPU ticks of every thread; JACK's threads follow the server's period, not us
  for task in /proc/$daemon/task/*; do
    echo "$(cat "$task/comm" | tr ' ' '_') $(awk '/^voluntary/ {print $2}' "$task/status") $(awk '{print $14 + $15}' "$task/stat")"
  done
}
switches >"$home/before"
sleep "$seconds"
switches >"$home/after"
echo "resident: $(awk '/VmRSS/ {print $2}' /proc/$daemon/status) kB"
paste -d' ' "$home/before" "$home/after" | awk -v s="$seconds" '{printf "%-18s %8.2f wake-ups a second, %d ticks of CPU\n", $1, ($5 - $2) / s, $6 - $3}'

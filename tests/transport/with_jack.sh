#!/bin/sh
# with_jack.sh COMMAND...: runs COMMAND with a JACK server of its own on the dummy driver, which needs no sound card,
# and ends the server after it. JACK_DEFAULT_SERVER leads COMMAND, and all it starts, to that server.
# Sample rate and period: JACK_RATE (48000), JACK_PERIOD (64). Exit: COMMAND's, or 77 when there is no jackd.
#
# The server runs synchronously (-S): otherwise it skips a client that is late, and MIDI messages with it.
if ! command -v jackd >/dev/null 2>&1; then
  echo "with_jack.sh: jackd is not installed (Debian: jackd2)." >&2
  exit 77
fi
# One server at a time on a machine, always under one name: JACK has room for eight names, and keeps that of a killed server.
exec 9>"/tmp/undersong-jack-$(id -u).lock"
flock 9
JACK_DEFAULT_SERVER=undersong-tests
JACK_NO_AUDIO_RESERVATION=1
JACK_NO_START_SERVER=1
export JACK_DEFAULT_SERVER JACK_NO_AUDIO_RESERVATION JACK_NO_START_SERVER

# libjack keeps a database for all servers of a user; a client that was killed at the wrong moment leaves it locked for
# good, and every later one waits. With no server but ours there, it holds nothing that is wanted.
others=$(for line in /proc/[0-9]*/cmdline; do
  tr '\0' ' ' <"$line" 2>/dev/null
  echo
done | grep -E '^([^ ]*/)?jackd ' | grep -cv " $JACK_DEFAULT_SERVER ")
[ "$others" -gt 0 ] || rm -rf "/dev/shm/jack_db-$(id -u)"

said=$(mktemp) || exit 1
start_server() {
  jackd --no-realtime -S -n "$JACK_DEFAULT_SERVER" \
    -d dummy -r "${JACK_RATE:-48000}" -p "${JACK_PERIOD:-64}" -C 0 -P 0 >"$said" 2>&1 9>&- &
  server=$!
}
start_server
end_server() {
  kill -TERM "$server" 2>/dev/null
  wait "$server" 2>/dev/null
  rm -f "$said"
}
trap end_server EXIT
trap 'exit 130' INT TERM

tries=200
until jack_lsp >/dev/null 2>&1; do
  tries=$((tries - 1))
  # JACK gives its own thread one second to begin, and ends where a busy machine takes longer: it is started again.
  kill -0 "$server" 2>/dev/null || start_server
  if [ "$tries" -eq 0 ]; then
    echo "with_jack.sh: the JACK server did not start:" >&2
    cat "$said" >&2
    exit 1
  fi
  sleep 0.05
done
"$@" 9>&-

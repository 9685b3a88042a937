#!/bin/sh
# with_jack.sh COMMAND...: runs COMMAND with a JACK server of its own and ends the server afterwards. The server uses the
# dummy driver, which needs no sound card. JACK_DEFAULT_SERVER makes COMMAND, and all its children, use that server.
# Sample rate and period: JACK_RATE (48000), JACK_PERIOD (64). Exit status: that of COMMAND, or 77 without jackd.
#
# The server runs synchronously (-S). Otherwise it skips a client that is late and drops its MIDI messages.
if ! command -v jackd >/dev/null 2>&1; then
  echo "with_jack.sh: jackd is not installed (Debian: jackd2)." >&2
  exit 77
fi
# Only one server runs at a time on a machine, always with the same name. JACK has room for eight names and does not forget
# the name of a killed server.
exec 9>"/tmp/undersong-jack-$(id -u).lock"
flock 9
JACK_DEFAULT_SERVER=undersong-tests
JACK_NO_AUDIO_RESERVATION=1
JACK_NO_START_SERVER=1
export JACK_DEFAULT_SERVER JACK_NO_AUDIO_RESERVATION JACK_NO_START_SERVER

# Removes libjack's database, unless another server runs. All servers of a user share this database. A client that is killed
# at the wrong moment leaves it locked forever, and all later clients wait. If no other server runs, it contains nothing
# that anybody needs.
others=$(for line in /proc/[0-9]*/cmdline; do
  tr '\0' ' ' 2>/dev/null <"$line"  # it may have ended since
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

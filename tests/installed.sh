#!/bin/sh
# installed.sh BUILD: installs into a folder of its own and checks that what is there works without the source folder:
# the page beside the daemon is served, the user service starts the daemon that was installed, and manual pages and
# completions are there.
# Exit: 0 good, 1 not, 77 when the page is not built (clients/companion/build) or there is no curl.
set -eu
build=$1
source=$(cd "$(dirname "$0")/.." && pwd)
[ -f "$source/clients/companion/dist/index.html" ] || { echo "installed: the page is not built (clients/companion/build)"; exit 77; }
command -v curl >/dev/null || { echo "installed: there is no curl (Debian: curl)"; exit 77; }
place=$(mktemp -d)
daemon=
end() {
  [ -z "$daemon" ] || { kill "$daemon" 2>/dev/null && wait "$daemon" || true; }
  rm -rf "$place"
}
trap end EXIT
fail() { echo "installed: $1" >&2; exit 1; }

cmake --install "$build" --prefix "$place/usr" >"$place/said"
unit=$place/usr/share/systemd/user/undersongd.service
program=$(sed -n 's/^ExecStart=//p' "$unit")
[ "$program" = "$place/usr/bin/undersongd" ] || fail "the service starts '$program', not the daemon that was installed"
manual=$(sed -n 's|^Documentation=file://||p' "$unit")
[ -f "$manual" ] || fail "the service names a manual that is not there: $manual"
if command -v systemd-analyze >/dev/null; then
  XDG_RUNTIME_DIR=$place systemd-analyze --user verify "$unit" 2>"$place/verdict" || true
  ! grep -F undersongd "$place/verdict" || fail "systemd finds fault with the service"
fi

# Manual pages and completions, written from the help texts.
for page in man1/undersong.1 man1/undersongd.1 man5/undersong.toml.5; do
  [ -s "$place/usr/share/man/$page" ] || fail "there is no manual page $page"
  ! grep -q "no more to say" "$place/usr/share/man/$page" || fail "$page has an option that the help text does not explain"
done
for option in $(sed -n 's/^\([a-z_]*\) = .*/\1/p' "$source/configs/undersong.toml"); do
  grep -q "^.fB$option.fR = " "$place/usr/share/man/man5/undersong.toml.5" || fail "the manual of the configuration lacks $option"
done
completed=$(bash -c '. "$1"; COMP_WORDS=(undersong take re); COMP_CWORD=2; _undersong; echo "${COMPREPLY[*]}"' - \
  "$place/usr/share/bash-completion/completions/undersong")
[ "$completed" = reharmonise ] || fail "bash completes 'undersong take re' to '$completed'"
for shell in zsh/vendor-completions/_undersong fish/vendor_completions.d/undersong.fish; do
  grep -q reharmonise "$place/usr/share/$shell" || fail "there is no completion in $shell"
done
"$place/usr/bin/undersong" --version >/dev/null && "$place/usr/bin/undersongd" --version >/dev/null || fail "a program does not say its version"

echo "installed here" >"$place/usr/share/undersong/page/where.txt"
port=$((12000 + $$ % 16000))
HOME=$place JACK_NO_START_SERVER=1 JACK_DEFAULT_SERVER=none-for-this-test \
  "$program" --config /dev/null --socket "$place/run/socket" --takes "$place/takes.sqlite" --web-port "$port" 2>"$place/log" &
daemon=$!
tries=200
until curl -sf "http://127.0.0.1:$port/" >"$place/page" 2>/dev/null; do
  tries=$((tries - 1))
  if [ "$tries" -eq 0 ] || ! kill -0 "$daemon" 2>/dev/null; then fail "no page came; the daemon said: $(cat "$place/log")"; fi
  sleep 0.05
done
cmp -s "$place/page" "$source/clients/companion/dist/index.html" || fail "another page came than the one that was built"
[ "$(curl -sf "http://127.0.0.1:$port/where.txt")" = "installed here" ] || fail "the page comes from elsewhere"
asset=$(sed -n 's|.*"\./\(assets/[^"]*\.js\)".*|\1|p' "$place/page" | head -n 1)
curl -sf "http://127.0.0.1:$port/$asset" -o "$place/asset" || fail "the page's $asset did not come"
echo "installed: the daemon serves the page installed beside it, and the service starts it"

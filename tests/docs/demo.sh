#!/usr/bin/env bash
# demo.sh BUILD: runs clients/demo --fast as somebody does who looks at it for the first time, with a build that is there. It must
# end with a picture of the loop and three things to try, and must not fill the screen.
# Exit: 0 good, 1 not.
set -euo pipefail
source=$(cd "$(dirname "$0")/../.." && pwd)
said=$(mktemp)
trap 'rm -f "$said"' EXIT
fail() { echo "demo: $1" >&2; cat "$said" >&2; exit 1; }
JACK_NO_START_SERVER=1 JACK_DEFAULT_SERVER=none-for-this-test UNDERSONG_BUILD=$1 NO_COLOR=1 "$source/clients/demo" --fast </dev/null >"$said" 2>&1 || fail "it failed"
grep -q '^The loop of take 1, [0-9]* times' "$said" || fail "there is no picture of the loop"
[ "$(grep -c '█\|▓\|▒\|░' "$said")" -ge 4 ] || fail "the picture has no blocks"
[ "$(sed -n '/^Three things to try:/,$p' "$said" | grep -c '^  ')" -eq 3 ] || fail "it does not end with three things to try"
after=$(sed -n '/^The loop of take 1/,$p' "$said" | wc -l)
[ "$after" -le 30 ] || fail "it ends with $after lines"
! grep -i 'warning' "$said" || fail "it warns"
"$source/clients/demo" --fats >"$said" 2>&1 && fail "a misspelt option is taken"
grep -q '^usage: clients/demo' "$said" || fail "a misspelt option is not answered with what there is"
echo "demo: good, and it ends with $after lines"

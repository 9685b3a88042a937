#!/usr/bin/env bash
# completions.sh BUILD: installs the completions of the three shells and asks each shell for them.
# Exit: 0 good, 1 not, 77 where zsh or fish is missing.
set -euo pipefail
build=$(cd "$1" && pwd)
source=$(cd "$(dirname "$0")/../.." && pwd)
for shell in zsh fish; do
  command -v $shell >/dev/null || { echo "completions: there is no $shell (Debian: $shell)"; exit 77; }
done
place=$(mktemp -d)
trap 'rm -rf "$place"' EXIT
fail() { echo "completions: $1" >&2; exit 1; }
python3 "$source/configs/manual.py" "$build/clients/undersong" "$build/undersongd" "$source/configs/undersong.toml" "$place"
export PATH=$build/clients:$build:$PATH HOME=$place TERM=dumb
# SHELL WORDS: what the shell offers after these words, a line each.
offered_by_bash() {
  bash -c '. "$1/undersong"; shift; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _undersong; printf "%s\n" "${COMPREPLY[@]}"' - "$place" "$@"
}
offered_by_fish() {
  fish --no-config -c "source $place/undersong.fish; complete -C '$*'" | cut -f1
}
# zsh completes only at a terminal, so it gets one; what it is given to offer is written down on the way. It is asked when its prompt
# is there, and has answered when the next prompt is.
cat >"$place/spy.zsh" <<'ZSH'
compadd() {
  if [[ ${@[(I)-[OAD]*]} -eq 0 ]]; then
    local -a all
    builtin compadd -O all "$@"
    print -rl -- ${all} >>$OFFERED
  fi
  builtin compadd "$@"
}
ZSH
cat >"$place/ask.zsh" <<'ZSH'
zmodload zsh/zpty
zpty shell zsh -f -i
zpty -w shell 'fpath=('"$1"' $fpath); autoload -Uz compinit; compinit -u -d '"$1"'/dump; source '"$1"'/spy.zsh; PS1="RE""ADY>"'
zpty -r shell line '*READY>*'
zpty -n -w shell "$2"$'\t'$'\C-u'
zpty -w shell 'PS1="DO""NE>"'
zpty -r shell line '*DONE>*'
ZSH
offered_by_zsh() {
  : >"$place/offered"
  OFFERED=$place/offered timeout 60 zsh -f "$place/ask.zsh" "$place" "$*"
  cat "$place/offered"
}
for shell in bash zsh fish; do
  offers() {  # offers WORDS: what must be there is the last argument
    local wanted=${*: -1} said
    said=$("offered_by_$shell" "${@:1:$#-1}")
    grep -qx -- "$wanted" <<<"$said" || fail "$shell does not complete '${*:1:$#-1}' to '$wanted', but to: $(tr '\n' ' ' <<<"$said")"
  }
  offers undersong dig digest
  offers undersong take re reharmonise
  offers undersong take reharmonise --pe --pedal
  offers undersong song gr grow
done
echo "completions: bash, zsh and fish complete commands, subcommands and options"

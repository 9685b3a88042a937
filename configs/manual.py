#!/usr/bin/env python3
"""Writes the manual pages and the completions of both programs from their help texts, and the page of the configuration from
the comments of undersong.toml, so that each is written in one place only.

usage: manual.py UNDERSONG UNDERSONGD TOML FOLDER
The folder then holds undersong.1, undersongd.1, undersong.toml.5, undersong (bash), _undersong (zsh) and undersong.fish.
"""
import re
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path


@dataclass
class Option:
    names: list[str]
    value: str  # what follows it, such as TEXT or {open,drop 2}; empty for a flag
    says: str


@dataclass
class Command:
    words: list[str]  # the command line up to it: ["undersong", "take", "loop"]
    says: str
    usage: str
    places: list[Option] = field(default_factory=list)
    options: list[Option] = field(default_factory=list)
    commands: list["Command"] = field(default_factory=list)


WIDTH = 30  # columns of the left side of a table of the help text


def rows(lines):
    """The rows of a table of the help text: what stands on the left, and what it means. A left side that is too wide
    has its meaning on the next line."""
    found = []
    for line, after in zip(lines, [*lines[1:], ""]):
        if line.startswith(" " * WIDTH):
            found[-1][1] = line.strip()
        elif line.startswith("  "):
            wide = after.startswith(" " * WIDTH)
            found.append([line.strip(), ""] if wide else [line[:WIDTH].strip(), line[WIDTH:].strip()])
    return found


def option(left, says):
    left = re.sub(r" (Excludes|Needs): .*$", "", left)
    names, _, value = left.partition(" ")
    value = re.sub(r"^(\w+):", lambda m: "" if m[1] in ("INT", "FLOAT", "UINT", "TEXT") else m[0], value)
    value = re.sub(r"^(?:INT|FLOAT|UINT|TEXT)(?= in )", "NUMBER", value).replace(" REQUIRED", "").replace(" ...", "...")
    return Option(names.split(","), value.strip(), says)


def command(program, words):
    text = subprocess.run([program, *words[1:], "--help"], capture_output=True, text=True, check=True).stdout
    blocks, name = {"": []}, ""
    for line in text.splitlines():
        if heading := re.match(r"(Positionals|Options|Subcommands|\[Option Group: .*\]):?$", line):
            name = heading[1].split(":")[0]
            blocks.setdefault(name, [])
        else:
            blocks[name].append(line)
    says = " ".join(line.strip() for line in blocks[""] if line.strip() and not line.startswith("Usage: "))
    usage = next((line[7:] for line in blocks[""] if line.startswith("Usage: ")), "")
    usage = usage[usage.find("[") :] if "[" in usage else ""
    out = Command(words, says, usage)
    out.places = [option(*row) for row in rows(blocks.get("Positionals", []))]
    out.options = [option(*row) for row in rows(blocks.get("Options", []))]
    out.commands = [command(program, [*words, left]) for left, _ in rows(blocks.get("Subcommands", []))]
    return out


# ---- manual pages


def roff(text):
    text = text.replace("\\", "\\e").replace("-", "\\-")
    return "\\&" + text if text[:1] in (".", "'") else text


def items(options):
    for each in options:
        yield ".TP"
        yield "\\fB" + ", ".join(roff(n) for n in each.names) + "\\fR" + (f" \\fI{roff(each.value)}\\fR" if each.value else "")
        yield roff(each.says or "(no more to say)")


def section(of):
    """The commands below a command, each with its options."""
    for each in of.commands:
        yield f'.SS "{roff(" ".join([*each.words[1:], each.usage.replace("[OPTIONS]", "").strip()]).strip())}"'
        yield roff(each.says) + "."
        yield from items(each.places)
        yield from items(o for o in each.options if "--help" not in o.names)
        yield from section(each)


def manual(of, version, see):
    name = of.words[0]
    out = [
        f'.TH {name.upper()} 1 "" "Undersong {version}" "Undersong"',
        ".SH NAME",
        f"{name} \\- " + roff(of.says.split(". ")[0].split(": ")[-1].rstrip(".")[:1].lower() + of.says.split(". ")[0].split(": ")[-1].rstrip(".")[1:]),
        ".SH SYNOPSIS",
        f".B {name}",
        roff(of.usage),
        ".SH DESCRIPTION",
        roff(of.says),
        ".SH OPTIONS",
        *items(of.options),
    ]
    if of.commands:
        out += [".SH COMMANDS", *section(of)]
    out += [".SH SEE ALSO", see, "/usr/share/doc/undersong/README.md"]
    return "\n".join(out) + "\n"


def configuration(text, version):
    """Comments become text, the options below them items."""
    out = [
        f'.TH UNDERSONG.TOML 5 "" "Undersong {version}" "Undersong"',
        ".SH NAME",
        "undersong.toml \\- configuration of undersongd(1)",
        ".SH DESCRIPTION",
    ]
    waiting = []
    for line in text.splitlines():
        if line.startswith("#"):
            waiting.append(line[1:].strip() if not line.startswith("#  ") else line[2:].rstrip())
        elif line.startswith("["):
            out += [f'.SH "{line}"']
        elif "=" in line:
            key, _, value = line.partition(" = ")
            out += [".TP", f"\\fB{roff(key)}\\fR = \\fI{roff(value)}\\fR", *(roff(w) for w in waiting)]
            waiting = []
        elif waiting:
            out += [*(roff(w) if w else ".PP" for w in waiting), ".PP"]
            waiting = []
    if waiting:
        out += ['.SH "[[controls]]"', ".nf", *(roff(w) for w in waiting), ".fi"]
    out += [".SH SEE ALSO", ".BR undersongd (1),", ".BR undersong (1)"]
    return "\n".join(out) + "\n"


# ---- completions


def all_commands(of):
    yield of
    for each in of.commands:
        yield from all_commands(each)


def choices(each):
    """The words that an option accepts, if the help text lists them."""
    found = re.search(r"\{([^}]*)\}", each.value)
    return [word.strip() for word in found[1].split(",")] if found else []


def bash(of):
    """Candidates are compared as whole lines, so that words with spaces stay whole."""
    lines = [
        f"# Completion of {of.words[0]} for bash, written by manual.py.",
        f"_{of.words[0]}() {{",
        "  local word=${COMP_WORDS[COMP_CWORD]} last=${COMP_WORDS[COMP_CWORD - 1]} path= i candidates",
        "  COMPREPLY=()",
        "  for ((i = 1; i < COMP_CWORD; i++)); do",
        '    case "$path ${COMP_WORDS[i]}" in',
    ]
    paths = [" ".join(each.words[1:]) for each in all_commands(of) if len(each.words) > 1]
    if paths:
        lines += ["      " + "|".join('"' + " " * 1 + p + '"' for p in paths) + ') path="$path ${COMP_WORDS[i]}" ;;']
    lines += ["    esac", "  done", '  case "$path $last" in']
    for each in all_commands(of):
        for opt in each.options:
            if words := choices(opt):
                path = "".join(" " + w for w in each.words[1:])
                for name in opt.names:
                    lines += [f"    \"{path} {name}\") candidates='" + "\n".join(words) + "' ;;"]
            elif opt.value:
                path = "".join(" " + w for w in each.words[1:])
                for name in opt.names:
                    lines += [f'    "{path} {name}") COMPREPLY=($(compgen -f -- "$word")); return ;;']
    lines += ["    *)", '      case "$path" in']
    for each in all_commands(of):
        path = "".join(" " + w for w in each.words[1:])
        words = [c.words[-1] for c in each.commands] + [n for o in each.options for n in o.names if n.startswith("--")]
        lines += [f"        \"{path}\") candidates='" + "\n".join(words) + "' ;;"]
    lines += [
        "      esac",
        "      ;;",
        "  esac",
        "  local IFS=$'\\n'",
        '  COMPREPLY=($(compgen -W "$candidates" -- "$word"))',
        '  [ ${#COMPREPLY[@]} -gt 0 ] || COMPREPLY=($(compgen -f -- "$word"))',
        "}",
        f"complete -o filenames -F _{of.words[0]} {of.words[0]}",
    ]
    return "\n".join(lines) + "\n"


def quoted(text):
    return "'" + text.replace("'", "'\\''") + "'"


def zsh(of):
    def body(each, depth):
        specs = [
            quoted(
                f"{name}[{o.says.replace('[', '(').replace(']', ')').replace(':', ' -')}]"
                + (f":{name.lstrip('-')}:" + (f"({' '.join(w.replace(' ', chr(92) + ' ') for w in choices(o))})" if choices(o) else "_files") if o.value else "")
            )
            for o in each.options
            for name in o.names
            if name.startswith("--")
        ]
        pad = "  " * depth
        out = [f"{pad}_arguments -C " + " ".join(specs) + (" '1: :->command' '*:: :->rest'" if each.commands else " '*:file:_files'")]
        if each.commands:
            described = " ".join(quoted(f"{c.words[-1]}:{c.says.replace(':', ' -')}") for c in each.commands)
            out += [f"{pad}case $state in", f"{pad}command) local -a known=({described}); _describe command known ;;", f"{pad}rest)", f"{pad}  case $words[1] in"]
            for c in each.commands:
                out += [f"{pad}  {c.words[-1]})", *body(c, depth + 2), f"{pad}    ;;"]
            out += [f"{pad}  esac", f"{pad}  ;;", f"{pad}esac"]
        return out

    name = of.words[0]
    return "\n".join([f"#compdef {name}", f"# Completion of {name} for zsh, written by manual.py.", f"_{name}() {{", "  local state", *body(of, 1), "}", f'_{name} "$@"']) + "\n"


def fish(of):
    name = of.words[0]
    top = " ".join(c.words[-1] for c in of.commands)
    lines = [f"# Completion of {name} for fish, written by manual.py."]
    for each in all_commands(of):
        seen = " and ".join(f"__fish_seen_subcommand_from {w}" for w in each.words[1:]).replace(" and ", "; and ")
        below = " ".join(c.words[-1] for c in each.commands)
        here = "; and ".join(filter(None, [seen, f"not __fish_seen_subcommand_from {below}" if below else ""]))
        condition = f" -n {quoted(here)}" if here else ""
        for c in each.commands:
            lines += [f"complete -c {name} -f{condition} -a {c.words[-1]} -d {quoted(c.says)}"]
        for o in each.options:
            long = next((n[2:] for n in o.names if n.startswith("--")), None)
            if long is None:
                continue
            where = f" -n {quoted(seen)}" if seen else (f" -n {quoted('not __fish_seen_subcommand_from ' + top)}" if top else "")
            words = choices(o)
            more = f" -x -a {quoted(' '.join(w.replace(' ', chr(92) + ' ') for w in words))}" if words else " -r" if o.value else ""
            lines += [f"complete -c {name}{where} -l {long}{more} -d {quoted(o.says)}"]
    return "\n".join(lines) + "\n"


def main():
    undersong, undersongd, toml, folder = sys.argv[1:]
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    version = subprocess.run([undersongd, "--version"], capture_output=True, text=True, check=True).stdout.split()[-1]
    client, daemon = command(undersong, ["undersong"]), command(undersongd, ["undersongd"])
    (folder / "undersong.1").write_text(manual(client, version, ".BR undersongd (1),\n.BR undersong.toml (5)"))
    (folder / "undersongd.1").write_text(manual(daemon, version, ".BR undersong (1),\n.BR undersong.toml (5)"))
    (folder / "undersong.toml.5").write_text(configuration(Path(toml).read_text(), version))
    (folder / "undersong").write_text(bash(client))
    (folder / "_undersong").write_text(zsh(client))
    (folder / "undersong.fish").write_text(fish(client))


if __name__ == "__main__":
    main()

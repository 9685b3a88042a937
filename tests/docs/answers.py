#!/usr/bin/env python3
"""Every command of `undersong` that prints can print JSON, or is named here with the reason why not. What a command prints from an
answer of the daemon is checked against the schema of the protocol.

usage: tests/docs/answers.py BUILD [CAPTURE]
The answers go to CAPTURE as tests/traffic/validate.mjs reads them, which is called if its libraries are installed (`npm ci` in
tests/traffic, as tests/run does); without them the shape of the answers is not checked, and the exit code is 77.
Exit: 0 good, 1 not, 77 see above.
"""
import json
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

SOURCE = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(SOURCE / "configs"), str(SOURCE / "tests/docs")]
import commands as docs  # noqa: E402
import manual  # noqa: E402

# Commands without --json, and why.
WHY_NOT = {
    "export": "writes a file",
    "take hand-over": "writes files",
    "song hand-over": "writes files",
    "hand-over": "writes files",
    "open": "prints one address and nothing else",
    "colour": "always prints JSON",
    "rank": "always prints JSON",
    "spell": "always prints JSON",
}

# What is run, in this order, after the demo has been kept as takes 1 and 2. Each prints a line of JSON for each request named in
# its help, at most. A command that is in the help but not here fails.
RUN = """
list
list --chord Ebmaj9
show 1
rename 1 "A title"
annotate 1 "A note"
delete 2
restore 2
moments Db under G
digest
own
own off
own on
own erase --yes
take loop 1
take loop 1 --picture
take reharmonise 1 --count 2
take find 1 --from 20 --to 28
song new rounds 1
song list
song show rounds
song check rounds
song play rounds
song grow rounds
song delete rounds
settings
settings reset
key
key pin Ebm
key free
wish --brighter -0.5
hold on
hold off
tap
mark here
mark --undo
beat 3 --take 1 --at 20
stop
end
pair --list
backup copy.sqlite
restore copy.sqlite
doctor
"""
# These need a MIDI output or a beat that is running; they are run as well, and may be refused in one sentence.
MAY_BE_REFUSED = ("hear", "play", "along", "song play")
# Commands that print JSON of their own, with a daemon and without one.
WITH_DAEMON = {
    "import more": "lines",
}
OFFLINE = {
    "analyse demo.mid": "lines",
    "loop demo.mid": "object",
    "reharmonise demo.mid": "object",
    "name C E G": "list",
    "find demo.mid --takes takes.sqlite": "lines",
    "import more --takes other.sqlite": "lines",
}


def leaves(command):
    """Every command that does something by itself, with its help."""
    words = " ".join(command.words[1:])
    options = {name for each in command.options for name in each.names}
    found = []
    # A group that does something by itself has options of its own, or takes no subcommand at all.
    if not command.commands or "--json" in options:
        found.append((words, options, command))
    for each in command.commands:
        found += leaves(each)
    return found


def methods(command):
    for each in command.options:
        if "--json" in each.names:
            match = re.search(r"answer to (.*) as JSON", each.says)
            return match[1].split(", ") if match else []
    return []


def main():
    build = Path(sys.argv[1]).resolve()
    program = build / "clients/undersong"
    failed = []
    known = {words: (options, command) for words, options, command in leaves(manual.command(program, ["undersong"])) if words}
    for words, (options, _) in known.items():
        if ("--json" in options) == (words in WHY_NOT):
            failed.append(f"{words}: " + ("has --json now, so WHY_NOT is out of date" if words in WHY_NOT else "has neither --json nor a reason in WHY_NOT"))
    failed += [f"{words}: no such command" for words in WHY_NOT if words not in known]

    docs.os.environ.update(JACK_NO_START_SERVER="1", JACK_DEFAULT_SERVER="none-for-this-test")
    home = Path(tempfile.mkdtemp())
    daemon = docs.Daemon(build, home)
    capture, tried = [], set()

    def command_of(words):
        """The longest command of the help with which these words begin."""
        for end in range(len(words), 0, -1):
            if " ".join(words[:end]) in known:
                return " ".join(words[:end])
        return None

    def run(words):
        return subprocess.run([program, *words, "--json"], env=daemon.env, cwd=home, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=docs.PATIENCE)

    def own_json(line, shape):
        words = docs.shlex.split(line)
        tried.add(command_of(words))
        done = run(words)
        try:
            said = [json.loads(text) for text in done.stdout.splitlines()]
        except ValueError:
            said = []
        if not said or (shape != "lines" and len(said) != 1) or (shape == "list") != isinstance(said[0], list):
            failed.append(f"{line} --json: {done.stderr.strip() or done.stdout[:80]}")

    try:
        (home / "config.toml").write_text('[server]\nweb_port = 0\ndevices_port = 0\ndevices_address = "127.0.0.1"\n')
        shutil.copy(SOURCE / "configs/demo.mid", home)
        (home / "more").mkdir()
        shutil.copy(SOURCE / "configs/demo.mid", home / "more")
        for _ in range(2):
            daemon.start("--play", str(SOURCE / "configs/demo.mid"), "--speed", "200", "--quit-after")
            daemon.process.wait(docs.PATIENCE)
        shutil.copy(home / ".local/share/undersong/takes.sqlite", home)
        daemon.start()
        daemon.hold([48, 64, 67, 79])
        daemon.until(lambda: daemon.ask("moment.get")["alternatives"], "the list of alternatives")
        for line in [*RUN.strip().splitlines(), *MAY_BE_REFUSED]:
            words = docs.shlex.split(line)
            name = command_of(words)
            if name is None:
                failed.append(f"{line}: no such command")
                continue
            tried.add(name)
            done = run(words)
            if done.returncode != 0:
                if name not in MAY_BE_REFUSED or not done.stderr.startswith("undersong: "):
                    failed.append(f"{line} --json: {done.stderr.strip()}")
                continue
            said = done.stdout.splitlines()
            wanted = methods(known[name][1])
            if not said:
                failed.append(f"{line} --json prints nothing")
            for answer in said:
                try:
                    result = json.loads(answer)
                except ValueError:
                    failed.append(f"{line} --json prints words: {answer[:80]}")
                    continue
                capture.append((line, wanted, result))
        # What is shown while somebody plays: a moment a line.
        live = subprocess.Popen([program, "live", "--json"], env=daemon.env, stdout=subprocess.PIPE, text=True)
        tried.add("live")
        moment = json.loads(live.stdout.readline())
        live.terminate()
        live.wait(docs.PATIENCE)
        daemon.keys.close()
        for line, shape in WITH_DAEMON.items():
            own_json(line, shape)
        daemon.stop()
        for line, shape in OFFLINE.items():
            own_json(line, shape)
        failed += [f"{words}: is in the help, but not tried here" for words in known if words not in tried and words not in WHY_NOT]
    finally:
        daemon.stop()
        shutil.rmtree(home, ignore_errors=True)

    lines = [{"client": 1, "to": "client", "message": {"jsonrpc": "2.0", "method": "moment", "params": moment}}]
    kinds = json.loads((SOURCE / "protocol/schema.json").read_text())["$defs"]
    for number, (line, wanted, result) in enumerate(capture):
        # A command with several requests says which answer it is by its members.
        fits = [m for m in wanted if set(result) <= set(members(kinds, f"{m} response"))] if isinstance(result, dict) else wanted
        if not fits:
            failed.append(f"{line} --json: no answer to {' or '.join(wanted)}")
            continue
        lines.append({"client": 1, "to": "daemon", "message": {"jsonrpc": "2.0", "id": number, "method": fits[0]}})
        lines.append({"client": 1, "to": "client", "message": {"jsonrpc": "2.0", "id": number, "result": result}})
    text = "".join(json.dumps(line) + "\n" for line in lines)
    if len(sys.argv) > 2:
        Path(sys.argv[2]).write_text(text)
    checked = False
    node = shutil.which("node")
    if node and (SOURCE / "tests/traffic/node_modules/ajv").exists():
        done = subprocess.run([node, SOURCE / "tests/traffic/validate.mjs", SOURCE / "protocol/schema.json"], input=text, capture_output=True, text=True)
        checked = True
        if done.returncode != 0:
            failed.append(done.stdout + done.stderr)
    for line in failed:
        print(f"answers: FAILED {line}")
    if failed or not capture:
        return 1
    print(f"answers: {len(tried)} commands print JSON, {len(capture)} answers of the daemon" + (" as the schema says" if checked else ", not checked: no ajv in tests/traffic (npm ci)"))
    return 0 if checked else 77


def members(kinds, name):
    """The members of the result of a response in the schema."""
    shape = kinds[name]["properties"]["result"]
    while "$ref" in shape:
        shape = kinds[shape["$ref"].rsplit("/", 1)[1]]
    return shape.get("properties", {})


if __name__ == "__main__":
    sys.exit(main())

#!/usr/bin/env python3
"""Damages copies of a store at random, opens each with the real daemon and asks it for everything.

usage: tests/damage/run.py BUILD [--copies N] [--first N] [--seed S] [--keep FOLDER] [--store FILE]

Each copy is damaged in one of these ways: one to eight flipped bits, anywhere or in the first 100 bytes; cut off at some byte;
one page of zeros; a span overwritten at random; the same in the write-ahead log. The daemon then reads it, and all requests that
read takes are sent for every take that is listed. Reported and counted:

  ended       the daemon ended, did not start, or did not stop at SIGTERM
  invalid     a reply that is not UTF-8 or not JSON, or no reply
  large       more than 300 MB of memory
  unnoticed   a line, or a row of the list, that differs from what was kept or is missing, and nothing was said of damage
  lost        lines that were on undamaged pages, and so could be read, and are not there (whatever was said)

Exit: 0 if none of these, 1 otherwise. A figure for each kind of damage is printed at the end.
"""
import argparse
import json
import os
import random
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SOURCE = Path(__file__).resolve().parents[2]
PATIENCE = 120  # seconds for one reply, or for the check of the takes
MOST_MEMORY = 300 << 20
PAGE = 4096
# Everything that reads a take. LISTENED is worked out from its notes, which takes longer.
OF_TAKE = ("take.get", "take.notes", "take.thumbnail", "take.meetings", "take.similar", "take.picture", "take.export",
           "take.passes", "take.find_played")
LISTENED = ("take.beats", "take.loop")
OF_ALL = (("status.get", {}), ("take.find", {"question": "chord minor"}), ("take.digest", {}), ("take.digest", {"week": True}),
          ("idiom.get", {}), ("take.list", {"limit": 500}), ("take.list", {"limit": 500, "deleted": True}))


class Daemon:
    """undersongd with a folder of its own."""

    def __init__(self, build, home, store, more=()):
        self.home = home
        env = {**os.environ, "HOME": str(home), "XDG_RUNTIME_DIR": str(home / "run"), "JACK_NO_START_SERVER": "1",
               "JACK_DEFAULT_SERVER": "undersong-no-such-server", "ASAN_OPTIONS": "detect_leaks=0"}
        for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "NOTIFY_SOCKET"):
            env.pop(name, None)
        env = self.environment(env)
        self.log = open(home / "log", "ab")
        self.process = subprocess.Popen([build / "undersongd", "--web-port", "0", "--takes", store, "--socket", home / "socket", *more],
                                        stdout=self.log, stderr=self.log, env=env)
        self.socket, self.unread, self.number = None, b"", 0

    def environment(self, env):
        return env

    def connect(self):
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end and self.process.poll() is None:
            try:
                self.socket = socket.socket(socket.AF_UNIX)
                self.socket.settimeout(PATIENCE)
                self.socket.connect(str(self.home / "socket"))
                self.message()
                return True
            except (FileNotFoundError, ConnectionRefusedError):
                time.sleep(0.005)
        return False

    def message(self):
        while b"\n" not in self.unread:
            more = self.socket.recv(1 << 20)
            if not more:
                raise ConnectionError("the daemon has gone")
            self.unread += more
        line, self.unread = self.unread.split(b"\n", 1)
        return json.loads(line.decode("utf-8"), parse_constant=lambda word: (_ for _ in ()).throw(ValueError(word)))

    def ask(self, method, params):
        self.number += 1
        self.socket.sendall(json.dumps({"jsonrpc": "2.0", "id": self.number, "method": method, "params": params}).encode() + b"\n")
        while True:
            answer = self.message()
            if answer.get("id") == self.number:
                return answer

    def memory(self):
        for line in Path(f"/proc/{self.process.pid}/status").read_text().splitlines():
            if line.startswith("VmHWM"):
                return int(line.split()[1]) << 10
        return 0

    def stop(self):
        """True if it stopped as it should."""
        if self.socket:
            self.socket.close()
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        try:
            code = self.process.wait(PATIENCE)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
            code = None
        self.log.close()
        return code == 0


def lines_of(daemon, take=None):
    lines, start = [], 1
    while True:
        params = {"from": start, "limit": 2000, **({"take": take} if take else {})}
        result = daemon.ask("take.events", params)["result"]
        lines += result["lines"]
        if not result["more"]:
            return lines
        start = result["next"]


def whole(daemon):
    """When the daemon has checked the store, and read back what it could."""
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        store = daemon.ask("status.get", {})["result"]["store"]
        said = store["sentence"]
        read_back = said.count("have been read back") + said.count("could be read back")
        if store.get("checked_utc_ms") and said.count("was moved to") == read_back and "will be set aside" not in store["damage"]:
            return store
        time.sleep(0.01)
    raise TimeoutError("the takes were not checked in time")


def make_store(build, folder):
    """A store as somebody's first days leave it: takes that were heard, named, marked, judged and deleted."""
    store = folder / "made" / "takes.sqlite"
    home = folder / "making"
    home.mkdir()
    demo = SOURCE / "configs" / "demo.mid"
    for _ in range(3):
        daemon = Daemon(build, home, store, ["--play", demo, "--speed", "1000", "--quit-after"])
        daemon.process.wait(PATIENCE)
        daemon.stop()
    daemon = Daemon(build, home, store)
    daemon.connect()
    takes = [take["take"] for take in daemon.ask("take.list", {"limit": 500})["result"]["takes"]]
    for i, take in enumerate(takes):
        daemon.ask("take.rename", {"take": take, "title": f"the {i}th evening ♪"})
        daemon.ask("take.annotate", {"take": take, "text": "slower, and without the last turn" * (i + 1)})
    daemon.ask("take.delete", {"take": takes[-1]})
    for take in takes:  # whatever is kept of them is made now
        for method in OF_TAKE + LISTENED:
            daemon.ask(method, {"take": take})
    whole(daemon)
    daemon.stop()
    return store


def damage(rng, store):
    """Returns what was done, and whether it was in the first 100 bytes."""
    logged = Path(f"{store}-wal")
    target = logged if logged.exists() and logged.stat().st_size > 0 and rng.random() < 0.15 else store
    data = bytearray(target.read_bytes())
    where = "log" if target == logged else "file"
    kind = rng.choice(("bit", "bit", "bits", "head", "head", "cut", "zero", "span"))
    if kind in ("bit", "bits", "head"):
        for _ in range(1 if kind != "bits" else rng.randint(2, 8)):
            bit = rng.randrange((100 if kind == "head" else len(data)) * 8)
            data[bit // 8] ^= 1 << bit % 8
            where += f" {bit // 8}"
    elif kind == "cut":
        data = data[: rng.randrange(len(data))]
        where += f" {len(data)}"
    elif kind == "zero":
        at = rng.randrange(len(data) // PAGE) * PAGE
        data[at : at + PAGE] = bytes(PAGE)
        where += f" {at}"
    else:
        size = rng.randint(1, 3 * PAGE)
        at = rng.randrange(len(data))
        data[at : at + size] = rng.randbytes(min(size, len(data) - at))
        where += f" {at}+{size}"
    target.write_bytes(data)
    return kind, where


def readable(pristine, damaged):
    """The numbers of lines that are wholly on pages of which no byte was changed."""
    before, after = pristine.read_bytes(), damaged.read_bytes() if damaged.exists() else b""
    same = {page + 1 for page in range(len(before) // PAGE) if before[page * PAGE : (page + 1) * PAGE] == after[page * PAGE : (page + 1) * PAGE]}
    pages = {}
    with sqlite3.connect(f"file:{pristine}?mode=ro&immutable=1", uri=True) as file:
        try:
            # One row for each page of the table; `path` says which leaf, and overflow pages have their own.
            rows = file.execute("SELECT pageno, pagetype FROM dbstat WHERE name = 'log'").fetchall()
        except sqlite3.OperationalError:
            return None
        del pages
        return len([page for page, kind in rows if kind == "leaf" and page in same]), len([1 for _, kind in rows if kind == "leaf"])


def examine(build, folder, store, kept):
    """What is wrong with the daemon on this store: a set of words, with a sentence each; the lines that it has; the store's health."""
    faults, lines, health = {}, None, None
    home = folder / "home"
    home.mkdir()
    # No MIDI service is looked for: other tests may have one.
    (home / "config").write_text('[midi]\nservice = "alsa"\n')
    daemon = Daemon(build, home, store, ["--config", home / "config"])
    try:
        if not daemon.connect():
            faults["ended"] = "it did not start"
            return faults, lines, health
        for take in daemon.ask("take.list", {"limit": 500}).get("result", {}).get("takes", []):  # while it is being checked
            daemon.ask("take.get", {"take": take["take"]})
            daemon.ask("take.notes", {"take": take["take"]})
        health = whole(daemon)
        takes = []
        for method, params in OF_ALL:
            answer = daemon.ask(method, params)
            if method == "take.list":
                takes += answer.get("result", {}).get("takes", [])
        for take in takes:
            for method in OF_TAKE:
                daemon.ask(method, {"take": take["take"]})
        for take in takes[:2]:
            for method in LISTENED:
                daemon.ask(method, {"take": take["take"]})
        lines = {}
        try:
            lines_of(daemon)
        except KeyError:  # the file is damaged where the check has not looked yet; it is set aside then
            pass
        health = whole(daemon)
        takes = [take for method, params in OF_ALL if method == "take.list" for take in daemon.ask(method, params)["result"]["takes"]]
        lines = {line["number"]: line for line in lines_of(daemon)}
        listed = {take["take"]: take for take in takes}
        told = health["damage"] or health["sentence"]
        for number, line in kept["lines"].items():
            if lines.get(number) != line and not told:
                faults.setdefault("unnoticed", f"line {number}: {line} is {lines.get(number)}")
        for number, take in kept["takes"].items():
            mine = listed.get(number)
            differs = [name for name in ("begin_utc_ms", "at", "title", "annotation", "ended", "notes", "chords", "marks", "deleted")
                       if not mine or mine.get(name) != take.get(name)]
            if differs and not told:
                faults.setdefault("unnoticed", f"take {number}: {differs} {mine}")
        if daemon.memory() > MOST_MEMORY:
            faults["large"] = f"{daemon.memory() >> 20} MB"
    except (ConnectionError, OSError) as error:
        faults["ended" if daemon.process.poll() is not None else "invalid"] = str(error) or "no reply"
    except (ValueError, KeyError, TimeoutError) as error:
        faults["invalid"] = f"{type(error).__name__} {error}"
    finally:
        if not daemon.stop():
            faults.setdefault("ended", f"exit code {daemon.process.returncode}")
    return faults, lines, health


def main():
    options = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    options.add_argument("build", type=Path)
    options.add_argument("--copies", type=int, default=200)
    options.add_argument("--first", type=int, default=0, help="the number of the first copy, to go on or to share the work")
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--keep", type=Path, help="keep the copies at which something was wrong here")
    options.add_argument("--store", type=Path, help="damage copies of this store, not of one that is made")
    given = options.parse_args()
    build = given.build.resolve()
    with tempfile.TemporaryDirectory(prefix="undersong-damage-") as name:
        folder = Path(name)
        pristine = given.store or make_store(build, folder)
        (folder / "before").mkdir()
        copy = folder / "before" / pristine.name
        shutil.copy(pristine, copy)
        faults, lines, health = examine(build, folder / "before", copy, {"lines": {}, "takes": {}})
        if faults or health["damage"] or health["sentence"]:
            sys.exit(f"damage: the store is not whole before it is damaged: {faults} {health}")
        daemon = Daemon(build, folder / "before", copy)
        daemon.connect()
        takes = [take for deleted in (False, True) for take in daemon.ask("take.list", {"limit": 500, "deleted": deleted})["result"]["takes"]]
        kept = {"lines": lines, "takes": {take["take"]: take for take in takes}}
        daemon.stop()
        pristine = copy  # migrated
        counts, faulty, saved, possible, noticed = {}, 0, 0, 0, 0
        begun = time.monotonic()
        for i in range(given.first, given.first + given.copies):
            rng = random.Random(f"{given.seed} {i}")
            here = folder / f"copy-{i}"
            here.mkdir()
            store = here / "takes.sqlite"
            shutil.copy(pristine, store)
            kind, where = damage(rng, store)
            intact = readable(pristine, store)
            if given.keep:
                shutil.copy(store, here / "damaged")
            faults, lines, health = examine(build, here, store, kept)
            of_kind = counts.setdefault(kind, {"copies": 0, "noticed": 0, "ended": 0, "invalid": 0, "large": 0, "unnoticed": 0})
            of_kind["copies"] += 1
            if health and (health["damage"] or health["sentence"]):
                noticed += 1
                of_kind["noticed"] += 1
            if lines is not None:
                same = sum(lines.get(number) == line for number, line in kept["lines"].items())
                saved += same
                possible += len(kept["lines"])
                if intact and intact[0] and same < len(kept["lines"]) * (intact[0] - 1) / intact[1]:
                    faults["lost"] = f"{same} of {len(kept['lines'])} lines, {intact[0]} of {intact[1]} pages untouched; {health}"
            for fault, sentence in faults.items():
                of_kind[fault] = of_kind.get(fault, 0) + 1
                print(f"copy {i} ({kind}, {where}): {fault}: {sentence[:300]}", flush=True)
            if faults:
                faulty += 1
                if given.keep:
                    given.keep.mkdir(parents=True, exist_ok=True)
                    shutil.copy(here / "damaged", given.keep / f"copy-{i}.sqlite")
            shutil.rmtree(here)
            if (i + 1) % 10 == 0:
                print(f"copy {i} after {time.monotonic() - begun:.0f} s", flush=True)
        print(f"damage: {given.copies} copies of {len(kept['lines'])} lines and {len(kept['takes'])} takes, seed {given.seed}, "
              f"{time.monotonic() - begun:.0f} s: {faulty} with a fault, {noticed} noticed, {saved} of {possible} lines as they were")
        for kind, of_kind in sorted(counts.items()):
            print(f"  {kind:5} " + ", ".join(f"{count} {word}" for word, count in of_kind.items()))
        sys.exit(1 if faulty else 0)


if __name__ == "__main__":
    main()

#!/usr/bin/env python3
"""Counts the instructions that the offline analysis of the demo takes, and compares them with the kept count.

usage: tests/bench/instructions.py BUILD [--keep]

Time depends on what else a machine does, but the number of instructions hardly does: a change of a percent is a change of the code,
of the compiler or of a library. The kept count is that of a release built by GCC 12 on x86-64 without AVX2, which valgrind (Debian: valgrind)
counts. Exit 1 if it is more than TOLERANCE above; --keep writes the new count to instructions.json.
"""
import argparse
import json
import re
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
DEMO = HERE.parents[1] / "configs" / "demo.mid"
KEPT = HERE / "instructions.json"
TOLERANCE = 0.03
WORK = {"analyse": ["analyse", DEMO], "loop": ["loop", DEMO]}


def count(build, words):
    """Instructions of the whole program, less those of starting it."""
    def of(arguments):
        done = subprocess.run(["valgrind", "--tool=callgrind", "--callgrind-out-file=/dev/null", build / "clients" / "undersong", *arguments],
                              capture_output=True, text=True)
        if done.returncode != 0:
            sys.exit(f"instructions.py: undersong {' '.join(map(str, arguments))} failed: {done.stderr.strip().splitlines()[-1]}")
        return int(re.search(r"Collected : (\d+)", done.stderr).group(1))

    return of(words) - of(["--version"])


def main():
    options = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    options.add_argument("build", type=Path)
    options.add_argument("--keep", action="store_true")
    given = options.parse_args()
    kept = json.loads(KEPT.read_text()) if KEPT.exists() else {}
    counts = {name: count(given.build.resolve(), words) for name, words in WORK.items()}
    more = []
    for name, now in counts.items():
        before = kept.get(name)
        print(f"{name:10} {now / 1e6:10.1f} million instructions" + (f", {100 * (now / before - 1):+.1f} %" if before else ""))
        if before and now > before * (1 + TOLERANCE):
            more.append(name)
    if given.keep:
        KEPT.write_text(json.dumps(counts, indent=1) + "\n")
    elif more:
        sys.exit(f"instructions.py: more than is kept: {', '.join(more)}")


if __name__ == "__main__":
    main()

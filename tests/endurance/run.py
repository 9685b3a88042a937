#!/usr/bin/env python3
"""A long evening in little time: hours of playing over JACK, pedals, keyboards that are plugged in and out, clients that come and
go, songs worked on.

usage: tests/transport/with_jack.sh tests/endurance/run.py BUILD [--minutes 10] [--hours 8] [--seed S]

The playing is that of HOURS, squeezed into MINUTES of clock; a take ends after as much silence. At the end:

  events   every message that was sent is in the log of its input, in order, and nothing else is
  memory   resident memory in the last third is no more than a tenth above that in the second third
  state    a fresh daemon on the same takes gives the same answers as the one that ran through

Exit: 0 if all of these hold, 1 otherwise.
"""
import argparse
import os
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "damage"))
from run import Daemon, lines_of  # noqa: E402

CHORDS = ((48, 64, 67, 71), (45, 60, 64, 67), (50, 60, 65, 69), (43, 59, 65, 74), (41, 57, 60, 64), (46, 58, 62, 69))
ASKED = ("take.get", "take.notes", "take.meetings", "take.picture", "take.loop", "take.beats", "take.reharmonise")


class JackDaemon(Daemon):
    """On the JACK server of this test, with a configuration of its own."""

    def __init__(self, build, home, store):
        config = home / "config"
        config.write_text('[midi]\nservice = "jack"\n[takes]\nsilence_s = 1\nbackups = 2\n')
        super().__init__(build, home, store, ["--config", config])

    def environment(self, env):
        for name in ("JACK_DEFAULT_SERVER", "JACK_NO_START_SERVER"):
            env.pop(name, None)
            if name in os.environ:
                env[name] = os.environ[name]
        return env


class Keyboard:
    def __init__(self, build, name):
        self.name, self.sent = name, []
        self.process = subprocess.Popen([build / "tests/transport/transport_player", name], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.process.stdout.readline()

    def send(self, *message):
        self.process.stdin.write("send " + " ".join(f"{byte:02X}" for byte in message) + "\n")
        self.process.stdin.flush()
        answer = self.process.stdout.readline().strip()
        if answer != "ok":
            raise RuntimeError(f"the keyboard {self.name} says {answer}")
        self.sent.append(list(message))

    def unplug(self):
        self.process.stdin.close()
        self.process.wait(20)


def resident(pid):
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) << 10
    return 0


def until(condition, what, patience=30):
    end = time.monotonic() + patience
    while not condition():
        if time.monotonic() > end:
            raise TimeoutError(what)
        time.sleep(0.01)


def state_of(daemon):
    """What a client sees of everything that was kept."""
    out = {}
    for method, params in (("take.list", {"limit": 500}), ("take.digest", {}), ("take.find", {"question": "minor chord"}), ("idiom.get", {}),
                           ("settings.get", {}), ("sketch.list", {})):
        out[method] = daemon.ask(method, params).get("result")
    for take in out["take.list"]["takes"][:20]:
        for method in ("take.get", "take.notes", "take.meetings", "take.picture", "take.loop", "take.beats"):
            out[f"{method} {take['take']}"] = daemon.ask(method, {"take": take["take"]}).get("result")
    return out


def main():
    options = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    options.add_argument("build", type=Path)
    options.add_argument("--minutes", type=float, default=10)
    options.add_argument("--hours", type=float, default=8)
    options.add_argument("--seed", type=int, default=1)
    given = options.parse_args()
    rng, build = random.Random(given.seed), given.build.resolve()
    squeeze = given.hours * 60 / given.minutes
    faults, memory, plugged, visitors, worked = [], [], 0, 0, 0
    with tempfile.TemporaryDirectory(prefix="undersong-endurance-") as name:
        home = Path(name)
        store = home / "takes.sqlite"
        daemon = JackDaemon(build, home, store)
        if not daemon.connect():
            sys.exit("endurance: the daemon did not start: " + (home / "log").read_text()[-500:])

        def heard(keyboard):
            return any(keyboard.name in port["name"] and port["connected"] for port in daemon.ask("status.get", {})["result"]["ports"])

        sent = {}  # by the name of a port, all that was sent to it
        keyboards = []

        def plug():
            nonlocal plugged
            plugged += 1
            keyboard = Keyboard(build, f"Keys{plugged % 3}")
            until(lambda: heard(keyboard), f"{keyboard.name} was not heard")
            keyboards.append(keyboard)

        def unplug():
            keyboard = keyboards.pop(0)
            time.sleep(0.1)  # what JACK still holds of the last period
            keyboard.unplug()
            until(lambda: not heard(keyboard), f"{keyboard.name} is still there")
            sent.setdefault(keyboard.name, []).extend(keyboard.sent)

        plug()
        begun = time.monotonic()
        end = begun + given.minutes * 60
        next_memory = begun
        others = []
        while time.monotonic() < end:
            keyboard = keyboards[-1]
            for chord in rng.choices(CHORDS, k=rng.randint(8, 40)):  # about a minute of playing
                pedal = rng.random() < 0.6
                if pedal:
                    keyboard.send(0xB0, 64, 127)
                for key in chord:
                    keyboard.send(0x90, key, rng.randint(40, 100))
                time.sleep(rng.uniform(0.5, 2) / squeeze)
                top = rng.randint(72, 84)
                keyboard.send(0x90, top, 70)
                time.sleep(rng.uniform(0.5, 1) / squeeze)
                keyboard.send(0x80, top, 64)
                for key in chord:
                    keyboard.send(0x80, key, 64)
                if pedal:
                    keyboard.send(0xB0, 64, 0)
                if rng.random() < 0.1:
                    keyboard.send(0xE0, 0, rng.randint(50, 80))
            what = rng.random()
            if what < 0.10:
                time.sleep(1.2)  # a rest that ends the take
            elif what < 0.14:
                if len(keyboards) == 1:
                    unplug()
                plug()
            elif what < 0.18 and len(keyboards) > 1:
                unplug()
            elif what < 0.40:  # a client comes, looks around and goes
                visitors += 1
                other = object.__new__(JackDaemon)
                other.home, other.process, other.unread, other.number = daemon.home, daemon.process, b"", 0
                if other.connect():
                    other.ask("subscribe", {"topics": ["moment", "status", "log"]})
                    others.append(other)
                if len(others) > 12:
                    others.pop(rng.randrange(len(others))).socket.close()
            elif what < 0.55:  # somebody works on a song
                takes = daemon.ask("take.list", {"limit": 30})["result"]["takes"]
                done = [take["take"] for take in takes if take.get("ended")]
                if done:
                    worked += 1
                    daemon.ask(rng.choice(ASKED), {"take": rng.choice(done)})
                    if rng.random() < 0.3:
                        made = daemon.ask("sketch.propose", {"takes": done[:1]})
                        if "result" in made:
                            daemon.ask("sketch.put", {"name": f"song {worked % 5}", "sketch": made["result"]})
            elif what < 0.6:
                daemon.ask("take.mark", {})
            if time.monotonic() >= next_memory:
                memory.append(resident(daemon.process.pid))
                next_memory += given.minutes * 60 / 60
        for other in others:
            other.socket.close()
        while keyboards:
            unplug()
        until(lambda: not daemon.ask("status.get", {})["result"]["take"], "the last take did not end")
        status = daemon.ask("status.get", {})["result"]
        names = {port["number"]: port["name"] for port in status["ports"]}
        kept = {}
        for line in lines_of(daemon):
            if line["kind"] in ("midi", "echo"):
                message = line[line["kind"]]
                kept.setdefault(names[message["port"]], []).append(message["bytes"])
        total = 0
        for keyboard, messages in sent.items():
            total += len(messages)
            there = [bytes_ for port, all_ in kept.items() if keyboard in port for bytes_ in all_]
            if there != messages:
                first = next((i for i, (a, b) in enumerate(zip(there, messages)) if a != b), min(len(there), len(messages)))
                faults.append(f"events: {keyboard}: {len(messages)} sent, {len(there)} kept, the first difference at {first}")
        if status["lost_events"] or status["store"]["lost"] or not status["store"]["good"]:
            faults.append(f"events: {status['lost_events']} lost, {status['store']}")
        third = len(memory) // 3
        middle, last = max(memory[third : 2 * third]), max(memory[2 * third :])
        if last > middle * 1.1:
            faults.append(f"memory: {middle >> 20} MB in the second third, {last >> 20} MB in the last")
        until(lambda: all(take.get("ended") for take in daemon.ask("take.list", {"limit": 500})["result"]["takes"]), "a take is open")
        # What is found in takes afterwards comes at low priority, once nobody plays.
        def studied():
            return all(daemon.ask("take.picture", {"take": take["take"]})["result"]["studied"] for take in daemon.ask("take.list", {"limit": 500})["result"]["takes"])

        until(studied, "not every take was studied", 900)
        before = state_of(daemon)
        if not daemon.stop():
            faults.append("state: the daemon did not stop as it should")
        fresh = JackDaemon(build, home, store)
        fresh.connect()
        after = state_of(fresh)
        fresh.stop()
        for what in before:
            if before[what] != after[what]:
                faults.append(f"state: {what} is another in a fresh daemon: {str(before[what])[:200]} / {str(after[what])[:200]}")
        print(f"endurance: {given.hours:g} h in {(time.monotonic() - begun) / 60:.1f} min: {total} messages, {plugged} keyboards plugged in, "
              f"{visitors} visits, {worked} times at a song, {len(before['take.list']['takes'])} takes; memory "
              + " ".join(str(each >> 20) for each in memory[:: max(1, len(memory) // 12)]) + " MB")
    for fault in faults[:20]:
        print("endurance: " + fault)
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()

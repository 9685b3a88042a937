#!/usr/bin/env python3
"""Runs every command that README.md names, so that none is misspelt or out of date.

usage: tests/transport/with_jack.sh tests/docs/commands.py BUILD
What stands for something of the reader's own (take 12, FILE.mid, FOLDER) is replaced by something that is there. Commands of the
system, such as apt and systemctl, are not run; NOT_RUN lists them. Exit: 0 good, 1 not.
"""
import json
import os
import re
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SOURCE = Path(__file__).resolve().parents[2]
PATIENCE = 60  # seconds, for everything that is waited for

# Commands in blocks that change the machine or build the tree; other tests run them.
NOT_RUN = ("clients/demo", "tests/run", "daemon/build.sh", "(cd build", "sudo ", "systemctl ", "build/undersongd")
# What the reader fills in.
INSTEAD = {"12": "1", "13": "2", "FILE.mid": "demo.mid", "TUNE.mid": "demo.mid", "STORE": "other.sqlite", "Stage keyboard": "Listener"}
# These show something until they are stopped; they must still run after they have begun to.
ENDLESS = ("live",)


def commands(text):
    """The words of every command of `undersong`, in the order of the page."""
    found, block = [], False
    for line in text.splitlines():
        if line.startswith("```"):
            block = not block
        elif block:
            command = line.split("#")[0].strip()
            if command.startswith(("build/clients/undersong ", "undersong ")):
                found.append(command.split("undersong ", 1)[1])
            elif command and not command.startswith(NOT_RUN) and re.match(r"^(sudo |systemctl |[a-z]+/[a-z]|\([a-z]+ )", command):
                raise SystemExit(f"docs: a command that is neither run nor left out on purpose: {command}")
        else:
            # In the first column of a table of commands, `undersong` is not said again.
            row = re.match(r"^\| (`undersong [^|]*)\|", line)
            if row:
                spans = re.findall(r"`([^`]+)`", row[1])
                found += [span.removeprefix("undersong ") for span in spans]
                line = line[row.end() :]
            # Elsewhere a command is only mentioned, perhaps without what it needs; so it is asked for its help.
            found += [span.removeprefix("undersong ") + " --help" for span in re.findall(r"`(undersong [^`]+)`", line)]
    return found


class Daemon:
    def __init__(self, build, home):
        self.build, self.home = build, home
        self.env = {**os.environ, "HOME": str(home), "XDG_RUNTIME_DIR": str(home / "run")}
        for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "NOTIFY_SOCKET"):
            self.env.pop(name, None)
        self.process = None

    def start(self, *options):
        self.process = subprocess.Popen(
            [self.build / "undersongd", "--config", self.home / "config.toml", *options], env=self.env, stderr=subprocess.DEVNULL
        )
        self.until(lambda: self.ask("status.get") is not None, "the daemon")

    def stop(self):
        if self.process:
            self.process.send_signal(signal.SIGTERM)
            self.process.wait(PATIENCE)
            self.process = None

    def ask(self, method, params=None):
        try:
            with socket.socket(socket.AF_UNIX) as connection:
                connection.settimeout(10)
                connection.connect(str(self.home / "run/undersong/socket"))
                connection.sendall((json.dumps({"jsonrpc": "2.0", "id": 1, "method": method, "params": params or {}}) + "\n").encode())
                for line in connection.makefile():
                    answer = json.loads(line)
                    if answer.get("id") == 1:
                        return answer.get("result")
        except (OSError, ValueError):
            return None
        return None

    @staticmethod
    def until(condition, what):
        end = time.monotonic() + PATIENCE
        while not condition():
            if time.monotonic() > end:
                raise SystemExit(f"docs: {what} did not come")
            time.sleep(0.05)

    def hold(self, pitches):
        """Keys that stay down, on a connection that stays open."""
        self.keys = socket.socket(socket.AF_UNIX)
        self.keys.connect(str(self.home / "run/undersong/socket"))
        notes = [{"pitch": pitch, "velocity": 70, "on": True} for pitch in pitches]
        self.keys.sendall((json.dumps({"jsonrpc": "2.0", "id": 1, "method": "notes.send", "params": {"notes": notes}}) + "\n").encode())

    def press(self, pitch):
        for on in (True, False):
            self.ask("notes.send", {"notes": [{"pitch": pitch, "velocity": 70, "on": on}]})


def run(daemon, words, folder):
    """None if the command did what the page says; otherwise what went wrong."""
    command = [daemon.build / "clients/undersong", *words]
    if words[0] in ENDLESS and "--help" not in words:
        process = subprocess.Popen(command, env=daemon.env, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
        said = process.stdout.read(1)
        running = process.poll() is None
        process.send_signal(signal.SIGINT)
        process.wait(PATIENCE)
        return None if said and running else "it ended"
    if words[:2] == ["doctor", "--listen"]:
        process = subprocess.Popen(command, env=daemon.env, cwd=folder, stdout=subprocess.PIPE, text=True)
        process.stdout.readline()
        daemon.press(72)
        said = process.communicate(timeout=PATIENCE)[0]
        return None if process.returncode == 0 else said
    done = subprocess.run(
        command, env=daemon.env, cwd=folder, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=PATIENCE * 3
    )
    return None if done.returncode == 0 else f"{done.stdout}{done.stderr}".strip()[-300:]


def main():
    build = Path(sys.argv[1]).resolve()
    home = Path(tempfile.mkdtemp())
    daemon = Daemon(build, home)
    failed, count = [], 0
    try:
        folder = home / "work"
        (folder / "FOLDER").mkdir(parents=True)
        for name in ("demo.mid", "demo_song.toml"):
            shutil.copy(SOURCE / "configs" / name, folder)
        shutil.copy(SOURCE / "configs/demo.mid", folder / "FOLDER")
        (folder / "configs").symlink_to(SOURCE / "configs")
        # The port for devices stays on this machine, and no page is served at the usual port.
        (home / "config.toml").write_text('[server]\nweb_port = 0\ndevices_port = 0\ndevices_address = "127.0.0.1"\n')
        for _ in range(2):
            daemon.start("--play", str(SOURCE / "configs/demo.mid"), "--speed", "200", "--quit-after")
            daemon.process.wait(PATIENCE)
        listener = subprocess.Popen([build / "tests/transport/transport_player", "Listener", "echo"], stdin=subprocess.PIPE, stdout=subprocess.DEVNULL)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        (home / "config.toml").write_text(
            f'[server]\nweb_port = {port}\ndevices_port = {port + 1}\ndevices_address = "127.0.0.1"\n'
        )
        daemon.start()
        daemon.until(lambda: daemon.ask("status.get")["outputs"][0]["connected"], "the MIDI output")
        daemon.ask("device.open", {"on": True})  # `pair` wants an open port
        for command in commands((SOURCE / "README.md").read_text()):
            into = None
            if " > " in command:
                command, into = command.split(" > ")
            words = shlex.split(command)
            words = [word if before.startswith("--") and word == "12" else INSTEAD.get(word, word) for before, word in zip(["", *words], words)]
            if "hand-over" in words:  # each into a folder of its own
                words = [f"handed-{count}" if word == "FOLDER" else word for word in words]
            if words == ["open"]:
                words += ["--print"]
            daemon.hold([48, 64, 67, 79])  # a chord with a melody note on top
            daemon.until(lambda: daemon.ask("moment.get")["alternatives"], f"the list of alternatives before `{command}`")
            if words[0] == "beat":  # there is something to correct
                for _ in range(4):
                    daemon.ask("beat.tap")
                    time.sleep(0.4)
            count += 1
            if into:
                done = subprocess.run([build / "clients/undersong", *words], env=daemon.env, cwd=folder, capture_output=True, text=True)
                (folder / into).write_text(done.stdout)
                wrong = None if done.returncode == 0 else done.stderr
            else:
                wrong = run(daemon, words, folder)
            if wrong:
                failed.append(f"undersong {shlex.join(words)}: {wrong}")
            daemon.keys.close()
        listener.kill()
        listener.wait()
    finally:
        daemon.stop()
        shutil.rmtree(home, ignore_errors=True)
    for line in failed:
        print(f"docs: FAILED {line}")
    print(f"docs: {count - len(failed)} of {count} commands of README.md do what it says")
    return 1 if failed or count == 0 else 0


if __name__ == "__main__":
    sys.exit(main())

#!/usr/bin/env python3
"""A client in twenty lines: prints each chord that the daemon hears. Start undersongd first."""
import json, os, socket

runtime = os.environ.get("XDG_RUNTIME_DIR")
path = f"{runtime}/undersong/socket" if runtime else f"/tmp/undersong-{os.getuid()}/socket"
daemon = socket.socket(socket.AF_UNIX)
daemon.connect(path)
request = {"jsonrpc": "2.0", "id": 1, "method": "subscribe", "params": {"topics": ["moment"]}}
daemon.sendall(json.dumps(request).encode() + b"\n")
shown = None
for line in daemon.makefile():
    message = json.loads(line)
    chord = message.get("method") == "moment" and message["params"]["chord"]
    if chord and chord["harte"] != shown:
        shown = chord["harte"]
        over = "/" + chord["bass_name"] if "bass_name" in chord else ""
        symbol = chord["root_name"] + "".join(chord["letters"]) + over
        print(symbol, "melody", [note["name"] for note in message["params"]["melody"]], flush=True)

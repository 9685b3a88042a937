#!/usr/bin/env python3
"""Writes the inputs that the fuzzers begin with: examples of valid input, from the tree and from this file.

usage: examples.py FOLDER      writes FOLDER/smf, /rpc, /question and /beat, one file for each example
"""
import pathlib, re, struct, sys

ROOT = pathlib.Path(__file__).resolve().parents[2]


def chunk(kind, body): return kind + struct.pack('>I', len(body)) + body


def smf():
    """The demo, and small files with features that it lacks: two tracks, running status, system exclusive, SMPTE time."""
    yield (ROOT / 'configs' / 'demo.mid').read_bytes()
    end = b'\x00\xff\x2f\x00'
    conductor = b'\x00\xff\x51\x03\x07\xa1\x20\x00\xff\x58\x04\x03\x02\x18\x08\x00\xff\x59\x02\xfd\x00\x83\x60\xff\x51\x03\x06\x1a\x80' + end
    hands = b'\x00\xff\x03\x04left\x00\x90\x30\x40\x00\x37\x40\x60\x30\x00\x00\x37\x00\x00\xb0\x40\x7f\x00\xc0\x05\x00\xe0\x00\x40' + end
    sysex = b'\x00\xf0\x05\x7e\x7f\x09\x01\xf7\x10\xf7\x03\x01\x02\xf7\x00\x99\x24\x50\x10\x89\x24\x00' + end
    yield chunk(b'MThd', struct.pack('>HHH', 1, 2, 480)) + chunk(b'MTrk', conductor) + chunk(b'MTrk', hands)
    yield chunk(b'MThd', struct.pack('>HHh', 0, 1, -25 * 256 + 40)) + chunk(b'Xtra', b'12') + chunk(b'MTrk', sysex)


def rpc():
    """The messages in PROTOCOL.md, a batch, a notification, and a request that is refused."""
    text = ''.join(re.findall(r'^```json\n(.*?)^```', (ROOT / 'protocol' / 'PROTOCOL.md').read_text(), re.M | re.S))
    messages = [re.sub(r'\n\s*', '', each) for each in re.split(r'\n(?=\{)', text) if each.startswith('{')]
    if len(messages) < 20: sys.exit('examples.py: PROTOCOL.md shows only %d messages' % len(messages))
    yield from (each.encode() for each in messages)
    yield b'[' + ','.join(messages[:3]).encode() + b']'
    yield b'{"jsonrpc":"2.0","method":"any","params":{"take":12,"from":0.5,"text":"\\ud83c\\udfb9"}}'
    yield b'{"jsonrpc":"2.0","id":null,"method":7}'


def question():
    """The example questions that clients show."""
    found = re.findall(r'QuestionExample\{"((?:[^"\\]|\\.)*)"', (ROOT / 'protocol' / 'question_examples.h').read_text())
    if len(found) < 10: sys.exit('examples.py: question_examples.h has only %d questions' % len(found))
    yield from (each.encode() for each in found)


def beat():
    """Steps as beat_fuzz.cpp reads them: each has a kind, a time (how many 10 ms later) and the values of its kind."""
    yield bytes([0, 15, 0, 50] + [5, 100] * 8)                               # four even taps, then time passes
    yield bytes([0] + [0, 60, 48, 30, 0, 60, 55, 30] * 20)                   # even notes
    yield bytes([0, 15, 0, 60, 10, 10, 3, 9, 10, 6, 10, 7, 10, 8, 10, 11, 20])  # taps, then every correction
    yield bytes([0, 12, 0, 4, 14, 0, 60, 14, 0, 60, 12, 0, 6, 13, 5, 7, 8, 0])  # a clock that starts, runs and stops
    yield bytes([1, 3, 0, 8] + [1, 50, 0, 50] * 4 + [10, 0, 40, 4, 0, 10, 3, 40, 3, 0])  # stored beats with lines
    yield bytes([255, 0, 4] + [20, 60, 40, 50] * 8)                          # a few notes


def main(folder):
    for make in (smf, rpc, question, beat):
        into = pathlib.Path(folder) / make.__name__
        into.mkdir(parents=True, exist_ok=True)
        for i, example in enumerate(make()): (into / ('example-%03d' % i)).write_bytes(example)


if __name__ == '__main__':
    if len(sys.argv) != 2: sys.exit(__doc__)
    main(sys.argv[1])

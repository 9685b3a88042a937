#!/usr/bin/env python3
"""Writes the inputs that the fuzzers begin with: examples of valid input, from the tree and from this file.

usage: examples.py FOLDER      writes FOLDER/smf, /rpc, /question and so on, one file for each example
"""
import pathlib, re, struct, sys, zlib

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
    # A meter said before the first beat was shown: a beat was then told with a place outside its bar.
    yield bytes.fromhex('00003c301e003c371e003c301e003c3000371e3c1e003c381e003c000f000564056405643c0a0a01090a060a0745000a0b3c371e003c30'
                        '3c371e003c301e003c371e003c301e003c37311e003c371e003c301e003c371e003cffffdf29371e003c301e003c371e00371e003c301e'
                        '003c601e003c311e003c371e003c301e003c371e003c301e003c37d8ffc32fe1ffc3c81e00003c371e003c301e003c003c3c30')
    yield bytes([255, 0, 4] + [20, 60, 40, 50] * 8)                          # a few notes


def loop():
    """Steps as loop_fuzz.cpp reads them: rounds of chords, single notes, the pedal, and whole MIDI files."""
    yield bytes([0, 210, 0, 3, 3, 14])                                       # three rounds of four chords
    yield bytes([0, 220, 2, 2, 5, 7] + [20, 76, 70, 10, 76, 0] * 12)         # a vamp, and a tune after it
    yield bytes([0, 230, 5, 3, 2, 11, 251, 230, 5, 3, 2, 11, 250])           # the same, with the pedal
    yield bytes([0] + [60, 48, 70, 20, 48, 0, 0, 52, 70, 20, 52, 0] * 20)
    yield bytes([0] + [5, 60, 70] * 30)                                      # keys that are never let go
    yield from (b'\x03' + file for file in smf())


def sketch():
    """The demo's song, and sketches that use every key that sketch.h names."""
    yield (ROOT / 'configs' / 'demo_song.toml').read_bytes()
    section = '[[section]]\nname = "Verse"\nkind = "verse"\nsource = "rounds.mid"\n'
    yield section.encode()
    for more in ('label = "A"\nrepeats = 2\nlayers = ["melody", "chords"]', 'passes = [3, 1]\ntranspose = -2\nkey = "Am"',
                 'span = [1.5, 9.0]\nmeter = 3\nfeel = "swing"', 'chords = ["Am9", "D7", "G/B", "Cmaj7"]',
                 'chords = "Cm7 . Ab | G7"\nrepeats = 1', 'reharmonise = 3\ntempo = 140\ndynamics = "mf"',
                 'tune = 2\nlyrics = ["first verse", "sec-ond verse"]', 'begins = "segno"\nends = "D.S. al coda"',
                 'ritardando = true\nfermata = true\nlyrics = "one line"'):
        yield ('title = "Evening"\ntempo = 92\nfeel = "straight"\ncount_in = 1\n' + section + more + '\n').encode()
    yield (section + section.replace('source = "rounds.mid"', 'take = 3').replace('verse', 'chorus') + 'begins = "coda"\n').encode()


def line():
    """Stored lines as line_fuzz.cpp reads them (kind - 1, take, time, size, data), rows, and spill files."""
    def stored(kind, data, take=1, time=10): return bytes([kind - 1, take, time, len(data)]) + data
    chord = b'{"root":5,"root_name":"F","quality":"maj7","family":"major","bass":5,"harte":"F:maj7"}'
    lines = [stored(1, b'1790000000000'), stored(2, b'\x00\x90<F'), stored(3, chord), stored(2, b'\x00\x80<\x00'),
             stored(4, b'{"tonic":"F","mode":"major","harte":"F:major","confidence":0.5}'), stored(8, b'this turn'),
             stored(10, b'C:min7'), stored(22, b'6'), stored(15, b'{"word":"tap","interval":500000,"meter":4,"beat":0}'),
             stored(17, b'{"pass":1}'), stored(19, b'{"port":2,"name":"Stage keys","events":3}'), stored(9, b'silence')]
    yield b'\x02' + b''.join(lines)
    for each in lines: yield b'\x02' + each
    yield b'\x00' + bytes([1, 2, 3, 60, 16, 0] * 3)
    yield b'\x00' + bytes([2, 10, 60, 20, 64])
    text = ['store - take 0 token 0f3a path /tmp/x', '2 83490112 %00%90L%4A', 'end 1']
    yield b'\x01undersong-waiting 1\n' + ''.join('%08x %s\n' % (zlib.crc32(each.encode()), each) for each in text).encode()


def request():
    """Every request that PROTOCOL.md shows, of a take that is there."""
    for each in rpc(): yield each.replace(b'"take":12', b'"take":1').split(b'\n')[0]
    yield (b'{"jsonrpc":"2.0","id":1,"method":"beat.correct","params":{"what":"twice"}}\n'
           b'{"jsonrpc":"2.0","id":2,"method":"beat.correct","params":{"what":"half","take":1,"at":30000000}}')


def main(folder):
    for make in (smf, rpc, question, beat, loop, sketch, line, request):
        into = pathlib.Path(folder) / make.__name__
        into.mkdir(parents=True, exist_ok=True)
        for i, example in enumerate(make()): (into / ('example-%03d' % i)).write_bytes(example)


if __name__ == '__main__':
    if len(sys.argv) != 2: sys.exit(__doc__)
    main(sys.argv[1])

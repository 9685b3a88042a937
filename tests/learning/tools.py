#!/usr/bin/env python3
"""The tools with which the tables were learnt still do what the learning scripts read.

usage: tools.py BUILD_FOLDER FILE.mid
Each tool is run over FILE. What it writes must have the rows that the scripts take it to have, every number finite, and
as many rows as there are key presses or moments with one. Every script must be Python that compiles. Standard library only.
"""
import array, json, math, pathlib, re, subprocess, sys, tempfile

LEARNING = pathlib.Path(__file__).resolve().parents[2] / 'daemon' / 'harmony' / 'learning'


def fail(sentence):
    sys.exit('learning tools: ' + sentence)


def constant(script, name):
    """A number that a script gives to a name: NAME = 7, or FIRST, NAME = 3, 7."""
    for names, values in re.findall(r'^([A-Z][A-Z0-9, ]*) = (\d[\d, ]*)', (LEARNING / script).read_text(), re.M):
        said = dict(zip(names.split(', '), values.split(', ')))
        if name in said: return int(said[name])
    fail('%s does not say what %s is' % (script, name))


def numbers(raw, what):
    out = array.array('f'); out.frombytes(raw)
    if not all(map(math.isfinite, out)): fail(what + ' writes a number that is not finite')
    return out


def rows(raw, width, what):
    if not raw or len(raw) % (4 * width): fail('%s writes %d bytes, which are no rows of %d numbers' % (what, len(raw), width))
    out = numbers(raw, what)
    return [out[i:i + width] for i in range(0, len(out), width)]


def main(build, midi):
    build = pathlib.Path(build)

    def run(tool, *words):
        done = subprocess.run([build / tool, *map(str, words)], stdout=subprocess.PIPE)
        if done.returncode: fail('%s ends with %d' % (tool, done.returncode))
        return done.stdout

    for script in LEARNING.glob('*.py'):
        try: compile(script.read_text(), str(script), 'exec')
        except SyntaxError as wrong: fail('%s: %s' % (script.name, wrong))
    with tempfile.TemporaryDirectory() as folder:
        out = pathlib.Path(folder) / 'rows'

        def written(tool, *words):
            run(tool, midi, out, *words)
            return out.read_bytes()
        harmony = rows(written('dump_harmony'), 2 + 12 * constant('ear_data.py', 'CHANNELS') + constant('ear_data.py', 'SCALARS'), 'dump_harmony')
        melody = rows(written('dump_melody', '-'), 2 + constant('train_melody.py', 'IN'), 'dump_melody')
        key = rows(written('dump_key'), 1 + 12 * constant('train_key.py', 'RW') + constant('train_key.py', 'SC'), 'dump_key')
    # One question: C major, E held, after C and F, of which the take has heard F.
    asked = b'1 0 4 2 1 4 2 4 65 0 -1 -1 1 65 4 16'
    usual = subprocess.run([build / 'dump_usual'], input=asked, stdout=subprocess.PIPE)
    if usual.returncode: fail('dump_usual ends with %d' % usual.returncode)
    if len(rows(usual.stdout, 156, 'dump_usual')) != 2: fail('dump_usual writes no scores without and with the take')
    told = [json.loads(line) for line in run('ear_events', 'analyse', midi, '--events').splitlines()]
    moments = {round(row[0], 3) for row in melody}
    if not len(moments) <= len(harmony) <= len(melody):
        fail('dump_harmony writes %d moments, dump_melody %d presses' % (len(harmony), len(melody)))
    if len(key) != sum(row[1] > .5 for row in harmony):
        fail('dump_key writes %d clusters, dump_harmony %d' % (len(key), sum(row[1] > .5 for row in harmony)))
    for what in ('chord', 'melody', 'key'):
        if not any(what in line for line in told): fail('ear_events tells no ' + what)
    if any(line['t'] < before['t'] for before, line in zip(told, told[1:])): fail('ear_events tells something too late')
    for warp in (0, 3):
        strikes = run('dump_strikes', warp, midi)
        name, rest = strikes.split(b'\n', 1)
        count, width = int.from_bytes(rest[:4], 'little'), constant('train_beats.py', 'WIDTH')
        if name.decode() != midi or count == 0: fail('dump_strikes writes no strikes')
        rows(rest[4 + 16 * count:], width, 'dump_strikes')
        if len(rest) != 4 + count * (16 + 4 * width): fail('dump_strikes writes too much or too little')
    levels = [json.loads(line) for line in run('dump_levels', midi).splitlines()]
    if not levels or any(level['file'] != midi or not level['beats'] and any(level['features'][:1]) for level in levels):
        fail('dump_levels writes no levels')
    loops = [json.loads(line) for line in run('dump_loop', midi).splitlines()]
    if [take['name'] for take in loops] != [midi] or not loops[0]['loops']: fail('dump_loop writes no loop')
    if any(len(loop['evidence']) != 7 or not all(map(math.isfinite, loop['evidence'])) for loop in loops[0]['loops']):
        fail('dump_loop writes evidence that train_loop.py cannot read')


if __name__ == '__main__':
    if len(sys.argv) != 3: sys.exit(__doc__)
    main(*sys.argv[1:])

// Reads what `undersong hand-over` writes with readers that are not ours (npm: midi-file, fast-xml-parser) and holds it, note for
// note, against what was played and against itself.
//
// usage: node hand_over.mjs PATH-TO-undersong FILE.mid...
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { parseMidi } from 'midi-file';
import { XMLParser } from 'fast-xml-parser';

const [tool, ...inputs] = process.argv.slice(2);
const faults = [];
let file = '';
const check = (right, what) => { if (!right) faults.push(`${file}: ${what}`); };

// ---- MIDI ----
const clockOf = (midi) => {
  const tempos = [];
  for (const track of midi.tracks) {
    let tick = 0;
    for (const e of track) { tick += e.deltaTime; if (e.type === 'setTempo') tempos.push([tick, e.microsecondsPerBeat]); }
  }
  tempos.sort((a, b) => a[0] - b[0]);
  const per = midi.header.ticksPerBeat;
  const steps = [[0, 0, 500000]];
  for (const [tick, tempo] of tempos) {
    const last = steps.at(-1);
    steps.push([tick, last[1] + ((tick - last[0]) * last[2]) / per, tempo]);
  }
  let i = 0;
  return (tick) => {   // microseconds; ticks may come in any order
    if (steps[i][0] > tick) i = 0;
    while (i + 1 < steps.length && steps[i + 1][0] <= tick) ++i;
    return steps[i][1] + ((tick - steps[i][0]) * steps[i][2]) / per;
  };
};
const channelEvents = (track) => {
  let tick = 0;
  const out = [];
  for (const e of track) { tick += e.deltaTime; if (e.channel !== undefined && !e.meta) out.push({ ...e, tick }); }
  return out;
};
const key = (e) => [e.type, e.channel, e.noteNumber ?? e.controllerType ?? e.programNumber ?? e.value ?? e.amount, e.velocity ?? e.value ?? ''].join(' ');
const notesOf = (track) => {
  const open = new Map(), out = [];
  for (const e of channelEvents(track)) {
    const on = e.type === 'noteOn' && e.velocity > 0, off = e.type === 'noteOff' || (e.type === 'noteOn' && e.velocity === 0);
    if (off) { const n = open.get(e.noteNumber); check(n, `a note ends that never began at tick ${e.tick}`); if (n) n.to = e.tick; open.delete(e.noteNumber); }
    if (on) { const n = { from: e.tick, key: e.noteNumber, velocity: e.velocity }; check(!open.has(n.key), `key ${n.key} is struck twice at tick ${e.tick}`); open.set(n.key, n); out.push(n); }
  }
  check(open.size === 0, 'a note never ends');
  return out;
};
const named = (midi) => new Map(midi.tracks.map((t) => [t.find((e) => e.type === 'trackName')?.text ?? '', t]));

function checkParts(folder, source) {
  const parts = parseMidi(readFileSync(join(folder, 'parts.mid'))), played = parseMidi(readFileSync(source));
  check(parts.header.format === 1, 'the format is not 1');
  const clock = clockOf(parts), was = clockOf(played);
  const tracks = named(parts);
  // What was played, event for event and within half a millisecond or the file's own ticks.
  const before = played.tracks.flatMap((t, n) => channelEvents(t).map((e, i) => ({ ...e, n, i }))).sort((a, b) => a.tick - b.tick || a.n - b.n || a.i - b.i);
  const after = channelEvents(tracks.get('as played'));
  check(before.length === after.length, `${before.length} events were played, ${after.length} are in the file`);
  let worst = 0;
  for (let i = 0; i < Math.min(before.length, after.length); ++i) {
    check(key(before[i]) === key(after[i]), `event ${i} is ${key(after[i])}, not ${key(before[i])}`);
    worst = Math.max(worst, Math.abs(clock(after[i].tick) - was(before[i].tick)));
  }
  // The melody: each note is one that was played, in its place.
  const strokes = new Map();
  for (const e of after) if (e.type === 'noteOn' && e.velocity > 0) strokes.set(`${e.tick} ${e.noteNumber} ${e.velocity}`, true);
  const melody = notesOf(tracks.get('melody'));
  for (const n of melody) check(strokes.has(`${n.from} ${n.key} ${n.velocity}`), `melody note ${n.key} at tick ${n.from} was not played`);
  for (let i = 1; i < melody.length; ++i) check(melody[i].from >= melody[i - 1].to, `the melody has two voices at tick ${melody[i].from}`);
  // Chord names stand where chords move.
  let tick = 0;
  const names = [];
  for (const e of tracks.get('chords')) { tick += e.deltaTime; if (e.type === 'text') names.push(tick); }
  // The bass is one voice in its range.
  const bass = notesOf(tracks.get('bass'));
  for (const n of bass) check(n.key >= 28 && n.key <= 67, `the bass plays ${n.key}`);
  for (let i = 1; i < bass.length; ++i) check(bass[i].from >= bass[i - 1].to, `the bass has two voices at tick ${bass[i].from}`);
  check([...new Set(notesOf(tracks.get('chords')).map((n) => n.from))].join() === names.join(), 'chord names and chords differ');
  // Strings: ranges, order, common tones, parallels.
  const ranges = { cello: [36, 60], viola: [48, 74], 'violin II': [55, 79], 'violin I': [60, 84] };
  const voices = Object.keys(ranges).map((v) => notesOf(tracks.get(`string pad, ${v}`)));
  Object.values(ranges).forEach(([low, high], v) => voices[v].forEach((n) => check(n.key >= low && n.key <= high, `string ${v} plays ${n.key}`)));
  const at = voices.map(() => 0);
  let parallels = 0, previous = null;
  for (const t of names) {
    const now = voices.map((v, i) => { while (at[i] + 1 < v.length && v[at[i] + 1].from <= t) ++at[i]; return v[at[i]]?.from <= t && v[at[i]].to > t ? v[at[i]].key : null; });
    check(now.every((k) => k !== null), `a string is silent at tick ${t}`);
    for (let i = 1; i < 4; ++i) check(now[i] > now[i - 1], `strings cross at tick ${t}`);
    if (previous)
      for (let a = 0; a < 4; ++a)
        for (let b = a + 1; b < 4; ++b) {
          const da = now[a] - previous[a], db = now[b] - previous[b], was_ = (previous[b] - previous[a]) % 12, is = (now[b] - now[a]) % 12;
          parallels += da !== 0 && da * db > 0 && was_ === is && (is === 0 || is === 7);
        }
    previous = now;
  }
  for (const v of voices) for (let i = 1; i < v.length; ++i) check(v[i].from !== v[i - 1].to || v[i].key !== v[i - 1].key, `a common tone is struck again at tick ${v[i].from}`);
  return { events: after.length, worst, melody: melody.length, chords: names.length, parallels };
}

// ---- MusicXML ----
const xml = new XMLParser({ preserveOrder: true, ignoreAttributes: false, attributeNamePrefix: '' });
const name = (n) => Object.keys(n).find((k) => k !== ':@');
const kids = (n) => n[name(n)];
const all = (n, tag) => kids(n).filter((k) => name(k) === tag);
const one = (n, tag) => all(n, tag)[0];
const text = (n, tag) => { const c = one(n, tag); return c ? String(kids(c)[0]?.['#text'] ?? '') : undefined; };
const attr = (n, a) => n[':@']?.[a];
const types = { whole: 1920, half: 960, quarter: 480, eighth: 240, '16th': 120, '32nd': 60 };
const steps = { C: 0, D: 2, E: 4, F: 5, G: 7, A: 9, B: 11 };

function checkSheet(folder) {
  const score = xml.parse(readFileSync(join(folder, 'lead_sheet.musicxml'))).find((n) => name(n) === 'score-partwise');
  let beats = 4, tied = null, notes = 0, symbols = 0, tuplet = false, repeating = false, endings = false;
  const signature = { fifths: 0 };
  for (const measure of all(one(score, 'part'), 'measure')) {
    const where = `measure ${attr(measure, 'number')}`;
    const shown = new Map();   // line -> alteration in force
    let length = 0;
    for (const item of kids(measure)) {
      const tag = name(item);
      if (tag === 'attributes') {
        if (one(item, 'time')) beats = Number(text(one(item, 'time'), 'beats'));
        if (one(item, 'key')) signature.fifths = Number(text(one(item, 'key'), 'fifths'));
      } else if (tag === 'harmony') ++symbols;
      else if (tag === 'barline') {
        const direction = one(item, 'repeat') && attr(one(item, 'repeat'), 'direction');
        if (direction === 'forward') { check(!repeating || endings, `${where}: a repeat begins within another`); repeating = true; endings = false; }
        if (direction === 'backward') { check(repeating, `${where}: a repeat ends that never began`); if (!one(item, 'ending')) repeating = false; }
        if (one(item, 'ending')) { check(repeating, `${where}: an ending of no repeat`); endings = true; }
      } else if (tag === 'note') {
        const duration = Number(text(item, 'duration'));
        length += duration;
        const type = text(item, 'type');
        if (type) {
          const dots = all(item, 'dot').length, change = one(item, 'time-modification');
          const value = types[type] * (2 - 0.5 ** dots) * (change ? Number(text(change, 'normal-notes')) / Number(text(change, 'actual-notes')) : 1);
          check(Math.abs(value - duration) < 1e-9, `${where}: a ${type} lasts ${duration}`);
        } else check(attr(one(item, 'rest'), 'measure') === 'yes', `${where}: a note without a type`);
        const notations = one(item, 'notations'), mark = notations && one(notations, 'tuplet') && attr(one(notations, 'tuplet'), 'type');
        if (mark === 'start') { check(!tuplet, `${where}: a tuplet within a tuplet`); tuplet = true; }
        check(Boolean(one(item, 'time-modification')) === tuplet, `${where}: tuplet bracket and values differ`);
        if (mark === 'stop') tuplet = false;
        const ties = all(item, 'tie').map((t) => attr(t, 'type'));
        if (one(item, 'rest')) { check(!tied, `${where}: a tie ends in a rest`); tied = null; continue; }
        const pitch = one(item, 'pitch'), step = text(pitch, 'step'), alter = Number(text(pitch, 'alter') ?? 0), octave = Number(text(pitch, 'octave'));
        const midi = steps[step] + alter + 12 * (octave + 1), line = step + octave;
        if (ties.includes('stop')) check(tied === midi, `${where}: a tie joins ${tied} and ${midi}`);
        else { check(tied === null, `${where}: a tie is left open`); ++notes; }
        tied = ties.includes('start') ? midi : null;
        // What a reader of the page would play: the accidental shown, or the one in force, or the signature's.
        const order = 'FCGDAEB'.indexOf(step);
        const ofKey = signature.fifths > order ? 1 : -signature.fifths > 6 - order ? -1 : 0;
        const signs = { 'flat-flat': -2, flat: -1, natural: 0, sharp: 1, 'double-sharp': 2 };
        const sign = text(item, 'accidental');
        if (!ties.includes('stop')) {
          if (sign !== undefined) shown.set(line, signs[sign]);
          check((shown.get(line) ?? ofKey) === alter, `${where}: ${step}${octave} reads ${shown.get(line) ?? ofKey}, is ${alter}`);
        }
      }
    }
    check(length === beats * 480 || attr(measure, 'implicit') === 'yes', `${where} lasts ${length} ticks in ${beats}/4`);
  }
  check(!tied && !tuplet, 'a tie or tuplet is open at the end');
  return { notes, symbols };
}

for (const input of inputs) {
  file = input;
  const folder = mkdtempSync(join(tmpdir(), 'undersong-'));
  try {
    const run = spawnSync(tool, ['hand-over', input, folder, '--replace'], { encoding: 'utf8' });
    check(run.status === 0, `exit ${run.status}: ${run.stderr}`);
    if (run.status !== 0) continue;
    const parts = checkParts(folder, input), sheet = checkSheet(folder);
    const said = Number(/(\d+) parallels/.exec(run.stdout)?.[1]);
    check(said === parts.parallels, `${said} parallels are told, ${parts.parallels} are there`);
    check(parts.worst <= 1000, `an event lies ${(parts.worst / 1000).toFixed(2)} ms from where it was played`);
    check(sheet.symbols > 0, 'no chord symbol on the lead sheet');
    console.log(`${input}: ${parts.events} events within ${(parts.worst / 1000).toFixed(2)} ms, ${parts.melody} melody notes, ${parts.chords} chords, ${parts.parallels} parallels; ` +
                `lead sheet ${sheet.notes} notes, ${sheet.symbols} symbols`);
  } finally {
    rmSync(folder, { recursive: true });
  }
}
console.log(faults.length ? faults.slice(0, 30).join('\n') : 'all agree');
process.exit(faults.length || !inputs.length ? 1 : 0);

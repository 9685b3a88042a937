// Holds our chord names against a general-purpose music theory library (npm: tonal): its dictionary says which notes a
// chord has, ours must name them; and both name the same notes, and are compared.
//
// usage: node names.mjs PATH-TO-undersong
import { spawnSync } from 'node:child_process';
import { Chord, Note } from 'tonal';

const tool = process.argv[2];
// Their type, and the row of our vocabulary that has the same tones: their 11 leaves out the third and their 7b13 the fifth,
// so those are our 9sus4 and aug7.
const types = {
  M: 'maj', m: 'min', dim: 'dim', aug: 'aug', sus2: 'sus2', sus4: 'sus4', 6: 'maj6', m6: 'min6', '69': 'maj6(9)', m69: 'min6(9)',
  7: '7', maj7: 'maj7', m7: 'min7', mMaj7: 'minmaj7', m7b5: 'hdim7', dim7: 'dim7', '7#5': 'aug(b7)', 'maj7#5': 'aug(7)', '7b5': '7(*5,b5)',
  '7sus4': 'sus4(b7)', 9: '9', maj9: 'maj9', m9: 'min9', mM9: 'minmaj7(9)', '9sus4': 'sus4(b7,9)', 11: 'sus4(b7,9)', m11: 'min9(11)',
  'maj7#11': 'maj7(#11)', 'maj9#11': 'maj9(#11)', '7#11': '7(#11)', '9#11': '9(#11)', 13: '9(13)', maj13: 'maj9(13)', m13: 'min9(11,13)',
  '13sus4': 'sus4(b7,9,13)', Madd9: 'maj(9)', madd9: 'min(9)', '7b9': '7(b9)', '7#9': '7(#9)', '7b13': 'aug(b7)', '13b9': '7(b9,13)',
  '7#9#11': null,
};
const tonics = ['C', 'Db', 'D', 'Eb', 'E', 'F', 'F#', 'G', 'Ab', 'A', 'Bb', 'B'];
const chroma = (names) => [...new Set(names.map((n) => Note.chroma(n)))].sort((a, b) => a - b).join(' ');

const cases = [];
const unknown = [];
for (const [type, harte] of Object.entries(types)) {
  if (!harte) continue;
  for (const tonic of tonics) {
    const chord = Chord.getChord(type, tonic);
    if (chord.empty) { unknown.push(type); break; }
    const keys = [];
    let last = 47;
    for (const note of chord.notes) {            // root position, each note above the one before
      let key = Note.chroma(note);
      while (key <= last) key += 12;
      keys.push(last = key);
    }
    for (let inversion = 0; inversion < Math.min(4, keys.length); ++inversion) {
      const turned = keys.map((k, i) => (i < inversion ? k + 24 : k));
      cases.push({ type, harte, tonic, inversion, keys: turned.sort((a, b) => a - b), root: Note.chroma(tonic), tones: chroma(chord.notes) });
    }
  }
}
const run = spawnSync(tool, ['name', '--lines'], { input: cases.map((c) => JSON.stringify(c.keys)).join('\n') + '\n', encoding: 'utf8', maxBuffer: 1 << 26 });
if (run.status !== 0) { console.error(run.stderr); process.exit(1); }
const ours = run.stdout.trim().split('\n').map((l) => JSON.parse(l));

const parse = (harte) => { const [root, rest] = harte.split(':'); return { root: Note.chroma(root), quality: rest.replace(/\/[b#]*\d+$/, '') }; };
const count = { root: [0, 0, 0, 0], inverted: [0, 0, 0, 0] };   // cases, ours first, ours among five, theirs first
const differ = new Map();
cases.forEach((c, i) => {
  const right = (h) => { const p = parse(h); return p.root === c.root && p.quality === c.harte; };
  const theirs = Chord.detect(c.keys.map((k) => Note.fromMidi(k)))[0] ?? '';
  const theirChord = Chord.get(theirs.split('/')[0]);
  const theirsRight = theirChord.tonic && Note.chroma(theirChord.tonic) === c.root && chroma(theirChord.notes) === c.tones;
  const to = c.inversion === 0 ? count.root : count.inverted;
  to[0]++; to[1] += right(ours[i][0]); to[2] += ours[i].some(right); to[3] += Boolean(theirsRight);
  if (c.inversion === 0 && c.tonic === 'C' && (!right(ours[i][0]) || !theirsRight))
    differ.set(c.type, `C${c.type}: ours ${ours[i][0]}, theirs ${theirs || 'nothing'}`);
});
const share = (n, of) => `${((100 * n) / of).toFixed(1)} %`;
for (const [name, [n, first, among, theirs]] of Object.entries(count))
  console.log(`${name === 'root' ? 'root position' : 'inversions'}: ${n} cases; ours first ${share(first, n)}, among five ${share(among, n)}; theirs first ${share(theirs, n)}`);
if (unknown.length) console.log(`not in their dictionary: ${unknown.join(', ')}`);
console.log([...differ.values()].map((d) => `  ${d}`).join('\n'));
const ok = count.root[1] / count.root[0] >= 0.97 && count.root[2] === count.root[0] && count.inverted[2] / count.inverted[0] >= 0.9;
console.log(ok ? 'agreement as expected' : 'too few agree');
process.exit(ok ? 0 : 1);

// The lane of chords: every name in full, or something true in its place.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { lane_labels, type Lane } from '../src/takes/chord_lane';

const names = ['E♭', 'Cm', 'A♭', 'G'];
/** Chords of a second each; names are 20 px wide, small ones 14, letters of words 6. */
function lane(px_a_second: number, count: number, more: Partial<Lane> = {}): Lane {
  return {
    times: Array.from({ length: count }, (_, i) => i * 1e6),
    end: count * 1e6,
    runs: [],
    px_of: (time) => (time / 1e6) * px_a_second,
    width: 1200,
    chord_width: (_, small) => (small ? 14 : 20),
    text_width: (text) => text.length * 6,
    key_at: () => 'C minor',
    ...more,
  };
}
const inside = (labels: ReturnType<typeof lane_labels>, width: number) =>
  labels.every((each, i) => each.x >= 0 && each.x + each.w <= width + 1e-6 && (i === 0 || each.x >= labels[i - 1]!.x + labels[i - 1]!.w - 1e-6));

test('writes every name where there is room, and small where there is a little', () => {
  assert.deepEqual(lane_labels(lane(40, 8)).map((each) => each.chord), [0, 1, 2, 3, 4, 5, 6, 7]);
  const small = lane_labels(lane(24, 8));
  assert.equal(small.length, 8);
  assert.ok(small.every((each) => each.small));
});

test('a run of a loop without room is written as its chords, or as a loop', () => {
  const run = { from: 0, to: 16e6, words: [`${names.join(' ')} ×4`, 'loop ×4'] };
  const wide = lane_labels(lane(10, 16, { runs: [run] }));
  assert.deepEqual(wide.map((each) => each.text), ['E♭ Cm A♭ G ×4']);
  const narrow = lane_labels(lane(4, 16, { runs: [run] }));
  assert.deepEqual(narrow.map((each) => each.text), ['loop ×4']);
});

test('no half of a loop is shown as if it were all of it', () => {
  // Every second chord is too short for its name: none may be left out.
  const times = [0, 1.5, 2, 3.5, 4, 5.5, 6, 7.5].map((each) => each * 1e6);
  const run = { from: 0, to: 8e6, words: ['E♭ Cm A♭ G ×2', 'loop ×2'] };
  const labels = lane_labels(lane(20, 8, { times, end: 8e6, runs: [run] }));
  assert.deepEqual(labels.map((each) => each.text), ['E♭ Cm A♭ G ×2']);
});

test('other chords without room become their key, with as many neighbours as that needs', () => {
  const labels = lane_labels(lane(5, 40));
  assert.deepEqual(labels.map((each) => each.text), ['C minor']);
  assert.ok(inside(labels, 1200));
  // Three quick chords among slow ones.
  const times = [0, 2, 2.2, 2.4, 2.6, 5, 8].map((each) => each * 1e6);
  const some = lane_labels(lane(30, 7, { times, end: 10e6 }));
  assert.deepEqual(some.map((each) => each.text ?? each.chord), [0, 'C minor', 5, 6]);
  assert.ok(inside(some, 1200));
});

test('a key that follows is written where it lasts; a short one between does not take its name from the rest', () => {
  // 20 s of C minor that begin with a moment of G♭ major, then A minor; in the middle of that a moment of F major.
  const key_at = (time: number) => (time < 1e6 ? 'G♭ major' : time < 20e6 ? 'C minor' : time >= 30e6 && time < 32e6 ? 'F major' : 'A minor');
  const labels = lane_labels(lane(5, 40, { key_at }));
  assert.deepEqual(labels.map((each) => [each.text, each.x, each.w]), [['C minor', 0, 100], ['A minor', 100, 100]]);
});

test('nothing overruns the lane, wherever it is scrolled to', () => {
  for (let from = 0; from < 30; from += 0.7) {
    const labels = lane_labels(lane(33, 60, { width: 300, px_of: (time) => (time / 1e6 - from) * 33 }));
    assert.ok(inside(labels, 300));
    for (const each of labels) assert.ok(each.text !== undefined || each.w >= (each.small ? 14 : 20), `at ${from}`);
  }
});

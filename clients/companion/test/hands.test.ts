// What stays and what moves between two shapes of the hands.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { hands_text, hands_way, moves } from '../src/music/hands';

test('common keys stay, the others are paired so that fingers travel least', () => {
  assert.deepEqual(moves([48, 52, 55], [48, 53, 57]), { stay: [48], move: [{ from: 52, to: 53 }, { from: 55, to: 57 }], add: [], lift: [] });
  assert.deepEqual(moves([48, 55], [50]), { stay: [], move: [{ from: 48, to: 50 }], add: [], lift: [55] });
  assert.deepEqual(moves([], [60, 64]), { stay: [], move: [], add: [60, 64], lift: [] });
  assert.deepEqual(moves([60], []), { stay: [], move: [], add: [], lift: [60] });
});

test('fingers never cross', () => {
  for (let seed = 1; seed < 400; ++seed) {
    let state = seed;
    const random = (below: number) => { state = (Math.imul(state, 1103515245) + 12345) & 0x7fffffff; return (state >> 8) % below; };
    const keys = () => [...new Set(Array.from({ length: 1 + random(5) }, () => 40 + random(40)))].sort((a, b) => a - b);
    const from = keys(), to = keys();
    const { stay, move, add, lift } = moves(from, to);
    assert.deepEqual([...stay, ...move.map((each) => each.to), ...add].sort((a, b) => a - b), to);
    assert.deepEqual([...stay, ...move.map((each) => each.from), ...lift].sort((a, b) => a - b), from);
    for (const [i, a] of move.entries()) for (const b of move.slice(i + 1)) assert.equal(Math.sign(a.from - b.from), Math.sign(a.to - b.to), `${from} to ${to}`);
  }
});

test('each hand goes its own way', () => {
  assert.deepEqual(hands_way([48, 55, 72, 76], [46, 53], [72, 76]), { left: -2, right: 0 });
  assert.deepEqual(hands_way([48, 76], [], [77]), { left: null, right: 1 });
  assert.equal(hands_text(hands_way([48, 55, 72, 76], [46, 53], [72, 76])), 'left hand goes down 2, right hand stays');
  assert.equal(hands_text({ left: null, right: 3.4 }), 'right hand goes up 3');
});

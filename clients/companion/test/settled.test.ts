// What keeps the display calm.
import assert from 'node:assert/strict';
import { mock, test } from 'node:test';
import { Settled } from '../src/music/settled';

test('a value that lasts less than its settling time never appears; its newest details do', () => {
  mock.timers.enable({ apis: ['setTimeout'] });
  globalThis.window = globalThis as never;
  const shown: string[] = [];
  const settled = new Settled<string>((value) => value[0]!, (value) => shown.push(value));
  settled.offer('a1', 0);
  settled.offer('b1', 200);
  mock.timers.tick(150);
  settled.offer('c1', 200);  // b lasted too short
  mock.timers.tick(150);
  settled.offer('c2', 200);  // the same value with other details does not begin anew
  mock.timers.tick(50);
  assert.deepEqual(shown, ['a1', 'c2']);
  settled.offer('d1', 200);
  settled.offer('c3', 200);  // back to what is shown: d is forgotten
  mock.timers.tick(500);
  assert.deepEqual(shown, ['a1', 'c2', 'c3']);
  settled.offer('e1', 200);
  settled.forget();
  mock.timers.tick(500);
  assert.deepEqual(shown, ['a1', 'c2', 'c3']);
  settled.offer('c4', 200);
  mock.timers.tick(200);
  assert.deepEqual(shown, ['a1', 'c2', 'c3', 'c4']);
  mock.timers.reset();
});

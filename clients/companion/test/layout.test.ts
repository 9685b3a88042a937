// The layouts of the glance and of the plane, without a browser.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { raised_share } from '../src/music/chord';
import { lay_out_glance } from '../src/play/glance_layout';
import { covers, merge, place, place_labels, type Box } from '../src/play/plane_layout';
import { angle_to_mm, capital, distances_cm, pixel_mm } from '../src/play/seat_angles';

const reference = 25.4 / 96;
const minute = (cm: number, mm = reference) => angle_to_mm(1, cm * 10) / mm;

test('an arc minute, and the height of 16 of them from a metre', () => {
  assert.ok(Math.abs(angle_to_mm(1, 1000) - 0.2909) < 1e-4);
  assert.ok(Math.abs(angle_to_mm(16, 1000) - 4.654) < 1e-3);
});

test('the size of a pixel comes from the diagonal, else it is guessed rather too small', () => {
  const desk = { width: 1920, height: 1080, touch: false };
  assert.ok(Math.abs(pixel_mm(desk, 24) - 0.2767) < 1e-4);
  assert.equal(pixel_mm(desk, 0), reference);
  assert.ok(pixel_mm({ width: 3840, height: 2160, touch: false }, 0) < 0.16);
  assert.ok(pixel_mm({ width: 390, height: 844, touch: true }, 0) <= 0.16);
});

test('no size of window or distance makes a word smaller than can be read', () => {
  for (const cm of distances_cm) {
    for (let width = 240; width <= 3840; width += 157) {
      for (let height = 240; height <= 2160; height += 131) {
        const px = minute(cm);
        const made = lay_out_glance(width, height, px);
        const at = `${width}×${height} from ${cm} cm`;
        assert.ok(made.word * capital.text >= 15.99 * px, at);
        assert.ok(made.name * raised_share * capital.symbols >= 15.99 * px, at);
        assert.ok(made.head * capital.symbols >= 39.99 * px, at);
        assert.ok(made.action_word === 0 || made.action_word * capital.text >= 15.99 * px, at);
        assert.ok(made.count >= 0 && made.count <= 5, at);
        // What it gives out is there.
        if (made.count > 0 && made.head_at === 'left') assert.ok(made.head_size < width - 2 * made.gap, at);
        if (made.count > 0 && made.head_at === 'top') assert.ok(made.head_size < height - 2 * made.gap - (made.actions_at === 'bottom' ? made.actions_size : 0), at);
      }
    }
  }
});

test('more room never means fewer cards, a larger distance never more', () => {
  for (const cm of distances_cm) {
    const counts = [240, 320, 480, 720, 1080, 1440].map((side) => lay_out_glance(side * 1.4, side, minute(cm)).count);
    assert.deepEqual(counts, [...counts].sort((a, b) => a - b), `${cm} cm: ${counts}`);
    assert.equal(counts.at(-1), 5);
  }
  for (const side of [240, 480, 720]) {
    const counts = distances_cm.map((cm) => lay_out_glance(side * 1.4, side, minute(cm)).count);
    assert.deepEqual(counts, [...counts].sort((a, b) => b - a), `${side}: ${counts}`);
  }
});

test('a tablet on the music desk shows five cards from a metre and a half', () => {
  for (const [width, height] of [[1180, 820], [820, 1180]] as const) assert.equal(lay_out_glance(width, height, minute(150, 0.193)).count, 5);
});

test('the plane: brighter is further right, tenser is higher', () => {
  for (let i = 0; i < 20; ++i) {
    assert.ok(place(-1 + i / 10, 0.5).x < place(-0.9 + i / 10, 0.5).x);
    assert.ok(place(0, i / 20).y > place(0, (i + 1) / 20).y);
  }
  assert.deepEqual([place(-1, 0), place(1, 1)], [{ x: 0, y: 1 }, { x: 1, y: 0 }]);
});

test('what would lie on each other merges, in order, and nothing is lost', () => {
  const groups = merge([{ x: 0, y: 0, n: 1 }, { x: 5, y: 0, n: 2 }, { x: 40, y: 0, n: 3 }, { x: 0, y: 9, n: 4 }], 10);
  assert.deepEqual(groups.map((group) => group.map((each) => each.n)), [[1, 2, 4], [3]]);
});

test('labels cover neither each other nor a stone nor what is taken, and stay inside', () => {
  let state = 7;
  const random = (below: number) => { state = (Math.imul(state, 1103515245) + 12345) & 0x7fffffff; return (state >> 8) % below; };
  for (let round = 0; round < 50; ++round) {
    const wanted = Array.from({ length: 36 }, () => ({ x: 20 + random(360), y: 20 + random(260), radius: 3 + random(6), width: 30 + random(60), height: 20 }));
    const taken: Box[] = [{ x: 200, y: 150, w: 18, h: 18 }];
    const labels = place_labels(wanted, taken, 400, 300);
    assert.ok(labels.some((each) => each));
    labels.forEach((label, i) => {
      if (!label) return;
      assert.ok(label.x - label.w >= 0 && label.x + label.w <= 400 && label.y - label.h >= 0 && label.y + label.h <= 300);
      labels.slice(i + 1).forEach((other) => other && assert.ok(!covers(label, other)));
      wanted.forEach((stone, j) => j !== i && assert.ok(!covers(label, { x: stone.x, y: stone.y, w: stone.radius, h: stone.radius })));
      assert.ok(!covers(label, taken[0]!));
    });
  }
});

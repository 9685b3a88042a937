// Tests the plane: names do not cover each other and do not fly, stones that coincide are one, the wish is drawn on it, and the path.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { Daemon, lacking, open_browser, root, symbol_of, until, with_settings } from './stage.mjs';

const why_not = lacking();
let browser;

async function scene(run, { daemon: options, ...view } = {}) {
  const daemon = await new Daemon().start(options);
  const { page, complaints } = await browser.page(view);
  try {
    await with_settings(page, { study: true, view: 'plane' });
    await page.goto(daemon.url);
    await page.locator('[data-link=open]').waitFor();
    await run({ daemon, page, client: daemon.client() });
    assert.deepEqual(complaints, []);
  } finally {
    await page.close();
    await daemon.stop();
  }
}

/** Everything on the plane that must not be covered, by its box. */
const look = () => {
  const box = (element, kind, name) => { const { left, top, right, bottom } = element.getBoundingClientRect(); return { kind, name, left, top, right, bottom }; };
  const names = [...document.querySelectorAll('.stone-text')].map((each) => box(each, 'name', each.textContent));
  const field = document.querySelector('.field').getBoundingClientRect();
  return {
    names,
    field: { left: field.left, top: field.top, right: field.right, bottom: field.bottom },
    stones: [...document.querySelectorAll('.stone-body')].map((each) => {
      const { left, top } = each.getBoundingClientRect(), r = parseFloat(each.style.getPropertyValue('--r'));
      return { kind: 'stone', name: each.parentElement.dataset.members, left: left - r, top: top - r, right: left + r, bottom: top + r };
    }),
    list: document.querySelector('.list').dataset.list + document.querySelector('.now-chord .chord')?.dataset.symbol,
    running: document.querySelector('.plane').getAnimations({ subtree: true }).length,
  };
};
const covered = (a, b) => Math.max(0, Math.min(a.right, b.right) - Math.max(a.left, b.left)) * Math.max(0, Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top));

describe('the plane', { skip: why_not || false }, () => {
  before(async () => { browser = await open_browser(); });
  after(async () => { await browser?.close(); });

  for (const [width, height] of [[480, 720], [1180, 820]]) {
    test(`no name covers another or a stone, and none flies, all through the demo, ${width}×${height}`, () => scene(async ({ page }) => {
      await page.locator('.stone').nth(5).waitFor({ state: 'attached' });
      const samples = await page.evaluate((source) => new Promise((done) => {
        const see = eval(source);
        const all = [];
        const step = () => {
          all.push(see());
          if (all.length < 300) requestAnimationFrame(step);
          else done(all);
        };
        requestAnimationFrame(step);
      }), `(${look})`);
      let example, pairs = 0, covering = 0, outside = 0;
      for (const { names, stones, field } of samples) {
        names.forEach((each, i) => {
          if (each.left < field.left - 1 || each.right > field.right + 1 || each.top < field.top - 1 || each.bottom > field.bottom + 1) ++outside;
          for (const other of [...names.slice(i + 1), ...stones]) {
            ++pairs;
            if (covered(each, other) <= 6) continue;
            ++covering;
            example ??= [each, other];
          }
        });
      }
      const frames = samples.filter(({ names, stones }) => names.some((each, i) => [...names.slice(i + 1), ...stones].some((other) => covered(each, other) > 6))).length;
      assert.ok(new Set(samples.map((each) => each.list)).size > 2, 'the list went on');
      assert.ok(Math.min(...samples.map((each) => each.names.length)) >= 5, 'names are there');
      assert.ok(frames / samples.length < 0.01, `${frames} of ${samples.length} frames have a name that covers something (${covering} of ${pairs} pairs): ${JSON.stringify(example)}`);
      assert.equal(outside, 0);
      assert.equal(Math.max(...samples.map((each) => each.running)), 0);
      // While list and chord stay, every name stays.
      for (let i = 1; i < samples.length; ++i) {
        if (samples[i].list !== samples[i - 1].list || samples[i].names.length !== samples[i - 1].names.length) continue;
        const [before, now] = [samples[i - 1], samples[i]].map(({ names }) => names.map((each) => `${each.name} ${Math.round(each.left)} ${Math.round(each.top)}`).join());
        if (samples[i].names.map((each) => each.name).join() === samples[i - 1].names.map((each) => each.name).join()) assert.equal(now, before);
      }
    }, { daemon: { play: `${root}/configs/demo.mid`, speed: 2 }, width, height }));
  }

  test('stones that coincide are one, every chord is on the plane once, and a merged stone gives its chords in turn', () => scene(async ({ page, client }) => {
    await client.play(43, 50, 58, 65, 74);
    await page.locator('.stone.merged').first().waitFor({ state: 'attached' });
    const { alternatives } = await client.ask('moment.get');
    const stones = () => page.locator('.stone').evaluateAll((all) => all.map((each) => each.dataset.members.split(' ')));
    assert.deepEqual((await stones()).flat().sort(), alternatives.map((each) => each.harte).sort());
    const { stones: boxes } = await page.evaluate(`(${look})()`);
    for (const [i, a] of boxes.entries()) for (const b of boxes.slice(i + 1)) assert.ok(Math.hypot(a.left + a.right - b.left - b.right, a.top + a.bottom - b.top - b.bottom) / 2 > 12, `${a.name} lies on ${b.name}`);
    const members = (await page.locator('.stone.merged').first().getAttribute('data-members')).split(' ');
    const press = (chord) => page.locator(`.stone[data-members~="${chord}"]`).evaluate((each) => each.click());
    const selected = () => page.locator('.row.chosen').getAttribute('data-harte');
    await page.getByText('all 36').evaluate((label) => label.click());
    for (const each of members) {
      await press(members[0]);
      await page.locator(`.row.chosen[data-harte="${each}"]`).waitFor({ state: 'attached' });
      assert.equal(await selected(), each);
    }
  }));

  test('the wish is drawn on the plane, and twice takes it back', () => scene(async ({ page, client }) => {
    await client.play(43, 50, 58, 65, 74);
    await page.locator('[data-pull]').waitFor();
    const wishes = () => client.ask('moment.get').then((each) => each.wishes);
    // The page may still be arranging itself, and then the ring is no longer where it was seen: it is drawn again.
    await until(async () => {
      const ring = await page.locator('[data-pull]').boundingBox();
      const middle = [ring.x + ring.width / 2, ring.y + ring.height / 2];
      await page.mouse.move(...middle);
      await page.mouse.down();
      await page.mouse.move(middle[0] - 120, middle[1] + 60, { steps: 5 });
      await page.mouse.up();
      const now = await wishes();
      return now.brighter < -0.2 && now.tenser < -0.1;
    }, 'darker and more resolved');
    await page.locator('.pull.away line').waitFor({ state: 'attached' });
    await page.locator('[data-pull]').dblclick();
    await until(async () => (await wishes()).brighter === 0 && (await wishes()).tenser === 0, 'no wish');
    // The same by keyboard: the slider is seen while it has the focus.
    await page.locator('[data-wish=tenser]').focus();
    await page.keyboard.press('End');
    await until(async () => (await wishes()).tenser === 1, 'as tense as can be');
    assert.equal(await page.locator('.pull-sliders').evaluate((each) => getComputedStyle(each).opacity), '1');
  }));

  test('the current chord and the six before it are a path', () => scene(async ({ page, client }) => {
    // Every chord that the page shows; between two that are played the ear may have another name for what was let go.
    await page.evaluate(() => {
      globalThis.shown = [];
      const look = () => {
        const symbol = document.querySelector('.now-chord [data-symbol]')?.dataset.symbol;
        if (symbol && symbol !== globalThis.shown.at(-1)) globalThis.shown.push(symbol);
      };
      look();
      new MutationObserver(look).observe(document.body, { subtree: true, childList: true, attributes: true, attributeFilter: ['data-symbol'] });
    });
    const chords = [[48, 52, 55], [50, 53, 57], [52, 55, 59], [53, 57, 60], [55, 59, 62], [57, 60, 64], [43, 47, 50], [41, 45, 48], [40, 43, 47]];
    for (const [i, chord] of chords.entries()) {
      const { at } = await client.ask('status.get');
      await client.play(...chord, 76);
      await until(async () => {
        const { chord: now } = await client.ask('moment.get');
        return now?.sounding && now.since >= at && await page.locator(`.now-chord [data-symbol="${symbol_of(now)}"]`).count();
      }, 'the chord on the page');
      await until(() => page.evaluate((least) => {
        const before = Math.min(6, globalThis.shown.length - 1);
        return before >= least && document.querySelectorAll('.path rect').length === before;
      }, Math.min(6, i)), `the chords before the ${i + 1}th`);
      await client.release(...chord, 76);
    }
    assert.equal(await page.locator('.path line').count(), 6);
    assert.equal(await page.locator('.present-body').count(), 1);
    const drawn = await page.locator('.path line').evaluateAll((lines) => lines.map((line) => line.getAttribute('x2')));
    await page.reload();
    await until(async () => (await page.locator('.path line').count()) === 6, 'the path after a reload');
    assert.deepEqual(await page.locator('.path line').evaluateAll((lines) => lines.map((line) => line.getAttribute('x2'))), drawn);
  }));
});

// Tests that what the page shows is so at every moment: while the music goes on, while the list is held, and without the daemon.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { Daemon, lacking, open_browser, root, symbol_of, until, with_settings } from './stage.mjs';

const why_not = lacking();
let browser;

async function scene(run, { daemon: options, kept = {}, ...view } = {}) {
  const daemon = await new Daemon().start();
  const { page, complaints } = await browser.page(view);
  try {
    await with_settings(page, kept);
    // Keep every moment that arrives, to compare it with what is drawn.
    await page.addInitScript(() => {
      globalThis.moments = [];
      const Socket = globalThis.WebSocket;
      globalThis.WebSocket = class extends Socket {
        set onmessage(handler) {
          super.onmessage = (event) => {
            const message = JSON.parse(event.data);
            if (message.method === 'moment') globalThis.moments.push(message.params);
            handler(event);
          };
        }
      };
    });
    if (options) {
      await daemon.kill('SIGTERM');
      await daemon.start(options);
    }
    await page.goto(daemon.url);
    await page.locator('[data-link=open]').waitFor();
    await run({ daemon, page, client: daemon.client() });
    assert.deepEqual(complaints, []);
  } finally {
    await page.close();
    await daemon.stop();
  }
}

const demo = { play: `${root}/configs/demo.mid`, speed: 2 };

/** Calls `look` in the page on every frame until there are so many samples. */
const sample = (page, look, wanted) => page.evaluate(([source, count]) => new Promise((done) => {
  const see = eval(source);
  const samples = [];
  const step = () => {
    const seen = see();
    if (seen) samples.push(seen);
    if (samples.length < count) requestAnimationFrame(step);
    else done(samples);
  };
  requestAnimationFrame(step);
}), [`(${look})`, wanted]);

describe('what is shown is so', { skip: why_not || false }, () => {
  before(async () => { browser = await open_browser({ bypassCSP: true }); });
  after(async () => { await browser?.close(); });

  test('readings and degrees beside the headline are of the headline, in every frame of the demo', () => scene(async ({ page }) => {
    await page.locator('.now-chord .chord').waitFor();
    const samples = await sample(page, () => {
      const text = (element) => element.innerText.replace(/\s+/g, ' ').trim();
      return {
        head: document.querySelector('.now-chord .chord')?.dataset.symbol,
        readings: [...document.querySelectorAll('.now-others .chord')].map((each) => each.dataset.symbol),
        melody: [...document.querySelectorAll('.now-melody .melody-note')].map(text),
        dim: document.querySelector('.now-melody').classList.contains('dim'),
      };
    }, 600);
    const moments = await page.evaluate(() => globalThis.moments);
    const signs = (name) => name.replaceAll('bb', '𝄫').replaceAll('##', '𝄪').replaceAll('b', '♭').replaceAll('#', '♯');
    const possible = new Set(), degrees = new Set();
    for (const { chord, readings, melody } of moments) {
      if (!chord) continue;
      const others = readings.filter((each) => each.harte !== chord.harte).slice(0, 3).map((each) => symbol_of(each));
      possible.add(`${symbol_of(chord)}: ${others}`);
      degrees.add(`${symbol_of(chord)}: ${melody.map((note) => `${note.name[0]}${signs(note.name.slice(1).replace(/-?\d/, ''))}${/-?\d/.exec(note.name)[0]} ${signs(note.degree ?? '')}`.trim())}`);
    }
    const wrong = samples.filter(({ head, readings }) => !possible.has(`${head}: ${readings}`));
    assert.ok(new Set(samples.map((each) => each.head)).size >= 3, 'the music went on');
    assert.equal(wrong.length, 0, `${wrong.length} of ${samples.length}: ${JSON.stringify(wrong.slice(0, 3))}`);
    const misplaced = samples.filter(({ head, melody, dim }) => !dim && melody.length > 0 && !degrees.has(`${head}: ${melody}`));
    assert.equal(misplaced.length, 0, `${misplaced.length} of ${samples.length}: ${JSON.stringify(misplaced.slice(0, 3))}`);
  }, { daemon: demo }));

  test('cards stay where they are all through the demo, and nothing is animated', () => scene(async ({ page }) => {
    await page.locator('.card').nth(4).waitFor();
    const samples = await sample(page, () => {
      const cards = [...document.querySelectorAll('.card')];
      return {
        places: cards.map((each) => { const { x, y, width, height } = each.getBoundingClientRect(); return [x, y, width, height].map(Math.round).join(); }).join(' '),
        running: document.querySelector('.cards').getAnimations({ subtree: true }).length,
        names: cards.map((each) => each.dataset.harte).join(' '),
      };
    }, 500);
    assert.equal(new Set(samples.map((each) => each.places)).size, 1);
    assert.ok(new Set(samples.map((each) => each.names)).size > 2, 'the list went on');
    assert.equal(Math.max(...samples.map((each) => each.running)), 0);
  }, { daemon: demo, width: 900, height: 800 }));

  test('Hear keeps the chosen chord through the demo, and says when it is no longer in the list', () => scene(async ({ page }) => {
    await page.locator('.card').nth(1).waitFor();
    const first = await sample(page, () => document.querySelector('.hear').getAttribute('aria-label'), 400);
    assert.deepEqual([...new Set(first)], ['Hear the first suggestion']);
    await page.locator('.card').nth(1).click();
    const chosen = () => page.locator('.hear .chord').getAttribute('data-symbol');
    const symbol = await chosen();
    const samples = await sample(page, () => ({ symbol: document.querySelector('.hear .chord').dataset.symbol, gone: document.querySelector('.hear').classList.contains('gone'), label: document.querySelector('.hear').getAttribute('aria-label') }), 500);
    assert.deepEqual([...new Set(samples.map((each) => each.symbol))], [symbol]);
    for (const { gone, label } of samples) assert.equal(/no longer in the list/.test(label), gone);
    await page.locator('.hear.gone').waitFor();
    await page.locator('.hear', { hasText: 'no longer in the list' }).waitFor();
    await page.locator('.card').first().click();
    await page.locator('.hear:not(.gone)').waitFor();
  }, { daemon: demo, width: 900, height: 800, kept: { distance: 50 } }));

  test('the list says under which notes it was made, also while it is held still', () => scene(async ({ page, client }) => {
    await client.play(48, 52, 55, 59, 76);
    const head = page.locator('.list-head h2');
    await page.locator('.list-head h2:has-text("Under E5")').waitFor();
    await page.getByRole('button', { name: 'Hold still' }).click();
    await page.getByRole('button', { name: 'Held still', pressed: true }).waitFor();
    const rows = () => page.locator('.row').evaluateAll((all) => all.map((each) => each.dataset.harte).join(' '));
    const held = await rows();
    await client.release(48, 52, 55, 59, 76);
    await client.play(41, 48, 53, 56, 77);
    await page.locator('.now-melody:has-text("F5")').waitFor();
    assert.match(await head.innerText(), /^Under E5/);
    assert.equal(await rows(), held);
    await page.getByRole('button', { name: 'Held still' }).click();
    await page.locator('.list-head h2:has-text("Under F5")').waitFor();
    assert.deepEqual((await client.ask('moment.get')).under, [77]);
  }, { kept: { study: true, view: 'list' } }));

  test('without the daemon nothing claims to be live; afterwards all goes on', () => scene(async ({ page, daemon, client }) => {
    await client.play(53, 57, 60, 64, 76);
    await page.locator('.now-chord [data-symbol="Fmaj7"]').waitFor();
    await page.locator('.card').nth(1).waitFor();
    await page.locator('.card').nth(1).click();
    await daemon.kill('SIGKILL');
    await page.locator('.play.lost').waitFor();
    assert.match(await page.locator('.now').innerText(), /Undersong is not running[^]*Last heard/);
    assert.equal(await page.locator('.now-chord').count(), 0);
    assert.equal(await page.locator('.beat').count(), 0);
    for (const name of [/^Hear/, 'Hold still', 'Mark']) assert.ok(await page.locator('.actions').getByRole('button', { name }).isDisabled(), `${name}`);
    const colours = await page.locator('.card').evaluateAll((all) => [...new Set(all.map((each) => getComputedStyle(each).backgroundColor))]);
    assert.equal(colours.length, 1, `no tints: ${colours}`);
    await daemon.start();
    await page.locator('.play:not(.lost)').waitFor();
    await daemon.client().play(48, 52, 55, 72);
    await page.locator('.now-chord [data-symbol="C"]').waitFor();
  }, { width: 900, height: 800 }));

  test('a take that another client deletes says so, and can be brought back', () => scene(async ({ page, daemon, client }) => {
    await client.play(48, 52, 55, 72);
    await client.release(48, 52, 55, 72);
    await client.ask('take.end');
    await page.goto(`${daemon.url}#take/1`);
    await page.locator('canvas.roll').waitFor();
    await client.ask('take.delete', { take: 1 });
    await page.getByText('This take was deleted.').waitFor();
    await page.getByRole('button', { name: 'Bring it back' }).click();
    await page.locator('canvas.roll').waitFor();
    assert.equal((await client.ask('take.get', { take: 1 })).summary.deleted, false);
  }));

  test('a take that is being played no longer says so without the daemon', () => scene(async ({ page, daemon, client }) => {
    await client.play(48, 52, 55, 72);
    await until(async () => (await client.ask('take.list')).takes.length > 0, 'the take');
    await page.goto(`${daemon.url}#takes`);
    await page.locator('.take-facts .live').waitFor();
    await daemon.kill('SIGKILL');
    await page.locator('.take-facts .live').waitFor({ state: 'detached' });
  }));

  test('what was chosen survives: the study and its part, the whole list', () => scene(async ({ page, client }) => {
    await client.play(48, 52, 55, 59, 76);
    await page.locator('.card').first().waitFor();
    await page.getByRole('button', { name: 'Study' }).click();
    await page.getByRole('button', { name: 'List', exact: true }).click();
    await page.getByText('all 36').click();
    await page.reload();
    await page.locator('.row').nth(30).waitFor();
    assert.equal(await page.getByRole('button', { name: 'List', exact: true }).getAttribute('aria-pressed'), 'true');
  }));

  test('the screen is kept on from the first key on, and only on the playing page', () => scene(async ({ page, client }) => {
    await page.evaluate(() => {
      globalThis.awake = 0;
      navigator.wakeLock.request = async () => {
        ++globalThis.awake;
        return Object.assign(new EventTarget(), { release: async () => void --globalThis.awake });
      };
    });
    assert.equal(await page.evaluate(() => globalThis.awake), 0);
    await client.play(48, 52, 55, 72);
    await until(() => page.evaluate(() => globalThis.awake === 1), 'a screen that stays on');
    await page.evaluate(() => (location.hash = '#takes'));
    await until(() => page.evaluate(() => globalThis.awake === 0), 'a screen that may go dark');
  }));

  test('a change of page takes the focus and the title along', () => scene(async ({ page }) => {
    const at = () => page.evaluate(() => [document.title, document.activeElement.tagName]);
    assert.equal((await at())[0], 'Play · Undersong');
    for (const [link, title] of [['Takes', 'Takes · Undersong'], ['Settings', 'Settings · Undersong'], ['Play', 'Play · Undersong']]) {
      if (link === 'Takes') await page.getByRole('button', { name: 'Menu' }).click();
      await page.getByRole('link', { name: link, exact: true }).click();
      await until(async () => JSON.stringify(await at()) === JSON.stringify([title, 'MAIN']), () => `${title} with the focus on its content`);
    }
  }));

  test('a chord that lasts is spoken in words, politely', () => scene(async ({ page, client }) => {
    const region = page.locator('[data-announced]');
    assert.equal(await region.getAttribute('aria-live'), 'polite');
    await client.play(44, 48, 51, 55, 72);
    await until(async () => (await region.textContent()) === 'A flat major seventh', async () => region.textContent());
    await client.play(50, 62);
    await until(async () => (await region.textContent()).includes('sharp eleventh'), 'the next chord');
  }));
});

// Tests that the glance can be read from the seat, in every window, and that nothing on the playing screen scrolls or flies.
import assert from 'node:assert/strict';
import { readFileSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { after, before, describe, test } from 'node:test';
import { Daemon, lacking, open_browser, root, until, with_settings } from './stage.mjs';

const why_not = lacking();
const screen = { width: 3840, height: 2160 };
const inch = 42;  // its diagonal: a pixel has about the size that CSS takes it to have
const sizes = [[240, 240], [320, 480], [480, 720], [812, 375], [820, 1180], [1180, 820], [1920, 1080], [3840, 2160]];
let browser, daemon, client;

async function with_page(kept, run) {
  const { page, complaints } = await browser.page();
  try {
    await with_settings(page, kept);
    await page.goto(daemon.url);
    await page.locator('[data-link=open]').waitFor();
    await page.locator('.now-chord .chord').waitFor();
    await run(page);
    assert.deepEqual(complaints, []);
  } finally {
    await page.evaluate(() => localStorage.clear());
    await page.close();
  }
}

const devtools = new WeakMap();
/** A window of this size on the same screen. */
async function resize(page, width, height) {
  if (!devtools.has(page)) devtools.set(page, await page.context().newCDPSession(page));
  await devtools.get(page).send('Emulation.setDeviceMetricsOverride', { width, height, deviceScaleFactor: 1, mobile: false, screenWidth: screen.width, screenHeight: screen.height });
  await until(() => page.evaluate((size) => innerWidth === size[0] && innerHeight === size[1], [width, height]), 'the size');
  // Two frames: the sizes are observed, then drawn.
  await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));
}

/** Every piece of text that is seen in the glance: its height as capitals have it in its font, its box and that of its card. */
const words_of = (page) => page.evaluate(() => {
  const pen = document.createElement('canvas').getContext('2d');
  const words = [];
  const walker = document.createTreeWalker(document.querySelector('.glance'), NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const parent = node.parentElement;
    if (!node.data.trim() || parent.closest('.visually-hidden, .status-line')) continue;
    const style = getComputedStyle(parent);
    pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
    const range = document.createRange();
    range.selectNodeContents(node);
    const { left, top, right, bottom } = range.getBoundingClientRect();
    const around = (parent.closest('.card, .act, .face') ?? document.body).getBoundingClientRect();
    const clipped = parent.closest('.now-others') && top >= parent.closest('.now-others').getBoundingClientRect().bottom - 2;  // wrapped away
    words.push({
      text: node.data, capital: pen.measureText('H').actualBoundingBoxAscent, head: !!parent.closest('.now-chord'), letter: parent.classList.contains('chord-letter'), clipped,
      outside: Math.max(around.left - left, right - around.right, 0),
      // The box of a text is as high as its font; capitals are lower.
      cut: Math.max(around.top - top, bottom - around.bottom, 0) / parseFloat(style.fontSize),
    });
  }
  return words.filter((each) => !each.clipped);
});

describe('the glance', { skip: why_not || false }, () => {
  before(async () => {
    browser = await open_browser();
    daemon = await new Daemon().start();
    client = daemon.client();
    await client.play(43, 50, 58, 65, 74);
    await client.release(43, 50, 58, 65);
    await client.play(44, 51, 55, 60);  // a long name: A flat, major seventh, sharp eleventh
    await until(async () => (await client.ask('moment.get')).alternatives.length > 5, 'alternatives');
  });
  after(async () => {
    await browser?.close();
    await daemon?.stop();
  });

  for (const distance of [50, 100, 150]) {
    test(`every word has capitals of 16 minutes of arc from ${distance} cm, the headline of 40, in every window`, () => with_page({ distance, screen: inch }, async (page) => {
      await resize(page, 480, 720);
      const pixel_mm = await page.evaluate((of) => (of * 25.4) / Math.hypot(globalThis.screen.width, globalThis.screen.height), inch);
      const minutes = (px) => (2 * Math.atan((px * pixel_mm) / 2 / (distance * 10)) * 180 * 60) / Math.PI;
      for (const [width, height] of sizes) {
        await resize(page, width, height);
        const words = await words_of(page);
        assert.ok(words.length >= 3, `${width}×${height} shows the chord, the note and its degree`);
        for (const { text, capital, head, letter, outside, cut } of words) {
          assert.ok(minutes(capital) >= 15.95, `“${text}” has ${minutes(capital).toFixed(1)} minutes in ${width}×${height}`);
          if (head && letter) assert.ok(minutes(capital) >= 39.9, `the headline has ${minutes(capital).toFixed(1)} minutes in ${width}×${height}`);
          assert.ok(cut <= 0.28, `“${text}” is cut above or below in ${width}×${height}`);
          assert.ok(outside <= 1.5, `“${text}” is cut by ${outside.toFixed(1)} px in ${width}×${height}`);
        }
      }
    }));
  }

  test('a small window has fewer cards, a large one larger words', () => with_page({ distance: 100, screen: inch }, async (page) => {
    const seen = {};
    for (const [width, height] of sizes) {
      await resize(page, width, height);
      seen[`${width}x${height}`] = {
        cards: await page.locator('.card').count(),
        word: await page.locator('.now-melody').evaluate((each) => parseFloat(getComputedStyle(each).fontSize)),
        head: await page.locator('.now-chord .chord-letter').evaluate((each) => parseFloat(getComputedStyle(each).fontSize)),
      };
    }
    for (const large of ['1180x820', '1920x1080', '3840x2160']) assert.equal(seen[large].cards, 5, large);
    assert.ok(seen['240x240'].cards < 5 && seen['320x480'].cards < 5, JSON.stringify(seen));
    assert.ok(seen['3840x2160'].word > 1.6 * seen['1920x1080'].word, JSON.stringify(seen));
    assert.ok(seen['1920x1080'].word > seen['480x720'].word, JSON.stringify(seen));
    assert.ok(seen['3840x2160'].head > 1.5 * seen['1920x1080'].head, JSON.stringify(seen));
  }));

  test('each card says name, degree, colour in words, by tint and by place, and how the hands go', () => with_page({ distance: 50, screen: inch }, async (page) => {
    await resize(page, 1180, 820);
    const { alternatives } = await client.ask('moment.get');
    const roots = new Set();
    const best = alternatives.filter((each) => !roots.has(each.root) && roots.add(each.root)).slice(0, 5);
    const cards = await page.locator('.card').evaluateAll((all) => all.map((card) => ({
      harte: card.dataset.harte, text: card.innerText, tint: getComputedStyle(card).backgroundColor, bead: getComputedStyle(card.querySelector('.bead-bright')).left,
      tense: getComputedStyle(card.querySelector('.bead-tense')).bottom, label: card.getAttribute('aria-label'), hands: card.querySelectorAll('.hands > *').length,
    })));
    assert.deepEqual(cards.map((each) => each.harte), best.map((each) => each.harte));
    const sorted = (of, by) => cards.map((card, i) => [parseFloat(card[of]), best[i][by]]).sort((a, b) => a[1] - b[1]).map(([at]) => at);
    for (const [of, by] of [['bead', 'dark_bright'], ['tense', 'resolved_tense']]) {
      const at = sorted(of, by);
      assert.deepEqual(at, [...at].sort((a, b) => a - b), `${of}: the ${by} the further`);
    }
    assert.ok(new Set(cards.map((each) => each.tint)).size > 2, 'tints differ');
    for (const [i, card] of cards.entries()) {
      for (const word of best[i].colour) assert.ok(card.text.includes(word) && card.label.includes(word), `${word} on ${card.text}`);
      assert.match(card.label, /melody is .*hand (stays|goes)/);
      assert.ok(card.hands > 0);
    }
  }));

  const screens = { glance: { study: false }, plane: { study: true, view: 'plane' }, list: { study: true, view: 'list' }, voicing: { study: true, view: 'voicing' }, 'glance with keys': { study: false, keys: true } };
  for (const [name, kept] of Object.entries(screens)) {
    test(`never scrolls, and Hear, Hold and Mark are always there: ${name}`, () => with_page(kept, async (page) => {
      for (const [width, height] of [...sizes, [640, 360], [590, 410]]) {  // the last two: small windows at 200 % zoom
        await resize(page, width, height);
        if (kept.study) await page.locator('.study .actions').waitFor();
        let over;
        const beyond = () => page.evaluate(() => Math.max(...['html', 'main', '.play', '.glance, .study'].map((which) => {
          const element = document.querySelector(which);
          return Math.max(element.scrollWidth - element.clientWidth, element.scrollHeight - element.clientHeight);
        })));
        await until(async () => (over = await beyond()) <= 1, () => `everything inside ${width}×${height}, but ${over} px are not:`, 4000);
        const buttons = await page.locator('.actions .act').evaluateAll((all) => all.map((each) => { const { left, top, right, bottom } = each.getBoundingClientRect(); return { label: each.getAttribute('aria-label'), left, top, right, bottom }; }));
        assert.equal(buttons.length, 3);
        for (const { label, left, top, right, bottom } of buttons) {
          assert.ok(left >= 0 && top >= 0 && right <= width + 0.5 && bottom <= height + 0.5, `${label} is not inside ${width}×${height}`);
          assert.ok(right - left >= 44 && bottom - top >= 43.5, `${label} is ${(right - left).toFixed(0)}×${(bottom - top).toFixed(0)} in ${width}×${height}`);
        }
      }
    }));
  }

  test('all type has one of eight sizes, all corners one of four radii', () => {
    const style = ['clients/companion/src/style', 'clients/companion/src/song'].flatMap((folder) => readdirSync(join(root, folder)).filter((file) => file.endsWith('.css')).map((file) => readFileSync(join(root, folder, file), 'utf8'))).join('\n');
    const values = (property) => new Set([...style.matchAll(new RegExp(`[^-]${property}: ([^;}]+)`, 'g'))].flatMap(([, value]) => (property === 'font-size' ? [value] : value.split(' '))).filter((value) => value !== '0' && value !== 'inherit'));
    const fonts = values('font-size'), radii = values('border-radius');
    fonts.delete('clamp(100%, 50% + 0.9vmin, 220%)');  // of the whole page, which the others are counted in
    assert.ok(fonts.size <= 8, [...fonts].join());
    assert.ok(radii.size <= 4, [...radii].join());
  });

  test('settings of the seat survive, and change what is seen', () => with_page({}, async (page) => {
    await page.goto(`${daemon.url}#settings`);
    await page.getByLabel('1.5 m').check();
    await page.getByLabel('Diagonal of the screen').fill('24');
    await page.keyboard.press('Enter');
    await page.reload();
    assert.ok(await page.getByLabel('1.5 m').isChecked());
    assert.equal(await page.getByLabel('Diagonal of the screen').inputValue(), '24');
    const word = () => page.locator('.seat-sample').evaluate((each) => parseFloat(getComputedStyle(each).fontSize));
    const far = await word();
    await page.getByLabel('50 cm').check();
    await until(async () => Math.abs((await word()) * 3 - far) < 0.5, 'a third of the distance, a third of the size');
  }));
});

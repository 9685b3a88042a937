// Tests what other musicians get, seen and printed: a page for each, in a real browser with the real daemon. And the song as blocks that
// are heard, dragged and repeated, and the tour of the first visit.
import assert from 'node:assert/strict';
import { readFileSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { after, before, describe, test } from 'node:test';
import { Daemon, lacking, open_browser, page_folder, root, symbol_of, until } from './stage.mjs';

const why_not = lacking();
let browser, daemon, client;

describe('a song on paper and as blocks', { skip: why_not || false }, () => {
  before(async () => {
    browser = await open_browser({ locale: 'en-GB', hasTouch: true });
    daemon = await new Daemon().start({ play: `${root}/configs/demo.mid`, speed: 60 });
    client = daemon.client();
    await until(async () => (await client.ask('take.list')).takes[0]?.ended, 'the demo take');
  });
  after(async () => {
    await browser?.close();
    await daemon?.stop();
  });

  async function on(hash, run, view = { width: 1180, height: 820 }) {
    const { page, complaints } = await browser.page(view);
    try {
      await page.goto(`${daemon.url}${hash}`);
      await page.locator('[data-link=open]').waitFor();
      await run(page);
      assert.deepEqual(complaints, []);
    } finally {
      await page.evaluate(() => { sessionStorage.clear(); localStorage.clear(); });
      await page.close();
    }
  }
  const button = (page, name) => page.getByRole('button', { name, exact: true });
  async function hand_over(page) {
    await page.locator('.loop-row').waitFor();
    await button(page, 'Hand over').click();
  }
  /** The pages of one part, once they are engraved. */
  async function engraved(page, who, file) {
    await page.getByRole('group', { name: 'Who it is for' }).getByRole('button', { name: who }).click();
    const sheets = page.locator(`.sheets[data-file="${file}"]:not([data-pages="0"])`);
    await sheets.waitFor();
    return sheets.locator('svg');
  }
  const engraver = readdirSync(join(page_folder, 'assets')).find((name) => /^page_engraving-.*\.js$/.test(name));

  test('the engraver is loaded only when a page is wanted, and is not among what every visit keeps', async () => {
    const asked = [];
    const { page } = await browser.page({ width: 1180, height: 820 });
    page.on('request', (request) => asked.push(new URL(request.url()).pathname));
    try {
      await page.goto(`${daemon.url}#song/1`);
      await hand_over(page);
      assert.ok(asked.length > 3 && !asked.some((path) => path.endsWith(engraver)), asked.join(' '));
      await engraved(page, /^Singer/, 'lead_sheet.musicxml');
      assert.ok(asked.some((path) => path.endsWith(engraver)));
    } finally {
      await page.close();
    }
    assert.equal(readFileSync(join(page_folder, 'service_worker.js'), 'utf8').includes(engraver), false);
  });

  test('each musician sees a page of their own, with the chords as they are named everywhere', () => on('#song/1', async (page) => {
    await hand_over(page);
    const { chords } = await client.ask('take.loop', { take: 1 });
    const plain = (text) => text.replaceAll('\u2060', '').replaceAll('♭', 'b').replaceAll('♯', '#');
    const first = symbol_of(chords[0]);
    for (const [who, file, sees] of [[/^Singer/, 'lead_sheet.musicxml', first], [/^Pianist/, 'piano.musicxml', first], [/^Guitarist/, 'chords.musicxml', first], [/^Bass player/, 'bass.musicxml', first],
      [/^B♭ instrument/, 'lead_sheet_b_flat.musicxml', first.replace(/^Eb/, 'F')], [/^E♭ instrument/, 'lead_sheet_e_flat.musicxml', first.replace(/^Eb/, 'C')], [/^Conductor/, 'score.musicxml', first]]) {
      const pages = await engraved(page, who, file);
      const text = plain((await pages.allTextContents()).join(' '));
      assert.ok(text.includes(sees), `${file} shows ${sees}: ${text.slice(0, 300)}`);
      const heads = await pages.first().locator('.vf-notehead').count();
      assert.ok(heads > 8, `${heads} notes in ${file}`);
    }
  }));

  test('strings are seen together and one by one, and as the section is to play', () => on('#song/1', async (page) => {
    await hand_over(page);
    await engraved(page, /^Strings/, 'strings.musicxml');
    const of = async (name, file) => {
      await page.getByRole('group', { name: 'Parts', exact: true }).getByRole('button', { name, exact: true }).click();
      const sheets = page.locator(`.sheets[data-file="${file}"]:not([data-pages="0"])`);
      await sheets.waitFor();
      return sheets.locator('svg').first();
    };
    const viola = await of('Viola', 'viola.musicxml');
    assert.match(await viola.textContent(), /Viola/);
    const notes = () => viola.locator('.vf-notehead').count();
    const still = await notes();
    await page.getByRole('combobox', { name: 'Strings' }).selectOption('chorale');
    await until(async () => await page.locator('.sheets:not([data-pages="0"])').count() === 1 && (await notes()) > still, 'a note on every chord');
    await page.getByRole('combobox', { name: 'Strings' }).selectOption('still');
  }));

  test('prints the pages and nothing else, on the paper that was chosen', () => on('#song/1', async (page) => {
    await page.evaluate(() => addEventListener('beforeprint', () => {
      const seen = [...document.querySelectorAll('button, nav, h1, svg')].filter((each) => each.closest('.print-pages') || !document.getElementById('app').contains(each));
      globalThis.printed = { title: document.title, buttons: seen.filter((each) => !each.matches('svg')).length, pages: seen.filter((each) => each.matches('svg')).length };
    }));
    await hand_over(page);
    // The objects of a PDF that Chromium writes stand in it as text.
    const printed = async () => {
      const pdf = (await page.pdf({ preferCSSPageSize: true })).toString('latin1');
      return { pages: pdf.match(/\/Type\s*\/Page\b(?!s)/g).length, boxes: [...pdf.matchAll(/\/MediaBox\s*\[([^\]]*)\]/g)].map(([, box]) => box.trim().split(/\s+/).slice(2).map(Math.round).join(' by ')) };
    };
    const pages = await (await engraved(page, /^Conductor/, 'score.musicxml')).count();
    assert.ok(pages > 1);
    assert.equal(await page.getByLabel('Paper').inputValue(), 'a4');
    const score = await printed();
    assert.equal(score.pages, pages);
    assert.deepEqual([...new Set(score.boxes)], ['595 by 842']);
    assert.deepEqual(await page.evaluate(() => globalThis.printed), { title: 'Take 1, Score', buttons: 0, pages });
    await page.emulateMedia({ media: 'print' });
    assert.ok(await page.locator('.sheet-pages').isVisible(), 'before it prints, the page is as it was');
    await page.evaluate(() => dispatchEvent(new Event('beforeprint')));
    assert.equal(await page.locator('#app').isVisible(), false);
    const box = await page.locator('.print-pages svg').first().boundingBox();
    assert.ok(Math.abs(box.width - 210 / 25.4 * 96) < 1, `a page is ${box.width} px wide`);
    await page.evaluate(() => dispatchEvent(new Event('afterprint')));
    await page.emulateMedia({ media: 'screen' });
    await page.getByLabel('Paper').selectOption('letter');
    await page.locator('.sheets:not([data-pages="0"]) .sheet-pages.paper-letter svg').first().waitFor();
    assert.deepEqual([...new Set((await printed()).boxes)], ['612 by 792']);
    assert.equal(await page.locator('.print-pages').count(), 0, 'nothing is left behind');
    assert.match(await page.title(), /Undersong$/);
    // Elsewhere the browser prints as ever.
    await button(page, 'Other chords').click();
    await page.locator('a[href="#settings"]').first().click();
    await page.locator('.settings').waitFor();
    await page.pdf();
    assert.equal((await page.evaluate(() => globalThis.printed)).pages, 0);
  }));

  test('a tempo that is given is on the page', () => on('#song/1', async (page) => {
    await hand_over(page);
    const pages = await engraved(page, /^Singer/, 'lead_sheet.musicxml');
    await page.getByLabel('Beats a minute', { exact: true }).fill('96');
    await page.getByLabel('Beats a minute', { exact: true }).press('Enter');
    await until(async () => /96/.test((await pages.allTextContents()).join(' ')), 'the new tempo on the page');
  }));

  test('a very long part is engraved when it is asked for, and one that cannot be read says so', async () => {
    const { page, complaints } = await browser.page({ width: 1180, height: 820 });
    try {
      await page.routeWebSocket(/socket/, (socket) => {
        const server = socket.connectToServer();
        socket.onMessage((message) => server.send(message));
        server.onMessage((message) => {
          const said = JSON.parse(message);
          const sheet = said.result?.files?.find((file) => file.name === 'lead_sheet.musicxml');
          if (sheet) sheet.base64 = Buffer.from(`<no-music>${'<measure number="1"/>'.repeat(3000)}</no-music>`).toString('base64');
          socket.send(JSON.stringify(said));
        });
      });
      await page.goto(`${daemon.url}#song/1`);
      await hand_over(page);
      await page.getByRole('group', { name: 'Who it is for' }).getByRole('button', { name: /^Singer/ }).click();
      await page.getByText('3000 bars on all its staves').waitFor();
      assert.equal(await button(page, 'Print or save as PDF').isDisabled(), true);
      await button(page, 'Engrave it').click();
      await page.getByRole('alert').getByText('lead_sheet.musicxml could not be engraved').waitFor();
      await engraved(page, /^Bass player/, 'bass.musicxml');
      assert.deepEqual(complaints, []);
    } finally {
      await page.close();
    }
  });

  // ---- the song as blocks

  async function a_song(page) {
    await page.locator('.loop-row').waitFor();
    await button(page, 'Song sketch').click();
    await button(page, 'Propose a song').click();
    await page.locator('.block .chord').first().waitFor();
  }
  const names = (page) => page.locator('.block').evaluateAll((all) => all.map((each) => each.dataset.name));
  const ids = (page) => page.locator('.block').evaluateAll((all) => all.map((each) => each.dataset.id));

  test('each block shows its chords, is wider the longer it is, and says how often it is played', () => on('#song/1', async (page) => {
    await a_song(page);
    const sketch = await client.ask('sketch.propose', { takes: [1] });
    const { parts } = await client.ask('sketch.outline', { sketch });
    assert.deepEqual(await names(page), sketch.sections.map((each) => each.name));
    for (let i = 0; i < sketch.sections.length; ++i) {
      const own = parts.filter((part) => part.section === i + 1).flatMap((part) => part.chords.map((chord) => symbol_of(chord)));
      assert.deepEqual(await page.locator('.block').nth(i).locator('.chord').evaluateAll((all) => all.map((each) => each.dataset.symbol)), own);
    }
    await page.locator('.block').first().getByRole('button', { name: /one time more/ }).click();
    await page.locator('.block').first().locator('.block-count').getByText(`${(sketch.sections[0].repeats ?? 1) + 1} ×`).waitFor();
    const before = parts.reduce((sum, part) => sum + part.beats, 0);
    const once = parts.filter((part) => part.section === 1).reduce((sum, part) => sum + part.beats / part.times, 0);
    await page.getByText(`${before + once} beats in all`).waitFor();
  }));

  test('a block is dragged to another place; Escape lets it go', () => on('#song/1', async (page) => {
    await a_song(page);
    const before = await ids(page);
    const middle = async (id) => {
      const box = await page.locator(`.block[data-id="${id}"] .block-name`).boundingBox();
      return [box.x + box.width / 2, box.y + box.height / 2];
    };
    const drag = async (from, to) => {
      await page.mouse.move(...await middle(from));
      await page.mouse.down();
      await page.mouse.move(...await middle(to), { steps: 8 });
      await page.locator('.block.dragged').waitFor();
    };
    await drag(before[0], before[2]);
    await page.keyboard.press('Escape');
    await page.mouse.up();
    assert.deepEqual(await ids(page), before);
    await drag(before[0], before[2]);
    await page.mouse.up();
    const after = [before[1], before[2], before[0], ...before.slice(3)];
    await until(async () => JSON.stringify(await ids(page)) === JSON.stringify(after), 'the new order');
    await page.locator(`.block[data-id="${before[0]}"] .block-body:focus`).waitFor();
  }));

  // Touches are sent to the browser below the page, so that it decides by itself whether a finger scrolls.
  test('a finger that rests on a block drags it; one that moves at once scrolls', () => on('#song/1', async (page) => {
    await a_song(page);
    const before = await ids(page);
    const fingers = await page.context().newCDPSession(page);
    const touch = (type, ...points) => fingers.send('Input.dispatchTouchEvent', { type, touchPoints: points.map(([x, y]) => ({ x, y })) });
    const middle = async (id) => {
      const box = await page.locator(`.block[data-id="${id}"] .block-name`).boundingBox();
      return [box.x + box.width / 2, box.y + box.height / 2];
    };
    const move = async ([from_x, from_y], [to_x, to_y]) => {
      for (let step = 1; step <= 8; ++step) await touch('touchMove', [from_x + (to_x - from_x) * step / 8, from_y + (to_y - from_y) * step / 8]);
    };
    await page.evaluate(() => { globalThis.scrolls = 0; addEventListener('scroll', () => { ++globalThis.scrolls; }, true); });
    const scrolls = () => page.evaluate(() => globalThis.scrolls);

    const [first, third] = [await middle(before[0]), await middle(before[2])];
    await touch('touchStart', first);
    await page.locator('.block.held').waitFor();
    const still = await scrolls();
    await move(first, third);
    await page.locator('.block.dragged').waitFor();
    await touch('touchEnd');
    const after = [before[1], before[2], before[0], ...before.slice(3)];
    await until(async () => JSON.stringify(await ids(page)) === JSON.stringify(after), 'the new order');
    assert.equal(await scrolls(), still);
    assert.equal(await page.locator('.block.held, .block.dragged').count(), 0);

    await page.setViewportSize({ width: 390, height: 520 });
    await page.locator(`.block[data-id="${after[0]}"]`).evaluate((block) => block.scrollIntoView({ block: 'center' }));
    const [x, y] = await middle(after[0]);
    const before_it = await scrolls();
    await touch('touchStart', [x, y]);
    await move([x, y], [x, y + 160]);
    await until(async () => (await scrolls()) > before_it, 'the page to scroll');
    assert.equal(await page.locator('.block.held, .block.dragged').count(), 0);
    await touch('touchEnd');
    assert.deepEqual(await ids(page), after);
  }));

  test('a block and the song are heard, softly, from where they begin to where they end', () => on('#song/1', async (page) => {
    await page.addInitScript(() => {
      OfflineAudioContext.prototype.decodeAudioData = () => Promise.reject(new Error('no piano in this test: a tone’s pitch is known'));
      globalThis.begun = [];
      const start = OscillatorNode.prototype.start;
      OscillatorNode.prototype.start = function (at) { if (this.type === 'triangle') globalThis.begun.push({ at, pitch: Math.round(69 + 12 * Math.log2(this.frequency.value / 440)) }); return start.call(this, at); };
    });
    await page.reload();
    await a_song(page);
    const sketch = await client.ask('sketch.propose', { takes: [1] });
    const { sound, parts } = await client.ask('sketch.outline', { sketch, sounding: true });
    const second = sound.turns.find((turn) => parts[turn.part].section === 2).at_us;
    const wanted = sound.notes.filter((note) => note.at_us >= second - 1000).slice(0, 6);
    await page.locator('.block').nth(1).getByRole('button', { name: /^Hear / }).click();
    await page.locator('.block.sounding').waitFor();
    assert.equal(await page.locator('.block.sounding').getAttribute('data-name'), sketch.sections[1].name);
    await until(() => page.evaluate(() => globalThis.begun.length >= 6), 'six notes');
    const begun = (await page.evaluate(() => globalThis.begun)).slice(0, 6);
    assert.deepEqual(begun.map((note) => note.pitch), wanted.map((note) => note.pitch));
    begun.forEach((note, i) => assert.ok(Math.abs(note.at - begun[0].at - (wanted[i].at_us - wanted[0].at_us) / 1e6) < 0.01, 'in tempo'));
    await page.locator('.block').nth(1).getByRole('button', { name: /^Stop / }).click();
    await until(async () => (await page.locator('.block.sounding').count()) === 0, 'silence');
    await button(page, '▶ Hear the song').click();
    await page.locator('.block.sounding').first().waitFor();
    assert.equal(await page.locator('.block.sounding').getAttribute('data-id'), (await ids(page))[0]);
    await button(page, 'Loop').or(button(page, 'Other chords')).first().click();  // leaving the sketch ends it
    await button(page, 'Song sketch').click();
    await button(page, '▶ Hear the song').waitFor();
  }));

  test('the rows of other chords stand under the loop, chord by chord, and are heard by pressing them', () => on('#song/1', async (page) => {
    await page.locator('.loop-row').waitFor();
    await button(page, 'Other chords').click();
    await page.locator('.proposal').first().waitFor();
    const lefts = (row) => row.locator('.pin, .cell').evaluateAll((all) => all.map((each) => Math.round(each.getBoundingClientRect().left)));
    const loop = await lefts(page.locator('.played'));
    assert.equal(new Set(loop).size, 4);
    for (let i = 0; i < 4; ++i) {
      const row = await lefts(page.locator('.proposal').nth(i));
      row.forEach((left, k) => assert.ok(Math.abs(left - loop[k]) <= 2, `chord ${k + 1} of row ${i + 1} at ${left}, of the loop at ${loop[k]}`));
    }
    await page.getByRole('combobox', { name: 'Heard on' }).selectOption('page');
    await page.locator('.proposal').nth(1).locator('.cell').nth(2).click();
    await page.locator('.proposal').nth(1).locator('.cell.sounding').waitFor();
    await page.locator('.proposal').nth(1).locator('.proposal-reason').click();
    await until(async () => (await page.locator('.cell.sounding').count()) === 0, 'silence');
    await button(page, 'Hear the loop as played').click();
    await page.locator('.played .pin.sounding').waitFor();
    await button(page, 'Stop the loop as played').click();
  }));

  // ---- the tour

  test('the first visit begins with a tour of four pictures that is closed for good and comes back when asked for', async () => {
    const { page, complaints } = await browser.page({ width: 1180, height: 820, first_visit: true });
    try {
      await page.goto(`${daemon.url}#takes`);
      const tour = page.getByRole('dialog', { name: 'What Undersong does' });
      const titles = [];
      for (let i = 1; i <= 4; ++i) {
        await tour.getByText(`${i} of 4`).waitFor();
        titles.push(await tour.getByRole('heading').innerText());
        assert.equal(await tour.getByRole('img').count(), 1);
        await tour.getByRole('button', { name: i < 4 ? 'Next' : 'Done' }).click();
      }
      assert.equal(new Set(titles).size, 4);
      await tour.waitFor({ state: 'detached' });
      await page.reload();
      await page.locator('.take-row').first().waitFor();
      assert.equal(await tour.count(), 0);
      await page.goto(`${daemon.url}#settings`);
      await button(page, 'Show the tour again').click();
      await tour.waitFor();
      await tour.getByRole('button', { name: 'Next' }).focus();
      await page.keyboard.press('Escape');
      await tour.waitFor({ state: 'detached' });
      await page.keyboard.press('?');
      await button(page, 'Show the tour').click();
      await tour.waitFor();
      await tour.getByRole('button', { name: 'Close' }).click();
      await tour.waitFor({ state: 'detached' });
      assert.deepEqual(complaints, []);
    } finally {
      await page.close();
    }
  });

  test('the tour makes way for the music', async () => {
    const { page } = await browser.page({ width: 1180, height: 820, first_visit: true });
    const fresh = await new Daemon().start();
    try {
      await page.goto(fresh.url);
      await page.locator('.tour').waitFor();
      await fresh.client().play(48, 52, 55, 59, 76);
      await page.locator('.card').first().waitFor();
      await page.locator('.tour').waitFor({ state: 'detached' });
    } finally {
      await page.close();
      await fresh.stop();
    }
  });
});

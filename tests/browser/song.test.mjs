// Tests the song screen of a take in a real browser with the real daemon.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { after, before, describe, test } from 'node:test';
import { Daemon, lacking, open_browser, root, symbol_of, until } from './stage.mjs';

const { unzipSync } = createRequire(`${root}/clients/companion/package.json`)('fflate');
const why_not = lacking();
let browser, daemon, client;

describe('the song screen', { skip: why_not || false }, () => {
  before(async () => {
    browser = await open_browser();
    daemon = await new Daemon().start({ play: `${root}/configs/demo.mid`, speed: 60 });
    const listener = daemon.client();
    await until(async () => (await listener.ask('take.list')).takes[0]?.ended, 'the demo take');
    await daemon.kill('SIGTERM');
    await daemon.start();  // without the demo file: its clock is ahead of the keys played here
    client = daemon.client();
    await client.play(60);
    await client.release(60);
    await client.ask('take.end');
  });
  after(async () => {
    await browser?.close();
    await daemon?.stop();
  });

  async function on(hash, run, view) {
    const { page, complaints } = await browser.page(view);
    try {
      await page.goto(`${daemon.url}${hash}`);
      await page.locator('[data-link=open]').waitFor();
      await run(page);
      assert.deepEqual(complaints, []);
    } finally {
      await page.close();
    }
  }
  const button = (page, name) => page.getByRole('button', { name, exact: true });
  const symbols = (place) => place.locator('.chord').evaluateAll((all) => all.map((each) => each.dataset.symbol));
  const block_names = (page) => page.locator('.block').evaluateAll((all) => all.map((each) => each.dataset.name));
  const order = (page) => page.locator('.proposal').evaluateAll((all) => all.map((each) => each.dataset.harte));
  /** The proposals once the daemon's answer to the newest wish is shown. */
  async function settled(page) {
    await page.locator('.proposal').first().waitFor();
    await page.locator('.others[aria-busy=false]').waitFor();
    return order(page);
  }
  async function others(page) {
    await button(page, 'Other chords').click();
    return settled(page);
  }
  async function bytes(page, act) {
    const [download] = await Promise.all([page.waitForEvent('download'), act()]);
    return { name: download.suggestedFilename(), bytes: readFileSync(await download.path()) };
  }
  /** Microseconds a quarter, as the tempo events of a MIDI file tell. */
  const tempos = (data) => [...data.toString('latin1').matchAll(/\xff\x51\x03([^]{3})/g)].map(([, three]) => Buffer.from(three, 'latin1').readUIntBE(0, 3));
  const text = (data) => Buffer.from(data).toString('utf8');

  test('is reached from the take log and from the take', () => on('#takes', async (page) => {
    await page.getByRole('link', { name: 'Take 1 as a song' }).click();
    await page.locator('.loop-row').waitFor();
    await page.getByRole('link', { name: 'Back to the take' }).click();
    await page.locator('canvas.roll').waitFor();
    await page.getByRole('link', { name: 'Song', exact: true }).click();
    await page.locator('.loop-row').waitFor();
  }));

  test('writes the loop and other chords for it in the style of the settings, without asking again', () => on('#song/1', async (page) => {
    const loop = await client.ask('take.loop', { take: 1 });
    await page.locator('.loop-row').waitFor();
    try {
      await client.ask('settings.set', { symbol_style: 'signs' });
      const signs = loop.chords.map((chord) => symbol_of(chord, 'signs'));
      assert.notDeepEqual(signs, loop.chords.map((chord) => symbol_of(chord)));
      await until(async () => (await symbols(page.locator('.loop-row'))).join() === signs.join(), 'the loop in signs');
      await others(page);
      assert.deepEqual(await symbols(page.locator('.played .cells').first()), signs);
    } finally {
      await client.ask('settings.reset', { names: ['symbol_style'] });
    }
  }));

  test('shows the loop, each time round, what differed, and the sections with their reason', () => on('#song/1', async (page) => {
    const loop = await client.ask('take.loop', { take: 1 });
    await page.locator('.loop-row').waitFor();
    assert.deepEqual(await symbols(page.locator('.loop-row')), loop.chords.map((chord) => symbol_of(chord)));
    assert.match(await page.locator('.loop-row').innerText(), /2 beats/);
    assert.match(await page.locator('.loop-facts').innerText(), new RegExp(`${Math.round(loop.tempo)} beats a minute[^]*${Math.round(loop.confidence * 100)} % sure`));
    assert.equal(await page.locator('.pass').count(), loop.passes.length);
    assert.equal(await page.locator('.pass.variant').count(), loop.passes.filter((pass) => pass.variant).length);
    assert.match(await page.locator('.pass.variant').first().innerText(), /D♭maj9 instead of G7sus4/);
    const said = await page.locator('.passes').allInnerTexts();
    assert.equal(said.length, loop.sections.length);
    loop.sections.forEach((section, i) => assert.ok(said[i].includes(section.kind) && said[i].includes(section.reason), `${said[i]} tells ${section.reason}`));
  }));

  test('without a pulse, lengths are in seconds, and it is said how to get beats', async () => {
    const { page, complaints } = await browser.page({ width: 480 });
    try {
      // The daemon finds a pulse in the demo. Remove the members that it leaves out if there is none.
      await page.routeWebSocket(/socket/, (socket) => {
        const server = socket.connectToServer();
        socket.onMessage((message) => server.send(message));
        server.onMessage((message) => {
          const said = JSON.parse(message);
          if (said.result?.passes && said.result.chords) {
            delete said.result.tempo;
            delete said.result.meter;
            for (const chord of said.result.chords) delete chord.beats;
          }
          socket.send(JSON.stringify(said));
        });
      });
      await page.goto(`${daemon.url}#song/1`);
      await page.locator('.loop-row').waitFor();
      const { chords } = await client.ask('take.loop', { take: 1 });
      assert.ok((await page.locator('.loop-row').innerText()).includes(`${(chords[0].length_us / 1e6).toFixed(1)} s`));
      assert.doesNotMatch(await page.locator('.loop-facts').innerText(), /beats a minute/);
      await page.getByText('No steady beat was found').waitFor();
      await others(page);
      await button(page, 'Hear proposal 1').click();
      await button(page, 'Stop proposal 1').click();
      assert.deepEqual(complaints, []);
    } finally {
      await page.close();
    }
  });

  test('says why there is no loop, in the daemon’s words, and what to do', () => on('#song/2', async (page) => {
    await page.getByRole('heading', { name: 'No loop in this take' }).waitFor();
    const why = await client.ask('take.loop', { take: 2 }).catch((error) => error.message);
    assert.ok((await page.locator('.no-loop').innerText()).includes(why));
    await button(page, 'All the files').click();
    const refused = await client.ask('take.hand_over', { take: 2 }).catch((error) => error.message);
    await page.getByRole('alert').getByText(refused).waitFor();
  }));

  test('proposes eight cycles; a chord that is pressed is kept in all of them', () => on('#song/1', async (page) => {
    const before = await others(page);
    assert.ok(before.length >= 8);
    assert.equal(await page.evaluate(() => { const main = document.querySelector('main'); return main.scrollHeight - main.clientHeight; }), 0, 'only the part itself scrolls');
    const asked = await client.ask('take.reharmonise', { take: 1, count: 8 });
    assert.deepEqual(before, asked.proposals.map((each) => each.chords.map((chord) => chord.harte).join(' ')));
    assert.ok(await page.locator('.cell[data-changed=true] .cell-degrees').first().isVisible());
    const pin = page.locator('.pin').nth(3);
    assert.equal(await pin.getAttribute('aria-pressed'), 'false');
    await pin.focus();
    await page.keyboard.press('Space');
    assert.equal(await pin.getAttribute('aria-pressed'), 'true');
    const kept = await settled(page);
    const { chords } = await client.ask('take.loop', { take: 1 });
    assert.ok(kept.length > 0);
    assert.ok(kept.every((each) => each.split(' ')[3] === chords[3].harte), `${chords[3].harte} is last in ${kept.join(' | ')}`);
    assert.equal(await page.locator('.cell[data-kept=true]').count(), kept.length);
    await pin.click();
    assert.deepEqual(await settled(page), before);
  }));

  test('a wish brings others to the front; moved quickly, it asks once', () => on('#song/1', async (page) => {
    const sent = [];
    page.on('websocket', (socket) => socket.on('framesent', ({ payload }) => payload.includes('take.reharmonise') && sent.push(JSON.parse(payload).params)));
    await page.reload();
    const before = await others(page);
    const so_far = sent.length;
    await page.getByLabel('Dark to bright').focus();
    for (let i = 0; i < 8; ++i) await page.keyboard.press('ArrowLeft');
    const after = await settled(page);
    assert.notDeepEqual(after, before);
    assert.ok(sent.length - so_far < 8, `${sent.length - so_far} requests for eight steps`);
    assert.equal(sent.at(-1).brighter, -0.8);
    const asked = await client.ask('take.reharmonise', { take: 1, brighter: -0.8, count: 8 });
    assert.deepEqual(after, asked.proposals.map((each) => each.chords.map((chord) => chord.harte).join(' ')));
    await page.getByLabel('Roots move by').selectOption('fifths');
    assert.notDeepEqual(await settled(page), after);
    await page.getByLabel('Melody of').selectOption('C');
    await settled(page);
    assert.equal(sent.at(-1).section, 'C');
    assert.equal(sent.at(-1).roots, 'fifths');
  }));

  test('the bass can be asked to stay on one note; its chords are slash chords and go into the song as such', () => on('#song/1', async (page) => {
    const before = await others(page);
    await page.getByRole('combobox', { name: 'Bass' }).selectOption('G');
    await until(async () => JSON.stringify(await order(page)) !== JSON.stringify(before), 'other proposals');
    const over_g = await settled(page);
    const asked = await client.ask('take.reharmonise', { take: 1, pedal: 'G', count: 8 });
    assert.deepEqual(over_g, asked.proposals.map((each) => each.chords.map((chord) => chord.harte).join(' ')));
    for (const symbol of await symbols(page.locator('.proposal').first())) assert.match(symbol, /^G|\/G$/);
    assert.match(await page.locator('.proposal-reason').first().innerText(), /^the bass stays on G/i);
    await button(page, 'Put proposal 1 in the song').click();
    await page.locator('.section-chords').first().waitFor();
    assert.deepEqual(await symbols(page.locator('.section-chords').first()), asked.proposals[0].chords.map((chord) => symbol_of(chord)));
    await page.evaluate(() => sessionStorage.clear());
  }));

  test('a proposal is heard in tempo with the page’s tone, softly, and can be stopped', () => on('#song/1', async (page) => {
    await page.addInitScript(() => {
      OfflineAudioContext.prototype.decodeAudioData = () => Promise.reject(new Error('no piano in this test: a tone’s pitch is known'));
      globalThis.begun = [];
      const start = OscillatorNode.prototype.start;
      OscillatorNode.prototype.start = function (at) { globalThis.begun.push({ at, pitch: this.frequency.value, type: this.type }); return start.call(this, at); };
      globalThis.gains = [];
      const connect = AudioNode.prototype.connect;
      AudioNode.prototype.connect = function (...to) { if (this instanceof GainNode && to[0] instanceof DynamicsCompressorNode) globalThis.gains.push(this.gain.value); return connect.apply(this, to); };
    });
    await page.reload();
    await others(page);
    await page.getByRole('combobox', { name: 'Heard on' }).selectOption('page');
    // Asked for before it sounds: on a slow machine it would have ended when the answers come.
    const { proposals } = await client.ask('take.reharmonise', { take: 1, count: 8 });
    const { chords, tempo } = await client.ask('take.loop', { take: 1 });
    const first = proposals[0].chords[0], second = proposals[0].chords[1];
    await button(page, 'Hear proposal 1').click();
    const stop = button(page, 'Stop proposal 1');
    assert.equal(await stop.getAttribute('aria-pressed'), 'true');
    await page.locator('.proposal').first().locator('.cell.sounding').nth(0).waitFor();
    await until(() => page.evaluate((count) => globalThis.begun.length >= count, 3 * (first.left.length + first.right.length + 1)), 'the second chord');
    const fundamental = (await page.evaluate(() => globalThis.begun)).filter((each) => each.type === 'triangle');
    const keys = fundamental.map((each) => Math.round(69 + 12 * Math.log2(each.pitch / 440)));
    const low_first = (chord) => [...chord.left, ...chord.right].sort((a, b) => a - b);
    const notes = low_first(first).length;
    assert.deepEqual(keys.slice(0, notes), low_first(first));
    assert.equal(keys[notes], low_first(second)[0]);
    const apart = fundamental[notes].at - fundamental[0].at, wanted = (chords[0].beats * 60) / tempo;
    assert.ok(Math.abs(apart - wanted) < 0.02, `chords ${apart} s apart, ${wanted} in tempo`);
    assert.deepEqual(await page.evaluate(() => globalThis.gains), [0]);  // it begins silent and glides up
    await stop.click();
    await button(page, 'Hear proposal 1').waitFor();
    assert.equal(await page.locator('.cell.sounding').count(), 0);
  }));

  test('says what is missing when the MIDI output is chosen and not there', () => on('#song/1', async (page) => {
    await others(page);
    await page.getByRole('combobox', { name: 'Heard on' }).selectOption('midi');
    await button(page, 'Hear proposal 1').click();
    await page.locator('.notice').getByText(/ALSA|JACK/).waitFor();
    await button(page, 'Hear proposal 1').waitFor();
    await page.locator('.notice').getByText(/ALSA|JACK/).waitFor({ state: 'detached' });
    // The song too.
    await button(page, 'Song sketch').click();
    await button(page, 'Propose a song').click();
    await page.locator('.block .chord').first().waitFor();
    await button(page, '▶ Hear the song').click();
    await page.locator('.notice').getByText(/ALSA|JACK/).waitFor();
    assert.equal(await page.locator('.block.sounding').count(), 0);
    await page.evaluate(() => localStorage.clear());
  }));

  test('a sketch is proposed, put in order by keys, given other chords, kept, and is there after a reload', () => on('#song/1', async (page) => {
    await others(page);
    const { proposals } = await client.ask('take.reharmonise', { take: 1, count: 8 });
    await button(page, 'Put proposal 2 in the song').click();
    const names = () => block_names(page);
    await page.locator('.block').first().waitFor();
    const proposed = (await client.ask('sketch.propose', { takes: [1] })).sections;
    assert.deepEqual(await names(), proposed.map((each) => each.name));
    assert.deepEqual(await symbols(page.locator('.section-chords')), proposals[1].chords.map((chord) => symbol_of(chord)));
    // With the keyboard only: from block to block, one to the second place, and once more of it. The focus stays on the moved one.
    const solo = proposed.findIndex((each) => each.name === 'Solo');
    await page.locator('.block-body').first().focus();
    for (let i = 0; i < solo; ++i) await page.keyboard.press('ArrowRight');
    const focused = () => page.evaluate(() => document.activeElement?.closest('.block')?.dataset.name);
    assert.equal(await focused(), 'Solo');
    for (let i = solo; i > 1; --i) {
      await page.keyboard.press('Shift+ArrowLeft');
      await until(async () => (await names()).indexOf('Solo') === i - 1 && (await focused()) === 'Solo', 'the solo one place earlier, with the focus');
    }
    await page.getByText('Solo is now section 2').waitFor({ state: 'attached' });
    const times = Number(/^\d+/.exec(await page.locator('.block[data-name=Solo] .block-count').innerText())[0]);
    await page.keyboard.press('+');
    await page.locator('.block[data-name=Solo] .block-count').getByText(`${times + 1} ×`).waitFor();
    await page.keyboard.press('-');
    await page.locator('.block[data-name=Solo] .block-count').getByText(`${times} ×`).waitFor();
    await page.locator('.block[data-name=Ending] .block-body').click();
    await button(page, 'Take Ending out').click();
    assert.equal((await names()).includes('Ending'), false);
    await page.locator('.notice').getByRole('button', { name: 'Undo' }).click();
    assert.equal((await names()).at(-1), 'Ending');
    await page.locator('.block[data-name=Ending] .block-body').click();
    await page.locator('.section[data-name=Ending]').getByRole('button', { name: 'bass' }).click();
    await page.locator('.block[data-name=Solo] .block-body').click();
    await page.getByLabel('Times, section 2').fill('3');
    await page.getByLabel('Title of the song').fill('Evening rounds');
    await button(page, 'Save the sketch').click();
    await page.locator('[data-kept-as="Evening rounds"]').waitFor();
    await page.getByText('beats in all').waitFor();
    const { sketch } = await client.ask('sketch.get', { name: 'Evening rounds' });
    assert.deepEqual(sketch.sections.map((each) => each.name), await names());
    assert.equal(sketch.sections[1].repeats, 3);
    assert.deepEqual(sketch.sections.at(-1).layers, ['melody', 'bass', 'pad']);
    assert.equal(sketch.sections.find((each) => each.chords).chords.length, 4);
    // An unsaved draft survives a reload, and is put aside when another sketch is opened.
    await page.getByLabel('Title of the song').fill('Evening rounds, later');
    await page.reload();
    await button(page, 'Song sketch').click();
    assert.equal(await page.getByLabel('Title of the song').inputValue(), 'Evening rounds, later');
    await page.getByText('1 song saved').click();
    await button(page, 'Open Evening rounds').click();
    await page.locator('.notice').getByRole('button', { name: 'Back to it' }).click();
    assert.equal(await page.getByLabel('Title of the song').inputValue(), 'Evening rounds, later');
    await page.evaluate(() => sessionStorage.clear());
    await page.reload();
    await button(page, 'Song sketch').click();
    await page.getByText('1 song saved').click();
    await button(page, 'Open Evening rounds').click();
    await until(async () => JSON.stringify(await names()) === JSON.stringify(sketch.sections.map((each) => each.name)), 'the kept order');
  }));

  test('bridges and interludes are proposed for a section, heard, and added to the song', () => on('#song/1', async (page) => {
    await client.ask('sketch.put', { name: 'growing', sketch: { title: 'Growing', sections: [{ name: 'Theme', kind: 'theme', take: 1, label: 'A' }] } });
    const { proposals } = await client.ask('sketch.grow', { name: 'growing' });
    await button(page, 'Song sketch').click();
    await page.getByText(/songs? saved/).click();
    await button(page, 'Open growing').click();
    await button(page, 'Propose a bridge or an interlude').click();
    const rows = page.getByRole('list', { name: 'Bridges and interludes' }).locator('.proposal');
    await until(async () => await rows.count() === proposals.length, 'the proposals');
    assert.deepEqual(await symbols(rows.nth(1)), proposals[1].chords.map((chord) => symbol_of(chord)));
    assert.match(await rows.nth(1).locator('.proposal-reason').textContent(), /^in /);
    // A press asks for that chord, where it sounds in the page by its voicing.
    await page.evaluate(() => { window.starts = 0; for (const kind of [AudioScheduledSourceNode, AudioBufferSourceNode]) { const start = kind.prototype.start; kind.prototype.start = function (...all) { ++window.starts; return start.apply(this, all); }; } });
    await rows.nth(0).locator('.pin').nth(2).click();
    await until(() => page.evaluate(() => window.starts > 2), 'the chord that was pressed');
    await button(page, 'Hear Bridge 1').click();
    await rows.nth(0).locator('.pin.sounding').waitFor();
    await button(page, 'Stop Bridge 1').click();
    assert.equal(await rows.nth(0).locator('.pin.sounding').count(), 0);
    await button(page, 'Add Bridge 1 to the song').click();
    await page.locator('.notice').getByText('Bridge is in the song.').waitFor();
    const names = () => block_names(page);
    const { sketch } = await client.ask('sketch.get', { name: 'growing' });
    assert.deepEqual(sketch.sections.map((each) => each.name), ['Theme', 'Bridge', 'Theme again']);
    assert.deepEqual(await names(), sketch.sections.map((each) => each.name));
    assert.equal(sketch.sections[1].chord_line, proposals[0].section.chord_line);
    await page.locator('.notice').getByRole('button', { name: 'Undo' }).click();
    assert.deepEqual(await names(), ['Theme']);
    await client.ask('sketch.delete', { name: 'growing' });
  }));

  test('the daemon’s sentence stands beside the section it is about; a deleted song comes back', () => on('#song/1', async (page) => {
    await client.ask('sketch.put', { name: 'wanting', sketch: { title: 'Wanting', sections: [{ name: 'Theme', kind: 'theme', take: 1, label: 'A' }, { name: 'Other', kind: 'bridge', take: 1, label: 'Z' }] } });
    await button(page, 'Song sketch').click();
    await page.getByText(/songs? saved/).click();
    await button(page, 'Open wanting').click();
    const why = await client.ask('sketch.outline', { name: 'wanting' }).catch((error) => error.message);
    await page.locator('.block.wrong[data-name=Other]').waitFor();
    await page.locator('.sketch').getByRole('alert').getByText(why).waitFor();
    assert.equal(await page.locator('.section[data-name=Theme] [role=alert]').count(), 0);
    assert.equal(await page.locator('.block.wrong').count(), 1);
    await page.locator('.block[data-name=Other] .block-body').click();
    await page.locator('.section[data-name=Other]').getByRole('alert').getByText(why).waitFor();
    await button(page, 'Delete wanting').click();
    await until(async () => !(await client.ask('sketch.list')).sketches.some((each) => each.name === 'wanting'), 'the deletion');
    await page.locator('.notice').getByRole('button', { name: 'Undo' }).click();
    await until(async () => (await client.ask('sketch.list')).sketches.some((each) => each.name === 'wanting'), 'the song back on the list');
    // Another client changed the sketch meanwhile: its changes are not overwritten, and the page says so.
    await button(page, 'Open wanting').click();
    await page.locator('[data-kept-as=wanting]').waitFor();
    await client.ask('sketch.put', { name: 'wanting', sketch: { title: 'Theirs', sections: [{ name: 'Theme', kind: 'theme', take: 1, label: 'A' }] } });
    await page.getByLabel('Title of the song').fill('Mine');
    await button(page, 'Save the sketch').click();
    await page.locator('.sketch > .trouble, .sketch .trouble').getByText(/changed/i).waitFor();
    assert.equal((await client.ask('sketch.get', { name: 'wanting' })).sketch.title, 'Theirs');
    await client.ask('sketch.delete', { name: 'wanting' });
  }));

  test('hands over the take and a song: chart to read, files alone and as one', () => on('#song/1', async (page) => {
    await page.locator('.loop-row').waitFor();
    await page.getByRole('group', { name: 'Parts of this page' }).getByRole('button', { name: 'Hand over' }).click();
    await page.getByLabel('Beats a minute', { exact: true }).fill('96');
    await button(page, 'All the files').click();
    const part = page.locator('.place-parts');
    assert.match(await part.locator('.chart').innerText(), /quarter = 96[^]*A, theme[^]*Ebmaj9/);
    const midi = await bytes(page, () => button(page, 'Save parts.mid').click());
    assert.equal(midi.name, 'take-1-parts.mid');
    assert.equal(midi.bytes.subarray(0, 4).toString('latin1'), 'MThd');
    assert.deepEqual(tempos(midi.bytes), [625_000]);
    const sheet = await bytes(page, () => button(page, 'Save lead_sheet.musicxml').click());
    assert.match(text(sheet.bytes), /^<\?xml[^]*<score-partwise/);
    const all = await bytes(page, () => button(page, 'Save all as take-1.zip').click());
    const inside = unzipSync(all.bytes);
    const pages = ['bass', 'cello', 'chords', 'lead_sheet', 'lead_sheet_b_flat', 'lead_sheet_e_flat', 'piano', 'score', 'strings', 'viola', 'violin_1', 'violin_2'];
    assert.deepEqual(Object.keys(inside).sort(), ['chart.txt', ...pages.map((each) => `${each}.musicxml`), 'parts.mid'].map((each) => `take-1/${each}`).sort());
    assert.deepEqual(Buffer.from(inside['take-1/parts.mid']), midi.bytes);
    await page.getByRole('radio', { name: 'as played' }).check();
    await until(async () => tempos((await bytes(page, () => button(page, 'Save parts.mid').click())).bytes).length > 1, 'the tempo as it was played');

    await button(page, 'Song sketch').click();
    await button(page, 'Propose a song').click();
    await page.locator('.block').first().waitFor();
    const song = page.locator('.place-sketch');
    await song.getByRole('button', { name: 'Hand over' }).click();
    await song.locator('.chart').waitFor();
    const made = await bytes(page, () => song.getByRole('button', { name: 'Save song.mid' }).click());
    assert.equal(made.bytes.subarray(0, 4).toString('latin1'), 'MThd');
  }));
});

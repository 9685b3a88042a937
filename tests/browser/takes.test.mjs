// Tests the list of takes and the page of a take in a real browser with the real daemon.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { after, before, describe, test } from 'node:test';
import { Daemon, lacking, open_browser, root, symbol_of, until } from './stage.mjs';

const why_not = lacking();
let browser, daemon, client;

describe('the take log', { skip: why_not || false }, () => {
  before(async () => {
    browser = await open_browser();
    daemon = await new Daemon().start({ play: `${root}/configs/demo.mid`, speed: 60 });
    const listener = daemon.client();
    await until(async () => (await listener.ask('take.list')).takes[0]?.ended, 'the demo take');
    await daemon.kill('SIGTERM');
    await daemon.start();  // without the demo file: its clock is ahead of the keys played here
    client = daemon.client();
    await until(async () => (await client.ask('take.picture', { take: 1 })).studied, 'the study of the demo take');
    await client.play(54, 58, 61, 73);  // a second take, on F sharp
    await until(async () => {
      const { chord, melody, alternatives } = await client.ask('moment.get');
      return chord?.root === 6 && melody[0]?.pitch === 73 && alternatives.length > 0;
    }, 'the chord and its melody');
    await client.ask('take.mark', { text: 'here' });
    await client.release(54, 58, 61, 73);
    await client.ask('take.end');
  });
  after(async () => {
    await browser?.close();
    await daemon?.stop();
  });

  test('the bars of a take are seen and corrected, and a loop that can’t be played says why', () => on('#take/1', async (page) => {
    const bars = page.locator('canvas.roll[data-bars]');
    await until(async () => Number(await bars.getAttribute('data-bars')) > 12, 'bars on the roll');
    const before = await client.ask('take.beats', { take: 1 });
    await page.getByRole('button', { name: 'Correct the bars' }).click();
    await page.getByRole('button', { name: 'Half as fast' }).click();
    await until(async () => (await client.ask('take.beats', { take: 1 })).at.length < before.at.length * 0.6, 'half the beats');
    await until(async () => Number(await bars.getAttribute('data-bars')) < before.place.filter((place) => place === 1).length * 0.7, 'fewer bars on the roll');
    await page.getByRole('group', { name: 'Bars and loop' }).getByRole('button', { name: 'Undo' }).click();
    await until(async () => (await client.ask('take.beats', { take: 1 })).at.length === before.at.length, 'all beats again');
    // Asked for on MIDI, where there is no output; otherwise it would sound in the page.
    await page.evaluate(() => localStorage.setItem('undersong.hear', '"midi"'));
    await page.reload();
    await page.getByRole('button', { name: 'Play along' }).click();
    await page.getByText(/output is not there|sequencer|MIDI service/).first().waitFor();
    await page.evaluate(() => localStorage.clear());
  }, { width: 900 }));

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
  const rows = (page) => page.locator('.take-row a[data-take]').evaluateAll((all) => all.map((each) => Number(each.dataset.take)));

  test('lists takes with a picture of each', () => on('#takes', async (page) => {
    await page.locator('.thumbnail[data-drawn=true] path').first().waitFor({ state: 'attached' });
    assert.deepEqual(await rows(page), [2, 1]);
    assert.match(await page.locator('[data-take="1"]').innerText(), /1:3\d[^]*circled/);
    assert.match(await page.locator('[data-take="2"]').innerText(), /marked/);
    // The picture: a band for each time round, and the line of the melody.
    const { loops } = await client.ask('take.picture', { take: 1 });
    const picture = page.locator('[data-take="1"] .thumbnail');
    await until(async () => (await picture.getAttribute('data-studied')) === 'true', 'the picture of the studied take');
    assert.equal(await picture.locator('.band.loop-0').count(), loops[0].passes.length);
    assert.ok(await picture.locator('path').count() > 0);
  }));

  test('a take is called by its chords, under its evening', () => on('#takes', async (page) => {
    const { content, key } = (await client.ask('take.get', { take: 1 })).summary;
    assert.ok(content.chords.length > 1 && content.times > 1 && content.tempo > 40);
    const flats = (text) => text.replace(/([A-G])b/g, '$1♭').replace(/([b#])(?=\d)/g, (sign) => (sign === 'b' ? '♭' : '♯'));
    const times = ['', '', 'twice', 'three times', 'four times', 'five times', 'six times', 'seven times', 'eight times', 'nine times', 'ten times'][content.times] ?? `${content.times} times`;
    const name = `${content.chords.map((chord) => flats(symbol_of(chord))).join(' ')}, ${times}; ${flats(key).replace(':min', ' minor').replace(':maj', ' major')}, ${Math.round(content.tempo)}`;
    await until(async () => (await page.locator('[data-take="1"] .take-name').innerText()) === name, async () => `${name}, not ${await page.locator('[data-take="1"] .take-name').innerText()}`);
    assert.match(await page.locator('[data-take="1"]').innerText(), /Take 1\b/);
    const { year } = await page.evaluate(() => ({ year: String(new Date().getFullYear()) }));
    assert.ok((await page.locator('.evening').first().innerText()).includes(year));
  }));

  test('finds what was just played, plays it and opens it at its place', () => on('#takes', async (page) => {
    // Eight seconds of the first take, a tone higher, as a third take.
    const all = await client.ask('take.notes', { take: 1 });
    const { at: begin } = (await client.ask('take.get', { take: 1 })).summary;
    const events = all.at.flatMap((at, i) => [{ at, pitch: all.pitch[i] + 2, on: true }, { at: at + all.length_us[i], pitch: all.pitch[i] + 2, on: false }])
      .filter((each) => each.at >= begin + 20e6 && each.at < begin + 26e6).sort((a, b) => a.at - b.at || a.on - b.on);
    for (let i = 0; i < events.length; ++i) {
      await new Promise((go) => setTimeout(go, i === 0 ? 0 : (events[i].at - events[i - 1].at) / 2000));  // twice as fast
      await client.ask('notes.send', { notes: [{ pitch: events[i].pitch, velocity: 70, on: events[i].on }] });
    }
    await page.getByRole('button', { name: 'Find what I just played' }).click();
    const hit = page.locator('.find-played .moment-row').first();
    await hit.waitFor();
    await client.ask('take.end');
    await client.ask('take.delete', { take: 3 });
    const place = (await hit.getByRole('link').innerText()).split(', ').at(-1);
    assert.equal(await hit.getAttribute('data-take'), '1');
    await hit.locator('.act').click();
    await hit.getByRole('button', { name: /^Stop/ }).click();
    // It was taken from 0:20 on, and the loop repeats it: whichever place comes first, none is lost.
    const others = hit.locator('.other-places button');
    const places = [place, ...(await others.allInnerTexts())];
    assert.ok(places.some((each) => /^0:2[01]$/.test(each)), `0:20 is among ${places}`);
    await others.first().click();
    await hit.getByRole('button', { name: `at ${places[1]}` }).and(page.locator('[aria-pressed=true]')).click();
    await page.locator('.find-played [aria-pressed=true]').waitFor({ state: 'detached' });
    await hit.getByRole('link').click();
    await page.locator('canvas.roll').waitFor();
    // Where it was opened is where the cursor stands.
    await until(async () => (await page.locator('.instant-time').innerText()) === place, `the cursor at ${place}`);
  }));

  test('finds moments in a musician’s words, plays one, and says what is not understood', () => on('#takes', async (page) => {
    const field = page.getByRole('searchbox', { name: 'Find moments' });
    await field.fill('Db under G');
    await field.press('Enter');
    const moment = page.locator('.moment-row[data-take="1"]').first();
    await moment.waitFor();
    assert.match(await moment.innerText(), /under G5\s*[♯#]11/);
    await moment.getByRole('button', { name: /^Play/ }).click();
    await moment.getByRole('button', { name: /^Stop/ }).waitFor();
    await moment.getByRole('button', { name: /^Play/ }).waitFor();  // it ends by itself
    await field.fill('Db beneath G');
    await field.press('Enter');
    await page.getByRole('alert').getByText('"beneath" at column 4').waitFor();
    await field.fill('exactly Dbm(maj9) under G');
    await field.press('Enter');
    await page.locator('.near li').first().waitFor();
    await field.fill('');
    await page.getByText('For example').waitFor();
  }));

  test('searches by chord, by melody note over a root, by key and by date', () => on('#takes', async (page) => {
    await page.getByText('Search', { exact: true }).click();
    const finds = (...wanted) => until(async () => JSON.stringify(await rows(page)) === JSON.stringify(wanted), `takes ${wanted}`);
    await page.getByLabel('Chord on').selectOption('6');
    await finds(2);
    await page.getByLabel('Chord on').selectOption('3');
    await page.getByLabel('of kind').selectOption('major');
    await finds(1);
    await page.getByRole('button', { name: 'Clear' }).click();
    await finds(2, 1);
    await page.getByText('Search', { exact: true }).click();
    await page.getByLabel('Melody note').selectOption('1');
    await page.getByLabel('over root').selectOption('6');
    await finds(2);
    await page.getByRole('button', { name: 'Clear' }).click();
    await page.getByText('Search', { exact: true }).click();
    const { key } = (await client.ask('take.get', { take: 1 })).summary;
    await page.getByRole('combobox', { name: 'Key', exact: true }).selectOption(key);
    await until(async () => (await rows(page)).includes(1), 'the take in its key');
    await page.getByRole('button', { name: 'Clear' }).click();
    await page.getByText('Search', { exact: true }).click();
    await page.getByLabel('to', { exact: true }).fill('2001-01-01');
    await page.getByText('No take is like that').waitFor();
  }));

  test('opens a take: every note, chords, melody, marks and what was offered at any instant', () => on('#take/1', async (page) => {
    const roll = page.getByRole('slider', { name: 'Place in the take' });
    await roll.waitFor();
    assert.equal(await roll.getAttribute('data-notes'), '402');
    await roll.focus();
    for (let i = 0; i < 4; ++i) await page.keyboard.press('Shift+ArrowRight');  // 40 seconds in
    await page.locator('.instant-time:has-text("0:40")').waitFor();
    await page.locator('.instant-chord .chord').waitFor();
    await page.locator('.instant-melody').waitFor();
    await page.locator('.instant-offer li .chord').first().waitFor();
    assert.match(await roll.getAttribute('aria-valuetext'), /^0:40, [A-G]/);
    // What is shown at the cursor is what the daemon stores.
    const { chords, summary } = await client.ask('take.get', { take: 1 });
    const there = chords.filter((each) => each.at - summary.at <= 40e6).at(-1);
    assert.equal(await page.locator('.instant-chord .chord').getAttribute('data-symbol'), symbol_of(there));
    // Also in the other style, with the chords that were offered.
    const shown = async (place) => page.locator(place).evaluateAll((all) => all.map((each) => each.dataset.symbol));
    const letters = await shown('.instant-offer li .chord');
    try {
      await client.ask('settings.set', { symbol_style: 'signs' });
      await page.locator(`.instant-chord .chord[data-symbol="${symbol_of(there, 'signs')}"]`).waitFor();
      assert.notDeepEqual(await shown('.instant-offer li .chord'), letters);
      assert.equal((await shown('.instant-offer li .chord')).length, letters.length);
    } finally {
      await client.ask('settings.reset', { names: ['symbol_style'] });
    }
  }));

  test('zooms and pans by keys, wheel and dragging', () => on('#take/1', async (page) => {
    const roll = page.locator('canvas.roll');
    await roll.waitFor();
    const picture = () => roll.evaluate((canvas) => canvas.toDataURL());
    const settled = async () => {
      await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));
      return picture();
    };
    for (let i = 0; i < 4; ++i) await page.getByRole('button', { name: 'Closer' }).click();
    let last = await settled();
    const changes = async (what, act) => {
      await act();
      const now = await settled();
      assert.notEqual(now, last, what);
      last = now;
    };
    const box = await roll.boundingBox();
    await changes('the wheel pans', async () => { await page.mouse.move(box.x + 200, box.y + 150); await page.mouse.wheel(300, 0); });
    await changes('dragging pans', async () => { await page.mouse.down(); await page.mouse.move(box.x + 60, box.y + 150, { steps: 4 }); await page.mouse.up(); });
    await changes('plus zooms', () => roll.press('+'));
    await changes('the whole take', () => page.getByRole('button', { name: 'Whole' }).click());
  }));

  test('plays the take in the page, following it with the cursor', () => on('#take/1', async (page) => {
    await page.locator('canvas.roll').waitFor();
    await page.getByRole('button', { name: 'Play', exact: false }).first().waitFor();
    await page.locator('.take-tools').getByRole('button', { name: '▶ Play' }).click();
    await page.locator('.instant-time:has-text("0:01")').waitFor();
    await page.locator('.take-tools').getByRole('button', { name: 'Pause' }).click();
    await page.locator('.take-tools').getByRole('button', { name: '▶ Play' }).waitFor();
  }));

  test('the lane of chords names every chord or the loop, and passages stand for notes from afar', () => on('#take/1', async (page) => {
    const roll = page.locator('canvas.roll[data-bands]');
    const { loops } = await client.ask('take.picture', { take: 1 });
    await until(async () => Number(await roll.getAttribute('data-bands')) >= loops[0].passes.length, 'the passes on the roll');
    await page.getByRole('button', { name: 'Whole' }).click();
    for (const width of [320, 480, 1180]) {
      await page.setViewportSize({ width, height: 800 });
      await until(async () => /×\d|loop/.test(await roll.getAttribute('data-lane')), 'the loop in the lane');
    }
    await page.setViewportSize({ width: 360, height: 800 });
    await until(async () => (await roll.getAttribute('data-view')) === 'passages', 'passages from afar');
    // Near enough, the names are those that were heard, in their order.
    for (let i = 0; i < 6; ++i) await roll.press('+');
    await until(async () => (await roll.getAttribute('data-view')) === 'notes', 'notes from near');
    const { chords } = await client.ask('take.get', { take: 1 });
    const names = (await roll.getAttribute('data-lane')).split(' | ');
    const heard = chords.map((chord) => symbol_of(chord).replace(/([A-G])b/g, '$1♭')).join(' ');
    assert.ok(names.length > 0 && names.every((name) => /minor|major/.test(name) || heard.includes(name.replace(/b(?=\d)/, 'b'))), names.join(', '));
  }, { width: 1180 }));

  test('a pass is heard by pressing it, two are compared, and one becomes a section of a song', () => on('#take/1', async (page) => {
    const spine = page.getByRole('region', { name: 'Passes of the loop' });
    await spine.getByRole('button', { name: /^Pass 2 at/ }).click();
    await spine.locator('.pass-press.sounds').waitFor();
    await spine.getByRole('button', { name: /^Pass 2 at/ }).click();  // stops
    await until(async () => (await spine.locator('.pass-press.sounds').count()) === 0, 'silence');
    await spine.getByRole('button', { name: 'Compare two' }).click();
    await spine.getByRole('button', { name: /^Pass 3 at/ }).click();
    await spine.locator('.compared svg path.second').waitFor({ state: 'attached' });
    await spine.getByText(/Pass 2: /).waitFor();
    await spine.getByRole('button', { name: 'Make pass 3 a section' }).click();
    await page.locator('.section[data-name="Pass 3"]').waitFor();
    assert.match(page.url(), /#song\/1$/);
    await page.evaluate(() => sessionStorage.clear());
  }, { width: 1180 }));

  test('an evening is heard again: reasons, one after another, kept and dismissed with one key', () => on('#takes', async (page) => {
    await page.getByRole('link', { name: 'Hear the best of it' }).click();
    const rows_of = () => page.locator('.digest-row');
    await rows_of().first().waitFor();
    const { moments } = await client.ask('take.digest', { span: 'evening' });
    assert.ok(moments.some((each) => each.reasons.includes('circled')) && moments.some((each) => each.reason === 'marked "here"'));
    assert.equal(await rows_of().count(), moments.length);
    assert.match(await page.locator('.digest').innerText(), /circled for \d:\d\d, \d+ times/);
    await page.keyboard.press('k');
    await page.locator('.digest-row.kept').waitFor();
    const first = moments[0];
    assert.deepEqual((await client.ask('take.get', { take: first.take })).kept, [{ from_us: first.from_us, length_us: first.length_us }]);
    await page.keyboard.press('k');
    await until(async () => (await client.ask('take.get', { take: first.take })).kept.length === 0, 'no longer kept');
    await page.keyboard.press(' ');
    await page.locator('.digest-row.current .act', { hasText: '■' }).waitFor();
    await page.keyboard.press('d');  // the next one sounds
    await until(async () => (await rows_of().count()) === moments.length - 1, 'one less');
    await page.locator('.digest-row.current .act', { hasText: '■' }).waitFor();
    await page.getByRole('button', { name: '❚❚ Stop' }).click();
    await page.getByRole('button', { name: 'Undo' }).click();
    await until(async () => (await rows_of().count()) === moments.length, 'all again');
  }, { width: 1180 }));

  test('renames and annotates a take', () => on('#take/2', async (page) => {
    await page.getByLabel('Title of this take').fill('Two sharps and a flat');
    await page.getByLabel('Title of this take').press('Enter');
    await page.getByLabel('A note on this take').fill('slower');
    await page.getByLabel('A note on this take').press('Enter');
    await until(async () => {
      const { title, annotation } = (await client.ask('take.get', { take: 2 })).summary;
      return title === 'Two sharps and a flat' && annotation === 'slower';
    }, 'the new name');
    await page.getByLabel('All takes').click();
    await page.getByText('Two sharps and a flat').waitFor();
  }));

  test('exports a take as a MIDI file', () => on('#take/1', async (page) => {
    await page.locator('canvas.roll').waitFor();
    const [download] = await Promise.all([page.waitForEvent('download'), page.getByRole('button', { name: 'Export' }).click()]);
    assert.equal(download.suggestedFilename(), 'take-1.mid');
    const saved = readFileSync(await download.path());
    const { base64 } = await client.ask('take.export', { take: 1 });
    assert.equal(saved.subarray(0, 4).toString(), 'MThd');
    assert.deepEqual(saved, Buffer.from(base64, 'base64'));
  }));

  test('deletes a take, and brings it back', () => on('#take/2', async (page) => {
    await page.getByRole('button', { name: 'Delete' }).click();
    await until(async () => JSON.stringify(await rows(page)) === '[1]', 'the take off the list');
    await page.getByRole('button', { name: 'Undo' }).click();
    await until(async () => JSON.stringify(await rows(page)) === '[2,1]', 'the take back on the list');
  }));

  test('says so when there is no such take', () => on('#take/77', async (page) => {
    await page.getByText('There is no take 77.').waitFor();
  }));

  test('says how takes come about while there are none', async () => {
    const empty = await new Daemon().start();
    const { page } = await browser.page();
    try {
      await page.goto(`${empty.url}#takes`);
      await page.getByText('No takes yet').waitFor();
    } finally {
      await page.close();
      await empty.stop();
    }
  });

  test('files that are dropped or chosen become takes, on their dates, and a broken one says why', () => on('#play', async (page) => {
    const demo = readFileSync(`${root}/configs/demo.mid`);
    // As a browser hands them over: a real drop of three files, on another screen.
    const transfer = await page.evaluateHandle(([bytes, other]) => {
      const carried = new DataTransfer();
      const of = (text) => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
      carried.items.add(new File([of(bytes)], '2019-05-31 rounds.mid'));
      carried.items.add(new File([of(other)], 'slow.mid', { lastModified: new Date(2020, 1, 3, 12).getTime() }));
      carried.items.add(new File(['no music in here'], 'letter.mid'));
      return carried;
    }, [demo.toString('base64'), invented_file().toString('base64')]);
    await page.dispatchEvent('body', 'dragover', { dataTransfer: transfer });
    await page.getByText('Let go: each MIDI file becomes a take.').waitFor();
    await page.dispatchEvent('body', 'drop', { dataTransfer: transfer });
    const said = page.getByRole('region', { name: 'Files brought' });
    await said.waitFor();
    assert.match(page.url(), /#takes$/);
    assert.match(await said.innerText(), /1 take brought, 1 known already, 1 file not readable as a take:/);
    assert.match(await said.innerText(), /letter\.mid: This is not a standard MIDI file/);
    assert.equal(await page.getByText('Let go:').count(), 0);
    // The demo was played to this daemon already. The other one stands below today's takes.
    await until(async () => (await rows(page)).length === 3, 'the brought take in the list');
    const { summary } = await client.ask('take.get', { take: (await rows(page))[2] });
    assert.equal(summary.title, 'slow');
    assert.equal(new Date(summary.begin_utc_ms).getFullYear(), 2020);
    assert.match(await page.locator('.evening').last().innerText(), /2020/);
    await said.getByRole('button', { name: 'Close' }).click();
    // The same by hand.
    await page.getByText('Bring old recordings').click();
    await page.getByLabel('Choose files').setInputFiles([{ name: 'again.mid', mimeType: 'audio/midi', buffer: demo }]);
    await said.waitFor();
    assert.match(await said.innerText(), /0 takes brought, 1 known already\./);
    await client.ask('take.delete', { take: summary.take });
  }));
});

// A minute of invented music as a standard MIDI file.
function invented_file() {
  const track = [];
  const scale = [60, 62, 64, 65, 67, 69, 71, 72];
  for (let i = 0; i < 120; ++i) {
    const key = scale[(i * 5 + (i >> 2)) % 8];
    track.push(0, 0x90, key, 70, 0x83, 0x60, 0x80, key, 0);
  }
  track.push(0, 0xff, 0x2f, 0);
  const length = Buffer.alloc(4);
  length.writeUInt32BE(track.length);
  return Buffer.concat([Buffer.from('MThd\0\0\0\x06\0\0\0\x01\x01\xe0MTrk', 'latin1'), length, Buffer.from(track)]);
}

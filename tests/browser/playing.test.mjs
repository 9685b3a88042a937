// Tests the playing screen in a real browser with the real daemon.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { Daemon, lacking, open_browser, root, symbol_of, until, with_settings } from './stage.mjs';

const why_not = lacking();
let browser;

/** A daemon, a page that is connected to it, and a client that plays. */
async function scene(run, { daemon: options, kept, ...view } = {}) {
  const daemon = await new Daemon().start(options);
  const { page, complaints } = await browser.page(view);
  try {
    if (kept) await with_settings(page, kept);
    await page.goto(daemon.url);
    await page.locator('[data-link=open]').waitFor();
    await run({ daemon, page, complaints, client: daemon.client() });
    assert.deepEqual(complaints, []);
  } finally {
    await page.close();
    await daemon.stop();
  }
}

const chord = (page) => page.locator('.now-chord .chord').getAttribute('data-symbol');
const shows = (page, symbol) => page.locator(`.now-chord [data-symbol="${symbol}"]`).waitFor();
const order = (page) => page.locator('.rows .row').evaluateAll((rows) => rows.map((row) => row.dataset.harte));
const study = { kept: { study: true } };
const menu = async (page, name) => {
  await page.getByRole('button', { name: 'Menu' }).click();
  await page.locator('#play-menu').getByRole('button', { name }).click();
};
const view = (page, name) => page.getByRole('button', { name, exact: true }).click();

describe('the playing screen', { skip: why_not || false }, () => {
  before(async () => { browser = await open_browser(); });
  after(async () => { await browser?.close(); });

  test('teaches while there is nothing to show', () => scene(async ({ page }) => {
    assert.match(await page.locator('.status-line').innerText(), /Connected · no keyboard yet/);
    assert.match(await page.locator('.now').innerText(), /No keyboard yet[^]*Plug one in/);
    assert.match(await page.locator('.plane').innerText(), /Hold a melody note over a chord/);
    await view(page, 'List');
    assert.match(await page.locator('.list').innerText(), /No melody held yet/);
    assert.ok(await page.getByRole('button', { name: 'Hear' }).isDisabled());
  }, study));

  test('shows the chord, the melody note with its degree, and the key', () => scene(async ({ page, client }) => {
    for (const notes of [[50, 57, 60, 65, 77], [43, 59, 62, 65, 74], [48, 55, 59, 64, 76]]) {  // a cadence, so that a key is found
      await client.play(...notes);
      await page.locator(`.now:not(.dim) .now-chord [data-symbol^="${'CDEFGAB'[[0, 0, 1, 1, 2, 3, 3, 4, 4, 5, 5, 6][notes[0] % 12]]}"]`).waitFor();
      await client.release(...notes);
    }
    await client.play(53, 57, 60, 64, 76);
    await shows(page, 'Fmaj7');
    await page.locator('.now-melody:has-text("E5") .degree:has-text("7")').waitFor();
    await page.locator('.now-key:has-text("C major")').waitFor();
    assert.equal(await page.locator('.now-chord .visually-hidden').innerText(), 'F major seventh');
  }));

  test('pins the key that is shown, and frees it', () => scene(async ({ page, client }) => {
    for (const notes of [[50, 57, 60, 65, 77], [43, 59, 62, 65, 74], [48, 55, 59, 64, 76]]) {
      await client.play(...notes);
      await page.locator('.now:not(.dim) .now-chord .chord').waitFor();
      await client.release(...notes);
    }
    await client.play(53, 57, 60, 64, 76);
    const key = page.locator('button.now-key');
    await key.waitFor();
    // Once the page shows the key that is heard now, it no longer changes: nothing more is played.
    const heard = await until(async () => {
      const { key: now } = await client.ask('moment.get');
      const text = await key.innerText();
      return now && text === `in ${now.name.replace(/^([A-G])b/, '$1♭').replace(/^([A-G])#/, '$1♯')}` && text;
    }, 'the key that is heard');
    await key.click();
    await page.locator('.now-key[aria-pressed=true]:has-text("pinned")').waitFor();
    assert.equal((await key.innerText()).replace(/\s*pinned/, ''), heard);
    assert.match(await client.ask('settings.get', {}).then((settings) => settings.key), /^[A-G][b#]?:(maj|min)$/);
    await client.ask('settings.set', { key: 'Eb:min' });
    await page.locator('.now-key:has-text("E♭ minor")').waitFor();
    await key.click();
    await page.locator('.now-key[aria-pressed=false]').waitFor();
    assert.equal((await client.ask('settings.get', {})).key, '');
  }));

  test('settings say what was changed and take it back', () => scene(async ({ page, client }) => {
    await page.goto(`${page.url().split('#')[0]}#settings`);
    await page.locator('select[name=key]').selectOption('Eb:min');
    await page.locator('legend:has-text("As configured")').waitFor();
    await until(async () => (await client.ask('settings.get', {})).key === 'Eb:min');
    await page.locator('button[name=reset]').click();
    await page.locator('legend:has-text("As configured")').waitFor({ state: 'detached' });
    assert.deepEqual((await client.ask('settings.get', {})).changed, []);
    assert.equal(await page.locator('select[name=key]').inputValue(), '');
  }));

  test('dims the last chord when nothing sounds, and keeps it', () => scene(async ({ page, client }) => {
    await client.play(53, 57, 60, 77);
    await shows(page, 'F');
    await client.release(53, 57, 60, 77);
    await page.locator('.now.dim .now-chord [data-symbol="F"]').waitFor();
  }));

  test('does not show a chord that lasts less than the settling time', () => scene(async ({ page, client }) => {
    await client.ask('settings.set', { settle_ms: 3000 });
    await page.evaluate(() => {
      globalThis.shown = [];
      new MutationObserver(() => {
        const now = document.querySelector('.now-chord .chord')?.dataset.symbol;
        if (now && now !== globalThis.shown.at(-1)) globalThis.shown.push(now);
      }).observe(document.querySelector('main'), { subtree: true, childList: true, attributes: true });
    });
    for (const notes of [[48, 52, 55, 72], [50, 53, 57, 74], [53, 57, 60, 77]]) {
      await client.play(...notes);
      const heard = await until(async () => (await client.ask('moment.get')).chord?.sounding, 'a chord at the daemon');
      assert.ok(heard);
      await client.release(...notes);
    }
    await client.play(43, 59, 62, 67, 79);
    await page.locator('.now-chord .chord').waitFor();
    const shown = await page.evaluate(() => globalThis.shown);
    assert.deepEqual(shown, [symbol_of((await client.ask('moment.get')).chord)]);
    assert.match(shown[0], /^G/);
  }));

  test('writes symbols in the style of the settings, at once', () => scene(async ({ page, client }) => {
    await client.play(48, 51, 55, 58, 72);
    await shows(page, 'Cm7');
    await page.goto(page.url() + '#settings');
    await page.locator('input[name=symbols]').nth(1).check();
    await page.getByRole('link', { name: 'Play' }).click();
    await shows(page, 'C-7');
    assert.match(await page.locator('.now-chord .chord-quality').innerText(), /−/);
  }));

  test('what is half typed in the settings stays while news arrives; Enter and leaving keep it, Escape brings back what was there', () => scene(async ({ page, client }) => {
    await page.goto(page.url() + '#settings');
    const symbols = page.locator('input[name=symbols]');
    await symbols.nth(0).waitFor();
    let style = 0;
    /** Statuses that have certainly arrived: the page shows what another client changed. */
    const news = async () => {
      for (let i = 0; i < 2; ++i) {
        style = 1 - style;
        await client.ask('settings.set', { symbol_style: ['letters', 'signs'][style], brighter: style / 2 });
        await until(() => symbols.nth(style).isChecked(), 'the status');
      }
    };
    const kept = async (member) => (await client.ask('settings.get'))[member];
    const settle = page.locator('input[name=settle]');
    const before = await settle.inputValue();
    await settle.focus();
    await page.keyboard.press('Control+A');
    await page.keyboard.type('12');
    await news();
    assert.equal(await settle.inputValue(), '12');
    assert.equal(String(await kept('settle_ms')), before, 'nothing is kept before it is done');
    await page.keyboard.type('34');
    await news();
    await page.keyboard.press('Enter');
    await until(async () => (await kept('settle_ms')) === 1234, 'the settling time');
    await settle.focus();
    await page.keyboard.press('Control+A');
    await page.keyboard.press('Delete');
    await news();
    assert.equal(await settle.inputValue(), '', 'emptied to be typed anew');
    await page.keyboard.type('99');
    await page.keyboard.press('Escape');
    assert.equal(await settle.inputValue(), '1234');
    // An emptied field keeps its old value when it is left. A value out of range is clamped.
    const loudest = page.getByLabel('Loudest key stroke');
    const loud = await kept('hear_velocity');
    await loudest.focus();
    await page.keyboard.press('Control+A');
    await page.keyboard.press('Delete');
    await page.keyboard.press('Tab');
    await until(async () => (await loudest.inputValue()) === String(loud), 'the number that was there');
    await loudest.focus();
    await page.keyboard.press('Control+A');
    await page.keyboard.type('300');
    await page.keyboard.press('Enter');
    await until(async () => (await kept('hear_velocity')) === 127, 'the loudest there is');
    const output = page.getByLabel('MIDI output', { exact: true }).and(page.locator('input[type=text]'));
    await output.focus();
    await page.keyboard.type('Harps');
    await news();
    await page.keyboard.type('ichord');
    await news();
    assert.equal(await output.inputValue(), 'Harpsichord');
    await page.keyboard.press('Tab');
    await until(async () => (await kept('hear_output')) === 'Harpsichord', 'the output');
    await until(async () => (await output.inputValue()) === 'Harpsichord', 'the output on the page');
    assert.equal(await kept('settle_ms'), 1234);
  }));

  test('says that there is no steady pulse, and shows the bar when it is tapped', () => scene(async ({ page, client }) => {
    await client.play(48, 52, 55, 72);
    await page.locator('.beat', { hasText: 'no steady pulse' }).waitFor();
    const places = () => page.locator('.glance *').evaluateAll((all) => all.map((each) => { const { x, y, width, height } = each.getBoundingClientRect(); return [x, y, width, height].map(Math.round).join(); }).join(' '));
    const before_open = await places();
    await page.getByRole('button', { name: 'Correct the beat' }).click();
    const tools = page.getByRole('group', { name: 'The beat is' });
    await tools.getByText('no steady pulse').waitFor();
    assert.equal(await places(), before_open, 'the corrections lie over the page and move nothing');
    let beat = null;
    for (let i = 0; i < 12 && !beat; ++i) {  // as evenly as a busy machine allows
      ({ beat } = await client.ask('beat.tap'));
      if (!beat) await new Promise((done) => setTimeout(done, 600));
    }
    assert.equal(beat.source, 'tapped');
    await tools.getByText(`${beat.tempo} a minute, 4 a bar, as tapped`).waitFor();
    await page.locator('.beat[data-source=tapped]', { hasText: String(beat.tempo) }).waitFor();
    assert.equal(await page.locator('.beat-dots i').count(), 4);
    await tools.getByRole('button', { name: '3 a bar' }).click();
    await tools.getByText('3 a bar, as tapped').waitFor();
    await tools.getByRole('button', { name: 'Undo' }).click();
    await tools.getByText('4 a bar, as tapped').waitFor();
    await page.keyboard.press('Escape');
    await tools.waitFor({ state: 'hidden' });
  }));

  test('the small window on top shows the chord, the melody note and the best suggestions, and has the buttons', () => scene(async ({ page, client }) => {
    await client.play(53, 57, 60, 64, 76);
    await shows(page, 'Fmaj7');
    await page.locator('.card').first().waitFor();
    await menu(page, 'On top of other windows');
    const inside = (selector) => page.evaluate((what) => globalThis.documentPictureInPicture.window?.document.querySelector(what)?.textContent ?? '', selector);
    await until(async () => (await inside('.now-melody')).includes('E5'), 'the melody note in the small window');
    const symbol = () => page.evaluate(() => globalThis.documentPictureInPicture.window?.document.querySelector('.now-chord [data-symbol]')?.dataset.symbol);
    assert.equal(await symbol(), 'Fmaj7');
    await until(() => page.evaluate(() => globalThis.documentPictureInPicture.window.document.querySelectorAll('.card').length >= 2), 'cards');
    const names = await page.evaluate(() => [...globalThis.documentPictureInPicture.window.document.querySelectorAll('.act')].map((each) => each.getAttribute('aria-label')));
    assert.deepEqual(names, ['Hear the first suggestion', 'Hold still', 'Mark']);
    await page.evaluate(() => globalThis.documentPictureInPicture.window.document.querySelectorAll('.act')[1].click());
    await until(async () => (await client.ask('status.get')).still, 'held still from the small window');
    await page.evaluate(() => globalThis.documentPictureInPicture.window.document.querySelectorAll('.act')[1].click());
    await client.release(53, 57, 60, 64, 76);
    await client.play(48, 52, 55, 72);
    await until(async () => (await symbol())?.startsWith('C'), 'the next chord in the small window');
    const size = await page.evaluate(() => {
      const { window: small } = globalThis.documentPictureInPicture;
      return [small.document.documentElement.scrollWidth - small.innerWidth, small.document.documentElement.scrollHeight - small.innerHeight];
    });
    assert.ok(size.every((over) => over <= 0), `everything fits in the small window, but ${size} pixels are cut`);
    await page.evaluate(() => globalThis.documentPictureInPicture.window.close());
  }));

  test('hears the demo: the cycle of four chords comes round', () => scene(async ({ page, daemon }) => {
    const player = daemon.client();
    await player.ask('settings.set', { settle_ms: 100 });
    const seen = [];
    await until(async () => {
      const now = await page.locator('.now-chord .chord').evaluateAll((all) => all[0]?.dataset.symbol ?? '');
      const name = /^[A-G](b|#)?/.exec(now)?.[0];
      if (name && name !== seen.at(-1)) seen.push(name);
      return seen.join(' ').includes('Eb C Ab G Eb C');
    }, () => `the cycle Eb C Ab G; seen ${seen}`);
  }, { daemon: { play: `${root}/configs/demo.mid`, speed: 3 } }));

  test('a wish changes the order, and the plane keeps every root', () => scene(async ({ page, client }) => {
    await client.play(43, 50, 58, 65, 74);
    await page.locator('.stone').nth(5).waitFor({ state: 'attached' });
    const before_wish = await order(page);
    await page.locator('[data-wish=brighter]').focus();
    await page.keyboard.press('Home');
    await until(async () => JSON.stringify(await order(page)) !== JSON.stringify(before_wish), 'another order');
    assert.equal((await client.ask('moment.get')).wishes.brighter, -1);
    const shown = () => page.locator('.stone').evaluateAll((stones) => stones.flatMap((stone) => stone.dataset.members.split(' ')));
    const { alternatives } = await client.ask('moment.get');
    await until(async () => JSON.stringify((await shown()).sort()) === JSON.stringify(alternatives.map((each) => each.harte).sort()), 'every chord of the list on the plane, once');
  }, study));

  test('points stay where they are while nothing but the loudness changes', () => scene(async ({ page, client }) => {
    await client.play(48, 52, 55, 59, 76);
    await page.locator('.stone-body').first().waitFor({ state: 'attached' });
    await until(async () => (await page.locator('.list').getAttribute('data-list')) === String((await client.ask('moment.get')).alternatives_number), 'the newest list');
    const places = () => page.locator('.stone-body').evaluateAll((all) => all.map((each) => each.style.transform));
    const before_strike = await places();
    await client.play(48, 52);  // struck again
    const { number } = await client.ask('moment.get');
    await client.ask('moment.get');
    assert.ok(number > 0);
    assert.deepEqual(await places(), before_strike);
  }, study));

  test('holds still while the hands go on', () => scene(async ({ page, client }) => {
    await client.play(48, 52, 55, 59, 76);
    await shows(page, 'Cmaj7');
    await page.locator('.stone-body').first().waitFor({ state: 'attached' });
    await page.getByRole('button', { name: 'Hold still' }).click();
    await page.getByRole('button', { name: 'Held still', pressed: true }).waitFor();
    const held = await order(page);
    await client.release(48, 52, 55, 59, 76);
    await client.play(41, 48, 56, 60, 68, 77);
    await shows(page, 'Fm');
    assert.deepEqual(await order(page), held);
    await page.getByRole('button', { name: 'Held still' }).click();
    await until(async () => JSON.stringify(await order(page)) !== JSON.stringify(held), 'the list following again');
  }, study));

  test('marks this moment of the take', () => scene(async ({ page, client }) => {
    await client.play(48, 52, 55, 72);
    await shows(page, 'C');
    await page.getByRole('button', { name: 'Mark' }).click();
    await page.locator('.notice:has-text("Marked")').waitFor();
    assert.equal((await client.ask('take.get')).marks.length, 1);
  }));

  test('marks what was tried, and how often', () => scene(async ({ page, client }) => {
    const a_minor = [45, 57, 60];
    await client.play(...a_minor, 76);
    await shows(page, 'Am');
    await page.locator('.stone-body').first().waitFor({ state: 'attached' });
    await view(page, 'List');
    await page.getByLabel(/^all /).check();
    // A plain seventh chord of the list, so that its keys have one name.
    const { alternatives } = await client.ask('moment.get');
    const chosen = alternatives.find((each) => ['maj7', 'min7', '7'].includes(each.quality) && each.bass === undefined);
    const keys = [48, 52, 55, 59].map((_, i) => 48 + chosen.root + { maj7: [0, 4, 7, 11], min7: [0, 3, 7, 10], 7: [0, 4, 7, 10] }[chosen.quality][i]).filter((key) => key !== 76);
    for (let time = 1; time <= 2; ++time) {
      await client.release(...a_minor);
      await client.play(...keys);
      await until(async () => (await client.ask('moment.get')).chord?.harte === chosen.harte, chosen.harte);
      const { since } = (await client.ask('moment.get')).chord;
      await until(async () => (await client.ask('status.get')).at - since > 400_000, 'the chord to settle');
      await client.release(...keys);
      await client.play(...a_minor);
      await until(async () => (await client.ask('moment.get')).chord?.harte === 'A:min', 'A minor');
      const row = page.locator(`.row[data-tried=true][data-harte="${chosen.harte}"]`);
      await row.waitFor({ state: 'attached' });
      await until(async () => (await row.innerText()).includes(time === 1 ? 'tried' : 'tried 2×'), `time ${time}`);
    }
    assert.ok((await page.locator('.row[data-tried=false]').count()) > 8, 'the untried ones stand out');
  }, study));

  test('shows the chosen suggestion under both hands, on keys and on a grand staff', () => scene(async ({ page, client }) => {
    await client.play(50, 57, 60, 65, 76);
    await page.locator('.stone-body').first().waitFor({ state: 'attached' });
    await view(page, 'Voicing');
    await page.locator('.staff svg').waitFor();
    const { alternatives } = await client.ask('moment.get');
    const best = alternatives[0];
    assert.equal(await page.locator('.staff .vf-notehead').count(), best.left.length + best.right.length);
    assert.match(await page.locator('.change-words').innerText(), /stays [^]*E5/);
  }, study));

  test('everything can be tried with the keys of the computer', () => scene(async ({ page, client }) => {
    await page.getByRole('button', { name: 'Play on this computer’s keys' }).click();
    await page.locator('.key-bed').waitFor();
    for (const key of ['KeyZ', 'KeyC', 'KeyB', 'KeyI']) await page.keyboard.down(key);  // C3, E3, G3 and C5
    await shows(page, 'C');
    assert.deepEqual((await client.ask('moment.get')).held.map((note) => note.pitch), [48, 52, 55, 72]);
    for (const key of ['KeyZ', 'KeyC', 'KeyB', 'KeyI']) await page.keyboard.up(key);
    await until(async () => (await client.ask('moment.get')).held.length === 0, 'all keys let go');
    await page.getByLabel('keys stay down').check();
    for (const pitch of [53, 57, 60]) await page.locator(`.key[data-pitch="${pitch}"]`).click({ position: { x: 6, y: 70 } });
    await until(async () => (await client.ask('moment.get')).held.length === 3, 'keys that stay down');
  }));

  test('is played by keyboard alone', () => scene(async ({ page, client }) => {
    await client.play(48, 52, 55, 76);
    await page.locator('.card').first().waitFor();
    await page.locator('body').press('ArrowDown');
    await page.locator('.card.chosen:nth-child(2)').waitFor();
    await page.locator('body').press('4');
    await page.locator('.card.chosen:nth-child(4)').waitFor();
    await page.locator('body').press('Escape');
    await page.locator('.card.chosen').waitFor({ state: 'detached' });
    await page.locator('body').press('Space');
    await page.getByRole('button', { name: 'Held still' }).waitFor();
    await page.locator('body').press('m');
    await page.locator('.notice:has-text("Marked")').waitFor();
    await page.locator('body').press('Shift+Enter');
    await until(async () => (await client.ask('take.get')).marks.length === 2, 'both marks');
    // Tab reaches every control, and the focus is visible.
    const all_by_tab = async () => {
      await page.locator('body').focus();
      const reached = new Set();
      for (let i = 0; i < 40; ++i) {
        await page.keyboard.press('Tab');
        const at = await page.evaluate(() => {
          const now = document.activeElement;
          return now === document.body ? null : { name: now.getAttribute('aria-label') || now.dataset.wish || now.textContent, outline: getComputedStyle(now).outlineStyle };
        });
        if (!at) break;
        assert.notEqual(at.outline, 'none', `${at.name} shows no focus`);
        reached.add(at.name.trim());
      }
      return [...reached];
    };
    const glance = await all_by_tab();
    for (const name of ['Menu', 'Study', 'Mark', 'Held still', 'Hear the first suggestion', 'Suggestions under E5, best first']) assert.ok(glance.includes(name), `${name} is not reached by Tab: ${glance}`);
    await page.locator('body').press('s');
    await page.locator('.field').waitFor();
    const studied = await all_by_tab();
    for (const name of ['Menu', 'Study', 'Plane', 'List', 'Voicing', 'Mark', 'brighter', 'tenser', 'surprising']) assert.ok(studied.includes(name) || studied.some((each) => each.startsWith(name)), `${name} is not reached by Tab: ${studied}`);
  }));

  test('keys give orders again after a button was pressed, and "?" lists them', () => scene(async ({ page, client }) => {
    await client.play(48, 52, 55, 76);
    await page.locator('.card').first().waitFor();
    await page.getByRole('button', { name: 'Mark' }).click();
    await page.locator('.notice:has-text("Marked")').waitFor();
    await page.keyboard.press('Space');  // not another mark: the list is held
    await page.getByRole('button', { name: 'Held still' }).waitFor();
    assert.equal((await client.ask('take.get')).marks.length, 1);
    await page.keyboard.press('?');
    const dialogue = page.getByRole('dialog', { name: 'Keys of the computer' });
    await dialogue.getByText('hear it').waitFor();
    await page.keyboard.press('Escape');
    await dialogue.waitFor({ state: 'hidden' });
    await page.keyboard.press('Space');
    await page.getByRole('button', { name: 'Hold still' }).waitFor();
    // A key pressed in the very moment in which the dialogue closes is for the page too.
    await page.keyboard.press('?');
    await dialogue.getByRole('button', { name: 'Close' }).waitFor();
    await page.evaluate(() => {
      document.querySelector('dialog.help').close();
      document.activeElement.dispatchEvent(new KeyboardEvent('keydown', { key: ' ', bubbles: true, cancelable: true }));
    });
    await page.getByRole('button', { name: 'Held still' }).waitFor();
  }));

  test('catches up after the daemon was killed, and misses no line of the log', () => scene(async ({ page, daemon, client }) => {
    await client.play(48, 52, 55, 72);
    await shows(page, 'C');
    const line = page.locator('.status-line');
    const next = async () => Number(await line.getAttribute('data-log-next'));
    await until(async () => (await next()) > 4, 'lines of the log');
    const before_kill = await next();
    await daemon.kill('SIGKILL');
    await page.locator('[data-link=lost]').waitFor();
    assert.match(await line.innerText(), /Not connected. Trying again by itself/);
    assert.match(await page.locator('.now').innerText(), /Undersong is not running/);  // where the chord was
    assert.equal(await page.locator('.last-heard [data-symbol]').getAttribute('data-symbol'), 'C');
    await daemon.start();
    const again = daemon.client();
    await again.play(53, 57, 60, 77);  // perhaps before the page has reconnected
    await page.locator('[data-link=open]').waitFor();
    await shows(page, 'F');
    await until(async () => (await next()) > (await again.ask('status.get')).log_last, 'the end of the log');
    assert.ok((await next()) > before_kill);
    assert.equal(await line.getAttribute('data-log-missed'), '0');
    assert.equal(await line.getAttribute('data-reconnected'), '1');
  }));

  test('keeps still for people who ask for less motion', () => scene(async ({ page, client }) => {
    await client.play(48, 52, 55, 59, 76);
    await page.locator('.stone-body').first().waitFor({ state: 'attached' });
    assert.equal(await page.locator('.stone-body').first().evaluate((stone) => getComputedStyle(stone).transitionDuration), '0s');
  }, { reducedMotion: 'reduce', ...study }));

  test('can be installed: manifest and icons are there', () => scene(async ({ page, daemon }) => {
    const manifest = await (await fetch(`${daemon.url}undersong.webmanifest`)).json();
    assert.equal(manifest.display, 'standalone');
    for (const icon of manifest.icons) {
      const got = await fetch(daemon.url + icon.src);
      assert.equal(got.status, 200, icon.src);
      assert.equal(got.headers.get('content-type'), icon.type);
    }
    const session = await page.context().newCDPSession(page);
    const { errors } = await session.send('Page.getAppManifest');
    assert.deepEqual(errors, []);
  }));
});

// Checks every screen with axe-core, in the light and the dark theme.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { after, before, describe, test } from 'node:test';
import { Daemon, lacking, open_browser, root, until, with_settings } from './stage.mjs';

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const why_not = lacking();
let browser, daemon, demo;

describe('for everybody', { skip: why_not || false }, () => {
  before(async () => {
    browser = await open_browser({ bypassCSP: true });  // so that axe may run in the page
    demo = await new Daemon().start({ play: `${root}/configs/demo.mid`, speed: 60 });
    const listener = demo.client();
    await until(async () => (await listener.ask('take.list')).takes[0]?.ended, 'the demo take');
    daemon = await new Daemon().start();
    const client = daemon.client();
    await client.play(48, 52, 55, 59, 76);
    await client.release(48, 52, 55, 59, 76);
    await client.ask('take.end');
    await client.play(50, 57, 60, 65, 76);
    await until(async () => (await client.ask('moment.get')).alternatives.length > 0, 'alternatives');
  });
  after(async () => {
    await browser?.close();
    await daemon?.stop();
    await demo?.stop();
  });

  const part = (page, name) => page.getByRole('group', { name: 'Parts of this page' }).getByRole('button', { name, exact: true }).click();
  const screens = {
    'the glance': ['', async (page) => page.locator('.card').first().waitFor()],
    'the glance, with keys and a chosen card': ['', async (page) => { await page.locator('.card').nth(1).click(); await page.locator('.key-bed').waitFor(); }, false, { keys: true }],
    'the menu': ['', async (page) => { await page.locator('.card').first().waitFor(); await page.getByRole('button', { name: 'Menu' }).click(); }],
    'the corrections of the beat': ['', async (page) => { await page.locator('.card').first().waitFor(); await page.getByRole('button', { name: 'Menu' }).click(); await page.getByRole('button', { name: /^Beat/ }).click(); await page.locator('.beat-tools').waitFor(); }],
    'the keys of the computer': ['', async (page) => { await page.locator('.card').first().waitFor(); await page.keyboard.press('?'); await page.locator('dialog[open]').waitFor(); }],
    'study, the plane': ['', async (page) => page.locator('.stone-body').first().waitFor({ state: 'attached' }), false, { study: true, view: 'plane' }],
    'study, the list': ['', async (page) => page.locator('.row').first().waitFor(), false, { study: true, view: 'list' }],
    'study, the voicing': ['', async (page) => page.locator('.staff svg').waitFor(), false, { study: true, view: 'voicing' }],
    'the takes': ['#takes', async (page) => { await page.locator('.take-row').first().waitFor(); await page.getByText('Search', { exact: true }).click(); }],
    'moments worth hearing again': ['#digest', async (page) => { await page.locator('.digest-row').first().waitFor(); await page.keyboard.press('k'); await page.locator('.digest-verdict [aria-pressed]').first().waitFor(); }, true],
    'a take': ['#take/1', async (page) => page.locator('canvas.roll').waitFor()],
    'a take, its bars and its loop': ['#take/1', async (page) => { await page.getByRole('button', { name: 'Loop settings' }).click(); await page.getByRole('button', { name: 'Correct the bars' }).click(); }, true],
    'no loop': ['#song/1', async (page) => page.getByRole('heading', { name: 'No loop in this take' }).waitFor()],
    'a song, its loop': ['#song/1', async (page) => page.locator('.loop-row').waitFor(), true],
    'a song, other chords': ['#song/1', async (page) => { await part(page, 'Other chords'); await page.locator('.pin').first().click(); await page.locator('.cell[data-kept=true]').first().waitFor(); }, true],
    'a song, its sketch': ['#song/1', async (page) => {
      await part(page, 'Other chords');
      await page.getByRole('button', { name: 'Put proposal 1 in the song' }).click();
      await page.locator('.section-chords').waitFor();
    }, true],
    'a song, handed over': ['#song/1', async (page) => { await part(page, 'Hand over'); await page.getByRole('button', { name: 'All the files' }).click(); await page.locator('.chart').waitFor(); }, true],
    'a song, a page for the bass player': ['#song/1', async (page) => { await part(page, 'Hand over'); await page.getByRole('button', { name: /^Bass player/ }).click(); await page.locator('.sheet-pages svg').first().waitFor(); }, true],
    'the tour': ['#takes', async (page) => page.locator('.tour').waitFor(), true, { tour: false }],
    'the settings': ['#settings', async (page) => page.locator('input[name=settle]').waitFor()],
  };
  for (const [name, [hash, arrive, of_demo, kept = {}]] of Object.entries(screens)) {
    for (const colorScheme of ['light', 'dark']) {
      for (const width of [480, 1180]) {
        if (width === 1180 && name === 'a song, its loop') continue;  // at this width it is shown beside the others
        if (width === 1180 && name.startsWith('study, the ') && !name.endsWith('plane')) continue;  // at this width all are shown at once
        test(`${name}, ${colorScheme}, ${width} px wide`, async () => {
          const { page } = await browser.page({ width, height: 820, colorScheme, reducedMotion: 'reduce' });
          try {
            await with_settings(page, kept);
            await page.goto((of_demo ? demo : daemon).url + hash);
            await page.locator('[data-link=open]').waitFor();
            await arrive(page);
            await page.evaluate(axe);
            const { violations } = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ['violations'] }));
            assert.deepEqual(violations.map((each) => `${each.id}: ${each.nodes.map((node) => `${node.target} ${node.failureSummary}`).join('; ')}`), []);
          } finally {
            await page.evaluate(() => localStorage.clear());
            await page.close();
          }
        });
      }
    }
  }

  for (const colorScheme of ['light', 'dark']) {
    test(`without the daemon, ${colorScheme}`, async () => {
      const mortal = await new Daemon().start();
      const { page } = await browser.page({ width: 700, height: 820, colorScheme, reducedMotion: 'reduce' });
      try {
        const client = mortal.client();
        await client.play(50, 57, 60, 65, 76);
        await page.goto(mortal.url);
        await page.locator('.card').first().waitFor();
        await mortal.kill('SIGKILL');
        await page.locator('.play.lost').waitFor();
        await page.evaluate(axe);
        const { violations } = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ['violations'] }));
        assert.deepEqual(violations.map((each) => `${each.id}: ${each.nodes.map((node) => `${node.target} ${node.failureSummary}`).join('; ')}`), []);
      } finally {
        await page.close();
        await mortal.stop();
      }
    });

    test(`the small window on top, ${colorScheme}`, async () => {
      const { page } = await browser.page({ width: 480, height: 820, colorScheme, reducedMotion: 'reduce' });
      try {
        await page.goto(daemon.url);
        await page.locator('.card').first().waitFor();
        await page.getByRole('button', { name: 'Menu' }).click();
        await page.getByRole('button', { name: 'On top of other windows' }).click();
        const small = (act, argument) => page.evaluate(act, argument);
        await until(() => small(() => !!globalThis.documentPictureInPicture.window?.document.querySelector('.now-melody')), 'the small window');
        // The small window needs its own copy of axe, because it has its own document.
        const violations = await small(async (script) => {
          const { window: top } = globalThis.documentPictureInPicture;
          await Promise.all([...top.document.querySelectorAll('link[rel=stylesheet]')].map((link) => link.sheet || new Promise((done) => link.addEventListener('load', done))));
          top.eval(script);
          return (await top.axe.run(top.document, { resultTypes: ['violations'] })).violations;
        }, axe);
        assert.deepEqual(violations.map((each) => `${each.id}: ${each.nodes.map((node) => `${node.target} ${node.failureSummary}`).join('; ')}`), []);
        await small(() => globalThis.documentPictureInPicture.window.close());
      } finally {
        await page.evaluate(() => localStorage.clear());
        await page.close();
      }
    });
  }
});

// Tests the section "Your own harmony" of the settings in a real browser with the real daemon, and the two settings beside it.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { Daemon, lacking, open_browser, root, until } from './stage.mjs';

const why_not = lacking();
let browser;

/** A daemon that has kept the demo as take 1, and its settings in a page. */
async function scene(run, { kept = true } = {}) {
  const daemon = new Daemon();
  if (kept) {
    await daemon.start({ play: `${root}/configs/demo.mid`, speed: 60 });
    const player = daemon.client();
    await until(async () => (await player.ask('take.list')).takes[0]?.ended, 'the demo take');
    await daemon.kill('SIGTERM');
  }
  await daemon.start();
  const client = daemon.client();
  if (kept) await until(async () => (await client.ask('idiom.get')).takes === 1, 'the take to count');
  const { page, complaints } = await browser.page();
  try {
    await page.goto(`${daemon.url}#settings`);
    await page.locator('[data-link=open]').waitFor();
    await run({ daemon, page, client });
    assert.deepEqual(complaints, []);
  } finally {
    await page.close();
    await daemon.stop();
  }
}
const section = (page) => page.getByRole('group', { name: 'Your own harmony', exact: true });

describe('your own harmony', { skip: why_not || false }, () => {
  before(async () => { browser = await open_browser(); });
  after(async () => { await browser?.close(); });

  test('shows what it knows, as the daemon says it', () => scene(async ({ page, client }) => {
    const { chords, steps } = await client.ask('idiom.get');
    await section(page).getByText(/From 1 take since .*as if every key were C major or A minor/).waitFor();
    const lists = section(page).locator('.habits ol');
    const symbols = (list) => list.locator('li').evaluateAll((rows) => rows.map((row) => [...row.querySelectorAll('[data-symbol]')].map((each) => each.dataset.symbol)));
    const symbol = ({ root_name, letters }) => root_name + letters.join('');
    assert.deepEqual(await symbols(lists.nth(0)), chords.slice(0, 5).map(({ chord }) => [symbol(chord)]));
    assert.deepEqual(await symbols(lists.nth(1)), steps.slice(0, 5).map(({ chord, after: before_it }) => [symbol(before_it), symbol(chord)]));
    assert.match(await lists.nth(0).locator('li').first().innerText(), new RegExp(`${Math.round(chords[0].share * 100)}\\s%`));
  }));

  test('is switched off and on', () => scene(async ({ page, client }) => {
    const box = section(page).getByRole('checkbox', { name: 'Let it shape the suggestions' });
    assert.ok(await box.isChecked());
    await box.uncheck();
    await until(async () => (await client.ask('settings.get')).own === false, 'the switch');
    await client.ask('settings.set', { own: true });  // somebody else switches it on
    await until(() => box.isChecked(), 'the page to follow');
  }));

  test('is erased after a question, and only then', () => scene(async ({ page, client }) => {
    await section(page).getByRole('button', { name: 'Forget it …' }).click();
    await section(page).getByText('This can’t be undone').waitFor();
    await section(page).getByRole('button', { name: 'Do not forget' }).click();
    assert.equal((await client.ask('idiom.get')).takes, 1);
    await section(page).getByRole('button', { name: 'Forget it …' }).click();
    await section(page).getByRole('button', { name: 'Forget it', exact: true }).click();
    await section(page).getByText(/Nothing is known yet: it was erased on/).waitFor();
    assert.equal((await client.ask('idiom.get')).takes, 0);
    assert.equal((await client.ask('take.list')).takes.length, 1, 'the take stays');
  }));

  test('says that nothing is known yet', () => scene(async ({ page }) => {
    await section(page).getByText('Nothing is known yet.').waitFor();
    assert.equal(await section(page).getByRole('button').count(), 0);
  }, { kept: false }));

  test('the reach of a hand and which harmony to lean to are settings', () => scene(async ({ page, client }) => {
    await page.locator('select[name=reach]').selectOption('12');
    await page.locator('select[name=lean]').selectOption('jazz');
    await until(async () => (await client.ask('settings.get')).lean === 'jazz', 'the lean');
    const now = await client.ask('settings.get');
    assert.equal(now.reach, 12);
    assert.deepEqual(now.changed, ['lean', 'reach']);
    await page.locator('legend:has-text("As configured")').waitFor();
  }, { kept: false }));
});

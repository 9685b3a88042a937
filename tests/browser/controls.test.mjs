// Tests in a real browser, with the real daemon: a control is chosen by pressing it, a mark is taken back, and the chords that were
// returned to stand beside the list.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { Daemon, lacking, open_browser, until, with_settings } from './stage.mjs';

const why_not = lacking();
let browser;

async function scene(hash, run, kept = {}) {
  const daemon = new Daemon();
  await daemon.start();
  const client = daemon.client();
  const { page, complaints } = await browser.page();
  try {
    await with_settings(page, kept);
    await page.goto(`${daemon.url}${hash}`);
    await page.locator('[data-link=open]').waitFor();
    await run({ page, client });
    assert.deepEqual(complaints, []);
  } finally {
    await page.close();
    await daemon.stop();
  }
}

describe('hands stay on the keys', { skip: why_not || false }, () => {
  before(async () => { browser = await open_browser(); });
  after(async () => { await browser?.close(); });

  test('a key is chosen by pressing it, given an order, obeyed, and removed', () => scene('#settings', async ({ page, client }) => {
    const section = page.getByRole('group', { name: 'Pedals, pads and keys', exact: true });
    await section.getByRole('button', { name: 'Press to choose …' }).click();
    await section.getByText('Press what you want to use').waitFor();
    await client.play(108);
    await client.release(108);
    const row = section.getByRole('group', { name: 'key 108' });
    await row.getByLabel('order').selectOption('darker');
    await until(async () => (await client.ask('settings.get')).controls[0]?.action === 'darker', 'the order');
    assert.deepEqual((await client.ask('settings.get')).controls, [{ message: 'note 108', press: 'single', action: 'darker' }]);
    await client.play(108);
    await client.release(108);
    await until(async () => (await client.ask('settings.get')).wishes.brighter === -0.25, 'the order to be obeyed');
    await row.getByRole('button', { name: 'Remove key 108' }).click();
    await until(async () => (await client.ask('settings.get')).controls.length === 0, 'the control to go');
    await client.play(108);
    await client.release(108);
    assert.equal((await client.ask('settings.get')).wishes.brighter, -0.25, 'now it is music');
  }));

  test('a mark can be taken back', () => scene('', async ({ page, client }) => {
    await client.play(48, 52, 55, 72);
    await page.getByRole('button', { name: 'Mark', exact: true }).click();
    await page.getByRole('button', { name: 'Undo' }).click();
    await page.getByText('The mark was taken back.').waitFor();
    const { marks } = await client.ask('take.get', {});
    assert.deepEqual(marks, []);
  }));

  test('what was returned to stands beside the list', () => scene('', async ({ page, client }) => {
    for (const keys of [[48, 52, 55, 72], [45, 52, 57, 60, 72], [48, 52, 55, 72], [45, 52, 57, 60, 72]]) {
      await client.play(...keys);
      const wanted = keys[0] === 48 ? 'C:maj' : 'A:min';
      await until(async () => (await client.ask('moment.get')).chord?.harte === wanted, wanted);
      const since = (await client.ask('moment.get')).chord.since;
      await until(async () => (await client.ask('status.get')).at - since > 400_000, 'the chord to settle');
      await client.release(...keys);
    }
    const beside = page.getByRole('group', { name: 'Chords you came back to' });
    await beside.locator('[data-harte="C:maj"]').waitFor();
    await beside.locator('[data-harte="A:min"]').waitFor();
    assert.match(await beside.innerText(), /2×/);
  }, { study: true, view: 'list' }));
});

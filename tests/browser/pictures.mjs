// Makes the pictures of every screen for the README, and the icons of the page. Run it when the look has changed:
//
//   tests/browser/run pictures
import { readFileSync, mkdirSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { Daemon, lacking, open_browser, root, until, with_settings } from './stage.mjs';

const why_not = lacking();
if (why_not) {
  console.error(`pictures: ${why_not}`);
  process.exit(1);
}
const into = join(root, 'clients/companion/pictures');
mkdirSync(into, { recursive: true });
const browser = await open_browser();

const icon = readFileSync(join(root, 'clients/companion/public/icon.svg'), 'utf8');
for (const size of [192, 512]) {
  const { page } = await browser.page({ width: size, height: size });
  await page.setContent(`<style>body{margin:0}svg{display:block;width:${size}px;height:${size}px}</style>${icon}`);
  await page.screenshot({ path: join(root, `clients/companion/public/icon-${size}.png`), omitBackground: true });
  await page.close();
}

const daemon = await new Daemon().start({ play: `${root}/configs/demo.mid`, speed: 60 });
const listener = daemon.client();
await until(async () => (await listener.ask('take.list')).takes[0]?.ended, 'the demo take');
await daemon.kill('SIGTERM');
await daemon.start();  // without the demo file: its clock is ahead of the keys played here
const client = daemon.client();
await client.ask('take.rename', { take: 1, title: 'Evening, circling E flat' });
await client.ask('take.annotate', { take: 1, text: 'the other last chord is worth keeping' });

const shot = async (page, name) => {
  await page.waitForTimeout(900);  // until the points have stopped moving; nothing is tested here
  const path = join(into, `${name}.png`);
  await page.screenshot({ path });
  console.log(`pictures: ${name}.png, ${Math.round(statSync(path).size / 1024)} kB`);
};
const view = (page, name) => page.getByRole('button', { name, exact: true }).click();
const open = async (options, hash = '', kept = {}) => {
  const { page } = await browser.page(options);
  await with_settings(page, { study: false, keys: false, distance: 100, ...kept });  // whatever an earlier picture has left
  await page.goto(daemon.url + hash);
  await page.locator('[data-link=open]').waitFor();
  return page;
};
const phone = { width: 480, height: 720 }, tablet = { width: 1180, height: 820 };

const empty = await new Daemon().start();
{
  const { page } = await browser.page({ ...phone, colorScheme: 'light' });
  await page.goto(empty.url);
  await page.locator('[data-link=open]').waitFor();
  await shot(page, 'no-keyboard-yet');
  await page.goto(`${empty.url}#takes`);
  await shot(page, 'no-takes-yet');
  await page.close();
}
await empty.stop();

/** Two chords more, so that the plane has a path. */
async function playing_goes_on(page) {
  const below = (chord) => page.locator(`.now-chord [data-symbol^="${chord}"]`).waitFor();
  await client.release(44, 51, 60, 63);
  for (const [chord, name] of [[[39, 46, 55, 62], 'Eb'], [[43, 50, 58, 65], 'Gm']]) {
    await client.play(...chord);
    await below(name);
    await client.release(...chord);
  }
  await client.play(44, 51, 60, 63);
  await below('Ab');
}

// Under a held D: G minor, then E flat, then A flat with the sharp eleventh.
await client.play(74);
for (const chord of [[43, 50, 58, 65], [39, 46, 55, 62], [44, 51, 60, 63]]) {
  await client.play(...chord);
  await until(async () => (await client.ask('moment.get')).chord?.sounding, 'the chord');
  await new Promise((done) => setTimeout(done, 1600));  // about as long as a player listens to a chord
  if (chord[0] !== 44) await client.release(...chord);
}
// The glance in every size, from a watch-sized corner of the screen to a wall; and from three distances.
const windows = [[240, 240, 50], [320, 480, 50], [480, 720, 100], [812, 375, 50], [820, 1180, 150], [1180, 820, 100], [1920, 1080, 100], [3840, 2160, 150]];
for (const [i, [width, height, distance]] of windows.entries()) {
  const page = await open({ width, height, colorScheme: i % 2 === 0 ? 'light' : 'dark' }, '', { distance });
  await page.locator('.card').first().waitFor();
  await shot(page, `glance-${width}x${height}`);
  await page.close();
}
{
  const page = await open({ ...tablet, colorScheme: 'light' }, '', { distance: 50 });
  await page.locator('.card').nth(2).click();
  await page.getByRole('button', { name: 'Menu' }).click();
  await shot(page, 'glance-menu-light');
  await page.keyboard.press('Escape');
  await page.keyboard.press('?');
  await shot(page, 'keys-of-the-computer-light');
  await page.keyboard.press('Escape');
  await page.emulateMedia({ colorScheme: 'dark' });
  await page.getByRole('button', { name: 'Menu' }).click();
  await page.getByRole('button', { name: 'Keys on the screen' }).click();
  await shot(page, 'glance-keys-dark');
  await page.close();
}
for (const [view_name, colorScheme] of [['plane', 'light'], ['list', 'dark'], ['voicing', 'light']]) {
  const page = await open({ ...phone, colorScheme }, '', { study: true, view: view_name });
  if (view_name === 'voicing') await page.locator('.staff svg').waitFor();
  await page.locator('.row').first().waitFor({ state: 'attached' });
  await playing_goes_on(page);
  await shot(page, `study-${view_name}-${colorScheme}`);
  await page.close();
}
for (const colorScheme of ['light', 'dark']) {
  const page = await open({ ...tablet, colorScheme }, '', { study: true });
  await page.locator('.staff svg').waitFor();
  await playing_goes_on(page);
  await shot(page, `study-tablet-${colorScheme}`);
  await page.close();
}
{
  const page = await open({ ...phone, height: 1480, colorScheme: 'light' }, '#settings');
  await shot(page, 'settings-light');
  await page.close();
}
{
  const mortal = await new Daemon().start();
  const player = mortal.client();
  await player.play(44, 51, 60, 63, 74);
  const { page } = await browser.page({ ...phone, colorScheme: 'light' });
  await page.goto(mortal.url);
  await page.locator('.card').first().waitFor();
  await mortal.kill('SIGKILL');
  await page.locator('.play.lost').waitFor();
  await shot(page, 'not-running-light');
  await page.close();
  await mortal.stop();
}
await client.release(44, 51, 60, 63, 74);
await client.ask('take.end');
for (const [options, name] of [[{ ...phone, colorScheme: 'light' }, 'phone-light'], [{ ...tablet, colorScheme: 'dark' }, 'tablet-dark']]) {
  const page = await open(options, '#takes');
  await page.locator('.thumbnail[data-drawn=true]').nth(1).waitFor();
  await shot(page, `takes-${name}`);
  await page.goto(`${daemon.url}#take/1`);
  const roll = page.locator('canvas.roll');
  await roll.waitFor();
  await roll.focus();
  for (let i = 0; i < 2; ++i) await page.keyboard.press('Shift+ArrowRight');
  for (let i = 0; i < 3; ++i) await page.keyboard.press('ArrowRight');
  await page.locator('.instant-offer li .chord').first().waitFor();
  await roll.evaluate((canvas) => canvas.blur());
  await shot(page, `take-${name}`);
  await page.close();
}
for (const [options, name] of [[{ ...phone, colorScheme: 'light' }, 'phone-light'], [{ ...tablet, colorScheme: 'dark' }, 'tablet-dark']]) {
  const page = await open(options, '#song/1');
  await page.locator('.loop-row').waitFor();
  if (name.startsWith('phone')) await shot(page, `song-loop-${name}`);
  await view(page, 'Other chords');
  await page.locator('.pin').nth(3).click();
  await page.locator('.cell[data-kept=true]').first().waitFor();
  await page.evaluate(() => document.activeElement.blur());
  if (name.startsWith('phone')) await page.locator('.place-others').evaluate((place) => place.scrollTo(0, 455));
  await shot(page, `song-chords-${name}`);
  await page.getByRole('button', { name: 'Put proposal 2 in the song' }).click();
  await page.getByLabel('Title of the song').fill('Evening rounds');
  await view(page, 'Save the sketch');
  await page.getByText('beats in all').waitFor();
  await page.evaluate(() => document.activeElement.blur());
  await page.locator('.place-sketch').evaluate((place) => place.scrollTo(0, 0));
  await shot(page, `song-sketch-${name}`);
  await page.getByRole('group', { name: 'Parts of this page' }).getByRole('button', { name: 'Hand over' }).click();
  await page.getByRole('button', { name: /^Singer/ }).click();
  await page.locator('.sheets:not([data-pages="0"])').waitFor();
  await page.locator('.place-parts').evaluate((place) => place.scrollTo(0, place.querySelector('.people').offsetTop - 8));
  if (!name.startsWith('phone')) await shot(page, `song-page-${name}`);
  await page.close();
  for (const { name: kept } of (await client.ask('sketch.list')).sketches) await client.ask('sketch.delete', { name: kept });
}
await browser.close();
await daemon.stop();

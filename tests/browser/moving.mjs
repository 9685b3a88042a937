// Makes the moving picture of the README: somebody holds a note and tries chords under it, and then looks at one of the list. Every
// picture in it is the page as it stands when it has settled; only how long each is shown is chosen here. Run it when the look has
// changed; it needs img2webp (Debian: webp):
//
//   tests/browser/run moving
import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Daemon, lacking, open_browser, root, with_settings } from './stage.mjs';

const why_not = lacking();
if (why_not) {
  console.error(`moving: ${why_not}`);
  process.exit(1);
}
const into = join(root, 'clients/companion/pictures/glance-moving.webp');
const frames = mkdtempSync(join(tmpdir(), 'undersong-moving-'));
const browser = await open_browser();
const daemon = await new Daemon().start();
const client = daemon.client();
const { page } = await browser.page({ width: 820, height: 560, colorScheme: 'dark' });
await with_settings(page, { study: false, keys: false, distance: 50 });
await page.goto(daemon.url);
await page.locator('[data-link=open]').waitFor();

const shown = [];  // what img2webp is told
async function frame(ms) {
  await page.waitForTimeout(700);  // until nothing moves; nothing is tested here
  const path = join(frames, `${String(shown.length).padStart(3, '0')}.png`);
  await page.screenshot({ path });
  shown.push('-d', String(ms), path);
}
const named = (symbol) => page.locator(`.now-chord [data-symbol^="${symbol}"]`).waitFor();

await client.play(74);  // the melody note, held to the end
for (const [keys, symbol] of [[[43, 50, 58, 65], 'Gm'], [[39, 46, 55, 62], 'Eb'], [[36, 43, 51, 58], 'Cm'], [[44, 51, 60, 63], 'Ab']]) {
  await client.play(...keys);
  await named(symbol);
  await page.locator('.card').first().waitFor();
  await frame(1600);
  if (symbol !== 'Ab') await client.release(...keys);
}
for (let i = 0; i < 3; ++i) {
  await page.keyboard.press('ArrowDown');
  await frame(900);
}
await page.keyboard.press('Escape');
await frame(1200);
await browser.close();
await daemon.stop();
execFileSync('img2webp', ['-loop', '0', '-lossy', '-q', '70', '-m', '6', ...shown, '-o', into], { stdio: 'ignore' });
rmSync(frames, { recursive: true });
console.log(`moving: ${into.slice(root.length + 1)}, ${Math.round(statSync(into).size / 1024)} kB, ${shown.length / 3} pictures`);

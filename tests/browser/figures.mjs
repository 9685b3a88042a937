// Measures the speed of the companion and prints the figures. Exits with 1 if a limit is exceeded:
//
//   first paint < 300 ms on loopback; script for it < 60 kB compressed;
//   a message is on the screen within two frames at 60 Hz, while 40 messages a second arrive;
//   a take of 60 minutes and 50,000 notes opens in under a second and pans at 50 frames a second or more.
//
// usage: tests/browser/run figures
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { cpus, loadavg, tmpdir } from 'node:os';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';
import { Daemon, lacking, open_browser, root, until, with_settings } from './stage.mjs';

const why_not = lacking();
if (why_not) {
  console.error(`figures: ${why_not}`);
  process.exit(1);
}
let broken = 0;
function figure(what, value, unit, holds, promise) {
  if (!holds) ++broken;
  console.log(`figures: ${what}: ${value} ${unit} (${promise})${holds ? '' : '  BROKEN'}`);
}
const quantile = (list, share) => [...list].sort((a, b) => a - b)[Math.min(list.length - 1, Math.floor(list.length * share))];
const rounded = (value, digits = 1) => Number(value.toFixed(digits));

/** An invented hour: chords in the left hand, a wandering line in the right; 50,000 notes as a standard MIDI file. */
function long_take(notes) {
  const events = [];
  let seed = 20261125;
  const random = (below) => { seed = (Math.imul(seed, 1103515245) + 12345) & 0x7fffffff; return (seed >> 8) % below; };
  const step_ms = (60 * 60 * 1000) / notes;
  let line = 72, bass = 43;
  for (let i = 0; i < notes; ++i) {
    const at = Math.round(i * step_ms);
    const left = i % 3 === 0;
    if (i % 24 === 0) bass = 36 + [0, 5, 7, 9, 2, 10][random(6)];
    line = Math.min(88, Math.max(62, line + random(7) - 3));
    const key = left ? bass + [0, 7, 12, 16][(i / 3) % 4 | 0] : line;
    events.push([at, [0x90, key, 45 + random(50)]], [at + (left ? 260 : 150), [0x80, key, 64]]);
  }
  events.sort((a, b) => a[0] - b[0]);
  const bytes = [];
  const delta = (n) => { const out = [n & 0x7f]; while ((n >>= 7)) out.unshift((n & 0x7f) | 0x80); bytes.push(...out); };
  let now = 0;
  for (const [at, message] of events) { delta(at - now); now = at; bytes.push(...message); }
  bytes.push(0, 0xff, 0x2f, 0);
  const head = Buffer.from('MThd\0\0\0\x06\0\0\0\x01\x01\xf4MTrk', 'latin1');  // 500 ticks per quarter note: one tick is a millisecond
  const size = Buffer.alloc(4);
  size.writeUInt32BE(bytes.length);
  return Buffer.concat([head, size, Buffer.from(bytes)]);
}

const folder = mkdtempSync(join(tmpdir(), 'undersong-figures-'));
const browser = await open_browser();

// ---- script for the first paint
const dist = join(root, 'clients/companion/dist');
const html = readFileSync(join(dist, 'index.html'), 'utf8');
const scripts = [...html.matchAll(/(?:src|href)="\.\/(assets\/[^"]+\.js)"/g)].map((match) => match[1]);
const compressed = scripts.reduce((sum, file) => sum + gzipSync(readFileSync(join(dist, file))).length, 0);
figure('script for the first paint, compressed', rounded(compressed / 1000), 'kB', compressed < 60_000, '< 60 kB');

// ---- first paint
{
  const daemon = await new Daemon().start();
  const times = [];
  for (let i = 0; i < 9; ++i) {
    const { page } = await browser.page();
    await page.goto(daemon.url);
    times.push(await until(() => page.evaluate(() => performance.getEntriesByName('first-contentful-paint')[0]?.startTime), 'the first paint'));
    await page.close();
  }
  const warm = times.slice(1);
  figure('first paint on loopback, median of 8', rounded(quantile(warm, 0.5)), 'ms', quantile(warm, 0.5) < 300, '< 300 ms');

  // ---- message to pixels
  for (const study of [false, true]) {
    const { page } = await browser.page();
    await with_settings(page, { study });
    await page.addInitScript(() => {
      // Time every message of the socket from its arrival to the frame after it was drawn.
      globalThis.waits = [];
      const Socket = globalThis.WebSocket;
      globalThis.WebSocket = class extends Socket {
        set onmessage(handler) {
          super.onmessage = (event) => {
            const came = performance.now();
            handler(event);
            if (!event.data.includes('"method":"moment"')) return;
            requestAnimationFrame(() => {
              const channel = new MessageChannel();  // runs after layout and paint of this frame
              channel.port1.onmessage = () => globalThis.waits.push(performance.now() - came);
              channel.port2.postMessage(0);
            });
          };
        }
      };
    });
    await page.goto(daemon.url);
    await page.locator('[data-link=open]').waitFor();
    const client = daemon.client();
    await client.ask('settings.set', { settle_ms: 0 });  // no settling time: every moment is drawn
    const chords = [[48, 52, 55, 59, 76], [50, 53, 57, 60, 76], [43, 50, 59, 65, 76], [45, 52, 55, 60, 76]];
    await client.play(...chords[0]);
    await page.locator(study ? '.stone-body' : '.card').first().waitFor({ state: 'attached' });
    // The time of an empty frame, to tell a slow page from a busy machine.
    const bare = await page.evaluate(async () => {
      const all = [];
      for (let i = 0; i < 200; ++i) {
        await new Promise((done) => setTimeout(done, 25));
        const came = performance.now();
        await new Promise((done) => requestAnimationFrame(() => {
          const channel = new MessageChannel();
          channel.port1.onmessage = done;
          channel.port2.postMessage(0);
        }));
        all.push(performance.now() - came);
      }
      return all;
    });
    console.log(`figures: load of the machine ${rounded(loadavg()[0])} on ${cpus().length} processors; an empty frame takes ${rounded(quantile(bare, 0.5))} ms, 95th of 100: ${rounded(quantile(bare, 0.95))} ms`);
    await page.evaluate(() => (globalThis.waits.length = 0));
    const begun = performance.now();
    const wanted = 400;
    for (let i = 0; i < wanted; ++i) {
      const from = chords[(i >> 3) % 4], to = chords[((i >> 3) + 1) % 4];
      if (i % 8 === 7) {
        await client.release(...from.filter((pitch) => !to.includes(pitch)));
        await client.play(...to.filter((pitch) => !from.includes(pitch)));
      } else {
        await client.play(from[i % 5]);
      }
      await new Promise((done) => setTimeout(done, Math.max(0, begun + (i + 1) * 25 - performance.now())));
    }
    const waits = await page.evaluate(() => globalThis.waits);
    const rate = waits.length / ((performance.now() - begun) / 1000);
    const p95 = quantile(waits, 0.95);
    figure(`message to pixels in ${study ? 'the study' : 'the glance'}, 95th of 100`, `${rounded(p95)} (median ${rounded(quantile(waits, 0.5))}, worst ${rounded(Math.max(...waits))}; ${rounded(rate, 0)} messages a second)`, 'ms',
           p95 <= 2000 / 60 && rate >= 35, '≤ 33.3 ms at 40 messages a second');
    await client.release(...chords.flat());
    await page.close();
  }
  await daemon.stop();
}

// ---- a long take
{
  const file = join(folder, 'hour.mid');
  writeFileSync(file, long_take(50_000));
  const daemon = await new Daemon().start({ play: file, speed: 400 });
  const client = daemon.client();
  await until(async () => (await client.ask('take.list')).takes[0]?.ended, 'the long take', 240_000);
  const { notes, length_us } = (await client.ask('take.list')).takes[0];
  console.log(`figures: the long take has ${notes} notes in ${rounded(length_us / 60e6)} minutes`);
  const { page } = await browser.page({ width: 1180, height: 820 });
  await page.goto(`${daemon.url}#takes`);
  await page.locator('.take-row a').first().waitFor();
  const opening = [];
  for (let i = 0; i < 3; ++i) {
    opening.push(await page.evaluate(() => new Promise((done) => {
      const begin = performance.now();
      document.querySelector('.take-row a').click();
      const look = () => {
        const canvas = document.querySelector('canvas.roll');
        if (!canvas || canvas.dataset.notes === '0') return requestAnimationFrame(look);
        requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - begin)));
      };
      look();
    })));
    if (i < 2) {
      await page.goto(`${daemon.url}#takes`);
      await page.locator('.take-row a').first().waitFor();
    }
  }
  figure('opening it, median of 3', rounded(quantile(opening, 0.5), 0), 'ms', quantile(opening, 0.5) < 1000, '< 1000 ms');
  await page.locator('.instant-offer li .chord, .instant-offer .soft').first().waitFor();
  const pan = (label) => page.evaluate(() => new Promise((done) => {
    const canvas = document.querySelector('canvas.roll');
    const frames = [];
    let last = 0, left = 240;
    const step = (now) => {
      if (last) frames.push(now - last);
      last = now;
      canvas.dispatchEvent(new WheelEvent('wheel', { deltaX: 34, bubbles: true, cancelable: true }));
      if (--left > 0) requestAnimationFrame(step);
      else done(frames);
    };
    requestAnimationFrame(step);
  })).then((frames) => {
    const rate = 1000 / (frames.reduce((sum, each) => sum + each, 0) / frames.length);
    figure(`panning ${label}`, `${rounded(rate)} (slowest frame ${rounded(Math.max(...frames))} ms)`, 'frames a second', rate >= 50, '≥ 50');
  });
  await pan('near');
  for (let i = 0; i < 4; ++i) await page.getByRole('button', { name: 'Further away' }).click();
  await pan('further away');
  for (let i = 0; i < 3; ++i) await page.getByRole('button', { name: 'Further away' }).click();
  await pan('from afar');
  await daemon.stop();
}
await browser.close();
rmSync(folder, { recursive: true, force: true });
console.log(broken ? `figures: ${broken} broken` : 'figures: all promises are kept');
process.exit(broken ? 1 : 0);

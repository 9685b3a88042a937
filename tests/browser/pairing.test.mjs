// Tests in a real browser with the real daemon how a tablet joins: the code is read by another library, its address is opened,
// and the device is revoked. Also that the page stays in the browser while the daemon is down.
import assert from 'node:assert/strict';
import { createHash, X509Certificate } from 'node:crypto';
import { cpSync, readFileSync, writeFileSync } from 'node:fs';
import { networkInterfaces } from 'node:os';
import { join } from 'node:path';
import { after, before, describe, test } from 'node:test';
import jsqr from 'jsqr';
import { Daemon, free_port, lacking, open_browser, page_folder, until } from './stage.mjs';

const why_not = lacking();
const read_qr = jsqr.default ?? jsqr;
const network_address = Object.values(networkInterfaces()).flat().find((each) => each.family === 'IPv4' && !each.internal)?.address;
let browser;

/** A daemon whose port for devices is at this address, `devices` the URL of that port. */
async function scene(run, { address = '127.0.0.1', more = '' } = {}) {
  const daemon = new Daemon();
  const port = await free_port();
  const config = `[server]\ndevices_port = ${port}\ndevices_address = "${address}"\n${more}`;
  await daemon.start({ config });
  try {
    await run({ daemon, config, devices: `127.0.0.1:${port}`, port });
  } finally {
    await daemon.stop();
  }
}

async function settings_of(daemon) {
  const { page, complaints } = await browser.page({ width: 900, height: 1200 });
  await page.goto(`${daemon.url}#settings`);
  await page.locator('[data-link=open]').waitFor();
  return { page, complaints, section: page.getByRole('group', { name: 'Tablets and phones', exact: true }) };
}

/** What a picture of a code says, as jsQR reads it. */
async function read_picture(page, png) {
  const { data, width, height } = await page.evaluate(async (text) => {
    const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
    const picture = await createImageBitmap(new Blob([bytes], { type: 'image/png' }));
    const context = new OffscreenCanvas(picture.width, picture.height).getContext('2d');
    context.drawImage(picture, 0, 0);
    return { data: [...context.getImageData(0, 0, picture.width, picture.height).data], width: picture.width, height: picture.height };
  }, png.toString('base64'));
  return read_qr(Uint8ClampedArray.from(data), width, height)?.data;
}

/** What the half blocks of a terminal say: black on white where the escape says so, eight pixels for a module. */
function read_blocks(text) {
  const lines = text.split('\n').filter((line) => line.startsWith('\x1b[38;5;16;48;5;231m')).map((line) => [...line.replace(/\x1b\[[\d;]*m/g, '')]);
  const width = lines[0].length, scale = 8;
  assert.ok(lines.every((line) => line.length === width), 'every line is as wide');
  const pixels = new Uint8ClampedArray(width * scale * lines.length * 2 * scale * 4).fill(255);
  lines.forEach((line, row) => line.forEach((block, column) => [0, 1].forEach((half) => {
    if (block !== '█' && block !== '▀▄'[half]) return;
    for (let y = 0; y < scale; ++y)
      for (let x = 0; x < scale; ++x)
        pixels.fill(0, (((row * 2 + half) * scale + y) * width * scale + column * scale + x) * 4, (((row * 2 + half) * scale + y) * width * scale + column * scale + x) * 4 + 3);
  })));
  return read_qr(pixels, width * scale, lines.length * 2 * scale)?.data;
}

const kept_token = (page) => page.evaluate(() => localStorage.getItem('undersong.token'));
const link = (page, state) => page.locator(`[data-link=${state}]`).waitFor({ state: 'attached' });
/** Waits until the service worker has taken over and keeps all files of the page. */
const kept = (page) => page.evaluate(async () => {
  await navigator.serviceWorker.ready;
  if (!navigator.serviceWorker.controller) await new Promise((done) => navigator.serviceWorker.addEventListener('controllerchange', done, { once: true }));
});

describe('a tablet on the music desk', { skip: why_not || false }, () => {
  before(async () => { browser = await open_browser(); });
  after(async () => { await browser?.close(); });

  test('joins by the code of the settings, and leaves when it is revoked', () => scene(async ({ daemon, devices }) => {
    const { page, complaints, section } = await settings_of(daemon);
    await section.getByText('Now only this machine can reach Undersong.').waitFor();
    await section.getByRole('checkbox', { name: 'Let paired devices connect over the network' }).check();
    await section.getByText(`They find this page at http://${devices}/.`).waitFor();
    await section.getByRole('textbox', { name: 'A new device, named' }).fill('music desk');
    await section.getByRole('button', { name: 'Show its code' }).click();
    const code = section.getByRole('img', { name: 'QR code with the address and the token for music desk' });
    await code.waitFor();
    const token = await section.locator('.pairing code').first().innerText();
    const address = await read_picture(page, await code.screenshot());
    assert.equal(address, `http://${devices}/#pair=${token}`);
    assert.match(token, /^[\w-]{24}$/);
    // A dark theme makes no other code.
    await page.emulateMedia({ colorScheme: 'dark' });
    assert.equal(await read_picture(page, await code.screenshot()), address);

    const tablet = await open_browser();
    try {
      const there = await tablet.page({ width: 1180, height: 820 });
      const asked = [];
      there.page.on('request', (request) => asked.push(request.url()));
      await there.page.goto(address);
      await until(() => there.page.evaluate(() => location.hash === '#play'), 'the address to be clean');
      await until(async () => await kept_token(there.page) === token, 'the token to be kept');
      const player = daemon.client();
      await player.play(60, 64, 67);
      await there.page.getByText('C', { exact: true }).first().waitFor();
      await player.release(60, 64, 67);
      await there.page.goto(`http://${devices}/#settings`);
      await there.page.reload();
      await link(there.page, 'open');
      assert.equal(await there.page.getByRole('group', { name: 'Tablets and phones' }).count(), 0, 'a paired device pairs nobody');
      await section.getByText('connected now').waitFor();
      assert.equal(await code.count(), 0, 'a code that was used is gone');

      await section.getByRole('button', { name: 'Revoke music desk' }).click();
      await there.page.getByRole('heading', { name: 'This device is not paired any more' }).waitFor();
      assert.equal(await kept_token(there.page), null);
      await until(async () => (await section.getByRole('button', { name: 'Revoke music desk' }).count()) === 0, 'the row to go');
      assert.ok(asked.length > 0 && asked.every((url) => !new URL(url).search && !url.split('#')[0].includes(token)), 'the token is in no request');
      assert.ok(!daemon.said.includes(token), 'nor in the log');
      assert.deepEqual(there.complaints, []);
    } finally {
      await tablet.close();
    }
    assert.deepEqual(complaints, []);
    await page.close();
  }));

  test('joins by the code of the terminal', () => scene(async ({ daemon, devices }) => {
    assert.throws(() => daemon.terminal('pair'), /Only this machine can reach Undersong now: `undersong pair --open`/);
    const said = daemon.terminal('pair', '--open', 'phone');
    const token = /type the token (\S+)/.exec(said)[1];
    assert.equal(read_blocks(said), `http://${devices}/#pair=${token}`);
    assert.match(daemon.terminal('pair', '--list'), /1 {2}phone +paired .*code not used yet/);
    const tablet = await open_browser();
    try {
      const { page } = await tablet.page();
      await page.goto(`http://${devices}/`);
      await page.getByRole('heading', { name: 'This device is not paired yet' }).waitFor();
      await page.getByLabel('Without a camera').fill(token);
      await page.getByRole('button', { name: 'Connect' }).click();
      await until(async () => (await kept_token(page)) === token, 'the token to be kept');
      assert.match(daemon.terminal('pair', '--list'), /phone +paired .*connected now/);
      assert.match(daemon.terminal('pair', '--revoke', 'phone'), /phone is no longer paired/);
      await page.getByRole('heading', { name: 'This device is not paired any more' }).waitFor();
    } finally {
      await tablet.close();
    }
    assert.throws(() => daemon.terminal('pair', '--revoke', 'phone'), /No device "phone" is paired/);
    assert.match(daemon.terminal('pair', '--close'), /Only this machine can reach Undersong now/);
    await assert.rejects(fetch(`http://${devices}/`));
  }));

  test('stays on while somebody plays', () => scene(async ({ daemon }) => {
    const address = read_blocks(daemon.terminal('pair', '--open', 'desk'));
    const tablet = await open_browser();
    try {
      const { page } = await tablet.page();
      await page.addInitScript(() => {
        globalThis.locks = 0;
        const request = navigator.wakeLock.request.bind(navigator.wakeLock);
        navigator.wakeLock.request = (kind) => { globalThis.locks += 1; return request(kind); };
      });
      await page.goto(address);
      await until(() => page.evaluate(() => location.hash === '#play'), 'the page');
      const player = daemon.client();
      await player.play(60);
      await until(() => page.evaluate(() => globalThis.locks > 0), 'the screen to be kept on');
    } finally {
      await tablet.close();
    }
  }));

  test('is told what it lacks without https', { skip: network_address ? false : 'this machine has no network address' }, () => scene(async ({ daemon, port }) => {
    const address = read_blocks(daemon.terminal('pair', '--open', 'desk'));
    const { hostname } = new URL(address);
    assert.equal(new URL(address).port, String(port));
    assert.ok(Object.values(networkInterfaces()).flat().some((each) => each.address === hostname && !each.internal), hostname);
    const tablet = await open_browser();
    try {
      const { page } = await tablet.page();
      await page.goto(address);
      await until(async () => (await kept_token(page)) !== null, 'the token to be kept');
      await page.goto(`http://${hostname}:${port}/#settings`);
      await link(page, 'open');
      await page.getByRole('group', { name: 'This device', exact: true }).getByText('This page came without https.').waitFor();
    } finally {
      await tablet.close();
    }
  }, { address: '0.0.0.0' }));

  test('comes by https with the certificate that the code names', () => scene(async ({ daemon, devices }) => {
    const said = daemon.terminal('pair', '--open', 'desk');
    const address = read_blocks(said);
    assert.ok(address.startsWith(`https://${devices}/#pair=`));
    const certificate = new X509Certificate(readFileSync(join(daemon.folder, 'devices/tls.pem')));
    assert.ok(said.includes(certificate.fingerprint256), 'the fingerprint is shown');
    const { page, section } = await settings_of(daemon);
    await section.getByRole('button', { name: 'Show its code' }).click();
    await section.getByText(certificate.fingerprint256).waitFor();
    await page.close();
    // A tablet that trusts the very certificate: its page may be kept, and plain http leads to https.
    const spki = createHash('sha256').update(certificate.publicKey.export({ type: 'spki', format: 'der' })).digest('base64');
    const tablet = await open_browser({ args: [`--ignore-certificate-errors-spki-list=${spki}`] });
    try {
      const there = await tablet.page();
      await there.page.goto(address.replace('https:', 'http:'));
      await until(() => there.page.evaluate(() => location.hash === '#play'), 'the address to be clean');
      assert.equal(new URL(there.page.url()).protocol, 'https:');
      await until(() => daemon.terminal('pair', '--list').includes('connected now'), 'the tablet to connect');
      await kept(there.page);
      assert.deepEqual(there.complaints, []);
    } finally {
      await tablet.close();
    }
  }, { more: 'tls = true\n' }));
});

describe('the page that stays', { skip: why_not || false }, () => {
  before(async () => { browser = await open_browser(); });
  after(async () => { await browser?.close(); });

  test('opens while the daemon is down, and goes on when it is back', () => scene(async ({ daemon, config }) => {
    const { page, complaints } = await browser.page();
    await page.goto(daemon.url);
    await kept(page);
    await daemon.kill('SIGTERM');
    await page.reload();
    await page.getByRole('heading', { name: 'Undersong is not running' }).waitFor();
    await page.goto(`${daemon.url}#settings`);
    await link(page, 'lost');
    await page.goto(`${daemon.url}#play`);
    await daemon.start({ config });
    const player = daemon.client();
    await player.play(60, 64, 67);
    await until(() => page.evaluate(() => document.querySelector('.now [data-symbol]')?.dataset.symbol === 'C'), 'the chord');
    assert.deepEqual(complaints, []);
    await page.close();
  }));

  test('is replaced by a new build', () => scene(async ({ daemon, config }) => {
    const folder = join(daemon.folder, 'page');
    cpSync(page_folder, folder, { recursive: true });
    await daemon.kill('SIGTERM');
    await daemon.start({ config, page: folder });
    const { page } = await browser.page();
    await page.goto(daemon.url);
    await kept(page);
    await daemon.kill('SIGTERM');
    const change = (file, from, to) => {
      const text = readFileSync(join(folder, file), 'utf8');
      assert.ok(from.test(text), `${file} has what is changed`);
      writeFileSync(join(folder, file), text.replace(from, to));
    };
    change('index.html', /<div id="app">/, '<div id="app" data-build="second">');
    change('service_worker.js', /const version = "\w+"/, 'const version = "second"');
    await daemon.start({ config, page: folder });
    await until(async () => {
      try {
        return await page.evaluate(() => document.getElementById('app')?.dataset.build === 'second');
      } catch {
        return false;  // it is being loaded
      }
    }, 'the new build to load itself');
    // And offline it is the new one too.
    await until(() => page.evaluate(async () => (await caches.keys()).includes('undersong-second')), 'the new build to be kept');
    await daemon.kill('SIGTERM');
    await page.reload();
    await page.getByRole('heading', { name: 'Undersong is not running' }).waitFor();
    assert.equal(await page.evaluate(() => document.getElementById('app').dataset.build), 'second');
    await page.close();
  }));
});

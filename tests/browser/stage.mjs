// The environment of the browser tests: a real daemon in its own folder, and a real Chromium that shows its page.
import { spawn, execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createServer, createConnection } from 'node:net';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { chromium } from 'playwright-core';

export const root = resolve(fileURLToPath(import.meta.url), '../../..');
const build = resolve(root, process.env.UNDERSONG_BUILD ?? 'build');
const executablePath = process.env.CHROMIUM ?? '/usr/bin/chromium';
export const page_folder = join(root, 'clients/companion/dist');
const patience_ms = 45_000;  // JACK takes long to notice that a client was killed

/** Why these tests can't run here; empty when they can. */
export function lacking() {
  if (!existsSync(executablePath)) return 'there is no Chromium (Debian: chromium)';
  if (!existsSync(join(build, 'undersongd'))) return `there is no ${build}/undersongd (tests/run builds it)`;
  if (!existsSync(join(page_folder, 'index.html'))) return 'the page is not built (clients/companion/build)';
  return '';
}

/** A chord's symbol, as a client puts it together. */
export function symbol_of(chord, style = 'letters') {
  return chord.root_name + chord[style].join('') + (chord.bass_name ? `/${chord.bass_name}` : '');
}

/** Asks again and again until `check` gives something true. */
export async function until(check, what = 'the condition', patience = patience_ms) {
  const end = Date.now() + patience;
  for (;;) {
    const got = await check();
    if (got) return got;
    if (Date.now() > end) throw new Error(`${typeof what === 'function' ? what() : what} did not come true in ${patience / 1000} s`);
    await new Promise((done) => setTimeout(done, 25));
  }
}

// Below the range of ports for clients. Otherwise, while the daemon is down, a browser that keeps reconnecting could be
// given the port of the daemon and hold it.
export async function free_port() {
  for (let tries = 0; tries < 100; ++tries) {
    const port = 12_000 + Math.floor(Math.random() * 16_000);
    const free = await new Promise((done) => {
      const server = createServer();
      server.once('error', () => done(false));
      server.listen(port, '127.0.0.1', () => server.close(() => done(true)));
    });
    if (free) return port;
  }
  throw new Error('no port is free');
}

export class Daemon {
  constructor() {
    this.folder = mkdtempSync(join(tmpdir(), 'undersong-browser-'));
    this.socket = join(this.folder, 'run/socket');
    this.takes = join(this.folder, 'takes.sqlite');
    this.said = '';
    this.clients = [];
  }

  /**
   * `play`: a standard MIDI file instead of keyboards. `jack`: with the MIDI ports of the JACK server there is.
   * `config`: the text of a configuration. `page`: another folder of the page.
   */
  async start({ play, speed = 1, args = [], jack = false, config = '', page = page_folder } = {}) {
    this.port ??= await free_port();
    const configuration = join(this.folder, 'undersong.toml');
    writeFileSync(configuration, config);
    const options = ['--socket', this.socket, '--takes', this.takes, '--web-port', String(this.port), '--page', page, '--config', configuration, ...args];
    if (play) options.push('--play', play, '--speed', String(speed));
    const env = { ...process.env, JACK_NO_START_SERVER: '1' };
    if (!jack) env.JACK_DEFAULT_SERVER = 'none-for-this-test';
    this.process = spawn(join(build, 'undersongd'), options, { stdio: ['ignore', 'ignore', 'pipe'], env });
    const ours = this.process;
    process.once('exit', () => ours.kill('SIGKILL'));  // the daemon ends with the test, whatever happens
    this.process.stderr.on('data', (data) => (this.said += data));
    this.ended = new Promise((done) => this.process.once('exit', done));
    await until(() => {
      if (this.process.exitCode !== null) throw new Error(`undersongd ended: ${this.said}`);
      return new Promise((done) => {
        const attempt = createConnection({ port: this.port, host: '127.0.0.1' });
        attempt.once('connect', () => { attempt.destroy(); done(true); });
        attempt.once('error', () => done(false));
      });
    }, () => `the web port; the daemon said ${this.said}`);
    return this;
  }

  get url() { return `http://127.0.0.1:${this.port}/`; }

  async kill(signal = 'SIGKILL') {
    if (this.process?.exitCode === null && this.process.signalCode === null) {
      this.process.kill(signal);
      await this.ended;
    }
  }

  async stop() {
    for (const client of this.clients) client.close();
    await this.kill('SIGTERM');
    rmSync(this.folder, { recursive: true, force: true });
  }

  /** Runs a command of the terminal client and gives what it printed. */
  terminal(...words) {
    return execFileSync(join(build, 'clients/undersong'), ['--socket', this.socket, ...words], { encoding: 'utf8' });
  }

  /** A client of its own, to play and to look behind the page's back. */
  client() {
    const client = new Client(this.socket);
    this.clients.push(client);
    return client;
  }
}

/** Speaks to the daemon's Unix socket. */
export class Client {
  constructor(path) {
    this.notes = [];
    this.waiting = new Map();
    this.last = 0;
    this.connection = createConnection(path);
    let rest = '';
    this.connection.setEncoding('utf8');
    this.connection.on('error', () => undefined);
    this.connection.on('data', (data) => {
      const lines = (rest + data).split('\n');
      rest = lines.pop();
      for (const line of lines) this.take(JSON.parse(line));
    });
  }
  take(message) {
    const waiting = this.waiting.get(message.id);
    if (!waiting) return this.notes.push(message);
    this.waiting.delete(message.id);
    if (message.error) waiting.reject(new Error(message.error.message));
    else waiting.resolve(message.result);
  }
  ask(method, params = {}) {
    const id = ++this.last;
    return new Promise((resolve, reject) => {
      this.waiting.set(id, { resolve, reject });
      this.connection.write(JSON.stringify({ jsonrpc: '2.0', id, method, params }) + '\n');
    });
  }
  play(...pitches) { return this.ask('notes.send', { notes: pitches.map((pitch) => ({ pitch, velocity: 70, on: true })) }); }
  release(...pitches) { return this.ask('notes.send', { notes: pitches.map((pitch) => ({ pitch, velocity: 0, on: false })) }); }
  close() { this.connection.destroy(); }
}

/** A Chromium with a fresh profile. `page()` gives a new page and the list of what the browser complains about. */
export async function open_browser({ args = [], ...options } = {}) {
  const profile = mkdtempSync(join(tmpdir(), 'undersong-chromium-'));
  const context = await chromium.launchPersistentContext(profile, {
    executablePath,
    headless: true,
    acceptDownloads: true,
    args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync', ...args],
    ...options,
  });
  return {
    context,
    async page({ width = 480, height = 720, first_visit = false, ...media } = {}) {
      const page = await context.newPage();
      page.setDefaultTimeout(patience_ms);
      await page.setViewportSize({ width, height });
      await page.emulateMedia(media);
      // As after the first visit; the tests of the tour begin without it.
      // Pages without an address have no storage.
      if (!first_visit) await page.addInitScript(() => { if (location.protocol !== 'about:') localStorage.getItem('undersong.tour') ?? localStorage.setItem('undersong.tour', 'true'); });
      const complaints = [];
      page.on('pageerror', (error) => complaints.push(`error: ${error.message}`));
      page.on('console', (message) => {
        if (/Content Security Policy|Refused to/i.test(message.text())) complaints.push(message.text());
      });
      page.on('request', (request) => {
        const { hostname, protocol } = new URL(request.url());
        if (hostname !== '127.0.0.1' && protocol !== 'data:' && protocol !== 'blob:') complaints.push(`asked another origin: ${request.url()}`);
      });
      return { page, complaints };
    },
    async close() {
      await context.close();
      rmSync(profile, { recursive: true, force: true });
    },
  };
}

/** Before the page is opened: settings that it keeps, for instance { study: true, distance: 150 }. */
export async function with_settings(page, settings) {
  await page.addInitScript((kept) => {
    for (const [name, value] of Object.entries(kept)) localStorage.setItem(`undersong.${name}`, JSON.stringify(value));
  }, settings);
}

export function has(command) {
  try {
    execFileSync('/bin/sh', ['-c', `command -v ${command}`], { stdio: 'ignore' });
    return true;
  } catch {
    return false;
  }
}

// Tests the sound: the bytes that arrive at a real MIDI output over JACK, and the page's own sound.
import assert from 'node:assert/strict';
import { execFileSync, spawn } from 'node:child_process';
import { after, before, describe, test } from 'node:test';
import { Daemon, has, lacking, open_browser, root, until, with_settings } from './stage.mjs';

const jack = process.env.JACK_DEFAULT_SERVER && has('jack_midi_dump') && has('stdbuf');
const why_not = lacking();
const why_no_jack = jack ? '' : 'there is no JACK server; run under tests/transport/with_jack.sh (Debian: jackd2)';
let browser;

/** Another program that prints every MIDI message that arrives at its port. */
class Listener {
  static made = 0;
  constructor() {
    this.text = '';
    this.name = `listener${++Listener.made}`;  // a new name each time, because the JACK server remembers closed clients for a while
    this.port = `${this.name}:input`;
    this.process = spawn('stdbuf', ['-oL', 'jack_midi_dump', this.name], { stdio: ['ignore', 'pipe', 'ignore'] });
    this.process.stdout.on('data', (data) => (this.text += data));
    process.once('exit', () => this.process.kill('SIGKILL'));
  }
  /** Messages as arrays of bytes. */
  get messages() {
    return this.text.split('\n').map((line) => /^\s*\d+:((?:\s[0-9a-f]{2})+)/i.exec(line)?.[1].trim().split(/\s/).map((byte) => parseInt(byte, 16))).filter(Boolean);
  }
  get struck() { return this.messages.filter(([status, , velocity]) => (status & 0xf0) === 0x90 && velocity > 0).map(([, pitch]) => pitch); }
  get let_go() { return this.messages.filter(([status, , velocity]) => (status & 0xf0) === 0x80 || ((status & 0xf0) === 0x90 && velocity === 0)).map(([, pitch]) => pitch); }
  stop() { this.process.kill('SIGTERM'); }
}
const ports = () => execFileSync('jack_lsp', { encoding: 'utf8' }).split('\n');
/** From the daemon's output to the listener. */
async function connect(listener) {
  const port = await until(() => ports().find((each) => /Undersong out/i.test(each)), 'the output of Undersong');
  await until(() => ports().includes(listener.port), 'the listener');
  execFileSync('jack_connect', [port, listener.port]);
}
const sorted = (list) => [...list].sort((a, b) => a - b);

/** The demo is take 1. */
async function keep_the_demo(daemon) {
  await daemon.start({ play: `${root}/configs/demo.mid`, speed: 60 });
  const player = daemon.client();
  await until(async () => (await player.ask('take.list')).takes[0]?.ended, 'the demo take');
  await daemon.kill('SIGTERM');
}

/** With a listener on JACK, a daemon and a page, which are gone afterwards; `prepare` what the daemon has kept before. */
async function over_jack(page_options, use, prepare = async () => {}) {
  const listener = new Listener();
  const daemon = new Daemon();
  await prepare(daemon);
  await daemon.start({ jack: true });
  const { page, complaints } = await browser.page(page_options);
  try {
    await use({ listener, daemon, page, complaints });
  } finally {
    await page.close();
    await daemon.stop();
    listener.stop();
  }
}

/** Lets the tests hear what reaches the loudspeaker of the page, and counts what is struck. */
async function listen_in(page) {
  await page.addInitScript(() => {
    const connect = AudioNode.prototype.connect;
    AudioNode.prototype.connect = function (to, ...rest) {
      if (to instanceof AudioDestinationNode) {
        const ear = new AnalyserNode(this.context, { fftSize: 16384, smoothingTimeConstant: 0 });
        connect.call(this, ear);
        const samples = new Float32Array(2048), spectrum = new Float32Array(ear.frequencyBinCount);
        globalThis.peak = () => { ear.getFloatTimeDomainData(samples); return Math.max(...samples.map(Math.abs)); };
        globalThis.jump = () => { ear.getFloatTimeDomainData(samples); let most = 0; for (let i = 1; i < samples.length; ++i) most = Math.max(most, Math.abs(samples[i] - samples[i - 1])); return most; };
        globalThis.loudest_hz = () => { ear.getFloatFrequencyData(spectrum); return spectrum.indexOf(Math.max(...spectrum)) * this.context.sampleRate / ear.fftSize; };
      }
      return connect.call(this, to, ...rest);
    };
    globalThis.strings = 0;
    const start = AudioBufferSourceNode.prototype.start;
    AudioBufferSourceNode.prototype.start = function (...when) { ++globalThis.strings; return start.apply(this, when); };
  });
}
const the_piano = (page) => until(() => page.evaluate(() => performance.getEntriesByType('resource').filter((each) => each.name.endsWith('.mp3') && each.responseEnd > 0).length === 15), 'the piano');

describe('hearing', { skip: why_not || false }, () => {
  before(async () => { browser = await open_browser({ args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync', '--autoplay-policy=no-user-gesture-required'] }); });
  after(async () => { await browser?.close(); });

  test('a suggestion arrives at the MIDI output as it is shown, softly, and ends', { skip: why_no_jack || false }, async () => {
    await over_jack({}, async ({ listener, daemon, page, complaints }) => {
      await connect(listener);
      const client = daemon.client();
      await client.play(48, 52, 55, 76);
      await page.goto(daemon.url);
      await page.locator('.card').nth(2).click();
      const harte = await page.locator('.card').nth(2).getAttribute('data-harte');
      const wanted = (await client.ask('moment.get')).alternatives.find((each) => each.harte === harte);
      const notes = sorted([...wanted.left, ...wanted.right]);
      await page.getByRole('button', { name: /^Hear/ }).click();
      await until(() => listener.struck.length >= notes.length, () => `the notes ${notes}; there came ${listener.text}`);
      assert.deepEqual(sorted(listener.struck), notes);
      const loudest = Math.max(...listener.messages.filter(([status]) => (status & 0xf0) === 0x90).map(([, , velocity]) => velocity));
      assert.ok(loudest <= 70, `never louder than what was played, but ${loudest}`);
      await until(() => listener.let_go.length >= notes.length, 'the end of the notes');
      assert.deepEqual(sorted(listener.let_go), notes);
      assert.deepEqual(complaints, []);
    });
  });

  test('where nothing is connected to the output, a suggestion sounds in the page; where MIDI was asked for, the page says so', { skip: why_no_jack || false }, async () => {
    await over_jack({}, async ({ daemon, page, complaints }) => {
      const client = daemon.client();
      await client.play(48, 52, 55, 76);
      await until(async () => (await client.ask('status.get')).outputs[0].listeners === 0, 'an output that nobody hears');
      await listen_in(page);
      await with_settings(page, { hear: 'midi' });
      await page.goto(daemon.url);
      await page.locator('.card').first().waitFor();
      const hear = page.getByRole('button', { name: /^Hear/ }).first();
      await hear.click();
      await page.getByText('Nothing is connected to Undersong out, so nobody hears it.').waitFor();
      assert.equal(await page.evaluate(() => globalThis.strings), 0);
      await page.getByRole('button', { name: 'Hear it in this page' }).click();
      await the_piano(page);
      // The recordings are there; until they are decoded, a plain tone sounds.
      await until(async () => { await hear.click(); return page.evaluate(() => globalThis.strings >= 3); }, 'the strings of a chord');
      await page.evaluate(() => localStorage.setItem('undersong.hear', JSON.stringify('auto')));
      assert.deepEqual(complaints, []);
    });
  });

  test('another way to lay a suggestion out is shown and heard; the style of all is a setting', { skip: why_no_jack || false }, async () => {
    await over_jack({}, async ({ listener, daemon, page, complaints }) => {
      await connect(listener);
      const client = daemon.client();
      await client.play(48, 52, 55, 76);
      await with_settings(page, { study: true });
      await page.goto(daemon.url);
      await page.getByRole('button', { name: 'List', exact: true }).click();
      await page.locator('.row').nth(1).click();
      const harte = await page.locator('.row').nth(1).getAttribute('data-harte');
      await page.getByRole('button', { name: 'Voicing', exact: true }).click();
      const ways = page.getByRole('group', { name: 'Ways to lay it out' }).getByRole('button');
      await ways.nth(1).waitFor();
      const offered = (await client.ask('chord.voicings', { harte })).voicings;
      assert.equal(await ways.count(), offered.length);
      assert.equal(await ways.nth(0).getAttribute('aria-pressed'), 'true');
      const staff = page.getByRole('img', { name: /^Grand staff/ });
      const before = await staff.getAttribute('aria-label');
      const keys = () => page.locator('.keyboard-picture').evaluate((picture) => picture.outerHTML);
      const keys_before = await keys();
      await ways.nth(1).click();
      await until(async () => (await staff.getAttribute('aria-label')) !== before, 'another staff');
      await until(async () => (await keys()) !== keys_before, 'another picture of the keyboard');
      assert.equal(await ways.nth(1).getAttribute('aria-pressed'), 'true');
      const notes = sorted([...offered[1].left, ...offered[1].right]);
      await page.getByRole('button', { name: /^Hear/ }).click();
      await until(() => listener.struck.length >= notes.length, () => `the notes ${notes}; there came ${listener.text}`);
      assert.deepEqual(sorted(listener.struck), notes);

      await page.goto(`${daemon.url}#settings`);
      await page.getByLabel('Laid out for the hands').selectOption('shell');
      await page.getByLabel('Under all melody notes of the last bar').check();
      await until(async () => (await client.ask('settings.get')).voicing === 'shell', 'the style');
      await until(async () => (await client.ask('settings.get')).melody === 'bar', 'the span');
      await page.reload();
      assert.equal(await page.getByLabel('Laid out for the hands').inputValue(), 'shell');
      assert.ok(await page.getByLabel('Under all melody notes of the last bar').isChecked());
      assert.deepEqual(complaints, []);
    });
  });

  test('a take is played again on the MIDI output, every byte of it, from the take’s own page', { skip: why_no_jack || false }, async () => {
    await over_jack({ width: 900 }, async ({ listener, daemon, page, complaints }) => {
      const client = daemon.client();
      await client.play(48, 64);
      await client.play(67);
      await client.release(48, 64, 67);
      await client.play(50, 65, 69);
      await client.release(50, 65, 69);
      await client.ask('take.end');
      await connect(listener);
      await page.goto(`${daemon.url}#take/1`);
      await page.getByLabel('Where the take is heard').selectOption('midi');
      await page.locator('.take-tools').getByRole('button', { name: '▶ Play' }).click();
      await until(() => listener.let_go.length >= 6, () => `the end of the take; there came ${listener.text}`);
      assert.deepEqual(listener.struck, [48, 64, 67, 50, 65, 69]);
      assert.deepEqual(sorted(listener.let_go), [48, 50, 64, 65, 67, 69]);
      const loudest = Math.max(...listener.messages.filter(([status]) => (status & 0xf0) === 0x90).map(([, , velocity]) => velocity));
      assert.ok(loudest <= (await client.ask('settings.get')).hear_velocity, `brought down, but ${loudest}`);
      await page.locator('.take-tools').getByRole('button', { name: '▶ Play' }).waitFor();  // it has ended
      assert.equal((await client.ask('status.get')).playing, null);
      assert.equal((await client.ask('take.list')).takes.length, 1, 'what is played again is no new take');
      assert.deepEqual(complaints, []);
      await page.evaluate(() => localStorage.clear());
    });
  });

  test('a song is played on the MIDI output from the block that is pressed, the blocks follow, and every key is let go', { skip: why_no_jack || false }, async () => {
    await over_jack({ width: 1180 }, async ({ listener, daemon, page, complaints }) => {
      const client = daemon.client();
      await connect(listener);
      await page.goto(`${daemon.url}#song/1`);
      await page.locator('.loop-row').waitFor();
      const button = (name) => page.getByRole('button', { name });
      await button('Song sketch').click();
      await button('Propose a song').click();
      await page.locator('.block .chord').first().waitFor();
      await page.getByRole('combobox', { name: 'Heard on' }).selectOption('midi');
      const sketch = await client.ask('sketch.propose', { takes: [1] });
      const { sound, parts } = await client.ask('sketch.outline', { sketch, sounding: true });
      const second = sound.turns.find((turn) => parts[turn.part].section === 2).at_us;
      const wanted = sorted(sound.notes.filter((note) => note.at_us === sound.notes.find((each) => each.at_us >= second).at_us).map((note) => note.pitch));
      await page.locator('.block').nth(1).getByRole('button', { name: /^Hear / }).click();
      await page.locator('.block.sounding').waitFor();
      assert.equal(await page.locator('.block.sounding').getAttribute('data-name'), sketch.sections[1].name);
      await until(() => listener.struck.length >= wanted.length, () => `the first notes of the section; there came ${listener.text}`);
      assert.deepEqual(sorted(listener.struck.slice(0, new Set(wanted).size)), [...new Set(wanted)]);
      const { playing } = await client.ask('status.get');
      assert.equal(playing.from_us, second);
      assert.equal(playing.song.turns.length, sound.turns.length);
      await page.locator('.block').nth(1).getByRole('button', { name: /^Stop / }).click();
      await until(async () => (await page.locator('.block.sounding').count()) === 0, 'silence');
      await until(() => listener.let_go.length >= listener.struck.length, () => `the end of every note; there came ${listener.text}`);
      // Another client stops it: the page notices.
      await button('▶ Hear the song').click();
      await page.locator('.block.sounding').first().waitFor();
      assert.equal((await client.ask('status.get')).playing.from_us, 0);
      await client.ask('play.stop');
      await button('▶ Hear the song').waitFor();
      assert.equal((await client.ask('take.list')).takes.length, 1, 'what is played is no new take');
      assert.deepEqual(complaints, []);
      await page.evaluate(() => localStorage.clear());
    }, keep_the_demo);
  });

  test('the loop of a take is played along with, as softly and as fast as asked, and its rounds are drawn on the new take', { skip: why_no_jack || false }, async () => {
    await over_jack({ width: 900 }, async ({ listener, daemon, page, complaints }) => {
      const client = daemon.client();
      await connect(listener);
      await page.goto(`${daemon.url}#take/1`);
      await page.getByRole('button', { name: 'Loop settings' }).click();
      const how = page.getByRole('group', { name: 'How the loop is played' });
      const loudness = how.getByLabel('Loudness of the loop’s key strokes');
      assert.ok(Number(await loudness.inputValue()) <= 40, 'cautious to begin with');
      await loudness.fill('31');
      await how.getByLabel('Tempo').fill('320');
      await how.getByLabel('Count-in').selectOption('0');
      await how.getByLabel('Bass').uncheck();
      await page.getByRole('button', { name: 'Play along' }).click();
      await page.getByText('The loop goes round at 320 a minute, at once.').waitFor();
      const { playing } = await client.ask('status.get');
      assert.equal(playing.take, 1);
      assert.equal(playing.along.tempo, 320);
      await until(() => listener.struck.length >= 6, () => `chords of the loop; there came ${listener.text}`);
      const loudest = Math.max(...listener.messages.filter(([status]) => (status & 0xf0) === 0x90).map(([, , velocity]) => velocity));
      assert.ok(loudest <= 31, `as softly as asked, but ${loudest}`);
      assert.ok(await how.getByLabel('Tempo').isDisabled());
      // Play over it for three rounds.
      await client.ask('subscribe', { topics: ['log'] });
      await client.play(76);
      await client.release(76);
      const rounds = () => client.notes.filter((each) => each.method === 'log' && each.params.kind === 'pass').length;
      await until(() => rounds() >= 3, 'three rounds');
      await client.play(77);
      await client.release(77);
      await page.getByRole('button', { name: 'Stop the loop' }).click();
      await page.getByRole('button', { name: 'Play along' }).waitFor();
      await until(() => listener.let_go.length >= listener.struck.length, () => `the end of every note; there came ${listener.text}`);
      await client.ask('take.end').catch(() => undefined);  // it may have ended with the loop
      const passes = await client.ask('take.passes', { take: 2 });
      await page.goto(`${daemon.url}#take/2`);
      await page.locator(`canvas.roll[data-rounds="${passes.pass_at.length}"]`).waitFor();
      assert.ok(passes.pass_at.length >= 3);
      await page.getByText(`320 a minute, ${passes.pass_at.length} rounds`).waitFor();
      await page.locator('.rounds-about a').click();
      await page.locator('canvas.roll[data-notes="402"]').waitFor();
      assert.equal(await page.locator('.rounds-about').count(), 0, 'the demo was played over nothing');
      assert.deepEqual(complaints, []);
      await page.evaluate(() => localStorage.clear());
    }, keep_the_demo);
  });

  test('a proposal for a loop sounds on the MIDI output in its very notes, once round or to be played along with', { skip: why_no_jack || false }, async () => {
    await over_jack({ width: 900 }, async ({ listener, daemon, page, complaints }) => {
      const client = daemon.client();
      await connect(listener);
      await page.goto(`${daemon.url}#song/1`);
      await page.getByRole('button', { name: 'Other chords', exact: true }).click();
      await page.getByRole('combobox', { name: 'Heard on' }).selectOption('midi');
      const { proposals } = await client.ask('take.reharmonise', { take: 1, count: 8 });
      const keys = (proposal) => proposal.chords.map(({ left, right }) => sorted([...left, ...right]));
      await page.getByRole('button', { name: 'Hear proposal 1' }).click();
      await page.locator('.proposal').first().locator('.cell').nth(1).and(page.locator('.sounding')).waitFor();
      const { playing } = await client.ask('status.get');
      assert.deepEqual([playing.take, playing.along.given, playing.along.listen, playing.along.rounds], [1, true, true, 1]);
      assert.deepEqual(playing.along.chords.map((chord) => chord.harte), proposals[0].chords.map((chord) => chord.harte));
      // One round; then it ends by itself, and the page shows that.
      await page.getByRole('button', { name: 'Hear proposal 1' }).waitFor();
      await until(() => listener.let_go.length >= listener.struck.length, () => `the end of every note; there came ${listener.text}`);
      assert.deepEqual(listener.struck, keys(proposals[0]).flat());
      assert.equal((await client.ask('status.get')).playing, null);
      // Stop it in the middle.
      const heard = listener.struck.length;
      await page.getByRole('button', { name: 'Hear proposal 2' }).click();
      await until(() => listener.struck.length > heard, 'its first chord');
      await page.getByRole('button', { name: 'Stop proposal 2' }).click();
      await page.getByRole('button', { name: 'Hear proposal 2' }).waitFor();
      await until(() => listener.let_go.length >= listener.struck.length, () => `the end of every note; there came ${listener.text}`);
      // Play along without the melody: the take is recorded against the proposed chords.
      const before = listener.struck.length;
      await page.getByLabel('Held melody note on top').uncheck();
      await page.getByRole('button', { name: 'Play along with proposal 1' }).click();
      await page.locator('.proposal').first().locator('.cell.sounding').nth(0).waitFor();
      const count_in = playing.along.meter;
      const below = keys(proposals[0])[0].slice(0, -1);
      await until(() => listener.struck.length >= before + count_in + below.length, () => `the first chord after the count-in; there came ${listener.text}`);
      assert.deepEqual(listener.struck.slice(before + count_in, before + count_in + below.length), below);
      await client.play(76);
      await client.release(76);
      // It continues while another part of the page is open.
      await page.getByRole('button', { name: 'Hand over', exact: true }).click();
      assert.ok((await client.ask('status.get')).playing);
      await page.getByRole('button', { name: 'Other chords', exact: true }).click();
      await page.getByRole('button', { name: 'Stop playing along with proposal 1' }).click();
      await page.getByRole('button', { name: 'Play along with proposal 1' }).waitFor();
      await until(() => listener.let_go.length >= listener.struck.length, () => `the end of every note; there came ${listener.text}`);
      await client.ask('take.end');
      const passes = await client.ask('take.passes', { take: 2 });
      assert.deepEqual(passes.along.chords.map((chord) => chord.harte), proposals[0].chords.map((chord) => chord.harte));
      assert.deepEqual(complaints, []);
      await page.evaluate(() => localStorage.clear());
    }, keep_the_demo);
  });

  test('the page’s own tone begins quiet, glides and never jumps', async () => {
    const daemon = await new Daemon().start();
    const { page } = await browser.page();
    try {
      await listen_in(page);
      const client = daemon.client();
      await page.goto(`${daemon.url}#settings`);
      await page.getByLabel('In this page', { exact: true }).check();
      await client.play(48, 52, 55, 76);
      await page.getByRole('link', { name: 'Play' }).click();
      await page.locator('.card').first().waitFor();
      await page.getByRole('button', { name: /^Hear/ }).click();
      await until(() => page.evaluate(() => globalThis.peak() > 0.0005), 'a sound');
      const peak = await page.evaluate(async () => {
        let most = 0, jump = 0;
        for (let i = 0; i < 30; ++i) {
          await new Promise((done) => requestAnimationFrame(done));
          most = Math.max(most, globalThis.peak());
          jump = Math.max(jump, globalThis.jump());
          if (i === 10) { const slider = document.querySelector('.volume input'); slider.value = '1'; slider.dispatchEvent(new Event('input', { bubbles: true })); }
        }
        return { most, jump };
      });
      assert.ok(peak.most < 0.3, `quiet, but its peak is ${peak.most}`);
      assert.ok(peak.jump < 0.05, `no click, but two samples differ by ${peak.jump}`);
      await until(() => page.evaluate(() => globalThis.peak() < 0.0005), 'silence after the chord');
    } finally {
      await page.evaluate(() => localStorage.clear());
      await page.close();
      await daemon.stop();
    }
  });

  test('the page plays a piano, every key at its pitch, and falls silent at once', async () => {
    const daemon = await new Daemon().start();
    const { page, complaints } = await browser.page();
    try {
      await listen_in(page);
      await page.goto(`${daemon.url}#settings`);
      await page.getByLabel('In this page', { exact: true }).check();
      await page.getByRole('link', { name: 'Play' }).click();
      await the_piano(page);  // is fetched before anything is asked for
      const client = daemon.client();
      // Chords whose highest note is far from the others, so that the octave of the loudest partial tells the key.
      for (const [harte, lowest] of [['C:maj', 0], ['F#:min7', 6]]) {
        await page.evaluate(() => { globalThis.strings = 0; });
        await client.play(72 + lowest);
        await page.locator('.card').first().waitFor();
        await page.getByRole('button', { name: /^Hear/ }).click();
        await until(() => page.evaluate(() => globalThis.strings >= 3), `the strings of a chord, ${harte}`);
        const { alternatives } = await client.ask('moment.get');
        const wanted = [...alternatives[0].left, ...alternatives[0].right].map((key) => 440 * 2 ** ((key - 69) / 12));
        await until(() => page.evaluate(() => globalThis.peak() > 0.0005), 'a sound');
        await until(async () => {
          const hz = await page.evaluate(() => globalThis.loudest_hz());
          return wanted.some((each) => [1, 2, 3].some((partial) => Math.abs(12 * Math.log2(hz / each / partial)) < 0.5));
        }, () => `one of ${wanted.map(Math.round)} Hz`);
        await client.release(72 + lowest);
        await until(() => page.evaluate(() => globalThis.peak() < 0.0005), 'silence after the chord');
      }
      assert.deepEqual(complaints, []);
    } finally {
      await page.evaluate(() => localStorage.clear());
      await page.close();
      await daemon.stop();
    }
  });

  test('without a MIDI output the loop of a take is played along with in the page, in time, and kept against it', async () => {
    const daemon = new Daemon();
    await keep_the_demo(daemon);
    await daemon.start();
    const { page, complaints } = await browser.page({ width: 900 });
    try {
      await listen_in(page);
      const client = daemon.client();
      await page.goto(`${daemon.url}#take/1`);
      await page.locator('canvas.roll').waitFor();
      await page.getByRole('button', { name: 'Play along' }).click();
      const { playing } = await until(async () => { const status = await client.ask('status.get'); return status.playing && status; }, 'the loop');
      assert.equal(playing.along.by_client, true);
      await until(() => page.evaluate(() => globalThis.peak() > 0.0005), 'a sound');
      await client.play(76);
      await client.release(76);
      await page.getByRole('button', { name: 'Stop the loop' }).click();
      await until(async () => !(await client.ask('status.get')).playing, 'the end');
      await until(() => page.evaluate(() => globalThis.peak() < 0.0005), 'silence');
      await client.ask('take.end');
      assert.equal((await client.ask('take.passes', { take: 2 })).along.take, 1);
      // A page that goes away takes its loop along.
      await page.getByRole('button', { name: 'Play along' }).click();
      await until(async () => (await client.ask('status.get')).playing, 'the loop once more');
      await page.goto('about:blank');
      await until(async () => !(await client.ask('status.get')).playing, 'the end of the loop with its page');
      assert.deepEqual(complaints, []);
    } finally {
      await page.close();
      await daemon.stop();
    }
  });
});

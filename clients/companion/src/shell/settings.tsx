// Settings: those of the daemon, shared by all its clients, and those of this page.
import { signal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { local } from '../local';
import { pretty } from '../music/text';
import type { Chord, SetSettings, Settings } from '../protocol';
import { ask, complain, daemon, pin_key, settings, status } from '../state';
import { style_names } from '../play/ways';
import { ChordSymbol } from './chord_symbol';
import { Controls } from './controls';
import { Devices } from './devices';
import { Editable, EditableNumber } from './editable';
import { Shortcuts } from './help';
import { OwnHarmony } from './own_harmony';
import { SeatSettings } from './seat';
import { show_tour } from './tour';

// Key names as the daemon spells them, from the flat side to the sharp side.
const keys = ['C', 'Db', 'D', 'Eb', 'E', 'F', 'Gb', 'G', 'Ab', 'A', 'Bb', 'B'].map((tonic) => ({ harte: `${tonic}:maj`, name: `${tonic} major` }))
  .concat(['C', 'C#', 'D', 'Eb', 'E', 'F', 'F#', 'G', 'G#', 'A', 'Bb', 'B'].map((tonic) => ({ harte: `${tonic}:min`, name: `${tonic} minor` })));

const reaches = [[12, 'an octave'], [13, 'a minor ninth'], [14, 'a ninth'], [15, 'a minor tenth'], [16, 'a tenth']] as const;
const leans = [['found', 'the harmony that is heard'], ['songbook', 'old songs'], ['pop', 'pop'], ['jazz', 'jazz'], ['own', 'your own harmony']] as const;

const words: Record<Settings['changed'][number], string> = {
  brighter: 'darker or brighter', tenser: 'resolved or tense', surprising: 'familiar or surprising', symbol_style: 'chord symbols', hear_output: 'MIDI output',
  hear_velocity: 'loudest key stroke', settle_ms: 'settling time', melody: 'under which notes', voicing: 'layout', key: 'key',
  lean: 'which harmony', reach: 'reach of a hand', own: 'your own harmony', controls: 'pedals, pads and keys',
};

function change(what: SetSettings): void {
  ask('settings.set', what).catch(complain);
}

// Example chords for the two styles of symbols.
const examples = signal<Chord[]>([]);
async function fetch_examples(): Promise<void> {
  if (examples.peek().length > 0) return;
  const got = await ask('chord.parts', { names: ['C:min7', 'C:maj7', 'C:hdim7'] });
  examples.value = got.chords.filter((each) => each !== null);
}

export function SettingsPage() {
  const now = settings.value;
  useEffect(() => {
    if (daemon.link.value === 'open') fetch_examples().catch(complain);
  }, [daemon.link.value]);
  return (
    <div class="page settings">
      <h1>Settings</h1>
      {!now ? <p class="soft">Undersong is not connected just now.</p> : (
        <>
          <fieldset>
            <legend>Chord symbols</legend>
            {(['letters', 'signs'] as const).map((style) => (
              <label class="choice" key={style}>
                <input type="radio" name="symbols" checked={now.symbol_style === style} onChange={() => change({ symbol_style: style })} />
                {examples.value.length > 0 ? examples.value.map((each) => <ChordSymbol key={each.harte} chord={each} style={style} />) : <span>{style}</span>}
              </label>
            ))}
          </fieldset>
          <fieldset>
            <legend>Key</legend>
            <label class="line">The key
              <select value={now.key} name="key" onChange={(event) => pin_key(event.currentTarget.value)}>
                <option value="">as it is heard</option>
                {keys.map(({ harte, name }) => <option key={harte} value={harte}>{pretty(name)}</option>)}
              </select>
            </label>
            <p class="soft">A key you pin stays whatever is heard: names are spelled in it and suggestions ranked in it. Press the key
              beside the chord to pin it as it is.</p>
          </fieldset>
          <fieldset>
            <legend>Suggestions</legend>
            {([['note', 'Under the newest melody note'], ['two', 'Under the two newest, while both are held or while they alternate'],
              ['bar', 'Under all melody notes of the last bar']] as const).map(([value, words]) => (
              <label class="choice" key={value}>
                <input type="radio" name="melody" checked={now.melody === value} onChange={() => change({ melody: value })} /> <span>{words}</span>
              </label>
            ))}
            <label class="line">Laid out for the hands
              <select value={now.voicing} name="voicing" onChange={(event) => change({ voicing: event.currentTarget.value as typeof now.voicing })}>
                {Object.entries(style_names).map(([style, name]) => <option key={style} value={style}>{name}</option>)}
              </select>
            </label>
            <p class="soft">“Open” moves the hands least. The others are used where the chord and the held note allow them.</p>
            <label class="line">One hand reaches
              <select value={String(now.reach)} name="reach" onChange={(event) => change({ reach: Number(event.currentTarget.value) })}>
                {reaches.map(([semitones, name]) => <option key={semitones} value={String(semitones)}>{name}</option>)}
              </select>
            </label>
            <label class="line">Lean to
              <select value={now.lean} name="lean" onChange={(event) => change({ lean: event.currentTarget.value as typeof now.lean })}>
                {leans.map(([lean, name]) => <option key={lean} value={lean}>{name}</option>)}
              </select>
            </label>
          </fieldset>
          <OwnHarmony on={now.own} style={now.symbol_style} />
          <Controls now={now.controls} />
          <fieldset>
            <legend>Calm</legend>
            <label class="line">Settling time
              <EditableNumber min={0} max={60000} step={50} value={now.settle_ms} name="settle" keep={(settle_ms) => change({ settle_ms })} /> ms
            </label>
            <p class="soft">A chord that lasts less than this is not shown. Longer is calmer, shorter answers sooner.</p>
          </fieldset>
          <fieldset>
            <legend>Hearing suggestions</legend>
            {([['auto', 'On the MIDI output when there is one, else in this page'], ['midi', 'On the MIDI output'], ['page', 'In this page']] as const).map(([value, words]) => (
              <label class="choice" key={value}>
                <input type="radio" name="hear" checked={local.hear_through.value === value} onChange={() => (local.hear_through.value = value)} /> <span>{words}</span>
              </label>
            ))}
            <label class="line">MIDI output
              <Editable value={now.hear_output} placeholder={status.value?.outputs[0]?.name ?? 'Undersong out'} longest={200} keep={(hear_output) => change({ hear_output })} />
            </label>
            <p class="soft">Part of the output’s name; empty for Undersong’s own port. {status.value?.outputs.some((each) => each.connected)
              ? 'It is connected.' : 'It is not connected just now.'}</p>
            <label class="line">Loudest key stroke
              <EditableNumber min={1} max={127} value={now.hear_velocity} keep={(hear_velocity) => change({ hear_velocity })} />
            </label>
            <p class="caution">Turn your instrument down before the first suggestion, and keep the volume where you can still talk over it.
              Long sessions tire ears and hands: take breaks.</p>
          </fieldset>
        </>
      )}
      <Devices />
      <SeatSettings />
      {now && now.changed.length > 0 && (
        <fieldset>
          <legend>As configured</legend>
          <p class="soft">What is changed here is kept over a restart, before the configuration. Changed now: {now.changed.map((name) => words[name]).join(', ')}.</p>
          <button type="button" name="reset" onClick={() => ask('settings.reset', {}).catch(complain)}>Take them as configured</button>
        </fieldset>
      )}
      <fieldset>
        <legend>This page</legend>
        <label class="line">Light or dark
          <select value={local.theme.value} onChange={(event) => (local.theme.value = event.currentTarget.value)}>
            <option value="auto">as the system</option>
            <option value="light">light</option>
            <option value="dark">dark</option>
          </select>
        </label>
        <button type="button" onClick={show_tour}>Show the tour again</button>
      </fieldset>
      <fieldset>
        <legend>Keys of the computer</legend>
        <Shortcuts />
        <p class="soft">With <b>Keys on the screen</b> open, two rows of keys play notes. A pedal, a pad or a far key of your instrument can give
          the same orders: see [[controls]] in the configuration.</p>
      </fieldset>
      <p class="soft">Undersong {daemon.welcome.value?.program ?? ''} · everything stays on this machine</p>
    </div>
  );
}

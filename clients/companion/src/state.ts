// The state of the page, as signals. Everything musical comes from the daemon; this file only keeps the display calm.
import { batch, computed, effect, signal } from '@preact/signals';
import { symbol_text } from './music/chord';
import { Settled } from './music/settled';
import { plain_pitch } from './music/text';
import type { Alternative, Chord, ChordInForce, LogLine, MelodyNote, Moment, Notifications, Status } from './protocol';
import { Connection } from './wire/connection';
import { forget_daemon_clock, note_daemon_time } from './wire/daemon_clock';
import { local } from './local';
import { step } from './path';

export const moment = signal<Moment | null>(null);
export const status = signal<Status | null>(null);
export const settings = computed(() => status.value?.settings ?? null);
export const symbol_style = computed(() => settings.value?.symbol_style ?? 'letters');
/** A chord's symbol in one line. */
export const symbol_of = (chord: Chord) => symbol_text(chord, symbol_style.value);
const settle_ms = () => settings.peek()?.settle_ms ?? 0;

// ---- now

export interface ShownChord {
  chord: ChordInForce;
  dim: boolean;
}
export interface ShownMelody {
  notes: MelodyNote[];
  dim: boolean;
}
export interface ShownList {
  number: number;
  alternatives: Alternative[];
  under: string[];  // the melody notes it was made for
  hand: number[];   // the keys that were down then
}
export const shown_chord = signal<ShownChord | null>(null);
export const shown_melody = signal<ShownMelody | null>(null);
export const shown_readings = signal<Moment['readings']>([]);
export const shown_key = signal<Moment['key']>(null);
export const shown_list = signal<ShownList | null>(null);
export const shown_beat = signal<Moment['beat']>(null);
export const held = signal<Moment['held']>([]);
export const still = signal(false);
/** The chords that the player came back to in this take, most often first. */
export const shown_returned = signal<Moment['returned']>([]);
const returned_text = (all: Moment['returned']) => all.map((each) => `${each.harte} ${each.times}`).join();

// The chord, its other readings, and the degree of the melody in it are always of the same moment: a new chord brings its own.
const chord_settles = new Settled<Moment>(
  (m) => m.chord?.harte ?? '',
  (m) => {
    if (!m.chord) return;
    const chord = m.chord;
    batch(() => {
      const before = shown_chord.peek();
      const same = before?.chord.harte === chord.harte;
      shown_chord.value = { chord, dim: same ? before.dim : !chord.sounding };
      const readings = m.readings.filter((reading) => reading.harte !== chord.harte).slice(0, 3);
      if (symbols(readings) !== symbols(shown_readings.peek())) shown_readings.value = readings;
      if (same) return;
      step(chord);
      sounding_settles.offer(chord.sounding, 0);
      melody_settles.offer(m, 0);
    });
  },
);
const symbols = (chords: { harte: string }[]) => chords.map((each) => each.harte).join();
const sounding_settles = new Settled<boolean>(String, (sounding) => {
  const shown = shown_chord.peek();
  if (shown && shown.dim === sounding) shown_chord.value = { ...shown, dim: !sounding };
});
const melody_settles = new Settled<Moment>(
  (m) => m.melody.map((note) => `${note.name}${note.degree}${note.held}`).join(),
  (m) => {
    const notes = m.melody;
    if (notes.length > 0) shown_melody.value = { notes, dim: !notes.some((note) => note.held) };
    else if (shown_melody.peek()) shown_melody.value = { notes: shown_melody.peek()!.notes, dim: true };
  },
);
const key_settles = new Settled<Moment>(
  (m) => (m.key ? `${m.key.harte} ${m.key.pinned}` : ''),
  (m) => {
    if (m.key) shown_key.value = m.key;
  },
);
const list_settles = new Settled<Moment>(
  (m) => String(m.alternatives_number),
  (m) => {
    const before = shown_list.peek();
    if (m.alternatives.length === 0 && before) return;  // the last list stays
    const same_list = before?.number === m.alternatives_number && symbols(before.alternatives) === symbols(m.alternatives);
    if (same_list && list_text(before.alternatives) === list_text(m.alternatives)) return;
    shown_list.value = {
      number: m.alternatives_number,
      alternatives: m.alternatives,
      under: m.under.map((pitch) => name_under(m, pitch)),
      hand: same_list ? before.hand : m.held.map((note) => note.pitch),
    };
  },
);
/** The name of a melody note that the list of this moment was made for; the note itself may have ended. */
function name_under(m: Moment, pitch: number): string {
  const sung = m.melody.find((note) => note.pitch === pitch)?.name;
  if (sung) return sung;
  for (const each of m.alternatives) {
    const at = [...each.left, ...each.right].indexOf(pitch);
    if (at >= 0 && each.names[at]) return each.names[at];
  }
  return plain_pitch(pitch);
}
const list_text = (list: Alternative[]) => list.map((each) => each.harte + (each.tried ? `!${each.tries}` : '')).join();

let wishes_before = '';

function hear_moment(m: Moment): void {
  const wait = settle_ms();
  const age = m.chord ? (m.at - m.chord.since) / 1000 : 0;  // how long the daemon has had this chord already
  batch(() => {
    moment.value = m;
    held.value = m.held;
    if (returned_text(m.returned) !== returned_text(shown_returned.peek())) shown_returned.value = m.returned;
    if (JSON.stringify(m.beat) !== JSON.stringify(shown_beat.peek())) shown_beat.value = m.beat;
    still.value = m.still;
    chord_settles.offer(m, m.chord ? Math.max(1, wait - Math.max(0, age)) : wait);
    sounding_settles.offer(m.chord?.sounding ?? false, wait);
    // A degree belongs to the chord of its moment. While another chord is still shown, the melody waits for that chord.
    if (!m.chord || m.chord.harte === shown_chord.peek()?.chord.harte) melody_settles.offer(m, wait);
    key_settles.offer(m, m.key?.pinned === shown_key.peek()?.pinned ? wait : 0);  // a key that the player pins is shown at once
    const wishes = JSON.stringify(m.wishes);
    const at_once = wishes !== wishes_before || shown_list.peek() === null;  // the player asked for it, or waits
    wishes_before = wishes;
    list_settles.offer(m, at_once ? 0 : wait);
  });
}

// ---- the suggestion that is chosen

// What the player chose stays chosen until something else is, also when the list goes on without it. While nothing is chosen,
// the first of the list stands in its place.
const picked = signal<Alternative | null>(null);
export const chosen = computed<Alternative | null>(() => {
  const list = shown_list.value?.alternatives ?? [];
  if (!picked.value) return list[0] ?? null;
  return list.find((each) => each.harte === picked.value!.harte) ?? picked.value;
});
/** True if the player chose it; false if it is only the first of the list. */
export const chosen_by_hand = computed(() => picked.value !== null);
/** False if the chosen chord is no longer in the list. */
export const chosen_is_listed = computed(() => !chosen.value || (shown_list.value?.alternatives ?? []).includes(chosen.value));
export function choose(alternative: Alternative | null): void {
  picked.value = alternative;
}
/** The best of each root, in the order of the list. */
export const best_of_roots = computed(() => {
  const seen = new Set<number>();
  return (shown_list.value?.alternatives ?? []).filter((each) => !seen.has(each.root) && seen.add(each.root));
});
export const glance_count = 5;
/** The alternatives of the glance. */
export const nearest = computed(() => best_of_roots.value.slice(0, glance_count));
/** The alternatives that can be chosen one after the other: those that are shown. */
export const listed = computed(() => {
  if (!local.study.value) return nearest.value;
  return local.all_alternatives.value ? shown_list.value?.alternatives ?? [] : best_of_roots.value;
});
export function choose_next(step: 1 | -1): void {
  const list = listed.peek();
  const now = chosen.peek();
  if (list.length === 0) return;
  const at = list.findIndex((each) => each.harte === now?.harte);
  choose(list[at < 0 ? 0 : (at + step + list.length) % list.length]!);
}

// ---- what the log says

/** Changes when the list of takes may have changed. */
export const takes_changed = signal(0);

function hear_line(line: LogLine): void {
  switch (line.kind) {
    case 'take_begin': case 'take_end': case 'rename': case 'annotate': case 'delete': case 'restore': case 'mark': case 'unmark': case 'beat':
      takes_changed.value++;
      break;
  }
}

// ---- messages to the player

export interface Notice {
  text: string;
  action?: { label: string; run: () => void };
}
export const notice = signal<Notice | null>(null);
let notice_timer = 0;
export function say(text: string, action?: Notice['action']): void {
  clearTimeout(notice_timer);
  notice.value = action ? { text, action } : { text };
  notice_timer = window.setTimeout(() => (notice.value = null), action ? 12_000 : 5000);
}
export function complain(error: unknown): void {
  say(error instanceof Error ? error.message : String(error));
}

// ---- the connection

function hear<N extends keyof Notifications>(name: N, params: Notifications[N]): void {
  if (name === 'moment' || name === 'status') note_daemon_time((params as Moment | Status).at);
  if (name === 'moment') hear_moment(params as Moment);
  else if (name === 'status') status.value = params as Status;
  else if (name === 'log') hear_line(params as LogLine);
}

export const daemon = new Connection(
  `${location.protocol === 'https:' ? 'wss' : 'ws'}://${location.host}/socket`,
  hear,
  () => takes_changed.value++,
);

export const ask = daemon.ask.bind(daemon);

/** Pins this key, in Harte syntax; empty unpins it. */
export function pin_key(key: string): void {
  ask('settings.set', { key }).catch(complain);
}

/** True while what is shown comes from a daemon that runs. */
export const live = computed(() => daemon.link.value === 'open');
// Without the daemon nothing here claims to sound, to be held or to be counted any longer.
effect(() => {
  if (live.value) return;
  forget_daemon_clock();
  batch(() => {
    for (const each of [chord_settles, sounding_settles, melody_settles, key_settles, list_settles]) each.forget();
    held.value = [];
    if (status.peek()) status.value = { ...status.peek()!, playing: null, take: null };
    shown_beat.value = null;
    const chord = shown_chord.peek(), melody = shown_melody.peek();
    if (chord) shown_chord.value = { ...chord, dim: true };
    if (melody) shown_melody.value = { ...melody, dim: true };
  });
});

effect(() => {
  document.documentElement.dataset.theme = local.theme.value;
});

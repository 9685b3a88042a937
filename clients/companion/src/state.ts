// The state of the page, as signals. Everything musical comes from the daemon; this file only keeps the display calm.
import { batch, computed, effect, signal } from '@preact/signals';
import { symbol_text } from './music/chord';
import { Settled } from './music/settled';
import type { Alternative, Chord, ChordInForce, LogLine, MelodyNote, Moment, Notifications, Status } from './protocol';
import { Connection } from './wire/connection';
import { local } from './local';

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
  melody: string;  // the melody notes it was made for
}
export const shown_chord = signal<ShownChord | null>(null);
export const shown_melody = signal<ShownMelody | null>(null);
export const shown_readings = signal<Moment['readings']>([]);
export const shown_key = signal<Moment['key']>(null);
export const shown_list = signal<ShownList | null>(null);
export const shown_beat = signal<Moment['beat']>(null);
export const held = signal<Moment['held']>([]);
export const still = signal(false);

const chord_settles = new Settled<Moment>(
  (m) => m.chord?.harte ?? '',
  (m) => {
    if (!m.chord) return;
    shown_chord.value = { chord: m.chord, dim: shown_chord.peek()?.dim ?? !m.chord.sounding };
    shown_readings.value = m.readings.filter((reading) => reading.harte !== m.chord?.harte).slice(0, 3);
  },
);
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
    const same = before?.number === m.alternatives_number && list_text(before.alternatives) === list_text(m.alternatives);
    if (same) return;
    shown_list.value = {
      number: m.alternatives_number,
      alternatives: m.alternatives,
      melody: m.melody.map((note) => note.name).join(' '),
    };
  },
);
const list_text = (list: Alternative[]) => list.map((each) => each.harte + (each.tried ? `!${each.tries}` : '')).join();

let wishes_before = '';

function hear_moment(m: Moment): void {
  const wait = settle_ms();
  const age = m.chord ? (m.at - m.chord.since) / 1000 : 0;  // how long the daemon has had this chord already
  batch(() => {
    moment.value = m;
    held.value = m.held;
    if (JSON.stringify(m.beat) !== JSON.stringify(shown_beat.peek())) shown_beat.value = m.beat;
    still.value = m.still;
    chord_settles.offer(m, m.chord ? Math.max(1, wait - Math.max(0, age)) : wait);
    sounding_settles.offer(m.chord?.sounding ?? false, wait);
    melody_settles.offer(m, wait);
    key_settles.offer(m, m.key?.pinned === shown_key.peek()?.pinned ? wait : 0);  // a key that the player pins is shown at once
    const wishes = JSON.stringify(m.wishes);
    const at_once = wishes !== wishes_before || shown_list.peek() === null;  // the player asked for it, or waits
    wishes_before = wishes;
    list_settles.offer(m, at_once ? 0 : wait);
  });
}

// ---- the suggestion that is chosen

export const chosen_harte = signal('');
export const chosen = computed<Alternative | null>(() => {
  const list = shown_list.value?.alternatives ?? [];
  return list.find((each) => each.harte === chosen_harte.value) ?? list[0] ?? null;
});
export function choose(alternative: Alternative): void {
  chosen_harte.value = alternative.harte;
}
/** The best of each root, in the order of the list. */
export const best_of_roots = computed(() => {
  const seen = new Set<number>();
  return (shown_list.value?.alternatives ?? []).filter((each) => !seen.has(each.root) && seen.add(each.root));
});
export const listed = computed(() => (local.all_alternatives.value ? shown_list.value?.alternatives ?? [] : best_of_roots.value));
export function choose_next(step: 1 | -1): void {
  const list = listed.peek();
  const now = chosen.peek();
  if (list.length === 0) return;
  const at = list.findIndex((each) => each.harte === now?.harte);
  choose(list[(at + step + list.length) % list.length]!);
}

// ---- what was played, according to the log

export type PlayedChord = Chord & { at: number };
/** The latest chords of the take being played. */
export const trail = signal<PlayedChord[]>([]);
/** Changes when the list of takes may have changed. */
export const takes_changed = signal(0);

function hear_line(line: LogLine): void {
  switch (line.kind) {
    case 'take_begin':
      trail.value = [];
      takes_changed.value++;
      break;
    case 'chord': {
      const chord = line.chord!;
      // A name that lasted less was on the way to this one.
      const passing_us = daemon.welcome.peek()?.passing_us ?? 0;
      const before = trail.peek().filter((each) => each.at < line.at - passing_us);
      if (before.at(-1)?.harte === chord.harte) trail.value = before;
      else trail.value = [...before, { ...chord, at: line.at }].slice(-24);
      break;
    }
    case 'take_end': case 'rename': case 'annotate': case 'delete': case 'restore': case 'mark': case 'beat':
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
  if (name === 'moment') hear_moment(params as Moment);
  else if (name === 'status') status.value = params as Status;
  else if (name === 'log') hear_line(params as LogLine);
}

async function fetch_trail(): Promise<void> {
  const take = status.peek()?.take?.take;
  if (take === undefined) return;
  const detail = await daemon.ask('take.get', { take });
  trail.value = detail.chords.slice(-24);
}

export const daemon = new Connection(
  `${location.protocol === 'https:' ? 'wss' : 'ws'}://${location.host}/socket`,
  hear,
  (same_store) => {
    takes_changed.value++;
    if (!same_store) trail.value = [];
    if (trail.peek().length === 0) void fetch_trail().catch(() => undefined);
  },
);

export const ask = daemon.ask.bind(daemon);

/** Pins this key, in Harte syntax; empty unpins it. */
export function pin_key(key: string): void {
  ask('settings.set', { key }).catch(complain);
}

effect(() => {
  document.documentElement.dataset.theme = local.theme.value;
});

// Plays a cycle of chords in tempo, in the voicings shown: with the page's own sound, or on the MIDI output. There the daemon
// keeps the time, and its status says what is playing. It can also repeat, to be played along with; the daemon keeps that time too.
import { computed, effect, signal } from '@preact/signals';
import { through } from '../play/hear';
import type { PlayAlong, ProposedChord, TakeLoop } from '../protocol';
import { audio, hush, sound } from '../sound/tone';
import { repeat_loop } from '../sound/page_loop';
import { ask, complain, status } from '../state';
import { page_time } from '../wire/daemon_clock';
import { count_in, how_loud } from '../takes/along';
import { seconds } from './words';

/** What is playing: which cycle, the place in it (-1 during the count-in), and whether it repeats to be played along with. */
interface Heard { id: string; place: number; along: boolean }
const by_page = signal<Heard | null>(null);
const by_daemon = signal<Heard | null>(null);
export const heard = computed(() => by_page.value ?? by_daemon.value);
/** On MIDI: also play the held melody note on top. */
export const on_top = signal(true);

const softly = 54;
const tick_ms = 40;
let timer = 0;
let asked = 0;
let own = '';  // the cycle that this page asked the daemon to play once

export const id_of = (chords: { harte: string }[]) => chords.map((chord) => chord.harte).join(' ');

/** Stops what this page plays. A cycle to play along with goes on; its own button stops it. */
export function stop_cycle(): boolean {
  ++asked;
  clearTimeout(timer);
  const sounded = !!by_page.peek();
  if (sounded) {
    by_page.value = null;
    hush();
  }
  const sounding = by_daemon.peek();
  const ours = own !== '' && (!sounding || (sounding.id === own && !sounding.along));
  if (ours) stop_midi();
  own = '';
  return sounded || ours;
}
export function stop_midi(): void {
  void ask('play.stop', {}).catch(complain);
}
/** Stops what is playing, also if another page or program asked for it. */
export function stop_hearing(): void {
  if (!stop_cycle()) stop_midi();
}

/** Plays the cycle once; it ends by itself. */
export function hear_cycle(loop: TakeLoop, chords: ProposedChord[]): void {
  stop_cycle();
  if (through.peek() === 'midi') {
    own = id_of(chords);
    play(loop, chords, { rounds: 1, count_in: 0, listen: true });
  } else {
    hear_on_page(chords, loop.chords.map((chord) => seconds(chord, loop.tempo)));
  }
}

/** Repeats the cycle after a count-in. What the player plays over it is recorded with its place in it. */
export function play_along(loop: TakeLoop, chords: ProposedChord[]): void {
  stop_cycle();
  play(loop, chords, { count_in: count_in.peek(), velocity: how_loud() });
}

function play(loop: TakeLoop, chords: ProposedChord[], how: PlayAlong): void {
  const number = asked;
  const layers: PlayAlong['layers'] = on_top.peek() ? ['bass', 'chords', 'melody'] : ['bass', 'chords'];
  const wish: PlayAlong = { ...how, take: loop.take, layers, chords: chords.map(({ harte, left, right }) => ({ harte, notes: [...left, ...right] })) };
  (how.listen ? ask('play.along', wish) : repeat_loop(wish))
    .then(() => { if (number !== asked && how.listen) stop_midi(); }, (error: unknown) => {
      if (number !== asked) return;  // another cycle was asked for in the meantime
      own = '';
      complain(error);
    });
}

// Follow the daemon's cycle from its status, whoever asked for it.
let since = NaN, begun = 0, following = 0;
effect(() => {
  const playing = status.value?.playing;
  clearTimeout(following);
  if (!playing?.along?.given) {
    since = NaN;
    if (by_daemon.peek()?.id === own) own = '';  // it has ended
    by_daemon.value = null;
    return;
  }
  if (playing.since !== since) {
    since = playing.since;
    begun = page_time(playing.since) ?? performance.now();
  }
  const { chords, count_in_us, cycle_us, listen } = playing.along;
  const id = id_of(chords);
  const follow = () => {
    const time = (performance.now() - begun) * 1000 - count_in_us;
    const place = time < 0 ? -1 : Math.max(0, chords.findLastIndex((chord) => chord.at_us <= time % cycle_us));
    const now = by_daemon.peek();
    if (!now || now.id !== id || now.place !== place || now.along === listen) by_daemon.value = { id, place, along: !listen };
    following = window.setTimeout(follow, tick_ms);
  };
  follow();
});

function hear_on_page(chords: ProposedChord[], lengths: number[]): void {
  const id = id_of(chords);
  const ctx = audio();
  const starts: number[] = [];
  let end = ctx.currentTime + 0.06;
  for (const length of lengths) {
    starts.push(end);
    end += length;
  }
  by_page.value = { id, place: 0, along: false };
  let next = 0;
  const begin = (place: number) => {
    const chord = chords[place]!;
    const pitches = [...chord.left, ...chord.right].sort((a, b) => a - b);
    pitches.forEach((pitch, i) => sound(pitch, softly, starts[place]! + i * 0.012)(starts[place]! + lengths[place]! * 0.96));
  };
  const ahead = 0.2;
  const tick = () => {
    const time = ctx.currentTime;
    while (next < chords.length && starts[next]! <= time + ahead) begin(next++);
    if (by_page.peek()?.id !== id) return;
    if (time >= end) return stop_cycle();
    const place = Math.max(0, starts.findLastIndex((start) => start <= time));
    if (by_page.peek()!.place !== place) by_page.value = { id, place, along: false };
    timer = window.setTimeout(tick, tick_ms);
  };
  tick();
}

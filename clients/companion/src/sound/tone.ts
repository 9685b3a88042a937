// The sound of the page, so that a suggestion can be heard without an instrument: a piano, or a plain soft tone until its
// recordings are there.
//
// To protect the ears, every visit begins quiet, the volume glides and never jumps, and a limiter comes last.
import { effect, signal } from '@preact/signals';
import { load_piano, string_for, type PianoString } from './piano';

/** 0 silent .. 1 loudest. Not stored: each visit begins quiet. */
export const volume = signal(0.25);

const loudest = 0.35;
const glide_s = 0.25;
const most_voices = 48;
const recorded_velocity = 64;  // of the piano's recordings, about
const undamped = 88;           // the highest strings of a piano have no dampers

interface Voice {
  gain: GainNode;
  sources: AudioScheduledSourceNode[];
  damping_s: number;
  begins: number;
  ends: number;  // both on the audio clock
}

let context: AudioContext | null = null;
let master: GainNode | null = null;
let plain: AudioNode | null = null;  // leads tones to the master, softened
let voices: Voice[] = [];

function loudness(of: number): number {
  return of <= 0 ? 0 : loudest * of * of;  // so that equal steps sound about equal
}

/** The audio clock. It starts when the player first asks for sound, because browsers require that. */
export function audio(): AudioContext {
  if (!context) {
    context = new AudioContext({ latencyHint: 'interactive' });
    master = context.createGain();
    master.gain.value = 0;
    const soften = context.createBiquadFilter();
    soften.type = 'lowpass';
    soften.frequency.value = 2600;
    const limit = context.createDynamicsCompressor();
    limit.threshold.value = -18;
    limit.ratio.value = 12;
    plain = soften;
    soften.connect(master);
    master.connect(limit).connect(context.destination);
    void load_piano();
  }
  if (context.state === 'suspended') void context.resume();
  return context;
}

effect(() => {
  const target = loudness(volume.value);
  if (master && context) master.gain.setTargetAtTime(target, context.currentTime, glide_s / 3);
});

/** Starts a note at a time of the audio clock. Returns the function that ends it. */
export function sound(pitch: number, velocity: number, at?: number): (at?: number) => void {
  const ctx = audio();
  master!.gain.setTargetAtTime(loudness(volume.peek()), ctx.currentTime, glide_s / 3);
  const begin = Math.max(at ?? 0, ctx.currentTime);
  const string = string_for(pitch);
  const voice = string ? strike(ctx, string, pitch, velocity, begin) : tone(ctx, pitch, velocity, begin);
  voices.push(voice);
  const sounding = voices.filter((each) => each.ends > begin);
  if (sounding.length > most_voices) release(sounding[0]!, begin);
  return (end) => release(voice, Math.max(end ?? 0, ctx.currentTime, begin + 0.03));
}

function strike(ctx: AudioContext, string: PianoString, pitch: number, velocity: number, begin: number): Voice {
  const source = ctx.createBufferSource();
  source.buffer = string.buffer;
  source.playbackRate.value = 2 ** ((pitch - string.key) / 12);
  const felt = ctx.createBiquadFilter();  // a soft stroke is also a dull one
  felt.type = 'lowpass';
  felt.frequency.value = Math.min(15_000, 1200 * 2 ** (velocity / 24));
  const gain = ctx.createGain();
  gain.gain.value = (velocity / recorded_velocity) ** 1.5;
  source.connect(felt).connect(gain).connect(master!);
  source.start(begin, string.begins);
  return { gain, sources: [source], damping_s: pitch > undamped ? 0.6 : 0.09, begins: begin, ends: Infinity };
}

function tone(ctx: AudioContext, pitch: number, velocity: number, begin: number): Voice {
  const frequency = 440 * 2 ** ((pitch - 69) / 12);
  const peak = 0.22 * (velocity / 127) ** 1.5;
  const gain = ctx.createGain();
  gain.gain.setValueAtTime(0, begin);
  gain.gain.linearRampToValueAtTime(peak, begin + 0.018);
  gain.gain.setTargetAtTime(peak * 0.3, begin + 0.018, 0.9);
  gain.connect(plain!);
  const sources = ([['sine', 1, 1], ['sine', 2, 0.28], ['triangle', 1, 0.22]] as const).map(([type, times, share]) => {
    const source = ctx.createOscillator();
    const part = ctx.createGain();
    source.type = type;
    source.frequency.value = frequency * times;
    part.gain.value = share;
    source.connect(part).connect(gain);
    source.start(begin);
    return source;
  });
  return { gain, sources, damping_s: 0.12, begins: begin, ends: Infinity };
}

function release(voice: Voice, at: number): void {
  if (voice.ends <= at) return;
  voice.ends = at;
  const { gain } = voice.gain;
  gain.cancelScheduledValues(at);
  gain.setTargetAtTime(0, at, voice.damping_s);
  const silent = at <= voice.begins ? at : at + 8 * voice.damping_s;  // a note that has not begun never does
  for (const source of voice.sources) source.stop(silent);
  voice.sources[0]!.onended = () => {
    voice.gain.disconnect();
    voices = voices.filter((each) => each !== voice);
  };
}

/** Plays a chord softly, lowest note first. */
export function sound_chord(pitches: number[], seconds = 1.5): void {
  hush();
  const begin = audio().currentTime + 0.02;
  [...pitches].sort((a, b) => a - b).forEach((pitch, i) => sound(pitch, 62, begin + i * 0.014)(begin + seconds));
}

/** Stops everything that sounds, and what was to sound later. */
export function hush(): void {
  if (context) for (const voice of voices) release(voice, context.currentTime);
}

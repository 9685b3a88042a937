// A soft sound built into the page, so that a suggestion can be heard without an instrument.
//
// To protect the ears, every visit begins quiet, the volume glides and never jumps, and a limiter comes last.
import { effect, signal } from '@preact/signals';

/** 0 silent .. 1 loudest. Not stored: each visit begins quiet. */
export const volume = signal(0.25);

const loudest = 0.35;
const glide_s = 0.25;
const most_voices = 32;

interface Voice {
  gain: GainNode;
  sources: OscillatorNode[];
  pitch: number;
  released: boolean;
}

let context: AudioContext | null = null;
let master: GainNode | null = null;
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
    master.connect(soften).connect(limit).connect(context.destination);
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
  const frequency = 440 * 2 ** ((pitch - 69) / 12);
  const peak = 0.22 * (velocity / 127) ** 1.5;
  const gain = ctx.createGain();
  gain.gain.setValueAtTime(0, begin);
  gain.gain.linearRampToValueAtTime(peak, begin + 0.018);
  gain.gain.setTargetAtTime(peak * 0.3, begin + 0.018, 0.9);
  gain.connect(master!);
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
  const voice: Voice = { gain, sources, pitch, released: false };
  voices.push(voice);
  if (voices.length > most_voices) release(voices[0]!, ctx.currentTime);
  return (end) => release(voice, Math.max(end ?? 0, ctx.currentTime, begin + 0.03));
}

function release(voice: Voice, at: number): void {
  if (voice.released) return;
  voice.released = true;
  voice.gain.gain.setTargetAtTime(0, at, 0.12);
  voice.sources.forEach((source) => source.stop(at + 0.9));
  voices = voices.filter((each) => each !== voice);
  voice.sources[0]!.onended = () => voice.gain.disconnect();
}

/** Plays a chord softly, lowest note first. */
export function sound_chord(pitches: number[], seconds = 1.5): void {
  hush();
  const begin = audio().currentTime + 0.02;
  [...pitches].sort((a, b) => a - b).forEach((pitch, i) => sound(pitch, 62, begin + i * 0.014)(begin + seconds));
}

/** Stops everything that sounds. */
export function hush(): void {
  if (context) for (const voice of [...voices]) release(voice, context.currentTime);
}

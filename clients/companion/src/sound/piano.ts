// A grand piano of recorded strings: one string in six, played at most three semitones higher or lower. make.py in piano/ cuts them.
const files = import.meta.glob<string>('./piano/*.mp3', { eager: true, query: '?url', import: 'default' });
const sample_rate = 32_000;  // as the files have it, so that decoding keeps them small
const silence = 0.004;       // of the loudest sample: what is softer at the beginning is not the string yet

export interface PianoString {
  buffer: AudioBuffer;
  key: number;    // MIDI key of the recording
  begins: number; // seconds of silence before it sounds
}

let loading: Promise<void> | null = null;
const strings: PianoString[] = [];

async function load(url: string, key: number): Promise<PianoString> {
  const response = await fetch(url);
  if (!response.ok) throw new Error(`The piano's recording of key ${key} is not there (${response.status}).`);
  const buffer = await new OfflineAudioContext(1, 1, sample_rate).decodeAudioData(await response.arrayBuffer());
  const wave = buffer.getChannelData(0);
  const loudest = wave.reduce((most, value) => Math.max(most, Math.abs(value)), 0);
  const first = Math.max(0, wave.findIndex((value) => Math.abs(value) > silence * loudest) - sample_rate / 500);
  return { buffer, key, begins: first / sample_rate };
}

/** Fetches the piano once. Without it the page sounds a plain tone, so a failure is no error; the next call tries again. */
export function load_piano(): Promise<void> {
  return loading ??= Promise.all(Object.entries(files).map(([path, url]) => load(url, Number(/(\d+)\.mp3$/.exec(path)![1])))).then(
    (all) => void strings.push(...all),
    () => { loading = null; },
  );
}

/** The nearest recorded string; null until the piano is loaded. */
export function string_for(pitch: number): PianoString | null {
  let best: PianoString | null = null;
  for (const each of strings) if (!best || Math.abs(each.key - pitch) < Math.abs(best.key - pitch)) best = each;
  return best;
}

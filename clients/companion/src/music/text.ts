// Musical text as it is printed and as it is read out.

/** "Bb", "#11", "Eb4" with real flats and sharps; other words stay as they are. */
export function pretty(text: string): string {
  return text
    .replace(/\b([A-G])(bb|##|b|#)(?![a-z])/g, (_, letter: string, sign: string) => letter + signs(sign))
    .replace(/(^|[^A-Za-z])(bb|##|b|#)(?=\d)/g, (_, before: string, sign: string) => before + signs(sign));
}

function signs(text: string): string {
  return text.replaceAll('bb', '𝄫').replaceAll('##', '𝄪').replaceAll('b', '♭').replaceAll('#', '♯');
}

export interface SymbolParts {
  letter: string;
  accidental: string;
  quality: string;  // beside the letter: m, −, dim, ø, Δ ...
  raised: string;   // above: 7, maj7, ♭9, sus4 ...
  bass: string;
}

/** A chord symbol in the parts a musician writes at different sizes. */
export function symbol_parts(symbol: string): SymbolParts {
  const match = /^([A-G])(bb|##|b|#)?(.*?)(?:\/([A-G](?:bb|##|b|#)?))?$/.exec(symbol);
  if (!match) return { letter: symbol, accidental: '', quality: '', raised: '', bass: '' };
  const [, letter = '', accidental = '', body = '', bass = ''] = match;
  const quality = /^(m(?!aj)|-|−|dim|aug|ø|°|o(?=\d|$)|\+|Δ)/.exec(body)?.[0] ?? '';
  const raised = body.slice(quality.length).replace(/(bb|##|b|#)(?=\d)/g, signs);
  return {
    letter,
    accidental: signs(accidental),
    quality: quality === '-' ? '−' : quality === 'o' ? '°' : quality,
    raised,
    bass: pretty(bass),
  };
}

const spoken_words: [RegExp, string][] = [
  [/♭|𝄫/g, ' flat '],
  [/♯|𝄪/g, ' sharp '],
  [/Δ|maj/g, ' major '],
  [/ø/g, ' half-diminished '],
  [/°|dim/g, ' diminished '],
  [/aug|\+/g, ' augmented '],
  [/sus/g, ' suspended '],
  [/alt/g, ' altered '],
];

/** For screen readers: "B flat minor 7 flat 5 over F". */
export function spoken(symbol: string): string {
  const parts = symbol_parts(symbol);
  const quality = parts.quality === 'm' || parts.quality === '−' ? ' minor ' : parts.quality;
  let text = `${parts.letter}${parts.accidental} ${quality}${parts.raised}`;
  for (const [sign, word] of spoken_words) text = text.replace(sign, word);
  if (parts.bass) text += ` over ${pretty(parts.bass).replace('♭', ' flat').replace('♯', ' sharp')}`;
  return text.replace(/\s+/g, ' ').trim();
}

/** Microseconds as 1:07 or 1:02:07. */
export function clock(us: number): string {
  const seconds = Math.max(0, Math.floor(us / 1e6));
  const h = Math.floor(seconds / 3600), m = Math.floor(seconds / 60) % 60, s = seconds % 60;
  const two = (n: number) => String(n).padStart(2, '0');
  return h > 0 ? `${h}:${two(m)}:${two(s)}` : `${m}:${two(s)}`;
}

/** "Eb:min" as "E♭ minor". */
export function key_name(harte: string): string {
  const [tonic = '', mode = ''] = harte.split(':');
  return `${pretty(tonic)} ${mode === 'min' ? 'minor' : 'major'}`;
}

const names = ['C', 'D♭', 'D', 'E♭', 'E', 'F', 'F♯', 'G', 'A♭', 'A', 'B♭', 'B'];
/** A key of the keyboard with no harmony known: the common name. */
export function plain_pitch(pitch: number): string {
  return `${names[pitch % 12]}${Math.floor(pitch / 12) - 1}`;
}
export const pitch_class_names: readonly string[] = names;

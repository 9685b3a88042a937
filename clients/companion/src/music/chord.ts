// Builds the symbol of a chord from the parts that the daemon sends, in the style of the settings.
import type { Chord, Settings } from '../protocol';
import { pretty, real_signs } from './text';

export type SymbolStyle = Settings['symbol_style'];

export interface SymbolParts {
  letter: string;
  accidental: string;
  quality: string;  // beside the letter: m, −, dim, ø, Δ ...
  raised: string;   // above: 7, maj7, ♭9, sus4 ...
  bass: string;
}

const suffix = (chord: Chord, style: SymbolStyle) => (style === 'signs' ? chord.signs : chord.letters);

/** The parts of a symbol that are written at different sizes. */
export function symbol_parts(chord: Chord, style: SymbolStyle): SymbolParts {
  const [quality = '', raised = ''] = suffix(chord, style);
  return {
    letter: chord.root_name.slice(0, 1),
    accidental: real_signs(chord.root_name.slice(1)),
    quality: quality === '-' ? '−' : quality,
    raised: real_signs(raised),
    bass: pretty(chord.bass_name ?? ''),
  };
}

/** The symbol as one line of text: Cm7b5/Gb. */
export function symbol_text(chord: Chord, style: SymbolStyle): string {
  return chord.root_name + suffix(chord, style).join('') + (chord.bass_name ? `/${chord.bass_name}` : '');
}

// How the signs and short words of symbols are read aloud.
const spoken_words = [
  ['♭', ' flat '], ['𝄫', ' flat '], ['♯', ' sharp '], ['𝄪', ' sharp '], ['Δ', ' major '], ['maj', ' major '], ['ø', ' half-diminished '],
  ['°', ' diminished '], ['dim', ' diminished '], ['aug', ' augmented '], ['+', ' augmented '], ['sus', ' suspended '], ['alt', ' altered '],
] as const;
const aloud = (text: string) => spoken_words.reduce((said, [sign, word]) => said.replaceAll(sign, word), text);

/** For screen readers: "B flat minor 7 flat 5 over F". */
export function spoken(chord: Chord, style: SymbolStyle): string {
  const parts = symbol_parts(chord, style);
  const quality = parts.quality === 'm' || parts.quality === '−' ? ' minor ' : parts.quality;
  const text = `${parts.letter}${parts.accidental} ${quality}${parts.raised}${parts.bass && ` over ${parts.bass}`}`;
  return aloud(text).split(' ').filter(Boolean).join(' ');
}

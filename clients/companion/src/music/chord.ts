// Builds the symbol of a chord from the parts that the daemon sends, in the style of the settings.
import type { Chord, Settings } from '../protocol';
import { pretty, real_signs } from './text';

export type SymbolStyle = Settings['symbol_style'];

/** The size of what is raised, compared with the letter. The style sheet has the same. */
export const raised_share = 0.62;

export interface SymbolParts {
  letter: string;
  accidental: string;
  quality: string;  // beside the letter: m, −, dim, ø, Δ ...
  raised: string;   // above: 7, maj7, sus4, and an alteration if there is only one ...
  stacked: string[];  // one above the other, the upper first
  bass: string;
}

const suffix = (chord: Chord, style: SymbolStyle) => (style === 'signs' ? chord.signs : chord.letters);

/** What is raised, in one line or stacked: several alterations stand on each other, and one stands under a long extension. */
export function raise(text: string): { raised: string; stacked: string[] } {
  const alterations = text.match(/[b#]\d+/g) ?? [];
  const extension = text.replace(/[b#]\d+/g, '').replace('()', '');
  if (alterations.length > 0 && extension.length > 2) return { raised: '', stacked: [extension, real_signs(alterations.join(''))] };
  if (alterations.length > 1) return { raised: extension, stacked: alterations.map(real_signs) };
  return { raised: real_signs(text), stacked: [] };
}

/** The parts of a symbol that are written at different sizes or heights. */
export function symbol_parts(chord: Chord, style: SymbolStyle): SymbolParts {
  const [quality = '', raised = ''] = suffix(chord, style);
  return {
    letter: chord.root_name.slice(0, 1),
    accidental: real_signs(chord.root_name.slice(1)),
    quality: quality === '-' ? '−' : quality,
    ...raise(raised),
    bass: pretty(chord.bass_name ?? ''),
  };
}

/** The symbol as one line of text: Cm7b5/Gb. */
export function symbol_text(chord: Chord, style: SymbolStyle): string {
  return chord.root_name + suffix(chord, style).join('') + (chord.bass_name ? `/${chord.bass_name}` : '');
}

// How the signs and short words of symbols are read aloud.
const spoken_words: Record<string, string> = {
  '6/9': 'six nine', '♭': 'flat', '𝄫': 'double flat', '♯': 'sharp', '𝄪': 'double sharp', 'Δ': 'major', 'maj': 'major', 'ø': 'half-diminished',
  '°': 'diminished', 'dim': 'diminished', 'aug': 'augmented', '+': 'augmented', 'sus': 'suspended', 'alt': 'altered', 'add': 'added', '(': '', ')': '',
};
const any_spoken = new RegExp(Object.keys(spoken_words).map((sign) => sign.replace(/[()+]/, '\\$&')).concat('\\d+').join('|'), 'gu');
const ordinals: Record<string, string> = {
  '2': 'second', '4': 'fourth', '5': 'fifth', '6': 'sixth', '7': 'seventh', '9': 'ninth', '11': 'eleventh', '13': 'thirteenth',
};
const aloud = (text: string) => text.replace(any_spoken, (sign) => ` ${spoken_words[sign] ?? ordinals[sign] ?? sign} `);

/** For the ear: "B flat minor seventh flat fifth over F". */
export function spoken(chord: Chord, style: SymbolStyle): string {
  const [quality = '', raised = ''] = suffix(chord, style);
  const kind = quality === 'm' || quality === '-' ? ' minor ' : quality;
  const plain = !quality && !raised ? ' major' : '';
  const over = chord.bass_name ? ` over ${chord.bass_name.slice(0, 1)}${aloud(real_signs(chord.bass_name.slice(1)))}` : '';
  const root = `${chord.root_name.slice(0, 1)}${aloud(real_signs(chord.root_name.slice(1)))}`;
  return `${root} ${aloud(kind)}${aloud(real_signs(raised))}${plain}${over}`.split(' ').filter(Boolean).join(' ');
}

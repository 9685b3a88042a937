// Chord symbols on an engraved page: their text as it is in the file, and how it is set: the letter large, what belongs to it raised.
import { raised_share } from '../music/chord';
import { real_signs } from '../music/text';

// Stands between the parts of a chord's text, so that it is found again in the drawing. It takes no room.
const joint = '\u2060';
const accidentals: Record<string, string> = { '-2': '𝄫', '-1': '♭', '0': '', '1': '♯', '2': '𝄪' };

const text_in = (from: Element, path: string) => from.querySelector(path)?.textContent?.trim() ?? '';
const note_in = (from: Element, what: string) => text_in(from, `${what}-step`) + (accidentals[text_in(from, `${what}-alter`) || '0'] ?? '');

/** The symbols of a MusicXML document, in order. */
export function chord_texts(score: Document): string[] {
  return [...score.querySelectorAll('harmony')].map((harmony) => {
    const kind = harmony.querySelector('kind')?.getAttribute('text') ?? '';
    const bass = note_in(harmony, 'bass');
    const [, quality = '', raised = ''] = /^(m(?!aj)|dim|aug|[-ø°+Δ])?(.*)$/.exec(kind) ?? [];
    return [note_in(harmony, 'root'), real_signs(quality), real_signs(raised), bass && `/${bass}`].join(joint);
  });
}

export const is_chord_text = (text: string | null) => !!text?.includes(joint);

/** Sets a text of the drawing as a chord symbol. */
export function chord_ink(text: SVGTextElement): void {
  const [root = '', quality = '', raised = '', bass = ''] = (text.textContent ?? '').split(joint);
  const size = Number.parseFloat(text.getAttribute('font-size') ?? '') || 27;
  text.setAttribute('font-family', '"Undersong Symbols", serif');
  text.setAttribute('font-weight', '700');
  const span = (words: string, share: number, up: number) => {
    const made = document.createElementNS('http://www.w3.org/2000/svg', 'tspan');
    made.setAttribute('font-size', String(size * share));
    made.setAttribute('dy', String(-up));
    made.textContent = words;
    return made;
  };
  const rise = raised ? size * 0.32 : 0;
  text.replaceChildren(...[root && span(root, 1, 0), quality && span(quality, quality.length > 1 ? 0.75 : 1, 0), raised && span(raised, raised_share, rise), bass && span(bass, 0.75, -rise)].filter((each) => each !== ''));
}

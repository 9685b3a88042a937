// A grand staff with one chord, engraved by VexFlow. Loaded after the first paint.
//
// VexFlow loads fonts from data: URLs, which the content security policy forbids. So the font is a file here.
import { Accidental, Formatter, Renderer, Stave, StaveConnector, StaveNote, VexFlow, Voice } from 'vexflow/core';
import bravura from '@vexflow-fonts/bravura/bravura.woff2?url';

export interface Written {
  name: string;  // "Eb4"
  stays: boolean;
}

let font: Promise<unknown> | null = null;
function load_font(): Promise<unknown> {
  font ??= new FontFace('Bravura', `url(${bravura})`).load().then((face) => {
    document.fonts.add(face);
    VexFlow.setFonts('Bravura');
  }, (error) => {
    font = null;  // so that the next call tries again
    throw error;
  });
  return font;
}

const letters = 'CDEFGAB';
interface Named extends Written { letter: string; sign: string; octave: number; step: number }
function read(note: Written): Named {
  const [, letter = 'C', sign = '', octave = '4'] = /^([A-G])(b*|#*)(-?\d+)$/.exec(note.name) ?? [];
  return { ...note, letter, sign, octave: Number(octave), step: Number(octave) * 7 + letters.indexOf(letter) };
}

const width = 210, height = 214, stave_x = 22;

/** Returns a function that fits the picture to its box; call it when the size of the box has changed. */
export async function engrave(place: HTMLElement, left: Written[], right: Written[]): Promise<() => void> {
  await load_font();
  place.replaceChildren();
  const renderer = new Renderer(place as HTMLDivElement, Renderer.Backends.SVG);
  renderer.resize(width, height);
  const context = renderer.getContext();
  // A named colour, so that a change of theme needs no new engraving.
  context.setFillStyle('currentColor');
  context.setStrokeStyle('currentColor');
  const treble = new Stave(stave_x, 8, width - stave_x - 6).addClef('treble');
  const bass = new Stave(stave_x, 98, width - stave_x - 6).addClef('bass');
  treble.setContext(context).draw();
  bass.setContext(context).draw();
  new StaveConnector(treble, bass).setType('brace').setContext(context).draw();
  new StaveConnector(treble, bass).setType('singleLeft').setContext(context).draw();
  new StaveConnector(treble, bass).setType('singleRight').setContext(context).draw();

  // One staff for each hand. But a very high left hand, or a very low right hand, is easier to read on the other staff.
  const all = [...left.map((note) => ({ ...read(note), hand: 'left' })), ...right.map((note) => ({ ...read(note), hand: 'right' }))];
  const on_treble = all.filter((note) => (note.hand === 'right' ? note.step >= 3 * 7 + 4 : note.step > 4 * 7 + 4));
  const on_bass = all.filter((note) => !on_treble.includes(note));
  const chord = (notes: typeof all, clef: 'treble' | 'bass') => {
    const voice = new Voice({ numBeats: 4, beatValue: 4 });
    if (notes.length === 0) return null;
    const sorted = [...notes].sort((a, b) => a.step - b.step);
    const made = new StaveNote({ clef, keys: sorted.map((note) => `${note.letter}${note.sign}/${note.octave}`), duration: 'w' });
    sorted.forEach((note, i) => {
      if (note.sign) made.addModifier(new Accidental(note.sign), i);
      if (!note.stays) made.setKeyStyle(i, { fillStyle: 'var(--call)', strokeStyle: 'var(--call)' });
    });
    return voice.addTickables([made]);
  };
  const voices: [Voice | null, Stave][] = [[chord(on_treble, 'treble'), treble], [chord(on_bass, 'bass'), bass]];
  const there = voices.filter((each): each is [Voice, Stave] => each[0] !== null);
  if (there.length === 0) return () => undefined;
  const formatter = new Formatter();
  there.forEach(([voice]) => formatter.joinVoices([voice]));
  formatter.format(there.map(([voice]) => voice), 90);
  there.forEach(([voice, stave]) => voice.draw(context, stave));
  const svg = place.querySelector('svg');
  svg?.setAttribute('aria-hidden', 'true');
  // The drawing has a size only while it is visible.
  const fit = () => {
    const drawn = svg?.getBBox();
    if (drawn && drawn.width > 0) svg!.setAttribute('viewBox', `${drawn.x - 4} ${drawn.y - 4} ${drawn.width + 8} ${drawn.height + 8}`);
  };
  fit();
  return fit;
}

// The sketch of a song being edited. Changes are a draft until it is saved, and the draft survives a reload of the page.
import { batch, computed, effect, signal } from '@preact/signals';
import type { Chord, GrownSketch, HandedOver, LoopProposal, SketchList, SketchSection, SongSketch } from '../protocol';
import { ask, complain, daemon, say } from '../state';
import { outline_soon, outlined, parts_of } from './sketch_outline';
import { divisi, strings } from './strings';

export interface DraftSection {
  id: number;
  section: SketchSection;
}
export interface Draft {
  name: string;  // its file name; empty: not saved yet
  revision: string;
  title: string;
  tempo: number | undefined;
  feel?: SongSketch['feel'];
  count_in?: SongSketch['count_in'];
  sections: DraftSection[];
  changed: boolean;
}
export type Layer = NonNullable<SketchSection['layers']>[number];
export const all_layers: readonly Layer[] = ['melody', 'chords', 'bass', 'pad'];

const storage = 'undersong.song-draft';
let last_id = 0;
const numbered = (sections: SketchSection[]): DraftSection[] => sections.map((section) => ({ id: ++last_id, section }));

function remembered(): Draft | null {
  try {
    const draft = JSON.parse(sessionStorage.getItem(storage) ?? 'null') as Draft | null;
    if (draft === null || typeof draft.title !== 'string' || !Array.isArray(draft.sections)) return null;
    return { ...draft, sections: numbered(draft.sections.map((each) => each.section)) };
  } catch {
    return null;  // no storage, or its content is not ours
  }
}

export const draft = signal<Draft | null>(remembered());
export const kept = signal<SketchList | null>(null);
/** The song page opens at its sketch: something was put into it from elsewhere. */
export const show_first = signal(false);
export const handed = signal<HandedOver | null>(null);
/** What could come after a section; gone as soon as the sketch changes. */
export const grown = signal<GrownSketch | null>(null);
/** The section that is open for changes; the first if none was chosen. */
export const selected = signal(0);
export const selected_section = computed(() => {
  const sections = draft.value?.sections ?? [];
  return sections.find((each) => each.id === selected.value) ?? sections[0];
});
/** What the daemon says is wrong: with a section (from 1), or with the whole sketch (0). */
export const trouble = signal<{ section: number; sentence: string } | null>(null);
export const chords_put_in = signal(new Map<string, Chord>());  // by the name they have in the sketch

effect(() => {
  const text = JSON.stringify(draft.value);
  try {
    sessionStorage.setItem(storage, text);
  } catch {
    // Without storage the draft lasts for this visit only.
  }
});

/** The sketch as the daemon reads it. */
export function as_sketch({ title, tempo, feel, count_in, sections }: Draft): SongSketch {
  return { title, ...(tempo === undefined ? {} : { tempo }), ...(feel === undefined ? {} : { feel }), ...(count_in === undefined ? {} : { count_in }),
           sections: sections.map((each) => each.section) };
}

effect(() => {
  const now = draft.value;
  if (!now) return void (outlined.value = null);
  if (daemon.link.value === 'open') outline_soon(as_sketch(now), now.sections.map((each) => each.id), place_trouble);
});

/** The number with which the daemon's sentence begins; 0 if it is about no section. */
function section_of(sentence: string): number {
  return Number(/^Section (\d+)\b/.exec(sentence)?.[1] ?? 0);
}
const sentence_of = (error: unknown) => (error instanceof Error ? error.message : String(error));

export function place_trouble(error: unknown): void {
  const sentence = sentence_of(error);
  trouble.value = { section: section_of(sentence), sentence };
}

/** Why the song can't be heard: in its section, or where everybody sees it. */
export function hearing_trouble(error: unknown): void {
  if (section_of(sentence_of(error)) > 0) place_trouble(error);
  else complain(error);
}

function lay(next: Draft): void {
  batch(() => {
    draft.value = next;
    handed.value = null;
    grown.value = null;
    trouble.value = null;
  });
  const missing = [...new Set(next.sections.flatMap((each) => each.section.chords ?? []))].filter((each) => !chords_put_in.peek().has(each));
  if (missing.length > 0)
    ask('chord.parts', { names: missing }).then((got) => {
      const more = new Map(chords_put_in.peek());
      missing.forEach((each, i) => got.chords[i] && more.set(each, got.chords[i]));
      chords_put_in.value = more;
    }, () => undefined);
}

export function change(part: Partial<Draft>): void {
  const now = draft.peek();
  if (now) lay({ ...now, ...part, changed: true });
}

export function change_section(id: number, part: { [name in keyof SketchSection]?: SketchSection[name] | undefined }): void {
  const sections = draft.peek()!.sections.map((each) => {
    if (each.id !== id) return each;
    const members = Object.entries({ ...each.section, ...part }).filter(([, value]) => value !== undefined);
    return { id, section: Object.fromEntries(members) as unknown as SketchSection };
  });
  change({ sections });
}

/** Puts a section at a place counted from 0; the others move up. Returns its place. */
export function move_to(id: number, place: number): number {
  const sections = [...draft.peek()!.sections];
  const from = sections.findIndex((each) => each.id === id), to = Math.min(sections.length - 1, Math.max(0, place));
  if (from < 0 || from === to) return from;
  sections.splice(to, 0, ...sections.splice(from, 1));
  change({ sections });
  return to;
}

export const place_of = (id: number) => draft.peek()!.sections.findIndex((each) => each.id === id);

const most_times = 64;
/** One time more or less. */
export function repeat(id: number, step: 1 | -1): void {
  const section = draft.peek()!.sections.find((each) => each.id === id)?.section;
  if (!section) return;
  const repeats = Math.min(most_times, Math.max(1, times_of(id) + step));
  if (repeats !== section.repeats) change_section(id, { repeats });
}
/** How often it is played: as often as in its take if the sketch does not say. */
export function times_of(id: number): number {
  const section = draft.value!.sections.find((each) => each.id === id)!.section;
  return section.repeats ?? (section.passes ? 1 : Math.max(1, ...parts_of(id).map((part) => part.times)));
}

export function remove(id: number): void {
  const before = draft.peek()!.sections;
  const gone = before.find((each) => each.id === id)!;
  change({ sections: before.filter((each) => each.id !== id) });
  say(`${gone.section.name} is out of the song.`, { label: 'Undo', run: () => {
    const now = [...draft.peek()!.sections];
    now.splice(before.indexOf(gone), 0, gone);
    change({ sections: now });
  } });
}

export function add(section: SketchSection): number {
  const [made] = numbered([section]);
  change({ sections: [...draft.peek()!.sections, made!] });
  selected.value = made!.id;
  return made!.id;
}

export function put_chords(id: number, proposal: LoopProposal): void {
  chords_put_in.value = new Map([...chords_put_in.peek(), ...proposal.chords.map((chord) => [chord.harte, chord] as const)]);
  change_section(id, { chords: proposal.chords.map((chord) => chord.harte), chord_line: undefined, reharmonise: undefined });
}

function lay_sketch(sketch: SongSketch, name: string, revision: string): void {
  const { title, tempo, feel, count_in, sections } = sketch;
  const before = draft.peek();
  if (before?.changed && before.sections.length > 0)
    say(`${before.title || 'The sketch'} was not saved.`, { label: 'Back to it', run: () => lay(before) });
  lay({ name, revision, title, tempo, ...(feel === undefined ? {} : { feel }), ...(count_in === undefined ? {} : { count_in }),
        sections: numbered(sections), changed: name === '' });
}

export async function propose(take: number): Promise<void> {
  lay_sketch(await ask('sketch.propose', { takes: [take] }), '', '');
}

export async function fetch_kept(): Promise<void> {
  kept.value = await ask('sketch.list', {});
}

export async function open(name: string): Promise<void> {
  const got = await ask('sketch.get', { name });
  lay_sketch(got.sketch, got.name, got.revision);
}

/** A file name made from the title, different from those of all other sketches. */
function free_name(title: string): string {
  const plain = title.normalize('NFD').replace(/[^A-Za-z0-9 _-]/g, '').replace(/\s+/g, ' ').trim().slice(0, 56) || 'song';
  const taken = new Set((kept.peek()?.sketches ?? []).map((each) => each.name.toLowerCase()));
  let name = plain;
  for (let n = 2; taken.has(name.toLowerCase()); ++n) name = `${plain} ${n}`;
  return name;
}

/** Saves the draft. Returns false if the daemon refused; `trouble` then says why. */
export async function keep(): Promise<boolean> {
  const now = draft.peek()!;
  try {
    if (!now.name) await fetch_kept();
    const got = await ask('sketch.put', { name: now.name || free_name(now.title), sketch: as_sketch(now), ...(now.revision ? { revision: now.revision } : {}) });
    batch(() => {
      trouble.value = null;
      // Changes made while the daemon was writing are still unsaved.
      draft.value = { ...draft.peek()!, name: got.name, revision: got.revision, changed: draft.peek() !== now };
    });
    await fetch_kept();
    return true;
  } catch (error) {
    place_trouble(error);
    return false;
  }
}

export async function delete_kept(name: string): Promise<void> {
  const before = await ask('sketch.get', { name }).catch(() => null);
  await ask('sketch.delete', { name });
  if (draft.peek()?.name === name) draft.value = { ...draft.peek()!, name: '', revision: '', changed: true };
  await fetch_kept();
  if (!before) return say(`${name} is off the list.`);
  say(`${name} is off the list.`, { label: 'Undo', run: () => void ask('sketch.put', { name, sketch: before.sketch }).then(async (got) => {
    if (draft.peek()?.name === '' && draft.peek()!.title === before.sketch.title) draft.value = { ...draft.peek()!, name, revision: got.revision };
    await fetch_kept();
  }).catch(place_trouble) });
}

/** Saves first, so that what is handed over is what is shown. */
export async function hand_over(): Promise<void> {
  if (draft.peek()!.changed && !(await keep())) return;
  try {
    handed.value = await ask('sketch.hand_over', { name: draft.peek()!.name, strings: strings.peek(), divisi: divisi.peek() });
  } catch (error) {
    place_trouble(error);
  }
}

/** Saves first, because the daemon proposes for what it keeps. */
export async function grow(): Promise<void> {
  if ((draft.peek()!.changed || !draft.peek()!.name) && !(await keep())) return;
  const { name } = draft.peek()!;
  const got = await ask('sketch.grow', { name });
  if (draft.peek()?.name === name && !draft.peek()!.changed) grown.value = got;
}

/** Adds a proposal, from 1, behind its section, with the way back to it where the song does not go back by itself. */
export async function add_grown(number: number): Promise<void> {
  const from = grown.peek()!, before = draft.peek()!;
  const { added } = await ask('sketch.grow', { name: before.name, section: from.section, add: number });
  if (!added) return;
  const { title, tempo, feel, count_in, sections } = added.sketch;
  lay({ name: added.name, revision: added.revision, title, tempo, ...(feel === undefined ? {} : { feel }), ...(count_in === undefined ? {} : { count_in }),
        sections: numbered(sections), changed: false });
  say(`${from.proposals[number - 1]!.section.name} is in the song.`, { label: 'Undo', run: () => change({ sections: before.sections }) });
  await fetch_kept();
}

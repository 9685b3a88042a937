// The pages of one part as they will be printed.
import { useEffect, useMemo, useRef, useState } from 'preact/hooks';
import { local } from '../local';
import { plural } from '../music/text';
import type { HandedFile } from '../protocol';
import { save_file, text_of } from './files';
import { papers, usual_paper, type Paper } from './papers';
import { print_these } from './printing';

// Bars of all staves together that are engraved at once. More of them keep the page busy for seconds, so that is asked first.
const most_bars = 2500;
const bars_in = (musicxml: string) => musicxml.split('<measure ').length - 1;

export const paper_of = (kept: string): Paper => (kept in papers ? (kept as Paper) : usual_paper(navigator.language));

/** `part`: its name; `title`: of the song. */
export function Sheets({ file, folder, title, part, staff_mm }: { file: HandedFile; folder: string; title: string; part: string; staff_mm: number }) {
  const paper = paper_of(local.paper.value);
  const place = useRef<HTMLDivElement>(null);
  const [pages, set_pages] = useState(0);  // 0: not engraved yet
  const [trouble, set_trouble] = useState('');
  const musicxml = useMemo(() => text_of(file), [file]);
  const bars = useMemo(() => bars_in(musicxml), [musicxml]);
  const [agreed, agree] = useState(false);
  const waits = bars > most_bars && !agreed;
  useEffect(() => {
    if (waits) return;
    let wanted = true;
    set_pages(0);
    set_trouble('');
    place.current!.replaceChildren();
    const engrave = async () => {
      const loaded = await import('./page_engraving').catch(() => null);
      if (!loaded) return void (wanted && set_trouble('What engraves pages could not be loaded. If Undersong was updated meanwhile, reload this page.'));
      await new Promise((painted) => requestAnimationFrame(() => setTimeout(painted)));  // the sentence is seen before the work begins
      if (!wanted) return;
      const made = await loaded.engrave_pages({ musicxml, part, paper, staff_mm });
      if (!wanted) return;
      place.current!.replaceChildren(...made);
      set_pages(made.length);
    };
    engrave().catch((error: unknown) => { if (wanted) set_trouble(`${file.name} could not be engraved: ${error instanceof Error ? error.message : String(error)}`); });
    return () => { wanted = false; };
  }, [file, musicxml, part, paper, staff_mm, waits]);
  const both = `${title}, ${part}`;
  useEffect(() => print_these(() => [...place.current?.children ?? []], paper, both), [paper, both]);
  return (
    <div class="sheets" data-file={file.name} data-pages={pages}>
      <div class="sheets-head">
        <button type="button" class="act" disabled={pages === 0} onClick={() => print()}>Print or save as PDF</button>
        <button type="button" class="quiet" onClick={() => save_file(folder, file)}>Save {file.name}</button>
        <label class="line"><span>Paper</span>
          <select value={paper} onChange={(event) => (local.paper.value = event.currentTarget.value)}>
            {Object.entries(papers).map(([each, { name }]) => <option key={each} value={each}>{name}</option>)}
          </select>
        </label>
        <span class="soft" role="status">{pages > 0 ? plural(pages, 'page') : trouble || waits ? '' : 'Engraving …'}</span>
      </div>
      {waits && (
        <p>This part is long: {bars} bars on all its staves. Engraving it takes a while, and the page stands still meanwhile.{' '}
          <button type="button" class="quiet" onClick={() => agree(true)}>Engrave it</button></p>
      )}
      {trouble && <p class="trouble" role="alert">{trouble}</p>}
      <div class={`sheet-pages paper-${paper}`} ref={place} role="group" aria-label={both} />
    </div>
  );
}

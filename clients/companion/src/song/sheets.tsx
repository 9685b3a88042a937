// The pages of one part as they will be printed.
import { useEffect, useRef, useState } from 'preact/hooks';
import { local } from '../local';
import { plural } from '../music/text';
import type { HandedFile } from '../protocol';
import { save_file, text_of } from './files';
import { papers, usual_paper, type Paper } from './papers';
import { print_these } from './printing';

export const paper_of = (kept: string): Paper => (kept in papers ? (kept as Paper) : usual_paper(navigator.language));

/** `part`: its name; `title`: of the song. */
export function Sheets({ file, folder, title, part, staff_mm }: { file: HandedFile; folder: string; title: string; part: string; staff_mm: number }) {
  const paper = paper_of(local.paper.value);
  const place = useRef<HTMLDivElement>(null);
  const [pages, set_pages] = useState(0);  // 0: not engraved yet
  const [trouble, set_trouble] = useState('');
  useEffect(() => {
    let wanted = true;
    set_pages(0);
    set_trouble('');
    place.current!.replaceChildren();
    const engrave = async () => {
      const { engrave_pages } = await import('./page_engraving');
      await new Promise((painted) => requestAnimationFrame(() => setTimeout(painted)));  // the sentence is seen before the work begins
      if (!wanted) return;
      const made = await engrave_pages({ musicxml: text_of(file), part, paper, staff_mm });
      if (!wanted) return;
      place.current!.replaceChildren(...made);
      set_pages(made.length);
    };
    engrave().catch((error: unknown) => { if (wanted) set_trouble(`${file.name} could not be engraved: ${error instanceof Error ? error.message : String(error)}`); });
    return () => { wanted = false; };
  }, [file, part, paper, staff_mm]);
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
        <span class="soft" role="status">{pages > 0 ? plural(pages, 'page') : trouble ? '' : 'Engraving …'}</span>
      </div>
      {trouble && <p class="trouble" role="alert">{trouble}</p>}
      <div class={`sheet-pages paper-${paper}`} ref={place} role="group" aria-label={both} />
    </div>
  );
}

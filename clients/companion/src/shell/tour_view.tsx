// The tour: four small pictures of what Undersong does, with a sentence each. It lies beside what is there and locks nothing.
import { useEffect, useRef, useState } from 'preact/hooks';
import { Afterwards, Kept, OtherChords, Played } from './tour_pictures';
import './tour.css';

const stations = [
  { title: 'Play', picture: Played, says: 'The chord you play and the melody note you hold are named, large enough to read from the keyboard.' },
  { title: 'Try another chord', picture: OtherChords, says: 'Five other chords that fit under the same note, best first. Choose one with the arrows; Enter plays it, softly.' },
  { title: 'Nothing is lost', picture: Kept, says: 'Everything you play is kept under Takes. Mark a good moment with M or a pedal, and find it again by playing a few notes of it.' },
  { title: 'Make a song of it', picture: Afterwards, says: 'From a take, Song shows the chords you circled, other chords for them, a song made of blocks, and pages to print for other musicians.' },
] as const;

export function Tour({ close }: { close: () => void }) {
  const [at, set_at] = useState(0);
  const title = useRef<HTMLHeadingElement>(null);
  const moved = useRef(false);
  useEffect(() => { if (moved.current) title.current!.focus(); }, [at]);
  const go = (to: number) => {
    moved.current = true;
    set_at(to);
  };
  const keys = (event: KeyboardEvent) => {
    if (event.key === 'Escape') close();
    else if (event.key === 'ArrowRight' && at + 1 < stations.length) go(at + 1);
    else if (event.key === 'ArrowLeft' && at > 0) go(at - 1);
    else return;
    event.preventDefault();
    event.stopPropagation();
  };
  const { title: name, picture: Picture, says } = stations[at]!;
  const last = at + 1 === stations.length;
  return (
    <section class="tour" role="dialog" aria-label="What Undersong does" onKeyDown={keys}>
      <div class="tour-picture"><Picture /></div>
      <h2 tabIndex={-1} ref={title}>{name}</h2>
      <p>{says}</p>
      <div class="tour-line">
        <span class="soft" aria-label={`Picture ${at + 1} of ${stations.length}`}>{at + 1} of {stations.length}</span>
        <span class="spring" />
        {at > 0 && <button type="button" class="quiet" onClick={() => go(at - 1)}>Back</button>}
        {!last && <button type="button" class="quiet" onClick={close}>Close</button>}
        <button type="button" class="quiet strong" onClick={() => (last ? close() : go(at + 1))}>{last ? 'Done' : 'Next'}</button>
      </div>
    </section>
  );
}

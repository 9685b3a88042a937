// Where old recordings are brought: files are dropped anywhere on the page, or chosen on the screen of takes.
import { signal } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import { clock, plural } from '../music/text';
import { live, say } from '../state';
import { bring, bringing, chosen_files, dropped_files, is_bringing, stop_bringing, type Bringing, type Dropped } from './bring';

const over = signal(false);

function begin(files: Dropped[]): void {
  if (is_bringing.peek()) return say('Files are being brought already; drop these when that is done.');
  if (files.length === 0) return say('There is no MIDI file in that.');
  location.hash = '#takes';
  void bring(files);
}

/** Takes files that are dropped on any screen. */
export function DropPlace() {
  useEffect(() => {
    const carries_files = (event: DragEvent) => event.dataTransfer?.types.includes('Files') ?? false;
    let leaves = 0;
    // The browser tells of entering each element before it tells of leaving the last one; it tells of moving all the time.
    const moves = (event: DragEvent) => {
      if (!carries_files(event)) return;
      event.preventDefault();
      over.value = true;
      clearTimeout(leaves);
      leaves = window.setTimeout(() => (over.value = false), 400);
    };
    const drops = (event: DragEvent) => {
      if (!carries_files(event)) return;
      event.preventDefault();
      clearTimeout(leaves);
      over.value = false;
      if (!live.peek()) return say('Undersong is not connected just now; drop them when it is.');
      void dropped_files(event.dataTransfer!).then(begin);
    };
    addEventListener('dragover', moves);
    addEventListener('drop', drops);
    return () => {
      removeEventListener('dragover', moves);
      removeEventListener('drop', drops);
    };
  }, []);
  return over.value ? <div class="drop-here"><p>Let go: each MIDI file becomes a take.</p></div> : null;
}

/** How far it is, and what came of it. */
export function BringingNow() {
  const now = bringing.value;
  return now && (now.end === '' ? <UnderWay now={now} /> : <Done now={now} />);
}

export function Bring() {
  const folder = useRef<HTMLInputElement>(null);
  useEffect(() => folder.current?.setAttribute('webkitdirectory', ''), []);
  const choose = (input: HTMLInputElement) => {
    if (input.files) begin(chosen_files(input.files));
    input.value = '';
  };
  const not_now = is_bringing.value || !live.value;
  return (
    <details class="search bring">
      <summary>Bring old recordings</summary>
      <p class="soft">Drop MIDI files or whole folders on this page, or choose them here. Each becomes a take, with the date in its name, or that of
        the file. What is there already is recognised by its notes.</p>
      <p class="choose">
        <label class="act">Choose files<input type="file" accept=".mid,.midi,.smf" multiple disabled={not_now} onChange={(event) => choose(event.currentTarget)} /></label>
        <label class="act">Choose a folder<input type="file" ref={folder} disabled={not_now} onChange={(event) => choose(event.currentTarget)} /></label>
      </p>
    </details>
  );
}

function UnderWay({ now }: { now: Bringing }) {
  const took = Date.now() - now.began_ms;
  const left = now.done > 0 ? `, ${clock((took / now.done) * (now.all - now.done) * 1000)} left` : '';
  return (
    <section class="bringing" aria-label="Bringing files">
      <p><progress aria-label="Files brought" value={now.done} max={now.all} /> <span>{now.done} of {plural(now.all, 'file')}{live.value ? left : ', waiting for the connection'}</span>{' '}
        <button type="button" class="quiet" onClick={stop_bringing}>Stop</button></p>
    </section>
  );
}

function Done({ now }: { now: Bringing }) {
  const unread = now.refused.length;
  return (
    <section class="bringing" aria-label="Files brought">
      <p role="status">{now.end === 'stopped' && `Stopped after ${now.done} of ${now.all} files; drop them again to go on from there. `}
        {plural(now.brought, 'take')} brought, {now.known} known already{unread > 0 ? `, ${plural(unread, 'file')} not readable as a take:` : '.'}{' '}
        <button type="button" class="quiet" onClick={() => (bringing.value = null)}>Close</button></p>
      {unread > 0 && <ul class="refused">{now.refused.map((sentence) => <li key={sentence}>{sentence}</li>)}</ul>}
    </section>
  );
}

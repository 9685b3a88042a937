// The dialogue that lists the keys of the computer; "?" opens it on every page.
import { useEffect, useRef } from 'preact/hooks';
import { signal } from '@preact/signals';
import { show_tour } from './tour';

const wanted = signal(false);
export const open_help = () => (wanted.value = true);

const keys: [string[], string][] = [
  [['↑', '↓'], 'choose a suggestion'],
  [['1', 'to', '5'], 'choose that suggestion'],
  [['Esc'], 'choose none: the first of the list'],
  [['Enter'], 'hear it'],
  [['Space'], 'hold the list still, or let it go on'],
  [['M'], 'mark this moment (also Shift Enter)'],
  [['S'], 'to the study and back to the glance'],
  [['?'], 'this list'],
];

export function Shortcuts() {
  return (
    <dl class="shortcuts">
      {keys.map(([names, what]) => (
        <div key={what}><dt>{names.map((name) => (name === 'to' ? ' to ' : <kbd key={name}>{name}</kbd>))}</dt><dd>{what}</dd></div>
      ))}
    </dl>
  );
}

export function Help() {
  const dialogue = useRef<HTMLDialogElement>(null);
  useEffect(() => {
    const on_key = (event: KeyboardEvent) => {
      const target = event.target as HTMLElement;
      if (event.key !== '?' || event.ctrlKey || event.metaKey || event.altKey || target.matches('input:not([type=range], [type=checkbox], [type=radio]), textarea')) return;
      event.preventDefault();
      open_help();
    };
    addEventListener('keydown', on_key);
    return () => removeEventListener('keydown', on_key);
  }, []);
  useEffect(() => {
    if (wanted.value && !dialogue.current!.open) dialogue.current!.showModal();
  }, [wanted.value]);
  return (
    <dialog ref={dialogue} class="help" aria-labelledby="help-title" onClose={() => (wanted.value = false)}>
      {wanted.value && (
        <>
          <h2 id="help-title">Keys of the computer</h2>
          <Shortcuts />
          <p class="soft">With <b>Keys on the screen</b> open, two rows of letters and figures play notes instead; arrows, Enter, Space and
            Shift Enter go on giving orders. In a take, ← and → move by a second, with Shift by ten; + and − zoom; Space plays. Among moments worth
            hearing again, ↑ and ↓ choose, Space plays, K keeps, D dismisses.</p>
          <h2>Signs on a card</h2>
          <ul class="soft signs">
            <li>The bead on the lower edge: the further right, the brighter. The bead on the left edge: the higher, the tenser.</li>
            <li>Two arrows: where your left and your right hand go on the keys. A dot is a hand that stays.</li>
            <li>A tick: you have played it under this note.</li>
          </ul>
          <form method="dialog" class="line"><button type="submit" class="act" autofocus>Close</button> <button type="submit" class="act" onClick={show_tour}>Show the tour</button></form>
        </>
      )}
    </dialog>
  );
}

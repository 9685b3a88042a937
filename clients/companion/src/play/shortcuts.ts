// Keys of the computer that give orders on the playing screen. They are listed in shell/help.tsx.
import { local } from '../local';
import { choose, choose_next, listed } from '../state';
import { mark, toggle_still } from './actions';
import { hear_chosen } from './hear';

/** True where keys have a meaning of their own: in fields, and Enter and Space also on what they press. */
function taken(target: HTMLElement, key: string): boolean {
  // A button of a dialogue that has just closed still has the focus until the page is next drawn.
  const layer = target.closest('dialog, [popover]');
  if (layer) return layer.matches('[open], :popover-open');
  if (target.isContentEditable || target.matches('input, textarea, select')) return true;
  return (key === 'Enter' || key === ' ') && target.matches('button, a, summary, [role=slider]');
}

export function shortcuts(event: KeyboardEvent): void {
  if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return;
  if (taken(event.target as HTMLElement, event.key)) return;
  const letters_free = !local.keys_open.peek();  // otherwise they play notes
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (key === 'Enter') event.shiftKey ? mark() : void hear_chosen();
  else if (key === ' ') toggle_still();
  else if (key === 'ArrowDown' || key === 'ArrowRight') choose_next(1);
  else if (key === 'ArrowUp' || key === 'ArrowLeft') choose_next(-1);
  else if (key === 'Escape') choose(null);
  else if (letters_free && key === 'm') mark();
  else if (letters_free && key === 's') local.study.value = !local.study.peek();
  else if (letters_free && /^[1-9]$/.test(key)) {
    const at = listed.peek()[Number(key) - 1];
    if (at) choose(at);
  } else return;
  event.preventDefault();
}

/** After a button was pressed with the pointer, the keys give orders again, and not to the button. */
export function to_the_page(event: MouseEvent): void {
  const pressed = document.activeElement as HTMLElement | null;
  if (event.detail > 0 && pressed?.matches('button, a') && !pressed.closest('[popover], dialog')) pressed.blur();
}

// The playing screen.
import { useEffect } from 'preact/hooks';
import { local, type View } from '../local';
import { choose_next } from '../state';
import { Actions, mark, toggle_still } from './actions';
import { hear_chosen } from './hear';
import { Keys } from './keys';
import { List } from './list';
import { Now } from './now';
import { Plane } from './plane';
import { Voicing } from './voicing';

const views: [View, string][] = [['plane', 'Plane'], ['list', 'List'], ['voicing', 'Voicing']];

function shortcuts(event: KeyboardEvent): void {
  if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return;
  const target = event.target as HTMLElement;
  const free = target === document.body || target.matches('[role=listbox], main');
  if (!free) return;
  if (event.key === 'Enter') event.shiftKey ? mark() : void hear_chosen();
  else if (event.key === ' ') toggle_still();
  else if (event.key === 'ArrowDown') choose_next(1);
  else if (event.key === 'ArrowUp') choose_next(-1);
  else return;
  event.preventDefault();
}

export function Play() {
  useEffect(() => {
    addEventListener('keydown', shortcuts);
    return () => removeEventListener('keydown', shortcuts);
  }, []);
  const view = local.view.value;
  return (
    <div class={`play view-${view}${local.keys_open.value ? ' with-keys' : ''}`}>
      <h1 class="visually-hidden">Playing</h1>
      <Now />
      <div class="views" role="group" aria-label="What is shown below">
        {views.map(([name, label]) => (
          <button type="button" key={name} aria-pressed={view === name} onClick={() => (local.view.value = name)}>{label}</button>
        ))}
      </div>
      <Plane />
      <List />
      <Voicing />
      {local.keys_open.value && <Keys />}
      <Actions />
    </div>
  );
}

// Study: the plane, the whole list with its reasons, and how the chosen chord lies under the hands. One at a time in a small window.
import { local, type View } from '../local';
import { Actions } from './actions';
import { Chrome } from './chrome';
import { List } from './list';
import { Now } from './now';
import { Plane } from './plane';
import { Voicing } from './voicing';

const views: [View, string][] = [['plane', 'Plane'], ['list', 'List'], ['voicing', 'Voicing']];

export function Study() {
  const view = local.view.value;
  return (
    <div class={`study view-${view}`}>
      <div class="study-head">
        <div class="chrome"><Chrome /></div>
        <Now />
      </div>
      <div class="views" role="group" aria-label="What is shown below">
        {views.map(([name, label]) => (
          <button type="button" key={name} aria-pressed={view === name} onClick={() => (local.view.value = name)}>{label}</button>
        ))}
      </div>
      <Plane />
      <List />
      <Voicing />
      <Actions />
    </div>
  );
}

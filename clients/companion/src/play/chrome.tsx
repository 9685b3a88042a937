// What is beside the music: two buttons, and a menu that lies over the page.
import { local } from '../local';
import { open_help } from '../shell/help';
import { open_small_view, small_view_offered } from '../shell/small_view';
import { line, StatusLine } from '../shell/status_line';
import { volume } from '../sound/tone';
import { complain } from '../state';
import { beat_popover, beat_words } from './beat';
import { through } from './hear';

const menu_popover = 'play-menu';
const icon = { viewBox: '0 0 24 24', class: 'icon', 'aria-hidden': true } as const;

export function Chrome() {
  return (
    <>
      <button type="button" class="sign" popovertarget={menu_popover} aria-label="Menu" title="Menu">
        <svg {...icon}><path d="M5 7 H19 M5 12 H19 M5 17 H13" /></svg>
      </button>
      <StudyButton />
      <StatusLine />
    </>
  );
}

export function StudyButton() {
  const study = local.study.value;
  return (
    <button type="button" class="sign" aria-pressed={study} aria-label="Study" title={study ? 'Back to the glance' : 'Study: the plane, the whole list, how it lies under the hands'}
            onClick={() => (local.study.value = !study)}>
      <svg {...icon}>{study ? <path d="M5 12 H19 M11 6 L5 12 L11 18" /> : <path d="M4 20 V4 M4 20 H20 M9 14 h0.01 M14 9 h0.01 M17 15 h0.01" class="points" />}</svg>
    </button>
  );
}

export function Menu() {
  const close = (event: MouseEvent) => (event.currentTarget as HTMLElement).closest<HTMLElement>('[popover]')!.hidePopover();
  const by_page = through.value === 'page';
  return (
    <div id={menu_popover} popover="auto" class="sheet menu" role="group" aria-label="Menu">
      <p class={`menu-status${line.value.bad ? ' bad' : ''}`}>{line.value.text}</p>
      <nav aria-label="Pages in the menu">
        <a href="#takes" class="quiet">Takes</a>
        <a href="#settings" class="quiet">Settings</a>
      </nav>
      <button type="button" class="quiet" onClick={(event) => { close(event); document.getElementById(beat_popover)!.showPopover(); }}>Beat: {beat_words()}</button>
      <button type="button" class="quiet" aria-pressed={local.keys_open.value} onClick={(event) => { local.keys_open.value = !local.keys_open.peek(); close(event); }}>Keys on the screen</button>
      {small_view_offered && <button type="button" class="quiet" onClick={(event) => { close(event); open_small_view().catch(complain); }}>On top of other windows</button>}
      <button type="button" class="quiet" onClick={(event) => { close(event); open_help(); }}>Keys of the computer <kbd>?</kbd></button>
      <label class="volume" title={by_page ? 'Suggestions sound in this page. Begin low: it may be louder than you expect.' : 'Suggestions sound on the MIDI output; this is for what sounds in the page.'}>
        <span>{by_page ? 'Volume' : 'Volume of the page (suggestions sound on MIDI)'}</span>
        <input type="range" min="0" max="1" step="0.05" value={volume.value} onInput={(event) => (volume.value = Number(event.currentTarget.value))}
               aria-label="Volume of the page" aria-valuetext={`${Math.round(volume.value * 100)} percent`} />
      </label>
    </div>
  );
}

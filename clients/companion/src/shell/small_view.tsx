// A small window that stays on top, where the browser offers one: the glance, with its buttons.
import { render } from 'preact';
import { Glance } from '../play/glance';
import { to_the_page, shortcuts } from '../play/shortcuts';
import { live } from '../state';

interface PictureInPicture {
  requestWindow(options: { width: number; height: number }): Promise<Window>;
}
const offered = (globalThis as unknown as { documentPictureInPicture?: PictureInPicture }).documentPictureInPicture;
export const small_view_offered = offered !== undefined;

export async function open_small_view(): Promise<void> {
  const small = await offered!.requestWindow({ width: 400, height: 340 });
  const { document: page } = small;
  page.title = 'Undersong';
  page.documentElement.lang = 'en';
  page.documentElement.dataset.theme = document.documentElement.dataset.theme ?? 'auto';
  for (const sheet of document.querySelectorAll<HTMLLinkElement>('link[rel=stylesheet]')) {
    const copy = page.createElement('link');
    copy.rel = 'stylesheet';
    copy.href = sheet.href;
    page.head.append(copy);
  }
  page.body.className = 'small-view';
  render(<SmallView />, page.body);
  small.addEventListener('keydown', shortcuts);
  small.addEventListener('pagehide', () => render(null, page.body));
}

function SmallView() {
  return <main class={`play${live.value ? '' : ' lost'}`} onClick={to_the_page}><h1 class="visually-hidden">Playing</h1><Glance /></main>;
}

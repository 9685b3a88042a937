// A small window that stays on top, where the browser offers one: the chord, the melody, the best suggestions.
import { render } from 'preact';
import { pretty } from '../music/text';
import { best_of_roots, complain, shown_list } from '../state';
import { Now } from '../play/now';
import { ChordSymbol } from './chord_symbol';

interface PictureInPicture {
  requestWindow(options: { width: number; height: number }): Promise<Window>;
}
const offered = (globalThis as unknown as { documentPictureInPicture?: PictureInPicture }).documentPictureInPicture;

async function open(): Promise<void> {
  const small = await offered!.requestWindow({ width: 360, height: 260 });
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
  small.addEventListener('pagehide', () => render(null, page.body));
}

function SmallView() {
  return (
    <main>
      <Now />
      <ul class="small-list" aria-label="Best suggestions">
        {shown_list.value && best_of_roots.value.slice(0, 5).map((each) => (
          <li key={each.root}><ChordSymbol chord={each} /> <span class="soft">{each.degrees.map(pretty).join(' ')}</span></li>
        ))}
      </ul>
    </main>
  );
}

export function SmallViewButton() {
  if (!offered) return null;
  return <button type="button" class="quiet" onClick={() => open().catch(complain)} title="A small window that stays on top of all others">On top</button>;
}

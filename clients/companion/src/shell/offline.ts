// Keeps the files of this page in the browser, so that the installed page opens while Undersong does not run, and goes on by
// itself when it does. The service worker does it (service_worker.mjs); browsers allow one only over https or on this machine.
import { effect } from '@preact/signals';
import { daemon, held, say } from '../state';
import { route } from './route';

/** Whether this browser lets a page stay, and keeps the screen on for one. */
export const secure = isSecureContext;

export function keep_page(): void {
  if (!secure || !('serviceWorker' in navigator)) return;
  const worker = navigator.serviceWorker;
  let controlled = worker.controller !== null;
  worker.addEventListener('controllerchange', () => {
    if (controlled) newer_page();
    controlled = true;
  });
  const begin = async () => {
    const registration = await worker.register('./service_worker.js');
    // A daemon that comes back may have brought another build of the page.
    effect(() => {
      if (daemon.reconnected.value > 0) void registration.update().catch(() => undefined);
    });
  };
  // Not while the page draws for the first time. Without a worker the page works as before.
  const later = () => void begin().catch(() => undefined);
  if (document.readyState === 'complete') later();
  else addEventListener('load', later);
}

// Another build has taken over. Nothing that the player does is interrupted for it.
function newer_page(): void {
  const load = () => location.reload();
  if (route.peek().page === 'play' && held.peek().length === 0) load();
  else say('There is a newer build of this page.', { label: 'Load it', run: load });
}

// Keeps the screen on while somebody plays: a tablet on the music desk must not go dark under busy hands.
import { effect } from '@preact/signals';
import { held, live } from '../state';

const idle_ms = 10 * 60 * 1000;  // after so long without a key the screen may go dark again

/** Returns a function that ends it. Where the browser has no such thing, nothing happens. */
export function keep_awake(): () => void {
  if (!('wakeLock' in navigator)) return () => undefined;
  let lock: WakeLockSentinel | null = null;
  let asking = false, timer = 0, wanted = false;
  const release = () => {
    wanted = false;
    void lock?.release().catch(() => undefined);
    lock = null;
  };
  const ask = async () => {
    if (!wanted || lock || asking || document.visibilityState !== 'visible') return;
    asking = true;
    try {
      lock = await navigator.wakeLock.request('screen');
      lock.addEventListener('release', () => (lock = null));  // the browser takes it back while the page is hidden
      if (!wanted) release();
    } catch {
      // The battery is low, or the player forbids it: the screen goes dark as it always did.
    }
    asking = false;
  };
  const stop = effect(() => {
    if (!live.value || held.value.length === 0) return;
    clearTimeout(timer);
    timer = window.setTimeout(release, idle_ms);
    wanted = true;
    void ask();
  });
  const seen = () => void ask();
  document.addEventListener('visibilitychange', seen);
  return () => {
    stop();
    clearTimeout(timer);
    document.removeEventListener('visibilitychange', seen);
    release();
  };
}

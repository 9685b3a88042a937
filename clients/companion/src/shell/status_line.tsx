// The status in one line: is the daemon connected, is there a keyboard, are takes being saved.
import { computed } from '@preact/signals';
import { daemon, status } from '../state';

interface Line {
  mark: string;  // a shape, so that it can be read without colour
  text: string;
  bad: boolean;
}

export const line = computed<Line>(() => {
  switch (daemon.link.value) {
    case 'connecting': return { mark: '○', text: 'Connecting …', bad: false };
    case 'lost': return { mark: '✕', text: 'Not connected. Trying again by itself.', bad: true };
    case 'token': return { mark: '○', text: 'Undersong asks for its token.', bad: true };
  }
  const now = status.value;
  if (!now) return { mark: '○', text: 'Connected …', bad: false };
  if (!now.store.good) return { mark: '!', text: now.store.sentence, bad: true };
  if (now.store.damage) return { mark: '!', text: now.store.damage, bad: true };
  const ports = now.ports.filter((port) => port.connected && !port.own).map((port) => port.name);
  const keyboard = ports.length === 0 ? 'no keyboard yet' : ports.join(', ');
  const take = now.take ? ` · recording take${now.take.take === undefined ? '' : ` ${now.take.take}`}` : '';
  if (now.lost_events > 0) {
    return { mark: '!', text: `Connected · ${keyboard}${take} · ${now.lost_events} MIDI messages were lost: they came too fast`, bad: true };
  }
  return { mark: ports.length === 0 ? '○' : '●', text: `Connected · ${keyboard}${take}`, bad: false };
});

export function StatusLine() {
  const { mark, text, bad } = line.value;
  const { first, next, missed } = daemon.log.value;
  return (
    <p class={`status-line${bad ? ' bad' : ''}`} role="status" data-link={daemon.link.value} data-log-first={first}
       data-log-next={next} data-log-missed={missed} data-reconnected={daemon.reconnected.value} title={text}>
      <span aria-hidden="true" class="status-mark">{mark}</span>
      <span class="status-text">{text}</span>
    </p>
  );
}

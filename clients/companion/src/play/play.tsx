// The playing screen: the glance, or one step away what is there to study.
import { useEffect } from 'preact/hooks';
import { local } from '../local';
import { keep_awake } from './awake';
import { BeatPopover } from './beat';
import { Chrome, Menu } from './chrome';
import { Glance } from './glance';
import { Keys } from './keys';
import { Announcer } from './announcer';
import { shortcuts, to_the_page } from './shortcuts';
import { LazyStudy } from './lazy_study';
import { live } from '../state';

export function Play() {
  useEffect(() => {
    addEventListener('keydown', shortcuts);
    const sleep_again = keep_awake();
    return () => {
      removeEventListener('keydown', shortcuts);
      sleep_again();
    };
  }, []);
  return (
    <div class={`play${live.value ? '' : ' lost'}`} onClick={to_the_page}>
      <h1 class="visually-hidden">Playing</h1>
      {local.study.value ? <LazyStudy /> : <Glance><Chrome /></Glance>}
      {local.keys_open.value && <Keys />}
      <BeatPopover />
      <Menu />
      <Announcer />
    </div>
  );
}

import { render } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { local } from './local';
import { Play } from './play/play';
import { Help } from './shell/help';
import { SettingsPage } from './shell/settings';
import { NoticeBar } from './shell/notice';
import { keep_page } from './shell/offline';
import { route, route_title } from './shell/route';
import { StatusLine } from './shell/status_line';
import { TokenForm } from './shell/token_form';
import { TourWhenWanted } from './shell/tour';
import { LazySong } from './song/lazy';
import { daemon } from './state';
import { DropPlace } from './takes/bring_view';
import { DigestPage } from './takes/digest_page';
import { TakeList } from './takes/take_list';
import { TakePage } from './takes/take_page';

function App() {
  const here = route.value;
  const main = useRef<HTMLElement>(null);
  const title = route_title(here);
  const first = useRef(true);
  // After a change of page, reading goes on at its beginning.
  useEffect(() => {
    document.title = `${title} · Undersong`;
    if (!first.current) main.current!.focus({ preventScroll: true });
    first.current = false;
  }, [title]);
  const tab = (page: string, label: string, current: boolean) => (
    <a href={`#${page}`} aria-current={current ? 'page' : undefined}>{label}</a>
  );
  const playing = here.page === 'play' && daemon.link.value !== 'token';
  return (
    <>
      <header class={`top${playing ? local.study.value ? ' over-study' : ' over-glance' : ''}`}>
        <nav aria-label="Pages">
          {tab('play', 'Play', here.page === 'play')}
          {tab('takes', 'Takes', here.page === 'takes' || here.page === 'digest' || here.page === 'take' || here.page === 'song')}
          {tab('settings', 'Settings', here.page === 'settings')}
        </nav>
        {!playing && <StatusLine />}
      </header>
      <main tabIndex={-1} ref={main} aria-label={title}>
        {daemon.link.value === 'token' ? <TokenForm />
          : here.page === 'play' ? <Play />
          : here.page === 'takes' ? <TakeList />
          : here.page === 'digest' ? <DigestPage />
          : here.page === 'take' ? <TakePage key={here.take} take={here.take} at={here.at} />
          : here.page === 'song' ? <LazySong take={here.take} />
          : <SettingsPage />}
      </main>
      <NoticeBar />
      <DropPlace />
      {daemon.link.value !== 'token' && <TourWhenWanted />}
      <Help />
    </>
  );
}

daemon.start();
render(<App />, document.getElementById('app')!);
keep_page();

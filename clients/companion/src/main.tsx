import { render } from 'preact';
import { useState } from 'preact/hooks';
import { Play } from './play/play';
import { SettingsPage } from './shell/settings';
import { NoticeBar } from './shell/notice';
import { route } from './shell/route';
import { SmallViewButton } from './shell/small_view';
import { StatusLine } from './shell/status_line';
import { LazySong } from './song/lazy';
import { complain, daemon } from './state';
import { TakeList } from './takes/take_list';
import { TakePage } from './takes/take_page';

function App() {
  const here = route.value;
  const tab = (page: string, label: string, current: boolean) => (
    <a href={`#${page}`} aria-current={current ? 'page' : undefined}>{label}</a>
  );
  return (
    <>
      <header class="top">
        <nav aria-label="Pages">
          {tab('play', 'Play', here.page === 'play')}
          {tab('takes', 'Takes', here.page === 'takes' || here.page === 'take' || here.page === 'song')}
          {tab('settings', 'Settings', here.page === 'settings')}
        </nav>
        <StatusLine />
        <SmallViewButton />
      </header>
      <main tabIndex={-1}>
        {daemon.link.value === 'token' ? <TokenForm />
          : here.page === 'play' ? <Play />
          : here.page === 'takes' ? <TakeList />
          : here.page === 'take' ? <TakePage key={here.take} take={here.take} />
          : here.page === 'song' ? <LazySong take={here.take} />
          : <SettingsPage />}
      </main>
      <NoticeBar />
    </>
  );
}

function TokenForm() {
  const [token, set] = useState('');
  return (
    <form class="page" onSubmit={(event) => { event.preventDefault(); daemon.give_token(token).catch(complain); }}>
      <h1>Token</h1>
      <label class="line">The token of the daemon’s configuration
        <input type="password" autocomplete="off" value={token} onInput={(event) => set(event.currentTarget.value)} />
      </label>
      <button type="submit" class="act">Connect</button>
    </form>
  );
}

daemon.start();
render(<App />, document.getElementById('app')!);

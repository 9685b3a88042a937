// What a device sees that has no token, or one that is no longer accepted.
import { useState } from 'preact/hooks';
import { complain, daemon } from '../state';

export function TokenForm() {
  const [token, set] = useState('');
  return (
    <form class="page" onSubmit={(event) => { event.preventDefault(); daemon.give_token(token.trim()).catch(complain); }}>
      <h1>{daemon.token_refused.value ? 'This device is not paired any more' : 'This device is not paired yet'}</h1>
      <p>At the machine that runs Undersong, open <b>Settings</b> in its page, or say <b>undersong pair</b> in a terminal, and read
        the code that is shown there with the camera of this device.</p>
      <label class="line">Without a camera, type the token under the code, or that of the configuration
        <input type="password" autocomplete="off" value={token} onInput={(event) => set(event.currentTarget.value)} />
      </label>
      <button type="submit" class="act">Connect</button>
    </form>
  );
}

// The token of this device. A code brings it behind the # of the address, which browsers never send anywhere. It is kept in this
// browser and taken out of the address at once, so that it stays in no bookmark and no history.
const key = 'undersong.token';

/** Empty if there is none. */
export function kept_token(): string {
  try {
    return localStorage.getItem(key) ?? '';
  } catch {
    return '';
  }
}

export function keep_token(token: string): void {
  try {
    if (token) localStorage.setItem(key, token);
    else localStorage.removeItem(key);
  } catch {
    // Without storage the token lasts for this visit only.
  }
}

/** The token in the address, which is taken out of it; empty if there is none. */
export function token_in_address(): string {
  const found = /^#pair=([\w-]+)$/.exec(location.hash);
  if (!found) return '';
  history.replaceState(null, '', `${location.pathname}${location.search}#play`);
  return found[1]!;
}

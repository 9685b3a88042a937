// The section "Tablets and phones" of the settings. At the machine that runs Undersong: their port, a code for a new one, and
// which are paired. On a paired device: what its browser does not allow, and why.
import { signal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import type { DeviceList, PairedDevice, PairingCode } from '../protocol';
import { ask, complain, daemon, live } from '../state';
import { secure } from './offline';
import { QrCode } from './qr_code';

const look_again_ms = 2000;  // while the section is open: a device may come, or use its code

const list = signal<DeviceList | null>(null);
const code = signal<PairingCode | null>(null);
const name = signal('');

const moment_of = (utc_ms: number) => new Date(utc_ms).toLocaleString(undefined, { day: 'numeric', month: 'long', hour: '2-digit', minute: '2-digit' });

function took(now: DeviceList): void {
  list.value = now;
  // A code that was used, or whose device was revoked, is of no use any more.
  const device = code.peek() && now.devices.find((each) => each.device === code.peek()!.device.device);
  if (code.peek() && (!device || device.seen_utc_ms !== null)) code.value = null;
}
const fetch_list = async () => took(await ask('device.list', {}));
const open_port = async (on: boolean) => took(await ask('device.open', { on }));
const revoke = async (device: number) => took(await ask('device.revoke', { device }));

async function pair(): Promise<void> {
  code.value = await ask('device.pair', name.value.trim() ? { name: name.value.trim() } : {});
  name.value = '';
  await fetch_list();
}

export function Devices() {
  const local = daemon.welcome.value?.may_pair === true;
  const here = live.value && local;
  useEffect(() => {
    if (!here) return;
    fetch_list().catch(complain);
    const timer = setInterval(() => void fetch_list().catch(() => undefined), look_again_ms);
    return () => clearInterval(timer);
  }, [here]);
  if (!local) return secure ? null : <OnThisDevice />;
  const now = list.value;
  return (
    <fieldset class="devices">
      <legend>Tablets and phones</legend>
      <label class="choice">
        <input type="checkbox" name="devices_open" checked={now?.open ?? false} disabled={!now}
               onChange={(event) => open_port(event.currentTarget.checked).catch((error) => { complain(error); void fetch_list().catch(() => undefined); })} />
        <span>Let paired devices connect over the network</span>
      </label>
      {now?.trouble && <p class="caution">{now.trouble}</p>}
      {now && now.addresses.length > 0 ? (
        <>
          <p class="soft">They find this page at {now.addresses.join(' or ')}.</p>
          <form class="line" onSubmit={(event) => { event.preventDefault(); pair().catch(complain); }}>
            <label class="line">A new device, named
              <input type="text" name="device_name" maxLength={60} autocomplete="off" placeholder="music desk" value={name.value}
                     onInput={(event) => (name.value = event.currentTarget.value)} />
            </label>
            <button type="submit" name="pair">Show its code</button>
          </form>
        </>
      ) : <p class="soft">Now only this machine can reach Undersong.</p>}
      {code.value && <Code of={code.value} />}
      {now && now.devices.length > 0 && (
        <ul aria-label="Paired devices">{now.devices.map((each) => <Row key={each.device} of={each} />)}</ul>
      )}
    </fieldset>
  );
}

function Code({ of: { device, address, addresses, token, rows, fingerprint, until_utc_ms } }: { of: PairingCode }) {
  return (
    <div role="group" aria-label={`Code for ${device.name}`} class="pairing">
      <QrCode rows={rows} name={`QR code with the address and the token for ${device.name}`} />
      <div>
        <p>Read it with the camera of <b>{device.name}</b>, which must be in the same network. It is good until {moment_of(until_utc_ms)}.
          Whoever reads it can follow what you play.</p>
        <p class="soft">Without a camera: open {addresses.join(' or ')} there and type the token <code>{token}</code></p>
        {fingerprint !== null ? (
          <p class="caution">The browser there will warn, because only this machine vouches for its certificate. Compare the SHA-256 fingerprint
            that it shows before you go on: <code>{fingerprint}</code></p>
        ) : address.startsWith('http:') && (
          <p class="soft">Without https others in your network can read along, the screen there may go dark while you play, and the page opens
            only while Undersong runs. <b>tls = true</b> in the configuration changes that.</p>
        )}
        <button type="button" name="hide_code" onClick={() => (code.value = null)}>Hide the code</button>
      </div>
    </div>
  );
}

function Row({ of: { device, name: called, made_utc_ms, seen_utc_ms, connected } }: { of: PairedDevice }) {
  return (
    <li>
      <span><b>{called}</b> <span class="soft">paired {moment_of(made_utc_ms)}, {connected ? 'connected now' : seen_utc_ms === null
        ? 'code not used yet' : `seen last ${moment_of(seen_utc_ms)}`}</span></span>
      <button type="button" aria-label={`Revoke ${called}`} onClick={() => revoke(device).catch(complain)}>Revoke</button>
    </li>
  );
}

function OnThisDevice() {
  return (
    <fieldset>
      <legend>This device</legend>
      <p class="soft">This page came without https. Browsers then do not let it keep the screen on while you play, nor keep it for when
        Undersong is not running. <b>tls = true</b> in Undersong’s configuration changes both.</p>
    </fieldset>
  );
}

const version = "043934ef6bc7387f";
const files = ["./assets/105-CFR6Bc5c.mp3","./assets/21-wfESSqk0.mp3","./assets/27-CCO8gNDB.mp3","./assets/33-CUD-tkiJ.mp3","./assets/39-3rqxClT0.mp3","./assets/45-BN8gTldD.mp3","./assets/51-GzeAKXHT.mp3","./assets/57-BonDGPAQ.mp3","./assets/63-Cv0ARh5i.mp3","./assets/69-DwNJ7fBm.mp3","./assets/75-DQFjCnRH.mp3","./assets/81-MFSlDWqQ.mp3","./assets/87-sC-FWLK1.mp3","./assets/93-DvYnPeyT.mp3","./assets/99-DQXTKi2m.mp3","./assets/bravura-CBWYXOFh.woff2","./assets/browser-CGOS5igi.js","./assets/engraving-B9gBSBDz.js","./assets/index-DOT7-tXr.js","./assets/index-chIMRnGm.css","./assets/sketch_state-DIz2RXYB.js","./assets/song_page-BzRE2Fa-.js","./assets/song_page-CJcW0ktn.css","./assets/study-CbFotMLY.js","./assets/symbols-bold-CfvmH7SW.woff2","./assets/symbols-roman-EK4z4l_Z.woff2","./assets/text-DnmfeIDu.woff2","./assets/tour_view-49K_ZOJ2.css","./assets/tour_view-Ch_Zwug0.js","./icon-192.png","./icon-512.png","./icon.svg","./","./undersong.webmanifest"];
// The service worker: keeps the files of one build of the page, so that the page opens while the daemon does not run.
// keep_page.mjs writes `version` and `files` above this text and puts it beside the page.
//
// The page itself comes from the daemon whenever that answers, so nobody is stuck on an old build; what was kept stands in
// only when it does not. The other files of a build have the hash of their content in their names and come from what was kept.
/* global version, files */
const ours = 'undersong-';
const cache_name = `${ours}${version}`;
const patience_ms = 2500;  // a machine that is switched off does not even refuse

self.addEventListener('install', (event) => {
  event.waitUntil((async () => {
    const cache = await caches.open(cache_name);
    await cache.addAll(files.map((file) => new Request(file, { cache: 'no-cache' })));
    await self.skipWaiting();
  })());
});

self.addEventListener('activate', (event) => {
  event.waitUntil((async () => {
    // The build before this one stays: a page that is still open may ask for its files.
    const before = (await caches.keys()).filter((name) => name.startsWith(ours) && name !== cache_name);
    await Promise.all(before.slice(0, -1).map((name) => caches.delete(name)));
    await self.clients.claim();
  })());
});

self.addEventListener('fetch', (event) => {
  const { request } = event;
  if (request.method !== 'GET' || new URL(request.url).origin !== self.location.origin) return;
  event.respondWith(request.mode === 'navigate' ? page(request) : file(request));
});

async function page(request) {
  const kept = async () => (await caches.open(cache_name)).match('./');
  try {
    const fresh = await fetch(request, { signal: AbortSignal.timeout(patience_ms) });
    return fresh.status < 500 ? fresh : await kept() ?? fresh;
  } catch {
    return await kept() ?? Response.error();
  }
}

async function file(request) {
  const own = await (await caches.open(cache_name)).match(request, { ignoreSearch: true });
  return own ?? await caches.match(request, { ignoreSearch: true }) ?? fetch(request);
}

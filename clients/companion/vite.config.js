import { defineConfig } from 'vite';
import { keep_page } from './keep_page.mjs';
import { library_licences } from './library_licences.mjs';

// The daemon's content security policy allows no inline script, style or data: URL, so nothing may be inlined.
export default defineConfig({
  base: './',
  plugins: [library_licences(), keep_page()],
  esbuild: { jsx: 'automatic', jsxImportSource: 'preact' },
  build: {
    target: 'es2022',
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    chunkSizeWarningLimit: 1400,  // the engraving of pages, which is loaded when a page is to be seen
  },
});

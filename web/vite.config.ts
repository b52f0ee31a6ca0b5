import { svelte } from '@sveltejs/vite-plugin-svelte';
import { defineConfig } from 'vitest/config';
import { licences } from './licences.js';

// `npm run dev` shows the page of a running `graylight serve` with every change to the sources at once.
const server = process.env.GRAYLIGHT_SERVER ?? 'http://127.0.0.1:8765';

export default defineConfig({
  plugins: [svelte(), licences()],
  base: './',
  build: {
    outDir: process.env.GRAYLIGHT_WEB_OUT ?? '../src/graylight/web',
    emptyOutDir: true,
    target: 'es2023',
    assetsInlineLimit: 0, // the page's rules let in nothing but files of its own
    modulePreload: { polyfill: false },
    chunkSizeWarningLimit: 1400,
  },
  worker: { format: 'es' },
  server: { proxy: { '/api': { target: server, changeOrigin: true } } },
  test: { include: ['src/**/*.test.ts'], environment: 'node' },
});

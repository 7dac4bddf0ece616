import { svelte } from '@sveltejs/vite-plugin-svelte';
import { defineConfig } from 'vitest/config';

// The page is built into web/dist, where the Go package web embeds it. While
// working on it, `npm run dev` hands what it does not know to a running
// `groundwork serve`.
const server = process.env.GROUNDWORK ?? 'http://127.0.0.1:8470';

export default defineConfig({
  plugins: [svelte()],
  base: './',
  build: {
    outDir: '../dist',
    emptyOutDir: true,
    target: 'es2023',
    chunkSizeWarningLimit: 700,
  },
  server: { proxy: { '/api': server, '/photographs': server } },
  resolve: process.env.VITEST ? { conditions: ['browser'] } : undefined,
  // A limit against waiting for ever: one test runs git many times, on busy machines too.
  test: { environment: 'jsdom', include: ['src/**/*.test.ts'], testTimeout: 60_000 },
});

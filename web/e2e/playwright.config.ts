// What a maker does with the page, done in Debian's Chromium on a server that
// each test starts for itself. Drawn in software: no graphics card is needed.

import { existsSync } from 'node:fs';
import { defineConfig } from '@playwright/test';

const chromium = process.env.CHROMIUM ?? '/usr/bin/chromium';
if (!existsSync(chromium)) throw new Error(`${chromium} is not there; run tools/outside/install.sh, or name another with CHROMIUM=`);

export default defineConfig({
  testDir: 'tests',
  outputDir: '../../out/page-failures',
  fullyParallel: true,
  workers: 2,
  retries: 0,
  forbidOnly: true,
  // Limits against waiting for ever, not claims about speed.
  timeout: 600_000,
  globalTimeout: 3_600_000,
  expect: { timeout: 90_000 },
  reporter: [['list'], ['./counted.ts']],
  use: {
    viewport: { width: 1280, height: 800 },
    locale: 'en-GB',
    timezoneId: 'UTC',
    colorScheme: 'light',
    reducedMotion: 'reduce',
    acceptDownloads: true,
    actionTimeout: 90_000,
    navigationTimeout: 120_000,
    screenshot: 'only-on-failure',
    launchOptions: {
      executablePath: chromium,
      chromiumSandbox: false, // build machines run as root
      args: ['--use-gl=angle', '--use-angle=swiftshader', '--enable-unsafe-swiftshader', '--force-color-profile=srgb'],
    },
  },
});

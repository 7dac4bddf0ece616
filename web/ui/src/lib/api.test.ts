// @vitest-environment jsdom
// A server that was started anew has another token.

import { afterEach, beforeEach, expect, test, vi } from 'vitest';

interface Asked {
  method: string;
  path: string;
  token: string | undefined;
}

/** A server whose token is `now`, for a page that was loaded when it was "old". */
async function restarted(now: string) {
  const asked: Asked[] = [];
  vi.stubGlobal('fetch', async (path: string, init: RequestInit) => {
    const token = (init.headers as Record<string, string>)['X-Groundwork-Token'];
    asked.push({ method: init.method!, path, token });
    if (path === '/') return new Response(`<!doctype html><meta name="groundwork-token" content="${now}">`);
    if (token !== now || path.endsWith('/forbidden/undo')) return new Response('{"detail":"not of this run"}', { status: 403 });
    return new Response('{"file":"a.yaml"}');
  });
  document.head.innerHTML = '<meta name="groundwork-token" content="old">';
  vi.resetModules();
  return { asked, api: await import('./api') };
}

beforeEach(() => vi.unstubAllGlobals());
afterEach(() => vi.unstubAllGlobals());

test('a write that meets the old token is sent once more with the new one', async () => {
  const { asked, api } = await restarted('new');
  expect(await api.change('a.yaml', [], 'v1', 'Height')).toEqual({ file: 'a.yaml' });
  expect(asked.map((a) => [a.method, a.token])).toEqual([['POST', 'old'], ['GET', undefined], ['POST', 'new']]);
  // From then on the new one is known.
  await api.undo('a.yaml');
  expect(asked.slice(3).map((a) => [a.method, a.token])).toEqual([['POST', 'new']]);
});

test('a refusal under the right token is told, and not asked again', async () => {
  const { asked, api } = await restarted('old');
  await expect(api.undo('forbidden')).rejects.toMatchObject({ status: 403, message: 'not of this run' });
  expect(asked.map((a) => a.method)).toEqual(['POST', 'GET']);
});

test('a write refused under the new token as well ends there', async () => {
  const { asked, api } = await restarted('new');
  await expect(api.undo('forbidden')).rejects.toMatchObject({ status: 403 });
  expect(asked.map((a) => a.method)).toEqual(['POST', 'GET', 'POST']);
});

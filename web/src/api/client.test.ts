import { afterEach, describe, expect, it, vi } from 'vitest';
import { address, ask, Paced, Problem } from './client';

afterEach(() => vi.unstubAllGlobals());

const json = (body: unknown, status = 200, type = 'application/json') =>
  new Response(JSON.stringify(body), { status, headers: { 'content-type': type } });

describe('asking the server', () => {
  it('leaves out what is not set', () => {
    expect(address('day', { lon: -114.5, lat: 40, date: null, x: undefined })).toBe('/api/day?lon=-114.5&lat=40');
    expect(address('tiles/shade', { time: '2026-08-27T13:00:00Z' })).toBe('/api/tiles/shade?time=2026-08-27T13%3A00%3A00Z');
  });
  it('gives again what is several', () => {
    expect(address('next', { mornings: 2, off: ['2026-08-28', '2026-08-30'], wind: [] })).toBe('/api/next?mornings=2&off=2026-08-28&off=2026-08-30');
  });
  it('a problem is told in its own words (RFC 9457)', async () => {
    vi.stubGlobal('fetch', async () => json({ title: 'Bad', status: 400, detail: 'the date 2026-13-01 is none' }, 400, 'application/problem+json'));
    await expect(ask('day')).rejects.toThrow('the date 2026-13-01 is none');
  });
  it('a server that is gone is told plainly', async () => {
    vi.stubGlobal('fetch', async () => { throw new TypeError('failed'); });
    await expect(ask('day')).rejects.toBeInstanceOf(Problem);
  });
  it('in a quick row the newest is asked next and those between are skipped', async () => {
    const asked: string[] = [];
    const open: Array<() => void> = [];
    vi.stubGlobal('fetch', (url: string) => {
      asked.push(url);
      return new Promise<Response>((done) => open.push(() => done(json({ url }))));
    });
    const taken: unknown[] = [];
    const row = new Paced<{ url: string }>('sight', (found) => taken.push(found.url));
    [1, 2, 3].forEach((lon) => row.ask({ lon }));
    open.shift()?.();
    await vi.waitFor(() => expect(asked).toEqual(['/api/sight?lon=1', '/api/sight?lon=3']));
    open.shift()?.();
    await vi.waitFor(() => expect(taken).toEqual(['/api/sight?lon=1', '/api/sight?lon=3']));
  });
});

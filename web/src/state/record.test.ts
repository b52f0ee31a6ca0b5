import { expect, test } from 'vitest';
import { rowWords, said, spot, whereWords } from './record.svelte';

test('what was left empty is not said', () => {
  expect(said({ where: 'L1', note: '', people: 0, pushed: false, wind: null })).toEqual({ where: 'L1', people: 0, pushed: false });
});

test('a place goes without its height', () => {
  const place = { lon: 1, lat: 2, height_m: 3 };
  expect(spot(place)).toEqual({ lon: 1, lat: 2 });
});

test('rows of the record in words', () => {
  const clock = (iso: string) => `2026-08-27 ${iso.slice(11, 16)}`;
  expect(rowWords('outings', { lookout: 'L1', began: '2026-08-27T12:20:00Z', ended: '2026-08-27T16:00:00Z' }, clock)).toBe('Watched from L1, 2026-08-27 12:20 to 16:00');
  expect(rowWords('sign', { kind: 'rub', age: 'fresh', date: '2026-08-27' }, clock)).toBe('Sign: rub, fresh, 2026-08-27');
  expect(rowWords('sightings', { count: 2, animal: 'elk', date: null }, clock)).toBe('Seen: 2 elk, no date');
});

test('where animals were', () => {
  expect(whereWords({ by: 'view', from: { lon: 0, lat: 0 }, called: 'L1', strip: { x: 1, y: 1, width: 900 }, away: 1000 }, 'metric')).toContain('the view from L1, 1');
});

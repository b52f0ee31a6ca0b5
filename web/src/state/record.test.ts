import { expect, test } from 'vitest';
import { photoWords, placing, rowWords, said, spot, whereWords } from './record.svelte';

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

test('a track is no place of one\'s own', () => {
  expect(rowWords('outings', { lookout: null, track: '[]', began: '2026-08-27T12:20:00Z', ended: '2026-08-27T16:00:00Z' }, (iso) => iso.slice(0, 16))).toMatch(/^Watched along a track/);
});

test('where animals were, as the server takes it', () => {
  const at = { lon: 1, lat: 2 };
  const said = { bearing: 62, away: ' 1200 yd ', trueNorth: false };
  const measured = { seen_from: at, bearing_deg: 62, true_north: false, distance: '1200 yd' };
  expect(placing({ by: 'ground', at }, said)).toEqual({ at });
  expect(placing({ by: 'bearing', from: at, called: 'L1' }, said)).toEqual(measured);
  expect(placing({ by: 'photo', from: at, bearing: 62, north: 'magnetic' }, said)).toEqual({ ...measured, by_photo: true });
  expect(placing({ by: 'photo', from: at, bearing: null, north: 'true' }, { ...said, away: '' })).toEqual({ at, by_photo: true });
  expect(placing({ by: 'view', from: at, called: 'L1', strip: { x: 1, y: 2, width: 900 }, away: null }, said)).toEqual({ seen_from: at, strip: { x: 1, y: 2, width: 900 } });
  expect(placing({ by: 'kept' }, said)).toEqual({});
});

test('what a photo tells of itself', () => {
  const nothing = { lon: null, lat: null, when: null, bearing_deg: null, north: 'true' as const };
  expect(photoWords(nothing)).toBe('The photo tells neither time nor place.');
  expect(photoWords({ ...nothing, when: '2026-08-27 06:41:10', lon: 1, lat: 2, bearing_deg: 240 })).toBe('The photo says: taken 2026-08-27 06:41, with its position, looking 240° true.');
  expect(photoWords(null)).toBe('');
});

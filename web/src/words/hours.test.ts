import { expect, test } from 'vitest';
import { airWords, dayAfter, dayAndClock, sitHours } from './hours';

const ZONE = 'America/Los_Angeles';
const LIGHT = {
  usable_from: '2026-08-27T12:33:20Z', sunrise: '2026-08-27T13:08:00Z', sunset: '2026-08-28T02:20:00Z', usable_until: '2026-08-28T02:54:00Z',
};

test('a morning is from usable light until the watch ends', () => {
  expect(sitHours(LIGHT, { watch_minutes: 180 }, 'dawn', ZONE)).toEqual({ from: '05:35', until: '09:10' });
  expect(sitHours(LIGHT, { watch_minutes: 60 }, 'dawn', ZONE)?.until).toBe('07:10');
});

test('an evening is from before sunset until the light is gone', () => {
  expect(sitHours(LIGHT, { evening_minutes: 150 }, 'dusk', ZONE)).toEqual({ from: '16:50', until: '19:55' });
});

test('where the sun stays away nothing is proposed', () => {
  expect(sitHours({ usable_from: null, sunrise: null }, {}, 'dawn', ZONE)).toBeNull();
  expect(sitHours(undefined, {}, 'dusk', ZONE)).toBeNull();
  expect(sitHours({ usable_from: LIGHT.usable_from, sunrise: null }, { watch_minutes: 60 }, 'dawn', ZONE)?.until).toBe('06:35');
});

test('the day after, over the ends of months and years', () => {
  expect(['2026-08-27', '2026-08-31', '2027-12-31', '2028-02-28'].map(dayAfter)).toEqual(['2026-08-28', '2026-09-01', '2028-01-01', '2028-02-29']);
});

test('a moment falls on the day of its own zone', () => {
  expect(dayAndClock('2026-08-28T02:10:00Z', ZONE)).toEqual({ day: '2026-08-27', clock: '19:10' });
  expect(dayAndClock('2026-08-27', ZONE)).toEqual({ day: '2026-08-27', clock: '' });
  expect(dayAndClock(null, ZONE)).toEqual({ day: '', clock: '' });
});

test('what was felt of the air, by the clock of the country', () => {
  expect(airWords('2026-08-27T14:10:00Z down, 2026-08-27T15:40:00Z up', ZONE)).toBe('07:10 down, 08:40 up');
  expect(airWords(null, ZONE)).toBe('');
});

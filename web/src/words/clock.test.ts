import { describe, expect, it } from 'vitest';
import { clock, localDay, longDate, readClock, shortDate, startOfDay, utcMinute, zoneLetters } from './clock';

// Zone rules: IANA tz database. Sunrise of the invented range as `graylight plan` says it: 13:01:47Z is 06:02 PDT.
const LA = 'America/Los_Angeles';

describe('clock', () => {
  it('says local time with its zone', () => {
    const sunrise = Date.parse('2026-08-27T13:01:47Z');
    expect(clock(sunrise, LA)).toBe('06:02');
    expect(zoneLetters(sunrise, LA)).toBe('PDT');
    expect(zoneLetters(Date.parse('2026-12-01T13:00:00Z'), LA)).toBe('PST');
  });
  it('begins the day at local midnight, on the day the clocks change too', () => {
    expect(new Date(startOfDay('2026-08-27', LA)).toISOString()).toBe('2026-08-27T07:00:00.000Z');
    expect(new Date(startOfDay('2026-11-01', LA)).toISOString()).toBe('2026-11-01T07:00:00.000Z');
    expect(new Date(startOfDay('2026-11-02', LA)).toISOString()).toBe('2026-11-02T08:00:00.000Z');
    expect(new Date(startOfDay('2026-03-08', LA)).toISOString()).toBe('2026-03-08T08:00:00.000Z');
  });
  it('writes dates and minutes', () => {
    expect(longDate('2026-08-27')).toBe('Thursday 27 August 2026');
    expect(shortDate('2026-08-29')).toBe('Sat 29 August');
    expect(utcMinute(Date.parse('2026-08-27T13:01:47Z'))).toBe('2026-08-27T13:02:00Z');
  });
});

describe('a day', () => {
  it('is the one on the local clock', () => {
    expect(localDay('2026-08-28T02:00:00Z', LA)).toBe('2026-08-27'); // UTC-7 in August
    expect(localDay('2026-08-27', LA)).toBe('2026-08-27');
  });
});

describe('a time of day that was typed', () => {
  it('is read as people write it, and told by 24 hours', () => {
    const written = { '05:20': '05:20', '5:20': '05:20', '0520': '05:20', '520': '05:20', ' 5.20 ': '05:20', '5h20': '05:20', '17:05': '17:05', '5': '05:00', '5:20 pm': '17:20', '12:10 AM': '00:10', '12 p.m.': '12:00', '00:00': '00:00' };
    for (const [text, read] of Object.entries(written)) expect(readClock(text), text).toBe(read);
  });
  it('is refused where it is none', () => {
    for (const text of ['', '24:00', '5:60', '52', '13 pm', '0 am', 'dawn', '5:2', '-5:20', '05:20:10', '5:20 xm']) expect(readClock(text), text).toBeNull();
  });
});

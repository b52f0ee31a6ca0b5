import { expect, it } from 'vitest';
import { inUnits } from './in_units';

// Expected words are the doctests of graylight/telling/measures.py.
it('says metric measures inside words in feet, yards and acres', () => {
  expect(inUnits('feed at 3105 m, water within 350 m, 12 hectares of feed, on a 10 m grid', 'us'))
    .toBe('feed at 10,190 ft, water within 380 yd, 30 acres of feed, on a 10 m grid');
  expect(inUnits('water within 350 m', 'metric')).toBe('water within 350 m');
});

it('leaves ranges and what has feet beside it', () => {
  expect(inUnits('150 to 300 m off, 3105 m (10,190 ft)', 'us')).toBe('150 to 300 m off, 3105 m (10,190 ft)');
});

it('a long walk is told in hours, a short one in minutes', () => {
  expect(inUnits('222 min on foot from the nearest way in', 'us')).toBe('about 3 h 40 on foot from the nearest way in');
  expect(inUnits('45 min on foot', 'metric')).toBe('45 min on foot');
});

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

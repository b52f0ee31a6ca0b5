import { describe, expect, it } from 'vitest';
import * as say from './measures';

// Expected words are those of graylight/units.py for the same values (its doctests and a run of it).
describe('quantities are said as the notes say them', () => {
  it('heights and distances', () => {
    expect(say.height(3121.2, 'us')).toBe('10,240 ft');
    expect(say.height(3121.2, 'metric')).toBe('3,120 m');
    expect(say.distance(320, 'us')).toBe('350 yd');
    expect(say.distance(1290, 'us')).toBe('0.8 mi');
    expect(say.distance(1290, 'metric')).toBe('1.3 km');
    expect(say.distance(3, 'us')).toBe('under 10 yd');
  });
  it('areas', () => {
    expect(say.area(243_000, 'us')).toBe('60 acres');
    expect(say.area(243_000, 'metric')).toBe('25 hectares');
  });
  it('shares as ranges to 5 %', () => {
    expect(say.shareRange(0.46, 0.71)).toBe('45 to 70 %');
    expect(say.shareRange(0, 0.09)).toBe('up to 10 %');
    expect(say.shareRange(0.56, 0.58)).toBe('55 to 60 %');
    expect(say.shareRange(0.58, 0.6)).toBe('about 60 %');
    expect(say.share(0.01)).toBe('under 5 %');
    expect(say.shareRange(0, 0)).toBe('none');
  });
  it('times, rounded outward', () => {
    expect(say.duration(7900)).toBe('about 2 h 10');
    expect(say.durationRange(7900, 10_000)).toBe('2 h 10 to 2 h 50');
    expect(say.durationRange(7800, 7800)).toBe('about 2 h 10');
    expect(say.durationRange(60, 500)).toBe('up to 10 min');
  });
  it('bearings over north', () => {
    expect(say.bearings(253.7, 10.3)).toBe('243° magnetic (254° true)');
    expect(say.bearings(5, 11.6)).toBe('353° magnetic (5° true)');
    expect(say.bearing(359.7, 'true')).toBe('0° true');
    expect(say.bearings(5, null)).toContain('no magnetic');
  });
  it('compass words', () => {
    expect(say.compass(50)).toBe('north-east');
    expect(say.compass(359)).toBe('north');
    expect(say.compass(-90)).toBe('west');
  });
  it('scale lengths', () => {
    expect(say.roundLength(1700, 'us')).toEqual({ metres: 1609.344, words: '1 mi' });
    expect(say.roundLength(900, 'us').words).toBe('½ mi');
    expect(say.roundLength(300, 'metric')).toEqual({ metres: 200, words: '200 m' });
  });
});

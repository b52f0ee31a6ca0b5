import { describe, expect, it } from 'vitest';
import { dragged, isWhole, path, spanDeg, turn, WHOLE, withEnd, words } from './facing';

describe('the arc of facing', () => {
  it('passes north', () => {
    expect(dragged(350, 40)).toEqual({ low: 350, high: 30 });
    expect(dragged(10, -30)).toEqual({ low: 340, high: 10 });
    expect(spanDeg({ low: 350, high: 30 })).toBe(40);
  });
  it('dragged all round it is the whole ring', () => {
    expect(dragged(90, 356)).toEqual(WHOLE);
    expect(isWhole(WHOLE)).toBe(true);
    expect(words(WHOLE)).toBe('any way');
  });
  it('turns the short way', () => {
    expect(turn(350, 10)).toBe(20);
    expect(turn(10, 350)).toBe(-20);
  });
  it('never closes to nothing', () => {
    expect(withEnd({ low: 0, high: 6 }, 'high', -5)).toEqual({ low: 0, high: 6 });
    expect(withEnd({ low: 0, high: 45 }, 'low', -5)).toEqual({ low: 355, high: 45 });
  });
  it('is said in words', () => {
    expect(words({ low: 315, high: 45 })).toBe('north-west round to north-east, 315° to 45°');
  });
  it('draws the long way round where it is one', () => {
    expect(path({ low: 0, high: 90 }, 10)).toBe('M0.00 -10.00A10 10 0 0 1 10.00 -0.00');
    expect(path({ low: 90, high: 0 }, 10)).toContain(' 1 1 ');
  });
});

import { describe, expect, it } from 'vitest';
import { bearingAt, inRows, partOf, partOfBearing, ticks, valueAt } from './along';

describe('along a strip', () => {
  it('there and back', () => {
    const day = { from: 100, to: 300 };
    expect(partOf(day, 150)).toBe(0.25);
    expect(valueAt(day, 0.25)).toBe(150);
    expect(valueAt(day, 7)).toBe(300);
  });
  it('a horizon that passes north', () => {
    expect(bearingAt(300, 60, 0.75)).toBe(30);
    expect(partOfBearing(300, 60, 30)).toBe(0.75);
    expect(partOfBearing(300, 60, 180)).toBeNull();
    expect(partOfBearing(10, 190, 100)).toBe(0.5);
  });
  it('ticks at whole steps', () => {
    expect(ticks(300, 60, 0.2)).toEqual([300, 330, 360, 390, 420]);
    expect(ticks(12, 48, 0.1)).toEqual([15, 20, 25, 30, 35, 40, 45]);
  });
  it('labels that would touch go into the next row, those past the last are left out', () => {
    const labels = [0.1, 0.12, 0.14, 0.5].map((part) => ({ item: part, part, width: 0.1 }));
    expect(inRows(labels, 2).map(({ item, row }) => [item, row])).toEqual([[0.1, 0], [0.12, 1], [0.5, 0]]);
  });
  it('labels stay on the strip', () => {
    expect(inRows([{ item: 'a', part: 0.01, width: 0.2 }], 1)[0]?.part).toBeCloseTo(0.1);
  });
});

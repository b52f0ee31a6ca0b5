import { describe, expect, it } from 'vitest';
import { asPolygon, EMPTY, lacking, withCorner, withoutLast } from './outline';

const at = (lon: number, lat: number) => ({ lon, lat });

describe('an outline being drawn', () => {
  it('says what it lacks', () => {
    let draft = withCorner(withCorner(EMPTY, at(0, 0)), at(2, 2));
    expect(lacking(draft)).toContain('One more corner');
    draft = withCorner(withCorner(draft, at(2, 0)), at(0, 2));
    expect(lacking(draft)).toContain('crosses');
    expect(lacking(withoutLast(draft))).toBeNull();
  });
  it('is closed when kept (RFC 7946: first and last position the same)', () => {
    const draft = [at(0, 0), at(1, 0), at(1, 1)].reduce(withCorner, EMPTY);
    expect(asPolygon(draft).coordinates[0]).toEqual([[0, 0], [1, 0], [1, 1], [0, 0]]);
  });
});

import { describe, expect, it } from 'vitest';
import { lined, windsAsked } from './mornings';

const SITS = [{ date: '2026-08-27', lookout: 'L3' }, { date: '2026-08-29', lookout: 'L2' }];

describe('the mornings left', () => {
  it('a day off stands between them, one past the last is left out', () => {
    expect(lined(SITS, ['2026-08-31', '2026-08-28'])).toEqual([SITS[0], { date: '2026-08-28', lookout: null }, SITS[1]]);
  });
  it('none yet, none lined up', () => {
    expect(lined([], ['2026-08-28'])).toEqual([]);
  });
});

describe('winds of the mornings', () => {
  const dates = ['2026-08-27', '2026-08-29', '2026-08-30'];
  it('are not asked for where none was said: the server takes the one that is set', () => {
    expect(windsAsked(dates, { '2026-08-29': ' ', '2026-08-28': 'W 5 mph' }, 'SW 8 mph')).toBeNull();
  });
  it('are one a morning, the one that is set or calm for the others', () => {
    expect(windsAsked(dates, { '2026-08-29': 'W 5 mph' }, 'SW 8 mph')).toBe('SW 8 mph; W 5 mph; SW 8 mph');
    expect(windsAsked(dates, { '2026-08-27': 'W 5 mph' }, '')).toBe('W 5 mph; calm; calm');
  });
});

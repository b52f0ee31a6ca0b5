import { describe, expect, it } from 'vitest';
import type { Plan } from '../api/types';
import { overlaid } from '../plan/edits';
import { approaches, lookouts, pockets, tops } from './plan_features';

const PLAN = {
  pockets: [{
    id: 'P1', rank: 1, name: 'Wether Basin', shut: null, centre: { lon: 0.5, lat: 0.5 }, feed: [], beds: [], crossings: [],
    outline: [[[0, 0], [1, 0], [1, 1], [0, 0]], [[4, 4], [5, 4], [5, 5], [4, 4]]], water: [{ place: { lon: 1, lat: 1 }, sure: false }],
  }],
  lookouts: [{ id: 'L1', place: { lon: 0.5, lat: 2 }, sees: [{ pocket: 'P1', bearing_true_deg: 171, share: { low: 0.1, likely: 0.2, high: 0.3 } }] }],
  approaches: [{ lookout: 'L1', start: { name: 'A', place: { lon: 0, lat: 0 } }, line: [[0, 0, 1], [1, 1, 2]] }],
  peaks: [{ id: 'K1', name: null, place: { lon: 0, lat: 0, height_m: 3545 } }], saddles: [], basins: [],
} as unknown as Plan;

describe('the plan on the map', () => {
  it('a pocket of two parts is two areas, not an area with a hole', () => {
    const shape = pockets(overlaid(PLAN, []), 'P1').features[0];
    expect(shape?.geometry.type === 'MultiPolygon' && shape.geometry.coordinates.length).toBe(2);
    expect(shape?.properties).toMatchObject({ picked: true, out: false, label: 'P1 Wether Basin' });
  });
  it('a lookout opens along its view; while it is dragged it stands at the hand', () => {
    const shown = overlaid(PLAN, []);
    expect(lookouts(shown, null, null).features[0]?.properties?.turn).toBe(171);
    expect(lookouts(shown, null, { id: 'L1', at: { lon: 9, lat: 9 } }).features[0]?.geometry).toEqual({ type: 'Point', coordinates: [9, 9] });
  });
  it('what looks at nothing yet is turned to the first pocket', () => {
    const moved = overlaid(PLAN, [{ id: 1, what: 'move', target: 'L1', value: '', note: '', geometry: { type: 'Point', coordinates: [0.5, -3] } }]);
    expect(lookouts(moved, null, null).features[0]?.properties?.turn).toBeCloseTo(0, 5);
    expect(approaches(PLAN, moved, null).features).toEqual([]);
  });
  it('tops are told in the person\'s units, unsure water apart', () => {
    const kinds = tops(PLAN, 'us').features.map((one) => one.properties);
    expect(kinds[0]).toMatchObject({ kind: 'peak', height: '11,630 ft' });
    expect(kinds.at(-1)?.kind).toBe('water-unsure');
  });
});

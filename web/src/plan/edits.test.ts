import { describe, expect, it } from 'vitest';
import type { Plan, RowFeature } from '../api/types';
import { called, editsOf, overlaid } from './edits';

const SQUARE: Array<[number, number]> = [[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]];
const PLAN = {
  pockets: [
    { id: 'P1', rank: 1, name: 'Wether Basin', outline: [SQUARE] },
    { id: 'P2', rank: 2, name: null, outline: [SQUARE] },
  ],
  lookouts: [{ id: 'L1', place: { lon: 2, lat: 2, height_m: 3000 }, sees: [{ pocket: 'P1' }] }],
} as unknown as Plan;

function row(id: number, values: Record<string, string>, geometry: GeoJSON.Geometry | null = null): RowFeature {
  return { type: 'Feature', geometry, properties: { table: 'edits', id, ...values } };
}

const point = (lon: number, lat: number): GeoJSON.Geometry => ({ type: 'Point', coordinates: [lon, lat] });

describe('what the person said, over the plan', () => {
  it('leaves the plan itself alone', () => {
    const before = JSON.stringify(PLAN);
    overlaid(PLAN, editsOf([row(1, { what: 'drop', target: 'P1' }), row(2, { what: 'move', target: 'L1' }, point(3, 3))]));
    expect(JSON.stringify(PLAN)).toBe(before);
  });
  it('drops, takes back and renames; later rows win', () => {
    const edits = editsOf([
      row(3, { what: 'accept', target: 'P1' }), row(1, { what: 'drop', target: 'P1' }),
      row(2, { what: 'drop', target: 'P2' }), row(4, { what: 'rename', target: 'P2', value: 'the long bowl' }),
    ]);
    const [one, two] = overlaid(PLAN, edits).pockets;
    expect([one?.dropped, one?.accepted]).toEqual([false, true]);
    expect([two?.dropped, two?.name]).toEqual([true, 'the long bowl']);
  });
  it('moves a lookout, and forgets what it saw from the old place', () => {
    const [lookout] = overlaid(PLAN, editsOf([row(1, { what: 'move', target: 'L1' }, point(2.01, 2))])).lookouts;
    expect(lookout?.place.lon).toBe(2.01);
    expect(lookout?.sees).toEqual([]);
  });
  it('a lookout the new plan has already is not added twice', () => {
    const edits = editsOf([row(1, { what: 'add', target: 'L9' }, point(2.0001, 2)), row(2, { what: 'add', target: '' }, point(2.1, 2))]);
    const { lookouts } = overlaid(PLAN, edits);
    expect(lookouts.map((one) => one.id)).toEqual(['L1', 'own-2']);
    expect(lookouts[0]?.own).toBe(true);
  });
  it('an own pocket and an outline redrawn', () => {
    const area: GeoJSON.Geometry = { type: 'Polygon', coordinates: [[[5, 5], [6, 5], [6, 6], [5, 5]]] };
    const { pockets } = overlaid(PLAN, editsOf([row(1, { what: 'redraw', target: 'P1' }, area), row(2, { what: 'add', target: '', value: 'mine' }, area)]));
    expect(pockets[0]?.outline[0]?.[0]).toEqual([5, 5]);
    expect([pockets[2]?.name, pockets[2]?.own]).toEqual(['mine', true]);
  });
  it('what is said of a pocket that is gone changes nothing', () => {
    expect(overlaid(PLAN, editsOf([row(1, { what: 'drop', target: 'P77' })])).pockets.some((p) => p.dropped)).toBe(false);
  });
  it('is called by its name, its id, or yours', () => {
    expect([called({ id: 'L4', name: null }), called({ id: 'L4', name: 'the knob' }), called({ id: 'own-3', name: null })]).toEqual(['L4', 'the knob', 'yours 3']);
  });
  it('starts chosen by name', () => {
    const edits = editsOf([row(1, { what: 'accept', target: 'Mitten Trailhead' }), row(2, { what: 'accept', target: 'P1' })]);
    expect(overlaid(null, edits).starts).toEqual(['Mitten Trailhead']);
  });
});

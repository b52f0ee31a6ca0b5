import { expect, test } from 'vitest';
import type { Shown } from '../plan/edits';
import { passing } from './plan_features';

test('an alternate is joined to its crossing, unless it is a crossing itself; what was left out has none', () => {
  const place = (lon: number) => ({ lon, lat: 40, height_m: null });
  const cross = (id: string, lon: number, alternates: number[]) => ({ id, kind: 'crossing', place: place(lon), suitability: 0.5, words: '', form: 'saddle', alternates: alternates.map(place) });
  const pocket = { dropped: false, shut: null, crossings: [cross('P1-x1', -1, [-2, -3]), cross('P1-x2', -2, [])] };
  const kinds = (pockets: unknown[]) => passing({ pockets } as unknown as Shown).features.map((one) => one.properties?.kind);
  expect(kinds([pocket])).toEqual(['join', 'alternate', 'crossing', 'crossing']);
  expect(kinds([{ ...pocket, dropped: true }, { ...pocket, shut: 'private ground' }])).toEqual([]);
});

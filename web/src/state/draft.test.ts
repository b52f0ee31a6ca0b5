import { afterEach, expect, test, vi } from 'vitest';
import { differing, forget, forgetFor, halfFilled, halfFilledFor, leftFor, remember, rememberFor } from './draft';

const kept = new Map<string, string>();
const storage = {
  getItem: (name: string) => kept.get(name) ?? null,
  setItem: (name: string, text: string) => void kept.set(name, text),
  removeItem: (name: string) => void kept.delete(name),
};

afterEach(() => {
  kept.clear();
  vi.unstubAllGlobals();
});

test('a half-filled form is there again until it is forgotten', () => {
  vi.stubGlobal('localStorage', storage);
  expect(halfFilled('outing')).toBeNull();
  remember('outing', { note: 'fog', people: 2 });
  expect(halfFilled('outing')).toEqual({ note: 'fog', people: 2 });
  expect(halfFilled('seen')).toBeNull();
  forget('outing');
  expect(halfFilled('outing')).toBeNull();
});

test('what can not be read is no form', () => {
  vi.stubGlobal('localStorage', { ...storage, getItem: () => '[1' });
  expect(halfFilled('outing')).toBeNull();
  vi.stubGlobal('localStorage', { ...storage, getItem: () => '[1]' });
  expect(halfFilled('outing')).toBeNull();
  vi.stubGlobal('localStorage', { getItem: () => { throw new Error('shut'); }, setItem: () => { throw new Error('shut'); } });
  expect(halfFilled('outing')).toBeNull();
  remember('outing', { a: 1 });
});

test('only what differs is put right', () => {
  expect(differing({ a: 1, b: '', c: { x: 1 } }, { a: 1, b: 'was', c: { x: 1 } })).toEqual({ b: '' });
});

test('a form half filled for one thing does not fill another', () => {
  vi.stubGlobal('localStorage', storage);
  const [here, there] = [{ by: 'ground', at: { lon: 1, lat: 2 } }, { by: 'ground', at: { lon: 1, lat: 3 } }];
  rememberFor('seen', here, { north: 'true' });
  expect(halfFilledFor('seen', there)).toBeNull();
  rememberFor('seen', there, { north: 'magnetic' });
  expect(halfFilledFor('seen', here)).toEqual({ north: 'true' });
  expect(leftFor('seen')).toEqual(there);
  forgetFor('seen', here);
  expect(leftFor('seen')).toEqual(there);
  forgetFor('seen', there);
  expect(leftFor('seen')).toBeNull();
});

/** What the server says of packet, camps, record and public maps. */

import type { Note, Place } from './types';

export interface PacketFile { name: string; bytes: number; words: string }
export interface PublicMap { name: string; words: string; tiles: string; deepest: number; credit: string }
export interface Estimate { lines: string[]; bytes: number }
export interface CampsAnswer {
  camps: { camps: Array<{ id: string; place: Place }>; water: Array<{ lookout: string; water: Array<{ sure: boolean; place: Place }> }> }; notes: Note[];
}
export interface OddsAnswer { notes: Note[] }
export interface NextAnswer { next: { sits: Array<{ date: string; lookout: string; wind: string; wind_given: boolean }> }; notes: Note[] }
export interface Kept { revision: number; notes: Note[] }

/** What a photo tells of itself, where it was asked for. */
export interface PhotoFacts { lon: number | null; lat: number | null; when: string | null; bearing_deg: number | null; north: 'true' | 'magnetic' }
export interface PhotoKept { name: string; facts: PhotoFacts | null }
/** What a file from the field holds; nothing of it is kept yet. */
export interface FileHeld {
  name: string; track: { points: number; began: string | null; ended: string | null; why_not: string | null } | null;
  animals: number; trails: number; not_read: string[];
}
interface Learnt { before: number; after: number | null; low: number | null; high: number | null }
export interface LearnAnswer {
  learning: { pace: Learnt; air: Learnt; evening_air: Learnt; habitat: { weights: Array<{ name: string; before: number; after: number; spread: number }> } };
  notes: Note[];
}

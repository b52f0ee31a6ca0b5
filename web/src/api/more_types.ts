/** What the server says of packet, camps, record and public maps. */

import type { Note, Place } from './types';

export interface PacketFile { name: string; bytes: number; words: string }
export interface PublicMap { name: string; words: string; tiles: string; deepest: number; credit: string }
export interface Estimate { lines: string[]; bytes: number }
export interface CampsAnswer {
  camps: { camps: Array<{ id: string; place: Place }>; water: Array<{ lookout: string; water: Array<{ sure: boolean; place: Place }> }> }; notes: Note[];
}
export interface OddsAnswer { notes: Note[] }
export interface NextAnswer { next: { sits: Array<{ date: string; lookout: string }> }; notes: Note[] }
export interface Kept { revision: number; notes: Note[] }

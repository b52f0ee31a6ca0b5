/** The marks of the map, drawn for this project: plain strokes, no objects and no pins.
 * The same figures as graylight/drawing/marks.py, in glyph widths about the middle, y downward. */

import type { Map as MapLibre } from 'maplibre-gl';
import { COLOURS, type Colours, type Theme } from './colours';

type Line = Array<[number, number]>;

const FEED: Line[] = [[[0, 0.42], [0, -0.48]], [[-0.16, 0.42], [-0.46, -0.26]], [[0.16, 0.42], [0.46, -0.26]]];
const BED: Line[] = [arc(0, -0.55, 0.82, 35, 145)];
const CROSSING: Line[] = [arc(-0.78, 0, 0.62, -48, 48), arc(0.78, 0, 0.62, 132, 228)];
const ANGLE: Line[] = [[[-0.42, -0.9], [0, 0], [0.42, -0.9]]];
const SIZE = 18;
const RATIO = 2;

function arc(cx: number, cy: number, radius: number, first: number, last: number): Line {
  return Array.from({ length: 13 }, (_, i): [number, number] => {
    const turn = ((first + ((last - first) * i) / 12) * Math.PI) / 180;
    return [cx + radius * Math.cos(turn), cy + radius * Math.sin(turn)];
  });
}

type Pen = CanvasRenderingContext2D;

const DRAW: Record<string, (pen: Pen, c: Colours) => void> = {
  feed: (pen, c) => strokes(pen, FEED, c.animal, c.halo),
  bed: (pen, c) => strokes(pen, BED, c.animal, c.halo),
  crossing: (pen, c) => strokes(pen, CROSSING, c.animal, c.halo),
  lookout: (pen, c) => angle(pen, c.light, c.lightCase),
  'lookout-out': (pen, c) => angle(pen, c.quiet, c.halo),
  peak: (pen, c) => triangle(pen, c),
  saddle: (pen, c) => strokes(pen, [arc(0, -0.62, 0.7, 40, 140), arc(0, 0.62, 0.7, 220, 320)], c.quiet, c.halo, 0.1),
  start: (pen, c) => square(pen, c),
  water: (pen, c) => disc(pen, c.water, c.halo, false),
  'water-unsure': (pen, c) => disc(pen, c.water, c.halo, true),
  mark: (pen, c) => ring(pen, c.letters, c.halo),
  camp: (pen, c) => strokes(pen, [[[-0.5, 0.22], [0.5, 0.22]], [[-0.24, -0.16], [0.24, -0.16]]], c.letters, c.halo, 0.15), // level ground
  hazard: (pen, c) => strokes(pen, [[[-0.4, -0.4], [0.4, 0.4]], [[-0.4, 0.4], [0.4, -0.4]]], c.letters, c.halo, 0.17), // keep off
  here: (pen, c) => here(pen, c),
};

export const GLYPHS = Object.keys(DRAW);

/** Adds every glyph for both lights, as NAME-dark and NAME-day. */
export function addGlyphs(map: MapLibre): void {
  for (const theme of Object.keys(COLOURS) as Theme[]) {
    for (const name of GLYPHS) map.addImage(`${name}-${theme}`, glyph(name, COLOURS[theme]), { pixelRatio: RATIO });
    map.addImage(`hatch-${theme}`, hatch(COLOURS[theme]), { pixelRatio: RATIO });
  }
}

export function glyph(name: string, colours: Colours): ImageData {
  const side = SIZE * 2.2 * RATIO;
  const pen = paper(side);
  pen.translate(side / 2, side / 2);
  pen.scale(SIZE * RATIO, SIZE * RATIO);
  pen.lineCap = pen.lineJoin = 'round';
  DRAW[name]?.(pen, colours);
  return pen.getImageData(0, 0, side, side);
}

function paper(side: number): Pen {
  const canvas = document.createElement('canvas');
  canvas.width = canvas.height = side;
  const pen = canvas.getContext('2d', { willReadFrequently: true });
  if (!pen) throw new Error('this browser draws no 2D pictures');
  return pen;
}

function strokes(pen: Pen, lines: Line[], colour: string, halo: string, width = 0.15): void {
  for (const [ink, wide] of [[halo, width + 0.2], [colour, width]] as const) {
    pen.strokeStyle = ink;
    pen.lineWidth = wide;
    for (const line of lines) {
      pen.beginPath();
      line.forEach(([x, y], i) => (i ? pen.lineTo(x, y) : pen.moveTo(x, y)));
      pen.stroke();
    }
  }
}

function angle(pen: Pen, colour: string, halo: string): void {
  strokes(pen, ANGLE, colour, halo, 0.16);
  dot(pen, 0.26, halo);
  dot(pen, 0.17, colour);
}

function dot(pen: Pen, radius: number, colour: string): void {
  pen.fillStyle = colour;
  pen.beginPath();
  pen.arc(0, 0, radius, 0, 2 * Math.PI);
  pen.fill();
}

function disc(pen: Pen, colour: string, halo: string, hollow: boolean): void {
  dot(pen, 0.32, halo);
  dot(pen, 0.24, colour);
  if (hollow) dot(pen, 0.13, halo);
}

function ring(pen: Pen, colour: string, halo: string): void {
  dot(pen, 0.36, halo);
  dot(pen, 0.28, colour);
  dot(pen, 0.16, halo);
}

function square(pen: Pen, c: Colours): void {
  pen.fillStyle = c.letters;
  pen.fillRect(-0.32, -0.32, 0.64, 0.64);
  pen.fillStyle = c.halo;
  pen.fillRect(-0.18, -0.18, 0.36, 0.36);
}

function triangle(pen: Pen, c: Colours): void {
  for (const [ink, reach] of [[c.halo, 0.46], [c.letters, 0.3]] as const) {
    pen.fillStyle = ink;
    pen.beginPath();
    pen.moveTo(0, -reach);
    pen.lineTo(0.9 * reach, 0.62 * reach);
    pen.lineTo(-0.9 * reach, 0.62 * reach);
    pen.fill();
  }
}

/** The touched place: four short strokes about an open middle, so that the ground itself stays in sight. */
function here(pen: Pen, c: Colours): void {
  const cross: Line[] = [[[0, -0.9], [0, -0.45]], [[0, 0.9], [0, 0.45]], [[-0.9, 0], [-0.45, 0]], [[0.9, 0], [0.45, 0]]];
  strokes(pen, cross, c.letters, c.halo, 0.11);
}

function hatch(c: Colours): ImageData {
  const side = 12 * RATIO;
  const pen = paper(side);
  pen.strokeStyle = c.letters;
  pen.globalAlpha = 0.4;
  pen.lineWidth = RATIO * 0.8;
  pen.beginPath();
  for (const shift of [-side, 0, side]) {
    pen.moveTo(shift, side);
    pen.lineTo(shift + side, 0);
  }
  pen.stroke();
  return pen.getImageData(0, 0, side, side);
}

/** Ink-blue dusk, one warm colour for light, one for animals: mixed in OKLab like those of the drawn maps. */

export type Theme = 'dark' | 'day';

export interface Colours {
  ground: string; lit: string; dark: string; contour: string; contourText: string; letters: string; halo: string;
  water: string; waterText: string; way: string; wayCase: string; light: string; lightCase: string; animal: string;
  animalText: string; wash: string; quiet: string;
}

export const COLOURS: Record<Theme, Colours> = {
  dark: {
    ground: '#1a2438', lit: '#c9b58c', dark: '#050a18', contour: '#93a0bb', contourText: '#b4bed0', letters: '#eae8df',
    halo: '#0e1729', water: '#4b9fd8', waterText: '#9fcdea', way: '#dfe3ea', wayCase: '#0e1729', light: '#f8bc49',
    lightCase: '#0e1729', animal: '#f08163', animalText: '#ffb39c', wash: '#39466b', quiet: '#9aa5b8',
  },
  day: {
    ground: '#f7f6f0', lit: '#fffaf0', dark: '#39466b', contour: '#464b66', contourText: '#464b66', letters: '#172641',
    halo: '#f7f6f0', water: '#24689b', waterText: '#1d5784', way: '#172641', wayCase: '#f7f6f0', light: '#f4af2d',
    lightCase: '#172641', animal: '#ae2e27', animalText: '#8d2420', wash: '#39466b', quiet: '#586478',
  },
};

/** Places as a person writes them: degrees, minutes, UTM, USNG; all WGS 84. */

export type PlaceForm = 'degrees' | 'minutes' | 'utm' | 'usng';
export interface LonLat { lon: number; lat: number }
export interface Utm { zone: number; band: string; east: number; north: number }

const BANDS = 'CDEFGHJKLMNPQRSTUVWX';
const COLUMNS = ['STUVWXYZ', 'ABCDEFGH', 'JKLMNPQR'];
const ROWS = 'ABCDEFGHJKLMNPQRSTUV';
const RAD = Math.PI / 180;

export function written(place: LonLat, form: PlaceForm): string {
  const utm = Math.abs(place.lat) <= 80 ? toUtm(place) : null;
  if (form === 'minutes') return `${minutes(place.lat, 'NS')}, ${minutes(place.lon, 'EW')}`;
  if (form === 'utm' && utm) return `${utm.zone}${utm.band} ${Math.round(utm.east)} ${Math.round(utm.north)}`;
  if (form === 'usng' && utm) return usng(utm);
  return `${place.lat.toFixed(5)}, ${place.lon.toFixed(5)}`;
}

function minutes(degrees: number, letters: string): string {
  const thousandths = Math.round(Math.abs(degrees) * 60_000);
  const whole = Math.floor(thousandths / 60_000);
  const rest = ((thousandths % 60_000) / 1000).toFixed(3).padStart(6, '0');
  return `${whole}°${rest}'${letters[degrees < 0 ? 1 : 0]}`;
}

/** USNG to 10 m: the square that holds the place, cut and not rounded. */
function usng({ zone, band, east, north }: Utm): string {
  const column = COLUMNS[zone % 3]?.[Math.floor(east / 1e5) - 1] ?? '?';
  const row = ROWS[(Math.floor(north / 1e5) + (zone % 2 ? 0 : 5)) % 20] ?? '?';
  const cut = (metres: number) => String(Math.floor((metres % 1e5) / 10)).padStart(4, '0');
  return `${zone}${band} ${column}${row} ${cut(east)} ${cut(north)}`;
}

/** Transverse Mercator by the Krüger series to n^4 (Karney 2011, J. Geodesy 85, 475; below a millimetre in a zone). */
export function toUtm({ lon, lat }: LonLat): Utm {
  const zone = utmZone(lon, lat);
  const f = 1 / 298.257223563;
  const n = f / (2 - f);
  const radius = (6378137 / (1 + n)) * (1 + n ** 2 / 4 + n ** 4 / 64);
  const away = (lon - (zone * 6 - 183)) * RAD;
  const e = (2 * Math.sqrt(n)) / (1 + n);
  const sine = Math.sin(lat * RAD);
  const t = Math.sinh(Math.atanh(sine) - e * Math.atanh(e * sine));
  const xi = Math.atan2(t, Math.cos(away));
  const eta = Math.asinh(Math.sin(away) / Math.hypot(t, Math.cos(away)));
  const [x, y] = series(xi, eta, n);
  return {
    zone,
    band: BANDS[Math.min(19, Math.floor((lat + 80) / 8))] ?? 'N',
    east: 500_000 + 0.9996 * radius * y,
    north: 0.9996 * radius * x + (lat < 0 ? 1e7 : 0),
  };
}

function series(xi: number, eta: number, n: number): [number, number] {
  const alpha = [
    n / 2 - (2 * n ** 2) / 3 + (5 * n ** 3) / 16 + (41 * n ** 4) / 180,
    (13 * n ** 2) / 48 - (3 * n ** 3) / 5 + (557 * n ** 4) / 1440,
    (61 * n ** 3) / 240 - (103 * n ** 4) / 140,
    (49561 * n ** 4) / 161280,
  ];
  let [x, y] = [xi, eta];
  alpha.forEach((a, i) => {
    const k = 2 * (i + 1);
    x += a * Math.sin(k * xi) * Math.cosh(k * eta);
    y += a * Math.cos(k * xi) * Math.sinh(k * eta);
  });
  return [x, y];
}

/** The zone, with the exceptions of south-west Norway and Svalbard. */
function utmZone(lon: number, lat: number): number {
  if (lat >= 56 && lat < 64 && lon >= 3 && lon < 12) return 32;
  if (lat >= 72 && lat < 84 && lon >= 0 && lon < 42) return [31, 33, 35, 37][[9, 21, 33, 42].findIndex((e) => lon < e)] ?? 31;
  return (Math.floor((lon + 180) / 6) % 60) + 1;
}

'use strict';
(() => {
  const facts = JSON.parse(document.getElementById('facts').textContent);
  const SVG = 'http://www.w3.org/2000/svg';
  const byId = (id) => document.getElementById(id);
  const root = document.documentElement;

  // All words go in as text: names in a country's files are not ours.
  function make(tag, words, className) {
    const one = document.createElement(tag);
    if (words) one.textContent = words;
    if (className) one.className = className;
    return one;
  }
  function add(parent, ...children) {
    for (const child of children) if (child) parent.append(child);
    return parent;
  }

  // --- dark and daylight -------------------------------------------------------------------------------------------
  const lightKey = byId('light');
  let dark = matchMedia('(prefers-color-scheme: dark)').matches;
  function showLight() {
    root.dataset.light = dark ? 'dark' : 'day';
    lightKey.textContent = dark ? 'daylight' : 'dark';
  }
  lightKey.onclick = () => { dark = !dark; showLight(); };
  showLight();

  byId('title').textContent = facts.title;
  if (facts.flag) { byId('flag').textContent = facts.flag; byId('flag').hidden = false; }

  // --- map ---------------------------------------------------------------------------------------------------------
  const map = facts.map;
  const frame = byId('map');
  const sheet = make('div'); sheet.id = 'sheet';
  let scale = 1, left = 0, top = 0, least = 0.1;
  const picked = { pocket: null, lookout: null };

  function place() { sheet.style.transform = `translate(${left}px,${top}px) scale(${scale})`; }
  function held() {
    const wide = frame.clientWidth, high = frame.clientHeight;
    const keep = (at, size, room) => size <= room ? (room - size) / 2 : Math.min(0, Math.max(room - size, at));
    left = keep(left, map.width * scale, wide);
    top = keep(top, map.height * scale, high);
    place();
  }
  function zoom(by, x, y) {
    const next = Math.min(6, Math.max(least, scale * by));
    left = x - (x - left) * next / scale;
    top = y - (y - top) * next / scale;
    scale = next;
    held();
  }
  function whole() {
    least = Math.min(frame.clientWidth / map.width, frame.clientHeight / map.height, 1);
    scale = least; left = 0; top = 0;
    held();
  }
  // At first the map shows the first lookout with its way: the whole country would be too small to read.
  function begin() {
    const first = facts.sits[0];
    if (!first) return;
    const points = map.ways.filter((way) => way.lookout === first.id).flatMap((way) => way.line);
    points.push(...map.lookouts.filter((seat) => seat.id === first.id).map((seat) => [seat.x, seat.y]));
    const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]), room = 120;
    const wide = Math.max(...xs) - Math.min(...xs) + room, high = Math.max(...ys) - Math.min(...ys) + room;
    scale = Math.min(1, Math.max(least, 0.55, Math.min(frame.clientWidth / wide, frame.clientHeight / high)));
    const seat = map.lookouts.find((one) => one.id === first.id);
    const fits = wide * scale <= frame.clientWidth && high * scale <= frame.clientHeight;
    const x = fits || !seat ? (Math.max(...xs) + Math.min(...xs)) / 2 : seat.x, y = fits || !seat ? (Math.max(...ys) + Math.min(...ys)) / 2 : seat.y;
    left = frame.clientWidth / 2 - x * scale; top = frame.clientHeight / 2 - y * scale;
    held();
  }
  function goTo(x, y) {
    scale = Math.max(scale, Math.min(1, 2.5 * least));
    left = frame.clientWidth / 2 - x * scale;
    top = frame.clientHeight / 2 - y * scale;
    held();
  }
  function shape(tag, attributes, className) {
    const one = document.createElementNS(SVG, tag);
    for (const [name, value] of Object.entries(attributes)) one.setAttribute(name, value);
    one.setAttribute('class', className);
    return one;
  }
  function path(rings, close) {
    return rings.map((ring) => 'M' + ring.map((p) => p.join(' ')).join('L') + (close ? 'Z' : '')).join('');
  }

  let spot = null;
  const shapes = { pocket: {}, lookout: {}, way: {} };
  if (map) {
    const picture = make('img'); picture.src = map.picture; picture.width = map.width; picture.height = map.height;
    picture.alt = 'the drawn map'; picture.draggable = false;
    const over = document.createElementNS(SVG, 'svg');
    over.setAttribute('width', map.width); over.setAttribute('height', map.height);
    over.setAttribute('viewBox', `0 0 ${map.width} ${map.height}`);
    for (const way of map.ways) {
      shapes.way[way.lookout] = shape('path', { d: path([way.line], false) }, 'way');
      over.append(shapes.way[way.lookout]);
    }
    for (const pocket of map.pockets) {
      const one = shape('path', { d: path(pocket.rings, true), 'fill-rule': 'evenodd' }, 'pocket');
      one.dataset.pocket = pocket.id;
      shapes.pocket[pocket.id] = one; over.append(one);
    }
    for (const seat of map.lookouts) {
      const one = shape('circle', { cx: seat.x, cy: seat.y, r: 26 }, 'seat');
      one.dataset.lookout = seat.id;
      shapes.lookout[seat.id] = one; over.append(one);
    }
    spot = shape('circle', { cx: -99, cy: -99, r: 9 }, 'place'); over.append(spot);
    add(sheet, picture, over);
    frame.append(sheet);
    whole();
    begin();
    addEventListener('resize', () => { whole(); begin(); });
  } else {
    byId('where').remove();
  }

  function pick(kind, id) {
    for (const group of ['pocket', 'lookout', 'way']) for (const one of Object.values(shapes[group])) one.classList.remove('picked');
    picked.pocket = kind === 'pocket' ? id : null;
    picked.lookout = kind === 'lookout' ? id : null;
    const one = shapes[kind] && shapes[kind][id];
    if (one) {
      one.classList.add('picked');
      if (kind === 'lookout' && shapes.way[id]) shapes.way[id].classList.add('picked');
    }
    root.dataset.picked = id;
  }
  function middle(kind, id) {
    const found = (kind === 'pocket' ? map.pockets : map.lookouts).find((one) => one.id === id);
    if (found) goTo(found.x, found.y);
  }

  // Where a pixel lies: UTM by the picture's own frame, degrees between the nodes of a net.
  function degrees(x, y) {
    const n = map.net.length - 1;
    const u = Math.min(Math.max(x / map.width * n, 0), n), v = Math.min(Math.max(y / map.height * n, 0), n);
    const j = Math.min(Math.floor(u), n - 1), i = Math.min(Math.floor(v), n - 1), a = u - j, b = v - i;
    const mix = (k) => (1 - b) * ((1 - a) * map.net[i][j][k] + a * map.net[i][j + 1][k]) + b * ((1 - a) * map.net[i + 1][j][k] + a * map.net[i + 1][j + 1][k]);
    return [mix(0), mix(1)];
  }
  function tell(x, y) {
    if (x < 0 || y < 0 || x > map.width || y > map.height) return;
    spot.setAttribute('cx', x); spot.setAttribute('cy', y);
    const [lon, lat] = degrees(x, y);
    const east = Math.round(map.west + x * map.metres), north = Math.round(map.north - y * map.metres);
    byId('here').textContent = `${lat.toFixed(5)}, ${lon.toFixed(5)}   UTM ${map.zone} ${east} ${north}   ${facts.datum}`;
  }

  if (map) {
    const fingers = new Map();
    let moved = 0, apart = 0;
    const at = (event) => { const box = frame.getBoundingClientRect(); return [event.clientX - box.left, event.clientY - box.top]; };
    frame.onpointerdown = (event) => { fingers.set(event.pointerId, at(event)); frame.setPointerCapture(event.pointerId); moved = 0; apart = 0; };
    frame.onpointermove = (event) => {
      if (!fingers.has(event.pointerId)) return;
      const before = fingers.get(event.pointerId), now = at(event);
      fingers.set(event.pointerId, now);
      if (fingers.size === 1) {
        left += now[0] - before[0]; top += now[1] - before[1];
        moved += Math.hypot(now[0] - before[0], now[1] - before[1]);
        held();
      } else {
        const [a, b] = [...fingers.values()], wide = Math.hypot(a[0] - b[0], a[1] - b[1]);
        if (apart) zoom(wide / apart, (a[0] + b[0]) / 2, (a[1] + b[1]) / 2);
        apart = wide; moved = 99;
      }
    };
    frame.onpointerup = (event) => {
      fingers.delete(event.pointerId); apart = 0;
      if (moved > 6 || fingers.size) return;
      const [x, y] = at(event);
      tell((x - left) / scale, (y - top) / scale);
      const below = document.elementsFromPoint(event.clientX, event.clientY).find((one) => one.dataset && (one.dataset.pocket || one.dataset.lookout));
      if (below) {
        const kind = below.dataset.lookout ? 'lookout' : 'pocket', id = below.dataset[kind];
        pick(kind, id);
        const told = document.getElementById(`${kind}-${id}`);
        if (told && innerWidth >= 900) told.scrollIntoView({ block: 'nearest' });
      }
    };
    frame.onpointercancel = (event) => { fingers.delete(event.pointerId); apart = 0; };
    frame.addEventListener('wheel', (event) => { event.preventDefault(); zoom(event.deltaY < 0 ? 1.2 : 1 / 1.2, ...at(event)); }, { passive: false });
    const centre = () => [frame.clientWidth / 2, frame.clientHeight / 2];
    byId('nearer').onclick = () => zoom(1.5, ...centre());
    byId('farther').onclick = () => zoom(1 / 1.5, ...centre());
    byId('whole').onclick = whole;
    frame.onkeydown = (event) => {
      const step = { ArrowLeft: [60, 0], ArrowRight: [-60, 0], ArrowUp: [0, 60], ArrowDown: [0, -60] }[event.key];
      if (step) { left += step[0]; top += step[1]; held(); }
      else if (event.key === '+' || event.key === '=') zoom(1.5, ...centre());
      else if (event.key === '-') zoom(1 / 1.5, ...centre());
      else return;
      event.preventDefault();
    };
  }

  // --- what is told ------------------------------------------------------------------------------------------------
  const told = byId('told');
  function table(heads, rows, className) {
    const one = make('table', '', className);
    if (heads.length) add(one, add(make('tr'), ...heads.map((words) => make('th', words))));
    for (const row of rows) add(one, add(make('tr'), ...row.map((words) => make('td', words))));
    return add(make('div', '', 'wide'), one);
  }
  function key(words, kind, id) {
    const one = make('button', words); one.type = 'button';
    one.onclick = () => { pick(kind, id); middle(kind, id); byId('where').scrollIntoView(); };
    return one;
  }
  function part(section) {
    const box = make('div');
    add(box, make('h3', section.heading), section.text ? make('p', section.text) : null);
    for (const [head, words] of section.rows) add(box, add(make('p'), make('b', `${head}: `), document.createTextNode(words)));
    return box;
  }
  const moments = [];
  function sit(one) {
    const box = make('article'); box.id = `lookout-${one.id}`;
    add(box, make('h2', one.title), make('p', one.day + (one.height ? `, ${one.height}` : ''), 'quiet'));
    if (one.place) add(box, make('p', one.place, 'place'));
    const row = make('div', '', 'row');
    for (const [words, value] of one.times) add(row, add(make('div'), make('small', words), make('b', value)));
    add(box, row);
    for (const words of one.lead) add(box, make('p', words));
    if (map) add(box, add(make('div', '', 'list'), key('on the map', 'lookout', one.id)));
    if (one.strip) {
      const strip = make('div', '', 'strip'), picture = make('img');
      picture.src = one.strip; picture.alt = `what is seen from ${one.title}, pockets tinted`; strip.tabIndex = 0;
      add(box, add(strip, picture));
    }
    if (one.sees.length) add(box, table(facts.heads, one.sees.map((s) => facts.columns.map((c) => s[c])), 'figures'));
    for (const words of one.hides) add(box, make('p', words));
    if (one.clock) {
      add(box, make('h3', 'By the clock'), make('p', one.clock.text, 'quiet'));
      if (one.band) {
        const band = make('div', '', 'band'), picture = make('img');
        picture.src = one.band; picture.alt = 'the hours of the morning: night, twilight, sun, and what lasts from when until when';
        band.tabIndex = 0;
        add(box, add(band, picture));
      }
      const clock = table([], one.clock.rows, 'clock');
      [...clock.querySelectorAll('tr')].forEach((line, i) => { if (one.moments[i]) moments.push([one.id, one.moments[i] * 1000, line]); });
      add(box, clock);
    }
    if (one.turn) add(box, make('p', one.turn, 'turn'));
    for (const section of one.sections) add(box, part(section));
    if (one.profile) {
      const profile = make('div', '', 'profile'), picture = make('img');
      picture.src = one.profile; picture.alt = 'rise and fall of the way in';
      add(box, add(profile, picture));
    }
    return box;
  }
  for (const one of facts.sits) add(told, sit(one));
  if (facts.pockets.length) {
    add(told, make('h2', 'Pockets'));
    for (const pocket of facts.pockets) {
      const box = make('details'); box.id = `pocket-${pocket.id}`;
      add(box, make('summary', pocket.title));
      for (const words of pocket.told) add(box, make('p', words));
      if (map) add(box, add(make('div', '', 'list'), key('on the map', 'pocket', pocket.id)));
      add(told, box);
    }
  }
  const foot = byId('foot');
  for (const section of facts.foot) {
    add(foot, make('h3', section.heading));
    for (const words of section.text) add(foot, make('p', words));
  }

  // The line that comes next by the telephone's own clock is lit, on the day itself.
  function now() {
    const time = Date.now();
    const next = new Map();
    for (const [id, when, line] of moments) {
      const gone = when < time;
      line.classList.toggle('gone', gone && time - when < 864e5);
      line.classList.remove('next');
      if (!gone && when - time < 432e5 && !next.has(id)) next.set(id, line);
    }
    for (const line of next.values()) line.classList.add('next');
  }
  now();
  setInterval(now, 30000);
  root.dataset.ready = 'yes';
})();

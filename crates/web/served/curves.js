// Reads log H and density off a curve, by pointer or by arrow keys.
//
// The figure says where its axes are; the fitted curve comes as numbers beside it.

const fixed = (value, decimals) => value.toFixed(decimals).replace('-', '−');

for (const place of document.querySelectorAll('[data-curve]')) {
  const samples = JSON.parse(place.dataset.curve);
  const line = place.querySelector('[data-readout]');
  const rest = line.textContent;
  const base = place.dataset.base ? Number(place.dataset.base) : NaN;
  const speed = place.dataset.speed ? Number(place.dataset.speed) : NaN;
  let at = Math.floor(samples.length / 2);

  const svg = () => [...place.querySelectorAll('svg')].find((s) => s.getBoundingClientRect().width > 0);

  const axis = (drawing, name) => {
    const found = drawing.querySelector(`[data-${name}]`);
    if (!found) return null;
    const [low, high, from, to] = found.dataset[name].split(' ').map(Number);
    return {
      px: (value) => from + ((value - low) / (high - low)) * (to - from),
      value: (px) => low + ((px - from) / (to - from)) * (high - low),
    };
  };

  /** The fitted density at a log H, on the straight line between two samples. */
  const density = (logH) => {
    const next = samples.findIndex(([x]) => x >= logH);
    if (next < 0 || logH < samples[0][0]) return null;
    if (next === 0) return { d: samples[0][1], sd: samples[0][2], slope: NaN };
    const [a, b] = [samples[next - 1], samples[next]];
    const share = (logH - a[0]) / (b[0] - a[0]);
    return {
      d: a[1] + share * (b[1] - a[1]),
      sd: a[2] + share * (b[2] - a[2]),
      slope: (b[1] - a[1]) / (b[0] - a[0]),
    };
  };

  const show = (logH) => {
    const drawing = svg();
    const x = drawing && axis(drawing, 'x');
    const y = drawing && axis(drawing, 'y');
    const found = x && y && density(logH);
    drawing?.querySelector('[data-mark]')?.remove();
    if (!found) {
      line.textContent = rest;
      return;
    }
    const mark = document.createElementNS('http://www.w3.org/2000/svg', 'g');
    mark.dataset.mark = '';
    const [px, py] = [x.px(logH), y.px(found.d)];
    const stroke = (x1, y1, x2, y2) => {
      const part = document.createElementNS('http://www.w3.org/2000/svg', 'line');
      for (const [name, value] of Object.entries({ x1, y1, x2, y2, stroke: 'var(--accent)', 'stroke-width': 1 })) {
        part.setAttribute(name, value);
      }
      mark.append(part);
    };
    const frame = drawing.querySelector('[data-x]').dataset;
    const [, , fromX] = frame.x.split(' ').map(Number);
    const [, , fromY] = frame.y.split(' ').map(Number);
    stroke(fromX, py, px, py);
    stroke(px, fromY, px, py);
    drawing.append(mark);
    const parts = [`${place.dataset.axis} ${fixed(logH, 2)}`, `density ${fixed(found.d, 2)} ± ${found.sd.toFixed(2)}`];
    if (Number.isFinite(base)) parts.push(`net ${fixed(found.d - base, 2)}`);
    if (Number.isFinite(speed)) parts.push(`${fixed((logH - speed) / Math.log10(2), 1)} stops from the speed point`);
    if (Number.isFinite(found.slope)) parts.push(`gradient ${fixed(found.slope, 2)}`);
    line.textContent = parts.join(', ');
  };

  place.addEventListener('pointermove', (event) => {
    const drawing = svg();
    const x = drawing && axis(drawing, 'x');
    if (!x) return;
    const box = drawing.getBoundingClientRect();
    const wide = drawing.viewBox.baseVal.width;
    show(x.value(((event.clientX - box.left) / box.width) * wide));
  });
  place.addEventListener('pointerleave', () => show(NaN));
  place.addEventListener('keydown', (event) => {
    const by = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (!by) return;
    event.preventDefault();
    at = Math.min(samples.length - 1, Math.max(0, at + by));
    show(samples[at][0]);
  });
}
document.documentElement.dataset.ready = '1';

// The light table: all frames side by side at one scale, densities under the
// pointer, and patches outlined on one frame for all.
import { ask, say, sayRefused } from './ask.js';
import { greyAs } from './light.js';
import { follow } from './tablet.js';
import { View } from './view.js';

const root = document.querySelector('[data-light-table]');
const test = root.dataset.lightTable;
const table = JSON.parse(root.dataset.views);
const together = document.querySelector('[data-together]');
const codes = document.querySelector('[data-codes]');
const frames = document.querySelector('[data-frames]');
const lift = document.querySelector('[data-lift]');
const positive = document.querySelector('[data-positive]');
const form = document.querySelector('[data-outline]');
const begin = document.querySelector('[data-begin-outline]');
const base = Number(root.dataset.base || 'NaN');
const views = [];
const scans = new Map();
let proposed = new Map();

/** What is known of a scan: sizes, and the density of each of its codes. */
async function scan(name) {
  if (!scans.has(name)) {
    scans.set(name, (async () => {
      const place = `/api/tests/${test}/scans/${encodeURIComponent(name)}`;
      const known = await ask(`${place}/tiles`);
      const bytes = await (await fetch(`${place}/codes`)).arrayBuffer();
      const values = new Float32Array(bytes);
      const count = known.code_max + 1;
      return {
        ...known,
        tiles: `${place}/tiles`,
        table: {
          codes: count,
          signal: values.subarray(0, count),
          density: known.calibrated ? values.subarray(count, 2 * count) : null,
        },
      };
    })());
  }
  return scans.get(name);
}

function moved(view) {
  if (!together.checked) return;
  const share = view.share();
  for (const other of views) if (other !== view) other.follow(share);
}

function pointed(view, found) {
  const line = view.canvas.closest('figure').querySelector('[data-readout]');
  if (!found) {
    line.textContent = line.dataset.rest;
    return;
  }
  const density = found.density.toFixed(2);
  const net = Number.isFinite(base) && view.scan.calibrated ? `, net ${(found.density - base).toFixed(2)}` : '';
  const what = view.scan.calibrated ? 'D' : 'relative D';
  const mean = found.of > 1 ? `, mean of ${found.of} × ${found.of} px` : '';
  const code = codes.checked ? `, code ${found.code}` : '';
  line.textContent = `${what} ${density}${net} at x ${found.x}, y ${found.y}${mean}${code}`;
}

async function open(figure) {
  const frame = table.views[Number(figure.dataset.view)];
  const canvas = figure.querySelector('canvas');
  const line = figure.querySelector('[data-readout]');
  line.textContent = 'Opening the scan …';
  try {
    const known = await scan(frame.scan);
    const [left, top, right, bottom] = frame.bounds_px ?? [0, 0, known.levels[0].width, known.levels[0].height];
    canvas.style.aspectRatio = `${right - left} / ${bottom - top}`;
    const view = new View(canvas, known, frame, { moved, pointed });
    view.propose(proposed.get(frame.scan));
    view.look(look());
    view.showFound(frames?.checked ?? false);
    views.push(view);
    line.textContent = line.dataset.rest;
    figure.dataset.state = 'shown';
  } catch (error) {
    figure.querySelector('[data-readout]').textContent = [error.message, error.remedy].filter(Boolean).join(' ');
    figure.dataset.state = 'failed';
  }
}

/** How all pictures are shown. */
function look() {
  const [black, white] = positive.dataset.positive.split(' ').map(Number);
  return { lift: Number(lift.value), positive: positive.checked ? { black, white } : null };
}

/** Shows all pictures, and the scale above them, as is chosen. */
function show() {
  for (const view of views) view.look(look());
  // The first rectangle is the ground; the fields are 0.3 apart, from 0 on.
  const [, ...fields] = document.querySelectorAll('.table-top rect');
  fields.forEach((field, at) => {
    const value = greyAs(0.3 * at, look());
    field.setAttribute('fill', `rgb(${value},${value},${value})`);
  });
  document.querySelector('[data-as-positives]').hidden = !positive.checked;
}

frames?.addEventListener('change', () => {
  for (const view of views) view.showFound(frames.checked);
});

window.addEventListener('beforeprint', () => {
  for (const view of views) view.settled();
});

lift?.addEventListener('input', show);
positive?.addEventListener('change', show);

/** Shows the form for what was just outlined. */
function outlined(view) {
  const { x_px, y_px, width_px, height_px } = view.draft.box;
  form.hidden = false;
  form.dataset.view = String(views.indexOf(view));
  form.querySelector('[data-where]').textContent =
    `On frame ${view.frame.frame ?? '(none yet)'}, scan ${view.frame.scan}: ${width_px} × ${height_px} px at x ${x_px}, y ${y_px}.`;
  form.elements.frame.value = view.frame.frame ?? form.elements.frame.value;
  form.elements.patch.focus();
}

/** Takes outlines from now on, or no more. */
function outlining(on, words) {
  begin.setAttribute('aria-pressed', String(on));
  root.classList.toggle('outlining', on);
  for (const view of views) view.outlining = on ? outlined : null;
  say(on ? `${words}; by keys: go to it, press Enter at one corner, move with the arrows, press Enter at the other.` : '');
}

begin?.addEventListener('click', () => {
  outlining(begin.getAttribute('aria-pressed') !== 'true', 'Draw a rectangle on any frame');
});

/** Shows the fields of what was outlined. */
function kinds() {
  for (const part of form.querySelectorAll('[data-kind]')) {
    part.hidden = part.dataset.kind !== form.elements.kind.value;
    for (const field of part.querySelectorAll('input, select')) field.disabled = part.hidden;
  }
}
form?.addEventListener('change', kinds);
if (form) kinds();

form?.addEventListener('submit', async (event) => {
  event.preventDefault();
  const view = views[Number(form.dataset.view)];
  const values = new FormData(form);
  const outline = {
    expected_revision: Number(root.dataset.revision),
    scan: view.frame.scan,
    ...view.draft.box,
  };
  const tablet = values.get('kind') === 'tablet';
  try {
    const answer = await ask(`/api/tests/${test}/${tablet ? 'strips' : 'patches'}`, {
      method: 'POST',
      json: tablet
        ? {
            ...outline,
            tablet: values.get('tablet'),
            clear_end: values.get('clear_end'),
            calibrates_others: values.get('calibrates_others') === 'on',
          }
        : {
            ...outline,
            frame: values.get('frame'),
            patch: values.get('patch').trim(),
            role: values.get('role'),
            carry: values.get('carry') === 'on',
          },
    });
    keepPlace();
    location.assign(answer.next);
  } catch (error) {
    sayRefused(error);
  }
});

form?.querySelector('[data-drop]').addEventListener('click', () => {
  for (const view of views) {
    view.draft = null;
    view.draw();
  }
  form.hidden = true;
});

follow({
  found: (byScan) => {
    proposed = byScan;
    for (const view of views) view.propose(proposed.get(view.frame.scan));
  },
  byHand: (scan) => {
    form.querySelector('[name=kind][value=tablet]').checked = true;
    kinds();
    outlining(true, 'Draw a rectangle round the whole step tablet');
    const view = views.find((v) => v.frame.scan === scan) ?? views[0];
    view?.canvas.scrollIntoView({ block: 'center' });
    view?.canvas.focus({ preventScroll: true });
  },
});

// What is settled or outlined brings the same page again: where it was scrolled to is kept.
const PLACE = `place:${test}`;

function keepPlace() {
  try {
    sessionStorage.setItem(PLACE, String(scrollY));
  } catch {
    // A browser that keeps nothing begins at the top.
  }
}

function takePlace() {
  try {
    const place = sessionStorage.getItem(PLACE);
    sessionStorage.removeItem(PLACE);
    if (place !== null) scrollTo({ top: Number(place), behavior: 'instant' });
  } catch {
    // It begins at the top.
  }
}

for (const settled of document.querySelectorAll('form.settle, form.settled')) {
  settled.addEventListener('submit', keepPlace);
}

const opened = [...root.querySelectorAll('figure[data-view]')].map(open);
// A page is ready when all that is in sight is drawn.
Promise.allSettled(opened).then(() => {
  // All pictures have their heights now.
  takePlace();
  const wait = () => {
    if (views.every((view) => view.drawn && !view.loading)) document.documentElement.dataset.ready = '1';
    else setTimeout(wait, 30);
  };
  wait();
});

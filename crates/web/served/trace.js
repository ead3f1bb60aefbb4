// Marks on a picture of a printed plot: four on the axes, then the curve.
import { ask, sayRefused, say } from './ask.js';

const form = document.getElementById('marks');
const canvas = document.getElementById('plot');
const next = form.querySelector('[data-next]');
const csv = document.getElementById('csv');
const back = form.querySelector('[data-back]');
const NAMES = ['x1', 'x2', 'y1', 'y2'];
const WORDS = [
  'Point at a place on the axis of wavelengths, and write its wavelength beside.',
  'Point at another place on that axis, far from the first.',
  'Point at a place on the upright axis.',
  'Point at another place on it.',
];
let picture = null;
let marks = [];
let cross = { x: 0, y: 0 };
// Questions asked so far: an answer that comes after a later question is not shown.
let asked = 0;

async function choose(file) {
  if (!file) return;
  try {
    picture = await createImageBitmap(file);
  } catch {
    say('This picture can not be shown; take a PNG or JPEG.');
    return;
  }
  canvas.width = picture.width;
  canvas.height = picture.height;
  cross = { x: Math.round(picture.width / 2), y: Math.round(picture.height / 2) };
  marks = [];
  changed();
}

function draw() {
  const context = canvas.getContext('2d');
  context.drawImage(picture, 0, 0);
  const unit = canvas.width / canvas.getBoundingClientRect().width || 1;
  const sign = ({ x, y }, arm, letter) => {
    for (const [colour, width] of [['#fff', 4], ['#8c1d18', 1.6]]) {
      context.strokeStyle = colour;
      context.lineWidth = width * unit;
      context.beginPath();
      context.moveTo(x - arm * unit, y);
      context.lineTo(x + arm * unit, y);
      context.moveTo(x, y - arm * unit);
      context.lineTo(x, y + arm * unit);
      context.stroke();
    }
    if (!letter) return;
    context.font = `600 ${14 * unit}px 'Source Sans 3', sans-serif`;
    context.lineWidth = 4 * unit;
    context.strokeStyle = '#fff';
    context.fillStyle = '#8c1d18';
    context.strokeText(letter, x + 6 * unit, y - 6 * unit);
    context.fillText(letter, x + 6 * unit, y - 6 * unit);
  };
  marks.forEach((mark, at) => sign(mark, at < 4 ? 9 : 5, NAMES[at]));
  if (document.activeElement === canvas) sign(cross, 14);
}

function number(name) {
  return Number(form.elements[name].value.trim().replace(',', '.'));
}

async function changed() {
  if (!picture) return;
  draw();
  back.disabled = marks.length === 0;
  const points = marks.slice(4).sort((a, b) => a.x - b.x);
  next.textContent = WORDS[marks.length] ?? `Now the curve, from left to right: ${points.length} points.`;
  const ready = points.length >= 2;
  for (const use of form.querySelectorAll('[data-use]')) use.disabled = !ready;
  csv.value = '';
  asked += 1;
  if (!ready) return;
  const mine = asked;
  const mark = (at) => ({ x_px: marks[at].x, y_px: marks[at].y, value: number(NAMES[at]) });
  try {
    const read = await ask('/api/trace', {
      method: 'POST',
      json: {
        x1: mark(0),
        x2: mark(1),
        y1: mark(2),
        y2: mark(3),
        points: points.map(({ x, y }) => ({ x_px: x, y_px: y })),
        x_log: form.elements.x_log.checked,
        y_log: form.elements.y_log.checked,
      },
    });
    if (mine !== asked) return;
    csv.value = read.csv;
    say('');
  } catch (error) {
    if (mine === asked) sayRefused(error);
  }
}

function add(place) {
  marks.push(place);
  changed();
}

canvas.addEventListener('click', (event) => {
  if (!picture) return;
  const box = canvas.getBoundingClientRect();
  cross = {
    x: ((event.clientX - box.left) / box.width) * canvas.width,
    y: ((event.clientY - box.top) / box.height) * canvas.height,
  };
  add({ ...cross });
});
canvas.addEventListener('keydown', (event) => {
  if (!picture) return;
  const step = event.shiftKey ? 10 : 1;
  const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
  if (moves[event.key]) {
    cross.x += moves[event.key][0];
    cross.y += moves[event.key][1];
    draw();
  } else if (event.key === 'Enter') {
    add({ ...cross });
  } else {
    return;
  }
  event.preventDefault();
});
canvas.addEventListener('focus', () => picture && draw());
back.addEventListener('click', () => {
  marks.pop();
  changed();
});
form.addEventListener('change', (event) => {
  if (event.target.type === 'file') choose(event.target.files[0]);
  else changed();
});
form.addEventListener('submit', (event) => event.preventDefault());
for (const use of form.querySelectorAll('[data-use]')) {
  use.addEventListener('click', () => {
    // Wavelength and value are what a curve needs; the uncertainty stays in the file.
    const rows = csv.value.split('\n').filter((row) => /^[\d.-]/.test(row));
    const text = rows.map((row) => row.split(',').slice(0, 2).join('\t')).join('\n');
    sessionStorage.setItem('traced', JSON.stringify({ field: use.dataset.use, text }));
    location.assign('/spectra');
  });
}
const label = form.querySelector('label[data-take]');
label.addEventListener('keydown', (event) => {
  if (event.key !== 'Enter' && event.key !== ' ') return;
  event.preventDefault();
  label.querySelector('input').click();
});
document.documentElement.dataset.ready = '1';

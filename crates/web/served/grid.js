// Tables of records that are typed into: arrow keys, pasting, undo, and saving
// without losing what another window has saved in the meantime.
//
// Every cell is an input of its own. The page hands over what the record holds
// in `value` attributes; what is typed stays in the inputs until it is saved.
import { ask, say, sayRefused, sentence } from './ask.js';
import { Drafts } from './drafts.js';
import { merged } from './merge.js';
import { withoutHeads } from './pasted.js';

const root = document.querySelector('[data-records]');
const test = root.dataset.records;
const grids = [...root.querySelectorAll('[data-table]')];
const saveButton = root.querySelector('[data-save]');
const told = root.querySelector('[data-told]');
const kinds = grids.map((grid) => grid.dataset.table);
const none = root.querySelector('[data-none]');

/** Of all tables of a record those that stand on this page. */
const ofPage = (tables) => Object.fromEntries(kinds.map((kind) => [kind, tables[kind] ?? []]));

const rowsOf = (grid) => [...grid.querySelectorAll('tbody tr')];
const cellsOf = (row) => [...row.querySelectorAll('input')];
const isBlank = (row) => cellsOf(row).every((cell) => cell.value.trim() === '');

let revision = Number(root.dataset.revision);
let done = [];
let undone = [];

/** What stands in all tables now. */
function read() {
  const tables = {};
  for (const grid of grids) {
    tables[grid.dataset.table] = rowsOf(grid)
      .filter((row) => !isBlank(row))
      .map((row) => ({
        was: row.dataset.was === '' ? null : Number(row.dataset.was),
        cells: Object.fromEntries(
          cellsOf(row).map((cell) => [cell.name, cell.value.trim()]).filter(([, value]) => value !== ''),
        ),
      }));
  }
  return tables;
}

/** Text that is equal for tables that hold the same, whatever the order of their keys. */
function canonical(value) {
  if (Array.isArray(value)) return `[${value.map(canonical).join()}]`;
  if (value === null || typeof value !== 'object') return JSON.stringify(value);
  return `{${Object.keys(value).sort().map((key) => `${key}:${canonical(value[key])}`).join()}}`;
}

const same = (one, other) => canonical(one) === canonical(other);

/** Whether something is typed that is not saved. */
function changed() {
  return !same(read(), base);
}

/** Writes rows into a table, and one blank row under them. */
function write(grid, rows, marks = [], where = 'in the other window') {
  const body = grid.querySelector('tbody');
  const pattern = grid.querySelector('template').content;
  const written = rows.map((record) => {
    const row = pattern.cloneNode(true).firstElementChild;
    row.dataset.was = record.was ?? '';
    for (const cell of cellsOf(row)) cell.value = record.cells[cell.name] ?? '';
    return row;
  });
  const blank = pattern.cloneNode(true).firstElementChild;
  body.replaceChildren(...written, blank);
  for (const { place, key, theirs } of marks) {
    const cell = cellsOf(written[place]).find((c) => c.name === key);
    if (!cell) continue;
    cell.setAttribute('aria-invalid', 'true');
    cell.title = theirs === '' ? `taken out ${where}` : `${theirs} ${where}`;
  }
  name(grid);
}

/** Gives each cell its name for a reader of the screen. */
function name(grid) {
  const heads = [...grid.querySelectorAll('thead th')].map((head) => head.textContent.trim());
  rowsOf(grid).forEach((row, place) => {
    const cells = cellsOf(row);
    const own = cells[0]?.value || `row ${place + 1}`;
    cells.forEach((cell, column) => cell.setAttribute('aria-label', `${heads[column]}, ${own}`));
    row.querySelector('[data-out]')?.setAttribute('aria-label', `Take ${own} out`);
  });
}

/** Makes sure that there is a blank row at the end. */
function blankRow(grid) {
  const rows = rowsOf(grid);
  if (rows.length === 0 || !isBlank(rows[rows.length - 1])) {
    grid.querySelector('tbody').append(grid.querySelector('template').content.cloneNode(true));
    name(grid);
  }
}

/** Remembers what stood before a change, so that it can be undone. */
function remember(before) {
  done.push(before);
  if (done.length > 200) done.shift();
  undone = [];
}

function show() {
  const open = changed();
  saveButton.disabled = !open;
  saveButton.textContent = open ? 'Save' : 'Saved';
  for (const cell of root.querySelectorAll('[data-table] td>input')) cell.parentElement.dataset.typed = cell.value;
  if (open) drafts.keep({ revision, base, tables: read() });
  else drafts.forget();
  if (none) none.hidden = !rowsOf(grids.find((grid) => grid.dataset.table === 'frame')).every(isBlank);
}

function restore(tables) {
  for (const grid of grids) write(grid, tables[grid.dataset.table] ?? []);
  show();
}

function step(from, to) {
  const last = from.pop();
  if (last === undefined) return;
  to.push(read());
  restore(last);
  before = read();
}

/** Goes to a cell, making a new row where there is none below. */
function go(grid, row, column) {
  if (row < 0) return;
  if (row >= rowsOf(grid).length) blankRow(grid);
  const cell = cellsOf(rowsOf(grid)[Math.min(row, rowsOf(grid).length - 1)])[column];
  cell?.focus();
  cell?.select();
}

/** Whether a text is the short name of a record that a column names: no head, though it may read like one. */
function isShortName(grid, column, text) {
  const key = cellsOf(grid.querySelector('template').content)[column]?.name;
  const named = grids.find((other) => other !== grid && other.dataset.table === (key === 'filters' ? 'filter' : key));
  return named !== undefined && rowsOf(named).some((row) => cellsOf(row)[0].value.trim() === text);
}

/** Lays pasted rows over the table from a cell on; a row of heads says under which columns. */
function paste(grid, cell, text) {
  const typed = text.replace(/\r/g, '').replace(/\n$/, '').split('\n').map((line) => line.split('\t'));
  const row = rowsOf(grid).indexOf(cell.closest('tr'));
  const column = cellsOf(cell.closest('tr')).indexOf(cell);
  const heads = [...grid.querySelectorAll('thead [data-names]')].map((head) => head.dataset.names.split('|'));
  const { lines, columns } = withoutHeads(typed, heads, column, (at, name) => isShortName(grid, at, name));
  if (lines.length === 0) {
    say('The pasted row only names columns, so nothing was put in.', { passing: true });
    return;
  }
  const earlier = read();
  lines.forEach((line, down) => {
    while (rowsOf(grid).length <= row + down) {
      grid.querySelector('tbody').append(grid.querySelector('template').content.cloneNode(true));
    }
    const cells = cellsOf(rowsOf(grid)[row + down]);
    line.forEach((value, right) => {
      const at = columns ? columns[right] : column + right;
      if (cells[at]) cells[at].value = value.trim();
    });
  });
  remember(earlier);
  before = read();
  blankRow(grid);
  name(grid);
  show();
  const most = lines.reduce((most, line) => Math.max(most, line.length), 0);
  const rows = lines.length === 1 ? '1 row' : `${lines.length} rows`;
  say(
    columns
      ? `The first row names columns and was left out. ${rows} went under the columns it names. Ctrl+Z takes them back.`
      : `${rows} of up to ${most} cells were pasted. Ctrl+Z takes them back.`,
    { passing: true },
  );
}

let base = read();
let before = base;
const drafts = await Drafts.of(`typed:${location.host}:${test}:${kinds.join()}`);

for (const grid of grids) {
  blankRow(grid);
  name(grid);
  grid.addEventListener('input', (event) => {
    event.target.removeAttribute('aria-invalid');
    event.target.removeAttribute('title');
    blankRow(grid);
    show();
  });
  // One step of undo for each cell, not for each letter.
  grid.addEventListener('change', () => {
    const now = read();
    if (same(now, before)) return;
    remember(before);
    before = now;
    name(grid);
  });
  grid.addEventListener('paste', (event) => {
    const text = event.clipboardData.getData('text/plain');
    if (!/[\t\n]/.test(text.trim()) || event.target.tagName !== 'INPUT') return;
    event.preventDefault();
    paste(grid, event.target, text);
  });
  grid.addEventListener('click', (event) => {
    const out = event.target.closest('[data-out]');
    if (!out) return;
    const earlier = read();
    out.closest('tr').remove();
    remember(earlier);
    before = read();
    blankRow(grid);
    show();
    say('One row was taken out. Ctrl+Z puts it back.', { passing: true });
  });
  grid.addEventListener('keydown', (event) => {
    const cell = event.target.closest('input');
    if (!cell || event.altKey) return;
    const row = rowsOf(grid).indexOf(cell.closest('tr'));
    const column = cellsOf(cell.closest('tr')).indexOf(cell);
    const atStart = cell.selectionStart === 0 && (cell.selectionEnd === 0 || cell.selectionEnd === cell.value.length);
    const atEnd = cell.selectionEnd === cell.value.length && (cell.selectionStart === cell.value.length || cell.selectionStart === 0);
    const moves = {
      ArrowDown: () => go(grid, row + 1, column),
      ArrowUp: () => go(grid, row - 1, column),
      Enter: () => go(grid, row + 1, column),
      ArrowLeft: atStart && column > 0 ? () => go(grid, row, column - 1) : null,
      ArrowRight: atEnd ? () => go(grid, row, column + 1) : null,
    };
    if (!event.ctrlKey && !event.metaKey && !event.shiftKey && moves[event.key]) {
      event.preventDefault();
      cell.dispatchEvent(new Event('change', { bubbles: true }));
      moves[event.key]();
    }
  });
}

// Saving works wherever the cursor is; undoing is that of a field outside the tables.
document.addEventListener('keydown', (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
  const key = event.key.toLowerCase();
  const ours = event.target === document.body || root.contains(event.target);
  if (key === 's') {
    event.preventDefault();
    save();
  } else if (ours && (key === 'z' || key === 'y')) {
    event.preventDefault();
    event.target.dispatchEvent(new Event('change', { bubbles: true }));
    if (key === 'y' || event.shiftKey) step(undone, done);
    else step(done, undone);
  }
});

/** Saves; what was saved elsewhere meanwhile is joined with what is typed here. */
async function save({ withTheirs = false } = {}) {
  root.querySelector('[data-asked]')?.remove();
  if (!changed()) return;
  const sent = read();
  saveButton.disabled = true;
  try {
    const answer = await ask(`/api/tests/${test}/records`, {
      method: 'PUT',
      json: { expected_revision: revision, tables: sent, with_what_lies_on_frames: withTheirs },
    });
    accept(answer, sent);
    say('Saved.', { passing: true });
  } catch (error) {
    if (error.status === 409) await join(error);
    else if (error.status === 428) askAboutFrames(error);
    else sayRefused(error);
    show();
  }
}

/** Asks what is to become of what lies on frames that were taken out. */
function askAboutFrames(error) {
  const place = document.createElement('div');
  const words = document.createElement('p');
  const choice = document.createElement('p');
  place.className = 'told';
  place.dataset.asked = '';
  place.setAttribute('role', 'alert');
  choice.className = 'actions';
  words.textContent = `Nothing is saved yet. ${sentence(error.message)}`;
  const button = (text, act) => {
    const made = document.createElement('button');
    made.type = 'button';
    made.textContent = text;
    made.addEventListener('click', act);
    choice.append(made);
  };
  button('Take it out with the frame', () => save({ withTheirs: true }));
  button('Put the frame back', () => {
    place.remove();
    const frames = grids.find((grid) => grid.dataset.table === 'frame');
    const back = base.frame.filter((row) => !rowsOf(frames).some((r) => r.dataset.was === String(row.was)));
    remember(read());
    write(frames, [...read().frame, ...back].sort((one, other) => (one.was ?? Infinity) - (other.was ?? Infinity)));
    before = read();
    show();
  });
  place.append(words, choice);
  root.prepend(place);
  place.scrollIntoView({ block: 'nearest' });
  choice.firstElementChild.focus();
}

/** Takes what the program now holds as what is saved. */
function accept(answer, sent) {
  revision = answer.revision;
  const typedSince = !same(read(), sent);
  base = ofPage(answer.tables);
  if (!typedSince) restore(base);
  before = read();
  problems(answer.problems, answer.faults);
  show();
}

async function join(error) {
  try {
    const theirs = await ask(`/api/tests/${test}/records`);
    const { tables, marks, clashes } = merged(base, read(), ofPage(theirs.tables));
    base = ofPage(theirs.tables);
    revision = theirs.revision;
    for (const grid of grids) write(grid, tables[grid.dataset.table] ?? [], marks[grid.dataset.table]);
    before = read();
    problems(theirs.problems, theirs.faults);
    say(
      `${error.message} Its changes are in the tables now, beside yours. ` +
        (clashes === 0
          ? 'No cell was changed in both places. Save again.'
          : `${clashes} changed in both places: yours stand there, marked; point at them to see the other. Save again to keep yours.`),
    );
  } catch (again) {
    sayRefused(again);
  }
}

/** Marks the cells that have to be mended, and opens the tables they lie in. */
function markFaults(faults) {
  for (const cell of root.querySelectorAll('[data-fault]')) {
    delete cell.dataset.fault;
    cell.removeAttribute('aria-invalid');
    cell.removeAttribute('title');
  }
  for (const { table, row, key, problem } of faults) {
    const grid = grids.find((g) => g.dataset.table === table);
    const cells = grid && rowsOf(grid).filter((r) => r.dataset.was === String(row)).flatMap(cellsOf);
    const cell = cells?.find((c) => c.name === key) ?? cells?.[0];
    if (!cell) continue;
    cell.dataset.fault = '1';
    cell.setAttribute('aria-invalid', 'true');
    cell.title = problem;
    const folded = cell.closest('details');
    if (folded) folded.open = true;
  }
}

function problems(list, faults) {
  markFaults(faults);
  told.replaceChildren(
    ...list.map((text) => {
      const line = document.createElement('p');
      line.textContent = sentence(text);
      return line;
    }),
  );
}

saveButton.addEventListener('click', () => save());
// On paper all that is recorded is there, folded away or not.
let folded = [];
window.addEventListener('beforeprint', () => {
  folded = [...root.querySelectorAll('details:not([open])')];
  for (const part of folded) part.open = true;
});
window.addEventListener('afterprint', () => {
  for (const part of folded) part.open = false;
});
window.addEventListener('beforeunload', (event) => {
  if (changed()) event.preventDefault();
});

/** What a draft has that its record had not: a few of its words, to know it by. */
function wordsOf({ base: stood, tables }) {
  const words = Object.entries(tables).flatMap(([kind, rows]) =>
    rows.flatMap(({ was, cells }) => {
      const before = (stood[kind] ?? []).find((row) => row.was === was && was !== null)?.cells ?? {};
      return Object.entries(cells).filter(([key, value]) => before[key] !== value).map(([, value]) => value);
    }),
  );
  const shown = words.slice(0, 4).map((word) => `\u201c\u2068${word.slice(0, 40)}\u2069\u201d`).join(', ');
  if (words.length === 0) return 'Rows were taken out.';
  return words.length > 4 ? `${shown} and ${words.length - 4} cells more.` : `${shown}.`;
}

/** Lays a draft over what stands here; gives how many cells differ in both. */
function lay(draft, where) {
  const { tables, marks, clashes } = merged(draft.base, draft.tables, read());
  for (const grid of grids) write(grid, tables[grid.dataset.table] ?? [], marks[grid.dataset.table], where);
  return clashes;
}

/** Offers what a window typed that was closed before it saved. */
function offer({ number, sure, draft }) {
  const place = document.createElement('div');
  const words = document.createElement('p');
  const typed = document.createElement('p');
  const choice = document.createElement('p');
  place.className = 'told';
  place.dataset.left = number;
  choice.className = 'actions';
  const when = new Date(draft.at).toLocaleString(undefined, { dateStyle: 'medium', timeStyle: 'short' });
  words.textContent = sure
    ? `What was typed in another window, last on ${when}, was not saved before it was closed.`
    : `What was typed in another window, last on ${when}, is not saved. That window may still be open.`;
  typed.textContent = wordsOf(draft);
  const button = (text, act) => {
    const made = document.createElement('button');
    made.type = 'button';
    made.textContent = text;
    made.addEventListener('click', () => {
      act();
      drafts.forget(number);
      place.remove();
    });
    choice.append(made);
  };
  button('Take it into the tables', () => {
    remember(read());
    const clashes = lay(draft, 'stood here');
    before = read();
    show();
    say(
      clashes === 0
        ? 'What was typed in the other window is in the tables now. Save to keep it.'
        : `What was typed in the other window is in the tables now. ${clashes} cells held something else here, and are marked; point at them to see it. Ctrl+Z takes it back.`,
    );
  });
  button('Throw it away', () => say('What was typed in the other window was thrown away.', { passing: true }));
  place.append(words, typed, choice);
  root.prepend(place);
}

// What was typed here and not saved when the page was left comes back.
const own = drafts.own();
if (own && !same(own.tables, base)) {
  if (own.revision === revision) {
    restore(own.tables);
    say('What was typed here before and not saved is back in the tables.');
  } else {
    lay(own, 'in the record now');
    say('What was typed here before and not saved is back; the record was changed since. Look it over before you save.');
  }
  before = read();
}
markFaults(JSON.parse(root.dataset.faults));
for (const left of await drafts.left()) {
  if (same(left.draft.tables, base)) drafts.forget(left.number);
  else offer(left);
}
show();
document.documentElement.dataset.ready = '1';

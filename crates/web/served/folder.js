// Takes a test folder in: chosen or dropped, its list first, then file by file.
import { ask, say, sayRefused, send } from './ask.js';

const place = document.querySelector('[data-coming]');
const bar = place?.querySelector('progress');
const words = place?.querySelector('[data-work]');
let coming = null;

/** Files of a chooser for folders: paths begin with the folder's own name. */
export function chosen(files) {
  const list = [...files].map((file) => ({ file, path: file.webkitRelativePath || file.name }));
  const name = list[0]?.path.split('/')[0] ?? '';
  return { name, files: list.map(({ file, path }) => ({ file, path: path.slice(name.length + 1) })) };
}

/** All files in a folder that was dropped. */
export async function dropped(folder) {
  const files = [];
  const walk = async (entry, within) => {
    if (entry.isFile) {
      files.push({ file: await new Promise((fine, bad) => entry.file(fine, bad)), path: within + entry.name });
      return;
    }
    const reader = entry.createReader();
    // A reader gives some at a time, and none when it has given all.
    for (;;) {
      const some = await new Promise((fine, bad) => reader.readEntries(fine, bad));
      if (some.length === 0) return;
      for (const one of some) await walk(one, entry === folder ? '' : `${within}${entry.name}/`);
    }
  };
  await walk(folder, '');
  return { name: folder.name, files };
}

function size(bytes) {
  return bytes < 1e6 ? `${Math.ceil(bytes / 1e3)} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
}

/** Sends a folder's files and goes to the work that takes them in. */
export async function takeFolderIn({ name, files }) {
  if (coming) {
    say('Another folder is coming in; cancel it or wait.');
    return;
  }
  const stop = new AbortController();
  coming = { stop, folder: null };
  words.textContent = `Looking through ${name} …`;
  bar.removeAttribute('value');
  place.hidden = false;
  say('');
  try {
    const awaited = await ask('/api/folders', {
      method: 'POST',
      json: { name, files: files.map(({ file, path }) => ({ path, size: file.size })) },
      signal: stop.signal,
    });
    coming.folder = awaited.folder;
    const wanted = awaited.wanted.map((number) => ({ number, ...files[number] }));
    const all = wanted.reduce((sum, { file }) => sum + file.size, 0);
    bar.max = Math.max(all, 1);
    let before = 0;
    for (const [at, { number, file, path }] of wanted.entries()) {
      const told = (now) => {
        bar.value = before + now;
        words.textContent = `${path}, file ${at + 1} of ${wanted.length}; ${size(before + now)} of ${size(all)}`;
      };
      told(0);
      await send(`/api/folders/${awaited.folder}/files/${number}`, { file, signal: stop.signal, told });
      before += file.size;
    }
    words.textContent = 'All files came.';
    const begun = await ask(`/api/folders/${awaited.folder}/take-in`, { method: 'POST' });
    coming = null;
    location.assign(begun.next);
  } catch (error) {
    await giveUp();
    if (error.name === 'AbortError') say('Cancelled. Nothing of the folder was kept.', { passing: true });
    else sayRefused(error);
  }
}

async function giveUp() {
  const folder = coming?.folder;
  coming = null;
  place.hidden = true;
  if (folder === null || folder === undefined) return;
  // What is given up already, or can't be reached, goes by itself.
  await ask(`/api/folders/${folder}`, { method: 'DELETE', lasting: true }).catch(() => {});
}

place?.querySelector('[data-cancel]').addEventListener('click', () => coming?.stop.abort());
addEventListener('pagehide', () => {
  if (coming) giveUp();
});

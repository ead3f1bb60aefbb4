// Files handed to a test: the log of the field, scans, a table of readings.
import { Refused, ask, say, sayRefused, send, sentence } from './ask.js';

async function log(input) {
  const file = input.files[0];
  if (!file) return;
  try {
    const answer = await ask(
      `/api/tests/${input.dataset.log}/log?expected_revision=${input.dataset.revision}&name=${encodeURIComponent(file.name)}`,
      { method: 'POST', body: file },
    );
    say(answer.told);
    location.assign(answer.next);
  } catch (error) {
    sayRefused(error);
  }
}

/** What is said when the page is there again. */
const LATER = 'said-later';

/** A line that tells how far a file is, with a button that stops it. */
function coming(place, stop) {
  const line = document.createElement('p');
  const words = document.createElement('span');
  const bar = document.createElement('progress');
  const button = document.createElement('button');
  line.dataset.going = '';
  words.setAttribute('role', 'status');
  bar.setAttribute('aria-label', 'How far the file has gone');
  bar.max = 1;
  button.type = 'button';
  button.textContent = 'Cancel';
  button.addEventListener('click', stop);
  line.append(words, bar, button);
  place.after(line);
  return {
    tell(text, share) {
      words.textContent = share === null ? `${text} …` : `${text}, ${Math.floor(100 * share)} % …`;
      if (share === null) bar.removeAttribute('value');
      else bar.value = share;
    },
    end: () => line.remove(),
  };
}

/**
 * Sends files one after the other; the test's revision goes along. One that is refused
 * keeps none of the others back.
 */
async function sendScans(place, { test, revision, files, most }) {
  let expected = revision;
  let taken = 0;
  const refused = [];
  const stop = new AbortController();
  const line = coming(place, () => stop.abort());
  for (const [at, file] of [...files].entries()) {
    const of = `Taking in ${file.name} (${at + 1} of ${files.length})`;
    line.tell(of, 0);
    try {
      // Told before hours of sending, not after.
      if (file.size > most) {
        throw new Refused(413, {
          problem: `it has ${(file.size / 2 ** 30).toFixed(1)} GB, and at most ${(most / 2 ** 30).toFixed(0)} GB are taken`,
          remedy: 'scan less of the bed or with fewer lines, or save one grey channel instead of three colours',
        });
      }
      const answer = await send(
        `/api/tests/${test}/scans?expected_revision=${expected}&name=${encodeURIComponent(file.name)}`,
        {
          method: 'POST',
          file,
          signal: stop.signal,
          // All has gone, and the program looks at it.
          told: (bytes) => line.tell(of, bytes < file.size ? bytes / file.size : null),
        },
      );
      expected = answer.revision;
      taken += 1;
    } catch (error) {
      if (error.name === 'AbortError') {
        refused.push('Cancelled; what had not come yet was left out.');
        break;
      }
      const named = error.message.startsWith(file.name) ? error.message : `\u2068${file.name}\u2069: ${error.message}`;
      refused.push([named, error.remedy].filter(Boolean).map(sentence).join(' '));
      // Somebody else changed the test, or the program is gone: nothing more will be taken.
      if (error.status === 409 || error.status === 0) break;
    }
  }
  line.end();
  const told = refused.length === 0
    ? ''
    : `${taken} of ${files.length} taken in.\n${refused.join('\n')}`;
  if (taken === 0) {
    say(told);
    return;
  }
  try {
    if (told) sessionStorage.setItem(LATER, told);
  } catch {
    // It is seen on the page which scans have come.
  }
  location.reload();
}

for (const input of document.querySelectorAll('input[data-log]')) {
  input.addEventListener('change', () => log(input));
}
const scans = document.querySelector('[data-scans]');
if (scans) {
  const { scans: test, revision } = scans.dataset;
  const input = scans.querySelector('input[type=file]');
  const take = (files) =>
    sendScans(scans, { test, revision: Number(revision), files, most: Number(input.dataset.most) }).catch(sayRefused);
  input.addEventListener('change', () => take(input.files));
  document.addEventListener('dragover', (event) => event.preventDefault());
  document.addEventListener('drop', (event) => {
    event.preventDefault();
    if (event.dataTransfer.files.length > 0) take(event.dataTransfer.files);
  });
}
for (const label of document.querySelectorAll('label[data-take]')) {
  label.addEventListener('keydown', (event) => {
    if (event.key !== 'Enter' && event.key !== ' ') return;
    event.preventDefault();
    label.querySelector('input').click();
  });
}
try {
  const told = sessionStorage.getItem(LATER);
  sessionStorage.removeItem(LATER);
  if (told) say(told);
} catch {
  // Nothing was kept.
}
// Another module says when a page with more on it is ready.
if (!document.querySelector('[data-light-table], [data-records]')) document.documentElement.dataset.ready = '1';

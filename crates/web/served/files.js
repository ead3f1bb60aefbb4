// Files handed to a test: the log of the field, scans, a table of readings.
import { Refused, ask, say, sayRefused } from './ask.js';

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

/** Sends files one after the other; the test's revision goes along. */
export async function sendScans(test, revision, files, most) {
  // Told before hours of sending, not after.
  const large = [...files].find((file) => file.size > most);
  if (large) {
    throw new Refused(413, {
      problem: `${large.name} has ${(large.size / 2 ** 30).toFixed(1)} GB, and at most ${(most / 2 ** 30).toFixed(0)} GB are taken`,
      remedy: 'scan less of the bed or with fewer lines, or save one grey channel instead of three colours',
    });
  }
  let expected = revision;
  for (const [at, file] of [...files].entries()) {
    say(`Taking in ${file.name} (${at + 1} of ${files.length}) …`);
    const answer = await ask(
      `/api/tests/${test}/scans?expected_revision=${expected}&name=${encodeURIComponent(file.name)}`,
      { method: 'POST', body: file },
    );
    expected = answer.revision;
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
  const take = (files) => sendScans(test, Number(revision), files, Number(input.dataset.most)).catch(sayRefused);
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
// Another module says when a page with more on it is ready.
if (!document.querySelector('[data-light-table], [data-records]')) document.documentElement.dataset.ready = '1';

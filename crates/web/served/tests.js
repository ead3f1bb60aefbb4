// Takes a bundle in: a file that is chosen, or dropped anywhere on the page.
import { ask, say, sayRefused } from './ask.js';

const chooser = document.getElementById('bundle');

async function takeIn(file) {
  if (!file) return;
  say(`Taking in ${file.name} …`);
  try {
    const answer = await ask('/api/bundles', { method: 'POST', body: file });
    location.assign(answer.next);
  } catch (error) {
    sayRefused(error);
  }
}

chooser?.addEventListener('change', () => takeIn(chooser.files[0]));
chooser?.closest('label').addEventListener('keydown', (event) => {
  if (event.key === 'Enter' || event.key === ' ') {
    event.preventDefault();
    chooser.click();
  }
});
document.addEventListener('dragover', (event) => event.preventDefault());
document.addEventListener('drop', (event) => {
  event.preventDefault();
  takeIn(event.dataTransfer.files[0]);
});
document.documentElement.dataset.ready = '1';

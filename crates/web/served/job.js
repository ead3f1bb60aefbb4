// Follows one piece of long work until it ends.
import { ask, sayRefused } from './ask.js';

const place = document.querySelector('[data-job]');
const bar = place.querySelector('progress');
const work = place.querySelector('[data-work]');

async function follow() {
  let state;
  try {
    state = await ask(`/api/jobs/${place.dataset.job}`);
  } catch (error) {
    sayRefused(error);
    return;
  }
  if (state.state === 'done' && state.notes.length === 0) {
    location.replace(state.result);
    return;
  }
  if (state.state !== 'running') {
    location.reload();
    return;
  }
  work.textContent = state.work;
  if (state.total > 0) {
    bar.max = state.total;
    bar.value = state.done;
  } else {
    bar.removeAttribute('value');
  }
  setTimeout(follow, 150);
}

if (place.dataset.state === 'running') follow();

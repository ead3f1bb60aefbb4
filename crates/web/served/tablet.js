// The step tablet: follows the search for it, and shows what was found before it is kept.
import { ask, sayRefused } from './ask.js';

const place = () => document.getElementById('tablet');

/** Gives the outlines of what was found and is not kept, by scan. */
function outlines(found) {
  const scans = new Map();
  for (const of of found) {
    scans.set(of.scan, of.steps.map((step) => ({
      kind: 'tablet_step',
      letter: String(step.step),
      tablet: of.tablet,
      proposed: true,
      corners_px: step.outline_px,
    })));
  }
  return scans;
}

/** Puts the part of the page about the tablet in its place again. */
async function again(test) {
  const text = await (await fetch(`/tests/${test}/tablet`)).text();
  const told = new DOMParser().parseFromString(text, 'text/html').getElementById('tablet');
  if (told) place().replaceWith(told);
}

async function search(test, job) {
  let state;
  do {
    await new Promise((wake) => setTimeout(wake, 150));
    state = await ask(`/api/jobs/${job}`);
    const bar = place().querySelector('progress');
    place().querySelector('[data-work]').textContent = state.work;
    if (state.total > 0) {
      bar.max = state.total;
      bar.value = state.done;
    }
  } while (state.state === 'running');
  await again(test);
}

/**
 * Follows the search until it ends. Tells `found` what was found, by scan, and `byHand`
 * which scan is to be outlined by hand, or none.
 */
export async function follow({ found, byHand }) {
  const part = place();
  if (!part) return;
  document.addEventListener('click', (event) => {
    const button = event.target.closest?.('[data-by-hand]');
    if (button) byHand(button.dataset.byHand);
  });
  const { tablet: test } = part.dataset;
  try {
    while (place().dataset.tabletJob) await search(test, place().dataset.tabletJob);
    if (place().querySelector('.cut-out')) {
      found(outlines((await ask(`/api/tests/${test}/tablet-search`)).found));
    }
  } catch (error) {
    sayRefused(error);
  }
}

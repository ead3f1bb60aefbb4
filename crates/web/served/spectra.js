// Asks for the answer again whenever a field changes; the last question wins.
import { sayRefused, say, Refused } from './ask.js';

const form = document.getElementById('question');
const place = document.getElementById('answer');
let asked = null;
let waiting = false;

for (const name of ['film_curve', 'filter_curve']) {
  // What is not given stands in no address.
  form.elements[name].addEventListener('change', () => ask());
}

function kinds() {
  const kind = form.elements.kind.value;
  for (const part of form.querySelectorAll('[data-kind]')) {
    part.hidden = part.dataset.kind !== kind;
  }
}

function values() {
  for (const output of form.querySelectorAll('output[data-of]')) {
    output.textContent = form.elements[output.dataset.of].value + output.dataset.unit;
  }
}

async function ask() {
  asked?.abort();
  asked = new AbortController();
  const query = new URLSearchParams([...new FormData(form)].filter(([, value]) => value !== ''));
  place.setAttribute('aria-busy', 'true');
  try {
    // Curves are too long for an address; what is chosen from lists is not.
    const own = query.get('film_curve') || query.get('filter_curve');
    const answer = own
      ? await fetch(form.dataset.answer, {
          method: 'POST',
          body: query,
          headers: { 'x-filmproof-token': document.querySelector('meta[name=token]').content },
          signal: asked.signal,
        })
      : await fetch(`${form.dataset.answer}?${query}`, { signal: asked.signal });
    const text = await answer.text();
    const told = new DOMParser().parseFromString(text, 'text/html');
    if (answer.ok) {
      place.replaceChildren(...told.body.childNodes);
      if (!own) history.replaceState(null, '', `?${query}`);
      say('');
    } else {
      const words = told.querySelector('main')?.textContent ?? text;
      sayRefused(new Refused(answer.status, { problem: words }));
    }
  } catch (error) {
    if (error.name !== 'AbortError') sayRefused(new Refused(0, { problem: 'The program does not answer' }));
  } finally {
    place.removeAttribute('aria-busy');
  }
}

form.addEventListener('input', () => {
  kinds();
  values();
  // One question for each frame of the screen is enough.
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => {
    waiting = false;
    ask();
  });
});
form.addEventListener('submit', (event) => {
  event.preventDefault();
  ask();
});
kinds();
try {
  // A curve that was just read off a printed plot.
  const traced = JSON.parse(sessionStorage.getItem('traced') ?? 'null');
  if (traced && form.elements[traced.field]) {
    sessionStorage.removeItem('traced');
    form.elements[traced.field].value = traced.text;
    form.elements[traced.field].closest('details').open = true;
    ask();
  }
} catch {
  // A browser that keeps nothing has nothing to hand over.
}
document.documentElement.dataset.ready = '1';

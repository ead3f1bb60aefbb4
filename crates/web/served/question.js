// Asks for the answer again whenever a field of the form changes. One question is on
// its way at a time; of those that come up meanwhile only the last is asked.
import { sayRefused, say, Refused } from './ask.js';

const form = document.getElementById('question');
const place = document.getElementById('answer');
const keeps = form.hasAttribute('data-keeps');
let asking = false;
let again = false;

/** Shows the fields of what is chosen, and those of nothing else. */
function choices() {
  for (const part of form.querySelectorAll('[data-when]')) {
    part.hidden = form.elements[part.dataset.when].value !== part.dataset.is;
  }
}

function values() {
  for (const output of form.querySelectorAll('output[data-of]')) {
    output.textContent = form.elements[output.dataset.of].value + output.dataset.unit;
  }
}

/** Sends the form: where something is kept by it, or holds curves, not by an address. */
async function answer() {
  const query = new URLSearchParams([...new FormData(form)].filter(([, value]) => value !== ''));
  const long = query.get('film_curve') || query.get('filter_curve');
  const sent = keeps || long
    ? await fetch(form.dataset.answer, {
        method: 'POST',
        body: query,
        headers: { 'x-filmproof-token': document.querySelector('meta[name=token]').content },
      })
    : await fetch(`${form.dataset.answer}?${query}`);
  const text = await sent.text();
  const told = new DOMParser().parseFromString(text, 'text/html');
  if (sent.ok) {
    place.replaceChildren(...told.body.childNodes);
    if (!keeps && !long) history.replaceState(null, '', `?${query}`);
    say('');
  } else {
    const words = told.querySelector('main')?.textContent ?? text;
    sayRefused(new Refused(sent.status, { problem: words }));
  }
}

async function ask() {
  if (asking) {
    again = true;
    return;
  }
  asking = true;
  place.setAttribute('aria-busy', 'true');
  do {
    again = false;
    try {
      await answer();
    } catch {
      sayRefused(new Refused(0, { problem: 'The program does not answer' }));
    }
  } while (again);
  asking = false;
  place.removeAttribute('aria-busy');
}

form.addEventListener('input', () => {
  choices();
  values();
  ask();
});
form.addEventListener('submit', (event) => {
  if (keeps) return;
  event.preventDefault();
  ask();
});
choices();
values();
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
if (place.hasAttribute('data-ask')) await ask();
document.documentElement.dataset.ready = '1';

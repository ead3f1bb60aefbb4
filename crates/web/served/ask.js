// Asking the program: one place for the token, the refusals and the line at the
// top of the window that says what happened.

const token = () => document.querySelector('meta[name=token]')?.content ?? '';

/** What was refused: the problem, what to do, and the status. */
export class Refused extends Error {
  constructor(status, told) {
    super(told.problem);
    this.status = status;
    this.remedy = told.remedy ?? '';
  }
}

/** Asks the program and gives its JSON; throws a Refused. */
export async function ask(address, { method = 'GET', json, body, signal } = {}) {
  const headers = {};
  if (method !== 'GET') headers['x-filmproof-token'] = token();
  if (json !== undefined) {
    headers['content-type'] = 'application/json';
    body = JSON.stringify(json);
  }
  let answer;
  try {
    answer = await fetch(address, { method, headers, body, signal });
  } catch (error) {
    if (error.name === 'AbortError') throw error;
    throw new Refused(0, {
      problem: 'The program does not answer.',
      remedy: 'See whether it still runs. What is on this page is kept until you close it.',
    });
  }
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) {
    throw new Refused(answer.status, {
      problem: told.problem ?? `The program refused (${answer.status}).`,
      remedy: told.remedy ?? '',
    });
  }
  return told;
}

let passes = 0;

/**
 * Says something at the top of the window until something else is said or it is
 * clicked away; what only passes goes by itself.
 */
export function say(text, { passing = false } = {}) {
  const place = document.getElementById('said');
  if (!place) return;
  place.textContent = text;
  place.onclick = () => say('');
  clearTimeout(passes);
  if (passing) passes = setTimeout(() => say(''), 6000);
}

/** Says why something was refused. */
export function sayRefused(error) {
  say([error.message, error.remedy].filter(Boolean).map(sentence).join(' '));
}

/** A message as a sentence. */
export function sentence(text) {
  const trimmed = text.trim();
  if (!trimmed) return '';
  const capital = trimmed[0].toUpperCase() + trimmed.slice(1);
  return /[.?!:]$/.test(capital) ? capital : `${capital}.`;
}

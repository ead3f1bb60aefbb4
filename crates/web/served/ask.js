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

const SILENT = {
  problem: 'The program does not answer.',
  remedy: 'See whether it still runs. What is on this page is kept until you close it.',
};

function refused(status, told) {
  return new Refused(status, {
    problem: told.problem ?? `The program refused (${status}).`,
    remedy: told.remedy ?? '',
  });
}

/**
 * Asks the program and gives its JSON; throws a Refused. What is lasting goes on though
 * the page is left.
 */
export async function ask(address, { method = 'GET', json, body, signal, lasting = false } = {}) {
  const headers = {};
  if (method !== 'GET') headers['x-filmproof-token'] = token();
  if (json !== undefined) {
    headers['content-type'] = 'application/json';
    body = JSON.stringify(json);
  }
  let answer;
  try {
    answer = await fetch(address, { method, headers, body, signal, keepalive: lasting });
  } catch (error) {
    if (error.name === 'AbortError') throw error;
    throw new Refused(0, SILENT);
  }
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw refused(answer.status, told);
  return told;
}

/** Sends a file, with PUT unless it is told otherwise, and tells the bytes that have gone; throws a Refused. */
export function send(address, { file, signal, told, method = 'PUT' }) {
  return new Promise((fine, bad) => {
    const request = new XMLHttpRequest();
    request.open(method, address);
    request.setRequestHeader('x-filmproof-token', token());
    request.setRequestHeader('content-type', 'application/octet-stream');
    request.responseType = 'json';
    const stopped = () => bad(new DOMException('stopped', 'AbortError'));
    const stop = () => request.abort();
    request.upload.onprogress = (event) => told(event.loaded);
    request.onload = () => {
      const answer = request.response ?? {};
      if (request.status >= 200 && request.status < 300) fine(answer);
      else bad(refused(request.status, answer));
    };
    request.onerror = () => bad(new Refused(0, SILENT));
    request.onabort = stopped;
    request.onloadend = () => signal.removeEventListener('abort', stop);
    if (signal.aborted) {
      stopped();
      return;
    }
    signal.addEventListener('abort', stop);
    request.send(file);
  });
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

// Takes a test in: a bundle or a test folder, chosen or dropped anywhere on the page.
import { ask, say, sayRefused } from './ask.js';
import { chosen, dropped, takeFolderIn } from './folder.js';

const bundle = document.getElementById('bundle');
const folder = document.getElementById('folder');

async function takeBundleIn(file) {
  if (!file) return;
  say(`Taking in ${file.name} …`);
  try {
    const answer = await ask('/api/bundles', { method: 'POST', body: file });
    location.assign(answer.next);
  } catch (error) {
    sayRefused(error);
  }
}

async function takeDropped(data) {
  // Asked for at once: the list is empty when the event has gone by.
  const entries = [...data.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  const folders = entries.filter((entry) => entry.isDirectory);
  if (folders.length === 1 && entries.length === 1) {
    try {
      await takeFolderIn(await dropped(folders[0]));
    } catch (error) {
      say(`${folders[0].name} can not be read: ${error.message}`);
    }
  } else if (data.files.length === 1 && folders.length === 0) {
    await takeBundleIn(data.files[0]);
  } else {
    say('Drop one bundle, or one test folder as a whole.');
  }
}

bundle?.addEventListener('change', () => takeBundleIn(bundle.files[0]));
folder?.addEventListener('change', () => {
  if (folder.files.length > 0) takeFolderIn(chosen(folder.files));
  else say('The folder holds no file.');
  folder.value = '';
});
for (const input of [bundle, folder]) {
  input?.closest('label').addEventListener('keydown', (event) => {
    if (event.key === 'Enter' || event.key === ' ') {
      event.preventDefault();
      input.click();
    }
  });
}
document.addEventListener('dragover', (event) => event.preventDefault());
document.addEventListener('drop', (event) => {
  event.preventDefault();
  takeDropped(event.dataTransfer);
});
document.documentElement.dataset.ready = '1';

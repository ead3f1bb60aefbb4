// Prints the report and not the page around it, by the button or by the usual keys.
const report = document.getElementById('report');
const print = () => {
  report.contentWindow.focus();
  report.contentWindow.print();
};
if (report) {
  document.querySelector('[data-print]')?.addEventListener('click', print);
  document.addEventListener('keydown', (event) => {
    if (event.key.toLowerCase() === 'p' && (event.ctrlKey || event.metaKey) && !event.shiftKey && !event.altKey) {
      event.preventDefault();
      print();
    }
  });
}
document.documentElement.dataset.ready = '1';

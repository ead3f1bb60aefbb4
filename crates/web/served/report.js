// Prints the report and not the page around it.
const report = document.getElementById('report');
document.querySelector('[data-print]')?.addEventListener('click', () => {
  report.contentWindow.focus();
  report.contentWindow.print();
});
document.documentElement.dataset.ready = '1';

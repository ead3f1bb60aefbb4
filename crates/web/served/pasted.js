// Rows that are pasted from a spreadsheet: whether the first one names their columns.

/** A head without case, marks and what units are written in. */
const plain = (text) =>
  text
    .toLowerCase()
    .replace(/[^\p{L}\p{N}°]+/gu, ' ')
    .trim();

/**
 * Takes a row of heads off pasted lines. `heads` are the words that name each column of
 * the table, `column` is where the pasting begins, and `isValue` tells whether a text can
 * stand in a column. Gives the lines to be laid, and for each of their cells the column
 * that its head names; without a row of heads `columns` is null.
 *
 * Every cell of a row of heads names a column, each another one, and a lone cell the
 * column it is pasted into.
 */
export function withoutHeads(lines, heads, column, isValue) {
  const names = heads.map((words) => words.map(plain));
  const [first, ...rest] = lines;
  const columns = first.map((cell) => names.findIndex((words) => plain(cell) !== '' && words.includes(plain(cell))));
  const filled = Math.max(...lines.map((line) => line.findLastIndex((cell) => cell.trim() !== '') + 1));
  // A spreadsheet may hand over empty columns at the end.
  const told = columns.slice(0, filled);
  const isHeads =
    filled > 0 &&
    told.length === filled &&
    told.every((at) => at >= 0) &&
    new Set(told).size === told.length &&
    (told.length > 1 || told[0] === column) &&
    !told.every((at, i) => isValue(at, first[i].trim()));
  return isHeads ? { lines: rest.map((line) => line.slice(0, filled)), columns: told } : { lines, columns: null };
}

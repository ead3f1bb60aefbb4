// Two windows changed one record: what stood before, mine, theirs.

const names = (one, other) => new Set([...Object.keys(one), ...Object.keys(other)]);
const cell = (row, key) => row?.cells[key] ?? '';

/** Whether two rows hold the same. */
function alike(one, other) {
  return [...names(one.cells, other.cells)].every((key) => cell(one, key) === cell(other, key));
}

/**
 * Joins tables of rows. Gives the joined tables, the cells that were changed in
 * both places (mine stand there), and how many there are.
 */
export function merged(base, mine, theirs) {
  const tables = {};
  const marks = {};
  let clashes = 0;
  for (const table of names(mine, theirs)) {
    const joined = [];
    const marked = [];
    const before = base[table] ?? [];
    const own = mine[table] ?? [];
    const other = theirs[table] ?? [];
    // A row is the same one when its name was the same before both changed it.
    const otherOf = (row) => other.find((r) => cell(r, 'id') === cell(row, 'id'));
    const taken = new Set();
    for (const row of own) {
      const stood = row.was === null ? undefined : before.find((r) => r.was === row.was);
      const now = stood && otherOf(stood);
      if (!stood) {
        joined.push({ was: null, cells: row.cells });
      } else if (now) {
        taken.add(now);
        const cells = {};
        for (const key of names(row.cells, { ...stood.cells, ...now.cells })) {
          const [b, m, t] = [cell(stood, key), cell(row, key), cell(now, key)];
          const value = m === b ? t : m;
          if (m !== b && t !== b && m !== t) {
            marked.push({ place: joined.length, key, theirs: t });
            clashes += 1;
          }
          if (value !== '') cells[key] = value;
        }
        joined.push({ was: now.was, cells });
      } else if (!alike(row, stood)) {
        // Changed here, taken out there: it stays, as a new one.
        marked.push({ place: joined.length, key: 'id', theirs: '' });
        clashes += 1;
        joined.push({ was: null, cells: row.cells });
      }
    }
    for (const row of other) {
      if (taken.has(row)) continue;
      const stood = before.find((r) => cell(r, 'id') === cell(row, 'id'));
      const kept = stood && own.some((r) => r.was === stood.was);
      if (kept) continue;
      // New there, or taken out here and changed there.
      if (!stood || !alike(row, stood)) joined.push({ was: row.was, cells: row.cells });
    }
    tables[table] = joined;
    marks[table] = marked;
  }
  return { tables, marks, clashes };
}

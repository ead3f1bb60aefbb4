//! A table of numbers by wavelength.

/// Columns of numbers by wavelength; empty cells are not known.
///
/// Invariant: wavelengths in nm rise strictly, each row is as long as the head.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    names: Vec<String>,
    rows: Vec<(f64, Vec<Option<f64>>)>,
}

/// Why a text is no table.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TableError {
    /// A line can't be read.
    #[error("{table}, line {line}: {why}")]
    Line {
        /// The table.
        table: String,
        /// The line, counted from 1.
        line: usize,
        /// What is wrong.
        why: String,
    },
    /// No such column.
    #[error("the table has no column {0}")]
    NoColumn(String),
}

impl Table {
    /// Reads a table: a head, then rows, wavelength in nm first.
    ///
    /// # Errors
    /// [`TableError`] with the line.
    pub(crate) fn parsed(table: &str, text: &str) -> Result<Self, TableError> {
        let wrong = |line: usize, why: String| TableError::Line {
            table: table.to_owned(),
            line,
            why,
        };
        let mut lines = text.lines();
        let head = lines.next().unwrap_or_default();
        let mut names = head.split(',').map(str::to_owned);
        if names.next().as_deref() != Some("wavelength_nm") {
            return Err(wrong(1, "must begin with wavelength_nm".to_owned()));
        }
        let names: Vec<String> = names.collect();
        let mut rows: Vec<(f64, Vec<Option<f64>>)> = vec![];
        for (place, text) in lines.enumerate() {
            let line = place + 2;
            let cells = text
                .split(',')
                .map(|cell| match cell {
                    "" => Ok(None),
                    cell => match cell.parse::<f64>() {
                        Ok(value) if value.is_finite() => Ok(Some(value)),
                        _ => Err(wrong(line, format!("'{cell}' is no number"))),
                    },
                })
                .collect::<Result<Vec<_>, _>>()?;
            if cells.len() != names.len() + 1 {
                return Err(wrong(line, format!("has {} cells", cells.len())));
            }
            let nm = cells[0].ok_or_else(|| wrong(line, "has no wavelength".to_owned()))?;
            if rows.last().is_some_and(|(before, _)| *before >= nm) {
                return Err(wrong(line, format!("{nm} nm does not rise")));
            }
            rows.push((nm, cells[1..].to_vec()));
        }
        Ok(Self { names, rows })
    }

    /// Gives the names of the columns without the wavelength.
    #[must_use]
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// Gives the rows: wavelength in nm and the values.
    #[must_use]
    pub fn rows(&self) -> &[(f64, Vec<Option<f64>>)] {
        &self.rows
    }

    /// Gives one column with its wavelengths, nm.
    ///
    /// # Errors
    /// [`TableError::NoColumn`].
    pub fn column(&self, name: &str) -> Result<Vec<(f64, Option<f64>)>, TableError> {
        let place = self
            .names
            .iter()
            .position(|n| n == name)
            .ok_or_else(|| TableError::NoColumn(name.to_owned()))?;
        Ok(self
            .rows
            .iter()
            .map(|(nm, row)| (*nm, row[place]))
            .collect())
    }
}

//! What is wrong with a file, where, and what to do about it.

use core::fmt;
use core::ops::Range;

/// The most problems that are reported in one go.
const MOST: usize = 20;

/// One thing to put right.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// The file, as a path within the folder or as it was named to us.
    pub file: String,
    /// Line, counted from 1; `None` when it concerns the file as a whole.
    pub line: Option<usize>,
    /// Character within the line, counted from 1.
    pub column: Option<usize>,
    /// What was found, with the offending text.
    pub seen: String,
    /// What was expected there.
    pub expected: String,
    /// What to do.
    pub remedy: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(line) = self.line {
            write!(f, ", line {line}")?;
        }
        if let Some(column) = self.column {
            write!(f, ", column {column}")?;
        }
        write!(f, ": {}", self.seen)?;
        if !self.expected.is_empty() {
            write!(f, "\n  expected: {}", self.expected)?;
        }
        if !self.remedy.is_empty() {
            write!(f, "\n  {}", self.remedy)?;
        }
        Ok(())
    }
}

/// Why a folder or file could not be read or written: one or more problems.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub struct FolderError {
    /// The problems, in the order they were found; never empty, at most 20.
    pub problems: Vec<Problem>,
    /// How many more there are than are listed.
    pub more: usize,
}

impl fmt::Display for FolderError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut rest = self.problems.as_slice();
        while let Some((first, after)) = rest.split_first() {
            if rest.len() < self.problems.len() {
                f.write_str("\n")?;
            }
            write!(f, "{first}")?;
            // One slip often shows in many lines: its remedy is told once.
            let alike = after
                .iter()
                .take_while(|p| {
                    p.line.is_some()
                        && (&p.file, &p.expected, &p.remedy)
                            == (&first.file, &first.expected, &first.remedy)
                })
                .count();
            let (same, others) = after.split_at(if alike < 2 { 0 } else { alike });
            if !same.is_empty() {
                let lines: Vec<String> = same
                    .iter()
                    .filter_map(|p| p.line)
                    .map(|line| line.to_string())
                    .collect();
                write!(f, "\n  likewise in lines {}", lines.join(", "))?;
            }
            rest = others;
        }
        if self.more > 0 {
            write!(f, "\nand {} more problems", self.more)?;
        }
        Ok(())
    }
}

impl FolderError {
    /// Makes an error of one problem that concerns a file as a whole.
    pub(crate) fn of_file(
        file: impl Into<String>,
        seen: impl Into<String>,
        expected: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self {
            problems: vec![Problem {
                file: file.into(),
                line: None,
                column: None,
                seen: seen.into(),
                expected: expected.into(),
                remedy: remedy.into(),
            }],
            more: 0,
        }
    }
}

/// A place in a text file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Place {
    /// The file.
    pub(crate) file: String,
    /// Line, counted from 1; 0 for the file as a whole.
    pub(crate) line: usize,
    /// Character within the line, counted from 1; 0 for the line as a whole.
    pub(crate) column: usize,
}

impl Place {
    /// Gives the place that is a whole file.
    pub(crate) fn whole(file: &str) -> Self {
        Self {
            file: file.to_owned(),
            line: 0,
            column: 0,
        }
    }
}

/// Problems met so far.
#[derive(Debug, Default)]
pub(crate) struct Problems {
    list: Vec<Problem>,
    more: usize,
}

impl Problems {
    /// Adds a problem.
    pub(crate) fn add(
        &mut self,
        place: &Place,
        seen: impl Into<String>,
        expected: impl Into<String>,
        remedy: impl Into<String>,
    ) {
        let counted = |n: usize| (n > 0).then_some(n);
        self.push(Problem {
            file: place.file.clone(),
            line: counted(place.line),
            column: counted(place.column),
            seen: seen.into(),
            expected: expected.into(),
            remedy: remedy.into(),
        });
    }

    /// Adds a problem that was put into words already.
    pub(crate) fn push(&mut self, problem: Problem) {
        if self.list.len() == MOST {
            self.more += 1;
        } else {
            self.list.push(problem);
        }
    }

    /// Adds the problems of an error made elsewhere.
    pub(crate) fn add_all(&mut self, error: FolderError) {
        for problem in error.problems {
            self.push(problem);
        }
        self.more += error.more;
    }

    /// Says whether there are none.
    pub(crate) fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// Gives an error when there are any.
    pub(crate) fn into_result(self) -> Result<(), FolderError> {
        if self.list.is_empty() {
            Ok(())
        } else {
            Err(FolderError {
                problems: self.list,
                more: self.more,
            })
        }
    }
}

/// A text file with its lines found.
#[derive(Debug)]
pub(crate) struct Source {
    /// The file, as it is named in problems.
    pub(crate) file: String,
    /// What it holds.
    pub(crate) text: String,
    line_starts: Vec<usize>,
}

impl Source {
    /// Takes a file's text.
    pub(crate) fn new(file: &str, text: String) -> Self {
        let line_starts = core::iter::once(0)
            .chain(text.match_indices('\n').map(|(at, _)| at + 1))
            .collect();
        Self {
            file: file.to_owned(),
            text,
            line_starts,
        }
    }

    /// Gives the place of a byte offset.
    pub(crate) fn place(&self, offset: usize) -> Place {
        let line = self.line_starts.partition_point(|start| *start <= offset);
        let start = self.line_starts[line - 1];
        let before = self.text.get(start..offset).unwrap_or_default();
        Place {
            file: self.file.clone(),
            line,
            column: before.chars().count() + 1,
        }
    }

    /// Gives the text of a span, cut short to what fits in a message.
    pub(crate) fn quoted(&self, span: &Range<usize>) -> String {
        short(self.text.get(span.clone()).unwrap_or_default())
    }
}

/// Cuts a text to its first line and at most 60 characters.
pub(crate) fn short(text: &str) -> String {
    let line = text.lines().next().unwrap_or_default();
    let mut cut: String = line.chars().take(60).collect();
    if cut.len() < text.trim_end().len() {
        cut.push('…');
    }
    cut
}

/// Gives the names that a mistyped one may have meant, best first, at most three.
pub(crate) fn likely<'a>(wrong: &str, known: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let wrong = wrong.to_lowercase();
    let letters = wrong.chars().count();
    let mut ranked: Vec<(usize, &str)> = known
        .filter_map(|name| {
            let lower = name.to_lowercase();
            let distance = edit_distance(&wrong, &lower);
            let rank = if lower == wrong {
                0
            } else if wrong.len() >= 2 && lower.starts_with(&wrong) {
                1
            } else if distance < letters && distance <= (letters / 3).max(1) {
                1 + distance
            } else if wrong.len() >= 2 && lower.split('_').any(|word| word == wrong) {
                8
            } else if wrong.len() >= 4 && wrong.split('_').next() == lower.split('_').next() {
                9
            } else {
                return None;
            };
            Some((rank, name))
        })
        .collect();
    ranked.sort();
    ranked.into_iter().take(3).map(|(_, name)| name).collect()
}

/// Number of letters to add, drop or change to get from one word to the other.
fn edit_distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().take(64).collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().take(64).enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let change = diagonal + usize::from(x != *y);
            diagonal = row[j + 1];
            row[j + 1] = change.min(diagonal + 1).min(row[j] + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_that_differ_are_counted() {
        // Hand count: kitten -> sitten -> sittin -> sitting.
        assert_eq!(edit_distance("kitten", "sitting"), 3);
        assert_eq!(edit_distance("", "abc"), 3);
    }

    #[test]
    fn a_key_without_its_unit_is_recognised() {
        let known = ["id", "time_s", "temperature_c"];
        assert_eq!(likely("time", known.into_iter()), ["time_s"]);
        assert_eq!(likely("temperature", known.into_iter()), ["temperature_c"]);
        assert_eq!(likely("zzz", known.into_iter()), Vec::<&str>::new());
    }

    #[test]
    fn lines_and_characters_are_counted_from_one() {
        let source = Source::new("f", "ab\nµx = 1\n".to_owned());
        let at = |offset| {
            let place = source.place(offset);
            (place.line, place.column)
        };
        assert_eq!(at(0), (1, 1));
        assert_eq!(at(3), (2, 1));
        // µ takes two bytes and is one character.
        assert_eq!(at(5), (2, 2));
        assert_eq!(at(1000), (3, 1));
    }
}

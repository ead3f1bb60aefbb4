//! Labelled records: `##LABEL= value`, remarks after `$$`, values over several lines.

use super::error::JcampError;
use crate::read::text::Line;

/// One labelled record.
#[derive(Debug)]
pub(super) struct Record<'a> {
    /// Line of the label, counted from 1.
    pub line: usize,
    /// The label as compared: upper case, without blanks and `- / _`.
    pub label: String,
    /// What stands after the sign, on the label's own line.
    pub value: &'a str,
    /// The lines up to the next label.
    pub more: Vec<Line<'a>>,
}

/// The records of a text in their order.
///
/// # Errors
/// [`JcampError::NoLabel`] for words before the first label or a label without its sign.
pub(super) fn records<'a>(lines: &[Line<'a>]) -> Result<Vec<Record<'a>>, JcampError> {
    let mut records: Vec<Record<'a>> = vec![];
    for line in lines {
        let text = line
            .text
            .split_once("$$")
            .map_or(line.text, |(before, _)| before)
            .trim();
        if text.is_empty() {
            continue;
        }
        let no_label = || JcampError::NoLabel {
            line: line.number,
            text: text.chars().take(40).collect(),
        };
        if let Some(rest) = text.strip_prefix("##") {
            let (label, value) = rest.split_once('=').ok_or_else(no_label)?;
            records.push(Record {
                line: line.number,
                label: compared(label),
                value: value.trim(),
                more: vec![],
            });
        } else {
            let record = records.last_mut().ok_or_else(no_label)?;
            record.more.push(Line {
                number: line.number,
                text,
            });
        }
    }
    Ok(records)
}

/// A label as labels are compared: case, blanks, dashes, slashes and underscores don't count.
fn compared(label: &str) -> String {
    label
        .chars()
        .filter(|c| !c.is_whitespace() && !"-/_".contains(*c))
        .flat_map(char::to_uppercase)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::text::lines;

    #[test]
    fn labels_are_compared_without_case_blanks_and_dashes() {
        let text = "##TITLE= a $$ remark\n$$ only a remark\n##Data-Type =X\n##BLOCK_ID=1\nmore\n";
        let lines = lines(text);
        let records = records(&lines).unwrap();
        let seen: Vec<(&str, &str, usize)> = records
            .iter()
            .map(|r| (r.label.as_str(), r.value, r.more.len()))
            .collect();
        assert_eq!(
            seen,
            [("TITLE", "a", 0), ("DATATYPE", "X", 0), ("BLOCKID", "1", 1)]
        );
    }

    #[test]
    fn a_record_without_a_sign_is_refused() {
        for (text, line) in [
            ("##TITLE a", 1),
            ("words\n##TITLE= a", 1),
            ("##TITLE= a\n##NPOINTS 3", 2),
        ] {
            let seen = records(&lines(text));
            assert!(
                matches!(seen, Err(JcampError::NoLabel { line: at, .. }) if at == line),
                "{text:?}: {seen:?}"
            );
        }
    }
}

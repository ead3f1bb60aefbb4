//! Blocks: one spectrum from ##TITLE= to ##END=, or a LINK that holds several.

use super::records::Record;

/// The records of one spectrum.
#[derive(Debug, Default)]
pub(super) struct Block<'a> {
    pub records: Vec<Record<'a>>,
}

impl<'a> Block<'a> {
    /// The first record with this label (as labels are compared).
    pub(super) fn find(&self, label: &str) -> Option<&Record<'a>> {
        self.records.iter().find(|record| record.label == label)
    }

    /// The title, or a word for there being none.
    pub(super) fn title(&self) -> &str {
        self.find("TITLE")
            .map_or("without a title", |record| record.value)
    }

    /// The record that holds a table of numbers or of peaks.
    pub(super) fn table(&self) -> Option<&Record<'a>> {
        self.records.iter().find(|record| {
            [
                "XYDATA",
                "XYPOINTS",
                "PEAKTABLE",
                "PEAKASSIGNMENTS",
                "RADATA",
                "NTUPLES",
                "DATATABLE",
            ]
            .contains(&record.label.as_str())
        })
    }
}

/// The blocks that hold a table, in their order, out of any LINKs round them.
///
/// A title inside a block that has its table already begins the next block even
/// where ##END= was forgotten.
pub(super) fn blocks(records: Vec<Record<'_>>) -> Vec<Block<'_>> {
    let mut found = vec![];
    let mut open: Vec<Block<'_>> = vec![];
    for record in records {
        match record.label.as_str() {
            "TITLE" => {
                if open.last().is_some_and(|block| block.table().is_some()) {
                    found.extend(open.pop());
                }
                open.push(Block {
                    records: vec![record],
                });
            }
            "END" => found.extend(open.pop().filter(|block| block.table().is_some())),
            _ => {
                if open.is_empty() {
                    open.push(Block::default());
                }
                if let Some(block) = open.last_mut() {
                    block.records.push(record);
                }
            }
        }
    }
    found.extend(open.into_iter().filter(|block| block.table().is_some()));
    found
}

#[cfg(test)]
mod tests {
    use super::super::records::records;
    use super::*;
    use crate::read::text::lines;

    #[test]
    fn a_link_gives_its_spectra_with_and_without_ends() {
        for text in [
            "##TITLE= all\n##DATA TYPE= LINK\n##TITLE= a\n##XYDATA= x\n##END=\n##TITLE= b\n##XYPOINTS= x\n##END=\n##END=",
            "##TITLE= all\n##DATA TYPE= LINK\n##TITLE= a\n##XYDATA= x\n##TITLE= b\n##XYPOINTS= x",
        ] {
            let lines = lines(text);
            let blocks = blocks(records(&lines).unwrap());
            let titles: Vec<&str> = blocks.iter().map(Block::title).collect();
            assert_eq!(titles, ["a", "b"], "{text:?}");
        }
    }
}

//! Tables of records: each column stands once, its head beside what its cells say.
//!
//! How wide a column is and where it breaks is the style sheet's business; here a
//! column only says what it holds. Wrapping a table for narrow screens is `words`'.

use maud::{Markup, Render, html};

/// A table whose rows are made from records.
pub(crate) struct Table<'a, R> {
    columns: Vec<Column<'a, R>>,
    caption: Option<Markup>,
}

struct Column<'a, R> {
    head: Markup,
    /// Whether its cells name their row.
    names_row: bool,
    /// Class of cells in the style sheet.
    class: Option<&'static str>,
    cell: Box<dyn Fn(R) -> Markup + 'a>,
}

/// Class of numbers; their heads stand over them, so they have it too.
const NUMBER: &str = "n";

impl<'a, R: Copy + 'a> Table<'a, R> {
    /// A table without columns.
    pub(crate) fn new() -> Self {
        Self {
            columns: vec![],
            caption: None,
        }
    }

    /// Says something over the table.
    pub(crate) fn caption(mut self, caption: Markup) -> Self {
        self.caption = Some(caption);
        self
    }

    /// What each row is called.
    pub(crate) fn name<C: Render>(self, head: impl Render, cell: impl Fn(R) -> C + 'a) -> Self {
        self.column(head, true, None, cell)
    }

    /// The same, where names are phrases.
    pub(crate) fn long_name<C: Render>(
        self,
        head: impl Render,
        cell: impl Fn(R) -> C + 'a,
    ) -> Self {
        self.column(head, true, Some("some"), cell)
    }

    /// Text that breaks where it likes.
    pub(crate) fn text<C: Render>(self, head: impl Render, cell: impl Fn(R) -> C + 'a) -> Self {
        self.column(head, false, None, cell)
    }

    /// A few words on one line.
    pub(crate) fn words<C: Render>(self, head: impl Render, cell: impl Fn(R) -> C + 'a) -> Self {
        self.column(head, false, Some("word"), cell)
    }

    /// A verdict.
    pub(crate) fn verdict<C: Render>(self, head: impl Render, cell: impl Fn(R) -> C + 'a) -> Self {
        self.column(head, false, Some("verdict"), cell)
    }

    /// A number.
    pub(crate) fn number<C: Render>(self, head: impl Render, cell: impl Fn(R) -> C + 'a) -> Self {
        self.column(head, false, Some(NUMBER), cell)
    }

    /// A phrase of a line or two.
    pub(crate) fn phrase<C: Render>(self, head: impl Render, cell: impl Fn(R) -> C + 'a) -> Self {
        self.column(head, false, Some("some"), cell)
    }

    /// Sentences.
    pub(crate) fn sentences<C: Render>(
        self,
        head: impl Render,
        cell: impl Fn(R) -> C + 'a,
    ) -> Self {
        self.column(head, false, Some("long"), cell)
    }

    /// A checksum.
    pub(crate) fn checksum<C: Render>(self, head: impl Render, cell: impl Fn(R) -> C + 'a) -> Self {
        self.column(head, false, Some("hash"), cell)
    }

    fn column<C: Render>(
        mut self,
        head: impl Render,
        names_row: bool,
        class: Option<&'static str>,
        cell: impl Fn(R) -> C + 'a,
    ) -> Self {
        self.columns.push(Column {
            head: head.render(),
            names_row,
            class,
            cell: Box::new(move |record| cell(record).render()),
        });
        self
    }

    /// Writes the table, a row for each record.
    pub(crate) fn of(&self, records: impl IntoIterator<Item = R>) -> Markup {
        html! {
            table {
                @if let Some(caption) = &self.caption { caption { (caption) } }
                thead { tr {
                    @for column in &self.columns {
                        th class=[column.class.filter(|class| *class == NUMBER)] scope="col" { (column.head) }
                    }
                } }
                tbody {
                    @for record in records { tr {
                        @for column in &self.columns {
                            @if column.names_row { th class=[column.class] scope="row" { ((column.cell)(record)) } }
                            @else { td class=[column.class] { ((column.cell)(record)) } }
                        }
                    } }
                }
            }
        }
    }
}

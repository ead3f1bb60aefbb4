//! What can be chosen by name for a prediction, for whoever offers a choice.

use crate::AppError;
use crate::named_spectra::{LEAVES, SKIES};
use crate::sun::damaged;
use spectra::FilmClass;
use spectra::plain_subject::PlainSubject;

/// Names that a prediction understands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SpectraChoices {
    /// Classes of film, from the shortest reach to the longest.
    pub film_classes: Vec<&'static str>,
    /// Numbers of gelatin filters of the published table.
    pub gelatin_filters: Vec<String>,
    /// Skies that take the sun's height after a colon.
    pub skies: Vec<&'static str>,
    /// Subjects that are held against a grey card.
    pub subjects: Vec<&'static str>,
}

/// Gives the names that a prediction understands.
///
/// # Errors
/// [`AppError`] when the program's own tables are damaged.
pub fn spectra_choices() -> Result<SpectraChoices, AppError> {
    let table = reference::gelatin_filters_percent().map_err(damaged)?;
    let leaves = LEAVES.iter().map(|(word, _, _)| *word);
    Ok(SpectraChoices {
        film_classes: FilmClass::ALL.into_iter().map(FilmClass::word).collect(),
        gelatin_filters: table
            .names()
            .iter()
            .filter_map(|name| name.strip_prefix("No"))
            .map(str::to_owned)
            .collect(),
        skies: SKIES.iter().map(|(word, _)| *word).collect(),
        subjects: leaves
            .chain(PlainSubject::ALL.into_iter().map(PlainSubject::word))
            .collect(),
    })
}

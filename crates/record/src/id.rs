//! Names by which records refer to each other.

use core::fmt;

/// A short name of a record, unique among records of its kind.
///
/// Letters, digits, `-`, `_` and `.`; 1 to 64 characters; starts with a letter
/// or a digit. Safe to use in a file name or an anchor of a page.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Id(String);

/// Why a text is no record name.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "{text:?} is no record name: use 1 to 64 letters, digits, '-', '_' or '.', starting with a letter or digit"
)]
pub struct IdError {
    /// The text seen.
    pub text: String,
}

impl Id {
    /// Takes a record name.
    ///
    /// # Errors
    /// [`IdError`] when the text is empty, too long or holds other characters.
    pub fn new(text: &str) -> Result<Self, IdError> {
        let sound = text.chars().count() <= 64
            && text.chars().next().is_some_and(char::is_alphanumeric)
            && text
                .chars()
                .all(|c| c.is_alphanumeric() || matches!(c, '-' | '_' | '.'));
        if sound {
            Ok(Self(text.to_owned()))
        } else {
            Err(IdError {
                text: text.chars().take(80).collect(),
            })
        }
    }

    /// Gives the text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_could_leave_a_folder_are_refused() {
        for bad in ["", "..", ".hidden", "a/b", "a b", "-x", "a\u{0}"] {
            assert!(Id::new(bad).is_err(), "{bad:?}");
        }
        for good in ["f1", "holder-3B", "IR.715", "Ⅴ", "7"] {
            assert!(Id::new(good).is_ok(), "{good:?}");
        }
    }
}

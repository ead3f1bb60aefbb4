//! One letter for each patch name: the same in every frame, table and figure.

use findings::Findings;
use record::{Id, PatchRole};
use std::collections::BTreeMap;

/// The letters of a test's patches.
///
/// Patches of one name show the same subject, so they share a letter. Tablet
/// steps keep their number and clear film is `b+f`, since nobody reads a
/// letter for these.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PatchLetters {
    /// In the order in which the findings name the patches.
    named: Vec<(Id, PatchRole, String)>,
    place: BTreeMap<Id, usize>,
}

impl PatchLetters {
    /// Gives letters in the order in which the findings name the patches.
    #[must_use]
    pub fn of(findings: &Findings) -> Self {
        let mut named: Vec<(Id, PatchRole, String)> = Vec::new();
        let mut place = BTreeMap::new();
        let mut given = 0;
        for patch in findings.frames.iter().flat_map(|f| &f.patches) {
            if place.contains_key(&patch.patch) {
                continue;
            }
            let letter = match patch.role {
                PatchRole::BaseFog => "b+f".to_owned(),
                PatchRole::TabletStep(step) => step.to_string(),
                _ => {
                    given += 1;
                    letter_at(given)
                }
            };
            place.insert(patch.patch.clone(), named.len());
            named.push((patch.patch.clone(), patch.role, letter));
        }
        Self { named, place }
    }

    /// Gives the letter of a patch; its own name when the findings don't know it.
    #[must_use]
    pub fn letter<'a>(&'a self, patch: &'a Id) -> &'a str {
        self.place
            .get(patch)
            .map_or(patch.as_str(), |at| &self.named[*at].2)
    }

    /// Gives what a patch shows; `None` when the findings don't know it.
    #[must_use]
    pub fn role(&self, patch: &Id) -> Option<PatchRole> {
        self.place.get(patch).map(|at| self.named[*at].1)
    }

    /// Gives every patch with its role and letter, tablet steps left out.
    pub fn iter(&self) -> impl Iterator<Item = (&Id, PatchRole, &str)> {
        self.named
            .iter()
            .filter(|(_, role, _)| !matches!(role, PatchRole::TabletStep(_)))
            .map(|(name, role, letter)| (name, *role, letter.as_str()))
    }
}

/// Gives A to Z, then AA, AB and so on; counted from 1.
#[must_use]
pub fn letter_at(mut number: usize) -> String {
    let mut letters = Vec::new();
    while number > 0 {
        number -= 1;
        // 0 to 25, so the cast is exact.
        letters.push(char::from(b'A' + (number % 26) as u8));
        number /= 26;
    }
    letters.iter().rev().collect()
}

/// Gives the words for what a patch shows.
#[must_use]
pub fn role_words(role: PatchRole) -> String {
    match role {
        PatchRole::BaseFog => "base+fog".to_owned(),
        PatchRole::TabletStep(step) => format!("tablet step {step}"),
        PatchRole::GreyCard => "grey card".to_owned(),
        PatchRole::SunlitFoliage => "sunlit foliage".to_owned(),
        PatchRole::ShadedFoliage => "shaded foliage".to_owned(),
        PatchRole::ShadedGreyCard => "shaded grey card".to_owned(),
        PatchRole::Sky => "sky".to_owned(),
        PatchRole::Wall => "wall".to_owned(),
        PatchRole::Shadow => "shadow".to_owned(),
        PatchRole::Highlight => "highlight".to_owned(),
        PatchRole::Other => "other".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_go_on_after_z() {
        // Hand count, as spreadsheet columns do.
        let letters: Vec<_> = [1, 26, 27, 52, 53, 702, 703].map(letter_at).into();
        assert_eq!(letters, ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]);
    }
}

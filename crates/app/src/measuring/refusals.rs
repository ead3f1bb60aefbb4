//! Reasons for which scans or patches have no reading, or a relative one only: each
//! told once, for all scans that it holds for.

/// A scan by its name and file.
pub(super) type Named = (String, String);

/// Reasons in the order in which they were met.
#[derive(Default)]
pub(super) struct Refusals(Vec<(String, Vec<Named>)>);

impl Refusals {
    /// Notes a reason for a scan, once.
    pub(super) fn note(&mut self, reason: String, scan: &Named) {
        match self.0.iter_mut().find(|(known, _)| *known == reason) {
            Some((_, names)) if names.contains(scan) => {}
            Some((_, names)) => names.push(scan.clone()),
            None => self.0.push((reason, vec![scan.clone()])),
        }
    }

    /// A sentence for each reason.
    pub(super) fn into_sentences(self) -> Vec<String> {
        self.0
            .into_iter()
            .map(|(reason, names)| match &names[..] {
                [(name, file)] => format!("scan {name} ({file}): {reason}"),
                _ => {
                    let names: Vec<&str> = names.iter().map(|(name, _)| name.as_str()).collect();
                    format!(
                        "each of the {} scans {}: {reason}",
                        names.len(),
                        names.join(", ")
                    )
                }
            })
            .collect()
    }
}
